"""The summer plan for who reads: what is worth doing before the hot days, why, and what stays at risk."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from fruitwall.plans.cautions import heat_cautions_for
from fruitwall.plans.shading import shade_sheet_for
from fruitwall.service import words
from fruitwall.service.heat_words import TISSUES
from fruitwall.service.household import percent, short_day
from fruitwall.service.season_part import SeasonTask
from fruitwall.service.summer_decide import DAYS, MORE_ID, WORTH_ASKING, Decided, decide
from fruitwall.service.summer_document import (
    SummerLimit,
    SummerMore,
    SummerPlan,
    SummerTask,
    SummerTree,
    Two,
)
from fruitwall.speech import marked, quantity, say, say_count, say_list

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.plans.problem import PlannedTask
    from fruitwall.plans.summer import Risk, SummerCase
    from fruitwall.plants.heat import HeatTissue
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

AT_RISK = 0.3
"""Chance of harm from which on a tree is told to stay at risk. Our judgement."""

WORTH_A_WORD = 0.02
"""Share of the crop lost that is told."""

DEED_OF = {"shade": "shaded", "into_shade": "moved", "whitewash": "whitewashed", "water": "watered"}
"""Deed that says that a task is done, by kind of part."""

GROUNDS = (
    marked(
        "Trees are taken to be watered as usual, but for those whose roots are dry by the yard's file, by a look at "
        "the soil or by the balance of water: a dry leaf gets several degrees hotter."
    ),
    marked("A pot in the shade is computed in open shade: no sun from above, half of the sky."),
    marked("Cloth, shade and paint are computed in place for all of the hot days, water as given before each of them."),
)
"""What is assumed."""


@dataclass(frozen=True)
class SummerRow:
    """One tree of the plan in words.

    Attributes
    ----------
    tree, name : str
    measure : str
        What it gets.
    reason : str
        Why, in a sentence or two.
    instead : str
        The next best, or nothing.
    """

    tree: str
    name: str
    measure: str
    reason: str
    instead: str


@dataclass(frozen=True)
class Summer:
    """The plan for who reads.

    Attributes
    ----------
    document : SummerPlan
    verdict : str
    rows : tuple of SummerRow
        What gets something first, then by danger.
    tasks : tuple of SeasonTask
        Soonest first, in the order of work.
    at_risk, more, cautions, notices : tuple of str
    """

    document: SummerPlan
    verdict: str
    rows: tuple[SummerRow, ...] = ()
    tasks: tuple[SeasonTask, ...] = ()
    at_risk: tuple[str, ...] = ()
    more: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()


def summer_plan(house: House, household: Household, days: int = DAYS) -> Summer:
    """Plan the hot days ahead.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.
    days : int
        Looked at, 1 to 10, as far as the forecast goes.

    Returns
    -------
    Summer
        In winter, and where no hot hour is in the forecast, no more than a sentence that nothing is needed.
    """
    return summer_of(decide(house, days), household)


def summer_of(decided: Decided, household: Household) -> Summer:
    """Put into words what was decided."""
    document = document_of(decided)
    if decided.solution is None:
        return Summer(document, _nothing(document, household))
    cases = _in_order(decided)
    tasks = _tasks(decided, household)
    return Summer(
        document=document,
        verdict=_verdict(document),
        rows=tuple(_row(decided, case, household) for case in cases),
        tasks=tasks,
        at_risk=tuple(_at_risk(decided, document, household)),
        more=tuple(_more(decided)),
        cautions=tuple(
            household.in_own_units(say(one.text))
            for one in heat_cautions_for(decided.yard, _working(decided))
            if not one.per_task
        ),
        notices=tuple(say(one) for one in GROUNDS),
    )


# ---------------------------------------------------------------- the document


def document_of(decided: Decided) -> SummerPlan:
    """Give what was decided in SI units."""
    spell, solution, problem = decided.spell, decided.solution, decided.problem
    days = spell.days if spell is not None else ()
    air = spell.hottest_air_c if spell is not None else None
    if solution is None or problem is None:
        return SummerPlan(state=decided.state, now=decided.now, days=days, hottest_air_c=air)
    trees = tuple(_tree(decided, case) for case in _in_order(decided))
    working = _working(decided)
    supplies = {item.key: item for item in problem.supplies.items}
    return SummerPlan(
        state="hot",
        now=decided.now,
        days=days,
        hot_days=tuple(days[at] for at in decided.hot),
        hottest_air_c=air,
        trees=trees,
        tasks=tuple(_task(decided, planned) for planned in working),
        standing=tuple(sorted(task.part.key for task in solution.tonight() if task.part.key in decided.standing)),
        limits=tuple(
            SummerLimit(
                key=use.key,
                name=use.name,
                unit=use.unit,
                used=use.used,
                available=use.available,
                binding=use.binding,
            )
            for use in solution.limits
            if supplies[use.key].available > 0
        ),
        one_more=tuple(
            SummerMore(
                key=one.key,
                name=one.name,
                step=one.step,
                unit=one.unit,
                saves=one.saves,
                saves_loss=one.saves_loss,
                trees=tuple(tree for tree, _, _ in one.changes),
            )
            for one in decided.one_more
        ),
        at_risk=tuple(
            tree.id
            for tree in sorted(trees, key=lambda one: -max(one.harm.chosen, one.fruit_lost.chosen))
            if max(tree.harm.chosen, tree.fruit_lost.chosen) >= AT_RISK
        ),
        loss=Two(nothing=sum(tree.loss.nothing for tree in trees), chosen=sum(tree.loss.chosen for tree in trees)),
        minutes=sum(task.minutes * len(task.way.people) for task in working),
        status=solution.status,
        gap=solution.gap,
    )


def _risks(decided: Decided, case: SummerCase) -> tuple[Risk, Risk, int]:
    """Give what a tree risks if left and under what it gets, and which of its measures that is."""
    assert decided.problem is not None
    assert decided.solution is not None
    at = decided.problem.trees.index(case.tree.id)
    row = decided.solution.choices[at][0]
    return case.risks[0], case.risks[row], row


def _in_order(decided: Decided) -> list[SummerCase]:
    """Give the trees: what gets something first, then by danger, then by name."""

    def urgency(case: SummerCase) -> tuple[bool, float, str]:
        left, _, row = _risks(decided, case)
        return (row == 0, -left.harm, case.tree.name)

    return sorted(decided.cases, key=urgency)


def _tree(decided: Decided, case: SummerCase) -> SummerTree:
    left, chosen, row = _risks(decided, case)
    runner_up = decided.runners_up.get(case.tree.id)
    reason = decided.reasons.get(case.tree.id)
    return SummerTree(
        id=case.tree.id,
        name=case.tree.name,
        measure=case.measures[row].key,
        tissue=left.tissue,
        begins_c=decided.tolerances[case.tree.id].of(left.tissue).mean_c,
        hottest_c=Two(nothing=_median(left), chosen=_median(chosen, left)),
        harm=Two(nothing=left.harm, chosen=chosen.harm),
        fruit_lost=Two(nothing=left.fruit_lost, chosen=chosen.fruit_lost),
        loss=Two(nothing=left.loss, chosen=chosen.loss),
        first_day=decided.first_day(case),
        runner_up=runner_up.measure.key if runner_up is not None else None,
        runner_up_costs_more=runner_up.costs_more if runner_up is not None else None,
        left_because=reason.kind if reason is not None else None,
    )


def _median(risk: Risk, of: Risk | None = None) -> float:
    """Give the hottest hour, median of the members, of the tissue that is most endangered in one of two risks. [°C]"""
    return float(np.median(risk.of_tissue_c[(of or risk).tissue]))


def _working(decided: Decided) -> list[PlannedTask]:
    """Give what somebody has to do: soonest first, then what saves most."""
    assert decided.solution is not None
    found = [task for task in decided.solution.tonight() if not task.idle and task.part.key not in decided.standing]
    return sorted(found, key=lambda task: (_due(decided, task), -_saves(decided, task), task.part.key))


def _saves(decided: Decided, task: PlannedTask) -> float:
    """Give what all that is done for the tree of a task saves. [currency]"""
    left, chosen, _ = _risks(decided, _case(decided, task))
    return left.loss - chosen.loss


def _case(decided: Decided, task: PlannedTask) -> SummerCase:
    return next(case for case in decided.cases if case.tree.id == task.part.trees[0])


def _due(decided: Decided, task: PlannedTask) -> date:
    """Give the day of a task: water on the hot morning itself, all else the evening before."""
    case = _case(decided, task)
    return max(decided.now.date(), decided.first_day(case)) if task.part.kind == "water" else decided.due(case)


def _task(decided: Decided, task: PlannedTask) -> SummerTask:
    case = _case(decided, task)
    _, _, row = _risks(decided, case)
    return SummerTask(
        key=task.part.key,
        kind=task.part.kind,
        tree=case.tree.id,
        due=_due(decided, task),
        people=task.way.people,
        minutes=task.minutes,
        lifts=task.way.lifts,
        ladder=task.way.ladder,
        cloth=task.sheet,
        trolley=task.way.trolley,
        to=case.measures[row].moved_to if task.part.kind == "into_shade" else None,
    )


# ---------------------------------------------------------------- words


def _nothing(document: SummerPlan, household: Household) -> str:
    """Say that nothing has to be done, and why."""
    if document.state == "no_forecast":
        return say("Without a forecast no plan against heat can be made.")
    if document.state == "cool" or document.hottest_air_c is None or not document.days:
        return say("No hot day is in the forecast: nothing has to be done against heat.")
    return say(
        "Up to {air} until {day}: no tree here is likely to be hurt by it. Nothing has to be done against heat.",
        air=household.temperature(document.hottest_air_c),
        day=short_day(document.days[-1]),
    )


def _verdict(document: SummerPlan) -> str:
    """Say what comes and what the plan asks for."""
    first, last = document.hot_days[0], document.hot_days[-1]
    when = (
        say("On {day}", day=short_day(first))
        if first == last
        else say("From {first} to {last}", first=short_day(first), last=short_day(last))
    )
    endangered = say_count(
        "{when} heat may cost {count} tree some leaf or fruit.",
        "{when} heat may cost {count} trees some leaf or fruit.",
        len(document.trees),
        when=when,
    )
    if not document.tasks:
        asked = say("Nothing that would help is worth its work.")
        if document.standing:
            asked = say("What is worth doing is done.")
        return f"{endangered} {asked}"
    asked = say_count(
        "{count} thing is worth doing, {minutes} min of work in all.",
        "{count} things are worth doing, {minutes} min of work in all.",
        len(document.tasks),
        minutes=quantity(document.minutes, "", ".0f"),
    )
    return f"{endangered} {asked}"


def _row(decided: Decided, case: SummerCase, household: Household) -> SummerRow:
    _, _, row = _risks(decided, case)
    currency = household.display.currency
    names = {its.tree.id: its.tree.name for its in decided.cases}
    measure = case.measures[row]
    runner_up = decided.runners_up.get(case.tree.id)
    other = runner_up is not None and runner_up.measure.name != measure.name  # another place in the same shade is none
    instead = words.runner_up(runner_up, measure.key, names, currency) if runner_up is not None and other else ""
    return SummerRow(
        tree=case.tree.id,
        name=case.tree.name,
        measure=words.sentence(household.in_own_units(measure.name)),
        reason=_reason(decided, case, household),
        instead=household.in_own_units(instead),
    )


def _reason(decided: Decided, case: SummerCase, household: Household) -> str:
    """Say why a tree gets what it gets."""
    left, chosen, row = _risks(decided, case)
    measure = case.measures[row]
    # Paint changes bark alone: told of fruit or leaf it would seem to do nothing.
    painted = measure.whitewashed and not (measure.shade or measure.in_shade or measure.watered)
    tissue: HeatTissue = "bark" if painted else left.tissue
    begins = decided.tolerances[case.tree.id].of(tissue).mean_c
    alone = say(
        "{what} up to {temperature}; harm begins at about {begins}.",
        what=words.sentence(say(TISSUES[tissue])),
        temperature=household.temperature(float(np.median(left.of_tissue_c[tissue]))),
        begins=household.temperature(begins),
    )
    if row:
        then = say(
            "With this {temperature}, and the chance that the tree is hurt is {chosen} instead of {nothing}.",
            temperature=household.temperature(float(np.median(chosen.of_tissue_c[tissue]))),
            chosen=percent(chosen.harm),
            nothing=percent(left.harm),
        )
    else:
        then = say("The chance that the tree is hurt is {nothing}.", nothing=percent(left.harm))
    fruit = ""
    if left.fruit_lost >= WORTH_A_WORD:
        fruit = say(
            "Of its fruit {chosen} is lost instead of {nothing}."
            if left.fruit_lost - chosen.fruit_lost >= WORTH_A_WORD
            else "Of its fruit {nothing} is lost.",
            chosen=percent(chosen.fruit_lost),
            nothing=percent(left.fruit_lost),
        )
    why = say("It is left: {why}.", why=_why_left(decided, case, household)) if not row else ""
    return " ".join(part for part in (alone, then, fruit, why) if part)


def _why_left(decided: Decided, case: SummerCase, household: Household) -> str:
    assert decided.problem is not None
    supplies = {item.key: item.name for item in decided.problem.supplies.items}
    reason = decided.reasons.get(case.tree.id)
    none = reason is not None and reason.kind == "too_little" and reason.scarce == (f"sheet/{MORE_ID}",)
    if reason is not None and reason.refusals:
        # Paint helps bark alone: where leaf or fruit is in danger, what keeps cloth off is the news.
        best = reason.measure
        paint = best is not None and best.whitewashed and not (best.shade or best.in_shade or best.watered)
        if reason.kind == "impossible" or (paint and case.risks[0].tissue != "bark"):
            none = reason.refusals[0].kind == "no_sheet"
            if paint and not none:
                return household.in_own_units(reason.refusals[0].why)
    if none:
        side = quantity(shade_sheet_for(case.tree)[0], "m", ".1f")
        text = say("it would take shade cloth of {side} both ways, and there is none so large", side=side)
        return household.in_own_units(text)
    return household.in_own_units(words.why_left(reason, supplies, household, household.display.currency))


def _tasks(decided: Decided, household: Household) -> tuple[SeasonTask, ...]:
    return tuple(_season_task(decided, task, household) for task in _working(decided))


def _season_task(decided: Decided, task: PlannedTask, household: Household) -> SeasonTask:
    """Give a task as the season lists it."""
    case, part = _case(decided, task), task.part
    left, _, _ = _risks(decided, case)
    yard = decided.yard
    people = {person.id: person.name for person in yard.people}
    who = say_list([people[one] for one in task.way.people])
    cloth = next((one.name for one in yard.gear.shades if one.id == task.sheet), "")
    what = part.name if not cloth else say("hang {cloth} over {tree}", cloth=cloth, tree=case.tree.name)
    due = _due(decided, task)
    first = decided.first_day(case)
    heeds = [one for one in heat_cautions_for(yard, [task]) if one.per_task]
    steps = [household.in_own_units(one) for one in part.steps]
    if task.way.note:
        steps.insert(0, household.in_own_units(words.sentence(task.way.note) + "."))
    if len(yard.people) > 1:
        steps.insert(0, say("Who: {people}.", people=who))
    return SeasonTask(
        key=f"heat:{part.kind}:{case.tree.id}",
        part="heat",
        trees=(case.tree.id,),
        what=words.sentence(household.in_own_units(what)),
        why=_reason(decided, case, household),
        due=due,
        not_before=decided.now.date(),
        minutes=task.minutes * len(task.way.people),
        otherwise=say(
            "On {day} heat may hurt it: {chance}.",
            day=short_day(first),
            chance=percent(max(left.harm, left.fruit_lost)),
        ),
        steps=tuple(steps),
        cautions=tuple(household.in_own_units(say(one.text)) for one in heeds),
        deed=DEED_OF.get(part.kind),
        urgent=first - decided.now.date() <= timedelta(days=1) and max(left.harm, left.fruit_lost) >= AT_RISK,
    )


def _at_risk(decided: Decided, document: SummerPlan, household: Household) -> list[str]:
    """Say which trees stay in danger."""
    by_id = {tree.id: tree for tree in document.trees}
    found = []
    for name in document.at_risk:
        tree = by_id[name]
        chance = percent(max(tree.harm.chosen, tree.fruit_lost.chosen))
        fruit = tree.fruit_lost.chosen > tree.harm.chosen
        if tree.measure != "leave":
            found.append(
                say(
                    "{tree}: what is done helps, but {chance} of its fruit will be lost."
                    if fruit
                    else "{tree}: what is done helps, but a chance of harm of {chance} remains.",
                    tree=tree.name,
                    chance=chance,
                )
            )
            continue
        why = _why_left(decided, next(its for its in decided.cases if its.tree.id == name), household)
        found.append(
            say(
                "{tree}: {chance} of its fruit; {why}." if fruit else "{tree}: {chance} chance of harm; {why}.",
                tree=tree.name,
                chance=chance,
                why=why,
            )
        )
    return found


def _more(decided: Decided) -> list[str]:
    """Say what one more of what is scarce would buy, and what cloth that the household does not have would."""
    names = {case.tree.id: case.tree.name for case in decided.cases}
    currency = decided.yard.display.currency
    found = []
    for one in decided.one_more:
        if one.saves < WORTH_ASKING * 10.0:
            continue
        text = words.one_more(one, names, currency)
        found.append(say("{name}: {text}", name=words.sentence(one.name), text=text))
    # Two places in one shade are one thing to who reads.
    return list(dict.fromkeys(found))


__all__ = ["Summer", "SummerRow", "document_of", "summer_of", "summer_plan"]
