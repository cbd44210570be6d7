from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.place import Place
from fruitwall.weather.usable import check_usable, morning_after
from tests.weather.builders import START, YARD, some_forcing

NOW = datetime(2026, 12, 22, 22, 30, tzinfo=UTC)  # half past two in California


def check(forcing, *, yard: Place = YARD, now: datetime = NOW, **options):
    return check_usable(forcing, yard=yard, now=now, **options)


def refused(forcing, **options) -> str:
    with pytest.raises(WeatherError) as caught:
        check(forcing, **options)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def moved(north_km: float, up_m: float = 0.0) -> Place:
    return Place(YARD.latitude_deg + north_km / 111.195, YARD.longitude_deg, YARD.elevation_m + up_m)


def test_a_good_forecast_passes_without_a_word():
    assert check(some_forcing()).warnings == ()


def test_a_forecast_for_another_place_is_refused_with_the_distance():
    message = refused(some_forcing(), yard=moved(80.0))
    assert "is for another place, 33.50 N 117.00 W, 80 km from the yard at 34.22 N 117.00 W" in message


def test_a_distant_forecast_is_doubted():
    assert "the forecast is for 33.50 N 117.00 W, 40 km from the yard" in check(some_forcing(), yard=moved(40)).warnings


def test_a_higher_place_is_doubted():
    (warning,) = check(some_forcing(), yard=moved(0, -400)).warnings
    assert "400 m higher than the yard" in warning


def test_an_old_forecast_is_refused_with_its_age():
    forcing = some_forcing(120, start=START - np.timedelta64(60, "h"), issued_utc=NOW - timedelta(hours=60))
    assert "60 h before 2026-12-22 22:30 UTC; at most 48 h are accepted" in refused(forcing)


def test_an_ageing_forecast_is_doubted():
    forcing = some_forcing(issued_utc=NOW - timedelta(hours=20))
    assert "the forecast is 20 h old" in check(forcing).warnings


def test_a_forecast_from_the_future_is_doubted():
    (warning,) = check(some_forcing(issued_utc=NOW + timedelta(hours=5))).warnings
    assert "issued after the moment planned for" in warning


def test_a_forecast_that_ends_before_the_morning_is_refused():
    message = refused(some_forcing(15))
    assert "ends at 2026-12-23 10:00 UTC, before the night is over (2026-12-23 15:48 UTC)" in message


def test_a_forecast_that_must_reach_further_is_refused():
    assert "before the night is over (2026-12-25 20:00 UTC)" in refused(
        some_forcing(48), until_utc=datetime(2026, 12, 25, 20, tzinfo=UTC)
    )


def test_a_forecast_from_six_in_the_evening_serves():
    check(some_forcing(start=START + np.timedelta64(6, "h")))


def test_a_forecast_that_begins_tomorrow_is_refused():
    assert "begins at 2026-12-23 08:00 UTC, more than 6 h from now" in refused(
        some_forcing(start=START + np.timedelta64(12, "h"))
    )


def test_fahrenheit_taken_for_celsius_shows_by_the_low_sun():
    # A December day from 30 to 54 °F, read as °C.
    warm = some_forcing(t_air_c=some_forcing().t_air_c * 1.5 + 29)
    assert "54 °C with the sun at most 33° high is not possible; are the temperatures in °F?" in refused(warm)


def test_a_hot_summer_day_is_possible():
    hot = some_forcing(t_air_c=np.full((1, 48), 46.0), start=np.datetime64("2026-07-22T20:00:00", "s"))
    july = datetime(2026, 7, 22, 22, tzinfo=UTC)
    assert check(hot, now=july).t_air_c.max() == 46.0


@pytest.mark.parametrize(
    ("hour", "morning"),
    [
        (datetime(2026, 12, 22, 22, 30, tzinfo=UTC), datetime(2026, 12, 23, 16, tzinfo=UTC)),  # 14:30 solar
        (datetime(2026, 12, 23, 10, 0, tzinfo=UTC), datetime(2026, 12, 23, 16, tzinfo=UTC)),  # 02:00 solar
        (datetime(2026, 12, 23, 15, 0, tzinfo=UTC), datetime(2026, 12, 24, 16, tzinfo=UTC)),  # 07:00 solar
    ],
)
def test_the_night_that_is_meant_ends_on_the_next_morning(hour, morning):
    assert morning_after(hour, -120.0) == morning
