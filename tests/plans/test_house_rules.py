"""House rules on every night: limits, what is asked for, what stands, and how near the greedy choice is to the best."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from fruitwall.errors import PlanError
from fruitwall.plans.evening import EveningProblem, Option, solve
from fruitwall.plans.parts import Part
from fruitwall.plans.problem import TROUBLE, Supplies
from fruitwall.plans.rules.ground import Ground, SizeStep
from fruitwall.plans.rules.nightly import Chosen, choose, follows
from fruitwall.plans.rules.rule import HouseRule, RuleSet, check_rules, rule_for
from tests.plans.rules_made import TREES, made_ground

AS_NOW = RuleSet("as-now", "as now", (HouseRule(way="as_now"),))
ALL_LIMITS = RuleSet("all", "all", (HouseRule(cover_below_c=2.0, heat_below_c=0.0, carry_below_c=1.0),))
MIXED = RuleSet(
    "mixed",
    "mixed",
    (
        HouseRule(cover_below_c=1.0),
        HouseRule(trees="potted", cover_below_c=2.0, carry_below_c=0.0),
        HouseRule(trees="taxon:Mangifera indica", way="may_kill", carry_if_death=0.01),
        HouseRule(trees="tree:avocado-old", way="as_now"),
    ),
)
NEVER = RuleSet("never", "never", (HouseRule(way="never"),))


def rules(**limits: float) -> RuleSet:
    return RuleSet("some", "some", (HouseRule(**limits),))  # type: ignore[arg-type]


def with_supplies(step: SizeStep, factor: float, *kinds: str) -> SizeStep:
    """The same yard with so many times the supplies of some kinds, whole pieces."""
    items = tuple(
        replace(item, available=float(np.ceil(item.available * factor))) if not kinds or item.kind in kinds else item
        for item in step.supplies.items
    )
    return replace(step, supplies=Supplies(items))


def parts_of(step: SizeStep, chosen: Chosen, night: int) -> dict[str, Part]:
    """Everything in use on a night, from the measures alone; their states of shared things must agree."""
    found: dict[str, Part] = {}
    states: dict[str, str] = {}
    for tree, row in zip(step.trees, chosen.measure[:, night], strict=True):
        measure = tree.measures[row]
        for setting in measure.requires:
            assert states.setdefault(setting.group, setting.state) == setting.state, (tree.tree, measure.key)
        found.update({part.key: part for part in measure.all_parts})
    return found


def least_minutes(step: SizeStep, parts: Iterable[Part], standing: frozenset[str]) -> float | None:
    """Least minutes of people tonight to do all of these, piece by piece; None if it cannot be done.

    Written without `plans.programme` and without unions of what fits: every piece is handed to somebody.
    """
    have = {item.key: item.available for item in step.supplies.items}
    cost: list[float] = []
    rows: list[tuple[dict[int, float], float, float]] = []
    used: dict[str, dict[int, float]] = {key: {} for key in have}

    def column(price: float, uses: dict[str, float]) -> int:
        at = len(cost)
        cost.append(price)
        for key, amount in uses.items():
            used[key][at] = used[key].get(at, 0.0) + amount
        return at

    windows = sorted({item.available for item in step.supplies.items if item.kind == "person"})
    rides: dict[tuple[str, float], dict[int, float]] = {}
    for part in parts:
        stands = part.stays and part.key in standing
        kinds = [f"{'lamps' if part.kind == 'lamps' else 'heater'}/{part.device}"] if part.device else []
        fixed = dict.fromkeys(kinds + ([f"room/{part.room}"] if part.room else []), 1.0)
        rows.append(({column(0.0, fixed): 1.0}, 1.0, 1.0))
        if not stands:
            doing = {}
            for way in part.ways:
                at = column(way.minutes * len(way.people), {f"person/{one}": way.minutes for one in way.people})
                doing[at] = 1.0
                if way.trolley:
                    least = min(have[f"person/{one}"] for one in way.people)
                    for window in (its for its in windows if least <= its):
                        rides.setdefault((way.trolley, window), {})[at] = way.minutes
            rows.append((doing, 1.0, 1.0))
        elif part.minutes_again:
            people = {one for way in part.ways for one in way.people}
            again = {column(part.minutes_again, {f"person/{one}": part.minutes_again}): 1.0 for one in sorted(people)}
            rows.append((again, 1.0, 1.0))
        if part.sheets:
            rows.append(({column(0.0, {f"sheet/{sheet}": 1.0}): 1.0 for sheet in part.sheets}, 1.0, 1.0))
        if part.feeds:
            fed = {
                column(0.0, {f"circuit/{feed.circuit}": part.watts} | ({f"lead/{lead}": 1.0} if lead else {})): 1.0
                for feed in part.feeds
                for lead in feed.leads or (None,)
            }
            rows.append((fed, 1.0, 1.0))
    rows += [(its, -np.inf, have[key] + 1e-9) for key, its in used.items() if its and not key.startswith("trolley/")]
    rows += [(its, -np.inf, have[f"trolley/{name}"] * window + 1e-9) for (name, window), its in rides.items()]
    if not cost:
        return 0.0
    matrix = np.zeros((len(rows), len(cost)))
    for at, (terms, _, _) in enumerate(rows):
        for place, value in terms.items():
            matrix[at, place] = value
    limits = LinearConstraint(matrix, [row[1] for row in rows], [row[2] for row in rows])
    result = milp(cost, integrality=np.ones(len(cost)), bounds=Bounds(0, 1), constraints=limits)
    return None if result.x is None else float(result.fun)


def check(ground: Ground, step: SizeStep, chosen: Chosen) -> int:
    """Hold every night to its limits and to what it says it takes; give on how many nights something was done."""
    standing: frozenset[str] = frozenset()
    linked, busy = follows(ground.nights), 0
    for night in range(ground.nights.count):
        before = standing if linked[night] else frozenset[str]()
        parts = parts_of(step, chosen, night)
        least = least_minutes(step, parts.values(), before)
        assert least is not None, f"night {night} cannot be done: {sorted(parts)}"
        new = [part for key, part in parts.items() if not (part.stays and key in before)]
        later = sum(part.minutes_morning for part in parts.values()) + sum(part.minutes_remove for part in new)
        assert chosen.minutes[night] >= least + later - 1e-6
        assert chosen.kwh[night] == pytest.approx(sum(part.kwh for part in parts.values()))
        assert chosen.wear[night] == pytest.approx(sum(part.wear for part in parts.values()))
        assert chosen.carried[night] == sum(part.kind in ("carry", "roof", "wall") for part in new)
        standing = frozenset(key for key, part in parts.items() if part.stays)
        busy += bool(parts)
    return busy


@pytest.mark.parametrize("its", [AS_NOW, ALL_LIMITS, MIXED], ids=lambda its: its.key)
@pytest.mark.parametrize(("factor", "kinds"), [(1.0, ()), (0.2, ("person",)), (0.1, ("sheet", "circuit", "room"))])
def test_no_limit_is_ever_exceeded(its: RuleSet, factor: float, kinds: tuple[str, ...]) -> None:
    ground = made_ground(trees=TREES, winters=2, days=10, seed=4, mean_c=-1.0)
    step = with_supplies(ground.steps[0], factor, *kinds)

    chosen = choose(ground, step, its)

    assert check(ground, step, chosen) > 5
    assert chosen.short.any() or its is not ALL_LIMITS or factor == 1.0  # the limits do bite


def test_the_check_itself_finds_what_cannot_be_done() -> None:
    ground = made_ground(trees=TREES, winters=1, days=6, seed=4, mean_c=-3.0)
    generous = with_supplies(ground.steps[0], 100.0)
    chosen = choose(ground, generous, ALL_LIMITS)

    assert check(ground, generous, chosen) > 3
    with pytest.raises(AssertionError, match="cannot be done"):
        check(ground, with_supplies(ground.steps[0], 0.1), chosen)


def test_reruns_and_threads_give_the_same() -> None:
    ground = made_ground(trees=TREES, winters=5, days=8, seed=2, mean_c=-1.0)
    first = choose(ground, ground.steps[0], MIXED)
    for threads in (1, 2, 3):
        again = choose(ground, replace(ground.steps[0]), MIXED, threads=threads)
        for name in ("measure", "short", "minutes", "lifts", "kwh", "wear", "carried"):
            np.testing.assert_array_equal(getattr(first, name), getattr(again, name))
    with pytest.raises(ValueError, match="threads must be 1 or more"):
        choose(ground, ground.steps[0], MIXED, threads=0)


def test_never_does_nothing() -> None:
    ground = made_ground(trees=TREES, mean_c=-4.0)
    for its in (NEVER, RuleSet("none", "none", ()), rules(cover_below_c=-30.0)):
        chosen = choose(ground, ground.steps[0], its)
        assert not chosen.measure.any()
        assert not chosen.short.any()
        assert not (chosen.minutes.any())
        assert not (chosen.lifts.any())
        assert not (chosen.kwh.any())
        assert not (chosen.wear.any())


def test_without_limits_a_warmer_limit_protects_no_tree_less() -> None:
    ground = made_ground(trees=TREES, winters=3, days=15)
    step = with_supplies(ground.steps[0], 1000.0)
    before = np.zeros((len(TREES), ground.nights.count), dtype=bool)
    for limit_c in (-3.0, -1.0, 0.0, 1.5, 4.0):
        chosen = choose(ground, step, rules(cover_below_c=limit_c))
        now = chosen.measure > 0
        assert not chosen.short.any()
        assert (now | ~before).all()
        assert now.sum() > before.sum()
        np.testing.assert_array_equal(now.any(axis=0), ground.nights.told_c <= limit_c)
        before = now


def test_what_is_asked_for_is_done_and_no_more() -> None:
    ground = made_ground(trees=TREES, winters=3, days=15)
    step = with_supplies(ground.steps[0], 1000.0)
    chosen = choose(ground, step, rules(cover_below_c=2.0, carry_below_c=-1.0))
    for tree, row in zip(step.trees, chosen.measure, strict=True):
        can_cover = any((its.cover or its.shelter) and not (its.lamp or its.heater) for its in tree.measures)
        for night, told_c in enumerate(ground.nights.told_c):
            measure = tree.measures[row[night]]
            assert measure.lamp is None
            assert measure.heater is None
            if told_c > 2.0:
                assert measure.key == "leave"
            elif told_c <= -1.0 and tree.potted:
                assert measure.place is not None
            else:
                assert bool(measure.cover or measure.shelter) == can_cover


def test_trees_of_a_shelter_are_decided_together() -> None:
    ground = made_ground(trees=TREES, winters=2, days=15, mean_c=-1.0)
    step = with_supplies(ground.steps[0], 1000.0)
    sheltered = [tree for tree in step.trees if any(its.shelter for its in tree.measures)]
    if len(sheltered) < 1:
        pytest.fail("the demo yard's trees for tests must hold one of a shelter")
    one = sheltered[0]
    its = RuleSet("one", "one", (HouseRule(trees=f"tree:{one.tree}", heat_below_c=0.0),))
    chosen = choose(ground, step, its)
    for night in range(ground.nights.count):
        parts_of(step, chosen, night)  # states agree
    assert (chosen.measure[step.trees.index(one)] > 0).any()


def test_a_pot_that_stays_in_is_carried_once() -> None:
    """Three nights in a row take one carrying, three apart three; both ways count with the first."""
    ground = made_ground(trees=("pot-lemon",), winters=1, days=6)
    step = ground.steps[0]
    its = rules(carry_below_c=0.0)

    def told(*values: float) -> Chosen:
        return choose(replace(ground, nights=replace(ground.nights, told_c=np.array(values))), step, its)

    row, apart = told(-1, -1, -1, 5, 5, 5), told(-1, 5, -1, 5, -1, 5)
    np.testing.assert_array_equal(row.carried, [1, 0, 0, 0, 0, 0])
    np.testing.assert_array_equal(apart.carried, [1, 0, 1, 0, 1, 0])
    assert row.minutes[0] > 0
    assert not row.minutes[1:].any()
    assert apart.minutes.sum() == pytest.approx(3 * row.minutes.sum())
    assert (row.measure[0, :3] == row.measure[0, 0]).all()

    gone = replace(ground.nights, told_c=np.full(6, -1.0), day=np.array([0, 1, 5, 6, 9, 12]))
    spread = choose(replace(ground, nights=gone), step, its)
    np.testing.assert_array_equal(spread.carried, [1, 0, 1, 0, 1, 1])


def test_without_people_everything_is_short() -> None:
    ground = made_ground(trees=TREES, winters=1, days=10, mean_c=-2.0)
    step = with_supplies(ground.steps[0], 0.0, "person")
    chosen = choose(ground, step, rules(cover_below_c=0.0))
    assert not chosen.measure.any()
    cold = ground.nights.told_c <= 0.0
    assert cold.any()
    assert not chosen.short[:, ~cold].any()
    for tree, short in zip(step.trees, chosen.short[:, cold], strict=True):
        assert short.all() == any((its.cover or its.shelter) and not (its.lamp or its.heater) for its in tree.measures)


def test_short_of_minutes_the_most_saving_a_minute_comes_first() -> None:
    """With minutes for one of two alike, the tree that would lose more is covered."""
    ground = made_ground(trees=("lime-hollow", "sapodilla"), winters=1, days=12, mean_c=-2.0)
    step = ground.steps[0]
    alone = choose(ground, step, rules(cover_below_c=0.0))
    night = int(np.argmax((alone.measure > 0).all(axis=0)))
    trees = tuple(replace(tree, loss=tree.loss * factor) for tree, factor in zip(step.trees, (1e-6, 1.0), strict=True))
    most = max(part.quickest.minutes for part in parts_of(step, alone, night).values())
    items = tuple(
        replace(item, available=most + 0.01 if at == 0 else 0.0) if item.kind == "person" else item
        for at, item in enumerate(sorted(step.supplies.items, key=lambda item: item.kind != "person"))
    )
    chosen = choose(ground, replace(step, trees=trees, supplies=Supplies(items)), rules(cover_below_c=0.0))
    assert chosen.measure[1, night] > 0
    assert chosen.measure[0, night] == 0
    assert chosen.short[0, night]
    assert not chosen.short[1, night]


def problem_of(ground: Ground, step: SizeStep, night: int, standing: frozenset[str]) -> EveningProblem:
    return EveningProblem(
        trees=tuple(tree.tree for tree in step.trees),
        options=tuple(
            tuple(
                Option(measure, np.array([float(loss)]))
                for measure, loss in zip(tree.measures, tree.loss[:, night], strict=True)
            )
            for tree in step.trees
        ),
        supplies=step.supplies,
        prices=ground.prices,
        settings=step.settings,
        in_place=standing,
    )


def price_of(ground: Ground, step: SizeStep, chosen: Chosen, night: int, standing: frozenset[str]) -> float:
    """Loss, effort and trouble of what was chosen on a night. [currency]"""
    parts, prices = parts_of(step, chosen, night), ground.prices
    anew = sum(not (part.stays and key in standing) for key, part in parts.items())
    loss = sum(float(tree.loss[row, night]) for tree, row in zip(step.trees, chosen.measure[:, night], strict=True))
    effort = prices.per_hour / 60.0 * chosen.minutes[night] + prices.per_lift * chosen.lifts[night]
    return float(loss + effort + prices.per_kwh * chosen.kwh[night] + chosen.wear[night] + TROUBLE * anew)


WORSE_AT_MOST = 0.01
"""Share of the best evening's total by which the greedy choice may be worse on any night."""


def test_as_now_is_nearly_what_the_evening_planner_would_choose() -> None:
    ground = made_ground(trees=TREES, winters=1, days=12, seed=3, mean_c=-1.0)
    step = with_supplies(ground.steps[0], 0.4, "person")
    chosen = choose(ground, step, AS_NOW)
    standing: frozenset[str] = frozenset()
    worse = []
    for night in range(ground.nights.count):
        best = solve(problem_of(ground, step, night, standing), time_limit_s=10.0).costs.total
        mine = price_of(ground, step, chosen, night, standing)
        assert mine >= best - 2e-3  # the best is the best
        worse.append((mine - best) / best)
        standing = frozenset(key for key, part in parts_of(step, chosen, night).items() if part.stays)
    assert chosen.short.any()
    assert max(worse) <= WORSE_AT_MOST


def test_the_most_special_rule_holds_and_of_equals_the_last() -> None:
    trees = {tree.tree: tree for tree in made_ground(trees=TREES, winters=1, days=1).steps[0].trees}
    every, potted, old, new, one = (
        HouseRule(cover_below_c=0.0),
        HouseRule(trees="potted", cover_below_c=1.0),
        HouseRule(trees="taxon:Mangifera indica", cover_below_c=2.0),
        HouseRule(trees="taxon:Mangifera indica", cover_below_c=3.0),
        HouseRule(trees="tree:pot-mango", way="never"),
    )
    its = RuleSet("s", "s", (one, old, new, potted, every))
    assert rule_for(its, trees["pot-mango"]) is one
    assert rule_for(its, trees["mango-grafted"]) is new
    assert rule_for(its, trees["pot-lemon"]) is potted
    assert rule_for(its, trees["avocado-old"]) is every
    assert rule_for(RuleSet("s", "s", (potted,)), trees["avocado-old"]) is None


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        (HouseRule(trees="pots", cover_below_c=0.0), r'rule 1: "pots" names no trees'),
        (HouseRule(trees="tree:", cover_below_c=0.0), "names no trees"),
        (HouseRule(trees="tree:oak", cover_below_c=0.0), r'rule 1 names "oak".*avocado-old'),
        (HouseRule(), "rule 1 asks for nothing"),
        (HouseRule(cover_below_c=32.0), "the limit for covering must lie between"),
        (HouseRule(cover_below_c=float("nan")), "the limit for covering must lie between"),
        (HouseRule(way="sometimes"), r'there is no way "sometimes"'),  # type: ignore[arg-type]
        (HouseRule(way="may_kill", carry_if_death=0.0), "above 0 and at most 100"),
    ],
)
def test_a_rule_that_cannot_be_meant_is_refused_with_its_mend(rule: HouseRule, says: str) -> None:
    trees = made_ground(trees=TREES, winters=1, days=1).steps[0].trees
    with pytest.raises(PlanError, match=says):
        check_rules(RuleSet("s", "s", (rule,)), trees)
