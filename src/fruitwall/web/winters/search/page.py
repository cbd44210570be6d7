"""The page of the search for house rules: its picture, tables and sentences, worked out before the template."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from markupsafe import Markup

from fruitwall.plans.cautions import caution_texts
from fruitwall.service.household import number
from fruitwall.service.winters_search_words import (
    Table,
    amount,
    beyond_words,
    carrying_words,
    cheaper_words,
    figures_words,
    frontier_table,
    letter,
    lifts_words,
    line_words,
    money,
    notes_words,
    played_table,
    played_words,
    verdict,
    winters_words,
)
from fruitwall.speech import say
from fruitwall.web.svg import points, tag
from fruitwall.web.winters.choice import choice_query

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fruitwall.service.household import Household
    from fruitwall.service.winters_search_document import FoundRules, Practice, SearchDocument
    from fruitwall.service.winters_weather import WeatherChoice

WIDTH, HEIGHT = 360.0, 250.0
LEFT, RIGHT, TOP, FOOT = 46.0, 14.0, 24.0, 40.0
"""Of the picture and its margins; its units are about CSS pixels on a telephone."""

STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0)
"""Distances between lines of an axis."""

LETTER = 11.0
"""Room that a letter takes."""

LINES = 6
"""Lines of an axis at most."""


@dataclass(frozen=True)
class Rules:
    """A rule set in words."""

    title: str
    figures: str
    carrying: list[str]
    lines: list[str]
    left: str
    note: str


@dataclass(frozen=True)
class SearchPage:
    """What the template shows."""

    verdict: str
    winters: str
    asked: str
    typed: str
    currency: str
    asked_choice: list[tuple[str, str]]
    query: str
    error: str
    answer: Rules | None
    why_not: str
    cheaper: str
    picture: Markup | None
    summary: str
    beyond: str
    legend: list[tuple[Markup, str]]
    table: Table
    corners: list[Rules]
    played: Table
    played_told: str
    cautions: list[str]
    notes: list[str]


def search_page(
    document: SearchDocument, household: Household, choice: WeatherChoice, *, typed: str = "", error: str = ""
) -> SearchPage:
    """Put the page together.

    Parameters
    ----------
    document : SearchDocument
    household : Household
    choice : WeatherChoice
        With which it was worked out.
    typed : str
        Acceptable loss as it was typed.
    error : str
        What was wrong with it.
    """
    corners = [
        _rules(say("Rules {letter}", letter=letter(at)), one, document, household) for at, one in _lettered(document)
    ]
    asked = (
        say("Least work within an expected loss of {loss} a winter", loss=money(document.most_loss, document.currency))
        if document.most_loss is not None
        else say("Least loss and work together")
    )
    answer = document.answer
    return SearchPage(
        verdict=verdict(document),
        winters=winters_words(document.winters[0], document.winters[1], document.count),
        asked=asked,
        typed=typed,
        currency=document.currency,
        asked_choice=parse_qsl(choice_query(choice).removeprefix("?")),
        query=choice_query(choice),
        error=error,
        answer=None if answer is None else _rules(asked, answer, document, household),
        why_not=""
        if answer is not None
        else say(
            "No rules that can be kept on every night lose so little: the least is {loss} a winter. Allow more, or add "
            "people or gear.",
            loss=money(document.least_loss, document.currency),
        ),
        cheaper=cheaper_words(document),
        picture=_picture(document),
        summary=_summary(document),
        beyond=beyond_words(document),
        legend=_legend(document),
        table=frontier_table(document),
        corners=corners,
        played=played_table(document),
        played_told=played_words(document),
        cautions=[household.in_own_units(one) for one in caution_texts("lifting", "ground_fault")],
        notes=notes_words(document.notes),
    )


def _lettered(document: SearchDocument) -> list[tuple[int, FoundRules]]:
    return list(enumerate(document.frontier))


def _rules(title: str, found: FoundRules, document: SearchDocument, household: Household) -> Rules:
    """Put a rule set in words: what is left alone is told in one line."""
    done = [line for line in found.lines if line.way != "never"]
    left = [name for line in found.lines if line.way == "never" for name in line.names]
    return Rules(
        title=title,
        figures=figures_words(found, document.currency),
        carrying=carrying_words(found),
        lines=[line_words(line, household) for line in done],
        left=say("Left as they stand: {names}.", names=", ".join(left)) if left else "",
        note="" if found.proven else say("The search was stopped before it was proven that nothing is better."),
    )


def _summary(document: SearchDocument) -> str:
    if not document.frontier:
        return ""
    now = next((one for one in document.practices if one.key == "as_now"), None)
    never = next((one for one in document.practices if one.key == "never"), None)
    first, last = document.frontier[0], document.frontier[-1]
    values = {
        "low": money(first.loss, document.currency),
        "high": money(last.loss, document.currency),
        "most": lifts_words(amount(first, document.less)),
        "least": lifts_words(amount(last, document.less)),
        "letter": letter(len(document.frontier) - 1),
    }
    said = [
        say("From {most} lifts and a loss of {low} (A) to {least} lifts and {high} ({letter}).", **values)
        if document.less == "lifts"
        else say("From {most} carried pots and a loss of {low} (A) to {least} and {high} ({letter}).", **values)
    ]
    if now is not None and never is not None:
        values = {
            "much": lifts_words(amount(now, document.less)),
            "loss": money(now.loss, document.currency),
            "never": money(never.loss, document.currency),
        }
        said.append(
            say("As now it is {much} lifts and {loss}; never protecting loses {never}.", **values)
            if document.less == "lifts"
            else say("As now it is {much} carried pots and {loss}; never protecting loses {never}.", **values)
        )
    return " ".join(said)


def _legend(document: SearchDocument) -> list[tuple[Markup, str]]:
    def sign(mark: Markup) -> Markup:
        return tag("svg", mark, viewBox="-8 -8 16 16", width=16, height=16, aria_hidden="true", focusable="false")

    return [
        (
            sign(_dot(0.0, 0.0)),
            say("the least lifting at each loss")
            if document.less == "lifts"
            else say("the least carrying at each loss"),
        ),
        (sign(_mark("as_now", 0.0, 0.0)), say("as now")),
        (sign(_mark("never", 0.0, 0.0)), say("never protect")),
    ]


def _dot(x: float, y: float) -> Markup:
    return tag("circle", cx=x, cy=y, r=4.5, class_="frontier-dot")


def _mark(key: str, x: float, y: float) -> Markup:
    if key == "as_now":
        return tag("rect", x=x - 5, y=y - 5, width=10, height=10, class_="frontier-now")
    return tag("polygon", points=points([(x - 6, y + 5), (x + 6, y + 5), (x, y - 6)]), class_="frontier-never")


def _picture(document: SearchDocument) -> Markup | None:
    """Draw expected loss over lifts."""
    corners = document.frontier
    if not corners:
        return None
    shown: Sequence[FoundRules | Practice] = [*corners, *document.practices]
    most_x, most_y = max(amount(one, document.less) for one in shown), max(one.loss for one in shown)
    step_x, step_y = _step(most_x), _step(most_y)
    end_x, end_y = _end(most_x, step_x), _end(most_y, step_y)

    def across(lifts: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * lifts / end_x

    def up(loss: float) -> float:
        return HEIGHT - FOOT - (HEIGHT - FOOT - TOP) * loss / end_y

    across_name = say("lifts a winter") if document.less == "lifts" else say("carried pots a winter")
    drawn = []
    for at in range(round(end_y / step_y) + 1):
        y = up(at * step_y)
        drawn.append(tag("line", x1=LEFT, y1=y, x2=WIDTH - RIGHT, y2=y, class_="frontier-rule"))
        drawn.append(tag("text", _figure(at * step_y), x=LEFT - 5, y=y + 3.5, class_="frontier-figure end"))
    for at in range(round(end_x / step_x) + 1):
        x = across(at * step_x)
        drawn.append(tag("text", _figure(at * step_x), x=x, y=HEIGHT - FOOT + 14, class_="frontier-figure middle"))
    drawn.append(tag("text", across_name, x=WIDTH - RIGHT, y=HEIGHT - 6, class_="frontier-figure end"))
    drawn.append(
        tag("text", say("loss a winter ({currency})", currency=document.currency), x=4, y=9, class_="frontier-figure")
    )
    # From one corner to the next nothing better is known than the corner with more lifts.
    stairs: list[tuple[float, float]] = []
    for one in corners:
        x, y = across(amount(one, document.less)), up(one.loss)
        stairs += [(x, stairs[-1][1]), (x, y)] if stairs else [(x, y)]
    drawn.append(tag("polyline", points=points(stairs), class_="frontier-line"))
    drawn += [_mark(one.key, across(amount(one, document.less)), up(one.loss)) for one in document.practices]
    last_x, above = math.inf, False
    for at, one in _lettered(document):
        x, y = across(amount(one, document.less)), up(one.loss)
        drawn.append(_dot(x, y))
        above = last_x - x >= LETTER or not above  # of two that lie close one stands above, one below
        last_x = x
        drawn.append(tag("text", letter(at), x=x, y=y - 8 if above else y + 16, class_="frontier-letter middle"))
    return tag(
        "svg",
        *drawn,
        viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}",
        class_="frontier-picture",
        role="img",
        aria_label=say("Expected loss a winter over what is lifted or carried"),
    )


def _step(most: float) -> float:
    return next((step for step in STEPS if most / step <= LINES), STEPS[-1])


def _end(most: float, step: float) -> float:
    """Round up to the next line, at least one."""
    return max(1, -int(-most // step)) * step


def _figure(value: float) -> str:
    return number(value, 0 if value == round(value) else 1)
