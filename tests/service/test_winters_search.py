"""The search and the worth of gear on a small yard with twelve invented winters: documents, words, pages, keeping."""

from __future__ import annotations

import shutil
from io import StringIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from rich.console import Console

from fruitwall.cli.winters_gear import show_gear
from fruitwall.cli.winters_search import show_search
from fruitwall.errors import PlanError
from fruitwall.journal.opening import open_journal
from fruitwall.plans.rules.assumed import YEARS_AHEAD
from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.winters_gear import gear_document, gear_key, keep_prices, priced, prices_of, read_price
from fruitwall.service.winters_gear_document import GearDocument, GearGain
from fruitwall.service.winters_gear_words import gear_verdict, payback_words, thing_words, worth_words
from fruitwall.service.winters_search import search_document, search_key
from fruitwall.service.winters_search_document import FoundRules, Practice, RuleLine, SearchDocument
from fruitwall.service.winters_search_words import (
    beyond_words,
    cheaper_words,
    line_words,
    notes_words,
    search_verdict,
    verdict,
)
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice
from fruitwall.service.work import Stopped
from fruitwall.speech import speaking
from fruitwall.web.winters.gear.page import gear_page
from fruitwall.web.winters.search.page import search_page
from fruitwall.web.winters.search.routes import read_loss
from fruitwall.yard.model import Yard
from tests.plans.rules_made import made_ground
from tests.service.many_winters import winters_file, winters_house
from tests.service.past import house_with_past

__all__ = ["winters_file", "winters_house"]

FEW = Ahead(years=4, draws=6, seed=2)


@pytest.fixture
def household(winters_house: House) -> Household:
    return Household(winters_house.yard()[0].display, ZoneInfo("America/Los_Angeles"))


@pytest.fixture
def house(winters_house: House, monkeypatch: pytest.MonkeyPatch) -> House:
    """The small yard on made nights instead of hours of physics."""
    import fruitwall.service.winters_ground as ground

    own = winters_house.yard()[0]

    def made(_house: House, _choice: WeatherChoice, *, yard: Yard | None = None, **_more: Any) -> Ground:
        meant = own if yard is None else yard
        names = tuple(tree.id for tree in meant.trees)
        return made_ground(names, winters=3, days=10, seed=2, mean_c=-1.5, yard=meant, years=(0.0, 4.0, 10.0))

    monkeypatch.setattr(ground, "winters_ground", made)
    return winters_house


def searched(house: House, **more: Any) -> SearchDocument:
    found = search_document(house, ahead=FEW, **more)
    assert found is not None
    return found


def test_the_search_tells_rules_a_frontier_and_how_they_fare(house: House, household: Household) -> None:
    shares: list[float] = []
    document = searched(house, heard=shares.append)

    assert document.answer is not None
    never = next(one for one in document.practices if one.key == "never")
    assert document.answer.total <= never.loss
    assert document.answer.proven
    assert document.answer.loss == pytest.approx(sum(line.loss for line in document.answer.lines))
    assert {tree for line in document.answer.lines for tree in line.trees} == {t.id for t in house.yard()[0].trees}
    assert document.frontier[-1].carries == 0.0
    losses = [one.loss for one in document.frontier]
    assert losses == sorted(losses)
    assert [one.key for one in document.replayed] == ["as_now", "never", "found"]
    assert shares == sorted(shares)
    again = SearchDocument.model_validate_json(document.model_dump_json())
    assert again.frontier == document.frontier
    assert "Least loss and work together" in search_verdict(document)
    page = search_page(document, household, AS_THEY_WERE)
    assert [row[0] for row in page.table.rows][-2:] == ["As now", "Never protect"]
    assert page.picture is not None
    assert page.picture.count("<circle") == len(document.frontier)
    with speaking("es"):
        assert "pérdida" in search_page(document, household, AS_THEY_WERE).summary


def test_what_was_worked_out_is_kept_and_another_loss_asks_for_its_answer_only(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = searched(house)
    import fruitwall.plans.rules.frontier as frontier

    monkeypatch.setattr(frontier, "frontier", lambda *_args, **_more: pytest.fail("the frontier was kept"))
    assert searched(house) == first
    assert first.answer is not None
    near = searched(house, most_loss=first.least_loss * 1.0001)
    assert near.answer is not None
    assert near.answer.loss <= first.least_loss * 1.0002
    assert near.answer.effort >= first.answer.effort
    assert near.frontier == first.frontier


def test_a_loss_that_nothing_reaches_has_no_answer_and_says_so(house: House, household: Household) -> None:
    document = searched(house, most_loss=0.0)
    assert document.answer is None
    page = search_page(document, household, AS_THEY_WERE, typed="0")
    assert page.answer is None
    assert "No rules that can be kept on every night lose so little" in page.why_not
    assert page.typed == "0"


def test_whoever_hears_may_stop_it(house: House) -> None:
    def stop(share: float) -> None:
        if share > 0.9:
            raise Stopped

    with pytest.raises(Stopped):
        search_document(house, ahead=FEW, heard=stop)


def test_a_yard_without_winters_has_no_document_and_no_key(filled_file: Path, tmp_path: Path) -> None:
    shutil.copy(filled_file, tmp_path / "b.db")
    with open_journal(tmp_path / "b.db") as journal:
        bare = house_with_past(journal, tmp_path / "photos")
        assert search_key(bare) is None
        assert gear_key(bare) is None
        assert search_document(bare) is None
        assert gear_document(bare) is None


def test_the_key_is_by_content(winters_house: House) -> None:
    key = search_key(winters_house)
    assert key is not None
    assert search_key(winters_house) == key
    assert search_key(winters_house, most_loss=5.0) != key
    assert search_key(winters_house, WeatherChoice(warmer_k=2.0)) != key
    assert gear_key(winters_house) != key


def test_gear_is_ranked_and_prices_stand_beside_it(house: House, household: Household) -> None:
    found = gear_document(house, ahead=FEW)
    assert found is not None
    assert GearDocument.model_validate_json(found.model_dump_json()).items == found.items
    sure = [item.total.mean for item in found.items if item.sure]
    assert sure == sorted(sure, reverse=True)
    assert all(item.sure for item in found.items[: len(sure)])
    assert {item.kind for item in found.items} >= {"sheet", "person"}
    assert gear_verdict(found)
    best = found.items[0].model_copy(
        update={"sure": True, "worse": False, "total": GearGain(mean=10.0, p10=5.0, p90=20.0, error=1.0)}
    )
    document = found.model_copy(update={"items": [best, *found.items[1:]]})

    keep_prices(house, {best.key: " 25,5 "}, author="Ana", now=house.clock())
    assert prices_of(house) == {best.key: 25.5}
    with_price = priced(document, prices_of(house))
    assert with_price.items[0].winters_to_pay == pytest.approx(2.55)
    assert "after 3 winters" in payback_words(with_price.items[0], document.currency)
    page = gear_page(with_price, household, AS_THEY_WERE)
    assert page.things[0].price == "25.50"
    assert page.things[0].name == thing_words(best, household)
    with pytest.raises(PlanError, match="no price"):
        keep_prices(house, {best.key: "many"}, author="Ana", now=house.clock())
    assert prices_of(house) == {best.key: 25.5}
    typed = gear_page(with_price, household, AS_THEY_WERE, typed={best.key: "many"}, error="no price")
    assert typed.things[0].price == "many"
    keep_prices(house, {best.key: ""}, author="Ana", now=house.clock())
    assert prices_of(house) == {}


@pytest.mark.parametrize("text", ["-1", "nan", "inf", "2000000", "a lot"])
def test_no_price(text: str) -> None:
    with pytest.raises(PlanError, match="write a number from 0"):
        read_price(text)


def test_a_loss_is_read_as_it_is_typed() -> None:
    assert read_loss("") == (None, "")
    assert read_loss(" 12,5 ") == (12.5, "")
    for text in ("much", "-3", "nan", "1e12"):
        value, error = read_loss(text)
        assert value is None
        assert text in error


LINE = RuleLine(
    trees=["lemon"],
    names=["Pot lemon"],
    potted=True,
    way="below",
    cover_below_c=1.0,
    heat_below_c=None,
    carry_below_c=-2.0,
    if_death=0.05,
    loss=3.0,
    minutes=20.0,
    lifts=4.0,
    nights=3.0,
    carried=True,
    carried_now=True,
)


def test_rules_are_told_in_words(household: Household) -> None:
    assert line_words(LINE, household) == (
        "Pot lemon: cover below 1.0\N{NO-BREAK SPACE}°C, carry below \N{MINUS SIGN}2.0\N{NO-BREAK SPACE}°C"
    )
    assert line_words(LINE.model_copy(update={"way": "never"}), household) == "Pot lemon: leave it out"
    planted = LINE.model_copy(update={"way": "never", "potted": False})
    assert line_words(planted, household) == "Pot lemon: leave it alone"
    killed = LINE.model_copy(update={"way": "may_kill"})
    assert "a chance of 5\N{NO-BREAK SPACE}% or more" in line_words(killed, household)
    with speaking("es"):
        assert line_words(LINE, household).startswith("Pot lemon: cubrir por debajo de 1,0")


def found_rules(loss: float, carries: float) -> FoundRules:
    return FoundRules(
        loss=loss, effort=5.0, minutes=20.0, lifts=0.0, carries=carries, kwh=0.0, proven=True, lines=[LINE]
    )


def test_going_on_as_now_may_lose_less_than_rules_that_are_kept_in_full(house: House) -> None:
    document = searched(house)
    now = Practice(key="as_now", loss=1.0, effort=9.0, minutes=60.0, lifts=0.0, carries=3.0, kwh=0.0)
    corners = [found_rules(2.0, 8.0), found_rules(6.0, 0.0)]
    made = document.model_copy(
        update={"frontier": corners, "practices": [now], "least_loss": 2.0, "less": "carries", "currency": "EUR"}
    )
    assert "does what it can" in beyond_words(made)
    assert "Carrying 8 pots a winter" in verdict(made)
    level = made.model_copy(update={"practices": [now.model_copy(update={"loss": 2.5})]})
    assert beyond_words(level) == ""
    same = made.model_copy(update={"frontier": corners[1:]})
    assert "Nothing here is worth carrying" in verdict(same)


def test_a_ready_made_rule_that_does_better_than_what_was_found_is_told(house: House, household: Household) -> None:
    document = searched(house)
    assert {one.key for one in document.ready_made} == {"cover", "cover-carry", "carry-no-more", "may-kill"}
    kills = Practice(key="may-kill", loss=3.0, effort=2.0, minutes=9.0, lifts=0.0, carries=3.0, kwh=0.0)
    made = document.model_copy(
        update={"answer": found_rules(4.0, 0.0), "practices": [], "ready_made": [kills], "most_loss": None}
    )
    told = cheaper_words(made)
    assert '"Only when the night may kill": expected loss 3.00' in told  # 5 in all, and 9 what was found
    assert search_page(made, household, AS_THEY_WERE).cheaper == told
    dearer = kills.model_copy(update={"effort": 6.0})
    assert cheaper_words(made.model_copy(update={"ready_made": [dearer]})) == ""
    # Within an acceptable loss it is effort that counts, and only of what keeps within it.
    assert cheaper_words(made.model_copy(update={"most_loss": 3.5})) == told
    assert cheaper_words(made.model_copy(update={"most_loss": 2.0})) == ""
    assert cheaper_words(made.model_copy(update={"most_loss": 3.5, "answer": None})) == told


def test_what_is_simpler_in_drawn_futures_is_told_with_their_figures(house: House) -> None:
    assert set(YEARS_AHEAD) <= set(searched(house).notes)


def test_notes_are_sentences_and_said_once() -> None:
    assert notes_words(["one thing", "one thing", "Another."]) == ["One thing.", "Another."]


def test_the_terminal_tells_both(house: House, household: Household) -> None:
    found, gear = searched(house), gear_document(house, ahead=FEW)
    assert gear is not None
    for laid, words in (
        (show_search(found, household), ("Rules A", "Never protect", "How it would go over the years")),
        (show_gear(gear, household), ("Worth a winter (EUR)", "One more sheet")),
    ):
        out = StringIO()
        Console(file=out, width=160).print(laid)
        assert all(word in out.getvalue() for word in words)


def test_what_costs_more_than_it_saves_is_told(house: House) -> None:
    found = gear_document(house, ahead=FEW)
    assert found is not None
    gain = GearGain(mean=-4.0, p10=-5.0, p90=-3.0, error=0.2)
    item = found.items[0].model_copy(update={"sure": False, "worse": True, "total": gain, "effort": gain})
    assert worth_words(item, "EUR").startswith("Would bring 4.00")
