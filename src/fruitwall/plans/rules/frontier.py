"""The least lifting at each loss: where a household stops carrying, and what that costs.

The corners of the frontier are found one after the other, from the safest rule set to the one in which nothing is
lifted (epsilon constraints: Haimes, Lasdon and Wismer 1971, IEEE Transactions on Systems, Man, and Cybernetics 1:296).
Each corner is proven: no rule set that can be kept loses less with as few lifts, or lifts less at that loss.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from fruitwall.plans.rules.search import Found, NotKept, Search, cheapest

Less = Literal["lifts", "carries", "effort"]
"""What is to be less."""

POINTS = 12
"""Corners that are looked for. Where there are more, those in between are passed over. Our judgement."""

NEAR = 0.01
"""Share of what rules can save at all that may be lost more at a corner, if that takes less effort: the last
cent saved would cover hardy trees on every mild night. Our judgement. [-]"""


def frontier(
    search: Search,
    objective: Less = "lifts",
    *,
    points: int = POINTS,
    near: float = NEAR,
    heard: Callable[[float], None] = lambda _share: None,
    stop: Callable[[], bool] = lambda: False,
) -> list[Found]:
    """Find the least lifts, carrying or effort at each loss.

    Parameters
    ----------
    search : Search
        From `plans.rules.search.prepared`.
    objective : str
        ``lifts``, ``carries`` or ``effort``.
    points : int
        Most corners wanted, at least 2.
    near : float
        Share of what rules save at most that a corner may lose more for the sake of less effort; 0 gives the corners
        themselves. [-]
    heard : callable (share)
        Told how far it is, 0 to 1.
    stop : callable () -> bool
        Asked between corners; what was found until then is given.

    Returns
    -------
    list of Found
        The one that takes most first, the last with none of it.
    """
    if points < 2:
        raise ValueError(f"points must be at least 2, got {points}")
    end = cheapest(search, objective)  # with none of it
    safest = _corner(search, objective, float("inf"))
    room = near * max(_never(search) - safest.loss, 0.0)
    found: list[Found] = []
    most, least = getattr(safest, objective), getattr(end, objective)
    step = (most - least) / (points - 1)
    allowed = float("inf")
    while not stop():
        try:
            corner = _corner(search, objective, allowed)
        except NotKept:
            break
        reached = getattr(corner, objective)
        found.append(_easier(search, objective, corner, room))
        heard(min(len(found) / points, 1.0))
        if reached <= least + 1e-6 * max(1.0, least):
            break
        # Strictly fewer; where corners lie close, the next one that is worth a look.
        allowed = max(min(reached - step, reached - 1e-4 * max(1.0, reached)), least)
    return _undominated(found, objective)


def _undominated(found: list[Found], objective: str) -> list[Found]:
    """Leave out what another one beats: corners that were made easier may come to lie behind their neighbours."""

    def key(one: Found) -> tuple[float, float]:
        return (round(getattr(one, objective), 6), round(one.loss, 6))

    kept: dict[tuple[float, float], Found] = {}
    for one in found:
        mine = key(one)
        if not any(its != mine and its[0] <= mine[0] and its[1] <= mine[1] for its in map(key, found)):
            kept.setdefault(mine, one)
    return list(kept.values())


def _corner(search: Search, objective: Less, allowed: float) -> Found:
    """Give the least loss within so many lifts, and of those the fewest lifts."""
    limits = {f"most_{objective}": allowed}
    safest = cheapest(search, "loss", **limits)
    return cheapest(search, objective, most_loss=safest.loss, **limits)


def _easier(search: Search, objective: Less, corner: Found, room: float) -> Found:
    """Give the least effort with the lifts of a corner and nearly its loss."""
    if objective == "effort" or room <= 0.0:
        return corner
    limits = {f"most_{objective}": getattr(corner, objective)}
    return cheapest(search, "effort", most_loss=corner.loss + room, **limits)


def _never(search: Search) -> float:
    """Loss a winter with nothing done. [currency]"""
    return float(sum(unit.lines[0].loss for unit in search.units))
