"""What placing needs of the winters beside its raster: the minima of all nights, and the chill that they gave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.seasons import NightMinima
from fruitwall.service.kept import Kept

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.plants.chill_needs import Basis
    from fruitwall.service.winters_weather import WinterWeather

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class ChillMet:
    """Whether the place's winters give a kind the chill that it needs.

    Attributes
    ----------
    basis : str
        As in `plants.chill_needs`.
    least, most : float or None
        Share of winters that meet the lowest and the highest published need. [-]
    """

    basis: Basis
    least: float | None = None
    most: float | None = None


def chill_met(taxon: Taxon, weather: WinterWeather) -> ChillMet:
    """Tell in what share of winters a kind gets the chill that it needs, by the air of the station."""
    from fruitwall.plants.chill_needs import needs_of

    needs = needs_of(taxon)
    first = needs.first
    if first is None:
        return ChillMet(needs.basis)
    sums = _chill(weather)[first.model]
    return ChillMet(
        needs.basis, float(weather.weights @ (sums >= first.low)), float(weather.weights @ (sums >= first.high))
    )


_CHILL: Kept[dict[str, FloatArray]] = Kept(4)


def _chill(weather: WinterWeather) -> dict[str, FloatArray]:
    """Give every chill sum of every winter, by model."""
    from fruitwall.plants.chill_sums import chill_sums

    def make() -> dict[str, FloatArray]:
        found = chill_sums(np.concatenate([winter.t_air_c for winter in weather.winters]))
        return {model: np.asarray(series[:, -1]) for model, series in found.by_model.items()}

    return _CHILL.of(weather, key=weather.mark, make=make)


def night_minima(weather: WinterWeather) -> NightMinima:
    """Give the lowest air of every night of the winters."""
    from fruitwall.weather.forcing import as_datetime64

    hour = np.timedelta64(3600, "s")
    begin = as_datetime64(weather.nights[0].start_utc).astype("datetime64[h]").astype("datetime64[s]")
    minima = np.full((len(weather.winters), len(weather.nights)), np.nan)
    # All winters lie on the calendar of one: counted in hours, each begins ten days before the first night.
    for at, night in enumerate(weather.nights):
        first, last = (int((as_datetime64(end) - begin) // hour) + 240 for end in (night.start_utc, night.end_utc))
        for row, winter in enumerate(weather.winters):
            if weather.known[row, at]:
                minima[row, at] = winter.t_air_c[0, first : last + 1].min()
    evening = np.array([night.name for night in weather.nights], dtype="datetime64[D]")
    return NightMinima(evening, minima, north=bool(weather.winters[0].latitude_deg >= 0.0))
