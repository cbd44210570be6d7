"""What to give a tree, when, and what happens if nobody does: its balance marched through the courses to come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.water_balance import FROST_DEPTH_M, Array, Story, demand_of, local_days

if TYPE_CHECKING:
    from fruitwall.service.water_hours import Hours
    from fruitwall.yard.model import Yard

SALT_NEAR = 0.75
"""From this share of the salt that a kind stands on, some of the water has to wash salt down. Our judgement. [-]"""

MOST_LEACHING = 0.5
"""More than this is not asked for: the water is then too salty for the kind. Our judgement. [-]"""

HALF = 0.5
"""Share of its use below which a tree suffers plainly: leaves hang, fruit drops. Our judgement. [-]"""

LATER_DAYS = 7
"""How long after the day of watering it is told how the tree would fare. Our judgement. [d]"""

HOSE_L_MIN = 12.0
"""What a garden hose gives where nobody measured it. Our judgement. [L/min]"""

TAP_MIN = 2.0
"""Work of opening and closing the tap of an emitter. Our judgement. [min]"""


@dataclass(frozen=True)
class Advice:
    """What to give a tree.

    Attributes
    ----------
    due : date or None
        Day on which it begins to lack water, by the middle of the courses; today where it lacks it already. None where
        fewer than half of the courses come so far.
    earliest, latest : date or None
        The same in one course of ten from either end.
    litres : float
        To give on that day; now, where there is none. [L]
    lacks : bool
        Whether it lacks water already.
    leaching_share : float
        Part of it that is to wash salt down. [0-1]
    too_salty : bool
        Whether no washing keeps salt below what the kind stands.
    half_days : float or None
        Days from then until it uses less than half of what it wants, if it is not watered. [d]
    later_ks : float or None
        Share of its use that it keeps up a week after that day. [0-1]
    until : date or None
        Last day that was looked at.
    """

    due: date | None
    earliest: date | None
    latest: date | None
    litres: float
    lacks: bool
    leaching_share: float
    too_salty: bool
    half_days: float | None
    later_ks: float | None
    until: date | None


@dataclass(frozen=True, eq=False)
class Ahead:
    """Depletion to come if nobody waters: by the day, one in ten, middle, nine in ten [mm]."""

    days: tuple[date, ...]
    low_mm: Array
    middle_mm: Array
    high_mm: Array


def advise(story: Story, coming: Hours | None, yard: Yard, today: date) -> tuple[Advice, Ahead | None]:
    """Work out what to give a tree.

    Parameters
    ----------
    story : Story
        Up to now.
    coming : Hours or None
        The courses to come, from the next hour on; None where no weather is known ahead.
    yard : Yard
    today : date

    Returns
    -------
    Advice
    Ahead or None
    """
    from fruitwall.plants.water import BalanceState, march_balance
    from fruitwall.plants.water.volume import CROWN_HOLDS_MM_PER_LEAF, CROWN_LEAF_AREA

    zone, roots = story.roots.zone, story.roots
    now_mm = max(float(story.state.depletion_mm), 0.0)
    lacks = story.ks_now < 1.0
    leaching, salty = _leaching(story, yard)
    if coming is None or not coming.time_utc.size:
        due = today if lacks else None
        return _advice(story, due, due, due, now_mm, lacks, leaching, salty, None, None, None), None

    demand = demand_of(roots, coming, yard)
    members = demand.et_mm.shape[0]
    # Hours that are not known neither dry nor wet: the forecast has none, the climate none that matter.
    state = BalanceState(np.full(members, float(story.state.depletion_mm)))
    made = march_balance(
        zone,
        state,
        np.nan_to_num(demand.et_mm),
        np.nan_to_num(coming.rain_mm),
        np.zeros_like(demand.et_mm),
        demand_mm_d=demand.day_mm,
        canopy_mm=CROWN_HOLDS_MM_PER_LEAF * CROWN_LEAF_AREA,
        roof_share=roots.roof_share,
    )
    days = local_days(coming.time_utc, ZoneInfo(yard.location.time_zone))
    short = made.ks < 1.0
    first = np.where(short.any(axis=1), short.argmax(axis=1), short.shape[1])
    due, earliest, latest = (_day_at(first, share, days, today) for share in (0.5, 0.1, 0.9))
    if lacks:
        due = earliest = latest = today
    at = int(np.sort(first)[(members - 1) // 2]) if due is not None else 0
    net_mm = now_mm
    half = later = None
    if due is not None and at < short.shape[1]:
        net_mm = now_mm if due == today else float(np.median(made.depletion_mm[:, at]))
        week = min(at + 24 * LATER_DAYS, short.shape[1] - 1)
        later = float(np.median(made.ks[:, week])) if week > at else None
        low = np.median(made.ks, axis=0)[at:] < HALF
        half = float(low.argmax() / 24.0) if low.any() else None
    advice = _advice(story, due, earliest, latest, net_mm, lacks, leaching, salty, half, later, days[-1].astype(date))
    return advice, _ahead(made.depletion_mm, days)


def _advice(
    story: Story,
    due: date | None,
    earliest: date | None,
    latest: date | None,
    net_mm: float,
    lacks: bool,
    leaching: float,
    salty: bool,
    half: float | None,
    later: float | None,
    until: date | None,
) -> Advice:
    from fruitwall.plants.water.volume import to_give_mm

    litres = float(to_give_mm(net_mm, leaching)) * story.roots.zone.area_m2
    return Advice(due, earliest, latest, litres, lacks, leaching, salty, half, later, until)


def _day_at(first: Array, share: float, days: NDArray[np.datetime64], today: date) -> date | None:
    """Give the day by which a share of the courses begin to lack water; None where fewer do."""
    place = int(np.sort(first)[min(int(share * first.size), first.size - 1) if share != 0.5 else (first.size - 1) // 2])
    if place >= days.size:
        return None
    found: date = days[place].astype(date)
    return max(found, today)


def _leaching(story: Story, yard: Yard) -> tuple[float, bool]:
    """Give the share of the water that is to drain, and whether the water is too salty altogether."""
    from fruitwall.plants.water.salt import extract_ec, leaching_requirement

    water = yard.water.conductivity_ds_m
    if not water:
        return 0.0, False
    threshold = story.roots.salt.threshold_ds_m
    needed = float(leaching_requirement(water, threshold))
    here = float(extract_ec(story.roots.zone, max(float(story.state.salt_g), 0.0)))
    if here < SALT_NEAR * threshold:
        return 0.0, needed > MOST_LEACHING
    return min(needed, MOST_LEACHING), needed > MOST_LEACHING


def _ahead(depletion_mm: Array, days: NDArray[np.datetime64]) -> Ahead:
    """Give the end of each day."""
    last = np.append(np.flatnonzero(days[1:] != days[:-1]), days.size - 1)
    low, middle, high = np.quantile(depletion_mm[:, last], (0.1, 0.5, 0.9), axis=0)
    return Ahead(tuple(day.astype(date) for day in days[last]), low, middle, high)


def emitter_minutes(story: Story, litres: float) -> float | None:
    """Give how long a tree's emitter runs for an amount; None where it has none. [L] to [min]"""
    emitter = story.roots.tree.emitter
    return litres / emitter.total_l_h * 60.0 if emitter is not None else None


def work_minutes(story: Story, litres: float, yard: Yard) -> float:
    """Give the work of giving an amount: the tap of an emitter, or standing with the hose. [L] to [min]"""
    if story.roots.tree.emitter is not None:
        return TAP_MIN
    return TAP_MIN + litres / (yard.water.hose_flow_l_min or HOSE_L_MIN)


def frost_litres(story: Story) -> float:
    """Give what fills the upper soil, or the pot, before a frost; 0 where it is moist enough. [L]

    Parameters
    ----------
    story : Story

    Notes
    -----
    Moist soil takes in more of the day's sun and gives it back at night, and a dry pot freezes through sooner. What is
    missing is taken to be missing alike at all depths.
    """
    zone = story.roots.zone
    missing = max(float(story.state.depletion_mm), 0.0)
    if missing < 0.5 * zone.ready_mm:
        return 0.0
    share = 1.0 if zone.kind == "pot" else min(1.0, FROST_DEPTH_M / story.roots.depth_m)
    return missing * share * zone.area_m2


def root_word(story: Story) -> Literal["dry", "moist", "wet"]:
    """Say how the roots stand: ``dry`` where the tree lacks water, ``wet`` in a pot that stands in it."""
    missing = float(story.state.depletion_mm)
    if story.ks_now < 1.0:
        return "dry"
    return "wet" if not story.roots.zone.drains and missing < 0.0 else "moist"
