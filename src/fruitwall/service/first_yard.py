"""The first yard file, from the few things that somebody tells on the first evening.

Where things stand is laid out by us: the house in the middle of the north, the trees in rows before it or along the
wall that they were said to stand at. The owner drags them to their places later; the file says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from functools import cache

from fruitwall.errors import FruitwallError
from fruitwall.journal.rows import SHOWN
from fruitwall.plants.catalogue import catalogue
from fruitwall.service.house import House
from fruitwall.service.kind import look_up
from fruitwall.service.yards import check_yard_text, import_yard
from fruitwall.speech import say
from fruitwall.yard.demo import demo_yard_text
from fruitwall.yard.revise import flow_text
from fruitwall.yard.units import KINDS, read_quantity

SIDES = ("south", "north", "east", "west")
AGES = {"new": 1, "young": 3, "bearing": 8, "old": 20}
"""What people say of a tree's age, in years. Our judgement."""

ROW_M = 3.5
"""Between trees whose places are not known. Our judgement. [m]"""
HOUSE_M = (10.0, 8.0)
"""Width and depth of a house of which nothing is told. Our judgement. [m]"""
FROM_WALL_M = 1.2
"""Trunk to wall, of a tree that stands at it. Our judgement. [m]"""
WALL_STRIP_M = 8.0
"""Width of the strip in which a free-standing wall that runs north to south is laid out. Our judgement. [m]"""
IN_FEET = ("US",)


@dataclass(frozen=True)
class FirstTree:
    """One tree as told: words as typed."""

    kind: str
    litres: str = ""
    height: str = ""
    age: str = ""
    at: str = ""


@dataclass(frozen=True)
class FirstWall:
    """One free-standing wall as told: the side on which trees stand at it, and its measures as typed."""

    faces: str
    length: str
    height: str = ""


@dataclass(frozen=True)
class FirstRoom:
    """One place indoors as told: numbers as typed; not heated where no temperature was told."""

    name: str
    spaces: str
    height: str = ""
    kept_at: str = ""


@dataclass(frozen=True)
class Told:
    """Everything that was told; numbers as typed, empty where nothing was.

    Attributes
    ----------
    name : str
    latitude, longitude : float
    zone : str
    elevation : str
    feet : bool
        Whether bare numbers are feet, gallons and degrees Fahrenheit are shown.
    walls : dict
        Length of each side of the house that was told.
    trees : list of FirstTree
    sheets : list of (width, length, count)
    lamps, lamp_watts : str
        How many strings, and the watts of one.
    person, minutes : str
    lifts : bool
    free_walls : list of FirstWall
        A tree stands at the first of them where its `at` is ``wall0``.
    protected : bool
        Whether the outdoor socket is known to be protected by an RCD (GFCI); what is not known counts as no.
    trolley : str
        What it bears; empty where there is none.
    rooms : list of FirstRoom
    """

    name: str
    latitude: float
    longitude: float
    zone: str
    elevation: str = ""
    feet: bool = False
    walls: dict[str, str] = field(default_factory=dict)
    trees: list[FirstTree] = field(default_factory=list)
    sheets: list[tuple[str, str, str]] = field(default_factory=list)
    lamps: str = ""
    lamp_watts: str = ""
    person: str = ""
    minutes: str = "45"
    lifts: bool = True
    free_walls: list[FirstWall] = field(default_factory=list)
    protected: bool = False
    trolley: str = ""
    rooms: list[FirstRoom] = field(default_factory=list)


def quantity(kind: str, written: str, *, feet: bool) -> float:
    """Read a length, volume, mass or temperature as typed; a bare number is in the household's unit. [m, L, kg, °C]

    Raises
    ------
    ValueError
        If it is none; it says what was expected.
    """
    unit = {"length": "ft", "volume": "gal", "mass": "lb", "temperature": "F"}[kind]
    if re.search(r"\d,\d{3}(?!\d)", written):
        # A thousand to some and one and a bit to others: a yard at 1,200 ft must not end up at the sea.
        raise ValueError(say("Is {number} with decimals or in thousands? Write it without the comma.", number=written))
    bare = re.fullmatch(r"\s*-?[\d.,]+\s*", written)
    text = written.strip().replace(",", ".")
    return float(read_quantity(KINDS[kind], f"{text} {unit}" if feet and bare else text))


def kind_named(word: str) -> tuple[str, bool]:
    """Give the name of the kind that is meant, and whether it was guessed.

    Raises
    ------
    UnknownTaxonError
        It offers near names.
    """
    taxon, guessed = look_up(word, catalogue())
    return taxon.name, guessed


def kind_names() -> list[str]:
    """Give the names of all kinds, to choose from."""
    return sorted(taxon.name for taxon in catalogue().taxa)


def first_yard_text(told: Told) -> str:
    """Write the yard file, with comments for whoever opens it.

    Parameters
    ----------
    told : Told

    Returns
    -------
    str

    Raises
    ------
    ValueError, UnknownTaxonError
        If a number or kind cannot be read; the pages have asked before.
    """
    width, depth = HOUSE_M
    for side, length in told.walls.items():
        metres = quantity("length", length, feet=told.feet)
        if side in ("south", "north"):
            width = metres
        else:
            depth = metres
    at = {side: [tree for tree in told.trees if tree.at == side and side in told.walls] for side in SIDES}
    at_free = {n: [tree for tree in told.trees if tree.at == f"wall{n}"] for n in range(len(told.free_walls))}
    at_something = {id(tree) for trees in (*at.values(), *at_free.values()) for tree in trees}
    free = [tree for tree in told.trees if id(tree) not in at_something]
    columns = max(1, round(len(free) ** 0.5))
    south_m = ROW_M * (-(-len(free) // columns)) + 6.0
    west_m = 5.0
    wide = max(width + 2 * west_m, ROW_M * columns + 2 * west_m)
    house = (west_m, south_m, west_m + width, south_m + depth)
    tall = south_m + depth + 5.0
    lines_m, wide, tall = _laid_walls(told, wide, tall)
    # On the southern half of the earth the sun stands in the north: the open ground lies there.
    places = {
        id(tree): _at_wall(side, number, len(trees), house)
        for side, trees in at.items()
        for number, tree in enumerate(trees)
    }
    for number, tree in enumerate(free):
        row, column = divmod(number, columns)
        places[id(tree)] = (west_m + ROW_M * column + 0.5, south_m - 5.0 - ROW_M * row)
    if told.latitude < 0:
        house = (house[0], tall - house[3], house[2], tall - house[1])
        places = {key: (x, tall - y) for key, (x, y) in places.items()}
        for side, trees in at.items():
            places |= {id(tree): _at_wall(side, number, len(trees), house) for number, tree in enumerate(trees)}
    for n, trees in at_free.items():
        side, line = told.free_walls[n].faces, lines_m[n]
        places |= {id(tree): _at_wall(side, number, len(trees), line) for number, tree in enumerate(trees)}
    lines = [
        "# Begun on the first evening. Places of things are laid out by fruitwall, not measured: drag them to where",
        "# they stand on the page Yard. What is left out has a usual value; every field: docs/yard-file.md",
        "fruitwall: 1",
        f"name: {flow_text(told.name)}",
        "location:",
        f"  latitude: {told.latitude:.4f}",
        f"  longitude: {told.longitude:.4f}",
        f"  elevation: {quantity('length', told.elevation or '0', feet=told.feet):.0f}"
        + ("" if told.elevation else "   # not told: set it, air is thinner higher up"),
        f"  time_zone: {told.zone}",
    ]
    if told.feet:
        lines += ["display: {temperature: F, length: ft, mass: lb, volume: gal, currency: USD}"]
    corners = [[0.0, 0.0], [round(wide, 2), 0.0], [round(wide, 2), round(tall, 2)], [0.0, round(tall, 2)]]
    store = (house[0] + 0.5, house[1] - 0.6 if told.latitude >= 0 else house[3] + 0.6)
    lines += [f"outline: {flow_text(corners)}", f"gear_store: {flow_text([round(one, 2) for one in store])}"]
    if told.walls or told.free_walls:
        lines.append("structures:")
    if told.walls:
        x0, y0, x1, y1 = (round(one, 2) for one in house)
        lines += [
            "  - kind: building",
            "    id: house",
            f"    name: {flow_text(say('House'))}",
            f"    outline: {flow_text([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])}",
            "    height: 3          # to the eaves; usual, not measured",
        ]
    for n, (wall, (x0, y0, x1, y1)) in enumerate(zip(told.free_walls, lines_m, strict=True), 1):
        height = quantity("length", wall.height, feet=told.feet) if wall.height else 2.0
        name = say("Wall {number}", number=n)
        lines += [
            f"  - {{kind: wall, id: wall-{n}, name: {flow_text(name)}, line: "
            f"{flow_text([[round(x0, 2), round(y0, 2)], [round(x1, 2), round(y1, 2)]])}, height: {height:.2f}}}"
        ]
    lines.append("trees:")
    names: dict[str, int] = {}
    for tree in told.trees:
        lines += _tree_lines(tree, places[id(tree)], names, told.feet)
    lines += _gear_lines(told, store)
    return "\n".join(lines) + "\n"


def _laid_walls(told: Told, wide: float, tall: float) -> tuple[list[tuple[float, float, float, float]], float, float]:
    """Lay free-standing walls out in strips east of everything else.

    Returns
    -------
    lines : list of (x0, y0, x1, y1)
        Ends of each wall. [m]
    wide, tall : float
        Of the yard with them. [m]
    """
    lengths = [quantity("length", wall.length, feet=told.feet) for wall in told.free_walls]
    upright = [wall.faces in ("east", "west") for wall in told.free_walls]
    tall = max([tall, *(length + 4.0 for length, up in zip(lengths, upright, strict=True) if up)])
    middle, lines = tall / 2, []
    for length, up in zip(lengths, upright, strict=True):
        if up:
            x = wide + WALL_STRIP_M / 2
            lines.append((x, middle - length / 2, x, middle + length / 2))
            wide += WALL_STRIP_M
        else:
            lines.append((wide + 1.0, middle, wide + 1.0 + length, middle))
            wide += length + 2.0
    return lines, wide, tall


def _at_wall(side: str, number: int, of: int, house: tuple[float, float, float, float]) -> tuple[float, float]:
    """Give the place of one of several trees along a side of the house, or of a wall without thickness."""
    x0, y0, x1, y1 = house
    share = (number + 1) / (of + 1)
    along = {"south": y0 - FROM_WALL_M, "north": y1 + FROM_WALL_M, "west": x0 - FROM_WALL_M, "east": x1 + FROM_WALL_M}
    if side in ("south", "north"):
        return x0 + share * (x1 - x0), along[side]
    return along[side], y0 + share * (y1 - y0)


def _tree_lines(tree: FirstTree, place: tuple[float, float], names: dict[str, int], feet: bool) -> list[str]:
    """Write one tree."""
    kind = kind_named(tree.kind)[0]
    names[kind] = names.get(kind, 0) + 1
    shown = kind[:1].upper() + kind[1:]
    name = shown if names[kind] == 1 else f"{shown} {names[kind]}"
    stem = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "tree"
    height = quantity("length", tree.height, feet=feet) if tree.height else 2.0
    lines = [
        f"  - id: {stem}",
        f"    name: {flow_text(name)}",
        f"    taxon: {flow_text(kind)}",
        f"    position: {flow_text([round(place[0], 2), round(place[1], 2)])}",
        f"    height: {height:.2f}",
        f"    crown_diameter: {max(0.4, 0.6 * height):.2f}   # six tenths of the height: usual, not measured",
    ]
    if tree.age in AGES:
        lines.append(f"    age: {AGES[tree.age]}")
    if tree.litres:
        lines.append(f"    container: {{volume: {quantity('volume', tree.litres, feet=feet):.1f}}}")
    return lines


def _gear_lines(told: Told, store: tuple[float, float]) -> list[str]:
    """Write covers, lamps with the socket they need, trolley, places indoors, and who helps."""
    lines: list[str] = []
    if told.sheets or told.lamps or told.trolley:
        lines.append("gear:")
    if told.sheets:
        lines.append("  covers:")
    for number, (width, length, count) in enumerate(told.sheets, 1):
        across, along = (quantity("length", one, feet=told.feet) for one in (width, length))
        name = flow_text(say("Sheets {width} × {length}", width=width, length=length))
        lines += [
            f"  - {{id: sheets-{number}, name: {name},"
            f" material: fleece_medium, width: {across:.2f}, length: {along:.2f}, count: {int(count or 1)}}}"
        ]
    if told.lamps:
        lines += [
            "  lamps:",
            f"  - {{id: lamps, name: {flow_text(say('Lamps'))}, watts: {float(told.lamp_watts or 100):g}, "
            f"count: {int(told.lamps)}}}",
        ]
    if told.trolley:
        bears = quantity("mass", told.trolley, feet=told.feet)
        lines += [
            "  trolleys:",
            f"  - {{id: trolley, name: {flow_text(say('Trolley'))}, max_mass: {bears:.0f}}}",
        ]
    if told.lamps:
        volts, amps = (120, 15) if told.feet else (230, 16)
        known = "yes}   # have it checked" if told.protected else "no}   # not known: nothing is planned on it"
        lines += [
            "circuits:",
            f"  - {{id: socket, name: {flow_text(say('Outdoor socket'))}, volts: {volts}, amps: {amps}, "
            f"outlet: {flow_text([round(one, 2) for one in store])}, ground_fault: {known}",
        ]
    if told.rooms:
        lines.append("indoor_places:")
    for n, room in enumerate(told.rooms, 1):
        height = quantity("length", room.height, feet=told.feet) if room.height else 2.0
        warm = f", kept_at: {quantity('temperature', room.kept_at, feet=told.feet):.1f}" if room.kept_at else ""
        name = flow_text(room.name or say("Indoor place {number}", number=n))
        lines += [
            f"  - {{id: indoors-{n}, name: {name}, position: {flow_text([round(one, 2) for one in store])}, "
            f"spaces: {int(room.spaces)}, max_height: {height:.2f}{warm}}}"
        ]
    person = told.person or say("Me")
    lines += [
        "people:",
        f"  - {{id: first, name: {flow_text(person)}, minutes_before_dusk: {float(told.minutes or 45):g}, "
        f"lifts: {'yes' if told.lifts else 'no'}}}",
    ]
    return lines


def begin_yard(house: House, told: Told, *, author: str) -> str:
    """Store the first yard and show it; gives its name.

    Raises
    ------
    YardFileError
        With every problem.
    """
    taken = {one.name for one in house.journal.yards()}
    name = next(one for n in range(1, 1000) if (one := told.name if n == 1 else f"{told.name} {n}") not in taken)
    checked = check_yard_text(first_yard_text(replace(told, name=name)), "yard.yaml", today=house.clock().date())
    import_yard(house.journal, checked, now=house.clock(), author=author)
    _show(house, name, True, author)
    return name


@cache
def demo_name() -> str:
    """Give the name of the demo yard."""
    found = re.search(r"^name: (.+)$", demo_yard_text(), re.MULTILINE)
    if found is None:
        raise RuntimeError("the file of the demo yard has no name on a line of its own")
    return found[1].strip()


def demo_is_shown(house: House) -> bool:
    """Tell whether the demo yard is the one that the pages show now."""
    if house.yard_name is not None:
        return house.yard_name == demo_name()
    try:
        return house.yard()[1].yard == demo_name()
    except FruitwallError:
        return False


def show_demo(house: House, *, author: str) -> None:
    """Put the demo yard into the journal beside what is there, and show it."""
    checked = check_yard_text(demo_yard_text(), "demo_yard.yaml")
    import_yard(house.journal, checked, now=house.clock(), author=author)
    _show(house, checked.yard.name, True, author)


def demo_is_out(house: House) -> bool:
    """Tell whether the demo yard is in the journal and not put away."""
    from fruitwall.journal.ledger import Ledger

    name = demo_name()
    if all(yard.name != name for yard in house.journal.yards()):
        return False
    return Ledger(house.journal, name).setting(SHOWN) is not False


def put_demo_away(house: House, *, author: str) -> None:
    """Show the user's own yard again; what was tried with the demo stays in the journal.

    Nothing happens where the demo yard was never shown.
    """
    if demo_is_out(house):
        _show(house, demo_name(), False, author)


def _show(house: House, name: str, shown: bool, author: str) -> None:
    from fruitwall.journal.ledger import Ledger

    Ledger(house.journal, name).set(SHOWN, shown, author=author, now=house.clock())
