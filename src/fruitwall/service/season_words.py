"""Sentences of the season that terminal, pages and report share."""

from __future__ import annotations

from datetime import date

from fruitwall.service.household import short_day
from fruitwall.service.season_part import SeasonTask
from fruitwall.speech import say


def when_words(task: SeasonTask, today: date) -> str:
    """Say when something is to be done.

    Parameters
    ----------
    task : SeasonTask
    today : date
        By the yard's calendar.

    Returns
    -------
    str
        Such as "today", "by 3 January", "overdue since 1 January".
    """
    if task.due < today:
        return say("overdue since {day}", day=short_day(task.due))
    if task.due == today:
        return say("today")
    if task.not_before is not None and today < task.not_before < task.due:
        return say("{first} to {last}", first=short_day(task.not_before), last=short_day(task.due))
    return say("by {day}", day=short_day(task.due))
