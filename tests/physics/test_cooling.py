"""Strength of radiative cooling: its limits, its directions, and the station pairs it was read off."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics import cooling

RIVERSIDE = (33.9, -117.25)


def local(hour, day="2026-12-22"):
    """Riverside clock time (UTC-8) as UTC."""
    return np.datetime64(day) + np.timedelta64(round((hour + 8.0) * 60.0), "m")


# ---------------------------------------------------------------- the station pairs

# Difference between two stations by the hourly wind at the colder one, over its value in calm (winter nights):
# Huairou minus Dongsi (Beijing, 2013-2017, 4,215 hours; UCI data set 501), Viejas minus Lucky Five Ranch (San Diego
# county, 2012-2018, 7,327 hours; neutral difference 7.0 K from the strongest winds). Own evaluation, wind as reported.
WIND = np.array([0.75, 1.25, 1.75, 2.25, 2.75, 3.5, 4.5, 6.0])
HUAIROU = np.array([2.29, 2.29, 2.13, 1.52, 1.06, 0.52, 0.37, 0.25]) / 2.29
VIEJAS = (7.0 - np.array([-1.62, -1.76, -0.60, 2.66, 4.74, 5.34, 5.84, 6.41])) / 8.7

# By hours after sunset (about 17:10 and 16:55), calm winter nights of the same pairs, over the value before sunrise.
HUAIROU_HOURS = {0.8: 0.44, 1.8: 0.58, 2.8: 0.66, 3.8: 0.74, 5.8: 0.79, 7.8: 0.84, 10.8: 1.0}
VIEJAS_HOURS = {1.1: 0.41, 2.1: 0.60, 3.1: 0.71, 4.1: 0.79, 5.1: 0.85, 7.1: 0.95, 9.1: 0.95}


@pytest.mark.parametrize("pair", [HUAIROU, VIEJAS], ids=["Huairou-Dongsi", "Viejas-Lucky Five"])
def test_wind_wipes_out_differences_as_between_two_stations(pair):
    assert np.abs(cooling.wind_factor(WIND) - pair).max() < 0.2
    assert abs(np.mean(cooling.wind_factor(WIND) - pair)) < 0.08


@pytest.mark.parametrize("pair", [HUAIROU_HOURS, VIEJAS_HOURS], ids=["Huairou-Dongsi", "Viejas-Lucky Five"])
def test_differences_grow_through_the_night_as_between_two_stations(pair):
    sunset = 16.0 + 44.0 / 60.0
    for hours, expected in pair.items():
        got = cooling.night_share(local(sunset + hours), *RIVERSIDE)
        assert got == pytest.approx(expected, abs=0.16)


# ---------------------------------------------------------------- limits


def test_a_calm_clear_dry_late_night_is_full_and_wind_cloud_and_day_are_not():
    late = local(30.0)
    assert cooling.cooling_strength(0.0, -8.0, 0.3, 0.0, late, *RIVERSIDE) > 0.95
    assert cooling.cooling_strength(0.0, -8.0, 0.3, 1.0, late, *RIVERSIDE) < 0.2
    assert cooling.cooling_strength(0.0, -8.0, 7.0, 0.0, late, *RIVERSIDE) < 0.06
    assert cooling.cooling_strength(0.0, -8.0, 0.3, 0.0, local(13.0), *RIVERSIDE) < 1e-3


def test_a_night_begins_half_an_hour_before_sunset_and_ends_with_the_morning():
    hours = np.array([14.0, 16.0, 16.5, 18.0, 24.0, 30.5, 31.5, 33.0, 36.0])
    share = cooling.night_share([local(hour) for hour in hours], *RIVERSIDE)
    assert np.all(np.diff(share[1:6]) > 0.0)
    assert np.all(np.diff(share[5:]) < 0.0)
    assert np.all(share[:2] < 1e-5)
    assert 0.0 < share[2] < 0.2
    assert share[-1] < 0.01


def test_a_night_is_continuous_over_sunset_and_sunrise():
    minutes = np.arange(0.0, 24.0, 1.0 / 60.0)
    share = cooling.night_share([local(hour) for hour in minutes], *RIVERSIDE)
    assert np.abs(np.diff(share)).max() < 0.02


def test_polar_night_is_all_night_and_midnight_sun_all_day():
    hours = np.arange(np.datetime64("2026-12-21T00"), np.datetime64("2026-12-22T00"))
    assert np.all(cooling.night_share(hours, 80.0, 15.0) == 1.0)
    assert np.all(cooling.night_share(hours + np.timedelta64(182 * 24, "h"), 80.0, 15.0) == 0.0)


def test_the_air_is_warmer_above_and_colder_below_the_shelter():
    got = cooling.inversion_k([0.1, 0.3, 1.0, 2.0, 5.0, 10.0, 30.0], 1.0)
    assert got[0] == got[1] < got[2] < got[3] == 0.0 < got[4] < got[5] == got[6]
    assert cooling.inversion_k(5.0, 0.0) == 0.0
    # Weaker than the weakest class of orchard inversions, 5 °F from the ground to 12-15 m (Goodall et al. 1957).
    assert cooling.inversion_k(10.0, 1.0) - cooling.inversion_k(1.5, 1.0) < 5.0 / 1.8


# ---------------------------------------------------------------- what always holds

states = st.tuples(st.floats(-20.0, 30.0), st.floats(0.0, 25.0), st.floats(0.0, 30.0), st.floats(0.0, 1.0))


@given(states, st.floats(0.0, 20.0), st.floats(0.0, 1.0))
def test_more_wind_or_cloud_never_strengthens_the_cooling(state, windier, cloudier):
    t, depression, wind, cloud = state
    strength = cooling.cooling_strength(t, t - depression, wind, cloud)
    assert 0.0 <= strength <= 1.0
    assert cooling.cooling_strength(t, t - depression, wind + windier, cloud) <= strength
    assert cooling.cooling_strength(t, t - depression, wind, max(cloud, cloudier)) <= strength + 1e-12


@given(states, st.floats(0.0, 10.0))
def test_drier_air_never_weakens_the_cooling(state, drier):
    t, depression, wind, cloud = state
    moist, dry = (cooling.cooling_strength(t, t - gap, wind, cloud) for gap in (depression, depression + drier))
    assert dry >= moist - 1e-12


@given(st.integers(0, 365 * 24), st.floats(-66.0, 66.0), st.floats(-180.0, 180.0))
def test_the_share_of_a_night_is_a_share_everywhere(hour, latitude, longitude):
    share = cooling.night_share(np.datetime64("2026-01-01") + np.timedelta64(hour, "h"), latitude, longitude)
    assert 0.0 <= share <= 1.0


def test_arrays_broadcast_and_nan_stays_nan():
    got = cooling.cooling_strength([[0.0], [np.nan]], -5.0, [0.5, 5.0, np.nan], 0.0)
    assert got.shape == (2, 3)
    assert np.isnan(got).tolist() == [[False, False, True], [True, True, True]]
    assert np.isnan(cooling.night_share(np.datetime64("NaT"), 30.0, 0.0))
    assert np.isnan(cooling.night_share(local(20.0), np.nan, 0.0))
    assert np.isnan(cooling.inversion_k([np.nan, 1.0], [1.0, np.nan])).all()


def test_a_short_winter_day_does_not_jump():
    minutes = np.datetime64("2026-12-21") + np.arange(1440).astype("timedelta64[m]")
    share = cooling.night_share(minutes, 65.5, 0.0)  # three hours of sun
    assert np.abs(np.diff(share)).max() < 0.02
    assert share.min() > 0.05
