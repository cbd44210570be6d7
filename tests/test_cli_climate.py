"""``fruitwall climate``: what is known of other years, and keeping more of it."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fruitwall.cli import app
from fruitwall.journal.opening import open_journal
from fruitwall.service.demo import demo_desk

NOW = "2026-12-23T14:30"


@pytest.fixture
def database(tmp_path: Path) -> str:
    place = str(tmp_path / "demo.db")
    with open_journal(place) as journal:
        demo_desk(journal)
    return place


def run(*words: str, database: str) -> str:
    done = CliRunner().invoke(app, ["climate", *words, "--database", database, "--now", NOW], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_the_demo_shows_its_few_winters_and_says_that_they_are_few(database: str) -> None:
    told = " ".join(run(database=database).split())
    assert "4 whole winters are known; the coldest night of all had 21" in told
    assert "Only 4 other years are known" in told
    assert "not real years in a row" in told


def test_a_file_is_kept_shown_and_left_out(database: str, tmp_path: Path) -> None:
    file = tmp_path / "station.csv"
    days = (date(2015, 7, 1) + timedelta(days=n) for n in range(3 * 365))
    rows = [f"{day},{2 + day.day % 5 - (8 if day.month == 1 else 0)},{15 + day.day % 5}" for day in days]
    file.write_text("\n".join(["date,t_min [C],t_max [C]", *rows]), encoding="utf-8")
    kept = run("add", str(file), database=database)
    number = kept.split("as number ")[1].split(".")[0]
    assert "Kept file station.csv, daily: 2015-07-01 to 2018-06-3" in kept
    told = run(database=database)
    assert "3 whole winters are known" in told
    assert "2015/16" in told
    assert "typical year" not in told
    run("leave-out", number, database=database)
    assert "typical year" in run(database=database)


def test_a_file_that_is_not_there_is_one_clear_message(database: str) -> None:
    from fruitwall.errors import WeatherError

    with pytest.raises(WeatherError, match="no such file"):
        run("add", "nowhere.csv", database=database)


def test_station_files_are_known_by_their_content_and_blended(database: str, tmp_path: Path) -> None:
    """Two made GHCN-Daily files of three winters; the farther one is 3 K milder."""
    for name, off in (("near", 0), ("far", 30)):
        lines = []
        for number in range(36):
            year, month = 2015 + (6 + number) // 12, (6 + number) % 12 + 1
            for element, base in (("TMIN", 20), ("TMAX", 180)):
                values = [base + off + 7 * ((day * (number + 3)) % 11) for day in range(1, 32)]
                cells = "".join(f"{value:5d}  W" for value in values)
                lines.append(f"USC0000{name.upper():.>4}{year}{month:02d}{element}{cells}".replace(".", "0"))
        (tmp_path / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    run("add", str(tmp_path / "near"), "--place", "33.91,-117.26,450", database=database)
    kept = run("add", str(tmp_path / "far"), "--place", "34.0,-117.4,300", database=database)
    assert "Kept GHCN-Daily (NOAA), station USC00000FAR, daily: 2015-07-01 to 2018-07-01" in kept
    assert "are drawn from measured days like these" in kept
    told = run("blend", database=database)
    assert "GHCN-Daily (NOAA), station USC0000NEAR, daily stands for the yard" in told
    assert "USC00000FAR, daily 100 %; as it is 5.4" in told  # 3 K in °F
    assert "Kept 2 stations blended to the yard" in told
    assert "2 stations blended to the yard" in run(database=database)


def test_a_place_that_cannot_be_read_is_one_clear_message(database: str, tmp_path: Path) -> None:
    from fruitwall.errors import WeatherError

    with pytest.raises(WeatherError, match=r"--place: expected degrees and metres such as"):
        run("add", str(tmp_path / "any"), "--place", "here", database=database)
