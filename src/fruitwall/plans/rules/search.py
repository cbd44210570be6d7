"""The best rule set of a yard among those that can be kept in full on every night of every winter.

One binary column for each unit and rule, one rule for each unit, and for every night and everything that can run short
a row that no choice may exceed. Rows that another night makes needless are left out. Who does what with which
sheet is open in these rows, so they are only what must hold at least: whatever the solver finds is tried night by
night as a household would do it (`plans.rules.nightly.choose`). Where that falls short, the rules that met on that
night are forbidden to meet so again, and the solver starts anew: a decomposition after Benders, with cuts by logic
(Hooker and Ottosson 2003, Mathematical Programming 96:33-60). Solver: HiGHS through SciPy.

Notes
-----
**Kept in full** means that every tree gets on every night what its rule would give it if nothing ran short.

**What is proven.** The rows never forbid what can be kept. A cut assumes two things of a household: whether an
evening can be done depends on what is wanted then and on the evening before, and more wants never make it easier.
Tests hold the result against all rule sets of small yards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import PlanError
from fruitwall.plans.rules.ground import Ground, SizeStep
from fruitwall.plans.rules.menu import menu as default_menu
from fruitwall.plans.rules.menu import written
from fruitwall.plans.rules.nightly import Chosen, choose
from fruitwall.plans.rules.rule import HouseRule, RuleSet
from fruitwall.plans.rules.usage import Line, Unit, follows, limits_of, units_of
from fruitwall.speech import say

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

Objective = Literal["effort", "lifts", "carries", "total", "loss"]
"""What is made least: work, energy and wear at the household's prices; lifts by hand; containers carried, also on the
trolley; effort and loss; loss alone."""

TRIES = 60
"""Most rule sets that are tried night by night for one answer. Our judgement."""

SUMS = ("loss", "effort", "minutes", "lifts", "carries", "kwh")
"""What a line adds to."""

TIME_S = 60.0
"""Longest that the solver may take for one answer; the bound tells what is left open. Our judgement. [s]"""

TINY = 1e-7
"""Share of its own size by which a limit or an optimum may be missed by rounding. [-]"""


class NotKept(PlanError):
    """No rule set of the menu does what is asked."""


@dataclass(frozen=True, eq=False)
class Found:
    """The best rule set.

    Attributes
    ----------
    rules : RuleSet
    picked : tuple of int
        Line of each unit.
    loss, effort, minutes, lifts, carries, kwh : float
        Expected a winter, of the yard as it is at that step. [currency], [currency], [min], [-], [-], [kWh]
    value, bound : float
        What was made least, and what it cannot be less than.
    tried : int
        Rule sets that were tried night by night.
    chosen : Chosen
        Every night of it.
    """

    rules: RuleSet
    picked: tuple[int, ...]
    loss: float
    effort: float
    minutes: float
    lifts: float
    carries: float
    kwh: float
    value: float
    bound: float
    tried: int
    chosen: Chosen

    @property
    def proven(self) -> bool:
        """Whether nothing better can be kept."""
        return self.value - self.bound <= 1e-5 * max(1.0, abs(self.value))


@dataclass(eq=False)
class Search:
    """Everything that answers about one yard share; cuts that were found once hold for all of them.

    Attributes
    ----------
    ground, step
        What is searched.
    units : tuple of Unit
    owner : ndarray of int, shape (column,)
        Unit of each column; columns are the lines of all units in a row.
    lines : list of Line
    rows, caps : ndarray, shape (row, column) and (row,)
        What must hold on every night.
    cuts : list of (ndarray of bool [column], float)
        At most so many of these columns.
    """

    ground: Ground
    step: SizeStep
    units: tuple[Unit, ...]
    owner: NDArray[np.int64]
    lines: list[Line]
    rows: FloatArray
    caps: FloatArray
    cuts: list[tuple[BoolArray, float]]

    def column(self, name: Objective) -> FloatArray:
        """Give what each line adds to a quantity."""
        if name == "total":
            return self.column("effort") + self.column("loss")
        return np.array([getattr(line, name) for line in self.lines])

    def rule_set(self, picked: Sequence[int]) -> RuleSet:
        """Write a choice as house rules."""
        trees = self.step.trees
        chosen = [
            ([trees[at].tree for at in unit.at], unit.lines[line].rule)
            for unit, line in zip(self.units, picked, strict=True)
        ]
        return written("found", "found", chosen)

    def wanted(self, picked: Sequence[int]) -> NDArray[np.int16]:
        """Give what every tree should get. [tree, night]"""
        measure = np.zeros((len(self.step.trees), self.ground.nights.count), dtype=np.int16)
        for unit, line in zip(self.units, picked, strict=True):
            measure[list(unit.at)] = unit.lines[line].measure
        return measure


def prepared(ground: Ground, step: SizeStep, menu: Sequence[HouseRule] | None = None, **heard: Any) -> Search:
    """Work out what every rule does, and what can run short.

    Parameters
    ----------
    ground : Ground
    step : SizeStep
        Of the ground.
    menu : sequence of HouseRule, optional
        Default `plans.rules.menu.menu`.
    heard
        As for `units_of`.

    Returns
    -------
    Search
    """
    units = units_of(ground, step, default_menu() if menu is None else menu, **heard)
    lines = [line for unit in units for line in unit.lines]
    owner = np.repeat(np.arange(len(units)), [len(unit.lines) for unit in units])
    rows, caps = _night_rows(ground, step, lines, owner)
    return Search(ground, step, units, owner, lines, rows, caps, [])


def cheapest(
    search: Search,
    objective: Objective = "effort",
    *,
    most_loss: float = np.inf,
    most_lifts: float = np.inf,
    most_carries: float = np.inf,
    most_effort: float = np.inf,
) -> Found:
    """Find the rule set with the least of something.

    Parameters
    ----------
    search : Search
        From `prepared`.
    objective : str
        What is made least. Of equals the one with the least effort and loss is wanted.
    most_loss, most_lifts, most_carries, most_effort : float
        At most so much a winter. [currency], [-], [-], [currency]

    Returns
    -------
    Found

    Raises
    ------
    NotKept
        If no rule set of the menu keeps within these.
    """
    bounds = {"loss": most_loss, "lifts": most_lifts, "carries": most_carries, "effort": most_effort}
    bound = -np.inf
    for tries in range(1, TRIES + 1):
        picked, reached = _solve(search, objective, bounds)
        bound = max(bound, reached)
        measure, rules = search.wanted(picked), search.rule_set(picked)
        chosen = choose(search.ground, search.step, rules)
        if np.array_equal(chosen.measure, measure):
            its = [unit.lines[line] for unit, line in zip(search.units, picked, strict=True)]
            sums = {name: sum(getattr(line, name) for line in its) for name in SUMS}
            value = sums["loss"] + sums["effort"] if objective == "total" else sums[objective]
            return Found(rules, picked, **sums, value=value, bound=min(value, bound), tried=tries, chosen=chosen)
        _forbid(search, picked, measure, chosen.measure)
    raise NotKept(
        say(
            "No rule set was found that can be kept on every night: {count} were tried. Allow more loss, or add people "
            "or gear.",
            count=TRIES,
        )
    )


def _solve(search: Search, objective: Objective, bounds: dict[str, float]) -> tuple[tuple[int, ...], float]:
    """Give the line of each unit, and what the objective cannot be less than."""
    first = search.column(objective)
    limits = [(search.column(name), most) for name, most in bounds.items() if np.isfinite(most)]  # type: ignore[arg-type]
    x, bound = _programme(search, first, limits)
    # Of equals the one that is best in all: without this a search for few lifts would let people run all night.
    value = float(first @ x)
    x, _ = _programme(search, search.column("total"), [*limits, (first, value + TINY * max(1.0, abs(value)))])
    return tuple(int(np.flatnonzero(x[search.owner == unit])[0]) for unit in range(len(search.units))), bound


def _programme(
    search: Search, cost: FloatArray, limits: Sequence[tuple[FloatArray, float]]
) -> tuple[FloatArray, float]:
    """Give the cheapest choice of columns, and what none can cost less than."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    columns, units = len(search.lines), len(search.units)
    one_each = csr_array((np.ones(columns), (search.owner, np.arange(columns))), shape=(units, columns))
    constraints = [LinearConstraint(one_each, 1.0, 1.0)]
    if search.caps.size:
        constraints.append(LinearConstraint(csr_array(search.rows), -np.inf, search.caps))
    rows = [(row, most + TINY * max(1.0, abs(most))) for row, most in limits]
    rows += [(cut.astype(np.float64), most) for cut, most in search.cuts]
    if rows:
        matrix = csr_array(np.array([row for row, _ in rows]))
        constraints.append(LinearConstraint(matrix, -np.inf, np.array([most for _, most in rows])))
    result = milp(
        cost,
        integrality=np.ones(columns),
        bounds=Bounds(0.0, 1.0),
        constraints=constraints,
        options={"mip_rel_gap": 0.0, "time_limit": TIME_S},
    )
    if result.x is None:
        raise NotKept(
            say(
                "No house rules keep within that on every night of these winters. Allow more loss or more lifts, or "
                "add people or gear."
            )
        )
    return np.round(result.x), float(result.mip_dual_bound)


def _night_rows(
    ground: Ground, step: SizeStep, lines: Sequence[Line], owner: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Write one row for each night and limit that could be exceeded; those that another one implies are left out.

    Returns
    -------
    rows : ndarray, shape (row, column)
    caps : ndarray, shape (row,)
    """
    starts = np.flatnonzero(np.diff(owner, prepend=-1))
    found: list[FloatArray] = []
    caps: list[float] = []
    for at, limit in enumerate(limits_of(step)):
        users = [column for column, line in enumerate(lines) if at in line.needs]
        if not users:
            continue
        table = np.zeros((ground.nights.count, len(lines)))
        for column in users:
            table[:, column] = lines[column].needs[at]
        most = np.maximum.reduceat(table, starts, axis=1).sum(axis=1)
        table = _undominated(np.unique(table[most > limit.available + 1e-9], axis=0))
        found.append(table)
        caps += [limit.available + 1e-6] * len(table)
    if not found:
        return np.zeros((0, len(lines))), np.zeros(0)
    return np.concatenate(found), np.array(caps)


def _undominated(rows: FloatArray) -> FloatArray:
    """Leave out rows that nowhere ask for more than another one. Rows are distinct."""
    order = np.argsort(-rows.sum(axis=1), kind="stable")
    kept: list[FloatArray] = []
    for row in rows[order]:
        if not kept or not (np.asarray(kept) >= row).all(axis=1).any():
            kept.append(row)
    return np.array(kept).reshape(-1, rows.shape[1])


def _forbid(search: Search, picked: Sequence[int], wanted: NDArray[np.int16], given: NDArray[np.int16]) -> None:
    """Forbid what met where it could not all be done: on the first such night of each winter."""
    nights = search.ground.nights
    short = np.flatnonzero((wanted != given).any(axis=0))
    _, first = np.unique(nights.winter[short], return_index=True)  # later ones may follow from the first
    for night in short[first].tolist():
        span = [night - 1, night] if follows(nights, night) else [night]
        cut = np.zeros(len(search.lines), dtype=bool)
        met = 0
        for number, (unit, line) in enumerate(zip(search.units, picked, strict=True)):
            its = unit.lines[line].measure[:, span]
            if its[:, -1].any():
                met += 1
                cut[search.owner == number] = [np.array_equal(other.measure[:, span], its) for other in unit.lines]
        if not met:  # something is done that nobody asked for: only this very choice is known to do so
            met = len(search.units)
            cut = np.zeros(len(search.lines), dtype=bool)
            cut[np.searchsorted(search.owner, np.arange(met)) + np.asarray(picked)] = True
        search.cuts.append((cut, met - 1.0))
