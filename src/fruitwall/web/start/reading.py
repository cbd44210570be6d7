"""What was typed on the first evening, read as a whole; what cannot be read is noted in the page."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import UnknownTaxonError
from fruitwall.service.first_yard import (
    IN_FEET,
    SIDES,
    FirstRoom,
    FirstTree,
    FirstWall,
    Told,
    kind_named,
    quantity,
)
from fruitwall.service.household import decimal, signed
from fruitwall.speech import say
from fruitwall.yard.cities import nearest_city
from fruitwall.yard.display import ShownKind, format_quantity
from fruitwall.yard.model import Display

if TYPE_CHECKING:
    from fruitwall.web.start.page import StartPage

METRES = Display()
FEET = Display(temperature="F", length="ft", mass="lb", volume="gal")
"""Units of the first step, in which numbers alone are read."""


def read_all(page: StartPage) -> Told | None:
    """Read all answers.

    Parameters
    ----------
    page : StartPage
        Gets what is wrong, by its field, and what was guessed.

    Returns
    -------
    Told or None
        None where even the place is not known.
    """
    where = _place(page)
    feet = page.get("units") == "feet" or (not page.get("units") and where is not None and where[3] in IN_FEET)
    # A bare number is read in the household's unit, so its check must wait until that is known.
    _measure(page, "elevation", "length", feet, (-430, 6000))
    walls = {side: page.get(f"wall_{side}") for side in SIDES if page.get(f"wall_{side}")}
    for side in walls:
        _measure(page, f"wall_{side}", "length", feet, (1, 60))
    free_walls = _free_walls(page, feet)
    trees = _trees(page, feet)
    if not trees:
        page.wrong["tree0_kind"] = say("Name one tree at least.")
    sheets = _sheets(page, feet)
    rooms = _rooms(page, feet)
    _measure(page, "trolley", "mass", feet, (1, 2000))
    _whole(page, "lamps", 1000)
    _whole(page, "lamp_watts", 5000, least=1)
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
        lamps=page.get("lamps").lstrip("0"),
        lamp_watts=page.get("lamp_watts"),
        person=page.get("person"),
        minutes=page.get("minutes") or "45",
        lifts=page.get("lifts") != "no",
        free_walls=free_walls,
        protected=page.get("socket") == "yes",
        trolley=page.get("trolley"),
        rooms=rooms,
    )


def _free_walls(page: StartPage, feet: bool) -> list[FirstWall]:
    """Read the free-standing walls; a row without length is none, unless a tree was said to stand at it."""
    told = {page.get(f"tree{n}_at") for n in page.rows("tree") if page.get(f"tree{n}_kind")}
    walls: list[FirstWall] = []
    for n in page.rows("fwall"):
        length = page.get(f"fwall{n}_length")
        if not length and (f"wall{n}" in told or page.get(f"fwall{n}_height")):
            page.wrong[f"fwall{n}_length"] = say("Say how long this wall is.")
        _measure(page, f"fwall{n}_length", "length", feet, (0.5, 200))
        _measure(page, f"fwall{n}_height", "length", feet, (0.2, 30))
        if length:
            walls.append(FirstWall(page.get(f"fwall{n}_faces") or "south", length, page.get(f"fwall{n}_height")))
    return walls


def _wall_of(page: StartPage, at: str) -> str:
    """Give at which of the told walls a tree stands, counted without empty rows."""
    if not re.fullmatch(r"wall\d{1,3}", at):
        return at
    row = int(at[4:])
    return f"wall{sum(bool(page.get(f'fwall{n}_length')) for n in range(row))}"


def _trees(page: StartPage, feet: bool) -> list[FirstTree]:
    trees = []
    for n in page.rows("tree"):
        kind = page.get(f"tree{n}_kind")
        if not kind:
            continue
        try:
            name, guessed = kind_named(kind)
            if guessed:
                page.taken.append(say("“{typed}” is taken as {kind}.", typed=kind, kind=name))
        except UnknownTaxonError as error:
            page.wrong[f"tree{n}_kind"] = str(error)
        _measure(page, f"tree{n}_litres", "volume", feet, (0.5, 2000))
        _measure(page, f"tree{n}_height", "length", feet, (0.1, 25))
        at = _wall_of(page, page.get(f"tree{n}_at"))
        litres, height = page.get(f"tree{n}_litres"), page.get(f"tree{n}_height")
        trees.append(FirstTree(kind, litres, height, page.get(f"tree{n}_age"), at))
    return trees


def _sheets(page: StartPage, feet: bool) -> list[tuple[str, str, str]]:
    sheets = []
    for n in page.rows("sheet"):
        width, length = page.get(f"sheet{n}_width"), page.get(f"sheet{n}_length")
        if not width and not length:
            continue
        for name in ("width", "length"):
            _measure(page, f"sheet{n}_{name}", "length", feet, (0.2, 50), needed=True)
        _whole(page, f"sheet{n}_count", 1000, least=1)
        sheets.append((width, length, page.get(f"sheet{n}_count") or "1"))
    return sheets


def _rooms(page: StartPage, feet: bool) -> list[FirstRoom]:
    rooms = []
    for n in page.rows("indoor"):
        name, spaces = page.get(f"indoor{n}_name"), page.get(f"indoor{n}_spaces")
        height, kept_at = page.get(f"indoor{n}_height"), page.get(f"indoor{n}_kept")
        if not (name or spaces or height or kept_at):
            continue
        if not spaces:
            page.wrong[f"indoor{n}_spaces"] = say("Say how many pots fit.")
        _whole(page, f"indoor{n}_spaces", 1000, least=1)
        _measure(page, f"indoor{n}_height", "length", feet, (0.2, 20))
        _measure(page, f"indoor{n}_kept", "temperature", feet, (-10, 35))
        rooms.append(FirstRoom(name, spaces, height, kept_at))
    return rooms


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
                page.wrong[name] = say(
                    "A number of degrees from {least} to {most}.", least=signed(f"{-most:g}"), most=f"{most:g}"
                )
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
        zone = place[2]
    return place[0], place[1], zone, place[3]


def _measure(
    page: StartPage, name: str, kind: ShownKind, feet: bool, limits: tuple[float, float], *, needed: bool = False
) -> None:
    """Note where a measure cannot be read or is impossible."""
    written = page.get(name)
    if not written and not needed:
        return
    try:
        value = quantity(kind, written or "-", feet=feet)
    except ValueError as error:
        page.wrong[name] = str(error)
        return
    if not limits[0] <= value <= limits[1]:
        amount = decimal(format_quantity(value, kind, FEET if feet else METRES))
        page.wrong[name] = say("That can hardly be: {amount}.", amount=amount)


def _whole(page: StartPage, name: str, most: int, *, least: int = 0) -> None:
    """Note where a whole number cannot be read."""
    written = page.get(name)
    if written and not (written.isascii() and written.isdigit() and least <= int(written) <= most):
        page.wrong[name] = say("A whole number from {least} to {most}.", least=least, most=most)
