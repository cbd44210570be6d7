"""The weather that was: the newest word on every hour, and the yard's own thermometer before all."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from fruitwall.journal.entries import Reading
from fruitwall.journal.opening import open_journal
from fruitwall.service.past_weather import (
    FORECAST_SD_K,
    HISTORY_SD_K,
    READ_SD_K,
    STATION,
    past_stretches,
    past_weather,
)
from fruitwall.weather.demo import demo_now
from fruitwall.weather.forcing import HOUR, as_datetime64
from tests.service.past import LATER, house_with_past, keep, past_forcing, warmer


def test_weather_of_another_place_is_none_of_this_yard(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=replace(past_forcing(), latitude_deg=-33.9))
        assert past_stretches(house) == []
        assert past_weather(house, demo_now() - timedelta(hours=5), demo_now()) is None


def test_what_a_source_gives_as_past_takes_the_place_of_what_it_forecast_whatever_came_first(tmp_path):
    begin = demo_now() - timedelta(days=2)
    forecast = replace(warmer(past_forcing(), 2.0), n_history=0, issued_utc=begin)
    told = past_forcing()
    hour = demo_now().replace(minute=0)
    for at, order in enumerate(
        ((forecast, told), (told, replace(forecast, issued_utc=told.issued_utc + timedelta(days=1))))
    ):
        with open_journal(tmp_path / f"{at}.db") as journal:
            house = house_with_past(journal, tmp_path, forcing=order[0])
            keep(journal, order[1])
            known = past_weather(house, hour, hour + timedelta(hours=6))
            assert known is not None
            there = told.select(hour, hour + timedelta(hours=6))
            assert np.allclose(known.t_air_c, there.t_air_c)
            (stretch,) = past_stretches(house)
            assert np.all(stretch.sd_k == HISTORY_SD_K)


def test_an_hour_that_was_only_forecast_is_known_less_well(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=replace(past_forcing(), n_history=48))
        (stretch,) = past_stretches(house)
        assert np.all(stretch.sd_k[:48] == HISTORY_SD_K)
        assert np.all(stretch.sd_k[48:] == FORECAST_SD_K)
        assert stretch.forcing.end_utc <= LATER


def test_the_yard_s_thermometer_counts_where_it_was_read_unless_it_is_far_off(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path)
        hour = demo_now().replace(minute=0)
        (stretch,) = past_stretches(house)
        at = int((as_datetime64(hour) - stretch.forcing.time_utc[0]) / HOUR)
        before = stretch.forcing.t_air_c[0]
        read = [
            Reading("porch", "air_temperature_c", hour + timedelta(hours=h), before[at + h] - 1.5) for h in range(4)
        ]
        read.append(Reading("porch", "air_temperature_c", hour + timedelta(hours=9), before[at + 9] + 20.0))
        house.ledger.add_readings(read, received=house.clock())
        house.ledger.set(STATION, "porch", author="Ana", now=house.clock())
        (believed,) = past_stretches(house)
        after = believed.forcing.t_air_c[0]
        assert np.allclose(after[at : at + 4], before[at : at + 4] - 1.5)
        assert np.all(believed.sd_k[at : at + 4] == READ_SD_K)
        assert after[at + 9] == before[at + 9]
        assert np.all(believed.forcing.t_dew_c <= believed.forcing.t_air_c)


def test_a_hole_of_days_parts_the_weather_and_one_of_two_hours_is_bridged(tmp_path):
    whole = past_forcing()
    first, second = (
        whole.select(whole.start_utc, whole.start_utc + timedelta(days=3)),
        whole.select(whole.start_utc + timedelta(days=5), whole.end_utc),
    )
    near = whole.select(whole.start_utc + timedelta(days=3, hours=3), whole.start_utc + timedelta(days=4))
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=replace(first, n_history=first.n_times))
        for part in (replace(near, n_history=near.n_times), replace(second, n_history=second.n_times)):
            keep(journal, replace(part, issued_utc=part.end_utc))
        stretches = past_stretches(house)
        assert [one.forcing.start_utc for one in stretches] == [whole.start_utc, second.start_utc]
        assert stretches[0].forcing.end_utc == near.end_utc
        assert past_weather(house, first.end_utc, second.start_utc) is None


def test_a_clock_before_all_weather_knows_none_of_it(tmp_path):
    early = past_forcing().start_utc - timedelta(days=2)
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, clock=lambda: early)
        assert past_stretches(house) == []
