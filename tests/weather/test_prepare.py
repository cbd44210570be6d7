"""The days before a forecast: past weather where there is any, a told stand-in where there is none."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.prepare import prepare
from tests.weather.builders import START, some_forcing

HOUR = np.timedelta64(3600, "s")
NOW = datetime(2026, 12, 22, 22, 30, tzinfo=UTC)
NIGHT_END = datetime(2026, 12, 23, 20, tzinfo=UTC)


def ready(forecast, history=None, **options):
    return prepare(forecast, history, **{"now": NOW, "night_end_utc": NIGHT_END, **options})


def past(hours: int = 240, **changes):
    end = changes.pop("end", START)
    return some_forcing(hours, start=end - hours * HOUR, source="the past", **changes)


def test_past_weather_is_cut_to_the_spin_up():
    result = ready(some_forcing(48), past())

    assert result.start_utc == datetime(2026, 12, 15, 20, tzinfo=UTC)
    assert result.n_history == 7 * 24
    assert result.end_utc == some_forcing(48).end_utc
    assert result.warnings == ()


def test_without_past_the_first_day_is_repeated_and_it_is_told():
    forecast = some_forcing(48)
    result = ready(forecast)

    assert result.n_history == 7 * 24
    assert (result.t_air_c[0, : 7 * 24] == np.tile(forecast.t_air_c[0, :24], 7)).all()
    assert any("repeated backwards" in warning for warning in result.warnings)


def test_a_forecast_from_the_evening_gets_its_afternoon_from_the_next_day():
    forecast = some_forcing(48, start=START + 6 * HOUR)
    result = ready(forecast)

    # The hour of 14:00 local before the forecast is that of 14:00 tomorrow.
    before = int(np.searchsorted(result.time_utc, START + 2 * HOUR))
    assert result.time_utc[before] < forecast.time_utc[0]
    assert result.t_air_c[0, before] == forecast.t_air_c[0, 20]


def test_a_short_forecast_is_closed_round_the_clock():
    forecast = some_forcing(20)
    result = ready(forecast, night_end_utc=datetime(2026, 12, 23, 14, tzinfo=UTC))

    lacking = result.t_air_c[0, 20:24]  # the clock hours that the forecast does not have
    ends = sorted([forecast.t_air_c[0, 19], forecast.t_air_c[0, 0]])
    assert ((lacking >= ends[0]) & (lacking <= ends[1])).all()


def test_a_service_that_sends_past_days_needs_no_stand_in():
    whole = some_forcing(10 * 24, start=START - 8 * 24 * HOUR, n_history=8 * 24)
    result = ready(whole)

    assert result.start_utc == datetime(2026, 12, 15, 20, tzinfo=UTC)
    assert result.n_history == 7 * 24
    assert result.warnings == ()


def test_three_real_days_are_better_than_seven_made_up():
    result = ready(some_forcing(48), past(72))
    assert result.n_history == 72
    assert result.warnings == ()


def test_one_real_day_is_lengthened_and_it_is_told():
    result = ready(some_forcing(48), past(24))
    assert result.n_history == 7 * 24
    assert any("no weather is known before 2026-12-21 20:00 UTC" in warning for warning in result.warnings)


def test_spin_up_counts_back_from_the_forecast_if_that_begins_before_now():
    result = ready(some_forcing(60, start=START - 12 * HOUR))
    assert result.start_utc == datetime(2026, 12, 15, 8, tzinfo=UTC)


def test_all_members_share_one_past(rng):
    air = some_forcing(48).t_air_c + rng.normal(0, 1, (5, 1))
    result = ready(some_forcing(48, members=5, t_air_c=air, t_dew_c=np.full((5, 48), -9.0)))

    assert (np.ptp(result.t_air_c[:, : result.n_history], axis=0) == 0).all()
    assert np.ptp(result.t_air_c[:, -1]) > 0


def test_no_spin_up_at_all_can_be_asked_for():
    result = ready(some_forcing(48, start=START - HOUR), spin_up_days=0)
    assert result.n_history == 0


def test_a_forecast_that_ends_in_the_night_is_refused():
    with pytest.raises(WeatherError, match=r"ends at 2026-12-23 11:00 UTC, before the night is over"):
        ready(some_forcing(16))


def test_past_weather_of_another_place_is_refused():
    with pytest.raises(WeatherError, match=r"the past: past weather of another place, 35.00 N"):
        ready(some_forcing(48), past(latitude_deg=35.0))


def test_past_weather_of_a_neighbour_is_told():
    result = ready(some_forcing(48), past(latitude_deg=33.8))
    assert any("past weather is of 33.80 N" in warning for warning in result.warnings)


def test_past_weather_that_ends_in_the_morning_is_filled_up_and_it_is_told():
    forecast = some_forcing(48)
    result = ready(forecast, past(end=START - 6 * HOUR))

    first = int(np.searchsorted(result.time_utc, START))
    assert result.n_history == first == 7 * 24
    assert result.t_air_c[0, first - 6 : first].tolist() == forecast.t_air_c[0, 18:24].tolist()
    assert any("past weather ends at 2026-12-22 13:00 UTC; the 6 h to the forecast" in note for note in result.warnings)


def test_past_weather_that_ends_more_than_a_day_early_is_refused():
    with pytest.raises(WeatherError, match="the past: 25 hours are missing between the history's last hour"):
        ready(some_forcing(48), past(end=START - 25 * HOUR))


def test_past_weather_that_begins_after_the_forecast_is_left_out_and_told():
    result = ready(some_forcing(48), past(24, end=START + 30 * HOUR))
    assert any("begins after the forecast and was not used" in warning for warning in result.warnings)


@pytest.mark.parametrize("days", [-1, 61, float("nan")])
def test_spin_up_has_a_range(days):
    with pytest.raises(ValueError, match="spin_up_days must be at least 0 and at most 60"):
        ready(some_forcing(48), spin_up_days=days)


def test_times_need_a_zone():
    with pytest.raises(ValueError, match="now needs a time zone"):
        ready(some_forcing(48), now=NOW.replace(tzinfo=None))


def test_the_forecasts_own_hours_are_never_changed():
    forecast = some_forcing(48)
    for history in (None, past(), past(24)):
        result = ready(forecast, history)
        assert (result.t_air_c[:, result.n_history :] == forecast.t_air_c).all()
        assert result.time_utc[result.n_history] == forecast.time_utc[0]
        assert result.issued_utc == forecast.issued_utc


def test_it_starts_on_the_hour_before_the_wished_length(now):
    result = ready(some_forcing(48), now=now + timedelta(minutes=20))
    assert result.n_history == 7 * 24
