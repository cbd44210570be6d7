"""What more gear is worth, in words: terminal and page share them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.service.household import Household, number
from fruitwall.service.winters_search_words import Table, money
from fruitwall.speech import marked, say, say_count, told
from fruitwall.yard.display import format_quantity

if TYPE_CHECKING:
    from fruitwall.service.winters_gear_document import GearDocument, GearGain, GearWorth

MORE = {
    "sheet": marked("One more sheet: {name}"),
    "lamps": marked("One more lamp string: {name}"),
    "heater": marked("One more heater: {name}"),
    "lead": marked("One more lead: {name}"),
    "circuit": marked("{watts} W more on {name}"),
    "person": marked("{minutes} min more of {name}"),
    "trolley": marked("One more trolley: {name}"),
    "room": marked("One more space: {name}"),
    "shelter": marked("A standing frame with film over {name}"),
    "barrel": marked("A barrel of {litres} of water in {name}"),
}
"""What is tried, by kind."""

LITTLE = 0.005
"""What is worth less is shown as nothing. [currency]"""


def thing_words(item: GearWorth, household: Household) -> str:
    """Say what is tried."""
    litres = format_quantity(item.step, "volume", household.display)
    return say(MORE[item.kind], name=item.name, watts=number(item.step), minutes=number(item.step), litres=litres)


def gain_words(gain: GearGain, digits: int | None = None) -> str:
    """Write a gain with what nine of ten futures exceed and stay below: "12 (4–20)"."""
    places = digits if digits is not None else (0 if max(abs(gain.mean), abs(gain.p90)) >= 10 else 2)
    mean, low, high = (number(0.0 if abs(one) < LITTLE else one, places) for one in (gain.mean, gain.p10, gain.p90))
    return f"{mean} ({low} {say('to')} {high})"


def worth_words(item: GearWorth, currency: str) -> str:
    """Say what something is worth."""
    if item.worse:
        return say(
            "Would bring {more} more effort a winter and save {loss}: each evening by itself it would seem to pay.",
            more=money(-item.effort.mean, currency),
            loss=money(max(item.loss.mean, 0.0), currency),
        )
    if not item.sure:
        return say("Worth nothing that the drawn futures could tell from chance.")
    values = {"total": money(item.total.mean, currency), "loss": money(item.loss.mean, currency)}
    if item.effort.mean < 0.0:
        more = money(-item.effort.mean, currency)
        return say("Worth {total} a winter: {loss} less loss, for {more} more effort.", **values, more=more)
    less = money(item.effort.mean, currency)
    return say("Worth {total} a winter: {loss} less loss, {effort} less effort.", **values, effort=less)


def payback_words(item: GearWorth, currency: str) -> str:
    """Say when a price is earned; empty without one."""
    if item.price is None:
        return ""
    price = money(item.price, currency)
    if not item.sure or item.winters_to_pay is None:
        return say("At {price} it does not pay.", price=price)
    winters = max(1, round(item.winters_to_pay))
    return say_count(
        "At {price} it has paid after {count} winter.",
        "At {price} it has paid after {count} winters.",
        winters,
        price=price,
    )


def gear_lines(document: GearDocument) -> tuple[list[GearWorth], list[GearWorth]]:
    """Part what is worth something from what is not."""
    return [item for item in document.items if item.sure], [item for item in document.items if not item.sure]


def verdict_words(document: GearDocument, household: Household) -> str:
    """Say in one sentence what is worth most."""
    worth, _ = gear_lines(document)
    if not worth:
        return say("Nothing more of anything would be worth having in these winters.")
    return say(
        "Worth most: {thing}, {money} a winter.",
        thing=thing_words(worth[0], household),
        money=money(worth[0].total.mean, document.currency),
    )


def gear_verdict(document: GearDocument) -> str:
    """Say in one told sentence what is worth most, for the overview."""
    worth, _ = gear_lines(document)
    if not worth:
        return told("Nothing more of anything would be worth having in these winters.")
    best = worth[0]
    return told(
        "Worth most: {thing}, {money:.0f} {currency} a winter.",
        thing=told(
            MORE[best.kind],
            name=best.name,
            watts=f"{best.step:.0f}",
            minutes=f"{best.step:.0f}",
            litres=f"{best.step:.0f} L",
        ),
        money=best.total.mean,
        currency=document.currency,
    )


def now_words(document: GearDocument) -> str:
    """Say what it is as now."""
    return say(
        "As now, {loss} a winter are expected to be lost, and the effort is {effort}: means over {draws} drawn "
        "futures of {years} years.",
        loss=money(document.loss, document.currency),
        effort=money(document.effort, document.currency),
        draws=document.draws,
        years=document.years,
    )


def gear_table(document: GearDocument, household: Household) -> Table:
    """Give all things with what they are worth, row by row."""
    currency = document.currency
    heads = [
        say("One more"),
        say("Worth a winter ({currency})", currency=currency),
        say("Less loss ({currency})", currency=currency),
        say("Less effort ({currency})", currency=currency),
        say("Less work (min)"),
        say("Fewer lifts"),
    ]
    rows = [
        [
            thing_words(item, household),
            gain_words(item.total),
            gain_words(item.loss),
            gain_words(item.effort),
            gain_words(item.minutes, 0),
            gain_words(item.lifts, 1),
        ]
        for item in document.items
    ]
    return Table(heads, rows)
