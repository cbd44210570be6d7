"""Small made-up evenings, and the slow obvious way of solving them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
from hypothesis import strategies as st

from fruitwall.plans.evening import EveningProblem, Option, Supplies, Supply
from fruitwall.plans.parts import Feed, Lift, Measure, Part, Setting, Way
from fruitwall.yard.model import Prices

PRICES = Prices(per_hour=12.0, per_lift=1.0, per_kwh=0.5)  # a fifth of a coin a minute


def ways(people: Sequence[str], minutes: float) -> tuple[Way, ...]:
    return tuple(Way((person,), minutes) for person in people)


def cover(tree: str, people: Sequence[str], *, sheets=("small", "large"), minutes=5.0, film=False, wear=0.0) -> Part:
    return Part(
        f"cover:{'film' if film else 'cloth'}@{tree}",
        "cover",
        "cover",
        (tree,),
        ways(people, minutes),
        minutes_again=2.0 if film else 0.0,
        minutes_morning=1.0 if film else 0.0,
        minutes_remove=3.0,
        wear=wear,
        sheets=tuple(sheets),
    )


def lamps(tree: str, people: Sequence[str], *, circuits=("house",), leads=()) -> Part:
    return Part(
        f"lamps:warm@{tree}",
        "lamps",
        "lamps",
        (tree,),
        ways(people, 4.0),
        minutes_again=0.5,
        device="warm",
        watts=150.0,
        kwh=2.0,
        feeds=tuple(Feed(circuit, tuple(leads)) for circuit in circuits),
    )


def carry(tree: str, *, by_hand: Sequence[str] = (), rolled: Sequence[str] = (), together=False, mass_kg=9.0) -> Part:
    lift = Lift(mass_kg, 12.0)
    hand = [Way((person,), 4.0, lifts=1, lifts_back=1, lift=lift) for person in by_hand]
    crews = [tuple(rolled)] if together else [(person,) for person in rolled]
    roll = [Way(crew, 7.0, trolley="truck") for crew in crews]
    return Part(
        f"carry:shed@{tree}", "carry", "carry in", (tree,), (*hand, *roll), minutes_remove=4.0, room="place:shed"
    )


def leave(tree: str, *requires: Setting) -> Measure:
    return Measure("leave", "leave", tree, requires=requires)


def measure(key: str, tree: str, *parts: Part, requires: tuple[Setting, ...] = ()) -> Measure:
    return Measure(key, key, tree, parts=parts, requires=requires)


def option(its: Measure, *loss: float) -> Option:
    return Option(its, np.array(loss, dtype=float))


def supplies(**available: float) -> Supplies:
    """Supplies by kind: ``sheet_small=1, person_ana=60``; the unit is not needed here."""
    items = []
    for name, amount in available.items():
        kind, _, ident = name.partition("_")
        ident = ident.replace("__", ":")
        step = {"person": 30.0, "circuit": 300.0}.get(kind, 1.0)
        items.append(Supply(kind, ident, ident, amount, step=step))
    return Supplies(tuple(items))


ALL = {
    "sheet_small": 1,
    "sheet_large": 1,
    "lamps_warm": 1,
    "lead_short": 1,
    "lead_long": 1,
    "circuit_house": 300.0,
    "circuit_shed": 200.0,
    "room_place__shed": 1,
    "person_ana": 20.0,
    "person_ben": 12.0,
    "trolley_truck": 1,
}


@st.composite
def small_problems(draw: st.DrawFn, *, nights: int = 1, trees: int = 3, shelter: bool = True) -> EveningProblem:
    """A yard of a few trees in which everything is scarce."""
    names = [f"t{n}" for n in range(draw(st.integers(1, trees)))]
    people = draw(st.sampled_from([("ana",), ("ana", "ben")]))
    have = dict(ALL)
    for key in have:
        kind = key.partition("_")[0]
        if kind in ("person", "circuit"):
            have[key] = float(draw(st.integers(0, 25) if kind == "person" else st.sampled_from([0, 150, 300])))
        else:
            have[key] = draw(st.integers(0, 2))
    in_shelter = set(names[:2]) if shelter and draw(st.booleans()) else set()
    opened = Setting("shelter:hoops", "open", "open")
    close = Part("close:hoops", "close", "close", tuple(sorted(in_shelter)), ways(people, 3.0), stays=False)
    closed = Setting("shelter:hoops", "closed", "closed", (close,))
    losses = st.lists(st.integers(0, 40), min_size=nights, max_size=nights)

    options = []
    for name in names:
        its = (opened,) if name in in_shelter else ()
        sheets = draw(st.sampled_from([("small", "large"), ("large",)]))
        film = draw(st.booleans())
        sheet = cover(name, people, sheets=sheets, film=film, wear=draw(st.sampled_from([0.0, 0.4])))
        possible = [measure("cover", name, sheet, requires=its)]
        circuits = draw(st.sampled_from([("house",), ("house", "shed")]))
        lead = draw(st.sampled_from([(), ("long",), ("short", "long")]))
        warm = lamps(name, people, circuits=circuits, leads=lead)
        possible.append(measure("cover+lamps", name, warm, sheet, requires=its))
        hands = draw(st.sampled_from([(), people[:1], people]))
        together = draw(st.booleans()) and len(people) > 1
        possible.append(measure("carry:shed", name, carry(name, by_hand=hands, rolled=people, together=together)))
        chosen = draw(st.lists(st.sampled_from(possible), unique_by=lambda m: m.key, max_size=2))
        if name in in_shelter:
            chosen.append(measure("shelter:hoops", name, requires=(closed,)))
        options.append(tuple(option(m, *draw(losses)) for m in [leave(name, *its), *chosen]))
    settings = (opened, closed) if in_shelter else ()
    keys = sorted({p.key for row in options for o in row for p in o.measure.parts if p.stays})
    standing = draw(st.lists(st.sampled_from(keys), unique=True, max_size=2)) if keys else []
    return EveningProblem(
        trees=tuple(names),
        options=tuple(options),
        supplies=supplies(**have),
        prices=PRICES,
        settings=settings,
        in_place=frozenset(standing),
        trouble=draw(st.sampled_from([0.0, 0.5, 2.0])),
    )


# ---------------------------------------------------------------- the slow obvious way


def brute_force(problem: EveningProblem) -> float:
    """Give the lowest total by trying everything, night after night."""
    best: dict[frozenset[str], float] = {problem.in_place: 0.0}
    for night in range(problem.n_nights):
        following: dict[frozenset[str], float] = {}
        for parts, loss in _configurations(problem, night):
            in_use = frozenset(part.key for part in parts if part.stays)
            for before, cost in best.items():
                effort = _cheapest_effort(problem, parts, before)
                if effort is not None:
                    total = cost + float(problem.weights[night]) * (loss + effort)
                    following[in_use] = min(following.get(in_use, np.inf), total)
        best = following
    return min(best.values())


def _configurations(problem: EveningProblem, night: int) -> Iterator[tuple[list[Part], float]]:
    groups: dict[str, list[Setting]] = {}
    for setting in problem.settings:
        groups.setdefault(setting.group, []).append(setting)
    for states in product(*groups.values()):
        now = {setting.key for setting in states}
        for choice in product(*problem.options):
            if all(s.key in now for o in choice for s in o.measure.requires):
                parts = [p for o in choice for p in o.measure.parts] + [p for s in states for p in s.parts]
                if _things_suffice(problem, parts):
                    yield parts, sum(float(o.loss[night]) for o in choice)


def _things_suffice(problem: EveningProblem, parts: list[Part]) -> bool:
    have = {item.key: item.available for item in problem.supplies.items}
    used = Counter(f"{p.kind}/{p.device}" for p in parts if p.device) + Counter(
        f"room/{p.room}" for p in parts if p.room
    )
    if any(count > have[key] for key, count in used.items()):
        return False
    if sum(p.paint_l for p in parts) > have.get("paint/white", 0.0) + 1e-9:
        return False
    covers = [p.sheets for p in parts if p.sheets]
    if not any(
        all(count <= have[f"sheet/{kind}"] for kind, count in Counter(handed).items()) for handed in product(*covers)
    ):
        return False
    powered = [p for p in parts if p.feeds]
    for feeds in product(*(p.feeds for p in powered)):
        watts: Counter[str] = Counter()
        for part, feed in zip(powered, feeds, strict=True):
            watts[feed.circuit] += int(part.watts)
        if any(load > have[f"circuit/{circuit}"] for circuit, load in watts.items()):
            continue
        leads = [feed.leads for feed in feeds if feed.leads]
        if any(
            all(count <= have[f"lead/{kind}"] for kind, count in Counter(handed).items()) for handed in product(*leads)
        ):
            return True
    return False


def _cheapest_effort(problem: EveningProblem, parts: list[Part], before: frozenset[str]) -> float | None:
    prices = problem.prices
    fixed, choices = 0.0, []
    for part in parts:
        fixed += part.minutes_morning * prices.per_hour / 60 + part.kwh * prices.per_kwh + part.wear
        if part.stays and part.key in before:
            if part.minutes_again > 0:
                able = dict.fromkeys(person for way in part.ways for person in way.people)
                choices.append([(Way((person,), part.minutes_again), 0.0, 1.0) for person in able])
        else:
            fixed += problem.trouble
            choices.append([(way, part.minutes_remove, part.price_share) for way in part.ways])
    best = None
    for picked in product(*choices):
        if _people_manage(problem, [way for way, _, _ in picked]):
            minutes = sum(paid * (way.minutes * len(way.people) + later) for way, later, paid in picked)
            lifts = sum(paid * (way.lifts + way.lifts_back) for way, _, paid in picked)
            cost = fixed + minutes * prices.per_hour / 60 + lifts * prices.per_lift
            best = cost if best is None else min(best, cost)
    return best


def _people_manage(problem: EveningProblem, doing: list[Way]) -> bool:
    have = {item.id: item.available for item in problem.supplies.items if item.kind == "person"}
    trucks = {item.id: item.available for item in problem.supplies.items if item.kind == "trolley"}
    for person, minutes in have.items():
        if sum(way.minutes for way in doing if person in way.people) > minutes + 1e-9:
            return False
    for truck, count in trucks.items():
        rolling = [way for way in doing if way.trolley == truck]
        for limit in have.values():
            taken = sum(way.minutes for way in rolling if min(have[person] for person in way.people) <= limit)
            if taken > count * limit + 1e-9:
                return False
    return True
