"""The nightly case: 60 trees, 50 members, 168 h in steps of 15 min, six measures, five nights.

Run ``python -m bench night_case``. The yard and its weather are made up; only the amount of work counts. In one run:
start-up and memory in processes of their own, the kernel against the same march in plain NumPy
(`bench.numpy_reference`), how far it is from what the processor could do, and how cost grows with the size of the case.
Other processes on the machine spoil times: each timing waits for idle cores, and the end says how often in vain.
"""

from __future__ import annotations

import inspect
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from time import perf_counter
from typing import Any

import numpy as np

from bench import numpy_reference
from bench.machine import machine
from bench.peak import Peak, Quiet, Work, count_work, measure_peak
from fruitwall.physics import kernel_bodies, kernel_lanes
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.physics.kernel import FAR_ABOVE, PASSES, PASSES_AFTER_JUMP, PASSES_AT_JUMP
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
NUMPY_REPEATS = 2
THREADS = (1, 2)
BARS = {("float64", 2): (20.0, 30.0), ("float64", 1): (10.0, 15.0), ("float32", 2): (35.0, 50.0)}
"""How many times quicker than NumPy it must be, and should be."""

SHARE_BAR, MEMORY_BAR_MB, GROWTH_BAR = (0.25, 0.40), 400.0, 1.10
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
        made.append(Night(BEGIN.date() + timedelta(days=1 + i), noon, noon + timedelta(hours=24), on, off, on, off))
    return made


def march(
    trees: int = TREES, members: int = MEMBERS, hours: int = HOURS, measures: Sequence[Treatment] = MEASURES
) -> _March:
    """Prepare the case; five of seven days are nights that count."""
    bodies = [Body(pot_volume_l=30.0 if i % 3 == 0 else float("nan"), fruit_diameter_m=0.07) for i in range(trees)]
    each, count = [measures] * trees, max(hours // 24 * 5 // 7, 1)
    return _March(weather(members, hours), spots(trees), bodies, each, nights(count), (), "loam", "moist", 15, 0.0)


def first_call() -> float:
    """Seconds of the first small march of this process."""
    small = march(1, 1, 72)
    begin = perf_counter()
    small.run(keep_series=False, threads=1)
    return perf_counter() - begin


# ---------------------------------------------------------------- in processes of their own


def report_start() -> None:
    """Print, as JSON, the seconds of a first march and what the lane functions compiled for it do."""
    seconds, work = first_call(), {}
    for module in (kernel_lanes, kernel_bodies):
        for name, function in vars(module).items():
            if getattr(function, "signatures", None) and (counted := count_work(function)):
                work[name] = counted.parts()
    print(json.dumps({"seconds": seconds, "work": work}))


def report_memory() -> None:
    """Print the most memory that the whole case took. [MB]"""
    import resource

    prepared = march()
    collect(prepared, prepared.run(keep_series=False, threads=2))
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024.0**2))


def collect(prepared: _March, raw: Any) -> None:
    """Lay the results out as `simulate` does."""
    _collect(prepared, raw, [Body()] * TREES, [MEASURES] * TREES, nights(raw.air.shape[2]))


def own_process(what: Callable[[], None], cache: str | None = None) -> str:
    """Give what a function of this module prints in a fresh process."""
    environment = os.environ | ({"NUMBA_CACHE_DIR": cache} if cache else {})
    call = [sys.executable, "-c", f"from bench.night_case import {what.__name__} as what; what()"]
    return subprocess.run(call, env=environment, check=True, capture_output=True, text=True).stdout


def start_up() -> dict[str, Work]:
    """Print what compiling costs; give the work of the compiled lane functions."""
    with tempfile.TemporaryDirectory() as folder:
        cold, warm = (json.loads(own_process(report_start, folder)) for _ in range(2))
    print(f"  first march of a process: {cold['seconds']:.1f} s compiling, {warm['seconds']:.2f} s from the cache")
    return {name: Work(*parts) for name, parts in cold["work"].items()}


# ---------------------------------------------------------------- against NumPy


def variants() -> dict[str, dict[str, Any]]:
    """Arguments of `_March.run` by the kind of number it computes with."""
    found: dict[str, dict[str, Any]] = {"float64": {}}
    if "single" in inspect.signature(_March.run).parameters:
        found["float32"] = {"single": True}
    return found


def against_numpy(quiet: Quiet) -> dict[tuple[str, int], float]:
    """Print how much quicker the kernel is than NumPy; give its seconds by kind of number and threads.

    A process that waits for a core grows older by the clock, and the one that runs longer waits more: on busy cores the
    ratio by the clock means nothing, and that by processor time stands in for one thread.
    """
    prepared = march()
    steps = prepared.cases.phase.size * MEMBERS
    kernel: dict[tuple[str, int], tuple[float, float]] = {}
    busy_before = quiet.in_vain
    for kind, options in variants().items():
        for threads in THREADS:
            call = partial(prepared.run, keep_series=False, threads=threads, **options)
            call()
            walls, used = zip(*(quiet.time(call) for _ in range(REPEATS)), strict=True)
            kernel[kind, threads] = min(walls), min(used)
            each = "thread " if threads == 1 else "threads"
            print(
                f"  {kind}, {threads} {each}: {min(walls):.3f} s (median {np.median(walls):.3f}); "
                f"{min(walls) / steps * 1e9:.1f} ns a step by the clock, {min(used) / steps * 1e9:.1f} of processor"
            )
    walls, used = zip(*(quiet.time(lambda: numpy_reference.march(prepared)) for _ in range(NUMPY_REPEATS)), strict=True)
    print(
        f"  NumPy over [case, member], all {HOURS} h: {min(walls):.2f} s; {min(walls) / steps * 1e9:.0f} ns a step by "
        f"the clock, {min(used) / steps * 1e9:.0f} of processor"
    )
    idle = quiet.in_vain == busy_before
    for key, (seconds, processor_s) in kernel.items():
        must, aim = BARS.get(key, (0.0, 0.0))
        ratio = min(walls) / seconds if idle else min(used) / processor_s
        judged = idle or key[1] == 1
        wanted = f" (must {must:.0f}, aim {aim:.0f}{': MISSED' if judged and ratio < must else ''})" if must else ""
        basis = "by the clock" if idle else "by processor time, cores were busy" if judged else "not told on busy cores"
        told = f"{ratio:.1f} times as quick as NumPy" if judged else "ratio to NumPy"
        print(f"  {key[0]}, {key[1]} thread{'s' * (key[1] > 1)}: {told} {basis}{wanted}")
    by_clock = {key: seconds for key, (seconds, _) in kernel.items()}
    if idle:
        print(f"  2 threads over 1: {by_clock['float64', 1] / by_clock['float64', 2]:.2f} (must 1.80)")
    return by_clock


def parts_of_a_night(quiet: Quiet) -> None:
    """Print what is needed around the march."""
    prepare, _ = quiet.time(march)
    prepared = march()
    raw = prepared.run(keep_series=False, threads=2)
    after, _ = quiet.time(lambda: collect(prepared, raw))
    print(f"  around it: {prepare:.3f} s to prepare, {after:.3f} s to collect")


# ---------------------------------------------------------------- against the processor


def calls_of(prepared: _March) -> dict[str, float]:
    """How often the kernel calls each lane function, over all cases: what `physics.kernel` does, counted."""
    cases = prepared.cases
    now = cases.phase
    out, start = now >= 0, np.ones_like(now[:, :1], dtype=bool)
    jump = np.concatenate([start, now[:, 1:] != now[:, :-1]], axis=1)
    p = cases.params[np.arange(now.shape[0])[:, None], np.maximum(now, 0)]
    covered = p[:, :, k.P_COVERED] > 0.5
    regulated = (p[:, :, k.P_HEATER] > 0.0) & (p[:, :, k.P_THERMOSTAT] < FAR_ABOVE)
    passes = np.where(jump | regulated, PASSES_AFTER_JUMP, PASSES) + PASSES_AT_JUMP * jump
    potted, freezing, barrels = (cases.bodies[:, b] > 0.0 for b in (k.B_POTTED, k.B_FRUIT_L, k.B_BARREL_C))
    moved, inside = now[:, 1:].size, np.sum(prepared.clock.night >= 0) * now.shape[0]
    return {
        "newton_covered": passes[out & covered].sum(),
        "newton_open": passes[out & ~covered].sum(),
        "clear_walls": (out & jump).sum() + out.sum(),
        "surround": (out & jump).sum() + out.sum(),
        "wood_radiation": (out & jump).sum() + out.sum(),
        "guess": now.size,
        "settled": (out & jump).sum(),
        "ground_now": (out & jump).sum(),
        "ground_answer": out.sum(),
        "front": (out & jump).sum() + out.sum(),
        "freeze": out[:, 1:].sum(),
        "ground_march": moved,
        "wood_step": moved,
        "crop_step": (~freezing).sum() * (now.shape[1] - 1),
        "fruit_step": freezing.sum() * (now.shape[1] - 1),
        "barrel_step": barrels.sum() * (now.shape[1] - 1),
        "root_ball": potted.sum() * (now.shape[1] - 1),
        "root_depth": (~potted).sum() * now.shape[1],
        "note_history": inside,
        "take_row": len(TISSUES) * inside,
        "add_last": len(TISSUES) * len(DURATIONS_H) * inside,
        "note_lowest": inside,
    }


def against_processor(work: dict[str, Work], seconds: float) -> None:
    """Print how far one thread is from what one core can do."""
    if not work:
        print("  the compiled code of this processor is not understood: no bound")
        return
    peak = measure_peak()
    prepared = march()
    print(
        f"  one core: {peak.gflops:.1f} GFlop/s of multiply-adds, {peak.division_ns:.2f} ns a division, "
        f"{peak.root_ns:.2f} a square root; clock {1 / peak.cycle_ns:.1f} GHz"
    )
    calls = calls_of(prepared)
    steps = prepared.cases.phase.size
    total = sum((work.get(name, Work()) * (count / steps) for name, count in calls.items()), Work())
    always = (
        "clear_walls", "surround", "guess", "ground_answer", "wood_radiation", "front", "freeze", "ground_march",
        "note_history",
    )  # fmt: skip
    common = sum((work[name] for name in (*always, "crop_step")), work["wood_step"])
    for name, one in (("covered", "newton_covered"), ("open", "newton_open")):
        print(f"  {name} step, {PASSES} passes: {_sum_up(common + work[one] * PASSES, peak)}")
    print(f"  mean of the case, jumps and exposures too: {_sum_up(total, peak)}")
    width = prepared.blocks.width
    each = seconds / steps / MEMBERS * 1e9
    share = total.flops / each / peak.gflops
    must, aim = SHARE_BAR
    print(
        f"  reached on 1 thread: {each:.1f} ns, {total.flops / each:.1f} GFlop/s, {share:.0%} of the peak "
        f"(must {must:.0%}, aim {aim:.0%}{'' if share >= must else ': MISSED'}); the longer bound is "
        f"{max(total.flops_ns(peak), total.divider_ns(peak)) / each:.0%} of it; {MEMBERS} of {width} lanes are members"
    )
    uncounted = sorted(name for name, count in calls.items() if count and name not in work)
    if uncounted:
        print(f"  without vector arithmetic, or not counted: {', '.join(uncounted)}")


def _sum_up(work: Work, peak: Peak) -> str:
    """Numbers of a lane in words."""
    return (
        f"{work.flops:.0f} flops, {work.packed:.0f} vector operations of {work.instructions:.0f} instructions a lane, "
        f"{work.roots:.0f} roots, {work.divisions:.0f} divisions; bounds {work.flops_ns(peak):.1f} ns by the "
        f"multiply-add ports, {work.divider_ns(peak):.1f} by the divider"
    )


# ---------------------------------------------------------------- growth


def growth(quiet: Quiet) -> None:
    """Print what a step costs in larger cases, over that in the first of each row."""
    cloth = MEASURES[2]
    rows: dict[str, dict[int, Callable[[], _March]]] = {
        "trees": {n: partial(march, n) for n in (10, 20, 40)},
        "members": {n: partial(march, 10, n) for n in (64, 128, 192)},
        "hours": {n: partial(march, 10, MEMBERS, n) for n in (168, 336, 672)},
        "measures": {n: partial(march, 20, measures=[cloth] * n) for n in (1, 2, 4)},
    }
    for name, sizes in rows.items():
        cost = {}
        for size, make in sizes.items():
            prepared = make()
            call = partial(prepared.run, keep_series=False, threads=1)
            cost[size] = (
                min(quiet.time(call)[1] for _ in range(3)) / prepared.cases.phase.size / prepared.blocks.members
            )
        first = next(iter(cost.values()))
        told = ", ".join(f"{size}: {each / first:.2f}" for size, each in cost.items())
        over = max(cost.values()) / first > GROWTH_BAR
        print(f"  cost of a step by {name}: {told} (must stay below {GROWTH_BAR:.2f}{': MISSED' if over else ''})")


def main() -> None:
    """Print what it takes."""
    quiet = Quiet()
    print(f"  {machine()}")
    work = start_up()
    memory = float(own_process(report_memory))
    print(f"  memory of the whole case in a fresh process: {memory:.0f} MB (must stay below {MEMORY_BAR_MB:.0f})")
    kernel = against_numpy(quiet)
    parts_of_a_night(quiet)
    against_processor(work, kernel["float64", 1])
    growth(quiet)
    if quiet.in_vain:
        print(f"  {quiet.in_vain} of {quiet.timings} timings went ahead on busy cores: read them as upper limits")
