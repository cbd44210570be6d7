"""The desk keeps a plan until something it rests on changes, also what is told to be done elsewhere."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.service import desk
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.earlier import done_so_far, earlier_plans
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.ledger import Signed
from fruitwall.service.ticks import ask_again, tick
from fruitwall.weather.demo import demo_forcing, demo_now
from tests.web.sample import demo_yard, sample_plan


def test_what_is_told_to_be_done_at_the_terminal_makes_the_page_plan_again(
    database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[dict[str, Any]] = []
    sample = sample_plan()

    def plan_evening(*_: object, **given: Any) -> EveningPlan:
        made.append(given)
        return sample.model_copy(update={"done": list(given["done"])})

    now = demo_now()
    with open_journal(database) as journal:
        version = journal.store_yard("fruitwall: 1\n", name="yard", now=now, author="test")
        monkeypatch.setattr(desk, "load_yard", lambda *_: (demo_yard(), version))
        monkeypatch.setattr(desk, "plan_evening", plan_evening)
        its = EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: now)
        its.plan_for(sample.night)
        its.plan_for(sample.night)
        assert [given["done"] for given in made] == [()]

        ticked = done_so_far(["wet@soursop"], earlier_plans(journal, "yard", sample.night), now)
        told = sample.model_copy(update={"done": list(ticked)})
        journal.store_plan(sample.night, told.model_dump_json(), version=version, made=now + timedelta(minutes=1))
        again = its.plan_for(sample.night)
        its.plan_for(sample.night)

    assert [given["done"] for given in made] == [(), ticked]
    assert made[1]["before"].done == list(ticked)
    assert again.done == list(ticked)


def test_a_plan_made_again_takes_back_what_calendars_hold_of_the_one_before(
    database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    sample = sample_plan()
    fewer = sample.model_copy(update={"tasks": [task for task in sample.tasks if task.when != "before_bed"]})

    with open_journal(database) as journal:
        version = journal.store_yard("fruitwall: 1\n", name="yard", now=demo_now(), author="test")
        journal.store_plan(sample.night, sample.model_dump_json(), version=version, made=demo_now())
        monkeypatch.setattr(desk, "load_yard", lambda *_: (demo_yard(), version))
        monkeypatch.setattr(desk, "plan_evening", lambda *_, **__: fewer)
        its = EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), demo_now)
        shown = its.plan_for(sample.night)
        kept = earlier_plans(journal, "yard", sample.night).tonight

    assert [withdrawn.when for withdrawn in shown.withdrawn] == ["before_bed"]
    assert kept is not None
    assert kept.withdrawn == shown.withdrawn


def test_a_tick_waits_beside_the_plan_until_somebody_asks_to_plan_again(
    database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[list[str]] = []
    sample = sample_plan()
    sample = sample.model_copy(update={"tasks": [sample.tasks[0].model_copy(update={"key": "wet@sapodilla"})]})

    def plan_evening(*_: object, **given: Any) -> EveningPlan:
        made.append([task.key for task in given["done"]])
        return sample.model_copy(update={"done": list(given["done"])})

    now = demo_now()
    signed = Signed("Anna", "phone", now)
    with open_journal(database) as journal:
        version = journal.store_yard("fruitwall: 1\n", name="yard", now=now, author="test")
        monkeypatch.setattr(desk, "load_yard", lambda *_: (demo_yard(), version))
        monkeypatch.setattr(desk, "plan_evening", plan_evening)
        ledger = Ledger(journal, "yard")
        its = EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: now)
        shown = its.plan_for(sample.night)
        # The sample's night is not that of the demo's clock: the tick is told for the sample's.
        tick(ledger, shown, "wet@sapodilla", signed=signed)
        assert its.plan_for(sample.night).done == []
        assert made == [[]]

        ask_again(ledger, shown, signed=signed)
        assert [task.key for task in its.plan_for(sample.night).done] == ["wet@sapodilla"]
        its.plan_for(sample.night)
        assert made == [[], ["wet@sapodilla"]]

        # Another process has no plan in its hands, and makes it with all that is done.
        EveningsDesk(journal, None, lambda *_: (demo_forcing(), None), lambda: now).plan_for(sample.night)
        assert made[-1] == ["wet@sapodilla"]
