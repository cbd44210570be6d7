"""Heat at every tree: what leaf, fruit, bark and roots went through, what comes, and which tree may scorch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.heat_around import UNKNOWN_FOLIAGE, Around, daylight_of

if TYPE_CHECKING:
    from fruitwall.physics.daylight import Daylight
    from fruitwall.service.spot_hours import SpotHours
    from fruitwall.yard.model import Tree

Array = NDArray[np.float64]

USUAL_LEAF_M = 0.05
USUAL_FRUIT_M = 0.06
"""Width of a leaf and size of a fruit where the surroundings of the tree are not given. [m]"""


@dataclass(frozen=True, eq=False)
class HotTissues:
    """Temperatures of the hottest part of each tissue by the hour. [°C]

    Attributes
    ----------
    leaf_c : ndarray [member, hour]
        Of a leaf that faces the sun.
    fruit_c : ndarray [member, hour]
        Of the sunny pole of a fruit at the outside of the crown; not a number without fruit.
    bark_c : ndarray [member, hour]
        Of the sunny side of the trunk.
    root_c : ndarray [member, hour]
        Of the hottest quarter of a pot's rim; in the ground the soil at root depth.
    light : Daylight
        What was around it.
    """

    leaf_c: Array
    fruit_c: Array
    bark_c: Array
    root_c: Array
    light: Daylight


def hot_hours(
    hours: SpotHours,
    tree: Tree,
    *,
    shade: float = 0.0,
    whitewash: bool = False,
    in_shade: bool = False,
    watered: bool = True,
    around: Around | None = None,
    fruit: bool | None = None,
) -> HotTissues:
    """Give how hot a tree's tissues get, hour by hour.

    Parameters
    ----------
    hours : SpotHours
        Of this tree.
    tree : Tree
    shade : float
        Share of light that a cloth over it stops, 0 to 1.
    whitewash : bool
        Whether trunk and limbs are painted white.
    in_shade : bool
        Whether it stands in open shade instead: a container that was moved.
    watered : bool
        False is the worst case: roots dry, pores shut, dry mix in the pot.
    around : Around or None
        Of `heat_around.arounds` for the same hours. Without it no wall warms the tree and the sun stands at a usual
        height: good for a difference between measures, not for the temperature itself.
    fruit : bool or None
        Whether it carries fruit; None: as its stages say.

    Returns
    -------
    HotTissues
        Not a number where the weather is not known.

    Raises
    ------
    ValueError
        If `shade` is outside its range.
    """
    from fruitwall.physics import daylight as day
    from fruitwall.physics.rootball import root_ball

    light = daylight_of(hours, around)
    if in_shade:
        light = day.in_open_shade(light)
    if shade:
        light = day.under_cloth(light, shade)
    carries = "fruit" in tree.stages if fruit is None else fruit
    body = None if around is None else around.body
    leaf_width = USUAL_LEAF_M if body is None else body.leaf_width_m
    fruit_size = USUAL_FRUIT_M if body is None else body.fruit_diameter_m
    foliage = UNKNOWN_FOLIAGE if body is None else body.foliage_share
    trunk = max(0.01, 0.02 * tree.height_m) if body is None else body.wood_diameter_m
    base = min(tree.crown_base_m, tree.height_m)
    lit = day.own_shade(light.elevation_deg, 0.5 * base, tree.crown_diameter_m, foliage)
    paint = day.PAINT_ABSORBS if whitewash else day.BARK_ABSORBS
    if tree.container is None:
        root = hours.done.root_c
    else:
        mix = {} if watered else {"conductivity_w_mk": day.DRY_CONDUCTIVITY_W_MK, "capacity_j_m3k": day.DRY_J_M3K}
        ball = root_ball(tree.container.volume_l, tree.container.material, **mix)
        clear = max(base - 0.5 * ball.height_m, 0.0)
        below = day.own_shade(light.elevation_deg, clear, tree.crown_diameter_m, foliage)
        root = day.root_ball_c(light, ball, below, day.POT_ABSORBS[tree.container.material], foliage)
    return HotTissues(
        leaf_c=day.sunlit_leaf_c(light, leaf_width, water=1.0 if watered else 0.0),
        fruit_c=day.sunlit_peel_c(light, fruit_size) if carries else np.full_like(light.t_air_c, np.nan),
        bark_c=day.sunlit_bark_c(light, trunk, lit, absorptance=paint),
        root_c=root,
        light=light,
    )
