"""What a household with house rules does on every night of many winters, within what it has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground, SizeStep
from fruitwall.plans.rules.rule import RuleSet

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Chosen:
    """What was done on each night at one size of the yard, and what it took.

    Attributes
    ----------
    measure : ndarray of int16, shape (tree, night)
        Row among the tree's measures; 0 is leaving it.
    short : ndarray of bool, shape (tree, night)
        The rule asked for something that people or gear did not suffice for.
    minutes, lifts, kwh, wear : ndarray, shape (night,)
        Of all people, evening and morning, undoing included. [min], [-], [kWh], [currency]
    carried : ndarray of int, shape (night,)
        Containers carried that evening.
    """

    measure: NDArray[np.int16]
    short: NDArray[np.bool_]
    minutes: FloatArray
    lifts: FloatArray
    kwh: FloatArray
    wear: FloatArray
    carried: FloatArray


def choose(ground: Ground, step: SizeStep, rules: RuleSet, *, threads: int = 1) -> Chosen:
    """Go through all nights and do what the rules say, as far as people and gear suffice."""
    raise NotImplementedError
