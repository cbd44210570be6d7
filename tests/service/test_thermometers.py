"""Thermometers of a yard: where they hang, what they teach, what is wrong with them, and how that is mended."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.entries import Reading
from fruitwall.journal.opening import open_journal
from fruitwall.service.explained import explain_cold
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed
from fruitwall.service.outlook import look_out, prepare_situation
from fruitwall.service.past_weather import STATION
from fruitwall.service.readings import NewReading, take_readings
from fruitwall.service.sensor_checks import as_learned, doubts_about, question, told, troubles_of
from fruitwall.service.spot_offsets import ELSEWHERE, learned_offsets, spots_taught, where_next, with_offsets
from fruitwall.service.thermometers import air_at, hung_in, mend, mends_of, read_thermometers, unmend
from fruitwall.weather.demo import demo_now
from fruitwall.weather.forcing import as_datetime
from fruitwall.yard.model import Display
from tests.service.past import LATER, YARD, enter, house_with_past, past_forcing

SENSORS = """\
sensors:
  - {id: lime-log, name: Logger in the lime, tree: lime, height: 1 m}
  - {id: post, name: Post, position: [2, 18]}
  - {id: old, name: Old glass, kind: min_max, tree: twin}
  - {id: near, name: Near the mango, position: [5.4, 5.2], height: 1 m, shield: no}
"""
ZONE = ZoneInfo("America/Los_Angeles")
TRUE_K = -1.6
"""What the spot of the logger is colder on a clear night."""


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        made = house_with_past(journal, tmp_path)
        journal.store_yard(YARD + SENSORS, name="Small yard", now=demo_now() - timedelta(days=50), author="test")
        yield made


def hours_at(house, name):
    yard = house.yard()[0]
    (hours,) = air_at(yard, [hung_in(yard)[name.casefold()]], past_forcing()).values()
    return hours


def logged(house, name, *, colder=TRUE_K, change=lambda value: value, hours=lambda time: time):
    """Let a thermometer send its hours."""
    there = hours_at(house, name)
    rng = np.random.default_rng(1)
    value = change(there.air_c + colder * there.clear + rng.normal(0.0, 0.2, there.air_c.size))
    some = [
        Reading(name, "air_temperature_c", hours(as_datetime(time)), float(one))
        for time, one in zip(there.time_utc, value, strict=True)
        if hours(as_datetime(time)) < LATER
    ]
    house.ledger.add_readings(some, received=LATER)


# ---------------------------------------------------------------- where they hang


def test_a_thermometer_is_known_by_id_and_name_and_counts_for_the_tree_in_whose_crown_it_hangs(house):
    known = hung_in(house.yard()[0])
    assert known["logger in the lime"] is known["lime-log"]
    assert [known[name].spot for name in ("lime-log", "post", "near", "mango", "second mango")] == [
        "lime", "post", "mango", "mango", "twin"
    ]  # fmt: skip
    assert (known["lime-log"].height_m, known["post"].height_m) == (1.0, 1.5)


def test_without_a_shield_it_reads_as_a_twig_does_under_the_open_sky(house):
    clear = hours_at(house, "near").clear > 0.7
    shielded, bare = hours_at(house, "mango"), hours_at(house, "near")
    assert (bare.air_c[clear].mean() - shielded.air_c[clear].mean()) < -0.3


# ---------------------------------------------------------------- what they teach


def test_where_nothing_was_read_nothing_is_worked_out(house, monkeypatch):
    monkeypatch.setattr("fruitwall.service.thermometers.past_stretches", lambda _: pytest.fail("weather was read"))
    assert learned_offsets(house) == {}
    house.ledger.add_readings([Reading("Shed", "air_temperature_c", demo_now(), 3.0)], received=LATER)
    assert learned_offsets(house) == {}


def test_a_logger_teaches_its_spot_and_a_little_of_the_others(house):
    logged(house, "Logger in the lime")
    got = learned_offsets(house)
    assert set(got) == {ELSEWHERE, "mango", "twin", "lime"}
    mean, sd = got["lime"].at(1.0)
    assert mean == pytest.approx(TRUE_K, abs=0.4)
    assert sd < 0.45
    assert got["lime"].nights >= 10
    assert TRUE_K < got["mango"].at(1.0)[0] < -0.3
    assert got["mango"].at(1.0) == got[ELSEWHERE].at(1.0)


def test_the_same_readings_in_another_order_teach_the_same(house, tmp_path):
    logged(house, "Logger in the lime")
    logged(house, "Post", colder=0.3)
    first = learned_offsets(house)
    with open_journal(tmp_path / "b.db") as journal:
        other = house_with_past(journal, tmp_path)
        journal.store_yard(YARD + SENSORS, name="Small yard", now=demo_now() - timedelta(days=50), author="test")
        logged(other, "Post", colder=0.3)
        logged(other, "Logger in the lime")
        assert learned_offsets(other) == first


def test_a_thermometer_that_keeps_the_lowest_teaches_by_its_mornings(house):
    there = hours_at(house, "Old glass")
    local = (there.time_utc - np.timedelta64(8, "h")).astype("datetime64[h]").astype(int) % 24
    mornings = [at for at in np.flatnonzero(local == 9) if as_datetime(there.time_utc[at]) < LATER and at >= 24]
    house.ledger.add_readings(
        [
            Reading("Old glass", "air_temperature_c", as_datetime(there.time_utc[at]),
                    float((there.air_c + TRUE_K * there.clear)[at - 23 : at + 1].min()))
            for at in mornings
        ],
        received=LATER,
    )  # fmt: skip
    taught = spots_taught(house)
    assert len(taught.nights) == len(mornings)
    assert taught.offsets["twin"].at(1.0)[0] == pytest.approx(TRUE_K, abs=0.6)


def test_hand_readings_on_an_evening_s_walk_count_and_those_in_the_sun_do_not(house):
    there = hours_at(house, "mango")
    dark = np.flatnonzero(there.elevation_deg < -6.0)
    noon = np.flatnonzero(there.elevation_deg > 20.0)
    house.ledger.add_readings(
        [Reading("Mango", "air_temperature_c", as_datetime(there.time_utc[at]), float(there.air_c[at] - 1.0))
         for at in (dark[5], noon[7])],
        received=LATER,
    )  # fmt: skip
    (night,) = spots_taught(house).nights
    assert night.read_c - night.expected_c == pytest.approx(-1.0, abs=0.01)
    assert night.extra_sd_k > 0.0


def test_nights_under_a_cover_teach_nothing_of_the_spot(house):
    logged(house, "Logger in the lime")
    before = learned_offsets(house)["lime"].nights
    night = demo_now().date()
    enter(house, Deed(what="cover:fleece_heavy@lime", words="Cover it", night=night, trees=["lime"]), None, demo_now())
    enter(
        house, Deed(what="wet@lime", words="Water", night=night - timedelta(days=1), trees=["lime"]), None, demo_now()
    )
    taught = spots_taught(house)
    assert taught.offsets["lime"].nights == before - 1
    assert taught.left_out == {"Logger in the lime": 1}


def test_ticks_and_readings_of_a_night_that_is_not_over_are_no_reason_to_work_it_out_again(house, monkeypatch):
    logged(house, "Logger in the lime")
    known = learned_offsets(house)
    monkeypatch.setattr("fruitwall.service.thermometers.air_at", lambda *_: pytest.fail("worked out again"))
    enter(
        house, Deed(what="cover:fleece_heavy@twin", words="Cover it", night=LATER.date(), trees=["twin"]), None, LATER
    )
    house.ledger.set("anything", 1, author="Ana", now=LATER)
    house.ledger.add_readings([Reading("Mango", "air_temperature_c", LATER, 3.0)], received=LATER)
    assert learned_offsets(house) == known


def test_spots_are_learned_against_the_yard_s_station_so_that_its_error_is_not_counted_twice(house):
    for name in ("Post", "Logger in the lime"):
        logged(house, name, colder=0.0, change=lambda value: value - 1.5)
    against_weather = learned_offsets(house)
    house.ledger.set(STATION, "Post", author="Ana", now=LATER)
    against_station = learned_offsets(house)
    for clear in (0.0, 1.0):
        assert against_weather["lime"].at(clear)[0] < -1.1
        assert abs(against_station["lime"].at(clear)[0]) < 0.4


def test_the_next_one_goes_where_none_hangs(house):
    logged(house, "Logger in the lime")
    ranked = where_next(house)
    assert {one.tree for one in ranked[:2]} == {"mango", "twin"}
    assert ranked[0].sd_after_k < 0.8 * ranked[0].sd_before_k


def test_plans_go_by_what_was_taught(house):
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.nights import evening_of

    logged(house, "Logger in the lime")
    offsets = learned_offsets(house)
    yard = house.yard()[0]
    now = demo_now()
    evening = evening_of(yard.location, now.date(), now)
    forcing = past_forcing()
    plain, taught = (
        prepare_situation(yard, forcing, [evening], None, beliefs=beliefs)
        for beliefs in (None, Beliefs(offsets=offsets))
    )
    at = [tree.id for tree in yard.trees].index("lime")
    assert (plain.spots[at].learned_k, plain.spots[at].learned_clear_k) == (0.0, 0.0)
    assert taught.spots[at].learned_k + taught.spots[at].learned_clear_k == pytest.approx(offsets["lime"].at(1.0)[0])
    assert with_offsets(plain.spots, {}) == list(plain.spots)

    # And say so: what was taught is a part of its own in why the tree gets so cold.
    outlook = look_out(taught, threads=1)
    told_of = explain_cold(outlook, [0] * len(yard.trees), Household(yard.display, ZONE), threads=1)[at]
    assert told_of is not None
    part = next(one for one in told_of.parts if one.key == "learned")
    assert part.label == "What thermometers taught"
    assert -1.8 < part.kelvin < -0.5


# ---------------------------------------------------------------- what is wrong with them


def faulty(house, name, trouble):
    (read,) = [one for one in read_thermometers(house) if one.sensor == name]
    return [one for one in troubles_of(read, LATER) if one.trouble.kind == trouble]


def fahrenheit(value):
    value = value.copy()
    value[200:240] = value[200:240] * 1.8 + 32.0
    return value


def test_a_stretch_in_fahrenheit_is_left_out_asked_about_and_mended_and_the_mend_taken_back(house):
    logged(house, "Logger in the lime", change=fahrenheit)
    (trouble,) = faulty(house, "Logger in the lime", "fahrenheit")
    assert trouble.trouble.readings == 40
    read = read_thermometers(house)[0]
    assert as_learned(read, LATER).value_c.size == read.value_c.size - 40
    left_out = learned_offsets(house)["lime"]
    assert left_out.at(1.0)[0] == pytest.approx(TRUE_K, abs=0.4)
    words = told(trouble, Household(Display(), ZONE), ZONE)
    assert words.what == "°F entered as °C"
    assert words.shows.startswith("40 readings are ")
    assert [way.how for way in words.ways] == ["fahrenheit", "ignore", "right"]
    mend(
        house,
        {"sensor": "Logger in the lime", "since": trouble.since.isoformat(), "until": trouble.until.isoformat(),
         "how": "fahrenheit", "hours": 0.0, "author": "Ana", "at": LATER.isoformat()},
    )  # fmt: skip
    assert faulty(house, "Logger in the lime", "fahrenheit") == []
    mended = learned_offsets(house)["lime"]
    assert mended.nights == left_out.nights + 1
    read = read_thermometers(house)[0]
    assert (read.as_came_c - read.value_c).max() > 20.0  # what came is kept
    assert len(mends_of(house)) == 1
    unmend(house, 0, author="Ana", now=LATER)
    assert learned_offsets(house)["lime"] == left_out


def test_what_somebody_said_is_right_is_not_asked_about_again(house):
    logged(house, "Logger in the lime", change=fahrenheit)
    (trouble,) = faulty(house, "Logger in the lime", "fahrenheit")
    said = {"sensor": "Logger in the lime", "since": trouble.since.isoformat(), "until": trouble.until.isoformat(),
            "how": "right", "hours": 0.0, "author": "Ana", "at": LATER.isoformat()}  # fmt: skip
    mend(house, said)
    mend(house, said)
    assert len(mends_of(house)) == 1
    assert faulty(house, "Logger in the lime", "fahrenheit") == []


def test_a_wrong_clock_is_set_right_before_anything_is_learned(house):
    logged(house, "Logger in the lime", hours=lambda time: time + timedelta(hours=5))
    (trouble,) = faulty(house, "Logger in the lime", "clock")
    assert trouble.trouble.size == pytest.approx(5.0, abs=0.6)
    assert learned_offsets(house)["lime"].at(1.0)[0] == pytest.approx(TRUE_K, abs=0.5)


def test_a_thermometer_in_the_sun_still_teaches_by_night(house):
    there = hours_at(house, "Post")
    high = there.elevation_deg > 25.0

    logged(house, "Post", colder=0.0, change=lambda value: value + 9.0 * high * (there.sun_w_m2 > 200.0))
    assert len(faulty(house, "Post", "sun")) == 1
    assert abs(learned_offsets(house)["post"].at(1.0)[0]) < 0.4


# ---------------------------------------------------------------- while it is entered


def reading(value, unit=None, sensor="Mango", at=None):
    return NewReading(sensor=sensor, quantity="air_temperature_c", at=at or demo_now(), value=value, unit=unit)


def test_an_impossible_reading_is_refused_with_its_reason(house):
    taken = take_readings(house.ledger, [reading(280.0), reading(280.0, "F"), reading(5.0)], now=LATER)
    assert taken.new == 1
    assert [place for place, _ in taken.refused] == [0, 1]
    for _, why in taken.refused:
        assert "cannot be a reading of" in why
        assert "a slip, another unit, or a broken sensor" in why


def test_a_doubtful_reading_is_taken_and_asked_about(house):
    there = hours_at(house, "mango")
    at = int(np.argmin(np.abs(there.air_c - 9.0)))
    when, air = as_datetime(there.time_utc[at]), float(there.air_c[at])
    given = [
        reading(air * 1.8 + 32.0, at=when),  # read in °F, the unit forgotten
        reading(air + 2.0, at=when),
        reading(air, "F", at=when),  # read in °C, called °F
    ]
    found = doubts_about(house, given)
    assert [(one.place, one.kind) for one in found] == [(0, "fahrenheit"), (2, "celsius")]
    asked = question(found[0], Household(Display(temperature="F"), ZONE))
    assert asked.startswith("This is ")
    assert asked.endswith("°F from what was expected: was it in °F?")
    assert take_readings(house.ledger, given[:1], now=LATER).new == 1


def test_nothing_is_doubted_where_the_weather_is_not_known(house):
    assert doubts_about(house, [reading(60.0, at=demo_now() - timedelta(days=900))]) == []
