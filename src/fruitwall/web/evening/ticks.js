// Ticks on the evening page. Without this file the buttons post their forms; with it they tick at once, out of reach
// too, and show what other telephones tick.

const changed = document.querySelector('.changed')
const { add, all, drop, newId, send, works } = await import(changed.dataset.queue)

const POLL_MS = 30_000
const words = JSON.parse(changed.dataset.words)
const rows = new Map([...document.querySelectorAll('[data-deed]')].map(row => [row.dataset.tick, row]))

function show(row, done, text, undo) {
  row.classList.toggle('is-done', done)
  const button = row.querySelector('button.tick')
  // Not disabled under a keyboard: that would throw its focus away.
  button.disabled = false
  button.setAttribute('aria-pressed', String(done))
  const told = row.querySelector('.tick-words')
  if (told.textContent !== text) told.textContent = text
  row.querySelector('.undo-form').hidden = !undo
}

async function waitingByKey() {
  const found = new Map()
  for (const record of await all()) {
    const { kind, body } = record.entry
    if (kind === 'deed' && body.night === changed.dataset.night && rows.has(body.what)) found.set(body.what, record)
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
    const record = waiting.get(key)
    const state = told?.done[key]
    if (record) show(row, true, record.state === 'refused' ? `${words.refused} ${record.reason}` : words.waiting, true)
    else if (state) show(row, true, state.words, state.undo)
    else if (told) show(row, false, '', false)
  }
  if (!told) return
  const text = told.plan && told.plan !== changed.dataset.plan ? words.anew : told.changed
  const line = changed.querySelector('.changed-words')
  if (line.textContent !== text) line.textContent = text
  changed.hidden = !text
}

// Work on the queue, one after the other: a tick and its undo must not cross.
let turn = Promise.resolve()
const inTurn = work => (turn = turn.then(work).catch(() => {}))

async function tick(row) {
  if (row.classList.contains('is-done')) return
  show(row, true, words.waiting, true)
  const { tree, body } = JSON.parse(row.dataset.deed)
  const entry = { id: newId(), kind: 'deed', tree, at: new Date().toISOString(), body }
  await add({ entry, name: body.words, photos: [] })
  await send()
  await look()
}

async function untick(row) {
  const record = (await waitingByKey()).get(row.dataset.tick)
  if (record) {
    await drop(record.order)
    show(row, false, '', false)
  }
  // It may have been sent although the answer got lost: taking back what is not there does nothing.
  const form = new URLSearchParams({ night: changed.dataset.night, key: row.dataset.tick })
  try {
    await fetch('/evening/untick', { method: 'POST', body: form, credentials: 'same-origin', redirect: 'manual' })
  } catch {
    // out of reach: a tick that the server has stays, and is shown again by the next look
  }
  await look()
}

if (await works()) {
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
  const again = () => inTurn(async () => {
    if (document.hidden) return
    await send()
    await look()
  })
  setInterval(again, POLL_MS)
  addEventListener('online', again)
  document.addEventListener('visibilitychange', again)
  again()
}
