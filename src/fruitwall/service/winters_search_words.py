"""House rules that were found, in words: terminal and page share them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.service.household import Household, number, percent
from fruitwall.service.winters_rules import preset_rules
from fruitwall.speech import marked, say, say_count, say_list, told

if TYPE_CHECKING:
    from fruitwall.service.winters_search_document import Around, FoundRules, Practice, RuleLine, SearchDocument

PRACTICES = {"as_now": marked("As now"), "never": marked("Never protect"), "found": marked("The rules found")}
"""Ways of going on, by their keys."""


@dataclass(frozen=True)
class Table:
    """Heads and rows; the first cell of a row names it."""

    heads: list[str]
    rows: list[list[str]]


def money(amount: float, currency: str) -> str:
    """Write an amount of money: whole from ten on."""
    return f"{bare_money(amount)}\N{NO-BREAK SPACE}{currency}"


def bare_money(amount: float) -> str:
    """Write an amount of money whose currency stands in a head: whole from ten on, and nothing as 0."""
    return number(amount, 0 if abs(amount) >= 9.995 or abs(amount) < 0.005 else 2)


def lifts_words(lifts: float) -> str:
    """Write lifts a winter: whole from ten on."""
    return number(lifts, 0 if lifts >= 9.95 or lifts == round(lifts) else 1)


def rule_words(line: RuleLine, household: Household) -> str:
    """Say what holds for a tree: "cover below 1.0 °C, carry below −2.0 °C"."""
    if line.way == "may_kill":
        return say("protect it when the night may kill it: a chance of {chance} or more", chance=percent(line.if_death))
    if line.way == "as_now":
        return say("what pays, as now")
    acts = (
        (marked("cover below {limit}"), line.cover_below_c),
        (marked("warm it under its cover below {limit}"), line.heat_below_c),
        (marked("carry below {limit}"), line.carry_below_c),
    )
    said = [say(what, limit=household.temperature(limit)) for what, limit in acts if limit is not None]
    if line.way == "below" and said:
        return ", ".join(said)
    return say("leave it out") if line.potted else say("leave it alone")


def line_words(line: RuleLine, household: Household) -> str:
    """Say for whom a rule holds, and what it is."""
    return say("{names}: {rule}", names=say_list(line.names), rule=rule_words(line, household))


def no_longer(found: FoundRules) -> list[str]:
    """Name the pots that are carried as now and need it no more."""
    return [name for line in found.lines if line.carried_now and not line.carried for name in line.names]


def still(found: FoundRules) -> list[str]:
    """Name the pots that are carried."""
    return [name for line in found.lines if line.carried for name in line.names]


def carrying_words(found: FoundRules) -> list[str]:
    """Say what is carried no more, and what still is."""
    stopped, kept = no_longer(found), still(found)
    said = []
    if stopped:
        said.append(say("No longer carried: {names}.", names=say_list(stopped)))
    if kept:
        said.append(say("Still carried: {names}.", names=say_list(kept)))
    elif not stopped:
        said.append(say("Nothing is carried."))
    return said


def figures_words(found: FoundRules | Practice, currency: str) -> str:
    """Say what a way of going on takes and leaves to lose."""
    return say(
        "Expected loss {loss} a winter. It takes {carries}, {lifts} by hand, {minutes} min of work and {kwh} kWh a "
        "winter: {effort} of effort.",
        loss=money(found.loss, currency),
        carries=say_count("{count} carried pot", "{count} carried pots", round(found.carries)),
        lifts=say_count("{count} lift", "{count} lifts", round(found.lifts)),
        minutes=number(found.minutes),
        kwh=number(found.kwh),
        effort=money(found.effort, currency),
    )


def verdict(document: SearchDocument) -> str:
    """Say in one sentence what the frontier tells of carrying."""
    points = document.frontier
    if not points:
        return say("No rules were found that can be kept on every night.")
    most, least = points[0], points[-1]
    spared = amount(most, document.less) - amount(least, document.less)
    if spared <= 1e-9:
        return say("Nothing here is worth carrying: no rule that carries saves more than one that does not.")
    return say(
        "Carrying {much} brings the expected loss down from {without} to {with_it} a winter; what lies between is in "
        "the picture.",
        much=much_words(amount(most, document.less), document.less),
        without=money(least.loss, document.currency),
        with_it=money(most.loss, document.currency),
    )


def search_verdict(document: SearchDocument) -> str:
    """Say in one told sentence what was found, for the overview."""
    if document.answer is None:
        return told("No rules were found that can be kept on every night.")
    kept = [line for line in document.answer.lines if line.way != "never"]
    trees = sum(len(line.trees) for line in kept)
    return told(
        "Least loss and work together: {trees} trees looked after by rule, {minutes:.0f} min of work and an expected "
        "loss of {loss:.0f} {currency} a winter.",
        trees=trees,
        minutes=document.answer.minutes,
        loss=document.answer.loss,
        currency=document.currency,
    )


def amount(one: FoundRules | Practice, less: str) -> float:
    """Give what the frontier makes less, of a way of going on."""
    return one.lifts if less == "lifts" else one.carries


def much_words(value: float, less: str) -> str:
    """Say how much is lifted or carried a winter."""
    if less == "lifts":
        return say("with {lifts} lifts a winter", lifts=lifts_words(value))
    return say("{count} pots a winter", count=lifts_words(value))


def beyond_words(document: SearchDocument) -> str:
    """Say why going on as now may lose less than any rules shown; empty where it does not."""
    now = next((one for one in document.practices if one.key == "as_now"), None)
    if now is None or not document.frontier or now.loss >= document.least_loss - 1e-9:
        return ""
    return say(
        "Going on as now loses less than any of these rules, at {effort} of effort a winter: on nights on which not "
        "all can be done it does what it can. The rules here are only those that can be kept in full on every night.",
        effort=money(now.effort, document.currency),
    )


CHEAPER_SHARE = 0.01
"""Share of loss and effort by which other rules must be cheaper to be told of. Our judgement. [-]"""


def cheaper_words(document: SearchDocument) -> str:
    """Say which ready-made rules, or going on as now, do better than what was found; empty where none does.

    What is found is kept in full on every night. Rules that fall short on a few nights and do what they can are not
    among what is searched, and may well be cheaper.
    """
    names = {rules.key: rules.name for rules in preset_rules()} | PRACTICES
    others, most = [*document.ready_made, *document.practices], document.most_loss
    if most is not None:
        within = [one for one in others if one.loss <= most]
        best = min(within, key=lambda one: one.effort, default=None)
        if best is None or (document.answer and best.effort >= (1.0 - CHEAPER_SHARE) * document.answer.effort):
            return ""
    else:
        best = min(others, key=lambda one: one.total, default=None)
        if best is None or (document.answer and best.total >= (1.0 - CHEAPER_SHARE) * document.answer.total):
            return ""
    return say(
        'Cheaper still, though it may fall short on some nights, is "{name}": expected loss {loss}, effort '
        "{effort} a winter. Where not all can be done it does what it can. See the comparison of house rules.",
        name=say(names[best.key]),
        loss=money(best.loss, document.currency),
        effort=money(best.effort, document.currency),
    )


def winters_words(first: str, last: str, count: int) -> str:
    """Say which winters it rests on."""
    return say_count(
        "Worked out from {count} winter, {first}.",
        "Worked out from {count} winters, {first} to {last}.",
        count,
        first=first,
        last=last,
    )


def notes_words(notes: Sequence[str]) -> list[str]:
    """Say notes again, as sentences: a capital first, a full stop last."""
    from fruitwall.service.words import sentence
    from fruitwall.speech import say_again

    said = (sentence(say_again(note)) for note in dict.fromkeys(notes))
    return [one if one.endswith((".", "!", "?")) else f"{one}." for one in said]


def letter(at: int) -> str:
    """Give the letter of a corner of the frontier."""
    return chr(ord("A") + at)


def frontier_table(document: SearchDocument) -> Table:
    """Give the corners of the frontier and the ways of going on, row by row."""
    heads = [
        say("Rules"),
        say("Pots carried"),
        say("Lifts by hand"),
        say("Expected loss ({currency})", currency=document.currency),
        say("Work (min)"),
        say("Effort ({currency})", currency=document.currency),
    ]
    named: list[tuple[str, FoundRules | Practice]] = [(letter(at), one) for at, one in enumerate(document.frontier)]
    named += [(say(PRACTICES[one.key]), one) for one in document.practices]
    rows = [
        [
            name,
            lifts_words(one.carries),
            lifts_words(one.lifts),
            bare_money(one.loss),
            number(one.minutes),
            bare_money(one.effort),
        ]
        for name, one in named
    ]
    return Table(heads, rows)


def played_table(document: SearchDocument) -> Table:
    """Give what the drawn futures bring, row by row."""
    heads = [
        say("Way"),
        say("Loss ({currency})", currency=document.currency),
        say("Effort ({currency})", currency=document.currency),
        say("Lifts"),
        say("Work (min)"),
        say("Trees lost"),
    ]
    rows = [
        [
            say(PRACTICES[one.key]),
            _around(one.loss),
            _around(one.effort),
            _around(one.lifts),
            _around(one.minutes),
            _around(one.trees_lost, 2),
        ]
        for one in document.replayed
    ]
    return Table(heads, rows)


def played_words(document: SearchDocument) -> str:
    """Say what the figures of the drawn futures are."""
    return say_count(
        "Mean a winter over {count} drawn future of {years} years.",
        "Mean a winter over {count} drawn futures of {years} years, with the same winters and the same luck for "
        "each way. In brackets: one future in ten lies below the first number, one above the second.",
        document.draws,
        years=document.years,
    )


def _around(value: Around, digits: int = 0) -> str:
    """Write a mean and its tenths: "12 (8–17)"."""
    mean, low, high = (number(one, digits) for one in (value.mean, value.p10, value.p90))
    return f"{mean} ({low}\N{EN DASH}{high})"
