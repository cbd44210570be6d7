"""What the yard has taught of its trees: from looks and deeds in the ledger to before and after."""

from __future__ import annotations

import sys
from datetime import timedelta

import numpy as np
import pytest

from fruitwall.errors import LearningError
from fruitwall.journal.opening import open_journal
from fruitwall.plants.injury import first_injury_c
from fruitwall.service import beliefs as beliefs_module
from fruitwall.service.beliefs import NOTHING_LEARNED, beliefs_of
from fruitwall.service.ledger import Deed, Sighting, Signed, take_back
from fruitwall.service.lived import lived_nights
from fruitwall.service.looks_taken import looks_taken
from fruitwall.service.taught import sampled_shifts, taught, usual_tolerance
from fruitwall.weather.demo import demo_now
from tests.service.past import enter, house_with_past, past_forcing, warmer

NOW = demo_now() + timedelta(days=60)
LOOK = demo_now() + timedelta(days=30)
MILDER = warmer(past_forcing(), 4.0)
"""Nights that a mango may just stand."""

COLD_NIGHTS = [demo_now().date() + timedelta(days=days) for days in range(-4, 4)]


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path, forcing=MILDER, clock=lambda: NOW)


def look(house, tree, grade, at=LOOK, author="Ana"):
    return enter(house, Sighting(grade=grade), tree, at, author)


def cover_it(house, tree):
    for night in COLD_NIGHTS:
        enter(house, Deed(what=f"cover:fleece_heavy@{tree}", words="Cover", night=night), tree, demo_now())


def test_a_tree_that_stood_more_than_believed_is_hardier_after_and_its_kind_a_little(house):
    look(house, "mango", 0)
    known = taught(house).trees
    mango, twin, lime = known["mango"], known["twin"], known["lime"]
    assert mango.shift.mean_k < -0.5
    assert mango.after.p50 < mango.before.p50 - 0.4
    assert mango.shift.mean_k < twin.shift.mean_k < -0.1
    assert abs(lime.shift.mean_k) < abs(twin.shift.mean_k)
    (seen,) = mango.evidence
    assert seen.coldest_night in COLD_NIGHTS
    assert seen.pull_k == pytest.approx(mango.shift.mean_k, abs=0.15)
    assert twin.evidence == ()
    assert sum(seen.expected) == pytest.approx(1.0)


def test_a_look_taken_back_takes_its_influence_with_it(house):
    before = taught(house)
    number = look(house, "mango", 0)
    assert taught(house).trees["mango"].shift.mean_k < -0.5
    take_back(house.ledger, number, signed=Signed("Ana", "phone", NOW), within=None)
    after = taught(house)
    assert {name: one.shift for name, one in after.trees.items()} == {
        name: one.shift for name, one in before.trees.items()
    }
    assert after.trees["mango"].after == before.trees["mango"].before


def test_a_tree_that_stood_under_a_cover_has_shown_less(house):
    look(house, "mango", 0)
    bare = taught(house).trees["mango"].shift.mean_k
    cover_it(house, "mango")
    covered = taught(house).trees["mango"]
    assert covered.evidence[0].measure == "cover:fleece_heavy"
    assert bare < covered.shift.mean_k < 0.0


def test_entries_teach_the_same_in_whatever_order_they_came(tmp_path):
    told = [("mango", 0, "Ana"), ("twin", 3, "Ben"), ("lime", 2, "Ana"), ("lime", 0, "Ben")]
    found = []
    for at, order in enumerate((told, told[::-1])):
        with open_journal(tmp_path / f"{at}.db") as journal:
            house = house_with_past(journal, tmp_path, forcing=MILDER, clock=lambda: NOW)
            for tree, grade, author in order:
                look(house, tree, grade, LOOK + timedelta(hours=told.index((tree, grade, author))), author)
            found.append({name: one.shift for name, one in taught(house).trees.items()})
    for name, shift in found[0].items():
        assert (found[1][name].mean_k, found[1][name].sd_k) == pytest.approx((shift.mean_k, shift.sd_k), abs=1e-6)


def test_burnt_leaf_that_is_still_there_after_mild_nights_teaches_nothing_new(house):
    look(house, "mango", 3, demo_now() + timedelta(days=3, hours=20))
    once = taught(house).trees["mango"].shift.mean_k
    look(house, "mango", 3, demo_now() + timedelta(days=6))
    again = taught(house).trees["mango"]
    assert again.shift.mean_k == pytest.approx(once, abs=0.1)
    assert [one.grade for one in again.evidence] == [3, 3]


def test_a_look_before_any_known_night_and_one_without_a_grade_say_nothing(house):
    look(house, "mango", 0, demo_now() - timedelta(days=30))
    enter(house, Sighting(signs=["tips"]), "twin", LOOK)
    assert looks_taken(house, lived_nights(house)) == []
    assert all(one.shift.mean_k == 0.0 for one in taught(house).trees.values())


def test_a_plan_takes_what_was_learned_and_says_so(house):
    look(house, "mango", 0)
    yard, _ = house.yard()
    published = usual_tolerance(yard, "mango", NOW.date())
    believed = beliefs_of(house).stands("mango", published)
    assert first_injury_c(believed, "leaf")[1] == pytest.approx(taught(house).trees["mango"].after.p50)
    assert np.nanmax(believed.threshold_c - published.threshold_c) < -0.3
    assert "hardier than published" in believed.provenance[-1]
    assert NOTHING_LEARNED.stands("mango", published) is published


def test_where_learning_fails_the_plan_is_made_as_published_and_says_why(house, monkeypatch):
    def fails(*_):
        raise ArithmeticError("no mode found")

    monkeypatch.setattr(beliefs_module, "taught", fails)
    believed = beliefs_of(house)
    assert "no mode found" in believed.trouble[0]
    published = usual_tolerance(house.yard()[0], "mango", NOW.date())
    assert believed.stands("mango", published) is published


def test_what_nobody_could_believe_counts_as_a_slip_and_hardly_teaches(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, clock=lambda: NOW)  # leaves went to -9 °C
        look(house, "mango", 0)
        (seen,) = taught(house).trees["mango"].evidence
        assert seen.expected[0] < 0.001
        assert abs(seen.pull_k) < 0.25


def test_sampling_says_what_it_lacks(house, monkeypatch):
    with pytest.raises(LearningError, match="no graded look"):
        sampled_shifts(house)
    look(house, "mango", 0)
    monkeypatch.setitem(sys.modules, "blackjax", None)
    with pytest.raises(LearningError, match=r"blackjax.*pip install 'fruitwall\[bayes\]'"):
        sampled_shifts(house)
