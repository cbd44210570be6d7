"""Measures that cover a tree, alone or with lamps or a heater below."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from fruitwall.plans.covers import HEATER_CLEARANCE_M, fits
from fruitwall.plans.feeds import Load, feeds_for, why_no_power
from fruitwall.plans.making import XY, Making, Refusal, heater_part, lamps_part, not_reached
from fruitwall.plans.parts import Measure, Part, Setting
from fruitwall.plans.ways import covering_ways
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Cover, CoverMaterial, Heater, LampString, Tree

FILMS = frozenset({"film_polyethylene", "film_infrared", "bubble_film"})
"""Covers that overheat in the sun and must be opened every morning."""

LIGHT_CLOTHS = frozenset({"fleece_light", "fleece_medium", "fleece_heavy"})
"""Covers that let enough light through to stay on for some days; the others are pulled aside every morning."""

COVER_NAMES: dict[CoverMaterial, str] = {
    "fleece_light": marked("light fleece"),
    "fleece_medium": marked("medium fleece"),
    "fleece_heavy": marked("heavy fleece"),
    "frost_blanket": marked("frost blanket"),
    "bed_sheet": marked("bed sheet"),
    "burlap": marked("burlap"),
    "film_polyethylene": marked("polyethylene film"),
    "film_infrared": marked("infrared film"),
    "bubble_film": marked("bubble film"),
}
"""What covers are called in a sentence."""

TOO_HIGH_IN_THE_DARK = marked("it is {height} high; above {highest_m} nothing is covered in the dark")


@dataclass(frozen=True)
class Covering:
    """A kind of cover and the sheets of it that fit a tree."""

    material: CoverMaterial
    on_frame: bool
    sheets: tuple[Cover, ...]

    @property
    def key(self) -> str:
        """Key of the measure that is this cover alone."""
        return f"cover:{self.material}" + ("/frame" if self.on_frame else "")

    @property
    def name(self) -> str:
        """The same in words."""
        name = COVER_NAMES[self.material]
        return say("{cover} on its frame", cover=name) if self.on_frame else name


def covered(making: Making, tree: Tree, open_: tuple[Setting, ...]) -> Iterator[Measure | Refusal]:
    """Cover a tree, alone or with lamps or a heater below."""
    yard = making.yard
    kinds = dict.fromkeys((cover.material, cover.on_frame) for cover in yard.gear.covers)
    for material, on_frame in kinds:
        same = [c for c in yard.gear.covers if (c.material, c.on_frame) == (material, on_frame)]
        fitting = sorted((c for c in same if fits(c, tree)), key=lambda c: (c.width_m * c.length_m, c.id))
        covering = Covering(material, on_frame, tuple(fitting))
        part = cover_part(making, crown_of(tree), covering)
        if not fitting and tree.height_m <= making.times.highest_m:  # above that no sheet would help
            need = tree.crown_diameter_m + 2.0 * tree.height_m
            why = say(
                "no {covering} is large enough: to reach the ground all round takes {need} both ways",
                covering=covering.name,
                need=quantity(need, "m", ".1f"),
            )
            largest = max(min(sheet.width_m, sheet.length_m) for sheet in same)
            yield Refusal(covering.key, why, "no_sheet", need, largest, "m")
            continue
        if not part.ways:
            yield not_reached(making, tree, covering.key, TOO_HIGH_IN_THE_DARK)
            continue
        bare = Measure(
            covering.key,
            say("cover with {covering}", covering=covering.name),
            tree.id,
            parts=(part,),
            requires=open_,
            cover=material,
            on_frame=on_frame,
            to_ground=True,
        )
        yield bare
        for lamp in yard.gear.lamps:
            yield from _with_lamps(making, tree, bare, lamp)
        for heater in yard.gear.heaters:
            yield from _with_heater(making, tree, bare, covering, heater)


@dataclass(frozen=True)
class Crowns:
    """What one sheet goes over: the crown of a tree, or those of several.

    Attributes
    ----------
    key : str
        The tree's identifier, or those of all joined.
    name : str
        In words.
    trees : tuple of str
        Identifiers.
    group : str
        As of `plans.parts.Part`.
    at : tuple of float
        Middle. [m, m]
    height_m, length_m : float
        Of the highest; the longer side of all. [m]
    steps : tuple of str
        How the sheet is laid.
    """

    key: str
    name: str
    trees: tuple[str, ...]
    group: str
    at: XY
    height_m: float
    length_m: float
    steps: tuple[str, ...]


def crown_of(tree: Tree) -> Crowns:
    """Give the crown of one tree."""
    lay = say("Drape it to the ground all round and weigh the edge down; never tie it in round the trunk.")
    one = (tree.id,)
    return Crowns(tree.id, tree.name, one, tree.id, tree.position, tree.height_m, tree.crown_diameter_m, (lay,))


def cover_part(making: Making, over: Crowns, covering: Covering, *, wide: bool = False) -> Part:
    """Make the part of putting a sheet over a tree or several.

    Parameters
    ----------
    making : Making
    over : Crowns
    covering : Covering
        With the sheets that fit.
    wide : bool
        With room for a heater below.

    Returns
    -------
    Part
        Without ways if nobody can do it.
    """
    times, several = making.times, len(over.trees) > 1
    minutes = times.cover + times.cover_per_m * (over.height_m + over.length_m)
    minutes += times.frame * len(over.trees) if covering.on_frame else 0.0
    film, light = covering.material in FILMS, covering.material in LIGHT_CLOTHS
    steps = list(over.steps)
    if covering.on_frame:
        steps.insert(
            0,
            say(
                "Set the stakes or frame round all of them so that the cover touches no leaf."
                if several
                else "Set the stakes or frame so that the cover touches no leaf."
            ),
        )
    if film:
        steps.append(say("Open it in the morning before the sun is on it: film cooks a tree."))
    elif not light:
        steps.append(say("Pull it aside in the morning, so that sun warms the soil."))
    return Part(
        key=f"{covering.key}{'/wide' if wide else ''}@{over.key}",
        kind="cover",
        name=say(
            "cover {trees} with one {covering}" if several else "cover {trees} with {covering}",
            trees=over.name,
            covering=covering.name,
        ),
        trees=over.trees,
        ways=covering_ways(making.yard, over.height_m, over.at, minutes, times),
        minutes_again=times.film_again if film else 0.0 if light else times.cover_again_share * minutes,
        minutes_morning=times.film_morning if film else 0.0 if light else times.cloth_morning,
        minutes_remove=times.cover_remove,
        sheets=tuple(sheet.id for sheet in covering.sheets),
        wear=covering.sheets[0].wear if covering.sheets else 0.0,
        position=over.at,
        steps=tuple(steps),
        group=over.group,
    )


def lamps_below(making: Making, over: Crowns, lamp: LampString) -> Part | Refusal:
    """Hang a lamp string under a sheet, or say why there is no power for it."""
    load = Load(lamp.watts, False, over.at)
    if feeds := feeds_for(making.yard, load, making.times):
        return lamps_part(making, lamp, feeds, over.at, over.trees, over.group, over.name)
    return Refusal(f"lamps:{lamp.id}", why_no_power(making.yard, load, making.times), "no_power")


def heater_below(making: Making, over: Crowns, heater: Heater) -> Part | Refusal:
    """Place a heater under a sheet, or say why there is no power for it."""
    load = Load(heater.watts, True, over.at)
    if feeds := feeds_for(making.yard, load, making.times):
        return heater_part(making, heater, feeds, over.at, over.trees, over.group, over.name)
    return Refusal(f"heater:{heater.id}", why_no_power(making.yard, load, making.times), "no_power")


def _with_lamps(making: Making, tree: Tree, bare: Measure, lamp: LampString) -> Iterator[Measure | Refusal]:
    """Add a lamp string under a cover."""
    key = f"{bare.key}+lamps:{lamp.id}"
    part = lamps_below(making, crown_of(tree), lamp)
    if isinstance(part, Refusal):
        yield replace(part, key=key)
        return
    yield replace(
        bare,
        key=key,
        name=say("{bare}, with {lamp} under it", bare=bare.name, lamp=lamp.name),
        parts=(part, *bare.parts),
        lamp=lamp.id,
    )


def _with_heater(
    making: Making, tree: Tree, bare: Measure, covering: Covering, heater: Heater
) -> Iterator[Measure | Refusal]:
    """Add a heater under a cover on a frame that leaves it clearance."""
    key = f"{bare.key}+heater:{heater.id}"
    if not covering.on_frame:
        return  # a heater under draped cloth is never planned: no reason worth a line for every cloth
    wide = [sheet for sheet in covering.sheets if fits(sheet, tree, heater=True)]
    if not wide:
        yield Refusal(
            key,
            say(
                "no such sheet is large enough to leave {clearance} free round a heater",
                clearance=quantity(HEATER_CLEARANCE_M, "m", ".2f"),
            ),
            "no_clearance",
        )
        return
    part = heater_below(making, crown_of(tree), heater)
    if isinstance(part, Refusal):
        yield replace(part, key=key)
        return
    cover = cover_part(making, crown_of(tree), replace(covering, sheets=tuple(wide)), wide=True)
    yield replace(
        bare,
        key=key,
        name=say("{bare}, with {heater} under it", bare=bare.name, heater=heater.name),
        parts=(part, cover),
        heater=heater.id,
    )
