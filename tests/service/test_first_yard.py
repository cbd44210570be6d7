"""The first yard file, out of what a stranger tells in five minutes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shapely import LineString, Polygon

from fruitwall.service.first_yard import FirstRoom, FirstTree, FirstWall, Told, demo_name, first_yard_text, quantity
from fruitwall.service.yards import check_yard_text
from fruitwall.yard.cities import nearest_city, search_cities
from fruitwall.yard.demo import demo_yard

TOLD = Told(
    name="Yard in Riverside: ours # 1",
    latitude=33.95,
    longitude=-117.40,
    zone="America/Los_Angeles",
    walls={"south": "12", "east": "9"},
    trees=[
        FirstTree("mango", height="2.5", age="young", at="south"),
        FirstTree("mango", litres="40", height="1.5", at="south"),
        FirstTree("avocado", age="old", at="east"),
        FirstTree("avocado"),
        FirstTree("lychee"),
    ],
    sheets=[("4", "4", "2")],
    lamps="2",
    lamp_watts="75",
    person="Ana: la jefa",
    lifts=False,
)


@pytest.mark.parametrize("latitude", [33.95, -33.95])
@pytest.mark.parametrize("walls", [{}, {"south": "12", "east": "9"}, {"north": "30", "west": "2"}])
def test_what_was_told_makes_a_yard_that_holds(latitude, walls):
    told = replace(TOLD, latitude=latitude, walls=walls)

    yard = check_yard_text(first_yard_text(told)).yard

    assert [tree.name for tree in yard.trees] == ["Mango", "Mango 2", "Avocado", "Avocado 2", "Lychee"]
    assert yard.name == TOLD.name
    assert yard.people[0].name == "Ana: la jefa"
    assert not yard.people[0].lifts
    assert yard.trees[1].container is not None
    assert yard.trees[1].container.volume_l == 40
    assert (len(yard.structures), yard.gear.covers[0].count, yard.gear.lamps[0].watts) == (bool(walls), 2, 75)


def test_trees_stand_on_the_side_of_the_house_that_was_told():
    yard = check_yard_text(first_yard_text(TOLD)).yard
    corners = yard.structures[0].outline

    assert yard.trees[0].position[1] < min(y for _, y in corners)
    assert yard.trees[2].position[0] > max(x for x, _ in corners)


def test_feet_and_gallons_are_read_where_they_are_read():
    told = replace(
        TOLD, feet=True, trees=[FirstTree("mango", litres="15", height="6"), FirstTree("mango", height="2 m")]
    )

    yard = check_yard_text(first_yard_text(told)).yard

    assert [round(tree.height_m, 2) for tree in yard.trees] == [1.83, 2.0]
    assert yard.trees[0].container.volume_l == pytest.approx(56.8, abs=0.1)
    assert yard.display.temperature == "F"


@pytest.mark.parametrize(
    ("asked", "found"),
    [("seville", "Sevilla"), ("Londres", "London"), ("riverside, ca", "Riverside"), ("ZURICH", "Zürich")],
)
def test_cities_are_found_without_accents_and_in_other_spellings(asked, found):
    assert search_cities(asked)[0].name == found


def test_a_slip_in_a_city_is_forgiven_and_a_point_has_its_zone():
    assert "Riverside" in [city.name for city in search_cities("Rivreside")]
    assert nearest_city(33.92, -117.22).zone == "America/Los_Angeles"
    assert search_cities("x") == []
    assert search_cities("") == []


@pytest.mark.parametrize(
    ("written", "feet", "metres"),
    [
        ("400", True, 121.92),
        ("400", False, 400.0),
        ("120 m", True, 120.0),
        ("1200 ft", False, 365.76),
        ("1,5", False, 1.5),
    ],
)
def test_a_bare_number_is_in_the_households_unit(written, feet, metres):
    assert quantity("length", written, feet=feet) == pytest.approx(metres)


@pytest.mark.parametrize("written", ["1,200", "1,200 ft", "12,000 m"])
def test_a_comma_that_may_mean_thousands_is_asked_about(written):
    with pytest.raises(ValueError, match="in thousands"):
        quantity("length", written, feet=True)


@pytest.mark.parametrize("latitude", [33.95, -33.95])
@pytest.mark.parametrize("side", ["south", "north", "east", "west"])
def test_trees_stand_at_free_walls_on_the_side_that_was_told(latitude, side):
    walls = [FirstWall(side, "12", "1.5"), FirstWall("east", "30")]
    trees = [FirstTree("mango", at="wall0"), FirstTree("mango", at="wall1"), FirstTree("avocado")]
    yard = check_yard_text(first_yard_text(replace(TOLD, latitude=latitude, free_walls=walls, trees=trees))).yard

    found = [one for one in yard.structures if one.kind == "wall"]
    assert [(one.height_m, round(LineString(one.line).length, 6)) for one in found] == [(1.5, 12.0), (2.0, 30.0)]
    middle = LineString(found[0].line).centroid
    east, north = yard.trees[0].position[0] - middle.x, yard.trees[0].position[1] - middle.y
    assert (round(east, 2), round(north, 2)) == {
        "south": (0, -1.2), "north": (0, 1.2), "east": (1.2, 0), "west": (-1.2, 0)
    }[side]  # fmt: skip
    assert not LineString(found[0].line).intersects(LineString(found[1].line))
    assert all(Polygon(yard.outline).contains(LineString(one.line)) for one in found)


@pytest.mark.parametrize("protected", [True, False])
def test_a_socket_counts_as_protected_only_where_it_was_said(protected):
    checked = check_yard_text(first_yard_text(replace(TOLD, protected=protected)))

    assert checked.yard.circuits[0].ground_fault is protected
    assert any("RCD" in warning for warning in checked.warnings) is not protected
    assert not Told(name="A", latitude=1, longitude=1, zone="UTC").protected


def test_trolley_and_indoor_places_are_read_in_the_units_of_the_household():
    rooms = [FirstRoom("Shed: old", "3", "6"), FirstRoom("", "1", kept_at="50"), FirstRoom("Hall", "1", kept_at="10 C")]
    yard = check_yard_text(first_yard_text(replace(TOLD, feet=True, trolley="200", rooms=rooms))).yard

    assert round(yard.gear.trolleys[0].max_mass_kg) == 91
    assert [(one.name, one.spaces, round(one.max_height_m, 2)) for one in yard.indoor_places] == [
        ("Shed: old", 3, 1.83),
        ("Indoor place 2", 1, 2.0),
        ("Hall", 1, 2.0),
    ]
    kept = [one.kept_at_c for one in yard.indoor_places]
    assert kept[0] is None
    assert kept[1:] == pytest.approx([10.0, 10.0])


def test_the_name_of_the_demo_is_that_of_its_file():
    assert demo_name() == demo_yard().name
