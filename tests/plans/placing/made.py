"""A small made-up raster: milder in the north-east at a wall, a hollow in the south-west, two kinds."""

from __future__ import annotations

import numpy as np

from fruitwall.plans.placing.raster import TAKEN, Raster, Wanted
from fruitwall.plants.normal import ndtr

COLUMNS, ROWS, WINTERS = 10, 8, 12


def made_raster(
    *, kills_c: tuple[float, ...] = (-4.0, -8.0), taken: dict[int, str] | None = None, seed: int = 1
) -> Raster:
    """Make it: a kind dies at `kills_c` (half of its trees), and loses its leaf 2 K above."""
    rng = np.random.default_rng(seed)
    x = np.tile(np.arange(COLUMNS) + 0.5, ROWS)
    y = np.repeat(np.arange(ROWS) + 0.5, COLUMNS)
    warm = 0.25 * (x - 5) + 0.1 * (y - 4)
    colder = np.where((x < 3) & (y < 3), 1.5, 0.0)
    station = rng.normal(-3.0, 1.2, WINTERS)
    coldest = (station + (warm - colder)[:, None]).astype(np.float32)
    weights = np.full(WINTERS, 1.0 / WINTERS)
    death = np.stack([ndtr((limit - coldest) / 1.0) for limit in kills_c]).astype(np.float32)
    bare = np.stack([ndtr((limit + 2 - coldest) / 1.0) for limit in kills_c]).astype(np.float32)
    codes = np.zeros(x.size, dtype=np.int8)
    for cell, why in (taken or {}).items():
        codes[cell] = TAKEN.index(why)  # type: ignore[arg-type]
    wall = np.where(x > 8, 0.3, 0.0)
    kinds = len(kills_c)
    return Raster(
        columns=COLUMNS,
        rows=ROWS,
        cell_m=1.0,
        x_m=x,
        y_m=y,
        taken=codes,
        taken_by=("",) * x.size,
        gap_m=np.full(x.size, np.inf),
        wanted=tuple(Wanted(f"Kind {number}") for number in range(kinds)),
        names=tuple(f"kind {number}" for number in range(kinds)),
        winters=tuple(f"{1990 + number}" for number in range(WINTERS)),
        weights=weights,
        death=death,
        bare=bare,
        fruit=np.full_like(death, np.nan),
        loss=(0.5 * death + 0.5 * bare).astype(np.float32),
        coldest_c=coldest,
        ten_years_c=np.quantile(coldest.astype(float), 0.1, axis=1),
        winter_sun_h=np.full(x.size, 5.0),
        summer_sun_h=np.where(y > 6, 4.0, 9.0),
        power_m=np.hypot(x - 10, y - 8),
        power_by=("terrace",) * x.size,
        tap_m=np.full(x.size, 30.0),
        scorch=np.full((kinds, x.size), 0.05),
        canopy=np.zeros(x.size),
        wall=wall,
        colder_k=colder,
        wind=np.full(x.size, 0.7),
    )


def made_station_c(seed: int = 1) -> np.ndarray:
    """Give the coldest hour at the station of each winter, as in the raster. [°C]"""
    return np.random.default_rng(seed).normal(-3.0, 1.2, WINTERS)
