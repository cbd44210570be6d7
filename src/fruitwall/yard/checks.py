"""Do the parts of a yard fit together?

The model checks each value by itself; here is what needs two of them, the map or the calendar. Errors make a yard
unusable. Warnings are told and leave the decision to the grower. Whether a taxon is known is for the service to say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime

from fruitwall.speech import quantity, say
from fruitwall.yard.base import Part
from fruitwall.yard.model import Building, Canopy, Pond, Tree, Wall, Yard
from fruitwall.yard.near_names import did_you_mean
from fruitwall.yard.problems import Location, Problem, path_text

Check = Callable[[Yard], Iterator[Problem]]

MAX_ZONE_OFFSET_H = 4.0
"""Clocks may be so far from the sun's time (the west of China: 3.1 h) before the longitude's sign is doubted."""

MAX_SHELTER_M = 50.0
"""Length and width up to which the air in a shelter is computed as one room; its height the model keeps to 10 m."""


def check_yard(yard: Yard, *, today: date | None = None) -> list[Problem]:
    """Give all that does not fit together in a yard.

    Parameters
    ----------
    yard : Yard
        Any.
    today : date, optional
        For planting days; left out, these are not checked.

    Returns
    -------
    list of Problem
        Errors and warnings, without line numbers.
    """
    checks: tuple[Check, ...] = (
        _identifiers,
        _names,
        _time_zone,
        _outlines,
        _tree_positions,
        _crowns,
        _picking,
        _shelters,
        _covers,
        _shades,
        _electricity,
        _indoor_places,
        _sensors,
    )
    found = [problem for check in checks for problem in check(yard)]
    if today is not None:
        found.extend(_planting_days(yard, today))
    return found


def _error(message: str, *loc: str | int) -> Problem:
    return Problem("error", loc, message)


def _warning(message: str, *loc: str | int) -> Problem:
    return Problem("warning", loc, message)


def _things(yard: Yard) -> Iterator[tuple[Location, Part]]:
    """Give everything that has an identifier, with its place in the file."""
    lists: dict[Location, Sequence[Part]] = {
        ("structures",): yard.structures,
        ("trees",): yard.trees,
        ("shelters",): yard.shelters,
        ("gear", "covers"): yard.gear.covers,
        ("gear", "lamps"): yard.gear.lamps,
        ("gear", "heaters"): yard.gear.heaters,
        ("gear", "leads"): yard.gear.leads,
        ("gear", "trolleys"): yard.gear.trolleys,
        ("gear", "shades"): yard.gear.shades,
        ("gear", "paints"): yard.gear.paints,
        ("circuits",): yard.circuits,
        ("indoor_places",): yard.indoor_places,
        ("sensors",): yard.sensors,
        ("people",): yard.people,
        ("kinds",): yard.kinds,
    }
    for loc, things in lists.items():
        for number, thing in enumerate(things):
            yield (*loc, number), thing


def _identifiers(yard: Yard) -> Iterator[Problem]:
    """Each identifier is used once in the whole file."""
    met: dict[str, str] = {}
    for loc, thing in _things(yard):
        identifier = str(getattr(thing, "id", ""))
        if identifier in met:
            message = say(
                'the id "{identifier}" is already that of {other}; each thing needs its own',
                identifier=identifier,
                other=met[identifier],
            )
            yield _error(message, *loc, "id")
        met.setdefault(identifier, path_text(loc))


def _names(yard: Yard) -> Iterator[Problem]:
    """A checklist on which two trees or two people have one name cannot be followed."""
    named = {"trees": [tree.name for tree in yard.trees], "people": [person.name for person in yard.people]}
    for field, names in named.items():
        met: dict[str, int] = {}
        for number, name in enumerate(names):
            first = met.setdefault(name.casefold(), number)
            if first != number:
                message = say(
                    'the name "{name}" is also that of {field}[{first}]; tell them apart in the plan',
                    name=name,
                    field=field,
                    first=first,
                )
                yield _warning(message, field, number, "name")


def _time_zone(yard: Yard) -> Iterator[Problem]:
    """The time zone exists, and its clocks go roughly with the sun of the place."""
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

    name = yard.location.time_zone
    try:
        zone = ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        hint = did_you_mean(name, available_timezones(), at_least=0.85) or say(
            "; see the list of the IANA time zone database"
        )
        yield _error(
            say('expected a time zone such as America/Los_Angeles, got "{name}"{hint}', name=name, hint=hint),
            "location",
            "time_zone",
        )
        return
    offset = datetime(2026, 1, 15, 12, tzinfo=zone).utcoffset()
    clock_h = offset.total_seconds() / 3600 if offset else 0.0
    apart = (clock_h - yard.location.longitude_deg / 15 + 12) % 24 - 12
    if abs(apart) > MAX_ZONE_OFFSET_H:
        yield _warning(
            say(
                "the clocks of {name} do not go with longitude {longitude:g}°; west of Greenwich it is negative",
                name=name,
                longitude=yard.location.longitude_deg,
            ),
            "location",
            "longitude",
        )


def _outlines(yard: Yard) -> Iterator[Problem]:
    """Outlines enclose something and do not cross themselves."""
    from fruitwall.yard.plan import crossing

    outlined: list[tuple[Location, Sequence[tuple[float, float]]]] = [(("outline",), yard.outline)]
    for loc, thing in _things(yard):
        outline = getattr(thing, "outline", None)
        if outline:
            outlined.append(((*loc, "outline"), outline))
    for loc, outline in outlined:
        wrong = crossing(outline)
        if wrong:
            yield _error(say("{wrong}; give the corners in order, one way round", wrong=wrong), *loc)


def _tree_positions(yard: Yard) -> Iterator[Problem]:
    """Trees stand in the yard, and neither in a building, a pond nor a wall."""
    from fruitwall.yard.plan import contains, distance_to_line_m, well_inside

    for number, tree in enumerate(yard.trees):
        where = f"[{tree.position[0]:g}, {tree.position[1]:g}]"
        if not contains(yard.outline, tree.position):
            yield _error(say("{where} lies outside the yard's outline", where=where), "trees", number, "position")
        for thing in yard.structures:
            if isinstance(thing, Building | Pond) and well_inside(thing.outline, tree.position):
                yield _error(
                    say(
                        '{where} lies in the pond "{thing}"'
                        if isinstance(thing, Pond)
                        else '{where} lies in the building "{thing}"',
                        where=where,
                        thing=thing.id,
                    ),
                    "trees",
                    number,
                    "position",
                )
            elif isinstance(thing, Wall) and distance_to_line_m(thing, tree.position) < thing.thickness_m / 2:
                yield _warning(
                    say('{where} lies in the wall "{thing}"', where=where, thing=thing.id), "trees", number, "position"
                )


def _crowns(yard: Yard) -> Iterator[Problem]:
    """Crowns begin below their top."""
    for number, tree in enumerate(yard.trees):
        if tree.crown_base_m >= tree.height_m:
            message = say(
                "must be less than the tree's height ({height}), got {base}",
                height=_m(tree.height_m),
                base=_m(tree.crown_base_m),
            )
            yield _error(message, "trees", number, "crown_base")
    for number, thing in enumerate(yard.structures):
        if isinstance(thing, Canopy) and thing.base_m >= thing.height_m:
            message = say(
                "must be less than the canopy's height ({height}), got {base}",
                height=_m(thing.height_m),
                base=_m(thing.base_m),
            )
            yield _error(message, "structures", number, "base")


def _m(length_m: float) -> str:
    return quantity(length_m, "m", ".4g")


def _picking(yard: Yard) -> Iterator[Problem]:
    """What may be picked must hang there and be worth something, and so must the bloom, or nothing comes of it."""
    for number, tree in enumerate(yard.trees):
        if tree.bloom_worth and "flower" not in tree.stages:
            message = say(
                "the bloom of {tree} is worth something, but its stages do not name flower: it counts nothing",
                tree=tree.name,
            )
            yield _warning(message, "trees", number, "bloom_worth")
        elif tree.bloom_worth is None and tree.fruit_worth > 0 and {"fruit", "flower"} <= set(tree.stages):
            message = say(
                "{tree} carries fruit and flowers: give `bloom_worth`, or its bloom counts nothing", tree=tree.name
            )
            yield _warning(message, "trees", number, "stages")
        if not tree.pickable:
            continue
        if "fruit" not in tree.stages:
            message = say(
                "the fruit of {tree} may be picked, but its stages do not name fruit: nothing is picked", tree=tree.name
            )
            yield _warning(message, "trees", number, "pickable")
        elif tree.fruit_worth == 0:
            message = say("the fruit of {tree} may be picked, but its worth is 0: nothing is picked", tree=tree.name)
            yield _warning(message, "trees", number, "pickable")


def _shelters(yard: Yard) -> Iterator[Problem]:
    """Shelters are not too large to compute, and name trees that exist, stand inside and are in no other shelter."""
    from fruitwall.yard.plan import contains

    trees = {tree.id: tree for tree in yard.trees}
    taken: dict[str, str] = {}
    for number, shelter in enumerate(yard.shelters):
        length = _longest_side_m(shelter.outline)
        if length > MAX_SHELTER_M:
            message = say(
                'the shelter "{shelter}" is {length} long; give one of at most {most} in length '
                "and width, or enter its bays as shelters of their own",
                shelter=shelter.id,
                length=_m(length),
                most=_m(MAX_SHELTER_M),
            )
            yield _error(message, "shelters", number, "outline")
        for place, name in enumerate(shelter.trees):
            loc = ("shelters", number, "trees", place)
            tree = trees.get(name)
            if tree is None:
                yield _error(
                    say('no tree has the id "{name}"{hint}', name=name, hint=did_you_mean(name, trees)),
                    *loc,
                )
                continue
            if name in taken:
                yield _error(
                    say('the tree "{name}" is already in the shelter "{shelter}"', name=name, shelter=taken[name]), *loc
                )
            taken.setdefault(name, shelter.id)
            if not contains(shelter.outline, tree.position):
                yield _error(
                    say(
                        'the tree "{name}" stands outside the outline of the shelter "{shelter}"',
                        name=name,
                        shelter=shelter.id,
                    ),
                    *loc,
                )
            elif tree.height_m > shelter.height_m:
                message = say(
                    'the tree "{name}" ({height}) is taller than the shelter ({highest})',
                    name=name,
                    height=_m(tree.height_m),
                    highest=_m(shelter.height_m),
                )
                yield _warning(message, *loc)


def _longest_side_m(outline: Sequence[tuple[float, float]]) -> float:
    """Give the length of the smallest rectangle round an outline. [m]"""
    from shapely import LineString, MultiPoint, Polygon

    around = MultiPoint(outline).minimum_rotated_rectangle
    corners = list(around.exterior.coords if isinstance(around, Polygon) else around.coords)
    return max(float(LineString(corners[at : at + 2]).length) for at in range(min(2, len(corners) - 1)))


def _covers(yard: Yard) -> Iterator[Problem]:
    """Each sheet is of use for some tree."""
    for number, cover in enumerate(yard.gear.covers):
        short = min(cover.width_m, cover.length_m)
        smallest = min(yard.trees, key=lambda tree: tree.crown_diameter_m)
        size = f"{_m(cover.width_m)} by {_m(cover.length_m)}"
        if short < smallest.crown_diameter_m:
            yield _error(
                say(
                    "{size} is smaller than any crown here: the smallest, of {smallest}, is {diameter} across",
                    size=size,
                    smallest=smallest.id,
                    diameter=_m(smallest.crown_diameter_m),
                ),
                "gear",
                "covers",
                number,
            )
        elif not any(short >= _over_and_down(tree) for tree in yard.trees):
            easiest = min(yard.trees, key=_over_and_down)
            yield _warning(
                say(
                    "{size} reaches over a crown but to the ground for no tree; {easiest} would need {needed} each way",
                    size=size,
                    easiest=easiest.id,
                    needed=_m(_over_and_down(easiest)),
                ),
                "gear",
                "covers",
                number,
            )


def _over_and_down(tree: Tree) -> float:
    """Length of a sheet over a crown and down to the ground on both sides. [m]"""
    return tree.crown_diameter_m + 2 * tree.height_m


def _shades(yard: Yard) -> Iterator[Problem]:
    """Each shade cloth is of use for some tree."""
    for number, cloth in enumerate(yard.gear.shades):
        if any(min(cloth.width_m, cloth.length_m) >= _over_crown(tree) - 1e-3 for tree in yard.trees):
            continue
        easiest = min(yard.trees, key=_over_crown)
        yield _warning(
            say(
                "{size} hangs down to the lowest leaves of no tree; {easiest} would need {needed} each way",
                size=f"{_m(cloth.width_m)} by {_m(cloth.length_m)}",
                easiest=easiest.id,
                needed=_m(_over_crown(easiest)),
            ),
            "gear",
            "shades",
            number,
        )


def _over_crown(tree: Tree) -> float:
    """Length of a cloth over a crown and down to its lowest leaves on both sides. [m]"""
    return tree.crown_diameter_m + 2 * max(0.1, tree.height_m - tree.crown_base_m)


def _electricity(yard: Yard) -> Iterator[Problem]:
    """Heaters and lamps have a circuit, and circuits outdoors are protected."""
    for field, things in (("heaters", yard.gear.heaters), ("lamps", yard.gear.lamps)):
        if things and not yard.circuits:
            yield _warning(say("there is no circuit to plug these into, so they will not be planned"), "gear", field)
    for number, circuit in enumerate(yard.circuits):
        if not circuit.ground_fault:
            yield _warning(
                say(
                    "without ground-fault protection (RCD, GFCI) electricity outdoors can kill; what must be "
                    "there is for the electrical code of the place and a licensed electrician to say, and "
                    "they prevail over any plan"
                ),
                "circuits",
                number,
                "ground_fault",
            )


def _indoor_places(yard: Yard) -> Iterator[Problem]:
    """Potted trees go through some door, as far as there are doors."""
    if not yard.indoor_places:
        return
    highest = max(place.max_height_m for place in yard.indoor_places)
    for number, tree in enumerate(yard.trees):
        if tree.container is not None and tree.height_m > highest:
            message = say(
                "at {height} it goes through no door here (up to {highest}); it stays out",
                height=_m(tree.height_m),
                highest=_m(highest),
            )
            yield _warning(message, "trees", number, "height")


def _sensors(yard: Yard) -> Iterator[Problem]:
    """A thermometer hangs in one place, there is one station, and a name belongs to one thing that is read."""
    trees = {tree.id for tree in yard.trees}
    met = {name.casefold() for tree in yard.trees for name in (tree.id, tree.name)}
    station: str | None = None
    for number, sensor in enumerate(yard.sensors):
        if (sensor.tree is None) == (sensor.position is None):
            yield _error(say("give either the tree in which it hangs or its position"), "sensors", number, "tree")
        elif sensor.tree is not None and sensor.tree not in trees:
            hint = did_you_mean(sensor.tree, trees)
            yield _error(say('there is no tree "{tree}"{hint}', tree=sensor.tree, hint=hint), "sensors", number, "tree")
        if sensor.name.casefold() in met:
            message = say(
                'the name "{name}" is also that of a tree or another thermometer; readings could not be told apart',
                name=sensor.name,
            )
            yield _error(message, "sensors", number, "name")
        met |= {sensor.id.casefold(), sensor.name.casefold()}
        if sensor.station and station is not None:
            message = say('"{name}" is the station already; there can be one', name=station)
            yield _error(message, "sensors", number, "station")
        station = sensor.name if sensor.station and station is None else station


def _planting_days(yard: Yard, today: date) -> Iterator[Problem]:
    """Trees are planted in the past, and are not younger than the time since then."""
    from fruitwall.yard.plan import DAYS_PER_YEAR

    for number, tree in enumerate(yard.trees):
        if tree.planted is None:
            continue
        years = (today - tree.planted).days / DAYS_PER_YEAR
        if years < 0:
            yield _warning(
                say("{planted} lies in the future", planted=tree.planted.isoformat()), "trees", number, "planted"
            )
        elif tree.age_years is not None and tree.age_years < years - 1:
            message = say(
                "{age:g} years do not fit planted: {planted}, {years:.1f} years ago",
                age=tree.age_years,
                planted=tree.planted.isoformat(),
                years=years,
            )
            yield _warning(message, "trees", number, "age")
