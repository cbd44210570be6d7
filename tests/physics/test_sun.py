"""Sun position and light against pvlib, an almanac example, and what must always hold."""

import subprocess
import sys
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics import sun
from fruitwall.weather import sun as weather_sun

PLACES = [(33.9, -117.25), (-35.0, 149.0), (60.0, 10.0), (0.0, 0.0), (78.2, 15.6)]


@pytest.fixture(scope="module")
def pvlib():
    return pytest.importorskip("pvlib", reason="pvlib is the judge of these tests; pip install pvlib")


@pytest.fixture(scope="module")
def moments():
    """Two thousand times between 1950 and 2100."""
    rng = np.random.default_rng(20261222)
    return np.sort(rng.integers(-631_152_000, 4_102_444_800, 2000)).astype("datetime64[s]")


def stamps(times):
    import pandas as pd

    return pd.DatetimeIndex(times).tz_localize("UTC")


# ---------------------------------------------------------------- pvlib as an oracle


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_straight_lines_between_midnights_stay_within_four_thousandths_of_spa(pvlib, moments, latitude, longitude):
    # 0.0024° of it is the parallax of the Earth's radius.
    expected = pvlib.solarposition.get_solarposition(stamps(moments), latitude, longitude, method="nrel_numpy")
    got = sun.sun_position(moments, latitude, longitude)
    height, bearing = expected["elevation"].to_numpy(), expected["azimuth"].to_numpy()

    assert np.abs(got.elevation_deg - height).max() < 0.004
    turned = (got.azimuth_deg - bearing + 180.0) % 360.0 - 180.0
    assert np.abs(turned * np.cos(np.radians(height))).max() < 0.004


def test_the_sun_goes_smoothly_through_midnight_and_the_turn_of_the_year(pvlib):
    times = np.datetime64("2026-12-31T23:50:00") + np.arange(1200).astype("timedelta64[s]")
    for place in ((33.9, -117.25), (60.0, 10.0)):
        for values in sun.sun_position(times, *place):
            # A step would stand out of the curvature of the path, 1e-7° a second a second.
            assert np.abs(np.diff(values, n=2)).max() < 1e-6


def test_the_short_series_of_the_weather_layer_agrees_with_spa(pvlib, moments):
    series = weather_sun.orbit(moments)
    got = sun.day_and_hour(moments, 33.9, -117.25)[1]
    declination, at_greenwich = sun._declination_and_hour_angle(moments)
    assert np.abs(series.declination_deg - declination).max() < 0.01
    off = (15.0 * got - (at_greenwich - 117.25) + 180.0) % 360.0 - 180.0
    assert np.abs(off).max() < 0.02  # five seconds


def test_light_outside_the_atmosphere_is_that_of_pvlib(pvlib, moments):
    expected = pvlib.irradiance.get_extra_radiation(stamps(moments), solar_constant=sun.SOLAR_CONSTANT, method="nrel")
    assert sun.extraterrestrial(moments) == pytest.approx(expected.to_numpy(), abs=0.3)


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")  # pvlib 0.16 under pandas 3.1
def test_the_split_of_global_light_is_that_of_pvlib(pvlib):
    import pandas as pd

    light, elevation = (grid.ravel() for grid in np.meshgrid(np.linspace(0.0, 1200.0, 41), np.linspace(5.5, 90.0, 41)))
    march = pd.DatetimeIndex(["2026-03-01"] * light.size)
    expected = pvlib.irradiance.erbs(light, 90.0 - elevation, march)
    outside = pvlib.irradiance.get_extra_radiation(march).to_numpy()
    got = sun.split_global(light, elevation, outside)
    assert got.diffuse == pytest.approx(np.asarray(expected["dhi"]), abs=1e-6)


def test_light_on_walls_is_that_of_pvlib(pvlib):
    elevation, bearing = 30.0, 200.0
    light = sun.Irradiance(np.array(300.0), np.array(100.0))
    for azimuth in (0.0, 90.0, 180.0, 210.0, 270.0):
        expected = pvlib.irradiance.get_total_irradiance(
            90.0, azimuth, 90.0 - elevation, bearing, 300.0 / np.sin(np.radians(elevation)), 400.0, 100.0, albedo=0.25
        )
        got = sun.light_on(light, elevation, bearing, azimuth, albedo=0.25)
        assert got == pytest.approx(float(expected["poa_global"]), rel=1e-9)


@pytest.mark.parametrize("day", [date(2026, 3, 8), date(2026, 6, 21), date(2026, 12, 22)])
@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [(33.9, -117.25, "America/Los_Angeles"), (-35.3, 149.1, "Australia/Sydney"), (40.4, -3.7, "Europe/Madrid")],
)
def test_the_sun_is_at_the_horizon_of_pvlib_at_sunrise_and_sunset(pvlib, day, latitude, longitude, zone):
    times = sun.sun_times(day, latitude, longitude, zone)
    for moment, height in (
        (times.civil_dawn, sun.CIVIL_DUSK_DEG),
        (times.sunrise, sun.SUNSET_DEG),
        (times.sunset, sun.SUNSET_DEG),
        (times.civil_dusk, sun.CIVIL_DUSK_DEG),
    ):
        there = pvlib.solarposition.get_solarposition(
            stamps([np.datetime64(moment.astimezone(UTC).replace(tzinfo=None))]), latitude, longitude
        )
        assert float(there["elevation"].iloc[0]) == pytest.approx(height, abs=0.02)  # five seconds
        assert moment.date() == day
    assert times.civil_dawn < times.sunrise < times.noon < times.sunset < times.civil_dusk


# ---------------------------------------------------------------- published values


def test_the_example_of_the_spa_report_is_met():
    # Reda & Andreas 2004 (NREL/TP-560-34302), table A5.1: zenith 50.11162°, azimuth 194.34024° with refraction of
    # 0.0163°; read in the tests of several open libraries.
    place = sun.sun_position(np.datetime64("2003-10-17T19:30:30"), 39.742476, -105.1786)
    assert place.elevation_deg == pytest.approx(90.0 - 50.11162 - 0.0163, abs=0.004)
    assert place.azimuth_deg == pytest.approx(194.34024, abs=0.004)


# ---------------------------------------------------------------- start-up


def test_sunset_and_the_growth_of_the_night_are_told_without_loading_pvlib():
    program = """
import sys
from datetime import date
import numpy as np
from fruitwall.physics.cooling import night_share
from fruitwall.physics.sun import extraterrestrial, sun_position, sun_times
now = np.datetime64("2026-12-22T03:00")
print(sun_times(date(2026, 12, 22), 33.9, -117.25, "America/Los_Angeles").sunset, night_share(now, 33.9, -117.25))
extraterrestrial(now)
assert "fruitwall_pvlib_spa" not in sys.modules
sun_position(now, 33.9, -117.25)
assert "fruitwall_pvlib_spa" in sys.modules
assert not {"pvlib", "pandas"} & set(sys.modules)  # the algorithm alone, not the package around it
"""
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True)


# ---------------------------------------------------------------- what always holds

moments_of_a_year = st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31))  # meant as UTC
latitudes, longitudes = st.floats(-65.0, 65.0), st.floats(-180.0, 180.0)


@given(moments_of_a_year, latitudes, longitudes)
def test_day_length_is_from_sunrise_to_sunset_and_noon_is_highest(moment, latitude, longitude):
    times = sun.sun_times(moment.date(), latitude, longitude, "UTC")
    assert 0.0 <= times.day_length_h <= 24.0
    highest = sun._elevation(times.noon, latitude, longitude)
    for hours in (-2.0, 2.0):
        assert sun._elevation(times.noon + timedelta(hours=hours), latitude, longitude) < highest


@given(st.floats(0.0, 1400.0), st.floats(-90.0, 90.0))
def test_beam_and_diffuse_sum_to_the_global_light_and_neither_is_negative(light, elevation):
    parts = sun.split_global(light, elevation)
    assert parts.beam + parts.diffuse == pytest.approx(light, abs=1e-9)
    assert parts.beam >= 0.0
    assert parts.diffuse >= 0.0


@given(st.floats(1.0, 89.0), st.floats(0.0, 360.0), st.floats(0.0, 360.0))
def test_the_sun_never_shines_on_both_faces_of_a_wall(elevation, bearing, azimuth):
    front, back = (sun.beam_ratio(elevation, bearing, turned) for turned in (azimuth, (azimuth + 180.0) % 360.0))
    assert min(front, back) == pytest.approx(0.0, abs=1e-12)
    assert sun.beam_ratio(elevation, bearing, azimuth, 0.0) == pytest.approx(1.0)


def test_the_low_winter_sun_falls_stronger_on_a_south_wall_than_on_the_ground():
    noon = sun.sun_position(np.datetime64("2026-12-22T19:50:00"), 33.9, -117.25)
    assert noon.elevation_deg == pytest.approx(90.0 - 33.9 - 23.44, abs=0.1)
    assert sun.beam_ratio(*noon, 180.0) == pytest.approx(1.0 / np.tan(np.radians(noon.elevation_deg)), rel=1e-3)
    assert sun.beam_ratio(*noon, 180.0) > 1.5
    assert sun.beam_ratio(*noon, 0.0) == 0.0


def test_spread_hours_keep_their_mean_and_follow_the_sun():
    ends = np.array(["2026-12-22T15", "2026-12-22T16", "2026-12-22T20"], dtype="datetime64[h]")
    hourly = np.array([[0.0, 40.0, 500.0], [0.0, np.nan, 300.0]])
    steps = sun.spread_hours(ends, hourly, 33.9, -117.25)
    assert steps.shape == (2, 3, 4)
    assert steps.mean(axis=-1) == pytest.approx(hourly, nan_ok=True)
    # The hour in which the sun rises (06:50 local, 14:50 UTC) has its light after sunrise only.
    sunrise_hour = sun.spread_hours(ends[:1], [10.0], 33.9, -117.25)[0]
    assert sunrise_hour[:3] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert np.all(np.diff(steps[0, 1]) > 0.0)


def test_light_in_an_hour_without_sun_is_spread_evenly():
    midnight = np.array(["2026-12-22T08"], dtype="datetime64[h]")
    assert sun.spread_hours(midnight, [1.0], 33.9, -117.25).tolist() == [[1.0, 1.0, 1.0, 1.0]]


def test_midnight_sun_and_polar_night_have_no_sunset():
    summer = sun.sun_times(date(2026, 6, 21), 78.2, 15.6, "Arctic/Longyearbyen")
    winter = sun.sun_times(date(2026, 12, 21), 78.2, 15.6, "Arctic/Longyearbyen")
    assert (summer.sunrise, summer.sunset, summer.day_length_h) == (None, None, 24.0)
    assert (winter.sunrise, winter.sunset, winter.day_length_h) == (None, None, 0.0)


def test_a_zone_far_from_its_meridian_keeps_the_civil_day():
    times = sun.sun_times(date(2026, 6, 21), 1.9, -157.4, "Pacific/Kiritimati")  # UTC+14
    assert times.sunrise.date() == times.sunset.date() == date(2026, 6, 21)


# ---------------------------------------------------------------- arrays, NaN, refusal


def test_arrays_broadcast_and_nat_gives_nan():
    times = np.array(["2026-06-21T12:00", "NaT"], dtype="datetime64[m]")
    got = sun.sun_position(times[:, None], [0.0, 50.0, np.nan], 0.0)
    assert got.elevation_deg.shape == got.azimuth_deg.shape == (2, 3)
    assert np.isnan(got.elevation_deg).tolist() == [[False, False, True], [True, True, True]]
    assert got.elevation_deg[0, 1] == sun.sun_position(times[0], 50.0, 0.0).elevation_deg
    assert np.isnan(sun.split_global([np.nan, 100.0, 100.0], [30.0, np.nan, 30.0]).beam).tolist() == [True, True, False]
    assert np.isnan(sun.beam_ratio(np.nan, 10.0, 20.0))


def test_times_without_numpy_stamps_are_refused():
    with pytest.raises(ValueError, match="time_utc must be numpy datetime64 in UTC, got int64"):
        sun.sun_position(np.array([5]), 0.0, 0.0)


def test_a_step_that_does_not_divide_the_hour_is_refused():
    with pytest.raises(ValueError, match="step_minutes must be a divisor of 60, got 25"):
        sun.spread_hours(np.array(["2026-01-01T12"], dtype="datetime64[h]"), [1.0], 0.0, 0.0, 25)
