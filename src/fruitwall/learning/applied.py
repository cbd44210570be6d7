"""What a tree stands once its yard has taught: a tolerance moved by what was learned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fruitwall.learning.looks import scale_of
from fruitwall.learning.tolerances import Shift
from fruitwall.plants.tolerance import Tolerance


def taught_tolerance(
    tolerance: Tolerance, before: Shift, after: Shift, chill: tuple[Shift, Shift] | None = None
) -> Tolerance:
    """Move a tolerance by what was learned of its tree.

    Parameters
    ----------
    tolerance : Tolerance
        Believed without learning, for the night that is meant: hardening and the rest are in it.
    before, after : Shift
        The tree's shift before and after learning (`learn` without looks, and with them).
    chill : tuple of Shift, optional
        The shift of its chill level, before and after.

    Returns
    -------
    Tolerance
        Limits moved; of the uncertainty that part which learning is about shrinks as the shift's has, the rest
        (hardening this week, the state of its roots) stays. Fruit, flowers and paling are not learned.
    """
    scale = scale_of(tolerance)
    own = np.minimum(scale * before.sd_k, np.nan_to_num(tolerance.sd_k))
    left = own * after.sd_k / before.sd_k
    level, level_sd = tolerance.chill_level_c, tolerance.chill_sd_k
    if chill is not None and not np.isnan(level):
        of_level = min(chill[0].sd_k, level_sd)
        level_left = of_level * chill[1].sd_k / chill[0].sd_k
        level, level_sd = level + chill[1].mean_k, float(np.sqrt(level_sd**2 - of_level**2 + level_left**2))
    return replace(
        tolerance,
        threshold_c=tolerance.threshold_c + scale[:, None] * after.mean_k,
        sd_k=np.sqrt(tolerance.sd_k**2 - own**2 + left**2),
        chill_level_c=level,
        chill_sd_k=level_sd,
    )
