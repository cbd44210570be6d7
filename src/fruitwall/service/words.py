"""The sentences of a plan.

Plain words for what the numbers say; the numbers come in, nothing is computed beyond rounding.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime

from fruitwall.plans.problem import OneMore, RunnerUp
from fruitwall.plans.reasons import Reason
from fruitwall.service.evening_document import Spread, StandingPart, TreePlan
from fruitwall.service.household import Household, percent, short_day

OCCASIONS = {
    "now": "Now",
    "before_sun_leaves": "While the sun is still on the ground",
    "before_dusk": "Before sunset",
    "before_bed": "Before bed",
    "morning": "In the morning",
    "when_mild": "When it is mild again",
}
"""Heading of each occasion of the checklist, in the order of the evening. Everything due at sunset is called so: dusk
and dark come half an hour later, too late to begin."""

TISSUE_WORDS = {
    "leaf": "leaves",
    "twig": "twigs",
    "wood": "wood",
    "fruit": "fruit",
    "root": "roots",
}

VERDICT_WORDS = {
    "safe": "safe",
    "watch": "to watch",
    "danger": "in danger",
    "deadly": "in danger of its life",
}


def verdict(
    plan_trees: Sequence[TreePlan],
    minimum_c: Spread,
    household: Household,
    *,
    night: date | None = None,
    dark: bool = False,
    settled: Collection[str] = (),
) -> str:
    """Say the whole evening in one sentence.

    Parameters
    ----------
    plan_trees : sequence of TreePlan
    minimum_c : Spread
        At the station. [°C]
    household : Household
    night : date or None
        The night that is meant, if it is not tonight's.
    dark : bool
        Whether the sun has set by now.
    settled : collection of str
        Trees for which everything planned is done already.
    """
    low = household.temperature(minimum_c.p50)
    when = "tonight" if night is None else f"on the night of {short_day(night)}"
    acting = [tree for tree in plan_trees if tree.measure != "leave" and tree.id not in settled]
    at_risk = [tree for tree in plan_trees if tree.verdict_with_plan in ("danger", "deadly")]
    to_watch = [tree for tree in plan_trees if tree.verdict_with_plan == "watch"]
    near = f"Near {low} at the station {when}"
    if not acting and settled:
        even_so = f"; {_count(len(at_risk), 'tree stays', 'trees stay')} at risk even so" if at_risk else ""
        return f"{near}: all that is planned is done{even_so}."
    if not acting and not at_risk:
        watch = f"; {_count(len(to_watch), 'tree', 'trees')} to watch" if to_watch else ""
        return f"Nothing needs doing {when}: near {low} at the station no tree is in danger{watch}."
    stay = _count(len(at_risk), "tree stays", "trees stay")
    if not acting:
        return f"{near}: {stay} at risk, and nothing at hand is worth its effort or helps enough."
    more = " more" if settled else ""
    need = _count(len(acting), f"{more} tree needs".strip(), f"{more} trees need".strip())
    rest = f"; {stay} at risk even so" if at_risk else ""
    return f"{near}: {need} something {'now' if dark else 'before sunset'}{rest}."


def _count(number: int, one: str, many: str) -> str:
    """Write a count with its noun."""
    return f"{number} {one if number == 1 else many}"


def reason(
    *,
    measure: str,
    tissue: str,
    nothing: Spread,
    chosen: Spread,
    tolerance: Spread,
    harm: tuple[float, float],
    fruit: tuple[float, float],
    later: str | None,
    why_left: str,
    household: Household,
) -> str:
    """Say in one sentence why a tree gets what it gets.

    Parameters
    ----------
    measure : str
        Key of the chosen measure.
    tissue : str
        The most endangered tissue.
    nothing, chosen : Spread
        Its coldest hour without and with the measure. [°C]
    tolerance : Spread
        What it stands. [°C]
    harm : (nothing, chosen)
        Chance of harm.
    fruit : (nothing, chosen)
        Expected share of fruit or bloom lost; told if it is worth a word.
    later : str or None
        A later night that endangers the tree more than tonight.
    why_left : str
        Why nothing is done for it, as of `why_left`; used only if it is left.
    household : Household
    """
    what = TISSUE_WORDS[tissue].capitalize()
    margin = nothing.p50 - tolerance.p50
    side = "above" if margin >= 0 else "below"
    alone = f"{household.temperature(nothing.p50)}, {household.difference(margin)} {side} where harm begins"
    if measure != "leave" and harm[0] < 0.05 and fruit[0] < FRUIT_WORTH_A_WORD:
        return f"{what} without help: {alone}. It is done tonight already for {later or 'the nights after'}."
    if measure in ("pick", "pick-half"):
        saves = "saves the fruit" if measure == "pick" else "half of the fruit saves that half"
        return f"{what} without help: {alone}; picking {saves} and changes nothing for the tree.{_fruit(fruit)}"
    if measure != "leave":
        return (
            f"{what} without help: {alone}; with this: {household.temperature(chosen.p50)}, and the chance of harm is "
            f"{percent(harm[1])} instead of {percent(harm[0])}.{_fruit(fruit)}"
        )
    if harm[0] < 0.05:
        return f"{what} down to {alone}; harm is unlikely ({percent(harm[0])}).{_fruit(fruit)}"
    return f"{what} down to {alone}, chance of harm {percent(harm[0])}; {why_left}.{_fruit(fruit)}"


def _fruit(lost: tuple[float, float]) -> str:
    """Say how much of the fruit or bloom is lost, if any to speak of."""
    nothing, chosen = lost
    if nothing < FRUIT_WORTH_A_WORD:
        return ""
    saved = f", {percent(chosen)} with this" if nothing - chosen > FRUIT_WORTH_A_WORD else ""
    return f" Fruit or bloom: {percent(nothing)} lost{saved}."


FRUIT_WORTH_A_WORD = 0.02
"""Share of fruit lost that is told."""


def why_left(reason: Reason | None, supplies: Mapping[str, str], household: Household, currency: str) -> str:
    """Say why a tree is left although it is in danger.

    Parameters
    ----------
    reason : Reason or None
        As the planner found it; None if it was not asked.
    supplies : mapping of str to str
        Names of what is scarce, by key.
    household : Household
    currency : str
    """
    if reason is None:
        return "little is to be gained"
    refused = household.in_own_units(reason.refusals[0].why) if reason.refusals else ""
    if reason.kind == "impossible":
        return refused or "this yard has nothing that could be done for it"
    if reason.kind == "no_help" or reason.measure is None:
        return f"what could be done here would not help{f'; {refused}' if refused else ''}"
    if reason.kind == "not_worth_it":
        if reason.measure.wet_ground and refused:
            return refused
        saves, costs = _money(reason.saves, currency), _money(reason.costs, currency)
        return f"to {reason.measure.name} would save {saves} and cost {costs} in work, power and wear"
    scarce = listed([supplies.get(key, key) for key in reason.scarce]) or "what it takes"
    verb = "are" if len(reason.scarce) > 1 else "is"
    if reason.kind == "too_little":
        return f"it would help to {reason.measure.name}; but there is too little of {scarce}"
    return f"it would help to {reason.measure.name}; but {scarce} {verb} of more use elsewhere"


def listed(names: Sequence[str]) -> str:
    """Write names as a list: "a, b and c"."""
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)


def runner_up(found: RunnerUp, chosen_key: str, names: dict[str, str], currency: str) -> str:
    """Say what the next best measure would be and what it would change."""
    if found.measure.key == chosen_key:
        return ""
    text = f"{found.measure.name}: worse by {_money(found.costs_more, currency)}"
    if found.others:
        trees = ", ".join(names.get(tree, tree) for tree, _, _ in found.others[:3])
        text += f", and would change what {trees} get{'s' if len(found.others) == 1 else ''}"
    return text


def one_more(found: OneMore, names: dict[str, str], currency: str) -> str:
    """Say what one more of a scarce thing would buy."""
    if found.saves < 0.5:
        return "One more would change next to nothing."
    more = f"{found.step:g} more {found.unit}" if found.step != 1 else "One more"
    text = f"{more} would save {_money(found.saves, currency)}"
    if found.changes:
        trees = ", ".join(names.get(tree, tree) for tree, _, _ in found.changes[:3])
        text += f" ({trees} would fare better)" if len(found.changes) <= 3 else f" ({trees} and others would change)"
    return text + "."


def _money(amount: float, currency: str) -> str:
    """Write an amount: whole units, at least one."""
    return f"less than 1 {currency}" if amount < 1 else f"{amount:.0f} {currency}"


def why_at_risk(tree: TreePlan) -> str:
    """Say why a tree stays in danger."""
    if tree.measure != "leave":
        return f"{sentence(tree.measure_name)} helps, but not enough.{_fruit((tree.fruit_lost['chosen'],) * 2)}"
    if tree.chance_of_harm["chosen"] < 0.30 and tree.fruit_lost["chosen"] >= 0.30:
        return _fruit((tree.fruit_lost["chosen"],) * 2).strip()
    return sentence(tree.reason.split("; ", 1)[-1].split(". ")[0].rstrip(".") + ".")


def sentence(text: str) -> str:
    """Begin with a capital, without touching the rest (names stay names)."""
    return text[:1].upper() + text[1:]


def standing_words(parts: Sequence[StandingPart]) -> list[str]:
    """Say what is taken to stand since an earlier night, and what of it is not needed tonight.

    Parameters
    ----------
    parts : sequence of StandingPart

    Returns
    -------
    list of str
        Without capital and full stop.
    """
    used, spare = [[part.what for part in parts if part.used is kind] for kind in (True, False)]
    told = []
    if used:
        told.append(
            f"taken to stand as it was ticked on an earlier night: {'; '.join(used)}. Look whether it does; plan with "
            "--done none if not"
        )
    if spare:
        told.append(f"stands since an earlier night and is not needed tonight: {'; '.join(spare)}")
    return told


def start_words(start_by: datetime, over_by: datetime, household: Household) -> str:
    """Say when watering must begin at the latest.

    Parameters
    ----------
    start_by : datetime
        Its own minutes, and those of what the same person waters after it, before `over_by`.
    over_by : datetime
        When the sun leaves the ground.
    household : Household
    """
    return (
        f"Start by {household.clock(start_by)} at the latest, sooner if you can: the sun leaves the ground at "
        f"{household.clock(over_by)}, and only sun that falls on wet ground warms it."
    )


def vent_by(when: datetime, warmest_c: float, hot_c: float, household: Household) -> str:
    """Say by when a cover must be open at the latest, and how hot it could get otherwise.

    Parameters
    ----------
    when : datetime
        Last moment before the leaves could pass `hot_c`.
    warmest_c, hot_c : float
        Of the leaves until noon, on the sunniest of ten mornings, and from when it is called hot. [°C]
    household : Household
    """
    return (
        f"Open by {household.clock(when)} at the latest: in full sun its leaves could pass "
        f"{household.temperature(hot_c)} from then on, and reach {household.temperature(warmest_c)} by noon."
    )
