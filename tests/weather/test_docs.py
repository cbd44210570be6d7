"""docs/weather-files.md says what the code does."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime

import pytest

from fruitwall.weather import dressing, fetch, history, usable
from fruitwall.weather.history import DAILY_COLUMNS, parse_history
from fruitwall.weather.sources import SERVICES
from fruitwall.weather.sources.csv_file import HOURLY_COLUMNS, KEYS, parse_hourly
from fruitwall.weather.table import SETTINGS
from fruitwall.weather.units import UNITS
from tests.weather.builders import YARD


@pytest.fixture(scope="module")
def page(project):
    return (project / "docs" / "weather-files.md").read_text(encoding="utf-8")


def row_of(page: str, name: str) -> str:
    """The table row that begins with a name in backticks."""
    return next(line for line in page.splitlines() if line.startswith(f"| `{name}` |"))


def test_every_column_stands_there_with_its_names_and_units(page):
    for column in (*HOURLY_COLUMNS, *DAILY_COLUMNS):
        first, *others = column.spellings
        row = row_of(page, first)
        for spelling in others:
            assert f"`{spelling}`" in row or "as above" in row
        for unit in UNITS[column.kind]:
            assert unit in row or "as above" in row
    for name, (_, *others) in {**KEYS, **history.KEYS}.items():
        for spelling in others:
            assert f"`{spelling}`" in row_of(page, name)


def test_every_setting_and_service_stands_there(page):
    for setting in SETTINGS:
        assert f"`# {setting}: " in page
    for service in SERVICES:
        assert row_of(page, service)


def test_the_examples_can_be_read(page):
    hourly, daily = re.findall(r"```csv\n(.*?)```", page, flags=re.DOTALL)

    forecast = parse_hourly(hourly, where="example", place=YARD, now=datetime(2026, 12, 22, 23, tzinfo=UTC))
    past = parse_history(daily, where="example", place=None)

    assert forecast.issued_utc == datetime(2026, 12, 22, 22, tzinfo=UTC)
    assert past.n_times > 24


def test_the_error_models_numbers_stand_there(page, project):
    stored = json.loads((project / "src/fruitwall/weather/data/dressing_prior.json").read_text(encoding="utf-8"))
    nights = stored["night_minimum"]
    for number, lead in enumerate(nights["lead_h"]):
        cells = [nights[key][number] for key in ("n", "nights", "bias_k", "bias_se_k", "sd_k", "mae_k")]
        row = " | ".join([str(lead), *(str(cell).replace("-", "−") for cell in cells)])
        assert f"| {row} |" in page
    model = dressing.prior()
    for value in (
        f"{model.air_sd_at_zero_k} K + {model.air_sd_per_hour_k} K/h",
        f"correlate by {model.next_night}",
        f"spread {model.cloud_sd_at_issue} at issue to {model.cloud_sd_at_180_h} after",
        f"errs by {model.wind_sd_sqrt} (m/s)",
        f"makes {model.by_cloud} and {model.by_wind:.2f} of a",
        f"{nights['between_cities_sd_k']} K between",
        f"({model.air_sd_k(168):.1f} K at seven days)",
        f"cool {-stored['night_warming']['mean']['cooling_per_cloud_k']} K less",
        f"exp(−lead / {model.ramp_h:g} h)",
    ):
        assert value in page


def test_limits_stand_there(page):
    words = " ".join(page.split())
    assert f"more than {usable.FAR_KM:.0f} km | more than {usable.FARTHEST_KM:.0f} km" in words
    assert f"more than {usable.HEIGHT_DOUBT_M:.0f} m" in words
    assert (
        f"{usable.OLD.total_seconds() / 3600:.0f} h | more than {usable.OLDEST.total_seconds() / 3600:.0f} h" in words
    )
    assert f"for up to {fetch.STALE_AT_MOST.total_seconds() / 3600:.0f} h" in words
    assert f"({fetch.FRESH_WITHOUT_WORD.total_seconds() / 60:.0f} minutes where the service does not say)" in words
    assert f"one of more than {fetch.LONGEST_PAUSE_S:.0f} s ends the attempt" in words
    assert f"{history.CLOUD_WITHOUT_RANGE} − {-history.CLOUD_PER_K:.3f} per kelvin" in words
