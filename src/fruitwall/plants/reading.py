"""What does a published statement say about the limits of a tree?

A row of evidence becomes zero, one or two `Reading`s: on which organ, at what level of injury, whether the limit lies
within an interval or only on one side, all brought to tissue temperature of a one-hour exposure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants.catalogue import Evidence
from fruitwall.plants.effects import (
    AIR_TO_FRUIT_K,
    AIR_TO_TISSUE_K,
    CHILL_CODE_ABOVE_K,
    DURATION_K_PER_LOG2H,
    USUAL_HOURS,
    YOUNG_GAP_SD_K,
)
from fruitwall.plants.normal import ndtr

Organ = Literal["tree", "flush", "flower", "fruit", "chill"]
Side = Literal["within", "colder"]

ROUNDING_K = 0.5
"""Half of the usual whole degree to which figures are given. [K]"""

ROW_SD_K = {"threshold": 1.0, "survives": 1.0, "observed": 1.0, "lab_LT": 0.7, "db_code": 1.5}
"""How far a single figure strays from what its own source knows. [K]

Assumption, ordered by type: laboratory figures are sharpest, whole-degree expert codes coarsest.
"""

ANY_AGE_SD_K = 1.0
"""Added where the source does not say whether young or grown trees are meant. Assumption. [K]"""

NO_HOURS_SD_K = 0.5
"""Added where the source gives no duration: half a night more or less. Assumption. [K]"""

REPORTED_WITHIN_K = 3.0
"""An injury seen at some temperature is reported because it is news: the limit is there or at most so much milder.

Assumption. [K]
"""

LEVEL = {"leaf_injury": 1.0, "twig_injury": 0.4, "severe_injury": 0.3, "death": 0.0}
"""Where on the way from death of the wood (0) to first leaf burn (1) an effect lies.

'Severe' covers dead twigs and dead limbs. A laboratory figure for leaves is the temperature that kills half of the
leaf.
"""

HALF_LEAF_LEVEL = 0.6


IN_GROWTH_ABOVE_C = -6.0
"""A killing temperature of a kind that rests leafless, milder than this, cannot be one of its rest. [°C]

Three of the five temperate kinds whose code in the data base is milder have another figure, and all three are hardier
by more than 9 K (apricot -5 against -33, peach -5 against -15 to -25, Japanese plum -4 against -23 °C); codes of -9 °C
and colder agree with others. -4 to -5 °C is about what such kinds stand in leaf (`effects.TENDER_WOOD_C`), so it is
read as a figure of the tree in growth: at rest it stands more. The two mulberries have nothing else.
"""


@dataclass(frozen=True)
class Reading:
    """One constraint on one limit: it lies within [low, high], or is colder than `high_c`.

    Tissue temperature of a one-hour exposure. [°C], [K]
    """

    voice: str
    organ: Organ
    level: float
    young: bool
    side: Side
    low_c: float
    high_c: float
    sd_k: float

    def likelihood(self, limit_c: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the chance of this statement for limits. [shape of `limit_c`]"""
        below_high = np.asarray(ndtr((self.high_c - limit_c) / self.sd_k))
        if self.side == "colder":
            return below_high
        above_low = np.asarray(ndtr((limit_c - self.low_c) / self.sd_k))
        return np.asarray(np.maximum(above_low + below_high - 1.0, 1e-12))


def readings(rows: Iterable[Evidence], *, rests: bool = False) -> list[Reading]:
    """Read statements on hardened trees; growth limits, and chilling of flowers and fruit, say nothing on the tree.

    `rests`: of a temperate kind, whose hardened state is leafless rest.
    """
    found = [reading for row in rows for reading in _read(row)]
    return [_at_rest(reading) for reading in found] if rests else found


def _at_rest(reading: Reading) -> Reading:
    """Read a killing temperature too mild for a tree at rest as one that it stands at rest."""
    if reading.organ != "tree" or reading.level > 0.0 or reading.side == "colder":
        return reading
    middle = 0.5 * (reading.low_c + reading.high_c)
    stated = IN_GROWTH_ABOVE_C - AIR_TO_TISSUE_K - DURATION_K_PER_LOG2H * np.log2(USUAL_HOURS)
    return replace(reading, side="colder", low_c=middle, high_c=middle) if middle > stated else reading


def _read(row: Evidence) -> list[Reading]:
    if row.type == "growth_limit" or row.unhardened:
        # What a tree stands before the cold weeks is where `effects` has the capacity to harden from.
        return []
    if row.effect == "chilling_injury" or row.low_c > 2.0:
        return [] if row.stage in ("flower", "fruit", "new_growth") else _chilling(row)
    organ, level, young = _about(row)
    shift = 0.0 if row.at_tissue else -(AIR_TO_FRUIT_K if organ == "fruit" else AIR_TO_TISSUE_K)
    shift -= DURATION_K_PER_LOG2H * np.log2(row.duration_h or USUAL_HOURS)
    low, high = row.low_c + shift, row.high_c + shift
    sd = float(
        np.sqrt(
            ROW_SD_K[row.type] ** 2
            + (ANY_AGE_SD_K**2 if row.stage == "any" else 0.0)
            + (NO_HOURS_SD_K**2 if row.duration_h is None else 0.0)
            + (YOUNG_GAP_SD_K**2 if young else 0.0)
        )
    )
    # Of a range that was stood or suffered, nobody says how much of it: its middle, with its width as doubt.
    middle, width_sd = 0.5 * (low + high), float(np.hypot(sd, (high - low) / np.sqrt(12.0)))
    if row.type == "survives":
        return [Reading(row.voice, organ, level, young, "colder", middle, middle, width_sd)]
    if row.type == "observed":
        found = [Reading(row.voice, organ, level, young, "within", middle, middle + REPORTED_WITHIN_K, width_sd)]
        if organ == "tree" and row.effect != "death":
            # Who reports leaf or limbs hurt has seen the tree live.
            found.append(Reading(row.voice, organ, 0.0, young, "colder", middle, middle, width_sd))
        return found
    return [Reading(row.voice, organ, level, young, "within", low - ROUNDING_K, high + ROUNDING_K, sd)]


def _about(row: Evidence) -> tuple[Organ, float, bool]:
    """Organ, level and youth that a freezing row is about."""
    if row.stage == "fruit":
        return "fruit", 0.0, False
    if row.stage == "flower":
        return "flower", 0.0, False
    if row.stage == "new_growth" or (row.stage == "young" and row.type == "db_code"):
        # A data base's code for early growth means seedlings or flush without telling which.
        return "flush", 0.0, False
    level = HALF_LEAF_LEVEL if row.type == "lab_LT" and row.effect == "leaf_injury" else LEVEL[row.effect]
    return "tree", level, row.stage == "young"


def _chilling(row: Evidence) -> list[Reading]:
    """Read a row on suffering above freezing, on the scale of a night's eight-hour mean.

    The coldest hour is below that mean, the leaf below the shelter's air: about the same, so no shift.
    """
    sd = float(np.hypot(2.0 * ROW_SD_K[row.type], (row.high_c - row.low_c) / np.sqrt(12.0)))
    middle = 0.5 * (row.low_c + row.high_c)
    if row.type == "observed":
        return [Reading(row.voice, "chill", 0.0, False, "within", middle, middle + REPORTED_WITHIN_K, sd)]
    if row.type == "survives":
        return [Reading(row.voice, "chill", 0.0, False, "colder", middle, middle, sd)]
    first_burn = middle + (CHILL_CODE_ABOVE_K if row.type == "db_code" else 0.0)
    return [
        Reading(row.voice, "chill", 0.0, False, "within", first_burn - ROUNDING_K, first_burn + ROUNDING_K, sd),
    ]
