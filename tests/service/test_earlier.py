"""Planning again with what is done, and the plan beside what else could be done, on some trees of the demo yard."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from fruitwall.errors import PlanError
from fruitwall.journal.opening import open_journal
from fruitwall.service.compare import chance_of_losing_one
from fruitwall.service.earlier import (
    Earlier,
    LastTime,
    done_so_far,
    earlier_plans,
    standing_so_far,
    still_standing,
)
from fruitwall.service.evening import plan_evening
from fruitwall.service.evening_document import EveningPlan
from fruitwall.weather.demo import demo_forcing, demo_now
from tests.service.test_evening import some_of_the_demo

LATE = demo_now() + timedelta(hours=7)
"""Ten in the evening."""


def plan_of(**more: object) -> EveningPlan:
    given = {"now": demo_now(), "members": 8, "nights": 2} | more
    return plan_evening(some_of_the_demo(), demo_forcing(), **given)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def afternoon() -> EveningPlan:
    return plan_of()


@pytest.fixture(scope="module")
def half_done(afternoon: EveningPlan) -> EveningPlan:
    """The list at ten in the evening, its first half ticked."""
    ticked = [str(task.order) for task in afternoon.tasks[: len(afternoon.tasks) // 2]]
    last = LastTime(afternoon.night - timedelta(days=1), {"pot-mango": "carry:hallway", "gone": "wet"})
    return plan_of(now=LATE, done=done_so_far(ticked, Earlier(afternoon), LATE), last=last)


def test_what_is_done_is_no_longer_on_the_list_and_its_trees_keep_it(
    afternoon: EveningPlan, half_done: EveningPlan
) -> None:
    done = {task.key for task in half_done.done}
    before = {tree.id: tree.measure for tree in afternoon.trees}
    open_ = {task.key for task in half_done.tasks}
    settled = [
        tree
        for tree in half_done.trees
        if (keys := {task.key for task in afternoon.tasks if tree.id in task.trees}) and keys <= done
    ]

    assert done
    assert not done & open_
    assert settled
    for tree in settled:
        assert tree.measure == before[tree.id]
    assert "more" in half_done.verdict or "all that is planned is done" in half_done.verdict


def test_at_ten_in_the_evening_no_ground_is_wetted_and_no_ladder_climbed(half_done: EveningPlan) -> None:
    assert not any(task.key.startswith("wet@") for task in half_done.tasks)
    assert not any("ladder" in step for task in half_done.tasks for step in task.steps)
    assert any("too late tonight" in note for note in half_done.solver.notes)


def test_a_cover_put_on_in_time_is_as_warm_at_ten_as_it_was_planned(
    afternoon: EveningPlan, half_done: EveningPlan
) -> None:
    done = {task.key for task in half_done.done}
    before = {tree.id: tree for tree in afternoon.trees}
    same = [
        tree
        for tree in half_done.trees
        if {task.key for task in afternoon.tasks if tree.id in task.trees} & done
        and tree.measure == before[tree.id].measure
    ]

    assert same
    for tree in same:
        assert tree.tissue_min_c["chosen"].p50 == pytest.approx(before[tree.id].tissue_min_c["chosen"].p50, abs=0.5)


def test_the_strip_of_hours_and_the_cold_know_since_when_a_cover_is_on(
    afternoon: EveningPlan, half_done: EveningPlan
) -> None:
    done = {task.key: task.at for task in half_done.done}
    before = {tree.id: tree for tree in afternoon.trees}
    covered = [
        tree
        for tree in half_done.trees
        if tree.measure.startswith("cover:")
        and tree.measure == before[tree.id].measure
        and {task.key for task in afternoon.tasks if tree.id in task.trees} <= set(done)
    ]

    assert covered
    for tree in covered:
        early = [
            (now, then)
            for now, then in zip(tree.hours, before[tree.id].hours, strict=True)
            if max(done.values()) + timedelta(hours=2) <= now.time <= LATE
        ]
        assert early
        for now, then in early:
            assert now.tissue_c.p50 == pytest.approx(then.tissue_c.p50, abs=0.2)
            assert now.tissue_c.p50 != now.tissue_if_nothing_c.p50
        assert tree.cold is not None
        assert tree.cold.end_c == pytest.approx(tree.tissue_min_c["chosen"].p50, abs=0.3)


def test_with_everything_done_nothing_is_asked_for(afternoon: EveningPlan) -> None:
    every = [task.key for task in afternoon.tasks]
    plan = plan_of(now=LATE, done=done_so_far(every, Earlier(afternoon), LATE))

    # Somebody may still have time to help a tree that was left; what is done is not asked for again.
    assert not {task.key for task in plan.tasks} & set(every)
    assert len(plan.done) == len(every)
    if not plan.tasks:
        assert not plan.needs_action
        assert "all that is planned is done" in plan.verdict


def test_what_was_told_before_is_remembered_and_can_be_forgotten(
    afternoon: EveningPlan, half_done: EveningPlan
) -> None:
    later = LATE + timedelta(hours=1)
    told = {task.key for task in half_done.done}

    assert {task.key for task in done_so_far([""], Earlier(half_done), later)} == told
    assert done_so_far(["none"], Earlier(half_done), later) == ()
    number = done_so_far([" 1 "], Earlier(half_done), later)
    assert {task.key for task in number} == told | ({half_done.tasks[0].key} if half_done.tasks else set())


def test_it_counts_from_its_deadline_or_from_when_it_was_told(afternoon: EveningPlan) -> None:
    early = demo_now() + timedelta(minutes=10)
    task = afternoon.tasks[0]

    assert done_so_far([task.key], Earlier(afternoon), early)[0].at == early
    assert done_so_far([task.key], Earlier(afternoon), LATE)[0].at == task.deadline


@pytest.mark.parametrize(
    ("word", "earlier", "said"),
    [("3", False, "there is none for this night"), ("99", True, "1 to "), ("0", True, "1 to ")],
)
def test_numbers_that_are_on_no_list_are_refused(word: str, earlier: bool, said: str, afternoon: EveningPlan) -> None:
    with pytest.raises(PlanError, match=said):
        done_so_far([word], Earlier(afternoon if earlier else None), LATE)


def test_what_nobody_could_have_done_is_refused_with_near_names() -> None:
    with pytest.raises(PlanError, match=r"not among what could be done.*carry:hallway@pot-mango"):
        plan_of(done=done_so_far(["carry:halway@pot-mango"], Earlier(), demo_now()))


def test_the_four_ways_stand_in_order(afternoon: EveningPlan, half_done: EveningPlan) -> None:
    assert [way.key for way in afternoon.compare] == ["nothing", "plan", "everything"]
    assert [way.key for way in half_done.compare] == ["nothing", "last", "plan", "everything"]
    last = half_done.compare[1]
    assert last.measures == {"pot-mango": "carry:hallway"}
    assert "22 Dec" in last.name


def test_more_done_loses_less(afternoon: EveningPlan) -> None:
    nothing, plan, everything = afternoon.compare

    assert nothing.expected_loss == pytest.approx(afternoon.expected_loss["nothing"])
    assert plan.expected_loss == pytest.approx(afternoon.expected_loss["plan"])
    assert (plan.minutes, plan.lifts, plan.kwh) == (afternoon.minutes, afternoon.lifts, afternoon.kwh)
    assert everything.expected_loss <= plan.expected_loss <= nothing.expected_loss
    assert everything.chance_of_losing_a_tree <= nothing.chance_of_losing_a_tree
    assert nothing.minutes == nothing.kwh == nothing.lifts == 0
    assert everything.minutes >= plan.minutes


def test_the_chance_of_losing_a_tree_keeps_members_together() -> None:
    # One cold member kills both trees or neither: half, not three quarters.
    cold = [np.array([1.0, 0.0]), np.array([1.0, 0.0])]
    assert chance_of_losing_one(cold) == pytest.approx(0.5)
    assert chance_of_losing_one([np.array([0.5]), np.array([0.5])]) == pytest.approx(0.75)
    assert chance_of_losing_one([]) == 0.0


def test_shunning_the_worst_is_told() -> None:
    shy = plan_of(worst_case=1.0)

    assert any("worst tenth" in note for note in shy.solver.notes)


# ---------------------------------------------------------------- what stands since an earlier night


@pytest.fixture(scope="module")
def night_after(afternoon: EveningPlan) -> EveningPlan:
    """The same weather once more, with all that was on the list of the night before still there."""
    ticked = done_so_far([task.key for task in afternoon.tasks], Earlier(afternoon), LATE)
    before = afternoon.model_copy(update={"done": list(ticked), "night": afternoon.night - timedelta(days=1)})
    return plan_of(standing=still_standing(None, before))


def test_what_stands_since_last_night_is_not_set_up_anew(afternoon: EveningPlan, night_after: EveningPlan) -> None:
    stays = {part.key for part in night_after.standing}
    used = {part.key for part in night_after.standing if part.used}
    again = {task.key: task for task in night_after.tasks if task.key in stays}
    earlier = {task.key: task for task in afternoon.tasks}

    assert used
    assert not any(key.startswith(("wet@", "close:")) for key in stays)  # these are done anew every evening
    assert night_after.minutes < afternoon.minutes
    assert night_after.lifts < afternoon.lifts or afternoon.lifts == 0
    for key, task in again.items():
        assert task.what.startswith(("Close again: ", "Switch on: "))
        assert task.minutes < earlier[key].minutes
        assert not task.gear  # nothing has to be fetched
    (told,) = [text for text in night_after.forecast.warnings if text.startswith("taken to stand")]
    assert all(part.what in told for part in night_after.standing if part.used)


def test_what_stood_and_was_used_stands_the_night_after_as_well(night_after: EveningPlan) -> None:
    spare = night_after.standing[0].model_copy(update={"used": False})
    kept = night_after.model_copy(update={"standing": [spare, *night_after.standing[1:]]})
    later = still_standing(None, kept)

    assert [part.key for part in later] == [part.key for part in night_after.standing[1:] if part.used]
    assert {part.since for part in later} == {night_after.night - timedelta(days=1)}
    picked = kept.model_copy(update={"standing": [spare.model_copy(update={"key": "pick@guava"})]})
    assert [part.key for part in still_standing(None, picked)] == ["pick@guava"]  # it cannot be hung up again


def test_tonights_plan_says_what_stands_and_none_forgets_it(night_after: EveningPlan) -> None:
    earlier = Earlier(night_after, None, still_standing(night_after, None))

    assert {part.key for part in standing_so_far([""], earlier)} == {part.key for part in night_after.standing}
    assert standing_so_far(["none"], earlier) == ()
    forgotten = night_after.model_copy(update={"standing": []})
    assert still_standing(forgotten, night_after) == ()


def test_only_the_night_just_before_says_what_stands(afternoon: EveningPlan, tmp_path: Path) -> None:
    task = afternoon.tasks[0]
    done = done_so_far([task.key], Earlier(afternoon), LATE)
    ticked = afternoon.model_copy(update={"done": list(done)})
    with open_journal(f"sqlite:///{tmp_path / 'journal.db'}") as journal:
        version = journal.store_yard("fruitwall: 1\n", name="yard", now=demo_now(), author="test")
        journal.store_plan(ticked.night, ticked.model_dump_json(), version=version, made=LATE)
        following = earlier_plans(journal, "yard", ticked.night + timedelta(days=1))
        later = earlier_plans(journal, "yard", ticked.night + timedelta(days=2))

    assert [part.key for part in following.standing] == [task.key]
    assert later.standing == ()
    assert later.last is not None  # still there to be compared with
