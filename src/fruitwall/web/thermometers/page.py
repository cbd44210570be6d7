"""What the page of thermometers shows, worked out before the template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fruitwall.learning.spots import Offset, SpotReadings, learn_spots
from fruitwall.service.household import percent, short_day
from fruitwall.service.sensor_checks import (
    Doubt,
    SensorTrouble,
    as_meant,
    doubt_ways,
    question,
    told,
    troubles_of,
)
from fruitwall.service.spot_offsets import NextLogger, NightAtSpot, SpotsTaught, spots_taught, where_next
from fruitwall.service.thermometers import Hung, Mend, Read, hung_in, mends_of, read_thermometers
from fruitwall.speech import marked, say, say_chain, say_count

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.yard.model import Yard

NIGHTS_SHOWN = 20

WITHIN = 1.2816
"""Standard deviations to either side that hold 8 of 10."""

KINDS = {
    "logger": marked("reads by itself"),
    "min_max": marked("keeps the lowest, read once a day"),
    "hand": marked("read by hand"),
}

MENDED = {
    "fahrenheit": marked("taken as °F"),
    "celsius": marked("taken as °C"),
    "tenfold": marked("decimal point set one to the left"),
    "tenth": marked("decimal point set one to the right"),
    "sign": marked("sign turned"),
    "clock": marked("clock set right"),
    "ignore": marked("left out"),
    "right": marked("right as it stands"),
}

DONE = {
    "mended": marked("Noted. What is learned from it is worked out anew; nothing that was entered is lost."),
    "unmended": marked("Taken back. It counts as it was entered."),
}
"""What was done, by the word of the address."""


@dataclass(frozen=True)
class Button:
    """A way to answer, as a form sends it."""

    words: str
    how: str
    sensor: str
    since: str
    until: str
    hours: str


@dataclass(frozen=True)
class TroubleLine:
    """A trouble in words, with its ways out."""

    what: str
    when: str
    shows: str
    done: str
    advice: str
    buttons: tuple[Button, ...]


@dataclass(frozen=True)
class MendLine:
    """What somebody said, and the mark by which it is taken back."""

    words: str
    mark: str


@dataclass(frozen=True)
class Thermometer:
    """One thermometer as shown.

    Attributes
    ----------
    name, where, url : str
        Its name, where it hangs, and the page of its tree; the last may be empty.
    taught : tuple of str
        What it taught in words.
    ranges : tuple of (str, str, str)
        Kind of night; what was believed before, and now.
    troubles : tuple of TroubleLine
    mends : tuple of MendLine
    nights : tuple of tuple of str
        Night, read, worked out, difference, how clear.
    """

    name: str
    where: str
    url: str
    taught: tuple[str, ...]
    ranges: tuple[tuple[str, str, str], ...]
    troubles: tuple[TroubleLine, ...]
    mends: tuple[MendLine, ...]
    nights: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class NextLine:
    """A place for the next thermometer."""

    name: str
    url: str
    words: str


@dataclass(frozen=True)
class Asked:
    """A reading that was just entered and is asked about."""

    words: str
    instead: str
    buttons: tuple[Button, ...]


@dataclass(frozen=True)
class ThermometersPage:
    """All that the page shows.

    Attributes
    ----------
    thermometers : tuple of Thermometer
    following : tuple of NextLine
        Where to hang the next one, best first.
    unit, step : str
        Of temperatures and of differences.
    asked : Asked or None
    done : str
    """

    thermometers: tuple[Thermometer, ...]
    following: tuple[NextLine, ...]
    unit: str
    step: str
    asked: Asked | None = None
    done: str = ""


@dataclass(frozen=True, eq=False)
class Known:
    """What the page is made of."""

    yard: Yard
    reads: Sequence[Read]
    taught: SpotsTaught
    following: Sequence[NextLogger]
    mends: Sequence[Mend]
    troubles: Mapping[str, Sequence[SensorTrouble]]


def known_of(house: House) -> Known:
    """Work out what the thermometers of a household taught, and what is wrong with them."""
    reads = read_thermometers(house)
    troubles = {one.sensor: troubles_of(one, house.clock()) for one in reads}
    return Known(house.yard()[0], reads, spots_taught(house), where_next(house), mends_of(house), troubles)


def thermometers_page(
    known: Known, household: Household, *, doubt: tuple[Doubt, str, datetime, float] | None = None,
    done: str = "",
) -> ThermometersPage:  # fmt: skip
    """Work out the page.

    Parameters
    ----------
    known : Known
    household : Household
        Units of the reader, clock of the yard.
    doubt : tuple, optional
        A reading that was just entered: the doubt, its thermometer, when and what (°C).
    done : str
        A word of `DONE`.

    Returns
    -------
    ThermometersPage
    """
    zone = ZoneInfo(known.yard.location.time_zone)
    every = hung_in(known.yard)
    read_under = {(one.hung.id, one.hung.named): one for one in known.reads}
    hung: dict[tuple[str, bool], Hung] = {(one.id, True): one for one in every.values() if one.named}
    hung |= {key: one.hung for key, one in read_under.items()}
    prior = learn_spots([""], SpotReadings([], [], [], [], []))[""]
    nights: dict[str, list[NightAtSpot]] = {}
    for night in known.taught.nights:
        nights.setdefault(night.sensor, []).append(night)
    shown = [
        _thermometer(one, read_under.get(key), known, nights, prior, household, zone)
        for key, one in sorted(hung.items(), key=lambda pair: pair[1].name.casefold())
    ]
    names = {tree.id: tree.name for tree in known.yard.trees}
    return ThermometersPage(
        tuple(shown),
        tuple(_next(one, names, household) for one in known.following[:3]),
        household.degree,
        household.step,
        None if doubt is None else _asked(*doubt, household),
        say(DONE[done]) if done in DONE else "",
    )


def _thermometer(
    hung: Hung, read: Read | None, known: Known, nights: Mapping[str, Sequence[NightAtSpot]], prior: Offset,
    household: Household, zone: ZoneInfo,
) -> Thermometer:  # fmt: skip
    its = nights.get(read.sensor, []) if read is not None else []
    offset = known.taught.offsets.get(hung.spot)
    lines = [_taught(its, offset, household)]
    if read is not None and (out := known.taught.left_out.get(read.sensor, 0)):
        lines.append(
            say_count(
                "{count} night is left out: something was done for the tree.",
                "{count} nights are left out: something was done for the tree.",
                out,
            )
        )
    ranges = [
        (say("Clear and still"), _range(prior, 1.0, household), _range(offset, 1.0, household)),
        (say("Cloudy or windy"), _range(prior, 0.0, household), _range(offset, 0.0, household)),
    ] if offset is not None and its else []  # fmt: skip
    return Thermometer(
        hung.name,
        _where(hung, known.yard, household),
        "" if hung.tree is None else f"/trees/{quote(hung.tree, safe='')}",
        tuple(lines),
        tuple(ranges),
        tuple(_troubles(read, known.troubles.get(read.sensor, ()), household, zone)) if read is not None else (),
        tuple(_mend(one, household) for one in known.mends if read is not None and one["sensor"] == read.sensor),
        tuple(_night(one, household) for one in reversed(its[-NIGHTS_SHOWN:])),
    )


def _where(hung: Hung, yard: Yard, household: Household) -> str:
    """Say where it hangs."""
    parts = []
    if hung.tree is not None:
        name = next(tree.name for tree in yard.trees if tree.id == hung.tree)
        parts.append(say("in {tree}", tree=name) if hung.named else say("readings under the name of the tree"))
    else:
        parts.append(say("free in the yard"))
    parts.append(say("{length} above the ground", length=household.length(hung.height_m)))
    parts.append(say(KINDS[hung.kind]))
    if not hung.shield:
        parts.append(say("without a screen"))
    if hung.station:
        parts.append(say("the yard's station"))
    return say_chain(parts, ",")


def _taught(its: Sequence[NightAtSpot], offset: Offset | None, household: Household) -> str:
    """Say in a sentence what it taught."""
    if not its or offset is None:
        return say("It taught nothing so far: no night was read whose weather is known.")
    mean, _ = offset.at(1.0)
    count = len({one.night for one in its})
    if abs(mean) < 0.05:
        return say_count(
            "{count} night: clear still nights are here as they are worked out.",
            "{count} nights: clear still nights are here as they are worked out.",
            count,
        )
    if mean < 0:
        return say_count(
            "{count} night: clear still nights are {difference} colder here than they are worked out.",
            "{count} nights: clear still nights are {difference} colder here than they are worked out.",
            count,
            difference=household.fine_difference(mean),
        )
    return say_count(
        "{count} night: clear still nights are {difference} warmer here than they are worked out.",
        "{count} nights: clear still nights are {difference} warmer here than they are worked out.",
        count,
        difference=household.fine_difference(mean),
    )


def _range(offset: Offset | None, clear: float, household: Household) -> str:
    if offset is None:
        return ""
    mean, sd = offset.at(clear)
    low, high = (household.bare_fine_difference(mean + side * WITHIN * sd) for side in (-1.0, 1.0))
    return say("{low} to {high}", low=low, high=high)


def _troubles(read: Read, troubles: Sequence[SensorTrouble], household: Household, zone: ZoneInfo) -> list[TroubleLine]:
    lines = []
    for one in troubles:
        words = told(one, household, zone)
        since, until = (moment.astimezone(zone).date() for moment in (one.since, one.until))
        when = (
            short_day(since) if since == until else say("{low} to {high}", low=short_day(since), high=short_day(until))
        )
        buttons = tuple(
            Button(
                way.words, way.how, read.sensor, one.since.isoformat(), one.until.isoformat(), f"{one.trouble.size:.2f}"
            )
            for way in words.ways
        )
        lines.append(TroubleLine(words.what, when, words.shows, words.done, words.advice, buttons))
    return lines


def mark_of(one: Mend) -> str:
    """Give the mark by which something that was said is found again."""
    return "|".join((one["sensor"], one["since"], one["until"], one["how"]))


def _mend(one: Mend, household: Household) -> MendLine:
    since, until = (household.moment(datetime.fromisoformat(one[key])) for key in ("since", "until"))
    words = say("{since} to {until}: {what} ({who})", since=since, until=until, what=say(MENDED[one["how"]]),
                who=one["author"])  # fmt: skip
    return MendLine(words, mark_of(one))


def _night(one: NightAtSpot, household: Household) -> tuple[str, ...]:
    return (
        short_day(one.night),
        household.bare_temperature(one.read_c),
        household.bare_temperature(one.expected_c),
        household.bare_fine_difference(one.read_c - one.expected_c),
        percent(one.clear),
    )


def _next(one: NextLogger, names: Mapping[str, str], household: Household) -> NextLine:
    words = say(
        "Ten nights would narrow its clear nights from ± {before} to ± {after}, and take away {share} of what is not "
        "known of all trees, weighed by what they are worth.",
        before=household.fine_difference(one.sd_before_k),
        after=household.fine_difference(one.sd_after_k),
        share=percent(one.share),
    )
    return NextLine(names[one.tree], f"/trees/{quote(one.tree, safe='')}", words)


def _asked(doubt: Doubt, sensor: str, at: datetime, value_c: float, household: Household) -> Asked:
    """Ask about a reading that was just entered."""
    meant_c = as_meant(value_c, doubt.kind)
    return Asked(
        question(doubt, household),
        say(
            "{sensor}, {when}: stored as {value}, where {expected} was expected.",
            sensor=sensor,
            when=household.moment(at),
            value=household.temperature(value_c),
            expected=household.temperature(doubt.expected_c),
        )
        if meant_c == value_c
        else say(
            "{sensor}, {when}: stored as {value}, where {expected} was expected. Meant so, it was {meant}.",
            sensor=sensor,
            when=household.moment(at),
            value=household.temperature(value_c),
            expected=household.temperature(doubt.expected_c),
            meant=household.temperature(meant_c),
        ),
        tuple(
            Button(way.words, way.how, sensor, at.isoformat(), at.isoformat(), "0") for way in doubt_ways(doubt.kind)
        ),
    )
