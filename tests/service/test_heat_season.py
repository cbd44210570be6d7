"""The heat of a yard's trees: what walls, pots and measures do, what was, what comes, and in which words."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service import heat_season as module
from fruitwall.service.heat_around import _arounds, arounds, daylight_of
from fruitwall.service.heat_season import heat_season, hot_hours, hot_since
from fruitwall.service.heat_words import heat_part, why
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed
from fruitwall.service.spot_hours import season_hours
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.model import Display
from tests.service.past import enter, keep, warmer

ZONE = ZoneInfo("America/Los_Angeles")
READER = Household(Display(), ZONE)

YARD = """\
fruitwall: 1
name: Hot yard
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [30, 0], [30, 20], [0, 20]]
gear_store: [1, 1]
structures:
  - {kind: wall, id: west, name: West wall, line: [[6, 2], [6, 10]], height: 3 m, thickness: 30 cm, material: brick}
trees:
  - {id: walled, name: Walled lime, taxon: lime, position: [4.9, 6], height: 1.5 m, crown_diameter: 1 m, age: 10}
  - {id: free, name: Free lime, taxon: lime, position: [20, 6], height: 1.5 m, crown_diameter: 1 m, age: 10,
     stages: [leafy, fruit]}
  - {id: pot, name: Lime in a pot, taxon: lime, position: [25, 6], height: 1.5 m, crown_diameter: 0.8 m,
     crown_base: 0.8 m, container: {volume: 20 L, material: plastic}, age: 10}
people: [{id: ana, name: Ana, minutes_before_dusk: 60 min}]
"""
HOTTER_K = 24.0
"""The demo's December days become an invented hot spell under a low sun."""


def house_in(journal, folder, *, kelvin: float = HOTTER_K, weather: bool = True, yard: str = YARD) -> House:
    journal.store_yard(yard, name="Hot yard", now=datetime(2026, 3, 1, tzinfo=UTC), author="test")
    if weather:
        keep(journal, warmer(demo_forcing(), kelvin))
    return House(journal, None, demo_now, PhotoFolder(folder))


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hot")
    with open_journal(folder / "a.db") as journal:
        yield house_in(journal, folder)


@pytest.fixture(scope="module")
def hours(house):
    return season_hours(house, datetime(2026, 12, 14, tzinfo=UTC))


@pytest.fixture(scope="module")
def around(house, hours):
    return arounds(house, hours)


@pytest.fixture(scope="module")
def trees(house):
    return {tree.id: tree for tree in house.yard()[0].trees}


def hottest(values: np.ndarray) -> float:
    return float(np.nanmax(values))


# ---------------------------------------------------------------- measures and places


def test_a_wall_in_the_afternoon_sun_heats_the_tree_before_it(hours, around, trees):
    walled, free = (hot_hours(hours[name], trees[name], around=around[name]) for name in ("walled", "free"))
    local = [one.astype(datetime).replace(tzinfo=UTC).astimezone(ZONE).hour for one in hours["free"].time_utc]
    afternoon = np.isin(local, (14, 15))
    assert np.nanmax(walled.light.thrown_w_m2[:, afternoon]) > 15.0
    assert np.nanmax(free.light.thrown_w_m2) < 1.0  # the same wall from 14 m
    excess = [(one.leaf_c - one.light.t_air_c)[0, afternoon].max() for one in (walled, free)]
    assert excess[0] > excess[1] + 0.3


def test_fruit_that_hangs_below_its_own_leaves_is_shaded_by_them(hours, around, trees):
    outside, inside = (
        hot_hours(hours["free"], trees["free"], around=replace(around["free"], fruit_inside=each))
        for each in (False, True)
    )
    assert hottest(inside.fruit_c) < hottest(outside.fruit_c) - 3.0
    assert np.array_equal(inside.leaf_c, outside.leaf_c, equal_nan=True)


def test_kinds_that_bear_on_the_trunk_are_known(house, hours):
    yard = house.yard()[0]
    papaya = yard.model_copy(
        update={
            "trees": [one.model_copy(update={"taxon": "papaya"}) if one.id == "free" else one for one in yard.trees]
        }
    )
    found = _arounds(papaya, hours)
    assert found["free"].fruit_inside
    assert not found["walled"].fruit_inside


def test_the_sun_stirs_calm_air_at_a_crown_by_day_and_not_at_night(hours, around):
    calm = replace(hours["free"], wind_here_m_s=np.zeros_like(hours["free"].wind_here_m_s))
    light = daylight_of(calm, around["free"])
    sun = calm.open_sun_w_m2
    assert np.all(light.wind_m_s[sun > 300.0] > 0.3)
    assert np.all(light.wind_m_s[sun > 300.0] < 2.0)  # no more than in the open
    assert np.all(light.wind_m_s[sun == 0.0] == 0.0)


@pytest.mark.parametrize(
    ("measure", "tissue"),
    [
        ({"shade": 0.5}, "leaf_c"),
        ({"whitewash": True}, "bark_c"),
        ({"in_shade": True}, "root_c"),
        ({"shade": 0.7}, "root_c"),
    ],
)
def test_every_measure_cools_what_it_is_for(hours, around, trees, measure, tissue):
    plain, helped = (hot_hours(hours["pot"], trees["pot"], around=around["pot"], **each) for each in ({}, measure))
    assert hottest(getattr(helped, tissue)) < hottest(getattr(plain, tissue)) - 0.3


def test_drought_heats_leaf_and_pot(hours, around, trees):
    wet, dry = (hot_hours(hours["pot"], trees["pot"], around=around["pot"], watered=each) for each in (True, False))
    assert hottest(dry.leaf_c) > hottest(wet.leaf_c)
    assert hottest(dry.root_c) > hottest(wet.root_c)


def test_a_pot_in_the_sun_is_hotter_by_day_than_the_night_model_says_in_the_shade_of_its_crown(hours, around, trees):
    pot = hot_hours(hours["pot"], trees["pot"], around=around["pot"])
    assert hottest(pot.root_c) > hottest(hours["pot"].done.root_c) + 2.0
    ground = hot_hours(hours["free"], trees["free"], around=around["free"])
    assert np.array_equal(ground.root_c, hours["free"].done.root_c, equal_nan=True)


def test_fruit_is_told_where_there_is_some_and_cool_hours_are_passed_over(hours, around, trees):
    free = hot_hours(hours["free"], trees["free"], around=around["free"], only_above_c=30.0)
    assert np.isnan(hot_hours(hours["walled"], trees["walled"], around=around["walled"]).fruit_c).all()
    cool = free.light.t_air_c < 30.0
    assert np.isnan(free.leaf_c[cool]).all()
    assert np.isfinite(free.fruit_c[~cool]).all()
    whole = hot_hours(hours["free"], trees["free"], around=around["free"])
    assert np.array_equal(free.leaf_c[~cool], whole.leaf_c[~cool])


def test_without_its_surroundings_a_tree_can_still_be_compared(hours, trees):
    plain, shaded = (hot_hours(hours["pot"], trees["pot"], shade=each) for each in (0.0, 0.6))
    assert 0.0 < hottest(plain.leaf_c) - hottest(shaded.leaf_c) < 6.0


# ---------------------------------------------------------------- the season


@pytest.mark.parametrize(
    ("now", "latitude", "since"),
    [
        (datetime(2026, 12, 23, tzinfo=ZONE), 34.0, datetime(2026, 4, 1, tzinfo=ZONE)),
        (datetime(2026, 3, 31, tzinfo=ZONE), 34.0, datetime(2025, 4, 1, tzinfo=ZONE)),
        (datetime(2026, 3, 31, tzinfo=ZONE), -34.0, datetime(2025, 10, 1, tzinfo=ZONE)),
    ],
)
def test_the_warm_half_of_the_year_begins_in_april_or_october(now, latitude, since):
    assert hot_since(now, latitude) == since


def test_the_season_tells_each_tree_its_worst_part_and_why(house):
    season = heat_season(house)
    told = {tree.tree: tree for tree in season.trees}
    assert list(told) == ["walled", "free", "pot"]
    assert {one.tissue for one in told["pot"].past} == {"leaf", "bark", "root"}
    assert {one.tissue for one in told["free"].past} == {"leaf", "bark", "fruit"}
    assert told["pot"].of("root").reasons[0] == "pot"
    assert told["walled"].of("leaf").wall in (None, "West wall")
    assert any(one.wall == "West wall" for one in told["walled"].past)
    assert all(one.wall is None for one in told["free"].past)
    leaf = told["free"].of("leaf")
    assert leaf.hours_at_levels[0] >= leaf.hours_at_levels[1] >= leaf.hours_above > 0.0
    assert leaf.hottest_c == max(day.leaf_c for day in told["free"].past_days)
    assert told["free"].leaf_dry_c == max(day.leaf_dry_c for day in told["free"].past_days) > leaf.hottest_c
    assert told["free"].worst(coming=False).tissue != "fruit"
    assert [day.day for day in told["free"].days] == sorted({day.day for day in told["free"].days})
    assert all(day.day >= demo_now().date() for day in told["free"].days)


def test_what_is_known_counts_only_once_it_was(house):
    season = heat_season(house)
    assert season.known_hours < season.hours
    assert season.hottest_air_at < demo_now() < season.forecast_until
    assert house is not None
    assert heat_season(house) is season  # kept for the hour


def test_a_winter_without_heat_says_so_in_a_sentence(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        part = heat_part(house_in(journal, tmp_path, kelvin=0.0), READER)
    assert part.verdict.startswith(
        "No heat that is likely to hurt a tree is in the forecast. Hottest air known since Wed 1 Apr:"
    )
    assert part.table.trees == ("walled", "free", "pot")
    assert part.tasks == ()


def test_without_weather_no_tree_is_dropped(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        part = heat_part(house_in(journal, tmp_path, weather=False), READER)
    assert part.verdict == (
        "There is no forecast, so nothing can be said of the coming days. No weather since Wed 1 Apr is known."
    )
    assert len(part.table.rows) == 3
    assert all(len(row) == len(part.table.columns) for row in part.table.rows)


def test_the_reasons_are_said(house):
    pot = next(tree for tree in heat_season(house).trees if tree.tree == "pot")
    words = why(pot.of("root"), READER)
    assert words.startswith("Pot roots")
    assert "the sun on the wall of its pot" in words
    part = heat_part(house, READER)
    assert any("early morning" in line for line in part.notices)
    assert any("to about" in line for line in part.notices)


def test_a_month_in_pieces_has_the_same_walls_as_at_once(house, hours, monkeypatch):
    yard, _ = house.yard()
    whole = arounds(house, hours)["walled"]
    monkeypatch.setattr("fruitwall.service.heat_around.CHUNK_H", 3 * 24)

    pieces = _arounds(yard, hours)["walled"]
    difference = np.abs(pieces.wall_above_w_m2 - whole.wall_above_w_m2)
    # A piece begins three days before: what is left of its beginning is less than 1 % of the warmth of such a wall.
    assert np.nanmax(difference) < 0.01 * np.nanmax(whole.wall_above_w_m2)


def test_the_bound_on_cool_hours_holds(house, hours, around, trees):
    # No leaf or bark in air below `COOL_C` comes near where harm begins.
    for name, tree in trees.items():
        found = hot_hours(hours[name], tree, around=around[name], fruit=True)
        cool = found.light.t_air_c < module.COOL_C
        assert hottest(found.leaf_c[cool]) < 38.0
        assert hottest(found.bark_c[cool]) < 40.0


def test_painted_bark_and_dry_roots_count_from_when_they_are(tmp_path):
    def season(journal, name, yard=YARD):
        folder = tmp_path / name
        house = house_in(journal, folder, yard=yard)
        return house, {tree.tree: tree for tree in heat_season(house).trees}

    with open_journal(tmp_path / "a.db") as journal:
        house, plain = season(journal, "a")
        enter(house, Deed(what="whitewashed", words="Bark painted white"), "free", demo_now() - timedelta(hours=1))
        painted = {tree.tree: tree for tree in heat_season(house).trees}
    with open_journal(tmp_path / "b.db") as journal:
        _, dry = season(journal, "b", YARD.replace("stages: [leafy, fruit]", "stages: [leafy, fruit], root_zone: dry"))
    assert painted["free"].of("bark") == plain["free"].of("bark")  # what was before the paint stays
    before, after = (each["free"].of("bark", coming=True).hottest_c for each in (plain, painted))
    assert after < before - 1.0
    assert painted["pot"] == plain["pot"]
    assert dry["free"].of("leaf") == plain["free"].of("leaf")  # what was is told of a watered tree
    assert dry["free"].of("leaf", coming=True).hottest_c > plain["free"].of("leaf", coming=True).hottest_c
    assert [day.leaf_c for day in dry["free"].days] == [day.leaf_dry_c for day in plain["free"].days]


def test_members_are_worked_out_each_as_if_alone(house, hours, trees):
    def times_three(one):
        weather = [each.name for each in fields(one) if getattr(getattr(one, each.name), "ndim", 0) == 2]
        return replace(one, **{name: np.repeat(getattr(one, name), 3, axis=0) for name in weather})

    alone = hours["walled"]
    many = replace(times_three(alone), done=times_three(alone.done), alone=times_three(alone.alone))
    many.t_air_c[1] += 3.0
    one, three = (
        hot_hours(each, trees["walled"], around=_arounds(house.yard()[0], {"walled": each})["walled"])
        for each in (alone, many)
    )
    for tissue in ("leaf_c", "bark_c"):
        found = getattr(three, tissue)
        assert found[[0, 2]] == pytest.approx(np.repeat(getattr(one, tissue), 2, axis=0), abs=1e-9)
        assert np.nanmax(np.abs(found[1] - found[0])) > 0.01  # another sky and other walls
