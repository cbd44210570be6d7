"""Grounds of single trees with nights given by hand, and what was done: nothing, or the same measure every night."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.parts import Measure
from fruitwall.plans.problem import Supplies
from fruitwall.plans.rules.ground import Ground, SizeStep, TreeWinters, WinterNights
from fruitwall.plans.rules.nightly import Chosen
from fruitwall.plants.injury import DURATIONS_H, felt_c
from fruitwall.plants.tolerance import LEAF, TISSUES, Tolerance
from fruitwall.yard.model import Prices
from tests.plans.rules_made import made_ground

Array = NDArray[np.float64]


def measures() -> tuple[Measure, ...]:
    """Leaving it, and something else."""
    return made_ground(1, 1, days=1).steps[0].trees[0].measures[:2]


def night(coldest_c: float, rise_k: float = 0.3) -> Array:
    """All tissues at one temperature for half an hour, warmer by so much with every doubling. [tissue, duration]"""
    return np.tile(coldest_c + rise_k * np.log2(np.array(DURATIONS_H) / 0.5), (len(TISSUES), 1))


def one_tree(
    stands: Callable[[float | None, int], Tolerance],
    cold: Array,
    *,
    name: str = "tree",
    age_years: float | None = 5.0,
    worth: float = 100.0,
    crop_worth: float = 20.0,
    gain_k: float = 3.0,
) -> TreeWinters:
    """Make a tree from exposures [night, tissue, duration]; its second measure keeps it so much warmer."""
    both = np.stack([cold, cold + gain_k])
    felt = felt_c(both, np.array(DURATIONS_H), stands(age_years, 0).duration_k_per_log2h)
    none = np.zeros(both.shape[:2], dtype=np.float32)
    return TreeWinters(
        tree=name,
        name=name,
        taxon="",
        potted=False,
        worth=worth,
        crop_worth=crop_worth,
        measures=measures(),
        loss=none,
        harm=none,
        death=none,
        fruit_lost=none,
        felt_c=np.where(np.isnan(felt), np.inf, felt).astype(np.float32),
        leaf_c=both[:, :, LEAF].astype(np.float32),
        bare_c=np.zeros((1, 1), dtype=np.float32),
        stands=stands,
        age_years=age_years,
    )


def ground_of(
    trees: Sequence[TreeWinters],
    nights_per_winter: Sequence[int],
    *,
    days: Sequence[int] | None = None,
    weights: Sequence[float] | None = None,
    later: Sequence[tuple[float, Sequence[TreeWinters]]] = (),
) -> Ground:
    """Make a ground of trees whose nights lie in winters of so many nights."""
    winter = np.repeat(np.arange(len(nights_per_winter)), nights_per_winter)
    day = np.concatenate([np.arange(count) for count in nights_per_winter]) if days is None else np.array(days)
    count = len(nights_per_winter)
    nights = WinterNights(
        winters=tuple(str(at) for at in range(count)),
        weights=np.full(count, 1.0 / count) if weights is None else np.array(weights),
        winter=winter,
        day=day,
        evening=np.datetime64("2000-12-01") + day.astype("timedelta64[D]"),
        minimum_c=np.zeros(winter.size),
        told_c=np.zeros(winter.size),
        whole=np.zeros((count, int(day.max()) + 1)),
    )
    steps = ((0.0, trees), *later)
    return Ground(nights, tuple(SizeStep(at, tuple(some), Supplies(), ()) for at, some in steps), Prices())


def every_night(ground: Ground, measure: int | Sequence[int] = 0, *, minutes: float = 0.0) -> list[Chosen]:
    """The same measure on every night, by tree if several are given, at so many minutes a night."""
    nights, trees = ground.nights.count, len(ground.steps[0].trees)
    rows = np.broadcast_to(np.asarray(measure, dtype=np.int16).reshape(-1, 1), (trees, nights))
    spent = np.full(nights, minutes)
    none = np.zeros(nights)
    done = Chosen(rows, np.zeros((trees, nights), dtype=bool), spent, none, none, none, none)
    return [done for _ in ground.steps]
