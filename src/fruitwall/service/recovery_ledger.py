"""Which trees were hurt by cold, and what each is waited for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.plants.effects import FLUSH_C
from fruitwall.plants.recovery import (
    STALE_DAYS,
    UNLIKELY,
    WOOD_GRADE,
    Injury,
    Look,
    chance_after,
    injury_of,
    next_scratch,
    state_of,
    unlikely_from,
)
from fruitwall.plants.tolerance import TISSUES
from fruitwall.service.cold_ledger import Winter, night_date, night_numbers, stands_of, told_tissue, winter_on
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Deed, Sighting, says, trees_of
from fruitwall.service.recovery_document import NightChance, RecoverySeason, TreeRecovery
from fruitwall.speech import say_again

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import SpotHours
    from fruitwall.yard.model import Tree, Yard

COLD_SHARE = 0.3
"""An injury whose causes give cold less than this is put down to something else. Our judgement. [-]"""

CLIMATE_SHORT = timedelta(days=3)
"""So much may lack at the end of the weather to come. Our judgement."""


def recovery_season(house: House) -> RecoverySeason:
    """Tell of every hurt tree what is waited for.

    Parameters
    ----------
    house : House

    Returns
    -------
    RecoverySeason
        Kept until something of yard, ledger or weather changes or an hour has passed.
    """
    yard, version = house.yard()
    hour = house.clock().replace(minute=0, second=0, microsecond=0)
    key = (version.yard, house.journal.state(), house.journal.weather_state(), hour)
    return _SEASONS.of(house.journal, key=key, make=lambda: _season(house, yard))


_SEASONS: Kept[RecoverySeason] = Kept(4)


@dataclass
class _Seen:
    """What the ledger says of one tree."""

    looks: list[Look] = field(default_factory=list)
    entries: dict[Look, LedgerEntry] = field(default_factory=dict)
    pruned_on: date | None = None
    painted_on: date | None = None


@dataclass(frozen=True)
class _Hurt:
    """One tree with an injury."""

    tree: Tree
    injury: Injury
    cold_share: float | None
    painted: bool


def _season(house: House, yard: Yard) -> RecoverySeason:
    from fruitwall.service.climate import climate_of

    now = house.clock()
    zone = ZoneInfo(yard.location.time_zone)
    today = now.astimezone(zone).date()
    winter = winter_on(today, yard.location.latitude_deg, zone)
    last = winter_on(winter.since.astimezone(zone).date() - timedelta(days=1), yard.location.latitude_deg, zone)
    seen = _seen(house, last.since, zone)
    hurt: list[_Hurt] = []
    other, pruned = [], []
    for tree in yard.trees:
        its = seen.get(tree.id, _Seen())
        injury = injury_of(its.looks, pruned_on=its.pruned_on)
        if injury is None:
            if its.pruned_on is not None and injury_of(its.looks) is not None:
                pruned.append(tree.name)
            continue
        share = _cold_share(house, its, injury)
        if share is not None and share < COLD_SHARE:
            other.append(tree.name)
            continue
        painted = its.painted_on is not None and its.painted_on >= injury.since
        hurt.append(_Hurt(tree, injury, share, painted))
    coming, known = _coming(house, winter, now) if hurt else ({}, True)
    climate = climate_of(house) if hurt else None
    stands = stands_of(house, yard, today) if hurt else {}
    ahead = next(iter(coming.values()), None)
    return RecoverySeason(
        since=last.since,
        until=winter.until,
        unlikely=UNLIKELY,
        courses=len(ahead.alone.air_c) if ahead is not None else 0,
        climate=say_again(climate.source) if climate is not None else "",
        years=len(climate.years) if climate is not None else 0,
        trees=[
            _tree(
                one,
                stands[one.tree.id],
                coming.get(one.tree.id),
                today,
                zone,
                cold_known=known,
                over=known and not coming,
            )
            for one in hurt
        ],
        other_causes=other,
        pruned=pruned,
    )


def _seen(house: House, since: datetime, zone: ZoneInfo) -> Mapping[str, _Seen]:
    """Read looks, prunings and paint out of the ledger."""
    found: dict[str, _Seen] = defaultdict(_Seen)
    for entry in house.ledger.current(since=since, until=house.clock() + timedelta(minutes=1)):
        body = says(entry)
        on = entry.at.astimezone(zone).date()
        if isinstance(body, Sighting) and entry.tree is not None:
            look = Look(on, body.grade, frozenset(body.signs))
            found[entry.tree].looks.append(look)
            found[entry.tree].entries[look] = entry
        elif isinstance(body, Deed) and body.what in ("pruned", "whitewashed"):
            for tree in trees_of(entry, body):
                its = found[tree]
                if body.what == "pruned":
                    its.pruned_on = max(on, its.pruned_on or on)
                else:
                    its.painted_on = max(on, its.painted_on or on)
    return found


def _cold_share(house: House, seen: _Seen, injury: Injury) -> float | None:
    """Give the chance that the worst look is of cold; None where nothing can be said."""
    from fruitwall.service.causes import causes_of

    worst = next((one for one in seen.looks if one.on == injury.worst_on and one.grade == injury.worst_grade), None)
    finding = causes_of(house, seen.entries[worst]) if worst is not None else None
    return None if finding is None else float(finding.judgement.cold)


def _coming(house: House, winter: Winter, now: datetime) -> tuple[Mapping[str, SpotHours], bool]:
    """Give the weather to come until the winter is over, and whether it is known so far."""
    from fruitwall.service.spot_hours import coming_hours
    from fruitwall.weather.forcing import as_datetime

    if now >= winter.until:
        return {}, True
    coming = coming_hours(house, winter.until)
    ahead = next(iter(coming.values()), None)
    return coming, ahead is not None and as_datetime(ahead.time_utc[-1]) >= winter.until - CLIMATE_SHORT


def _tree(
    hurt: _Hurt,
    tolerance: Tolerance,
    coming: SpotHours | None,
    today: date,
    zone: ZoneInfo,
    *,
    cold_known: bool,
    over: bool,
) -> TreeRecovery:
    """Tell of one tree; `over`: the winter is over, the next is not looked at."""
    injury, tree = hurt.injury, hurt.tree
    tissue = told_tissue(tolerance)
    own = freezing_level(tolerance, tissue)
    # Where wood is to be cut, what counts is the growth that a cut starts: it is soft whatever the grown wood stands.
    cut_back = own is not None and injury.worst_grade >= WOOD_GRADE and own < FLUSH_C
    level = FLUSH_C if cut_back else own
    chances: list[NightChance] = []
    safe_from = today if over else None
    known = over
    if coming is not None and level is not None:
        nights, coldest = _nights(coming, tissue, zone)
        chance = chance_after(coldest, level)
        if np.isfinite(chance).all() and chance.size:
            chances = [
                NightChance(night=night_date(int(n)), chance=float(c)) for n, c in zip(nights, chance, strict=True)
            ]
            known = cold_known
            first = unlikely_from(chance) if cold_known else None
            safe_from = None if first is None else max(chances[first].night, today)
    state = state_of(injury, today, safe_from, cold_known=known)
    stale = injury.last_on < today - timedelta(days=STALE_DAYS)
    cut = injury.live_on is not None and state in ("wait_cold", "prune") and not stale
    return TreeRecovery(
        tree=tree.id,
        name=tree.name,
        hurt_on=injury.worst_on,
        worst_grade=injury.worst_grade,
        last_on=injury.last_on,
        last_grade=injury.last_grade,
        cold_share=hurt.cold_share,
        state=state,
        tissue=tissue,
        level_c=level,
        by_new_growth=cut_back,
        chances=chances if cold_known else [],
        safe_from=safe_from,
        live_on=injury.live_on,
        live_sign=injury.live_sign,
        brown=injury.brown,
        bare=injury.bare,
        painted=hurt.painted,
        grafted={"grafted": True, "seedling": False, "cutting": False}.get(tree.origin),
        stale=stale,
        look_due=today if stale else _look_due(injury, state),
        prune_from=max(safe_from, injury.live_on or safe_from) if cut and safe_from is not None else None,
    )


def freezing_level(tolerance: Tolerance, tissue: str) -> float | None:
    """Give the temperature at which freezing first harms a tissue: leaf grade 2, twig 5, wood 6; at most 0 °C.

    Kinds that suffer above freezing too are told by their freezing limit: a cool night that only chills them is no
    reason to leave dead wood. None where the tree has no such tissue.
    """
    middle = float(tolerance.threshold_c[TISSUES.index(tissue), {"leaf": 2, "twig": 5, "wood": 6}[tissue]])
    return min(middle, 0.0) if np.isfinite(middle) else None


def _nights(
    hours: SpotHours, tissue: str, zone: ZoneInfo
) -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], np.ndarray[tuple[int, int], np.dtype[np.float64]]]:
    """Give the nights to come and the coldest hour of each, [member, night], left alone; a cut-off one is left out."""
    values = getattr(hours.alone, f"{tissue}_c")
    numbers = night_numbers(hours.time_utc, zone)
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 1))
    coldest = np.minimum.reduceat(values, starts, axis=1)
    nights = numbers[starts]
    whole = slice(0, -1) if nights.size > 1 else slice(None)
    return nights[whole], coldest[:, whole]


def _look_due(injury: Injury, state: str) -> date | None:
    """Give when to look next; None where a cut is waited for and the wood is seen to live."""
    if state == "leaf_only":
        due = next_scratch(injury)
        return due if injury.last_on < due else None
    return None if injury.live_on is not None else next_scratch(injury)
