"""The cold ledger of a yard: winters, nights, levels, and counts as kept and left alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.tolerance import prior
from fruitwall.service import spot_hours as hours_in
from fruitwall.service.cold_climate import of_winters, winters_of
from fruitwall.service.cold_ledger import (
    FIXED_F,
    Winter,
    cold_ledger,
    count,
    levels_of,
    night_date,
    night_numbers,
    told,
    winter_cold,
    winter_on,
)
from fruitwall.service.cold_season import cold_part, coldest_of, shown
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed
from fruitwall.service.nights import evening_of
from fruitwall.service.spot_hours import Felt, SpotHours
from fruitwall.speech import speaking
from fruitwall.weather.climate import Climate
from fruitwall.weather.demo import demo_now, demo_winters
from fruitwall.weather.forcing import Forcing
from tests.service.past import LATER, enter, house_with_past

ZONE = ZoneInfo("America/Los_Angeles")
NIGHT = demo_now().date()


def made(leaf_done, leaf_alone, first=datetime(2026, 12, 22, 20, tzinfo=UTC), tree="mango") -> SpotHours:
    """Make the hours of a tree of which only the leaf is known."""
    leaf_done, leaf_alone = (np.asarray(one, dtype=float)[None, :] for one in (leaf_done, leaf_alone))
    none = np.full(leaf_done.shape, np.nan)
    felt = [Felt(none, one, none, none, none, none) for one in (leaf_done, leaf_alone)]
    time_utc = np.datetime64(first.replace(tzinfo=None), "s") + np.arange(leaf_done.shape[1]) * np.timedelta64(
        3600, "s"
    )
    known = np.isfinite(leaf_done[0])
    return SpotHours(tree, time_utc, *felt, none, none, none, none, none, none, none, none, known, known.size, 0)


def mango_levels():
    return levels_of(prior(catalogue().find("mango"), age_years=9.0, height_m=3.0, potted=False))


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


@pytest.fixture
def household(house):
    yard, _ = house.yard()
    return Household(yard.display.model_copy(update={"temperature": "C"}), ZONE)


@pytest.mark.parametrize(
    ("day", "latitude", "name", "since", "until"),
    [
        (date(2026, 12, 23), 34.0, "2026/27", date(2026, 10, 1), date(2027, 6, 1)),
        (date(2027, 8, 1), 34.0, "2026/27", date(2026, 10, 1), date(2027, 6, 1)),
        (date(2026, 7, 1), -34.0, "2026", date(2026, 4, 1), date(2026, 12, 1)),
        (date(2027, 1, 1), -34.0, "2026", date(2026, 4, 1), date(2026, 12, 1)),
    ],
)
def test_a_winter_begins_in_october_in_the_south_in_april_and_lasts_eight_months(day, latitude, name, since, until):
    winter = winter_on(day, latitude, ZONE)
    assert (winter.name, winter.since.astimezone(ZONE).date(), winter.until.astimezone(ZONE).date()) == (
        name,
        since,
        until,
    )


def test_a_night_goes_from_noon_to_noon_and_has_the_date_of_its_evening():
    noon = datetime(2026, 12, 23, 12, tzinfo=ZONE)
    ends = [noon, noon + timedelta(hours=1), noon + timedelta(hours=24), noon + timedelta(hours=25)]
    stamps = np.array([one.astimezone(UTC).replace(tzinfo=None) for one in ends], dtype="datetime64[s]")
    nights = [night_date(one) for one in night_numbers(stamps, ZONE)]
    assert nights == [date(2026, 12, 22), date(2026, 12, 23), date(2026, 12, 23), date(2026, 12, 24)]


def test_levels_are_the_trees_own_at_their_tissue_and_round_numbers_of_either_unit():
    levels = mango_levels()
    assert levels[0].kind == "begins"
    assert [one.grade for one in levels if one.kind == "grade"] == [1, 2, 3, 4, 5, 6, 7]
    assert [one.tissue for one in levels if one.kind == "grade"] == ["leaf"] * 4 + ["twig", "wood", "wood"]
    graded = [one.level_c for one in levels if one.kind == "grade"]
    assert graded == sorted(graded, reverse=True)
    fahrenheit = [one.level_c * 1.8 + 32 for one in levels if one.key.endswith("F")]
    assert fahrenheit == pytest.approx(FIXED_F)


def test_counts_of_hours_made_by_hand_are_exact():
    # From noon of 22 December: three hours of one night, then a whole day later two of the next.
    done = [1.0, -1.0, -3.0, *[5.0] * 21, -1.0, -2.5]
    alone = [1.0, -3.0, -5.0, *[5.0] * 21, -2.0, -4.5]
    hours = made(done, alone, first=datetime(2026, 12, 22, 21, tzinfo=UTC))
    levels = mango_levels()
    winter = Winter("2026/27", datetime(2026, 12, 22, 20, tzinfo=UTC), datetime(2026, 12, 24, tzinfo=UTC))
    its = told(winter, hours, night_numbers(hours.time_utc, ZONE), levels, cut=timedelta(hours=5))
    lines = {one.level.key: one for one in its.whole.lines}

    freezing = lines["fixed-0C"]
    assert (freezing.done.nights, freezing.done.hours, freezing.done.degree_hours) == (2, 4, 7.5)
    assert (freezing.alone.nights, freezing.alone.hours, freezing.alone.degree_hours) == (2, 4, 14.5)
    assert (freezing.done.longest_h, lines["fixed--4C"].alone.hours) == (2, 2)
    assert lines["fixed--4C"].alone.degree_hours == 1.5
    assert lines["fixed--2C"].alone.degree_hours == 1.0 + 3.0 + 2.5  # −2 is not below −2
    assert [(one.done_c, one.done_night, one.alone_c) for one in its.whole.coldest] == [
        (-3.0, date(2026, 12, 22), -5.0)
    ]
    assert [(one.night, one.done_c, one.alone_c) for one in its.nights] == [
        (date(2026, 12, 22), -3.0, -5.0),
        (date(2026, 12, 23), -2.5, -4.5),
    ]
    to_day = {one.level.key: one for one in its.to_day.lines}["fixed-0C"]
    assert (to_day.done.nights, to_day.done.degree_hours) == (1, 4.0)
    assert not any(one.level.tissue == "twig" for one in its.whole.lines)  # nothing is known of them


def test_a_winter_that_is_not_known_is_told_as_not_known():
    hours = made([np.nan, np.nan], [np.nan, np.nan])
    winter = Winter("2026/27", datetime(2026, 12, 22, 20, tzinfo=UTC), datetime(2026, 12, 24, tzinfo=UTC))
    its = told(winter, hours, night_numbers(hours.time_utc, ZONE), mango_levels(), cut=timedelta(hours=1))
    assert (its.whole, its.to_day, its.nights) == (None, None, [])


def test_the_ledger_of_a_yard_tells_every_tree_and_what_a_cover_kept_from_it(house, household):
    bare = {tree.tree: tree for tree in cold_ledger(house).trees}
    assert list(bare) == ["mango", "twin", "lime"]
    assert "Nothing was ticked as done" in cold_part(house, household).verdict
    for tree in bare.values():
        assert tree.winter.coldest[0].done_c == tree.winter.coldest[0].alone_c < 0.0
    deed = Deed(what="cover:fleece_heavy@mango", words="Cover it", night=NIGHT, trees=["mango"])
    enter(house, deed, None, evening_of(house.yard()[0].location, NIGHT).sunset)
    kept = {tree.tree: tree for tree in cold_ledger(house).trees}
    night = next(one for one in kept["mango"].nights if one.night == NIGHT)
    assert night.done_c > night.alone_c + 0.5
    freezing = next(one for one in kept["mango"].winter.lines if one.level.key == "fixed-0C")
    assert freezing.done.degree_hours < freezing.alone.degree_hours
    assert kept["twin"].nights == bare["twin"].nights
    part = cold_part(house, household)
    assert "as they were kept" in part.verdict
    assert [row[0] for row in part.table.rows] == ["Mango", "Second mango", "Lime"]
    assert any("of 1,9" in one or "of 2,1" in one for one in part.notices), part.notices  # of ten days only


def test_each_reader_sees_the_round_numbers_of_their_own_unit(house, household):
    tree = cold_ledger(house).trees[0]
    american = replace(household, display=household.display.model_copy(update={"temperature": "F"}))
    own = [one.level.key for one in shown(tree.winter.lines, household) if one.level.kind == "fixed"]
    theirs = [one.level.key for one in shown(tree.winter.lines, american) if one.level.kind == "fixed"]
    assert own == ["fixed-0C", "fixed--2C", "fixed--4C"]
    assert theirs == ["fixed-32F", "fixed-28F", "fixed-24F"]
    assert "°F" in cold_part(house, american).table.caption


def test_an_earlier_winter_is_counted_to_the_same_day_and_whole(house, monkeypatch, household):
    this, before = made([-1.0] * 4, [-2.0] * 4), made([-3.0] * 30, [-3.0] * 30, datetime(2025, 12, 28, tzinfo=UTC))
    monkeypatch.setattr(
        "fruitwall.service.cold_ledger._earlier",
        lambda *_: [winter_on(date(2025, 12, 1), 34.0, ZONE)],
    )
    monkeypatch.setattr(
        hours_in, "season_hours", lambda _, since, until: {"mango": this if since.year == 2026 else before}
    )
    tree = cold_ledger(house).trees[0]
    whole, to_day = ({one.level.key: one for one in each[0].lines}["fixed-0C"] for each in (tree.whole, tree.to_day))
    same_day = winter_on(date(2025, 12, 1), 34.0, ZONE).since + (LATER - winter_on(NIGHT, 34.0, ZONE).since)
    until_then = int((same_day - datetime(2025, 12, 28, tzinfo=UTC)) / timedelta(hours=1)) + 1
    assert (whole.done.hours, to_day.done.hours) == (30, until_then)
    assert coldest_of(tree, tree.whole[0]).done_c == -3.0
    nothing = cold_ledger(house).trees[2]
    assert nothing.name == "Lime"
    assert nothing.winter is None  # told, not dropped
    assert any("Lime" in one for one in cold_part(house, household).notices)


def test_without_weather_the_part_says_so_in_spanish_too(tmp_path, household, monkeypatch):
    with open_journal(tmp_path / "b.db") as journal:
        house = house_with_past(journal, tmp_path)
        monkeypatch.setattr(hours_in, "season_hours", lambda *_: {})
        assert "No weather of this winter is known" in cold_part(house, household).verdict
        with speaking("es"):
            assert "No weather" not in cold_part(house, household).verdict


def years_of(*begins: int) -> list[Forcing]:
    """Make whole years of 5 °C from 1 July on, with one freezing hour on 1 January, a degree colder each."""
    found = []
    for at, begin in enumerate(begins):
        time_utc = np.arange(f"{begin}-07-01T00", f"{begin + 1}-07-01T00", dtype="datetime64[h]").astype(
            "datetime64[s]"
        )
        air = np.full((1, time_utc.size), 5.0)
        air[0, time_utc == np.datetime64(f"{begin + 1}-01-01T14", "s")] = -1.0 - at
        still = np.zeros_like(air)
        found.append(
            Forcing(time_utc, air, air - 2.0, still + 1.0, still, still, still, 34.0, -117.0, 500.0, "made",
                    datetime(begin + 1, 7, 1, tzinfo=UTC), n_history=time_utc.size)
        )  # fmt: skip
    return found


def test_winters_of_the_climate_lie_side_by_side_on_this_winters_calendar():
    winter = winter_on(NIGHT, 34.0, ZONE)
    found = winters_of(years_of(2018, 2021, 2023), "made", winter, ZONE)
    assert found.known.all()
    cold = [found.forcing.time_utc[np.argmin(row)] for row in found.forcing.t_air_c]
    assert cold == [np.datetime64("2027-01-01T14", "s")] * 3
    assert found.forcing.t_air_c.min(axis=1).tolist() == [-3.0, -2.0, -1.0]  # the newest first


def test_this_winter_is_no_climate_and_two_winters_are_none():
    winter = winter_on(NIGHT, 34.0, ZONE)
    assert winters_of(years_of(2022, 2023), "made", winter, ZONE) is None
    assert winters_of(years_of(2022, 2023, 2026), "made", winter, ZONE) is None


def test_the_middle_of_winters_made_by_hand_is_exact_and_unknown_hours_do_not_count():
    levels = [one for one in mango_levels() if one.key == "fixed-0C"]
    felt = {"leaf": np.array([[-1.0, -1.0, 5.0], [-3.0, 5.0, -9.0], [5.0, 5.0, -2.0]])}
    known = np.array([[True, True, True], [True, True, False], [True, True, True]])
    of = of_winters(felt, known, np.array([1, 1, 2]), levels)
    line = of.lines[0]
    assert of.years == 3
    assert (line.nights.p50, line.hours.p50, line.degree_hours.p50) == (1.0, 1.0, 2.0)
    assert of.coldest_c.p50 == -2.0
    assert line.degree_hours.p90 == pytest.approx(2.8)  # of 2, 2 and 3


def test_a_ledger_with_a_climate_tells_usual_winters(house, household, monkeypatch):
    climate = Climate(tuple(years_of(2018, 2021, 2023)), "made of nothing")
    monkeypatch.setattr("fruitwall.service.climate.climate_of", lambda _: climate)
    ledger = cold_ledger(house)
    assert ledger.climate == "made of nothing"
    usual = ledger.trees[0].climate
    assert usual.years == 3
    assert -9.0 < usual.coldest_c.p10 < usual.coldest_c.p90 < 0.0
    assert not any("climate of the place is not known" in one for one in cold_part(house, household).notices)


def test_real_days_hour_by_hour_give_the_same_ledger_as_in_one_batch():
    weather = demo_winters()[0].select(datetime(2024, 12, 1, tzinfo=UTC), datetime(2024, 12, 12, tzinfo=UTC))
    air = weather.t_air_c[0] - 10.0  # so cold that the levels of a mango matter
    hours = made(air + 1.0, air, first=weather.start_utc)
    nights, levels = night_numbers(hours.time_utc, ZONE), mango_levels()
    winter = Winter("2024/25", weather.start_utc, weather.end_utc)
    size = hours.time_utc.size
    batch = count(hours, nights, levels, slice(0, size), None)
    hourly = None
    for at in range(size):
        hourly = count(hours, nights, levels, slice(at, at + 1), hourly)
    whole, by_hour = (winter_cold(winter, hours, nights, levels, each, size) for each in (batch, hourly))
    assert whole == by_hour
    assert {one.level.key: one for one in whole.lines}["leaf-2"].alone.hours > 0  # else it would show nothing
