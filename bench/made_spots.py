"""Yards with thermometers whose true offsets are known, drawn from the prior of `learning.spots`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from fruitwall.learning.spots import (
    HYPER_SD,
    NIGHT_SD_K,
    NOISE_SD_K,
    SPELL_NIGHTS,
    SPELL_SD_K,
    SPOT_CLEAR_SD_K,
    SPOT_SD_K,
    YARD_SD_K,
    SpotReadings,
    learn_spots,
)

FloatArray = NDArray[np.float64]
Row = tuple[str, int, float, float, float]

READ, UNREAD = ("a", "b", "c"), ("d", "e")
SPOTS = (*READ, *UNREAD)


@dataclass(frozen=True)
class Made:
    """A made-up yard: true offsets by spot, and what its thermometers read."""

    true: dict[str, FloatArray]
    readings: SpotReadings


def readings_of(rows: Sequence[Row]) -> SpotReadings:
    """Lay rows of spot, night, clearness, difference and extra doubt out."""
    spot, night, clear, difference, extra = (list(column) for column in zip(*rows, strict=True))
    return SpotReadings(spot, night, clear, difference, extra)


def draw(rng: np.random.Generator, nights: int, scales: ArrayLike | None = None) -> Made:
    """Draw a yard from the prior; the thermometer at "b" is read by hand."""
    factor = np.exp(rng.normal(0.0, HYPER_SD) if scales is None else np.asarray(scales))
    yard_sd, spot_sd, clear_sd, night_sd, noise_sd, spell_sd = (
        np.array([YARD_SD_K, SPOT_SD_K, SPOT_CLEAR_SD_K, NIGHT_SD_K, NOISE_SD_K, SPELL_SD_K]) * factor
    )
    yard = rng.normal(0.0, yard_sd, 2)
    true = {name: yard + rng.normal(0.0, [spot_sd, clear_sd]) for name in SPOTS}
    spells = rng.normal(0.0, spell_sd, (len(READ), nights // SPELL_NIGHTS + 1))
    rows: list[Row] = []
    for night in range(nights):
        clear, shared = rng.uniform(0.0, 1.0), rng.normal(0.0, night_sd)
        for name in READ:
            extra = 0.5 if name == "b" else 0.0
            noise = rng.normal(0.0, np.hypot(noise_sd, extra))
            own = true[name] @ [1.0, clear] + spells[READ.index(name), night // SPELL_NIGHTS]
            rows.append((name, night, clear, float(own + shared + noise), extra))
    return Made(true, readings_of(rows))


def ranks(count: int, asked: Sequence[tuple[str, float]], seed: int, narrower: float = 1.0) -> FloatArray:
    """Where the truth falls in what is believed of it, for many yards drawn from the prior."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        made = draw(rng, int(rng.integers(2, 25)))
        got = learn_spots(SPOTS, made.readings)
        row = []
        for name, clear in asked:
            mean, sd = got[name].at(clear)
            row.append(norm.cdf((made.true[name] @ [1.0, clear] - mean) / (narrower * sd)))
        found.append(row)
    return np.array(found)
