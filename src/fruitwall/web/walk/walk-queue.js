// Entries that wait on this device until the server has them. The server stores an entry once however often it is
// sent: its id is made here, before anything is sent.
//
// A record: { order, entry: { id, kind, tree, at, body, replaces }, name, photos: [{ bytes, type, name, taken,
// sha256 }], state: 'waiting' | 'refused', reason }

const NAME = 'fruitwall-walk'
const STORE = 'entries'
const AT_ONCE = 50
const AGAIN_MS = 20_000

const listeners = new Set()
const channel = 'BroadcastChannel' in self ? new BroadcastChannel(NAME) : null
if (channel) channel.onmessage = () => tell(false)

let opened = null
let sending = null
let timer = 0

// What the last try of sending met: '' | 'sending' | 'offline' | 'log_in'
export let state = ''

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1)
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: 'order', autoIncrement: true })
    asked.onsuccess = () => resolve(asked.result)
    asked.onerror = () => reject(asked.error)
    asked.onblocked = () => reject(new Error('blocked'))
  })
  return opened
}

async function within(mode, work) {
  const database = await open()
  return new Promise((resolve, reject) => {
    const change = database.transaction(STORE, mode)
    const asked = work(change.objectStore(STORE))
    change.oncomplete = () => resolve(asked.result)
    change.onabort = change.onerror = () => reject(change.error)
  })
}

export const all = () => within('readonly', store => store.getAll())
export const drop = order => within('readwrite', store => store.delete(order)).then(() => tell(true))

// Whether this browser keeps anything at all.
export async function works() {
  try {
    await all()
    return true
  } catch {
    return false
  }
}

export async function add(record) {
  await within('readwrite', store => store.add({ state: 'waiting', reason: '', ...record }))
  tell(true)
}

async function change(record) {
  await within('readwrite', store => store.put(record))
  tell(true)
}

export async function tryAgain(record, without = false) {
  const body = { ...record.entry.body }
  await change({
    ...record,
    entry: { ...record.entry, body },
    photos: without ? [] : record.photos,
    state: 'waiting',
    reason: '',
  })
  return send()
}

export const onChange = listener => listeners.add(listener)

function tell(others) {
  for (const listener of listeners) listener()
  if (others && channel) channel.postMessage('changed')
}

// A UUID of version 4 (RFC 9562). crypto.randomUUID is missing where the address is not secure.
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16))
  bytes[6] = (bytes[6] & 0x0f) | 0x40
  bytes[8] = (bytes[8] & 0x3f) | 0x80
  const hex = [...bytes].map(byte => byte.toString(16).padStart(2, '0')).join('')
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-')
}

// Sends what waits, in its order. Two tabs take turns where the browser can; the server counts once in any case.
export function send() {
  sending ??= inTurn().finally(() => {
    sending = null
    tell(true)
  })
  return sending
}

async function inTurn() {
  if (navigator.locks) await navigator.locks.request(NAME, sendAll)
  else await sendAll()
}

async function sendAll() {
  clearTimeout(timer)
  try {
    for (;;) {
      const waiting = (await all()).filter(one => one.state === 'waiting').slice(0, AT_ONCE)
      if (waiting.length === 0) break
      say('sending')
      const ready = []
      for (const record of waiting) {
        if (await withPhotos(record)) ready.push(record)
      }
      if (ready.length > 0) await post(ready)
    }
    say('')
  } catch (error) {
    say(error.logIn ? 'log_in' : 'offline')
    timer = setTimeout(send, AGAIN_MS)
  }
}

function say(word) {
  state = word
  tell(false)
}

// Sends the photos of a record that were not sent so far; false if one was refused.
async function withPhotos(record) {
  for (const photo of record.photos) {
    if (photo.sha256) continue
    const form = new FormData()
    form.append('photo', new Blob([photo.bytes], { type: photo.type }), photo.name || 'photo.jpg')
    if (photo.taken) form.append('taken', photo.taken)
    const answer = await ask('/api/photos', { body: form })
    if (!answer.ok) {
      await change({ ...record, state: 'refused', reason: await reasonOf(answer) })
      return false
    }
    photo.sha256 = (await answer.json()).sha256
    await change(record)
  }
  return true
}

async function post(records) {
  const entries = records.map(({ entry, photos }) => {
    const digests = photos.map(photo => photo.sha256)
    return { ...entry, body: digests.length > 0 ? { ...entry.body, photos: digests } : entry.body }
  })
  const answer = await ask('/api/entries', {
    body: JSON.stringify({ entries, sent: new Date().toISOString() }),
    headers: { 'content-type': 'application/json' },
  })
  if (!answer.ok) {
    const reason = await reasonOf(answer)
    for (const record of records) await change({ ...record, state: 'refused', reason })
    return
  }
  const { answers } = await answer.json()
  for (const [at, record] of records.entries()) {
    if (answers[at]?.result === 'refused') await change({ ...record, state: 'refused', reason: answers[at].reason })
    else if (answers[at]) await drop(record.order)
  }
}

// Throws where there is no connection, the server is in trouble, or somebody has to log in: all of that passes.
async function ask(url, options) {
  const headers = { accept: 'application/json', ...options.headers }
  const answer = await fetch(url, { method: 'POST', credentials: 'same-origin', redirect: 'manual', ...options, headers })
  if (answer.status === 401 || answer.type === 'opaqueredirect') throw Object.assign(new Error('log in'), { logIn: true })
  if (answer.status >= 500 || answer.status === 429 || answer.status === 408) throw new Error(String(answer.status))
  return answer
}

async function reasonOf(answer) {
  try {
    const told = await answer.json()
    return (told.problems || []).join(' ') || told.detail || told.error || String(answer.status)
  } catch {
    return String(answer.status)
  }
}
