"""The desk keeps a plan until something it rests on changes, also what is told to be done elsewhere."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service import desk
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.earlier import done_so_far, earlier_plans
from fruitwall.service.evening_document import EveningPlan
from fruitwall.weather.demo import demo_forcing, demo_now
from tests.web.sample import demo_yard, sample_plan


def test_what_is_told_to_be_done_at_the_terminal_makes_the_page_plan_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[dict[str, Any]] = []
    sample = sample_plan()

    def plan_evening(*_: object, **given: Any) -> EveningPlan:
        made.append(given)
        return sample.model_copy(update={"done": list(given["done"])})

    now = demo_now()
    with open_journal(f"sqlite:///{tmp_path / 'journal.db'}") as journal:
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
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sample = sample_plan()
    fewer = sample.model_copy(update={"tasks": [task for task in sample.tasks if task.when != "before_bed"]})

    with open_journal(f"sqlite:///{tmp_path / 'journal.db'}") as journal:
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
