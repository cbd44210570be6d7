"""What one more of something is worth: on the same winters and luck, and with trees that stand otherwise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fruitwall.physics.spot import survey, tree_places
from fruitwall.plans.problem import Supplies
from fruitwall.plans.rules.gear import (
    BARREL_L,
    FRAME_CLEARANCE_M,
    WARM_C,
    barrelled,
    can_grow,
    endangered,
    framed,
    gain,
    played,
    with_more,
    with_trees,
)
from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.yard.checks import check_yard
from fruitwall.yard.demo import demo_yard
from tests.plans.rules_made import made_ground

FEW = Ahead(years=6, draws=8, seed=3)


def without(ground: Ground, kind: str) -> Ground:
    """A ground with none of a kind of thing."""
    steps = []
    for step in ground.steps:
        items = (replace(item, available=0.0) if item.kind == kind else item for item in step.supplies.items)
        steps.append(replace(step, supplies=Supplies(tuple(items))))
    return replace(ground, steps=tuple(steps))


def test_a_gain_is_the_mean_of_the_differences_of_equal_draws() -> None:
    found = gain(np.array([10.0, 20.0, 30.0, 40.0]), np.array([8.0, 19.0, 27.0, 36.0]))
    assert found.mean == pytest.approx(2.5)  # 2, 1, 3, 4
    assert found.p10 == pytest.approx(1.3)
    assert found.p90 == pytest.approx(3.7)
    assert found.error == pytest.approx(np.std([2, 1, 3, 4], ddof=1) / 2.0)
    assert gain(np.array([1.0]), np.array([0.5])).error == np.inf


def test_the_first_sheet_of_a_yard_that_has_none_saves_something_and_takes_work() -> None:
    ground = without(made_ground(("mango-grafted", "sapodilla"), winters=3, seed=2, mean_c=-2.0), "sheet")
    before = played(ground, FEW)
    gains = {}
    for item in can_grow(ground):
        if item.kind == "sheet":
            after = played(with_more(ground, item.key), FEW)
            gains[item.key] = (
                gain(before.means["loss"], after.means["loss"]).mean,
                gain(before.means["minutes"], after.means["minutes"]).mean,
            )
    assert max(loss for loss, _ in gains.values()) > 0.0
    for loss, minutes in gains.values():
        assert (loss > 0.0) == (minutes < 0.0)  # a sheet too small for both trees changes nothing


def test_more_of_what_never_runs_short_changes_nothing() -> None:
    ground = made_ground(("mango-grafted", "pot-lemon"), winters=2, seed=4)
    rich = with_more(with_more(ground, "person/odalis"), "person/odalis")
    assert [item.available for item in rich.steps[0].supplies.items if item.key == "person/odalis"] == [
        ground.steps[0].supplies.find("person/odalis").available + 60.0
    ]
    before, after = played(ground, FEW), played(rich, FEW)
    assert gain(before.total, after.total).mean == pytest.approx(0.0, abs=1e-9)


def test_places_at_walls_are_no_gear() -> None:
    items = can_grow(made_ground(6))
    rooms = [item.id for item in items if item.kind == "room"]
    assert rooms
    assert all(room.startswith("place:") for room in rooms)
    assert items[0].kind == "sheet"


def test_a_yard_put_together_of_its_trees_is_the_yard() -> None:
    whole = made_ground(("mango-grafted", "pot-lemon", "sapodilla"), winters=3, seed=5)
    part = made_ground(("pot-lemon",), winters=3, seed=5)
    # Of the small yard some nights do not matter: nothing is lost in them, as in the whole one on warm nights.
    warm = np.flatnonzero(whole.nights.minimum_c > 3.5)
    assert warm.size
    kept = np.flatnonzero(whole.nights.minimum_c <= 3.5)
    # Nor does its leaf pale in them: the ground leaves that out.
    lemon = whole.steps[0].trees[1]
    leaf_c = lemon.leaf_c.copy()
    leaf_c[:, warm] = WARM_C
    trees = tuple(replace(one, leaf_c=leaf_c) if one is lemon else one for one in whole.steps[0].trees)
    whole = replace(whole, steps=(replace(whole.steps[0], trees=trees),))
    tree = part.steps[0].trees[0]
    cut = {name: getattr(tree, name)[:, kept] for name in ("loss", "harm", "death", "fruit_lost", "felt_c", "leaf_c")}
    nights = replace(
        part.nights,
        **{name: getattr(part.nights, name)[kept] for name in ("winter", "day", "evening", "minimum_c", "told_c")},
    )
    small = replace(part, nights=nights, steps=(replace(part.steps[0], trees=(replace(tree, **cut),)),))
    merged = with_trees(whole, small)
    assert merged.steps[0].trees[0] is whole.steps[0].trees[0]
    assert np.array_equal(merged.steps[0].trees[1].loss[:, kept], tree.loss[:, kept])
    assert (merged.steps[0].trees[1].loss[:, warm] == 0.0).all()
    before, after = played(whole, FEW), played(merged, FEW)
    for name in before.means:
        assert after.means[name] == pytest.approx(before.means[name], abs=1e-6)


def test_grounds_of_other_winters_are_not_put_together() -> None:
    whole = made_ground(("mango-grafted", "pot-lemon"), winters=3, seed=5)
    with pytest.raises(ValueError, match="same winters"):
        with_trees(whole, made_ground(("pot-lemon",), winters=2, seed=5))
    with pytest.raises(ValueError, match="every night"):
        with_trees(whole, made_ground(("pot-lemon",), winters=3, seed=5, days=25))


def test_a_new_frame_stands_off_the_crown_and_is_a_yard_without_faults() -> None:
    yard = demo_yard()
    trees = {tree.id: tree for tree in yard.trees}
    made = framed(yard, trees["sapodilla"])
    assert made is not None
    assert [tree.id for tree in made.trees] == ["sapodilla"]
    (shelter,) = made.shelters
    xs = [x for x, _ in shelter.outline]
    assert max(xs) - min(xs) == pytest.approx(trees["sapodilla"].crown_diameter_m + 2 * FRAME_CLEARANCE_M)
    assert shelter.height_m == pytest.approx(trees["sapodilla"].height_m + FRAME_CLEARANCE_M)
    assert [one for one in check_yard(made) if one.severity == "error" and "shelters" in one.loc] == []
    assert framed(yard, trees["pot-lemon"]) is None
    assert framed(yard, trees["avocado-old"]) is None  # nobody builds a frame over it


@pytest.mark.parametrize("tree", ["sapodilla", "jaboticaba"])
def test_crowns_of_the_trees_left_out_still_take_the_sky(tree: str) -> None:
    yard = demo_yard()
    made = framed(yard, next(one for one in yard.trees if one.id == tree))
    assert made is not None
    place = next(one for one in tree_places(yard) if one[0] == tree)
    beside = yard.model_copy(update={"shelters": made.shelters})
    (seen,), (meant,) = survey(made, [place]), survey(beside, [place])
    assert seen.sky == pytest.approx(meant.sky, abs=1e-9)
    assert seen.canopy == pytest.approx(meant.canopy, abs=1e-9)
    bare = yard.model_copy(update={"shelters": made.shelters, "trees": made.trees})
    assert survey(bare, [place])[0].sky > meant.sky  # they do stand in the way


def test_a_barrel_is_one_more_in_the_same_shelter() -> None:
    yard = demo_yard()
    made = barrelled(yard, yard.shelters[0])
    assert {tree.id for tree in made.trees} == set(yard.shelters[0].trees)
    assert made.shelters[0].water_l == yard.shelters[0].water_l + BARREL_L
    assert made.shelters[0].outline == yard.shelters[0].outline


def test_the_most_endangered_tree_comes_first() -> None:
    ground = made_ground(6, winters=3, seed=6, mean_c=-1.0)
    first = endangered(ground)[0]
    poor = [replace(tree, worth=1e-3, crop_worth=0.0) if tree.tree == first else tree for tree in ground.steps[0].trees]
    cheap = replace(ground, steps=(replace(ground.steps[0], trees=tuple(poor)),))
    assert endangered(cheap)[0] != first
