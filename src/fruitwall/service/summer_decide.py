"""Plan a hot spell: from the hours to come at every tree to what is worth doing before they come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.parts import Measure
from fruitwall.plans.shading import SummerTree as About
from fruitwall.plans.shading import shade_sheet_for, summer_measures, summer_refusals, summer_supplies
from fruitwall.plans.summer import HARM, Risk, SummerCase, chosen_of, risk_of, summer_problem
from fruitwall.plants.heat import HEAT_TISSUES, HeatTissue, heat_harm
from fruitwall.service.heat_season import COOL_C, LONGEST_FORECAST, hot_hours, tolerance_of_heat
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Deed, says
from fruitwall.speech import language, quantity, say
from fruitwall.weather.forcing import as_datetime, as_datetime64
from fruitwall.yard.shading import ShadeCloth

if TYPE_CHECKING:
    from fruitwall.plans.problem import EveningProblem, EveningSolution, OneMore, RunnerUp
    from fruitwall.plans.reasons import Reason
    from fruitwall.plans.shade_places import ShadePlace
    from fruitwall.plants.heat import HeatTolerance
    from fruitwall.service.heat_around import Around
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import Felt, SpotHours
    from fruitwall.yard.model import Tree, Yard

Array = NDArray[np.float64]

DAYS = 5
"""Days looked at, as far as the forecast goes."""

WORTH_ASKING = 0.05
"""Chance of harm from which on measures are thought of for a tree."""

WORTH_LOSING = 0.5
"""Expected loss from which on they are, too: what a part costs in trouble alone. [currency]"""

BARK_WORTH_ASKING = 0.02
"""Chance of harm to bark from which on whitewash is thought of. Our judgement."""

TOO_LATE_H = 10
"""From this hour of the day on nothing is set up any more for the same day: it is hot. Our judgement. [h]"""

EVENING_OVER_H = 21
"""From this hour on the evening is over. Our judgement. [h]"""

HOTTEST_WITHIN_K = 4.0
"""Hours in which the air is so near the day's highest are those in which a place must be shady. Our judgement. [K]"""

STAYS_DAYS = {"shaded": 7, "moved": 7, "whitewashed": 150}
"""For how many days a deed counts as still in place; paint for a summer. Our judgement."""

MORE_SHADE = 0.5
"""Density of the cloth of which is told what it would buy; 30 to 50 % are usual over fruit. Common practice, no
source. [0-1]"""

MOST_SIDE_M = 8.0
"""A larger cloth is not thought of: hardly anybody handles it. Our judgement. [m]"""

MORE_ID = "one-more-shade-cloth"


@dataclass(frozen=True, eq=False)
class Spell:
    """The hours looked at.

    Attributes
    ----------
    now : datetime
        In the yard's zone.
    days : tuple of date
    hours_of_day : tuple of ndarray of int
        Which hours belong to each day.
    hottest_air_c : float
    """

    now: datetime
    days: tuple[date, ...]
    hours_of_day: tuple[NDArray[np.intp], ...]
    hottest_air_c: float

    def hottest(self, values: Array) -> Array:
        """Give the hottest hour of each day, shape (member, day); not a number on days that are not known or cool."""
        filled = np.where(np.isfinite(values), values, -np.inf)
        top = np.stack([filled[:, hours].max(axis=1) for hours in self.hours_of_day], axis=1)
        return np.where(np.isfinite(top), top, np.nan)


@dataclass(frozen=True, eq=False)
class Decided:
    """What was worked out; words are made of it for each reader.

    Attributes
    ----------
    state : str
        As of `SummerPlan`.
    yard : Yard
        With the minutes that everybody has until it gets hot.
    spell : Spell or None
    cases : tuple of SummerCase
        Trees in danger.
    tolerances : mapping of tree to HeatTolerance
    hot : tuple of int
        Which days may hurt a tree.
    """

    state: str
    yard: Yard
    now: datetime
    spell: Spell | None = None
    cases: tuple[SummerCase, ...] = ()
    tolerances: Mapping[str, HeatTolerance] = field(default_factory=dict)
    hot: tuple[int, ...] = ()
    problem: EveningProblem | None = None
    solution: EveningSolution | None = None
    runners_up: Mapping[str, RunnerUp | None] = field(default_factory=dict)
    reasons: Mapping[str, Reason] = field(default_factory=dict)
    one_more: tuple[OneMore, ...] = ()
    standing: frozenset[str] = frozenset()

    def first_day(self, case: SummerCase) -> date:
        """Give the first day that may hurt a tree; the worst where none does by itself."""
        assert self.spell is not None
        by_day = np.nan_to_num(case.risks[0].harm_by_day)
        above = np.flatnonzero(by_day >= WORTH_ASKING)
        return self.spell.days[int(above[0]) if above.size else int(by_day.argmax())]

    def due(self, case: SummerCase) -> date:
        """Give the day on whose evening a tree must have what it gets; today where the first hot day is today."""
        return max(self.now.date(), self.first_day(case) - timedelta(days=1))


def decide(house: House, days: int = DAYS) -> Decided:
    """Work out what is worth doing in the hot days ahead.

    Parameters
    ----------
    house : House
    days : int
        Looked at from today on, or from tomorrow once it is too late for today; 1 to 10.

    Returns
    -------
    Decided
        Kept for the hour, the yard's file, the journal, the weather and the language.

    Raises
    ------
    ValueError
        If `days` is outside its range.
    """
    if not 1 <= days <= 10:
        raise ValueError(f"days must be from 1 to 10, got {days}")
    yard, version = house.yard()
    now = house.clock()
    hour = now.replace(minute=0, second=0, microsecond=0)
    state = (house.journal.state(), house.journal.weather_state())
    key = (version.yard, version.sha256, *state, hour, language(), days)
    return _KEPT.of(house.journal, key=key, make=lambda: _decide(house, yard, now, days))


_KEPT: Kept[Decided] = Kept(6)


def _decide(house: House, yard: Yard, now: datetime, days: int) -> Decided:
    from fruitwall.service.coming_weather import coming_weather

    local = now.astimezone(ZoneInfo(yard.location.time_zone))
    cool = Decided("cool", yard, local)
    coming = coming_weather(house, now + timedelta(days=days + 1))
    if coming is None:
        return replace(cool, state="no_forecast")
    forcing, until = coming
    ahead = (forcing.time_utc > as_datetime64(now)) & (forcing.time_utc <= as_datetime64(until))
    if not ahead.any():
        return replace(cool, state="no_forecast")
    if float(np.nanmax(forcing.t_air_c[:, ahead])) < COOL_C:
        return cool
    from fruitwall.service.heat_around import arounds
    from fruitwall.service.spot_hours import coming_hours

    hours = coming_hours(house, now + LONGEST_FORECAST)
    if not hours:
        return replace(cool, state="no_forecast")
    found = spell_of(next(iter(hours.values())), local, days)
    if found is None:
        return cool
    last = int(found.hours_of_day[-1][-1]) + 1
    cut = {tree: first_hours(its, last) for tree, its in hours.items()}
    return decide_spell(_with_roots(house, yard), cut, arounds(house, cut), found, deeds=_deeds(house, local))


def _with_roots(house: House, yard: Yard) -> Yard:
    """Give the yard with roots as the balance of water or a look at the soil tells them, where either is known."""
    from fruitwall.service.water_season import root_words

    roots = root_words(house)
    trees = [tree.model_copy(update={"root_zone": roots[tree.id]}) if tree.id in roots else tree for tree in yard.trees]
    return yard.model_copy(update={"trees": trees})


def first_hours(hours: SpotHours, count: int) -> SpotHours:
    """Give the first so many hours of a tree."""

    def felt(one: Felt) -> Felt:
        return replace(one, **{each.name: getattr(one, each.name)[:, :count] for each in fields(one)})

    weather = ("t_air_c", "t_dew_c", "wind_m_s", "cloud", "rain_mm", "open_sun_w_m2", "sun_w_m2", "wind_here_m_s")
    return replace(
        hours,
        time_utc=hours.time_utc[:count],
        known=hours.known[:count],
        done=felt(hours.done),
        alone=felt(hours.alone),
        n_forecast=min(hours.n_forecast, count),
        **{name: getattr(hours, name)[:, :count] for name in weather},
    )


def spell_of(hours: SpotHours, now: datetime, days: int) -> Spell | None:
    """Give the hours that are looked at: whole days of the forecast, today only while there is time to do something.

    Parameters
    ----------
    hours : SpotHours
        Of any tree.
    now : datetime
        In the yard's zone.
    days : int

    Returns
    -------
    Spell or None
        None where no member of the forecast gets warm.
    """
    first = now.date() + timedelta(days=0 if now.hour < TOO_LATE_H else 1)
    forecast = np.arange(hours.time_utc.size) < hours.n_forecast
    known = forecast & hours.known
    # An hour that ends at midnight belongs to the day before.
    ends = [as_datetime(one).astimezone(now.tzinfo).date() for one in hours.time_utc - np.timedelta64(1, "s")]
    day = np.array([one.toordinal() for one in ends])
    wanted = [first + timedelta(days=at) for at in range(days)]
    rows = [(one, np.flatnonzero((day == one.toordinal()) & known)) for one in wanted]
    rows = [(one, its) for one, its in rows if its.size]
    if not rows:
        return None
    air = float(np.nanmax(hours.t_air_c[:, np.concatenate([its for _, its in rows])]))
    if air < COOL_C:
        return None
    return Spell(now, tuple(one for one, _ in rows), tuple(its for _, its in rows), air)


def decide_spell(
    yard: Yard,
    hours: Mapping[str, SpotHours],
    around: Mapping[str, Around],
    spell: Spell,
    *,
    deeds: Mapping[tuple[str, str], date] | None = None,
) -> Decided:
    """Work out what is worth doing in a spell.

    Parameters
    ----------
    yard : Yard
    hours : mapping of tree to SpotHours
    around : mapping of tree to Around
    spell : Spell
    deeds : mapping of (tree, deed) to date, optional
        Newest of each, of those that stay.

    Returns
    -------
    Decided
    """
    from fruitwall.plans.evening import one_more, runners_up, solve
    from fruitwall.plans.reasons import why_left
    from fruitwall.service.own_kinds import catalogue_of

    watch = _Watch(hours, around, spell)
    known = catalogue_of(yard)
    tolerances = {tree.id: tolerance_of_heat(tree, spell.days[0], known) for tree in yard.trees if tree.id in hours}
    left = {tree.id: watch.risk(tree, tolerances[tree.id], leaving(tree)) for tree in yard.trees if tree.id in hours}
    danger = [tree for tree in yard.trees if (its := left.get(tree.id)) is not None and _in_danger(its)]
    if not danger:
        return Decided("safe", yard, spell.now, spell, tolerances=tolerances)
    by_day = np.max([np.nan_to_num(left[tree.id].harm_by_day) for tree in danger], axis=0)
    hot = tuple(int(at) for at in np.flatnonzero(by_day >= WORTH_ASKING)) or (int(by_day.argmax()),)
    n_days = hot[-1] - hot[0] + 1
    able = with_minutes(yard, spell.now, spell.days[hot[0]])
    more = one_more_cloth(danger, {tree.id: watch.saved(tree, tolerances[tree.id], left[tree.id]) for tree in danger})
    gear = able.gear.model_copy(update={"shades": [*able.gear.shades, *more]})
    able = able.model_copy(update={"gear": gear})
    places, shady = _shade_of(able, danger, hours, spell)
    done = deeds or {}
    cases, refusals = [], {}
    for tree in danger:
        bark = watch.chance(tree, tolerances[tree.id], "bark")
        painted = (tree.id, "whitewashed") in done
        about = About(shady.get(tree.id, ()), tree.root_zone == "dry", bark >= BARK_WORTH_ASKING, painted)
        measures = summer_measures(able, tree, about, days=n_days)
        refusals[tree.id] = summer_refusals(able, tree, about, days=n_days)
        risks = tuple(watch.risk(tree, tolerances[tree.id], measure, about.thirsty) for measure in measures)
        cases.append(SummerCase(tree, tuple(measures), risks))
    supplies = summer_supplies(able, places, {person.id: person.minutes_before_dusk for person in able.people})
    supplies = replace(
        supplies,
        items=tuple(replace(one, available=0) if one.key == f"sheet/{MORE_ID}" else one for one in supplies.items),
    )
    standing = _standing(cases, done)
    problem = summer_problem(cases, supplies, yard.prices, standing=standing)
    solution = solve(problem)
    chosen = chosen_of(solution)
    acting = [case.tree.id for case, row in zip(cases, chosen, strict=True) if row]
    scarce = [use.key for use in solution.limits if use.binding]
    return Decided(
        state="hot",
        yard=able,
        now=spell.now,
        spell=spell,
        cases=tuple(cases),
        tolerances=tolerances,
        hot=hot,
        problem=problem,
        solution=solution,
        runners_up=runners_up(problem, solution, acting) if acting else {},
        reasons={
            case.tree.id: why_left(problem, solution, case.tree.id, refusals[case.tree.id])
            for case, row in zip(cases, chosen, strict=True)
            if row == 0
        },
        one_more=tuple(one_more(problem, solution, keys=[*scarce, *(f"sheet/{one.id}" for one in more)])),
        standing=standing,
    )


def leaving(tree: Tree) -> Measure:
    """Give the measure of leaving a tree."""
    return Measure("leave", say("leave as it is"), tree.id)


def _in_danger(risk: Risk) -> bool:
    return risk.harm >= WORTH_ASKING or risk.loss >= WORTH_LOSING


class _Watch:
    """Works out hot hours and risks, each setting of a tree once."""

    def __init__(self, hours: Mapping[str, SpotHours], around: Mapping[str, Around], spell: Spell) -> None:
        self._hours, self._around, self._spell = hours, around, spell
        self._kept: dict[tuple[Any, ...], dict[HeatTissue, Array]] = {}

    def risk(self, tree: Tree, stands: HeatTolerance, measure: Measure, thirsty: bool | None = None) -> Risk:
        """Give what a tree risks under a measure."""
        dry = tree.root_zone == "dry" if thirsty is None else thirsty
        hottest = self._hottest(tree, measure, watered=measure.watered or not dry)
        return risk_of(tree, hottest, lambda tissue, values: heat_harm(values, stands, tissue))

    def saved(self, tree: Tree, stands: HeatTolerance, left: Risk) -> float:
        """Give what the cloth that the household might get would save of a tree. [currency]"""
        return left.loss - self.risk(tree, stands, replace(leaving(tree), shade=MORE_SHADE)).loss

    def chance(self, tree: Tree, stands: HeatTolerance, tissue: HeatTissue) -> float:
        """Give the chance that heat hurts one tissue of a tree that is left. [0-1]"""
        values = self._hottest(tree, leaving(tree), watered=tree.root_zone != "dry").get(tissue)
        if values is None or np.isnan(values).all():
            return 0.0
        return float(np.nan_to_num(heat_harm(np.nanmax(values, axis=1), stands, tissue))[:, HARM:].sum(axis=1).mean())

    def _hottest(self, tree: Tree, measure: Measure, *, watered: bool) -> dict[HeatTissue, Array]:
        key = (tree.id, measure.shade, measure.in_shade, measure.whitewashed, watered)
        if key not in self._kept:
            felt = hot_hours(
                self._hours[tree.id],
                tree,
                shade=measure.shade,
                whitewash=measure.whitewashed,
                in_shade=measure.in_shade,
                watered=watered,
                around=self._around.get(tree.id),
                only_above_c=COOL_C,
            )
            tissues = [one for one in HEAT_TISSUES if one != "root" or tree.container is not None]
            hottest = {one: self._spell.hottest(getattr(felt, f"{one}_c")) for one in tissues}
            # Not worked out means that its air stayed cool; a fruit may not be there at all.
            self._kept[key] = {
                one: at if one == "fruit" else np.where(np.isnan(at), COOL_C, at) for one, at in hottest.items()
            }
        return self._kept[key]


def with_minutes(yard: Yard, now: datetime, first: date) -> Yard:
    """Give the yard with the minutes that its people have until the first hot day.

    Parameters
    ----------
    yard : Yard
    now : datetime
        In the yard's zone.
    first : date
        First hot day. Work is done on the evenings before it, or early on that day if it is today.

    Returns
    -------
    Yard
        Everybody's own minutes of an evening, for each evening on which they are here.
    """
    today = now.date()
    start = today + timedelta(days=1) if now.hour >= EVENING_OVER_H else today
    evenings = [start + timedelta(days=at) for at in range(max(0, (first - start).days))] or [start]
    people = [
        person.model_copy(
            update={"minutes_before_dusk": person.minutes_before_dusk * sum(person.is_here(one) for one in evenings)}
        )
        for person in yard.people
    ]
    return yard.model_copy(update={"people": people})


def one_more_cloth(trees: Sequence[Tree], saves: Mapping[str, float]) -> list[ShadeCloth]:
    """Give the cloth of which is told what it would buy: of the size for the tree for which it would save most.

    Parameters
    ----------
    trees : sequence of Tree
        In danger.
    saves : mapping of tree to float
        What such cloth would save of each. [currency]

    Returns
    -------
    list of ShadeCloth
        One, or none where no tree can be reached with a cloth that one can handle.
    """
    from fruitwall.plans.times import SetUpTimes

    reached = [
        its for its in trees if its.height_m <= SetUpTimes().highest_m and shade_sheet_for(its)[0] <= MOST_SIDE_M
    ]
    if not reached:
        return []
    best = max(reached, key=lambda tree: (saves[tree.id], tree.id))
    side = float(np.ceil(2.0 * shade_sheet_for(best)[0]) / 2.0)
    name = say(
        "shade cloth of {percent} %, {side} both ways",
        percent=quantity(100 * MORE_SHADE, "", ".0f"),
        side=quantity(side, "m", ".1f"),
    )
    return [ShadeCloth(id=MORE_ID, name=name[:120], shade=MORE_SHADE, width_m=side, length_m=side)]


def _shade_of(
    yard: Yard, danger: Sequence[Tree], hours: Mapping[str, SpotHours], spell: Spell
) -> tuple[list[ShadePlace], dict[str, tuple[ShadePlace, ...]]]:
    """Give the yard's shady places in the hottest hours, and those worth thinking of for each pot."""
    from fruitwall.physics.sun import sun_position
    from fruitwall.plans.shade_places import places_in_shade, shade_places, sun_share

    pots = [tree for tree in danger if tree.container is not None]
    if not pots:
        return [], {}
    some = hours[pots[0].id]
    air = some.t_air_c.mean(axis=0)
    times = [some.time_utc[its[air[its] >= np.nanmax(air[its]) - HOTTEST_WITHIN_K]] for its in spell.hours_of_day]
    middle = np.concatenate(times) - np.timedelta64(30, "m")
    stands = sun_position(middle, yard.location.latitude_deg, yard.location.longitude_deg)
    sun = list(zip(stands.azimuth_deg.tolist(), stands.elevation_deg.tolist(), strict=True))
    places = shade_places(yard, sun)
    return places, {tree.id: tuple(places_in_shade(yard, tree, places, sun_share(yard, tree, sun))) for tree in pots}


def _deeds(house: House, now: datetime) -> dict[tuple[str, str], date]:
    """Give when cloth was hung, a pot moved, bark painted last, of those that still count."""
    found: dict[tuple[str, str], date] = {}
    longest = timedelta(days=max(STAYS_DAYS.values()) + 1)
    for entry in house.ledger.current(kind="deed", since=now - longest):
        body = says(entry)
        if entry.tree is None or not isinstance(body, Deed) or body.what not in STAYS_DAYS:
            continue
        day = entry.at.astimezone(now.tzinfo).date()
        if now.date() - day <= timedelta(days=STAYS_DAYS[body.what]):
            key = (entry.tree, body.what)
            found[key] = max(day, found.get(key, day))
    return found


_DEED_OF = {"shade": "shaded", "into_shade": "moved", "whitewash": "whitewashed"}
"""Deed that says that a part is in place, by kind of part."""


def _standing(cases: Sequence[SummerCase], deeds: Mapping[tuple[str, str], date]) -> frozenset[str]:
    """Give the keys of parts that are in place already."""
    parts = [part for case in cases for measure in case.measures for part in measure.parts]
    return frozenset(part.key for part in parts if (part.trees[0], _DEED_OF.get(part.kind, "")) in deeds)
