"""Offsets of spots: what is learned of yards whose truth is known.

Statistical tests have a fixed seed and the false-alarm chance that stands beside each; each is shown to fail for a
learner that is too sure of itself.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, chisquare

from bench.made_spots import READ, SPOTS, UNREAD, draw, ranks, readings_of
from fruitwall.learning.spots import (
    NIGHT_SD_K,
    NOISE_SD_K,
    SPELL_SD_K,
    SPOT_SD_K,
    YARD_SD_K,
    SpotReadings,
    learn_spots,
    next_logger,
)

NOTHING = SpotReadings([], [], [], [], [])


@pytest.fixture(scope="module")
def calibrated():
    return ranks(90, (("a", 0.0), ("b", 0.9), ("d", 1.0)), seed=6)


def uniformity(found):
    """Chance that uniform ranks look as uneven as these."""
    return [chisquare(np.histogram(column, bins=6, range=(0.0, 1.0))[0]).pvalue for column in found.T]


def test_the_truth_falls_anywhere_in_what_is_believed_with_equal_chance(calibrated):
    # Talts et al. 2018, simulation-based calibration; three tests, false alarm 0.003 in all.
    assert min(uniformity(calibrated)) > 0.001


def test_the_test_of_calibration_finds_a_learner_that_is_too_sure():
    assert min(uniformity(ranks(40, (("a", 0.0),), seed=6, narrower=0.3))) < 0.001


@pytest.mark.parametrize("inner", [0.5, 0.9])
def test_as_many_truths_lie_in_an_interval_as_it_says(calibrated, inner):
    # Each of three counts within the middle 99.8 % of a binomial: false alarm 0.006.
    within = (np.abs(calibrated - 0.5) < 0.5 * inner).sum(axis=0)
    low, high = binom.ppf([0.001, 0.999], len(calibrated), inner)
    assert (within >= low).all()
    assert (within <= high).all()


def test_a_winter_of_loggers_finds_the_offsets():
    rng = np.random.default_rng(3)
    made = draw(rng, 120, scales=np.zeros(6))
    got = learn_spots(SPOTS, made.readings)
    for name in READ:
        for clear in (0.0, 0.5, 1.0):
            mean, sd = got[name].at(clear)
            assert mean == pytest.approx(made.true[name] @ [1.0, clear], abs=0.4)
            assert sd < 0.3
        assert got[name].nights == 120
    assert got["d"].nights == 0
    assert got["a"].scatter_k == pytest.approx(np.sqrt(NIGHT_SD_K**2 + NOISE_SD_K**2 + SPELL_SD_K**2), abs=0.2)


def test_ten_nights_of_a_logger_help_clearly():
    rng = np.random.default_rng(4)
    before, after, before_other, other = [], [], [], []
    for _ in range(20):
        made = draw(rng, 10, scales=np.zeros(6))
        got = learn_spots(SPOTS, made.readings)
        truth = {name: made.true[name] @ [1.0, 0.8] for name in SPOTS}
        before.append(truth["a"])
        after.append(got["a"].at(0.8)[0] - truth["a"])
        before_other.append(truth["d"])
        other.append(got["d"].at(0.8)[0] - truth["d"])

    # Before anything was read the offset is believed to be nothing: the error is the offset itself.
    def rms(values):
        return float(np.sqrt(np.mean(np.square(values))))

    assert rms(after) < 0.4 * rms(before)
    assert rms(other) < 0.9 * rms(before_other)  # where no thermometer hangs, what the yard has in common still helps


def test_the_order_of_entry_changes_nothing():
    made = draw(np.random.default_rng(5), 12)
    rows = list(
        zip(*(getattr(made.readings, name) for name in ("spot", "night", "clear", "difference_k", "extra_sd_k")),
            strict=True)
    )  # fmt: skip
    rows.append(("a", 3, 0.5, 0.7, 0.5))  # two readings of a spot in one night
    shuffled = [rows[at] for at in np.random.default_rng(6).permutation(len(rows))]
    first, second = (learn_spots(order, readings_of(some)) for order, some in ((SPOTS, rows), (SPOTS[::-1], shuffled)))
    assert {name: first[name] for name in SPOTS} == {name: second[name] for name in SPOTS}


def test_nights_of_one_spot_and_all_spots_of_one_night_are_told_apart():
    # One night on which everything is 3 K too cold is the weather's fault; a spot that always is, the spot's own.
    rows = [(name, night, 0.6, 0.0, 0.0) for night in range(8) for name in READ]
    odd_night = readings_of([*rows, *((name, 9, 0.6, -3.0, 0.0) for name in READ)])
    odd_spot = readings_of([(name, night, 0.6, -3.0 if name == "a" else 0.0, 0.0) for name, night, *_ in rows])
    assert abs(learn_spots(SPOTS, odd_night)["a"].at(0.6)[0]) < 0.5
    got = learn_spots(SPOTS, odd_spot)
    assert got["a"].at(0.6)[0] < -2.2
    assert abs(got["b"].at(0.6)[0]) < 0.5


def test_a_spot_that_is_cold_on_clear_nights_only_is_known_as_such():
    rng = np.random.default_rng(7)
    clear = rng.uniform(0.0, 1.0, 40)
    rows = [("a", night, float(c), float(-2.0 * c + rng.normal(0.0, 0.3)), 0.0) for night, c in enumerate(clear)]
    got = learn_spots(["a"], readings_of(rows))["a"]
    assert got.mean[0] == pytest.approx(0.0, abs=0.35)
    assert got.mean[1] == pytest.approx(-2.0, abs=0.6)


def test_without_readings_the_prior_stands():
    got = learn_spots(["a"], NOTHING)["a"]
    assert got.mean == (0.0, 0.0)
    assert got.at(0.0)[1] == pytest.approx(np.hypot(YARD_SD_K, SPOT_SD_K))
    assert got.nights == 0


def test_a_hand_reading_weighs_less_than_a_logger_s():
    logged, by_hand = (
        learn_spots(["a"], readings_of([("a", night, 0.5, -2.0, extra) for night in range(4)]))["a"]
        for extra in (0.0, 1.0)
    )
    assert logged.at(0.5)[1] < by_hand.at(0.5)[1]
    assert logged.at(0.5)[0] < by_hand.at(0.5)[0] < 0.0


# ---------------------------------------------------------------- the next one


def test_the_next_logger_goes_where_worth_is_at_risk_and_least_is_known():
    made = draw(np.random.default_rng(8), 15, scales=np.zeros(6))
    even = dict.fromkeys(SPOTS, 100.0)
    ranked = next_logger(SPOTS, made.readings, weight=even)
    assert {name for name, _ in ranked[:2]} == set(UNREAD)
    assert next_logger(SPOTS, made.readings, weight=even | {"e": 500.0})[0][0] == "e"
    # A spot of no worth teaches of the others through what the yard has in common only.
    gains = dict(next_logger(SPOTS, NOTHING, weight={"a": 100.0}))
    assert gains["a"] > gains["b"] > 0.0
    assert gains["b"] == pytest.approx(gains["e"])


def test_what_the_next_logger_promises_is_what_ten_nights_then_take_away():
    rng = np.random.default_rng(9)
    promised, kept = [], []
    for _ in range(6):
        made = draw(rng, 15, scales=np.zeros(6))
        promised.append(dict(next_logger(SPOTS, made.readings, weight={"d": 1.0}, nights=10, clear=0.7))["d"])
        noise = rng.normal(0.0, np.hypot(NIGHT_SD_K, NOISE_SD_K), 10) + rng.normal(0.0, SPELL_SD_K)
        more = SpotReadings(
            [*made.readings.spot, *["d"] * 10],
            [*made.readings.night, *range(100, 110)],
            [*made.readings.clear, *[0.7] * 10],
            [*made.readings.difference_k, *(made.true["d"] @ [1.0, 0.7] + noise)],
            [*made.readings.extra_sd_k, *[0.0] * 10],
        )
        before, after = (learn_spots(SPOTS, some)["d"].at(1.0)[1] ** 2 for some in (made.readings, more))
        kept.append(before - after)
    # A single yard's scales move by what it reads; on the average the promise holds.
    assert np.mean(promised) == pytest.approx(np.mean(kept), rel=0.2)


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        (SpotReadings(["a"], [1, 2], [0.5], [0.0], [0.0]), "the columns of the readings must be of one length"),
        (SpotReadings(["a"], [1], [0.5], [np.nan], [0.0]), "readings must not miss values"),
        (SpotReadings(["z"], [1], [0.5], [0.0], [0.0]), "readings name spots that are not given: z"),
    ],
)
def test_what_cannot_be_learned_from_is_refused(readings, message):
    with pytest.raises(ValueError, match=message):
        learn_spots(["a"], readings)


def test_a_logger_hangs_for_a_night_at_least():
    with pytest.raises(ValueError, match="nights must be at least 1, got 0"):
        next_logger(["a"], NOTHING, weight={"a": 1.0}, nights=0)
