"""Where to plant: 2,500 cells of the demo yard x 30 winters x 10 kinds.

Run ``python -m bench placing_case``. The winters are made up (`bench.made_winters`), mid-October to mid-April. The
clock counts all of it: looking round from every cell in winter and in summer, marching, judging whole winters, hours of
sun; the compiled code lies ready (a small raster is made before). Nights can be left out by the safe bound; how many
hangs on climate and kinds, and whether it pays is shown by timing both. That leaving out changes nothing is shown on
every eighteenth cell; threads are compared there too.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import date
from resource import RUSAGE_SELF, getrusage
from time import perf_counter, process_time

import numpy as np

from bench.machine import machine
from bench.made_winters import made_winter, season
from fruitwall.physics.look_round import survey_many
from fruitwall.physics.spot import survey
from fruitwall.plans.placing.raster import Raster, Wanted
from fruitwall.service.beliefs import NOTHING_LEARNED
from fruitwall.service.placing_ground import make_raster
from fruitwall.service.winters_weather import WinterWeather
from fruitwall.yard.demo import demo_yard

WINTERS, NIGHTS = 30, 183
CELL_M = 0.65
"""Some 2,500 cells of the demo yard are then such that a plant can stand there."""

MUST_S = 120.0
KINDS = (
    "avocado", "lemon", "feijoa", "guava", "cherimoya", "sweet orange", "olive", "loquat", "macadamia", "fig",
)  # fmt: skip
CHILLED = ("soursop", "rambutan", "wax jambu", "star apple", *KINDS[:6])
FEW_M = CELL_M * 18**0.5
TODAY = date(2026, 11, 27)


def weather(count: int = WINTERS) -> WinterWeather:
    """Make winters up."""
    winters = tuple(made_winter(seed, start=f"{1990 + seed}-10-05T00", days=195) for seed in range(count))
    names = tuple(f"{1990 + seed}/{(1991 + seed) % 100:02d}" for seed in range(count))
    nights = tuple(season(date(2004, 10, 15), NIGHTS))
    known = np.ones((count, NIGHTS), dtype=bool)
    return WinterWeather(winters, names, np.full(count, 1.0 / count), nights, known, "made up", (), f"made {count}")


def raster(
    kinds: Sequence[str], cell_m: float, *, skip: bool = False, threads: int = 2, winters: int = WINTERS
) -> Raster:
    """Make one raster of the demo yard."""
    wanted = [Wanted(kind) for kind in kinds]
    return make_raster(
        demo_yard(), wanted, weather(winters), NOTHING_LEARNED, TODAY, cell_m=cell_m, skip=skip, threads=threads
    )


def off(one: Raster, other: Raster) -> float:
    """Give the largest difference of any figure; infinite if one is known in one raster only."""
    most = 0.0
    for name in ("death", "bare", "loss", "fruit", "coldest_c"):
        a, b = getattr(one, name).astype(float), getattr(other, name).astype(float)
        if not np.array_equal(np.isnan(a), np.isnan(b)):
            return float("inf")
        most = max(most, float(np.nanmax(np.abs(a - b))))
    return most


def look() -> None:
    """Time looking round."""
    yard = demo_yard()
    rng = np.random.default_rng(1)
    low, high = np.min(yard.outline, axis=0), np.max(yard.outline, axis=0)
    xy = rng.uniform(low, high, (2500, 2))
    places = [(f"c{at}", float(x), float(y), 1.0) for at, (x, y) in enumerate(xy)]
    survey_many(yard, places[:1])
    used = process_time()
    survey(yard, places[:100])
    alone = (process_time() - used) / 100
    begin, used = perf_counter(), process_time()
    survey_many(yard, places)
    print(
        f"  looking round: {1e3 * alone:.1f} ms a place one by one, {1e3 * (process_time() - used) / 2500:.2f} ms of "
        f"processor together; 2,500 places in {perf_counter() - begin:.1f} s"
    )


def main() -> None:
    """Print what it takes."""
    print(f"  {machine()}")
    look()
    raster((*KINDS, *CHILLED), 6.0, winters=2)
    for what, kinds, skip in (
        ("10 kinds hurt by frost", KINDS, False),
        ("the same, nights left out by the safe bound", KINDS, True),
        ("4 of 10 hurt above freezing", CHILLED, False),
    ):
        begin, used = perf_counter(), process_time()
        found = raster(kinds, CELL_M, skip=skip)
        clock, processor = perf_counter() - begin, process_time() - used
        print(
            f"  {what}: {int(found.standable.sum())} cells x {WINTERS} winters in {clock:.0f} s, {processor:.0f} s of "
            f"processor ({processor / (os.cpu_count() or 1):.0f} s a core; must: {MUST_S:g} s), "
            f"{getrusage(RUSAGE_SELF).ru_maxrss / 1024:.0f} MB; cell-nights left out {found.skipped_share:.0%}",
            flush=True,
        )
    some, whole = raster(KINDS, FEW_M, skip=True), raster(KINDS, FEW_M)
    print(
        f"  {int(some.standable.sum())} cells with all nights kept ({some.skipped_share:.0%} left out before): chances "
        f"and coldest hours differ by at most {off(some, whole):.1e}"
    )
    print(f"  one thread against two: at most {off(whole, raster(KINDS, FEW_M, threads=1)):.1e}")


if __name__ == "__main__":
    main()
