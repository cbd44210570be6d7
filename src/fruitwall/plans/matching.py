"""Interchangeable things of several sizes: who can be served, and who gets which.

A tree can use any sheet that is large enough, a lamp any lead that is long and thick enough. Whether all demands of
a night can be served by the pieces there are is known without saying who gets which (Hall 1935): for every union of
admissible sets, the demands whose sets lie inside it must not outnumber the pieces in it. `hall_sets` lists those
unions, so that the programme needs one row for each and no variable for the sizes; `assign` hands the pieces out
afterwards.

Hall, P. (1935). On representatives of subsets. Journal of the London Mathematical Society 10:26-30.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np


def hall_sets(admissible: Sequence[frozenset[str]]) -> list[frozenset[str]]:
    """Give the unions of admissible sets that need a row.

    Parameters
    ----------
    admissible : sequence of frozenset of str
        For every demand the kinds of piece that would do.

    Returns
    -------
    list of frozenset of str
        Small unions first, in a fixed order. Demands that share nothing are not joined: such a union follows from
        its parts.
    """
    distinct = sorted({a for a in admissible if a}, key=_in_order)
    unions: set[frozenset[str]] = set(distinct)
    frontier = set(distinct)
    while frontier:
        grown = {u | a for u in frontier for a in distinct if u & a} - unions
        unions |= grown
        frontier = grown
    return sorted(unions, key=_in_order)


def assign(
    demands: Sequence[tuple[str, Sequence[str]]],
    pieces: Mapping[str, int],
    *,
    prefer: Mapping[str, str] | None = None,
) -> dict[str, str] | None:
    """Give every demand a piece, keeping what it had and otherwise the first on its list that works out.

    Parameters
    ----------
    demands : sequence of (name, kinds)
        Kinds that would do, best first (smallest sheet, shortest lead).
    pieces : mapping of kind to int
        How many there are.
    prefer : mapping of name to kind, optional
        What a demand had the night before.

    Returns
    -------
    dict of name to kind, or None
        None if the pieces do not suffice.
    """
    if not demands:
        return {}
    from scipy.optimize import linear_sum_assignment

    kinds = [kind for kind, count in pieces.items() for _ in range(min(int(count), len(demands)))]
    if len(kinds) < len(demands):
        return None
    kept = prefer or {}
    impossible = 1e6
    cost = np.full((len(demands), len(kinds)), impossible)
    for row, (name, possible) in enumerate(demands):
        for column, kind in enumerate(kinds):
            if kind in possible:
                cost[row, column] = 0.0 if kept.get(name) == kind else 100.0 + possible.index(kind)
    rows, columns = linear_sum_assignment(cost)
    if cost[rows, columns].max() >= impossible:
        return None
    return {demands[row][0]: kinds[column] for row, column in zip(rows, columns, strict=True)}


def _in_order(kinds: frozenset[str]) -> tuple[int, list[str]]:
    return (len(kinds), sorted(kinds))
