"""Which winters "what if" is asked of: those of the yard's climate, as the user wants them weighted and warmed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fruitwall.physics.treatment import Night
    from fruitwall.service.house import House
    from fruitwall.weather.forcing import Forcing


@dataclass(frozen=True)
class WeatherChoice:
    """How the user wants the winters taken.

    Attributes
    ----------
    warmer_k : float
        Added to all temperatures. [K]
    weighting : str
        ``equal``; ``recent``: weights fall by half in so many years.
    trend_taken_out : bool
        Whether every winter is first moved to the level of today by the trend of the record.
    most : int
        Newest winters taken at most.
    """

    warmer_k: float = 0.0
    weighting: Literal["equal", "recent"] = "equal"
    trend_taken_out: bool = False
    most: int = 40


@dataclass(frozen=True, eq=False)
class WinterWeather:
    """Winters ready to be replayed.

    Attributes
    ----------
    winters : tuple of Forcing
        One member each, oldest first; each holds all hours from ten days before the first night to the end of the last.
    names : tuple of str
        Such as ``1989/90``.
    weights : ndarray, shape (winter,)
        Sum to one.
    nights : tuple of Night
        Of the calendar's season.
    source : str
    notes : tuple of str
        For the user.
    mark : str
        The same for the same hours, weights and nights.
    """

    winters: tuple[Forcing, ...]
    names: tuple[str, ...]
    weights: NDArray[np.float64]
    nights: tuple[Night, ...]
    source: str
    notes: tuple[str, ...]
    mark: str


def winter_weather(house: House, choice: WeatherChoice = WeatherChoice()) -> WinterWeather | None:  # noqa: B008
    """Give the winters of a yard's climate; None where no whole winter is known."""
    raise NotImplementedError
