"""What becomes of trees over drawn years."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from fruitwall.plans.rules.ground import TreeWinters
from fruitwall.plans.rules.outcome import Ahead, Outcome, play
from fruitwall.plans.rules.winter_loss import winter_fate
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import fruit_loss_chance, grade_chances
from fruitwall.plants.setback import NURSERY_AGE_YEARS
from fruitwall.plants.tolerance import FRUIT, LEAF, WOOD, Tolerance, prior
from tests.plans.outcomes_made import every_night, ground_of, night, one_tree
from tests.plans.rules_made import made_ground

Stands = Callable[[float | None, int], Tolerance]

DRAWS = 4000
ONE_YEAR = Ahead(years=1, draws=DRAWS)


@cache
def stands(name: str, age_years: float | None, hurt: int, stages: tuple[str, ...] = ("leafy", "fruit")) -> Tolerance:
    """What a planted tree stands, with the effect of duration known."""
    tolerance = prior(
        catalogue().find(name), age_years=age_years, height_m=None, potted=False, stages=stages, hurt_grade=hurt
    )
    return replace(tolerance, duration_sd_k_per_log2h=0.0)


def its(name: str) -> Stands:
    """What a kind stands at every age."""
    return lambda age_years, hurt: stands(name, age_years, hurt)


def at_least(outcome: Outcome, year: int = 0, tree: int = 0) -> np.ndarray:
    """Share of futures with each grade or worse."""
    return np.asarray((outcome.grade[:, year, tree, None] >= np.arange(8)).mean(axis=0))


def expected(tolerance: Tolerance, cold: np.ndarray) -> np.ndarray:
    """The chance of each grade or worse, nights joined."""
    return np.cumsum(grade_chances(tolerance, cold, nights_axis=0)[::-1])[::-1]


def near(found: np.ndarray, wanted: np.ndarray, draws: int = DRAWS) -> bool:
    """Whether shares lie within four standard errors of chances, and a draw."""
    return bool((np.abs(found - wanted) <= 4.0 * np.sqrt(wanted * (1.0 - wanted) / draws) + 1.0 / draws).all())


# ---------------------------------------------------------------- one winter against the chances of the grades


@pytest.mark.parametrize("coldest_c", [-1.5, -4.0, -6.5, -9.0])
@pytest.mark.parametrize("name", ["mango", "Citrus sinensis"])
def test_a_single_night_gives_the_chances_of_the_grades(name: str, coldest_c: float) -> None:
    cold = night(coldest_c)[None]
    ground = ground_of([one_tree(its(name), cold)], [1])
    assert near(at_least(play(ground, every_night(ground), ONE_YEAR)), expected(stands(name, 5.0, 0), cold))


def test_joined_nights_of_a_kind_that_chills_and_pales_give_the_chances_of_the_grades() -> None:
    # Nights above freezing and one of frost: freezing, chilling and paling each have a share in what comes out.
    cold = np.stack([night(value) for value in (6.0, 4.0, 3.0, 5.0, 2.0, -1.8, 3.0, 2.5)])
    for name in ("soursop", "mango"):
        ground = ground_of([one_tree(its(name), cold)], [len(cold)])
        found = at_least(play(ground, every_night(ground), ONE_YEAR))
        assert near(found, expected(stands(name, 5.0, 0), cold))
    chilled = np.cumsum(grade_chances(replace(stands("soursop", 5.0, 0), chill_level_c=np.nan), cold, nights_axis=0))
    assert chilled[1] - np.cumsum(grade_chances(stands("soursop", 5.0, 0), cold, nights_axis=0))[1] > 0.05


def test_chilling_fades_over_nights_between_that_were_left_out() -> None:
    close = np.stack([night(2.0), night(2.0)])
    apart = np.stack([night(2.0), *[night(20.0)] * 3, night(2.0)])

    def tree(cold: np.ndarray) -> TreeWinters:
        return one_tree(its("soursop"), cold)

    left_out = ground_of([tree(close)], [2], days=[0, 4])
    side_by_side = ground_of([tree(close)], [2])
    found = at_least(play(left_out, every_night(left_out), ONE_YEAR))
    assert near(found, expected(stands("soursop", 5.0, 0), apart))
    assert at_least(play(side_by_side, every_night(side_by_side), ONE_YEAR))[2] > found[2] + 0.02


def test_a_tree_that_stood_the_coldest_night_stood_the_others_too() -> None:
    cold = np.stack([night(-3.0)] * 9)
    once = ground_of([one_tree(its("guava"), cold[:1])], [1])
    often = ground_of([one_tree(its("guava"), cold)], [9])
    a, b = (play(ground, every_night(ground), ONE_YEAR) for ground in (once, often))
    assert (a.grade >= 2).any()
    # The same but for leaf that pales in many cool nights.
    assert (np.where(a.grade < 2, 0, a.grade) == np.where(b.grade < 2, 0, b.grade)).all()


def test_fruit_is_lost_by_its_chance() -> None:
    cold = night(-2.4)[None]
    ground = ground_of([one_tree(its("orange"), cold)], [1])
    outcome = play(ground, every_night(ground), ONE_YEAR)
    wanted = float(fruit_loss_chance(stands("orange", 5.0, 0), cold)[0])
    assert 0.2 < wanted < 0.8
    assert outcome.fruit_lost.mean() == pytest.approx(wanted, abs=4 * 0.5 / np.sqrt(DRAWS))


def test_the_mean_over_all_winters_is_the_loss_that_rules_are_searched_by() -> None:
    ground = made_ground(5, 4, days=8, mean_c=-1.0)
    first = replace(
        ground.steps[0], trees=tuple(replace(tree, stands=_sure(tree.stands)) for tree in ground.steps[0].trees)
    )
    ground = replace(ground, steps=(first,))
    outcome = play(ground, every_night(ground), Ahead(years=1, draws=DRAWS))
    none = np.zeros(ground.nights.count, dtype=np.int64)
    for at, tree in enumerate(first.trees):
        fate = winter_fate(ground.nights, tree, none)
        died = outcome.died[:, 0, at].mean()
        assert near(np.array([died]), np.array([fate.death.mean()])), tree.tree
    wanted = sum(winter_fate(ground.nights, tree, none).loss.mean() for tree in first.trees)
    error = outcome.loss[:, 0].std() / np.sqrt(DRAWS)
    assert outcome.loss.mean() == pytest.approx(wanted, abs=4 * error)
    assert error < 0.02 * wanted


def _sure(stand: Stands) -> Stands:
    """Round ages as the years do, and without the paling that the search leaves out."""
    return lambda age, hurt: replace(
        stand(float(np.rint(age or 5.0)), hurt), pale_level_c=np.nan, duration_sd_k_per_log2h=0.0
    )


# ---------------------------------------------------------------- draws


def test_the_same_seed_gives_the_same_futures_also_side_by_side_and_another_seed_others() -> None:
    ground = made_ground(4, 3, days=6, mean_c=-2.0)
    ahead = Ahead(years=6, draws=16)
    chosen = every_night(ground)
    first = play(ground, chosen, ahead)
    with ThreadPoolExecutor(2) as two:
        others = list(two.map(lambda _: play(ground, chosen, ahead), range(4)))
    for other in others:
        for its in fields(Outcome):
            assert np.array_equal(getattr(first, its.name), getattr(other, its.name)), its.name
    assert not np.array_equal(first.grade, play(ground, chosen, replace(ahead, seed=2)).grade)


def test_every_winter_comes_once_in_as_many_years_and_never_the_same_twice_before_all() -> None:
    ground = made_ground(1, 5, days=2)
    winter = play(ground, every_night(ground), Ahead(years=12, draws=20)).winter
    assert (np.sort(winter[:, :5], axis=1) == np.arange(5)).all()
    assert (np.sort(winter[:, 5:10], axis=1) == np.arange(5)).all()
    assert len({tuple(row) for row in winter.tolist()}) > 10


def test_winters_that_are_likelier_come_more_often() -> None:
    ground = made_ground(1, 3, days=1)
    ground = replace(ground, nights=replace(ground.nights, weights=np.array([0.7, 0.2, 0.1])))
    winter = play(ground, every_night(ground), Ahead(years=10, draws=500)).winter
    shares = np.bincount(winter.ravel(), minlength=3) / winter.size
    assert shares == pytest.approx([0.7, 0.2, 0.1], abs=4 * 0.5 / np.sqrt(winter.size))


def test_what_is_done_for_one_tree_changes_no_other_and_never_makes_it_worse_in_the_first_winter() -> None:
    cold = np.stack([night(-4.0), night(-6.0)])
    trees = [one_tree(its("guava"), cold, name=name) for name in ("a", "b")]
    ground = ground_of(trees, [2])
    ahead = Ahead(years=10, draws=50)
    left = play(ground, every_night(ground), ahead)
    one = play(ground, every_night(ground, [1, 0]), ahead)
    assert np.array_equal(left.grade[..., 1], one.grade[..., 1])
    assert (one.grade[:, 0, 0] <= left.grade[:, 0, 0]).all()
    assert (one.grade[..., 0] < left.grade[..., 0]).any()


def test_a_tree_has_the_same_luck_whoever_stands_beside_it() -> None:
    cold = np.stack([night(-4.0), night(-6.0)])
    trees = [one_tree(its("guava"), cold, name=name) for name in ("a", "b")]
    both, alone = ground_of(trees, [2]), ground_of(trees[1:], [2])
    ahead = Ahead(years=5, draws=30)
    pair = play(both, every_night(both), ahead)
    assert np.array_equal(pair.grade[..., 1], play(alone, every_night(alone), ahead).grade[..., 0])
    assert not np.array_equal(pair.grade[..., 0], pair.grade[..., 1])


def test_a_tender_tree_stays_a_tender_one() -> None:
    cold = np.stack([night(-3.5)] * 2)
    ground = ground_of([one_tree(lambda age, hurt: stands("mango", 10.0, 0), cold, age_years=10.0)], [1, 1])
    outcome = play(ground, every_night(ground), Ahead(years=2, draws=2000))
    hurt = outcome.grade[:, :, 0] >= 3
    alive = ~outcome.died[:, 0, 0]
    first, again = hurt[alive, 0], hurt[alive, 1]
    assert again[first].mean() > 0.8
    assert again[~first].mean() < 0.25


def one_limit(limit_c: float, sd_k: float, slope_k: float, grade: int) -> Stands:
    """Wood that reaches one grade at a limit, at every age."""
    base = stands("mango", 10.0, 0)
    threshold = np.full_like(base.threshold_c, np.nan)
    threshold[WOOD, grade] = limit_c
    tolerance = replace(
        base, threshold_c=threshold, sd_k=np.full_like(base.sd_k, sd_k), slope_k=slope_k, pale_level_c=np.nan
    )
    return lambda age_years, hurt: tolerance


def test_what_stays_from_winter_to_winter_is_the_tree_and_not_the_crown() -> None:
    cold = np.stack([night(-5.0)] * 2)
    felt = float(one_tree(one_limit(-5.0, 1.0, 1.0, 6), cold).felt_c[0, 0, WOOD])
    ground = ground_of([one_tree(one_limit(felt, 1.0, 1.0, 6), cold)], [1, 1])
    hurt = play(ground, every_night(ground), Ahead(years=2, draws=DRAWS)).grade[:, :, 0] == 6
    # Half of the variance stays: two normal values of correlation 1/2 are both above 0 with a chance of
    # 1/4 + asin(1/2) / 2π = 1/3 (Sheppard 1899).
    assert near(np.array([hurt[:, 0].mean(), hurt[:, 1].mean(), hurt.all(axis=1).mean()]), np.array([0.5, 0.5, 1 / 3]))


def test_a_tree_planted_anew_has_luck_of_its_own() -> None:
    cold = np.stack([night(-5.0)] * 2)
    felt = float(one_tree(one_limit(-5.0, 1.0, 0.01, 7), cold).felt_c[0, 0, WOOD])
    ground = ground_of([one_tree(one_limit(felt, 1.0, 0.01, 7), cold)], [1, 1])
    died = play(ground, every_night(ground), Ahead(years=2, draws=DRAWS)).died[:, :, 0]
    lost = died[:, 0]
    assert near(np.array([lost.mean()]), np.array([0.5]))
    assert near(np.array([died[lost, 1].mean()]), np.array([0.5]), draws=int(lost.sum()))
    assert died[~lost, 1].mean() < 0.02  # one that stood it stands it again


# ---------------------------------------------------------------- years


def test_a_young_tree_grows_out_of_its_tenderness() -> None:
    ground = ground_of([one_tree(its("longan"), night(-3.6)[None], age_years=1.0)], [1])
    outcome = play(ground, every_night(ground), Ahead(years=9, draws=2000))
    untouched = (outcome.grade[:, :8, 0] < 3).all(axis=1)
    shares = (outcome.grade[..., 0] >= 3).mean(axis=0)
    assert shares[0] > shares[8] + 0.1
    # What is left of it in trees never hurt is less still: the tender ones are not among them.
    assert (outcome.grade[untouched, 8, 0] >= 3).mean() < 0.1


def test_a_lost_tree_is_planted_anew_young_or_stays_away() -> None:
    asked: set[tuple[float | None, int]] = set()

    def stand(age: float | None, hurt: int) -> Tolerance:
        asked.add((age, hurt))
        return stands("soursop", age, hurt)

    # A killing winter first in half of the futures, mild ones before and after.
    cold = np.stack([night(-14.0), night(5.0), night(5.0)])
    ground = ground_of([one_tree(stand, cold, age_years=9.0)], [1, 1, 1])
    ahead = Ahead(years=3, draws=12)
    replanted = play(ground, every_night(ground), ahead)
    killed = replanted.winter == 0
    assert np.array_equal(replanted.died[..., 0], killed)
    assert (NURSERY_AGE_YEARS, 0) in asked
    assert (replanted.loss[killed] >= 100.0).all()
    assert replanted.stood.all()
    away = play(ground, every_night(ground), replace(ahead, replant=False))
    gone = np.cumsum(killed, axis=1) - killed > 0
    assert np.array_equal(~away.stood[..., 0], gone)
    assert (away.loss[gone] == 0.0).all()
    assert (away.grade[gone] == 0).all()


def test_a_tree_cut_to_the_trunk_carries_nothing_to_lose_for_three_winters() -> None:
    def stand(age: float | None, hurt: int) -> Tolerance:
        base = stands("orange", age, hurt)
        limits = base.threshold_c.copy()
        limits[:, 7] = np.nan  # it cannot die here
        return replace(base, threshold_c=limits, sd_k=np.full_like(base.sd_k, 0.01), slope_k=0.01, fruit_sd_k=0.01)

    ground = ground_of([one_tree(stand, np.stack([night(-15.0)]), age_years=12.0)], [1])
    outcome = play(ground, every_night(ground), Ahead(years=9, draws=3))
    assert (outcome.grade == 6).all()
    assert outcome.fruit_lost[:, :, 0] == pytest.approx(np.array([[1.0] + [0.0] * 8] * 3))
    assert outcome.loss[:, 0] == pytest.approx(75.0 + 20.0)
    assert outcome.loss[:, 1] == pytest.approx(75.0)


def test_each_year_is_judged_at_the_size_that_is_nearest() -> None:
    def tree(coldest_c: float, name: str = "tree") -> TreeWinters:
        return one_tree(its("mango"), night(coldest_c)[None], name=name)

    ground = ground_of([tree(5.0)], [1], later=[(4.0, [tree(-15.0)])])
    outcome = play(ground, every_night(ground), Ahead(years=5, draws=3))
    assert (outcome.grade[:, :3] < 2).all()  # years 0, 1, 2: the first is as near as the second
    assert outcome.died[:, 3].all()
    assert (outcome.grade[:, 4] < 2).all()  # what was planted in its place stands as small as the first did
    with pytest.raises(ValueError, match="same trees"):
        play(ground_of([tree(5.0)], [1], later=[(4.0, [tree(5.0, "other")])]), every_night(ground), ONE_YEAR)


def test_work_is_that_for_trees_of_their_own_size() -> None:
    """One tree is killed at the size of later, planted anew and worked for as for a small one; the other grows."""

    def pair(coldest_c: float) -> list[TreeWinters]:
        return [one_tree(its("mango"), night(low)[None], name=name) for name, low in (("a", coldest_c), ("b", 5.0))]

    ground = ground_of(pair(5.0), [1], later=[(4.0, pair(-15.0))])
    small, tall = every_night(ground, minutes=60.0)
    chosen = [small, replace(tall, minutes=tall.minutes / 4.0)]
    outcome = play(ground, chosen, Ahead(years=5, draws=3))
    # Nothing is done for either, so that each has half of it: both small, both tall, one of each.
    assert outcome.minutes == pytest.approx(np.array([[60.0, 60.0, 60.0, 15.0, 30.0 + 7.5]] * 3))
    gone = play(ground, chosen, Ahead(years=5, draws=3, replant=False))
    assert gone.minutes[:, 4] == pytest.approx(7.5)


def test_work_of_a_night_is_shared_out_by_what_it_takes_for_each_and_none_is_lost() -> None:
    from fruitwall.plans.rules.nightly import choose
    from fruitwall.plans.rules.rule import HouseRule, RuleSet
    from fruitwall.plans.rules.went_through import went_through

    ground = made_ground(8, 3, days=12)  # the last of them is too tall for everything
    rules = RuleSet("some", "some", (HouseRule(cover_below_c=1.0, heat_below_c=0.0, carry_below_c=-1.0),))
    done = choose(ground, ground.steps[0], rules)
    through = went_through(ground.nights, ground.steps[0], done)
    assert done.minutes.sum() > 0.0
    for name in ("minutes", "lifts", "kwh", "wear"):
        wanted = np.bincount(ground.nights.winter, weights=getattr(done, name), minlength=3)
        assert getattr(through, name).sum(axis=1) == pytest.approx(wanted), name
    idle = np.flatnonzero((done.measure == 0).all(axis=1))
    assert idle.size > 0
    assert (through.minutes[:, idle] == 0.0).all()


def test_work_is_that_of_the_winter_that_comes() -> None:
    ground = made_ground(2, 3, days=4)
    chosen = every_night(ground, minutes=15.0)
    outcome = play(ground, chosen, Ahead(years=3, draws=4))
    assert outcome.minutes == pytest.approx(np.full((4, 3), 60.0))
    assert outcome.effort == pytest.approx(np.full((4, 3), ground.prices.per_hour))


def test_a_winter_without_nights_and_a_tissue_without_ice_hurt_nothing() -> None:
    warm = night(8.0)
    warm[FRUIT] = np.nan
    warm[LEAF] = np.nan
    ground = ground_of([one_tree(its("mango"), warm[None])], [1, 0])
    outcome = play(ground, every_night(ground), Ahead(years=2, draws=5))
    assert (outcome.grade == 0).all()
    assert (outcome.fruit_lost == 0).all()


def test_winters_without_any_night_that_matters_hurt_nothing() -> None:
    ground = made_ground(("soursop", "mango-grafted"), 2, days=1)
    none = np.zeros(0, dtype=np.int64)
    nights = replace(
        ground.nights,
        winter=none,
        day=none,
        evening=none.astype("datetime64[D]"),
        minimum_c=none.astype(float),
        told_c=none.astype(float),
    )
    trees = tuple(replace(tree, felt_c=tree.felt_c[:, :0], leaf_c=tree.leaf_c[:, :0]) for tree in ground.steps[0].trees)
    empty = replace(ground, nights=nights, steps=(replace(ground.steps[0], trees=trees),))
    outcome = play(empty, every_night(empty), Ahead(years=3, draws=2))
    assert (outcome.grade == 0).all()
    assert (outcome.loss + outcome.effort == 0).all()


def test_a_tree_of_unknown_age_counts_as_grown_until_it_is_cut_back() -> None:
    asked: list[float | None] = []

    def stand(age: float | None, hurt: int) -> Tolerance:
        asked.append(age)
        return one_limit(-5.0, 0.01, 0.01, 6)(age, hurt)

    # Its limbs die in the first winter that comes, a warm one follows.
    cold = np.stack([night(-15.0), night(5.0)])
    ground = ground_of([one_tree(stand, cold, age_years=None)], [1, 1])
    asked.clear()
    outcome = play(ground, every_night(ground), Ahead(years=2, draws=8))
    assert np.array_equal(outcome.grade[:, :, 0] == 6, outcome.winter == 0)
    assert set(asked) == {None, 2.0}  # 2.25 years: a crown of 5 years less three quarters, and a year on


@pytest.mark.parametrize("ahead", [Ahead(years=0), Ahead(draws=0)])
def test_no_years_and_no_draws_are_refused(ahead: Ahead) -> None:
    ground = made_ground(1, 1, days=1)
    with pytest.raises(ValueError, match="at least 1"):
        play(ground, every_night(ground), ahead)


def test_one_choice_is_needed_for_each_size() -> None:
    ground = made_ground(1, 1, days=1, years=(0.0, 4.0))
    with pytest.raises(ValueError, match="each of 2 steps"):
        play(ground, every_night(ground)[:1], ONE_YEAR)
