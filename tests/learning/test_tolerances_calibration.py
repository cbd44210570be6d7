"""Are the spreads that are told true? Simulation-based calibration of what is learned of trees.

Talts et al. (2018), Validating Bayesian inference algorithms with simulation-based calibration: draw the truth from the
prior, data from the truth; over many such yards the rank of the truth within the posterior is uniform. The posterior is
a normal here, so the rank's limit is the normal's distribution function at the truth. One tree, kind, ... of each yard,
so that the ranks do not hang together.

Chance of a false alarm: one in a thousand for each test here, had the seed not been fixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import chi2, kstest

from fruitwall.learning.applied import taught_tolerance
from fruitwall.learning.looks import Look
from fruitwall.learning.tolerances import Learned, Shift, TreePrior, learn
from fruitwall.plants.injury import grade_chances
from tests.learning.made_yards import Truth, believed, grade_of, made_yard, night_near

YARDS = 160
FALSE_ALARM = 0.001
KINDS = ("mango", "lemon", "banana")


@dataclass
class Yard:
    trees: list[TreePrior]
    looks: list[Look]
    truth: Truth
    learned: Learned


@pytest.fixture(scope="module")
def yards() -> list[Yard]:
    rng = np.random.default_rng(20261127)
    made = [made_yard(rng, kinds=KINDS, looks=4) for _ in range(YARDS)]
    return [Yard(trees, looks, truth, learn(trees, looks)) for trees, looks, truth in made]


def standardised(yards: list[Yard], what: str) -> np.ndarray:
    """How many standard deviations the truth lies from what is believed, once per yard. [yard]"""

    def pair(number: int, yard: Yard) -> tuple[Shift, float]:
        tree = yard.trees[number % len(yard.trees)]
        learned, truth = yard.learned, yard.truth
        chilled = sorted(learned.chill)[number % 2]
        pairs: dict[str, tuple[Shift, float]] = {
            "tree": (learned.trees[tree.id], truth.trees[tree.id]),
            "kind": (learned.kinds[tree.kind], truth.kinds[tree.kind]),
            "yard": (learned.yard, truth.yard),
            "young": (learned.young, truth.young),
            "observer": (learned.observers["ana"], truth.observers["ana"]),
            "chill": (learned.chill[chilled], truth.chill[chilled]),
            "duration": (learned.duration, truth.scales[3]),
        }
        return pairs[what]

    pairs = [pair(number, yard) for number, yard in enumerate(yards)]
    return np.array([(truth - shift.mean_k) / shift.sd_k for shift, truth in pairs])


WHAT = ["tree", "kind", "yard", "young", "observer", "chill", "duration"]


@pytest.mark.parametrize("what", WHAT)
def test_ranks_of_the_truth_are_uniform(yards: list[Yard], what: str) -> None:
    assert kstest(ndtr(standardised(yards, what)), "uniform").pvalue > FALSE_ALARM


@pytest.mark.parametrize("what", WHAT)
def test_spreads_are_as_wide_as_the_errors(yards: list[Yard], what: str) -> None:
    """The sum of squares is the test that sees a wrong spread best; that of ranks sees a wrong place."""
    total = float((standardised(yards, what) ** 2).sum())

    assert chi2.ppf(FALSE_ALARM / 2, YARDS) < total < chi2.ppf(1 - FALSE_ALARM / 2, YARDS)


def test_both_tests_would_see_a_wrong_posterior(yards: list[Yard]) -> None:
    z = standardised(yards, "tree")

    assert kstest(ndtr(z + 0.4), "uniform").pvalue < FALSE_ALARM
    assert float(((z / 0.75) ** 2).sum()) > chi2.ppf(1 - FALSE_ALARM / 2, YARDS)
    assert float(((z / 1.35) ** 2).sum()) < chi2.ppf(FALSE_ALARM / 2, YARDS)


def within(per_yard: np.ndarray, share: float, band: float) -> bool:
    """Whether the mean share over yards is within a band; yards are independent, what is within them is not."""
    assert 3.3 * per_yard.std(ddof=1) / np.sqrt(len(per_yard)) < band, "too few yards for this band"
    return bool(abs(per_yard.mean() - share) < band)


def test_intervals_of_the_trees_hold_what_they_say(yards: list[Yard]) -> None:
    """50 % within 7 points, 90 % within 5; a false alarm has a chance of less than one in a thousand."""
    z = np.array(
        [
            [(yard.truth.trees[name] - its.mean_k) / its.sd_k for name, its in yard.learned.trees.items()]
            for yard in yards
        ]
    )

    assert within((np.abs(z) < 0.6745).mean(axis=1), 0.5, 0.07)
    assert within((np.abs(z) < 1.6449).mean(axis=1), 0.9, 0.05)


def test_grades_that_come_next_are_foretold(yards: list[Yard]) -> None:
    """A new night for a tree: the grade that it brings, against the chances by what was learned.

    A grade is a step, so its place within the step is drawn: then 50 and 90 % intervals hold 50 and 90 %. Bands: 8 and
    5 points; false alarm less than one in a thousand.
    """
    rng = np.random.default_rng(5)
    places = np.zeros((YARDS, 3))
    for number, yard in enumerate(yards):
        prior = learn(yard.trees, ())
        for at, tree in enumerate(yard.trees[number % 2 :: 2]):  # half of them: the test is slow enough
            stands = believed(tree.kind, small=tree.young > 0)
            cold = night_near(stands, rng)
            truth = yard.truth
            grade = grade_of(
                stands, [cold], rng, shift=truth.trees[tree.id], chill=truth.chill[tree.id],
                duration=truth.scales[3], spread=float(np.exp(truth.scales[2])),
            )  # fmt: skip
            chill = (prior.chill[tree.id], yard.learned.chill[tree.id]) if tree.id in prior.chill else None
            taught = taught_tolerance(stands, prior.trees[tree.id], yard.learned.trees[tree.id], chill)
            chances = grade_chances(taught, cold)
            places[number, at] = chances[:grade].sum() + rng.random() * chances[grade]

    assert kstest(places[:, 0], "uniform").pvalue > FALSE_ALARM
    assert within((np.abs(places - 0.5) < 0.25).mean(axis=1), 0.5, 0.08)
    assert within((np.abs(places - 0.5) < 0.45).mean(axis=1), 0.9, 0.05)


def test_many_looks_find_a_tree_again() -> None:
    """Recovery: with sixty looks a tree lies within its own 99.9 % interval, and that is narrow."""
    rng = np.random.default_rng(12)
    trees, looks, truth = made_yard(rng, kinds=("lemon", "guava"), looks=60)
    learned = learn(trees, looks)

    counted = {name: count for name, count in learned.looks.items() if count >= 20}
    assert len(counted) >= 2
    for name in counted:
        got = learned.trees[name]
        assert got.sd_k < 0.45
        assert abs(truth.trees[name] - got.mean_k) < 3.3 * got.sd_k
