"""Plan an evening: the main job, from a yard and a forecast to what each tree gets."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from fruitwall.errors import PlanError, noting_errors
from fruitwall.service.nights import Evening, evening_of
from fruitwall.service.nights import tonight as tonight_of
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.compose import Decision
    from fruitwall.service.earlier import LastTime
    from fruitwall.service.evening_document import DoneTask, EveningPlan, Spread, StandingPart
    from fruitwall.service.outlook import Outlook, Situation
    from fruitwall.service.stages import Carried
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Location, Yard

MEMBERS = 50
"""Members into which a deterministic forecast is dressed."""

MAX_NIGHTS = 5
"""Nights planned together, tonight included, as far as the forecast reaches."""

SPIN_UP_DAYS = 7

STAGES = (
    marked("reading the weather"),
    marked("surveying the yard"),
    marked("computing each tree's nights"),
    marked("choosing"),
    marked("following the night hour by hour"),
)
"""What is reported while a plan is made, in order."""

PREPARING = marked("preparing the calculation for this machine, once: about ten seconds")
"""Reported if, and only if, the kernel has to be compiled: on the first use, or after an update."""

Report = Callable[[str], None]
"""Told in a few words what is being done."""


def plan_evening(
    yard: Yard,
    forecast: Forcing,
    *,
    now: datetime,
    night: date | None = None,
    history: Forcing | None = None,
    members: int = MEMBERS,
    nights: int = MAX_NIGHTS,
    seed: int = 1,
    threads: int = 2,
    report: Report = lambda _: None,
    done: Sequence[DoneTask] = (),
    standing: Sequence[StandingPart] = (),
    last: LastTime | None = None,
    worst_case: float | None = None,
    before: EveningPlan | None = None,
    beliefs: Beliefs | None = None,
    carried: Mapping[str, Carried] | None = None,
) -> EveningPlan:
    """Give the best plan for tonight, tree by tree.

    Parameters
    ----------
    yard : Yard
    forecast : Forcing
        One member, which is dressed into an ensemble, or many.
    now : datetime, aware
        The present moment.
    night : date, optional
        Date of the evening that is meant; tonight if left out.
    history : Forcing, optional
        Past weather, so that soil and walls start warm or cold as they are.
    members : int
        Members to make of a deterministic forecast, 1 to 500.
    nights : int
        Nights to plan together, 1 to 10, as far as the forecast reaches.
    seed : int
        Of the generator that dresses the forecast: the same yard, forecast and seed give the same plan.
    threads : int
    report : callable
        Told in a few words what is being done, for a progress display: `STAGES`, and `PREPARING` where it applies.
    done : sequence of DoneTask
        What of tonight's checklist is done already: it stays and costs nothing more (`service.earlier.done_so_far`).
    standing : sequence of StandingPart
        What is taken to stand since an earlier night (`service.earlier.standing_so_far`): it costs no setting up.
    last : LastTime, optional
        What was chosen last time, to compare with.
    worst_case : float, optional
        Aversion to the worst cases, 0 to 1, instead of that of the yard's prices.
    before : EveningPlan, optional
        The plan made before for this night: its choices are tried as well where the optimum is not found in time.
    beliefs : Beliefs, optional
        What the yard has taught (`service.beliefs.beliefs_of`); as published if left out.
    carried : mapping of str to Carried, optional
        What trees carry by what was entered (`service.stages.carried_now`); as the yard file says if left out.

    Returns
    -------
    EveningPlan

    Raises
    ------
    WeatherError
        If the forecast does not cover the night or holds impossible values.
    YardFileError
        If a tree's kind is unknown.
    PlanError
        If the night lies in the past, or `done` names what tonight's checklist cannot hold.
    """
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.reader import book_of, with_phrases

    with noting_errors() as book:
        if before is not None:
            book.phrases.update(book_of(before).phrases)  # what is done already is told in the old plan's words
        plan = _plan_evening(
            yard,
            forecast,
            now=now,
            night=night,
            history=history,
            members=members,
            nights=nights,
            seed=seed,
            threads=threads,
            report=report,
            done=done,
            standing=standing,
            last=last,
            worst_case=worst_case,
            before=before,
            beliefs=beliefs or Beliefs(),
            carried=carried or {},
        )
    return with_phrases(plan, book)


def _plan_evening(
    yard: Yard,
    forecast: Forcing,
    *,
    now: datetime,
    night: date | None,
    history: Forcing | None,
    members: int,
    nights: int,
    seed: int,
    threads: int,
    report: Report,
    done: Sequence[DoneTask],
    standing: Sequence[StandingPart],
    last: LastTime | None,
    worst_case: float | None,
    before: EveningPlan | None,
    beliefs: Beliefs,
    carried: Mapping[str, Carried],
) -> EveningPlan:
    """Make the plan, as `plan_evening`, whose sentences are being noted."""
    from fruitwall.physics.first_use import telling_when_compiling
    from fruitwall.service.forecast_errors import with_learned
    from fruitwall.service.outlook import acclimation, look_out, prepare_situation
    from fruitwall.service.stages import with_carried

    if now.tzinfo is None:
        raise ValueError("now must carry its time zone, got a naive time")
    day = night or night_to_plan(yard, forecast, history, now)
    evenings = evenings_ahead(yard.location, forecast, day, nights, now)
    report(STAGES[0])
    weather = _weather(forecast, history, evenings, now=now, members=members, rng=generator(seed))
    weather, as_issued_c = with_learned(weather, evenings, beliefs.errors, now=now)
    report(STAGES[1])
    hardened = acclimation(forecast, history, now)
    try:
        stands = beliefs.with_roots(with_carried(yard, carried))
        left = with_time_left(stands, evenings[0], spent(done))
        situation = prepare_situation(left, weather, evenings, hardened, done, standing, beliefs, carried)
        _refuse_unknown(situation)
        report(STAGES[2])
        with telling_when_compiling(lambda: report(PREPARING)):
            outlook = look_out(situation, threads=threads)
    except ValueError as error:
        # The layers below refuse what is impossible in their own words; here it is the yard or weather that is.
        raise PlanError(say("this evening cannot be computed: {error}", error=error)) from error
    report(STAGES[3])
    decision, seconds = _decide(outlook, last=last, aversion=worst_case, before=before)
    report(STAGES[4])
    return _document(
        outlook,
        decision,
        now=now,
        warnings=[*weather.warnings, *beliefs.trouble],
        seconds=seconds,
        threads=threads,
        as_issued_c=as_issued_c,
    )


def night_to_plan(yard: Yard, forecast: Forcing, history: Forcing | None, now: datetime) -> date:
    """Give tonight; in the morning, the evening to come if nothing is known of the night that just ended."""
    day = tonight_of(yard.location, now)
    evening = evening_of(yard.location, day)
    known_from = min(forecast.start_utc, history.start_utc if history is not None else forecast.start_utc)
    return day + timedelta(days=1) if now >= evening.sunrise and known_from > evening.sunset else day


def with_time_left(yard: Yard, evening: Evening, already: Mapping[str, float] | None = None) -> Yard:
    """Give the yard with the minutes that its people still have this evening.

    Parameters
    ----------
    yard : Yard
    evening : Evening
        Its `begins` is now.
    already : mapping of person to float, optional
        Minutes already spent this evening, which come off everybody's own. [min]

    Returns
    -------
    Yard
    """
    left = evening.minutes_left()
    used = already or {}
    own = {one.id: one.minutes_before_dusk if one.is_here(evening.night.name) else 0.0 for one in yard.people}
    people = [
        person.model_copy(
            update={"minutes_before_dusk": min(max(0.0, own[person.id] - used.get(person.id, 0.0)), left)}
        )
        for person in yard.people
    ]
    return yard.model_copy(update={"people": people})


def spent(done: Iterable[DoneTask]) -> dict[str, float]:
    """Give the minutes that everybody has spent on what is done, as planned. [min]"""
    minutes: dict[str, float] = {}
    for task in done:
        for person in task.people:
            minutes[person] = minutes.get(person, 0.0) + task.minutes
    return minutes


def _refuse_unknown(situation: Situation) -> None:
    """Refuse what is said to be done but is none of what could be done tonight, with near names."""
    from fruitwall.yard.near_names import near_names

    parts = [part for options in situation.measures for measure in options for part in measure.parts]
    parts += [part for setting in situation.settings for part in setting.parts]
    known = sorted({part.key for part in parts})
    for task in situation.done:
        if task.key not in known:
            near = near_names(task.key, known)
            raise PlanError(
                say('"{task}" is said to be done, but is not among what could be done tonight', task=task.key)
                + (say("; near names: {names}", names=", ".join(near)) if near else "")
            )


def evenings_ahead(location: Location, forecast: Forcing, day: date, nights: int, now: datetime) -> list[Evening]:
    """Give a night and those after it that the forecast covers to noon of the next day.

    Raises
    ------
    PlanError
        If the first night is over, or `nights` not from 1 to 10.
    """
    if not 1 <= nights <= 10:
        raise PlanError(say("nights must be from 1 to 10, got {nights}", nights=nights))
    first = evening_of(location, day, now)
    if first.uncover <= now:
        raise PlanError(
            say(
                "the night of {day} is over; the next is that of {next}",
                day=day,
                next=tonight_of(location, now),
            )
        )
    last = forecast.end_utc
    found = [first]
    for ahead in range(1, nights):
        following = evening_of(location, day + timedelta(days=ahead))
        if following.end_hour > last:
            break
        found.append(following)
    return found


def generator(seed: int) -> np.random.Generator:
    """Make the generator that the pure functions below are handed: the one place where a seed becomes randomness."""
    return np.random.default_rng(seed)  # noqa: TID251 - the core takes it as an argument; somebody has to make it


def _weather(
    forecast: Forcing,
    history: Forcing | None,
    evenings: list[Evening],
    *,
    now: datetime,
    members: int,
    rng: np.random.Generator,
) -> Forcing:
    """Join the past to the forecast and make an ensemble of it."""
    from fruitwall.weather.dressing import dress
    from fruitwall.weather.prepare import prepare

    joined = prepare(forecast, history, now=now, night_end_utc=evenings[-1].end_hour, spin_up_days=SPIN_UP_DAYS)
    return dress(joined, members=members, rng=rng, now=now)


def _decide(
    outlook: Outlook, *, last: LastTime | None, aversion: float | None, before: EveningPlan | None = None
) -> tuple[Decision, float]:
    """Choose, and find what would have been next, what one more would buy, and what else could be done."""
    from fruitwall.plans.evening import one_more, runners_up, solve
    from fruitwall.plans.measures import refused_measures, supplies_of
    from fruitwall.plans.problem import EveningProblem, Option
    from fruitwall.plans.reasons import why_left
    from fruitwall.service.compare import ways_out
    from fruitwall.service.compose import Decision

    start = time.perf_counter()
    situation = outlook.situation
    yard = situation.yard
    rows = [outlook.worth_asking(at) for at in range(len(yard.trees))]
    shuns = yard.prices.worst_case_aversion if aversion is None else aversion
    there: list[DoneTask | StandingPart] = [*situation.standing, *situation.done]
    problem = EveningProblem(
        trees=tuple(tree.id for tree in yard.trees),
        options=tuple(
            tuple(
                Option(options[row], outlook.added[at][row], outlook.added_by_member(at, row) if shuns > 0.0 else None)
                for row in rows[at]
            )
            for at, options in enumerate(situation.measures)
        ),
        supplies=supplies_of(yard),
        prices=yard.prices,
        settings=situation.settings,
        done=frozenset(task.key for task in situation.done),
        aversion=shuns,
        in_place=frozenset(part.key for part in situation.standing),
        sun_minutes=max(0.0, (situation.evenings[0].sun_leaves - situation.evenings[0].begins) / timedelta(minutes=1)),
        hanging={its.key: its.sheet for its in there if its.sheet is not None},
    )
    chosen_before = {tree.id: (tree.measure,) for tree in before.trees} if before is not None else None
    solution = solve(problem, earlier=chosen_before)
    chosen = [rows[at][solution.choices[at][0]] for at in range(len(yard.trees))]
    acting = [tree.id for tree, row in zip(yard.trees, chosen, strict=True) if row != 0]
    return (
        Decision(
            problem=problem,
            solution=solution,
            one_more=one_more(problem, solution),
            runners_up=runners_up(problem, solution, acting),
            reasons={
                tree.id: why_left(problem, solution, tree.id, refused_measures(yard, tree))
                for at, tree in enumerate(yard.trees)
                if chosen[at] == 0 and outlook.in_danger(at)
            },
            chosen=chosen,
            compare=ways_out(outlook, problem, solution, rows, last),
        ),
        time.perf_counter() - start,
    )


def _document(
    outlook: Outlook,
    decision: Decision,
    *,
    now: datetime,
    warnings: Iterable[str],
    seconds: float,
    threads: int,
    as_issued_c: Sequence[Spread] = (),
) -> EveningPlan:
    """Follow the chosen night hour by hour and write it all down."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.compose import Followed, compose
    from fruitwall.service.explained import explain_cold, explain_fluxes
    from fruitwall.service.hours import hours_of_trees
    from fruitwall.service.household import Household
    from fruitwall.service.since import nights_of_trees
    from fruitwall.service.venting import venting_of

    situation = outlook.situation
    household = Household(situation.yard.display, ZoneInfo(situation.yard.location.time_zone))
    followed = Followed(
        hours=hours_of_trees(
            situation,
            [situation.treatments[at][row] for at, row in enumerate(decision.chosen)],
            [outlook.endangered_tissue(at) for at in range(len(situation.spots))],
            nights=nights_of_trees(situation, decision.chosen),
            threads=threads,
        ),
        cold=explain_cold(outlook, decision.chosen, household, threads=threads),
        fluxes=explain_fluxes(outlook),
        venting=venting_of(situation, decision.chosen, threads=threads),
    )
    return compose(
        outlook, decision, followed, now=now, warnings=list(warnings), seconds=seconds, as_issued_c=as_issued_c
    )
