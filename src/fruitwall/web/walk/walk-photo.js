// A photo made smaller on the device: less to keep and to send. What the browser cannot read is sent as it came.

const LONGEST_SIDE = 2048
const QUALITY = 0.85
export const MOST_BYTES = 25_000_000

// Gives { bytes, type, name, taken, preview }; preview is a canvas, or null where the browser cannot show it.
export async function readPhoto(file) {
  const taken = file.lastModified ? new Date(file.lastModified).toISOString() : ''
  let picture
  try {
    picture = await createImageBitmap(file, { imageOrientation: 'from-image' })
  } catch {
    return { bytes: await file.arrayBuffer(), type: file.type, name: file.name, taken, preview: null }
  }
  const share = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height))
  const large = drawn(picture, share)
  const blob = await new Promise(resolve => large.toBlob(resolve, 'image/jpeg', QUALITY))
  const preview = drawn(picture, Math.min(1, 256 / Math.max(picture.width, picture.height)))
  picture.close()
  if (blob === null) return { bytes: await file.arrayBuffer(), type: file.type, name: file.name, taken, preview }
  return { bytes: await blob.arrayBuffer(), type: 'image/jpeg', name: 'photo.jpg', taken, preview }
}

function drawn(picture, share) {
  const canvas = document.createElement('canvas')
  canvas.width = Math.max(1, Math.round(picture.width * share))
  canvas.height = Math.max(1, Math.round(picture.height * share))
  canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height)
  return canvas
}
