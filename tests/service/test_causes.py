"""What sightings may come of: from ledger, hand-made nights and weather to causes, and answers that can be undone."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from fruitwall.errors import JournalError
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.causes import Reason
from fruitwall.plants.injury import DURATIONS_H
from fruitwall.plants.tolerance import TISSUES, prior
from fruitwall.service import causes as module
from fruitwall.service.cause_words import (
    CAUSE_NAMES,
    GROUNDS,
    QUESTIONS,
    WHAT_TO_DO,
    WHAT_TO_WAIT_FOR,
    reason_words,
    source_words,
    verdict_words,
)
from fruitwall.service.causes import (
    CANNOT_TELL,
    NONE_OF_THEM,
    answer,
    causes_of,
    cold_chances,
    cold_share,
    findings_of,
    take_answer_back,
)
from fruitwall.service.corrections import chain_of
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import SIGNS, Body, Deed, Sighting, Signed, Stage, body_of, entry_of
from fruitwall.service.lived import Lived
from fruitwall.service.spells import KnownHours
from fruitwall.speech import speaking
from fruitwall.yard.model import Display
from tests.databases import with_tables

NOW = datetime(2027, 2, 20, 18, 0, tzinfo=UTC)

YARD = """\
fruitwall: 1
name: Small yard
location: {{latitude: {latitude}, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
trees:
  - {{id: mango, name: Mango, taxon: mango, position: [5, 5], height: 2 m, crown_diameter: 1.5 m}}
  - {{id: moya, name: Moya, taxon: cherimoya, position: [15, 5], height: 2 m, crown_diameter: 1.5 m}}
  - {{id: coco, name: Coco, taxon: coconut, position: [9, 15], height: 1.5 m, crown_diameter: 1 m, hurt: 3}}
"""


@pytest.fixture
def house(request, tmp_path, monkeypatch) -> Iterator[House]:
    """A household without weather; `nights` gives it some."""
    monkeypatch.setattr(module, "lived_nights", lambda _: {})
    yield from _house(request, tmp_path, 33.92)


def _house(request, folder, latitude) -> Iterator[House]:
    with open_journal(with_tables(request, "sqlite", folder)) as journal:
        journal.store_yard(YARD.format(latitude=latitude), name="Small", now=NOW - timedelta(days=400), author="test")
        yield House(journal, None, lambda: NOW, PhotoFolder(folder / "photos"))


def lived(night: date, celsius: float, kind: str = "mango", stages: tuple[str, ...] = ("leafy",)) -> Lived:
    """A night in which all of the tree was so cold for up to an hour, and milder for longer."""
    longer = np.array([0.0 if hours <= 1 else np.log2(hours) for hours in DURATIONS_H])
    coldest = np.broadcast_to(celsius + longer, (len(TISSUES), len(DURATIONS_H))).copy()
    stands = prior(catalogue().find(kind), age_years=10, height_m=3, potted=False, stages=stages)
    return Lived(night, "leave", "leave as it is", coldest, coldest, stands)


def nights(monkeypatch, tree: str, coldest_c: float, *, last: date = date(2027, 2, 19), count: int = 60) -> None:
    """Give a tree mild nights, the tenth from last as cold as told."""
    found = [lived(last - timedelta(days=back), coldest_c if back == 10 else 9.0) for back in range(count)]
    monkeypatch.setattr(module, "lived_nights", lambda _: {tree: tuple(reversed(found))})


def enter(house: House, body: Body, tree: str = "mango", days: float = 0.0) -> str:
    kind = {Sighting: "sighting", Deed: "deed", Stage: "stage"}[type(body)]
    at = NOW - timedelta(days=days)
    entry = entry_of(kind, body, tree=tree, at=at, signed=Signed("Ana", "phone", NOW))
    house.ledger.add([entry])
    return entry.id


def finding(house: House, which: str):
    entry = house.ledger.entry(which)
    assert entry is not None
    found = causes_of(house, entry)
    assert found is not None
    return found


def cause(house: House, tree: str = "mango", days: float = 0.0, **said: object) -> dict[str, float]:
    return dict(finding(house, enter(house, Sighting.model_validate(said), tree, days)).judgement.chances)


# ---------------------------------------------------------------- cold


def test_the_chance_of_frost_is_that_of_the_tolerance_with_what_is_not_known_of_the_spot():
    night = lived(date(2027, 1, 5), -2.0)
    frost, chill = cold_chances([night], 3)
    wider = replace(night.tolerance, sd_k=np.hypot(night.tolerance.sd_k, 1.0))
    # At least grade 2, one below the one seen: worst of leaf (2), twig (5) and wood (6); by hand for the leaf, the
    # tenderest. An hour at -2 °C counts as -2 + (1/2 - 1), for ice is not yet sure between 0 and -1 °C: 0 here.
    leaf = (wider.threshold_c[0, 2] + 2.0) / np.hypot(wider.sd_k[0], wider.slope_k)
    assert frost == pytest.approx(_normal(leaf), abs=0.02)
    assert chill < 0.01
    assert cold_chances([], 3) == (0.0, 0.0)


def _normal(z: float) -> float:
    from math import erf

    return 0.5 * (1.0 + erf(z / 2**0.5))


def test_cold_above_freezing_is_chill_and_no_frost():
    cool = [lived(date(2027, 1, day), 4.0, "coconut") for day in range(1, 20)]
    frost, chill = cold_chances(cool, 2)
    assert frost < 0.001 < 0.1 < chill


def test_the_same_signs_are_frost_after_a_cold_night_and_not_after_mild_ones(house, monkeypatch):
    signs = {"grade": 3, "signs": ["brown", "young_leaves", "sudden"]}
    nights(monkeypatch, "mango", -4.0)
    cold = cause(house, days=0.3, **signs)
    nights(monkeypatch, "moya", 5.0)
    mild = cause(house, tree="moya", **signs)
    assert cold["frost"] > 0.9
    assert mild["frost"] < 0.1


def test_a_night_at_freezing_and_burnt_flush_is_frost(house, monkeypatch):
    flushing = [lived(date(2027, 2, 19) - timedelta(days=back), -0.9 if back == 4 else 9.0, stages=("leafy", "flush"))
                for back in range(60)]  # fmt: skip
    monkeypatch.setattr(module, "lived_nights", lambda _: {"mango": tuple(flushing)})
    found = cause(house, grade=2, signs=["young_leaves", "black", "sudden"])
    assert found["frost"] > 0.5
    assert next(iter(found)) == "frost"


def test_nights_that_are_not_known_count_for_nothing(house, monkeypatch):
    nights(monkeypatch, "mango", 9.0, count=5)  # five of sixty
    few = finding(house, enter(house, Sighting(grade=3)))
    assert few.circumstances.frost is None
    assert few.nights == 5


def test_only_nights_since_the_look_before_count(house, monkeypatch):
    nights(monkeypatch, "mango", -4.0)
    enter(house, Sighting(grade=0), days=8)
    assert finding(house, enter(house, Sighting(grade=3))).circumstances.frost < 0.001
    enter(house, Sighting(grade=1), "moya", days=14)
    found = finding(house, enter(house, Sighting(grade=3), days=0.1))
    assert found.nights == 8


def test_without_a_night_between_two_looks_there_was_no_new_cold(house, monkeypatch):
    nights(monkeypatch, "mango", -4.0)
    enter(house, Sighting(grade=2), days=0.3)
    found = finding(house, enter(house, Sighting(grade=3)))
    assert (found.nights, found.circumstances.frost) == (0, 0.0)
    assert found.judgement.likeliest == "old"


def test_a_bare_cherimoya_in_february_rests_and_in_august_does_not(house):
    known = cause(house, "moya", grade=4, signs=["bare"])
    assert next(iter(known)) == "shedding"
    assert known["shedding"] > 0.7
    summer = cause(house, "moya", days=190, grade=4, signs=["bare"])
    assert summer["shedding"] < known["shedding"] / 2


def test_months_are_turned_round_south_of_the_equator(request, tmp_path, monkeypatch):
    monkeypatch.setattr(module, "lived_nights", lambda _: {})
    for house in _house(request, tmp_path, -33.92):
        assert finding(house, enter(house, Sighting(grade=1))).circumstances.month == 8


def test_a_brown_tip_in_july_without_cold_is_not_cold(house, monkeypatch):
    monkeypatch.setattr(module, "lived_nights", lambda _: {
        "mango": tuple(lived(date(2026, 7, 20) - timedelta(days=back), 15.0) for back in range(60))})  # fmt: skip
    which = enter(house, Sighting(grade=2, signs=["brown", "tips"]), days=214)
    found = finding(house, which)
    assert found.circumstances.month == 7
    assert found.judgement.cold < 0.01


# ---------------------------------------------------------------- the ledger


def test_what_was_entered_before_is_read(house):
    enter(house, Deed(what="fed", words="Fed"), days=20)
    enter(house, Deed(what="watered", words="Watered"), days=3)
    enter(house, Stage(stage="flush"), days=30)
    enter(house, Sighting(grade=2), days=12)
    c = finding(house, enter(house, Sighting(grade=2))).circumstances
    assert c.fed_days == pytest.approx(20)
    assert (c.dry_days, c.watering_told) == (pytest.approx(3), True)
    assert c.stage == "flush"
    assert (c.before, c.before_days) == (2, pytest.approx(12))


def test_a_first_look_takes_the_injury_of_the_yard_file_for_one_before(house):
    found = finding(house, enter(house, Sighting(grade=3), "coco"))
    assert found.circumstances.before == 3
    assert found.circumstances.palm
    assert found.judgement.likeliest == "old"
    assert finding(house, enter(house, Sighting(grade=3))).circumstances.before is None


def test_nothing_is_told_of_a_sound_tree_or_of_what_is_no_sighting(house):
    for body in (Sighting(grade=0, signs=["new_growth"]), Sighting(note="a nest"), Deed(what="fed", words="Fed")):
        assert causes_of(house, house.ledger.entry(enter(house, body))) is None
    assert findings_of(house, "mango") == {}
    which = enter(house, Sighting(signs=["yellow"]))
    assert list(findings_of(house, "mango")) == [which]


def hours(**changes: np.ndarray) -> KnownHours:
    """Forty days of mild dry hours up to now."""
    time = np.datetime64(NOW.replace(tzinfo=None), "s") - np.arange(40 * 24)[::-1] * np.timedelta64(3600, "s")
    rows = {"air_c": np.full(time.size, 20.0), "dew_c": np.full(time.size, 10.0), "wind_m_s": np.full(time.size, 2.0),
            "rain_mm": np.zeros(time.size)}  # fmt: skip
    return KnownHours(time_utc=time, **(rows | changes))


def test_a_spell_of_weather_is_summed_up():
    rain = np.zeros(960)
    rain[-24 * 10 - 5] = 8.0  # on the eleventh day back
    rain[-30] = 1.0  # of no account
    air = np.full(960, 20.0)
    air[-24 * 30] = 41.0
    spell = hours(rain_mm=rain, air_c=air).until(NOW, NOW - timedelta(days=35))
    assert (spell.dry_days, spell.rain_mm) == (10.0, 9.0)
    assert (spell.hottest_c, spell.mean_c) == (41.0, 20.0)
    assert not spell.drying_wind
    assert hours(air_c=air).until(NOW, NOW - timedelta(days=20)).hottest_c == 20.0


def test_dry_wind_over_cold_ground_is_noticed():
    windy = hours(air_c=np.full(960, 9.0), dew_c=np.full(960, -2.0), wind_m_s=np.full(960, 6.0))
    assert windy.until(NOW, NOW - timedelta(days=10)).drying_wind


def test_weather_that_is_not_known_is_left_open():
    spell = hours().until(NOW + timedelta(days=60), NOW + timedelta(days=50))
    assert (spell.hottest_c, spell.mean_c, spell.rain_mm, spell.dry_days) == (None, None, None, None)


# ---------------------------------------------------------------- for learning


def test_the_share_of_cold_for_learning(house):
    cold, mild = [lived(date(2027, 2, 10), -2.0)], [lived(date(2027, 2, 10), 9.0)]

    def share(nights: list[Lived], tree: str = "mango", **said: object) -> float:
        body = Sighting.model_validate(said)
        entry = house.ledger.entry(enter(house, body, tree))
        assert entry is not None
        return cold_share(entry, body, nights, house)

    assert share(mild, grade=0) == 1.0
    assert share(mild, grade=None, signs=["brown"]) == 1.0
    # Signs of frost: nearly all; of salt: little; and how cold it was is not asked here.
    assert share(cold, grade=2, signs=["black", "sudden", "young_leaves"]) > 0.95
    assert share(cold, grade=2, signs=["brown", "tips", "old_leaves", "slow", "white_crust"]) < 0.3


# ---------------------------------------------------------------- answers


def signed() -> Signed:
    return Signed("Ana", "phone", NOW)


def test_an_answer_is_a_correction_that_can_be_undone_and_nothing_is_lost(house):
    first = enter(house, Sighting(grade=3, signs=["brown"], note="wind"))
    number = str(uuid.uuid4())
    for _ in range(2):  # sent twice, stored once
        answered = answer(house, first, "wood", "wood_brown", signed=signed(), number=number)
    assert body_of(answered) == Sighting(grade=3, signs=["brown", "wood_brown"], asked=["wood"], note="wind")
    assert [one.id for one in house.ledger.current(tree="mango")] == [answered.id]

    undone = take_answer_back(house, answered.id, "wood", signed=signed(), number=str(uuid.uuid4()))
    assert body_of(undone) == Sighting(grade=3, signs=["brown"], note="wind")
    assert len(chain_of(house.ledger, first).entries) == 3


def test_none_of_them_and_cannot_tell_are_told_apart(house):
    first = enter(house, Sighting(grade=3, signs=["brown"]))
    none = answer(house, first, "soil", NONE_OF_THEM, signed=signed(), number=str(uuid.uuid4()))
    assert body_of(none) == Sighting(grade=3, signs=["brown"], absent=["soil_dry", "soil_wet"], asked=["soil"])
    dunno = answer(house, none.id, "side", CANNOT_TELL, signed=signed(), number=str(uuid.uuid4()))
    assert body_of(dunno).asked == ["soil", "side"]  # type: ignore[attr-defined]
    assert finding(house, dunno.id).questions == ()  # two were asked
    before, after = finding(house, none.id), finding(house, dunno.id)
    assert dict(after.judgement.chances) == pytest.approx(dict(before.judgement.chances))


@pytest.mark.parametrize(("group", "said"), [("moon", "full"), ("wood", "yellow"), ("grade", "grade_dead"), ("", "")])
def test_what_is_no_answer_is_refused(house, group, said):
    first = enter(house, Sighting(grade=3))
    with pytest.raises(JournalError, match="no answer"):
        answer(house, first, group, said, signed=signed(), number=str(uuid.uuid4()))
    with pytest.raises(JournalError):
        take_answer_back(house, first, "wood", signed=signed(), number=str(uuid.uuid4()))


def test_what_does_not_stand_any_more_takes_no_answer(house):
    first = enter(house, Sighting(grade=3))
    answer(house, first, "wood", "wood_green", signed=signed(), number=str(uuid.uuid4()))
    with pytest.raises(JournalError, match="does not stand"):
        answer(house, first, "wood", "wood_brown", signed=signed(), number=str(uuid.uuid4()))


# ---------------------------------------------------------------- words


def test_every_cause_question_and_circumstance_has_words_and_every_advice_a_source(house):
    from fruitwall.plants.cause_odds import CAUSES
    from fruitwall.plants.causes import ASKED_GROUPS, cause_table

    assert set(CAUSE_NAMES) == set(WHAT_TO_DO) == set(WHAT_TO_WAIT_FOR) == set(CAUSES)
    assert set(QUESTIONS) == set(ASKED_GROUPS)
    assert {sign.key for sign in cause_table().signs if sign.group != "grade"} == set(dict(SIGNS))
    for advice in (*WHAT_TO_DO.values(), *WHAT_TO_WAIT_FOR.values()):
        for one in advice:
            assert one.sources
            assert all(source_words(one.sources))


@pytest.mark.parametrize("language", ["en", "es"])
def test_reasons_are_whole_sentences_in_either_language(house, monkeypatch, language):
    nights(monkeypatch, "mango", -2.5)
    enter(house, Sighting(grade=1), days=40)
    found = finding(house, enter(house, Sighting(grade=3, signs=["brown"], absent=["soil_dry"])))
    household = Household(Display(), module.known_of(house).zone)
    with speaking(language):
        told = [reason_words(Reason(key, "known", 1.0), found, household) for key in GROUNDS]
        told += [reason_words(Reason("brown", kind, 1.0), found, household) for kind in ("seen", "absent")]
        assert verdict_words(found)
    assert all(one.endswith(".") and "{" not in one for one in told)
    if language == "en":
        assert any("down to −2.5" in one for one in told)
        assert "Seen: brown." in told
