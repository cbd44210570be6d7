"""How cold the winters of other years were: coldest night, first and last freeze."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from fruitwall.weather.stamps import solar_offset

if TYPE_CHECKING:
    from fruitwall.weather.forcing import Forcing

WHOLE_SHARE = 0.95
"""A winter counts as whole if at least this share of the hours of its five cold months is known. Our judgement. [-]"""


@dataclass(frozen=True)
class Winter:
    """One winter of one place.

    Attributes
    ----------
    name : str
        Such as ``2026/27``; in the south ``2026``.
    autumn : int
        Year in which it began; for typical years a nominal one.
    source : str
    share : float
        Of the hours of its five cold months that are known: November to March, south of the equator May to September.
    coldest_c : float
        Lowest air temperature. [°C]
    coldest_night : date
        Date of that night's evening.
    freezing_nights : int
        Nights with a minimum at or below the limit.
    first_freeze, last_freeze : date or None
        Evening of the first and the last of these; None where there was none.
    mean_c : float
        Mean air temperature of the hours of its five cold months that are known. [°C]
    """

    name: str
    autumn: int
    source: str
    share: float
    coldest_c: float
    coldest_night: date
    freezing_nights: int
    first_freeze: date | None
    last_freeze: date | None
    mean_c: float = float("nan")

    @property
    def whole(self) -> bool:
        """Whether it can stand beside other winters."""
        return self.share >= WHOLE_SHARE


def winters_of(years: Iterable[Forcing], *, freeze_c: float = 0.0) -> tuple[Winter, ...]:
    """Tell how cold winters were.

    Parameters
    ----------
    years : iterable of Forcing
        One member each, cut at midsummer (`climate.season_years`).
    freeze_c : float
        A night at or below this is one of frost. [°C]

    Returns
    -------
    tuple of Winter
        In the order given; years without an hour of the cold months are left out.

    Notes
    -----
    A night runs from noon to noon of local mean solar time and is named by its evening.
    """
    return tuple(winter for year in years if (winter := _winter(year, freeze_c)) is not None)


def _winter(year: Forcing, freeze_c: float) -> Winter | None:
    """Look at one year."""
    north = year.latitude_deg >= 0
    first_month, last_month = (11, 3) if north else (5, 9)
    solar = year.time_utc + np.timedelta64(int(solar_offset(year.longitude_deg).total_seconds()), "s")
    months = solar.astype("datetime64[M]").astype(int) % 12 + 1
    cold = (months >= first_month) | (months <= last_month) if north else (months >= 5) & (months <= 9)
    if not cold.any():
        return None
    begun = (solar[cold][0] - np.timedelta64(183, "D")).astype("datetime64[Y]").astype(int) + 1970 if north else None
    autumn = int(begun) if begun is not None else int(solar[cold][0].astype("datetime64[Y]").astype(int)) + 1970
    last_day = datetime(autumn + north, last_month + 1, 1)  # noqa: DTZ001 - local solar dates
    expected = (last_day - datetime(autumn, first_month, 1)) / timedelta(hours=1)  # noqa: DTZ001
    nights = (solar - np.timedelta64(12 * 3600, "s")).astype("datetime64[D]")
    air = year.t_air_c[0]
    freezing = np.unique(nights[air <= freeze_c])
    coldest = int(air.argmin())
    return Winter(
        name=f"{autumn}/{(autumn + 1) % 100:02d}" if north else f"{autumn}",
        autumn=autumn,
        source=year.source,
        share=min(float(cold.sum()) / expected, 1.0),
        coldest_c=float(air[coldest]),
        coldest_night=nights[coldest].astype(date),
        freezing_nights=int(freezing.size),
        first_freeze=freezing[0].astype(date) if freezing.size else None,
        last_freeze=freezing[-1].astype(date) if freezing.size else None,
        mean_c=float(air[cold].mean()),
    )
