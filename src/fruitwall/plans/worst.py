"""The worst cases: the mean loss of the whole yard in the worst tenth of the forecast's members.

That is the conditional value at risk (CVaR). With losses per member it is linear in what is chosen (Rockafellar and
Uryasev 2000, J. of Risk 2:21-41, from memory): the least over t of ``t + sum of max(0, loss - t) / (share * members)``.
A member's loss is that of all trees and nights together, each the expected loss in that weather.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from fruitwall.plans.problem import EveningProblem
    from fruitwall.plans.programme import Programme

WORST_SHARE = 0.1
"""Share of the members that count as the worst cases: one in ten. Our judgement."""


def worst_mean(losses: ArrayLike, share: float = WORST_SHARE) -> float:
    """Give the mean of the largest losses.

    Parameters
    ----------
    losses : array_like, shape (member,)
        Loss in each member, all equally likely. [currency]
    share : float
        Share of the members that counts, above 0 to 1; a member that only partly belongs to it counts in part.

    Returns
    -------
    float
        [currency]

    Raises
    ------
    ValueError
        If there is no member or `share` is outside its range.
    """
    largest = np.sort(np.asarray(losses, dtype=np.float64))[::-1]
    if largest.ndim != 1 or largest.size == 0:
        raise ValueError(f"losses must be one number per member, got shape {largest.shape}")
    if not 0.0 < share <= 1.0:
        raise ValueError(f"share must be above 0 and at most 1, got {share}")
    counted = share * largest.size
    weights = np.clip(counted - np.arange(largest.size), 0.0, 1.0)
    return float(weights @ largest / counted)


def losses_by_member(
    problem: EveningProblem, choices: Sequence[Sequence[int]], nights: Iterable[int] | None = None
) -> NDArray[np.float64]:
    """Give the loss of the whole yard in each member.

    Parameters
    ----------
    problem : EveningProblem
        With `Option.by_member` of every option.
    choices : sequence (tree) of sequence (night) of int
        Option of every tree on all nights of the problem.
    nights : iterable of int, optional
        Which nights are added up; all by default.

    Returns
    -------
    ndarray, shape (member,)
        Weighted by the weights of the nights. [currency]
    """
    total = np.zeros(_members(problem))
    for night in range(problem.n_nights) if nights is None else nights:
        for options, chosen in zip(problem.options, choices, strict=True):
            by_member = options[chosen[night]].by_member
            assert by_member is not None
            total += float(problem.weights[night]) * by_member[night]
    return total


def shun_worst(programme: Programme) -> None:
    """Add the columns and rows of the worst cases to a programme that has its choices.

    One column for t and one per member for what its loss exceeds t by; one row per member. They are counted in units of
    the largest loss that any member can have, so that they lie between 0 and 1 as all columns do.
    """
    problem, nights = programme.problem, programme.window.nights
    if problem.aversion <= 0.0:
        return
    members = _members(problem)
    already = np.zeros(members) if programme.window.carried is None else programme.window.carried
    terms: list[tuple[int, NDArray[np.float64]]] = []
    most = already.copy()
    for night in nights:
        weight = float(problem.weights[night])
        for tree, options in enumerate(problem.options):
            rows = [weight * option.by_member[night] for option in options if option.by_member is not None]
            most += np.max(rows, axis=0)
            terms += [(programme.x[(tree, rank, night)], row) for rank, row in enumerate(rows)]
    unit = max(float(most.max()), 1e-9)
    level = programme.column(problem.aversion * unit, integral=False)
    beyond = problem.aversion * unit / (WORST_SHARE * members)
    for member in range(members):
        excess = programme.column(beyond, integral=False)
        row = [(column, -float(losses[member]) / unit) for column, losses in terms if losses[member] > 0.0]
        programme.row([(level, 1.0), (excess, 1.0), *row], float(already[member]) / unit, np.inf)


def check_members(problem: EveningProblem) -> None:
    """Refuse an aversion outside its range, or without losses per member that agree with the expected losses.

    Raises
    ------
    ValueError
        Naming the tree and the measure.
    """
    if not 0.0 <= problem.aversion <= 1.0:
        raise ValueError(f"aversion must be from 0 to 1, got {problem.aversion}")
    if problem.aversion == 0.0:
        return
    members = None
    for tree, options in zip(problem.trees, problem.options, strict=True):
        for option in options:
            found, name = option.by_member, f"by_member of {tree}, {option.measure.key}"
            if found is None:
                raise ValueError(f"{name} is needed where worst cases are shunned")
            members = found.shape[-1] if members is None else members
            if found.shape != (problem.n_nights, members) or members == 0:
                raise ValueError(f"{name} must have shape ({problem.n_nights}, {members}), got {found.shape}")
            if not (np.isfinite(found).all() and (found >= 0).all()):
                raise ValueError(f"{name} must be finite and 0 or more")
            if not np.allclose(found.mean(axis=1), option.loss, rtol=1e-6, atol=1e-6):
                raise ValueError(f"{name} must have the expected loss as its mean")


def _members(problem: EveningProblem) -> int:
    by_member = problem.options[0][0].by_member
    assert by_member is not None
    return int(by_member.shape[1])
