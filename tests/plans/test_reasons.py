"""Why a tree is left: each reason where it is the true one."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plans.evening import EveningProblem, Option, solve
from fruitwall.plans.measures import possible_measures, refused_measures, settings_of, supplies_of
from fruitwall.plans.reasons import Reason, why_left
from fruitwall.yard.model import Yard
from tests.plans.test_evening import problem_of, shelter_of, two_trees_one_sheet
from tests.plans.test_measures import ANA, BEN, FLEECE, POT, SHED, YOUNG, yard
from tests.plans.yards import ALL, cover, lamps, leave, measure, option


def reason(problem: EveningProblem, tree: str) -> Reason:
    return why_left(problem, solve(problem), tree)


def refused(its: Yard, **more) -> Reason:
    """The reason for the first tree of a yard in which it would lose 50 left, and as much with water alone."""
    options = tuple(
        tuple(Option(m, np.array([50.0 if m.key in ("leave", "wet") else 0.0])) for m in possible_measures(its, tree))
        for tree in its.trees
    )
    problem = EveningProblem(
        tuple(tree.id for tree in its.trees), options, supplies_of(its), its.prices, settings_of(its)
    )
    first = its.trees[0]
    return why_left(problem, solve(problem), first.id, refused_measures(its, first))


# ---------------------------------------------------------------- nothing is possible


def test_the_nearest_sheet_and_the_size_that_it_takes_are_told():
    covers = [FLEECE | {"width": 3}, FLEECE | {"id": "film", "material": "bubble_film", "width": 3.8}]
    found = refused(yard(gear={"covers": covers}))
    assert found.kind == "no_help"  # it can be watered, for nothing
    (refusal,) = found.refusals
    assert (refusal.kind, refusal.need, refusal.have, refusal.unit) == ("no_sheet", 4.0, 3.8, "m")


def test_a_crown_out_of_reach_is_told_before_the_size_of_sheets():
    high = yard([YOUNG | {"height": 7}], gear={"covers": [FLEECE]})
    (refusal,) = refused(high).refusals
    assert (refusal.kind, refusal.need, refusal.have) == ("too_high", 7.0, 4.5)
    alone = yard([YOUNG | {"height": 3.5}], gear={"covers": [FLEECE | {"width": 12, "length": 12}]}, people=[ANA])
    (refusal,) = refused(alone).refusals
    assert (refusal.kind, refusal.need, refusal.have) == ("needs_two", 3.5, 3.0)


def test_a_container_nobody_moves_is_told_with_its_mass():
    heavy = POT | {"container": {"volume": 100, "mass": 120}, "height": 2.0}
    found = refused(yard([heavy], gear={"covers": [FLEECE]}, indoor_places=[SHED]))
    assert found.kind == "impossible"
    assert [refusal.kind for refusal in found.refusals] == ["no_sheet", "too_heavy"]
    assert (found.refusals[1].need, found.refusals[1].unit) == (120.0, "kg")
    assert found.refusals[1].have is not None
    assert found.refusals[1].have < 25
    assert (found.measure, found.saves, found.scarce) == (None, 0.0, ())


def test_that_nobody_has_time_comes_before_everything():
    its = yard([POT], gear={"covers": [FLEECE]}, people=[ANA | {"minutes_before_dusk": 0}], indoor_places=[SHED])
    found = refused(its)
    assert (found.kind, [refusal.kind for refusal in found.refusals]) == ("impossible", ["nobody_has_time"])


def test_a_yard_without_gear_has_nothing_to_refuse():
    found = refused(yard([POT], people=[ANA, BEN]))
    assert (found.kind, found.refusals) == ("impossible", ())


# ---------------------------------------------------------------- something is


def test_what_costs_more_than_it_saves_is_not_worth_it_even_alone():
    sheet = cover("a", ["ana"], minutes=5.0)  # 8 minutes with taking it away: 1.6
    found = reason(problem_of([option(leave("a"), 1.0), option(measure("cover", "a", sheet), 0.2)], trouble=0.5), "a")
    assert found.kind == "not_worth_it"
    assert found.measure is not None
    assert found.measure.key == "cover"
    assert (found.saves, found.costs) == (pytest.approx(0.8), pytest.approx(1.6 + 0.5))
    assert found.scarce == ()


def test_of_several_that_do_not_pay_the_one_that_lacks_least_is_told():
    dear = measure("warm", "a", lamps("a", ["ana"]), cover("a", ["ana"]))
    cheap = measure("cover", "a", cover("a", ["ana"]))
    found = reason(problem_of([option(leave("a"), 1.0), option(dear, 0.0), option(cheap, 0.4)]), "a")
    assert (found.kind, found.measure.key if found.measure else "") == ("not_worth_it", "cover")


def test_what_does_more_good_elsewhere_is_told_with_what_is_scarce():
    found = reason(two_trees_one_sheet(), "b")
    assert (found.kind, found.scarce) == ("others_first", ("sheet/small",))
    assert (found.saves, found.costs) == (pytest.approx(19.0), pytest.approx(1.6))


def test_a_shelter_better_open_for_others_leaves_nothing_scarce_to_name():
    states = shelter_of("a", "b")
    rows = [
        [option(leave("a", states[0]), 10), option(measure("shelter:hoops", "a", requires=(states[1],)), 0)],
        [
            option(leave("b", states[0]), 90),
            option(measure("shelter:hoops", "b", requires=(states[1],)), 80),
            option(measure("cover", "b", cover("b", ["ana"]), requires=(states[0],)), 0),
        ],
    ]
    found = reason(problem_of(*rows, settings=states), "a")
    assert (found.kind, found.scarce) == ("others_first", ())


def test_what_does_not_suffice_even_for_this_tree_alone_is_told():
    sheet = cover("a", ["ana", "ben"], minutes=30.0)
    rows = [option(leave("a"), 50.0), option(measure("cover", "a", sheet), 0.0)]
    found = reason(problem_of(rows), "a")
    assert (found.kind, found.scarce) == ("too_little", ("person/ana", "person/ben"))
    none = reason(problem_of(rows, have=ALL | {"sheet_small": 0, "sheet_large": 0, "person_ana": 90}), "a")
    assert (none.kind, none.scarce) == (
        "too_little",
        ("sheet/small", "sheet/large"),
    )  # Ben's time is short, but Ana's is not


def test_only_a_tree_that_is_left_has_a_reason():
    problem = two_trees_one_sheet()
    with pytest.raises(ValueError, match="tree a is not left tonight, it gets cover"):
        reason(problem, "a")
    with pytest.raises(ValueError, match="no tree 'z'; there are: a, b"):
        reason(problem, "z")
