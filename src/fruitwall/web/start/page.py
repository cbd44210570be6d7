"""The steps of the first evening, worked out from what was typed so far.

Nothing is kept on the server until the end: every answer goes from step to step in the form itself, so that going
back, loading again or a wrong figure lose nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from fruitwall.errors import UnknownTaxonError
from fruitwall.service.first_yard import IN_FEET, SIDES, FirstTree, Told, kind_named, kind_names, quantity
from fruitwall.speech import marked, say
from fruitwall.yard.cities import City, nearest_city, search_cities

STEPS = ("place", "trees", "gear", "look")
TREES = 8
SHEETS = 3
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
    trees = range(TREES)
    sheets = range(SHEETS)
    sides = property(lambda self: {key: say(name) for key, name in SIDE_NAMES.items()})
    ages = property(lambda self: {key: say(name) for key, name in AGE_NAMES.items()})
    kinds = property(lambda self: kind_names())

    def get(self, name: str) -> str:
        """Give what was typed into a field."""
        return self.typed.get(name, "")

    def carried(self) -> dict[str, str]:
        """Give the answers of other steps, which this one carries along."""
        return {name: value for name, value in self.typed.items() if value and _step_of(name) != self.step}


def _step_of(name: str) -> str:
    if name.startswith(("tree", "wall")):
        return "trees"
    if name.startswith(("sheet", "lamp", "person", "minutes", "lift")):
        return "gear"
    return "place"


def start_page(typed: Mapping[str, str], *, step: str, go: str) -> StartPage:
    """Work out which step comes, and what is wrong in the one that was answered.

    Parameters
    ----------
    typed : mapping
        Fields as they came.
    step : str
        Which step was answered.
    go : str
        ``search``, ``back`` or ``next``; empty shows the step itself.
    """
    answers = {name: value.strip()[:200] for name, value in typed.items() if name not in ("step", "go")}
    at = STEPS.index(step) if step in STEPS else 0
    page = StartPage(STEPS[at], answers)
    if go == "back":
        page.step = STEPS[max(0, at - 1)]
    if page.get("search"):
        page.cities = search_cities(page.get("search"))
    if go == "search" and not page.cities:
        page.wrong["search"] = say("No city of that name is in the list. Try a larger one near you, or coordinates.")
    if go not in ("next", "store"):
        return page
    told = _told(page)
    bad = {name: text for name, text in page.wrong.items() if STEPS.index(_step_of(name)) <= at}
    if bad:
        page.step = STEPS[min(STEPS.index(_step_of(name)) for name in bad)]
        page.wrong = bad
        return page
    page.step = STEPS[min(len(STEPS) - 1, at + 1)]
    page.told = None if page.wrong else told
    page.wrong = {}
    return page


def _told(page: StartPage) -> Told | None:
    """Read all answers; what cannot be read is noted in the page."""
    where = _place(page)
    feet = page.get("units") == "feet" or (not page.get("units") and where is not None and where[3] in IN_FEET)
    # A bare number is read in the household's unit, so its check must wait until that is known.
    _measure(page, "elevation", "length", page.get("elevation"), feet, (-430, 6000))
    walls = {side: page.get(f"wall_{side}") for side in SIDES if page.get(f"wall_{side}")}
    for side, length in walls.items():
        _measure(page, f"wall_{side}", "length", length, feet, (1, 60))
    trees = []
    for number in range(TREES):
        kind = page.get(f"tree{number}_kind")
        if not kind:
            continue
        try:
            name, guessed = kind_named(kind)
            if guessed:
                page.taken.append(say("“{typed}” is taken as {kind}.", typed=kind, kind=name))
        except UnknownTaxonError as error:
            page.wrong[f"tree{number}_kind"] = str(error)
        litres, height = page.get(f"tree{number}_litres"), page.get(f"tree{number}_height")
        _measure(page, f"tree{number}_litres", "volume", litres, feet, (0.5, 2000))
        _measure(page, f"tree{number}_height", "length", height, feet, (0.1, 25))
        trees.append(FirstTree(kind, litres, height, page.get(f"tree{number}_age"), page.get(f"tree{number}_at")))
    if not trees:
        page.wrong["tree0_kind"] = say("Name one tree at least.")
    sheets = []
    for number in range(SHEETS):
        width, length = page.get(f"sheet{number}_width"), page.get(f"sheet{number}_length")
        if not width and not length:
            continue
        for one, name in ((width, "width"), (length, "length")):
            _measure(page, f"sheet{number}_{name}", "length", one or "-", feet, (0.2, 50))
        _whole(page, f"sheet{number}_count", 1000)
        sheets.append((width, length, page.get(f"sheet{number}_count") or "1"))
    _whole(page, "lamps", 1000)
    _whole(page, "lamp_watts", 5000)
    _whole(page, "minutes", 600)
    if where is None:
        return None
    return Told(
        name=page.get("name") or say("Our yard"),
        latitude=where[0],
        longitude=where[1],
        zone=where[2],
        elevation=page.get("elevation"),
        feet=feet,
        walls=walls,
        trees=trees,
        sheets=sheets,
        lamps=page.get("lamps") if page.get("lamps") != "0" else "",
        lamp_watts=page.get("lamp_watts"),
        person=page.get("person"),
        minutes=page.get("minutes") or "45",
        lifts=page.get("lifts") != "no",
    )


def _place(page: StartPage) -> tuple[float, float, str, str] | None:
    """Read latitude, longitude, time zone and country: of the coordinates, else of the city."""
    if page.get("latitude") or page.get("longitude"):
        found = []
        for name, most in (("latitude", 90.0), ("longitude", 180.0)):
            try:
                value = float(page.get(name).replace(",", "."))
            except ValueError:
                value = float("nan")
            if not -most <= value <= most:
                page.wrong[name] = say("A number of degrees from {least} to {most}.", least=-most, most=most)
            found.append(value)
        if page.wrong:
            return None
        near = nearest_city(*found)
        place = (found[0], found[1], near.zone, near.country)
    else:
        chosen = re.fullmatch(r"(-?[\d.]+) (-?[\d.]+)", page.get("city"))
        if chosen is None:
            page.wrong["search"] = say("Search for a city and choose it, or give coordinates.")
            return None
        near = nearest_city(float(chosen[1]), float(chosen[2]))
        place = (near.latitude_deg, near.longitude_deg, near.zone, near.country)
    zone = page.get("zone") or place[2]
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError):
        page.wrong["zone"] = say("There is no such time zone; leave it empty for that of the place.")
    return place[0], place[1], zone, place[3]


def _measure(page: StartPage, name: str, kind: str, written: str, feet: bool, limits: tuple[float, float]) -> None:
    """Note where a measure cannot be read or is impossible."""
    if not written:
        return
    try:
        value = quantity(kind, written, feet=feet)
    except ValueError as error:
        page.wrong[name] = str(error)
        return
    if not limits[0] <= value <= limits[1]:
        page.wrong[name] = say("That can hardly be: {value} in metres or litres.", value=f"{value:.4g}")


def _whole(page: StartPage, name: str, most: int) -> None:
    """Note where a whole number cannot be read."""
    written = page.get(name)
    if written and not (written.isascii() and written.isdigit() and int(written) <= most):
        page.wrong[name] = say("A whole number up to {most}.", most=most)
