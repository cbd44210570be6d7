"""The standard normal distribution, loaded when it is first asked for.

SciPy takes half a second to load, and a page that only shows what was computed earlier needs none of it.
"""

from __future__ import annotations

from typing import Any

from numpy.typing import ArrayLike


def ndtr(x: ArrayLike) -> Any:
    """Give the chance that a standard normal value is at most x, as `scipy.special.ndtr` does."""
    from scipy.special import ndtr as cumulative

    return cumulative(x)
