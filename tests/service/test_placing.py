"""Where to plant, as a household asks: names, lists, room, words, documents; physics is made up."""

from __future__ import annotations

from datetime import date
from typing import get_args

import numpy as np
import pytest

from fruitwall.errors import PlanError, UnknownTaxonError
from fruitwall.plans.placing.sites import Reason, ReasonKey
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.stature import grown
from fruitwall.service.household import Household
from fruitwall.service.placing import placing_key, pot_question, sites_for, what_grows, wish_list
from fruitwall.service.placing_asked import (
    MOST_PLANTS,
    Wish,
    grown_crown_m,
    harmful_c,
    may_stand,
    pot_of,
    stake_of,
    wanted_of,
    wishes_of,
)
from fruitwall.service.placing_document import PlacingAnswer, placing_document
from fruitwall.service.placing_weather import chill_met, night_minima
from fruitwall.service.placing_words import REASONS, evidence_words, reason_words, where_words
from fruitwall.service.winters_weather import winter_weather
from fruitwall.speech import speaking
from fruitwall.yard.model import Display
from tests.service.many_winters import COLDEST_C
from tests.service.placing_made import fake_ground, placing_file, placing_house

__all__ = ["placing_file", "placing_house"]

MANGO, LYCHEE = "Mangifera indica", "Litchi chinensis"


@pytest.fixture
def yard(placing_house):
    return placing_house.yard()[0]


def household() -> Household:
    from zoneinfo import ZoneInfo

    return Household(Display(), ZoneInfo("America/Los_Angeles"))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("mango: 2", [Wish(MANGO, 2)]),
        ("2 mango\nlychee", [Wish(MANGO, 2), Wish(LYCHEE, 1)]),
        ("mango x 2; mango", [Wish(MANGO, 3)]),
        ("2 x mango, LYCHEE:3  # for the wall", [Wish(MANGO, 2), Wish(LYCHEE, 3)]),
        ("Mango in a pot\npot:pot\n\n", [Wish(MANGO, 1, "pot")]),
        ("mango: 0\nlychee", [Wish(LYCHEE, 1)]),
    ],
)
def test_wish_lists_are_read_as_people_write_them(yard, text, expected):
    assert list(wishes_of(text, yard, catalogue())) == expected


def test_all_that_is_wrong_with_a_list_is_told_at_once(yard):
    with pytest.raises(PlanError) as error:
        wishes_of("mangoo tree\nlychee\nxyzzy: 3", yard, catalogue())
    first, second = str(error.value).splitlines()
    assert first.startswith("1. mangoo tree: ")
    assert second.startswith("3. xyzzy: 3: ")
    with pytest.raises(PlanError, match="empty"):
        wishes_of(" \n# nothing", yard, catalogue())
    with pytest.raises(PlanError, match=f"at most {MOST_PLANTS}"):
        wishes_of("mango: 41", yard, catalogue())


def test_a_container_is_found_by_id_or_name_and_others_are_named(yard):
    assert pot_of(yard, " POT ").id == pot_of(yard, "Mango in a pot").id == "pot"
    with pytest.raises(PlanError, match="there are: pot"):
        pot_of(yard, "mango")


def test_a_grown_crown_keeps_its_distances(placing_house, yard):
    known = catalogue()
    raster = fake_ground(placing_house, [wanted_of(known.find("mango"), 3.0)])
    crown = grown_crown_m(known.find("mango"), 3.0)
    free = may_stand(yard, raster, known, crown)
    spots = np.stack([raster.x_m, raster.y_m], axis=1)[free]
    mango = grown(2.0, 1.5, None, known.find("mango"), 10).crown_diameter_m
    assert len(spots) > 0
    assert np.hypot(*(spots - (5, 8)).T).min() >= (crown + mango) / 2
    assert np.abs(spots[(spots[:, 0] > 4) & (spots[:, 0] < 16), 1] - 17).min() >= min(max(crown / 4, 0.6), 2.0)
    assert min(spots.min(), (20 - spots).min()) >= min(crown / 2, 2.0)
    gone = may_stand(yard, raster, known, crown, leave=["mango"])
    assert gone.sum() > free.sum()
    assert not may_stand(yard, raster, known, 60.0).any()


def test_what_hangs_on_a_tree_comes_from_the_yards_own_of_its_kind(yard):
    known = catalogue()
    own = stake_of(yard, known.find("mango"), known, height_m=1.0, crown_m=0.7)
    usual = stake_of(yard, known.find("lychee"), known, height_m=1.0, crown_m=0.7)
    assert own.worth == 190.0  # between 300 and 80
    assert (usual.worth, usual.crop_worth) == (100.0, 20.0)
    assert own.cover_minutes == pytest.approx(3.0 + 1.7 + 2.0)


def test_the_tender_are_harmed_sooner():
    known = catalogue()
    limits = [
        harmful_c(known.find(name), known, age_years=3, height_m=1) for name in ("papaya", "mango", "pomegranate")
    ]
    assert limits == sorted(limits, reverse=True)
    young, old = (harmful_c(known.find("mango"), known, age_years=age, height_m=3) for age in (1, 12))
    assert young >= old


def test_nights_of_the_winters_are_read_at_the_station(placing_house):
    weather = winter_weather(placing_house)
    nights = night_minima(weather)
    assert nights.minima_c.shape == (12, len(weather.nights))
    assert np.nanmin(nights.minima_c, axis=1) == pytest.approx(COLDEST_C)
    coldest = nights.evening[np.nanargmin(nights.minima_c[3])].astype(date)
    assert (coldest.month, coldest.day) == (1, 9)


def test_chill_is_told_for_those_that_need_it(placing_house):
    weather = winter_weather(placing_house)
    known = catalogue()
    assert chill_met(known.find("mango"), weather).basis == "none"
    kaki = chill_met(known.find("kaki"), weather)
    assert kaki.basis in ("kind", "unknown")
    if kaki.least is not None:
        assert 0.0 <= kaki.most <= kaki.least <= 1.0


def test_best_sites_lie_at_the_wall_and_are_told(placing_house, yard):
    found = sites_for(placing_house, ["mango", "Mango"])
    (kind,) = found.kinds
    assert kind.taxon == MANGO
    best = kind.sites[0]
    assert abs(best.y_m - 17) <= 2.0
    assert best.lives > kind.ordinary.lives
    assert kind.window.season == "spring"
    assert where_words(yard, household(), best.x_m, best.y_m).endswith(("of South wall", "of Lime"))
    answer = placing_document(found, yard, catalogue(), household())
    assert answer.kinds[0].sites[0].x_m == best.x_m
    assert any("wall gives back" in line for line in answer.kinds[0].sites[0].reasons)
    assert PlacingAnswer.model_validate_json(answer.model_dump_json()) == answer
    with speaking("es"):
        assert "un muro" in placing_document(found, yard, catalogue(), household()).kinds[0].sites[0].reasons[0]


def test_too_much_and_unknown_is_refused(placing_house):
    with pytest.raises(PlanError, match="1 to 12"):
        sites_for(placing_house, [])
    with pytest.raises(UnknownTaxonError):
        sites_for(placing_house, ["xyzzy"])


def test_a_container_is_weighed(placing_house, yard):
    found = pot_question(placing_house, "pot")
    assert found.tree == "pot"
    assert found.carried_to == "Hall"
    assert found.planting.pot.lifts > 0.0
    assert found.planting.pot.lives > 0.9
    answer = placing_document(found, yard, catalogue(), household()).pot
    assert answer.answer == found.planting.answer
    assert answer.site.x_m == found.site.x_m
    assert any("carried to Hall" in line for line in answer.because)


def test_a_wish_list_is_placed_with_room(placing_house, yard):
    wishes = wishes_of("mango: 2\nlychee\npot", yard, catalogue())
    found = wish_list(placing_house, wishes)
    placed = [(line.crown_m, site) for line in found.lines for site in line.sites]
    assert len(placed) + sum(line.missing for line in found.lines) == 4
    for number, (crown, site) in enumerate(placed):
        for other_crown, other in placed[:number]:
            assert np.hypot(site.x_m - other.x_m, site.y_m - other.y_m) >= (crown + other_crown) / 2 - 1e-6
    answer = placing_document(found, yard, catalogue(), household()).wish_list
    assert [line.tree for line in answer.lines] == [None, None, "pot"]
    assert answer.bound >= answer.value - 1e-6


def test_a_list_that_does_not_fit_names_what_is_left_out(placing_house, yard):
    found = wish_list(placing_house, wishes_of("mango: 30", yard, catalogue()))
    (line,) = found.lines
    assert line.missing == 30 - len(line.sites) > 0
    words = placing_document(found, yard, catalogue(), household()).wish_list.verdict
    assert any(f"{line.missing} of mango" in said for said in words)


def test_every_kind_is_ranked_once(placing_house, yard):
    found = what_grows(placing_house)
    assert {one.taxon for one in found.kinds} == {taxon.scientific for taxon in catalogue().taxa}
    assert len(found.kinds) == len(catalogue().taxa)
    answer = placing_document(found, yard, catalogue(), household())
    place = {one.taxon: number for number, one in enumerate(answer.ranking)}
    assert place["Punica granatum"] < place["Carica papaya"]
    assert all(one.words for one in answer.ranking)


def test_no_winter_is_told_as_such(placing_house, monkeypatch):
    monkeypatch.setattr("fruitwall.service.placing.winter_weather", lambda *_: None)
    assert placing_key(placing_house, "all") is None
    with pytest.raises(PlanError, match="climate fetch"):
        what_grows(placing_house)


def test_the_key_goes_by_the_question_and_the_yard(placing_house):
    first = placing_key(placing_house, "kind mango")
    assert first == placing_key(placing_house, "kind mango")
    assert first != placing_key(placing_house, "kind lychee")


def test_every_reason_has_its_words(yard):
    assert set(REASONS) == set(get_args(ReasonKey))
    for key in REASONS:
        said = reason_words(Reason(key, 0.5, "hut"), household(), yard)
        assert "{" not in said


def test_evidence_is_told_by_how_much_there_is():
    said = [evidence_words(voices, voices) for voices in (0, 1, 2, 6)]
    assert len(set(said)) == 4
    assert "relatives" in said[0]
    assert said[3].startswith("Well known: 6")


@pytest.mark.parametrize(("hours", "told"), [(5.96, "5.9"), (0.44, "0.4"), (6.0, "6"), (11.6, "12")])
def test_little_sun_is_not_rounded_up_to_what_is_wanted(yard, hours, told):
    assert f" {told} h" in reason_words(Reason("little_sun", hours), household(), yard)
