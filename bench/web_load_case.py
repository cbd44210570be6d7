"""50 users who look at the evening page of a 60-tree yard: how long `fruitwall serve` lets them wait.

The yard is made by `bench.web_yard` and planned once; after that every look is answered from the kept plan. Three
times: as telephones do it, each looking every 30 s (the script of the page) for ticks and for the page itself, while
somebody ticks a task every 5 s; then without any pause, each asking as soon as it is answered, which measures the
server and not the users; and so once more with users who keep nothing, so that every page is sent whole.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from bench.machine import machine
from bench.web_server import Server, serving
from bench.web_yard import TREES, keep, large_yard
from fruitwall.yard.demo import demo_yard

USERS = 50
POLL_S = 30.0
"""As in ``ticks.js``. [s]"""

TARGET_S = 0.300
"""What 95 of 100 answers have to keep to as telephones look. [s]"""


def share(values: list[float], part: float) -> float:
    """Give the value that a part of the values does not exceed (nearest rank)."""
    return sorted(values)[max(0, math.ceil(part * len(values)) - 1)]


def load(server: Server, night: str, *, seconds: float, pause_s: float, holds: bool, tick_every_s: float) -> Any:
    """Let the users look from a process of their own; gives what it prints."""
    words = (server.address, night, USERS, seconds, pause_s, "holds" if holds else "anew", tick_every_s)
    command = [sys.executable, "-m", "bench.web_client", *map(str, words)]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def show(what: str, told: Any, seconds: float) -> float:
    """Print one run; gives its 95th percentile. [s]"""
    everything = [one for kind in told["seconds"].values() for one in kind]
    print(f"{what}: {len(everything) / seconds:.1f} requests/s, {told['bytes'] / seconds / 1e3:.0f} kB/s received")
    for kind, took in [*sorted(told["seconds"].items()), ("all", everything)]:
        percentiles = ", ".join(f"p{part} {share(took, part / 100) * 1e3:.0f}" for part in (50, 95, 99))
        print(f"  {kind:22s} {len(took):6d} answers; {percentiles} ms")
    odd = {what: count for what, count in told["statuses"].items() if what.split()[1] not in ("200", "303", "304")}
    if odd:
        print(f"  not as expected: {odd}")
    return share(everything, 0.95)


def main(seconds: float = 60.0) -> int:
    """Print the times; give 1 if they are not kept to."""
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "demo.db"
        with serving(database, keep(database, demo_yard())) as server:
            listening = server.memory_mb()
            planned_s = server.plan()
            print(
                f"demo yard: listens {server.listens_after_s:.1f} s after the start, plans in {planned_s:.1f} s; "
                f"resident {listening:.0f} MB before it, {server.memory_mb():.0f} MB at rest after it"
            )
        database = Path(folder) / "large.db"
        now = keep(database, large_yard())
        night = str(now.date())
        with serving(database, now) as server:
            planned_s = server.plan()
            print(f"{TREES} trees, planned once in {planned_s:.1f} s; {USERS} users; {machine()}")
            told = load(server, night, seconds=seconds, pause_s=POLL_S, holds=True, tick_every_s=5.0)
            found = show(f"every {POLL_S:.0f} s, a tick every 5 s", told, seconds)
            for what, holds in (("without pause", True), ("without pause, every page sent whole", False)):
                told = load(server, night, seconds=seconds / 4, pause_s=0.0, holds=holds, tick_every_s=0.0)
                show(what, told, seconds / 4)
            print(f"  resident {server.memory_mb():.0f} MB after all")
    kept = found < TARGET_S
    print(f"p95 {found * 1e3:.0f} ms, target {TARGET_S * 1e3:.0f} ms: {'kept' if kept else 'NOT kept'}")
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
