"""The first yard file, out of what a stranger tells in five minutes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fruitwall.service.first_yard import FirstTree, Told, first_yard_text, quantity
from fruitwall.service.yards import check_yard_text
from fruitwall.yard.cities import nearest_city, search_cities

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
