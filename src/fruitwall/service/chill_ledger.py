"""How much winter chill each tree has had at its own spot, and when it likely has enough.

Judged by the air amid its crown, not by the temperature of its buds: requirements were worked out with thermometers in
the air, and a bud in the sun of a winter's day is so much warmer that sums of both are not the same thing. The air of
the spot and not of the yard, since cold hollows and walls are what makes trees of one yard differ; and as it was under
a cover or a roof, since what is carried in rests in the warm. What the twig's own temperature would give stands beside.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from math import ceil
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants.chill import growing_degree_hours
from fruitwall.plants.chill_needs import ChillNeed, TreeNeeds, needs_of
from fruitwall.plants.chill_sums import ChillSums, chill_sums
from fruitwall.plants.chill_tables import MODELS, Model
from fruitwall.service.chill_document import ChillDay, ChillMet, ChillNeeded, ChillSeason, TreeChill
from fruitwall.service.cold_ledger import winter_on
from fruitwall.service.kept import Kept
from fruitwall.weather.forcing import as_datetime

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Source
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import SpotHours
    from fruitwall.yard.model import Tree, Yard

Array = NDArray[np.float64]
Times = NDArray[np.datetime64]

SHOWN_H = 4 * 24
"""Distance of the moments at which the course of a sum is told. [h]"""

ENOUGH_COURSES = 0.5
"""Share of the courses that must be known at a moment for a band to be told there. Our judgement."""


def chill_season(house: House) -> ChillSeason:
    """Work out the winter chill of a yard.

    Parameters
    ----------
    house : House

    Returns
    -------
    ChillSeason
        Of this winter; of the last one between two winters. Kept until something of yard, ledger or weather changes or
        the hour is over.
    """
    yard, version = house.yard()
    hour = house.clock().replace(minute=0, second=0, microsecond=0)
    key = (version.yard, house.journal.state(), house.journal.weather_state(), hour)
    return _SEASONS.of(house.journal, key=key, make=lambda: _season(house, yard))


_SEASONS: Kept[ChillSeason] = Kept(4)


def _season(house: House, yard: Yard) -> ChillSeason:
    from fruitwall.service.spot_hours import coming_hours, season_hours
    from fruitwall.service.treatments import kinds_of

    now = house.clock()
    zone = ZoneInfo(yard.location.time_zone)
    winter = winter_on(now.astimezone(zone).date(), yard.location.latitude_deg, zone)
    kinds = kinds_of(yard)
    wanted: list[tuple[Tree, TreeNeeds]] = []
    without: list[str] = []
    for tree in yard.trees:
        needs = needs_of(kinds[tree.id], tree.cultivar, own_needs(yard, kinds[tree.id].key))
        if needs.basis == "none":
            without.append(tree.name)
        else:
            wanted.append((tree, needs))
    past = season_hours(house, winter.since, winter.until) if wanted else {}
    coming = coming_hours(house, winter.until) if wanted and now < winter.until else {}
    trees = [tree_chill(tree, needs, past.get(tree.id), coming.get(tree.id)) for tree, needs in wanted]
    ahead = next(iter(coming.values()), None)
    return ChillSeason(
        winter=winter.name,
        since=winter.since,
        until=winter.until,
        now=now,
        forecast_until=_forecast_until(ahead),
        coming_until=as_datetime(ahead.time_utc[-1]) if ahead is not None else None,
        courses=len(ahead.done.air_c) if ahead is not None else 0,
        trees=trees,
        without_need=without,
    )


def own_needs(yard: Yard, kind: str) -> tuple[ChillNeed, ...]:
    """Give what the yard file says of an own kind's need; empty where it says nothing."""
    found = []
    for own in yard.kinds:
        if own.id == kind:
            told: tuple[tuple[Model, list[float] | None], ...] = (
                ("portions", own.chill_portions),
                ("hours_below", own.chill_hours),
            )
            found += [ChillNeed(model, min(ends), max(ends), ()) for model, ends in told if ends]
    return tuple(found)


def _forecast_until(ahead: SpotHours | None) -> datetime | None:
    if ahead is None or ahead.n_forecast == 0:
        return None
    return as_datetime(ahead.time_utc[ahead.n_forecast - 1])


def tree_chill(tree: Tree, needs: TreeNeeds, past: SpotHours | None, coming: SpotHours | None) -> TreeChill:
    """Work out one tree.

    Parameters
    ----------
    tree : Tree
    needs : TreeNeeds
    past : SpotHours or None
        From the beginning of the winter on; one member. Hours that are not known add nothing.
    coming : SpotHours or None
        The hours after that; members are possible courses.

    Returns
    -------
    TreeChill
    """
    air_c = past.done.air_c[:1] if past is not None else np.empty((1, 0))
    twig_c = past.done.twig_c[:1] if past is not None else np.empty((1, 0))
    sums = chill_sums(air_c, missing="empty", threads=1)
    ahead = None
    if coming is not None and coming.time_utc.size:
        to_come_c = coming.done.air_c
        ahead = chill_sums(to_come_c, sums.state.repeated(len(to_come_c)), missing="empty", threads=1)
    known = np.isfinite(air_c[0])
    needed = [_needed(need, sums, ahead, past, coming) for need in needs.needs]
    first: Model = needed[0].model if needed else "portions"
    met = needed[0].at_low.met if needed else None
    bare = np.isfinite(twig_c[0])
    return TreeChill(
        tree=tree.id,
        name=tree.name,
        taxon=tree.taxon,
        cultivar=tree.cultivar,
        basis=needs.basis,
        hours=known.size,
        known_hours=int(known.sum()),
        sums={model: float(sums.state.of(model)[0]) for model in MODELS},
        portions_at_bud=(
            float(chill_sums(twig_c, missing="empty", threads=1).state.of("portions")[0])
            if known.any() and (bare == known).all()
            else None
        ),
        intermediate=min(1.0, float(sums.state.intermediate[0])),
        needs=needed,
        warmth_k_h=_warmth(past, met),
        past=_past_days(first, sums, past),
        coming=_coming_days(first, ahead, coming),
    )


def _needed(
    need: ChillNeed, sums: ChillSums, ahead: ChillSums | None, past: SpotHours | None, coming: SpotHours | None
) -> ChillNeeded:
    def met(level: float) -> ChillMet:
        return when_met(
            level,
            sums.by_model[need.model][0],
            past.time_utc if past is not None else np.empty(0, "datetime64[s]"),
            ahead.by_model[need.model] if ahead is not None else None,
            coming.time_utc if coming is not None else np.empty(0, "datetime64[s]"),
        )

    sources = {row.source.key: row.source for row in need.rows if row.source is not None}
    return ChillNeeded(
        model=need.model,
        low=need.low,
        high=need.high,
        cultivars=need.cultivars,
        from_memory=need.from_memory,
        from_sellers=need.from_sellers,
        sources=[_source_words(source) for source in sources.values()],
        at_low=met(need.low),
        at_high=met(need.high),
    )


def _source_words(source: Source) -> str:
    """Write a source as others look it up."""
    year = f" ({source.year})" if source.year and source.year != "n.d." else ""
    who = source.publisher if source.authors.startswith("(") else source.authors  # "(authors not read)"
    place = f"{source.publisher}. " if source.publisher not in who else ""
    return f"{who}{year}: {source.title}. {place}{source.identifier}"


def when_met(level: float, past: Array, past_utc: Times, coming: Array | None, coming_utc: Times) -> ChillMet:
    """Tell when a sum reached a level, or will.

    Parameters
    ----------
    level : float
    past : ndarray [hour]
        Sum so far at each hour that is over.
    past_utc, coming_utc : ndarray of datetime64 [hour]
        Ends of the hours.
    coming : ndarray [member, hour] or None
        Sums to come, going on from the last one.

    Returns
    -------
    ChillMet
        Dates of the courses that reach it, those that never do counted as later than all.
    """
    over = past >= level
    if over.any():
        return ChillMet(level=level, met=as_datetime(past_utc[int(over.argmax())]))
    if coming is None or not coming_utc.size:
        return ChillMet(level=level)
    reaches = coming >= level
    ever = reaches.any(axis=1)
    at = np.sort(np.where(ever, reaches.argmax(axis=1), coming_utc.size))

    def quantile(share: float) -> datetime | None:
        place = int(at[max(0, ceil(share * at.size) - 1)])
        return as_datetime(coming_utc[place]) if place < coming_utc.size else None

    return ChillMet(level=level, chance=float(ever.mean()), p10=quantile(0.1), p50=quantile(0.5), p90=quantile(0.9))


def _warmth(past: SpotHours | None, met: datetime | None) -> float | None:
    """Give growing degree hours since a moment; hours that are not known add nothing."""
    if past is None or met is None:
        return None
    after = past.done.air_c[0][past.time_utc > np.datetime64(met.replace(tzinfo=None), "s")]
    known = after[np.isfinite(after)]
    return float(growing_degree_hours(known)[-1]) if known.size else 0.0


def _shown(count: int) -> list[int]:
    """Give the places of the moments told: every few days, and the last one."""
    return sorted({*range(SHOWN_H - 1, count, SHOWN_H), *([count - 1] if count else [])})


def _past_days(model: Model, sums: ChillSums, past: SpotHours | None) -> list[ChillDay]:
    if past is None:
        return []
    course = sums.by_model[model][0]
    return [ChillDay(at=as_datetime(past.time_utc[at]), value=float(course[at])) for at in _shown(course.size)]


def _coming_days(model: Model, ahead: ChillSums | None, coming: SpotHours | None) -> list[ChillDay]:
    if ahead is None or coming is None:
        return []
    courses = ahead.by_model[model]
    known = np.isfinite(coming.done.air_c).mean(axis=0) >= ENOUGH_COURSES
    return [_day(coming.time_utc[at], courses[:, at]) for at in _shown(courses.shape[1]) if known[at]]


def _day(at: np.datetime64, sums: Array) -> ChillDay:
    low, middle, high = (float(each) for each in np.quantile(sums, (0.1, 0.5, 0.9)))
    return ChillDay(at=as_datetime(at), value=middle, low=low, high=high)


def judged(trees: Sequence[TreeChill]) -> list[TreeChill]:
    """Give the trees of which a need is known."""
    return [tree for tree in trees if tree.needs]
