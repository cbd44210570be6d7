"""The pages of house rules: table, details and form, worked out before the template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from fruitwall.plans.cautions import caution_texts
from fruitwall.plans.rules.rule import LIMITS_C
from fruitwall.service.household import number
from fruitwall.service.ledger import GRADES
from fruitwall.service.winters_rules import rule_told, tree_choices
from fruitwall.service.winters_rules_words import (
    FIGURES,
    WAYS,
    figure_words,
    heads,
    rule_line,
    short_line,
    short_words,
    spread_words,
    verdict,
    work_words,
    worst_words,
)
from fruitwall.service.winters_search_words import notes_words, winters_words
from fruitwall.speech import say
from fruitwall.web.winters.choice import choice_query

if TYPE_CHECKING:
    from fruitwall.plans.rules.rule import HouseRule
    from fruitwall.service.household import Household
    from fruitwall.service.winters_rules_document import ComparedRules, RulesDocument
    from fruitwall.service.winters_weather import WeatherChoice
    from fruitwall.yard.model import Yard


@dataclass(frozen=True)
class Row:
    """One rule set in the table: its name, what marks it, and a mean with its spread for each figure."""

    name: str
    mark: str
    cells: list[tuple[str, str]]


@dataclass(frozen=True)
class Details:
    """One rule set in words."""

    name: str
    rules: list[str]
    told: list[str]
    grades: list[tuple[str, str, str]]
    short: list[str]


@dataclass(frozen=True)
class RulesPage:
    """What the comparison shows."""

    verdict: str
    winters: str
    spread: str
    heads: list[str]
    rows: list[Row]
    details: list[Details]
    cautions: list[str]
    notes: list[str]
    query: str


@dataclass(frozen=True)
class Kept:
    """A rule that is kept: in words, and what removes it."""

    told: str
    trees: str


@dataclass(frozen=True)
class OwnPage:
    """What the form of own rules shows."""

    kept: list[Kept]
    trees: list[tuple[str, str]]
    ways: list[tuple[str, str]]
    degree: str
    typed: Mapping[str, str]
    error: str
    bounds: str
    cautions: list[str]
    asked_choice: list[tuple[str, str]]
    query: str


def rules_page(document: RulesDocument, household: Household, choice: WeatherChoice) -> RulesPage:
    """Put the comparison together.

    Parameters
    ----------
    document : RulesDocument
    household : Household
    choice : WeatherChoice
        With which it was worked out.
    """
    best = min(document.compared, key=lambda one: one.total.mean)
    return RulesPage(
        verdict=verdict(document),
        winters=winters_words(document.winters[0], document.winters[1], document.count),
        spread=spread_words(document),
        heads=heads(document),
        rows=[
            Row(
                say(one.name),
                say("least in all") if one is best else "",
                [figure_words(name, getattr(one, name)) for name, _ in FIGURES],
            )
            for one in document.compared
        ],
        details=[_details(one, document, household) for one in document.compared],
        cautions=[household.in_own_units(one) for one in caution_texts("lifting", "ground_fault")],
        notes=notes_words(document.notes),
        query=choice_query(choice),
    )


def _details(one: ComparedRules, document: RulesDocument, household: Household) -> Details:
    return Details(
        name=say(one.name),
        rules=[rule_line(rule, document.names, household) for rule in one.rules],
        told=[work_words(one), worst_words(one, document), short_words(one)],
        grades=[
            (say(name), number(value.mean, 2), f"{number(value.p10, 2)}\N{EN DASH}{number(value.p90, 2)}")
            for (_, name, _), value in zip(GRADES, one.by_grade, strict=True)
        ],
        short=[short_line(night, document.names, household) for night in one.short],
    )


def own_page(
    yard: Yard,
    rules: Sequence[HouseRule],
    household: Household,
    choice: WeatherChoice,
    *,
    typed: Mapping[str, str] | None = None,
    error: str = "",
) -> OwnPage:
    """Put the form together.

    Parameters
    ----------
    yard : Yard
    rules : sequence of HouseRule
        Those that are kept.
    household : Household
    choice : WeatherChoice
        Winters that the reader looks at.
    typed : Mapping of str, optional
        What was typed, by field.
    error : str
        What was wrong with it.
    """
    names = {tree.id: tree.name for tree in yard.trees}
    low, high = (household.temperature(limit) for limit in LIMITS_C)
    return OwnPage(
        kept=[Kept(rule_line(rule_told(rule), names, household), rule.trees) for rule in rules],
        trees=list(tree_choices(yard).items()),
        ways=[(way, say(name)) for way, name in WAYS.items()],
        degree=household.degree,
        typed=typed or {"trees": "all", "way": "below", "cover": "", "heat": "", "carry": "", "death": "5"},
        error=error,
        bounds=say("Limits from {low} to {high}.", low=low, high=high),
        cautions=[household.in_own_units(one) for one in caution_texts("lifting")],
        asked_choice=parse_qsl(choice_query(choice).removeprefix("?")),
        query=choice_query(choice),
    )
