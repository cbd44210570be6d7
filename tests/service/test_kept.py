"""Values that are worked out once: for whom they are kept, for how long, and that nobody waits twice."""

from __future__ import annotations

import gc
import threading
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service.earlier import earlier_plans, latest_plan
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.household import Household
from fruitwall.service.kept import Kept
from fruitwall.service.reader import plan_for_reader
from fruitwall.speech import speaking
from fruitwall.yard.file import write_yard
from tests.web.sample import CELSIUS, FAHRENHEIT, NIGHT, NOW, sample_plan, sample_yard


class Thing:
    """Equal to every other one, as far as `Kept` could be told."""

    def __eq__(self, other: object) -> bool:
        return True

    def __hash__(self) -> int:
        return 1


def test_a_value_belongs_to_the_very_objects_and_the_key():
    kept, made = Kept[int](8), []
    one, other = Thing(), Thing()

    def ask(thing: Thing, key: str) -> int:
        return kept.of(thing, key=key, make=lambda: made.append(key) or len(made))

    assert [ask(one, "a"), ask(one, "b"), ask(other, "a"), ask(one, "a"), ask(other, "a")] == [1, 2, 3, 1, 3]


def test_the_ones_asked_for_longest_ago_are_dropped():
    kept, made = Kept[str](2), []
    for key in "abacab":
        kept.of(key=key, make=lambda key=key: made.append(key) or key)

    assert made == ["a", "b", "c", "b"]


def test_no_new_object_is_taken_for_one_that_is_gone():
    kept = Kept[list[int]](4)
    for number in range(50):
        assert kept.of(Thing(), make=lambda number=number: [number]) == [number]
        gc.collect()


def test_who_asks_meanwhile_waits_for_the_same_value():
    kept, made, begun, go = Kept[object](4), [], threading.Event(), threading.Event()
    found: list[object] = []

    def make() -> object:
        begun.set()
        assert go.wait(10)
        made.append(1)
        return object()

    threads = [threading.Thread(target=lambda: found.append(kept.of(key="x", make=make))) for _ in range(5)]
    threads[0].start()
    assert begun.wait(10)
    for thread in threads[1:]:
        thread.start()
    go.set()
    for thread in threads:
        thread.join(10)

    assert len(made) == 1
    assert len(found) == 5
    assert len(set(map(id, found))) == 1


def test_an_error_is_told_and_not_kept():
    kept = Kept[int](4)

    def refuse() -> int:
        raise ValueError("not today")

    with pytest.raises(ValueError, match="not today"):
        kept.of(key=1, make=refuse)
    assert kept.of(key=1, make=lambda: 7) == 7


def test_a_plan_is_said_once_for_each_language_and_units():
    plan, zone = sample_plan(), ZoneInfo("America/Los_Angeles")
    own, foreign = Household(CELSIUS, zone), Household(FAHRENHEIT, zone)

    with speaking("es"):
        spanish = plan_for_reader(plan, own, own)
        assert plan_for_reader(plan, own, own) is spanish
        warm = plan_for_reader(plan, foreign, own)
        assert warm is not spanish
        changed = plan.model_copy(update={"verdict": "Nothing has to be done."})
        assert plan_for_reader(changed, own, own) is not spanish
    assert plan_for_reader(plan, own, own) is plan
    assert plan_for_reader(plan, foreign, own) is not warm


def test_a_stored_plan_is_read_once_and_a_newer_one_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    read = []
    whole = EveningPlan.model_validate_json
    monkeypatch.setattr(EveningPlan, "model_validate_json", lambda text: read.append(1) or whole(text))
    plan, yard = sample_plan(), sample_yard()
    with open_journal(tmp_path / "kept.db") as journal:
        version = journal.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")
        for number, verdict in enumerate(("The first.", "The second.")):
            made = NOW + timedelta(minutes=number)
            told = plan.model_copy(update={"verdict": verdict})
            journal.store_plan(NIGHT, told.model_dump_json(), version=version, made=made)
            for _ in range(3):
                found = latest_plan(journal, yard.name, NIGHT)
                assert found is not None
                assert found.verdict == verdict
                assert earlier_plans(journal, yard.name, NIGHT).tonight is found
            assert len(read) == number + 1

        assert latest_plan(journal, yard.name, NIGHT + timedelta(days=1)) is None
        last = earlier_plans(journal, yard.name, NIGHT + timedelta(days=1)).last
        assert last is not None
        assert last.night == NIGHT
        assert last.measures["soursop"] == "shelter:hoops+heater:heater"
