"""What every tree would have felt under everything that can be done for it, on every night of many winters.

Pure data, made once (`service.winters_ground`) and used by all that asks "what if": rules, search, gear, outcomes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.parts import Measure, Setting
from fruitwall.plans.problem import Supplies
from fruitwall.plants.tolerance import Tolerance
from fruitwall.yard.model import Prices

SmallArray = NDArray[np.float32]
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class WinterNights:
    """The nights of all winters that may matter to any tree, in one row: winter by winter, oldest night first.

    Attributes
    ----------
    winters : tuple of str
        Names, such as ``1989/90``, oldest first.
    weights : ndarray, shape (winter,)
        How likely a coming winter is like each; they sum to one. [-]
    winter : ndarray of int, shape (night,)
        To which winter each night belongs.
    day : ndarray of int, shape (night,)
        Its place in the season: nights of one winter whose places differ by one follow each other.
    evening : ndarray of datetime64[D], shape (night,)
        True date of its evening.
    minimum_c : ndarray, shape (night,)
        Lowest air of the weather itself, as a forecast of it would say. [°C]
    told_c : ndarray, shape (night,)
        The minimum that was forecast the evening before: the true one and an error drawn by seed. Rules go by this.
        [°C]
    whole : ndarray, shape (winter, day)
        `minimum_c` of every night of every winter, also of those that matter to nobody. [°C]
    """

    winters: tuple[str, ...]
    weights: FloatArray
    winter: IntArray
    day: IntArray
    evening: NDArray[np.datetime64]
    minimum_c: FloatArray
    told_c: FloatArray
    whole: FloatArray

    @property
    def count(self) -> int:
        """Number of nights."""
        return int(self.winter.size)


@dataclass(frozen=True, eq=False)
class TreeWinters:
    """One tree at one size.

    Attributes
    ----------
    tree, name : str
        Identifier and name.
    taxon : str
        Scientific name.
    potted : bool
    worth, crop_worth : float
        Of the tree, and of what it carries. [currency]
    measures : tuple of Measure
        The first is leaving it.
    loss : ndarray, shape (measure, night)
        Expected loss of each night on its own, over what is unknown of the tree: as an evening's plan has it.
        [currency]
    harm, death : ndarray, shape (measure, night)
        Chance of grade 2 or worse, and of death. [-]
    fruit_lost : ndarray, shape (measure, night)
        Expected share of fruit and bloom. [-]
    felt_c : ndarray, shape (measure, night, tissue)
        One-hour temperature that hurts as much as what each tissue went through (`plants.injury.felt_c`), set against
        thresholds of a usual winter: what the tree was hardened beyond that is added. Infinite without ice. [°C]
    leaf_c : ndarray, shape (measure, night, duration)
        Coldest running means of the leaf over `plants.injury.DURATIONS_H`, for what chilling does. [°C]
    bare_c : ndarray, shape (winter, day)
        Coldest hour of the leaf (of the twig where it has none) with nothing done, on all nights. [°C]
    stands : callable (age_years, hurt_grade) -> Tolerance
        What it stands in a usual winter at an age, hurt from the winter before by a grade, with what was learned.
    age_years : float or None
        Now.
    """

    tree: str
    name: str
    taxon: str
    potted: bool
    worth: float
    crop_worth: float
    measures: tuple[Measure, ...]
    loss: SmallArray
    harm: SmallArray
    death: SmallArray
    fruit_lost: SmallArray
    felt_c: SmallArray
    leaf_c: SmallArray
    bare_c: SmallArray
    stands: Callable[[float | None, int], Tolerance]
    age_years: float | None = None


@dataclass(frozen=True, eq=False)
class SizeStep:
    """The yard as it stands so many years from now, all trees grown on.

    Attributes
    ----------
    years : float
        From now. [years]
    trees : tuple of TreeWinters
        In the yard's order.
    supplies : Supplies
        People, gear, places of one evening.
    settings : tuple of Setting
        States of what trees share; the first of each group takes no work.
    """

    years: float
    trees: tuple[TreeWinters, ...]
    supplies: Supplies
    settings: tuple[Setting, ...]


@dataclass(frozen=True, eq=False)
class Ground:
    """Everything that "what if" is asked of.

    Attributes
    ----------
    nights : WinterNights
    steps : tuple of SizeStep
        The first is now.
    prices : Prices
    notes : tuple of str
        What is assumed or in doubt, for the user.
    source : str
        Where the winters come from.
    mark : str
        The same for the same yard, weather and beliefs: part of the key of everything worked out from it.
    skipped_share : float
        Share of tree-nights that the safe bound left out. [-]
    """

    nights: WinterNights
    steps: tuple[SizeStep, ...]
    prices: Prices
    notes: tuple[str, ...] = ()
    source: str = ""
    mark: str = ""
    skipped_share: float = field(default=0.0)

    def step_at(self, years: float) -> int:
        """Give which step stands for the yard so many years from now: the nearest one."""
        return int(np.argmin([abs(step.years - years) for step in self.steps]))
