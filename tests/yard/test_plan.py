from datetime import date

import pytest

from fruitwall.yard.model import Building, Hollow, Paving, Pond, Roof
from fruitwall.yard.plan import (
    area_m2,
    contains,
    crossing,
    distance_m,
    ground_at,
    hollows_at,
    tree_age_years,
    under_roof,
)
from tests.yard.yards import a_tree, a_yard

SQUARE = [(0, 0), (4, 0), (4, 4), (0, 4)]


def test_area_does_not_depend_on_the_way_round():
    assert area_m2(SQUARE) == area_m2(SQUARE[::-1]) == 16


def test_a_point_on_the_edge_is_inside():
    assert contains(SQUARE, (4, 2))
    assert contains(SQUARE, (4.005, 2))
    assert not contains(SQUARE, (4.1, 2))


def test_distances_are_plain():
    assert distance_m((0, 0), (3, 4)) == 5


@pytest.mark.parametrize(
    ("outline", "wrong"),
    [
        (SQUARE, None),
        ([*SQUARE, SQUARE[0]], None),  # closed by hand
        ([(0, 0), (4, 4), (4, 0), (0, 4)], "the outline crosses itself near [2, 2]"),
        ([(0, 0), (1, 1), (2, 2)], "the outline encloses no area"),
        ([(0, 0), (0, 0), (0, 0)], "the outline encloses no area"),
    ],
)
def test_an_outline_that_crosses_itself_or_is_flat_is_told(outline, wrong):
    assert crossing(outline) == wrong


def test_what_lies_over_and_under_a_point_is_found():
    roof = Roof(id="r", name="R", outline=SQUARE, height_m=2)
    paving = Paving(id="p", name="P", outline=SQUARE)
    pond = Pond(id="w", name="W", outline=[(0, 0), (2, 0), (2, 2), (0, 2)])
    house = Building(id="h", name="H", outline=[(0, 0), (1, 0), (1, 1), (0, 1)], height_m=3)
    hollow = Hollow(id="c", name="C", outline=[(3, 3), (9, 3), (9, 9), (3, 9)], colder_k=2)
    yard = a_yard(structures=[roof, paving, pond, house, hollow])
    assert under_roof(yard, (3, 1)) == [roof]
    assert under_roof(yard, (5, 1)) == []
    assert ground_at(yard, (0.5, 0.5)) == house
    assert ground_at(yard, (1.5, 1.5)) == pond
    assert ground_at(yard, (3, 1)) == paving
    assert ground_at(yard, (5, 1)) is None
    assert hollows_at(yard, (8, 8)) == [hollow]
    assert hollows_at(yard, (1, 1)) == []


def test_age_counts_from_planting_or_from_what_the_file_says():
    on = date(2026, 12, 22)
    assert tree_age_years(a_tree(), on) is None
    assert tree_age_years(a_tree(age_years=3), on) == 3
    assert tree_age_years(a_tree(planted=date(2024, 12, 22)), on) == pytest.approx(2, abs=0.01)
    assert tree_age_years(a_tree(planted=date(2024, 12, 22), age_years=5), on) == 5
    assert tree_age_years(a_tree(planted=date(2027, 3, 1)), on) == 0
