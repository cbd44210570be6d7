"""Ticks of the checklist: each is a deed in the ledger, with who and when, and can be taken back for an hour.

A tick belongs to a night and to the key of a task. Two telephones may tick the same task at once, one of them out of
reach: the ledger keeps both deeds, and the task is done once, by whoever was first.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from fruitwall.errors import JournalError
from fruitwall.journal.ledger import EntryConflict
from fruitwall.service.evening_document import DoneTask, EveningPlan, Task
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import UNDO_FOR, Deed, Signed, entry_of, says, take_back
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.journal.ledger import Ledger

AFTER = ("morning", "when_mild")
"""Occasions that come after the night: what is done then is told, but plans nothing anew."""

LOOKED_AT = timedelta(days=2), timedelta(days=30)
"""How long before and after its evening a night's ticks may have happened: carrying back can wait for mild days."""

FIRST_NIGHT, LAST_NIGHT = date(1900, 1, 1), date(9000, 1, 1)
"""Nights outside have no ticks: an address may name any date, and not every one has days before and after it."""

PLANNED_WITH = "evening.planned_with"
"""Setting of the yard: with which ticks somebody asked to plan again."""

LEFT = "evening.left_standing"
"""Setting of the yard: a night, and of it by key since when somebody leaves what the plan does not ask for as it is."""


@dataclass(frozen=True)
class Tick:
    """One task that is done.

    Attributes
    ----------
    key : str
        Of the task, as `tick_key` gives it.
    deed : Deed
    entries : tuple of LedgerEntry
        All that say so, the first one first.
    """

    key: str
    deed: Deed
    entries: tuple[LedgerEntry, ...]

    @property
    def by(self) -> str:
        """Who ticked it."""
        return self.entries[0].author

    @property
    def at(self) -> datetime:
        """When it was done."""
        return self.entries[0].at

    def undo_until(self) -> datetime:
        """Give until when it can be taken back."""
        return min(entry.received for entry in self.entries) + UNDO_FOR


@dataclass(frozen=True)
class Ticks:
    """What the ledger says of a night.

    Attributes
    ----------
    done : Mapping of key to Tick
    taken_back : frozenset of str
        Keys that were ticked and are not any more.
    left : Mapping of key to datetime
        When somebody said that what was done stays, although the newest plan did not ask for it.
    """

    done: Mapping[str, Tick]
    taken_back: frozenset[str]
    left: Mapping[str, datetime] = field(default_factory=dict)


NO_TICKS = Ticks({}, frozenset())


def tick_key(plan: EveningPlan, task: Task) -> str:
    """Give the key under which a task is ticked; the same task of the same night keeps it when the plan is made anew.

    Parameters
    ----------
    plan : EveningPlan
    task : Task

    Returns
    -------
    str
        The key of the task, where what it says is planned with; else one made of its occasion and words.
    """
    return tick_mark(
        plan.yard,
        str(plan.night),
        key=task.key,
        when=task.when,
        what=task.what,
        trees=[str(tree) for tree in task.trees],
    )


def tick_mark(yard: str, night: str, *, key: str, when: str, what: str, trees: Sequence[str]) -> str:
    """Give what `tick_key` gives, of the bare fields of plan and task as a document holds them.

    Parameters
    ----------
    yard, night : str
        Of the plan.
    key, when, what : str
        Of the task.
    trees : sequence of str
        Of the task.

    Returns
    -------
    str
    """
    if key and (when not in AFTER or key.startswith(f"{when}:")):
        return key
    mark = sha256("\n".join((yard, night, when, what, *trees)).encode())
    return f"{when}:{mark.hexdigest()[:12]}"


def keyed(plan: EveningPlan) -> EveningPlan:
    """Write the `tick_key` of every task into the task, so that it stays the same when the plan is said anew.

    Parameters
    ----------
    plan : EveningPlan
        As it was made: in another language the words, and a key that is made of them, are others.

    Returns
    -------
    EveningPlan
        A copy.
    """

    def written(tasks: list[Task]) -> list[Task]:
        return [task.model_copy(update={"key": tick_key(plan, task)}) for task in tasks]

    return plan.model_copy(update={"tasks": written(plan.tasks), "morning": written(plan.morning)})


def task_of(plan: EveningPlan, key: str) -> Task | None:
    """Find a task of the checklist, of the evening or after it, by its `tick_key`."""
    return next((task for task in (*plan.tasks, *plan.morning) if tick_key(plan, task) == key), None)


def ticks_of(ledger: Ledger, night: date) -> Ticks:
    """Read what is ticked of a night.

    Parameters
    ----------
    ledger : Ledger
    night : date
        Date of the evening.

    Returns
    -------
    Ticks
    """
    if not FIRST_NIGHT <= night <= LAST_NIGHT:
        return NO_TICKS
    key = (ledger.yard, night, ledger.journal.state())
    return _TICKS.of(ledger.journal, key=key, make=lambda: _ticks_of(ledger, night))


_TICKS: Kept[Ticks] = Kept(16)
"""Ticks as they were read last: every telephone asks for them twice a minute."""


def _ticks_of(ledger: Ledger, night: date) -> Ticks:
    middle = datetime.combine(night, time(12), UTC)
    since, until = middle - LOOKED_AT[0], middle + LOOKED_AT[1]
    found: dict[str, list[LedgerEntry]] = {}
    for entry in ledger.current(kind="deed", since=since, until=until):
        deed = _deed(entry)
        if deed is not None and deed.night == night:
            found.setdefault(deed.what, []).append(entry)
    done = {}
    for key, entries in found.items():
        deed = _deed(entries[0])
        if deed is not None:
            done[key] = Tick(key, deed, tuple(entries))
    back = {
        deed.what
        for entry in ledger.taken_back(kind="deed", since=since, until=until)
        if (deed := _deed(entry)) is not None and deed.night == night
    }
    left = {key: at for key, at in _left(ledger, night).items() if key in done} if done else {}
    return Ticks(done, frozenset(back - set(done)), left)


def _left(ledger: Ledger, night: date) -> dict[str, datetime]:
    match ledger.setting(LEFT):
        case [told, {**left}] if told == str(night):
            return {str(key): datetime.fromisoformat(str(at)) for key, at in left.items()}
    return {}


def leave_standing(ledger: Ledger, night: date, key: str, *, signed: Signed) -> None:
    """Say that what was ticked stays, although the newest plan does not ask for it: the next plan counts with it.

    Parameters
    ----------
    ledger : Ledger
    night : date
    key : str
        Of the tick.
    signed : Signed
        Who says so.
    """
    kept = {one: at.isoformat() for one, at in (_left(ledger, night) | {key: signed.now}).items()}
    ledger.set(LEFT, [str(night), kept], author=signed.author, now=signed.now)


def no_longer_asked(plan: EveningPlan, ticks: Ticks) -> list[Tick]:
    """Give what was ticked and the newest plan neither asks for nor knows to be done, oldest first.

    Parameters
    ----------
    plan : EveningPlan
        The newest of the night.
    ticks : Ticks
        Of the same night.

    Returns
    -------
    list of Tick
        It came from a checklist of before, such as on a telephone out of reach.
    """
    asked = {tick_key(plan, task) for task in (*plan.tasks, *plan.morning)} | {task.key for task in plan.done}
    return sorted((one for key, one in ticks.done.items() if key not in asked), key=lambda one: (one.at, one.key))


def of_the_evening(key: str) -> bool:
    """Tell whether a key names a part of the evening, such as ``wet@papaya`` or ``close:hoops``, and no other deed."""
    return ("@" in key or ":" in key) and key.partition(":")[0] not in AFTER


def _deed(entry: LedgerEntry) -> Deed | None:
    """Read a deed; None for one of a version of the program that is not read here."""
    body = says(entry)
    return body if isinstance(body, Deed) else None


def done_task(task: Task, *, at: datetime) -> DoneTask:
    """Write a task down as done; told after its deadline, it counts from the deadline."""
    return DoneTask(
        key=task.key,
        what=task.what,
        at=min(at, task.deadline),
        people=task.people,
        minutes=task.minutes,
        sheet=task.sheet,
        circuit=task.circuit,
        lead=task.lead,
    )


def done_by_now(plan: EveningPlan, ticks: Ticks) -> tuple[DoneTask, ...]:
    """Give what is done: what the plan knew when it was made, without what was taken back, and what was ticked since.

    Parameters
    ----------
    plan : EveningPlan
        The newest of the night.
    ticks : Ticks
        Of the same night.

    Returns
    -------
    tuple of DoneTask
        What the plan does not ask for counts once somebody said that it stays (`leave_standing`). Deeds of the
        morning are passed over.
    """
    found = {task.key: task for task in plan.done if task.key not in ticks.taken_back}
    for task in plan.tasks:
        tick = ticks.done.get(task.key) if task.key and task.when not in AFTER else None
        if tick is not None:
            found.setdefault(task.key, done_task(task, at=tick.at))
    for tick in no_longer_asked(plan, ticks):
        if tick.key in ticks.left and of_the_evening(tick.key):
            found.setdefault(tick.key, _done_deed(tick))
    return tuple(found.values())


def _done_deed(tick: Tick) -> DoneTask:
    """Write down as done what no task of the plan tells of."""
    deed = tick.deed
    return DoneTask(
        key=tick.key,
        what=deed.words,
        at=tick.at,
        people=deed.people,
        minutes=deed.minutes or 0.0,
        sheet=deed.sheet,
        circuit=deed.circuit,
        lead=deed.lead,
    )


def changed_since(plan: EveningPlan, ticks: Ticks) -> int:
    """Count what was ticked or taken back since a plan was made and would change it."""
    done = {task.key for task in done_by_now(plan, ticks) if not in_vain(plan, ticks, task.key)}
    return len({task.key for task in plan.done} ^ done)


def in_vain(plan: EveningPlan, ticks: Ticks, key: str) -> bool:
    """Tell whether a plan that was to count with something left as it is could not: the yard has no such part now."""
    return key in ticks.left and ticks.left[key] < plan.made and all(task.key != key for task in plan.done)


def tick(
    ledger: Ledger, plan: EveningPlan, key: str, *, signed: Signed, number: str | None = None, shown: Deed | None = None
) -> Tick:
    """Tick a task: store a deed, unless it is done already.

    Parameters
    ----------
    ledger : Ledger
    plan : EveningPlan
        Whose checklist it is on.
    key : str
        As `tick_key` gives it.
    signed : Signed
        Who did it.
    number : str, optional
        Id for the deed, made by the device or the form: sent twice, it is one deed.
    shown : Deed, optional
        What the page said that was pressed on: done is done, although the checklist was made anew meanwhile.

    Returns
    -------
    Tick

    Raises
    ------
    JournalError
        If the checklist holds no such task, and no page showed one.
    """
    already = ticks_of(ledger, plan.night).done.get(key)
    if already is not None:
        return already
    task = task_of(plan, key)
    if task is not None:
        deed, trees = deed_of(plan, task), task.trees
    elif shown is not None and (shown.what, shown.night) == (key, plan.night):
        deed, trees = shown, shown.trees or _tree_in(plan, key)
    else:
        raise JournalError(say("The checklist was made anew, and this is no longer on it. Look at it again."))
    entry = entry_of("deed", deed, tree=_one(trees), at=signed.now, signed=signed, number=number)
    known = ledger.entry(entry.id)
    if known is None:
        try:
            ledger.add([entry])
        except EntryConflict:  # pressed twice: the other press was stored between our look and now
            known = ledger.entry(entry.id)
    # A form sent again after its tick was taken back is still the old tick, and stays taken back.
    return Tick(key, deed, (known or entry,))


def deed_of(plan: EveningPlan, task: Task) -> Deed:
    """Write what ticking a task says."""
    return _deed_of(tick_key(plan, task), task, plan.night, task.trees)


def _deed_of(key: str, task: Task | DoneTask, night: date, trees: Sequence[str]) -> Deed:
    """Write what a task that is done says, no longer than the ledger takes it."""
    return Deed(
        what=key,
        words=task.what[:200],
        night=night,
        people=task.people[:20],
        minutes=min(task.minutes, 1440.0),
        sheet=task.sheet,
        circuit=task.circuit,
        lead=task.lead,
        trees=list(trees) if len(trees) > 1 else [],
    )


def untick(ledger: Ledger, night: date, key: str, *, signed: Signed, within: timedelta | None = UNDO_FOR) -> bool:
    """Take a tick back, every deed that says it.

    Parameters
    ----------
    ledger : Ledger
    night : date
    key : str
        As `tick_key` gives it.
    signed : Signed
    within : timedelta or None
        How long after it came; None for ever.

    Returns
    -------
    bool
        False if it was not ticked.

    Raises
    ------
    JournalError
        If it is too late.
    """
    found = ticks_of(ledger, night).done.get(key)
    if found is None:
        return False
    # The oldest first: it says whether it is too late.
    for entry in sorted(found.entries, key=lambda one: one.received):
        take_back(ledger, entry.id, signed=signed, within=within)
    return True


def ask_again(ledger: Ledger, plan: EveningPlan, *, signed: Signed) -> None:
    """Ask that the evening be planned again with what is done by now."""
    done = done_by_now(plan, ticks_of(ledger, plan.night))
    ledger.set(PLANNED_WITH, _told(plan.night, done), author=signed.author, now=signed.now)


def asked_again(ledger: Ledger, night: date, done: Sequence[DoneTask]) -> bool:
    """Tell whether somebody asked to plan with exactly what is done by now."""
    asked = _ASKED.of(
        ledger.journal, key=(ledger.yard, ledger.journal.state()), make=lambda: ledger.setting(PLANNED_WITH)
    )
    return asked == _told(night, done)


_ASKED: Kept[object] = Kept(8)


def _told(night: date, done: Sequence[DoneTask]) -> list[str]:
    return [str(night), *sorted(task.key for task in done)]


def tell_done(
    ledger: Ledger, plan: EveningPlan, before: EveningPlan | None, *, signed: Signed, forget: bool = False
) -> None:
    """Write down as deeds what a plan was told to be done, so that every page shows it.

    Parameters
    ----------
    ledger : Ledger
    plan : EveningPlan
        As it was made.
    before : EveningPlan or None
        The plan before it: what it knew was told elsewhere.
    signed : Signed
        Who told it.
    forget : bool
        Whether what was ticked and is not told any more is taken back.
    """
    ticked = ticks_of(ledger, plan.night).done
    told = {task.key: task for task in plan.done}
    evening = {task.key for task in (before.tasks if before is not None else []) if task.when not in AFTER}
    known = evening | {task.key for task in (before.done if before is not None else [])}
    if forget:
        for key in ticked:
            if key not in told and key in known:
                untick(ledger, plan.night, key, signed=signed, within=None)
    trees = {task.key: task.trees for task in (before.tasks if before is not None else [])}
    told_before = {task.key for task in before.done} if before is not None and not forget else set()
    new = []
    for key, task in told.items():
        if key in ticked or key in told_before:
            continue
        theirs = trees.get(key) or _tree_in(plan, key)
        deed = _deed_of(key, task, plan.night, theirs)
        new.append(entry_of("deed", deed, tree=_one(theirs), at=signed.now, signed=signed, number=str(uuid.uuid4())))
    ledger.add(new)


def _tree_in(plan: EveningPlan, key: str) -> list[str]:
    """Give the tree that a key ends in, if it ends in one."""
    return [tree.id for tree in plan.trees if tree.id == key.rpartition("@")[2]]


def _one(trees: Sequence[str]) -> str | None:
    """Give the tree of what is done for one tree alone."""
    return trees[0] if len(trees) == 1 else None
