"""Handing out pieces of several sizes."""

from __future__ import annotations

from collections import Counter
from itertools import product

import numpy as np
import pytest

from fruitwall.plans.matching import assign, hall_sets


def possible_by_trying(demands, pieces) -> bool:
    return any(
        all(Counter(choice)[kind] <= pieces[kind] for kind in pieces)
        for choice in product(*(kinds for _, kinds in demands))
    )


def keeps_rows(demands, pieces) -> bool:
    return all(
        sum(set(kinds) <= union for _, kinds in demands) <= sum(pieces[kind] for kind in union)
        for union in hall_sets([frozenset(kinds) for _, kinds in demands])
    )


@pytest.mark.parametrize("seed", range(40))
def test_the_rows_allow_exactly_what_can_be_handed_out(seed: int):
    rng = np.random.default_rng(seed)
    kinds = ["a", "b", "c", "d"]
    pieces = {kind: int(rng.integers(0, 3)) for kind in kinds}
    demands = [
        (f"t{n}", tuple(rng.choice(kinds, rng.integers(1, 4), replace=False))) for n in range(int(rng.integers(1, 6)))
    ]

    possible = possible_by_trying(demands, pieces)
    handed = assign(demands, pieces)

    assert keeps_rows(demands, pieces) == possible
    assert (handed is not None) == possible
    if handed is not None:
        assert all(handed[name] in its for name, its in demands)
        assert all(Counter(handed.values())[kind] <= pieces[kind] for kind in kinds)


def test_small_trees_get_small_sheets_unless_they_are_needed_elsewhere():
    pieces = {"small": 1, "large": 1}
    assert assign([("x", ("small", "large"))], pieces) == {"x": "small"}
    assert assign([("x", ("small", "large")), ("y", ("small",))], pieces) == {"x": "large", "y": "small"}


def test_what_hangs_already_stays_where_it_is():
    pieces = {"small": 1, "large": 1}
    assert assign([("x", ("small", "large"))], pieces, prefer={"x": "large"}) == {"x": "large"}


def test_nested_sizes_need_one_row_for_each_size():
    demands = [frozenset({"l"}), frozenset({"m", "l"}), frozenset({"s", "m", "l"}), frozenset({"m", "l"})]
    assert hall_sets(demands) == [{"l"}, {"m", "l"}, {"s", "m", "l"}]
    assert hall_sets([frozenset({"a"}), frozenset({"b"})]) == [{"a"}, {"b"}]  # nothing shared, nothing joined
