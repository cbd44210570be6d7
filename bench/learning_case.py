"""What the yard teaches of tolerance: 60 trees, 5 winters, every tree looked at six times a winter.

Run ``python -m bench learning_case``. Reduction of the looks (150 nights a winter, so 25 nights a look), then the
update of all trees. Kinds and limits are the catalogue's; nights are made up, one before each look near the tree's
limits: harder than a real yard, where most looks tell of nights in which nothing could be hurt.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter, process_time
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from bench.machine import machine
from fruitwall.learning.looks import LivedNight, Look, reduce_look, reference_sd_k
from fruitwall.learning.tolerances import TreePrior, learn
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.effects import AIR_TO_TISSUE_SD_K, TREE_SD_K
from fruitwall.plants.tolerance import TISSUES, Tolerance, prior
from tests.learning.made_yards import grade_of

TREES, WINTERS, LOOKS, NIGHTS = 60, 5, 6, 25
MUST_S = 1.0
NAMES = (
    "mango", "lemon", "guava", "lychee", "satsuma", "banana", "papaya", "cherimoya", "longan", "carambola", "loquat",
    "canistel", "sapodilla", "white sapote", "jaboticaba", "Mexican avocado", "sweet orange", "Key lime", "soursop",
    "olive",
)  # fmt: skip

Told = TypeVar("Told")


def timed(name: str, run: Callable[[], Told]) -> Told:
    """Run once and print seconds by the clock and of processor."""
    begin, used = perf_counter(), process_time()
    result = run()
    print(f"  {name:44s}{perf_counter() - begin:8.2f} s by the clock, {process_time() - used:6.2f} s of processor")
    return result


def nights(tolerance: Tolerance, rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """What a tree goes through between two looks: mild nights, now and then one near its limits."""
    limit = (
        float(np.nanmax(tolerance.threshold_c[:, 2:5])) if np.isfinite(tolerance.threshold_c[:, 2:5]).any() else -5.0
    )
    coldest = rng.normal(4.0, 2.0, NIGHTS)
    coldest[rng.integers(NIGHTS)] = limit + rng.normal(1.0, 1.5)
    shape = np.array([-0.3, 0.0, 0.4, 0.9, 1.8])
    return [one + shape + rng.normal(0.0, 0.1, (len(TISSUES), 1)) for one in coldest]


def main() -> None:
    """Print the times of reduction and update."""
    rng = np.random.default_rng(1)
    stands = [
        prior(catalogue().find(NAMES[at % len(NAMES)]), age_years=3.0 + at % 9, height_m=2.5, potted=at % 4 == 0)
        for at in range(TREES)
    ]
    trees = []
    for at, one in enumerate(stands):
        kind_sd = np.sqrt(max(reference_sd_k(one) ** 2 - TREE_SD_K**2 - AIR_TO_TISSUE_SD_K**2, 0.09))
        chill_sd = 0.0 if np.isnan(one.chill_sd_k) else float(np.sqrt(one.chill_sd_k**2 - TREE_SD_K**2))
        trees.append(TreePrior(f"t{at:02d}", one.taxon, float(kind_sd), chill_kind_sd_k=chill_sd))
    seen = []
    for at, one in enumerate(stands):
        shift = float(rng.normal(0.0, reference_sd_k(one)))
        for _ in range(WINTERS * LOOKS):
            lived = nights(one, rng)
            seen.append((at, lived, grade_of(one, lived, rng, shift=shift)))

    def reduced() -> list[Look]:
        return [
            reduce_look(
                [LivedNight(cold, stands[at]) for cold in lived],
                id=f"l{number:05d}",
                tree=f"t{at:02d}",
                observer="ab"[number % 2],
                grade=grade,
            )
            for number, (at, lived, grade) in enumerate(seen)
        ]

    print(f"  {machine()}")
    looks = timed(f"reduction of {len(seen)} looks, {len(seen) * NIGHTS} nights", reduced)
    timed("first update (compiles, or reads what is kept)", lambda: learn(trees[:2], looks[:2]))
    for _ in range(3):
        timed(f"update, must be below {MUST_S:.0f} s", lambda: learn(trees, looks))
    timed("update without looks", lambda: learn(trees, []))


if __name__ == "__main__":
    main()
