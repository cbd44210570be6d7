from datetime import date

import pytest

from fruitwall.yard.demo import DEMO_NAME, demo_yard, demo_yard_text
from fruitwall.yard.file import examine_yard
from fruitwall.yard.model import Building, Canopy, Hollow, Pond, Roof, Wall
from fruitwall.yard.plan import contains, hollows_at, tree_age_years, under_roof
from tests.published import find_check

NIGHT = date(2026, 12, 22)


@pytest.fixture(scope="module")
def yard():
    return demo_yard()


def of_kind(yard, kind):
    return [s for s in yard.structures if isinstance(s, kind)]


def test_the_demo_yard_has_neither_errors_nor_warnings():
    assert examine_yard(demo_yard_text(), DEMO_NAME, today=NIGHT).problems == ()


def test_it_has_many_trees_of_many_kinds_and_ages(yard):
    kinds = {tree.taxon.casefold() for tree in yard.trees}
    ages = {tree.id: tree_age_years(tree, NIGHT) for tree in yard.trees}
    assert len(yard.trees) >= 26
    assert len(kinds) >= 20
    assert sum(age >= 10 for age in ages.values()) >= 6
    assert sum(1 <= age < 3 for age in ages.values()) >= 6
    assert {"seedling", "grafted", "cutting"} <= {tree.origin for tree in yard.trees}
    assert any(tree.fruit_worth > 0 for tree in yard.trees)
    assert any("dormant" in tree.stages for tree in yard.trees)


def test_it_has_what_shapes_the_cold(yard):
    terrace = next(w for w in of_kind(yard, Wall) if w.retains_earth and w.material == "dry_stone")
    (west, _), (east, _) = terrace.line
    assert west < east, "earth to the left of a line that runs east: the open face looks south"
    assert any(b.indoor_c is not None for b in of_kind(yard, Building))
    assert any(r.material == "glass" for r in of_kind(yard, Roof))
    assert any(c.habit == "leafless_in_winter" for c in of_kind(yard, Canopy))
    assert of_kind(yard, Pond)
    assert of_kind(yard, Hollow)
    assert yard.location.clear_night_offset_k == pytest.approx(2.5)
    assert {tree.id for tree in yard.trees if hollows_at(yard, tree.position)} >= {"peach", "apricot", "lime-hollow"}
    assert sum(bool(under_roof(yard, tree.position)) for tree in yard.trees) == 2


def test_the_hoop_frame_holds_three_young_trees(yard):
    (hoops,) = yard.shelters
    young = [tree for tree in yard.trees if tree.id in hoops.trees]
    assert len(young) == 3
    assert all(tree_age_years(tree, NIGHT) < 3 and contains(hoops.outline, tree.position) for tree in young)


def test_the_gear_is_scarce_and_of_several_sizes(yard):
    assert len({(c.width_m, c.length_m) for c in yard.gear.covers}) >= 4
    assert len({c.material for c in yard.gear.covers}) >= 4
    assert sum(c.count for c in yard.gear.covers) < len(yard.trees)
    assert (len(yard.gear.lamps), len(yard.gear.heaters), len(yard.circuits)) == (2, 1, 2)
    assert sum(t.count for t in yard.gear.trolleys) == 1
    assert next(p for p in yard.indoor_places if p.kept_at_c is None).spaces == 4


def test_pots_can_be_moved_by_both_by_one_by_trolley_or_not_at_all(yard):
    weak, strong = sorted(person.max_lift_kg for person in yard.people)
    trolley = yard.gear.trolleys[0].max_mass_kg
    masses = [tree.container.mass_kg for tree in yard.trees if tree.container]
    for low, high in [(0, weak), (weak, strong), (strong, trolley), (trolley, 1000)]:
        assert any(low < mass <= high for mass in masses), (low, high)


def test_crowns_in_the_ground_keep_clear_of_each_others_trunks(yard):
    planted = [tree for tree in yard.trees if tree.container is None]
    for tree in planted:
        for other in planted:
            apart = ((tree.position[0] - other.position[0]) ** 2 + (tree.position[1] - other.position[1]) ** 2) ** 0.5
            assert tree is other or apart > max(tree.crown_diameter_m, other.crown_diameter_m) / 2, (tree.id, other.id)


def test_the_file_is_a_lesson():
    lines = demo_yard_text().splitlines()
    assert sum("#" in line for line in lines) > 40
    for unit in (" ft", " in", " lb", " F", " kW", " AWG", " cm", "%", '"#5"', " months"):
        assert unit in demo_yard_text(), unit


def test_its_strings_of_25_lamps_have_the_watts_of_such_lamps(yard):
    check = find_check("covers.yaml", "lamp-watts")
    small, (large_low, large_high), _ = check.want("watt")
    watts = {lamps.id: lamps.watts for lamps in yard.gear.lamps}
    assert watts["lamps-small"] / 25 == small
    assert large_low <= watts["lamps-large"] / 25 <= large_high
