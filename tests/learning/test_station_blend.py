"""Stations blended to a place: what was put in is found, and real nights that were left out are met better."""

from __future__ import annotations

import numpy as np
import pytest

from bench.archive_case import blended
from fruitwall.learning.station_blend import FEWEST_HOURS, learn_blends, minima_off

HOURS = 24 * 300


def made(seed: int = 1):
    rng = np.random.default_rng(seed)
    hour = np.arange(HOURS)
    weather = 5.0 * np.sin(hour / 97.0) + 4.0 * np.cos(2 * np.pi * hour / 24)
    stations = weather + np.stack([np.repeat(rng.normal(0, 1.5, HOURS // 12), 12) for _ in range(2)])
    strength = np.clip(np.cos(2 * np.pi * (hour - 12) / 24), 0, None) * np.repeat(rng.random(HOURS // 24), 24)
    return stations, strength, 2 * np.pi * hour / 8766.0, hour // 24


def test_weights_and_offsets_that_were_put_in_are_found():
    stations, strength, phase, night = made()
    place = 0.7 * stations[0] + 0.3 * stations[1] - 0.5 + 0.8 * np.cos(phase) - 2.0 * strength
    best, *others = learn_blends(place, stations, strength, phase, night)
    assert best.stations == (0, 1)
    assert best.weights == pytest.approx((0.7, 0.3), abs=0.001)
    assert (best.constant_k, best.cosine_k, best.sine_k, best.clear_night_k) == pytest.approx(
        (-0.5, 0.8, 0.0, -2.0), abs=0.01
    )
    assert best.air(stations, strength, phase) == pytest.approx(place, abs=0.02)
    assert best.lowest_rmse_k < 0.02
    assert [one.stations for one in others] == [(0,), (1,)]
    assert others[0].lowest_rmse_k > 0.2


def test_a_station_that_tells_nothing_gets_no_weight():
    stations, strength, phase, night = made()
    rng = np.random.default_rng(2)
    place = stations[0] - 1.0 + rng.normal(0, 0.3, HOURS)
    away = np.stack([stations[0], 2.0 * stations[0].mean() - stations[1]])
    blends = learn_blends(place, away, strength, phase, night)
    assert blends[0].stations == (0,)
    assert all(one.weights[1] < 0.02 for one in blends if one.stations == (0, 1))


def test_a_wave_through_the_year_is_learned_only_where_most_of_a_year_was_seen():
    stations, strength, phase, night = made()
    place = stations[0] + 2.0 * np.sin(phase)
    known = np.where(np.arange(HOURS) < 24 * 100, place, np.nan)
    assert all(one.sine_k == one.cosine_k == 0.0 for one in learn_blends(known, stations, strength, phase, night))
    assert learn_blends(place, stations, strength, phase, night)[0].sine_k == pytest.approx(2.0, abs=0.01)


def test_too_short_an_overlap_teaches_nothing():
    stations, strength, phase, night = made()
    place = np.where(np.arange(HOURS) < FEWEST_HOURS - 1, stations[0], np.nan)
    assert learn_blends(place, stations, strength, phase, night) == ()


def test_minima_are_compared_night_by_night():
    night = np.array([0, 0, 1, 1, 0])
    real, other = np.array([1.0, 2.0, -3.0, 4.0, 0.5]), np.array([2.0, 2.0, -2.0, -4.0, 3.0])
    assert minima_off(real, other, night) == [1.5, -1.0]


@pytest.mark.parametrize("target", ["dongsi", "changping", "huairou"])
def test_on_nights_left_out_the_blend_of_two_real_stations_beats_the_better(target):
    """Beijing, five winters (bench/data/beijing_2_sites, beijing_changping); each site in turn is the place."""
    _, blends, plain = blended(target)
    singles = [one.lowest_rmse_k for one in blends if len(one.stations) == 1]
    assert blends[0].stations == (0, 1)
    assert blends[0].nights > 550
    assert blends[0].lowest_rmse_k < min(singles)
    # An offset alone is worth little between sites that are alike, and much at the foot of the mountains.
    assert blends[0].lowest_rmse_k < 0.9 * min(plain)
    assert min(singles) < (0.75 * min(plain) if target == "huairou" else min(plain) + 0.01)
