"""What one more of something is worth a winter: the same rules, winters and luck, with it and without.

"As now" is the rule that gear is judged by: a household that does each evening what pays on that evening. So more gear
can be worth less than nothing, beside the luck of few draws: ten cold evenings of a winter are each worth a cover,
though a tree that stood the coldest of them would have stood all, and what more gear allows is then done on all ten.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.problem import Supply
from fruitwall.plans.rules.ground import Ground, SizeStep, TreeWinters, WinterNights
from fruitwall.plans.rules.nightly import choose
from fruitwall.plans.rules.outcome import Ahead, Outcome, play
from fruitwall.plans.rules.rule import HouseRule, RuleSet
from fruitwall.yard.model import Canopy, Shelter, Tree, Yard

FloatArray = NDArray[np.float64]

AS_NOW = RuleSet("as-now", "as now", (HouseRule(way="as_now"),))

COUNTED = ("loss", "effort", "minutes", "lifts", "kwh")
"""What is compared; of an outcome. [currency], [currency], [min], [-], [kWh]"""

FRAME_CLEARANCE_M = 0.5
"""Between crown and film on every side and above: leaf that touches film freezes through it. Our judgement. [m]"""

FRAME_HIGHEST_M = 3.6
"""Ridge of the highest frame that is thought of: higher ones are no work for a household. Our judgement. [m]"""

BARREL_L = 200.0
"""Of the usual steel or plastic drum (55 US gallons hold 208 L). [L]"""


@dataclass(frozen=True, eq=False)
class Played:
    """Means over the years of every drawn future.

    Attributes
    ----------
    means : Mapping of str to ndarray, shape (draw,)
        By `COUNTED`, a winter.
    """

    means: Mapping[str, FloatArray]

    @property
    def total(self) -> FloatArray:
        """Loss and effort a winter, by draw. [currency]"""
        return np.asarray(self.means["loss"] + self.means["effort"])


@dataclass(frozen=True)
class Gain:
    """By how much something falls, a winter.

    Attributes
    ----------
    mean, p10, p90 : float
        Over the drawn futures.
    error : float
        Standard error of the mean: how far few draws may mislead.
    """

    mean: float
    p10: float
    p90: float
    error: float


def played(ground: Ground, ahead: Ahead, rules: RuleSet = AS_NOW) -> Played:
    """Replay a rule set at all sizes of the yard, and play the futures.

    Parameters
    ----------
    ground : Ground
    ahead : Ahead
    rules : RuleSet

    Returns
    -------
    Played
    """
    return means_of(play(ground, [choose(ground, step, rules) for step in ground.steps], ahead))


def means_of(outcome: Outcome) -> Played:
    """Give the means over the years of each draw."""
    return Played({name: np.asarray(getattr(outcome, name).mean(axis=1)) for name in COUNTED})


def gain(before: FloatArray, after: FloatArray) -> Gain:
    """Give by how much something falls from one set of futures to another with the same luck.

    Parameters
    ----------
    before, after : ndarray, shape (draw,)
    """
    falls = np.asarray(before) - np.asarray(after)
    error = float(falls.std(ddof=1) / math.sqrt(falls.size)) if falls.size > 1 else math.inf
    low, high = np.quantile(falls, (0.1, 0.9))
    return Gain(float(falls.mean()), float(low), float(high), error)


def with_more(ground: Ground, key: str) -> Ground:
    """Give the ground with one step more of a supply, at all sizes of the yard."""
    return replace(ground, steps=tuple(replace(step, supplies=step.supplies.more(key)) for step in ground.steps))


def can_grow(ground: Ground) -> list[Supply]:
    """Give the supplies of which one more is thought of, by kind; of rooms only those indoors."""
    kinds = ("sheet", "lamps", "heater", "lead", "circuit", "person", "trolley", "room")
    items = [
        item
        for item in ground.steps[0].supplies.items
        # Nobody adds a foot of a wall or a piece of roof as one adds a sheet.
        if item.kind in kinds and (item.kind != "room" or item.id.startswith("place:"))
    ]
    return sorted(items, key=lambda item: kinds.index(item.kind))


def with_trees(ground: Ground, changed: Ground) -> Ground:
    """Give the ground with some of its trees as another ground of the same place and winters has them.

    Parameters
    ----------
    ground : Ground
        Of the whole yard.
    changed : Ground
        Of a yard with only some of its trees, which stand otherwise, as in a new shelter.

    Returns
    -------
    Ground
        Nights that do not matter to the changed trees take nothing from them.

    Raises
    ------
    ValueError
        If their winters or sizes differ, or a night of the changed ground is not among those of the whole.
    """
    if ground.nights.winters != changed.nights.winters or len(ground.steps) != len(changed.steps):
        raise ValueError("both grounds must have the same winters and sizes")
    columns = _columns(ground.nights, changed.nights)
    steps = [
        _merged(old, new, columns, ground.nights.count) for old, new in zip(ground.steps, changed.steps, strict=True)
    ]
    return replace(ground, steps=tuple(steps))


def _columns(nights: WinterNights, others: WinterNights) -> NDArray[np.int64]:
    """Give where each of some nights stands among others."""
    at = {
        (winter, day): n
        for n, (winter, day) in enumerate(zip(nights.winter.tolist(), nights.day.tolist(), strict=True))
    }
    wanted = list(zip(others.winter.tolist(), others.day.tolist(), strict=True))
    missing = [one for one in wanted if one not in at]
    if missing:
        raise ValueError(f"every night of the changed ground must be one of the whole, got day {missing[0][1]}")
    return np.array([at[one] for one in wanted], dtype=np.int64)


def _merged(old: SizeStep, new: SizeStep, columns: NDArray[np.int64], count: int) -> SizeStep:
    changed = {tree.tree: _spread(tree, columns, count) for tree in new.trees}
    mine = {setting.group for setting in new.settings}
    return SizeStep(
        years=old.years,
        trees=tuple(changed.get(tree.tree, tree) for tree in old.trees),
        supplies=old.supplies,
        settings=(*(setting for setting in old.settings if setting.group not in mine), *new.settings),
    )


def _spread(tree: TreeWinters, columns: NDArray[np.int64], count: int) -> TreeWinters:
    """Lay a tree's nights out among more nights; on the others it is warm."""

    def wide(values: NDArray[np.float32], otherwise: float) -> NDArray[np.float32]:
        out = np.full((values.shape[0], count, *values.shape[2:]), otherwise, dtype=np.float32)
        out[:, columns] = values
        return out

    return replace(
        tree,
        loss=wide(tree.loss, 0.0),
        harm=wide(tree.harm, 0.0),
        death=wide(tree.death, 0.0),
        fruit_lost=wide(tree.fruit_lost, 0.0),
        felt_c=wide(tree.felt_c, np.inf),
        leaf_c=wide(tree.leaf_c, WARM_C),
    )


WARM_C = 30.0
"""Leaf of a night that is no matter: above every level of chilling. [°C]"""


def framed(yard: Yard, tree: Tree) -> Yard | None:
    """Give a yard of one tree under a new standing frame; None where it is too high for a household, or potted.

    The frame is square, stands `FRAME_CLEARANCE_M` off the crown all round and above, and is closed with film for the
    night (polyethylene, the yard file's own default) in the time that the file gives a shelter by default.
    """
    height = tree.height_m + FRAME_CLEARANCE_M
    if tree.container is not None or height > FRAME_HIGHEST_M:
        return None
    half = tree.crown_diameter_m / 2.0 + FRAME_CLEARANCE_M
    x, y = tree.position
    corners = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
    name = f"frame-{tree.id}"
    shelter = Shelter(id=name[:40], name=tree.name, outline=corners, height_m=height, trees=[tree.id])
    return alone(yard, [tree.id], [shelter])


def barrelled(yard: Yard, shelter: Shelter) -> Yard:
    """Give a yard of the trees of a shelter with one barrel of water more in it."""
    more = shelter.model_copy(update={"water_l": shelter.water_l + BARREL_L})
    return alone(yard, shelter.trees, [more])


def alone(yard: Yard, trees: Sequence[str], shelters: Sequence[Shelter]) -> Yard:
    """Give a yard with some of its trees and these shelters only; the crowns of the others still take sky and sun."""
    from fruitwall.physics.rays import LEAFY_GAP

    kept = [tree for tree in yard.trees if tree.id in set(trees)]
    # A neighbour's crown keeps a tree warmer: without it whatever is new would be blamed for the colder night.
    crowns = [
        Canopy(
            id=tree.id,
            name=tree.name,
            position=tree.position,
            crown_diameter_m=tree.crown_diameter_m,
            height_m=tree.height_m,
            base_m=tree.crown_base_m,
            habit="leafless_in_winter" if set(tree.stages) == {"dormant"} else "evergreen",
            gap_fraction=LEAFY_GAP,
        )
        for tree in yard.trees
        if tree.id not in set(trees)
    ]
    update = {"trees": kept, "shelters": list(shelters), "structures": [*yard.structures, *crowns]}
    return yard.model_copy(update=update)


def endangered(ground: Ground) -> list[str]:
    """Give trees by what they lose in a winter with all that is done for them as now, most first."""
    from fruitwall.plans.rules.winter_loss import winter_fate

    step = ground.steps[0]
    measure = choose(ground, step, AS_NOW).measure
    weights = ground.nights.weights
    loss = {
        tree.tree: float(weights @ winter_fate(ground.nights, tree, rows).loss)
        for tree, rows in zip(step.trees, measure, strict=True)
    }
    return sorted((tree for tree in loss if loss[tree] > 0.0), key=lambda tree: (-loss[tree], tree))
