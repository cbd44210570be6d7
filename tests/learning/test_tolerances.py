"""Does the yard teach what it should, and nothing else?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr

from fruitwall.learning.looks import LEFT_BY_MISTAKES, LivedNight, Look, reduce_look
from fruitwall.learning.matching import match
from fruitwall.learning.tolerances import HYPER_SD, Learned, Shift, TreePrior, learn, prepare
from fruitwall.plants.injury import DURATIONS_H
from tests.learning.made_yards import believed, grade_of, made_yard, night, prior_of
from tests.learning.test_sampled import MEAN_WITHIN_K, SD_RATIO

LEMON = believed("lemon")
TWO_LEMONS = [prior_of("a", "lemon"), prior_of("b", "lemon")]


def look(number: int, coldest_c: float, grade: int, tree: str = "a", **about: Any) -> Look:
    """A look at a lemon after one night."""
    lived = [LivedNight(night(coldest_c), LEMON)]
    return reduce_look(lived, **({"id": f"l{number:03d}", "tree": tree, "observer": "ana", "grade": grade} | about))


def shift(trees: list[TreePrior], *looks: Look, tree: str = "a") -> Shift:
    return learn(trees, looks).trees[tree]


def everything(learned: Learned) -> list[Any]:
    return [
        learned.trees, learned.chill, learned.kinds, learned.observers, learned.yard, learned.young, learned.duration,
        learned.scales, learned.looks, learned.pulls,
    ]  # fmt: skip


BEFORE = shift(TWO_LEMONS)
NO_HARM = [look(n, -6.5, 0) for n in range(3)]
"""Nights that half of all lemons would not have stood without dead twigs, and nothing was seen."""

HARM = [look(n, -3.0, 4) for n in range(3)]


# ---------------------------------------------------------------- what teaches, and which way


def test_without_looks_all_is_as_believed() -> None:
    assert BEFORE.mean_k == 0.0
    # The lemon's doubt as published, somewhat more for that the scales are not known either.
    assert LEMON.sd_k[0] < BEFORE.sd_k < 1.2 * LEMON.sd_k[0]


def test_a_sighting_without_harm_teaches_that_a_tree_stands_more() -> None:
    got = shift(TWO_LEMONS, *NO_HARM)

    assert got.mean_k < -1.0
    assert got.sd_k < 0.8 * BEFORE.sd_k


def test_harm_in_a_mild_night_teaches_that_a_tree_stands_less() -> None:
    got = shift(TWO_LEMONS, *HARM)

    assert got.mean_k > 1.0
    assert got.sd_k < 0.5 * BEFORE.sd_k


def test_a_warm_night_without_harm_teaches_nothing() -> None:
    got = shift(TWO_LEMONS, *(look(n, 4.0, 0) for n in range(5)))

    assert got.mean_k == pytest.approx(0.0, abs=0.02)
    assert got.sd_k == pytest.approx(BEFORE.sd_k, rel=0.03)


def test_one_tree_teaches_the_others_of_its_kind_more_than_those_of_another() -> None:
    trees = [*TWO_LEMONS, prior_of("m", "mango")]
    got = learn(trees, HARM).trees

    assert got["a"].mean_k > got["b"].mean_k > got["m"].mean_k > 0.1
    assert got["a"].sd_k < got["b"].sd_k < BEFORE.sd_k


def test_hurt_under_a_cover_teaches_by_what_was_felt_under_it() -> None:
    # The same air, -7 °C: under the cover the leaf was at -3 °C. Burnt there, the tree is tender; in the open not.
    covered, open_ = shift(TWO_LEMONS, look(0, -3.0, 3)), shift(TWO_LEMONS, look(0, -7.0, 3))

    assert covered.mean_k > 1.0
    assert open_.mean_k < -0.5


def test_many_nights_that_nobody_looked_after_teach_as_one_look() -> None:
    rng = np.random.default_rng(3)
    nights = [LivedNight(night(float(one)), LEMON) for one in [*rng.normal(1.0, 1.5, 41), -6.5]]
    weeks = reduce_look(nights, id="w", tree="a", observer="ana", grade=0)

    assert shift(TWO_LEMONS, weeks) == shift(TWO_LEMONS, look(0, -6.5, 0, id="w"))


def test_two_people_of_different_habit_are_told_apart() -> None:
    rng = np.random.default_rng(4)
    trees = [prior_of(f"t{n}", "lemon") for n in range(6)]
    looks = []
    for n in range(90):
        cold, who = float(rng.normal(-5.0, 1.0)), ("ana", "ben")[n // 6 % 2]  # both look at every tree
        habit = 0.5 if who == "ben" else -0.5  # ben sees more harm than there is, ana less
        grade = grade_of(LEMON, [night(cold)], rng, shift=habit)
        looks.append(look(n, cold, grade, f"t{n % 6}", observer=who))
    got = learn(trees, looks)

    ana, ben = got.observers["ana"], got.observers["ben"]
    assert ben.mean_k - ana.mean_k > 0.5  # 1.0 in truth
    assert np.mean([one.mean_k for one in got.trees.values()]) == pytest.approx(0.0, abs=0.3)


def test_the_less_a_sight_is_of_cold_the_less_it_teaches_and_steadily_so() -> None:
    shares = np.linspace(1.0, 0.0, 21)
    means = [shift(TWO_LEMONS, look(0, -4.0, 4, cold=float(share))).mean_k for share in shares]

    assert means[0] > 1.0
    assert (np.diff(means) < 0).all()
    # Steepest where any other cause at all becomes possible, for such harm in so mild a night is a surprise.
    assert np.abs(np.diff(means)).argmax() == 0
    # Wholly of heat or drought: the cold did no more than what was seen, as after a night without harm but weaker.
    assert shift(TWO_LEMONS, look(0, -4.0, 0)).mean_k < means[-1] < 0.0


def test_what_cannot_be_seen_yet_does_not_speak_for_the_tree() -> None:
    early, late = (shift(TWO_LEMONS, look(0, -6.5, 0, seen=seen)) for seen in (0.1, 1.0))

    assert late.mean_k < 3.0 * early.mean_k < 0.0


def test_cool_nights_that_pale_a_leaf_are_not_taken_for_frost() -> None:
    frost, cool = (shift(TWO_LEMONS, look(0, -2.0, 1, paled=paled)).mean_k for paled in (0.0, 0.9))

    assert cool < 0.0 < 0.3 < frost


def test_chilling_teaches_the_chill_level() -> None:
    banana = prior_of("a", "banana")
    cool = [LivedNight(np.full((5, 5), 6.0), believed("banana"))]

    def level(grade: int) -> float:
        about: dict[str, Any] = {"tree": "a", "observer": "ana", "grade": grade}
        return learn([banana], [reduce_look(cool, id=f"l{n}", **about) for n in range(3)]).chill["a"].mean_k

    assert level(0) < -0.5
    assert level(4) > 0.5


# ---------------------------------------------------------------- order, withdrawal, mistakes


def test_the_order_of_entry_changes_nothing() -> None:
    rng = np.random.default_rng(5)
    trees, looks, _ = made_yard(rng, kinds=("lemon", "banana"), looks=4)
    first = everything(learn(trees, looks))
    for _ in range(3):
        assert everything(learn(trees, [looks[at] for at in rng.permutation(len(looks))])) == first


def test_a_look_taken_back_leaves_no_trace() -> None:
    kept = [look(0, -5.0, 2), look(2, -6.0, 3, "b")]

    assert everything(learn(TWO_LEMONS, [kept[0], look(1, -2.0, 7), kept[1]])) != everything(learn(TWO_LEMONS, kept))
    assert everything(learn(TWO_LEMONS, kept)) == everything(learn(TWO_LEMONS, list(kept)))
    assert everything(learn(TWO_LEMONS, [])) == everything(learn(TWO_LEMONS, ()))


def test_one_absurd_entry_does_not_drag_a_tree_along() -> None:
    known = [look(n, cold, grade) for n, (cold, grade) in enumerate([(-4.5, 0), (-5.5, 2), (-5.0, 1), (-6.0, 3)])]
    before = shift(TWO_LEMONS, *known)

    dead_in_mild_air = shift(TWO_LEMONS, *known, look(9, -1.5, 7))
    dead_above_freezing = shift(TWO_LEMONS, *known, look(9, 3.0, 7))

    assert abs(dead_in_mild_air.mean_k - before.mean_k) < 0.15
    assert abs(dead_above_freezing.mean_k - before.mean_k) < 0.01


def test_how_far_a_look_pulls_is_near_what_taking_it_back_does() -> None:
    trees, looks, _ = made_yard(np.random.default_rng(8), kinds=("lemon", "mango"), looks=5)
    whole = learn(trees, looks)

    taken_back = [
        whole.trees[one.tree].mean_k
        - learn(trees, [other for other in looks if other is not one]).trees[one.tree].mean_k
        for one in looks
    ]

    told = [whole.pulls[one.id][0] for one in looks]
    # Not the same: without a look the scales and what the other looks mean change as well; where two looks contradict
    # each other, either alone may be worth a kelvin and is told as half of one.
    assert np.corrcoef(told, taken_back)[0, 1] > 0.9
    much = np.abs(taken_back) > 0.2
    assert much.sum() >= 3
    assert (np.sign(told)[much] == np.sign(taken_back)[much]).all()


# ---------------------------------------------------------------- the arithmetic


@pytest.mark.parametrize("seed", range(4))
def test_one_tree_at_given_scales_comes_out_as_by_brute_force(seed: int) -> None:
    """Sums over a fine grid of the tree's shift, within the bounds that hold against sampling."""
    trees, looks, _ = made_yard(np.random.default_rng(seed), kinds=("mango",), per_kind=1, looks=6, observers=("ana",))
    layout, data = prepare(trees, looks, DURATIONS_H)
    assert data is not None
    got = match(data, layout.sd, layout.groups, 1.0, 0.1)

    at = np.linspace(-9.0, 9.0, 1801)
    seen_sd_k = float(np.sqrt((layout.sd[layout.shift_of[0] > 0] ** 2).sum() + layout.sd[layout.observers["ana"]] ** 2))
    log_density = -0.5 * (at / seen_sd_k) ** 2
    for n in range(len(looks)):
        lines = data.beyond_k[n] + data.log2h * 0.1
        passed = (lines[..., None] + data.scale[n][:, None, None] * at).max(axis=(1, 2))
        fine = ndtr(-passed / data.slope_k[n]) * data.pale[n][:, None]
        log_density += np.log(LEFT_BY_MISTAKES - data.cold[n] * fine[0] - data.seen[n] * (1.0 - fine[1]))
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    mean = density @ at
    evidence = np.log(np.exp(log_density).sum() * (at[1] - at[0]) / (np.sqrt(2.0 * np.pi) * seen_sd_k))

    seen = layout.shift_of[0].copy()
    seen[layout.observers["ana"]] = 1.0
    assert seen @ got.mean == pytest.approx(mean, abs=MEAN_WITHIN_K)
    assert SD_RATIO[0] < np.sqrt(seen @ got.covariance @ seen) / np.sqrt(density @ (at - mean) ** 2) < SD_RATIO[1]
    assert got.log_evidence == pytest.approx(evidence, abs=0.1)


def test_the_slopes_of_the_evidence_are_its_differences() -> None:
    """Of a yard without looks that contradict each other: whose factors are held back, and the slope is then not exact.

    It serves to find the mode of the scales only.
    """
    trees, looks, _ = made_yard(np.random.default_rng(10), kinds=("lemon", "banana"), looks=4)
    layout, data = prepare(trees, looks, DURATIONS_H)
    assert data is not None

    def evidence(scales: np.ndarray) -> Any:
        return match(data, layout.sd_at(scales), layout.groups, float(np.exp(scales[2])), float(scales[3]))

    here = np.array([0.1, -0.1, 0.2, 0.05])
    for at, step in enumerate(0.02 * np.eye(HYPER_SD.size)):
        ahead, behind = evidence(here + step), evidence(here - step)
        assert (ahead.log_evidence - behind.log_evidence) / 0.04 == pytest.approx(evidence(here).slope[at], abs=0.02)


def test_the_trees_differ_more_than_believed_when_the_looks_say_so() -> None:
    trees = [prior_of(f"t{n}", "lemon") for n in range(8)]

    def scale(apart_k: float) -> float:
        looks = []
        for n in range(8):
            own = apart_k * (-1) ** n
            rng = np.random.default_rng(100 + n)
            for m, cold in enumerate(np.linspace(-9.0, -2.0, 8)):
                grade = grade_of(LEMON, [night(float(cold))], rng, shift=own)
                looks.append(look(10 * n + m, float(cold), grade, f"t{n}"))
        return learn(trees, looks).scales["trees"][0]

    assert scale(0.0) < 0.8 < 1.3 < scale(2.5)


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("trees", "looks", "told"),
    [
        ([*TWO_LEMONS, TWO_LEMONS[0]], [], "trees must not come twice"),
        (TWO_LEMONS, [look(0, -3.0, 0, "x"), look(1, -3.0, 0, "c")], "not given: c, x"),
        (TWO_LEMONS, [look(0, -3.0, 0), look(0, -4.0, 1)], "looks must not come twice"),
    ],
)
def test_what_does_not_fit_together_is_refused(trees: list[TreePrior], looks: list[Look], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        learn(trees, looks)
