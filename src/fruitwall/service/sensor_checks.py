"""What is wrong with the yard's thermometers, in plain words: what shows it, what learning makes of it, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.sensors import MISTYPED, Course, Trouble, doubts, find_troubles, meant
from fruitwall.service.household import Household, decimal
from fruitwall.service.readings import NewReading, si_of
from fruitwall.service.thermometers import QUANTITY, Hours, Read
from fruitwall.speech import marked, say, say_count, say_list
from fruitwall.weather.forcing import as_datetime, as_datetime64

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.thermometers import Word

LEFT_OUT = (*MISTYPED, "odd", "stuck")
"""Troubles whose readings are not learned from until somebody says what they are."""

LOGGED_H = 3.0
"""Readings that usually follow each other within so many hours are a logger's. [h]"""


@dataclass(frozen=True, eq=False)
class SensorTrouble:
    """Something wrong with one thermometer in one stretch of weather.

    Attributes
    ----------
    sensor : str
        The name under which the readings came.
    trouble : Trouble
    since, until : datetime, aware
        Of the first and last reading concerned.
    """

    sensor: str
    trouble: Trouble
    since: datetime
    until: datetime


@dataclass(frozen=True)
class Way:
    """What can be said of a trouble: the word that is kept, and what it says on a button."""

    how: Word
    words: str


@dataclass(frozen=True)
class Told:
    """A trouble in words.

    Attributes
    ----------
    what, shows, done, advice : str
        Its name, the evidence, what learning does about it, what to do at the thermometer; the last may be empty.
    ways : tuple of Way
    """

    what: str
    shows: str
    done: str
    advice: str
    ways: tuple[Way, ...]


NAMES: dict[str, str] = {
    "fahrenheit": marked("°F entered as °C"),
    "celsius": marked("°C entered as °F"),
    "tenfold": marked("A decimal point lost"),
    "tenth": marked("A decimal point too far left"),
    "sign": marked("A minus sign lost or added"),
    "odd": marked("Far from everything expected"),
    "stuck": marked("A value that stands still"),
    "clock": marked("A wrong clock"),
    "lag": marked("It follows the air late"),
    "sun": marked("In the sun by day"),
    "drift": marked("It drifts"),
    "gaps": marked("Holes in its readings"),
    "silent": marked("It has fallen silent"),
}

ADVICE: dict[str, str] = {
    "odd": marked("Was it taken indoors, or carried in the hand? Then leave it out."),
    "stuck": marked("Change its battery, and look whether its probe is frozen in or loose."),
    "clock": marked("Set its clock; loggers should run on one time all year."),
    "lag": marked("Hang it free in the air, off walls, trunks and tight boxes."),
    "sun": marked("Hang it in the shade, or under a screen that air can pass."),
    "drift": marked("Stir it in melting ice for ten minutes: it must read the freezing point."),
    "gaps": marked("Look to its battery, its memory and its radio."),
    "silent": marked("Look to its battery, its memory and its radio."),
}


def troubles_of(read: Read, now: datetime) -> list[SensorTrouble]:
    """Find what is wrong with one thermometer.

    Parameters
    ----------
    read : Read
    now : datetime, aware

    Returns
    -------
    list of SensorTrouble
        Oldest stretch of weather first. What somebody said is right is not asked about again.
    """
    found = []
    for number, hours in enumerate(read.hours):
        inside = (read.time_utc >= hours.time_utc[0]) & (read.time_utc <= hours.time_utc[-1])
        if not inside.any():
            continue
        newest = number == len(read.hours) - 1 and read.hung.kind == "logger"
        for trouble in _in_stretch(read, hours, inside, now if newest else None):
            whole = np.zeros(read.time_utc.size, dtype=bool)
            whole[np.flatnonzero(inside)] = trouble.wrong
            since, until = (_moment(hours, one) for one in (trouble.since_h, trouble.until_h))
            found.append(SensorTrouble(read.sensor, replace(trouble, wrong=whole), since, until))
    return found


def _in_stretch(read: Read, hours: Hours, inside: NDArray[np.bool_], now: datetime | None) -> list[Trouble]:
    """Find troubles of the readings of one stretch."""
    time, value, settled = read.time_utc[inside], read.value_c[inside], read.settled[inside]
    at = (time - hours.time_utc[0]) / np.timedelta64(3600, "s")
    if read.hung.kind == "min_max":
        return _of_lowest(hours, at, value, settled)
    # To tell one hour of the day from another the sun's own time is enough.
    course = Course(
        np.arange(hours.time_utc.size, dtype=np.float64),
        hours.air_c,
        hours.sun_w_m2,
        hours.elevation_deg < 0.0,
        (hours.time_utc - hours.time_utc.astype("datetime64[D]")) / np.timedelta64(3600, "s"),
    )
    now_h = None if now is None else float((as_datetime64(now) - hours.time_utc[0]) / np.timedelta64(3600, "s"))
    troubles = find_troubles(at, value, course, now_h=now_h)
    if not settled.any():
        return troubles
    left = []
    for one in troubles:
        wrong = one.wrong & ~settled
        asked = wrong.any() if one.wrong.any() else 2 * int(settled.sum()) < settled.size
        if asked or one.kind in ("gaps", "silent"):
            left.append(replace(one, wrong=wrong, readings=int(wrong.sum()) if one.wrong.any() else one.readings))
    return left


def _of_lowest(
    hours: Hours, at: NDArray[np.float64], value: NDArray[np.float64], settled: NDArray[np.bool_]
) -> list[Trouble]:
    """Doubt single lowest values, beside the lowest of the day before each was read."""
    axis = np.arange(hours.time_utc.size, dtype=np.float64)
    lowest = np.array([hours.air_c[(axis > one - 24.0) & (axis <= one)].min(initial=np.inf) for one in at])
    known = np.isfinite(lowest)
    kinds = np.where(known & ~settled, doubts(value, np.where(known, lowest, 0.0)), "")
    found = []
    for kind in (*MISTYPED, "odd"):
        wrong = kinds == kind
        if wrong.any():
            size = float(np.median((value - lowest)[wrong]))
            times = at[wrong]
            found.append(Trouble(kind, float(times[0]), float(times[-1]), int(wrong.sum()), size, wrong))  # type: ignore[arg-type]
    return found


def _moment(hours: Hours, since_start: float) -> datetime:
    return as_datetime(hours.time_utc[0] + np.timedelta64(round(since_start * 3600), "s"))


def as_learned(read: Read, now: datetime) -> Read:
    """Give a thermometer's readings as they are learned from: what is doubted left out, a wrong clock set right.

    Parameters
    ----------
    read : Read
    now : datetime, aware

    Returns
    -------
    Read
    """
    wrong = np.zeros(read.time_utc.size, dtype=bool)
    time = read.time_utc.copy()
    for one in troubles_of(read, now):
        wrong |= one.trouble.wrong
        if one.trouble.kind == "clock":
            its = (read.time_utc >= as_datetime64(one.since)) & (read.time_utc <= as_datetime64(one.until))
            time[its] = read.time_utc[its] - np.timedelta64(round(one.trouble.size * 3600), "s")
    if not wrong.any() and (time == read.time_utc).all():
        return read
    order = np.flatnonzero(~wrong)
    order = order[np.argsort(time[order], kind="stable")]
    return replace(
        read,
        time_utc=time[order],
        value_c=read.value_c[order],
        as_came_c=read.as_came_c[order],
        settled=read.settled[order],
    )


# ---------------------------------------------------------------- in words


def told(one: SensorTrouble, household: Household, zone: ZoneInfo) -> Told:
    """Tell a trouble in words.

    Parameters
    ----------
    one : SensorTrouble
    household : Household
    zone : ZoneInfo
        Of the yard.

    Returns
    -------
    Told
    """
    trouble = one.trouble
    advice = ADVICE.get(trouble.kind, "")
    return Told(
        say(NAMES[trouble.kind]),
        _shows(one, household, zone),
        _done(trouble, household),
        say(advice) if advice else "",
        _ways(trouble),
    )


def hours_long(hours: float) -> str:
    """Write a length of time: hours, or days from two on."""
    if abs(hours) >= 48.0:
        return say_count("{count} day", "{count} days", round(abs(hours) / 24.0))
    return say("{hours} h", hours=decimal(f"{abs(hours):.1f}".removesuffix(".0")))


def _shows(one: SensorTrouble, household: Household, zone: ZoneInfo) -> str:
    """Say what shows it."""
    trouble, apart = one.trouble, household.difference(one.trouble.size)
    if trouble.kind in MISTYPED:
        return say_count(
            "{count} reading is {difference} from what was expected; read so, it fits.",
            "{count} readings are {difference} from what was expected; read so, they fit.",
            trouble.readings,
            difference=apart,
        )
    if trouble.kind == "odd":
        return say_count(
            "{count} reading is {difference} from what was expected, and like nothing known.",
            "{count} readings are {difference} from what was expected, and like nothing known.",
            trouble.readings,
            difference=apart,
        )
    long = hours_long(trouble.size)
    if trouble.kind == "stuck":
        return say("The same value for {hours}, while the air must have changed.", hours=long)
    if trouble.kind == "clock":
        return say(
            "Its days run {hours} early: the clock seems to be slow by that."
            if trouble.size < 0
            else "Its days run {hours} late: the clock seems to be fast by that.",
            hours=long,
        )
    if trouble.kind == "lag":
        return say("It takes about {hours} to follow the air.", hours=long)
    if trouble.kind == "sun":
        return say(
            "On bright days up to {difference} too warm about {hours}, and not on dull ones.",
            difference=apart,
            hours=say_list([_clock(one.since, hour, zone) for hour in trouble.hours]),
        )
    if trouble.kind == "drift":
        return say(
            "By night it went {difference} up against everything else in this time."
            if trouble.size > 0
            else "By night it went {difference} down against everything else in this time.",
            difference=apart,
        )
    if trouble.kind == "gaps":
        return say_count(
            "{count} hole, the longest of {hours}.",
            "{count} holes, the longest of {hours}.",
            trouble.readings,
            hours=long,
        )
    return say("Nothing for {hours}.", hours=long)


def _clock(day: datetime, hour_utc: int, zone: ZoneInfo) -> str:
    local = day.replace(hour=hour_utc, minute=0).astimezone(zone)
    return f"{local:%H:%M}"


def _done(trouble: Trouble, household: Household) -> str:
    """Say what learning does about it."""
    if trouble.kind in LEFT_OUT:
        return say("Not learned from until somebody says what it is.")
    return {
        "clock": say("Learned from as if its clock were set right."),
        "lag": say("Learned from as it is: its lowest may be a little too warm."),
        "sun": say("Only its nights are learned from, so nothing is lost."),
        "drift": say("Learned from as it is: what it says of the spot is less sure than it looks."),
        "gaps": say("Nights without enough readings are left out."),
        "silent": say("What it said before counts on."),
    }[trouble.kind]


def _ways(trouble: Trouble) -> tuple[Way, ...]:
    """Give what can be said of it."""
    right, out = Way("right", say("It is right as it stands")), Way("ignore", say("Leave it out"))
    mends: dict[str, Way] = {
        "fahrenheit": Way("fahrenheit", say("It was in °F")),
        "celsius": Way("celsius", say("It was in °C")),
        "tenfold": Way("tenfold", say("Set the decimal point one to the left")),
        "tenth": Way("tenth", say("Set the decimal point one to the right")),
        "sign": Way("sign", say("Turn the sign")),
        "clock": Way("clock", say("Its clock was wrong: set it right")),
    }
    if trouble.kind in ("gaps", "silent"):
        return ()
    able: list[str] = [trouble.kind] if trouble.kind in mends else []
    # About freezing a number may be either: 28 is 2.8 °C, or 28 °F.
    able += {"tenfold": ["fahrenheit"], "fahrenheit": ["tenfold"] if trouble.readings == 1 else []}.get(
        trouble.kind, []
    )
    return (*(mends[kind] for kind in able), out, right)


# ---------------------------------------------------------------- while it is entered


@dataclass(frozen=True)
class Doubt:
    """A reading that was taken, and is asked about.

    Attributes
    ----------
    place : int
        In the list of readings, from 0.
    kind : str
        Of `learning.sensors.MISTYPED`, or "odd".
    expected_c, difference_k : float
        What the weather was, and how far the reading is off. [°C], [K]
    """

    place: int
    kind: str
    expected_c: float
    difference_k: float


def doubts_about(house: House, given: Sequence[NewReading]) -> list[Doubt]:
    """Compare readings of the air, as they come, with the weather of their hour.

    Parameters
    ----------
    house : House
        With a yard.
    given : sequence of NewReading

    Returns
    -------
    list of Doubt
        Empty where the weather of these hours is not known. The weather alone is asked, not each spot: it is quick,
        and what is doubted here is further off than a spot can be.
    """
    from fruitwall.service.past_weather import past_stretches

    air = [at for at, one in enumerate(given) if one.quantity == QUANTITY]
    if not air:
        return []
    time = np.array([as_datetime64(given[at].at) for at in air], dtype="datetime64[s]")
    value = np.array([si_of(given[at]) for at in air])
    expected = np.full(time.size, np.nan)
    for stretch in past_stretches(house):
        known = (time >= stretch.forcing.time_utc[0]) & (time <= stretch.forcing.time_utc[-1])
        axis = stretch.forcing.time_utc.astype(np.float64)
        expected[known] = np.interp(time[known].astype(np.float64), axis, stretch.forcing.t_air_c[0])
    kinds = doubts(value, expected)
    return [
        Doubt(at, str(kind), float(there), float(one - there))
        for at, kind, there, one in zip(air, kinds, expected, value, strict=True)
        if kind
    ]


QUESTIONS: dict[str, str] = {
    "fahrenheit": marked("This is {difference} from what was expected: was it in °F?"),
    "celsius": marked("This is {difference} from what was expected: was it in °C?"),
    "tenfold": marked("This is {difference} from what was expected: is a decimal point lost?"),
    "tenth": marked("This is {difference} from what was expected: is a decimal point too far left?"),
    "sign": marked("This is {difference} from what was expected: is the sign right?"),
    "odd": marked("This is {difference} from what was expected: is it the right place and hour?"),
}


def question(doubt: Doubt, household: Household) -> str:
    """Ask about a reading."""
    return say(QUESTIONS[doubt.kind], difference=household.difference(doubt.difference_k))


def doubt_ways(kind: str) -> tuple[Way, ...]:
    """Give what can be said of a reading that is asked about: a kind of `MISTYPED`, or "odd"."""
    nothing = np.zeros(0, dtype=bool)
    return _ways(Trouble(kind, 0.0, 0.0, 1, 0.0, nothing))  # type: ignore[arg-type]


def as_meant(value_c: float, kind: str) -> float:
    """Give what a doubted reading would be if it was meant as that. [°C]"""
    return float(meant(value_c, kind)) if kind in MISTYPED else value_c
