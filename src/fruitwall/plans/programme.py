"""The evening as a mixed-integer programme: columns, rows and back again.

The programme is written out in `docs/planner.md`; the names of the columns here are those of that page:

- ``x[tree, option, night]`` the tree gets that measure;
- ``z[group, state, night]`` the shared thing is in that state;
- ``w[part, way, night]`` the part is set up anew, in that way;
- ``a[part, person, night]`` the part that stands since the night before gets its minutes again;
- ``f[part, circuit, night]`` the part is fed from that circuit (only where there is more than one).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.matching import hall_sets
from fruitwall.plans.parts import Part, Way
from fruitwall.plans.problem import EveningProblem
from fruitwall.plans.worst import shun_worst

if TYPE_CHECKING:
    from scipy.sparse import csr_array

TIE = 1e-6
"""Currency a rank by which ties are broken: earlier options, then earlier trees, then earlier ways."""

Terms = list[tuple[int, float]]


@dataclass(frozen=True, eq=False)
class Window:
    """The nights that are decided, with what stands before and after them.

    Attributes
    ----------
    nights : tuple of int
        In a row.
    before : frozenset of str
        Keys of parts that stand when the first of them begins.
    after : frozenset of str
        Keys of parts used in the night after the last, as planned already: those that do not stand by then have to
        be set up anew.
    carried : ndarray, shape (member,), or None
        Loss of the yard on the nights that are not decided here, by member, where worst cases are shunned. [currency]
    """

    nights: tuple[int, ...]
    before: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()
    carried: NDArray[np.float64] | None = None


@dataclass(eq=False)
class Programme:
    """Columns and rows of one programme, filled by `build`."""

    problem: EveningProblem
    window: Window
    parts: dict[str, Part]
    cost: list[float] = field(default_factory=list)
    tie: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    integral: list[int] = field(default_factory=list)
    constant: float = 0.0
    x: dict[tuple[int, int, int], int] = field(default_factory=dict)
    z: dict[tuple[str, str, int], int] = field(default_factory=dict)
    w: dict[tuple[str, int, int], int] = field(default_factory=dict)
    a: dict[tuple[str, str, int], int] = field(default_factory=dict)
    f: dict[tuple[str, str, int], int] = field(default_factory=dict)
    users: dict[tuple[str, int], list[int]] = field(default_factory=dict)
    _entries: tuple[list[int], list[int], list[float]] = field(default_factory=lambda: ([], [], []))
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, cost: float, tie: float = 0.0, *, integral: bool = True) -> int:
        """Add a column from 0 to 1."""
        self.cost.append(cost)
        self.tie.append(tie)
        self.upper.append(1.0)
        self.integral.append(int(integral))
        return len(self.cost) - 1

    def row(self, terms: Terms, low: float, high: float) -> None:
        """Add a row low <= sum of terms <= high; one without terms is dropped."""
        if not terms:
            return
        at = len(self.low)
        rows, columns, values = self._entries
        for column, value in terms:
            rows.append(at)
            columns.append(column)
            values.append(value)
        self.low.append(low)
        self.high.append(high)

    def matrix(self) -> csr_array:
        """Give the rows as a sparse matrix; a column named twice in a row counts twice."""
        from scipy.sparse import csr_array

        rows, columns, values = self._entries
        return csr_array((values, (rows, columns)), shape=(len(self.low), len(self.cost)))

    def use(self, part: str, night: int) -> Terms:
        """Give the terms whose sum is 1 if the part is in use that night."""
        return [(column, 1.0) for column in self.users.get((part, night), [])]

    def largest_tie(self) -> float:
        """Give a sum that the ties of no plan exceed: one option a tree and night, a few efforts for each of them."""
        own = sum(self.tie[column] for column in self.z.values())
        most: dict[tuple[int, int], tuple[float, int]] = {}
        for (tree, rank, night), column in self.x.items():
            n_parts = len(self.problem.options[tree][rank].measure.parts)
            tie, parts = most.get((tree, night), (0.0, 0))
            most[(tree, night)] = (max(tie, self.tie[column]), max(parts, n_parts))
        effort = max((self.tie[column] for group in (self.w, self.a, self.f) for column in group.values()), default=0.0)
        shared = sum(len(setting.parts) for setting in self.problem.settings) * len(self.window.nights)
        return own + sum(tie + 2.0 * parts * effort for tie, parts in most.values()) + 2.0 * shared * effort

    @property
    def objective(self) -> NDArray[np.float64]:
        """Costs and ties."""
        return np.asarray(self.cost, dtype=np.float64) + np.asarray(self.tie, dtype=np.float64)


def all_parts(problem: EveningProblem) -> dict[str, Part]:
    """Give every part of the problem by key, in a fixed order.

    Raises
    ------
    ValueError
        If two different parts have one key.
    """
    parts: dict[str, Part] = {}
    carriers = [option.measure.parts for options in problem.options for option in options]
    carriers += [setting.parts for setting in problem.settings]
    for part in (part for carried in carriers for part in carried):
        if parts.setdefault(part.key, part) != part:
            raise ValueError(f"two different parts have the key {part.key}")
    return parts


def setting_up_cost(problem: EveningProblem, part: Part, way: Way) -> float:
    """Give the price of setting a part up in one way, of undoing it some day, and of the trouble. [currency]"""
    prices = problem.prices
    minutes = way.minutes * len(way.people) + part.minutes_remove
    effort = prices.per_hour / 60.0 * minutes + prices.per_lift * (way.lifts + way.lifts_back)
    return part.price_share * effort + problem.trouble


def use_cost(problem: EveningProblem, part: Part) -> float:
    """Give the price of a part on every night of use: its morning, its energy and its wear. [currency]"""
    prices = problem.prices
    return prices.per_hour / 60.0 * part.minutes_morning + prices.per_kwh * part.kwh + problem.wear_weight * part.wear


def again_people(part: Part) -> tuple[str, ...]:
    """Give those who can do again what stands already: everybody who is in some way of doing it."""
    return tuple(dict.fromkeys(person for way in part.ways for person in way.people))


def build(problem: EveningProblem, window: Window | None = None) -> Programme:
    """Write the programme of the nights of a window (default: all nights)."""
    span = window or Window(tuple(range(problem.n_nights)), problem.in_place)
    programme = Programme(problem, span, all_parts(problem))
    for night in span.nights:
        _choices(programme, night)
        _efforts(programme, night)
        _supplies(programme, night)
        if night == 0:
            for key in sorted(problem.kept):
                programme.row(programme.use(key, night), 1.0, 1.0)
    _aftermath(programme)
    shun_worst(programme)
    return programme


def _choices(programme: Programme, night: int) -> None:
    """One option per tree, one state per shared thing, options only under the states that they require."""
    problem = programme.problem
    weight = float(problem.weights[night])
    groups: dict[str, list[int]] = {}
    for rank, setting in enumerate(problem.settings):
        cost = weight * sum(use_cost(problem, part) for part in setting.parts)
        column = programme.column(cost, TIE * rank)
        programme.z[(setting.group, setting.state, night)] = column
        groups.setdefault(setting.group, []).append(column)
        for part in setting.parts:
            programme.users.setdefault((part.key, night), []).append(column)
    for columns in groups.values():
        programme.row([(column, 1.0) for column in columns], 1.0, 1.0)
    n_trees = len(problem.trees)
    for tree, options in enumerate(problem.options):
        columns = []
        under: dict[tuple[str, str], list[int]] = {}
        for rank, option in enumerate(options):
            measure = option.measure
            cost = weight * (float(option.loss[night]) + sum(use_cost(problem, part) for part in measure.parts))
            tie = TIE * (rank + tree / n_trees) if rank else 0.0
            column = programme.column(cost, tie)
            programme.x[(tree, rank, night)] = column
            columns.append(column)
            for part in measure.parts:
                programme.users.setdefault((part.key, night), []).append(column)
            for setting in measure.requires:
                under.setdefault(setting.key, []).append(column)
        programme.row([(column, 1.0) for column in columns], 1.0, 1.0)
        for (group, state), members in under.items():
            z = programme.z[(group, state, night)]
            programme.row([(column, 1.0) for column in members] + [(z, -1.0)], -np.inf, 0.0)


def _efforts(programme: Programme, night: int) -> None:
    """Columns for setting up and for doing again, and the rows that demand them."""
    problem, window = programme.problem, programme.window
    weight = float(problem.weights[night])
    first = night == window.nights[0]
    for part in programme.parts.values():
        use = programme.use(part.key, night)
        if not use or (night == 0 and part.key in problem.done):
            continue
        stands = part.stays and first and part.key in window.before
        new: Terms = []
        if not stands:
            for rank, way in enumerate(part.ways):
                column = programme.column(weight * setting_up_cost(problem, part, way), TIE * (rank + 1) / 10.0)
                programme.w[(part.key, rank, night)] = column
                new.append((column, 1.0))
            terms = new + [(column, -1.0) for column, _ in use]
            if first or not part.stays:
                programme.row(terms, 0.0, 0.0)
            else:
                earlier = programme.use(part.key, night - 1)
                programme.row(terms + earlier, 0.0, np.inf)
        if part.minutes_again > 0 and part.stays and (stands or not first):
            price = problem.prices.per_hour / 60.0 * part.minutes_again
            again: Terms = []
            for rank, person in enumerate(again_people(part)):
                column = programme.column(weight * price, TIE * (rank + 1) / 10.0)
                programme.a[(part.key, person, night)] = column
                again.append((column, 1.0))
            programme.row(again + new + [(column, -1.0) for column, _ in use], 0.0, np.inf)
            if new:  # what stands is not set up anew to save the minutes again
                programme.row(new + programme.use(part.key, night - 1), -np.inf, 1.0)


def _supplies(programme: Programme, night: int) -> None:
    """Rows of everything of which there is only so much."""
    problem = programme.problem
    used = [part for part in programme.parts.values() if programme.users.get((part.key, night))]
    _people(programme, night, used)
    _pieces(programme, "sheet", [(programme.use(part.key, night), part.sheets) for part in used if part.sheets])
    for kind in ("lamps", "heater"):
        for device, supply in problem.supplies.of(kind).items():
            terms = _joined(
                programme.use(part.key, night) for part in used if part.kind == kind and part.device == device
            )
            programme.row(terms, -np.inf, supply.available)
    for room, supply in problem.supplies.of("room").items():
        terms = _joined(programme.use(part.key, night) for part in used if part.room == room)
        programme.row(terms, -np.inf, supply.available)
    for supply in problem.supplies.of("paint").values():
        terms = [(column, value * part.paint_l) for part in used for column, value in programme.use(part.key, night)]
        programme.row([term for term in terms if term[1] > 0.0], -np.inf, supply.available)
    _power(programme, night, [part for part in used if part.feeds])


def _people(programme: Programme, night: int, used: Sequence[Part]) -> None:
    """Minutes of every person, and of the trolleys, which are shared between people."""
    supplies = programme.problem.supplies
    minutes: dict[str, Terms] = {person: [] for person in supplies.of("person")}
    available = {person: supply.available for person, supply in supplies.of("person").items()}
    rolled: dict[tuple[str, str], Terms] = {}
    for part in used:
        for rank, way in enumerate(part.ways):
            column = programme.w.get((part.key, rank, night))
            if column is None:
                continue
            for person in way.people:
                minutes[person].append((column, way.minutes))
            if way.trolley is not None:
                hurried = min(way.people, key=lambda person: available[person])
                rolled.setdefault((way.trolley, hurried), []).append((column, way.minutes))
        for person in again_people(part):
            column = programme.a.get((part.key, person, night))
            if column is not None:
                minutes[person].append((column, part.minutes_again))
    for person, terms in minutes.items():
        programme.row(terms, -np.inf, available[person])
    if night == 0 and programme.problem.sun_minutes < max(available.values(), default=0.0):
        for person in available:
            programme.row(_in_the_sun(programme, used, person), -np.inf, programme.problem.sun_minutes)
    for trolley, supply in supplies.of("trolley").items():
        for window in trolley_windows(available.values()):
            terms = _joined(
                terms for (its, person), terms in rolled.items() if its == trolley and available[person] <= window
            )
            programme.row(terms, -np.inf, supply.available * window)


def _in_the_sun(programme: Programme, used: Sequence[Part], person: str) -> Terms:
    """Give the minutes of a person tonight for what must be over before the sun leaves the ground."""
    return [
        (programme.w[(part.key, rank, 0)], way.minutes)
        for part in used
        if part.deadline == "before_sun_leaves"
        for rank, way in enumerate(part.ways)
        if person in way.people and (part.key, rank, 0) in programme.w
    ]


def trolley_windows(minutes: Iterable[float]) -> list[float]:
    """Give the times by which a trolley must have served those who have no more time than that.

    Whoever has less time uses it first; then everybody can be served if, for every such time, the minutes of those
    who have no more do not exceed it. Exact for one trolley; with several, rides that do not divide evenly may not fit.
    """
    return sorted(set(minutes))


def _pieces(programme: Programme, kind: str, demands: Sequence[tuple[Terms, tuple[str, ...]]]) -> None:
    """Rows for sheets or leads: one for every union of admissible kinds (see `plans.matching`)."""
    supply = {item.id: item.available for item in programme.problem.supplies.items if item.kind == kind}
    for union in hall_sets([frozenset(kinds) for _, kinds in demands]):
        terms = _joined(terms for terms, kinds in demands if set(kinds) <= union)
        programme.row(terms, -np.inf, sum(supply[name] for name in union))


def _power(programme: Programme, night: int, used: Sequence[Part]) -> None:
    """Watts of every circuit, and the leads that reach it."""
    circuits = programme.problem.supplies.of("circuit")
    load: dict[str, Terms] = {circuit: [] for circuit in circuits}
    leads: list[tuple[Terms, tuple[str, ...]]] = []
    for part in used:
        use = programme.use(part.key, night)
        single = len(part.feeds) == 1
        fed: Terms = []
        for rank, feed in enumerate(part.feeds):
            if single:
                terms = use
            else:
                column = programme.column(0.0, TIE * rank / 10.0)
                programme.f[(part.key, feed.circuit, night)] = column
                terms = [(column, 1.0)]
                fed += terms
            load[feed.circuit] += [(column, value * part.watts) for column, value in terms]
            if feed.leads:
                leads.append((terms, feed.leads))
        if fed:
            programme.row(fed + [(column, -1.0) for column, _ in use], 0.0, 0.0)
    for circuit, terms in load.items():
        programme.row(terms, -np.inf, circuits[circuit].available)
    _pieces(programme, "lead", leads)


def _aftermath(programme: Programme) -> None:
    """What is used the night after the window and does not stand by then has to be set up anew: its price."""
    problem, window = programme.problem, programme.window
    last = window.nights[-1]
    for key in sorted(window.after):
        part = programme.parts[key]
        if not part.stays:
            continue
        price = float(problem.weights[last + 1]) * min(setting_up_cost(problem, part, way) for way in part.ways)
        programme.constant += price
        for column, _ in programme.use(key, last):
            programme.cost[column] -= price


def _joined(groups: Iterable[Terms]) -> Terms:
    return [term for terms in groups for term in terms]
