"""The nightly case: 60 trees, 50 members, 168 h in steps of 15 min, six measures, five nights.

Run ``python -m bench night_case``. The yard and its weather are made up; only the amount of work counts. Compiling is
timed in processes of their own: once with an empty cache, once with what that left behind.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

from fruitwall.physics.body import Body
from fruitwall.physics.night import _collect, _March
from fruitwall.physics.spot import Spot
from fruitwall.physics.treatment import Night, Treatment
from fruitwall.weather.forcing import Forcing

TREES, MEMBERS, HOURS = 60, 50, 168
MEASURES = (
    Treatment("leave"),
    Treatment("water", wet_ground=True),
    Treatment("cloth", cover="fleece_medium"),
    Treatment("cloth and lamps", cover="fleece_medium", lamp_w=150.0),
    Treatment("film on a frame", cover="film_polyethylene", on_frame=True),
    Treatment("film and heater", cover="film_polyethylene", on_frame=True, heater_w=800.0, thermostat_c=2.0),
)
REPEATS = 5
BEGIN = datetime(2026, 12, 20, tzinfo=UTC)


def weather(members: int, hours: int, *, wind: float = 0.8, dew: float = -5.0, cloud: float = 0.1) -> Forcing:
    """Fair days and frosty nights with a minimum of -3 °C, members up to two kelvin off."""
    time = np.datetime64(BEGIN.replace(tzinfo=None), "s") + np.arange(hours + 1) * np.timedelta64(3600, "s")
    wave = np.cos(2 * np.pi * (np.arange(hours + 1) - 22.5) / 24)
    air = 4.0 + 7.0 * wave + (np.linspace(-2.0, 2.0, members) if members > 1 else np.zeros(1))[:, None]
    ones = np.ones_like(air)
    sun = np.broadcast_to(
        550.0 * np.maximum(np.cos(2 * np.pi * (np.arange(hours + 1) - 20) / 24) - 0.2, 0.0), air.shape
    )
    return Forcing(
        time, air, np.minimum(air - 0.5, dew), wind * ones, cloud * ones, sun, 0.0 * ones, 34.0, -117.0, 300.0,
        "made up", BEGIN,
    )  # fmt: skip


def spots(count: int) -> list[Spot]:
    """Places with more and less sky over bare ground, turf and paving."""
    made = []
    for i in range(count):
        sky = 0.4 + 0.5 * i / count
        place = {"id": f"t{i}", "x_m": 0.0, "y_m": 0.0, "height_m": 1.2, "ground": "turf" if i % 2 else "bare"}
        view = {"sky": sky, "roof": 0.0, "wall": 0.0, "canopy": 1.0 - sky, "wall_ids": (), "wall_shares": ()}
        below = {"wall_below": 0.0, "wall_below_shares": (), "paving_share": 0.1 * (i % 4), "pond_share": 0.0}
        sun = {"sun_share": np.ones((72, 18)), "diffuse_share": sky, "roof_transmits_sun": 0.0}
        air = {"wind_share": 0.6, "colder_k": 0.2 * (i % 5), "stillness": 0.2, "paving_material": "concrete"}
        made.append(Spot(**place, **view, **below, **sun, **air))  # type: ignore[arg-type]
    return made


def nights(count: int) -> list[Night]:
    """So many nights from the second day on."""
    made = []
    for i in range(count):
        noon = BEGIN + timedelta(days=1 + i, hours=20)
        on, off = noon + timedelta(hours=4.5), noon + timedelta(hours=19.5)
        made.append(Night(date(2026, 12, 21 + i), noon, noon + timedelta(hours=24), on, off, on, off))
    return made


def march(trees: int = TREES, members: int = MEMBERS, hours: int = HOURS) -> _March:
    """Prepare the case."""
    bodies = [Body(pot_volume_l=30.0 if i % 3 == 0 else float("nan"), fruit_diameter_m=0.07) for i in range(trees)]
    each = [MEASURES] * trees
    return _March(
        weather(members, hours), spots(trees), bodies, each, nights(hours // 24 - 2), (), "loam", "moist", 15, 0.0
    )


def first_call() -> float:
    """Seconds of the first small march of this process."""
    small = march(1, 1, 72)
    begin = perf_counter()
    small.run(keep_series=False, threads=1)
    return perf_counter() - begin


def compile_times() -> tuple[float, float]:
    """Seconds of a first march with an empty cache and with a full one."""
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {"NUMBA_CACHE_DIR": folder}
        call = [sys.executable, "-c", "from bench.night_case import first_call; print(first_call())"]
        cold, warm = (
            float(subprocess.run(call, env=environment, check=True, capture_output=True, text=True).stdout)
            for _ in range(2)
        )
    return cold, warm


def processor() -> str:
    """Name of the processor."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), platform.machine())


def main() -> None:
    """Print what it takes."""
    print(f"  {processor()}, {os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()[0]:.1f}")
    cold, warm = compile_times()
    print(f"  first march of a process: {cold:.1f} s compiling, {warm:.2f} s from the cache")
    first_call()
    steps = TREES * MEMBERS * len(MEASURES) * HOURS * 4
    for threads in (1, 2):
        walls, busy = [], []
        for _ in range(REPEATS):
            times = [perf_counter()]
            prepared = march()
            times.append(perf_counter())
            used = process_time()
            raw = prepared.run(keep_series=False, threads=threads)
            used = process_time() - used
            times.append(perf_counter())
            _collect(prepared, raw, [Body()] * TREES, [MEASURES] * TREES, nights(HOURS // 24 - 2))
            times.append(perf_counter())
            walls.append(np.diff(times))
            busy.append(used)
        prepare, kernel, collect = np.median(walls, axis=0)
        print(
            f"  {threads} thread{'s' if threads > 1 else ' '}: {prepare + kernel + collect:.2f} s "
            f"(prepare {prepare:.2f}, march {kernel:.2f}, collect {collect:.2f}); "
            f"{kernel / steps * 1e9:.0f} ns a step by the clock, {np.median(busy) / steps * 1e9:.0f} ns of processor"
        )
