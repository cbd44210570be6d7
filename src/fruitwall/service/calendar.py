"""The plan's deadlines for a calendar: iCalendar, RFC 5545.

One event for each occasion of the evening and the morning. The same occasion of the same night keeps its identifier
when the plan is made anew, with a higher sequence number, so that a calendar that reads the new file replaces the
event (RFC 5545, section 3.8.7.4). An occasion of an earlier plan at which nothing is left to do is cancelled
(`STATUS:CANCELLED`, section 3.8.1.11), not left out: a calendar that had imported it would go on ringing. Times are in
UTC, which every calendar shows in its own zone.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, get_args
from zoneinfo import ZoneInfo

from fruitwall.service.evening_document import EveningPlan, Occasion, Task, Withdrawn
from fruitwall.service.household import Household, minutes
from fruitwall.service.words import OCCASIONS
from fruitwall.speech import language, say, say_count

if TYPE_CHECKING:
    from icalendar import Alarm, Event

    from fruitwall.yard.model import Yard

SHORTEST = timedelta(minutes=15)
"""No event is shorter, so that it can be seen and touched on a telephone."""

WARNING_AHEAD = timedelta(minutes=30)
"""How long before work must begin the first alarm rings; the second rings when it must begin. Our judgement."""

ASKED_AGAIN = timedelta(minutes=30)
"""How often a calendar that subscribes should ask again: as often as a new forecast is fetched."""

ORDER: tuple[Occasion, ...] = get_args(Occasion)

COUNTED_FROM = datetime(2020, 1, 1, tzinfo=UTC)
"""Sequence numbers are the seconds from here to when the plan was made: they rise without anything being kept."""


def calendar_of(plan: EveningPlan, yard: Yard) -> bytes:
    """Write a plan's deadlines as an iCalendar file.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard
        For the household's clock and units.

    Returns
    -------
    bytes
        UTF-8, lines folded and ended as the standard asks.
    """
    from icalendar import Calendar

    household = Household(yard.display, ZoneInfo(plan.time_zone))
    calendar = Calendar()
    calendar.add("prodid", f"-//fruitwall//evening plan//{language().upper()}")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", say("{yard}: trees", yard=plan.yard))
    calendar.add("x-wr-timezone", plan.time_zone)
    # For calendars that subscribe (RFC 7986, section 5.7).
    calendar.add("refresh-interval", ASKED_AGAIN, parameters={"VALUE": "DURATION"})
    for event in evening_events(plan, household):
        calendar.add_component(event)
    written: bytes = calendar.to_ical()
    return written


def evening_events(plan: EveningPlan, household: Household) -> list[Event]:
    """Make the events of an evening: those of its occasions, and those that take earlier ones back.

    Parameters
    ----------
    plan : EveningPlan
    household : Household
        Of who reads.

    Returns
    -------
    list of Event
    """
    events = [_event(plan, when, tasks, household) for when, tasks in _occasions(plan).items()]
    return [*events, *(_cancelled(plan, withdrawn) for withdrawn in plan.withdrawn)]


def withdrawn_since(plan: EveningPlan, before: EveningPlan | None) -> list[Withdrawn]:
    """Give the occasions that calendars may hold from earlier plans and at which this plan has nothing to do.

    Parameters
    ----------
    plan : EveningPlan
        The plan made now.
    before : EveningPlan or None
        The last one made for the same night and yard; what it had withdrawn itself counts too.

    Returns
    -------
    list of Withdrawn
        In the order of the evening; what is over when the plan is made is left as it was.
    """
    if before is None:
        return []
    earlier = {withdrawn.when: withdrawn for withdrawn in before.withdrawn}
    for when, tasks in _occasions(before).items():
        begins, ends = _times(before, tasks)
        earlier[when] = Withdrawn(when=when, begins=begins, ends=ends)
    still = _occasions(plan)
    return [earlier[when] for when in ORDER if when in earlier and when not in still and earlier[when].ends > plan.made]


def _occasions(plan: EveningPlan) -> dict[Occasion, list[Task]]:
    """Give the tasks of each occasion at which there is something to do, in the order of the evening."""
    tasks = sorted((*plan.tasks, *plan.morning), key=lambda task: task.order)
    by_occasion = {when: [task for task in tasks if task.when == when] for when in ORDER}
    return {when: found for when, found in by_occasion.items() if found}


def _event(plan: EveningPlan, when: Occasion, tasks: Sequence[Task], household: Household) -> Event:
    """Make the event of one occasion: from when work must begin to the deadline."""
    summary = say_count(
        "{occasion}: {count} thing to do for the trees",
        "{occasion}: {count} things to do for the trees",
        len(tasks),
        occasion=say(OCCASIONS[when]),
    )
    event = _bare(plan, when, *_times(plan, tasks))
    event.add("status", "CONFIRMED")
    event.add("summary", summary)
    event.add("description", "\n".join(_line(task, household) for task in tasks))
    for ahead in (WARNING_AHEAD, timedelta(0)):
        event.add_component(_alarm(summary, ahead))
    return event


def _cancelled(plan: EveningPlan, withdrawn: Withdrawn) -> Event:
    """Make the event that takes an earlier one back: at its hour, without alarms."""
    event = _bare(plan, withdrawn.when, withdrawn.begins, withdrawn.ends)
    event.add("status", "CANCELLED")
    occasion = say(OCCASIONS[withdrawn.when])
    event.add("summary", say("{occasion}: nothing left to do for the trees", occasion=occasion))
    return event


def _bare(plan: EveningPlan, when: Occasion, start: datetime, end: datetime) -> Event:
    """Make what all events have: identifier, sequence, hours and place."""
    from icalendar import Event

    event = Event()
    event.add("uid", f"{plan.night}-{when}-{sha256(plan.yard.encode()).hexdigest()[:16]}@fruitwall")
    event.add("dtstamp", plan.made.astimezone(UTC))
    event.add("last-modified", plan.made.astimezone(UTC))
    event.add("sequence", max(int((plan.made - COUNTED_FROM).total_seconds()), 0))
    event.add("dtstart", start.astimezone(UTC))
    event.add("dtend", end.astimezone(UTC))
    event.add("location", plan.yard)
    return event


def _times(plan: EveningPlan, tasks: Sequence[Task]) -> tuple[datetime, datetime]:
    """Give when the work of an occasion must begin and when it must be done."""
    possible = [task.not_before for task in tasks if task.not_before is not None]
    if possible:
        start = min(possible)
        return start, start + max(SHORTEST, timedelta(minutes=sum(task.minutes for task in tasks)))
    first, last = min(task.deadline for task in tasks), max(task.deadline for task in tasks)
    starts = [task.start_by for task in tasks if task.start_by is not None]
    start = min([first - max(SHORTEST, timedelta(minutes=_longest_work(tasks))), *starts])
    # What is planned late cannot begin before it is planned.
    return min(max(start, plan.made), last - SHORTEST), last


def _longest_work(tasks: Sequence[Task]) -> float:
    """Give the minutes of the one who has most to do; in the morning, of one who does it all. [min]"""
    by_person: dict[str | None, float] = {}
    for task in tasks:
        by_person[task.person] = by_person.get(task.person, 0.0) + task.minutes
    return max(by_person.values())


def _line(task: Task, household: Household) -> str:
    """Tell one task: its deadline or first hour, what, who, and in the morning by when to vent."""
    hour = (
        say("not before {moment}", moment=household.moment(task.not_before))
        if task.not_before is not None
        else say("by {time}", time=household.clock(task.deadline))
    )
    who = f"{task.person}, " if task.person else ""
    told = f"{task.order}. {task.what} ({who}{hour}, {minutes(max(task.minutes, 1.0))})"
    return " ".join([told, *task.steps]) if task.when in ("morning", "when_mild") else told


def _alarm(words: str, ahead: timedelta) -> Alarm:
    """Make an alarm some time before the event begins."""
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", words)
    alarm.add("trigger", -ahead)
    return alarm
