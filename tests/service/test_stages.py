"""What a tree carries: the newer of what was entered and what the yard file says."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service.evening import plan_evening
from fruitwall.service.household import Household
from fruitwall.service.ledger import Deed, Signed, Stage, take_back
from fruitwall.service.lived import lived_nights
from fruitwall.service.reader import part_for_reader
from fruitwall.service.stages import (
    BLOOM_DAYS,
    Carried,
    Mark,
    _lines_of_stages,
    _stages_in,
    carried_by,
    carried_on,
    with_carried,
)
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_forcing, demo_now
from tests.service.past import YARD, enter, house_with_past

ZONE = ZoneInfo("America/Los_Angeles")
WRITTEN = datetime(2026, 6, 1, tzinfo=UTC)
NOW = datetime(2026, 12, 20, 20, tzinfo=UTC)


def mark(stage: str, at: datetime, received: datetime | None = None) -> Mark:
    return Mark(f"{stage} {at}", at, received or at, stage)


def carried(*marks: Mark, base=("leafy",), on: datetime = NOW, fruit_days: float = 420.0) -> Carried | None:
    return carried_by(base, WRITTEN, marks, on, ZONE, fruit_days)


def at(day: str) -> datetime:
    return datetime.fromisoformat(f"{day}T18:00+00:00")


def test_the_file_holds_where_nothing_newer_was_entered() -> None:
    assert carried() is None
    assert carried(mark("bloom", at("2026-05-20"))) is None
    assert carried(mark("bloom", at("2026-12-22"))) is None  # not yet


def test_what_was_entered_later_of_an_earlier_day_counts() -> None:
    found = carried(mark("fruit", at("2026-05-20"), received=at("2026-06-02")))
    assert found is not None
    assert found.stages == ("leafy", "fruit")
    assert found.since == (("fruit", date(2026, 5, 20)),)


def test_bloom_becomes_fruit_and_fruit_ends_with_the_harvest() -> None:
    bloom, sets = mark("bloom", at("2026-11-01")), mark("fruit_set", at("2026-12-01"))
    in_bloom, in_fruit = carried(bloom), carried(bloom, sets, mark("harvest", at("2026-12-10")))
    picked = carried(bloom, sets, mark("harvested", at("2026-12-15")))
    assert in_bloom is not None
    assert in_fruit is not None
    assert picked is not None
    assert in_bloom.stages == ("leafy", "flower")
    assert in_fruit.stages == ("leafy", "fruit")
    assert in_fruit.since == (("fruit", date(2026, 12, 1)),)  # the harvest began; it hangs since it set
    assert picked.stages == ("leafy",)


def test_what_the_file_names_and_an_entry_took_away_is_told() -> None:
    found = carried(mark("harvested", at("2026-12-15")), base=("leafy", "fruit"))
    assert found is not None
    assert found.stages == ("leafy",)
    assert found.gone == (("fruit", date(2026, 12, 15)),)


def test_rest_takes_the_leaves_and_bloom_ends_it() -> None:
    rest = mark("dormant", at("2026-11-20"))
    asleep, awake = carried(rest, base=("leafy", "fruit")), carried(rest, mark("bloom", at("2026-12-18")))
    assert asleep is not None
    assert awake is not None
    assert asleep.stages == ("dormant", "fruit")
    assert awake.stages == ("leafy", "flower")


def test_an_entered_bloom_passes_by_itself_and_the_files_does_not() -> None:
    old = mark("bloom", NOW - timedelta(days=BLOOM_DAYS + 1))
    passed, files = carried(old), carried(mark("flush", at("2026-12-10")), base=("leafy", "flower"))
    assert passed is not None
    assert files is not None
    assert passed.stages == ("leafy",)
    assert files.stages == ("leafy", "flush", "flower")


def test_fruit_passes_once_its_kind_can_no_longer_carry_it() -> None:
    marks = [mark("fruit_set", at("2026-07-01"))]
    hangs, gone = carried(*marks, fruit_days=200.0), carried(*marks, fruit_days=150.0)
    assert hangs is not None
    assert gone is not None
    assert "fruit" in hangs.stages
    assert "fruit" not in gone.stages


# ---------------------------------------------------------------- in a yard


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


def now_carried(house, moment=None):
    return carried_on(house.journal, house.yard()[1].yard, moment or house.clock())


def test_a_file_whose_stages_are_changed_later_holds_again_and_another_change_does_not(house) -> None:
    enter(house, Stage(stage="bloom"), "mango", house.clock() - timedelta(days=3))
    assert now_carried(house)["mango"].stages == ("leafy", "flower")
    later = house.clock() + timedelta(hours=1)
    taller = YARD.replace("height: 2 m", "height: 2.1 m", 1)
    house.journal.store_yard(taller, name="Small yard", now=later, author="test")
    assert "mango" in now_carried(house, later)
    changed = taller.replace("{id: mango,", "{id: mango, stages: [leafy, fruit],", 1)
    house.journal.store_yard(changed, name="Small yard", now=later, author="test")
    assert now_carried(house, later) == {}


def test_an_entry_taken_back_within_the_hour_leaves_the_file(house) -> None:
    number = enter(house, Stage(stage="bloom"), "mango", house.clock())
    assert "mango" in now_carried(house)
    take_back(house.ledger, number, signed=Signed("Ana", "phone", house.clock() + timedelta(minutes=30)))
    assert now_carried(house) == {}


def test_a_harvest_of_several_trees_counts_for_each(house) -> None:
    enter(house, Deed(what="harvested", words="Harvested", trees=["mango", "lime"]), None, house.clock())
    assert set(now_carried(house)) == {"mango", "lime"}


def test_nights_that_are_over_know_what_was_carried_then_and_not_before(house) -> None:
    before = {one.night: one for one in lived_nights(house)["mango"]}
    nights = sorted(before)
    bloomed = nights[-2]
    enter(house, Stage(stage="bloom"), "mango", datetime.combine(bloomed, datetime.min.time(), ZONE))
    after = {one.night: one for one in lived_nights(house)["mango"]}
    assert after.keys() == before.keys()
    assert [np.isnan(after[one].tolerance.flower_c) for one in nights] == [one < bloomed for one in nights]
    for one in nights:
        assert after[one].coldest_c == pytest.approx(before[one].coldest_c, abs=0.05, nan_ok=True)


def test_a_yard_without_entries_is_the_same_object(house) -> None:
    yard, _ = house.yard()
    assert with_carried(yard, {}) is yard
    assert with_carried(yard, {"nobody": Carried(("leafy",))}) is yard


# ---------------------------------------------------------------- tonight


def test_an_entered_bloom_puts_its_worth_at_risk_tonight_and_says_so(house) -> None:
    yard = house.yard()[0]
    trees = [
        one.model_copy(update={"bloom_worth": 80.0, "fruit_worth": 0.0}) if one.id == "mango" else one
        for one in yard.trees
    ]
    yard = yard.model_copy(update={"trees": trees})
    blooms = {"mango": Carried(("leafy", "flower"), (("flower", date(2026, 12, 3)),))}

    def plan(told):
        return plan_evening(yard, demo_forcing(), now=demo_now(), nights=1, members=8, carried=told)

    def mango(found):
        return next(one for one in found.trees if one.id == "mango")

    as_filed, as_told = plan(None), plan(blooms)
    assert mango(as_filed).expected_loss["nothing"] + 1.0 < mango(as_told).expected_loss["nothing"]
    assert mango(as_filed).fruit_lost["nothing"] == 0.0 < mango(as_told).fruit_lost["nothing"]
    part = next(one for one in mango(as_told).chain if one.label == "It carries now")
    assert part.value == "leaves and flowers"
    assert part.note == "carries flowers since Thu 3 Dec (entered)"
    assert not any(one.label == "It carries now" for one in mango(as_filed).chain)
    with speaking("es"):
        told = part_for_reader(as_told, mango(as_told), Household(yard.display, ZONE))
    part = next(one for one in told.chain if one.label == "Ahora lleva")
    assert part.value == "hojas y flores"
    assert part.note == "lleva flores desde el jue 3 dic (anotado)"


def test_a_change_that_touches_no_stage_is_told_from_one_that_does_in_any_way_of_writing() -> None:
    block = "trees:\n- id: a\n  stages:\n  - leafy\n  - fruit\n  height: 2 m\n"
    assert _lines_of_stages(block) == _lines_of_stages(block.replace("2 m", "3 m"))
    assert _lines_of_stages(block) != _lines_of_stages(block.replace("  - fruit\n", ""))
    assert _lines_of_stages(block) != _lines_of_stages(block.replace("id: a", "id: b"))
    assert _stages_in(block) == {"a": ("fruit", "leafy")}
    assert _stages_in("trees: [{id: a}, {id: b, stages: [flower]}]") == {"a": ("leafy",), "b": ("flower",)}
    assert _stages_in("trees: {") == _stages_in("- 1") == {}
