"""How heavy evening and walk are, and how soon they can be used on a telephone of middling speed.

Chromium opens each page for the first time, with nothing kept, as a telephone of 390 x 844 whose processor is four
times slower than this one (CDP, Emulation.setCPUThrottlingRate). Bytes are all that came over the network, heads of
answers included (Network.loadingFinished). A page can be used once its first task can be ticked, or its first grade
tapped: the control is on the page, covered by nothing, and the page's script has run, so that it answers at once.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bench.machine import machine
from bench.web_server import serving
from bench.web_yard import TREES, keep, large_yard
from fruitwall.yard.demo import demo_yard

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser

SLOWER = 4
LARGEST_KB, LONGEST_S = 300.0, 2.0

FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]

PAGES = {
    "evening": ("/", "#before-dark button.tick:not([disabled])"),
    "walk": ("/walk", "main a[href^='/walk/']"),
    "walk, one tree": ("/walk/lychee-mauritius", "main label.grade"),
}
"""Address of each page, and what has to be there before it is of use."""

USABLE = """selector => new Promise(done => {
    // The first page that a person can use: painted, its modules run, and a tap would meet the control itself.
    const look = () => {
        const one = document.querySelector(selector)
        const loaded = performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd > 0
        if (one && loaded) {
            one.scrollIntoView({block: 'center'})
            const box = one.getBoundingClientRect()
            const met = document.elementFromPoint(box.left + box.width / 2, box.top + box.height / 2)
            if (box.height > 0 && met && (one.contains(met) || met.contains(one))) {
                // Behind all tasks of the page's modules, and behind the next frame.
                return requestAnimationFrame(() => setTimeout(() => done(performance.now()), 0))
            }
        }
        setTimeout(look, 5)
    }
    look()
})"""


@dataclass(frozen=True)
class Opened:
    """One first load of a page."""

    received_kb: float
    usable_s: float
    painted_s: float
    requests: int


def open_page(browser: Browser, address: str, selector: str, *, slower: int = SLOWER) -> Opened:
    """Open a page for the first time.

    Parameters
    ----------
    browser : Browser
        Chromium.
    address : str
    selector : str
        Of what has to be there before it is of use.
    slower : int
        By how much the processor is slowed down.
    """
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, device_scale_factor=2)
    page = context.new_page()
    session = context.new_cdp_session(page)
    finished: list[float] = []
    session.on("Network.loadingFinished", lambda told: finished.append(float(told["encodedDataLength"])))
    session.send("Network.enable")
    session.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    page.goto(address, wait_until="commit")
    usable_ms: Any = page.evaluate(USABLE, selector)
    page.wait_for_load_state("networkidle")
    painted_ms: Any = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0")
    context.close()
    return Opened(sum(finished) / 1e3, usable_ms / 1e3, painted_ms / 1e3, len(finished))


@contextmanager
def chromium() -> Iterator[Browser]:
    """Start the system's Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        yield browser
        browser.close()


def main(times: int = 5) -> int:
    """Print weights and times; give 1 if one is not kept to."""
    print(f"first load in Chromium, processor {SLOWER} times slower; {machine()}")
    good = True
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        for name, yard in (("demo yard", demo_yard()), (f"{TREES} trees", large_yard())):
            database = Path(folder) / f"{len(yard.trees)}.db"
            with serving(database, keep(database, yard)) as server:
                server.plan()
                time.sleep(1.0)
                for what, (path, selector) in PAGES.items():
                    opened = [open_page(browser, server.address + path, selector) for _ in range(times)]
                    heaviest = max(one.received_kb for one in opened)
                    usable = statistics.median(one.usable_s for one in opened)
                    painted = statistics.median(one.painted_s for one in opened)
                    kept = heaviest < LARGEST_KB and usable < LONGEST_S
                    good &= kept
                    print(
                        f"  {name}, {what}: {heaviest:.1f} kB in {opened[0].requests} answers; painted after "
                        f"{painted:.2f} s, of use after {usable:.2f} s (median of {times}; "
                        f"{min(one.usable_s for one in opened):.2f} to {max(one.usable_s for one in opened):.2f})"
                        f"{'' if kept else '  NOT kept'}"
                    )
    print(f"limits: {LARGEST_KB:.0f} kB, {LONGEST_S:.0f} s: {'kept' if good else 'NOT kept'}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
