"""Free places at the foot of warm walls, and containers brought there."""

from __future__ import annotations

from typing import Any

import pytest

from fruitwall.plans.measures import possible_measures, refused_measures, supplies_of
from fruitwall.plans.wall_places import GAP_M, wall_places
from fruitwall.service.treatments import spots_of
from fruitwall.yard.model import Yard
from tests.plans.test_measures import ANA, POT, yard

SOUTH = {"kind": "wall", "id": "long", "name": "Long wall", "line": [[4, 20], [16, 20]], "height": 2, "thickness": 0.4}
HOUSE = {
    "kind": "building",
    "id": "house",
    "name": "House",
    "outline": [[4, 20], [14, 20], [14, 26], [4, 26]],
    "height": 3,
    "indoor": 19,
}


def places(*structures: dict[str, Any], **more: Any) -> dict[str, float]:
    """Free lengths by face, in the open."""
    its = yard([POT], structures=list(structures), **more)
    return {place.key: round(place.length_m, 3) for place in wall_places(its) if place.roof is None}


def keys(its: Yard) -> list[str]:
    return [measure.key for measure in possible_measures(its, its.trees[0])]


def test_only_the_sunny_face_of_a_free_wall_is_a_place():
    assert places(SOUTH) == {"long/1/right": 12.0}  # drawn from west to east, it looks south to its right
    assert places(SOUTH | {"height": 0.7}) == {}


def test_south_of_the_equator_the_sunny_face_looks_north():
    there = yard([POT], structures=[SOUTH])
    there = there.model_copy(update={"location": there.location.model_copy(update={"latitude_deg": -34.0})})
    assert [place.key for place in wall_places(there)] == ["long/1/left"]
    assert wall_places(there)[0].name == "the north side of Long wall"


def test_a_heated_house_is_warm_all_round_and_a_cold_one_where_the_sun_is():
    assert set(places(HOUSE)) == {"house/1", "house/2", "house/3", "house/4"}
    assert set(places(HOUSE | {"indoor": None})) == {"house/1"}


def test_what_stands_before_a_wall_leaves_less_of_it_free():
    pond = {"kind": "pond", "id": "p", "name": "P", "outline": [[6, 18], [9, 18], [9, 19.9], [6, 19.9]]}
    assert places(SOUTH, pond) == {"long/1/right": 7.0}
    door = {"id": "shed", "name": "Shed", "position": [10, 19.3], "spaces": 1}  # on the line of standing: 1 m each side
    assert places(SOUTH, indoor_places=[door]) == {"long/1/right": 5.0}
    terrace = SOUTH | {"retains_earth": True}
    assert places(terrace) == {"long/1/right": 12.0}
    assert places(SOUTH | {"line": [[25, 20], [40, 20]]}) == {"long/1/right": 4.7}  # 0.3 m within the yard's edge


def test_a_pot_is_brought_to_where_its_crown_just_clears_the_wall():
    its = yard([POT], structures=[SOUTH])
    measure = next(m for m in possible_measures(its, its.trees[0]) if m.wall)
    assert measure.key == "wall:long/1/right"
    assert measure.name == "bring to the south side of Long wall"
    assert measure.moved_to == pytest.approx((10.0, 20.0 - 0.2 - 0.4 - GAP_M))
    (part,) = measure.parts
    assert (part.kind, part.room, part.stays) == ("wall", "wall:long/1/right", True)
    # There by 1.3 x the way: the same way back some day.
    assert part.minutes_remove == part.quickest.minutes
    assert supplies_of(its).find("room/wall:long/1/right").available == 15  # 12 m, 0.8 m a crown


def test_a_pot_at_the_wall_already_or_wider_than_its_free_foot_is_not_brought_there():
    assert keys(yard([POT | {"position": [10, 19.2]}], structures=[SOUTH])) == ["leave"]
    short = SOUTH | {"line": [[4, 20], [4.7, 20]]}
    assert keys(yard([POT], structures=[short])) == ["leave"]


def test_planted_trees_stay_and_a_wide_crown_is_not_pushed_into_its_neighbour():
    planted = {key: value for key, value in POT.items() if key != "container"}
    assert keys(yard([planted], structures=[SOUTH])) == ["leave", "wet"]
    wide = POT | {"crown_diameter": 2.4}
    neighbour = planted | {"id": "n", "position": [10, 18.4], "crown_diameter": 0.8}
    assert "wall:long/1/right" in keys(yard([wide], structures=[SOUTH]))
    assert "wall:long/1/right" not in keys(yard([wide, neighbour], structures=[SOUTH]))


def test_who_may_neither_lift_nor_push_is_told_the_weight():
    its = yard([POT], structures=[SOUTH], people=[ANA | {"lifts": False}])
    assert keys(its) == ["leave"]
    (refusal,) = [r for r in refused_measures(its, its.trees[0]) if r.key == "wall:long/1/right"]
    assert refusal.kind == "too_heavy"


def test_under_an_eave_there_is_a_place_beside_the_house_and_one_against_it():
    eave = {
        "kind": "roof",
        "id": "eave",
        "name": "Eave",
        "outline": [[4, 18], [14, 18], [14, 26], [4, 26]],
        "height": 2.6,
    }
    its = yard([POT], structures=[HOUSE | {"indoor": None}, eave])
    middle, against = [m for m in possible_measures(its, its.trees[0]) if m.roof]
    assert (middle.key, against.key) == ("roof:eave", "roof:eave/house/1")
    assert middle.moved_to is not None
    assert middle.moved_to[1] == pytest.approx(19.0, abs=0.06)  # of the 2 m before the house, not of the whole outline
    assert against.moved_to == pytest.approx((9.0, 20.0 - 0.4 - GAP_M))
    assert {part.room for m in (middle, against) for part in m.parts} == {"roof:eave"}
    assert supplies_of(its).find("room/roof:eave").available == 16  # half of 20 m2, 0.6 m2 a pot


def test_the_wall_hides_sky_from_a_pot_that_is_brought_there_and_its_own_crown_does_not():
    its = yard([POT], structures=[SOUTH])
    measures = [possible_measures(its, its.trees[0])]
    home, moved = spots_of(its, measures)
    (spot,) = moved.values()
    assert spot.wall > home[0].wall + 0.1
    assert spot.sky < home[0].sky
    assert spot.canopy == home[0].canopy == 0.0
