"""The plan for a hot spell of August in a small yard: what it asks for, of whom, until when, and in which words."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.plans.summer import check_summer, risk_of
from fruitwall.service import spot_hours as hours_module
from fruitwall.service import summer_decide as module
from fruitwall.service.heat_words import heat_part
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Sighting, Signed, entry_of
from fruitwall.service.summer_decide import MORE_ID, decide, decide_spell, spell_of, with_minutes
from fruitwall.service.summer_document import SummerPlan
from fruitwall.service.summer_plan import summer_of, summer_plan
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_forcing, demo_now, demo_summer_forcing, demo_summer_now
from fruitwall.yard.model import Display
from tests.plans.yards import brute_force
from tests.service.past import keep, warmer

ZONE = ZoneInfo("America/Los_Angeles")
METRIC = Household(Display(), ZONE)
FEET = Household(Display(temperature="F", length="ft", mass="lb", volume="gal", currency="USD"), ZONE)

YARD = """\
fruitwall: 1
name: Hot yard
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [24, 0], [24, 20], [0, 20]]
gear_store: [10, 2]
structures:
  - {kind: canopy, id: oak, name: Oak, position: [5, 13], crown_diameter: 9, height: 9, base: 2.5}
trees:
  - {id: cherimoya, name: Cherimoya, taxon: cherimoya, position: [8, 4], height: 2, crown_diameter: 1.4,
     crown_base: 0.8, age: 1, worth: 150, fruit_worth: 60, stages: [leafy, fruit]}
  - {id: banana, name: Banana, taxon: banana, position: [14, 4], height: 2.4, crown_diameter: 1.6, crown_base: 0.8,
     age: 1, worth: 120, root_zone: dry}
  - {id: pot, name: Lime in a pot, taxon: lime, position: [20, 4], height: 1.3, crown_diameter: 0.7, crown_base: 0.6,
     age: 4, worth: 400, container: {volume: 20, mass: 8, handles: yes}}
gear:
  shades: [{id: net, name: Net, shade: 50 %, width: 5.2, length: 5.2}]
people:
  - {id: ana, name: Ana, minutes_before_dusk: 40}
  - {id: ben, name: Ben, minutes_before_dusk: 20, lifts: no, pushes_trolley: no}
"""


def hot_spell():
    """Give the demo's hot spell two kelvin hotter, up to 43 °C: then each of three trees is worth a measure."""
    return warmer(demo_summer_forcing(), 2.0)


def house_in(journal, folder, *, text=YARD, forcing=None, now=None) -> House:
    moment = now or demo_summer_now()
    journal.store_yard(text, name="Hot yard", now=datetime(2026, 3, 1, tzinfo=UTC), author="test")
    if forcing is not None:
        keep(journal, forcing)
    return House(journal, None, lambda: moment, PhotoFolder(folder))


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hot")
    with open_journal(folder / "a.db") as journal:
        yield house_in(journal, folder, forcing=hot_spell())


@pytest.fixture(scope="module")
def decided(house):
    return decide(house)


@pytest.fixture
def journal(tmp_path):
    with open_journal(tmp_path / "b.db") as opened:
        yield opened


def chosen(decided) -> dict[str, str]:
    return {tree.id: tree.measure for tree in summer_of(decided, METRIC).document.trees}


# ---------------------------------------------------------------- what is decided


def test_the_plan_is_as_good_as_trying_everything(decided):
    assert decided.state == "hot"
    assert {case.tree.id for case in decided.cases} == {"cherimoya", "banana", "pot"}
    assert math.prod(len(case.measures) for case in decided.cases) >= 64
    assert check_summer(decided.yard, decided.problem, decided.solution) == []
    assert decided.solution.costs.total == pytest.approx(brute_force(decided.problem), abs=2e-3)


def test_one_net_and_one_who_lifts_are_all_there_is(decided):
    document = summer_of(decided, METRIC).document
    nets = [task for task in document.tasks if task.cloth is not None]
    assert [task.cloth for task in nets] == ["net"]
    assert all("ben" not in task.people for task in document.tasks if task.kind == "into_shade")
    assert chosen(decided)["pot"].startswith("into_shade:")
    assert chosen(decided)["banana"].endswith("water")  # its roots are dry, and water is cheap
    minutes = {one.id: 0.0 for one in decided.yard.people}
    for task in document.tasks:
        for person in task.people:
            minutes[person] += task.minutes
    assert all(minutes[one.id] <= one.minutes_before_dusk + 1e-6 for one in decided.yard.people)


def test_the_cloth_that_is_not_there_is_never_hung_but_what_it_would_buy_is_told(decided):
    document = summer_of(decided, METRIC).document
    assert MORE_ID not in {task.cloth for task in document.tasks}
    assert MORE_ID not in {limit.key.partition("/")[2] for limit in document.limits}
    more = {one.key: one for one in document.one_more}
    other = more[f"sheet/{MORE_ID}"]
    assert other.saves > 0.5
    assert set(other.trees) == {"banana"}
    assert any("Shade cloth of 50 %" in line for line in summer_of(decided, METRIC).more)


def test_without_anybody_nothing_is_asked_and_the_trees_are_told(journal, tmp_path):
    text = YARD[: YARD.index("people:")]
    plan = summer_plan(house_in(journal, tmp_path, text=text, forcing=hot_spell()), METRIC)
    assert plan.document.state == "hot"
    assert plan.tasks == ()
    assert {tree.measure for tree in plan.document.trees} == {"leave"}
    assert {tree.left_because for tree in plan.document.trees} == {"impossible"}
    assert "Nothing that would help is worth its work." in plan.verdict
    assert plan.document.loss.chosen == pytest.approx(plan.document.loss.nothing)


def test_what_was_done_is_not_asked_again(house, journal, tmp_path, decided):
    own = house_in(journal, tmp_path, forcing=hot_spell())
    shaded = next(tree for tree, measure in chosen(decided).items() if measure.startswith("shade:"))
    now = own.clock()
    signed = Signed(author="owner", device="test", now=now)
    for tree, what in ((shaded, "shaded"), ("pot", "moved")):
        body = Deed(what=what, words="Done")
        assert own.ledger.add([entry_of("deed", body, tree=tree, at=now - timedelta(hours=1), signed=signed)]) == [True]
    plan = summer_plan(own, METRIC)
    assert {task.kind for task in plan.document.tasks} == {"water"}
    assert any(key.startswith("shade:50") for key in plan.document.standing)
    tree = next(one for one in plan.document.trees if one.id == shaded)
    assert tree.measure.startswith("shade:50")


def test_soil_that_was_found_dry_lets_water_be_thought_of(journal, tmp_path, decided):
    cherimoya = next(case for case in decided.cases if case.tree.id == "cherimoya")
    assert not any("water" in one.key for one in cherimoya.measures)
    own = house_in(journal, tmp_path, forcing=hot_spell())
    signed = Signed(author="owner", device="test", now=own.clock())
    look = Sighting(signs=["soil_dry"])
    own.ledger.add([entry_of("sighting", look, tree="cherimoya", at=own.clock() - timedelta(hours=2), signed=signed)])
    dry = next(case for case in decide(own).cases if case.tree.id == "cherimoya")
    assert any(one.key == "water" for one in dry.measures)
    assert dry.risks[0].loss > cherimoya.risks[0].loss


# ---------------------------------------------------------------- when


def test_in_winter_it_says_so_without_working_anything_out(journal, tmp_path, monkeypatch):
    def never(*_):
        raise AssertionError("hours were worked out")

    monkeypatch.setattr(hours_module, "coming_hours", never)
    own = house_in(journal, tmp_path, forcing=warmer(demo_forcing(), -6.0), now=demo_now())
    plan = summer_plan(own, METRIC)
    assert plan.document.state == "cool"
    assert plan.verdict == "No hot day is in the forecast: nothing has to be done against heat."
    assert plan.tasks == ()


def test_without_a_forecast_it_says_so(journal, tmp_path):
    plan = summer_plan(house_in(journal, tmp_path), METRIC)
    assert plan.document.state == "no_forecast"
    assert plan.verdict == "Without a forecast no plan against heat can be made."


def test_warm_days_that_hurt_nothing_ask_for_nothing(journal, tmp_path):
    text = YARD.replace("stages: [leafy, fruit]", "stages: [leafy]").replace("root_zone: dry", "root_zone: moist")
    own = house_in(journal, tmp_path, text=text, forcing=warmer(demo_summer_forcing(), -10.0))
    plan = summer_plan(own, METRIC)
    assert plan.document.state == "safe"
    assert plan.document.hottest_air_c > 28.0
    assert "no tree here is likely to be hurt" in plan.verdict


def test_crowns_that_stay_cool_under_a_warm_station_are_no_trouble(house, decided):
    hours = hours_module.coming_hours(house, house.clock() + timedelta(days=6))
    cool = {tree: replace(its, done=replace(its.done, air_c=its.done.air_c - 25.0)) for tree, its in hours.items()}
    found = decide_spell(house.yard()[0], cool, {}, decided.spell)
    assert found.state == "safe"


def test_work_is_due_on_the_evening_before_the_first_day_that_hurts_and_water_on_the_morning(decided):
    plan = summer_of(decided, METRIC)
    trees = {tree.id: tree for tree in plan.document.trees}
    assert plan.document.tasks
    for task in plan.document.tasks:
        first = trees[task.tree].first_day
        assert task.due == (first if task.kind == "water" else first - timedelta(days=1))
    today = demo_summer_now().astimezone(ZONE).date()
    assert plan.document.days[0] == today + timedelta(days=1)  # at half past two it is too late for today
    assert [task.due for task in plan.tasks] == sorted(task.due for task in plan.tasks)


def test_days_are_whole_ones_of_the_forecast_and_today_only_in_the_morning(house):
    hours = next(iter(hours_module.coming_hours(house, house.clock() + timedelta(days=4)).values()))
    afternoon = demo_summer_now().astimezone(ZONE)
    late = spell_of(hours, afternoon, 2)
    early = spell_of(hours, afternoon.replace(hour=8), 2)
    assert late.days == (date(2026, 8, 23), date(2026, 8, 24))
    assert early.days[0] == date(2026, 8, 22)
    assert [its.size for its in late.hours_of_day] == [24, 24]
    assert spell_of(replace(hours, n_forecast=0), afternoon, 2) is None
    top = late.hottest(np.where(np.arange(hours.time_utc.size) == late.hours_of_day[1][3], 50.0, 20.0)[None, :])
    assert top.tolist() == [[20.0, 50.0]]


def test_everybody_gives_the_evenings_on_which_they_are_here(house):
    yard, _ = house.yard()
    some = yard.people[1].model_copy(update={"evenings": ["sat"]})
    yard = yard.model_copy(update={"people": [yard.people[0], some]})
    saturday = datetime(2026, 8, 22, 15, 0, tzinfo=ZONE)
    told = {one.id: one.minutes_before_dusk for one in with_minutes(yard, saturday, date(2026, 8, 25)).people}
    assert told == {"ana": 120.0, "ben": 20.0}  # Saturday, Sunday, Monday
    told = {
        one.id: one.minutes_before_dusk
        for one in with_minutes(yard, saturday.replace(hour=22), date(2026, 8, 23)).people
    }
    assert told == {"ana": 40.0, "ben": 0.0}  # the evening is over: early on the day itself


def test_days_outside_the_range_are_refused(house):
    for days in (0, 11):
        with pytest.raises(ValueError, match="days must be from 1 to 10"):
            decide(house, days)


# ---------------------------------------------------------------- words


def test_the_document_is_json_in_si(decided):
    document = summer_of(decided, FEET).document
    assert SummerPlan.model_validate_json(document.model_dump_json()) == document
    cherimoya = next(tree for tree in document.trees if tree.id == "cherimoya")
    assert 30.0 < cherimoya.hottest_c.chosen < cherimoya.hottest_c.nothing < 80.0
    assert cherimoya.loss.chosen < cherimoya.loss.nothing
    case = next(one for one in decided.cases if one.tree.id == "cherimoya")
    assert cherimoya.loss.nothing == pytest.approx(case.risks[0].loss)
    assert document.loss.nothing == pytest.approx(sum(tree.loss.nothing for tree in document.trees))


def test_tasks_say_who_how_and_what_to_heed(house):
    plan = summer_plan(house, FEET)
    tasks = {task.key: task for task in plan.tasks}
    move = tasks["heat:into_shade:pot"]
    assert move.what == "Bring Lime in a pot into the shade of Oak"
    assert move.deed == "moved"
    assert move.steps[0] == "Who: Ana."
    assert any("ft to the " in step for step in move.steps)
    assert any("lifting limit" in line for line in move.cautions)
    assert "°F" in move.why
    net = next(task for key, task in tasks.items() if key.startswith("heat:shade:"))
    assert net.what.startswith("Hang Net over ")
    assert any("like a sail" in line for line in net.cautions)
    assert any("hold it off with stakes" in line for line in net.cautions)  # it has no frame
    assert tasks["heat:water:banana"].deed == "watered"
    assert any("early morning" in line for line in plan.cautions)


def test_the_part_of_the_season_brings_tasks_risks_and_the_document(house):
    plan, part = summer_plan(house, FEET), heat_part(house, FEET)
    assert part.tasks == plan.tasks
    assert set(plan.more) <= set(part.notices)
    told = json.loads(part.document.model_dump_json())
    assert told["summer"]["state"] == "hot"
    assert SummerPlan.model_validate(told["summer"]) == plan.document
    assert {tree["tree"] for tree in told["trees"]} == {"cherimoya", "banana", "pot"}


def test_it_is_said_in_spanish(house):
    with speaking("es"):
        plan = summer_plan(house, METRIC)
    assert "el calor puede costarles a 3 árboles" in plan.verdict
    move = next(task for task in plan.tasks if task.deed == "moved")
    assert "la sombra de Oak" in move.what
    assert all("harm begins" not in row.reason for row in plan.rows)


def test_a_risk_is_of_the_hours_that_are_looked_at(decided, house):
    # The same numbers as from the parts: hot hours, hottest of each day, harm.
    from fruitwall.plants.heat import heat_harm
    from fruitwall.service.heat_around import arounds
    from fruitwall.service.heat_season import LONGEST_FORECAST, hot_hours

    hours = hours_module.coming_hours(house, house.clock() + LONGEST_FORECAST)
    case = next(one for one in decided.cases if one.tree.id == "cherimoya")
    felt = hot_hours(hours["cherimoya"], case.tree, around=arounds(house, hours)["cherimoya"])
    hottest = {name: decided.spell.hottest(getattr(felt, f"{name}_c")) for name in ("leaf", "fruit", "bark")}
    stands = decided.tolerances["cherimoya"]
    again = risk_of(case.tree, hottest, lambda tissue, values: heat_harm(values, stands, tissue))
    assert again.loss == pytest.approx(case.risks[0].loss, rel=1e-9)
    assert again.harm_by_day.max() >= module.WORTH_ASKING
