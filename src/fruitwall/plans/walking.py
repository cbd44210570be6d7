"""In which order to walk: a short round from where the gear is kept.

Nearest neighbour, then 2-opt; for the few dozen stops of a yard that is near the shortest path, and always the same
for the same yard. Distances are as the crow flies.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

Point = tuple[float, float]

WALKING_M_S = 1.0
"""Walking pace planned. Unaided walking is 1.25 m/s; slower in a garden at dusk is common practice, no source."""

CARRYING_M_S = 0.7
"""Pace with a load, within the 0.5 to 1.0 m/s for which ISO 11228-1 is meant."""

DETOUR = 1.2
"""Path walked over the straight line. common practice, no source."""


@dataclass(frozen=True)
class Route:
    """A round through all stops.

    Attributes
    ----------
    order : tuple of int
        Indices of the stops as given.
    metres, minutes : float
        Path from the start to the last stop, with the detour allowed. [m, min]
    """

    order: tuple[int, ...]
    metres: float
    minutes: float


def walking_minutes(start: Point, end: Point, *, pace_m_s: float = WALKING_M_S) -> float:
    """Give the minutes to walk from one point to another.

    Parameters
    ----------
    start, end : tuple of float
        [m, m]
    pace_m_s : float
        [m/s]

    Returns
    -------
    float
        [min]
    """
    return DETOUR * math.dist(start, end) / pace_m_s / 60.0


def route(start: Point, stops: Sequence[Point]) -> Route:
    """Give a short order in which to visit all stops, beginning at the start and ending anywhere.

    Parameters
    ----------
    start : tuple of float
        Where the walk begins. [m, m]
    stops : sequence of tuple of float
        Positions to visit; may be empty. [m, m]

    Returns
    -------
    Route
    """
    order = _untwist(start, stops, _nearest_first(start, stops))
    metres = DETOUR * _length(start, stops, order)
    return Route(tuple(order), metres, metres / WALKING_M_S / 60.0)


def route_in_turns(start: Point, stops: Sequence[Point], turns: Sequence[int]) -> Route:
    """Give a short order in which all stops of a lower turn come before those of a higher one.

    Parameters
    ----------
    start, stops
        As in `route`.
    turns : sequence of int
        Turn of each stop, such as the place of its deadline in `plans.parts.DEADLINES`.

    Returns
    -------
    Route
    """
    if len(turns) != len(stops):
        raise ValueError(f"turns must have one value per stop, got {len(turns)} for {len(stops)}")
    order: list[int] = []
    metres, here = 0.0, start
    for turn in sorted(set(turns)):
        members = [at for at, its in enumerate(turns) if its == turn]
        part = route(here, [stops[at] for at in members])
        order += [members[at] for at in part.order]
        metres += part.metres
        here = stops[order[-1]]
    return Route(tuple(order), metres, metres / WALKING_M_S / 60.0)


def _nearest_first(start: Point, stops: Sequence[Point]) -> list[int]:
    """Go to the nearest stop not yet visited; the first given of equals."""
    left = list(range(len(stops)))
    order: list[int] = []
    here = start
    while left:
        at = min(left, key=lambda index: (math.dist(here, stops[index]), index))
        left.remove(at)
        order.append(at)
        here = stops[at]
    return order


def _untwist(start: Point, stops: Sequence[Point], order: list[int]) -> list[int]:
    """Reverse stretches of the path as long as that makes it shorter (2-opt)."""
    improved = True
    while improved:
        improved = False
        for first in range(len(order) - 1):
            before = start if first == 0 else stops[order[first - 1]]
            for last in range(first + 1, len(order)):
                a, b = stops[order[first]], stops[order[last]]
                saved = math.dist(before, a) - math.dist(before, b)
                if last + 1 < len(order):
                    after = stops[order[last + 1]]
                    saved += math.dist(b, after) - math.dist(a, after)
                if saved > 1e-9:
                    order[first : last + 1] = order[first : last + 1][::-1]
                    improved = True
                    break
            if improved:
                break
    return order


def _length(start: Point, stops: Sequence[Point], order: Sequence[int]) -> float:
    path = [start, *(stops[at] for at in order)]
    return sum(math.dist(a, b) for a, b in pairwise(path))
