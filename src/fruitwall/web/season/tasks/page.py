"""What the page of all tasks shows, worked out before the template."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import quote

from fruitwall.service.household import author_words, minutes
from fruitwall.service.ledger import DEED_NAMES
from fruitwall.service.season import TITLES
from fruitwall.service.season_words import when_words
from fruitwall.speech import say, say_list

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.season_part import SeasonTask
    from fruitwall.service.season_tasks import DoneLately, Todo


@dataclass(frozen=True)
class TaskItem:
    """One task as shown.

    Attributes
    ----------
    what, why, when, otherwise : str
    urgent : bool
    steps, cautions : tuple of str
    part, url : str
        Title and page of what asks for it.
    deed, deed_words : str
        What is entered when it is ticked; empty where nothing is.
    trees : tuple of str
        Ids.
    minutes : str
        As the form sends it.
    number : str
        Id of the deed that its button makes.
    """

    what: str
    why: str
    when: str
    otherwise: str
    urgent: bool
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    part: str
    url: str
    deed: str
    deed_words: str
    trees: tuple[str, ...]
    minutes: str
    number: str


@dataclass(frozen=True)
class DoneItem:
    """A deed of the last hours."""

    what: str
    told: str
    entry: str
    undo: bool


@dataclass(frozen=True)
class TasksPage:
    """All that the page shows.

    Attributes
    ----------
    groups : tuple of (str, tuple of TaskItem)
        Heading and tasks, of groups that hold some.
    done : tuple of DoneItem
    anew : bool
        Whether the list is of before and is being worked out anew.
    wrong : tuple of str
        Parts that could not be worked out, each with why.
    may : bool
        Whether the reader may tick.
    error : str
        What went wrong with a tick.
    """

    groups: tuple[tuple[str, tuple[TaskItem, ...]], ...]
    done: tuple[DoneItem, ...]
    anew: bool
    wrong: tuple[str, ...]
    may: bool
    error: str = ""


def tasks_page(
    found: Todo,
    household: Household,
    today: date,
    names: Mapping[str, str],
    *,
    anew: bool = False,
    wrong: Sequence[str] = (),
    may: bool = False,
    error: str = "",
) -> TasksPage:
    """Work out the page.

    Parameters
    ----------
    found : Todo
    household : Household
        Of who reads.
    today : date
        By the yard's calendar.
    names : Mapping of tree to str
        Names by id.
    anew : bool
        Whether the list is of before.
    wrong : sequence of str
        Parts that could not be worked out.
    may : bool
        Whether the reader may tick.
    error : str
        What went wrong with a tick.

    Returns
    -------
    TasksPage
    """
    groups = (
        (say("Today"), found.today),
        (say("This week"), found.week),
        (say("Later"), found.later),
    )
    return TasksPage(
        groups=tuple((name, tuple(_item(one, today) for one in tasks)) for name, tasks in groups if tasks),
        done=tuple(_done(one, household, names) for one in found.done),
        anew=anew,
        wrong=tuple(wrong),
        may=may,
        error=error,
    )


def _item(task: SeasonTask, today: date) -> TaskItem:
    when = when_words(task, today)
    if task.minutes >= 1.0:
        when = f"{when} · {minutes(task.minutes)}"
    deed = task.deed if task.deed in DEED_NAMES else ""
    return TaskItem(
        what=task.what,
        why=task.why,
        when=when,
        otherwise=task.otherwise,
        urgent=task.urgent,
        steps=task.steps,
        cautions=task.cautions,
        part=say(TITLES[task.part]),
        url=f"/season/{task.part}",
        deed=deed or "",
        deed_words=say(DEED_NAMES[deed]) if deed else "",
        trees=task.trees,
        minutes=f"{task.minutes:.0f}" if task.minutes >= 1.0 else "",
        number=str(uuid.uuid4()),
    )


def _done(one: DoneLately, household: Household, names: Mapping[str, str]) -> DoneItem:
    trees = say_list([names.get(tree, tree) for tree in one.trees])
    what = say(DEED_NAMES[one.deed.what])
    told = say("{moment}, {who}", moment=household.moment(one.entry.at), who=author_words(one.entry.author))
    return DoneItem(f"{what}: {trees}" if trees else what, told, quote(one.entry.id), one.undo)
