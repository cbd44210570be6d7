"""The margin scale: how far a tree's coldest tissue stays from what it stands, in four bands.

A band is told three times over: by words, by the height and build of its block, and by colour. Danger is also
ordered by lightness (towards black on paper, towards white at night), so the scale survives every kind of colour
blindness, a dimmed screen and a grey print.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

from fruitwall.speech import marked


@dataclass(frozen=True)
class Band:
    """One step of the scale."""

    key: str
    """Name in classes and style sheet."""
    name: str
    """Name in words."""
    from_k: float
    """Lowest margin in the band. [K]"""
    height: float
    """Height of its block, as a share of the row."""


SAFE = Band("safe", marked("safe"), 2.0, 0.2)
NEAR = Band("near", marked("near"), 0.0, 0.6)
BEYOND = Band("beyond", marked("beyond"), -2.0, 1.0)
FAR = Band("far", marked("far beyond"), float("-inf"), 1.0)

BANDS = (SAFE, NEAR, BEYOND, FAR)
"""Mildest first."""


def band_of(margin_k: float) -> Band | None:
    """Give the band of a margin.

    Parameters
    ----------
    margin_k : float
        Tissue temperature minus what the tissue stands. [K]

    Returns
    -------
    Band or None
        None for NaN: nothing is known.
    """
    if isnan(margin_k):
        return None
    return next(band for band in BANDS if margin_k >= band.from_k)
