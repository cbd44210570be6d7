// The walk as a whole: goes from tree to tree without asking the server each time, keeps what is entered on the device
// until the server has it, and tells what still waits. Without it the pages are plain forms.

let told = document.querySelector('#walk-told')
let justSeen = null
const queue = await import(told.dataset.queue)
const { readPhoto, MOST_BYTES } = await import(told.dataset.photo)
const words = JSON.parse(told.dataset.words)
const grades = JSON.parse(told.dataset.grades)
const keeps = await queue.works()

const fill = (text, values) => text.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole)
const CLOCK = { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' }
const clock = moment => new Date(moment).toLocaleTimeString(document.documentElement.lang, CLOCK)
const gradeOf = entry => (entry.body.grade === undefined ? '' : grades[entry.body.grade])

// ---------------------------------------------------------------- pages

// Pages as they came, for addresses that are not secure: there no service worker keeps them.
const pages = new Map()
const PATIENCE_MS = 800

// Gives the text of a page, null where it cannot be had; throws where the server sends somewhere else (the log-in).
async function pageOf(path) {
  const asked = fetch(path, { credentials: 'same-origin' }).then(async answer => {
    if (answer.redirected) throw Object.assign(new Error('elsewhere'), { elsewhere: true })
    const text = answer.ok ? await answer.text() : ''
    if (!text.includes('id="walk-told"')) return pages.get(path) ?? null
    pages.set(path, text)
    return text
  }).catch(error => {
    if (error.elsewhere) throw error
    return pages.get(path) ?? null
  })
  if (!pages.has(path)) return asked
  // A wireless that is there and leads nowhere must not hold up the walk.
  const late = new Promise(resolve => setTimeout(() => resolve(pages.get(path)), PATIENCE_MS))
  return Promise.race([asked, late])
}

async function go(path, { push = true, hash = '' } = {}) {
  let text
  try {
    text = await pageOf(path)
  } catch {
    location.assign(path)
    return
  }
  if (text === null) {
    // The page that is open stays: without a service worker it is all there is.
    problem(words.gone)
    return
  }
  const next = new DOMParser().parseFromString(text, 'text/html')
  document.title = next.title
  document.querySelector('main').replaceWith(document.adoptNode(next.querySelector('main')))
  const place = next.querySelector('.top .place')
  const here = document.querySelector('.top .place')
  if (place && here) here.replaceWith(document.adoptNode(place))
  if (push) history.pushState({ walk: true }, '', path)
  scrollTo(0, 0)
  begin()
  document.querySelector('main h1')?.focus({ preventScroll: true })
  if (hash) document.querySelector(hash)?.scrollIntoView()
}

document.addEventListener('click', event => {
  const link = event.target.closest('main a, .waiting-line a')
  if (!link || event.defaultPrevented || event.button !== 0 || event.metaKey || event.ctrlKey || event.shiftKey) return
  const url = new URL(link.href)
  if (url.origin !== location.origin || !/^\/walk(\/|$)/.test(url.pathname)) return
  event.preventDefault()
  go(url.pathname, { hash: url.hash })
})

addEventListener('popstate', () => {
  if (/^\/walk(\/|$)/.test(location.pathname) && !location.hash) go(location.pathname, { push: false })
})

function problem(text) {
  const line = document.createElement('p')
  line.className = 'said'
  line.textContent = text
  const place = document.querySelector('.errors')
  if (place) {
    place.replaceChildren(line)
    place.scrollIntoView({ block: 'center' })
  } else document.querySelector('main h1')?.after(line)
}

// ---------------------------------------------------------------- one tree

function begin() {
  told = document.querySelector('#walk-told')
  const form = document.querySelector('form.look')
  if (form && keeps) enhance(form)
  const taps = document.querySelector('form.stage-taps')
  if (taps && keeps) enhanceTaps(taps)
  show()
}

function enhance(form) {
  const photos = []
  const field = form.querySelector('input[type=file]')
  const list = form.querySelector('.chosen-photos')
  let reading = Promise.resolve()

  const take = () => {
    const files = [...field.files]
    field.value = ''
    reading = reading.then(async () => {
      for (const file of files) {
        const photo = await readPhoto(file)
        if (photo.bytes.byteLength > MOST_BYTES) {
          problem(words.too_large)
          continue
        }
        photos.push(photo)
        list.append(chosen(photo, photos))
      }
    })
  }
  field.addEventListener('change', take)
  // A quick hand may have chosen a photo before this script ran: it must not be lost.
  if (field.files.length) take()

  form.addEventListener('submit', async event => {
    event.preventDefault()
    if (form.dataset.busy) return
    form.dataset.busy = 'yes'
    try {
      await reading
      const record = recordOf(form, event.submitter?.value, photos)
      if (record === null) {
        problem(words.empty)
        return
      }
      try {
        await queue.add(record)
      } catch {
        problem(words.no_store)
        return
      }
      const { entry, name } = record
      justSeen = entry.body.grade > 0 ? { id: entry.id, tree: entry.tree, name } : null
      queue.send()
      await go(new URL(form.dataset.next, location.href).pathname)
    } finally {
      delete form.dataset.busy
    }
  })
}

// A stage is one touch: it goes the way of the looks, so that it is kept out of reach as well.
function enhanceTaps(form) {
  form.addEventListener('submit', async event => {
    event.preventDefault()
    const stage = event.submitter?.value
    if (!stage || form.dataset.busy) return
    form.dataset.busy = 'yes'
    const { tree, name } = form.closest('[data-tree]').dataset
    const told = event.submitter.textContent
    const entry = { id: queue.newId(), kind: 'stage', tree, at: new Date().toISOString(), body: { stage } }
    try {
      await queue.add({ entry, name, told, photos: [] })
      form.querySelector('.stage-told').textContent = fill(words.stage, { stage: told })
      queue.send()
    } catch {
      problem(words.no_store)
    } finally {
      delete form.dataset.busy
    }
  })
}

function chosen(photo, photos) {
  const item = document.createElement('li')
  if (photo.preview) item.append(photo.preview)
  else item.append(photo.name)
  const away = document.createElement('button')
  away.type = 'button'
  away.textContent = words.away
  away.addEventListener('click', () => {
    photos.splice(photos.indexOf(photo), 1)
    item.remove()
  })
  item.append(away)
  return item
}

function recordOf(form, act, photos) {
  const article = form.closest('[data-tree]')
  const given = new FormData(form)
  const body = {}
  if (act === 'same') Object.assign(body, JSON.parse(form.dataset.same))
  else {
    if (given.get('grade') !== null) body.grade = Number(given.get('grade'))
    if (given.getAll('sign').length > 0) body.signs = given.getAll('sign')
  }
  const note = given.get('note').trim()
  if (note) body.note = note
  if (Object.keys(body).length === 0 && photos.length === 0) return null
  const entry = { id: queue.newId(), kind: 'sighting', tree: article.dataset.tree, at: new Date().toISOString(), body }
  if (given.get('replaces')) entry.replaces = given.get('replaces')
  const kept = photos.map(({ bytes, type, name, taken }) => ({ bytes, type, name, taken }))
  return { entry, name: article.dataset.name, photos: kept }
}

// ---------------------------------------------------------------- what waits

async function show() {
  if (!keeps) {
    status(words.no_store)
    return
  }
  const records = await queue.all()
  const refused = records.filter(one => one.state === 'refused').length
  const waiting = records.length - refused
  const parts = []
  if (waiting) parts.push(fill(waiting === 1 ? words.one : words.many, { count: waiting }))
  if (refused) parts.push(fill(refused === 1 ? words.refused_one : words.refused_many, { count: refused }))
  const line = parts.join('; ') || words.none
  for (const place of document.querySelectorAll('.waiting-count')) if (place.textContent !== line) place.textContent = line
  const box = document.querySelector('#waiting')
  for (const place of document.querySelectorAll('.waiting-line')) place.hidden = records.length === 0 || box !== null
  if (box) {
    box.hidden = records.length === 0
    box.querySelector('.waiting-state').textContent = words[queue.state] ?? ''
    box.querySelector('.waiting-list').replaceChildren(...records.map(waitingLine))
    box.querySelector('.send').onclick = () => queue.send()
  }
  onDevice(records)
  offerCause(records)
}

// What a look may come of is told by the server: offered once it has the look.
function offerCause(records) {
  const place = document.querySelector('.just-seen')
  if (!place || !justSeen || records.some(record => record.entry.id === justSeen.id)) return
  const link = document.createElement('a')
  link.className = 'ask-cause'
  link.href = `/trees/${encodeURIComponent(justSeen.tree)}/sightings/${justSeen.id}/cause`
  link.textContent = fill(words.cause, { name: justSeen.name })
  place.replaceChildren(link)
  place.hidden = false
}

function waitingLine(record) {
  const item = document.createElement('li')
  const { entry } = record
  const what = [record.name, clock(entry.at), gradeOf(entry), record.told]
  if (record.photos.length > 0) what.push(fill(words.photos, { count: record.photos.length }))
  const how = record.state === 'refused' ? fill(words.refused, { reason: record.reason }) : words.waiting
  item.append(`${what.filter(Boolean).join(', ')}: ${how}`)
  if (record.state === 'refused') {
    const buttons = document.createElement('div')
    buttons.append(button(words.again, () => queue.tryAgain(record)))
    if (record.photos.length > 0) buttons.append(button(words.bare, () => queue.tryAgain(record, true)))
    buttons.append(button(words.drop, pressed => {
      if (pressed.textContent === words.sure) return queue.drop(record.order)
      pressed.textContent = words.sure
    }))
    item.append(buttons)
  }
  return item
}

function button(text, act) {
  const made = document.createElement('button')
  made.type = 'button'
  made.textContent = text
  made.addEventListener('click', () => act(made))
  return made
}

// What is entered here and not yet sent stands beside what the server knew when the page was kept.
function onDevice(records) {
  const seen = records.filter(record => record.entry.kind === 'sighting')
  const last = new Map(seen.map(record => [record.entry.tree, record]))
  const left = [...document.querySelectorAll('.stops .unseen')].find(item => !last.has(item.dataset.tree))
  const start = document.querySelector('a.go')
  if (start && left && seen.length > 0) {
    start.href = left.querySelector('a').href
    const [number, name] = ['.number', '.name'].map(part => left.querySelector(part).textContent)
    start.textContent = fill(words.go_on, { number, name })
  }
  for (const place of document.querySelectorAll('[data-tree]')) {
    const line = place.querySelector('.on-device')
    const record = last.get(place.dataset.tree)
    line.hidden = !record
    if (!record) continue
    const looked = [gradeOf(record.entry), record.entry.body.note].filter(Boolean).join('; ') || clock(record.entry.at)
    line.textContent = fill(words.queued, { looked })
    const corrects = place.querySelector('.corrects')
    if (corrects && record.state === 'waiting') {
      corrects.hidden = false
      corrects.querySelector('input').value = record.entry.id
      corrects.querySelector('span').textContent = fill(words.corrects, { time: clock(record.entry.at) })
    }
  }
}

// ---------------------------------------------------------------- out of reach

function status(text) {
  const line = document.querySelector('.kept-state')
  if (line) {
    line.textContent = text
    line.hidden = false
  }
}

async function keepAll() {
  const secure = isSecureContext && 'serviceWorker' in navigator
  if (secure) {
    await navigator.serviceWorker.register('/sw.js', { updateViaCache: 'none' })
    await navigator.serviceWorker.ready
    if (!navigator.serviceWorker.controller) {
      await new Promise(resolve => navigator.serviceWorker.addEventListener('controllerchange', resolve, { once: true }))
    }
  }
  status(words.keeping)
  const urls = told.dataset.urls.split(' ')
  const photos = told.dataset.photos.split(' ').filter(Boolean)
  for (const url of urls) if ((await pageOf(url)) === null) return
  for (const url of photos) await fetch(url, { credentials: 'same-origin' }).catch(() => null)
  status(secure ? words.kept : words.open_only)
  document.documentElement.dataset.walk = secure ? 'kept' : 'open-only'
}

queue.onChange(show)
begin()
if (keeps) queue.send()
addEventListener('online', () => keeps && queue.send())
addEventListener('pageshow', () => keeps && queue.send())
document.addEventListener('visibilitychange', () => document.visibilityState === 'visible' && keeps && queue.send())
if (navigator.onLine) keepAll().catch(() => {})
