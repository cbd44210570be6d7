"""House rules that a household writes, and the comparison on the same winters."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from rich.console import Console

from fruitwall.cli.winters_rules import show_rules
from fruitwall.errors import PlanError
from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.plans.rules.rule import HouseRule, check_rules
from fruitwall.service import winters_ground as grounds
from fruitwall.service import winters_rules as asked
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.winters_rules import (
    HOUSE_RULES,
    compare,
    keep_rule,
    kept_rules,
    own_rules,
    preset_rules,
    read_rule,
    remove_rule,
    rules_document,
    rules_verdict,
)
from fruitwall.service.winters_rules_document import RulesDocument
from fruitwall.service.winters_rules_words import figure_words, verdict
from fruitwall.service.winters_search_document import Around
from fruitwall.service.winters_search_words import bare_money
from fruitwall.speech import say_again, speaking
from fruitwall.web.winters.rules.routes import celsius
from fruitwall.yard.model import Display
from tests.plans.rules_made import TREES, made_ground
from tests.service.many_winters import winters_file, winters_house

__all__ = ["winters_file", "winters_house"]

CELSIUS = Household(Display(), ZoneInfo("America/Los_Angeles"))
FAHRENHEIT = Household(Display(temperature="F", length="ft"), ZoneInfo("America/Los_Angeles"))
AHEAD = Ahead(years=6, draws=6)


@pytest.fixture
def ground(monkeypatch: pytest.MonkeyPatch) -> Ground:
    made = made_ground(TREES[:5], winters=3, days=10, mean_c=-1.0)
    monkeypatch.setattr(grounds, "winters_ground", lambda *_its, **_how: made)
    return made


def keep(house: House, rule: HouseRule) -> None:
    keep_rule(house, rule, author="Ana", now=house.clock())


def test_ready_made_rules_can_be_meant_and_have_keys_of_their_own() -> None:
    presets = preset_rules()
    assert len({rules.key for rules in presets}) == len(presets)
    for rules in presets:
        check_rules(rules, made_ground(1, winters=1, days=1).steps[0].trees)


def test_own_rules_are_kept_replaced_and_removed(winters_house: House) -> None:
    assert own_rules(winters_house) == ()
    keep(winters_house, HouseRule(cover_below_c=0.0))
    keep(winters_house, HouseRule(trees="tree:lime", way="never"))
    keep(winters_house, HouseRule(cover_below_c=-1.0))
    (own,) = own_rules(winters_house)
    assert own.rules == (HouseRule(trees="tree:lime", way="never"), HouseRule(cover_below_c=-1.0))
    remove_rule(winters_house, "tree:lime", author="Ana", now=winters_house.clock())
    remove_rule(winters_house, "tree:nobody", author="Ana", now=winters_house.clock())
    assert kept_rules(winters_house) == (HouseRule(cover_below_c=-1.0),)


def test_a_rule_that_cannot_be_meant_changes_nothing(winters_house: House) -> None:
    keep(winters_house, HouseRule(cover_below_c=0.0))
    for rule, says in (
        (HouseRule(trees="tree:oak", cover_below_c=0.0), 'the yard has no trees "oak"'),
        (HouseRule(cover_below_c=30.0), "the limit for covering must lie between"),
        (HouseRule(), "asks for nothing"),
    ):
        with pytest.raises(PlanError, match=says):
            keep(winters_house, rule)
    assert kept_rules(winters_house) == (HouseRule(cover_below_c=0.0),)


def test_what_is_kept_and_cannot_be_read_is_passed_over(winters_house: House) -> None:
    entries = [{"trees": "all", "way": "by moonlight"}, {"tree": 3}, {"trees": "potted", "carry_below_c": 1.0}]
    winters_house.ledger.set(HOUSE_RULES, entries, author="Ana", now=winters_house.clock())
    assert kept_rules(winters_house) == (HouseRule(trees="potted", carry_below_c=1.0),)


def test_a_form_is_read_in_the_readers_unit() -> None:
    typed = {"trees": "all", "way": "below", "cover": "32", "carry": "28,4 °F", "death": "5"}
    rule = read_rule(typed, lambda text: celsius(text, FAHRENHEIT))
    assert rule.cover_below_c == pytest.approx(0.0)
    assert rule.carry_below_c == pytest.approx(-2.0)
    assert read_rule(typed | {"cover": "−1,5", "carry": ""}, lambda text: celsius(text, CELSIUS)) == HouseRule(
        cover_below_c=-1.5
    )
    deadly = read_rule({"trees": "potted", "way": "may_kill", "cover": "9", "death": "2.5 %"}, float)
    assert deadly == HouseRule(trees="potted", way="may_kill", carry_if_death=0.025)
    for wrong, says in (
        ({"cover": "cold"}, '"cold" is no temperature'),
        ({"cover": "nan"}, '"nan" is no temperature'),
        ({"death": "much"}, '"much" is no percentage'),
        ({"death": "0"}, "the chance of death must be above 0"),
        ({"way": "sometimes"}, 'there is no way "sometimes"'),
        ({"cover": "", "carry": ""}, "asks for nothing"),
    ):
        with pytest.raises(PlanError, match=says):
            read_rule(typed | {"cover": "1", "carry": ""} | wrong, lambda text: celsius(text, CELSIUS))


@pytest.fixture
def document(winters_house: House, ground: Ground) -> RulesDocument:
    keep(winters_house, HouseRule(trees="tree:lime", cover_below_c=2.0))
    found = rules_document(winters_house, ahead=AHEAD)
    assert found is not None
    assert found.count == len(ground.nights.winters)
    return found


def test_all_are_compared_on_the_same_winters(document: RulesDocument) -> None:
    assert [one.key for one in document.compared] == ["own", *(rules.key for rules in preset_rules())]
    by_key = {one.key: one for one in document.compared}
    never, cover, now = by_key["never"], by_key["cover"], by_key["as-now"]
    assert never.minutes.mean == never.effort.mean == never.busy_nights == never.short_nights == 0.0
    assert not never.short
    assert cover.minutes.mean > 0.0
    assert cover.loss.mean < never.loss.mean > now.loss.mean
    assert by_key["own"].loss == never.loss, "a rule for a tree that is not on this ground does nothing"
    for one in document.compared:
        assert len(one.by_grade) == 8
        assert one.total.mean == pytest.approx(one.loss.mean + one.effort.mean)
        assert one.total.p10 <= one.total.mean <= one.total.p90
        assert (one.short_nights > 0.0) == bool(one.short)


def test_what_was_worked_out_is_kept_by_its_content(
    winters_house: House, ground: Ground, monkeypatch: pytest.MonkeyPatch
) -> None:
    sets = preset_rules()[:2]
    first = compare(winters_house, sets, ahead=AHEAD)

    def never_again(*_its: Any) -> Any:
        raise AssertionError("it is kept")

    figures = asked._figures
    monkeypatch.setattr(asked, "_figures", never_again)
    assert compare(winters_house, sets, ahead=AHEAD) == first
    with pytest.raises(AssertionError, match="it is kept"):
        compare(winters_house, preset_rules()[2:3], ahead=AHEAD)
    monkeypatch.setattr(asked, "_figures", figures)
    monkeypatch.setattr(grounds, "winters_ground", lambda *_its, **_how: None)
    assert compare(winters_house, sets, ahead=AHEAD) == []
    assert rules_document(winters_house) is None


@pytest.mark.parametrize("language", ["en", "es"])
def test_terminal_and_verdict_tell_the_same_in_the_readers_words(document: RulesDocument, language: str) -> None:
    best = min(document.compared, key=lambda one: one.total.mean)
    with speaking(language):
        told = StringIO()
        Console(file=told, width=220).print(show_rules(document, FAHRENHEIT))
        said = say_again(rules_verdict(document))
    assert f"{best.total.mean:.0f} {document.currency}" in said
    assert said.startswith("Least loss" if language == "en" else "Lo que menos cuesta")
    assert ("cover below 32\N{NO-BREAK SPACE}°F" if language == "en" else "32\N{NO-BREAK SPACE}°F") in told.getvalue()
    assert ("Never protect" in told.getvalue()) == (language == "en")


def test_a_short_night_names_the_trees_that_got_less(
    winters_house: House, monkeypatch: pytest.MonkeyPatch, shown: Callable[[Ground], Ground]
) -> None:
    made = shown(made_ground(TREES[:5], winters=2, days=6, mean_c=-2.0))
    monkeypatch.setattr(grounds, "winters_ground", lambda *_its, **_how: made)
    (found,) = compare(winters_house, preset_rules()[1:2], ahead=AHEAD)
    assert found.told.short_nights > 0.0
    known = {tree.tree for tree in made.steps[0].trees}
    assert all(set(night.trees) <= known and night.trees for night in found.told.short)
    evenings = [night.evening for night in found.told.short]
    assert evenings == sorted(evenings, reverse=True)
    assert all(night.told_c <= 0.0 for night in found.told.short)


@pytest.fixture
def shown() -> Callable[[Ground], Ground]:
    """Take the people away, so that nothing can be done."""
    from dataclasses import replace

    from fruitwall.plans.problem import Supplies

    def without(ground: Ground) -> Ground:
        steps = tuple(
            replace(
                step,
                supplies=Supplies(
                    tuple(replace(one, available=0.0) if one.kind == "person" else one for one in step.supplies.items)
                ),
            )
            for step in ground.steps
        )
        return replace(ground, steps=steps, mark=f"{ground.mark} nobody")

    return without


def test_figures_have_no_more_digits_than_they_say_and_names_with_commas_are_quoted(document: RulesDocument) -> None:
    def around(mean: float) -> Around:
        return Around(mean=mean, p10=mean, p90=mean, error=0.0)

    assert [bare_money(one) for one in (0.0, 0.5, 9.994, 9.996)] == ["0", "0.50", "9.99", "10"]
    assert figure_words("effort", around(0.0)) == ("0", "0\N{EN DASH}0")
    assert figure_words("hurt", around(21.48))[0] == "21.5"
    assert figure_words("trees_lost", around(5.62))[0] == "5.62"
    alike = [one.model_copy(update={"total": around(100.0)}) for one in document.compared[-3:]]
    told = verdict(document.model_copy(update={"compared": alike}))
    assert 'Too near to tell apart: "Only when the night may kill" and "What pays, as now".' in told
