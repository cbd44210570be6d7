"""The steps of the first evening, worked out from what was typed so far.

Nothing is kept on the server until the end: every answer goes from step to step in the form itself, so that going
back, loading again or a wrong figure lose nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo, available_timezones

from fruitwall.service.first_yard import Told, kind_names
from fruitwall.service.household import long_day
from fruitwall.speech import marked, say
from fruitwall.yard.cities import City, search_cities

STEPS = ("place", "trees", "gear", "look")
ROWS = {"tree": (4, 60), "fwall": (1, 6), "sheet": (2, 20), "indoor": (1, 6)}
"""Rows of each kind that are shown at first, and the most there may be."""
MORE = {"tree": 4, "fwall": 1, "sheet": 2, "indoor": 1}
"""Rows that are added at a wish."""
SIDE_NAMES = {
    "south": marked("south side"),
    "north": marked("north side"),
    "east": marked("east side"),
    "west": marked("west side"),
}
AGE_NAMES = {
    "": marked("age unknown"),
    "new": marked("just planted"),
    "young": marked("young, 2 to 4 years"),
    "bearing": marked("bearing"),
    "old": marked("old"),
}


@dataclass
class StartPage:
    """One step.

    Attributes
    ----------
    step : str
        One of `STEPS`.
    typed : dict
        Every answer so far, by its field.
    wrong : dict
        What is wrong, by its field.
    cities : list of City
        Found by the search.
    told : Told or None
        Everything read, where nothing is wrong.
    taken : list of str
        What was guessed, in words.
    """

    step: str
    typed: dict[str, str]
    wrong: dict[str, str] = field(default_factory=dict)
    cities: list[City] = field(default_factory=list)
    told: Told | None = None
    taken: list[str] = field(default_factory=list)

    number = property(lambda self: STEPS.index(self.step) + 1)
    steps = len(STEPS)
    sides = property(lambda self: {key: say(name) for key, name in SIDE_NAMES.items()})
    ages = property(lambda self: {key: say(name) for key, name in AGE_NAMES.items()})
    kinds = property(lambda self: kind_names())
    zones = property(lambda self: sorted(zone for zone in available_timezones() if "/" in zone))

    def get(self, name: str) -> str:
        """Give what was typed into a field."""
        return self.typed.get(name, "")

    def rows(self, kind: str) -> range:
        """Give the numbers of the rows of a kind: those asked for, and those in which something stands."""
        first, most = ROWS[kind]
        asked = self.get(f"rows_{kind}")
        filled = [int(found[1]) + 1 for name in self.typed if (found := re.match(rf"{kind}(\d{{1,3}})_", name))]
        return range(min(most, max(first, int(asked) if asked.isdecimal() and len(asked) < 4 else 0, *filled, 0)))

    def may_grow(self, kind: str) -> bool:
        """Tell whether there may be more rows of a kind."""
        return len(self.rows(kind)) < ROWS[kind][1]

    def places(self) -> dict[str, str]:
        """Give where a tree may stand: at a side of the house, or at a free-standing wall."""
        walls = {f"wall{n}": say("free-standing wall {number}", number=n + 1) for n in self.rows("fwall")}
        return {key: say("{side} of the house", side=words) for key, words in self.sides.items()} | walls

    def carried(self) -> dict[str, str]:
        """Give the answers of other steps, which this one carries along."""
        return {name: value for name, value in self.typed.items() if value and step_of(name) != self.step}

    def clock(self, now: datetime) -> str:
        """Write the present day and time by the clock of the place."""
        if self.told is None:
            return ""
        local = now.astimezone(ZoneInfo(self.told.zone))
        return f"{long_day(local.date())}, {local:%H:%M}"


def step_of(name: str) -> str:
    """Give the step on which a field stands; none for what is always carried along."""
    if name.startswith("rows_") or name == "zone_found":
        return ""
    if name.startswith(("tree", "wall", "fwall")):
        return "trees"
    if name.startswith(("sheet", "lamp", "socket", "person", "minutes", "lift", "trolley", "indoor")):
        return "gear"
    return "look" if name == "zone" else "place"


def start_page(typed: Mapping[str, str], *, step: str, go: str) -> StartPage:
    """Work out which step comes, and what is wrong in the one that was answered.

    Parameters
    ----------
    typed : mapping
        Fields as they came.
    step : str
        Which step was answered.
    go : str
        ``search``, ``back``, ``next``, ``store`` or ``more-`` and one of `ROWS`; empty shows the step itself.
    """
    from fruitwall.web.start.reading import read_all

    answers = {name: value.strip()[:200] for name, value in typed.items() if name not in ("step", "go")}
    if answers.get("zone") and answers.get("zone") == answers.get("zone_found"):
        # It was found for the place and left so: another place has another.
        answers["zone"] = ""
    at = STEPS.index(step) if step in STEPS else 0
    page = StartPage(STEPS[at], answers)
    kind = go.removeprefix("more-")
    if kind in ROWS:
        answers[f"rows_{kind}"] = str(len(page.rows(kind)) + MORE[kind])
    if go == "back":
        page.step = STEPS[max(0, at - 1)]
    if page.get("search"):
        page.cities = search_cities(page.get("search"))
    if go == "search" and not page.cities:
        page.wrong["search"] = say("No city of that name is in the list. Try a larger one near you, or coordinates.")
    if go not in ("next", "store"):
        return page
    told = read_all(page)
    bad = {name: text for name, text in page.wrong.items() if STEPS.index(step_of(name)) <= at}
    if bad:
        page.step = STEPS[min(STEPS.index(step_of(name)) for name in bad)]
        page.wrong = bad
        return page
    page.step = STEPS[min(len(STEPS) - 1, at + 1)]
    page.told = None if page.wrong else told
    page.wrong = {}
    if page.told is not None and page.step == "look":
        answers["zone_found"] = answers["zone"] = page.told.zone
    return page
