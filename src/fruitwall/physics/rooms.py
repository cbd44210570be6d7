"""How cold it gets in a shed, garage or room into which containers are carried.

Indoors there is no sky: air, walls and plant are taken to be at one temperature.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan


@dataclass(frozen=True)
class Room:
    """Climate of an indoor place.

    Attributes
    ----------
    key : str
        Identifier of the place.
    kept_at_c : float
        Lowest temperature that its heating keeps; NaN if it is not heated. [°C]
    warmer_k : float
        How much warmer than outside it is at the end of the night if not heated, 0 to 25. [K]
    """

    key: str
    kept_at_c: float = nan
    warmer_k: float = 3.0

    def __post_init__(self) -> None:
        if not (isnan(self.kept_at_c) or -10 <= self.kept_at_c <= 35):
            raise ValueError(f"kept_at_c must be at least -10 and at most 35 °C, got {self.kept_at_c!r}")
        if not 0 <= self.warmer_k <= 25:
            raise ValueError(f"warmer_k must be at least 0 and at most 25 K, got {self.warmer_k!r}")

    @property
    def heated(self) -> bool:
        """Whether a heating keeps it at a temperature."""
        return not isnan(self.kept_at_c)
