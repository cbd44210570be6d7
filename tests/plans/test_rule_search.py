"""The search for house rules: never beaten by all rule sets of a small yard, and exact about what can be kept."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from fruitwall.plans.problem import Supplies
from fruitwall.plans.rules.frontier import frontier
from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.menu import NEVER, menu
from fruitwall.plans.rules.nightly import choose
from fruitwall.plans.rules.rule import HouseRule
from fruitwall.plans.rules.search import NotKept, Search, cheapest, prepared
from fruitwall.plans.rules.usage import effort_of, per_winter, plenty, same_for_all, units_of
from fruitwall.plans.rules.winter_loss import yearly_loss
from tests.plans.rules_made import made_ground

FEW = (
    NEVER,
    HouseRule(cover_below_c=1.0),
    HouseRule(cover_below_c=-1.5, heat_below_c=-3.0),
    HouseRule(carry_below_c=0.0),
    HouseRule(way="may_kill", carry_if_death=0.05),
)


def scarce(ground: Ground, seed: int) -> Ground:
    """A ground with so little of everything that most rule sets cannot be kept."""
    rng = np.random.default_rng(seed)
    step = ground.steps[0]
    items = []
    for item in step.supplies.items:
        if item.kind == "person":
            item = replace(item, available=float(rng.uniform(8.0, 40.0)))
        elif item.kind in ("sheet", "trolley", "lead", "room"):
            item = replace(item, available=float(rng.integers(0, 2)))
        items.append(item)
    return replace(ground, steps=(replace(step, supplies=Supplies(tuple(items))),))


def all_sets(search: Search) -> list[dict[str, float]]:
    """Every rule set of a menu that is kept in full, judged by the nights themselves and not by the search's sums."""
    ground, step = search.ground, search.step
    found = []
    for picked in product(*(range(len(unit.lines)) for unit in search.units)):
        chosen = choose(ground, step, search.rule_set(picked))
        if np.array_equal(chosen.measure, search.wanted(picked)):
            effort = per_winter(ground, effort_of(ground.prices, chosen))
            loss = yearly_loss(ground, step, chosen.measure)
            lifts = per_winter(ground, chosen.lifts)
            found.append({"effort": effort, "loss": loss, "lifts": lifts, "total": effort + loss})
    return found


GROUNDS = [
    (("mango-grafted", "pot-mango", "pot-lemon"), 1),
    (("sapodilla", "pot-lemon", "soursop", "carambola"), 2),  # two of them share a shelter
    (("lime-hollow", "mango-grafted", "sapodilla"), 12),
    (("pot-mango", "pot-lemon", "avocado-old"), 4),
]


@pytest.mark.parametrize(("trees", "seed"), GROUNDS)
def test_no_rule_set_of_a_small_yard_beats_what_is_found(trees: tuple[str, ...], seed: int) -> None:
    ground = scarce(made_ground(trees, winters=3, days=12, seed=seed), seed)
    search = prepared(ground, ground.steps[0], FEW)
    every = all_sets(search)
    most_sets = int(np.prod([len(unit.lines) for unit in search.units]))
    assert 1 < len(every) < most_sets  # limits bind, and something is left to choose
    losses = sorted(one["loss"] for one in every)
    for share in (0.0, 0.3, 0.7, 1.0):
        allowed = losses[0] + share * (losses[-1] - losses[0])
        for objective in ("effort", "lifts", "total", "loss"):
            found = cheapest(search, objective, most_loss=allowed)
            best = min(one[objective] for one in every if one["loss"] <= allowed + 1e-6)
            assert found.proven
            assert found.value == pytest.approx(best, rel=1e-5, abs=1e-5)
            assert found.loss <= allowed + 1e-5 * max(1.0, allowed)
            assert yearly_loss(ground, ground.steps[0], found.chosen.measure) == pytest.approx(found.loss, rel=1e-9)
    with pytest.raises(NotKept, match="Allow more loss"):
        cheapest(search, most_loss=0.9 * losses[0] - 1.0)


@pytest.mark.parametrize(("trees", "seed"), GROUNDS)
def test_the_frontier_is_that_of_all_rule_sets(trees: tuple[str, ...], seed: int) -> None:
    ground = made_ground(trees, winters=3, days=12, seed=seed)
    ground = without_trolleys(scarce(ground, seed) if seed % 2 else ground)
    search = prepared(ground, ground.steps[0], FEW)
    every = all_sets(search)
    corners = set()
    for one in every:
        beaten = any(
            other["loss"] <= one["loss"] + 1e-9
            and other["lifts"] <= one["lifts"] + 1e-9
            and (other["loss"] < one["loss"] - 1e-6 or other["lifts"] < one["lifts"] - 1e-6)
            for other in every
        )
        if not beaten:
            corners.add((round(one["lifts"], 4), round(one["loss"], 4)))
    found = frontier(search, points=1000, near=0.0)
    assert {(round(one.lifts, 4), round(one.loss, 4)) for one in found} == corners
    assert [one.lifts for one in found] == sorted((one.lifts for one in found), reverse=True)
    assert found[-1].lifts == 0.0
    few = frontier(search, points=2, near=0.0)
    assert {(round(one.lifts, 4), round(one.loss, 4)) for one in few} <= corners


def without_trolleys(ground: Ground) -> Ground:
    """A ground whose people have to lift."""
    step = ground.steps[0]
    items = (replace(item, available=0.0) if item.kind == "trolley" else item for item in step.supplies.items)
    return replace(ground, steps=(replace(step, supplies=Supplies(tuple(items))),))


def test_what_the_rows_let_through_and_nobody_can_keep_is_tried_and_forbidden() -> None:
    trees = ("sapodilla", "pot-mango", "soursop", "carambola")
    ground = without_trolleys(scarce(made_ground(trees, winters=3, days=10, seed=397), 397))
    search = prepared(ground, ground.steps[0], FEW)
    found = cheapest(search, "loss")
    assert found.tried > 1
    assert search.cuts
    assert found.value == pytest.approx(min(one["loss"] for one in all_sets(search)), rel=1e-6)
    assert cheapest(search, "loss").tried == 1  # what was forbidden once stays so


def test_sums_of_lines_are_what_the_nights_take() -> None:
    ground = made_ground(8, winters=4, seed=7)
    step = replace(ground.steps[0], supplies=plenty(ground.steps[0].supplies))
    units = units_of(ground, step, menu())
    for rule in menu()[::7]:
        whole = choose(ground, step, same_for_all(rule))
        lines = []
        for unit in units:
            lines += [line for line in unit.lines if np.array_equal(line.measure, whole.measure[list(unit.at)])]
        assert len(lines) == len(units)
        assert sum(line.effort for line in lines) == pytest.approx(per_winter(ground, effort_of(ground.prices, whole)))
        assert sum(line.minutes for line in lines) == pytest.approx(per_winter(ground, whole.minutes))
        assert sum(line.lifts for line in lines) == pytest.approx(per_winter(ground, whole.lifts))
        assert sum(line.loss for line in lines) == pytest.approx(yearly_loss(ground, step, whole.measure))


def test_a_loss_that_needs_nothing_done_asks_for_nothing() -> None:
    ground = made_ground(5, winters=2, seed=5)
    search = prepared(ground, ground.steps[0], FEW)
    nothing = sum(unit.lines[0].loss for unit in search.units)
    found = cheapest(search, "effort", most_loss=nothing)
    assert found.effort == 0.0
    assert found.rules.rules == (NEVER,)


def test_points_of_a_frontier_are_at_least_two() -> None:
    ground = made_ground(2, winters=1, days=3)
    with pytest.raises(ValueError, match="at least 2"):
        frontier(prepared(ground, ground.steps[0], FEW), points=1)
