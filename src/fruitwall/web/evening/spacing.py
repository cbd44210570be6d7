"""Keeping signs on a drawing apart, so that each can be read and touched."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

Spot = tuple[float, float]


def spread(
    places: Sequence[Spot], *, apart: float, fixed: Sequence[Spot], low: Spot, high: Spot, rounds: int = 80
) -> list[Spot]:
    """Push signs apart until none is nearer to another than asked.

    Parameters
    ----------
    places : sequence of (x, y)
        Where the signs belong.
    apart : float
        Least distance between two signs.
    fixed : sequence of (x, y)
        Signs that stay, three quarters of that distance to be kept from them.
    low, high : (x, y)
        Corners of the drawing; nothing is pushed out of it.
    rounds : int
        After so many rounds what is left of an overlap stays.

    Returns
    -------
    list of (x, y)
        Where to draw the signs, in the same order. The same input gives the same output.
    """
    spots = [list(place) for place in places]
    reach = 0.75 * apart
    for _ in range(rounds):
        moved = False
        order = sorted(range(len(spots)), key=lambda index: spots[index][0])
        for rank, one in enumerate(order):
            for other in order[rank + 1 :]:
                if spots[other][0] - spots[one][0] >= apart:
                    break
                moved |= _push(spots[one], spots[other], apart, turn=one)
            for place in fixed:
                if abs(spots[one][0] - place[0]) < reach:
                    moved |= _push(
                        spots[one], [2 * place[0] - spots[one][0], 2 * place[1] - spots[one][1]], 2 * reach, turn=one
                    )
            for axis in (0, 1):
                spots[one][axis] = min(max(spots[one][axis], low[axis]), high[axis])
        if not moved:
            break
    return [(x, y) for x, y in spots]


def _push(one: list[float], other: list[float], apart: float, *, turn: int) -> bool:
    """Move two spots away from each other along their line, half of what is missing each."""
    dx, dy = other[0] - one[0], other[1] - one[1]
    distance = hypot(dx, dy)
    if distance >= apart - 0.01:
        return False
    if distance < 1e-6:  # on top of each other: part in a direction that differs from sign to sign
        dx, dy, distance = (1.0, 0.3, hypot(1.0, 0.3)) if turn % 2 else (0.3, 1.0, hypot(0.3, 1.0))
    step = 0.5 * (apart - distance) / distance
    one[0] -= dx * step
    one[1] -= dy * step
    other[0] += dx * step
    other[1] += dy * step
    return True


def roomiest(candidates: Sequence[Spot], taken: Sequence[Spot]) -> Spot:
    """Give the candidate that lies farthest from everything taken; the first one if nothing is."""
    if not taken:
        return candidates[0]
    return max(candidates, key=lambda spot: min(hypot(spot[0] - x, spot[1] - y) for x, y in taken))
