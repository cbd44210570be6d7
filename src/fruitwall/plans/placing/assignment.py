"""Who stands where: a list of wanted plants is laid over the yard all at once, with room for every grown crown.

Two crowns that are open discs overlap if and only if some point lies in both. So for every point of the plane at most
one chosen crown may hold it: that is a constraint on a whole clique of choices at once, far tighter than one for each
pair. Points are taken at the candidates; the few pairs that share none of these points get one between them.

Candidates are thinned for speed. What was left out of a kind is stood for by a place that takes no room and is worth
as much as the best of them: any true solution is one of this problem too, so its best value is a bound on everything.
Where that best uses no such place, thinning has cost nothing. Else every cell round the places found is taken as well
and all is solved again, as long as that gains; what a better way could gain at most is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TOUCHING_M = 1e-6
"""Crowns that touch do not overlap; places nearer to that than this count as touching. [m]"""

FIRST_BEST = 20
"""Candidates of each kind taken for their value alone, and ten more for each plant. Our judgement."""

SQUARES_A_CROWN = 1.5
"""Squares along a crown; the best cell of each is a candidate. Our judgement: in a trial on 2,236 cells with eight
plants of four kinds 1, 1.5 and 2 gave 969.6, 973.7 and 978.4 in 0.2, 0.3 and 1.6 s, before the cells round the places
found were taken as well: with these 984.4, where all that is possible is at most 989.5."""

NEAR_CROWNS = 0.35
"""So far round a place that was found, in grown crowns, every cell becomes a candidate. Our judgement."""

MOST_CHOICES = 2000
"""Choices (kind and cell) of the largest problem that is solved. Our judgement, by time."""

MOST_ROUNDS = 4
"""Rounds at most. Our judgement."""

SECONDS = 20.0
"""Time that the solver may take in all. Our judgement. [s]"""


@dataclass(frozen=True, eq=False)
class Demand:
    """Plants of one kind to be placed, or one container.

    Attributes
    ----------
    key : str
        Unique.
    count : int
        How many.
    crown_m : float
        Across the grown crown; two plants stand at least half the sum of theirs apart. [m]
    value : ndarray, shape (cell,)
        What one is worth at each cell, all in all; NaN where it cannot stand. [currency]
    """

    key: str
    count: int
    crown_m: float
    value: FloatArray


@dataclass(frozen=True)
class Placed:
    """One plant at its place.

    Attributes
    ----------
    key : str
        Of what was wanted.
    cell : int
    value : float
        [currency]
    """

    key: str
    cell: int
    value: float


@dataclass(frozen=True)
class Assignment:
    """Where all stand.

    Attributes
    ----------
    placed : tuple of Placed
        In the order of what was wanted, best first.
    missing : tuple of (str, int)
        What found no room, and how many.
    value : float
        Of all that is placed. [currency]
    bound : float
        No way to place as many is worth more, on any cells. [currency]
    proven : bool
        Whether that, and that no more can be placed, is certain; otherwise time or size ran out.
    room_proven : bool
        Whether it is certain that no more can be placed.
    choices : int
        Kinds and cells that were looked at in the last round.
    """

    placed: tuple[Placed, ...]
    missing: tuple[tuple[str, int], ...]
    value: float
    bound: float
    proven: bool
    room_proven: bool
    choices: int

    @property
    def gap(self) -> float:
        """What a better way could be worth more, at most. [currency]"""
        return max(self.bound - self.value, 0.0)


def assign(
    xy_m: FloatArray,
    wanted: Sequence[Demand],
    *,
    most_choices: int = MOST_CHOICES,
    first_best: int = FIRST_BEST,
    seconds: float = SECONDS,
) -> Assignment:
    """Place as many of the wanted plants as there is room for, and of all such ways take the one worth most.

    Parameters
    ----------
    xy_m : ndarray, shape (cell, 2)
        Middles of the cells. [m]
    wanted : sequence of Demand
        With distinct keys.
    most_choices : int
        Size up to which the problem is enlarged where thinning may have cost something.
    first_best : int
        Candidates of each kind that are taken at first for their value alone.
    seconds : float
        For the solver, in all rounds together. [s]

    Returns
    -------
    Assignment

    Raises
    ------
    ValueError
        If shapes, counts or crowns are impossible, or keys are not distinct.

    Notes
    -----
    Solved by HiGHS through ``scipy.optimize.milp``. The number of plants comes first: each placed plant counts a bonus
    greater than all differences of value together.
    """
    spots = np.asarray(xy_m, dtype=np.float64)
    _check(spots, wanted)
    if not any(one.count for one in wanted):
        return Assignment((), (), 0.0, 0.0, proven=True, room_proven=True, choices=0)
    chosen = [_candidates(spots, one, first_best + 10 * one.count) for one in wanted]
    problem = _Problem(spots, wanted, chosen)
    found = problem.solve(seconds)
    best, best_of, bound = found, problem, found.bound
    for _ in range(MOST_ROUNDS - 1):
        seconds -= found.seconds
        nearer = [
            _round_places(spots, one, cells, found, k)
            for k, (one, cells) in enumerate(zip(wanted, chosen, strict=True))
        ]
        size = sum(map(len, nearer))
        if size == sum(map(len, chosen)) or size > most_choices or seconds <= 0.0 or bound <= best.total + 1e-6:
            break
        chosen = nearer
        problem = _Problem(spots, wanted, chosen)
        found = problem.solve(seconds)
        bound = min(bound, found.bound)
        if found.total <= best.total + 1e-9:
            break
        best, best_of = found, problem
    return best_of.told(best, bound)


def _round_places(spots: FloatArray, one: Demand, cells: IntArray, found: _Solved, kind: int) -> IntArray:
    """Add every cell round the places that were found for a kind to its candidates."""
    places = [cell for k, cell in found.cells if k == kind]
    if not places:
        return cells
    near = np.hypot(*(spots[:, None, :] - spots[places][None, :, :]).transpose(2, 0, 1)).min(axis=1)
    return np.union1d(cells, np.flatnonzero((near <= NEAR_CROWNS * one.crown_m) & np.isfinite(one.value)))


def _check(spots: FloatArray, wanted: Sequence[Demand]) -> None:
    """Refuse what cannot be."""
    if spots.ndim != 2 or spots.shape[1] != 2:
        raise ValueError(f"xy_m must have the shape (cell, 2), got {spots.shape}")
    if len({one.key for one in wanted}) != len(wanted):
        raise ValueError("wanted must have distinct keys")
    for one in wanted:
        if one.value.shape != (len(spots),):
            raise ValueError(f"value of {one.key} must have the shape ({len(spots)},), got {one.value.shape}")
        if one.count < 0:
            raise ValueError(f"count of {one.key} must be at least 0, got {one.count}")
        if not one.crown_m > 0.0:
            raise ValueError(f"crown_m of {one.key} must be greater than 0 m, got {one.crown_m}")


def _candidates(spots: FloatArray, one: Demand, many: int) -> IntArray:
    """Choose cells for a kind: those worth most, and the best of every square somewhat less than a crown wide."""
    can = np.flatnonzero(np.isfinite(one.value))
    if one.count == 0 or can.size == 0:
        return can[:0]
    if can.size <= many:
        return can
    order = can[np.argsort(-one.value[can], kind="stable")]
    side = one.crown_m / SQUARES_A_CROWN
    square = np.floor((spots[order] - spots.min(axis=0)) / side).astype(np.int64)
    _, first = np.unique(square, axis=0, return_index=True)
    return np.unique(np.concatenate([order[:many], order[first]]))


@dataclass(frozen=True, eq=False)
class _Solved:
    """What a round gave: true places, their total with bonuses, and a bound on that of every way on all cells."""

    cells: list[tuple[int, int]]
    total: float
    bound: float
    seconds: float


class _Problem:
    """One round: choices, cliques, and the solver's arrays."""

    def __init__(self, spots: FloatArray, wanted: Sequence[Demand], candidates: Sequence[IntArray]) -> None:
        self.wanted = wanted
        self.kept = [int(cells.size) for cells in candidates]
        self.kind = np.repeat(np.arange(len(wanted)), self.kept)
        self.cell = np.concatenate(candidates)
        self.at = spots[self.cell]
        self.half = np.array([one.crown_m / 2.0 for one in wanted])[self.kind]
        self.value = np.concatenate([one.value[cells] for one, cells in zip(wanted, candidates, strict=True)])
        self.beyond = np.array([_best_left(one, cells) for one, cells in zip(wanted, candidates, strict=True)])
        """Best value among the cells that were left out, by kind; minus infinity where none was."""
        every = np.concatenate([one.value[np.isfinite(one.value)] for one in wanted if one.count])
        self.lowest = float(every.min()) if every.size else 0.0
        plants = sum(one.count for one in wanted)
        self.bonus = plants * (float(np.ptp(every)) if every.size else 0.0) + 1.0
        """With values counted from the lowest one on, any n plants come to at least n bonuses and less than n + 1."""

    def solve(self, seconds: float) -> _Solved:
        """Solve it with places beyond, for the bound; where these are used also without, for true places."""
        import time

        began = time.perf_counter()
        cliques = self._cliques()
        open_ = np.isfinite(self.beyond)
        chosen, bound = self._milp(cliques, open_, seconds)
        if chosen[self.cell.size :].any():
            left = max(seconds - (time.perf_counter() - began), 1.0)
            chosen, _ = self._milp(cliques, np.zeros_like(open_), left)
        picks = np.flatnonzero(chosen[: self.cell.size])
        total = float((self.value[picks] - self.lowest + self.bonus).sum())
        cells = [(int(self.kind[i]), int(self.cell[i])) for i in picks]
        return _Solved(cells, total, max(bound, total), time.perf_counter() - began)

    def told(self, found: _Solved, total_bound: float) -> Assignment:
        """Put a solution into words of the caller."""
        placed = sorted(
            (Placed(self.wanted[k].key, c, float(self.wanted[k].value[c])) for k, c in found.cells),
            key=lambda one: ([w.key for w in self.wanted].index(one.key), -one.value),
        )
        short = [one.count - sum(p.key == one.key for p in placed) for one in self.wanted]
        missing = tuple((one.key, n) for one, n in zip(self.wanted, short, strict=True) if n)
        value = sum(one.value for one in placed)
        most = int(np.floor(total_bound / self.bonus + 1e-6))
        room = not missing or most <= len(placed)
        bound = total_bound + (self.lowest - self.bonus) * len(placed) if room else self._free_bound(len(placed))
        bound = max(min(bound, self._free_bound(len(placed))), value)
        return Assignment(
            tuple(placed),
            missing,
            value,
            bound,
            proven=room and bound - value <= 1e-6 * (1.0 + abs(value)),
            room_proven=room,
            choices=int(self.cell.size),
        )

    def _free_bound(self, plants: int) -> float:
        """Give what so many plants are worth at most if none takes room."""
        best = [np.sort(one.value[np.isfinite(one.value)])[::-1][: one.count] for one in self.wanted]
        return float(np.sort(np.concatenate(best))[::-1][:plants].sum())

    def _milp(self, cliques: csr_array, open_: NDArray[np.bool_], seconds: float) -> tuple[IntArray, float]:
        """Solve; give what is chosen (then the places beyond), and a bound on the total."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array, hstack, vstack

        n, kinds = self.cell.size, len(self.wanted)
        counts = np.array([one.count for one in self.wanted], dtype=np.float64)
        gain = np.concatenate([self.value, np.where(open_, self.beyond, 0.0)]) - self.lowest + self.bonus
        of_kind = coo_array(
            (np.ones(n + kinds), (np.append(self.kind, np.arange(kinds)), np.arange(n + kinds))),
            shape=(kinds, n + kinds),
        )
        rows = vstack([of_kind, hstack([cliques, coo_array((cliques.shape[0], kinds))])], format="csr")
        upper = np.concatenate([counts, np.ones(cliques.shape[0])])
        result = milp(
            -gain,
            integrality=np.ones(n + kinds),
            bounds=Bounds(0.0, np.concatenate([np.ones(n), np.where(open_, counts, 0.0)])),
            constraints=LinearConstraint(rows, -np.inf, upper),
            options={"time_limit": max(seconds, 1.0), "mip_rel_gap": 0.0},
        )
        plants = int(counts.sum())
        free = self._free_bound(plants) + (self.bonus - self.lowest) * plants
        dual = getattr(result, "mip_dual_bound", None)
        bound = free if dual is None or not np.isfinite(dual) else min(-float(dual), free)
        if result.x is None:
            return np.zeros(n + kinds, dtype=np.int64), bound
        return np.rint(result.x).astype(np.int64), bound

    def _cliques(self) -> csr_array:
        """Give the sets of choices of which at most one may be taken, one in a row; together they hold every clash."""
        from scipy.sparse import csr_array

        n = self.cell.size
        apart = np.hypot(*(self.at[:, None, :] - self.at[None, :, :]).transpose(2, 0, 1))
        clash = apart < self.half[:, None] + self.half[None, :] - TOUCHING_M
        np.fill_diagonal(clash, val=False)
        holds = apart < self.half[None, :] - TOUCHING_M / 2.0  # point i lies in the crown of choice j
        np.fill_diagonal(holds, val=True)
        rows = np.unique(holds, axis=0)
        rows = rows[rows.sum(axis=1) > 1]
        open_ = clash.copy()
        together = rows.astype(np.float32)
        open_ &= ~((together.T @ together) > 0.5)
        more = list(self._between(open_))
        all_rows = np.vstack([rows, *more]) if more else rows
        return csr_array(all_rows.astype(np.float64).reshape(-1, n))

    def _between(self, open_: NDArray[np.bool_]) -> Iterator[NDArray[np.bool_]]:
        """Give the clique of a point between two choices that clash and share none yet, until none are left."""
        for i in range(open_.shape[0]):
            while (others := np.flatnonzero(open_[i, i + 1 :])).size:
                j = int(others[0]) + i + 1
                share = self.half[i] / (self.half[i] + self.half[j])
                point = self.at[i] + share * (self.at[j] - self.at[i])
                inside = np.hypot(*(self.at - point).T) < self.half - TOUCHING_M / 2.0
                inside[[i, j]] = True
                members = np.flatnonzero(inside)
                open_[np.ix_(members, members)] = False
                yield inside[None, :]


def _best_left(one: Demand, cells: IntArray) -> float:
    """Give the best value among the cells of a kind that are no candidates; minus infinity where there are none."""
    left = np.isfinite(one.value)
    left[cells] = False
    return float(one.value[left].max()) if left.any() and one.count else -np.inf
