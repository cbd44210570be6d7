"""House rules: standing policies of a household, in a form that can be replayed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Way = Literal["below", "never", "may_kill", "as_now"]
"""How a rule decides: by forecast minima; never protect; only where the night may kill; what pays, as the evening's plan
does."""


@dataclass(frozen=True)
class HouseRule:
    """What a household does for some trees, evening by evening.

    Attributes
    ----------
    trees : str
        ``all``, ``potted``, ``planted``, ``taxon:<scientific name>`` or ``tree:<identifier>``.
    way : Way
        ``below`` goes by the three limits; the others do without.
    cover_below_c, heat_below_c, carry_below_c : float or None
        Forecast minimum at or below which the tree is covered, is warmed under its cover, is carried (indoors, or under
        a roof or to a wall where that is all there is). None: never. Of several that hold, carrying comes first, then
        heat, then the cover. [°C]
    carry_if_death : float
        For ``may_kill``: least chance of death, left alone, for which it is protected by whatever saves most. [-]
    """

    trees: str = "all"
    way: Way = "below"
    cover_below_c: float | None = None
    heat_below_c: float | None = None
    carry_below_c: float | None = None
    carry_if_death: float = 0.05


@dataclass(frozen=True)
class RuleSet:
    """House rules of a whole yard.

    Attributes
    ----------
    key : str
        Short and unique, such as ``as-now``.
    name : str
        In words.
    rules : tuple of HouseRule
        The most special one that names a tree holds for it: a tree before a taxon before potted or planted before all;
        of equals the last. A tree that none names is left alone.
    """

    key: str
    name: str
    rules: tuple[HouseRule, ...]
