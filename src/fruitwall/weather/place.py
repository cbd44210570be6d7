"""Where a forecast holds, and how far that is from the yard."""

from __future__ import annotations

import math
from dataclasses import dataclass

EARTH_RADIUS_KM = 6371.0088  # mean radius of WGS 84 (IUGG)


@dataclass(frozen=True)
class Place:
    """A point on the earth: north and east positive [degree], height above sea level [m]."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float

    def distance_km(self, other: Place) -> float:
        """Give the great-circle distance to another place. [km]

        Examples
        --------
        >>> round(Place(33.95, -117.45, 256).distance_km(Place(33.9, -117.25, 462)), 1)
        19.3
        """
        phi, other_phi = math.radians(self.latitude_deg), math.radians(other.latitude_deg)
        d_lambda = math.radians(other.longitude_deg - self.longitude_deg)
        half = math.sin((other_phi - phi) / 2) ** 2 + math.cos(phi) * math.cos(other_phi) * math.sin(d_lambda / 2) ** 2
        return 2 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(half, 1.0)))

    def words(self) -> str:
        """Say the place as messages do: ``33.90 N 117.25 W``."""
        north = f"{abs(self.latitude_deg):.2f} {'N' if self.latitude_deg >= 0 else 'S'}"
        east = f"{abs(self.longitude_deg):.2f} {'E' if self.longitude_deg >= 0 else 'W'}"
        return f"{north} {east}"
