"""How forecasts fare here, as it is told: errors, what of them is beyond doubt, and whether learning helps.

Every night is foretold anew from the nights before it (`learning.forecasts.foretold`), so that what is said of the
gain is said of nights that were not learned from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.forecasts import LEADS, ForecastErrors, foretold
from fruitwall.learning.scores import crps_normal, crps_student
from fruitwall.service.evening_document import Spread
from fruitwall.service.forecast_errors import LOW_SD, Evidence, evidence_of, learned_errors, pairs_of
from fruitwall.service.kept import Kept

if TYPE_CHECKING:
    from fruitwall.service.house import House

Array = NDArray[np.float64]

CLEAR, OVERCAST = 0.6, 0.3
"""Strength of radiative cooling from which a night counts as clear and calm, and up to which as overcast or windy. Our
judgement: a cloudless night with 2 m/s has 0.6 to 0.7, a cloudy one or one with 4 m/s under 0.25. [-]"""

NIGHTS_AT_LEAST = 5
"""Nights of a kind before anything is said of them. Our judgement."""

WORTH_SAYING_K = 0.3
"""A smaller mean error is not spoken of: a thermometer is no better. [K]"""

LIKELY, WELL = 0.9, 0.99
"""Chance that the mean error is on the side named, from which that is said with doubt, and without. [-]"""

RELIABILITY_NIGHTS = 20
"""Nights from which on tenths are counted: with fewer there are not two in each."""

Sky = Literal["clear", "overcast", "any"]


@dataclass(frozen=True)
class Finding:
    """A mean error that the evidence supports.

    Attributes
    ----------
    sky : str
        On which nights.
    mean_k : float
        Read minus forecast: below zero where forecasts are too warm. [K]
    nights : int
        Nights of that kind.
    sure : bool
        Whether it is beyond doubt, or only likely.
    """

    sky: Sky
    mean_k: float
    nights: int
    sure: bool


@dataclass(frozen=True)
class LeadFared:
    """How forecasts of one lead time fared.

    Attributes
    ----------
    lead : int
        Nights ahead.
    nights : int
    mean_k, miss_k : float
        Mean of read minus forecast, and of its size. [K]
    score_before_k, score_after_k : float
        Continuous ranked probability score with the prior's spread, and with what was learned by then. [K]
    within_before, within_after : int
        Nights within the range that eight of ten should lie in.
    """

    lead: int
    nights: int
    mean_k: float
    miss_k: float
    score_before_k: float
    score_after_k: float
    within_before: int
    within_after: int


@dataclass(frozen=True)
class NightFared:
    """One night of the shortest lead time.

    Attributes
    ----------
    night : date
    read_c, issued_c : float
        Lowest reading, and forecast. [°C]
    error_k : Spread
        What was foretold of read minus forecast, from the nights before. [K]
    """

    night: date
    read_c: float
    issued_c: float
    error_k: Spread


@dataclass(frozen=True, eq=False)
class ForecastReport:
    """All that is told of forecasts here.

    Attributes
    ----------
    evidence : Evidence
    errors : ForecastErrors
    findings : tuple of Finding
    leads : tuple of LeadFared
        By lead time; those without a night are left out.
    nights : tuple of NightFared
        Oldest first.
    tenths_before, tenths_after : tuple of int
        In which tenth of what was foretold the reading fell, how often; empty with few nights.
    """

    evidence: Evidence
    errors: ForecastErrors
    findings: tuple[Finding, ...] = ()
    leads: tuple[LeadFared, ...] = ()
    nights: tuple[NightFared, ...] = ()
    tenths_before: tuple[int, ...] = ()
    tenths_after: tuple[int, ...] = ()


def forecast_report(house: House) -> ForecastReport:
    """Tell how forecasts fare here.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    ForecastReport
        The same one as long as nothing of it changed; with no nights where no reading can be held against a forecast.
    """
    evidence = evidence_of(house)
    return _REPORTS.of(evidence, make=lambda: _report(evidence, learned_errors(house)))


_REPORTS: Kept[ForecastReport] = Kept(8)


def _report(evidence: Evidence, errors: ForecastErrors) -> ForecastReport:
    from scipy.special import ndtr, stdtr

    if not evidence.held:
        return ForecastReport(evidence, errors)
    pairs = pairs_of(evidence.held)
    error = pairs["observed_c"] - pairs["forecast_c"]
    sd, lead = pairs["prior_sd_k"], pairs["lead"]
    told = foretold(**pairs)
    before, after = ndtr(error / sd), stdtr(told.nights, (error - told.mean) / told.scale)
    scores = crps_normal(0.0, sd, error), crps_student(told.mean, told.scale, told.nights, error)
    leads = []
    for ahead in range(LEADS):
        at = lead == ahead
        if at.any():
            leads.append(
                LeadFared(
                    ahead,
                    int(at.sum()),
                    float(error[at].mean()),
                    float(np.abs(error[at]).mean()),
                    float(scores[0][at].mean()),
                    float(scores[1][at].mean()),
                    int((np.abs(before[at] - 0.5) <= 0.4).sum()),
                    int((np.abs(after[at] - 0.5) <= 0.4).sum()),
                )
            )
    first = np.flatnonzero(lead == lead.min())
    low, middle, high = (told.quantile(share)[first] for share in (0.1, 0.5, 0.9))
    nights = tuple(
        NightFared(
            evidence.held[at].said.night,
            evidence.held[at].read_c,
            evidence.held[at].said.minimum_c,
            Spread(p10=float(low[row]), p50=float(middle[row]), p90=float(high[row])),
        )
        for row, at in enumerate(first)
    )
    enough = first.size >= RELIABILITY_NIGHTS
    return ForecastReport(
        evidence,
        errors,
        tuple(_findings(errors, pairs["clear"][first], int(lead.min()))),
        tuple(leads),
        nights,
        _tenths(before[first]) if enough else (),
        _tenths(after[first]) if enough else (),
    )


def _tenths(chances: Array) -> tuple[int, ...]:
    return tuple(int(one) for one in np.bincount(np.clip((chances * 10).astype(int), 0, 9), minlength=10))


def _findings(errors: ForecastErrors, clear: Array, lead: int) -> list[Finding]:
    """Give the mean errors that the evidence supports: by sky where it tells apart, else of all nights."""
    from scipy.special import stdtr

    free = float(errors.nights[lead])
    slope = errors.mean[lead, 1] / np.sqrt(errors.factor2[lead] * errors.covariance[lead, 1, 1])
    kinds: Sequence[tuple[Sky, NDArray[np.bool_]]]
    if stdtr(free, abs(slope)) >= LIKELY:
        kinds = (("clear", clear >= CLEAR), ("overcast", clear <= OVERCAST))
    else:
        kinds = (("any", np.ones(clear.size, dtype=bool)),)
    found = []
    for sky, its in kinds:
        if its.sum() < NIGHTS_AT_LEAST:
            continue
        mean, sd = errors.on_nights(float(clear[its].mean()), lead)
        chance = float(stdtr(free, abs(mean) / (sd * np.sqrt((free - 2.0) / free))))
        if abs(mean) >= WORTH_SAYING_K and chance >= LIKELY:
            found.append(Finding(sky, mean, int(its.sum()), chance >= WELL))
    return found


@dataclass(frozen=True)
class ForNight:
    """What learning makes of a night's forecast.

    Attributes
    ----------
    before_k, after_k : Spread
        Of read minus forecast. [K]
    """

    before_k: Spread
    after_k: Spread


def for_night(errors: ForecastErrors, clear: float, sd_k: float) -> ForNight:
    """Say what is expected of tonight's error before and after learning.

    Parameters
    ----------
    errors : ForecastErrors
    clear : float
        How clear and calm the night is, 0 to 1.
    sd_k : float
        Spread before anything was learned. [K]

    Returns
    -------
    ForNight
    """
    half = sd_k * LOW_SD / 2.0
    shift, factor = (float(one) for one in errors.shift_and_factor(clear, sd_k))
    return ForNight(
        Spread(p10=-half, p50=0.0, p90=half),
        Spread(p10=shift - factor * half, p50=shift, p90=shift + factor * half),
    )
