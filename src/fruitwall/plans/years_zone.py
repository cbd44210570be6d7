"""In which hardiness zone a record of winters lies, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plans.years import effective_winters
from fruitwall.yard.hardiness import hardiness_zone

ZONE_WINTERS = 30
"""Winters of which the published zone is the mean (USDA Plant Hardiness Zone Map 2023)."""

CONFIDENCE_SIGMA = 1.6448536
"""Standard errors on both sides that hold the truth in 9 cases of 10, for a normal mean. [-]"""


@dataclass(frozen=True)
class ZoneFound:
    """A hardiness zone.

    Attributes
    ----------
    zone : str
        By the mean of the coldest temperatures of the winters, such as ``9b``.
    mean_c : float
        That mean. [°C]
    standard_error_k : float
        Of it; NaN for a single winter. [K]
    colder, warmer : str
        Zones of the mean less and plus `CONFIDENCE_SIGMA` standard errors.
    winters : int
    colder_share : float
        Share of the winters that were colder than the mean: a zone is no promise. [-]
    below_zone_share : float
        Share of the winters that were colder than the lower bound of the zone itself. [-]
    """

    zone: str
    mean_c: float
    standard_error_k: float
    colder: str
    warmer: str
    winters: int
    colder_share: float
    below_zone_share: float

    @property
    def enough(self) -> bool:
        """Whether there are as many winters as the published zone takes."""
        return self.winters >= ZONE_WINTERS


def zone_of(annual_minima_c: ArrayLike, *, weights: ArrayLike | None = None) -> ZoneFound:
    """Give the hardiness zone of a record.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        Coldest temperature of each winter; of a longer record the caller takes the newest `ZONE_WINTERS`. [°C]
    weights : array_like, shape (winter,), optional
        How likely a coming winter is like each. The published zone has none. [-]

    Returns
    -------
    ZoneFound

    Raises
    ------
    ValueError
        If there is no winter, one is not known, or weights cannot be.
    """
    from fruitwall.yard.hardiness import zone_bounds_c

    minima = np.asarray(annual_minima_c, dtype=np.float64)
    if minima.ndim != 1 or minima.size < 1 or not np.isfinite(minima).all():
        raise ValueError("annual_minima_c must be a list of winters, all of them known")
    w = np.ones(minima.size) if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != minima.shape:
        raise ValueError(f"weights must be one for each of {minima.size} winters, got {w.size}")
    count = effective_winters(w)
    w = w / w.sum()
    mean = float(w @ minima)
    error = math.nan
    if count > 1.0:
        error = math.sqrt(float(w @ (minima - mean) ** 2) * count / (count - 1.0) / count)
    half = 0.0 if math.isnan(error) else CONFIDENCE_SIGMA * error
    zone = hardiness_zone(mean)
    return ZoneFound(
        zone=zone,
        mean_c=mean,
        standard_error_k=error,
        colder=hardiness_zone(mean - half),
        warmer=hardiness_zone(mean + half),
        winters=minima.size,
        colder_share=float(w[minima < mean].sum()),
        below_zone_share=float(w[minima < zone_bounds_c(zone)[0]].sum()),
    )
