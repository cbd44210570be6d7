"""The order of the walk."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from fruitwall.plans.walking import DETOUR, route, route_in_turns, walking_minutes


def length(start, stops, order) -> float:
    path = np.array([start, *(stops[at] for at in order)])
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


@pytest.mark.parametrize("seed", range(6))
def test_the_route_visits_every_stop_once_and_is_near_the_shortest(seed: int):
    rng = np.random.default_rng(seed)
    stops = [tuple(point) for point in rng.uniform(0, 30, (7, 2))]
    found = route((0.0, 0.0), stops)

    shortest = min(length((0, 0), stops, order) for order in permutations(range(7)))

    assert sorted(found.order) == list(range(7))
    assert found.metres == pytest.approx(DETOUR * length((0, 0), stops, found.order))
    assert shortest <= found.metres / DETOUR + 1e-9 <= 1.15 * shortest + 1e-9


def test_stops_along_a_path_are_visited_along_it():
    stops = [(3.0, 0.0), (1.0, 0.0), (4.0, 0.0), (2.0, 0.0)]
    assert route((0.0, 0.0), stops).order == (1, 3, 0, 2)


def test_the_same_stops_give_the_same_route_and_none_gives_none():
    stops = [(1.0, 1.0), (1.0, 1.0), (2.0, 2.0)]
    assert route((0.0, 0.0), stops) == route((0.0, 0.0), stops)
    assert route((0.0, 0.0), []).order == ()
    assert route((0.0, 0.0), []).minutes == 0.0


def test_earlier_turns_come_first_however_far_they_are():
    stops = [(1.0, 0.0), (50.0, 0.0), (2.0, 0.0)]
    found = route_in_turns((0.0, 0.0), stops, [1, 0, 1])
    assert found.order == (1, 2, 0)
    with pytest.raises(ValueError, match="one value per stop"):
        route_in_turns((0.0, 0.0), stops, [1])


def test_walking_takes_time_by_distance_and_pace():
    assert walking_minutes((0.0, 0.0), (0.0, 60.0)) == pytest.approx(DETOUR)
    assert walking_minutes((0.0, 0.0), (0.0, 60.0), pace_m_s=0.5) == pytest.approx(2 * DETOUR)
