"""Do chances of injury follow from tolerance and exposure as they must?"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.plants import effects
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import (
    DURATIONS_H,
    LOSS_SHARES,
    first_injury_c,
    fruit_loss_chance,
    grade_chances,
    loss_share,
)
from fruitwall.plants.tolerance import FRUIT, LEAF, ROOT, TISSUES, TWIG, WOOD, Tolerance, prior
from tests.plants.exposures import clear_night, one_hour, steady

KEYS = [taxon.key for taxon in catalogue().taxa]
kinds = st.sampled_from(KEYS)
degrees = st.floats(-25, 12)


def a_tree(name: str = "mango", **change: object) -> Tolerance:
    """A grown tree in the ground, unless told otherwise."""
    about: dict[str, object] = {"age_years": 15.0, "height_m": 5.0, "potted": False} | change
    return prior(catalogue().find(name), **about)  # type: ignore[arg-type]


def mean_grade(tolerance: Tolerance, cold: np.ndarray) -> np.ndarray:
    return grade_chances(tolerance, cold) @ np.arange(8)


def at_least(tolerance: Tolerance, cold: np.ndarray) -> np.ndarray:
    """Chance of at least each grade 1-7."""
    return np.cumsum(grade_chances(tolerance, cold)[..., ::-1], axis=-1)[..., ::-1][..., 1:]


@st.composite
def exposures(draw: st.DrawFn) -> np.ndarray:
    """Running means of one night: the longer, the milder. [tissue, duration]"""
    coldest = np.array([draw(degrees) for _ in TISSUES])
    rises = np.array([draw(st.floats(0, 2)) for _ in DURATIONS_H[1:]])
    return coldest[:, None] + np.concatenate([[0.0], np.cumsum(rises)])


# ---------------------------------------------------------------- what must hold of any tree and night


@given(key=kinds, cold=exposures(), potted=st.booleans())
def test_chances_sum_to_one_and_none_is_negative(key: str, cold: np.ndarray, potted: bool) -> None:
    chances = grade_chances(a_tree(key, potted=potted), cold)

    assert chances.sum() == pytest.approx(1.0, abs=1e-12)
    assert (chances >= -1e-15).all()


@given(key=kinds, cold=exposures(), colder=st.floats(0, 10), tissue=st.integers(0, 4), potted=st.booleans())
def test_a_colder_tissue_is_never_less_harm(
    key: str, cold: np.ndarray, colder: float, tissue: int, potted: bool
) -> None:
    tolerance = a_tree(key, potted=potted)
    shifted = cold.copy()
    shifted[tissue] -= colder

    assert (at_least(tolerance, shifted) >= at_least(tolerance, cold) - 1e-12).all()


@given(key=kinds, cold=exposures(), duration=st.integers(1, 4))
def test_a_longer_exposure_is_never_less_harm(key: str, cold: np.ndarray, duration: int) -> None:
    longer = cold.copy()
    longer[:, duration] = longer[:, duration - 1]  # the same cold for twice the hours
    tolerance = a_tree(key, potted=True)

    assert (at_least(tolerance, longer) >= at_least(tolerance, cold) - 1e-12).all()


@given(key=kinds, cold=exposures(), young=st.floats(0, 20), older=st.floats(0, 20), potted=st.booleans())
def test_an_older_tree_is_never_more_tender(
    key: str, cold: np.ndarray, young: float, older: float, potted: bool
) -> None:
    first = a_tree(key, age_years=young, height_m=None, potted=potted)
    later = a_tree(key, age_years=young + older, height_m=None, potted=potted)

    known = ~np.isnan(first.threshold_c)
    assert (later.threshold_c[known] <= first.threshold_c[known] + 1e-12).all()
    # A thousandth: of the old tree a little more is known, so far in the cold its death is a little surer.
    assert (at_least(later, cold) <= at_least(first, cold) + 1e-3).all()


@given(key=kinds, air=st.floats(-15, 5))
def test_flush_is_never_hardier_than_grown_leaf(key: str, air: float) -> None:
    leafy = a_tree(key, stages=["leafy"])
    flushing = a_tree(key, stages=["leafy", "flush"])

    known = ~np.isnan(leafy.threshold_c)
    assert (flushing.threshold_c[known] >= leafy.threshold_c[known]).all()
    assert mean_grade(flushing, clear_night(air)) >= mean_grade(leafy, clear_night(air)) - 0.15


@given(key=kinds, cold=exposures())
def test_a_pot_is_never_safer_than_the_ground(key: str, cold: np.ndarray) -> None:
    assert (at_least(a_tree(key, potted=True), cold) >= at_least(a_tree(key, potted=False), cold) - 1e-12).all()


@given(key=kinds, weeks=st.floats(-5, 30), colder=st.floats(0, 15))
def test_colder_weeks_never_make_a_tree_more_tender(key: str, weeks: float, colder: float) -> None:
    warm = a_tree(key, acclimation_c=weeks)
    cold = a_tree(key, acclimation_c=weeks - colder)

    known = ~np.isnan(warm.threshold_c)
    assert (cold.threshold_c[known] <= warm.threshold_c[known] + 1e-12).all()
    assert np.isnan(warm.chill_level_c) or cold.chill_level_c <= warm.chill_level_c + 1e-12


@given(key=kinds, warm=st.floats(0, 30))
def test_nothing_freezes_above_zero(key: str, warm: float) -> None:
    tolerance = dataclasses.replace(a_tree(key, age_years=0.5, height_m=0.3, potted=True), chill_level_c=np.nan)

    assert grade_chances(tolerance, steady(warm))[0] == 1.0


# ---------------------------------------------------------------- the arithmetic


def test_half_of_such_trees_reach_a_grade_at_its_threshold() -> None:
    tolerance = a_tree("mango")

    for tissue, grade in ((LEAF, 2), (TWIG, 5), (WOOD, 7)):
        cold = np.full((len(TISSUES), len(DURATIONS_H)), 20.0)
        cold[tissue, 1] = tolerance.threshold_c[tissue, grade]
        assert at_least(tolerance, cold)[grade - 1] == pytest.approx(0.5, abs=1e-9)


def test_twice_the_hours_hurt_as_much_at_a_milder_temperature() -> None:
    tolerance = dataclasses.replace(a_tree("mango"), duration_sd_k_per_log2h=0.0)
    milder = tolerance.duration_k_per_log2h
    one, four = np.full((2, len(TISSUES), len(DURATIONS_H)), 20.0)
    one[:, DURATIONS_H.index(1.0)] = -6.0
    four[:, DURATIONS_H.index(4.0)] = -6.0 + 2 * milder

    np.testing.assert_allclose(grade_chances(tolerance, four), grade_chances(tolerance, one), atol=1e-12)


@pytest.mark.parametrize("air", [-2.0, -4.0, -7.0])
def test_what_is_not_known_of_duration_is_integrated(rng: np.random.Generator, air: float) -> None:
    """Against the mean over many values of the effect of duration; over a long night it makes less certain."""
    tree = a_tree("guava")
    night = np.tile(air + np.array([-0.2, -0.2, -0.1, -0.1, 0.0]), (len(TISSUES), 1))
    drawn = np.maximum(rng.normal(tree.duration_k_per_log2h, tree.duration_sd_k_per_log2h, 2000), 0.0)
    each = [
        at_least(dataclasses.replace(tree, duration_k_per_log2h=b, duration_sd_k_per_log2h=0.0), night) for b in drawn
    ]

    np.testing.assert_allclose(at_least(tree, night), np.mean(each, axis=0), atol=0.006)
    assert np.std(each, axis=0)[1:].max() > 0.03


def test_the_closed_form_is_the_mean_over_the_trees_shift() -> None:
    """Gauss-Hermite over the tree's unknown and the crown's spread, worst tissue of each pair."""
    equal = dataclasses.replace(a_tree("atemoya", potted=True), sd_k=np.array([1.8, 1.8, 1.8, np.nan, 1.8]))
    nodes, weights = np.polynomial.hermite_e.hermegauss(120)
    shift = (equal.sd_k[LEAF] * nodes[:, None] + equal.slope_k * nodes)[..., None, None]
    for temperature in (-2.0, -4.0, -7.0):
        cold = one_hour(temperature) + np.array([0.0, 0.3, 0.5, 0.0, 1.0])[:, None]
        reached = (equal.threshold_c + shift >= cold[:, 1, None]).any(axis=-2)
        reached = np.maximum.accumulate(reached[..., ::-1], axis=-1)[..., ::-1]
        slow = np.einsum("i,j,ijg->g", weights, weights, reached) / weights.sum() ** 2

        np.testing.assert_allclose(at_least(equal, cold), slow[1:], atol=0.02)


@pytest.mark.parametrize(
    ("name", "nights_c", "change"),
    [
        ("mango", (-2.0,), {}),
        ("soursop", (6.0, 4.0, 7.0, 3.0), {}),  # chills, and may freeze nowhere
        ("soursop", (5.0, -0.5, 4.0), {"age_years": 2.0, "height_m": 1.0}),  # both ways
        ("sweet orange", (-3.0, -5.0, -4.5), {"potted": True, "stages": ["flush"]}),
    ],
)
def test_chances_agree_with_trees_drawn_one_by_one(
    rng: np.random.Generator, name: str, nights_c: tuple[float, ...], change: dict[str, object]
) -> None:
    tree = a_tree(name, **change)
    nights = np.stack([clear_night(t) for t in nights_c])
    count = 20_000

    def worst(own: float, own_chill: float, blur: float, own_hours: float) -> int:
        """Grade of one tree: its own limits, frozen on the coldest night, chilled by what nights add up to."""
        grade, carried = 0, 0.0
        for night in nights:
            for t in range(len(TISSUES)):
                if (night[t] < 0).any():
                    supercooled = [max(1.0 / -c - 1.0, 0.0) if c < 0 else np.inf for c in night[t]]
                    hours = np.log2(DURATIONS_H)
                    per_log2h = tree.duration_k_per_log2h + tree.duration_sd_k_per_log2h * own_hours
                    felt = min(night[t] - max(per_log2h, 0.0) * hours + supercooled)
                    spread = np.hypot(tree.sd_k[t], tree.slope_k)
                    reached = [g for g in range(1, 8) if tree.threshold_c[t, g] + spread * own > felt]
                    grade = max([grade, *reached])
            if not np.isnan(tree.chill_level_c):
                level = tree.chill_level_c + tree.chill_sd_k * own_chill
                dose = max(max(level - c, 0.0) * h for c, h in zip(night[LEAF], DURATIONS_H, strict=True))
                carried = 0.5 * carried + dose
                if carried > 0:
                    felt_dose = carried + 8.0 * tree.slope_k * blur
                    grade = max([grade, *(g for g in range(1, 5) if felt_dose > tree.chill_dose_k_h[g])])
        return grade

    drawn = [worst(*own) for own in rng.standard_normal((count, 4))]

    expected = np.bincount(drawn, minlength=8) / count
    np.testing.assert_allclose(grade_chances(tree, nights, nights_axis=0), expected, atol=0.012)


def test_the_mean_over_members_keeps_the_trees_unknown_common(rng: np.random.Generator) -> None:
    """A tree drawn first, then the night: the same as chances member by member and their mean."""
    tolerance = a_tree("guava")
    members = rng.normal(-4.5, 1.5, 4000)
    cold = np.stack([one_hour(t) for t in members])
    z = rng.standard_normal(4000)
    leaf_limit = tolerance.threshold_c[LEAF, 2] + np.hypot(tolerance.sd_k[LEAF], tolerance.slope_k) * z
    simulated = np.mean(leaf_limit[:, None] >= members[None, :])

    assert at_least(tolerance, cold)[:, 1].mean() == pytest.approx(simulated, abs=0.02)


def test_scalar_batch_and_loop_agree(rng: np.random.Generator) -> None:
    tolerance = a_tree("soursop", potted=True, stages=["leafy", "fruit"])
    cold = rng.normal(2, 4, (3, 4, 2, len(TISSUES), len(DURATIONS_H)))
    batch = grade_chances(tolerance, cold)

    assert batch.shape == (3, 4, 2, 8)
    for index in np.ndindex(3, 4, 2):
        np.testing.assert_allclose(batch[index], grade_chances(tolerance, cold[index]), atol=1e-14)
    np.testing.assert_allclose(
        fruit_loss_chance(tolerance, cold)[1, 2, 0], fruit_loss_chance(tolerance, cold[1, 2, 0]), atol=1e-14
    )


# ---------------------------------------------------------------- several nights


def test_nights_joined_are_as_bad_as_the_worst_and_no_worse_than_all_apart() -> None:
    tolerance = dataclasses.replace(a_tree("guava"), pale_level_c=np.nan)
    nights = np.stack([clear_night(t) for t in (-1.0, -3.0, -2.0)])

    apart = at_least(tolerance, nights)
    joined = np.cumsum(grade_chances(tolerance, nights, nights_axis=0)[::-1])[::-1][1:]

    np.testing.assert_allclose(joined, apart.max(axis=0), atol=1e-12)
    assert (joined <= apart.sum(axis=0) + 1e-12).all()


def test_the_same_night_twice_is_one_night_to_a_kind_that_only_freezes() -> None:
    tolerance = dataclasses.replace(a_tree("guava"), pale_level_c=np.nan)
    night = clear_night(-3.0)

    twice = grade_chances(tolerance, np.stack([night, night]), nights_axis=0)

    np.testing.assert_allclose(twice, grade_chances(tolerance, night), atol=1e-12)


def test_chilling_adds_up_over_nights() -> None:
    tolerance = a_tree("soursop")
    cool = steady(9.0)
    one = grade_chances(tolerance, cool[None], nights_axis=0)
    five = grade_chances(tolerance, np.stack([cool] * 5), nights_axis=0)

    np.testing.assert_allclose(one, grade_chances(tolerance, cool), atol=1e-12)
    assert five @ np.arange(8) > one @ np.arange(8) + 0.2


# ---------------------------------------------------------------- weeks of cool nights


def test_a_cool_night_pales_no_leaf_but_weeks_of_them_do() -> None:
    tolerance = a_tree("mango")
    night = steady(5.0)

    assert grade_chances(tolerance, night)[0] > 0.999
    weeks = grade_chances(tolerance, np.stack([night] * 40), nights_axis=0)
    assert weeks[1] > 0.5
    assert weeks[2:].sum() < 1e-6


def test_seven_nights_at_four_degrees_pale_half_of_mangos() -> None:
    # Elsheery, Wilske and Cao (2008): chlorophyll of potted mangoes fell; what the dose is made from.
    tolerance = a_tree("mango")
    week = np.stack([steady(4.0)] * 7)

    assert 1.0 - grade_chances(tolerance, week, nights_axis=0)[0] == pytest.approx(0.5, abs=0.05)


def test_mild_winters_pale_few_mangos_and_cooler_ones_more() -> None:
    # Sukhvibul and others (2000): chlorophyll went with the night minima; no recovery at 10 °C. Not used for the dose.
    shares = [
        1.0 - grade_chances(a_tree("mango"), np.stack([steady(t)] * 60), nights_axis=0)[0]
        for t in (14.0, 10.0, 7.0, 4.0)
    ]

    assert shares == sorted(shares)
    assert shares[0] < 0.1
    assert shares[2] > 0.3


def test_hardy_and_bare_kinds_pale_less_or_not() -> None:
    weeks = np.stack([steady(5.0)] * 40)

    assert (
        grade_chances(a_tree("olive"), weeks, nights_axis=0)[1]
        < grade_chances(a_tree("mango"), weeks, nights_axis=0)[1]
    )
    for name, stage in (("peach", "dormant"), ("fig", "leafy")):
        assert np.isnan(a_tree(name, stages=[stage]).pale_level_c)
    assert np.isnan(a_tree("custard apple", stages=["dormant"]).pale_level_c)


def test_many_cool_nights_agree_with_trees_drawn_one_by_one(rng: np.random.Generator) -> None:
    tree = a_tree("atemoya")
    nights = np.stack([steady(t) for t in rng.normal(6.0, 2.0, 30)])
    paled = 0
    for own in rng.standard_normal(20_000):
        carried = worst = 0.0
        for night in nights:
            carried = (
                effects.PALE_MEMORY * carried + max(tree.pale_level_c + own * tree.pale_sd_k - night[LEAF, 4], 0.0) * 8
            )
            worst = max(worst, carried)
        paled += worst > effects.PALE_DOSE_K_H

    assert grade_chances(tree, nights, nights_axis=0)[1] == pytest.approx(paled / 20_000, abs=0.012)


def test_any_axis_may_hold_the_nights(rng: np.random.Generator) -> None:
    tolerance = a_tree("soursop")
    cold = rng.normal(2, 4, (3, 4, len(TISSUES), len(DURATIONS_H)))

    first = grade_chances(tolerance, np.swapaxes(cold, 0, 1), nights_axis=0)
    second = grade_chances(tolerance, cold, nights_axis=1)

    np.testing.assert_allclose(first, second, atol=1e-14)


# ---------------------------------------------------------------- chilling


def test_only_kinds_that_suffer_above_freezing_do() -> None:
    assert grade_chances(a_tree("soursop"), steady(4.0))[0] < 0.1
    assert grade_chances(a_tree("mango"), steady(4.0))[0] == 1.0


def test_chilling_takes_leaf_but_no_wood() -> None:
    chances = grade_chances(a_tree("soursop"), steady(1.0))

    assert chances[3:5].sum() > 0.8
    assert chances[5:].sum() == pytest.approx(0.0, abs=1e-12)


def test_a_leafless_tree_does_not_chill() -> None:
    bare = a_tree("sugar apple", stages=["dormant"])

    assert np.isnan(bare.threshold_c[LEAF]).all()
    assert grade_chances(bare, steady(2.0))[0] == 1.0


# ---------------------------------------------------------------- fruit, loss, first injury


def test_no_fruit_no_loss_of_fruit() -> None:
    assert fruit_loss_chance(a_tree("sweet orange", stages=["leafy"]), steady(-15.0)) == 0.0


def test_half_of_the_fruit_is_lost_at_its_threshold() -> None:
    tolerance = a_tree("sweet orange", stages=["leafy", "fruit"])
    cold = steady(20.0)
    cold[FRUIT, 1] = tolerance.fruit_c

    assert fruit_loss_chance(tolerance, cold) == pytest.approx(0.5, abs=1e-9)


def test_flowers_of_a_leafless_tree_are_as_cold_as_its_twigs() -> None:
    tolerance = a_tree("peach", stages=["flower"])
    cold = steady(20.0)
    cold[LEAF] = np.nan
    cold[TWIG] = -8.0

    assert fruit_loss_chance(tolerance, cold) > 0.95


@given(air=st.floats(-10, 3), colder=st.floats(0, 5))
def test_a_colder_night_never_spares_fruit(air: float, colder: float) -> None:
    tolerance = a_tree("lemon", stages=["leafy", "fruit", "flower"])

    assert fruit_loss_chance(tolerance, clear_night(air - colder)) >= fruit_loss_chance(tolerance, clear_night(air))


def test_worse_grades_cost_more() -> None:
    assert LOSS_SHARES[0] == 0.0
    assert LOSS_SHARES[7] == 1.0
    assert (np.diff(LOSS_SHARES) > 0).all()
    assert loss_share(np.eye(8)).tolist() == LOSS_SHARES.tolist()


@pytest.mark.parametrize("tissue", TISSUES)
def test_first_injury_brackets_the_chance_of_harm(tissue: str) -> None:
    tolerance = a_tree("guava", potted=True, stages=["leafy", "fruit"])
    t = TISSUES.index(tissue)

    for temperature, chance in zip(first_injury_c(tolerance, tissue), (0.9, 0.5, 0.1), strict=True):
        if temperature > -1.0:
            continue  # where ice is not yet certain, harm is less likely still
        cold = steady(20.0)
        cold[t, 1] = temperature
        if t == FRUIT:
            harm = fruit_loss_chance(tolerance, cold)
        else:
            harm = at_least(tolerance, cold)[{LEAF: 2, TWIG: 5, WOOD: 6, ROOT: 2}[t] - 1]
        assert harm == pytest.approx(chance, abs=0.02)


def test_first_injury_of_a_kind_that_suffers_above_freezing_is_above_freezing() -> None:
    assert first_injury_c(a_tree("soursop"), "leaf")[1] > 4.0


def test_first_injury_of_an_absent_tissue_is_unknown() -> None:
    assert np.isnan(first_injury_c(a_tree("mango"), "root")).all()
    assert np.isnan(first_injury_c(a_tree("peach", stages=["dormant"]), "leaf")).all()


# ---------------------------------------------------------------- absent and impossible input


def test_an_absent_tissue_does_no_harm_and_all_absent_is_unknown() -> None:
    cold = steady(-6.0)
    leafless = cold.copy()
    leafless[LEAF] = np.nan
    tolerance = a_tree("mango")

    assert not np.isnan(grade_chances(tolerance, leafless)).any()
    assert np.isnan(grade_chances(tolerance, np.full_like(cold, np.nan))).all()


@pytest.mark.parametrize(
    ("cold", "options", "message"),
    [
        (np.zeros((4, 5)), {}, r"tissue, duration of sizes \(5, 5\), got shape \(4, 5\)"),
        (np.zeros(5), {}, r"got shape \(5,\)"),
        (np.zeros((5, 5)), {"durations_h": (0.5, 1, 2, 4, 0)}, "durations_h must all be greater than 0 h, got"),
        (np.zeros((5, 5)), {"nights_axis": 0}, "nights_axis must be an axis of coldest_c before tissue"),
        (np.zeros((2, 5, 5)), {"nights_axis": 1}, "0 to 0, got 1"),
    ],
)
def test_impossible_exposures_are_refused(cold: np.ndarray, options: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        grade_chances(a_tree(), cold, **options)  # type: ignore[arg-type]


def test_impossible_chances_and_tissues_are_refused() -> None:
    with pytest.raises(ValueError, match=r"chances must have the 8 grades as last axis, got shape \(7,\)"):
        loss_share(np.zeros(7))
    with pytest.raises(ValueError, match="tissue must be one of leaf, twig, wood, fruit, root, got 'bark'"):
        first_injury_c(a_tree(), "bark")
