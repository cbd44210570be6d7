"""The first page of the season: what is to be done, and how it stands with each part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from fruitwall.service.household import minutes
from fruitwall.service.season import Part, TaskGroup, season_tasks, task_groups
from fruitwall.service.season_words import when_words
from fruitwall.speech import say_count

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.yard.model import Yard

SHOWN = 8
"""Tasks on the first page; the others stand on the page of all tasks."""


@dataclass(frozen=True)
class TaskLine:
    """One task as shown: what, for which trees, and why, when, whether it is urgent, and the page of its part."""

    what: str
    lines: tuple[str, ...]
    why: str
    when: str
    urgent: bool
    url: str


@dataclass(frozen=True)
class PartLine:
    """One part as shown.

    Attributes
    ----------
    key, title, url : str
    verdict : str
        In a sentence; what is wrong, where it could not be worked out.
    failed : bool
    notices : tuple of str
    tasks : str
        How many things it asks for; empty for none.
    """

    key: str
    title: str
    url: str
    verdict: str
    failed: bool
    notices: tuple[str, ...]
    tasks: str


@dataclass(frozen=True)
class SeasonPage:
    """All that the page shows; `more` tells of tasks that are left out."""

    tasks: tuple[TaskLine, ...]
    more: str
    parts: tuple[PartLine, ...]


def season_page(parts: Sequence[Part], household: Household, now: datetime, yard: Yard) -> SeasonPage:
    """Work out the page.

    Parameters
    ----------
    parts : sequence of Part
    household : Household
        Of who reads.
    now : datetime, aware
    yard : Yard

    Returns
    -------
    SeasonPage
    """
    today = now.astimezone(household.zone).date()
    tasks = task_groups(season_tasks(one.told for one in parts if one.told is not None))
    more = len(tasks) - SHOWN
    return SeasonPage(
        tasks=tuple(_task(one, today) for one in tasks[:SHOWN]),
        more=say_count("{count} more thing to do", "{count} more things to do", more) if more > 0 else "",
        parts=tuple(_part(one) for one in parts),
    )


def _task(group: TaskGroup, today: date) -> TaskLine:
    when = when_words(group.first, today)
    if group.minutes >= 1.0:
        when = f"{when} · {minutes(group.minutes)}"
    reasons = {one.why for one in group.tasks}
    why = group.first.why if len(reasons) == 1 else ""  # that of one tree would be read as that of all
    return TaskLine(group.what, group.lines, why, when, group.urgent, f"/season/{group.first.part}")


def _part(one: Part) -> PartLine:
    url = f"/season/{one.key}"
    if one.told is None:
        return PartLine(one.key, one.title, url, one.wrong, True, (), "")
    count = len(one.told.tasks)
    return PartLine(
        key=one.key,
        title=one.title,
        url=url,
        verdict=one.told.verdict,
        failed=False,
        notices=one.told.notices,
        tasks=say_count("{count} thing to do", "{count} things to do", count) if count else "",
    )
