"""Archives given to a yard: files that go together, where they hold, what days are drawn from, stations blended."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.journal.opening import open_journal
from fruitwall.service.climate import add_years, climate_of, given_years, keep_years, leave_out, near_days
from fruitwall.service.climate_blend import blend_years
from fruitwall.service.house import House
from fruitwall.weather.forcing import Forcing, as_datetime64
from fruitwall.weather.place import Place
from tests.service.past import house_with_past
from tests.weather.builders import some_forcing

NEAR = Place(33.95, -117.3, 400.0)


@pytest.fixture
def house(filled_file: Path, tmp_path: Path) -> Iterator[House]:
    shutil.copy(filled_file, tmp_path / "a.db")
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path / "photos")


def daily_file(folder: Path, name: str, first: str, last: str) -> Path:
    days = np.arange(np.datetime64(first), np.datetime64(last))
    rows = [f"{day},{3 + n % 5},{16 + n % 7}" for n, day in enumerate(days)]
    path = folder / name
    path.write_text("\n".join(["date,t_min [C],t_max [C]", *rows]), encoding="utf-8")
    return path


def hourly(days: int, *, off_k: float = 0.0, at: Place = NEAR, source: str = "a station", seed: int = 1) -> Forcing:
    """Hours from 1 October 2015 on, with weather of their own and wind of 4 m/s."""
    start = datetime(2015, 10, 1, tzinfo=UTC)
    made = some_forcing(24 * days, start=as_datetime64(start), issued_utc=start, source=source)
    rng = np.random.default_rng(7)
    shared = np.repeat(rng.normal(0.0, 3.0, days), 24)
    own = np.repeat(np.random.default_rng(seed).normal(0.0, 0.4, days), 24)
    air = made.t_air_c + off_k + shared + own
    return replace(
        made,
        t_air_c=air,
        t_dew_c=air - 3.0,
        wind_m_s=np.full_like(air, 4.0),
        latitude_deg=at.latitude_deg,
        longitude_deg=at.longitude_deg,
        elevation_m=at.elevation_m,
        n_history=made.n_times,
    )


def test_files_of_several_years_are_one_record(house: House, tmp_path: Path) -> None:
    files = [
        daily_file(tmp_path, "b.csv", "2011-01-01", "2012-01-01"),
        daily_file(tmp_path, "a.csv", "2010-01-01", "2011-01-01"),
    ]
    (given,) = add_years(house, files, place=NEAR)
    assert given.forcing.start_utc.year == 2010
    assert given.forcing.n_times > 17_000
    assert (given.forcing.latitude_deg, given.forcing.elevation_m) == (NEAR.latitude_deg, NEAR.elevation_m)
    assert not any("does not say where" in note for note in given.forcing.warnings)
    (at_the_yard,) = add_years(house, files)
    assert any("it is taken to hold at the yard" in note for note in at_the_yard.forcing.warnings)


def test_nothing_is_kept_of_a_far_place(house: House, tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match="is for another place"):
        add_years(house, daily_file(tmp_path, "a.csv", "2010-01-01", "2011-01-01"), place=Place(40.0, -100.0, 500.0))
    assert given_years(house) == []


def test_days_are_drawn_from_a_near_hourly_record_where_there_is_one(house: House, tmp_path: Path) -> None:
    file = daily_file(tmp_path, "a.csv", "2010-10-01", "2011-04-01")
    assert near_days(house) is None
    (before,) = add_years(house, file)
    assert any("seven stations in the southern United States" in note for note in before.forcing.warnings)
    assert near_days(house) is None  # what was drawn is nothing to draw from
    keep_years(house, hourly(180))
    days = near_days(house)
    assert days is not None
    assert days.count == pytest.approx(178, abs=2)
    (after,) = add_years(house, file)
    assert any("like these near by" in note for note in after.forcing.warnings)
    assert after.forcing.wind_m_s == pytest.approx(4.0, abs=0.001)


def test_too_little_overlap_is_told(house: House) -> None:
    with pytest.raises(WeatherError, match="Blending needs two series"):
        blend_years(house, author="a")
    keep_years(house, hourly(120))
    with pytest.raises(WeatherError, match="overlap by 20 days or more"):
        blend_years(house, author="a")


def test_a_farther_station_lengthens_the_record_of_the_nearest_one(house: House) -> None:
    near = keep_years(house, hourly(100, source="near"))
    far = keep_years(house, hourly(300, off_k=2.5, at=Place(34.1, -117.4, 500.0), source="far", seed=2))
    found = blend_years(house, author="a")
    assert found.place == "near"
    (line,) = found.lines
    assert line.stations == ("far",)
    assert line.plain_rmse_k == pytest.approx(2.5, abs=0.3)
    assert line.lowest_rmse_k < 0.8
    (kept,) = found.kept
    assert kept.forcing.n_times == 300 * 24
    assert kept.forcing.t_air_c[0, : 100 * 24] == pytest.approx(near.forcing.t_air_c[0], abs=0.001)
    later = kept.forcing.t_air_c[0, 100 * 24 :] - far.forcing.t_air_c[0, 100 * 24 :]
    assert later.mean() == pytest.approx(-2.5, abs=0.6)
    assert (kept.forcing.t_dew_c <= kept.forcing.t_air_c).all()

    climate = climate_of(house)
    assert climate is not None
    assert [str(year.source) for year in climate.years] == ["2 stations blended to the yard"] * len(climate.years)
    assert blend_years(house, author="a").kept[0].number == kept.number  # no blend of a blend
    leave_out(house, kept.number, author="a")
    again = climate_of(house)
    assert again is not None
    assert str(again.years[0].source) in ("near", "far")
