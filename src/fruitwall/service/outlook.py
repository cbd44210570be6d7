"""What the coming nights would do to every tree under every measure: from weather to chances and losses.

This is the middle of the evening's work. It joins physics (what each tissue goes through) with tolerance (what the
tree stands); nothing is chosen here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from math import inf, nan
from typing import TYPE_CHECKING, TypedDict

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.exposure import DURATIONS_H, NightResult
from fruitwall.plants.injury import first_injury_c, fruit_loss_chance, grade_chances, loss_share
from fruitwall.plants.tolerance import LEAF, TISSUES, Tolerance
from fruitwall.service.nights import Evening
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.service.treatments import body_of, kinds_of, spots_of, tolerance_of, treatment_of
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.physics.body import Body
    from fruitwall.physics.faces import Face
    from fruitwall.physics.spot import Spot
    from fruitwall.physics.treatment import Night, Treatment
    from fruitwall.plans.parts import Measure, Setting
    from fruitwall.plans.replan import Stands
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.evening_document import DoneTask, StandingPart
    from fruitwall.service.stages import Carried
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Tree, Yard

FloatArray = NDArray[np.float64]

HOUR = DURATIONS_H.index(1.0)
"""Tolerances are stated for one hour, so margins are read at the coldest hour."""

HARM = 2
"""Grade from which injury counts as harm: burnt leaf."""

DEATH = 7

EIGHT_HOURS = DURATIONS_H.index(8.0)
"""Chilling above freezing is slow: the kinds that suffer from it are judged by the coldest eight hours."""

ACCLIMATION_DAYS = 21
"""Days before tonight whose mean temperature says how far a tree has hardened. Assumption: the preceding weeks."""

ACCLIMATION_AT_LEAST_DAYS = 7
"""Less of the past than this says nothing about hardening."""

TRIFLE_K = 0.3
"""A quarter of an hour with the hose is not asked of anybody for less than this. Our judgement. [K]"""

RAIN_COUNTS_MM = 2.0
"""Rain before the night from which the ground needs no wetting. Assumption."""

STEP = timedelta(minutes=15)
"""Of the physics (`physics.night.simulate`)."""


@dataclass(frozen=True, eq=False)
class Situation:
    """A yard made ready for physics: everything that does not depend on what is chosen.

    Attributes
    ----------
    yard, forcing : Yard, Forcing
    evenings : tuple of Evening
        Tonight first.
    kinds : tuple of Taxon
    tolerances : tuple of Tolerance
    measures : tuple of tuple of Measure
        Per tree; the first is leaving it.
    spots : tuple of Spot
        Home spots.
    bodies : tuple of Body
    treatments : tuple of tuple of Treatment
        Parallel to `measures`.
    faces : tuple of Face
    done : tuple of DoneTask
        What is done already this evening.
    standing : tuple of StandingPart
        What is taken to stand since an earlier night.
    carried : Mapping of str to Carried
        What trees of the yard carry by what was entered; the yard has it already.
    """

    yard: Yard
    forcing: Forcing
    evenings: tuple[Evening, ...]
    kinds: tuple[Taxon, ...]
    tolerances: tuple[Tolerance, ...]
    measures: tuple[tuple[Measure, ...], ...]
    spots: tuple[Spot, ...]
    bodies: tuple[Body, ...]
    treatments: tuple[tuple[Treatment, ...], ...]
    faces: tuple[Face, ...]
    done: tuple[DoneTask, ...] = ()
    standing: tuple[StandingPart, ...] = ()
    carried: Mapping[str, Carried] = field(default_factory=dict)

    @property
    def settings(self) -> tuple[Setting, ...]:
        """States of the standing shelters that can still be brought about tonight."""
        from fruitwall.plans.measures import settings_of
        from fruitwall.plans.replan import settings_still_possible

        there: list[DoneTask | StandingPart] = [*self.standing, *self.done]
        settings = settings_of(_with_everybody(self.yard, there), night_hours=lit_hours(self.evenings[0]))
        return settings_still_possible(settings, **too_late(self.evenings[0], there))


@dataclass(frozen=True, eq=False)
class Outlook:
    """What every measure would come to.

    Attributes
    ----------
    situation : Situation
    result : NightResult
        Exposures [tree, treatment, member, night, tissue, duration].
    chances : list of ndarray, shape (treatment, night, 8)
        Per tree: chance of each grade over forecast and tolerance.
    losses : list of ndarray, shape (treatment, night)
        Per tree: expected loss of each night on its own. [currency]
    fruit_lost : list of ndarray, shape (treatment, night)
        Per tree: expected share of its fruit and bloom lost, each by its worth. [0-1]
    added : list of ndarray, shape (treatment, night)
        Per tree: what each night adds to the loss of the whole spell, for the programme, which adds nights up.
        [currency]
    member_losses : list of ndarray, shape (treatment, member, night)
        Per tree: as `losses`, by member of the forecast. [currency]
    member_deaths : list of ndarray, shape (treatment, member)
        Per tree: chance of death tonight, by member.
    """

    situation: Situation
    result: NightResult
    chances: list[FloatArray]
    losses: list[FloatArray]
    fruit_lost: list[FloatArray]
    added: list[FloatArray]
    member_losses: list[FloatArray]
    member_deaths: list[FloatArray]

    @cached_property
    def usual_night(self) -> Forcing:
        """Weather of the member whose station minimum tonight is the median, from the spin-up to tonight's end."""
        evening = self.situation.evenings[0]
        forcing = self.situation.forcing
        minima = forcing.select(evening.night.start_utc, evening.end_hour).t_air_c.min(axis=1)
        member = int(np.argsort(minima, kind="stable")[(minima.size - 1) // 2])
        return forcing.member(member).select(forcing.start_utc, evening.end_hour)

    def coldest_c(self, tree: int, treatment: int, tissue: str, night: int = 0) -> FloatArray:
        """Give what a tissue is judged by in each member: its coldest hour, eight where chilling counts. [°C]"""
        return self.result.coldest_c[tree, treatment, :, night, TISSUES.index(tissue), self.duration(tree, tissue)]

    def duration(self, tree: int, tissue: str) -> int:
        """Give which of `DURATIONS_H` a tissue is judged by: one hour, eight for leaves that suffer by chill."""
        return EIGHT_HOURS if tissue == "leaf" and suffers_by_chill(self.situation.tolerances[tree]) else HOUR

    def added_by_member(self, tree: int, treatment: int) -> FloatArray:
        """Give `added` of one treatment by member, shape (night, member): spread as the losses are. [currency]"""
        members = self.member_losses[tree][treatment].T
        mean = self.losses[tree][treatment][:, None]
        share = np.divide(members, mean, out=np.ones_like(members), where=mean > 0.0)
        return np.asarray(self.added[tree][treatment][:, None] * share)

    def in_danger(self, tree: int) -> bool:
        """Tell whether a tree that is left tonight may be harmed or lose fruit that is worth something."""
        harm = float(self.chances[tree][0, 0, HARM:].sum())
        fruit = float(self.fruit_lost[tree][0, 0]) if self.situation.yard.trees[tree].crop_worth > 0 else 0.0
        return harm >= 0.05 or fruit >= 0.10

    def worth_asking(self, tree: int) -> list[int]:
        """Give the treatments that people may be asked for: leaving it, and all but trifling waterings not yet done."""
        done = {task.key for task in self.situation.done}
        tissue = self.endangered_tissue(tree)
        alone = np.median(self.coldest_c(tree, 0, tissue))
        return [
            row
            for row, measure in enumerate(self.situation.measures[tree])
            if not measure.wet_ground
            or any(part.key in done for part in measure.parts)
            or np.median(self.coldest_c(tree, row, tissue)) - alone >= TRIFLE_K
        ]

    def endangered_tissue(self, tree: int, treatment: int = 0, night: int = 0) -> str:
        """Give the tissue of the tree itself with the smallest margin in the median member; fruit is told apart."""
        tolerance = self.situation.tolerances[tree]
        margins = {
            tissue: float(np.median(self.coldest_c(tree, treatment, tissue, night)))
            - first_injury_c(tolerance, tissue)[1]
            for tissue in TISSUES
            if tissue != "fruit"
        }
        known = {tissue: margin for tissue, margin in margins.items() if not np.isnan(margin)}
        return min(known, key=lambda tissue: known[tissue]) if known else "leaf"


def suffers_by_chill(tolerance: Tolerance) -> bool:
    """Tell whether a tree's leaves are first hurt by hours above freezing rather than by ice."""
    burn = tolerance.threshold_c[LEAF, HARM]
    first = first_injury_c(tolerance, "leaf")[1]
    return not np.isnan(tolerance.chill_level_c) and not np.isnan(first) and (np.isnan(burn) or first > burn + 0.01)


def prepare_situation(
    yard: Yard,
    forcing: Forcing,
    evenings: Sequence[Evening],
    acclimation_c: float | None,
    done: Sequence[DoneTask] = (),
    standing: Sequence[StandingPart] = (),
    beliefs: Beliefs | None = None,
    carried: Mapping[str, Carried] | None = None,
) -> Situation:
    """Survey the yard and list what could be done for each tree.

    Parameters
    ----------
    yard : Yard
        With the minutes that its people still have.
    forcing : Forcing
        Past and coming weather, dressed.
    evenings : sequence of Evening
        Tonight first; `Evening.begins` is now.
    acclimation_c : float or None
        Mean temperature of the preceding weeks, if known. [°C]
    done : sequence of DoneTask
        What is done already this evening: it stays, and what is too late by now is not offered.
    standing : sequence of StandingPart
        What is taken to stand since an earlier night.
    beliefs : Beliefs, optional
        What the yard has taught.
    carried : Mapping of str to Carried, optional
        What trees of the yard carry by what was entered, to be told.

    Raises
    ------
    YardFileError
        If trees name unknown kinds.
    """
    from fruitwall.physics.spot import survey_faces
    from fruitwall.plans.measures import possible_measures
    from fruitwall.plans.replan import still_possible
    from fruitwall.service.spot_offsets import ELSEWHERE, with_offset, with_offsets

    kinds = kinds_of(yard)
    tonight = evenings[0]
    winter = in_winter(yard.location.latitude_deg, tonight.night.name)
    rain = rain_expected(forcing, tonight)
    hours = lit_hours(tonight)
    # Once it is gone `still_possible` says so; a measure refused for want of sun would be told as if there were some.
    sun = (tonight.sun_leaves - tonight.begins) / timedelta(minutes=1)
    sun = sun if sun >= 0.0 else inf
    told = {task.key: task.at for task in done}
    there: list[DoneTask | StandingPart] = [*standing, *done]
    able = _with_everybody(yard, there)
    measures = [
        tuple(
            still_possible(
                possible_measures(
                    able,
                    tree,
                    rain_expected=rain and f"wet@{tree.id}" not in told,
                    night_hours=hours,
                    sun_minutes=inf if f"wet@{tree.id}" in told else sun,
                    dry_l=beliefs.dry_l.get(tree.id, 0.0) if beliefs is not None else 0.0,
                ),
                **too_late(tonight, there),
            )
        )
        for tree in yard.trees
    ]
    home, moved = spots_of(yard, measures, winter=winter)
    if beliefs is not None and beliefs.offsets:
        home = with_offsets(home, beliefs.offsets)
        moved = {key: with_offset(spot, beliefs.offsets.get(ELSEWHERE)) for key, spot in moved.items()}
    wet_from = {tree.id: told.get(f"wet@{tree.id}", tonight.begins) for tree in yard.trees}
    return Situation(
        yard=yard,
        forcing=forcing,
        evenings=tuple(evenings),
        kinds=tuple(kinds[tree.id] for tree in yard.trees),
        tolerances=tuple(_stands(t, yard, kinds[t.id], tonight.night.name, acclimation_c, beliefs) for t in yard.trees),
        measures=tuple(measures),
        spots=tuple(home),
        bodies=tuple(body_of(tree, kinds[tree.id]) for tree in yard.trees),
        treatments=tuple(
            tuple(treatment_of(yard, m, moved, wet_from[m.tree]) for m in options) for options in measures
        ),
        faces=tuple(survey_faces(yard, winter=winter)),
        done=tuple(done),
        standing=tuple(standing),
        carried=dict(carried or {}),
    )


def _stands(
    tree: Tree, yard: Yard, kind: Taxon, on: date, acclimation_c: float | None, beliefs: Beliefs | None
) -> Tolerance:
    """Give what a tree stands tonight, with what was learned of it."""
    published = tolerance_of(tree, kind, on, acclimation_c, catalogue_of(yard))
    return published if beliefs is None else beliefs.stands(tree.id, published)


class TooLate(TypedDict):
    """What `plans.replan` must know of the hour and of what is done."""

    sun_gone: bool
    dark: bool
    done: dict[str, Stands]


def too_late(evening: Evening, done: Sequence[DoneTask | StandingPart]) -> TooLate:
    """Say what hour it is for those who still have to do things, and what is done or stands."""
    from fruitwall.plans.replan import Stands

    return {
        "sun_gone": evening.begins > evening.sun_leaves,
        "dark": evening.begins >= evening.night.dusk_utc,
        "done": {task.key: Stands(task.sheet, task.circuit, task.lead) for task in done},
    }


def _with_everybody(yard: Yard, done: Sequence[DoneTask | StandingPart]) -> Yard:
    """Give the yard with at least a minute of everybody once something is done: who has no time left did it."""
    if not done:
        return yard
    people = [
        person.model_copy(update={"minutes_before_dusk": max(1.0, person.minutes_before_dusk)})
        for person in yard.people
    ]
    return yard.model_copy(update={"people": people})


def lit_hours(evening: Evening) -> float:
    """Give the hours for which lamps and heaters are on. [h]"""
    hours = (evening.night.cover_off_utc - evening.night.cover_on_utc) / timedelta(hours=1)
    return min(24.0, max(0.25, hours))


def in_winter(latitude_deg: float, day: date) -> bool:
    """Tell whether trees that drop their leaves stand bare: November to March, in the south May to September."""
    return day.month in ((11, 12, 1, 2, 3) if latitude_deg >= 0 else (5, 6, 7, 8, 9))


def rain_expected(forcing: Forcing, evening: Evening) -> bool:
    """Tell whether the median member brings rain between now and sunset, so that the ground needs no water."""
    if evening.dark:
        return False
    start, end = as_datetime64(evening.begins), as_datetime64(evening.sunset)
    hours = (forcing.time_utc > start) & (forcing.time_utc <= end)
    return bool(hours.any() and np.median(forcing.rain_mm[:, hours].sum(axis=1)) >= RAIN_COUNTS_MM)


def look_out(situation: Situation, *, threads: int = 2) -> Outlook:
    """Compute exposures, chances and losses of every tree under every measure."""
    from fruitwall.physics.night import simulate

    ground = situation.yard.ground

    def march(trees: Sequence[int], treatments: Sequence[Sequence[Treatment]], nights: Sequence[Night]) -> NightResult:
        return simulate(
            situation.forcing,
            [situation.spots[at] for at in trees],
            [situation.bodies[at] for at in trees],
            treatments,
            nights,
            faces=situation.faces,
            soil=ground.soil,
            moisture=ground.moisture,
            threads=threads,
            clear_night_offset_k=situation.yard.location.clear_night_offset_k,
        )

    nights = [evening.night for evening in situation.evenings]
    result = march(range(len(situation.spots)), situation.treatments, nights)
    for since, finished in finished_since(situation).items():
        if since >= nights[0].cover_on_utc:
            continue
        # What is done already counts from when it was done; the rest from now.
        rows = [[situation.treatments[at][row] for row in its] for at, its in finished.items()]
        earlier = march(list(finished), rows, [replace(nights[0], cover_on_utc=since), *nights[1:]])
        for place, (at, its) in enumerate(finished.items()):
            for whole, part in zip(_exposures(result), _exposures(earlier), strict=True):
                whole[at, its] = part[place, : len(its)]
    return judge(situation, result)


def finished_since(situation: Situation) -> dict[datetime, dict[int, list[int]]]:
    """Give the treatments of which every part is done already or stands as it is to be, by when the last came about.

    Parameters
    ----------
    situation : Situation

    Returns
    -------
    dict of datetime to dict of int to list of int
        By the moment, sunset at the earliest, else the next step of the physics: by tree the rows of its treatments,
        leaving it apart. Cloth that was hung at five and lamps that were lit at seven count together from seven: a
        treatment has one hour at which it begins.
    """
    sunset = situation.evenings[0].sunset
    done = {task.key: task.at for task in situation.done}
    stands = {part.key for part in situation.standing}
    found: dict[datetime, dict[int, list[int]]] = {}
    for at, measures in enumerate(situation.measures):
        for row, measure in enumerate(measures):
            parts = measure.all_parts
            if parts and all(p.key in done or (p.key in stands and p.stays and not p.minutes_again) for p in parts):
                last = max((done[part.key] for part in parts if part.key in done), default=sunset)
                found.setdefault(_next_step(last) if last > sunset else sunset, {}).setdefault(at, []).append(row)
    return found


def _next_step(moment: datetime) -> datetime:
    """Give the first step at or after a moment: no finer time can be told from it, and few times cost few runs."""
    past = (moment - datetime.min.replace(tzinfo=moment.tzinfo)) % STEP
    return moment if not past else moment - past + STEP


def _exposures(result: NightResult) -> tuple[FloatArray, FloatArray, FloatArray]:
    return result.coldest_c, result.minimum_c, result.air_minimum_c


def judge(situation: Situation, result: NightResult) -> Outlook:
    """Turn exposures into chances of injury and expected losses."""
    chances, losses, fruit_lost = [], [], []
    member_losses, member_deaths = [], []
    for at, (tree, tolerance) in enumerate(zip(situation.yard.trees, situation.tolerances, strict=True)):
        cold = result.coldest_c[at, : len(situation.treatments[at])]
        by_member = grade_chances(tolerance, cold, DURATIONS_H)
        of_tree = by_member.mean(axis=1)
        chances.append(of_tree)
        crop = crop_lost(tree, tolerance, cold, still_hanging(situation.measures[at]))
        fruit_lost.append(crop.mean(axis=1))
        member_losses.append(tree.worth * loss_share(by_member) + tree.crop_worth * np.nan_to_num(crop))
        member_deaths.append(np.nan_to_num(by_member[:, :, 0, DEATH]))
        losses.append(tree.worth * loss_share(of_tree) + tree.crop_worth * np.nan_to_num(fruit_lost[-1]))
    added = [added_by_night(loss) for loss in losses]
    return Outlook(situation, result, chances, losses, fruit_lost, added, member_losses, member_deaths)


def crop_lost(tree: Tree, tolerance: Tolerance, cold: FloatArray, hanging: FloatArray) -> FloatArray:
    """Give the expected share of a tree's crop that a night takes.

    Parameters
    ----------
    tree : Tree
        With the worth of its fruit, and of the crop that its bloom promises.
    tolerance : Tolerance
        What fruit and flowers stand.
    cold : ndarray, shape (treatment, ..., tissue, duration)
        Exposures. [°C]
    hanging : ndarray, shape (treatment,)
        Share of the fruit that still hangs: picking saves fruit, not bloom. [0-1]

    Returns
    -------
    ndarray, shape (treatment, ...)
        Of fruit and bloom by their worth; of the worse of both if neither is worth anything. [0-1]
    """
    share = hanging.reshape(-1, *[1] * (cold.ndim - 3))
    fruit = fruit_loss_chance(replace(tolerance, flower_c=nan), cold, DURATIONS_H) * share
    bloom = fruit_loss_chance(replace(tolerance, fruit_c=nan), cold, DURATIONS_H)
    if tree.crop_worth <= 0.0:
        return np.maximum(fruit, bloom)
    worth_of_bloom = tree.promised_worth if "flower" in tree.stages else 0.0
    # What it does not carry is lost by a share of 0 and weighs nothing.
    lost = sum(
        (worth / tree.crop_worth) * its
        for worth, its in ((tree.crop_worth - worth_of_bloom, fruit), (worth_of_bloom, bloom))
        if worth > 0.0
    )
    return np.asarray(lost)


def still_hanging(measures: Sequence[Measure]) -> FloatArray:
    """Give the share of the fruit that is still on the tree under each measure: the night can take no other. [0-1]"""
    return 1.0 - np.array([measure.fruit_picked for measure in measures])


def added_by_night(losses: FloatArray) -> FloatArray:
    """Give what each night adds to the loss of the whole spell.

    Parameters
    ----------
    losses : ndarray, shape (treatment, night)
        Expected loss of each night on its own; the first treatment is leaving the tree.

    Returns
    -------
    ndarray, shape (treatment, night)
        To be added up over nights; 0 or more.

    Notes
    -----
    What is unknown of a tree is the same on every night, so over a spell it loses about as much as in its worst night,
    not the sum. A night therefore counts for what it takes beyond the worst of the other nights, these taken at their
    best protection: there is no use in warming a tree tonight that tomorrow will kill whatever is done, and a mild
    night is not bought with the lamps that the severe one needs. Where several nights are alike each would count in
    full although only protecting all of them helps; what they add is scaled so that protecting all of them saves in
    sum what it saves over the spell.
    """
    best = losses.min(axis=0)
    others = np.array([np.delete(best, night).max(initial=0.0) for night in range(losses.shape[1])])
    beyond = np.maximum(losses, others) - others
    saved = float((beyond[0] - beyond.min(axis=0)).sum())
    joint = float(losses[0].max() - best.max())
    return np.asarray(beyond * (min(1.0, joint / saved) if saved > 0 else 1.0))


def acclimation(forecast: Forcing, history: Forcing | None, now: datetime) -> float | None:
    """Give the mean air temperature of the last weeks, from measured hours alone.

    Parameters
    ----------
    forecast : Forcing
        As read, before anything is made up for its past; its first `n_history` hours are past weather.
    history : Forcing or None
        Past weather.
    now : datetime, aware

    Returns
    -------
    float or None
        Mean of up to `ACCLIMATION_DAYS`, within -30 to 40; None if less than a week is known. [°C]
    """
    end = as_datetime64(now)
    start = end - np.timedelta64(ACCLIMATION_DAYS * 86400, "s")
    known: dict[np.datetime64, float] = {}
    for forcing, hours in ((history, None), (forecast, forecast.n_history)):
        if forcing is not None:
            times = forcing.time_utc[:hours]
            known.update(zip(times, np.median(forcing.t_air_c[:, :hours], axis=0), strict=True))
    used = [value for time, value in known.items() if start <= time < end]
    if len(used) < ACCLIMATION_AT_LEAST_DAYS * 24:
        return None
    return float(np.clip(np.mean(used), -30.0, 40.0))
