"""What a household with house rules does on every night of many winters, within what it has.

Each evening the rules are asked by the minimum that was forecast for that night, and what they ask for is done as far
as people and gear suffice (`night_kernel`; `docs/house-rules.md` says in words who comes first). Limits mean what they
mean to the evening's plan (`tables`). All is decided on the evening itself: nobody knows tomorrow.

What stands stays until the next evening. If it is wanted then, it costs no setting up, only what it takes again (film
that was opened by day); if not, it is undone on that day, whose minutes and lifts were counted when it was set up, as
the evening's plan counts them. A night that is not in the row of nights matters to nobody: all is undone before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground, SizeStep, TreeWinters, WinterNights
from fruitwall.plans.rules.rule import HouseRule, RuleSet, rule_for
from fruitwall.plans.rules.tables import ASIDE, COVER, HEAT, INDOORS, Tables, tables_of

FloatArray = NDArray[np.float64]

_SAVES = 1e-9
"""Least saving that is one. [currency]"""


@dataclass(frozen=True, eq=False)
class Chosen:
    """What was done on each night at one size of the yard, and what it took.

    Attributes
    ----------
    measure : ndarray of int16, shape (tree, night)
        Row among the tree's measures; 0 is leaving it.
    short : ndarray of bool, shape (tree, night)
        The rule asked for something that people or gear did not suffice for.
    minutes, lifts, kwh, wear : ndarray, shape (night,)
        Of all people, evening and morning, undoing included. [min], [-], [kWh], [currency]
    carried : ndarray of int, shape (night,)
        Containers carried that evening.
    """

    measure: NDArray[np.int16]
    short: NDArray[np.bool_]
    minutes: FloatArray
    lifts: FloatArray
    kwh: FloatArray
    wear: FloatArray
    carried: FloatArray


def choose(ground: Ground, step: SizeStep, rules: RuleSet, *, threads: int = 1) -> Chosen:
    """Go through all nights and do what the rules say, as far as people and gear suffice.

    Parameters
    ----------
    ground : Ground
        With the nights and prices.
    step : SizeStep
        One of its sizes, or one with other supplies.
    rules : RuleSet
    threads : int
        At least 1; winters are independent, so the result does not depend on it.

    Returns
    -------
    Chosen

    Notes
    -----
    ``as_now`` and ``may_kill`` go by what a tree would lose in the weather that came, as if it had been forecast well;
    ``below`` goes by the minimum that was forecast. ``as_now`` looks at one evening at a time, at what stands: the
    evening's plan itself looks some nights ahead, and begins a cold spell a little sooner.
    """
    if threads < 1:
        raise ValueError(f"threads must be 1 or more, got {threads}")
    trees, nights = len(step.trees), ground.nights
    kind, ask = asked(nights, step, rules, tables_of(ground, step))
    shape = (nights.count, trees)
    measure, short = np.zeros(shape, dtype=np.int16), np.zeros(shape, dtype=np.bool_)
    sums = [np.zeros(nights.count) for _ in range(5)]
    if (kind != 0).any():
        from fruitwall.plans.rules.night_kernel import at_rest, go_through, packed

        tables, linked = tables_of(ground, step), follows(nights)
        row = packed(tables)
        losses = tables.loss.astype(np.float64)
        pieces = _pieces(nights.winter, threads)

        def some(bounds: tuple[int, int]) -> None:
            go_through(row, at_rest(tables), *bounds, losses, linked, kind, ask, measure, short, *sums)

        if len(pieces) == 1:
            some(pieces[0])
        else:
            with ThreadPoolExecutor(threads) as pool:
                list(pool.map(some, pieces))
    return Chosen(np.ascontiguousarray(measure.T), np.ascontiguousarray(short.T), *sums)


def follows(nights: WinterNights) -> NDArray[np.bool_]:
    """Tell which nights follow the one before them in the row, shape (night,)."""
    same = np.zeros(nights.count, dtype=np.bool_)
    same[1:] = (np.diff(nights.winter) == 0) & (np.diff(nights.day) == 1)
    return same


def asked(
    nights: WinterNights, step: SizeStep, rules: RuleSet, tables: Tables
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Tell how each tree is decided on each night, and which levels its rule asks for, shape (night, tree) each."""
    kind = np.zeros((nights.count, len(step.trees)), dtype=np.int64)
    ask = np.zeros_like(kind)
    least = tables.least_cost()
    for at, tree in enumerate(step.trees):
        rule = rule_for(rules, tree)
        if rule is None or rule.way == "never":
            continue
        begin, end = tables.tree_m0[at], tables.tree_m0[at + 1]
        if rule.way == "below":
            kind[:, at], ask[:, at] = _below(nights.told_c, rule)
            continue
        loss = tables.loss[:, begin:end].astype(np.float64)
        # What saves less than it costs at the very least, somebody else's share of a shelter left out, never pays.
        cost = least[begin:end] if rule.way == "as_now" else 0.0
        pays = ((loss[:, :1] - loss - cost)[:, 1:] > _SAVES).any(axis=1)
        if rule.way == "may_kill":
            kind[pays & _may_kill(tree, rule), at] = 2
        else:
            kind[pays, at] = 3
    return kind, ask


def _below(told_c: FloatArray, rule: HouseRule) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Tell on which nights a rule asks for anything, and for what."""
    bits = (
        (rule.cover_below_c, 1 << COVER),
        (rule.heat_below_c, 1 << HEAT),
        (rule.carry_below_c, (1 << INDOORS) | (1 << ASIDE)),
    )
    ask = np.zeros(told_c.size, dtype=np.int64)
    for limit_c, bit in bits:
        if limit_c is not None:
            ask[told_c <= limit_c] |= bit
    return (ask > 0).astype(np.int64), ask


def _may_kill(tree: TreeWinters, rule: HouseRule) -> NDArray[np.bool_]:
    """Tell on which nights a tree that is left alone may die."""
    return np.asarray(np.nan_to_num(tree.death[0]) >= rule.carry_if_death)


def _pieces(winter: NDArray[np.int64], most: int) -> Sequence[tuple[int, int]]:
    """Cut the row of nights into pieces of whole winters, about equally long."""
    starts = np.concatenate([[0], np.flatnonzero(np.diff(winter)) + 1, [winter.size]])
    wanted = np.linspace(0, winter.size, most + 1)[1:-1]
    cuts = [0, *(int(starts[np.argmin(np.abs(starts - at))]) for at in wanted), int(winter.size)]
    return [(begin, end) for begin, end in pairwise(cuts) if end > begin]
