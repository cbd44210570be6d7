"""The part of the page of heat that plans the hot days ahead, worked out before its template."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.service.household import minutes, short_day
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.season_part import SeasonTask
    from fruitwall.service.summer_plan import Summer, SummerRow


@dataclass(frozen=True)
class TaskLine:
    """One thing to do.

    Attributes
    ----------
    what, when, time : str
    why, otherwise : str
    steps, cautions : tuple of str
    """

    what: str
    when: str
    time: str
    why: str
    otherwise: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class TreeLine:
    """One tree and what it gets."""

    name: str
    url: str
    measure: str
    reason: str
    instead: str


@dataclass(frozen=True)
class SummerSection:
    """The section.

    Attributes
    ----------
    verdict : str
    tasks : tuple of TaskLine
        Soonest first.
    helped : tuple of TreeLine
        Trees for which something is done or stands already.
    left : tuple of TreeLine
        Trees in danger that are left.
    at_risk, more, cautions, notices : tuple of str
    """

    verdict: str
    tasks: tuple[TaskLine, ...]
    helped: tuple[TreeLine, ...]
    left: tuple[TreeLine, ...]
    at_risk: tuple[str, ...]
    more: tuple[str, ...]
    cautions: tuple[str, ...]
    notices: tuple[str, ...]


def summer_section(summer: Summer, household: Household) -> SummerSection:
    """Work out the section.

    Parameters
    ----------
    summer : Summer
        In the language of who reads.
    household : Household

    Returns
    -------
    SummerSection
    """
    left = {tree.id for tree in summer.document.trees if tree.measure == "leave"}
    return SummerSection(
        verdict=summer.verdict,
        tasks=tuple(_task(task) for task in summer.tasks),
        helped=tuple(_tree(row) for row in summer.rows if row.tree not in left),
        left=tuple(_tree(row) for row in summer.rows if row.tree in left),
        at_risk=summer.at_risk,
        more=summer.more,
        cautions=summer.cautions,
        notices=summer.notices,
    )


def _task(task: SeasonTask) -> TaskLine:
    when = say("in the early morning of {day}" if task.deed == "watered" else "by {day}", day=short_day(task.due))
    return TaskLine(task.what, when, minutes(task.minutes), task.why, task.otherwise, task.steps, task.cautions)


def _tree(row: SummerRow) -> TreeLine:
    from fruitwall.web.season.heat.page import heat_url

    instead = say("Next best: {measure}.", measure=row.instead) if row.instead else ""
    return TreeLine(row.name, heat_url(row.tree), row.measure, row.reason, instead)
