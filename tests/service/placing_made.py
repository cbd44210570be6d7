"""A small yard with a wall, a pot and invented winters, and a made-up raster in place of physics."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely import Polygon, points

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.plans.placing.raster import TAKEN, Raster, Wanted
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.normal import ndtr
from fruitwall.service.climate import keep_years
from fruitwall.service.house import House
from fruitwall.service.placing_asked import harmful_c
from fruitwall.service.placing_weather import night_minima
from fruitwall.service.winters_weather import winter_weather
from fruitwall.service.work import Progress
from tests.service.many_winters import COLDEST_C, FIRST_AUTUMN, winter_year
from tests.service.past import LATER

YARD = """\
fruitwall: 1
name: Small yard
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
display: {currency: USD}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
structures:
  - {kind: wall, id: south-wall, name: South wall, line: [[4, 17], [16, 17]], height: 2 m}
  - {kind: building, id: hut, name: Hut, outline: [[0, 0], [4, 0], [4, 3], [0, 3]], height: 2.5 m}
trees:
  - {id: mango, name: Mango, taxon: mango, position: [5, 8], height: 2 m, crown_diameter: 1.5 m, worth: 300}
  - {id: pot, name: Mango in a pot, taxon: mango, position: [6, 2], height: 1.2 m, crown_diameter: 0.8 m, age: 3,
     worth: 80, container: {volume: 20 L, mass: 8 kg, handles: yes}}
  - {id: lime, name: Lime, taxon: lime, position: [9, 12], height: 1.5 m, crown_diameter: 1 m}
indoor_places:
  - {id: hall, name: Hall, position: [4, 2], spaces: 2}
people:
  - {id: ana, name: Ana, minutes_before_dusk: 60 min}
"""


def fake_ground(
    house: House,
    wanted: Sequence[Wanted],
    choice: Any = None,
    *,
    without: Sequence[str] = (),
    cell_m: float | None = None,
    heard: Any = lambda _: None,
    stop: Any = lambda: False,
) -> Raster | None:
    """Give chances that fall with distance from the wall, by what each kind stands; nothing of it is physics."""
    weather = winter_weather(house)
    if weather is None:
        return None
    heard(Progress(0.5, 1.0, "made up"))
    step = cell_m or 1.0
    count = round(20 / step)
    x, y = np.tile((np.arange(count) + 0.5) * step, count), np.repeat((np.arange(count) + 0.5) * step, count)
    near = np.clip(1.0 - np.abs(17.0 - y) / 6.0, 0.0, 1.0)
    station = np.nanmin(night_minima(weather).minima_c, axis=1)
    coldest = (station + (1.5 * near - 0.5)[:, None]).astype(np.float32)
    death, bare = [], []
    for one in wanted:
        taxon = catalogue().find(one.taxon)
        limit = harmful_c(taxon, catalogue(), age_years=one.age_years, height_m=one.height_m)
        bare.append(ndtr((limit - 1.0 - coldest) / 1.2))
        death.append(ndtr((limit - 3.5 - coldest) / 1.2))
    taken = np.zeros(x.size, dtype=np.int8)
    hut = Polygon([(0, 0), (4, 0), (4, 3), (0, 3)])
    taken[np.array([hut.contains(spot) for spot in points(x, y)])] = TAKEN.index("building")
    kinds = len(wanted)
    blank = np.full((kinds, *coldest.shape), np.nan, dtype=np.float32)
    ruled = taken != 0
    coldest[ruled] = np.nan
    chances = [np.stack(each).astype(np.float32) for each in (death, bare)]
    for each in chances:
        each[:, ruled] = np.nan
    return Raster(
        columns=count,
        rows=count,
        cell_m=step,
        x_m=x,
        y_m=y,
        taken=taken,
        taken_by=("",) * x.size,
        gap_m=np.full(x.size, 5.0),
        wanted=tuple(wanted),
        names=tuple(one.taxon for one in wanted),
        winters=weather.names,
        weights=weather.weights,
        death=chances[0],
        bare=chances[1],
        fruit=blank,
        loss=chances[0],
        coldest_c=coldest,
        ten_years_c=np.where(ruled, np.nan, np.quantile(coldest, 0.1, axis=1)),
        winter_sun_h=np.full(x.size, 5.0),
        summer_sun_h=np.full(x.size, 9.0),
        power_m=np.full(x.size, np.nan),
        power_by=("",) * x.size,
        tap_m=np.full(x.size, np.nan),
        scorch=np.full((kinds, x.size), np.nan),
        canopy=np.zeros(x.size),
        wall=0.3 * near,
        colder_k=np.zeros(x.size),
        wind=np.full(x.size, 0.7),
        source="invented winters",
    )


@pytest.fixture(scope="module")
def placing_file(filled_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the yard and its winters, to be copied."""
    folder = tmp_path_factory.mktemp("placing")
    shutil.copy(filled_file, folder / "placing.db")
    with open_journal(folder / "placing.db") as journal:
        journal.store_yard(YARD, name="Small yard", now=LATER, author="test")
        house = House(journal, None, lambda: LATER, PhotoFolder(folder / "photos"))
        for at, coldest_c in enumerate(COLDEST_C):
            keep_years(house, winter_year(FIRST_AUTUMN + at, coldest_c))
    return folder / "placing.db"


@pytest.fixture
def placing_house(placing_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[House]:
    """The yard with all the winters, and the made-up raster in place of physics."""
    monkeypatch.setattr("fruitwall.service.placing_ground.placing_ground", fake_ground)
    shutil.copy(placing_file, tmp_path / "placing.db")
    with open_journal(tmp_path / "placing.db") as journal:
        yield House(journal, None, lambda: LATER, PhotoFolder(tmp_path / "photos"))
