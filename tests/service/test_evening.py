"""From a yard and a forecast to the plan: the main job, on the demo yard in its real cold spell."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from fruitwall.errors import PlanError, WeatherError
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.evening import plan_evening
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.house import House
from fruitwall.service.in_use import in_use
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Gear, Yard
from tests.yard.yards import a_yard

SOME = ("soursop", "wax-jambu", "carambola", "mango-grafted", "lychee-mauritius", "pot-mango", "pot-lemon", "peach")


def some_of_the_demo(**changes: object) -> Yard:
    """Give the demo yard with eight of its trees: enough to meet every limit, quick to compute."""
    yard = demo_yard()
    trees = [tree for tree in yard.trees if tree.id in SOME]
    return yard.model_copy(update={"trees": trees, **changes})


@pytest.fixture(scope="module")
def plan() -> EveningPlan:
    return plan_evening(some_of_the_demo(), demo_forcing(), now=demo_now(), members=16, nights=3)


def test_every_tree_gets_exactly_one_line(plan: EveningPlan) -> None:
    assert sorted(tree.id for tree in plan.trees) == sorted(SOME)


def test_the_plan_is_no_worse_than_doing_nothing(plan: EveningPlan) -> None:
    assert plan.expected_loss["plan"] < plan.expected_loss["nothing"]


def test_the_tree_in_most_danger_comes_first_among_those_left_alone(plan: EveningPlan) -> None:
    left = [tree.chance_of_harm["nothing"] for tree in plan.trees if tree.measure == "leave"]

    assert left == sorted(left, reverse=True)


def test_chances_sum_to_one_and_agree_with_harm_and_death(plan: EveningPlan) -> None:
    for tree in plan.trees:
        for key, chances in (("nothing", tree.injury.nothing), ("chosen", tree.injury.chosen)):
            assert sum(chances) == pytest.approx(1.0, abs=1e-9)
            assert tree.chance_of_harm[key] == pytest.approx(sum(chances[2:]), abs=1e-9)
            assert tree.chance_of_death[key] == pytest.approx(chances[7], abs=1e-9)


def test_a_tree_that_is_left_has_the_same_outlook_with_and_without_the_plan(plan: EveningPlan) -> None:
    left = [tree for tree in plan.trees if tree.measure == "leave"]

    assert left
    for tree in left:
        assert tree.injury.nothing == tree.injury.chosen
        assert tree.tissue_min_c["nothing"] == tree.tissue_min_c["chosen"]


def test_no_limit_is_overdrawn(plan: EveningPlan) -> None:
    for limit in plan.limits:
        assert limit.used <= limit.available + 1e-6, limit.key


def test_everything_that_is_used_belongs_to_the_yard(plan: EveningPlan) -> None:
    yard = some_of_the_demo()
    gear = yard.gear
    known = {
        thing.id for things in (gear.covers, gear.lamps, gear.heaters, gear.leads, gear.trolleys) for thing in things
    }
    known |= {circuit.id for circuit in yard.circuits}
    known |= {f"place:{place.id}" for place in yard.indoor_places}
    known |= {f"roof:{structure.id}" for structure in yard.structures if structure.kind == "roof"}

    for tree in plan.trees:
        assert set(tree.gear) <= known, tree.id


def test_tasks_are_numbered_in_order_and_by_deadline(plan: EveningPlan) -> None:
    assert [task.order for task in plan.tasks] == list(range(1, len(plan.tasks) + 1))
    deadlines = [task.deadline for task in plan.tasks]
    assert deadlines == sorted(deadlines)
    assert {tree for task in plan.tasks for tree in task.trees} == {t.id for t in plan.trees if t.measure != "leave"}


def test_lamps_are_hung_before_the_cover_goes_over_them(plan: EveningPlan) -> None:
    lit = [tree.id for tree in plan.trees if "+lamps" in tree.measure and tree.measure.startswith("cover")]

    assert lit
    for tree in lit:
        whats = [task.what for task in plan.tasks if task.trees == [tree]]
        assert [what.split()[0] for what in whats] == ["Hang", "Cover"]


def test_the_film_house_is_told_the_hour_by_which_it_must_be_open(plan: EveningPlan) -> None:
    (task,) = [task for task in plan.morning if task.what == "Open Hoop frame"]
    (step,) = task.steps
    found = re.match(r"Open by (\d\d:\d\d) at the latest: in full sun its leaves could pass 86.°F", step)
    assert found
    assert "08:00" < found[1] < "12:00"
    assert plan.sunrise <= task.deadline <= plan.sunrise + timedelta(hours=1.5)


def test_moved_pots_go_back_on_a_mild_morning_and_are_told_from_when(plan: EveningPlan) -> None:
    moved = {tree.id for tree in plan.trees if tree.measure.startswith(("carry:", "roof:", "wall:"))}
    back = [task for task in plan.morning if task.when == "when_mild"]

    assert moved
    assert {tree for task in back for tree in task.trees} == moved
    assert [task.order for task in plan.morning] == list(range(1, len(plan.morning) + 1))
    for task in back:
        assert task.what.startswith("Bring ")
        assert " back from " in task.what
        assert task.not_before is not None
        assert plan.sunrise <= task.not_before < task.deadline
        assert re.search(r"above \d+.°F", task.steps[-1])
        assert task.minutes > 0


def test_what_to_take_along_is_named_for_every_cover_and_lamp(plan: EveningPlan) -> None:
    yard = some_of_the_demo()
    known = {thing.id for things in (yard.gear.covers, yard.gear.lamps, yard.gear.heaters) for thing in things}

    for task in plan.tasks:
        if task.what.startswith(("Cover", "Hang")):
            assert known & set(task.gear), task.what


def test_every_measure_with_power_shows_the_electrical_caution(plan: EveningPlan) -> None:
    powered = plan.kwh > 0

    assert any("GFCI" in text for text in plan.cautions) == powered
    assert any("local electrical" in text for text in plan.cautions)


def test_the_strip_covers_the_night_from_sunset_to_after_sunrise(plan: EveningPlan) -> None:
    for tree in plan.trees:
        times = [hour.time for hour in tree.hours]
        assert times[0] <= plan.sunset
        assert times[-1] >= plan.sunrise
        assert all(b - a == timedelta(hours=1) for a, b in itertools.pairwise(times))


def test_the_strip_agrees_with_the_coldest_hour(plan: EveningPlan) -> None:
    # The strip shows full hours, the plan's minimum is the coldest running mean of one hour: within the change of
    # temperature in half an hour (2 K at the steepest) they are the same.
    for tree in plan.trees:
        lowest = min(hour.tissue_if_nothing_c.p50 for hour in tree.hours)
        assert lowest == pytest.approx(tree.tissue_min_c["nothing"].p50, abs=2.0)


def test_a_yard_without_gear_or_helpers_is_told_that_nothing_can_be_done() -> None:
    bare = some_of_the_demo(gear=Gear(), people=[], shelters=[], circuits=[], indoor_places=[])

    plan = plan_evening(bare, demo_forcing(), now=demo_now(), members=8, nights=1)

    assert not plan.needs_action
    assert plan.at_risk
    assert plan.tasks == []
    assert "nothing at hand" in plan.verdict


def test_the_plan_survives_a_round_trip_through_json(plan: EveningPlan) -> None:
    assert EveningPlan.model_validate_json(plan.model_dump_json()) == plan


def test_threads_do_not_change_the_plan() -> None:
    yard = some_of_the_demo()
    one, two = (
        plan_evening(yard, demo_forcing(), now=demo_now(), members=8, nights=1, threads=threads).model_dump(
            exclude={"solver": {"seconds"}}
        )
        for threads in (1, 2)
    )

    assert one == two


def test_a_night_that_is_over_is_refused() -> None:
    with pytest.raises(PlanError, match="over"):
        plan_evening(some_of_the_demo(), demo_forcing(), now=demo_now(), night=date(2026, 12, 10))


def test_a_refusal_is_said_in_the_language_of_whoever_asked() -> None:
    with speaking("es"):
        with pytest.raises(PlanError) as caught:
            plan_evening(some_of_the_demo(), demo_forcing(), now=demo_now(), night=date(2026, 12, 10))
        assert str(caught.value) == "la noche del 2026-12-10 ya pasó; la próxima es la del 2026-12-23"
        with pytest.raises(WeatherError, match="antes de que acabe la noche"):
            plan_evening(some_of_the_demo(), demo_forcing(), now=demo_now(), night=date(2027, 2, 1))


def test_a_night_beyond_the_forecast_is_refused() -> None:
    with pytest.raises(WeatherError, match="ends"):
        plan_evening(some_of_the_demo(), demo_forcing(), now=demo_now(), night=date(2027, 2, 1))


def test_the_same_nights_twelve_degrees_warmer_need_nothing() -> None:
    cold = demo_forcing()
    warm = replace(cold, t_air_c=cold.t_air_c + 12.0, t_dew_c=cold.t_dew_c + 12.0)

    plan = plan_evening(a_yard(), warm, now=demo_now(), members=8, nights=1)

    assert not plan.needs_action
    assert plan.at_risk == []
    assert "Nothing needs doing" in plan.verdict


def test_what_a_plan_takes_is_known_of_all_gear_and_of_everybody(plan: EveningPlan, tmp_path: Path) -> None:
    yard = some_of_the_demo()
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard(write_yard(yard), name=yard.name, now=demo_now(), author="test")
        house = House(journal, None, demo_now, PhotoFolder(tmp_path))
        journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=demo_now())
        found = in_use(house)

    # Shade cloth and paint are for summer: an evening takes none.
    winter = yard.gear.model_copy(update={"shades": [], "paints": []})
    gear = [one for things in dict(winter).values() for one in things]
    things = {one.id for one in [*gear, *yard.people, *yard.circuits, *yard.indoor_places, *yard.shelters]}
    assert things <= set(found.taken)
    assert any(one.used for one in found.taken.values())
