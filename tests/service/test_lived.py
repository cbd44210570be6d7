"""What each tree really went through, with what was really done for it."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service.ledger import Deed, Signed, take_back
from fruitwall.service.lived import coldest_hour_c, lived_nights
from fruitwall.service.nights import evening_of
from fruitwall.weather.demo import demo_now
from tests.service.past import LATER, YARD, enter, house_with_past

NIGHT = demo_now().date()


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


def cover(house, tree, night=NIGHT, key="cover:fleece_heavy@{tree}"):
    deed = Deed(what=key.format(tree=tree), words="Cover it", night=night, trees=[tree])
    evening = evening_of(house.yard()[0].location, night)
    return enter(house, deed, None, evening.sunset)


def of_night(house, tree, night=NIGHT):
    return next(one for one in lived_nights(house)[tree] if one.night == night)


def test_every_night_that_is_over_counts_and_none_that_is_not(house):
    nights = [one.night for one in lived_nights(house)["mango"]]
    assert nights == sorted(set(nights))
    assert NIGHT in nights
    assert max(nights) < LATER.date()
    assert np.array_equal(of_night(house, "mango").coldest_c, of_night(house, "mango").alone_c, equal_nan=True)


def test_a_ticked_cover_makes_the_exposure_the_covered_one_and_of_that_tree_and_night_alone(house):
    alone = coldest_hour_c(of_night(house, "mango"))
    cover(house, "mango")
    lived = of_night(house, "mango")
    assert lived.measure == "cover:fleece_heavy"
    assert coldest_hour_c(lived) > alone + 0.5
    assert lived.alone_c[0, 1] == pytest.approx(alone, abs=0.02)
    assert of_night(house, "twin").measure == "leave"
    assert of_night(house, "mango", NIGHT - timedelta(days=1)).measure == "leave"


def test_a_tick_taken_back_leaves_the_tree_as_it_stood(house):
    before = of_night(house, "mango")
    number = cover(house, "mango")
    take_back(house.ledger, number, signed=Signed("Ana", "phone", house.clock()), within=None)
    after = of_night(house, "mango")
    assert after.measure == "leave"
    assert np.array_equal(before.coldest_c, after.coldest_c, equal_nan=True)


def test_what_is_no_task_of_the_evening_changes_nothing(house):
    for key in ("watered", "cover:fleece_heavy@lime", "morning:abc", "lamps:strange@mango"):
        cover(house, "mango", key=key)
    assert of_night(house, "mango").measure == "leave"
    assert of_night(house, "lime").measure == "cover:fleece_heavy"


def test_nights_before_a_change_of_the_yard_are_those_of_the_yard_as_it_was(house):
    before = coldest_hour_c(of_night(house, "mango"))
    walled = YARD.replace(
        "trees:",
        "structures:\n  - {kind: roof, id: r, name: Roof, outline: [[3, 3], [7, 3], [7, 7], [3, 7]], height: 3 m,"
        " material: timber}\ntrees:",
    )
    house.journal.store_yard(walled, name="Small yard", now=demo_now() + timedelta(days=1), author="test")
    assert coldest_hour_c(of_night(house, "mango")) == pytest.approx(before, abs=0.05)
    assert coldest_hour_c(of_night(house, "mango", NIGHT + timedelta(days=2))) > -50.0
    after = {one.night: one for one in lived_nights(house)["mango"]}
    twin = {one.night: one for one in lived_nights(house)["twin"]}
    later = NIGHT + timedelta(days=2)
    assert coldest_hour_c(after[later]) > coldest_hour_c(twin[later]) + 0.5
    assert coldest_hour_c(after[NIGHT]) == pytest.approx(coldest_hour_c(twin[NIGHT]), abs=0.2)
