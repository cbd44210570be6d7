"""From a yard's words to what physics and plants take: spots, bodies, treatments, tolerances of its trees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from math import nan
from typing import TYPE_CHECKING, cast

from fruitwall.errors import UnknownTaxonError, YardFileError
from fruitwall.physics.body import Body
from fruitwall.physics.rooms import Room
from fruitwall.physics.treatment import Treatment
from fruitwall.yard.plan import tree_age_years
from fruitwall.yard.problems import Problem

if TYPE_CHECKING:
    from fruitwall.physics.spot import Spot
    from fruitwall.plans.parts import Measure
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.yard.model import CoverMaterial, Tree, Yard

LEAFY_AREA_INDEX = 2.5
"""Leaf area over crown area of a tree in leaf. Assumption: open crowns of young fruit trees, 2 to 4."""

LIMB_SHARE_OF_HEIGHT = 0.02
"""Diameter of the wood that carries a tree over its height: a 2 m tree has 4 cm limbs. Assumption."""

CROWN_LEVEL = 0.66
"""Where in the crown exposures are taken, from its base (0) to its top (1): the outer leaves that see the sky."""


def unknown_kinds(yard: Yard) -> list[Problem]:
    """Give a problem for every kind of the yard's own that cannot be, else for every tree of an unknown kind."""
    from fruitwall.service.own_kinds import catalogue_of, own_kind_problems

    if problems := own_kind_problems(yard):
        return problems
    known = catalogue_of(yard)
    for at, tree in enumerate(yard.trees):
        try:
            known.find(tree.taxon)
        except UnknownTaxonError as error:
            problems.append(Problem("error", ("trees", at, "taxon"), str(error)))
    return problems


def kinds_of(yard: Yard) -> dict[str, Taxon]:
    """Give the kind of every tree, by the tree's identifier, from the catalogue with the yard's own kinds.

    Raises
    ------
    YardFileError
        If trees name kinds that are not in it; all of them at once, each with near names.
    """
    from fruitwall.service.own_kinds import catalogue_of

    problems = unknown_kinds(yard)
    if problems:
        raise YardFileError([problem.text(yard.name) for problem in problems])
    return {tree.id: catalogue_of(yard).find(tree.taxon) for tree in yard.trees}


def crown_level_m(tree: Tree) -> float:
    """Give the height above the ground at which a tree's exposures are taken. [m]"""
    return max(0.2, tree.crown_base_m + CROWN_LEVEL * (tree.height_m - tree.crown_base_m))


def body_of(tree: Tree, taxon: Taxon) -> Body:
    """Give the plant as physics sees it."""
    leafless = "dormant" in tree.stages and taxon.leaf_habit == "deciduous"
    return Body(
        leaf_width_m=taxon.leaf_width_m,
        leaf_area_index=0.0 if leafless else LEAFY_AREA_INDEX,
        wood_diameter_m=max(0.01, min(0.4, LIMB_SHARE_OF_HEIGHT * tree.height_m)),
        fruit_diameter_m=taxon.fruit_diameter_m if "fruit" in tree.stages else nan,
        height_m=tree.height_m,
        crown_diameter_m=tree.crown_diameter_m,
        pot_volume_l=tree.container.volume_l if tree.container else nan,
        pot_wall=tree.container.material if tree.container else "plastic",
    )


def tolerance_of(
    tree: Tree, taxon: Taxon, on: date, acclimation_c: float | None, known: Catalogue | None = None
) -> Tolerance:
    """Give what a tree is believed to stand on a day.

    Parameters
    ----------
    tree : Tree
    taxon : Taxon
        Its kind.
    on : date
    acclimation_c : float or None
        Mean air temperature of the weeks before. [°C]
    known : Catalogue or None
        That of the yard, with its own kinds; None for the one that comes with fruitwall.

    Returns
    -------
    Tolerance
    """
    from fruitwall.plants.tolerance import prior

    return prior(
        taxon,
        age_years=tree_age_years(tree, on),
        height_m=tree.height_m,
        potted=tree.container is not None,
        stages=tree.stages,
        origin=tree.origin,
        acclimation_c=acclimation_c,
        known=known,
        root_zone=tree.root_zone,
        hurt_grade=tree.hurt_grade,
    )


def spots_of(
    yard: Yard, measures: Sequence[Sequence[Measure]], *, winter: bool = True
) -> tuple[list[Spot], dict[tuple[str, tuple[float, float]], Spot]]:
    """Survey the home spot of every tree and every place to which a measure would move one.

    Returns
    -------
    home : list of Spot
        One per tree, in the yard's order.
    moved : dict
        By tree and the place it would stand at.
    """
    from fruitwall.physics.spot import survey

    home = [(tree.id, *tree.position, crown_level_m(tree)) for tree in yard.trees]
    # A place is surveyed under the tree's own name, so that its crown as it stands at home is not in the way.
    places = {
        (tree.id, measure.moved_to): (tree.id, *measure.moved_to, crown_level_m(tree))
        for tree, options in zip(yard.trees, measures, strict=True)
        for measure in options
        if measure.moved_to is not None and measure.place is None
    }
    surveyed = survey(yard, [*home, *places.values()], winter=winter)
    return surveyed[: len(home)], dict(zip(places, surveyed[len(home) :], strict=True))


def treatment_of(
    yard: Yard, measure: Measure, moved: dict[tuple[str, tuple[float, float]], Spot], wet_from: datetime
) -> Treatment:
    """Give a measure as physics sees it.

    A sheet is taken to reach the ground where the measure says so, and to stay on by day where nobody opens it. A
    standing shelter's top and sides may be of different material; lamps and heaters under it warm all of its air.
    A frame over several trees has the size of them all. Cloth draped over several is computed for each of them as if
    it hung round that crown alone: it touches the leaves as such a cloth does, and has as much skin for its ground as
    the one over all or more, which errs to the cold side; of lamps below it each has the share of the ground
    under its own.
    """
    lamps = {lamp.id: lamp for lamp in yard.gear.lamps}
    heaters = {heater.id: heater for heater in yard.gear.heaters}
    lamp = lamps[measure.lamp] if measure.lamp else None
    heater = heaters[measure.heater] if measure.heater else None
    heated = Treatment(
        key=measure.key,
        lamp_w=measure.heat_share * lamp.watts if lamp else 0.0,
        lamp_kind=lamp.kind if lamp else "incandescent",
        heater_w=measure.heat_share * heater.watts if heater else 0.0,
        thermostat_c=heater.thermostat_c if heater and heater.thermostat_c is not None else nan,
    )
    if measure.place is not None:
        place = next(p for p in yard.indoor_places if p.id == measure.place)
        kept = nan if place.kept_at_c is None else place.kept_at_c
        return Treatment(key=measure.key, room=Room(place.id, kept_at_c=kept, warmer_k=place.warmer_k))
    if measure.shelter is not None:
        shelter = next(s for s in yard.shelters if s.id == measure.shelter)
        length, width = _extent(shelter.outline)
        return replace(
            heated,
            cover=None if shelter.top == "open" else shelter.top,
            sides=shelter.sides,
            on_frame=True,
            to_ground=shelter.sides != "open",
            frame_width_m=width,
            frame_length_m=length,
            frame_height_m=shelter.height_m,
            water_l=shelter.water_l,
            vessel_l=shelter.vessel_l,
        )
    spot = moved.get((measure.tree, measure.moved_to)) if measure.moved_to is not None else None
    return replace(
        heated,
        cover=cast("CoverMaterial | None", measure.cover),
        on_frame=measure.on_frame,
        to_ground=measure.to_ground,
        stays_by_day=any(part.kind == "cover" and part.minutes_morning == 0.0 for part in measure.all_parts),
        frame_width_m=measure.frame_m[0] if measure.frame_m else nan,
        frame_length_m=measure.frame_m[1] if measure.frame_m else nan,
        frame_height_m=measure.frame_m[2] if measure.frame_m else nan,
        wet_ground=measure.wet_ground,
        wet_from_utc=wet_from if measure.wet_ground else None,
        spot=spot,
    )


def _extent(outline: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Give length and width of the smallest rectangle round an outline. [m, m]"""
    from shapely import Polygon
    from shapely.geometry import LineString

    rectangle = Polygon(outline).minimum_rotated_rectangle
    if not isinstance(rectangle, Polygon):
        raise ValueError(f"outline must enclose an area, got {list(outline)}")
    corners = list(rectangle.exterior.coords)
    sides = sorted((LineString(corners[i : i + 2]).length for i in (0, 1)), reverse=True)
    return sides[0], sides[1]
