"""Weather of other years: given, fetched, lived through, packaged; and that it never counts as a forecast."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import httpx2
import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.journal.backup import restore_backup, write_backup
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.climate import (
    add_years,
    climate_of,
    fetch_years,
    given_years,
    keep_years,
    leave_out,
    season_begin,
    use_packaged_years,
)
from fruitwall.service.house import House
from fruitwall.service.past_weather import past_stretches
from fruitwall.weather.climate_winters import winters_of
from fruitwall.weather.fetch import fetch
from fruitwall.weather.forcing import HOUR, Forcing, as_datetime64
from tests.service.past import LATER, house_with_past, keep, past_forcing
from tests.weather.builders import some_forcing


def other_year(autumn: int, days: int = 365, **changes: Any) -> Forcing:
    start = datetime(autumn, 7, 1, tzinfo=UTC)
    made = some_forcing(24 * days, start=as_datetime64(start), issued_utc=start, source="a station near by")
    return replace(made, latitude_deg=33.9, longitude_deg=-117.2, n_history=made.n_times, **changes)


@pytest.fixture
def house(filled_file: Path, tmp_path: Path) -> Iterator[House]:
    shutil.copy(filled_file, tmp_path / "a.db")
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path / "photos")


def test_nothing_is_known_at_first(house: House) -> None:
    assert climate_of(house) is None
    assert given_years(house) == []


def test_what_is_given_is_a_climate_and_no_forecast(house: House) -> None:
    newest = house.journal.latest_forecast()
    lived = past_stretches(house)
    keep_years(house, other_year(2020))
    climate = climate_of(house)
    assert climate is not None
    assert [year.start_utc.year for year in climate.years] == [2020]
    assert house.journal.latest_forecast() == newest
    after = past_stretches(house)
    assert [(one.forcing.start_utc, one.forcing.end_utc) for one in after] == [
        (one.forcing.start_utc, one.forcing.end_utc) for one in lived
    ]


def test_the_same_again_adds_nothing(house: House) -> None:
    first = keep_years(house, other_year(2020))
    keep(house.journal, past_forcing(source="another"))  # a forecast in between
    assert keep_years(house, other_year(2020)).number == first.number
    assert len(given_years(house)) == 1


def test_it_is_in_the_backup(house: House, tmp_path: Path) -> None:
    keep_years(house, other_year(2020))
    file = tmp_path / "backup.zip"
    write_backup(house.journal, house.photos, file, now=LATER)
    with open_journal(tmp_path / "restored.db") as journal:
        photos = PhotoFolder(tmp_path / "other photos")
        restore_backup(file, journal, photos)
        there = climate_of(House(journal, None, house.clock, photos))
    assert there is not None
    assert (there.years[0].t_air_c == other_year(2020).t_air_c).all()


def test_a_file_is_read_hourly_or_daily(house: House, tmp_path: Path) -> None:
    daily = ["date,t_min [F],t_max [F],rain [in]"]
    daily += [f"{date(2019, 7, 1) + timedelta(days=n)},{30 + n % 7},{60 + n % 7},0.1" for n in range(366)]
    file = tmp_path / "old.csv"
    file.write_text("\n".join(daily), encoding="utf-8")
    (given,) = add_years(house, file)
    assert given.forcing.t_air_c.min() == pytest.approx((30 - 32) / 1.8, abs=0.3)
    climate = climate_of(house)
    assert climate is not None
    assert "old.csv" in climate.source
    assert any("Linvill" in note for note in climate.notes)


def test_a_short_file_is_refused(house: House) -> None:
    with pytest.raises(WeatherError, match="holds 30 days; at least 60"):
        keep_years(house, other_year(2020, days=30))
    assert given_years(house) == []


def test_another_place_is_refused_and_left_out_after_a_move(house: House) -> None:
    with pytest.raises(WeatherError, match="km from the yard"):
        keep_years(house, replace(other_year(2020), latitude_deg=35.0))
    keep_years(house, other_year(2020))
    moved = house.journal.current_yard().text.replace("33.92", "36.92")
    house.journal.store_yard(moved, name="Small yard", now=LATER, author="test")
    assert climate_of(house) is None


def test_one_can_be_left_out_and_stays_in_the_journal(house: House) -> None:
    first = keep_years(house, other_year(2019))
    keep_years(house, replace(other_year(2021), source="another station"))
    leave_out(house, first.number, author="Ana")
    climate = climate_of(house)
    assert climate is not None
    assert [year.start_utc.year for year in climate.years] == [2021]
    assert house.journal.forecast(first.number).source == "a station near by"
    with pytest.raises(WeatherError, match="has the number 999"):
        leave_out(house, 999, author="Ana")


def test_earlier_winters_of_the_journal_count_and_the_present_one_does_not(house: House) -> None:
    assert climate_of(house) is None  # ten days of this December
    winter = other_year(2024, days=300)
    keep(house.journal, replace(winter, issued_utc=winter.end_utc))
    climate = climate_of(house)
    assert climate is not None
    assert [year.start_utc.year for year in climate.years] == [2024]
    assert "kept here" in climate.source


def test_what_is_known_twice_counts_once(house: House) -> None:
    winter = other_year(2024, days=300)
    keep(house.journal, replace(winter, issued_utc=winter.end_utc))
    keep_years(house, other_year(2024))
    keep_years(house, replace(other_year(2024), source="a second station"))
    climate = climate_of(house)
    assert climate is not None
    assert [year.source for year in climate.years] == ["a station near by"]


def test_the_packaged_years_stand_only_where_nothing_was_given(house: House) -> None:
    use_packaged_years(house.journal, "Small yard", now=LATER)
    use_packaged_years(house.journal, "Small yard", now=LATER)
    climate = climate_of(house)
    assert climate is not None
    assert len(climate.years) == 4
    assert any("only 4 other years" in note for note in climate.notes)
    assert any("not real years in a row" in note for note in climate.notes)
    keep_years(house, other_year(2020))
    given = climate_of(house)
    assert given is not None
    assert len(given.years) == 1


def test_the_packaged_winters_are_those_of_the_stations() -> None:
    from fruitwall.weather.demo_climate import demo_years

    winters = winters_of(demo_years())
    assert all(one.whole for one in winters)
    assert [one.coldest_c for one in winters] == [-6.0, -3.0, -3.0, -3.0]
    # shared figures of the TMY3 files: nights at or below 0 degC, 17 at March AFB and 4 at Riverside
    assert [one.freezing_nights for one in winters][:2] == [17, 4]
    assert winters[0].coldest_night == date(2001, 12, 22)


def test_the_packaged_years_have_made_up_rain_in_the_winter_half_year_alone() -> None:
    from fruitwall.weather.demo_climate import demo_years

    for year in demo_years()[:2]:
        summer = year.select(datetime(2001, 7, 2, tzinfo=UTC), datetime(2001, 10, 31, tzinfo=UTC))
        assert summer.rain_mm.sum() == 0.0
        assert 100.0 < year.rain_mm.sum() < 600.0
        assert "their rain is made up" in year.warnings[0]


def test_midsummer_turns_round_south_of_the_equator() -> None:
    assert season_begin(datetime(2026, 6, 30, 12, tzinfo=UTC), 30.0) == datetime(2025, 7, 1, tzinfo=UTC)
    assert season_begin(datetime(2026, 7, 1, 12, tzinfo=UTC), 30.0) == datetime(2026, 7, 1, tzinfo=UTC)
    assert season_begin(datetime(2026, 7, 1, 12, tzinfo=UTC), -30.0) == datetime(2026, 1, 1, tzinfo=UTC)


# ---------------------------------------------------------------- the archive; answers are made here in its form


class Archive:
    """Answers in the documented form of the archive: invented numbers."""

    def __init__(self, *, fails_at: int = 99, lacks_last_h: int = 0) -> None:
        self.asked: list[dict[str, list[str]]] = []
        self.fails_at = fails_at
        self.lacks_last_h = lacks_last_h

    def __call__(self, request: httpx2.Request) -> httpx2.Response:
        query = parse_qs(urlsplit(str(request.url)).query)
        self.asked.append(query)
        if len(self.asked) >= self.fails_at:
            return httpx2.Response(503)
        first, last = (np.datetime64(query[name][0], "s") for name in ("start_date", "end_date"))
        times = np.arange(first, last + np.timedelta64(24 * 3600, "s"), HOUR)
        known = times.size - self.lacks_last_h
        values = {
            "temperature_2m": 10.0,
            "dew_point_2m": 5.0,
            "relative_humidity_2m": 71,
            "wind_speed_10m": 2.5,
            "cloud_cover": 40,
            "shortwave_radiation": 0.0,
            "precipitation": 0.0,
        }
        units = ("°C", "°C", "%", "m/s", "%", "W/m²", "mm")
        document = {
            "latitude": 33.9,
            "longitude": -117.2,
            "elevation": 500.0,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "hourly_units": {"time": "iso8601", **dict(zip(values, units, strict=True))},
            "hourly": {
                "time": [str(one)[:16] for one in times],
                **{name: [value] * known + [None] * (times.size - known) for name, value in values.items()},
            },
        }
        return httpx2.Response(200, text=json.dumps(document))


def fetched(house: House, archive: Archive, years: int) -> tuple[list[Any], list[float]]:
    pauses: list[float] = []
    with httpx2.Client(transport=httpx2.MockTransport(archive)) as client:

        def ask(url: str) -> str:
            return fetch(url, now=LATER, client=client, pause=lambda _seconds: None).text

        return fetch_years(house, years, contact="ana@example.org", ask=ask, pause=pauses.append), pauses


def test_the_archive_is_asked_for_whole_years_one_at_a_time(house: House) -> None:
    archive = Archive()
    new, pauses = fetched(house, archive, 3)
    assert [(one["start_date"][0], one["end_date"][0]) for one in archive.asked] == [
        ("2023-07-01", "2024-06-30"),
        ("2024-07-01", "2025-06-30"),
        ("2025-07-01", "2026-06-30"),
    ]
    assert archive.asked[0]["wind_speed_unit"] == ["ms"]
    assert pauses == [1.0, 1.0]
    assert len(new) == 3
    climate = climate_of(house)
    assert climate is not None
    assert [year.n_times for year in climate.years] == [8784, 8760, 8760]
    assert climate.source.startswith("Open-Meteo (CC BY 4.0)")


def test_years_that_are_there_are_not_asked_for_again(house: House) -> None:
    fetched(house, Archive(), 2)
    again = Archive()
    new, _ = fetched(house, again, 3)
    assert [one["start_date"][0] for one in again.asked] == ["2023-07-01"]
    assert len(new) == 1


def test_what_came_before_a_failure_is_kept(house: House) -> None:
    archive = Archive(fails_at=3)
    with pytest.raises(WeatherError, match="archive-api"):
        fetched(house, archive, 4)
    assert len(given_years(house)) == 2


def test_hours_that_the_archive_does_not_have_yet_are_cut_off(house: House) -> None:
    new, _ = fetched(house, Archive(lacks_last_h=120), 1)
    assert new[0].forcing.n_times == 8760 - 120


@pytest.mark.parametrize("years", [0, 41])
def test_a_senseless_number_of_years_is_refused(house: House, years: int) -> None:
    with pytest.raises(ValueError, match="at least 1 and at most 40"):
        fetched(house, Archive(), years)
