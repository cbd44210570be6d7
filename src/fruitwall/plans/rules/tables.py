"""What everything takes on a night, laid out in arrays: made once for a size of the yard, read on every night.

The limits are those of the evening's programme (`plans.programme`), row by row: minutes of each person, trolleys by the
time of those who push them, sheets and leads by the unions of what fits (`plans.matching`), lamp strings, heaters,
spaces, watts. Each is a *resource* here: a number of which parts take some. A *mode* is one way of doing a part with
one way of feeding it, and what it takes of which resource.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import product
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.matching import hall_sets
from fruitwall.plans.parts import Feed, Measure, Part, Setting, Way
from fruitwall.plans.problem import TROUBLE, SupplyKind
from fruitwall.plans.programme import again_people, trolley_windows
from fruitwall.plans.rules.ground import Ground, SizeStep
from fruitwall.yard.model import Prices

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NONE, COVER, HEAT, INDOORS, ASIDE = range(5)
"""What a measure is to a rule: nothing it speaks of, a cover, warmth, carried indoors, or aside (roof or wall)."""

MOST_COMBINATIONS = 200
"""States of shared things that are tried together for trees that share several. Our judgement."""


class Tables(NamedTuple):
    """Arrays of one size of a yard; ``x0`` gives where the entries of each begin, one more than there are.

    Attributes
    ----------
    tree_m0 : Ints
        Measures of each tree.
    unit_t0, unit_trees : Ints
        Trees that share a setting are one unit; the others are alone.
    unit_c0 : Ints
        Combinations of states of each unit; the first takes no work.
    combo_p0, combo_parts, combo_level : Ints
        Parts of a combination, and what it is to a rule.
    m_level : Ints
    m_ok : Flags, shape (measure, combination of the unit)
        Whether the measure goes with it.
    m_p0, m_parts : Ints
        Own parts of each measure.
    p_new0, p_new1, p_again0, p_again1 : Ints
        Modes of setting a part up, and of a part that stands.
    p_stays : Flags
    p_moves : Flags
        The part carries a container.
    p_kwh, p_wear : Floats
    k_cost : Floats
        Price of a mode: effort, energy, wear, trouble. [currency]
    k_people, k_minutes, k_lifts : Floats
        Minutes of people that evening; with morning and undoing; lifts there and back.
    k_r0, r_of : Ints
    r_amount : Floats
        What a mode takes of which resource.
    available : Floats
        Of every resource.
    is_person : Flags
    loss : float32, shape (night, measure)
    """

    tree_m0: Ints
    unit_t0: Ints
    unit_trees: Ints
    unit_c0: Ints
    combo_p0: Ints
    combo_parts: Ints
    combo_level: Ints
    m_level: Ints
    m_ok: Flags
    m_p0: Ints
    m_parts: Ints
    p_new0: Ints
    p_new1: Ints
    p_again0: Ints
    p_again1: Ints
    p_stays: Flags
    p_moves: Flags
    p_kwh: Floats
    p_wear: Floats
    k_cost: Floats
    k_people: Floats
    k_minutes: Floats
    k_lifts: Floats
    k_r0: Ints
    r_of: Ints
    r_amount: Floats
    available: Floats
    is_person: Flags
    loss: NDArray[np.float32]

    def least_cost(self) -> Floats:
        """Give the least price of each measure's own parts, standing or new, shape (measure,). [currency]"""
        least = np.empty(self.p_new0.size)
        for part in range(least.size):
            modes = [*range(self.p_new0[part], self.p_new1[part]), *range(self.p_again0[part], self.p_again1[part])]
            least[part] = min(self.k_cost[mode] for mode in modes)
        sums = np.concatenate([[0.0], np.cumsum(least[self.m_parts])])
        return np.asarray(sums[self.m_p0[1:]] - sums[self.m_p0[:-1]])


_KEPT: WeakKeyDictionary[SizeStep, tuple[Prices, Tables]] = WeakKeyDictionary()


def tables_of(ground: Ground, step: SizeStep) -> Tables:
    """Give the tables of a size of the yard, made on the first call."""
    kept = _KEPT.get(step)
    if kept is None or kept[0] != ground.prices:
        kept = _KEPT[step] = (ground.prices, _made(step, ground.prices))
    return kept[1]


def level_of(measure: Measure) -> int:
    """Tell what a measure is to a rule."""
    if measure.place is not None:
        return INDOORS
    if measure.roof is not None or measure.wall is not None:
        return ASIDE
    if measure.lamp is not None or measure.heater is not None:
        return HEAT
    return COVER if measure.cover is not None or measure.shelter is not None else NONE


class _Resources:
    """Everything of which there is only so much, and what a mode takes of it."""

    def __init__(self, step: SizeStep, parts: Sequence[Part]) -> None:
        supplies = step.supplies
        self.at: dict[tuple[str, object], int] = {}
        self.available: list[float] = []
        self.minutes = {person: supply.available for person, supply in supplies.of("person").items()}
        for person, minutes in self.minutes.items():
            self._add("person", person, minutes)
        self.windows = trolley_windows(self.minutes.values())
        for trolley, supply in supplies.of("trolley").items():
            for window in self.windows:
                self._add("trolley", (trolley, window), supply.available * window)
        kinds: tuple[SupplyKind, ...] = ("lamps", "heater", "room", "circuit")
        for kind in kinds:
            for name, supply in supplies.of(kind).items():
                self._add(kind, name, supply.available)
        self.unions: dict[str, list[frozenset[str]]] = {}
        self._unions("sheet", step, [part.sheets for part in parts if part.sheets])
        self._unions("lead", step, [feed.leads for part in parts for feed in part.feeds if feed.leads])

    def _add(self, kind: str, name: object, available: float) -> None:
        self.at[(kind, name)] = len(self.available)
        self.available.append(available)

    def _unions(self, kind: str, step: SizeStep, demands: Sequence[tuple[str, ...]]) -> None:
        pieces = {item.id: item.available for item in step.supplies.items if item.kind == kind}
        self.unions[kind] = hall_sets([frozenset(demand) for demand in demands])
        for union in self.unions[kind]:
            self._add(kind, union, sum(pieces[name] for name in union))

    def taken(self, part: Part, way: Way, feed: Feed | None) -> dict[int, float]:
        """Give what doing a part so takes, by resource."""
        found: dict[int, float] = {}

        def take(kind: str, name: object, amount: float) -> None:
            at = self.at[(kind, name)]
            found[at] = found.get(at, 0.0) + amount

        for person in way.people:
            take("person", person, way.minutes)
        if way.trolley is not None:
            hurried = min(self.minutes[person] for person in way.people)
            for window in self.windows:
                if hurried <= window:
                    take("trolley", (way.trolley, window), way.minutes)
        if part.device is not None:
            take("lamps" if part.kind == "lamps" else "heater", part.device, 1.0)
        if part.room is not None:
            take("room", part.room, 1.0)
        for kind, fitting in (("sheet", part.sheets), ("lead", feed.leads if feed else ())):
            for union in self.unions[kind] if fitting else ():
                if set(fitting) <= union:
                    take(kind, union, 1.0)
        if feed is not None:
            take("circuit", feed.circuit, part.watts)
        return {at: amount for at, amount in found.items() if amount > 0.0}


class _Modes:
    """Modes of all parts, one after the other."""

    def __init__(self, resources: _Resources, prices: Prices) -> None:
        self._resources, self._prices = resources, prices
        self.cost: list[float] = []
        self.people: list[float] = []
        self.minutes: list[float] = []
        self.lifts: list[float] = []
        self.starts: list[int] = [0]
        self.of: list[int] = []
        self.amounts: list[float] = []

    def add(self, part: Part, ways: Sequence[Way], *, anew: bool) -> tuple[int, int]:
        """Add the modes of a part, cheapest first; give where they begin and end."""
        begin, prices = len(self.cost), self._prices
        found = []
        for way, feed in product(ways, part.feeds or (None,)):
            people = way.minutes * len(way.people)
            minutes = people + (part.minutes_remove if anew else 0.0)
            lifts = float(way.lifts + way.lifts_back) if anew else 0.0
            cost = part.price_share * (prices.per_hour / 60.0 * minutes + prices.per_lift * lifts)
            cost += prices.per_hour / 60.0 * part.minutes_morning + prices.per_kwh * part.kwh + part.wear
            cost += TROUBLE if anew else 0.0
            taken = self._resources.taken(part, way, feed)
            mode = (cost, people, minutes + part.minutes_morning, lifts, taken)
            if mode not in found:
                found.append(mode)
        for cost, people, minutes, lifts, taken in sorted(found, key=lambda mode: mode[0]):
            self.cost.append(cost)
            self.people.append(people)
            self.minutes.append(minutes)
            self.lifts.append(lifts)
            self.of += taken.keys()
            self.amounts += taken.values()
            self.starts.append(len(self.of))
        return begin, len(self.cost)


def _made(step: SizeStep, prices: Prices) -> Tables:
    """Lay everything out."""
    measures = [measure for tree in step.trees for measure in tree.measures]
    groups: dict[str, list[Setting]] = {}
    for setting in step.settings:
        groups.setdefault(setting.group, []).append(setting)
    parts: dict[str, Part] = {}
    for its in (*(measure.parts for measure in measures), *(setting.parts for setting in step.settings)):
        parts.update((part.key, part) for part in its if part.key not in parts)
    number = {key: at for at, key in enumerate(parts)}
    resources = _Resources(step, list(parts.values()))
    modes = _Modes(resources, prices)
    ranges = []
    for part in parts.values():
        again: list[Way] = [Way((), 0.0)]
        if part.minutes_again > 0.0:
            again = [Way((person,), part.minutes_again) for person in again_people(part)]
        ranges.append((*modes.add(part, part.ways, anew=True), *modes.add(part, again, anew=False)))
    units = _units(step, groups)
    combos = [_combinations(unit[1], groups) for unit in units]
    m_ok = _goes_with(step, units, combos)
    flat = [combo for its in combos for combo in its]
    bounds = np.array(ranges, dtype=np.int64).reshape(-1, 4).T
    levels = [level_of(measure) for measure in measures]
    return Tables(
        tree_m0=_starts(len(tree.measures) for tree in step.trees),
        unit_t0=_starts(len(trees) for trees, _ in units),
        unit_trees=np.array([tree for trees, _ in units for tree in trees], dtype=np.int64),
        unit_c0=_starts(len(its) for its in combos),
        combo_p0=_starts(sum(len(setting.parts) for setting in combo) for combo in flat),
        combo_parts=_numbers(number[part.key] for combo in flat for setting in combo for part in setting.parts),
        combo_level=_numbers(_level_of_states(combo) for combo in flat),
        m_level=_numbers(levels),
        m_ok=m_ok,
        m_p0=_starts(len(measure.parts) for measure in measures),
        m_parts=_numbers(number[part.key] for measure in measures for part in measure.parts),
        p_new0=bounds[0].copy(),
        p_new1=bounds[1].copy(),
        p_again0=bounds[2].copy(),
        p_again1=bounds[3].copy(),
        p_stays=np.array([part.stays for part in parts.values()], dtype=bool),
        p_moves=np.array([part.kind in ("carry", "roof", "wall") for part in parts.values()], dtype=bool),
        p_kwh=np.array([part.kwh for part in parts.values()], dtype=float),
        p_wear=np.array([part.wear for part in parts.values()], dtype=float),
        k_cost=np.array(modes.cost, dtype=float),
        k_people=np.array(modes.people, dtype=float),
        k_minutes=np.array(modes.minutes, dtype=float),
        k_lifts=np.array(modes.lifts, dtype=float),
        k_r0=_numbers(modes.starts),
        r_of=_numbers(modes.of),
        r_amount=np.array(modes.amounts, dtype=float),
        available=np.array(resources.available, dtype=float),
        is_person=np.array([kind == "person" for kind, _ in resources.at], dtype=bool),
        loss=np.ascontiguousarray(np.nan_to_num(np.concatenate([tree.loss for tree in step.trees])).T),
    )


def _units(step: SizeStep, groups: dict[str, list[Setting]]) -> list[tuple[list[int], list[str]]]:
    """Give trees that share something which any of them may want otherwise than it is, and what that is."""
    found: list[tuple[list[int], list[str]]] = []
    for at, tree in enumerate(step.trees):
        shared = [
            setting.group
            for measure in tree.measures
            for setting in measure.requires
            if setting.group in groups and setting.key != groups[setting.group][0].key
        ]
        mine = list(dict.fromkeys(shared))
        joined = [unit for unit in found if set(unit[1]) & set(mine)]
        trees = sorted([at, *(tree for unit in joined for tree in unit[0])])
        names = list(dict.fromkeys([*(name for unit in joined for name in unit[1]), *mine]))
        found = [unit for unit in found if unit not in joined] + [(trees, names)]
    return sorted(found, key=lambda unit: unit[0][0])


def _combinations(names: Sequence[str], groups: dict[str, list[Setting]]) -> list[tuple[Setting, ...]]:
    """Give the states of a unit's shared things together; the first takes no work."""
    return list(product(*(groups[name] for name in names)))[:MOST_COMBINATIONS]


def _goes_with(
    step: SizeStep, units: Sequence[tuple[list[int], list[str]]], combos: Sequence[list[tuple[Setting, ...]]]
) -> Flags:
    """Tell which measure goes with which combination of its unit."""
    starts = _starts(len(tree.measures) for tree in step.trees)
    ok = np.zeros((int(starts[-1]), max(len(its) for its in combos)), dtype=bool)
    for (trees, names), its in zip(units, combos, strict=True):
        for tree in trees:
            for rank, measure in enumerate(step.trees[tree].measures):
                asked = {setting.group: setting.state for setting in measure.requires if setting.group in names}
                for at, combo in enumerate(its):
                    ok[starts[tree] + rank, at] = all(
                        asked.get(setting.group, setting.state) == setting.state for setting in combo
                    )
    return ok


def _level_of_states(combo: Sequence[Setting]) -> int:
    """Tell what states of shared things are to a rule."""
    if any(setting.lamp is not None or setting.heater is not None for setting in combo):
        return HEAT
    return COVER if any(setting.parts for setting in combo) else NONE


def _starts(counts: Iterable[int]) -> Ints:
    """Give where each begins, and the end."""
    return np.concatenate([[0], np.cumsum(list(counts))]).astype(np.int64)


def _numbers(values: Iterable[int]) -> Ints:
    return np.array(list(values), dtype=np.int64)
