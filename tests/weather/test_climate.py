"""What comes after a forecast: other years, joined without a jump."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fruitwall.weather.climate import FADE_H, Climate, continued, season_years
from fruitwall.weather.forcing import HOUR, VARIABLES, Forcing, as_datetime64
from tests.weather.builders import some_forcing

NOON = datetime(2026, 12, 24, 12, tzinfo=UTC)


def of_years(first: datetime, days: int, **changes: object) -> Forcing:
    """A long series: temperatures of the day of the year and of the hour, and a shift that tells the years apart."""
    start = as_datetime64(first)
    times = start + HOUR * np.arange(24 * days)
    day = (times - times.astype("datetime64[Y]").astype("datetime64[s]")) / np.timedelta64(86400, "s")
    year = times.astype("datetime64[Y]").astype(int) + 1970
    air = 12.0 - 8.0 * np.cos(2 * np.pi * day / 365.25) + 6.0 * np.cos(2 * np.pi * (day - 0.6)) + 0.1 * (year - 2020)
    return some_forcing(
        24 * days,
        start=start,
        t_air_c=air[None],
        t_dew_c=air[None] - 5.0,
        issued_utc=first,
        **changes,
    )


def forecast_until(end: datetime, count: int = 48, warmer: float = 0.0, members: int = 1) -> Forcing:
    start = as_datetime64(end) - HOUR * (count - 1)
    made = some_forcing(count, members=members, start=start, issued_utc=end - timedelta(hours=count))
    air = made.t_air_c + warmer + np.arange(members)[:, None]
    return replace(made, t_air_c=air, t_dew_c=np.minimum(made.t_dew_c, air))


TEN_YEARS = of_years(datetime(2014, 7, 1, tzinfo=UTC), 3653)


def test_a_long_series_is_cut_at_midsummer() -> None:
    years = season_years(TEN_YEARS)
    assert len(years) == 10
    assert [one.start_utc.year for one in years] == list(range(2014, 2024))
    assert all((one.start_utc.month, one.start_utc.day) == (7, 1) for one in years)
    assert sum(one.n_times for one in years) == TEN_YEARS.n_times


def test_in_the_south_midsummer_is_new_year() -> None:
    years = season_years(of_years(datetime(2020, 1, 1, tzinfo=UTC), 731, latitude_deg=-33.0))
    assert [(one.start_utc.year, one.start_utc.month) for one in years] == [(2020, 1), (2021, 1)]


def test_short_pieces_are_left_out() -> None:
    assert [one.start_utc.year for one in season_years(of_years(datetime(2019, 6, 1, tzinfo=UTC), 120))] == [2019]


def test_every_year_that_reaches_far_enough_makes_a_course() -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    whole = continued(forecast_until(NOON), climate, NOON + timedelta(days=200))
    assert whole.n_members == 9  # the tenth ends on 30 June, before 12 July
    assert whole.end_utc == NOON + timedelta(days=200)
    assert any("1 of 10 other years" in note for note in whole.warnings)
    near = continued(forecast_until(NOON), climate, NOON + timedelta(days=90))
    assert near.n_members == 10
    assert not any("left out" in note for note in near.warnings)


def test_the_hours_are_those_of_the_same_days() -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    until = NOON + timedelta(days=60)
    whole = continued(forecast_until(NOON), climate, until)
    for course, year in enumerate(range(2014, 2024)):
        begin = NOON.replace(year=year)
        real = TEN_YEARS.select(begin + timedelta(days=30), begin + timedelta(days=60))
        for name in VARIABLES:
            np.testing.assert_allclose(
                getattr(whole, name)[course, -real.n_times :], getattr(real, name)[0], atol=2e-4, err_msg=name
            )


def test_the_forecast_itself_is_untouched_and_members_go_round() -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    forecast = forecast_until(NOON, members=13)
    whole = continued(forecast, climate, NOON + timedelta(days=20))
    assert whole.n_members == 13
    assert (whole.t_air_c[:, :48] == forecast.t_air_c).all()
    fewer = continued(forecast, climate, NOON + timedelta(days=20), members=4)
    assert (fewer.t_air_c == whole.t_air_c[:4]).all()
    assert fewer.issued_utc == forecast.issued_utc
    assert fewer.n_history == forecast.n_history


@pytest.mark.parametrize("warmer", [-9.0, 0.0, 12.0])
def test_there_is_no_jump_and_the_anomaly_fades(warmer: float) -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    flat = continued(forecast_until(NOON, warmer=0.0), climate, NOON + timedelta(days=14))
    whole = continued(forecast_until(NOON, warmer=warmer), climate, NOON + timedelta(days=14))
    own_steps = np.abs(np.diff(TEN_YEARS.t_air_c[0])).max()
    step = np.abs(np.diff(whole.t_air_c[:, 46:], axis=1)).max()
    assert step < own_steps + np.abs(warmer) / 24 + 2.0
    left = (whole.t_air_c - flat.t_air_c)[:, 48:]  # what the warmth alone does, h hours after the join
    hours = np.arange(1, left.shape[1] + 1)
    np.testing.assert_allclose(left, np.broadcast_to(warmer * np.exp(-hours / FADE_H), left.shape), atol=1e-9)
    assert abs(left[0, 71]) == pytest.approx(0.26 * abs(warmer), abs=0.05)


def test_dew_stays_below_air_and_wind_goes_over_in_six_hours() -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    forecast = forecast_until(NOON, warmer=-30.0)
    forecast = replace(forecast, t_dew_c=forecast.t_air_c, wind_m_s=np.full_like(forecast.wind_m_s, 8.0))
    whole = continued(forecast, climate, NOON + timedelta(days=5))
    assert (whole.t_dew_c <= whole.t_air_c).all()
    np.testing.assert_allclose(whole.wind_m_s[0, 47:55], [8, 7, 6, 5, 4, 3, 2, 2])


def test_wind_is_turned_to_the_height_of_the_forecast() -> None:
    climate = Climate(season_years(of_years(datetime(2019, 7, 1, tzinfo=UTC), 366, wind_height_m=2.0)), "at 2 m")
    whole = continued(forecast_until(NOON), climate, NOON + timedelta(days=2))
    assert whole.wind_m_s[0, -1] == pytest.approx(2.0 * np.log(67.8 * 10 - 5.42) / np.log(67.8 * 2 - 5.42))


def test_a_leap_day_is_followed_from_the_28th_where_there_is_none() -> None:
    leap = datetime(2028, 2, 29, 12, tzinfo=UTC)
    climate = Climate(season_years(of_years(datetime(2021, 7, 1, tzinfo=UTC), 365)), "one year")
    whole = continued(forecast_until(leap), climate, leap + timedelta(days=30))
    real = climate.years[0].select(datetime(2022, 2, 28, 12, tzinfo=UTC), datetime(2022, 3, 30, 12, tzinfo=UTC))
    assert whole.t_air_c[0, -1] == pytest.approx(real.t_air_c[0, -1], abs=1e-4)
    assert (np.diff(whole.time_utc) == HOUR).all()


def test_a_forecast_over_a_leap_day_keeps_the_hour_of_the_day() -> None:
    before = datetime(2028, 2, 27, 12, tzinfo=UTC)
    climate = Climate(season_years(of_years(datetime(2021, 7, 1, tzinfo=UTC), 365)), "one year")
    whole = continued(forecast_until(before), climate, before + timedelta(days=30))
    warmest = whole.t_air_c[0, 48 + 24 * 10 : 48 + 24 * 11].argmax()
    assert warmest == TEN_YEARS.t_air_c[0, 13 : 13 + 24].argmax()


@pytest.mark.parametrize("days", [365, 366, 364])
def test_a_single_whole_year_is_followed_by_itself_without_a_jump(days: int) -> None:
    climate = Climate(season_years(of_years(datetime(2001, 7, 1, tzinfo=UTC), days)), "a typical year")
    whole = continued(forecast_until(NOON), climate, NOON + timedelta(days=365))
    assert whole.n_members == 1
    assert np.abs(np.diff(whole.t_air_c[0, 48:])).max() < 2.5
    warmest = whole.t_air_c[0, 48 : 48 + 24 * 364].reshape(-1, 24).argmax(axis=1)
    assert (warmest[5:] == warmest[5]).all()  # the hour of the day goes on over the seam


def test_the_days_that_are_asked_for_are_never_seen() -> None:
    climate = Climate(season_years(of_years(datetime(2026, 7, 1, tzinfo=UTC), 365)), "the very year")
    forecast = forecast_until(NOON)
    whole = continued(forecast, climate, NOON + timedelta(days=5))
    assert (whole.t_air_c == forecast.t_air_c).all()
    assert whole.n_times == forecast.n_times
    assert "no other year" in whole.warnings[-1]


def test_stamps_between_the_hours_are_met() -> None:
    climate = Climate(season_years(of_years(datetime(2019, 7, 1, tzinfo=UTC), 366)), "one year")
    half = NOON + timedelta(minutes=30)
    whole = continued(forecast_until(half), climate, half + timedelta(days=40))
    real = climate.years[0].select(
        datetime(2020, 2, 2, 12, tzinfo=UTC) - timedelta(hours=1), datetime(2020, 2, 2, 13, tzinfo=UTC)
    )
    assert whole.t_air_c[0, -1] == pytest.approx(real.t_air_c[0, 1:3].mean(), abs=1e-4)
    assert whole.end_utc == half + timedelta(days=40)


def test_a_forecast_that_reaches_far_enough_comes_back() -> None:
    forecast = forecast_until(NOON)
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    assert continued(forecast, climate, NOON - timedelta(hours=3)) is forecast


def test_what_cannot_be_is_refused() -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    with pytest.raises(ValueError, match="366 days"):
        continued(forecast_until(NOON), climate, NOON + timedelta(days=400))
    with pytest.raises(ValueError, match="time zone"):
        continued(forecast_until(NOON), climate, datetime(2027, 1, 1))
    with pytest.raises(ValueError, match="at least one year"):
        Climate((), "nothing")
    with pytest.raises(ValueError, match="one member"):
        Climate((some_forcing(members=2),), "two")


def test_the_same_gives_the_same() -> None:
    climate = Climate(season_years(TEN_YEARS), "ten made years")
    one = continued(forecast_until(NOON, members=3), climate, NOON + timedelta(days=50))
    two = continued(forecast_until(NOON, members=3), climate, NOON + timedelta(days=50))
    assert all((getattr(one, name) == getattr(two, name)).all() for name in VARIABLES)
