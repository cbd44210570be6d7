"""Users of the evening page, all of them in one process that is not the server's.

Run by `bench.web_load_case` as ``python -m bench.web_client ADDRESS NIGHT USERS SECONDS PAUSE HOLDS TICKS``; prints one
line of JSON: for each kind of request how long its answers took, and what else was answered than expected.
"""

from __future__ import annotations

import asyncio
import json
import random
import re
import sys
import uuid
from collections import Counter
from dataclasses import dataclass, field
from time import perf_counter

import httpx2


@dataclass
class Told:
    """What was measured."""

    seconds: dict[str, list[float]] = field(default_factory=dict)
    statuses: Counter[str] = field(default_factory=Counter)
    received_bytes: int = 0


@dataclass(frozen=True)
class Users:
    """Users who all do the same.

    Attributes
    ----------
    client : httpx2.AsyncClient
    night : str
    pause_s : float
        Between two looks of one user; the script of the page waits 30 s. [s]
    holds : bool
        Whether they keep the page as browsers do, and ask whether it has changed.
    until : float
        When they stop, on the clock of `perf_counter`. [s]
    told : Told
    """

    client: httpx2.AsyncClient
    night: str
    pause_s: float
    holds: bool
    until: float
    told: Told

    async def use(self, seed: int) -> None:
        """Open the page, then look again and again for ticks and for the page."""
        chance = random.Random(seed)
        mark = ""
        await asyncio.sleep(chance.random() * self.pause_s)
        while perf_counter() < self.until:
            await self.ask("ticks", "GET", f"/evening/ticks.json?night={self.night}")
            answer = await self.ask("page", "GET", "/", {"if-none-match": mark} if mark and self.holds else {})
            mark = answer.headers.get("etag", "")
            # Telephones do not keep step.
            await asyncio.sleep(self.pause_s * (0.9 + 0.2 * chance.random()))

    async def tick(self, every_s: float) -> None:
        """Tick the checklist task by task, and take everything back in the end."""
        page = (await self.client.get("/")).text
        keys = list(dict.fromkeys(re.findall(r'data-tick="([^"]+)"', page)))
        done = []
        while perf_counter() < self.until and keys:
            await asyncio.sleep(every_s)
            form = {"night": self.night, "key": keys.pop(0)}
            await self.ask("tick", "POST", "/evening/tick", form=form | {"entry": str(uuid.uuid4())})
            done.append(form)
        for form in done:
            await self.client.post("/evening/untick", data=form)

    async def ask(
        self,
        kind: str,
        method: str,
        path: str,
        headers: dict[str, str] | None = None,
        form: dict[str, str] | None = None,
    ) -> httpx2.Response:
        """Ask, and note how long the whole answer took."""
        began = perf_counter()
        answer = await self.client.request(method, path, headers=headers or {}, data=form)
        took = perf_counter() - began
        status = answer.status_code
        self.told.statuses[f"{kind} {status}"] += 1
        self.told.received_bytes += answer.num_bytes_downloaded
        name = f"{kind}, not changed" if status == 304 else kind
        self.told.seconds.setdefault(name, []).append(took)
        return answer


async def measure(
    address: str, night: str, *, users: int, seconds: float, pause_s: float, holds: bool, tick_every_s: float
) -> Told:
    """Let users look for a while.

    Parameters
    ----------
    address : str
        Of the server.
    night : str
        The evening's date.
    users : int
    seconds : float
        How long. [s]
    pause_s, holds
        As in `Users`.
    tick_every_s : float
        How often somebody ticks a task, so that everybody's page changes; 0 for never. [s]
    """
    told = Told()
    limits = httpx2.Limits(max_connections=users + 2, max_keepalive_connections=users + 2)
    async with httpx2.AsyncClient(base_url=address, limits=limits, timeout=60.0) as client:
        one = Users(client, night, pause_s, holds, perf_counter() + seconds, told)
        helper = [one.tick(tick_every_s)] if tick_every_s else []
        await asyncio.gather(*(one.use(seed) for seed in range(users)), *helper)
    return told


def main(given: list[str]) -> None:
    """Print what was measured."""
    address, night, users, seconds, pause, holds, ticks = given
    told = asyncio.run(
        measure(
            address,
            night,
            users=int(users),
            seconds=float(seconds),
            pause_s=float(pause),
            holds=holds == "holds",
            tick_every_s=float(ticks),
        )
    )
    print(json.dumps({"seconds": told.seconds, "statuses": told.statuses, "bytes": told.received_bytes}))


if __name__ == "__main__":
    main(sys.argv[1:])
