"""Two invented winters of the demo yard: what its household did and saw, so that there is something to learn from.

The hours of weather are real ones (`weather.demo.demo_winters`). Everything else is made up by a seed: a household that
covers and carries by a simple rule, walks through its yard now and then and grades what it sees, and hangs up three
thermometers. Behind it stands a truth (`two_winters_invented`): what each tree really stands, that one spot is
colder than physics says, that the service's forecasts are too warm on clear nights. What was learned can be held
against it.

All is written to the journal as a household's own entries would be; nothing here is read by what learns.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import JournalError
from fruitwall.learning.looks import scale_of, share_seen
from fruitwall.physics.cooling import cooling_strength
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.plants.injury import grade_chances
from fruitwall.plants.tolerance import Tolerance
from fruitwall.service.evening import generator
from fruitwall.service.ledger import Body, Deed, Note, Sighting, Signed, entry_of
from fruitwall.service.nights import Evening, evening_of
from fruitwall.service.two_winters_invented import (
    AWAY,
    COLD_TREE,
    COLDER_K,
    FORECAST_MEMORY_H,
    FORECAST_REACH_H,
    FORECAST_SD_K,
    FORECAST_WARM_K,
    GRADES_HARDER_K,
    GROWTH_A_YEAR,
    HABITS,
    LOGGED,
    LOGGERS,
    NOTES,
    READ_SD_K,
    SEED,
    SENSORS,
    STATION,
    STATION_READ,
    TELLING,
    THERE_YEARS,
    TOLD,
    WALKS,
    WENDELL,
    YARD_NAME,
    YOUNG_YEARS,
    Truth,
    truth,
)
from fruitwall.speech import say
from fruitwall.weather.demo import DEMO_ZONE, demo_winters
from fruitwall.weather.forcing import Forcing, as_datetime, as_datetime64
from fruitwall.yard.demo import demo_yard, demo_yard_text

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.journal.ledger import Ledger
    from fruitwall.service.house import House
    from fruitwall.service.lived import Lived
    from fruitwall.yard.model import Tree, Yard

Array = NDArray[np.float64]


def live_two_winters(house: House) -> None:
    """Fill a journal with the two winters; one that holds them already stays as it is.

    Parameters
    ----------
    house : House
        With a journal of its own; its yard is `YARD_NAME`, its clock stands at the demo evening.

    Raises
    ------
    JournalError
        If the journal holds another telling of the story.
    """
    journal = house.journal
    if any(one.name == YARD_NAME for one in journal.yards()):
        told = house.ledger.setting(TOLD)
        if told != TELLING:
            raise JournalError(
                say(
                    "{place} holds an older telling of the two winters, or one that was broken off: give another "
                    "--database, or delete it",
                    place=journal.place,
                )
            )
        return
    for day, text in yard_texts().items():
        journal.store_yard(text, name=YARD_NAME, now=_at(day, time(9)), author="demo")
    winters = [_Winter(house, number, forcing) for number, forcing in enumerate(demo_winters())]
    rng = generator(SEED + 1)
    for winter in winters:
        _forecast(winter, rng)
    _ledger(house).add([entry for winter in winters for entry in _deeds(winter)])
    _ledger(house).add(_notes())
    # Looks before readings: what the trees went through must not rest on what the readings will teach.
    _ledger(house).add(_walks(house, winters, rng))
    _read_thermometers(house, winters[1], rng)
    _ledger(house).set(TOLD, TELLING, author="demo", now=house.clock())


# ---------------------------------------------------------------- the yard as it was


def yard_texts() -> dict[date, str]:
    """Give the yard's file as it stood in each of the three autumns, by the day it was written."""
    yard = demo_yard()
    return {date(autumn, 10, 30): _yard_text(yard, autumn) for autumn in (2024, 2025, 2026)}


def _yard_text(yard: Yard, autumn: int) -> str:
    """Give the demo yard as it stood in an autumn: younger trees smaller, the youngest not there."""
    text = demo_yard_text().replace("\nname: Lizard Steps\n", f"\nname: {YARD_NAME}\n")
    for tree in yard.trees:
        block = re.search(rf"  - id: {re.escape(tree.id)}\n.*?\n(?=\n)", text, re.DOTALL)
        if block is None:
            raise ValueError(f"the demo yard's file has no block for {tree.id}")
        then = _block_then(block.group(), tree, autumn)
        text = text.replace(block.group(), then)
        if not then:
            text = re.sub(rf"(trees: \[.*?){re.escape(tree.id)},? ?", r"\1", text)
    return text if autumn == 2024 else text + SENSORS


def _block_then(block: str, tree: Tree, autumn: int) -> str:
    """Give a tree's lines as they stood in an autumn; empty for one that was not there yet."""
    from fruitwall.yard.plan import tree_age_years

    years = 2026 - autumn
    age = tree_age_years(tree, date(2026, 10, 30))
    if age is None or not years:
        return block
    if age - years < THERE_YEARS:
        return ""
    block = re.sub(r"    age: .*\n", f"    age: {age - years:.1f} years\n", block)
    if age > YOUNG_YEARS:
        return block
    smaller = 1.0 - GROWTH_A_YEAR * years
    sizes = {"height": tree.height_m, "crown_diameter": tree.crown_diameter_m, "crown_base": tree.crown_base_m}
    for name, size in sizes.items():
        block = re.sub(rf"    {name}: .*\n", f"    {name}: {smaller * size:.2f}\n", block)
    return block


# ---------------------------------------------------------------- its nights and forecasts


class _Winter:
    """One winter: its weather, its evenings, and the yard as it then stood."""

    def __init__(self, house: House, number: int, weather: Forcing) -> None:
        self.house, self.number, self.weather = house, number, weather
        self.forecasts: dict[date, Forcing] = {}

    @cached_property
    def yard(self) -> Yard:
        """The yard of that winter."""
        from fruitwall.service.yards import parse_version

        return parse_version(self.house.journal.history(YARD_NAME)[self.number])

    @cached_property
    def evenings(self) -> dict[date, Evening]:
        """All of which the weather is known."""
        first = (self.weather.start_utc + timedelta(hours=12)).date()
        last = (self.weather.end_utc - timedelta(days=1)).date()
        days = [first + timedelta(days=ahead) for ahead in range((last - first).days + 1)]
        return {day: evening_of(self.yard.location, day) for day in days}

    @cached_property
    def clear(self) -> Array:
        """How clear and calm each hour is, zero by day. [0-1]"""
        one = self.weather
        air = one.t_air_c[0], one.t_dew_c[0], one.wind_m_s[0], one.cloud[0]
        return cooling_strength(*air, one.time_utc, one.latitude_deg, one.longitude_deg)

    def clear_night(self, day: date) -> float:
        """Give how clear and calm the dark hours of a night are. [0-1]"""
        evening, times = self.evenings[day], self.weather.time_utc
        dark = (times >= as_datetime64(evening.sunset)) & (times <= as_datetime64(evening.sunrise))
        return float(self.clear[dark].mean())

    def told_minimum_c(self, day: date) -> float:
        """Give what the forecast of the afternoon said of the night's minimum. [°C]"""
        evening, forecast = self.evenings[day], self.forecasts[day]
        times = forecast.time_utc
        night = (times >= as_datetime64(evening.sunset)) & (times <= as_datetime64(evening.uncover))
        return float(forecast.t_air_c[0, night].min())


def _forecast(winter: _Winter, rng: np.random.Generator) -> None:
    """Make the forecast of every afternoon, and keep those of the time in which a thermometer can be held against them.

    At its end the winter is kept whole, as a service gives the days that are past.
    """
    from fruitwall.service.forecasts import keep_forecast

    weather = winter.weather
    keep = float(np.exp(-1.0 / FORECAST_MEMORY_H))
    growth = 1.0 + np.arange(FORECAST_REACH_H) / 72.0
    for day in winter.evenings:
        issued = _at(day, time(14))
        first = int(np.searchsorted(weather.time_utc, as_datetime64(issued)))
        count = min(FORECAST_REACH_H, weather.n_times - first)
        hours = slice(first, first + count)
        pushes = rng.normal(0.0, np.sqrt(1.0 - keep**2), FORECAST_REACH_H)
        wander = np.empty(FORECAST_REACH_H)
        wander[0] = pushes[0] / np.sqrt(1.0 - keep**2)
        for hour in range(1, FORECAST_REACH_H):
            wander[hour] = keep * wander[hour - 1] + pushes[hour]
        wrong = (FORECAST_SD_K * growth * wander)[:count] + FORECAST_WARM_K * winter.clear[hours]
        air = weather.t_air_c[0, hours] + wrong
        winter.forecasts[day] = replace(
            weather.select(as_datetime(weather.time_utc[first]), as_datetime(weather.time_utc[hours][-1])),
            t_air_c=np.round(air, 1)[None, :],
            t_dew_c=np.minimum(weather.t_dew_c[0, hours], np.round(air, 1))[None, :],
            issued_utc=issued.astimezone(UTC),
            n_history=0,
        )
        if winter.number and STATION_READ[0] <= day <= STATION_READ[1]:
            keep_forecast(winter.house.journal, YARD_NAME, winter.forecasts[day], fetched=issued)
    keep_forecast(winter.house.journal, YARD_NAME, weather, fetched=weather.end_utc)


# ---------------------------------------------------------------- what was done


def _deeds(winter: _Winter) -> Iterator[LedgerEntry]:
    """Tick off what the household did, evening by evening."""
    from fruitwall.plans.measures import possible_measures

    yard = winter.yard
    there = {tree.id: tree for tree in yard.trees}
    measures = {
        habit.tree: next(
            one
            for one in possible_measures(yard, there[habit.tree], rain_expected=False, night_hours=14.0)
            if one.key == habit.measure
        )
        for habit in HABITS
        if habit.tree in there
    }
    for day, evening in winter.evenings.items():
        if AWAY[0] <= day <= AWAY[1]:
            continue
        told = winter.told_minimum_c(day)
        for habit in HABITS:
            if habit.tree not in there or told >= habit.below_c[winter.number]:
                continue
            for part in measures[habit.tree].all_parts:
                deed = Deed(
                    what=part.key,
                    words=f"{part.name}: {', '.join(there[one].name for one in part.trees if one in there)}"[:200],
                    night=day,
                    people=["wendell"],
                    minutes=round(part.quickest.minutes, 1),
                    sheet=part.sheets[0] if part.sheets else None,
                    trees=list(part.trees) if len(part.trees) > 1 else [],
                )
                tree = part.trees[0] if len(part.trees) == 1 else None
                yield _entry("deed", deed, tree=tree, at=evening.sun_leaves, by=WENDELL, name=f"{day} {part.key}")


def _notes() -> list[LedgerEntry]:
    """Write down what they noted."""
    return [
        _entry("note", Note(note=words), tree=tree, at=_at(day, time(17)), by=by, name=f"{day} note {number}")
        for number, (day, tree, by, words) in enumerate(NOTES)
    ]


# ---------------------------------------------------------------- what was read


def _read_thermometers(house: House, winter: _Winter, rng: np.random.Generator) -> None:
    """Read the station from late autumn on, and the loggers while they hung."""
    from fruitwall.journal.entries import Reading
    from fruitwall.service.past_weather import STATION as STATION_SETTING

    weather = winter.weather
    since, until = (as_datetime64(_at(day, time(0))) for day in STATION_READ)
    found: list[Reading] = []

    def read(sensor: str, times: NDArray[np.datetime64], values: Array) -> None:
        noisy = np.round(values + rng.normal(0.0, READ_SD_K, len(times)), 1)
        pairs = zip(times, noisy, strict=True)
        found.extend(Reading(sensor, "air_temperature_c", as_datetime(at), float(value)) for at, value in pairs)

    during = (weather.time_utc >= since) & (weather.time_utc < until)
    read(STATION, weather.time_utc[during], weather.t_air_c[0, during])
    for sensor, (times, air) in _air_at_loggers(winter).items():
        read(sensor, times, air)
    _ledger(house).add_readings(found, received=_at(date(2026, 4, 1), time(12)))
    _ledger(house).set(STATION_SETTING, STATION, author="demo", now=_at(STATION_READ[0], time(9)))


def _air_at_loggers(winter: _Winter) -> dict[str, tuple[NDArray[np.datetime64], Array]]:
    """Give the true air at the loggers: what physics has there, and what it does not know of the cold spot."""
    from fruitwall.physics.night import simulate
    from fruitwall.physics.spot import survey_faces
    from fruitwall.physics.treatment import Treatment
    from fruitwall.service.treatments import body_of, kinds_of, spots_of

    yard, kinds = winter.yard, kinds_of(winter.yard)
    trees = [next(tree for tree in yard.trees if tree.id == its) for its in LOGGERS.values()]
    nights = [evening.night for day, evening in winter.evenings.items() if LOGGED[0] <= day <= LOGGED[1]]
    weather = winter.weather.select(nights[0].start_utc - timedelta(days=7), nights[-1].end_utc)
    spots, _ = spots_of(yard, [[] for _ in yard.trees])
    by_tree = dict(zip((tree.id for tree in yard.trees), spots, strict=True))
    result = simulate(
        weather,
        [by_tree[tree.id] for tree in trees],
        [body_of(tree, kinds[tree.id]) for tree in trees],
        [[Treatment(key="leave")] for _ in trees],
        nights,
        faces=survey_faces(yard),
        soil=yard.ground.soil,
        moisture=yard.ground.moisture,
        step_minutes=60,
        keep_series=True,
        clear_night_offset_k=yard.location.clear_night_offset_k,
    )
    assert result.series is not None
    assert result.time_utc is not None
    during = result.time_utc >= as_datetime64(nights[0].start_utc)
    times = result.time_utc[during]
    clear = np.interp(times.astype(np.int64), winter.weather.time_utc.astype(np.int64), winter.clear)
    found = {}
    for at, (sensor, tree) in enumerate(LOGGERS.items()):
        air = result.series["air"][at, 0, 0, during]
        found[sensor] = times, air - (COLDER_K * clear if tree == COLD_TREE else 0.0)
    return found


# ---------------------------------------------------------------- what was seen


def _walks(house: House, winters: Sequence[_Winter], rng: np.random.Generator) -> list[LedgerEntry]:
    """Grade the trees on every walk, as the truth and the nights since the last look have it."""
    from fruitwall.service.lived import lived_nights

    lived, true = lived_nights(house), truth()
    looked: dict[str, tuple[date, int]] = {}
    entries: list[LedgerEntry] = []
    for day, who, share in WALKS:
        winter = winters[int(day >= date(2025, 7, 1))]
        for tree in winter.yard.trees:
            # All draws are made for every tree, so that one more or less changes nothing for the others.
            chosen, seen, late = rng.uniform(size=3)
            if tree.id not in lived or chosen > share:
                continue
            since, before = looked.get(tree.id, (date(2000, 1, 1), 0))
            if (day - since).days > 200:
                before = 0  # a summer has grown new leaf
            nights = [one for one in lived[tree.id] if since <= one.night < day and (day - one.night).days < 200]
            if not nights:
                continue
            grade = max(_grade(tree.id, nights, winter, true, who, day, (float(seen), float(late))), before)
            looked[tree.id] = day, grade
            sighting = Sighting(grade=grade, signs=_signs(grade) if grade > before else [])
            at = _at(day, time(10)) + timedelta(minutes=3 * len(entries) % 120)
            entries.append(_entry("sighting", sighting, tree=tree.id, at=at, by=who, name=f"{day} {tree.id}"))
    return entries


def _grade(
    tree: str,
    nights: Sequence[Lived],
    winter: _Winter,
    true: Truth,
    who: str,
    day: date,
    drawn: tuple[float, float],
) -> int:
    """Draw what is seen of what these nights did: by the injury model, with the tree's true limits."""
    cold = np.array([one.coldest_c for one in nights])
    if tree == COLD_TREE:
        colder = [true.colder_k * winter.clear_night(one.night) for one in nights]
        cold = cold - np.array(colder)[:, None, None]
    hour = DURATIONS_H.index(1.0)
    coldest = int(np.nanargmin(np.nanmin(cold[:, :, hour], axis=1)))
    stands = true_tolerance(nights[coldest].tolerance, true.shifts_k[tree] + GRADES_HARDER_K[who])
    chances = grade_chances(stands, cold, nights_axis=0)
    grade = int(np.searchsorted(np.cumsum(chances), drawn[0] * chances.sum()))
    shown = share_seen((day - nights[coldest].night).days)
    return max(grade - 1, 0) if drawn[1] > shown else grade


def true_tolerance(believed: Tolerance, shift_k: float) -> Tolerance:
    """Give what a tree really stands: the published limits moved, without a doubt.

    Parameters
    ----------
    believed : Tolerance
        Of the night that is meant.
    shift_k : float
        Above zero more tender. [K]

    Returns
    -------
    Tolerance
    """
    none = 1e-6
    return replace(
        believed,
        threshold_c=believed.threshold_c + scale_of(believed)[:, None] * shift_k,
        sd_k=np.where(np.isnan(believed.sd_k), np.nan, none),
        chill_sd_k=none,
        pale_sd_k=none,
        duration_sd_k_per_log2h=0.0,
    )


def _signs(grade: int) -> list[str]:
    """Give what cold of that grade looks like."""
    if grade == 0:
        return []
    if grade == 1:
        return ["pale", "upper_crown"]
    return ["upper_crown", "open_side", "whole_leaves", "brown", "sudden", *(["fallen"] if grade >= 4 else [])]


# ---------------------------------------------------------------- entries


def _ledger(house: House) -> Ledger:
    from fruitwall.journal.ledger import Ledger

    return Ledger(house.journal, YARD_NAME)


def _entry(kind: str, body: Body, *, tree: str | None, at: datetime, by: str, name: str) -> LedgerEntry:
    """Make an entry whose id follows from what it is: telling the story twice makes the same."""
    number = str(uuid.uuid5(uuid.NAMESPACE_OID, f"fruitwall two winters {name}"))
    return entry_of(kind, body, tree=tree, at=at, signed=Signed(by, "demo", at), number=number)


def _at(day: date, at: time) -> datetime:
    """Give a moment by the yard's clock."""
    return datetime.combine(day, at, tzinfo=ZoneInfo(DEMO_ZONE))
