"""What is told of other years."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service.climate import keep_years
from fruitwall.service.climate_report import climate_report
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.weather.climate_winters import winters_of
from tests.service.past import house_with_past
from tests.service.test_climate import other_year


@pytest.fixture
def house(filled_file: Path, tmp_path: Path) -> Iterator[House]:
    shutil.copy(filled_file, tmp_path / "a.db")
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path / "photos")


@pytest.fixture
def household(house: House) -> Household:
    return Household(house.yard()[0].display, ZoneInfo("America/Los_Angeles"))


def test_nothing_known_says_how_to_know(house: House, household: Household) -> None:
    report = climate_report(house, household)
    assert report.table is None
    assert "fruitwall climate fetch" in report.verdict


def test_a_winter_tells_its_coldest_night_and_its_frosts() -> None:
    year = other_year(2020)
    air = np.full(year.n_times, 10.0)
    hour = int((np.datetime64("2021-01-09T13:00") - year.time_utc[0]) / np.timedelta64(1, "h"))  # 5 in the morning
    air[hour] = -4.0
    air[hour - 40 * 24] = 0.0
    (winter,) = winters_of([replace(year, t_air_c=air[None], t_dew_c=air[None] - 5)])
    assert (winter.autumn, winter.coldest_c, winter.coldest_night) == (2020, -4.0, date(2021, 1, 8))
    assert (winter.freezing_nights, winter.first_freeze, winter.last_freeze) == (
        2,
        date(2020, 11, 29),
        date(2021, 1, 8),
    )
    assert winter.whole
    (mild,) = winters_of([replace(year, t_air_c=air[None] + 5, t_dew_c=air[None] - 5)])
    assert (mild.freezing_nights, mild.first_freeze, mild.last_freeze) == (0, None, None)


def test_a_winter_of_the_south_is_in_its_own_year() -> None:
    year = replace(other_year(2020), latitude_deg=-33.9)
    year = year.select(datetime(2021, 1, 1, tzinfo=UTC), datetime(2021, 6, 30, tzinfo=UTC))
    (winter,) = winters_of([year])
    assert (winter.autumn, winter.name) == (2021, "2021")
    assert not winter.whole  # May and June of May to September
    assert winter.share == pytest.approx(60 / 153, abs=0.01)


def test_ten_winters_tell_how_cold_once_in_so_many(house: House, household: Household) -> None:
    rng = np.random.default_rng(3)
    for autumn in range(2010, 2020):
        year = other_year(autumn)
        shift = rng.normal(0.0, 2.0)
        keep_years(house, replace(year, t_air_c=year.t_air_c + shift, t_dew_c=year.t_dew_c + min(shift, 0.0)))
    report = climate_report(house, household)
    assert report.verdict.startswith("10 whole winters are known")
    assert report.table is not None
    assert len(report.table.rows) == 10
    assert len(report.given) == 10
    assert len(report.levels) == 5
    assert report.levels[1].startswith("Once in 10 winters:")
    assert "65" in report.levels[3]
    assert "hardiness zone 9" in report.levels[4]


def test_few_winters_tell_no_levels(house: House, household: Household) -> None:
    keep_years(house, other_year(2020))
    report = climate_report(house, household)
    assert report.levels == ("How cold once in so many winters can be told from 10 whole winters on.",)
    assert report.verdict.startswith("1 whole winter is known")
