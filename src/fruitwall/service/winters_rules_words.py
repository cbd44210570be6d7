"""House rules side by side, in words: terminal and page share them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.service.household import Household, number, percent, short_day
from fruitwall.service.winters_search_words import lifts_words, money
from fruitwall.speech import marked, say, say_count, say_list

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fruitwall.service.winters_rules_document import ComparedRules, RulesDocument, RuleTold, ShortNight
    from fruitwall.service.winters_search_document import Around

WAYS = {
    "below": marked("By the forecast minimum, with the limits below"),
    "never": marked("Never protect"),
    "may_kill": marked("Only when the night may kill"),
    "as_now": marked("What pays, as now"),
}
"""Ways of a rule, as a form offers them."""

FIGURES = (
    ("total", marked("Loss and effort")),
    ("loss", marked("Expected loss")),
    ("fruit_lost", marked("Of it fruit")),
    ("effort", marked("Effort")),
    ("hurt", marked("Trees hurt")),
    ("trees_lost", marked("Trees lost")),
    ("minutes", marked("Work (min)")),
    ("lifts", marked("Lifts by hand")),
    ("kwh", marked("Energy (kWh)")),
)
"""Figures of a rule set, in the order of the table; all a winter."""

MONEY = ("total", "loss", "fruit_lost", "effort")


def whose_words(trees: str, names: Mapping[str, str]) -> str:
    """Name the trees that a rule holds for."""
    kind, _, name = trees.partition(":")
    if kind == "tree":
        return names.get(name, name)
    if kind == "taxon":
        return name
    return {"potted": say("All pots"), "planted": say("All trees in the ground")}.get(trees, say("All trees"))


def rule_words(rule: RuleTold, household: Household) -> str:
    """Say what a rule asks for: "cover below 0.0 °C, carry below −1.0 °C"."""
    if rule.way == "may_kill":
        return say("protect it when the night may kill it: a chance of {chance} or more", chance=percent(rule.if_death))
    if rule.way == "as_now":
        return say("what pays, as now")
    acts = (
        (marked("cover below {limit}"), rule.cover_below_c),
        (marked("warm it under its cover below {limit}"), rule.heat_below_c),
        (marked("carry below {limit}"), rule.carry_below_c),
    )
    said = [say(what, limit=household.temperature(limit)) for what, limit in acts if limit is not None]
    return ", ".join(said) if said and rule.way == "below" else say("leave it alone")


def rule_line(rule: RuleTold, names: Mapping[str, str], household: Household) -> str:
    """Say for whom a rule holds, and what it asks for."""
    return say("{names}: {rule}", names=whose_words(rule.trees, names), rule=rule_words(rule, household))


def figure_words(name: str, value: Around) -> tuple[str, str]:
    """Write a mean, and its spread: "12", "8–17"."""
    few = abs(value.mean) < 10.0
    digits = 2 if few and value.p90 > 0.0 and name in ("hurt", "trees_lost", *MONEY) else 0
    if name == "hurt" and not few:
        digits = 1
    return number(value.mean, digits), f"{number(value.p10, digits)}\N{EN DASH}{number(value.p90, digits)}"


def heads(document: RulesDocument) -> list[str]:
    """Give the heads of the columns."""
    return [
        say("{figure} ({currency})", figure=say(head), currency=document.currency) if name in MONEY else say(head)
        for name, head in FIGURES
    ]


def work_words(one: ComparedRules) -> str:
    """Say how often there is work, and what is carried."""
    return say(
        "There is work on {nights} nights a winter; {pots} are carried.",
        nights=lifts_words(one.busy_nights),
        pots=say_count("{count} pot", "{count} pots", round(one.carried)),
    )


def worst_words(one: ComparedRules, document: RulesDocument) -> str:
    """Say what a hard winter takes."""
    return say("One winter in ten takes {loss} or more.", loss=money(one.worst_winter_loss, document.currency))


def short_words(one: ComparedRules) -> str:
    """Say on how many nights not everything could be done."""
    if one.short_nights <= 0.0:
        return say("All that these rules ask for could be done on every night.")
    return say(
        "On {nights} nights a winter people or gear did not suffice for all that these rules ask for.",
        nights=number(one.short_nights, 0 if one.short_nights >= 9.95 else 1),
    )


def short_line(night: ShortNight, names: Mapping[str, str], household: Household) -> str:
    """Tell of one such night."""
    return say(
        "{evening} {winter}: {told} forecast; not for {trees}",
        evening=short_day(night.evening),
        winter=night.winter,
        told=household.temperature(night.told_c),
        trees=say_list([names.get(tree, tree) for tree in night.trees]),
    )


def verdict(document: RulesDocument) -> str:
    """Say which rules come out best, and what going on as now is against never protecting."""
    best = min(document.compared, key=lambda one: one.total.mean)
    said = [
        say(
            'Least loss and effort together: "{name}", {total} a winter.',
            name=say(best.name),
            total=money(best.total.mean, document.currency),
        )
    ]
    least = min(document.compared, key=lambda one: one.loss.mean)
    if least is not best:
        said.append(
            say(
                'Least is lost by "{name}": {loss}.',
                name=say(least.name),
                loss=money(least.loss.mean, document.currency),
            )
        )
    near = [
        say('"{name}"', name=say(one.name))  # names have commas of their own
        for one in document.compared
        if one is not best and one.total.mean - best.total.mean <= 2.0 * (one.total.error + best.total.error)
    ]
    if near:
        said.append(say("Too near to tell apart: {names}.", names=say_list(near)))
    return " ".join(said)


def spread_words(document: RulesDocument) -> str:
    """Say what the figures are."""
    return say_count(
        "Each figure: the mean a winter over {count} drawn future of {years} years.",
        "Each figure: the mean a winter over {count} drawn futures of {years} years. Below it: one future in ten lies "
        "below the first number, one above the second.",
        document.draws,
        years=document.years,
    )
