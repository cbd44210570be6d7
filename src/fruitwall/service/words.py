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
from fruitwall.speech import marked, note_capital, note_same, quantity, say, say_chain, say_count, say_list

OCCASIONS = {
    "now": marked("Now"),
    "before_sun_leaves": marked("While the sun is still on the ground"),
    "before_dusk": marked("Before sunset"),
    "before_bed": marked("Before bed"),
    "morning": marked("In the morning"),
    "when_mild": marked("When it is mild again"),
}
"""Heading of each occasion of the checklist, in the order of the evening. Everything due at sunset is called so: dusk
and dark come half an hour later, too late to begin."""

TISSUE_WORDS = {
    "leaf": marked("leaves"),
    "twig": marked("twigs"),
    "wood": marked("wood"),
    "fruit": marked("fruit"),
    "root": marked("roots"),
}

VERDICT_NAMES = {
    "safe": marked("safe"),
    "watch": marked("watch"),
    "danger": marked("danger"),
    "deadly": marked("deadly"),
}
"""Each verdict by name, where it stands alone."""


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
    when = say("tonight") if night is None else say("on the night of {short_day}", short_day=short_day(night))
    acting = [tree for tree in plan_trees if tree.measure != "leave" and tree.id not in settled]
    at_risk = [tree for tree in plan_trees if tree.verdict_with_plan in ("danger", "deadly")]
    to_watch = [tree for tree in plan_trees if tree.verdict_with_plan == "watch"]
    near = say("Near {low} at the station {when}", low=low, when=when)
    if not acting and settled:
        even_so = say("; {stay} at risk even so", stay=_stay(len(at_risk))) if at_risk else ""
        return say("{near}: all that is planned is done{even_so}.", near=near, even_so=even_so)
    if not acting and not at_risk:
        watch = say_count("; {count} tree to watch", "; {count} trees to watch", len(to_watch)) if to_watch else ""
        return say(
            "Nothing needs doing {when}: near {low} at the station no tree is in danger{watch}.",
            when=when,
            low=low,
            watch=watch,
        )
    stay = _stay(len(at_risk))
    if not acting:
        return say(
            "{near}: {stay} at risk, and nothing at hand is worth its effort or helps enough.", near=near, stay=stay
        )
    need = (
        say_count("{count} more tree needs", "{count} more trees need", len(acting))
        if settled
        else say_count("{count} tree needs", "{count} trees need", len(acting))
    )
    rest = say("; {stay} at risk even so", stay=stay) if at_risk else ""
    return say(
        "{near}: {need} something now{rest}." if dark else "{near}: {need} something before sunset{rest}.",
        near=near,
        need=need,
        rest=rest,
    )


def _stay(number: int) -> str:
    """Say how many trees stay."""
    return say_count("{count} tree stays", "{count} trees stay", number)


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
    what = sentence(say(TISSUE_WORDS[tissue]))
    margin = nothing.p50 - tolerance.p50
    alone = say(
        "{temperature}, {difference} above where harm begins"
        if margin >= 0
        else "{temperature}, {difference} below where harm begins",
        temperature=household.temperature(nothing.p50),
        difference=household.difference(margin),
    )
    if measure != "leave" and harm[0] < 0.05 and fruit[0] < FRUIT_WORTH_A_WORD:
        return say(
            "{what} without help: {alone}. It is done tonight already for {later}.",
            what=what,
            alone=alone,
            later=later or say("the nights after"),
        )
    if measure in ("pick", "pick-half"):
        saves = say("saves the fruit" if measure == "pick" else "half of the fruit saves that half")
        return say(
            "{what} without help: {alone}; picking {saves} and changes nothing for the tree.{fruit}",
            what=what,
            alone=alone,
            saves=saves,
            fruit=_fruit(fruit),
        )
    if measure != "leave":
        return say(
            "{what} without help: {alone}; with this: {temperature}, and the chance of harm is {percent} "
            "instead of {percent2}.{fruit}",
            what=what,
            alone=alone,
            temperature=household.temperature(chosen.p50),
            percent=percent(harm[1]),
            percent2=percent(harm[0]),
            fruit=_fruit(fruit),
        )
    if harm[0] < 0.05:
        return say(
            "{what} down to {alone}; harm is unlikely ({percent}).{fruit}",
            what=what,
            alone=alone,
            percent=percent(harm[0]),
            fruit=_fruit(fruit),
        )
    return say(
        "{what} down to {alone}, chance of harm {percent}; {why_left}.{fruit}",
        what=what,
        alone=alone,
        percent=percent(harm[0]),
        why_left=why_left,
        fruit=_fruit(fruit),
    )


def _fruit(lost: tuple[float, float]) -> str:
    """Say how much of the fruit or bloom is lost, if any to speak of."""
    nothing, chosen = lost
    if nothing < FRUIT_WORTH_A_WORD:
        return ""
    saved = say(", {percent} with this", percent=percent(chosen)) if nothing - chosen > FRUIT_WORTH_A_WORD else ""
    return say(" Fruit or bloom: {percent} lost{saved}.", percent=percent(nothing), saved=saved)


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
        return say("little is to be gained")
    text = _why_left(reason, supplies, household, currency)
    kept_out = next((one for one in reason.refusals if one.kind in NOT_MOVED), None)
    if kept_out is None or (why := household.in_own_units(kept_out.why)) in text:
        return text
    return say("{reason}; it is not brought elsewhere: {why}", reason=text, why=why)


NOT_MOVED = ("too_heavy", "door_too_low", "roof_too_low")
"""Refusals that are told beside what could be done: who grows in pots asks first why one of them stays out."""


def _why_left(reason: Reason, supplies: Mapping[str, str], household: Household, currency: str) -> str:
    """Say what of the things that could be done came nearest."""
    refused = household.in_own_units(reason.refusals[0].why) if reason.refusals else ""
    if reason.kind == "impossible":
        return refused or say("this yard has nothing that could be done for it")
    if reason.kind == "no_help" or reason.measure is None:
        if not refused:
            return say("what could be done here would not help")
        return say("what could be done here would not help; {refused}", refused=refused)
    if reason.kind == "not_worth_it":
        if reason.measure.wet_ground and refused:
            return refused
        saves, costs = _money(reason.saves, currency), _money(reason.costs, currency)
        return say(
            "to {thing} would save {saves} and cost {costs} in work, power and wear",
            thing=reason.measure.name,
            saves=saves,
            costs=costs,
        )
    scarce = listed([supplies.get(key, key) for key in reason.scarce]) or say("what it takes")
    if reason.kind == "too_little":
        return say(
            "it would help to {thing}; but there is too little of {scarce}", thing=reason.measure.name, scarce=scarce
        )
    return say_count(
        "it would help to {thing}; but {scarce} is of more use elsewhere",
        "it would help to {thing}; but {scarce} are of more use elsewhere",
        max(1, len(reason.scarce)),
        thing=reason.measure.name,
        scarce=scarce,
    )


def listed(names: Sequence[str]) -> str:
    """Write names as a list: "a, b and c"."""
    return say_list(names)


def runner_up(found: RunnerUp, chosen_key: str, names: dict[str, str], currency: str) -> str:
    """Say what the next best measure would be and what it would change."""
    if found.measure.key == chosen_key:
        return ""
    text = say("{thing}: worse by {money}", thing=found.measure.name, money=_money(found.costs_more, currency))
    if found.others:
        trees = say_list([names.get(tree, tree) for tree, _, _ in found.others[:3]])
        text = say_count(
            "{text}, and would change what {trees} gets",
            "{text}, and would change what {trees} get",
            len(found.others),
            text=text,
            trees=trees,
        )
    return text


def one_more(found: OneMore, names: dict[str, str], currency: str) -> str:
    """Say what one more of a scarce thing would buy."""
    if found.saves < 0.5:
        return say("One more would change next to nothing.")
    more = (
        say("{step} more {unit}", step=quantity(found.step, "", "g"), unit=found.unit)
        if found.step != 1
        else say("One more")
    )
    text = say("{more} would save {money}", more=more, money=_money(found.saves, currency))
    if found.changes:
        named = [names.get(tree, tree) for tree, _, _ in found.changes[:3]]
        trees = say_list(named) if len(found.changes) <= 3 else ", ".join(named)
        text = say(
            "{text} ({trees} would fare better)"
            if len(found.changes) <= 3
            else "{text} ({trees} and others would change)",
            text=text,
            trees=trees,
        )
    return text + "."


def _money(amount: float, currency: str) -> str:
    """Write an amount: whole units, at least one."""
    return (
        say("less than 1 {currency}", currency=currency)
        if amount < 1
        else say("{amount} {currency}", amount=quantity(amount, ""), currency=currency)
    )


def why_at_risk(tree: TreePlan) -> str:
    """Say why a tree stays in danger."""
    if tree.measure != "leave":
        return say(
            "{sentence} helps, but not enough.{fruit}",
            sentence=sentence(tree.measure_name),
            fruit=_fruit((tree.fruit_lost["chosen"],) * 2),
        )
    if tree.chance_of_harm["chosen"] < 0.30 and tree.fruit_lost["chosen"] >= 0.30:
        told = _fruit((tree.fruit_lost["chosen"],) * 2)
        return note_same(told.strip(), told)
    return sentence(tree.reason.split("; ", 1)[-1].split(". ")[0].rstrip(".") + ".")


def sentence(text: str) -> str:
    """Begin with a capital, without touching the rest (names stay names)."""
    return note_capital(text)


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
            say(
                "taken to stand as it was ticked on an earlier night: {join}. Look whether it does; plan with "
                "--done none if not",
                join=say_chain(used),
            )
        )
    if spare:
        told.append(say("stands since an earlier night and is not needed tonight: {join}", join=say_chain(spare)))
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
    return say(
        "Start by {clock} at the latest, sooner if you can: the sun leaves the ground at {clock2}, and only"
        " sun that falls on wet ground warms it.",
        clock=household.clock(start_by),
        clock2=household.clock(over_by),
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
    return say(
        "Open by {clock} at the latest: in full sun its leaves could pass {temperature} from then on, and "
        "reach {temperature2} by noon.",
        clock=household.clock(when),
        temperature=household.temperature(hot_c),
        temperature2=household.temperature(warmest_c),
    )
