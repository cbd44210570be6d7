"""Thirty years of hourly chill by all models for sixty spots, and how much longer a plain loop over hours takes.

Year after year in the same memory, with what each leaves to the next; the plain loop takes the same steps with NumPy
for all spots at once. Both must agree. Limit: 2 s.
"""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from bench.machine import machine
from fruitwall.plants.chill_sums import ChillState, chill_sums
from fruitwall.plants.chill_tables import DYNAMIC, HIGH_C, LOW_C, LOW_CHILL, MODELS, NORTH_CAROLINA, UTAH

YEARS, HOURS, SPOTS = 30, 8766, 60
LIMIT_S = 2.0
LOOPED_YEARS = 1
"""So many are looped over; the rest would take as long each."""

Array = NDArray[np.float64]


def temperatures(seed: int = 7) -> Array:
    """Make hours of spots that are colder and warmer than each other, [spot, hour]: seasons, days, weather of days."""
    rng = np.random.default_rng(seed)
    hour = np.arange(YEARS * HOURS)
    weather = np.repeat(rng.normal(0.0, 3.5, YEARS * HOURS // 24 + 1), 24)[: hour.size]
    course = 14.0 - 9.0 * np.cos(2 * np.pi * hour / HOURS) - 5.0 * np.cos(2 * np.pi * (hour % 24) / 24) + weather
    return np.asarray(course + rng.normal(0.0, 1.0, (SPOTS, 1)))


def looped(t_c: Array) -> tuple[Array, float]:
    """Sum hour by hour with NumPy over all spots: sums [model, spot, hour] and seconds."""
    out = np.empty((len(MODELS), *t_c.shape))
    began = time.perf_counter()
    x, sums = np.zeros(len(t_c)), np.zeros((len(MODELS), len(t_c)))
    for at in range(t_c.shape[1]):
        t = t_c[:, at]
        utah = UTAH.units[np.searchsorted(UTAH.bounds_c, t)]
        kelvin = t + DYNAMIC.offset_k
        settles_at = DYNAMIC.a0_per_h / DYNAMIC.a1_per_h * np.exp((DYNAMIC.e1_k - DYNAMIC.e0_k) / kelvin)
        x = settles_at - (settles_at - x) * np.exp(-DYNAMIC.a1_per_h * np.exp(-DYNAMIC.e1_k / kelvin))
        power = np.exp(DYNAMIC.slope * DYNAMIC.fixed_at_k * (kelvin - DYNAMIC.fixed_at_k) / kelvin)
        fixed = np.where(x >= 1.0, x * power / (1.0 + power), 0.0)
        x = x - fixed
        sums[0] += (t >= LOW_C) & (t <= HIGH_C)
        sums[1] += t <= HIGH_C
        sums[2] += utah
        sums[3] += np.maximum(utah, 0.0)
        sums[4] += LOW_CHILL.units[np.searchsorted(LOW_CHILL.bounds_c, t)]
        sums[5] += NORTH_CAROLINA.units[np.searchsorted(NORTH_CAROLINA.bounds_c, t)]
        sums[6] += fixed
        out[:, :, at] = sums
    return out, time.perf_counter() - began


def marched(t_c: Array, threads: int) -> tuple[float, float, ChillState]:
    """Sum all years one after the other: seconds, those of the processor, and where the sums end."""
    out = np.empty((len(MODELS), SPOTS, HOURS))
    state = None
    began, worked = time.perf_counter(), time.process_time()
    for year in range(YEARS):
        state = chill_sums(t_c[:, year * HOURS : (year + 1) * HOURS], state, threads=threads, out=out).state
    assert state is not None
    return time.perf_counter() - began, time.process_time() - worked, state


def main() -> None:
    """Print seconds and ratio."""
    t_c = temperatures()
    print(f"  {machine()}")
    began = time.perf_counter()
    chill_sums(t_c[:, :1])
    print(f"  first call, compiled or from disk: {time.perf_counter() - began:.2f} s")
    for threads in (1, 2):
        best, worked = min(marched(t_c, threads)[:2] for _ in range(5))
        verdict = "met" if best <= LIMIT_S else "NOT met"
        print(
            f"  {YEARS} years x {SPOTS} spots x {len(MODELS)} sums at every hour, {threads} thread(s): {best:.2f} s, "
            f"{worked:.2f} s of the processor (limit {LIMIT_S:g} s: {verdict})"
        )
    piece = np.ascontiguousarray(t_c[:, : LOOPED_YEARS * HOURS])
    slow, seconds = looped(piece)
    ours = chill_sums(piece, threads=2).by_model
    worst = max(float(np.abs(slow[row] - ours[model]).max()) for row, model in enumerate(MODELS))
    whole = seconds * YEARS / LOOPED_YEARS
    print(f"  plain NumPy loop over hours: {seconds:.2f} s for {LOOPED_YEARS} year, {whole:.0f} s for {YEARS}")
    print(f"  ratio: {whole / best:.0f}; largest difference of any sum: {worst:.1e}")


if __name__ == "__main__":
    main()
