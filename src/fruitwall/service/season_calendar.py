"""What the season asks for as a calendar to subscribe to (iCalendar, RFC 5545), with tonight's tasks.

A task of the season is an event of whole days, from the first day on which it makes sense to the one on which it is
due; where that is more than a week it stands on the first day alone, and later on the last. It keeps its identifier as
long as the same thing is meant; when it is moved its sequence number rises; when it is no longer asked for it stands as
cancelled for a month, since a calendar that imported it would go on showing it (sections 3.8.7.4 and 3.8.1.11). Which
tasks were told, and when they changed, is kept as a setting of the yard: the feed stays the same to the byte while
nothing changes, and a calendar that asks every hour makes no work.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from fruitwall.journal.state import MEMO
from fruitwall.service.household import short_day
from fruitwall.service.season_part import SeasonTask
from fruitwall.speech import language, say

if TYPE_CHECKING:
    from icalendar import Alarm, Event

    from fruitwall.service.evening_document import EveningPlan
    from fruitwall.service.household import Household
    from fruitwall.yard.model import Yard

TOLD = MEMO
"""Setting of the yard: what the calendar told last, by key of the task. A calendar that reads makes nothing anew."""

CANCELLED_FOR = timedelta(days=31)
"""How long a task that is no longer asked for stands as cancelled. Our judgement."""

ASKED_AGAIN = timedelta(hours=1)
"""How often a calendar that subscribes should ask again: the season is worked out by the hour."""

LONG = timedelta(days=7)
"""Longer spans are no bar across the calendar: it would lie there for months. Our judgement."""

MORNING = timedelta(hours=8)
"""When the alarm of what cannot wait rings on its first day; nothing else rings. Our judgement."""

MOST_TOLD = 500
"""More tasks are not remembered; the oldest cancelled ones go first."""


@dataclass(frozen=True)
class ToldTask:
    """A task as the calendar told it.

    Attributes
    ----------
    first, last : date
        Days of the event.
    due : date
    urgent : bool
    sequence : int
        Rises with every change.
    changed : datetime, aware
    summary : str
        As it was told last, for when it is taken back.
    gone : bool
        Whether it is no longer asked for.
    part : str
        Key of the part of the season that asks for it.
    """

    first: date
    last: date
    due: date
    urgent: bool
    sequence: int
    changed: datetime
    summary: str
    gone: bool = False
    part: str = ""


def told_now(
    before: Mapping[str, ToldTask],
    tasks: Sequence[SeasonTask],
    now: datetime,
    today: date,
    silent: Collection[str] = (),
) -> dict[str, ToldTask]:
    """Give what the calendar tells now.

    Parameters
    ----------
    before : Mapping of key to ToldTask
        What it told last.
    tasks : sequence of SeasonTask
        What is asked for now.
    now : datetime, aware
    today : date
        By the yard's calendar.
    silent : collection of str
        Keys of parts that could not be worked out: what they asked for stands as it was told.

    Returns
    -------
    dict of key to ToldTask
        The same as before where nothing changed.
    """
    second = now.astimezone(UTC).replace(microsecond=0)
    found: dict[str, ToldTask] = {}
    for task in tasks:
        last = before.get(task.key)
        one = ToldTask(*days_of(task, last, today), task.due, task.urgent, 0, second, task.what, part=task.part)
        if last is None:
            found[task.key] = one
        elif replace(one, sequence=last.sequence, changed=last.changed, summary=last.summary) == last:
            found[task.key] = last
        else:
            found[task.key] = replace(one, sequence=last.sequence + 1)
    for key, last in before.items():
        if key in found:
            continue
        if last.part in silent and not last.gone:
            found[key] = last
        elif not last.gone:
            found[key] = replace(last, gone=True, sequence=last.sequence + 1, changed=second)
        elif second - last.changed <= CANCELLED_FOR:
            found[key] = last
    kept = sorted(found.items(), key=lambda item: (item[1].gone, -item[1].changed.timestamp(), item[0]))[:MOST_TOLD]
    return dict(sorted(kept))


def days_of(task: SeasonTask, last: ToldTask | None, today: date) -> tuple[date, date]:
    """Give first and last day of the event of a task.

    Parameters
    ----------
    task : SeasonTask
    last : ToldTask or None
        As it was told last.
    today : date

    Returns
    -------
    first, last : date
        Of a long span one day: the first one that was not over when it was told, and the last once that is a week ago.
    """
    first = min(task.not_before or task.due, task.due)
    if task.due - first <= LONG:
        return first, task.due
    same = last is not None and not last.gone and last.due == task.due and last.first >= first
    day = last.first if last is not None and same else min(max(first, today), task.due)
    return (day, day) if today - day < LONG else (task.due, task.due)


def told_before(setting: object) -> dict[str, ToldTask]:
    """Read what the calendar told last; what cannot be read counts as never told."""
    found: dict[str, ToldTask] = {}
    for key, one in setting.items() if isinstance(setting, dict) else ():
        try:
            found[str(key)] = ToldTask(
                date.fromisoformat(one["first"]),
                date.fromisoformat(one["last"]),
                date.fromisoformat(one["due"]),
                bool(one["urgent"]),
                int(one["sequence"]),
                datetime.fromisoformat(one["changed"]),
                str(one["summary"]),
                bool(one["gone"]),
                str(one["part"]),
            )
        except (KeyError, TypeError, ValueError):
            continue
    return found


def as_setting(told: Mapping[str, ToldTask]) -> dict[str, Any]:
    """Write what the calendar tells as it is kept."""
    return {
        key: {
            "first": one.first.isoformat(),
            "last": one.last.isoformat(),
            "due": one.due.isoformat(),
            "urgent": one.urgent,
            "sequence": one.sequence,
            "changed": one.changed.isoformat(),
            "summary": one.summary,
            "gone": one.gone,
            "part": one.part,
        }
        for key, one in told.items()
    }


def season_calendar(
    tasks: Sequence[SeasonTask],
    told: Mapping[str, ToldTask],
    yard: Yard,
    household: Household,
    evening: EveningPlan | None = None,
) -> bytes:
    """Write the calendar.

    Parameters
    ----------
    tasks : sequence of SeasonTask
        In words of who reads.
    told : Mapping of key to ToldTask
        As `told_now` gives it.
    yard : Yard
    household : Household
        Of who reads.
    evening : EveningPlan, optional
        Whose tasks stand in the same calendar.

    Returns
    -------
    bytes
        UTF-8, lines folded and ended as the standard asks.
    """
    from icalendar import Calendar

    from fruitwall.service.calendar import evening_events

    calendar = Calendar()
    calendar.add("prodid", f"-//fruitwall//season//{language().upper()}")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", say("{yard}: trees", yard=yard.name))
    calendar.add("x-wr-timezone", yard.location.time_zone)
    # For calendars that subscribe (RFC 7986, section 5.7); the second is what older ones read.
    calendar.add("refresh-interval", ASKED_AGAIN, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT1H")
    by_key = {task.key: task for task in tasks}
    for key, one in sorted(told.items()):
        calendar.add_component(_event(key, one, by_key.get(key), yard))
    for event in evening_events(evening, household) if evening is not None else ():
        calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written


def _event(key: str, told: ToldTask, task: SeasonTask | None, yard: Yard) -> Event:
    """Make the event of one task: whole days, free time, cancelled where nobody asks for it any more."""
    from icalendar import Event

    event = Event()
    event.add("uid", f"{sha256(f'{yard.name}/{key}'.encode()).hexdigest()[:32]}@fruitwall")
    event.add("dtstamp", told.changed)
    event.add("last-modified", told.changed)
    event.add("sequence", told.sequence)
    event.add("dtstart", told.first)
    event.add("dtend", told.last + timedelta(days=1))  # the day after the last one (section 3.6.1)
    event.add("transp", "TRANSPARENT")
    event.add("location", yard.name)
    if told.gone:
        event.add("status", "CANCELLED")
        event.add("summary", say("No longer to do: {what}", what=told.summary))
        return event
    event.add("status", "CONFIRMED")
    # What is not asked for at this moment but was not taken back either could not be worked out anew.
    what = task.what if task is not None else told.summary
    event.add("summary", what)
    if task is not None:
        event.add("description", "\n".join(part for part in _told(task) if part))
    if told.urgent:
        event.add_component(_alarm(what))
    return event


def _told(task: SeasonTask) -> list[str]:
    """Tell a task in lines: why, what if not, how, and what to heed."""
    lines = [task.why]
    if task.not_before is not None and task.due - task.not_before > LONG:
        lines.append(say("From {first} to {last}.", first=short_day(task.not_before), last=short_day(task.due)))
    if task.otherwise:
        lines.append(say("If not: {otherwise}", otherwise=task.otherwise))
    lines += [f"{place}. {step}" for place, step in enumerate(task.steps, start=1)]
    return [*lines, *task.cautions]


def _alarm(words: str) -> Alarm:
    """Make an alarm in the morning of the first day."""
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", words)
    alarm.add("trigger", MORNING)
    return alarm
