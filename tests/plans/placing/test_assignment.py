"""Who stands where: never beaten by trying everything, and honest about what it did not look at."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from fruitwall.plans.placing.assignment import Demand, assign


def grid(columns: int, rows: int, step_m: float = 1.0) -> np.ndarray:
    return np.array([(x * step_m, y * step_m) for y in range(rows) for x in range(columns)], dtype=float)


def clashes(xy: np.ndarray, demands: list[Demand], placed: list[tuple[int, int]]) -> bool:
    return any(
        np.hypot(*(xy[a] - xy[b])) < (demands[k].crown_m + demands[m].crown_m) / 2 - 1e-6
        for (k, a), (m, b) in combinations(placed, 2)
    )


def by_hand(xy: np.ndarray, demands: list[Demand]) -> tuple[int, float]:
    """Try everything: most plants first, then most value."""
    ways = []
    for one in demands:
        can = np.flatnonzero(np.isfinite(one.value))
        ways.append([pick for n in range(one.count + 1) for pick in combinations(can, min(n, can.size))])
    best = (0, 0.0)
    for picks in product(*ways):
        placed = [(k, int(c)) for k, pick in enumerate(picks) for c in pick]
        if not clashes(xy, demands, placed):
            best = max(best, (len(placed), sum(float(demands[k].value[c]) for k, c in placed)))
    return best


@pytest.mark.parametrize("seed", range(8))
def test_nobody_does_better_by_trying_everything(seed: int) -> None:
    rng = np.random.default_rng(seed)
    xy = grid(4, 3)
    demands = [
        Demand("a", 2, float(rng.choice([1.0, 1.5, 2.0, 2.9])), rng.normal(20, 40, len(xy))),
        Demand("b", 1 + seed % 2, float(rng.choice([1.0, 2.2, 3.1])), rng.normal(-5, 20, len(xy))),
    ]
    for one in demands:
        one.value[rng.random(len(xy)) < 0.25] = np.nan
    found = assign(xy, demands)
    count, value = by_hand(xy, demands)
    assert (len(found.placed), found.value) == (count, pytest.approx(value, abs=1e-6))
    assert found.proven
    assert found.gap == pytest.approx(0.0, abs=1e-4)
    assert not clashes(xy, demands, [("ab".index(one.key), one.cell) for one in found.placed])


@pytest.mark.parametrize("seed", range(3))
def test_thinning_never_promises_more_than_it_holds(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    xy = grid(8, 7)
    smooth = 100 * np.exp(-((xy[:, 0] - 5) ** 2 + (xy[:, 1] - 3) ** 2) / 30) + rng.normal(0, 1, len(xy))
    demands = [Demand("a", 2, 4.0, smooth), Demand("b", 2, 2.5, smooth * 0.6 - 10)]
    whole = assign(xy, demands, first_best=1000)
    thinned = assign(xy, demands, first_best=1, most_choices=20)
    assert whole.proven
    assert thinned.choices < whole.choices
    assert len(thinned.placed) == len(whole.placed) == 4
    assert thinned.value <= whole.value + 1e-6 <= thinned.bound + 2e-6


def test_thinning_that_costs_nothing_is_known_to_cost_nothing() -> None:
    xy = grid(30, 30)
    value = -np.hypot(xy[:, 0] - 10, xy[:, 1] - 20)
    value[0] = 50.0
    value[899] = 49.0
    found = assign(xy, [Demand("a", 2, 3.0, value)], first_best=5)
    assert found.choices < 900
    assert found.proven
    assert [one.cell for one in found.placed] == [0, 899]


def test_what_finds_no_room_is_named() -> None:
    xy = grid(4, 1)
    found = assign(xy, [Demand("big", 2, 6.0, np.full(4, 10.0)), Demand("nowhere", 1, 1.0, np.full(4, np.nan))])
    assert [one.key for one in found.placed] == ["big"]
    assert found.missing == (("big", 1), ("nowhere", 1))
    assert found.room_proven


def test_as_many_as_possible_are_placed_even_where_that_costs() -> None:
    xy = grid(3, 1)
    found = assign(xy, [Demand("a", 2, 2.0, np.array([-40.0, 90.0, -30.0]))])
    assert [one.cell for one in found.placed] == [2, 0]
    assert found.value == -70.0


def test_crowns_may_touch() -> None:
    xy = grid(2, 1, 2.0)
    assert len(assign(xy, [Demand("a", 2, 2.0, np.ones(2))]).placed) == 2
    assert len(assign(xy, [Demand("a", 2, 2.01, np.ones(2))]).placed) == 1


def test_nothing_wanted_is_nothing_placed() -> None:
    found = assign(grid(2, 2), [])
    assert found.placed == ()
    assert found.proven


@pytest.mark.parametrize(
    ("demands", "words"),
    [
        ([Demand("a", 1, 1.0, np.ones(3))], "value of a"),
        ([Demand("a", -1, 1.0, np.ones(4))], "count of a"),
        ([Demand("a", 1, 0.0, np.ones(4))], "crown_m of a"),
        ([Demand("a", 1, 1.0, np.ones(4)), Demand("a", 1, 1.0, np.ones(4))], "distinct keys"),
    ],
)
def test_impossible_demands_are_refused(demands: list[Demand], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        assign(grid(2, 2), demands)
