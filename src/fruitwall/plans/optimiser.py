"""Solving a programme: relaxation, columns that cannot pay left out, HiGHS on the rest.

The relaxation of the evening is tight (within about 0.2 % of the optimum on yards of sixty trees) and is solved in
a twentieth of the time. Its reduced costs tell how much dearer every plan with a given choice must at least be. So
only the choices within `slack` of the relaxation are given to the integer solver, and the result is proven:
a plan that uses one of the others costs at least the relaxation plus `slack`. If that does not suffice for the proof,
the slack is widened and the programme solved again.

When an evening is planned again and time runs out before the proof, what was found is crossed with the earlier plan
(`among`): the best plan is looked for in which every choice is that of one of the two. It is at least as good as both.

Fixing by reduced cost: Crowder, Johnson and Padberg (1983), Operations Research 31:803-834. Solver: HiGHS (Huangfu
and Hall 2018, Mathematical Programming Computation 10:119-142) through SciPy.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import PlanError
from fruitwall.plans.programme import Programme
from fruitwall.speech import say

# First slack as a share of the relaxation's value, and the factor by which it grows when it was too narrow.
_SLACK_SHARE = 2e-4
_SLACK_GROWTH = 4.0


@dataclass(frozen=True, eq=False)
class Optimum:
    """A solution of a programme.

    Attributes
    ----------
    x : ndarray, shape (column,)
        Values, whole numbers.
    value, bound : float
        Cost of the solution and proven lower bound, ties left out, with the programme's constant. [currency]
    gap : float
        (value - bound) / value, 0 or more.
    """

    x: NDArray[np.float64]
    value: float
    bound: float

    @property
    def gap(self) -> float:
        """Share by which a better plan could at most be cheaper."""
        if self.value <= 0.0:
            return 0.0
        return max(0.0, (self.value - self.bound) / self.value)


class OutOfTime(PlanError):
    """No plan was found in the time allowed."""


class NoPlan(PlanError):
    """The programme has no solution."""


@dataclass(frozen=True, eq=False)
class Relaxed:
    """The programme as a matrix with its relaxation solved, to be used for several integer solves.

    Attributes
    ----------
    programme : Programme
        What it is made from.
    matrix, low, high, upper, objective
        Rows, largest values of the columns (0 where forbidden), costs.
    value : float
        Optimum of the relaxation, ties included.
    x : ndarray, shape (column,)
        Its solution.
    reduced : ndarray, shape (column,)
        Reduced cost: of raising a column that is 0 (positive) or lowering one that is 1 (negative).
    """

    programme: Programme
    matrix: Any
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    upper: NDArray[np.float64]
    objective: NDArray[np.float64]
    value: float
    x: NDArray[np.float64]
    reduced: NDArray[np.float64]


def relax(programme: Programme, *, forbidden: Collection[int] = ()) -> Relaxed:
    """Solve the linear relaxation of a programme.

    Parameters
    ----------
    programme : Programme
        From `plans.programme.build`.
    forbidden : collection of int
        Columns that must be 0.

    Raises
    ------
    NoPlan
        If there is no solution at all.
    """
    from scipy.optimize import linprog
    from scipy.sparse import vstack

    matrix = programme.matrix().tocsr()
    low, high = np.asarray(programme.low), np.asarray(programme.high)
    objective = programme.objective
    equal = low == high
    at_most = np.flatnonzero(np.isfinite(high) & ~equal)
    at_least = np.flatnonzero(np.isfinite(low) & ~equal)
    upper = np.asarray(programme.upper, dtype=np.float64)
    upper[list(forbidden)] = 0.0
    rows_ub = vstack([matrix[at_most], -matrix[at_least]], format="csr")
    result = linprog(
        objective,
        A_ub=rows_ub,
        b_ub=np.concatenate([high[at_most], -low[at_least]]),
        A_eq=matrix[np.flatnonzero(equal)],
        b_eq=low[equal],
        bounds=np.column_stack([np.zeros_like(upper), upper]),
        method="highs-ds",
    )
    if result.status != 0:
        raise NoPlan(say("the evening has no plan that keeps all limits: {message}", message=result.message))
    reduced = result.lower.marginals + result.upper.marginals
    return Relaxed(programme, matrix, low, high, upper, objective, float(result.fun), result.x, reduced)


def optimise(relaxed: Relaxed, *, time_limit_s: float, gap: float, since: float | None = None) -> Optimum:
    """Find the cheapest whole-numbered solution.

    Parameters
    ----------
    relaxed : Relaxed
        From `relax`.
    time_limit_s : float
        Time after which the best plan so far is given. [s]
    gap : float
        Share of the value within which the proof may stop.
    since : float, optional
        `perf_counter` at which the time began; default now.

    Returns
    -------
    Optimum

    Raises
    ------
    OutOfTime
        If no plan was found in time.
    NoPlan
        If there is none.
    """
    began = perf_counter() if since is None else since
    slack = max(_SLACK_SHARE * abs(relaxed.value), 1e-6)
    best: NDArray[np.float64] | None = None
    value, bound = np.inf, relaxed.value
    while True:
        left = time_limit_s - (perf_counter() - began)
        if left <= 0.0 and best is None:
            raise OutOfTime(say("no plan was found within {seconds:g} s", seconds=time_limit_s))
        if left <= 0.0:
            break
        result, free = _restricted(relaxed, slack, left, gap)
        if result.x is not None:
            if result.fun < value:
                best, value = _rounded(relaxed, result.x), float(result.fun)
            outside = np.inf if free else relaxed.value + slack
            bound = max(bound, min(float(result.mip_dual_bound), outside))
        elif free and best is None:
            if result.status == 2:
                raise NoPlan(say("the evening has no plan that keeps all limits"))
            raise OutOfTime(
                say(
                    "no plan was found within {seconds:g} s: {message}",
                    seconds=time_limit_s,
                    message=result.message,
                )
            )
        if best is not None and value - bound <= gap * abs(value) + 1e-9:
            break
        if free:
            break
        slack = _SLACK_GROWTH * slack if best is None else max(1.001 * (value - relaxed.value), 2.0 * slack)
    assert best is not None
    return _without_ties(relaxed, best, bound)


def among(
    relaxed: Relaxed, columns: NDArray[np.bool_], *, found: Optimum | None, time_limit_s: float, gap: float
) -> Optimum | None:
    """Find the cheapest solution that uses no other than some columns.

    Parameters
    ----------
    relaxed : Relaxed
        From `relax`.
    columns : ndarray of bool, shape (column,)
        Those that may be used.
    found : Optimum or None
        A solution of the whole programme, to be beaten; its bound holds for this one too.
    time_limit_s : float
        [s]
    gap : float
        Share of the value within which the search may stop.

    Returns
    -------
    Optimum or None
        `found` if nothing cheaper turned up. The bound is that of the whole programme.
    """
    upper = np.where(columns, relaxed.upper, 0.0)
    result = _milp(relaxed, np.zeros_like(upper), upper, time_limit_s, gap)
    if result.x is None:
        return found
    other = _without_ties(relaxed, _rounded(relaxed, result.x), relaxed.value)
    if found is None:
        return other
    return found if found.value <= other.value else Optimum(other.x, other.value, min(found.bound, other.value))


def _restricted(relaxed: Relaxed, slack: float, time_s: float, gap: float) -> tuple[Any, bool]:
    """Solve with only the columns that can pay; tell also whether that was all of them."""
    programme = relaxed.programme
    lower = np.zeros(len(relaxed.objective))
    upper = relaxed.upper.copy()
    # A forbidden column is always 0: that is no guess of ours.
    # Whole-numbered columns only: a fraction of another costs less than its reduced cost says.
    whole = np.asarray(programme.integral, dtype=bool)
    out = (relaxed.reduced > slack) & (relaxed.upper > 0.0) & whole
    kept = (relaxed.reduced < -slack) & (relaxed.upper > 0.0) & whole
    upper[out] = 0.0
    lower[kept] = 1.0
    # Half of the gap, so that the sum of this and the relaxation's share still proves the whole.
    result = _milp(relaxed, lower, upper, time_s, gap / 2.0)
    return result, not (out.any() or kept.any())


def _milp(relaxed: Relaxed, lower: NDArray[np.float64], upper: NDArray[np.float64], time_s: float, gap: float) -> Any:
    """Give what HiGHS finds with columns between these bounds."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    return milp(
        relaxed.objective,
        integrality=np.asarray(relaxed.programme.integral),
        bounds=Bounds(lower, upper),
        constraints=LinearConstraint(relaxed.matrix, relaxed.low, relaxed.high),
        options={"time_limit": max(time_s, 0.01), "mip_rel_gap": gap},
    )


def _rounded(relaxed: Relaxed, x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take away what the solver leaves beside whole numbers."""
    return np.where(np.asarray(relaxed.programme.integral, dtype=bool), np.round(x), x)


def _without_ties(relaxed: Relaxed, x: NDArray[np.float64], bound: float) -> Optimum:
    """Take the ties out of value and bound again, the bound to the safe side."""
    programme = relaxed.programme
    cost = np.asarray(programme.cost, dtype=np.float64)
    value = float(cost @ x) + programme.constant
    return Optimum(x, value, min(value, bound + programme.constant - programme.largest_tie()))
