// How many entries wait on this device to be sent, on every page; and sends them from wherever there is a connection.
// The pages of the walk say it themselves. Nothing is loaded or made where nothing waits.

const line = document.querySelector('.waiting-line')
const { queue, ...words } = line.dataset

// Gives what waits, without making a store where there is none.
function waiting() {
  return new Promise(resolve => {
    if (!('indexedDB' in self)) return resolve([])
    const asked = indexedDB.open('fruitwall-walk')
    asked.onupgradeneeded = () => asked.transaction.abort()
    asked.onerror = () => resolve([])
    asked.onblocked = () => resolve([])
    asked.onsuccess = () => {
      const found = asked.result.transaction('entries').objectStore('entries').getAll()
      found.onsuccess = () => resolve(found.result)
      found.onerror = () => resolve([])
      found.transaction.oncomplete = () => asked.result.close()
    }
  })
}

const said = (count, one, many) => (count === 1 ? one : many.replace('{count}', count))

async function show() {
  const records = await waiting()
  const refused = records.filter(one => one.state === 'refused').length
  const parts = []
  if (records.length > refused) parts.push(said(records.length - refused, words.one, words.many))
  if (refused) parts.push(said(refused, words.refusedOne, words.refusedMany))
  line.querySelector('a').textContent = parts.join('; ')
  line.hidden = parts.length === 0
  return records.length > refused
}

async function again() {
  if (!document.hidden && (await show())) (await import(queue)).send()
}

if (!document.querySelector('#walk-told')) {
  if ('BroadcastChannel' in self) new BroadcastChannel('fruitwall-walk').onmessage = show
  addEventListener('online', again)
  addEventListener('pageshow', again)
  document.addEventListener('visibilitychange', again)
  again().catch(() => {})
}
