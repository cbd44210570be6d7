"""What can be asked of many winters: which there are, in figures and in words, and what the parts said last."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service.climate import use_packaged_years
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.winters import note_verdict, part_document, winters_overview
from fruitwall.service.winters_document import WintersTrend
from fruitwall.service.winters_ground import winters_ground
from fruitwall.service.winters_weather import WeatherChoice
from fruitwall.service.winters_words import takes_words, winters_told
from fruitwall.service.work import Stopped, WorkPart, work
from fruitwall.speech import speaking, told
from fruitwall.weather.demo import demo_now
from tests.service.many_winters import COLDEST_C, winters_file, winters_house
from tests.service.past import house_with_past

__all__ = ["winters_file", "winters_house"]


@pytest.fixture
def house(winters_house: House) -> House:
    return winters_house


@pytest.fixture
def bare(filled_file: Path, tmp_path: Path) -> Iterator[House]:
    """A household that knows of no other year."""
    shutil.copy(filled_file, tmp_path / "b.db")
    with open_journal(tmp_path / "b.db") as journal:
        yield house_with_past(journal, tmp_path / "photos")


@pytest.fixture
def household(house: House) -> Household:
    return Household(house.yard()[0].display, ZoneInfo("America/Los_Angeles"))


def test_each_winter_tells_its_coldest_night(house: House) -> None:
    document = winters_overview(house)

    assert [one.coldest_c for one in document.winters] == pytest.approx(list(COLDEST_C), abs=0.01)
    assert [one.name for one in document.winters][:2] == ["2010/11", "2011/12"]
    assert document.winters[3].coldest_night == date(2014, 1, 9)
    assert all(one.real for one in document.winters)
    assert sum(one.weight for one in document.winters) == pytest.approx(1.0)
    assert document.takes_s > 0
    assert document.model_validate_json(document.model_dump_json()).winters == document.winters


def test_the_choice_is_taken(house: House) -> None:
    document = winters_overview(house, WeatherChoice(most=5))

    assert len(document.winters) == 5
    assert document.choice.most == 5


def test_in_words(house: House, household: Household) -> None:
    document = winters_overview(house)
    page = winters_told(document, household)

    assert page.verdict == (
        "12 real winters are known, 2010/11 to 2021/22; the coldest night of all had -6.0\u00a0°C, in 2013/14."
    ).replace("-6.0", "\N{MINUS SIGN}6.0")
    assert page.lines[0] == "They come from: invented winters."
    assert page.table is not None
    assert page.table.rows[0][:2] == ("2021/22", "\N{MINUS SIGN}1.5")
    assert len(page.table.columns) == 3  # all weigh the same
    assert any("No trend in their coldest nights is sure" in line for line in page.lines)
    with speaking("es"):
        assert winters_told(document, household).verdict.startswith("Se conocen 12 inviernos reales, de 2010/11")


def test_a_gap_in_the_record_is_told(house: House, household: Household) -> None:
    document = winters_overview(house)
    some = document.model_copy(update={"winters": [*document.winters[:3], *document.winters[7:]]})

    assert not any("in between" in line for line in winters_told(document, household).lines)
    assert winters_told(some, household).lines[1] == "4 winters in between are not known."


def test_warmer_recent_and_a_trend_are_told(house: House, household: Household) -> None:
    document = winters_overview(house)
    changed = document.model_copy(
        update={
            "choice": document.choice.model_copy(
                update={"warmer_k": 2.0, "weighting": "recent", "trend_taken_out": True}
            ),
            "trend": WintersTrend(per_decade_k=0.8, chance=0.01, sure=True),
            "winters": [one.model_copy(update={"weight": (at + 1) / 78}) for at, one in enumerate(document.winters)],
        }
    )

    page = winters_told(changed, household)

    assert page.lines[1:5] == (
        "All of them are taken 2.0\u00a0K warmer than they were.",
        "Recent winters count for more than old ones.",
        "Each winter is moved to the level of today by the trend of the record.",
        "Their coldest nights have become milder by 0.8\u00a0K in ten years.",
    )
    assert page.table is not None
    assert page.table.columns[-1] == "weight"
    colder = changed.model_copy(
        update={
            "choice": changed.choice.model_copy(update={"warmer_k": -1.0}),
            "trend": WintersTrend(per_decade_k=-0.8, chance=0.01, sure=True),
        }
    )
    lines = winters_told(colder, household).lines
    assert lines[1] == "All of them are taken 1.0\u00a0K colder than they were."
    assert "colder by 0.8" in lines[4]


def test_winters_put_together_of_many_are_not_called_real(bare: House, household: Household) -> None:
    use_packaged_years(bare.journal, "Small yard", now=demo_now())
    later = replace(bare, clock=demo_now)

    document = winters_overview(later)
    page = winters_told(document, household)

    assert not any(one.real for one in document.winters)
    assert "each put together from months of many" in page.verdict
    assert "cannot be told from so few real ones" in page.lines[1]
    assert "(put together)" in page.table.rows[0][0] if page.table else False
    some = document.model_copy(
        update={"winters": [document.winters[0].model_copy(update={"real": True}), *document.winters[1:]]}
    )
    assert "1 of them real, the others" in winters_told(some, household).verdict


def test_without_winters_nothing_is_promised(bare: House, household: Household) -> None:
    document = winters_overview(bare)
    page = winters_told(document, household)

    assert document.source is None
    assert document.winters == []
    assert page.verdict.startswith("No whole winter of other years is known here")
    assert page.parts == ()


def test_what_a_part_said_is_told_until_the_yard_changes(house: House, household: Household) -> None:
    choice = WeatherChoice()
    assert winters_told(winters_overview(house), household).parts[0].verdict == ""
    note_verdict(house, "years", choice, told("The zone of these winters is {zone}", zone="9b"))

    document = winters_overview(house)

    part = winters_told(document, household).parts[0]
    assert part.verdict == "The zone of these winters is 9b"
    assert part.when.startswith("Worked out on ")
    assert "changed since" not in part.when
    with speaking("es"):
        assert winters_told(document, household).parts[0].verdict == "La zona de estos inviernos es 9b"
    assert winters_overview(house, WeatherChoice(warmer_k=2.0)).parts[0].verdict is None
    _, version = house.yard()
    house.journal.store_yard(
        version.text.replace("2 m, crown_diameter: 1.5 m", "3 m, crown_diameter: 1.5 m"),
        name=version.yard,
        now=house.clock(),
        author="test",
    )
    assert "have changed since" in winters_told(winters_overview(house), household).parts[0].when


def test_what_is_entered_while_a_part_is_worked_out_makes_its_verdict_old(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    from fruitwall.plans.rules.rule import HouseRule
    from fruitwall.service.winters_rules import keep_rule

    def rules_document(_house: House, _choice: WeatherChoice, *, heard: Any) -> str:
        keep_rule(house, HouseRule(cover_below_c=0.0), author="test", now=house.clock())
        return "a document"

    monkeypatch.setattr("fruitwall.service.winters_rules.rules_document", rules_document)
    monkeypatch.setattr("fruitwall.service.winters_rules.rules_verdict", lambda _document: told("Fine."))

    def outdated() -> bool:
        return next(one.outdated for one in winters_overview(house).parts if one.key == "rules")

    part_document(house, "rules")
    assert outdated()  # it was worked out without the rule
    part_document(house, "rules")
    assert not outdated()


def test_how_long_it_takes_is_told_in_minutes() -> None:
    assert "less than a minute" in takes_words(10.0)
    assert "about 3\u00a0min" in takes_words(170.0)


def test_the_ground_stopped_and_resumed_is_that_of_one_go_and_no_part_is_done_twice(
    house: House, winters_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[str] = []

    def counting(_house: House, parts: list[WorkPart], **told: Any) -> list[Any]:
        def counted(part: WorkPart) -> WorkPart:
            return replace(part, make=lambda: made.append(part.key) or part.make())

        return work(_house, [counted(part) for part in parts], **told)

    monkeypatch.setattr("fruitwall.service.work.work", counting)
    choice = WeatherChoice(most=3)
    with pytest.raises(Stopped):
        winters_ground(house, choice, steps=(0.0, 4.0), stop=lambda: len(made) >= 2)
    before = list(made)
    resumed = winters_ground(house, choice, steps=(0.0, 4.0))
    assert len(before) == 2
    assert len(made) == len(set(made)) > 2

    shutil.copy(winters_file, tmp_path / "other.db")
    with open_journal(tmp_path / "other.db") as journal:
        whole = winters_ground(replace(house, journal=journal), choice, steps=(0.0, 4.0))
    assert resumed is not None
    assert whole is not None
    assert resumed.mark == whole.mark
    for one, other in zip(resumed.steps, whole.steps, strict=True):
        for tree, same in zip(one.trees, other.trees, strict=True):
            for name in ("loss", "harm", "death", "fruit_lost", "felt_c", "leaf_c", "bare_c"):
                assert np.array_equal(getattr(tree, name), getattr(same, name), equal_nan=True), (tree.tree, name)
