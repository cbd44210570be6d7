// Values of a chart by finger and keys. The picture, its sentence and its table are complete without this file.

for (const stage of document.querySelectorAll('.chart-stage')) {
  const places = JSON.parse(stage.dataset.places)
  if (places.length === 0) continue
  const svg = stage.querySelector('svg')
  const said = stage.parentElement.querySelector('.chart-said')
  const ring = document.createElementNS('http://www.w3.org/2000/svg', 'circle')
  ring.setAttribute('class', 'chart-ring')
  ring.setAttribute('r', '7')
  let at = -1

  // A slider is what screen readers let the arrow keys through to, and they say its text by themselves.
  const set = (name, value) => stage.setAttribute(name, String(value))
  set('role', 'slider')
  set('tabindex', 0)
  set('aria-label', stage.dataset.label)
  set('aria-valuemin', 1)
  set('aria-valuemax', places.length)

  function go(to) {
    at = Math.max(0, Math.min(places.length - 1, to))
    const [x, y, words] = places[at]
    ring.setAttribute('cx', x)
    ring.setAttribute('cy', y)
    svg.append(ring)
    said.textContent = words
    set('aria-valuenow', at + 1)
    set('aria-valuetext', words)
  }
  set('aria-valuenow', places.length)
  set('aria-valuetext', places[places.length - 1][2])

  stage.addEventListener('focus', () => { if (at < 0) go(places.length - 1) })
  stage.addEventListener('keydown', event => {
    const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -7, PageUp: 7 }
    const to = { Home: 0, End: places.length - 1 }[event.key] ?? (event.key in steps ? at + steps[event.key] : null)
    if (to === null || event.altKey || event.ctrlKey || event.metaKey) return
    event.preventDefault()
    go(to)
  })
  const touch = event => {
    const box = svg.getBoundingClientRect()
    const scale = svg.viewBox.baseVal.width / box.width
    const [x, y] = [(event.clientX - box.left) * scale, (event.clientY - box.top) * scale]
    // Across counts for more than up and down: a finger follows the days.
    const far = ([px, py]) => Math.abs(px - x) * 3 + Math.abs(py - y)
    go(places.reduce((best, place, index) => (far(place) < far(places[best]) ? index : best), 0))
  }
  stage.addEventListener('pointerdown', touch)
  stage.addEventListener('pointermove', event => { if (event.pointerType === 'mouse' || event.pressure > 0) touch(event) })
}
