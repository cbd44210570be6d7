"""A small yard with invented winters behind it: for tests of what is asked of many winters."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.climate import keep_years
from fruitwall.service.house import House
from fruitwall.weather.forcing import Forcing, as_datetime64
from tests.service.past import LATER, house_with_past
from tests.weather.builders import some_forcing

FIRST_AUTUMN = 2010
COLDEST_C = (-1.0, -3.0, 0.5, -6.0, -2.0, 1.0, -4.0, -0.5, -2.5, 0.0, -5.0, -1.5)
"""Of the winters from `FIRST_AUTUMN` on, in the night of the 9th of January. [°C]"""


def winter_year(autumn: int, coldest_c: float) -> Forcing:
    """Give a year from July to June with mild days and nights, and one cold night in January."""
    start = as_datetime64(datetime(autumn, 7, 1, tzinfo=UTC))
    made = some_forcing(24 * 365, start=start, issued_utc=datetime(autumn, 7, 1, tzinfo=UTC), source="invented winters")
    hours = np.arange(made.n_times)
    of_day = (hours - 8) % 24  # midnight of the yard is 8 o'clock in UTC
    air = 14.0 - 6.0 * np.cos(2.0 * np.pi * (of_day - 15) / 24.0 + np.pi)
    cold = (hours - int((np.datetime64(f"{autumn + 1}-01-10T13:00") - start) / np.timedelta64(1, "h"))) / 5.0
    air = air - np.exp(-0.5 * cold**2) * (air.min() - coldest_c)
    at = int(np.argmin(air))
    air[at] = coldest_c
    return replace(
        made,
        latitude_deg=33.92,
        longitude_deg=-117.22,
        n_history=made.n_times,
        t_air_c=air[None],
        t_dew_c=air[None] - 4.0,
    )


@pytest.fixture(scope="module")
def winters_file(filled_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the small yard and all the winters, to be copied."""
    folder = tmp_path_factory.mktemp("winters")
    shutil.copy(filled_file, folder / "winters.db")
    with open_journal(folder / "winters.db") as journal:
        house = house_with_past(journal, folder / "photos")
        for at, coldest_c in enumerate(COLDEST_C):
            keep_years(house, winter_year(FIRST_AUTUMN + at, coldest_c))
    return folder / "winters.db"


@pytest.fixture
def winters_house(winters_file: Path, tmp_path: Path) -> Iterator[House]:
    """The small yard with all the winters."""
    shutil.copy(winters_file, tmp_path / "winters.db")
    with open_journal(tmp_path / "winters.db") as journal:
        yield House(journal, None, lambda: LATER, PhotoFolder(tmp_path / "photos"))
