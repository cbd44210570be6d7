"""A small ground of what-if for tests: real measures of the demo yard, made-up nights by seed, no physics.

What a measure gains is a constant by its kind (`GAINS_K`), so that everything can be checked by hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from fruitwall.plans.measures import possible_measures, settings_of, supplies_of
from fruitwall.plans.parts import Measure
from fruitwall.plans.rules.ground import Ground, SizeStep, TreeWinters, WinterNights
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import DURATIONS_H, felt_c, fruit_loss_chance, grade_chances, loss_share
from fruitwall.plants.tolerance import FRUIT, LEAF, TISSUES, Tolerance, prior
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Tree, Yard

GAINS_K = {
    "leave": 0.0,
    "cover": 2.0,
    "lamps": 4.0,
    "heater": 7.0,
    "shelter": 2.5,
    "roof": 2.0,
    "wall": 1.0,
    "carry": 15.0,
}
"""How much warmer every tissue is than with nothing done. [K]"""

TREES = ("mango-grafted", "lime-hollow", "sapodilla", "pot-mango", "pot-lemon", "soursop", "carambola", "avocado-old")


def gain_k(measure: Measure) -> float:
    """Give what a measure gains here. [K]"""
    if measure.heater:
        return GAINS_K["heater"]
    if measure.lamp:
        return GAINS_K["lamps"]
    return GAINS_K[measure.key.partition(":")[0].partition("+")[0]]


def made_ground(
    trees: Sequence[str] | int = 6,
    winters: int = 3,
    seed: int = 1,
    *,
    days: int = 20,
    mean_c: float = 0.5,
    spread_k: float = 2.5,
    years: Sequence[float] = (0.0,),
    yard: Yard | None = None,
    told_sd_k: float = 1.0,
) -> Ground:
    """Make a ground.

    Parameters
    ----------
    trees : sequence of str, or int
        Trees of the yard, or so many of `TREES`.
    winters, seed, days : int
        Every winter has so many nights, all of which count.
    mean_c, spread_k : float
        Of the minima. [°C], [K]
    years : sequence of float
        Size steps; all of them are alike but for the age.
    yard : Yard, optional
        The demo yard by default.
    told_sd_k : float
        Spread of the forecast's error. [K]
    """
    whole = yard or demo_yard()
    names = TREES[:trees] if isinstance(trees, int) else tuple(trees)
    chosen = [next(tree for tree in whole.trees if tree.id == name) for name in names]
    kept = {tree.id for tree in chosen}
    shelters = [
        one.model_copy(update={"trees": [its for its in one.trees if its in kept]})
        for one in whole.shelters
        if kept & set(one.trees)
    ]
    small = whole.model_copy(update={"trees": chosen, "shelters": shelters})
    rng = np.random.default_rng(seed)
    minima = rng.normal(mean_c, spread_k, size=(winters, days))
    winter, day = np.nonzero(np.ones(minima.shape, dtype=bool))
    told = minima + rng.normal(scale=told_sd_k, size=minima.shape)
    autumns = np.array([f"{1990 + at}-12-01" for at in range(winters)], dtype="datetime64[D]")
    nights = WinterNights(
        winters=tuple(f"{1990 + at}/{91 + at}" for at in range(winters)),
        weights=np.full(winters, 1.0 / winters),
        winter=winter,
        day=day,
        evening=autumns[winter] + day.astype("timedelta64[D]"),
        minimum_c=minima[winter, day],
        told_c=told[winter, day],
        whole=minima,
    )
    steps = tuple(
        SizeStep(
            float(its),
            tuple(_tree(small, tree, minima, float(its)) for tree in chosen),
            supplies_of(small),
            settings_of(small),
        )
        for its in years
    )
    return Ground(nights, steps, small.prices, ("made up",), "made up", f"{names} {winters} {seed} {days} {mean_c}")


def _tree(yard: Yard, tree: Tree, minima: np.ndarray, years: float) -> TreeWinters:
    kind = catalogue().find(tree.taxon)

    @cache
    def stands(age_years: float | None, hurt_grade: int) -> Tolerance:
        return prior(
            kind, age_years=age_years, height_m=None, potted=tree.container is not None, hurt_grade=hurt_grade,
            stages=tree.stages,
        )  # fmt: skip

    measures = tuple(
        one
        for one in possible_measures(yard, tree, rain_expected=True)
        if one.fruit_picked == 0.0 and not one.wet_ground and not one.key.startswith("together:")
    )
    age = (tree.age_years or 5.0) + years
    usual = stands(age, 0)
    gains = np.array([gain_k(one) for one in measures])
    lowest = minima.ravel()[None, :] - 1.0 + gains[:, None]  # leaves radiate
    cold = np.repeat((lowest[..., None] + np.log2(DURATIONS_H) * 0.3)[:, :, None, :], len(TISSUES), axis=2)
    if "fruit" not in tree.stages:
        cold[:, :, FRUIT] = np.nan
    chances = grade_chances(usual, cold, DURATIONS_H)
    lost = fruit_loss_chance(usual, cold, DURATIONS_H)
    felt = felt_c(cold, np.array(DURATIONS_H), usual.duration_k_per_log2h)
    return TreeWinters(
        tree=tree.id,
        name=tree.name,
        taxon=kind.scientific,
        potted=tree.container is not None,
        worth=tree.worth,
        crop_worth=tree.crop_worth,
        measures=measures,
        loss=(tree.worth * loss_share(chances) + tree.crop_worth * lost).astype(np.float32),
        harm=chances[..., 2:].sum(axis=-1).astype(np.float32),
        death=chances[..., 7].astype(np.float32),
        fruit_lost=lost.astype(np.float32),
        felt_c=np.where(np.isnan(felt), np.inf, felt).astype(np.float32),
        leaf_c=cold[:, :, LEAF].astype(np.float32),
        bare_c=(minima - 1.0).astype(np.float32),
        stands=stands,
        age_years=age,
    )
