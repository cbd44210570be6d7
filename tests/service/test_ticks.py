"""Ticks are deeds: done once by whoever was first, taken back for an hour, known to every plan after them."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest

from fruitwall.errors import JournalError, PlanError
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.journal.store import Journal
from fruitwall.service import desk
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.earlier import done_so_far, earlier_plans
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.ledger import Deed, Signed, body_of, entry_of
from fruitwall.service.ticks import (
    ask_again,
    changed_since,
    done_by_now,
    keyed,
    leave_standing,
    no_longer_asked,
    task_of,
    tell_done,
    tick,
    tick_key,
    ticks_of,
    untick,
)
from fruitwall.service.yards import load_yard
from fruitwall.weather.demo import demo_forcing
from fruitwall.yard.file import write_yard
from tests.web.sample import NOW, sample_plan, sample_yard

ODALIS = Signed("Odalis", "phone", NOW)
WENDELL = Signed("Wendell", "tablet", NOW + timedelta(minutes=5))


def keyed_plan(**changes: object) -> EveningPlan:
    """Build the sample evening with keys, as the planner gives them."""
    plan = sample_plan()
    tasks = [task.model_copy(update={"key": f"do@{task.trees[0]}/{task.order}"}) for task in plan.tasks]
    return plan.model_copy(update={"tasks": tasks} | changes)


PLAN = keyed_plan()
FIRST, SECOND = PLAN.tasks[0].key, PLAN.tasks[1].key


@pytest.fixture
def journal(database: str) -> Iterator[Journal]:
    with open_journal(database) as opened:
        yard = sample_yard()
        opened.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")
        yield opened


@pytest.fixture
def ledger(journal: Journal) -> Ledger:
    return Ledger(journal, None)


def deeds(ledger: Ledger) -> list[str]:
    found = [body_of(entry) for entry in ledger.current(kind="deed")]
    return [one.what for one in found if isinstance(one, Deed)]


def test_a_tick_is_a_deed_with_who_when_and_what_it_took(ledger: Ledger) -> None:
    plan = keyed_plan()
    plan.tasks[0] = plan.tasks[0].model_copy(update={"people": ["odalis"], "sheet": "fleece", "circuit": "patio"})
    tick(ledger, plan, FIRST, signed=ODALIS)

    (entry,) = ledger.current(kind="deed")
    deed = body_of(entry)
    assert isinstance(deed, Deed)
    assert (entry.author, entry.at, entry.tree) == ("Odalis", NOW, "sapodilla")
    assert (deed.what, deed.night, deed.minutes) == (FIRST, PLAN.night, 8)
    assert deed.words == "Water the ground at the sapodilla"
    assert (deed.people, deed.sheet, deed.circuit) == (["odalis"], "fleece", "patio")


def test_sent_twice_it_is_one_deed_and_stays_back_when_it_was_taken_back(ledger: Ledger) -> None:
    number = str(uuid.uuid4())
    tick(ledger, PLAN, FIRST, signed=ODALIS, number=number)
    tick(ledger, PLAN, FIRST, signed=WENDELL, number=number)
    assert deeds(ledger) == [FIRST]

    untick(ledger, PLAN.night, FIRST, signed=WENDELL)
    tick(ledger, PLAN, FIRST, signed=WENDELL, number=number)
    assert deeds(ledger) == []
    tick(ledger, PLAN, FIRST, signed=WENDELL)
    assert deeds(ledger) == [FIRST]


def test_ticked_by_two_out_of_reach_of_each_other_it_is_done_by_the_first_and_taken_back_at_once(
    ledger: Ledger,
) -> None:
    for signed in (WENDELL, ODALIS):  # whose telephone is in reach first is not who did it first
        deed = Deed(what=FIRST, words="water", night=PLAN.night)
        ledger.add([entry_of("deed", deed, tree="sapodilla", at=signed.now, signed=signed)])

    done = ticks_of(ledger, PLAN.night).done
    assert (done[FIRST].by, done[FIRST].at) == ("Odalis", NOW)
    assert untick(ledger, PLAN.night, FIRST, signed=WENDELL)
    assert ticks_of(ledger, PLAN.night).done == {}
    assert ticks_of(ledger, PLAN.night).taken_back == {FIRST}
    assert not untick(ledger, PLAN.night, FIRST, signed=WENDELL)


def test_after_an_hour_it_stays(ledger: Ledger) -> None:
    tick(ledger, PLAN, FIRST, signed=ODALIS)
    late = Signed("Odalis", "phone", NOW + timedelta(minutes=61))

    with pytest.raises(JournalError, match="more than an hour"):
        untick(ledger, PLAN.night, FIRST, signed=late)
    assert deeds(ledger) == [FIRST]


def test_a_task_that_is_not_on_the_list_is_refused(ledger: Ledger) -> None:
    with pytest.raises(JournalError, match="made anew"):
        tick(ledger, PLAN, "do@nothing", signed=ODALIS)


def test_other_nights_and_other_deeds_are_left_alone(ledger: Ledger) -> None:
    other = PLAN.model_copy(update={"night": PLAN.night - timedelta(days=1)})
    tick(ledger, other, FIRST, signed=ODALIS)
    watered = Deed(what="watered", words="watered")
    ledger.add([entry_of("deed", watered, tree="papaya", at=NOW, signed=ODALIS)])

    assert ticks_of(ledger, PLAN.night).done == {}
    assert set(ticks_of(ledger, other.night).done) == {FIRST}


def test_the_plan_counts_what_it_does_not_know_yet_and_the_morning_plans_nothing(ledger: Ledger) -> None:
    tick(ledger, PLAN, FIRST, signed=ODALIS)
    tick(ledger, PLAN, tick_key(PLAN, PLAN.morning[0]), signed=ODALIS)
    ticks = ticks_of(ledger, PLAN.night)

    assert len(ticks.done) == 2
    assert [task.key for task in done_by_now(PLAN, ticks)] == [FIRST]
    assert changed_since(PLAN, ticks) == 1
    assert changed_since(PLAN.model_copy(update={"done": list(done_by_now(PLAN, ticks))}), ticks) == 0


def test_a_task_has_one_key_whatever_the_language_in_which_the_plan_is_read(ledger: Ledger) -> None:
    plan = keyed(keyed_plan())
    spanish = [task.model_copy(update={"what": f"en español: {task.what}"}) for task in plan.morning]
    read = plan.model_copy(update={"morning": spanish})

    keys = [tick_key(read, task) for task in (*read.tasks, *read.morning)]

    assert read.morning
    assert keys == [tick_key(keyed_plan(), task) for task in (*keyed_plan().tasks, *keyed_plan().morning)]
    assert len(set(keys)) == len(keys)
    # What the page sends must be found in the plan as it was made.
    assert all(task_of(keyed_plan(), key) for key in keys)


def test_the_terminal_hears_what_was_ticked_and_writes_what_it_is_told(journal: Journal, ledger: Ledger) -> None:
    version = load_yard(journal, None)[1]
    journal.store_plan(PLAN.night, PLAN.model_dump_json(), version=version, made=PLAN.made)
    tick(ledger, PLAN, FIRST, signed=ODALIS)
    before = earlier_plans(journal, version.yard, PLAN.night)
    done = done_so_far(["2"], before, NOW)
    assert [task.key for task in done] == [FIRST, SECOND]

    made = keyed_plan(done=list(done))
    terminal = Signed("terminal", "terminal", NOW)
    tell_done(ledger, made, before.tonight, signed=terminal)
    assert sorted(deeds(ledger)) == sorted([FIRST, SECOND])
    tell_done(ledger, made, made, signed=terminal)
    assert len(deeds(ledger)) == 2

    forgotten = keyed_plan(done=[])
    tell_done(ledger, forgotten, made, signed=terminal, forget=True)
    assert deeds(ledger) == []
    assert done_so_far([], earlier_plans(journal, version.yard, PLAN.night), NOW) == ()


def test_what_was_ticked_last_night_still_stands_tonight(journal: Journal, ledger: Ledger) -> None:
    version = load_yard(journal, None)[1]
    journal.store_plan(PLAN.night, PLAN.model_dump_json(), version=version, made=PLAN.made)
    tick(ledger, PLAN, FIRST, signed=ODALIS)

    tomorrow = earlier_plans(journal, version.yard, PLAN.night + timedelta(days=1))
    assert [part.key for part in tomorrow.standing] == [FIRST]


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """What was done in each plan that was made."""
    made: list[list[str]] = []

    def plan_evening(*_: object, **given: Any) -> EveningPlan:
        made.append([task.key for task in given["done"]])
        left = [task for task in PLAN.tasks if task.key not in made[-1]]
        return keyed_plan(done=list(given["done"]), tasks=left)

    monkeypatch.setattr(desk, "plan_evening", plan_evening)
    return made


def test_the_page_plans_again_when_it_is_asked_to_and_not_before(
    journal: Journal, ledger: Ledger, planned: list[list[str]]
) -> None:
    its = EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: NOW)
    first = its.plan_for(PLAN.night)
    tick(ledger, first, FIRST, signed=ODALIS)
    assert its.plan_for(PLAN.night) is first
    assert planned == [[]]

    ask_again(ledger, first, signed=ODALIS)
    second = its.plan_for(PLAN.night)
    assert planned == [[], [FIRST]]
    assert FIRST not in {task.key for task in second.tasks}

    tick(ledger, second, SECOND, signed=WENDELL)
    assert its.plan_for(PLAN.night) is second


def test_taken_back_and_planned_again_every_page_shows_the_same_plan(
    journal: Journal, ledger: Ledger, planned: list[list[str]]
) -> None:
    its = EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: NOW)
    first = its.plan_for(PLAN.night)
    tick(ledger, first, FIRST, signed=ODALIS)
    ask_again(ledger, first, signed=ODALIS)
    second = its.plan_for(PLAN.night)

    untick(ledger, PLAN.night, FIRST, signed=ODALIS)
    assert its.plan_for(PLAN.night) is second
    ask_again(ledger, second, signed=ODALIS)
    third = its.plan_for(PLAN.night)
    stored = earlier_plans(journal, load_yard(journal, None)[1].yard, PLAN.night).tonight

    assert third.done == []
    assert stored is not None
    assert stored.done == []
    tick(ledger, third, SECOND, signed=ODALIS)
    assert its.plan_for(PLAN.night) is third


def test_what_the_newer_plan_lacks_is_told_and_counts_only_once_somebody_leaves_it(ledger: Ledger) -> None:
    tick(ledger, PLAN, FIRST, signed=ODALIS)
    newer = PLAN.model_copy(update={"tasks": PLAN.tasks[1:]})

    ticks = ticks_of(ledger, PLAN.night)
    assert [one.key for one in no_longer_asked(newer, ticks)] == [FIRST]
    assert no_longer_asked(PLAN, ticks) == []
    assert done_by_now(newer, ticks) == ()

    leave_standing(ledger, PLAN.night, FIRST, signed=WENDELL)
    ticks = ticks_of(ledger, PLAN.night)
    (done,) = done_by_now(newer, ticks)
    assert (done.key, done.at, done.minutes) == (FIRST, NOW, 8)
    assert changed_since(newer, ticks) == 1
    assert ticks_of(ledger, PLAN.night + timedelta(days=1)).left == {}

    untick(ledger, PLAN.night, FIRST, signed=WENDELL, within=None)
    assert ticks_of(ledger, PLAN.night).left == {}
    assert done_by_now(newer, ticks_of(ledger, PLAN.night)) == ()


def test_a_morning_that_is_laid_out_anew_is_told_and_never_planned_with(ledger: Ledger) -> None:
    key = tick_key(PLAN, PLAN.morning[0])
    tick(ledger, PLAN, key, signed=ODALIS)
    leave_standing(ledger, PLAN.night, key, signed=ODALIS)
    newer = PLAN.model_copy(update={"morning": []})

    ticks = ticks_of(ledger, PLAN.night)
    assert [one.key for one in no_longer_asked(newer, ticks)] == [key]
    assert done_by_now(newer, ticks) == ()


def test_what_is_left_although_the_yard_has_it_no_more_does_not_stop_the_plan(
    journal: Journal, ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    def plan_evening(*_: object, **given: Any) -> EveningPlan:
        if any(task.key == FIRST for task in given["done"]):
            raise PlanError("not among what could be done")
        return PLAN.model_copy(update={"tasks": PLAN.tasks[1:], "done": list(given["done"])})

    monkeypatch.setattr(desk, "plan_evening", plan_evening)
    its = EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: NOW)
    shown = its.plan_for(PLAN.night)
    tick(ledger, PLAN, FIRST, signed=ODALIS)
    leave_standing(ledger, PLAN.night, FIRST, signed=ODALIS)
    ask_again(ledger, shown, signed=ODALIS)
    plan = its.plan_for(PLAN.night)
    assert plan.done == []
    ticks = ticks_of(ledger, PLAN.night)
    assert changed_since(plan, ticks) == 1  # the sample was made before it was left ...
    assert changed_since(plan.model_copy(update={"made": NOW + timedelta(minutes=1)}), ticks) == 0  # ... and this after

    untick(ledger, PLAN.night, FIRST, signed=ODALIS)
    monkeypatch.setattr(desk, "plan_evening", lambda *_, **__: (_ for _ in ()).throw(PlanError("no")))
    with pytest.raises(PlanError):
        EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: NOW).plan_for(PLAN.night)
