// After a log-out: pages and photos that the walk kept on this device go. Entries that wait to be sent are kept
// elsewhere (IndexedDB) and stay, and so do the program's own files.

if ('caches' in self) {
  for (const name of await caches.keys()) {
    if (/^fruitwall-(pages|photos)/.test(name)) await caches.delete(name)
  }
}
