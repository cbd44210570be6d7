"""The weather before a look, summed up as a leaf meets it: heat, rain, dry spells, dry wind over cold ground."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from fruitwall.service.past_weather import past_stretches
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from fruitwall.service.house import House

FIRST_LOOK_DAYS = 60
"""How far back a first look is taken to look: older damage would have been seen. Our judgement. [days]"""

LATELY_DAYS = 14
"""Days of the mean air and the rain that count for roots. Our judgement."""

KNOWN_SHARE = 0.5
"""Of the nights or hours asked for at least so many must be known. Our judgement."""

RAINY_DAY_MM = 5.0
"""Rain of a day that ends a dry spell. Our judgement. [mm]"""

DRYING_WIND_M_S, DRYING_K, DRYING_BELOW_C = 5.0, 8.0, 12.0
"""A day of mean wind, dew point below the air by so much, and air below so much dries leaves over cold soil
(dunning2014 tells of dry wind and cold ground; the figures are our judgement). [m/s], [K], [°C]"""


LONGEST_SPELL = np.timedelta64(366, "D")
"""What lies longer ago is not looked at."""


@dataclass(frozen=True)
class Spell:
    """Weather before a look; None for what is not known.

    Attributes
    ----------
    hottest_c, mean_c : float or None
        Since the look before; of the last two weeks. [°C]
    rain_mm : float or None
        Of the last two weeks. [mm]
    dry_days : float or None
        Whole days without rain to speak of.
    drying_wind : bool
        Whether dry wind blew over cold ground.
    """

    hottest_c: float | None = None
    mean_c: float | None = None
    rain_mm: float | None = None
    dry_days: float | None = None
    drying_wind: bool = False


@dataclass(frozen=True, eq=False)
class KnownHours:
    """All known hours, oldest first: air and dew point [°C], wind [m/s], rain of the hour before [mm]."""

    time_utc: NDArray[np.datetime64]
    air_c: NDArray[np.float64]
    dew_c: NDArray[np.float64]
    wind_m_s: NDArray[np.float64]
    rain_mm: NDArray[np.float64]

    @property
    def _rows(self) -> tuple[NDArray[Any], ...]:
        return self.time_utc, self.air_c, self.dew_c, self.wind_m_s, self.rain_mm

    def until(self, at: datetime, since: datetime) -> Spell:
        """Sum up the time before a look.

        Parameters
        ----------
        at : datetime, aware
            Of the look.
        since : datetime, aware
            Of the look before.

        Returns
        -------
        Spell
        """
        end = as_datetime64(at)
        first, last = np.searchsorted(self.time_utc, [end - LONGEST_SPELL, end], side="right")
        if last - first < self.time_utc.size:
            return KnownHours(*(row[first:last] for row in self._rows)).until(at, since)
        back = (end - self.time_utc) / np.timedelta64(1, "D")  # days before the look
        far = min((at - since) / timedelta(days=1), float(FIRST_LOOK_DAYS))
        window = (back >= 0) & (back <= max(far, 1.0))
        lately = (back >= 0) & (back <= LATELY_DAYS)
        enough = window.sum() >= KNOWN_SHARE * 24.0 * max(far, 1.0)
        enough_lately = lately.sum() >= KNOWN_SHARE * 24.0 * LATELY_DAYS
        return Spell(
            hottest_c=float(self.air_c[window].max()) if enough else None,
            mean_c=float(self.air_c[lately].mean()) if enough_lately else None,
            rain_mm=float(self.rain_mm[lately].sum()) if enough_lately else None,
            dry_days=self._dry_days(back) if enough_lately else None,
            drying_wind=bool(enough_lately and self._drying(back, lately)),
        )

    def _dry_days(self, back: NDArray[np.float64]) -> float:
        """Count whole days back to one of rain, or to where nothing is known."""
        day = np.floor(back).astype(np.int64)
        rain = np.bincount(day, weights=self.rain_mm)
        ends = (rain >= RAINY_DAY_MM) | (np.bincount(day) < KNOWN_SHARE * 24.0)
        return float(ends.argmax() if ends.any() else ends.size)

    def _drying(self, back: NDArray[np.float64], lately: NDArray[np.bool_]) -> bool:
        """Whether one of the last days had dry wind over cold ground."""
        day = np.floor(back).astype(np.int64)
        for one in range(LATELY_DAYS):
            its = lately & (day == one)
            if (
                its.sum() >= 12
                and self.wind_m_s[its].mean() >= DRYING_WIND_M_S
                and (self.air_c[its] - self.dew_c[its]).mean() >= DRYING_K
                and self.air_c[its].mean() <= DRYING_BELOW_C
            ):
                return True
        return False


def known_hours(house: House) -> KnownHours:
    """Give all hours of past weather that are known of a yard."""
    parts = [one.forcing for one in past_stretches(house)]

    def row(name: str) -> NDArray[np.float64]:
        return np.concatenate([getattr(one, name)[0] for one in parts]) if parts else np.zeros(0)

    times = [one.time_utc for one in parts]
    return KnownHours(
        time_utc=np.concatenate(times) if times else np.zeros(0, dtype="datetime64[s]"),
        air_c=row("t_air_c"),
        dew_c=row("t_dew_c"),
        wind_m_s=row("wind_m_s"),
        rain_mm=row("rain_mm"),
    )
