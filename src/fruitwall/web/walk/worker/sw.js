// Keeps the walk on the device, so that it works out of reach of the wireless. The server puts VERSION and SHELL before.
// Only the walk is kept: a plan of the evening from earlier, shown as if it were of now, would mislead.

const FILES = `fruitwall-files-${VERSION}`
const PAGES = `fruitwall-pages-${VERSION}`
const PHOTOS = 'fruitwall-photos'
const MOST_PHOTOS = 300
const PATIENCE_MS = 1500
const OFFLINE = '/walk/-/offline'

const isWalk = path => path === '/walk' || (path.startsWith('/walk/') && path !== OFFLINE)
const good = answer => answer.ok && !answer.redirected && answer.type === 'basic'

self.addEventListener('install', event => {
  event.waitUntil((async () => {
    const cache = await caches.open(FILES)
    await cache.addAll(SHELL.map(url => new Request(url, { cache: 'no-cache' })))
    await self.skipWaiting()
  })())
})

self.addEventListener('activate', event => {
  event.waitUntil((async () => {
    await self.clients.claim()
    const names = await caches.keys()
    const old = names.filter(name => /^fruitwall-(files|pages)-/.test(name) && name !== FILES && name !== PAGES)
    // Kept pages name files by their version: they are fetched anew before those of the last version go.
    const pages = await caches.open(PAGES)
    for (const name of old.filter(one => one.startsWith('fruitwall-pages-'))) {
      for (const request of await (await caches.open(name)).keys()) {
        const answer = await fetch(request.url, { credentials: 'same-origin' }).catch(() => null)
        if (answer === null) return
        if (good(answer)) await pages.put(new URL(request.url).pathname, answer)
      }
    }
    await Promise.all(old.map(name => caches.delete(name)))
  })())
})

self.addEventListener('fetch', event => {
  const request = event.request
  const url = new URL(request.url)
  if (request.method !== 'GET' || url.origin !== self.location.origin) return
  if (url.pathname.startsWith('/static/')) event.respondWith(kept(request, FILES))
  else if (/^\/photos\/[0-9a-f]{64}-small\.jpg$/.test(url.pathname)) event.respondWith(photo(request))
  else if (isWalk(url.pathname)) event.respondWith(fresh(event, url.pathname))
  else if (request.mode === 'navigate') event.respondWith(elsewhere(request))
})

// What never changes under its name: from the cache, wherever it lies there.
async function kept(request, name) {
  const found = await caches.match(request)
  if (found) return found
  const answer = await fetch(request)
  if (good(answer)) await (await caches.open(name)).put(request, answer.clone())
  return answer
}

async function photo(request) {
  const answer = await kept(request, PHOTOS)
  const cache = await caches.open(PHOTOS)
  const all = await cache.keys()
  if (all.length > MOST_PHOTOS) await Promise.all(all.slice(0, all.length - MOST_PHOTOS).map(one => cache.delete(one)))
  return answer
}

// A page of the walk: from the server if it answers in time, else as it was kept.
async function fresh(event, path) {
  const cache = await caches.open(PAGES)
  const asked = fetch(event.request).then(async answer => {
    if (good(answer)) await cache.put(path, answer.clone())
    return answer
  })
  event.waitUntil(asked.catch(() => null))
  const old = await cache.match(path)
  if (!old) return asked.catch(async () => (await caches.match(OFFLINE)) || Response.error())
  const late = new Promise(resolve => setTimeout(resolve, PATIENCE_MS, old))
  return Promise.race([asked.then(answer => (answer.status >= 500 ? old : answer)).catch(() => old), late])
}

async function elsewhere(request) {
  try {
    return await fetch(request)
  } catch {
    return (await caches.match(OFFLINE)) || Response.error()
  }
}
