"""Many winters: 30 winters x 60 trees x 2 measures, November to March, hourly and in quarter hours.

Run ``python -m bench winters_case``. The winters are made up (`bench.made_winters`); the share of nights that the safe
bound leaves out hangs on climate and trees, so it is printed for trees of four hardinesses. Every replay runs in a
process of its own, so that the memory shown is its own. At the end the real winters of a valley station
(``bench/data/socal_pair``), with cloud and sun assumed, because it measures neither.
"""

from __future__ import annotations

import csv
import gzip
import json
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from resource import RUSAGE_SELF, getrusage
from time import perf_counter, process_time

import numpy as np

from bench.machine import machine
from bench.made_winters import made_winter, season
from bench.night_case import spots
from fruitwall.physics.air import dew_point, vapour_pressure
from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.sun import sun_position
from fruitwall.physics.treatment import Treatment
from fruitwall.physics.winters import Replay, replay
from fruitwall.weather.forcing import HOUR, Forcing

WINTERS, TREES, NIGHTS = 30, 60, 151
MEASURES = (Treatment("leave"), Treatment("cloth", cover="fleece_medium"))
HARDINESS_C = (0.0, -2.0, -4.0, -7.0)
"""Levels of the parts above ground, by quarters of the trees; no night counts for the roots."""

MUST_S = 60.0
VIEJAS = Path(__file__).parent / "data" / "socal_pair" / "viejas.csv.gz"
LONGEST_HOLE_H = 6
"""Most missing hours that are bridged by a straight line; a winter with a longer hole is left out."""

ASSUMED_CLOUD, ASSUMED_LIGHT = 0.2, 700.0
"""Cloud, and sun on level ground per sine of its elevation [W/m²], where nothing is measured."""


def levels() -> np.ndarray:
    """Levels by tree and tissue."""
    level = np.repeat(HARDINESS_C, TREES // len(HARDINESS_C))[:, None] * np.ones(len(TISSUES))
    level[:, TISSUES.index("root")] = np.nan
    return level


def one(step_minutes: int, threads: int, screen: bool, winters: int = WINTERS) -> tuple[Replay, dict[str, float]]:
    """Replay once; seconds by the clock and of processor, compiling and making up weather left out."""
    weather = [made_winter(seed, start=f"{1990 + seed}-10-20T00") for seed in range(winters)]
    bodies = [Body(pot_volume_l=30.0 if i % 3 == 0 else float("nan"), fruit_diameter_m=0.07) for i in range(TREES)]
    level = levels() if screen else None

    def run(count: int, trees: int, nights: int) -> Replay:
        return replay(
            weather[:count], spots(TREES)[:trees], bodies[:trees], [MEASURES] * trees,
            season(date(2004, 11, 1), nights), level_c=None if level is None else level[:trees],
            step_minutes=step_minutes, threads=threads,
        )  # fmt: skip

    run(1, 1, 2)
    begin, used = perf_counter(), process_time()
    result = run(winters, TREES, NIGHTS)
    took = {"clock_s": perf_counter() - begin, "processor_s": process_time() - used}
    took["memory_mb"] = getrusage(RUSAGE_SELF).ru_maxrss / 1024
    took["left_out"], took["marched"] = result.left_out_share, result.marched_share
    for quarter, hardiness in enumerate(HARDINESS_C):
        size = TREES // len(HARDINESS_C)
        took[f"left_out {hardiness:g}"] = 1.0 - float(result.kept[quarter * size : (quarter + 1) * size].mean())
    return result, took


def real_winters() -> list[Forcing]:
    """Give the whole winters of the valley station, November to March."""
    with gzip.open(VIEJAS, "rt", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    stamps = np.array([row["time_utc"].rstrip("Z") for row in rows], dtype="datetime64[s]")
    values = np.array([[float(row[name]) for name in ("temp_c", "rh_pct", "wind_speed_ms")] for row in rows])
    made = []
    for year in range(2012, 2018):
        begin, end = np.datetime64(f"{year}-11-01", "s"), np.datetime64(f"{year + 1}-03-31T23", "s")
        time = np.arange(begin, end + HOUR, HOUR)
        there = (stamps >= begin) & (stamps <= end)
        if (np.diff(stamps[there]) / HOUR).max() > LONGEST_HOLE_H:
            continue
        at, known = time.astype(np.float64), stamps[there].astype(np.float64)
        air, wetness, wind = (np.interp(at, known, row)[None] for row in values[there].T)
        height = np.sin(np.radians(sun_position(time - HOUR / 2, 32.846, -116.704).elevation_deg))
        dew = np.minimum(dew_point(vapour_pressure(air, wetness)), air)
        sun = ASSUMED_LIGHT * np.maximum(height, 0.0)[None]
        made.append(
            Forcing(
                time, air, dew, wind, np.full_like(air, ASSUMED_CLOUD), sun, np.zeros_like(air), 32.846, -116.704,
                715.0, f"Viejas {year}", datetime(2019, 1, 1, tzinfo=UTC),
            )
        )  # fmt: skip
    return made


def real() -> None:
    """Replay the real winters and print what was left out."""
    weather = real_winters()
    bodies = [Body(fruit_diameter_m=0.07)] * TREES
    nights = season(date(2015, 11, 12), 138)
    result = replay(weather, spots(TREES), bodies, [MEASURES] * TREES, nights, level_c=levels())
    full = replay(weather, spots(TREES), bodies, [MEASURES] * TREES, nights)
    size = TREES // len(HARDINESS_C)
    shares = [1.0 - result.kept[i * size : (i + 1) * size].mean() for i in range(len(HARDINESS_C))]
    said = ", ".join(f"{share:.0%} at {level:g} °C" for share, level in zip(shares, HARDINESS_C, strict=True))
    same = np.array_equal(
        full.coldest_c[np.repeat(result.kept[:, None], len(MEASURES), axis=1)],
        result.coldest_c[np.repeat(result.kept[:, None], len(MEASURES), axis=1)],
        equal_nan=True,
    )
    level = levels()[:, None, None]
    harmed = ((full.minimum_c[:, 0] < level).any(axis=-1) & ~result.kept).sum()
    print(
        f"  {len(weather)} real winters of Viejas: nights left out {said};\n"
        f"  kept nights the same to the last bit: {same}; "
        f"nights left out on which an open tree fell below its level: {harmed}"
    )
    with_cover = (full.minimum_c[:, 1] < level).any(axis=-1) & ~result.kept
    print(f"  nights left out on which a covered tree did, of which the bound says nothing: {with_cover.sum()}")


def apart(step_minutes: int, threads: int, screen: bool) -> dict[str, float]:
    """Replay once in a process of its own."""
    call = f"one({step_minutes}, {threads}, {screen})[1]"
    code = f"import json; from bench.winters_case import one; print(json.dumps({call}))"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return dict(json.loads(done.stdout))


def main() -> None:
    """Print what it takes."""
    print(f"  {machine()}")
    print(
        f"  {WINTERS} made-up winters x {TREES} trees x {len(MEASURES)} measures x {NIGHTS} nights; "
        f"must: {MUST_S:g} s hourly"
    )
    for step_minutes, threads, screen in ((60, 1, False), (60, 2, False), (60, 2, True), (15, 2, False), (15, 2, True)):
        took = apart(step_minutes, threads, screen)
        what = "safe bound" if screen else "everything"
        print(
            f"  {step_minutes} min, {threads} thread{'s' if threads > 1 else ' '}, {what}: {took['clock_s']:.1f} s, "
            f"{took['processor_s']:.1f} s of processor, {took['memory_mb']:.0f} MB; "
            f"tree-nights left out {took['left_out']:.0%}, tree-hours not marched {1 - took['marched']:.0%}"
        )
    shares = ", ".join(f"{took[f'left_out {level:g}']:.0%} at {level:g} °C" for level in HARDINESS_C)
    print(f"  nights left out by level: {shares}")
    hourly, quarters = one(60, 2, False, 4)[0], one(15, 2, False, 4)[0]
    off = np.abs(hourly.minimum_c - quarters.minimum_c)
    rms = ", ".join(f"{name} {np.sqrt(np.nanmean(off[..., i] ** 2)):.3f}" for i, name in enumerate(TISSUES))
    print(f"  night minima of hours against quarter hours, four winters, K rms: {rms}; most {np.nanmax(off):.2f}")
    if VIEJAS.exists():
        real()
