// Ticks on the evening page. Without this file the buttons post their forms; with it they tick at once, out of reach
// too, and show what other telephones tick.

const changed = document.querySelector('.changed')
// Who may only look has nothing to keep on the device.
const queue = changed.dataset.queue ? await import(changed.dataset.queue) : null
const keeps = queue !== null && (await queue.works())

const POLL_MS = 30_000
const words = JSON.parse(changed.dataset.words)
const rows = new Map([...document.querySelectorAll('[data-tick]')].map(row => [row.dataset.tick, row]))

function show(row, done, text, undo) {
  row.classList.toggle('is-done', done)
  const button = row.querySelector('button.tick')
  if (button) {
    // Not disabled under a keyboard: that would throw its focus away.
    button.disabled = false
    button.setAttribute('aria-pressed', String(done))
    row.querySelector('.undo-form').hidden = !undo
  }
  say(row, text)
}

function say(row, text) {
  const told = row.querySelector('.tick-words')
  if (told.textContent !== text) told.textContent = text
}

async function waitingByKey() {
  const found = new Map()
  for (const record of keeps ? await queue.all() : []) {
    const { kind, body } = record.entry
    if (kind === 'deed' && body.night === changed.dataset.night && rows.has(body.what)) {
      found.set(body.what, [...(found.get(body.what) || []), record])
    }
  }
  return found
}

async function look() {
  let told
  try {
    const answer = await fetch(`/evening/ticks.json?night=${changed.dataset.night}`, { credentials: 'same-origin' })
    if (answer.ok) told = await answer.json()
  } catch {
    // out of reach: what waits on this device is shown all the same
  }
  const waiting = await waitingByKey()
  for (const [key, row] of rows) {
    const records = waiting.get(key) || []
    const refused = records.find(record => record.state === 'refused')
    const state = told?.done[key]
    if (state) show(row, true, state.words, state.undo)
    else if (records.length > (refused ? 1 : 0)) show(row, true, words.waiting, true)
    else if (refused) show(row, false, `${words.refused} ${refused.reason}`, true)
    else if (told) show(row, false, '', false)
  }
  if (!told) return false
  const text = told.plan && told.plan !== changed.dataset.plan ? words.anew : told.changed
  const line = changed.querySelector('.changed-words')
  if (line.textContent !== text) line.textContent = text
  changed.hidden = !text
  return true
}

// Work on the queue, one after the other: a tick and its undo must not cross.
let turn = Promise.resolve()
const inTurn = work => (turn = turn.then(work).catch(() => {}))

async function tick(row) {
  if (row.classList.contains('is-done')) return
  show(row, true, words.waiting, true)
  const { tree, body } = JSON.parse(row.dataset.deed)
  const entry = { id: queue.newId(), kind: 'deed', tree, at: new Date().toISOString(), body }
  try {
    await queue.add({ entry, name: body.words, photos: [] })
  } catch {
    // The device is full. The form goes without it, where there is a connection.
    show(row, false, words.unkept, false)
    if (navigator.onLine) row.querySelector('.tick-form').submit()
    return
  }
  await queue.send()
  await look()
}

async function untick(row) {
  const records = (await waitingByKey()).get(row.dataset.tick) || []
  for (const record of records) await queue.drop(record.order)
  if (records.length > 0) show(row, false, '', false)
  // It may have been sent although the answer got lost: taking back what is not there does nothing.
  const form = new URLSearchParams({ night: changed.dataset.night, key: row.dataset.tick })
  try {
    await fetch('/evening/untick', { method: 'POST', body: form, credentials: 'same-origin', redirect: 'manual' })
  } catch {
    // out of reach: a tick that the server has stays
  }
  const reached = await look()
  if (row.classList.contains('is-done')) say(row, reached ? words.kept : words.unreached)
}

if (keeps) {
  for (const row of rows.values()) {
    if (row.classList.contains('is-done')) row.querySelector('button.tick').disabled = false
    row.querySelector('.tick-form').addEventListener('submit', event => {
      event.preventDefault()
      inTurn(() => tick(row))
    })
    row.querySelector('.undo-form').addEventListener('submit', event => {
      event.preventDefault()
      row.querySelector('button.tick').focus()
      inTurn(() => untick(row))
    })
  }
}

const again = () => inTurn(async () => {
  if (document.hidden) return
  if (keeps) await queue.send()
  await look()
})
setInterval(again, POLL_MS)
addEventListener('online', again)
document.addEventListener('visibilitychange', again)
again()
