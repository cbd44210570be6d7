"""Nights, minima, hours and degree-hours below levels, exact on series made by hand, and however they are cut."""

from __future__ import annotations

from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest

from fruitwall.physics.cold_sums import NO_HOUR, ColdSums, march_cold, no_cold
from fruitwall.weather.demo import demo_winters

HAND = (1.0, -1.0, -2.5, -2.0, float("nan"), -3.0, 0.0, 0.5, -0.5, 2.0)
NIGHTS = (0, 0, 0, 0, 0, 0, 1, 1, 1, 3)


def same(one: ColdSums, other: ColdSums) -> bool:
    return all(
        np.array_equal(getattr(one, each.name), getattr(other, each.name), equal_nan=True) for each in fields(one)
    )


def test_a_series_made_by_hand_adds_up_as_by_hand():
    sums = march_cold(no_cold([0.0, -2.0]), HAND, NIGHTS)

    assert sums.below_h.tolist() == [5, 2]  # 0 is not below 0, −2 not below −2
    assert sums.degree_h.tolist() == [1.0 + 2.5 + 2.0 + 3.0 + 0.5, 0.5 + 1.0]
    assert sums.longest_h.tolist() == [3, 1]  # the unknown hour ends a run
    assert sums.run_h.tolist() == [0, 0]
    assert (sums.minimum_c, sums.minimum_at) == (-3.0, 5)
    assert (sums.hours, sums.known_h) == (10, 9)
    assert sums.night.tolist() == [0, 1, 3]
    assert sums.night_minimum_c.tolist() == [-3.0, -0.5, 2.0]
    assert sums.nights_below.tolist() == [2, 1]


def test_a_run_goes_on_over_a_cut_and_the_first_of_equal_minima_counts():
    first = march_cold(no_cold([0.0]), [-1.0, -2.0], [4, 4])
    both = march_cold(first, [-2.0, -1.0, 3.0], [4, 5, 5])

    assert both.longest_h.tolist() == [4]
    assert both.minimum_at == 1
    assert both.night.tolist() == [4, 5]
    assert both.night_minimum_c.tolist() == [-2.0, -1.0]


def test_nothing_known_counts_nothing():
    sums = march_cold(no_cold([0.0]), [np.nan, np.nan], [0, 1])

    assert (sums.known_h, sums.minimum_at, sums.night.size) == (0, NO_HOUR, 0)
    assert np.isnan(sums.minimum_c)
    assert sums.nights_below.tolist() == [0]
    assert same(march_cold(sums, [], []), sums)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_real_winter_gives_the_same_in_one_batch_hour_by_hour_and_in_any_portions(seed):
    weather = demo_winters()[0]
    t = weather.t_air_c[0].copy()
    t[1000:1005] = np.nan
    nights = ((weather.time_utc - np.timedelta64(20, "h")).astype("datetime64[D]")).astype(np.int64)
    levels = [10.0, 2.2, 0.0, -1.1]
    whole = march_cold(no_cold(levels), t, nights)
    assert whole.below_h[2] > 0  # else the winter would show nothing

    hourly = no_cold(levels)
    for at in range(t.size):
        hourly = march_cold(hourly, t[at : at + 1], nights[at : at + 1])
    assert same(whole, hourly)

    rng = np.random.default_rng(seed)
    cuts = [0, *sorted(rng.choice(t.size, 40, replace=False)), t.size]
    cut = no_cold(levels)
    for begin, end in pairwise(cuts):
        cut = march_cold(cut, t[begin:end], nights[begin:end])
    assert same(whole, cut)


def test_the_sums_of_a_real_winter_are_those_of_plain_loops():
    weather = demo_winters()[1]
    t = weather.t_air_c[0]
    nights = weather.time_utc.astype("datetime64[D]").astype(np.int64)
    sums = march_cold(no_cold([3.0]), t, nights)

    assert sums.below_h[0] == sum(1 for value in t if value < 3.0)
    assert sums.degree_h[0] == pytest.approx(sum(3.0 - value for value in t if value < 3.0), rel=1e-12)
    assert sums.nights_below[0] == len({night for value, night in zip(t, nights, strict=True) if value < 3.0})


@pytest.mark.parametrize(
    ("levels", "t", "nights", "words"),
    [
        ([np.nan], [], [], "levels_c"),
        ([0.0], [1.0], [1, 2], "same length"),
        ([0.0], [1.0, 1.0], [2, 1], "night must not fall"),
    ],
)
def test_what_cannot_be_counted_is_refused(levels, t, nights, words):
    with pytest.raises(ValueError, match=words):
        march_cold(no_cold(levels), t, nights)
    with pytest.raises(ValueError, match="night must not fall"):
        march_cold(march_cold(no_cold([0.0]), [1.0], [5]), [1.0], [4])
