// Picking, dragging and undo by key on the plan of the yard. The server draws and checks: each drop is one form sent
// to it, and the part of the page that it answers with takes the place of the old one. Without this script every
// part of the plan is a link to its form.

const work = document.getElementById('yard-work')
const said = document.getElementById('yard-said')

const SNAP_M = Number(work.dataset.snap) // a round step in the reader's unit
const STRIDE_M = Number(work.dataset.stride)
const FAR_PX = 4 // a pointer that moved less was put down, not dragged
const REACH_PX = 22
const KEYS_REST_MS = 450
const SAID_MS = 8000 // what was done is also seen in the plan; what went wrong stays
const SVG = 'http://www.w3.org/2000/svg'

let drag = null // what is being dragged now
let nudge = null // what arrow keys have moved and nobody was told yet
let told = null // what they have moved and the server was told, but has not answered
let waiting = null // an answer that came while something was being dragged
let queue = Promise.resolve()
let fade = 0

const plan = () => work.querySelector('svg.plan')
const thing = (name) => plan().querySelector(`.thing[data-thing="${CSS.escape(name)}"]`)
const picked = () => plan().querySelector('.thing.picked')
const snapped = (value) => Math.round(value / SNAP_M) * SNAP_M
const corners = (one) => one.dataset.corners.split(' ').map((pair) => pair.split(',').map(Number))

// ---------------------------------------------------------------- between metres and the drawing

function frame() {
  const { left, top, scale, edge, perMetre } = plan().dataset
  return { left: +left, top: +top, scale: +scale, edge: +edge, perMetre: +perMetre }
}

function toDrawing([x, y]) {
  const f = frame()
  return [f.edge + (x - f.left) * f.scale, f.edge + (f.top - y) * f.scale]
}

function toYard(clientX, clientY) {
  const f = frame()
  const at = new DOMPoint(clientX, clientY).matrixTransform(plan().getScreenCTM().inverse())
  return [f.left + (at.x - f.edge) / f.scale, f.top - (at.y - f.edge) / f.scale]
}

// ---------------------------------------------------------------- talking with the server

function send(make) {
  queue = queue.then(async () => {
    const asked = make()
    if (!asked) return
    document.body.classList.add('busy')
    try {
      const answer = await fetch(asked.url, asked.body ? { method: 'POST', body: asked.body } : {})
      const page = new DOMParser().parseFromString(await answer.text(), 'text/html')
      const part = page.getElementById('yard-work')
      if (!part) {
        // Logged out, or a defect: the answer is a page of its own.
        if (answer.redirected) location.assign(answer.url)
        else tell(page.querySelector('main h1')?.textContent ?? answer.statusText, true)
        putBack()
        return
      }
      const shown = { part, said: page.getElementById('yard-said').textContent, focus: asked.focus }
      const address = new URL(answer.url)
      if (address.pathname === '/yard') {
        address.searchParams.delete('said')
        history.replaceState(null, '', address.pathname + address.search)
      }
      if (drag) waiting = shown
      else show(shown)
    } catch (problem) {
      if (!(problem instanceof TypeError)) throw problem
      tell(said.dataset.offline, true)
      putBack()
    } finally {
      document.body.classList.remove('busy')
    }
  })
  return queue
}

function tell(text, wrong = false) {
  said.textContent = text
  said.classList.toggle('wrong', wrong)
  clearTimeout(fade)
  if (!wrong) fade = setTimeout(() => (said.textContent = ''), SAID_MS)
}

function show({ part, said: words, focus }) {
  const active = document.activeElement
  const place = focus ?? mark(active)
  const opened = [...work.querySelectorAll('details')].map((one) => one.open)
  work.dataset.base = part.dataset.base
  work.dataset.adding = part.dataset.adding
  work.replaceChildren(...part.childNodes)
  const unfold = [...work.querySelectorAll('details')]
  if (unfold.length === opened.length) unfold.forEach((one, at) => (one.open ||= opened[at]))
  tell(words, Boolean(work.querySelector('.yard-error')))
  told = null
  away.clear()
  if (work.querySelector('.yard-error')) nudge = null
  ready()
  if (nudge) shift(thing(nudge.name), nudge.corner, nudge.by)
  if (place) work.querySelector(place)?.focus({ preventScroll: true })
  // On a phone what has to be answered may lie out of sight, since the page was longer before.
  work.querySelector('.yard-error, [aria-invalid]')?.scrollIntoView({ block: 'center' })
}

// How to find the focused thing again in the next state of the page.
function mark(active) {
  if (!active || !work.contains(active)) return null
  if (active.dataset.corner) return `.handle[data-corner="${active.dataset.corner}"]`
  if (active.dataset.thing) return `.thing[data-thing="${CSS.escape(active.dataset.thing)}"]`
  if (active.name) return `[name="${CSS.escape(active.name)}"]`
  const step = active.closest('[data-step]')
  return step ? `[data-step="${step.dataset.step}"] button` : null
}

function form(values) {
  const body = new URLSearchParams({ seen: work.dataset.base, layer: layer(), ...values })
  return body
}

const layer = () => new URLSearchParams(location.search).get('layer') ?? ''

function pick(name, focus) {
  for (const one of plan().querySelectorAll('.picked')) one.classList.remove('picked')
  thing(name)?.classList.add('picked')
  const kept = layer() ? `&layer=${encodeURIComponent(layer())}` : ''
  return send(() => ({ url: `/yard?pick=${encodeURIComponent(name)}${kept}`, focus }))
}

function move(name, corner, to, fresh) {
  return send(() => {
    const values = { thing: name, x: to[0].toFixed(4), y: to[1].toFixed(4) }
    if (corner !== null) values.corner = corner
    if (fresh) values.new = 'yes'
    return { url: '/yard/move', body: form(values) }
  })
}

// ---------------------------------------------------------------- the state of the page after it was drawn

function ready() {
  for (const hint of work.querySelectorAll('.hint-script')) hint.hidden = false
  const adding = work.dataset.adding
  plan().classList.toggle('adding', Boolean(adding))
  const one = picked()
  if (!one) return
  // On top: a finger on it must not meet what a neighbour spreads round its own sign.
  plan().append(one)
  if (one.dataset.shape !== 'position' && !adding) handles(one)
}

function handles(one) {
  const group = document.createElementNS(SVG, 'g')
  group.classList.add('handles')
  const size = plan().getScreenCTM()?.a || 1
  const reach = REACH_PX / size
  const all = corners(one)
  const sides = one.dataset.shape === 'outline' ? all.length : all.length - 1
  for (let side = 1; side <= sides; side++) {
    // Between two corners one more can be drawn out, where there is room for a finger.
    const [a, b] = [toDrawing(all[side - 1]), toDrawing(all[side % all.length])]
    if (Math.hypot(b[0] - a[0], b[1] - a[1]) * size < 3 * REACH_PX) continue
    const [x, y] = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]
    const middle = circle(x, y, Math.min(reach, REACH_PX) * 0.7, 'middle')
    middle.dataset.corner = side
    group.append(middle, circle(x, y, 3, 'knob'))
  }
  all.forEach((corner, number) => {
    const [x, y] = toDrawing(corner)
    const handle = circle(x, y, Math.min(reach, REACH_PX), 'handle')
    handle.dataset.corner = number
    handle.setAttribute('tabindex', '0')
    handle.setAttribute('role', 'button')
    handle.setAttribute('aria-label', plan().dataset.cornerWords.replace('{number}', number + 1))
    group.append(handle, circle(x, y, 5, 'knob'))
  })
  plan().append(group)
}

function circle(x, y, r, name) {
  const one = document.createElementNS(SVG, 'circle')
  one.setAttribute('cx', x)
  one.setAttribute('cy', y)
  one.setAttribute('r', r)
  one.classList.add(name)
  return one
}

// ---------------------------------------------------------------- showing where something would lie

// The corners, with a new one in the middle of a side if it is to be drawn out there.
function shape(one, corner, fresh) {
  const all = corners(one)
  if (fresh) {
    const [a, b] = [all[corner - 1], all[corner % all.length]]
    all.splice(corner, 0, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2])
  }
  return all
}

function shift(one, corner, [east, north], fresh = false) {
  const f = frame()
  const group = plan().querySelector('.handles')
  away.set(one, [...(away.get(one) ?? []), [corner, fresh]].slice(-2))
  if (corner === null) {
    const translate = `translate(${east * f.scale} ${-north * f.scale})`
    one.setAttribute('transform', translate)
    if (one.classList.contains('picked')) group?.setAttribute('transform', translate)
  } else {
    const moved = shape(one, corner, fresh)
    moved[corner] = [moved[corner][0] + east, moved[corner][1] + north]
    const points = moved.map((at) => toDrawing(at).map((value) => value.toFixed(2)).join(',')).join(' ')
    const shapes = one.dataset.thing === '@outline' ? plan().querySelectorAll('.ground') : []
    for (const shape of [...one.querySelectorAll('[points]'), ...shapes]) shape.setAttribute('points', points)
    const [x, y] = toDrawing(moved[corner])
    const held = group?.querySelector(`.${fresh ? 'middle' : 'handle'}[data-corner="${corner}"]`)
    for (const knob of held ? [held, held.nextElementSibling] : []) {
      knob.setAttribute('cx', x)
      knob.setAttribute('cy', y)
    }
  }
  if (!fresh) follow(one, corner, [east, north])
}

// The numbers of the form go along.
function follow(one, corner, [east, north]) {
  if (!one.classList.contains('picked')) return
  const { perMetre } = frame()
  corners(one).forEach(([x, y], number) => {
    if (corner !== null && corner !== number) return
    const values = { x: (x + east) * perMetre, y: (y + north) * perMetre }
    for (const axis of ['x', 'y']) {
      const name = `${one.dataset.shape}.${number}.${axis}`
      const input = work.querySelector(`[name="${name}"]`) ?? work.querySelector(`[name="outlet.${number}.${axis}"]`)
      if (input) input.value = String(Math.round(values[axis] * 100) / 100)
    }
  })
}

// What was shown elsewhere than it lies.
const away = new Map()

function putBack() {
  nudge = null
  told = null
  for (const [one, touched] of away) {
    for (const [corner, fresh] of touched) shift(one, corner, [0, 0], fresh)
    one.removeAttribute('transform')
  }
  away.clear()
}

// ---------------------------------------------------------------- pointer

// A finger hits what is nearest, not what happens to be drawn last.
function hit(event) {
  const handle = event.target.closest?.('.handle')
  if (handle) return { one: picked(), corner: Number(handle.dataset.corner), fresh: false }
  const middle = event.target.closest?.('.middle')
  if (middle) return { one: picked(), corner: Number(middle.dataset.corner), fresh: true }
  let best = null
  let least = REACH_PX
  for (const sign of plan().querySelectorAll('[data-sign]')) {
    const box = sign.getBoundingClientRect()
    const far = Math.hypot(box.x + box.width / 2 - event.clientX, box.y + box.height / 2 - event.clientY)
    if (far < least) [best, least] = [sign.closest('.thing'), far]
  }
  const under = event.target.closest?.('.thing')
  const one = best ?? under
  return one ? { one, corner: null, fresh: false } : null
}

work.addEventListener('pointerdown', (event) => {
  if (drag && !event.isPrimary) return give() // a second finger: the page is pinched, nothing is dragged
  if (!event.isPrimary || event.button !== 0 || drag || !event.target.closest('svg.plan')) return
  if (work.dataset.adding) return
  const found = hit(event)
  if (!found || !found.one) return
  // A finger drags what it has picked before; over anything else it scrolls the page.
  if (event.pointerType === 'touch' && !found.one.classList.contains('picked')) return
  if (found.one.dataset.thing === '@outline' && found.corner === null) return
  const start = toYard(event.clientX, event.clientY)
  drag = { ...found, id: event.pointerId, start, from: [event.clientX, event.clientY], by: null }
})

window.addEventListener('pointermove', (event) => {
  if (!drag || event.pointerId !== drag.id) return
  const way = Math.hypot(event.clientX - drag.from[0], event.clientY - drag.from[1])
  if (!drag.by && way < FAR_PX) return
  if (!drag.by) {
    plan().classList.add('dragging')
    plan().setPointerCapture?.(event.pointerId)
  }
  const now = toYard(event.clientX, event.clientY)
  const at = shape(drag.one, drag.corner, drag.fresh)[drag.corner ?? 0]
  drag.by = [0, 1].map((axis) => snapped(at[axis] + now[axis] - drag.start[axis]) - at[axis])
  shift(drag.one, drag.corner, drag.by, drag.fresh)
  event.preventDefault()
})

// The rule touch-action of a shape is not heard everywhere; that a finger which drags does not scroll is said here too.
work.addEventListener('touchmove', (event) => drag && event.cancelable && event.preventDefault(), { passive: false })

window.addEventListener('pointerup', (event) => {
  if (!drag || event.pointerId !== drag.id) return
  const { one, corner, by, fresh } = drag
  plan().classList.remove('dragging')
  drag = null
  if (by) {
    ignoreClick = true
    setTimeout(() => (ignoreClick = false), 50)
    if (by.some((way) => Math.abs(way) > 1e-6)) {
      const at = shape(one, corner, fresh)[corner ?? 0]
      move(one.dataset.thing, corner, [at[0] + by[0], at[1] + by[1]], fresh)
    }
  }
  arrived()
})

window.addEventListener('pointercancel', (event) => {
  if (!drag || event.pointerId !== drag.id) return
  give()
})

// The drag is given up: everything lies where it lay.
function give() {
  putBack()
  plan().classList.remove('dragging')
  drag = null
  arrived()
}

function arrived() {
  if (!waiting) return
  const shown = waiting
  waiting = null
  show(shown)
}

let ignoreClick = false

work.addEventListener('click', (event) => {
  const inPlan = event.target.closest('svg.plan')
  if (inPlan) {
    if (event.detail === 0 && event.target.closest('a.thing')) {
      // Enter on a focused link.
      event.preventDefault()
      pick(event.target.closest('a.thing').dataset.thing)
      return
    }
    event.preventDefault()
    if (ignoreClick) return
    if (work.dataset.adding) {
      place(toYard(event.clientX, event.clientY))
      return
    }
    const found = hit(event)
    if (found && found.corner === null && found.one) pick(found.one.dataset.thing, mark(found.one))
    return
  }
  const link = event.target.closest('a[href^="/yard?"]')
  if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault()
    const url = new URL(link.href)
    const fromList = link.closest('.yard-list') !== null
    // A thing picked in the list is seen in the plan and its form comes into sight.
    send(() => ({ url: url.pathname + url.search, focus: link.closest('.yard-layers') ? null : '#thing' })).then(
      () => fromList && work.querySelector('.yard-columns').scrollIntoView({ block: 'start' }),
    )
  }
})

work.addEventListener('dragstart', (event) => event.target.closest('svg.plan') && event.preventDefault())

// ---------------------------------------------------------------- placing a new thing by touching the plan

function place([x, y]) {
  const { perMetre } = frame()
  const rows = [...work.querySelectorAll('.yard-corner')]
  const single = rows.length === 1
  const row = single ? rows[0] : rows.find((one) => [...one.querySelectorAll('input')].every((input) => !input.value))
  if (!row) return
  const at = [snapped(x) * perMetre, snapped(y) * perMetre]
  row.querySelectorAll('input').forEach((input, axis) => (input.value = String(Math.round(at[axis] * 100) / 100)))
  ghost()
}

function ghost() {
  const { perMetre } = frame()
  plan().querySelector('.ghosts')?.remove()
  const group = document.createElementNS(SVG, 'g')
  group.classList.add('ghosts')
  const given = [...work.querySelectorAll('.yard-corner')]
    .map((row) => [...row.querySelectorAll('input')].map((input) => parseFloat(input.value.replace(',', '.')) / perMetre))
    .filter((at) => at.every(Number.isFinite))
  const shape = document.createElementNS(SVG, 'polyline')
  const closed = work.querySelector('[name="outline.0.x"]') && given.length > 2
  shape.setAttribute('points', [...given, ...(closed ? [given[0]] : [])].map((at) => toDrawing(at).join(',')).join(' '))
  shape.classList.add('ghost')
  group.append(shape, ...given.map((at) => circle(...toDrawing(at), 4, 'ghost-point')))
  plan().append(group)
}

work.addEventListener('input', (event) => {
  if (work.dataset.adding && event.target.closest('.yard-corner')) ghost()
})

// ---------------------------------------------------------------- keys

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }
let rest = 0

document.addEventListener('keydown', (event) => {
  const typing = event.target.closest?.('input, textarea, select')
  const key = event.key.toLowerCase()
  if ((event.ctrlKey || event.metaKey) && !event.altKey && !typing && (key === 'z' || key === 'y')) {
    const way = key === 'y' || event.shiftKey ? 'redo' : 'undo'
    event.preventDefault()
    flush()
    step(way)
    return
  }
  if (event.key === 'Escape' && drag) return give()
  const handle = event.target.closest?.('.handle')
  if (event.key === 'Delete' && handle && picked()) {
    flush()
    const values = { thing: picked().dataset.thing, corner: handle.dataset.corner }
    send(() => ({ url: '/yard/cut', body: form(values), focus: '.handle' }))
    return
  }
  const way = ARROWS[event.key]
  const target = event.target.closest?.('.handle, .thing')
  if (!way || !target || event.ctrlKey || event.metaKey || event.altKey) return
  const one = picked()
  const corner = target.dataset.corner === undefined ? null : Number(target.dataset.corner)
  if (!one || (corner === null && target !== one)) return
  if (one.dataset.thing === '@outline' && corner === null) return
  event.preventDefault()
  const size = event.shiftKey ? STRIDE_M : SNAP_M
  const name = one.dataset.thing
  if (nudge && (nudge.name !== name || nudge.corner !== corner)) flush()
  const by = nudge?.by ?? [0, 0]
  nudge = { name, corner, by: [by[0] + way[0] * size, by[1] + way[1] * size] }
  const before = told?.name === name && told.corner === corner ? told.by : [0, 0]
  shift(one, corner, [before[0] + nudge.by[0], before[1] + nudge.by[1]])
  clearTimeout(rest)
  rest = setTimeout(flush, KEYS_REST_MS)
})

// Where the keys have moved something is worked out when it is sent: an earlier answer may have come meanwhile.
function flush() {
  clearTimeout(rest)
  if (!nudge) return
  const focus = nudge.corner === null ? `.thing[data-thing="${CSS.escape(nudge.name)}"]` : `.handle[data-corner="${nudge.corner}"]`
  const asked = nudge
  told = asked
  nudge = null
  send(() => {
    const one = thing(asked.name)
    if (!one) return null
    const at = corners(one)[asked.corner ?? 0]
    const values = { thing: asked.name, x: snapped(at[0] + asked.by[0]).toFixed(4), y: snapped(at[1] + asked.by[1]).toFixed(4) }
    if (asked.corner !== null) values.corner = asked.corner
    return { url: '/yard/move', body: form(values), focus }
  })
}

function step(way) {
  const asked = work.querySelector(`[data-step="${way}"]`)
  if (!asked) return
  const focus = mark(document.activeElement)
  send(() => ({ url: asked.getAttribute('action'), body: form({ thing: picked()?.dataset.thing ?? '' }), focus }))
}

work.addEventListener('submit', (event) => {
  const asked = event.target
  event.preventDefault()
  flush()
  if (asked.dataset.step) return step(asked.dataset.step)
  const values = new URLSearchParams(new FormData(asked, event.submitter))
  send(() => ({ url: asked.getAttribute('action'), body: values, focus: '#thing' }))
})

said.classList.add('floating')
ready()
