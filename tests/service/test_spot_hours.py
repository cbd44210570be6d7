"""The hours at each tree: of the season that is over and of what is to come."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.physics.sun import sun_position
from fruitwall.service.climate import use_packaged_years
from fruitwall.service.house import House
from fruitwall.service.ledger import Deed, Stage
from fruitwall.service.lived import coldest_hour_c, lived_nights
from fruitwall.service.nights import evening_of
from fruitwall.service.past_weather import past_stretches
from fruitwall.service.spot_hours import coming_hours, season_hours
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.weather.forcing import HOUR, as_datetime64
from tests.service.past import LATER, YARD, enter, house_with_past, keep, past_forcing

NIGHT = demo_now().date()


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


def cover(house, tree):
    deed = Deed(what=f"cover:fleece_heavy@{tree}", words="Cover it", night=NIGHT, trees=[tree])
    enter(house, deed, None, evening_of(house.yard()[0].location, NIGHT).sunset)


def in_night(hours, house):
    night = evening_of(house.yard()[0].location, NIGHT).night
    return (hours.time_utc > as_datetime64(night.start_utc)) & (hours.time_utc <= as_datetime64(night.end_utc))


def begin(house):
    return past_stretches(house)[0].forcing.start_utc


def test_the_hours_go_on_without_a_gap_from_the_first_to_now(house):
    hours = season_hours(house, begin(house))["mango"]
    assert set(np.diff(hours.time_utc)) == {HOUR}
    assert hours.time_utc[-1] <= as_datetime64(LATER) < hours.time_utc[-1] + HOUR
    assert hours.n_past == hours.time_utc.size
    assert hours.done.leaf_c.shape == hours.rain_mm.shape == (1, hours.time_utc.size)
    assert hours.known.all()
    assert np.isfinite(hours.done.air_c).all()


def test_hours_whose_weather_is_not_known_are_told_and_not_made_up(house):
    early = begin(house) - timedelta(days=3)
    hours = season_hours(house, early)["mango"]
    before = hours.time_utc < past_stretches(house)[0].forcing.time_utc[0]
    assert before.sum() == 72
    assert not hours.known[before].any()
    assert hours.known[~before].all()
    assert np.isnan(hours.done.leaf_c[0, before]).all()
    assert np.isnan(hours.rain_mm[0, before]).all()


def test_without_weather_there_are_no_hours(tmp_path):
    with open_journal(tmp_path / "b.db") as journal:
        journal.store_yard(YARD, name="Small yard", now=demo_now(), author="test")
        empty = House(journal, None, demo_now, None)
        assert season_hours(empty, demo_now() - timedelta(days=3)) == {}
        assert coming_hours(empty, demo_now() + timedelta(days=3)) == {}


def test_a_cover_warms_that_tree_in_that_night_alone(house):
    cover(house, "mango")
    mango, twin = (season_hours(house, begin(house))[tree] for tree in ("mango", "twin"))
    night = in_night(mango, house)
    assert mango.done.leaf_c[0, night].min() > mango.alone.leaf_c[0, night].min() + 0.5
    assert np.array_equal(mango.done.leaf_c[0, ~night], mango.alone.leaf_c[0, ~night])
    assert np.array_equal(twin.done.leaf_c, twin.alone.leaf_c)


def test_the_coldest_hours_are_those_of_the_nights_that_teach(house):
    """`service.lived` counts running means over half hours, here full hours: a kelvin's tenth and a half apart."""
    cover(house, "mango")
    hours = season_hours(house, begin(house))["mango"]
    lived = next(one for one in lived_nights(house)["mango"] if one.night == NIGHT)
    night = in_night(hours, house)
    assert hours.done.leaf_c[0, night].min() == pytest.approx(coldest_hour_c(lived), abs=0.25)
    assert hours.alone.leaf_c[0, night].min() == pytest.approx(float(lived.alone_c[0, 1]), abs=0.25)


def test_a_season_asked_for_from_later_on_has_the_same_hours(house):
    whole = season_hours(house, begin(house))["lime"]
    part = season_hours(house, LATER - timedelta(days=4))["lime"]
    same = whole.time_utc >= part.time_utc[0]
    # What came before is marched again from seven days back: ground and walls have forgotten the rest but for this.
    assert np.abs(whole.done.leaf_c[:, same] - part.done.leaf_c).max() < 0.1
    assert np.array_equal(whole.sun_w_m2[:, same], part.sun_w_m2)


def test_sun_reaches_a_crown_by_day_and_no_more_than_there_is(house):
    hours = season_hours(house, begin(house))["mango"]
    yard, _ = house.yard()
    half = hours.time_utc - np.timedelta64(1800, "s")
    height = sun_position(half, yard.location.latitude_deg, yard.location.longitude_deg).elevation_deg
    assert (hours.sun_w_m2[0, height < -1.0] == 0.0).all()
    assert (hours.sun_w_m2 <= hours.open_sun_w_m2 + 1e-3).all()
    assert hours.sun_w_m2[0, height > 20.0].mean() > 50.0


def test_what_is_to_come_begins_after_now_and_goes_on_as_other_years_did(house):
    use_packaged_years(house.journal, "Small yard", now=LATER)
    hours = coming_hours(house, LATER + timedelta(days=20))["mango"]
    assert hours.time_utc[0] > as_datetime64(LATER) >= hours.time_utc[0] - HOUR
    assert hours.time_utc[-1] == as_datetime64(LATER + timedelta(days=20)).astype("datetime64[h]")
    assert hours.n_past == hours.n_forecast == 0
    assert hours.done.air_c.shape[0] > 1
    assert np.array_equal(hours.done.leaf_c, hours.alone.leaf_c)
    assert np.isfinite(hours.done.air_c).all()
    apart = np.ptp(hours.t_air_c, axis=0)
    # One past, several years: the courses begin together and part. Single hours of a year may leap at once.
    assert np.median(apart[:6]) < 0.5 * np.median(apart[240:])


def test_a_forecast_comes_before_other_years(tmp_path):
    with open_journal(tmp_path / "c.db") as journal:
        early = house_with_past(journal, tmp_path, forcing=demo_forcing(), clock=demo_now)
        alone = coming_hours(early, demo_now() + timedelta(days=30))["mango"]
        assert alone.n_forecast == alone.time_utc.size  # no other years: it ends with the forecast
        use_packaged_years(journal, "Small yard", now=demo_now())
        hours = coming_hours(early, demo_now() + timedelta(days=30))["mango"]
        assert hours.n_forecast == alone.n_forecast < hours.time_utc.size
        told = demo_forcing().select(demo_now(), demo_forcing().end_utc)
        assert np.abs(hours.t_air_c[:, : told.n_times] - told.t_air_c).max() < 1e-9


def test_a_tree_that_sleeps_in_the_file_has_its_leaf_in_summer(tmp_path):
    spring = demo_forcing()
    months = np.timedelta64(180, "D")
    with open_journal(tmp_path / "d.db") as journal:
        text = YARD.replace(
            "id: lime, name: Lime, taxon: lime,", "id: lime, name: Lime, taxon: peach, stages: [dormant],"
        )
        moved = replace(
            past_forcing(),
            time_utc=past_forcing().time_utc + months,
            issued_utc=demo_forcing().end_utc + timedelta(days=180),
        )
        house = house_with_past(journal, tmp_path, clock=lambda: LATER + timedelta(days=180))
        journal.store_yard(text, name="Small yard", now=demo_now() - timedelta(days=59), author="test")
        keep(journal, moved)
        winter = season_hours(house, spring.start_utc, spring.end_utc)["lime"]
        summer = season_hours(house, moved.start_utc)["lime"]
    assert np.isnan(winter.done.leaf_c).all()
    assert np.isfinite(summer.done.leaf_c).all()


def test_fruit_that_was_entered_is_felt_from_then_on(house):
    before = season_hours(house, begin(house))["mango"]
    assert np.isnan(before.done.fruit_c).all()
    enter(house, Stage(stage="fruit"), "mango", begin(house))
    after = season_hours(house, begin(house))["mango"]
    assert np.isfinite(after.done.fruit_c).any()
    assert np.allclose(after.done.leaf_c, before.done.leaf_c, atol=0.05)
