"""What was unexpected: told where it is sure enough, and never an advice that risks a tree."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from math import hypot
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from fruitwall.learning.applied import taught_tolerance
from fruitwall.learning.spots import Offset
from fruitwall.learning.tolerances import Learned, Shift, TreePrior, learn
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import DURATIONS_H, grade_chances, loss_share
from fruitwall.plants.tolerance import TISSUES, Tolerance, prior
from fruitwall.service.evening_document import Spread
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Signed, entry_of
from fruitwall.service.lived import Lived
from fruitwall.service.surprise_words import bound_words, done_words, look_told, nothing_yet, pull_words, told
from fruitwall.service.surprises import (
    LISTED,
    SAFE,
    Surprise,
    minutes_of,
    surprises,
)
from fruitwall.service.taught import Evidence, Taught, TaughtTree
from fruitwall.service.worth_it import EXPOSURE_SD_K, NODES, WEIGHTS, Belief, fate, verb_of
from fruitwall.speech import speaking
from fruitwall.yard.demo import demo_yard_text
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display, Yard
from tests.web.sample import sample_yard

FIRST = date(2025, 12, 1)
PRIOR_SD_K = 1.2
LEAF = TISSUES.index("leaf")
CELSIUS = Household(Display(temperature="C"), ZoneInfo("America/Los_Angeles"))
FAHRENHEIT = Household(Display(temperature="F"), ZoneInfo("America/Los_Angeles"))


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


@cache
def demo() -> Yard:
    return parse_yard(demo_yard_text())


@cache
def stands(kind: str = "meyer lemon", **how: object) -> Tolerance:
    known = catalogue()
    return prior(known.find(kind), **({"age_years": 8.0, "height_m": 2.0, "potted": False} | how), known=known)


def exposure(coldest_hour_c: float) -> np.ndarray:
    """Make exposures of all tissues but fruit and root whose coldest hour is this; longer ones are milder."""
    cold = np.full((len(TISSUES), len(DURATIONS_H)), np.nan)
    cold[:3] = coldest_hour_c + np.array([-0.2, 0.0, 0.3, 0.8, 1.6])
    return cold


def night(at: int, alone_c: float, with_c: float | None = None, measure: str = "leave", **more: object) -> Lived:
    done = exposure(alone_c if with_c is None else with_c)
    tolerance = more.pop("tolerance", None) or stands()
    return Lived(FIRST + timedelta(days=at), measure, measure, done, exposure(alone_c), tolerance, **more)


def look(grade: int, expected: tuple[float, ...], of: Lived, *, cold: float = 1.0, pull_k: float = 0.4) -> Evidence:
    return Evidence(
        entry="3b241101-e2bb-4255-8caf-4136c566a962",
        at=datetime(2025, 12, 20, 18, tzinfo=UTC),
        observer="Odalis",
        grade=grade,
        nights=9,
        coldest_night=of.night,
        coldest_c=float(of.coldest_c[LEAF, 1]),
        measure=of.measure,
        measure_name=of.measure_name,
        expected=expected,
        cold=cold,
        pull_k=pull_k,
    )


def learned(shift: Shift, tree: str = "lemon") -> Learned:
    return replace(learn([TreePrior(tree, "Citrus × meyeri", 1.0)], ()), trees={tree: shift}, chill={})


def taught(yard: Yard, shift: Shift, evidence: tuple[Evidence, ...] = (), tree: str | None = None) -> Taught:
    its = next(one for one in yard.trees if one.id == (tree or yard.trees[0].id))
    begins = -3.0
    one = TaughtTree(
        tree=its.id,
        name=its.name,
        kind="Citrus × meyeri",
        before=Spread(p10=begins - 2.0, p50=begins, p90=begins + 2.0),
        after=Spread(p10=begins + shift.mean_k - 1, p50=begins + shift.mean_k, p90=begins + shift.mean_k + 1),
        tissue="leaf",
        shift=shift,
        prior_sd_k=PRIOR_SD_K,
        evidence=evidence,
    )
    return Taught({its.id: one}, learned(shift, its.id), learned(Shift(0.0, PRIOR_SD_K), its.id), 30)


def lemon_yard() -> Yard:
    """The demo yard with one tree left, a lemon of some worth."""
    whole = demo()
    only = whole.trees[0].model_copy(update={"worth": 200.0, "fruit_worth": 0.0, "stages": ["leafy"], "id": "lemon"})
    return whole.model_copy(update={"trees": [only], "shelters": []})


@pytest.fixture
def yard() -> Yard:
    return lemon_yard()


def found(yard: Yard, shift: Shift, nights: list[Lived], minutes: float | None = 6.0, **more) -> list[Surprise]:
    evidence = tuple(more.pop("evidence", ()))
    done = {("lemon", one.night): minutes for one in nights if one.measure != "leave"}
    offsets = more.pop("offsets", {})
    return surprises(taught(yard, shift, evidence), {"lemon": nights}, offsets, yard, done)


# ---------------------------------------------------------------- the judgement under it


@given(
    hour_c=st.floats(-8.0, 2.0), mean_k=st.floats(-2.0, 2.0), sd_k=st.floats(0.2, 1.2), kind=st.sampled_from([0, 1, 2])
)
@settings(max_examples=25)
def test_chances_are_those_of_injury_with_what_was_learned(hour_c, mean_k, sd_k, kind):
    tolerance = stands(("meyer lemon", "mango", "avocado")[kind])
    nights = [night(0, hour_c + 1.0, tolerance=tolerance), night(1, hour_c, tolerance=tolerance)]
    before, now = Shift(0.0, 1.0), Shift(mean_k, sd_k)

    got = fate(nights, Belief(before, now))

    # By the other way: the tolerance moved as a whole, its spread wide enough for what is not known of the night.
    moved = taught_tolerance(tolerance, before, now)
    moved = replace(
        moved, slope_k=hypot(moved.slope_k, EXPOSURE_SD_K), duration_sd_k_per_log2h=0.0, pale_level_c=float("nan")
    )
    exact = grade_chances(moved, np.stack([one.coldest_c for one in nights]), nights_axis=0)
    for grade in (2, 4, 5, 7):
        # Where longer exposures count, their own doubt is in ours and not in the other.
        assert got.chance(grade) == pytest.approx(exact[grade:].sum(), abs=0.02)
    assert WEIGHTS @ got.loss(100.0, 0.0) == pytest.approx(100.0 * float(loss_share(exact)), abs=2.0)


def test_chilling_counts_above_freezing_and_follows_what_was_learned_of_its_level():
    tolerance = stands("breadfruit")
    nights = [night(at, 4.0, tolerance=tolerance) for at in range(5)]
    assert not np.isnan(tolerance.chill_level_c), "the kind of this test has to suffer above freezing"
    usual = Belief(Shift(0.0, 1.0), Shift(0.0, 1.0), (Shift(0.0, 2.0), Shift(0.0, 2.0)))
    hardy = replace(usual, chill=(Shift(0.0, 2.0), Shift(-6.0, 0.5)))

    assert fate(nights, usual).chance(2) > 0.3
    assert fate(nights, hardy).chance(2) < 0.05
    assert fate(nights, hardy.unlearned()).chance(2) == fate(nights, usual).chance(2)


def test_without_nights_and_without_ice_nothing_is_lost():
    belief = Belief(Shift(0.0, 1.0), Shift(0.0, 1.0))

    assert fate([], belief).chance(1) == 0.0
    assert fate([night(0, 3.0)], belief).chance(2) == 0.0
    assert WEIGHTS.sum() == pytest.approx(1.0)
    assert float(WEIGHTS @ NODES**2) == pytest.approx(1.0, abs=0.01)


# ---------------------------------------------------------------- trees and spots


@pytest.mark.parametrize(("mean_k", "kind"), [(-2.0, "hardier"), (2.0, "tenderer")])
def test_a_tree_that_stands_other_than_believed_is_told_with_the_chance_that_it_is_a_kelvin(yard, mean_k, kind):
    one = found(yard, Shift(mean_k, 0.6), [night(0, -4.0)])[0]

    assert one.kind == kind
    assert one.chance == pytest.approx(norm.cdf(1.0 / 0.6))
    assert one.size_k == mean_k
    assert one.worth > 0


def test_what_may_as_well_be_chance_is_no_surprise(yard):
    assert found(yard, Shift(-1.2, 0.6), [night(0, -4.0)]) == []  # a chance of 63 % that it is a kelvin
    assert found(yard, Shift(0.0, PRIOR_SD_K), []) == []


def test_a_spot_is_told_by_its_offset_on_clear_calm_nights_where_it_was_read(yard):
    read = Offset((-0.4, -1.6), ((0.04, 0.0), (0.0, 0.21)), 12)
    one = found(yard, Shift(0.0, 1.0), [night(0, -3.0)], offsets={"lemon": read})[0]

    assert (one.kind, one.count) == ("colder", 12)
    assert one.chance == pytest.approx(norm.cdf(1.5 / 0.5))
    assert "at least 0.5 K colder" in plain(told(one, CELSIUS).strength)
    assert found(yard, Shift(0.0, 1.0), [], offsets={"lemon": replace(read, nights=0)}) == []
    warm = Offset((0.4, 1.6), read.covariance, 12)
    assert found(yard, Shift(0.0, 1.0), [], offsets={"lemon": warm})[0].kind == "warmer"


def test_a_tree_that_suffers_above_freezing_is_judged_by_what_was_learned_of_its_chill_level(yard):
    known = taught(yard, Shift(0.0, 0.5))
    warm = {name: Spread(p10=at - 2.0, p50=at, p90=at + 2.0) for name, at in (("before", 6.0), ("after", 3.0))}
    known = replace(
        known,
        trees={"lemon": replace(known.trees["lemon"], **warm)},
        learned=replace(known.learned, chill={"lemon": Shift(-3.0, 0.8)}),
        before=replace(known.before, chill={"lemon": Shift(0.0, 2.0)}),
    )

    (one,) = surprises(known, {"lemon": []}, {}, yard, {})

    assert (one.kind, one.size_k) == ("hardier", -3.0)
    assert one.chance == pytest.approx(norm.cdf(2.0 / 0.8))
    assert "3.0" in told(one, CELSIUS).lines[0]


# ---------------------------------------------------------------- measures


def carried(*hours_c: float) -> list[Lived]:
    return [night(at, hour, 8.0, "carry:shed") for at, hour in enumerate(hours_c)]


def test_carrying_that_saved_less_than_its_minutes_is_to_be_stopped_down_to_the_coldest_of_these_nights(yard):
    mild = [-0.3 - 0.1 * at for at in range(11)]
    one = found(yard, Shift(0.0, 0.5), carried(*mild))[0]

    assert one.kind == "stop"
    assert one.trial is not None
    assert (one.trial.verb, one.trial.times, one.trial.winters, one.trial.colder) == ("carry", 11, 1, 0)
    assert one.trial.minutes == 66.0
    assert one.trial.cost == pytest.approx(66.0 / 60.0 * yard.prices.per_hour)
    assert one.trial.bound_c == pytest.approx(-1.3)
    assert one.trial.dead <= dict(SAFE)[7]
    assert one.chance >= LISTED


def test_two_winters_share_what_was_done(yard):
    first = carried(-0.4, -0.5, -0.6, -0.7)
    second = [replace(one, night=one.night + timedelta(days=365)) for one in first]

    assert found(yard, Shift(0.0, 0.5), first)[0].trial.minutes == 24.0
    both = found(yard, Shift(0.0, 0.5), first + second)[0].trial
    assert (both.minutes, both.times, both.winters) == (24.0, 8, 2)


def test_advice_to_stop_ends_where_a_colder_night_was_that_it_could_not_have_stood(yard):
    one = next(one for one in found(yard, Shift(0.0, 0.5), carried(-0.4, -0.6, -0.8, -1.0, -9.0)) if one.kind == "stop")

    assert (one.trial.times, one.trial.colder) == (4, 1)
    assert one.trial.bound_c == pytest.approx(-1.0)
    assert date(2025, 12, 5) not in {proof.night for proof in one.nights}


@given(
    hours=st.lists(st.floats(-9.0, 3.0), min_size=3, max_size=12),
    mean_k=st.floats(-2.5, 2.5),
    sd_k=st.floats(0.2, 1.2),
    worth=st.sampled_from([0.0, 1.0, 200.0]),
    kind=st.sampled_from(["meyer lemon", "mango", "papaya"]),
)
@settings(max_examples=30)
def test_no_advice_to_do_less_risks_a_tree_however_little_it_is_worth(hours, mean_k, sd_k, worth, kind):
    whole = demo()
    only = whole.trees[0].model_copy(update={"worth": worth, "id": "lemon", "stages": ["leafy"]})
    yard = whole.model_copy(update={"trees": [only], "shelters": []})
    tolerance = stands(kind)
    nights = [night(at, hour, 8.0, "carry:shed", tolerance=tolerance) for at, hour in enumerate(hours)]
    shift = Shift(mean_k, sd_k)

    for one in found(yard, shift, nights):
        if one.kind != "stop":
            continue
        left = [its for its in nights if its.alone_c[LEAF, 1] >= one.trial.bound_c - 1e-9]
        moved = taught_tolerance(tolerance, Shift(0.0, PRIOR_SD_K), shift)
        chances = grade_chances(moved, np.stack([its.alone_c for its in left]), nights_axis=0)
        for grade, most in SAFE:
            assert chances[grade:].sum() <= most + 0.005
        assert len(left) == one.trial.times


def test_twice_is_not_often_enough_to_advise_against_it(yard):
    assert found(yard, Shift(0.0, 0.5), carried(-0.4, -0.5)) == []


def test_what_saved_the_tree_paid(yard):
    one = next(one for one in found(yard, Shift(0.0, 0.5), carried(-7.0, -8.0, -9.0)) if one.kind == "paid")

    assert one.trial.saved > 10 * one.trial.cost
    assert one.worth == pytest.approx(one.trial.saved - one.trial.cost)
    assert one.chance > 0.95


def test_minutes_that_nobody_told_are_the_usual_ones_and_what_still_stood_took_none(yard):
    nights = carried(-0.4, -0.5, -0.6, -0.7)
    done = {("lemon", nights[0].night): 10.0, ("lemon", nights[1].night): None}  # the others: nothing was done anew

    one = surprises(taught(yard, Shift(0.0, 0.5)), {"lemon": nights}, {}, yard, done)[0]

    assert one.trial.minutes == 20.0


def in_hoops(yard: Yard, second_stands: Tolerance, worst: Shift) -> list[Surprise]:
    """Two trees below one shelter, closed on eight mild nights and one cold one."""
    trees = [yard.trees[0].model_copy(update={"id": name, "name": name.title()}) for name in ("a", "b")]
    shelter = demo().shelters[0].model_copy(update={"trees": ["a", "b"], "id": "hoops", "name": "Hoops"})
    yard = yard.model_copy(update={"trees": trees, "shelters": [shelter]})
    hours = [-0.3 - 0.1 * at for at in range(8)] + [-6.0]
    lived = {
        "a": [night(at, hour, 3.0, "shelter:hoops") for at, hour in enumerate(hours)],
        "b": [
            night(at, hour - 0.2, 3.0, "shelter:hoops+lamps:x", tolerance=second_stands)
            for at, hour in enumerate(hours)
        ],
    }
    parts = {name: taught(yard, Shift(0.0, 0.5) if name == "a" else worst, tree=name) for name in ("a", "b")}
    known = replace(parts["a"], trees={name: one.trees[name] for name, one in parts.items()})
    minutes = {(name, one.night): 3.0 for name, its in lived.items() for one in its}
    return surprises(known, lived, {}, yard, minutes)


def test_a_shelter_over_several_trees_is_judged_for_all_of_them_together(yard):
    (one,) = [one for one in in_hoops(yard, stands(), Shift(0.0, 0.5)) if one.kind == "stop"]

    assert (one.name, [name for _, name in one.others]) == ("Hoops", ["A", "B"])
    assert (one.trial.times, one.trial.colder, one.trial.minutes) == (8, 1, 48.0)
    assert one.trial.bound_c == pytest.approx(-1.0)  # of the tree that stays the warmer
    assert one.tree == "b"  # the one in more danger gives the nights
    words = told(one, CELSIUS)
    assert words.lines[0] == "In it stand A and B."
    assert words.change.startswith("Leave the shelter open")


def test_a_shelter_is_not_left_open_for_one_tree_while_another_in_it_needs_it(yard):
    assert [one.kind for one in in_hoops(yard, stands("papaya"), Shift(4.0, 0.3))].count("stop") == 0


# ---------------------------------------------------------------- hurt more than expected

SURE = (0.9, 0.04, 0.03, 0.02, 0.01, 0.0, 0.0, 0.0)
"""Expected: hardly any harm."""


def test_a_tree_that_was_left_alone_and_hurt_is_to_be_protected_from_where_harm_may_begin(yard):
    nights = [night(0, -2.5), night(1, -1.0), *carried(-0.5, -0.6, -0.7)[:0]]
    kinds = {one.kind: one for one in found(yard, Shift(2.0, 0.5), nights, evidence=[look(4, SURE, nights[0])])}

    assert set(kinds) == {"start", "tenderer"}
    assert kinds["start"].limit_c == 0.0  # never above freezing
    assert kinds["start"].seen.grade == 4
    assert plain(told(kinds["start"], CELSIUS).lines[0]) == (
        "It was left alone and hurt more than was expected. After −2.5 °C in the night of Mon 1 Dec 2025: "
        "“Most leaf lost”; so bad, or worse, had a chance of 1 %."
    )


def test_one_that_is_to_be_protected_sooner_is_not_to_be_protected_less(yard):
    nights = [night(0, -3.0), *carried(*[-0.3] * 8)]
    nights = [replace(one, night=FIRST + timedelta(days=at)) for at, one in enumerate(nights)]
    kinds = [one.kind for one in found(yard, Shift(2.0, 0.5), nights, evidence=[look(4, SURE, nights[0])])]

    assert "start" in kinds
    assert "stop" not in kinds
    assert "stop" in [one.kind for one in found(yard, Shift(2.0, 0.5), nights)]


def test_hurt_under_its_cover_is_told_as_too_little(yard):
    nights = [night(0, -5.0, -3.0, "cover:fleece_light")]
    kinds = {one.kind for one in found(yard, Shift(1.0, 0.4), nights, evidence=[look(3, SURE, nights[0])])}

    assert "too_little" in kinds
    assert "start" not in kinds


@pytest.mark.parametrize(
    ("grade", "expected", "cold"),
    [
        (1, SURE, 1.0),  # paler is no harm
        (4, (0.1, 0.1, 0.2, 0.2, 0.2, 0.1, 0.05, 0.05), 1.0),  # as was expected
        (4, SURE, 0.3),  # rather of something else
    ],
)
def test_what_is_no_unexpected_harm_by_cold_asks_for_nothing(yard, grade, expected, cold):
    nights = [night(0, -3.0)]

    kinds = {
        one.kind for one in found(yard, Shift(0.0, 0.5), nights, evidence=[look(grade, expected, nights[0], cold=cold)])
    }

    assert "start" not in kinds


def test_what_was_seen_before_is_no_new_harm(yard):
    old, new = night(0, -6.0, -1.0, "cover:fleece_light"), night(20, -2.5)
    likely = (0.1, 0.1, 0.1, 0.1, 0.6, 0.0, 0.0, 0.0)
    evidence = [look(4, likely, old), look(4, SURE, new)]

    assert "start" not in {one.kind for one in found(yard, Shift(2.0, 0.5), [old, new], evidence=evidence)}
    assert "start" in {one.kind for one in found(yard, Shift(2.0, 0.5), [old, new], evidence=evidence[1:])}


# ---------------------------------------------------------------- order, words


def test_what_is_to_be_changed_comes_first_then_what_is_worth_most(yard):
    trees = [yard.trees[0].model_copy(update={"id": name, "name": name}) for name in ("a", "b", "c")]
    yard = yard.model_copy(update={"trees": trees})
    parts = {name: taught(yard, Shift(-2.5, 0.5), tree=name) for name in ("a", "b", "c")}
    known = replace(parts["a"], trees={name: one.trees[name] for name, one in parts.items()})
    lived = {"a": [night(0, -3.0)], "b": [night(0, -5.0)], "c": carried(*[-0.5] * 9)}
    minutes = {("c", one.night): 6.0 for one in lived["c"]}

    got = surprises(known, lived, {}, yard, minutes)

    assert [(one.kind, one.tree) for one in got[:3]] == [("stop", "c"), ("hardier", "b"), ("hardier", "a")]


def every_kind(yard: Yard) -> list[Surprise]:
    nights = [night(0, -2.5), night(1, -1.0)]
    offset = Offset((-0.4, -1.6), ((0.04, 0.0), (0.0, 0.21)), 12)
    warm = Offset((0.4, 1.6), ((0.04, 0.0), (0.0, 0.21)), 1)
    under = [night(0, -5.0, -3.0, "cover:fleece_light+lamps:string")]
    return [
        *found(yard, Shift(2.0, 0.5), nights, evidence=[look(4, SURE, nights[0], cold=0.8)], offsets={"lemon": offset}),
        *found(yard, Shift(-2.0, 0.5), carried(*[-0.5] * 9), offsets={"lemon": warm}),
        *found(yard, Shift(0.0, 0.5), carried(-0.4, -0.6, -0.8, -1.0, -9.0)),
        *found(yard, Shift(0.0, 0.5), carried(-7.0, -8.0, -9.0)),
        *found(yard, Shift(1.0, 0.4), under, evidence=[look(3, SURE, under[0], pull_k=-0.01)]),
    ]


def test_every_kind_is_said_in_both_languages_and_units(yard):
    some = every_kind(yard)
    assert {one.kind for one in some} == {
        "hardier", "tenderer", "colder", "warmer", "stop", "start", "too_little", "paid"
    }  # fmt: skip
    for one in some:
        english = told(one, CELSIUS)
        with speaking("es"):
            spanish = told(one, CELSIUS)
        american = told(one, FAHRENHEIT)
        for told_en, told_es in (
            *zip(english.lines, spanish.lines, strict=True),
            (english.change, spanish.change),
            (english.strength, spanish.strength),
        ):
            assert told_en
            assert told_en != told_es
        whole = plain(" ".join([*american.lines, american.change, american.bounds, american.strength]))
        assert "°C" not in whole
        assert " K" not in whole


def test_what_is_said_of_carrying_for_nothing(yard):
    one = found(yard, Shift(0.0, 0.5), carried(-0.4, -0.6, -0.8, -1.2, -9.0))[0]
    words = told(one, CELSIUS)

    assert words.lines[0].startswith("Carried in on 4 nights. Left alone on all of them: burnt leaf or worse with")
    assert plain(words.change) == "Stop carrying it while its coldest hour stays above −1.0 °C: 24 min a winter saved."
    assert words.bounds == "Below that go on: on 1 colder night the risk was not small."
    assert "that it saved less than it cost" in words.strength


def test_bounds_are_rounded_to_the_milder_side():
    assert plain(bound_words(-1.2, CELSIUS)) == "−1.0 °C"
    assert plain(bound_words(-1.0, CELSIUS)) == "−1.0 °C"
    assert plain(bound_words(-1.2, FAHRENHEIT)) == "30 °F"  # −1.2 °C is 29.84 °F
    assert plain(bound_words(float("nan"), CELSIUS)) == "unknown"


def test_a_look_is_told_with_what_was_expected_and_how_far_it_pulls():
    one = look_told(look(4, SURE, night(0, -2.5), cold=0.8), CELSIUS)

    assert one.seen == "Grade 4: Most leaf lost"
    assert plain(one.pull) == "0.4 K more tender"
    assert plain(one.expected) == "expected: so bad, or worse, with a chance of 1 %; that it is of cold: 80 %"
    assert plain(one.nights) == "9 nights since the look before, the coldest −2.5 °C (Mon 1 Dec 2025)"
    well = look_told(look(0, SURE, night(0, -2.5), pull_k=-0.3), CELSIUS)
    assert plain(well.expected) == "expected: so well with a chance of 90 %"
    assert plain(pull_words(-0.3, FAHRENHEIT)) == "0.5 °F hardier"
    assert pull_words(0.02, CELSIUS) == "changes nothing by itself"


def test_what_is_needed_is_said_where_nothing_is_known():
    assert len(nothing_yet(0, 0)) == 4
    assert len(nothing_yet(3, 40)) == 2
    assert "3 looks" in nothing_yet(3, 40)[0]


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("leave", "nothing"),
        ("carry:shed", "carried in"),
        ("cover:fleece_light/frame+lamps:a", "covered, with heat"),
        ("wet", "ground wetted"),
        ("shelter:hoops", "shelter closed"),
        ("pick", "something done"),
    ],
)
def test_what_was_done_is_named_by_its_key(key, words):
    assert done_words(key) == words


def test_what_was_done_has_one_verb_only_where_it_was_always_the_same():
    assert verb_of(["cover:a", "cover:b+lamps:c"]) == "cover"
    assert verb_of(["cover:a", "carry:shed"]) == "other"
    assert verb_of(["pick"]) == "other"


# ---------------------------------------------------------------- minutes from the ledger


def test_minutes_are_those_ticked_shared_among_the_trees_of_a_task(database, tmp_path, now):
    from fruitwall.journal.opening import open_journal
    from fruitwall.journal.photos import PhotoFolder
    from fruitwall.service.house import House
    from fruitwall.yard.file import write_yard

    with open_journal(database) as journal:
        yard = sample_yard()
        journal.store_yard(write_yard(yard), name=yard.name, now=now, author="test")
        house = House(journal, None, lambda: now, PhotoFolder(tmp_path / "photos"))
        evening = now.date()
        signed = Signed("Odalis", "phone", now)
        shared = Deed(what="shelter:hoops", words="x", night=evening, minutes=6.0, trees=["papaya", "pot-mango"])
        own = Deed(what="cover:a@papaya", words="x", night=evening, minutes=4.0)
        untold = Deed(what="cover:a@lychee", words="x", night=evening)
        entries = [
            entry_of("deed", deed, tree=tree, at=now, signed=signed)
            for deed, tree in ((shared, None), (own, "papaya"), (untold, "lychee"))
        ]
        house.ledger.add(entries)

        assert minutes_of(house) == {
            ("papaya", evening): 7.0,
            ("pot-mango", evening): 3.0,
            ("lychee", evening): None,
        }
