"""What surrounds one place of the yard: the spot of a tree.

Rays are cast from the crown into both hemispheres; what they meet gives the shares of sky, roofs, walls and
canopies, the sun that gets through, and the ground seen below. Shelter from wind and cold-air hollows are judged
by simple documented rules.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Spot:
    """Surroundings of one place at one height.

    Attributes
    ----------
    id : str
        Whose spot: a tree, or any name the caller gave.
    x_m, y_m, height_m : float
        Place in the yard's frame and representative height of the crown. [m]
    sky, roof, wall, canopy : float
        Shares of the upper hemisphere as a level leaf sees it (cosine-weighted); they sum to one. `roof` is what
        hangs overhead, `wall` walls, buildings and fences, `canopy` crowns and the hills of the horizon.
    wall_ids : tuple of str
        Keys of what makes up `wall` and `wall_below`: ids of `physics.faces.Face`, or ``fence/<id>`` for a fence,
        which stores no heat and is at air temperature.
    wall_shares, wall_below_shares : tuple of float
        Parallel to `wall_ids`; sum to `wall` and `wall_below`.
    wall_below : float
        Share of the lower hemisphere that is wall rather than ground. [0-1]
    ground : str
        Surface of the ordinary ground: "bare", "turf" or "mulch".
    paving_share, pond_share : float
        Shares of the ground seen below that are paving and open water, view-weighted; their sum is at most 1. [0-1]
    paving_material : str or None
        Of the paving seen most.
    sun_share : ndarray, shape (72, 18)
        Beam sun that gets through, 0-1, by azimuth (5° bins from north) and elevation (5° bins from the horizon);
        read it with `sun_visibility`.
    diffuse_share : float
        Share of the sky's diffuse sunlight that arrives on a level surface: open sky, gaps of crowns, glazed roofs.
    roof_transmits_sun : float
        Share of sun let through by the roofs seen (mean over them); 0 where no roof is seen.
    wind_share : float
        Wind at the spot over wind at the same height in the open. [0-1]
    colder_k : float
        How much colder the air is than the yard's on a night of full radiative cooling (hollows). [K]
    stillness : float
        0 open, 1 enclosed on all sides and above: how weak the exchange with the air above is. [0-1]
    """

    id: str
    x_m: float
    y_m: float
    height_m: float
    sky: float
    roof: float
    wall: float
    canopy: float
    wall_ids: tuple[str, ...]
    wall_shares: tuple[float, ...]
    wall_below: float
    wall_below_shares: tuple[float, ...]
    ground: str
    paving_share: float
    pond_share: float
    paving_material: str | None
    sun_share: FloatArray = field(repr=False)
    diffuse_share: float
    roof_transmits_sun: float
    wind_share: float
    colder_k: float
    stillness: float
