"""Sun and cloud against pvlib and the formulas' own limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.weather.demo import demo_forcing
from fruitwall.weather.sun import (
    clear_sun,
    cloud_from_sun,
    cloud_from_transmission,
    cloud_transmission,
    haurwitz,
    sun_elevation,
)

YEAR = pd.date_range("2026-01-01", "2026-12-31", freq="47min", tz="UTC")


@pytest.mark.parametrize(("latitude", "longitude"), [(33.9, -117.25), (-36.0, 146.0), (60.0, 10.0)])
def test_the_suns_height_agrees_with_the_nrel_ephemeris(latitude, longitude):
    ours = sun_elevation(YEAR.tz_localize(None).to_numpy(), latitude, longitude)
    theirs = pvlib.solarposition.get_solarposition(YEAR, latitude, longitude)["elevation"]

    assert np.abs(ours - theirs.to_numpy()).max() < 0.02


def test_the_clear_sky_agrees_with_pvlibs_haurwitz():
    zenith = np.linspace(0, 120, 200)
    theirs = pvlib.clearsky.haurwitz(pd.Series(zenith))["ghi"]

    assert haurwitz(90 - zenith) == pytest.approx(theirs.to_numpy(), abs=1e-9)


def test_an_overcast_sky_passes_a_quarter_of_the_sun():
    assert cloud_transmission([0.0, 1.0]).tolist() == [1.0, 0.25]


@given(st.floats(0, 1))
def test_cloud_comes_back_from_its_transmission(cloud):
    # A thin cover takes nearly no sun (0.75 N^3.4), so that below 0.01 a double cannot tell it from none.
    assert cloud_from_transmission(cloud_transmission(cloud)) == pytest.approx(cloud, abs=0.01)


def test_cloud_inferred_from_sun_holds_through_the_night():
    times = np.arange(
        np.datetime64("2026-12-22T08:00:00"), np.datetime64("2026-12-24T08:00:00"), np.timedelta64(1, "h")
    )
    cloud = np.where(times < np.datetime64("2026-12-23T08:00:00"), 0.8, 0.4)
    sun = clear_sun(times, 33.9, -117.25) * cloud_transmission(cloud)

    inferred = cloud_from_sun(sun[None, :], times, 33.9, -117.25)[0]

    night = (times > np.datetime64("2026-12-23T01:00:00")) & (times < np.datetime64("2026-12-23T15:00:00"))
    day = clear_sun(times, 33.9, -117.25) > 100
    assert inferred[day] == pytest.approx(cloud[day], abs=1e-6)
    assert (np.diff(inferred[night]) <= 0).all()
    assert inferred[night].min() >= 0.4
    assert inferred[night].max() <= 0.8


def test_the_hours_mean_counts_the_hour_before_the_stamp():
    # The sun rises at March air base on 22 December at 06:50 PST: hardly any sun in the hour to 07:00, some to 08:00.
    stamps = np.array(["2026-12-22T15:00:00", "2026-12-22T16:00:00"], dtype="datetime64[s]")

    before, after = clear_sun(stamps, 33.9, -117.25)

    assert before < 3
    assert 30 < after < 120


def test_the_clear_sun_is_that_of_a_cloudless_day_in_the_typical_year():
    # TMY3, 23 December 1998 (its irradiance is modelled as well): within 15 % at every hour above 100 W/m², most of it
    # from the afternoon, where the typical year's sun stands ten minutes behind. An hour's slip would show as 60 %.
    forcing = demo_forcing()
    times = forcing.time_utc
    day = (times >= np.datetime64("2026-12-23T15:00:00")) & (times <= np.datetime64("2026-12-24T02:00:00"))
    measured = forcing.shortwave_w_m2[0, day]
    computed = clear_sun(times, forcing.latitude_deg, forcing.longitude_deg)[day]

    assert forcing.cloud[0, day].max() <= 0.1
    bright = measured > 100
    assert computed[bright] == pytest.approx(measured[bright], rel=0.15)
