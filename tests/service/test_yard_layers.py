"""Layers over the plan: against an empty field, a wall, and the spots of the trees."""

from __future__ import annotations

from datetime import date

import pytest

from fruitwall.physics.spot import survey
from fruitwall.service.treatments import crown_level_m
from fruitwall.service.yard_layers import layer_of, shortest_day, sky_layer, sun_layer
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Wall
from tests.service.test_yard_edit import household
from tests.web.sample import NOW, sample_plan, sample_yard
from tests.yard.yards import a_tree, a_yard

JUNE = date(2026, 6, 21)
WINTER = date(2026, 12, 21)


def test_in_an_open_field_the_sun_shines_all_day_and_the_whole_sky_is_seen():
    yard = a_yard(trees=[a_tree(position=(5, 5))], structures=[], horizon=[])

    for day in (JUNE, WINTER):
        layer = sun_layer(yard, day)
        # The sun counts from where its middle stands above the level; sunset is when its upper edge is gone.
        assert layer.trees[yard.trees[0].id] == pytest.approx(layer.longest_h, abs=0.4)
    sky = sky_layer(yard)
    assert sky.trees[yard.trees[0].id] == pytest.approx(1.0, abs=0.001)
    far = [value for x, y, value in sky.cells if abs(x - 5) + abs(y - 5) > 6]
    assert min(far) > 0.9


def test_a_long_wall_takes_half_the_sky_and_the_winter_sun_from_its_north_side():
    wall = Wall(id="w", name="W", line=[(-500, 10), (500, 10)], height_m=30, thickness_m=0.01)
    yard = a_yard(trees=[a_tree(position=(5, 10.5))], structures=[wall], horizon=[])
    tree = yard.trees[0].id

    assert sky_layer(yard).trees[tree] == pytest.approx(0.5, abs=0.05)
    assert sun_layer(yard, WINTER).trees[tree] < 0.3


def test_trees_have_the_sky_of_their_spots():
    yard = sample_yard()
    chosen = yard.trees[:6]
    spots = survey(yard, [(tree.id, *tree.position, crown_level_m(tree)) for tree in chosen], winter=True)

    layer = sky_layer(yard)

    assert [layer.trees[tree.id] for tree in chosen] == pytest.approx([spot.sky for spot in spots], abs=0.02)


def test_no_cell_lies_in_a_building_or_outside_the_yard():
    yard = sample_yard()
    layer = sky_layer(yard)

    assert layer.step_m == 3
    assert len(layer.cells) == len(set(layer.cells))
    assert not [1 for x, y, _ in layer.cells if 2 < x < 12 and 28 < y < 38]
    assert all(0 < x < 32.01 and 0 < y < 39.01 for x, y, _ in layer.cells)


@pytest.mark.parametrize(
    ("today", "latitude", "day"),
    [
        (date(2026, 3, 1), 34, date(2026, 12, 21)),
        (date(2026, 12, 22), 34, date(2027, 12, 21)),
        (date(2026, 3, 1), -34, date(2026, 6, 21)),
    ],
)
def test_the_shortest_day_is_the_next_one_of_the_hemisphere(today, latitude, day):
    assert shortest_day(today, latitude) == day


def test_a_layer_is_worked_out_once_for_each_state_of_the_yard(monkeypatch):
    with household(text=write_yard(sample_yard())) as house:
        first = layer_of(house, "sky", now=NOW)
        monkeypatch.setattr("fruitwall.service.yard_layers.sky_layer", lambda _: pytest.fail("again"))

        assert layer_of(house, "sky", now=NOW) is first
        assert layer_of(house, "margin", now=NOW) is None
        assert layer_of(house, "none", now=NOW) is None
        plan = sample_plan()
        house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=NOW)
        margins = layer_of(house, "margin", now=NOW)
        assert margins is not None
        assert margins.trees == {tree.id: tree.margin_k["chosen"] for tree in plan.trees}
