"""The page of what more gear is worth, worked out before the template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from fruitwall.plans.cautions import caution_texts
from fruitwall.service.household import decimal
from fruitwall.service.winters_gear_words import (
    gear_lines,
    gear_table,
    now_words,
    payback_words,
    thing_words,
    verdict_words,
    worth_words,
)
from fruitwall.service.winters_search_words import Table, notes_words, winters_words
from fruitwall.web.svg import tag
from fruitwall.web.winters.choice import choice_query

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_gear_document import GearDocument, GearWorth
    from fruitwall.service.winters_weather import WeatherChoice

BAR, HIGH = 220.0, 14.0
"""Width and height of a bar's room, in CSS pixels."""


@dataclass(frozen=True)
class Thing:
    """One thing on the page."""

    key: str
    field: str
    name: str
    worth: str
    worse: bool
    bar: Markup | None
    pays: str
    price: str


@dataclass(frozen=True)
class GearPage:
    """What the template shows."""

    verdict: str
    winters: str
    now: str
    things: list[Thing]
    others: list[Thing]
    table: Table
    currency: str
    query: str
    error: str
    cautions: list[str]
    notes: list[str]


def gear_page(
    document: GearDocument,
    household: Household,
    choice: WeatherChoice,
    *,
    typed: Mapping[str, str] | None = None,
    error: str = "",
) -> GearPage:
    """Put the page together.

    Parameters
    ----------
    document : GearDocument
    household : Household
    choice : WeatherChoice
        With which it was worked out.
    typed : Mapping of key to str, optional
        Prices as they were typed, where one was refused.
    error : str
        What was wrong with it.
    """
    worth, rest = gear_lines(document)
    most = max((item.total.p90 for item in worth), default=0.0)
    currency = document.currency

    def thing(item: GearWorth, at: int) -> Thing:
        return Thing(
            key=item.key,
            field=f"gear-price-{at}",
            name=thing_words(item, household),
            worth=worth_words(item, currency),
            worse=item.worse,
            bar=_bar(item, most) if item.sure else None,
            pays=payback_words(item, currency),
            price=_price(item) if typed is None else typed.get(item.key, ""),
        )

    things = [thing(item, at) for at, item in enumerate(worth)]
    others = [thing(item, len(worth) + at) for at, item in enumerate(rest)]
    return GearPage(
        verdict=verdict_words(document, household),
        winters=winters_words(document.winters[0], document.winters[1], document.count),
        now=now_words(document),
        things=things,
        others=others,
        table=gear_table(document, household),
        currency=currency,
        query=choice_query(choice),
        error=error,
        cautions=caution_texts("ground_fault", "heater"),
        notes=notes_words(document.notes),
    )


def _price(item: GearWorth) -> str:
    """Write a price as it can be typed again."""
    return "" if item.price is None else decimal(f"{item.price:.2f}".removesuffix(".00"))


def _bar(item: GearWorth, most: float) -> Markup:
    """Draw what something is worth: a bar to the mean, a line over what nine of ten futures stay within."""

    def at(value: float) -> float:
        return BAR * min(max(value / most, 0.0), 1.0)

    return tag(
        "svg",
        tag("rect", x=0, y=2, width=BAR, height=HIGH - 4, class_="gear-bed"),
        tag("rect", x=0, y=2, width=at(item.total.mean), height=HIGH - 4, class_="gear-bar"),
        tag("line", x1=at(item.total.p10), y1=HIGH / 2, x2=at(item.total.p90), y2=HIGH / 2, class_="gear-spread"),
        viewBox=f"0 0 {BAR:g} {HIGH:g}",
        width=BAR,
        height=HIGH,
        class_="gear-picture",
        aria_hidden="true",
        focusable="false",
    )
