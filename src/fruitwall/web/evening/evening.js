// Ticks of the checklist, kept on this device only. The page is complete without this file.

const boxes = [...document.querySelectorAll("input[data-task]")];
const progress = document.querySelector(".progress");
const PREFIX = "fruitwall:tick:";

// A browser may forbid storage (private window): then ticks last as long as the page.
const store = {
  get(key) {
    try {
      return localStorage.getItem(PREFIX + key) !== null;
    } catch {
      return false;
    }
  },
  set(key, on) {
    try {
      if (on) localStorage.setItem(PREFIX + key, new Date().toISOString());
      else localStorage.removeItem(PREFIX + key);
    } catch {
      /* nothing to keep it in */
    }
  },
  forgetOld() {
    try {
      const weekAgo = Date.now() - 7 * 24 * 3600 * 1000;
      for (const key of Object.keys(localStorage)) {
        if (key.startsWith(PREFIX) && Date.parse(localStorage.getItem(key)) < weekAgo) localStorage.removeItem(key);
      }
    } catch {
      /* nothing kept */
    }
  },
};

function count() {
  const evening = boxes.filter((box) => box.closest("#before-dark"));
  if (!progress || evening.length === 0) return;
  const done = evening.filter((box) => box.checked).length;
  progress.textContent = progress.dataset.words.replace("{done}", done).replace("{all}", evening.length);
  progress.hidden = false;
}

store.forgetOld();
for (const box of boxes) {
  box.checked = store.get(box.dataset.task);
  box.addEventListener("change", () => {
    store.set(box.dataset.task, box.checked);
    count();
  });
}
count();

// Another tab of this device ticked something.
addEventListener("storage", () => {
  for (const box of boxes) box.checked = store.get(box.dataset.task);
  count();
});
