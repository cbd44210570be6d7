"""From outlook and solution to the evening plan as a document."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.plants.injury import first_injury_c
from fruitwall.service import words
from fruitwall.service.chain import chain_of
from fruitwall.service.evening_document import (
    AtRisk,
    ColdExplained,
    EveningPlan,
    ForecastSummary,
    GradeChances,
    Limit,
    ReasonPart,
    Solver,
    Spread,
    StandingPart,
    TreePlan,
    WayOut,
)
from fruitwall.service.hours import TreeHours
from fruitwall.service.household import Household, short_day, weekday
from fruitwall.service.nights import tonight as tonight_of
from fruitwall.service.outlook import DEATH, HARM, Outlook
from fruitwall.service.stages_told import what_it_carries
from fruitwall.service.station import spread, station_nights, wet_leaf
from fruitwall.service.tasks import evening_tasks, morning_tasks
from fruitwall.speech import quantity, say, say_again, say_chain, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.physics.explain import Explanation
    from fruitwall.plans.problem import EveningProblem, EveningSolution, OneMore, RunnerUp
    from fruitwall.plans.reasons import Reason
    from fruitwall.service.venting import Venting

Verdict = Literal["safe", "watch", "danger", "deadly"]


@dataclass(frozen=True, eq=False)
class Decision:
    """What was decided, and how it would have been otherwise."""

    problem: EveningProblem
    solution: EveningSolution
    one_more: Sequence[OneMore]
    runners_up: Mapping[str, RunnerUp | None]
    reasons: Mapping[str, Reason]
    """Why trees are left, of those that are in some danger."""
    chosen: Sequence[int]
    """Per tree: index of tonight's treatment."""
    compare: Sequence[WayOut] = ()
    """Other ways through the night, and the plan among them."""


@dataclass(frozen=True, eq=False)
class Followed:
    """What was found by following the chosen night, per tree."""

    hours: Sequence[TreeHours]
    """The night hour by hour."""

    cold: Sequence[ColdExplained | None]
    """How its cold comes about, process by process."""
    fluxes: Sequence[Explanation]
    """What a leaf left alone gains and loses."""
    venting: Sequence[Venting | None]
    """What becomes of it if its cover stays on in the morning."""


def verdict_of(harm: float, death: float, fruit: float = 0.0) -> Verdict:
    """Give the word for a chance of harm and of death, and for the share of the fruit that is lost."""
    if death > 0.10:
        return "deadly"
    if harm >= 0.30 or fruit >= 0.30:
        return "danger"
    return "watch" if harm >= 0.05 or fruit >= 0.10 else "safe"


def compose(
    outlook: Outlook,
    decision: Decision,
    followed: Followed,
    *,
    now: datetime,
    warnings: Sequence[str],
    seconds: float,
    as_issued_c: Sequence[Spread] = (),
) -> EveningPlan:
    """Put the document together."""
    situation = outlook.situation
    yard = situation.yard
    household = Household(yard.display, ZoneInfo(yard.location.time_zone))
    evening = situation.evenings[0]
    trees = [_tree_plan(outlook, decision, followed, at, household) for at in range(len(yard.trees))]
    tasks = evening_tasks(outlook, decision, household)
    morning = morning_tasks(outlook, decision, followed.venting, household)
    standing = _standing(outlook, decision)
    forecast = _forecast(outlook, [*warnings, *words.standing_words(standing)], household, as_issued_c)
    order = sorted(range(len(trees)), key=lambda t: _urgency(trees[t]))
    tonight = decision.solution.tonight()
    return EveningPlan(
        night=evening.night.name,
        yard=yard.name,
        time_zone=yard.location.time_zone,
        currency=yard.display.currency,
        sunset=evening.sunset,
        sunrise=evening.sunrise,
        made=now,
        verdict=words.verdict(
            trees,
            forecast.station_minimum_c,
            household,
            night=None if evening.night.name == tonight_of(yard.location, now) else evening.night.name,
            dark=evening.dark,
            settled=_settled(outlook, decision),
        ),
        needs_action=bool(tasks) if situation.done or standing else any(t.measure != "leave" for t in trees),
        forecast=forecast,
        trees=[trees[t] for t in order],
        tasks=tasks,
        morning=morning,
        limits=_limits(decision, outlook),
        at_risk=_at_risk([trees[t] for t in order]),
        cautions=_cautions(outlook, decision, household),
        expected_loss={
            "nothing": float(sum(t.expected_loss["nothing"] for t in trees)),
            "plan": float(sum(t.expected_loss["chosen"] for t in trees)),
        },
        minutes=float(sum(task.minutes * len(task.way.people) for task in tonight)),
        lifts=sum(task.way.lifts for task in tonight if not task.again),
        kwh=float(sum(task.part.kwh for task in tonight)),
        wear=float(sum(task.part.wear for task in tonight)),
        solver=Solver(
            status=decision.solution.status,
            gap=float(decision.solution.gap),
            seconds=seconds,
            nights=decision.problem.n_nights,
            notes=[*decision.solution.notes, *_too_late(outlook), *_worst(decision, yard.display.currency)],
        ),
        done=list(situation.done),
        standing=standing,
        compare=list(decision.compare),
    )


def _worst(decision: Decision, currency: str) -> list[str]:
    """Say that worst cases were weighed, and what they still come to."""
    solution = decision.solution
    if solution.worst_case is None:
        return []
    return [
        say(
            "the worst tenth of what may come weighs {aversion} beside what is expected; over all nights "
            "planned it loses {worst_case} {currency}, {loss} is expected",
            aversion=quantity(solution.aversion, "", "g"),
            worst_case=quantity(solution.worst_case, "", ".0f"),
            currency=currency,
            loss=quantity(solution.costs.loss, "", ".0f"),
        )
    ]


def _settled(outlook: Outlook, decision: Decision) -> set[str]:
    """Give the trees for which everything planned is done already."""
    open_ = {tree for task in decision.solution.tonight() if not task.idle for tree in task.part.trees}
    done = {task.key for task in outlook.situation.done} | {part.key for part in _standing(outlook, decision)}
    served = {tree for task in decision.solution.tonight() if task.part.key in done for tree in task.part.trees}
    return served - open_


def _standing(outlook: Outlook, decision: Decision) -> list[StandingPart]:
    """Give what is taken to stand since an earlier night, as far as the yard still knows it and it stays by day."""
    situation = outlook.situation
    parts = [part for options in situation.measures for measure in options for part in measure.parts]
    parts += [part for setting in situation.settings for part in setting.parts]
    stays = {part.key for part in parts if part.stays}
    used = {task.part.key for task in decision.solution.tonight()}
    return [part.model_copy(update={"used": part.key in used}) for part in situation.standing if part.key in stays]


def _too_late(outlook: Outlook) -> list[str]:
    """Say what is no longer offered at this hour."""
    from fruitwall.service.outlook import too_late

    hour = too_late(outlook.situation.evenings[0], outlook.situation.done)
    late = []
    if hour["sun_gone"]:
        late.append(say("wetting the ground"))
    if hour["dark"]:
        late.append(say("work on a ladder"))
    return [say("too late tonight for {late}", late=say_list(late))] if late else []


def _urgency(tree: TreePlan) -> tuple[bool, float, str]:
    """Sort trees: what needs something first, then by chance of harm, then by name."""
    return (tree.measure == "leave", -tree.chance_of_harm["nothing"], tree.name)


def _tree_plan(outlook: Outlook, decision: Decision, followed: Followed, at: int, household: Household) -> TreePlan:
    """Give one tree's part of the plan."""
    situation = outlook.situation
    tree, kind, tolerance = situation.yard.trees[at], situation.kinds[at], situation.tolerances[at]
    chosen = decision.chosen[at]
    measure = situation.measures[at][chosen]
    tissue = outlook.endangered_tissue(at)
    tissue_min = {
        "nothing": spread(outlook.coldest_c(at, 0, tissue)),
        "chosen": spread(outlook.coldest_c(at, chosen, tissue)),
    }
    p10, p50, p90 = first_injury_c(tolerance, tissue)
    stands = Spread(p10=p10, p50=p50, p90=p90)
    nothing, with_plan = outlook.chances[at][0, 0], outlook.chances[at][chosen, 0]
    harm = {"nothing": _at_least(nothing, HARM), "chosen": _at_least(with_plan, HARM)}
    death = {"nothing": _at_least(nothing, DEATH), "chosen": _at_least(with_plan, DEATH)}
    fruit = {
        "nothing": float(outlook.fruit_lost[at][0, 0]) if tree.crop_worth > 0 else 0.0,
        "chosen": float(outlook.fruit_lost[at][chosen, 0]) if tree.crop_worth > 0 else 0.0,
    }
    found = decision.runners_up.get(tree.id)
    names = {t.id: t.name for t in situation.yard.trees}
    return TreePlan(
        id=tree.id,
        name=tree.name,
        taxon=kind.scientific,
        cultivar=tree.cultivar,
        position=tree.position,
        crown_diameter_m=tree.crown_diameter_m,
        potted=tree.container is not None,
        measure=measure.key,
        measure_name=measure.name,
        gear=_gear(decision, tree.id),
        reason=words.reason(
            measure=measure.key,
            tissue=tissue,
            nothing=tissue_min["nothing"],
            chosen=tissue_min["chosen"],
            tolerance=stands,
            harm=(harm["nothing"], harm["chosen"]),
            fruit=(fruit["nothing"], fruit["chosen"]),
            later=_worst_later(outlook, at),
            why_left=words.why_left(
                decision.reasons.get(tree.id),
                {item.key: item.name for item in decision.problem.supplies.items},
                household,
                situation.yard.display.currency,
            ),
            household=household,
        ),
        runner_up=(words.runner_up(found, measure.key, names, situation.yard.display.currency) or None)
        if found
        else None,
        tissue=tissue,
        tissue_min_c=tissue_min,
        tolerance_c=stands,
        margin_k={key: value.p50 - p50 for key, value in tissue_min.items()},
        injury=GradeChances(nothing=_chances(nothing), chosen=_chances(with_plan)),
        chance_of_harm=harm,
        chance_of_death=death,
        fruit_lost=fruit,
        expected_loss={
            "nothing": float(outlook.losses[at][0, 0]),
            "chosen": float(outlook.losses[at][chosen, 0]),
        },
        verdict=verdict_of(harm["nothing"], death["nothing"], fruit["nothing"]),
        verdict_with_plan=verdict_of(harm["chosen"], death["chosen"], fruit["chosen"]),
        hours=followed.hours[at].hours,
        chain=[
            *chain_of(outlook, at, chosen, tissue, followed.hours[at], followed.fluxes[at], household),
            *what_it_carries(situation.carried.get(tree.id)),
            *_what_it_takes(decision, tree.id, situation.yard.display.currency),
        ],
        cold=followed.cold[at],
        following_nights=_following(outlook, decision, tree.id),
    )


def _what_it_takes(decision: Decision, tree: str, currency: str) -> list[ReasonPart]:
    """Say what a tree's measure takes tonight: work, lifts, energy and wear; nothing if nothing is in use for it."""
    tasks = [task for task in decision.solution.tonight() if tree in task.part.trees]
    if not tasks:
        return []
    lifts, kwh = sum(task.way.lifts for task in tasks if not task.again), sum(task.part.kwh for task in tasks)
    wear, morning = sum(task.part.wear for task in tasks), sum(task.part.minutes_morning for task in tasks)
    told = [
        *([say("{morning} min in the morning", morning=quantity(morning, "", ".0f"))] if morning else []),
        *([say_count("{count} lift", "{count} lifts", lifts)] if lifts else []),
        *(
            [
                say(
                    "{kwh} kWh, {cost} {currency}",
                    kwh=quantity(kwh, "", ".1f"),
                    cost=quantity(kwh * decision.problem.prices.per_kwh, "", ".2f"),
                    currency=currency,
                )
            ]
            if kwh
            else []
        ),
        *([say("wear of gear {wear} {currency}", wear=quantity(wear, "", ".2f"), currency=currency)] if wear else []),
        *([say("shared with other trees")] if any(len(task.part.trees) > 1 for task in tasks) else []),
    ]
    minutes = sum(task.minutes * len(task.way.people) for task in tasks)
    return [
        ReasonPart(
            label=say("What it takes"),
            value=say("{minutes} min", minutes=quantity(minutes, "", ".0f")),
            note=say_chain(told),
        )
    ]


def _worst_later(outlook: Outlook, at: int) -> str | None:
    """Name the later night that endangers a tree most, if one endangers it more than tonight."""
    harm = outlook.chances[at][0, :, HARM:].sum(axis=-1)
    worst = int(harm.argmax())
    if worst == 0 or harm[worst] < 0.05:
        return None
    return weekday(outlook.situation.evenings[worst].night.name)


def _following(outlook: Outlook, decision: Decision, tree: str) -> list[str]:
    """Say what a tree gets on each night after tonight."""
    found = []
    for night in range(1, decision.problem.n_nights):
        day = outlook.situation.evenings[night].night.name
        found.append(
            say(
                "{day}: {measure}",
                day=short_day(day),
                measure=decision.solution.measure(decision.problem, tree, night).name,
            )
        )
    return found


def _at_least(chances: np.ndarray, grade: int) -> float:
    """Give the chance of a grade or worse, free of rounding beyond 0 and 1."""
    return float(min(1.0, max(0.0, chances[grade:].sum())))


def _chances(chances: np.ndarray) -> list[float]:
    """Give chances as plain floats within 0-1."""
    return [float(min(1.0, max(0.0, p))) for p in chances]


def _gear(decision: Decision, tree: str) -> list[str]:
    """Give the identifiers of what a tree uses tonight."""
    used: list[str] = []
    for task in decision.solution.tonight():
        if tree in task.part.trees:
            used += [
                x
                for x in (task.sheet, task.part.device, task.lead, task.circuit, task.part.room, task.way.trolley)
                if x
            ]
    return list(dict.fromkeys(used))


def _forecast(
    outlook: Outlook, warnings: Sequence[str], household: Household, as_issued_c: Sequence[Spread]
) -> ForecastSummary:
    """Sum up the weather of tonight and the minima of the nights after."""
    forcing = outlook.situation.forcing
    tonight, *following = station_nights(forcing, outlook.situation.evenings)
    return ForecastSummary(
        source=say_again(forcing.source),
        issued=forcing.issued_utc,
        members=forcing.n_members,
        station_minimum_c=tonight.minimum_c,
        dew_point_c=tonight.dew_point_c,
        wind_m_s=tonight.wind_m_s,
        cloud=tonight.cloud,
        following_minima_c=[night.minimum_c for night in following],
        as_issued_c=list(as_issued_c),
        warnings=[
            *map(say_again, warnings),
            *_taught(as_issued_c, tonight.minimum_c, household),
            *_wind_warning(tonight.wind_m_s, household),
        ],
    )


TOLD_FROM_K = 0.3
"""From how large a shift of tonight's minimum on it is said; a thermometer is no better. [K]"""


def _taught(as_issued_c: Sequence[Spread], minimum_c: Spread, household: Household) -> list[str]:
    """Say what readings made of tonight's forecast."""
    shift_k = minimum_c.p50 - as_issued_c[0].p50 if as_issued_c else 0.0
    if abs(shift_k) < TOLD_FROM_K:
        return []
    size = household.difference(shift_k)
    if shift_k < 0:
        return [say("tonight's minimum is taken {size} lower than issued, as readings here have taught", size=size)]
    return [say("tonight's minimum is taken {size} higher than issued, as readings here have taught", size=size)]


WINDY_M_S = 8.0
"""Mean wind of the night, at 10 m, from which draped covers are said not to hold. Common practice, no source."""


def _wind_warning(wind_m_s: Spread, household: Household) -> list[str]:
    """Warn of wind that takes covers off."""
    if wind_m_s.p90 < WINDY_M_S:
        return []
    return [
        say(
            "wind up to {wind} on average: draped covers may not hold and give little; tie them down twice, and"
            " hang no lamps or heater under cloth that can blow onto them",
            wind=household.wind(wind_m_s.p90),
        )
    ]


def _limits(decision: Decision, outlook: Outlook) -> list[Limit]:
    """Give the limits with what one more would buy."""
    names = {t.id: t.name for t in outlook.situation.yard.trees}
    currency = outlook.situation.yard.display.currency
    more = {found.key: found for found in decision.one_more}
    return [
        Limit(
            key=use.key,
            name=use.name,
            unit=use.unit,
            used=use.used,
            available=use.available,
            binding=use.binding,
            one_more=words.one_more(more[use.key], names, currency) if use.key in more else None,
            one_more_saves=more[use.key].saves if use.key in more else None,
        )
        for use in decision.solution.limits
    ]


def _at_risk(trees: Sequence[TreePlan]) -> list[AtRisk]:
    """Give the trees that stay in danger, the worst first."""
    risky = [t for t in trees if t.verdict_with_plan in ("danger", "deadly")]
    risky.sort(key=lambda t: (-t.chance_of_death["chosen"], -t.chance_of_harm["chosen"], t.name))
    return [
        AtRisk(
            id=t.id,
            name=t.name,
            chance_of_harm=t.chance_of_harm["chosen"],
            chance_of_death=t.chance_of_death["chosen"],
            why=words.why_at_risk(t),
        )
        for t in risky
    ]


def _cautions(outlook: Outlook, decision: Decision, household: Household) -> list[str]:
    """Give the cautions that apply to what is planned tonight and to tonight's air; the general ones last."""
    from fruitwall.plans.cautions import cautions_for, wet_leaf_cautions

    situation = outlook.situation
    tasks = decision.solution.tonight()
    leaf = wet_leaf(situation.forcing, situation.evenings[0])
    watering = any(task.part.kind == "wet" and not task.idle for task in tasks)
    found = cautions_for(situation.yard, tasks)
    wet = wet_leaf_cautions(t_air_c=leaf.t_air_c, drop_k=leaf.drop_k, wind_m_s=leaf.wind_m_s, watering=watering)
    of_tasks = [c for c in found if c.per_task]
    general = [c for c in found if not c.per_task]
    return [
        *(c.text for c in of_tasks),
        *(household.in_own_units(c.text) for c in wet),
        *(c.text for c in general),
    ]
