"""Whether winters have become milder over the record of a place: of the coldest night, and of the whole winter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from fruitwall.plans.years_trend import Trend
    from fruitwall.service.household import Household
    from fruitwall.weather.climate_winters import Winter

CONFIDENCE = 0.9
"""Of the limits that are told beside a trend. [-]"""


@dataclass(frozen=True)
class WinterTrend:
    """One trend.

    Attributes
    ----------
    trend : Trend
    low_k, high_k : float
        Limits of `CONFIDENCE`. [K per 10 years]
    first, last : int
        Years in which the first and last winter of it began.
    count : int
        Winters.
    """

    trend: Trend
    low_k: float
    high_k: float
    first: int
    last: int
    count: int


def real_winters(winters: Sequence[Winter]) -> list[Winter]:
    """Give those that are known whole and are of one real year each, every year once."""
    from fruitwall.weather.demo_climate import TYPICAL

    found = {one.autumn: one for one in reversed(winters) if one.whole and one.source != TYPICAL}
    return [found[autumn] for autumn in sorted(found)]


def coldest_trend(winters: Sequence[Winter]) -> WinterTrend | None:
    """Give the trend of the coldest night of each winter; None where the record is too short."""
    real = real_winters(winters)
    return _trend([one.autumn for one in real], [one.coldest_c for one in real])


def mean_trend(winters: Sequence[Winter]) -> WinterTrend | None:
    """Give the trend of the mean of the five cold months of each winter; None where the record is too short."""
    real = real_winters(winters)
    return _trend([one.autumn for one in real], [one.mean_c for one in real])


def _trend(autumns: list[int], values: list[float]) -> WinterTrend | None:
    from fruitwall.plans.years_trend import slope_limits, trend_of

    found = trend_of(autumns, values)
    if found is None:
        return None
    low, high = slope_limits(autumns, values, CONFIDENCE)
    return WinterTrend(found, low, high, autumns[0], autumns[-1], len(autumns))


def trend_lines(winters: Sequence[Winter], household: Household) -> tuple[str, ...]:
    """Say both trends, each with its limits; empty where the record is too short.

    Parameters
    ----------
    winters : sequence of Winter
    household : Household
        Of who reads.

    Returns
    -------
    tuple of str
    """
    from fruitwall.service.household import percent

    lines = []
    for one, milder, colder in (
        (
            coldest_trend(winters),
            marked(
                "The coldest night has become milder by {change} in ten years ({first} to {last}, {count} winters)."
            ),
            marked(
                "The coldest night has become colder by {change} in ten years ({first} to {last}, {count} winters)."
            ),
        ),
        (
            mean_trend(winters),
            marked("The whole winter has become milder by {change} in ten years ({first} to {last}, {count} winters)."),
            marked("The whole winter has become colder by {change} in ten years ({first} to {last}, {count} winters)."),
        ),
    ):
        if one is None:
            continue
        line = say(
            milder if one.trend.per_decade_k >= 0 else colder,
            change=household.fine_difference(one.trend.per_decade_k),
            first=str(one.first),
            last=str(one.last),
            count=one.count,
        )
        limits = say(
            "Sure between {low} and {high} ({confidence}; plus is milder).",
            low=_signed(one.low_k, household),
            high=_signed(one.high_k, household),
            confidence=percent(CONFIDENCE),
        )
        unsure = "" if one.trend.sure else say("Chance alone may give as much: no trend is proven.")
        lines.append(" ".join(part for part in (line, limits, unsure) if part))
    return tuple(lines)


def _signed(kelvin: float, household: Household) -> str:
    sign = "+" if kelvin >= 0 else "−"
    return f"{sign}{household.fine_difference(abs(kelvin))}"
