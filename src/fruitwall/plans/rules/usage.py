"""What each rule of a menu would do for each tree, what it takes and what it leaves to lose, if nothing ran short.

Without limits what is done for a tree depends on its own rule alone: a yard's rule set is one choice from each list
made here, and its loss and effort are sums. Trees that share something (a standing shelter) are one *unit* with one
rule for all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.matching import hall_sets
from fruitwall.plans.parts import Part
from fruitwall.plans.problem import Supplies
from fruitwall.plans.rules.ground import Ground, SizeStep, WinterNights
from fruitwall.plans.rules.nightly import Chosen, choose
from fruitwall.plans.rules.rule import HouseRule, RuleSet
from fruitwall.plans.rules.winter_loss import winter_fate
from fruitwall.yard.model import Prices

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

PLENTY = 1e6
"""As much of everything as nobody can use. [any unit]"""

MOST_PEOPLE = 4
"""Up to so many people every company of them is looked at; of more only each alone and all together."""


@dataclass(frozen=True, eq=False)
class Line:
    """One rule for one unit, kept on every night.

    Attributes
    ----------
    rule : HouseRule
    measure : ndarray of int, shape (tree of the unit, night)
        What it gives.
    loss, effort : float
        Expected a winter. [currency]
    minutes, lifts, carries, kwh : float
        A winter; carries are containers brought away on an evening, also on the trolley. [min], [-], [-], [kWh]
    needs : dict of limit to ndarray, shape (night,)
        Least use of what can run short, by its place among the limits; what it never needs is left out.
    """

    rule: HouseRule
    measure: NDArray[np.int16]
    loss: float
    effort: float
    minutes: float
    lifts: float
    carries: float
    kwh: float
    needs: dict[int, NDArray[np.float32]]


@dataclass(frozen=True, eq=False)
class Unit:
    """Trees that have one rule, and the rules open to them that differ in what they do.

    Attributes
    ----------
    at : tuple of int
        Places among the trees of the step.
    lines : tuple of Line
        The first is leaving them.
    """

    at: tuple[int, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Limit:
    """Something that can run short: any one of some parts needs so much of it at least.

    Attributes
    ----------
    name : str
    available : float
    need : callable (part, again) -> float
        `again` tells whether it stands since the evening before.
    """

    name: str
    available: float
    need: Callable[[Part, bool], float]


def plenty(supplies: Supplies) -> Supplies:
    """Give the same supplies with as much of everything as nobody can use."""
    return Supplies(tuple(replace(item, available=PLENTY) for item in supplies.items))


def same_for_all(rule: HouseRule) -> RuleSet:
    """Give the rule set that has one rule for every tree."""
    return RuleSet("all", "all", (replace(rule, trees="all"),))


def units_of(
    ground: Ground,
    step: SizeStep,
    menu: Sequence[HouseRule],
    *,
    heard: Callable[[float], None] = lambda _share: None,
) -> tuple[Unit, ...]:
    """Work out what every rule does for every unit.

    Parameters
    ----------
    ground : Ground
    step : SizeStep
        Of the ground.
    menu : sequence of HouseRule
        Their `trees` are passed over; leaving a tree is always added.
    heard : callable (share)
        Told how far it is, 0 to 1.

    Returns
    -------
    tuple of Unit
        Of rules that do the same for a unit on all nights only the first is kept.
    """
    rich = replace(step, supplies=plenty(step.supplies))
    rules = [HouseRule(way="never"), *(rule for rule in menu if rule.way != "never")]
    wants = []
    for at, rule in enumerate(rules):
        wants.append(choose(ground, rich, same_for_all(rule)).measure)
        heard(0.5 * (at + 1) / len(rules))
    limits = limits_of(step)
    units = []
    together = shared(step)
    for number, places in enumerate(together):
        lines: list[Line] = []
        seen: set[bytes] = set()
        for rule, want in zip(rules, wants, strict=True):
            measure = np.ascontiguousarray(want[list(places)])
            if measure.tobytes() in seen:
                continue
            seen.add(measure.tobytes())
            lines.append(_line(ground, rich, places, rule, measure, limits))
        units.append(Unit(places, tuple(lines)))
        heard(0.5 + 0.5 * (number + 1) / len(together))
    return tuple(units)


def shared(step: SizeStep) -> list[tuple[int, ...]]:
    """Give the trees of a step by what they share, in their order."""
    group = list(range(len(step.trees)))
    first_in: dict[str, int] = {}
    for at, tree in enumerate(step.trees):
        for name in {setting.group for measure in tree.measures for setting in measure.requires}:
            other = first_in.setdefault(name, at)
            old, new = group[at], group[other]
            group = [new if its == old else its for its in group]
    return [tuple(at for at, its in enumerate(group) if its == name) for name in dict.fromkeys(group)]


def per_winter(ground: Ground, values: FloatArray) -> float:
    """Give the mean a winter of what nights take, by the weights of the winters."""
    nights = ground.nights
    sums = np.bincount(nights.winter, weights=values, minlength=len(nights.winters))
    return float(nights.weights @ sums)


def effort_of(prices: Prices, chosen: Chosen) -> FloatArray:
    """Give the price of every night's work, energy and wear. [night], in the currency"""
    work = prices.per_hour / 60.0 * chosen.minutes + prices.per_lift * chosen.lifts
    return np.asarray(work + prices.per_kwh * chosen.kwh + chosen.wear)


def _line(
    ground: Ground,
    rich: SizeStep,
    places: tuple[int, ...],
    rule: HouseRule,
    measure: NDArray[np.int16],
    limits: Sequence[Limit],
) -> Line:
    trees = tuple(rich.trees[at] for at in places)
    weights = ground.nights.weights
    loss = sum(float(weights @ winter_fate(ground.nights, *its).loss) for its in zip(trees, measure, strict=True))
    alone = choose(ground, replace(rich, trees=trees), same_for_all(rule))
    return Line(
        rule=rule,
        measure=measure,
        loss=loss,
        effort=per_winter(ground, effort_of(ground.prices, alone)),
        minutes=per_winter(ground, alone.minutes),
        lifts=per_winter(ground, alone.lifts),
        carries=per_winter(ground, alone.carried.astype(np.float64)),
        kwh=per_winter(ground, alone.kwh),
        needs=needs_of(ground, replace(rich, trees=trees), measure, limits),
    )


def needs_of(
    ground: Ground, step: SizeStep, measure: NDArray[np.integer], limits: Sequence[Limit]
) -> dict[int, NDArray[np.float32]]:
    """Give the least that measures take of every limit on every night.

    Parameters
    ----------
    ground : Ground
    step : SizeStep
        With the trees in question only.
    measure : ndarray of int, shape (tree, night)
    limits : sequence of Limit

    Returns
    -------
    dict of place among the limits to ndarray, shape (night,)
        What stands since the evening before takes what it takes again, even if it would really be set up anew: the
        least is what a search may count on.
    """
    nights = ground.nights
    found = np.zeros((len(limits), nights.count), dtype=np.float32)
    known: dict[tuple[bytes, bytes], FloatArray] = {}
    busy = np.flatnonzero(measure.any(axis=0))
    nothing = np.zeros(measure.shape[0], dtype=measure.dtype)
    for night in busy.tolist():
        before = measure[:, night - 1] if follows(nights, night) else nothing
        key = (measure[:, night].tobytes(), before.tobytes())
        if key not in known:
            parts, stand = _parts(step, measure[:, night]), _parts(step, before)
            known[key] = np.array(
                [
                    sum(limit.need(part, part.stays and name in stand) for name, part in parts.items())
                    for limit in limits
                ]
            )
        found[:, night] = known[key]
    return {at: found[at].copy() for at in np.flatnonzero(found.any(axis=1)).tolist()}


def follows(nights: WinterNights, night: int) -> bool:
    """Tell whether the night before in the row is the evening before."""
    if night == 0 or nights.winter[night] != nights.winter[night - 1]:
        return False
    return bool(nights.day[night] == nights.day[night - 1] + 1)


def _parts(step: SizeStep, rows: NDArray[np.integer]) -> dict[str, Part]:
    """Parts in use, shared ones once."""
    measures = (tree.measures[row] for tree, row in zip(step.trees, rows.tolist(), strict=True))
    return {part.key: part for measure in measures for part in measure.all_parts}


def limits_of(step: SizeStep) -> list[Limit]:
    """Give everything that can run short in a yard.

    Parameters
    ----------
    step : SizeStep

    Returns
    -------
    list of Limit
        Whatever can be carried out keeps all of them. The reverse does not hold, since who does what is left open
        here: a rule set that is found is tried.
    """
    supplies = step.supplies
    measures = [measure for tree in step.trees for measure in tree.measures]
    parts = {part.key: part for measure in measures for part in measure.all_parts}.values()
    limits = list(_people(supplies))
    pieces = {item.id: item.available for item in supplies.items if item.kind == "sheet"}
    unions = hall_sets([frozenset(part.sheets) for part in parts])
    limits += [Limit("sheets", sum(pieces[one] for one in union), _within(union)) for union in unions]
    for item in supplies.items:
        if item.kind in ("lamps", "heater"):
            limits.append(Limit(item.key, item.available, _device(item.kind, item.id)))
        elif item.kind == "room":
            limits.append(Limit(item.key, item.available, _room(item.id)))
        elif item.kind == "trolley":
            longest = max((its.available for its in supplies.of("person").values()), default=0.0)
            limits.append(Limit(item.key, item.available * longest, _rolled(item.id)))
    circuits = {item.id: item.available for item in supplies.items if item.kind == "circuit"}
    unions = hall_sets([frozenset(feed.circuit for feed in part.feeds) for part in parts])
    limits += [Limit("circuits", sum(circuits[one] for one in union), _fed(union)) for union in unions]
    leads = {item.id: item.available for item in supplies.items if item.kind == "lead"}
    unions = hall_sets([_leads(part) for part in parts])
    limits += [Limit("leads", sum(leads[one] for one in union), _on_leads(union)) for union in unions]
    return limits


def _people(supplies: Supplies) -> list[Limit]:
    """Minutes that fall on any company of people, whoever of the others does the rest."""
    minutes = {name: item.available for name, item in supplies.of("person").items()}
    names = list(minutes)
    if len(names) <= MOST_PEOPLE:
        companies = list(chain.from_iterable(combinations(names, size) for size in range(1, len(names) + 1)))
    else:
        companies = [*((name,) for name in names), tuple(names)]
    return [Limit("people", sum(minutes[one] for one in its), _done_by(frozenset(its))) for its in companies]


def _done_by(company: frozenset[str]) -> Callable[[Part, bool], float]:
    def need(part: Part, again: bool) -> float:
        if again:
            able = {person for way in part.ways for person in way.people}
            return part.minutes_again if able <= company else 0.0
        return min(way.minutes * len(company.intersection(way.people)) for way in part.ways)

    return need


def _within(union: frozenset[str]) -> Callable[[Part, bool], float]:
    return lambda part, _again: float(bool(part.sheets) and union.issuperset(part.sheets))


def _device(kind: str, name: str) -> Callable[[Part, bool], float]:
    return lambda part, _again: float(part.kind == kind and part.device == name)


def _room(name: str) -> Callable[[Part, bool], float]:
    return lambda part, _again: float(part.room == name)


def _rolled(name: str) -> Callable[[Part, bool], float]:
    def need(part: Part, again: bool) -> float:
        return 0.0 if again else min(way.minutes if way.trolley == name else 0.0 for way in part.ways)

    return need


def _fed(union: frozenset[str]) -> Callable[[Part, bool], float]:
    def need(part: Part, _again: bool) -> float:
        return part.watts if part.feeds and union.issuperset(feed.circuit for feed in part.feeds) else 0.0

    return need


def _leads(part: Part) -> frozenset[str]:
    """Leads one of which a part needs; none where it can be plugged straight in."""
    if not part.feeds or not all(feed.leads for feed in part.feeds):
        return frozenset()
    return frozenset(lead for feed in part.feeds for lead in feed.leads)


def _on_leads(union: frozenset[str]) -> Callable[[Part, bool], float]:
    def need(part: Part, _again: bool) -> float:
        needed = _leads(part)
        return float(bool(needed) and needed <= union)

    return need
