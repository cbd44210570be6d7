"""What earlier plans of the journal say to tonight's: what is done already, and what was done last time."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from pydantic import ValidationError

from fruitwall.errors import PlanError
from fruitwall.journal.ledger import Ledger
from fruitwall.service.calendar import withdrawn_since
from fruitwall.service.evening_document import DoneTask, EveningPlan, StandingPart
from fruitwall.service.kept import Kept
from fruitwall.service.ticks import NO_TICKS, Ticks, done_by_now, done_task, ticks_of
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.entries import PlanMark
    from fruitwall.journal.store import Journal


@dataclass(frozen=True)
class LastTime:
    """What the newest plan of an earlier night chose.

    Attributes
    ----------
    night : date
        Which night.
    measures : Mapping of tree to measure key
        Trees that were left are left out.
    """

    night: date
    measures: Mapping[str, str]


@dataclass(frozen=True)
class Earlier:
    """Tonight's plan so far and that of the last night before.

    Attributes
    ----------
    tonight : EveningPlan or None
        The plan of this night that was made last.
    last : LastTime or None
    standing : tuple of StandingPart
        What should still stand: told to be done the night before, and used since.
    ticks : Ticks
        What the ledger says is done this night, and what of it was taken back.
    """

    tonight: EveningPlan | None = None
    last: LastTime | None = None
    standing: tuple[StandingPart, ...] = ()
    ticks: Ticks = NO_TICKS


def earlier_plans(journal: Journal, yard: str, night: date) -> Earlier:
    """Read what the journal knows of this night and of the last before it.

    Parameters
    ----------
    journal : Journal
    yard : str
        Name of the yard.
    night : date
        Date of the evening that is planned.

    Returns
    -------
    Earlier
        Plans in a format that is no longer read count as none.
    """
    return _EARLIER.of(journal, key=(yard, night, journal.state()), make=lambda: _earlier_plans(journal, yard, night))


_EARLIER: Kept[Earlier] = Kept(16)


def _earlier_plans(journal: Journal, yard: str, night: date) -> Earlier:
    latest, before = journal.plan_marks(night, yard=yard)
    plan = _plan(journal, latest)
    last_night = _plan(journal, before) if before is not None and before.night == night - timedelta(days=1) else None
    if plan is None and last_night is None:
        return Earlier(plan, _last(journal, before))
    ledger = Ledger(journal, yard)
    ticks = ticks_of(ledger, night)
    if last_night is not None:
        # What was ticked after the last plan of that night was made is done all the same.
        ticked = done_by_now(last_night, ticks_of(ledger, last_night.night))
        last_night = last_night.model_copy(update={"done": list(ticked)})
    return Earlier(plan, _last(journal, before), still_standing(plan, last_night), ticks)


def latest_plan(journal: Journal, yard: str, night: date) -> EveningPlan | None:
    """Give the plan of a night that was made last, whoever asked for it.

    Parameters
    ----------
    journal : Journal
    yard : str
        Name of the yard.
    night : date

    Returns
    -------
    EveningPlan or None
        None as well for a plan in a format that is no longer read.
    """
    key = (yard, night, journal.state())
    return _LATEST.of(journal, key=key, make=lambda: _plan(journal, journal.plan_marks(night, yard=yard)[0]))


_LATEST: Kept[EveningPlan | None] = Kept(16)


def still_standing(tonight: EveningPlan | None, last_night: EveningPlan | None) -> tuple[StandingPart, ...]:
    """Give what should still stand this evening, as far as it was told.

    Parameters
    ----------
    tonight : EveningPlan or None
        The plan of this night that was made last: what it took to stand holds.
    last_night : EveningPlan or None
        The last plan of the night just before. Of nights longer ago too much may have been changed since.

    Returns
    -------
    tuple of StandingPart
        What was told to be done last night, and what stood then already and was used; fruit once picked stays so.
        Whether a part is of a kind that stays by day is for the planner.
    """
    if tonight is not None:
        return tuple(part.model_copy(update={"used": True}) for part in tonight.standing)
    if last_night is None:
        return ()
    found = {part.key: part for part in last_night.standing if part.used or part.key.startswith("pick@")}
    for task in last_night.done:
        since = found[task.key].since if task.key in found else last_night.night
        found[task.key] = StandingPart(
            key=task.key, what=task.what, since=since, sheet=task.sheet, circuit=task.circuit, lead=task.lead
        )
    return tuple(found.values())


def standing_so_far(given: Sequence[str], earlier: Earlier) -> tuple[StandingPart, ...]:
    """Give what is taken to stand since an earlier night; nothing where ``none`` is told to be done.

    Parameters
    ----------
    given : sequence of str
        As in `done_so_far`.
    earlier : Earlier
        From `earlier_plans`.
    """
    return () if "none" in [word.strip() for word in given] else earlier.standing


def following(plan: EveningPlan, earlier: Earlier) -> EveningPlan:
    """Give a new plan with what it takes back of the one before it.

    Parameters
    ----------
    plan : EveningPlan
        Just made.
    earlier : Earlier
        What the journal held before it.
    """
    return plan.model_copy(update={"withdrawn": withdrawn_since(plan, earlier.tonight)})


def done_so_far(given: Sequence[str], earlier: Earlier, now: datetime) -> tuple[DoneTask, ...]:
    """Give what is done by now: what was told before, and what is told now.

    Parameters
    ----------
    given : sequence of str
        Numbers of tonight's checklist as it was last made, or keys of its tasks; blanks are passed over. ``none``
        forgets what was told before, and what stands since an earlier night (`standing_so_far`).
    earlier : Earlier
        From `earlier_plans`; without a plan of tonight only keys can be told.
    now : datetime, aware
        The present.

    Returns
    -------
    tuple of DoneTask
        Each once, what was told before first: by an earlier plan or by a tick in the ledger, and not taken back.

    Raises
    ------
    PlanError
        If a number is not on the checklist, or there is no checklist.
    """
    plan = earlier.tonight
    words = [word.strip() for word in given if word.strip()]
    # What was told "later" than now belongs to somebody who tries out hours.
    told = done_by_now(plan, earlier.ticks) if plan is not None else ()
    found = {task.key: task for task in told if task.at <= now}
    if "none" in words:
        found = {}
    for word in (word for word in words if word != "none"):
        task = _named(word, plan, now)
        found.setdefault(task.key, task)
    return tuple(found.values())


def _named(word: str, plan: EveningPlan | None, now: datetime) -> DoneTask:
    """Give the task that a number or key means."""
    tasks = plan.tasks if plan is not None else []
    for task in tasks:
        if task.key and word in (str(task.order), task.key):
            return done_task(task, at=now)
    if not word.isdigit():
        # Whether there is such a thing is told once tonight's measures are known.
        return DoneTask(key=word, what=word, at=now)
    if plan is None:
        raise PlanError(
            say(
                "--done {word}: numbers are those of a checklist kept in the journal, and there is none for this "
                "night; give the task's key, such as cover:fleece_medium@mango (see key in --json)",
                word=word,
            )
        )
    if not tasks:
        raise PlanError(say("--done {word}: the checklist made last for this night is empty", word=word))
    raise PlanError(
        say("--done {word}: the checklist made last for this night is 1 to {last}", word=word, last=len(tasks))
    )


def _plan(journal: Journal, mark: PlanMark | None) -> EveningPlan | None:
    return None if mark is None else _read(journal, mark)[0]


def _last(journal: Journal, mark: PlanMark | None) -> LastTime | None:
    return None if mark is None else _read(journal, mark)[1]


_READ: Kept[tuple[EveningPlan | None, LastTime | None]] = Kept(16)
"""Plans as they were read, by the digest of their documents: reading one takes a twentieth of a second, and every
telephone that looks whether something was ticked asks for it."""


def _read(journal: Journal, mark: PlanMark) -> tuple[EveningPlan | None, LastTime | None]:
    """Read a stored plan, and of it what it chose; None for what cannot be read any more."""

    def read() -> tuple[EveningPlan | None, LastTime | None]:
        document = journal.plan(mark.id).document
        try:
            plan = EveningPlan.model_validate_json(document)
        except ValidationError:
            plan = None
        return plan, _chosen(document, mark.night)

    return _READ.of(key=(mark.sha256, mark.night), make=read)


def _chosen(document: str, night: date) -> LastTime | None:
    """Read only what is needed, so that plans of earlier versions of the program can still be compared with."""
    try:
        trees = json.loads(document)["trees"]
        measures = {str(tree["id"]): str(tree["measure"]) for tree in trees if tree["measure"] != "leave"}
    except (ValueError, KeyError, TypeError):
        return None
    return LastTime(night, measures)
