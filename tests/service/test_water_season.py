"""The water of the season: balance against the ledger, waterings, readings, roofs, advice, the evening plan."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.entries import Reading
from fruitwall.journal.opening import open_journal
from fruitwall.service.beliefs import Beliefs, beliefs_of
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Sighting, Signed, take_back
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.service.water_advice import advise, frost_litres, root_word
from fruitwall.service.water_balance import Given, Moist, Story, demand_of, roots_of, story_of
from fruitwall.service.water_entry import read_amount
from fruitwall.service.water_hours import WaterHours
from fruitwall.service.water_season import (
    dry_before_freeze,
    root_words,
    season_start,
    soil_readings,
    water_document,
    water_part,
)
from fruitwall.service.water_words import tasks as water_tasks
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display, Yard
from tests.service.past import LATER, enter, house_with_past

TEXT = """
fruitwall: 1
name: Dry yard
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
water: {conductivity: 1.2}
structures:
  - {kind: roof, id: porch, name: Porch, outline: [[12, 12], [18, 12], [18, 18], [12, 18]], height: 3, material: tile}
  - {kind: roof, id: net, name: Net, outline: [[2, 12], [8, 12], [8, 18], [2, 18]], height: 3, material: shade_cloth}
trees:
  - {id: lemon, name: Lemon, taxon: lemon, position: [5, 5], height: 3 m, crown_diameter: 2 m,
     emitter: {flow: 8, count: 3}}
  - {id: porch-lemon, name: Porch lemon, taxon: lemon, position: [15, 15], height: 2 m, crown_diameter: 2 m}
  - {id: net-lemon, name: Net lemon, taxon: lemon, position: [5, 15], height: 2 m, crown_diameter: 2 m}
  - {id: edge-lemon, name: Edge lemon, taxon: lemon, position: [12, 15], height: 2 m, crown_diameter: 2 m}
  - {id: pot, name: Lime in a pot, taxon: lime, position: [9, 5], height: 1.2, crown_diameter: 0.8,
     container: {volume: 40}}
"""
YARD = parse_yard(TEXT)
START = np.datetime64("2026-07-01T08:00:00")  # 1 July, 01:00 by the yard's clock
ZONE = ZoneInfo("America/Los_Angeles")


def summer(days: int, *, rain_mm: dict[int, float] | None = None, members: int = 1) -> WaterHours:
    """Give hot days, all alike; rain falls in an hour of the day, by the day."""
    hours = np.arange(24 * days)
    time_utc = START + hours * np.timedelta64(3600, "s")
    clock = (hours + 1) % 24
    sun = np.clip(np.sin((clock - 6) / 12 * math.pi), 0.0, None)
    rain = np.zeros(hours.size)
    for day, amount in (rain_mm or {}).items():
        rain[24 * day + 20] = amount

    def each(values: object) -> np.ndarray:
        return np.broadcast_to(np.asarray(values, dtype=float), (members, hours.size)).copy()

    return WaterHours(
        time_utc=time_utc,
        t_air_c=each(20.0 + 14.0 * sun),
        t_dew_c=each(9.0),
        cloud=each(0.0),
        rain_mm=each(rain),
        open_sun_w_m2=each(950.0 * sun),
        sun_w_m2=each(900.0 * sun),
        wind_here_m_s=each(1.5),
    )


def moment(day: float) -> datetime:
    """Give a moment so many days after the first hour."""
    return datetime(2026, 7, 1, 8, tzinfo=UTC) + timedelta(days=day)


def story(tree: str, hours: WaterHours, givens: list[Given] = [], moist: list[Moist] = []) -> Story:  # noqa: B006
    """March one tree of the yard."""
    its = next(one for one in YARD.trees if one.id == tree)
    return story_of(roots_of(its, catalogue_of(YARD).find(its.taxon), YARD), hours, YARD, givens, moist)


def test_a_tree_in_a_pot_uses_water_by_its_leaves_and_not_by_an_orchards_ground():
    # A crown of leaf area index 3 beside the 2.88 of the reference grass: at its best, July for a lime by FAO-56 (day
    # 182 lies in stage mid of its row), it uses 3/2.88 of the reference; an orchard of limes less of all its ground.
    its = next(one for one in YARD.trees if one.id == "pot")
    roots = roots_of(its, catalogue_of(YARD).find(its.taxon), YARD)
    row = roots.row
    hours = summer(1)
    potted = demand_of(roots, hours, YARD).et_mm.sum()
    planted = demand_of(replace(roots, tree=its.model_copy(update={"container": None})), hours, YARD).et_mm.sum()
    assert potted / planted == pytest.approx(3.0 / 2.88 / max(row.kc_initial, row.kc_mid, row.kc_end))
    assert potted > 1.1 * planted


BEGUN = Given(moment(0.01), None, "begun")
"""A watering in the first hour: from then on the balance is believed."""


# ---------------------------------------------------------------- the balance


@pytest.mark.parametrize("tree", ["lemon", "porch-lemon", "edge-lemon", "pot"])
def test_the_whole_conserves_water_against_the_ledger(tree):
    givens = [BEGUN, Given(moment(8.3), 60.0, "a"), Given(moment(8.3), 5.0, "b"), Given(moment(14.5), None, "c")]
    its = story(tree, summer(20, rain_mm={4: 12.0, 12: 60.0}), givens)

    # What came is what was used, drained, was lost and is there more than at first; a crown may still be wet.
    came = its.rain_mm.sum() + its.given_mm.sum()
    start = 0.5 * its.roots.zone.ready_mm
    change = start - float(its.state.depletion_mm)
    gone = its.used_mm.sum() + its.drained_mm.sum() + its.lost_mm.sum()
    assert came == pytest.approx(gone + change, abs=1e-9)
    # And what the balance was given is what the ledger says, to the litre.
    litres = {one.entry: amount for one, amount in its.waterings}
    assert litres["a"] == 60.0
    assert litres["b"] == 5.0
    assert its.given_mm.sum() * its.roots.zone.area_m2 == pytest.approx(sum(litres.values()), abs=1e-9)


def test_a_watering_without_an_amount_fills_the_root_zone_and_no_more():
    its = story("lemon", summer(10), [BEGUN, Given(moment(9.0), None, "late")])
    at = 9 * 24
    assert its.depletion_mm[at - 1] > 20.0
    assert its.depletion_mm[at] == pytest.approx(0.0, abs=0.5)  # but for what was used within that hour
    assert its.drained_mm[at:].sum() == 0.0
    assert {one.entry: amount for one, amount in its.waterings}["late"] == pytest.approx(
        its.depletion_mm[at - 1] * its.roots.zone.area_m2
    )


def test_ground_that_was_wetted_before_cold_is_filled_above_only():
    its = story("lemon", summer(10), [BEGUN, Given(moment(9.0), None, "wet", top_only=True)])
    before = its.depletion_mm[9 * 24 - 1]
    assert its.given_mm[9 * 24] == pytest.approx(before * 0.3 / its.roots.depth_m)


def test_before_anything_was_entered_a_tree_is_taken_to_have_been_watered_in_time():
    its = story("lemon", summer(60))
    assert not its.known
    assert its.ks.min() > 0.98
    assert its.given_mm.sum() > 0.0
    assert its.waterings == ()
    begun = story("lemon", summer(60), [BEGUN])
    assert begun.known
    assert begun.ks[-1] < 0.5


def test_a_roof_keeps_the_rain_off_and_shade_cloth_does_not():
    rain = {5: 15.0}
    shares = {tree.id: roots_of(tree, catalogue_of(YARD).find(tree.taxon), YARD).roof_share for tree in YARD.trees}
    assert shares["porch-lemon"] == pytest.approx(1.0)
    assert shares["net-lemon"] == shares["lemon"] == 0.0
    assert shares["edge-lemon"] == pytest.approx(0.5, abs=0.01)
    wet, dry = story("porch-lemon", summer(8, rain_mm=rain), [BEGUN]), story("porch-lemon", summer(8), [BEGUN])
    assert np.array_equal(wet.depletion_mm, dry.depletion_mm)
    wet, dry = story("net-lemon", summer(8, rain_mm=rain), [BEGUN]), story("net-lemon", summer(8), [BEGUN])
    assert dry.depletion_mm[-1] - wet.depletion_mm[-1] == pytest.approx(15.0, abs=1.0)


def test_a_tree_planted_in_the_season_drinks_from_that_day():
    tree = YARD.trees[0]
    its = story_of(
        roots_of(tree, catalogue_of(YARD).find(tree.taxon), YARD), summer(20), YARD, [], [], since=date(2026, 7, 11)
    )
    assert np.isnan(its.depletion_mm[: 9 * 24]).all()
    assert np.isfinite(its.depletion_mm[-24:]).all()


def test_hours_that_are_not_known_stand_still_and_a_watering_within_them_counts():
    hours = summer(12)
    for name in ("t_air_c", "rain_mm"):
        getattr(hours, name)[:, 96:192] = np.nan
    dry = story("lemon", hours, [BEGUN])
    wet = story("lemon", hours, [BEGUN, Given(moment(5.0), 20.0, "a")])
    assert dry.known_share == pytest.approx(1 - 96 / 288)
    assert float(dry.state.depletion_mm) - float(wet.state.depletion_mm) == pytest.approx(
        20.0 / wet.roots.zone.area_m2, abs=1e-9
    )


# ---------------------------------------------------------------- readings


def test_a_reading_pulls_the_balance_by_the_doubts_of_both():
    hours = summer(12)
    plain = story("lemon", hours, [BEGUN])
    full = plain.roots.full_share
    before = float(plain.state.depletion_mm)
    # Loam of 25 % at field capacity (FAO-56 table 19, middle): read as dry as the balance has it, and drier.
    same = story("lemon", hours, [BEGUN], [Moist(moment(11.9), full - before / plain.roots.volume_mm)])
    assert full == pytest.approx(0.25)
    (told,) = same.corrections
    assert told.read_mm == pytest.approx(before, abs=1.5)
    drier = story("lemon", hours, [BEGUN], [Moist(moment(11.9), full - 0.10)])
    (told,) = drier.corrections
    sd, read_sd = plain.sd_mm, math.hypot(0.03, 0.03) * plain.roots.volume_mm
    gain = (told.after_mm - told.before_mm) / (told.read_mm - told.before_mm)
    assert told.read_mm == pytest.approx(0.10 * plain.roots.volume_mm)
    assert gain == pytest.approx(sd**2 / (sd**2 + read_sd**2), abs=0.01)
    assert drier.sd_mm < plain.sd_mm
    # The balance goes on from there: an update does not change what was before it.
    assert np.array_equal(drier.depletion_mm[: 11 * 24], plain.depletion_mm[: 11 * 24])


def test_a_balance_that_stood_still_for_days_is_in_doubt_and_a_reading_goes_before_it():
    hours = summer(20)
    blind = summer(20)
    for name in ("t_air_c", "rain_mm"):
        getattr(blind, name)[:, 24 * 5 : 24 * 17] = np.nan
    known, unknown = (story("lemon", one, [BEGUN]) for one in (hours, blind))
    assert unknown.sd_mm > known.sd_mm
    assert unknown.sd_mm == pytest.approx(unknown.roots.zone.capacity_mm / math.sqrt(12.0))
    read = Moist(moment(19.9), 0.13)
    (trusting,), (doubting,) = (story("lemon", one, [BEGUN], [read]).corrections for one in (hours, blind))
    gains = [(one.after_mm - one.before_mm) / (one.read_mm - one.before_mm) for one in (trusting, doubting)]
    assert gains[1] > gains[0]


def test_readings_never_leave_what_the_zone_can_hold():
    for share in (0.0, 0.9):
        its = story("pot", summer(5), [BEGUN], [Moist(moment(4.5), share)])
        (told,) = its.corrections
        assert 0.0 <= told.after_mm <= its.roots.zone.capacity_mm


# ---------------------------------------------------------------- advice


def test_it_is_due_when_it_begins_to_lack_and_an_amount_moves_that_day():
    past, ahead = summer(6), summer(40, members=3)
    ahead = replace(
        ahead, time_utc=past.time_utc[-1] + np.timedelta64(3600, "s") * np.arange(1, ahead.time_utc.size + 1)
    )
    today = date(2026, 7, 7)
    dry, _ = advise(story("lemon", past, [BEGUN]), ahead, YARD, today)
    wet, course = advise(story("lemon", past, [BEGUN, Given(moment(5.5), 60.0, "a")]), ahead, YARD, today)
    assert dry.due is not None
    assert wet.due is not None
    assert wet.due > dry.due > today
    assert dry.earliest == dry.due == dry.latest  # all courses are the same
    assert course is not None
    # What to give then fills the zone: what is missing by then, over the ground under the crown.
    zone = story("lemon", past, [BEGUN]).roots.zone
    assert dry.litres == pytest.approx(zone.ready_mm * zone.area_m2, rel=0.25)
    assert dry.half_days is not None
    assert dry.half_days > 3.0
    assert dry.later_ks is not None
    assert dry.later_ks < 1.0


def test_courses_that_rain_make_a_range_of_days():
    past, ahead = summer(6), summer(40, members=4)
    ahead = replace(
        ahead, time_utc=past.time_utc[-1] + np.timedelta64(3600, "s") * np.arange(1, ahead.time_utc.size + 1)
    )
    ahead.rain_mm[2:, 30:33] = 15.0
    advice, _ = advise(story("lemon", past, [BEGUN]), ahead, YARD, date(2026, 7, 7))
    assert advice.earliest is not None
    assert advice.latest is not None
    assert advice.earliest < advice.latest


def test_salt_that_builds_up_asks_for_more_water():
    # A pot watered for a summer with water of 1.2 dS/m, never so much that it drains.
    givens = [BEGUN, *(Given(moment(day + 0.4), None, f"d{day}") for day in range(1, 70))]
    its = story("pot", summer(70), givens)
    advice, _ = advise(its, None, YARD, date(2026, 9, 9))
    assert advice.leaching_share > 0.1
    assert advice.litres == pytest.approx(
        float(its.state.depletion_mm) * its.roots.zone.area_m2 / (1.0 - advice.leaching_share)
    )
    fresh, _ = advise(story("pot", summer(3), [BEGUN]), None, YARD, date(2026, 7, 4))
    assert fresh.leaching_share == 0.0


def test_dry_ground_wants_its_upper_soil_wetted_before_a_frost_and_moist_ground_nothing():
    dry, moist = story("lemon", summer(60), [BEGUN]), story("lemon", summer(1), [BEGUN])
    zone = dry.roots.zone
    expected = float(dry.state.depletion_mm) * min(1.0, 0.3 / dry.roots.depth_m) * zone.area_m2
    assert frost_litres(dry) == pytest.approx(expected)
    assert frost_litres(moist) == 0.0
    assert (root_word(dry), root_word(moist)) == ("dry", "moist")


@pytest.mark.parametrize(
    ("text", "display", "litres"),
    [
        ("18", Display(), 18.0),
        ("18", Display(volume="gal"), 68.137),  # US gallon of 3.785411784 L by definition
        ("2,5 L", Display(volume="gal"), 2.5),
        ("40 min", Display(), 16.0),  # three emitters of 8 L/h
        ("1 hora", Display(), 24.0),
        ("", Display(), None),
    ],
)
def test_amounts_are_read_in_the_units_of_who_enters_them(text, display, litres):
    assert read_amount(text, display, YARD.trees[0]) == (None if litres is None else pytest.approx(litres, abs=1e-3))


@pytest.mark.parametrize("text", ["much", "-3", "30000", "5 kg", "40 min"])
def test_an_amount_that_cannot_be_is_refused(text):
    with pytest.raises(ValueError, match=r"Give an amount|amount of water is|Minutes need"):
        read_amount(text, Display(), YARD.trees[1])


# ---------------------------------------------------------------- a household


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with open_journal(tmp_path / "j.db") as journal:
        yield house_with_past(journal, tmp_path / "photos")


def read(house: House) -> Household:
    return Household(house.yard()[0].display, ZONE)


def test_a_year_is_counted_from_january_but_never_less_than_two_months():
    assert season_start(datetime(2026, 12, 23, tzinfo=ZONE), ZONE) == datetime(2026, 1, 1, tzinfo=ZONE)
    assert season_start(datetime(2027, 1, 3, tzinfo=ZONE), ZONE) == datetime(2026, 1, 1, tzinfo=ZONE)


def test_a_watering_counts_and_taking_it_back_gives_the_earlier_balance(house):
    before = water_document(house)
    number = enter(house, Deed(what="watered", words="Watered", litres=10.0), "mango", LATER - timedelta(days=1))
    with_it = water_document(house)
    mango = next(one for one in with_it.trees if one.tree == "mango")
    assert {task.deed for task in water_part(house, read(house)).tasks} <= {"watered", "wetted"}
    assert [(one.entry, one.litres, one.written) for one in mango.waterings] == [(number, 10.0, True)]
    assert mango.believed_from is not None
    assert {one.tree for one in with_it.trees} == {"mango", "twin", "lime"}
    take_back(house.ledger, number, signed=Signed("Ana", "phone", house.clock()))
    again = water_document(house)
    assert again.model_dump(exclude={"made"}) == before.model_dump(exclude={"made"})


def test_what_somebody_enters_reaches_the_plan_and_what_the_grower_said_goes_before(house):
    assert root_words(house) == {}
    assert beliefs_of(house).roots == {}
    driest = [Reading("mango", "soil_moisture_m3_m3", LATER - timedelta(days=ago, hours=3), 0.0) for ago in range(8)]
    house.ledger.add_readings(driest, received=LATER)
    assert root_words(house) == {"mango": "dry"}
    enter(house, Sighting(grade=0, signs=["soil_dry"]), "twin", LATER - timedelta(days=1))
    assert root_words(house)["twin"] == "dry"
    yard = beliefs_of(house).with_roots(house.yard()[0])
    assert {tree.id: tree.root_zone for tree in yard.trees}["twin"] == "dry"
    assert Beliefs(roots={"twin": "dry"}).mark != Beliefs().mark


def test_readings_of_a_day_are_one_and_a_sensor_belongs_to_its_tree(house):
    since, now = LATER - timedelta(days=5), LATER
    text = house.journal.current_yard().text + "sensors:\n  - {id: probe, name: Probe, tree: lime}\n"
    house.journal.store_yard(text, name="Small yard", now=LATER, author="test")
    at = LATER - timedelta(days=2)
    readings = [
        Reading("probe", "soil_moisture_pct", at, 20.0),
        Reading("Probe", "soil_moisture_m3_m3", at + timedelta(minutes=10), 0.22),
        Reading("Lime", "soil_moisture_pct", at - timedelta(days=1), 24.0),
        Reading("elsewhere", "soil_moisture_pct", at, 50.0),
    ]
    house.ledger.add_readings(readings, received=LATER)
    yard: Yard = house.yard()[0]
    found = soil_readings(house, yard, since, now)
    assert {tree: [round(one.share, 4) for one in its] for tree, its in found.items()} == {"lime": [0.24, 0.21]}


def test_the_part_tells_every_tree_with_a_table_and_what_is_assumed(house):
    part = water_part(house, read(house))
    assert part.key == "water"
    assert part.table is not None
    assert set(part.table.trees) == {"mango", "twin", "lime"}
    assert all(len(row) == len(part.table.columns) for row in part.table.rows)
    assert any("No watering was entered so far" in text for text in part.notices)
    assert any("days is known" in text for text in part.notices)


def test_without_weather_it_says_so(tmp_path):
    from tests.service.past import YARD as SMALL

    with open_journal(tmp_path / "j.db") as journal:
        journal.store_yard(SMALL, name="Small yard", now=LATER, author="test")
        empty = House(journal, None, lambda: LATER, None)  # type: ignore[arg-type]
        part = water_part(empty, read(empty))
    assert part.table is None
    assert "No weather is known" in part.verdict
    assert part.tasks == ()


def test_the_ground_that_a_plan_wets_tells_what_it_lacks(house):
    from fruitwall.plans.measures import possible_measures

    yard = house.yard()[0]
    for litres, first in ((12.0, "Its upper soil lacks 12 L."), (0.0, "Water the bare soil")):
        options = possible_measures(yard, yard.trees[0], dry_l=litres)
        (part,) = next(one for one in options if one.key == "wet").parts
        assert part.steps[0].startswith(first)


def test_dry_roots_make_a_tree_less_hardy_in_the_plan(house):
    from fruitwall.service.evening import plan_evening
    from fruitwall.weather.demo import demo_forcing, demo_now

    plans = [
        plan_evening(house.yard()[0], demo_forcing(), now=demo_now(), members=4, nights=1, beliefs=beliefs)
        for beliefs in (Beliefs(), Beliefs(roots={"mango": "dry"}))
    ]
    moist, dry = ({tree.id: tree.tolerance_c.p50 for tree in plan.trees} for plan in plans)
    assert dry["mango"] > moist["mango"]
    assert dry["twin"] == moist["twin"]


def test_a_tree_that_is_watered_before_a_freeze_anyway_is_not_watered_twice(house):
    today = LATER.astimezone(ZONE).date()
    document = water_document(house)
    first, second, *_ = document.trees
    thirsty = first.model_copy(update={"frost_litres": 5.0, "lacks": False, "due": today, "litres": 9.0})
    dry = second.model_copy(update={"frost_litres": 4.0, "lacks": False, "due": None})
    cold = document.model_copy(update={"frost_night": today, "trees": [thirsty, dry]})
    found = {task.key: task for task in water_tasks(cold, read(house), today)}
    assert found[f"water-frost:{today}"].trees == (second.tree,)
    assert any("noon" in step for step in found[f"water:{first.tree}"].steps)
    assert any("No water where lamps" in text for text in found[f"water:{first.tree}"].cautions)


def test_before_a_freezing_night_only_dry_trees_are_named(house):
    # No forecast reaches beyond now: nothing can be told of the coming night.
    assert dry_before_freeze(house, LATER.astimezone(ZONE).date()) == {}
