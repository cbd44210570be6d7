"""Nights made from daily extremes resemble the real ones, and the same file gives the same nights."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from bench.archive_case import Compared, compare, compare_learned, daily_of, hours_of
from fruitwall.errors import WeatherError
from fruitwall.weather.archive.likeness import likeness_of, packaged
from fruitwall.weather.archive.record import DailyRecord
from fruitwall.weather.archive.whole import forcings_of
from fruitwall.weather.place import Place

FLORIDA = Place(29.7, -82.3, 40.0)


@cache
def made(name: str) -> Compared:
    return compare(name)


# The bounds are a little wider than what `python -m bench archive` prints; docs/climate.md shows its table.


@pytest.mark.parametrize("name", ["riverside_ca", "gainesville_fl", "new_orleans_la"])
def test_cold_nights_cool_as_strongly_as_the_real_ones_of_a_station_that_is_left_out(name):
    one = made(name)
    assert one.made_cold.strength == pytest.approx(one.real_cold.strength, abs=0.06)
    assert one.made_cold.strength > one.made.strength  # cold nights are the clear and calm ones
    assert abs(one.bias_k) < 1.0
    assert one.rmse_k < 2.6


def test_frost_lasts_as_long_as_at_a_station_far_from_those_packaged():
    one = made("shasta")
    assert one.made_cold.frost_h == pytest.approx(one.real_cold.frost_h, abs=0.5)
    assert one.made.frost_h == pytest.approx(one.real.frost_h, rel=0.1)
    assert one.made_cold.wind > 2 * one.real_cold.wind  # what only its own hours can tell


def test_hours_of_the_place_itself_mend_what_the_packaged_days_cannot_know():
    plain, learned = made("shasta"), compare_learned("shasta")
    assert learned.made_cold.wind == pytest.approx(learned.real_cold.wind, abs=0.2)
    assert learned.made_cold.dew_k == pytest.approx(learned.real_cold.dew_k, abs=0.5)
    off = learned.real_cold.strength - learned.made_cold.strength
    assert abs(off) < 0.5 * abs(plain.real_cold.strength - plain.made_cold.strength)


def test_the_same_record_gives_the_same_hours_and_another_source_others():
    record = daily_of(hours_of("gainesville_fl"))
    (one,), (again,) = forcings_of(record, "a"), forcings_of(record, "b")
    assert (one.cloud == again.cloud).all()
    assert (one.t_dew_c == again.t_dew_c).all()
    other = DailyRecord(record.dates, record.values, record.place, "another")
    assert (forcings_of(other, "a")[0].cloud != one.cloud).mean() > 0.5


def days(count: int = 120, **more: float) -> DailyRecord:
    dates = np.datetime64("2020-11-01") + np.arange(count)
    swing = np.sin(np.arange(count))
    values = {"t_min_c": 3.0 + 3.0 * swing, "t_max_c": 17.0 + 4.0 * np.roll(swing, 3)}
    values |= {name: np.full(count, value) for name, value in more.items()}
    return DailyRecord(dates, values, FLORIDA, "made")


def test_what_a_record_has_is_kept():
    (one,) = forcings_of(days(wind_m_s=3.0, cloud=0.25, t_dew_c=-5.0, rain_mm=2.4), "a")
    inner = slice(24, -24)
    assert one.cloud[0, inner] == pytest.approx(0.25)
    assert one.t_dew_c[0, inner] == pytest.approx(-5.0)
    assert one.rain_mm[0, inner] == pytest.approx(0.1)
    solar = one.time_utc + np.timedelta64(round(-82.3 / 15 * 3600), "s")
    dates = (solar - np.timedelta64(1, "s")).astype("datetime64[D]")
    whole = [one.wind_m_s[0, dates == date] for date in np.unique(dates)[1:-1]]
    assert [day.mean() for day in whole] == pytest.approx([3.0] * len(whole), abs=0.001)
    assert np.mean([day.std() for day in whole]) > 0.3  # its course through the day is drawn
    assert not any("drawn" in note for note in one.warnings)


def test_days_of_rain_are_cloudy():
    dry, wet = forcings_of(days(), "a")[0], forcings_of(days(rain_mm=10.0), "a")[0]
    assert wet.cloud.mean() > dry.cloud.mean() + 0.2


def test_south_of_the_equator_seasons_are_turned():
    record = days()
    north = forcings_of(record, "a")[0]
    there = DailyRecord(record.dates, record.values, Place(-29.7, -82.3, 40.0), "made")
    south = forcings_of(there, "a")[0]
    assert south.shortwave_w_m2.mean() > 1.2 * north.shortwave_w_m2.mean()
    assert (south.cloud[:, :2000] != north.cloud[:, :2000]).any()


def test_a_mistyped_year_is_refused():
    record = days()
    dates = record.dates.copy()
    dates[-1] += np.timedelta64(1000 * 365, "D")
    with pytest.raises(WeatherError, match=r"a: holds days from 2020-11-01 to 30\d\d-\d\d-\d\d; mend the wrong year"):
        forcings_of(DailyRecord(dates, record.values, FLORIDA, "made"), "a")


def test_an_impossible_day_counts_as_missing():
    record = days()
    low = record.values["t_min_c"].copy()
    low[40] = 30.0
    (one,) = forcings_of(DailyRecord(record.dates, {**record.values, "t_min_c": low}, FLORIDA, "made"), "a")
    assert any("missing days that were bridged by straight lines: 1" in note for note in one.warnings)
    assert one.t_air_c.max() < 25.0


def test_the_packaged_days_are_those_of_their_typical_years():
    have = packaged()
    assert have.count == 2542
    assert np.unique(have.station).tolist() == list(range(7))
    (riverside,) = forcings_of(hours_of("riverside_ca"), "riverside")
    own = likeness_of(riverside)
    stored = have.take((have.station == 0) & np.isin(have.day_of_year, np.arange(5, 85)))
    same = own.take(np.isin(own.day_of_year, stored.day_of_year))
    assert same.drop_k == pytest.approx(stored.drop_k, abs=0.05)
    assert same.wind_night == pytest.approx(stored.wind_night, abs=0.05)
    assert same.dew_below_k == pytest.approx(stored.dew_below_k, abs=0.05)
