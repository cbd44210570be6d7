"""All that the season asks for, in one list; what is ticked there is a deed that can be taken back for an hour."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fruitwall.errors import JournalError
from fruitwall.service.ledger import DEED_NAMES, UNDO_FOR, Deed, Signed, entry_of, says, trees_of
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.house import House
    from fruitwall.service.season_part import SeasonTask

THIS_WEEK = timedelta(days=7)
"""So far ahead reaches "this week"."""

DONE_LATELY = timedelta(hours=20)
"""A deed entered so lately ticks a task that asks for it, until its part is worked out anew. Our judgement."""


@dataclass(frozen=True)
class DoneLately:
    """A deed of the last hours.

    Attributes
    ----------
    entry : LedgerEntry
    deed : Deed
    trees : tuple of str
        Ids.
    undo : bool
        Whether it can still be taken back with one touch.
    """

    entry: LedgerEntry
    deed: Deed
    trees: tuple[str, ...]
    undo: bool


@dataclass(frozen=True)
class Todo:
    """What is to be done, soonest first within each group.

    Attributes
    ----------
    today, week, later : tuple of SeasonTask
    done : tuple of DoneLately
        The newest first.
    """

    today: tuple[SeasonTask, ...]
    week: tuple[SeasonTask, ...]
    later: tuple[SeasonTask, ...]
    done: tuple[DoneLately, ...]


def todo(tasks: Iterable[SeasonTask], done: Sequence[DoneLately], today: date) -> Todo:
    """Part tasks by when they are due; those that a late deed ticks are left out.

    Parameters
    ----------
    tasks : iterable of SeasonTask
        Soonest first.
    done : sequence of DoneLately
    today : date
        By the yard's calendar.

    Returns
    -------
    Todo
        What cannot wait and may be begun counts to today.
    """
    groups: tuple[list[SeasonTask], list[SeasonTask], list[SeasonTask]] = ([], [], [])
    for task in tasks:
        if any(ticks(one, task) for one in done):
            continue
        begun = task.not_before is None or task.not_before <= today
        now = task.due <= today or (task.urgent and begun)
        groups[0 if now else 1 if task.due <= today + THIS_WEEK else 2].append(task)
    return Todo(tuple(groups[0]), tuple(groups[1]), tuple(groups[2]), tuple(done))


def ticks(one: DoneLately, task: SeasonTask) -> bool:
    """Tell whether a deed is what a task asks for, at all of its trees."""
    return task.deed is not None and one.deed.what == task.deed and set(task.trees) <= set(one.trees)


def done_lately(house: House) -> list[DoneLately]:
    """Give the deeds of trees that were entered in the last hours, the newest first."""
    now = house.clock()
    found = []
    for entry in house.ledger.current(kind="deed", since=now - DONE_LATELY):
        deed = says(entry)
        if isinstance(deed, Deed) and deed.night is None and deed.what in DEED_NAMES:
            undo = now - entry.received <= UNDO_FOR
            found.append(DoneLately(entry, deed, tuple(trees_of(entry, deed)), undo))
    return sorted(found, key=lambda one: one.entry.received, reverse=True)


def tick_season(
    house: House, deed: str, trees: Sequence[str], *, minutes: float | None, signed: Signed, number: str
) -> LedgerEntry:
    """Enter that a task is done; sent again by the same form it is entered once.

    Parameters
    ----------
    house : House
    deed : str
        One of `DEED_NAMES`.
    trees : sequence of str
        Ids; none for the whole yard.
    minutes : float or None
        Of work. [min]
    signed : Signed
    number : str
        Id that the form gave it.

    Returns
    -------
    LedgerEntry

    Raises
    ------
    JournalError
        If there is no such deed or tree.
    """
    if deed not in DEED_NAMES:
        raise JournalError(say("“{text}” is nothing that can be ticked.", text=deed))
    yard, _ = house.yard()
    unknown = sorted(set(trees) - {tree.id for tree in yard.trees})
    if unknown:
        raise JournalError(say("The yard has no tree “{text}”.", text=unknown[0]))
    known = house.ledger.entry(number)
    if known is not None:
        return known
    several = list(trees) if len(trees) > 1 else []
    body = Deed(what=deed, words=DEED_NAMES[deed], minutes=minutes or None, trees=several)
    entry = entry_of(
        "deed", body, tree=trees[0] if len(trees) == 1 else None, at=signed.now, signed=signed, number=number
    )
    house.ledger.add([entry])
    return entry
