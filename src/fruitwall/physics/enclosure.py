"""What a cover makes of the space around a tree: its skin, its leaks, what it lets through and what it touches."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, pi, sqrt

from fruitwall.physics.body import Body
from fruitwall.physics.covers import MATERIALS, Material
from fruitwall.physics.treatment import Treatment

DRAPE_FLARE = 0.3
"""By how much a draped cloth stands wider at the ground than the crown, over its height: it hangs out and is weighed
down a hand's breadth to two feet from the drip line. Our judgement."""

FRAME_GAP_M = 0.2
"""Room between crown and frame where the frame's size is not given. [m]"""

TOUCHING = 0.3
"""Share of the outer leaves that a draped cloth touches; the yard's tolerance speaks of them all. Our judgement."""

TOUCH_COVER = 0.8
"""Weight of the cover's temperature in that of a leaf that touches it; the rest is the inside air. A millimetre of air
between carries about 25 W/(m² K) and radiation 4, the leaf's free side about 8."""

OPEN_HEM_M_S = 0.02
OPEN_HEM_PER_WIND = 0.10
"""Exchange through an open lower edge, per ground area: in calm [m/s], and per wind [-]. Our judgement."""

LEAF_HEIGHT = 0.75
"""Height of the leaf we ask about over that of the plant."""


@dataclass(frozen=True)
class Enclosure:
    """Space under a cover.

    Attributes
    ----------
    ground_m2 : float
        Ground enclosed. [m²]
    top, sides : Material or None
        None where it is open.
    top_ratio, side_ratio : float
        Cover area over ground area.
    top_view : float
        Share of a leaf's upper hemisphere that is top rather than sides. [0-1]
    height_m : float
        Mean height of the enclosed air. [m]
    to_ground : bool
        Whether it reaches the ground all round.
    touching : float
        Share of the outer leaves that touch it. [0-1]
    """

    ground_m2: float
    top: Material
    sides: Material | None
    top_ratio: float
    side_ratio: float
    top_view: float
    height_m: float
    to_ground: bool
    touching: float

    @property
    def closed(self) -> bool:
        """Whether it encloses the air on all sides and down to the ground."""
        return self.sides is not None and self.to_ground

    def seen(self, name: str) -> float:
        """Property as a leaf sees it: top and sides weighed by the upper hemisphere; an open side lets all through."""
        open_side = 1.0 if name in ("longwave_through", "wet_longwave_through", "sun_through") else 0.0
        side = open_side if self.sides is None else float(getattr(self.sides, name))
        return self.top_view * float(getattr(self.top, name)) + (1.0 - self.top_view) * side

    def areas(self, name: str) -> tuple[float, float]:
        """Property times area over ground area, of top and of sides."""
        side = 0.0 if self.sides is None else self.side_ratio * float(getattr(self.sides, name))
        return self.top_ratio * float(getattr(self.top, name)), side


def enclose(treatment: Treatment, body: Body) -> Enclosure:
    """Give the space that a treatment's cover makes around a plant.

    Parameters
    ----------
    treatment : Treatment
        With a cover.
    body : Body
        The plant under it.

    Returns
    -------
    Enclosure

    Raises
    ------
    ValueError
        If the treatment has no cover.

    Notes
    -----
    A draped cloth is taken as a cone frustum from the crown's width to somewhat more at the ground (or, if it does not
    reach it, at its hem); a frame as a box. A frame lower than the plant is taken as high as the plant.
    """
    if treatment.cover is None:
        raise ValueError(f'treatment "{treatment.key}" has no cover to enclose anything with')
    top = MATERIALS[treatment.cover]
    sides = None if treatment.sides == "open" else MATERIALS[treatment.sides or treatment.cover]
    if treatment.on_frame:
        width = _or(treatment.frame_width_m, body.crown_diameter_m + 2 * FRAME_GAP_M)
        length = _or(treatment.frame_length_m, width)
        height = max(_or(treatment.frame_height_m, body.height_m + FRAME_GAP_M), body.height_m)
        ground, top_m2, side_m2 = width * length, width * length, 2 * (width + length) * height
    else:
        crown, height = body.crown_diameter_m, body.height_m
        flare = DRAPE_FLARE * height
        foot = crown + flare
        ground, top_m2 = pi / 4 * foot**2, pi / 4 * crown**2
        side_m2 = pi / 2 * (crown + foot) * sqrt(height**2 + (flare / 2) ** 2)
    above = height - LEAF_HEIGHT * body.height_m
    radius2 = ground / pi
    return Enclosure(
        ground_m2=ground,
        top=top,
        sides=sides,
        top_ratio=top_m2 / ground,
        side_ratio=0.0 if sides is None else side_m2 / ground,
        top_view=radius2 / (radius2 + above**2),
        height_m=height,
        to_ground=treatment.to_ground and sides is not None,
        touching=0.0 if treatment.on_frame else TOUCHING,
    )


def _or(value: float, otherwise: float) -> float:
    """Value, or another where it is NaN."""
    return otherwise if isnan(value) else value
