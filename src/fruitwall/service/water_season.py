"""The water of the season: how dry each tree's roots are, what to give and when, and before a freezing night."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.errors import FruitwallError, YardFileError
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Deed, Sighting, says, trees_of
from fruitwall.service.water_advice import (
    Advice,
    Ahead,
    advise,
    emitter_minutes,
    frost_litres,
    root_word,
    work_minutes,
)
from fruitwall.service.water_balance import Given, Moist, Story, local_days, roots_of, story_of
from fruitwall.service.water_document import (
    SoilReading,
    WaterAhead,
    WaterDay,
    WaterDocument,
    Watering,
    WaterTree,
)
from fruitwall.service.water_hours import past_water_hours

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.service.season_part import SeasonPart
    from fruitwall.service.spot_hours import SpotHours
    from fruitwall.yard.model import Tree, Yard

RootWord = Literal["dry", "moist", "wet"]

LEAST_BACK = timedelta(days=60)
"""So far back the balance goes at least, also in January: what lies before is forgotten by then. Our judgement."""

AHEAD = timedelta(days=30)
"""How far ahead the next watering is looked for. Our judgement."""

SAID_LATELY = timedelta(days=7)
"""How long what somebody saw of the soil holds against the balance. Our judgement."""

FREEZING_C = 0.0
"""A night counts as freezing where the middle course gets so cold at the tree. [°C]"""

NIGHTS_AHEAD = 5
"""Nights that are looked at for the first freezing one. Our judgement."""


def water_part(house: House, household: Household) -> SeasonPart:
    """Tell the water of the season.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    from fruitwall.service.water_words import part_of

    return part_of(water_document(house), household, house.clock())


def water_document(house: House) -> WaterDocument:
    """Give the water of a yard in figures; kept until something changes or the hour is over.

    Parameters
    ----------
    house : House

    Returns
    -------
    WaterDocument
    """
    now = house.clock()
    return _DOCUMENTS.of(house.journal, key=_key(house, now), make=lambda: _document(house, now))


_DOCUMENTS: Kept[WaterDocument] = Kept(4)


def _key(house: House, now: datetime) -> tuple[object, ...]:
    version = house.yard()[1]
    hour = now.replace(minute=0, second=0, microsecond=0)
    return version.yard, house.journal.state(), house.journal.weather_state(), hour


def stories(house: House) -> Mapping[str, Story]:
    """Give the root zone of every tree up to now.

    Parameters
    ----------
    house : House

    Returns
    -------
    Mapping of tree to Story
        Without trees of unknown kind; empty without any weather.
    """
    return _STORIES.of(house.journal, key=_key(house, house.clock()), make=lambda: _stories(house))


_STORIES: Kept[Mapping[str, Story]] = Kept(4)


def season_start(now: datetime, zone: ZoneInfo) -> datetime:
    """Give from when water is counted: the last 1 January, or the one before where that is too near."""
    first = datetime(now.astimezone(zone).year, 1, 1, tzinfo=zone)
    return first if now - first >= LEAST_BACK else first.replace(year=first.year - 1)


def _stories(house: House) -> Mapping[str, Story]:
    yard, _ = house.yard()
    now, zone = house.clock(), ZoneInfo(yard.location.time_zone)
    since = season_start(now, zone)
    hours = past_water_hours(house, since)
    if not hours:
        return {}
    givens, moist = waterings(house, since), soil_readings(house, yard, since, now)
    found = {}
    for tree in yard.trees:
        taxon = kind_of(tree, yard)
        if taxon is None:
            continue
        found[tree.id] = story_of(
            roots_of(tree, taxon, yard),
            hours[tree.id],
            yard,
            givens.get(tree.id, ()),
            moist.get(tree.id, ()),
            since=tree.planted if tree.planted is not None and tree.planted > since.date() else None,
        )
    return found


def kind_of(tree: Tree, yard: Yard) -> Taxon | None:
    """Give a tree's kind; None where it is not known."""
    from fruitwall.service.own_kinds import catalogue_of

    try:
        return catalogue_of(yard).find(tree.taxon)
    except (KeyError, ValueError, YardFileError, FruitwallError):
        return None


def waterings(house: House, since: datetime) -> Mapping[str, list[Given]]:
    """Give what the ledger tells of waterings, by tree: deeds, and ground that was wetted before a cold night."""
    found: dict[str, list[Given]] = {}
    for entry in house.ledger.current(kind="deed", since=since):
        body = says(entry)
        if not isinstance(body, Deed):
            continue
        wetted = body.what == "wetted" or body.what.startswith("wet@")
        if body.what != "watered" and not wetted:
            continue
        for tree in trees_of(entry, body):
            found.setdefault(tree, []).append(Given(entry.at, body.litres, entry.id, top_only=wetted))
    return found


def soil_readings(house: House, yard: Yard, since: datetime, now: datetime) -> Mapping[str, list[Moist]]:
    """Give the soil moisture by tree, one mean a day: of sensors at a tree, or read under a tree's own name."""
    places = {name: tree.id for tree in yard.trees for name in (tree.id, tree.name)}
    places |= {name: one.tree for one in yard.sensors if one.tree is not None for name in (one.id, one.name)}
    zone = ZoneInfo(yard.location.time_zone)
    days: dict[tuple[str, date], list[tuple[datetime, float]]] = {}
    for quantity, factor in (("soil_moisture_m3_m3", 1.0), ("soil_moisture_pct", 0.01)):
        for one in house.ledger.readings(since=since, until=now, quantity=quantity):
            tree = places.get(one.sensor)
            if tree is not None:
                day = one.at.astimezone(zone).date()
                days.setdefault((tree, day), []).append((one.at, one.value * factor))
    found: dict[str, list[Moist]] = {}
    for (tree, _), read in sorted(days.items(), key=lambda item: item[0][1]):
        found.setdefault(tree, []).append(
            Moist(max(at for at, _ in read), float(np.mean([value for _, value in read])))
        )
    return found


# ---------------------------------------------------------------- before a cold night


def root_words(house: House) -> Mapping[str, RootWord]:
    """Give how the roots of trees stand by the balance, for the evening plan.

    Parameters
    ----------
    house : House

    Returns
    -------
    Mapping of tree to str
        Without trees of which the grower said otherwise in the yard's file (anything but "moist", which stands there
        where nobody said anything), and without those of which no watering or reading was entered. What was seen of
        the soil in the last week goes before the balance.
    """
    yard, _ = house.yard()
    now = house.clock()
    said = {tree.id for tree in yard.trees if tree.root_zone != "moist"}
    found: dict[str, RootWord] = {tree: root_word(its) for tree, its in _known(house).items() if tree not in said}
    for entry in house.ledger.current(kind="sighting", since=now - SAID_LATELY):
        body = says(entry)
        if not isinstance(body, Sighting) or entry.tree is None or entry.tree in said:
            continue
        if "soil_dry" in body.signs:
            found[entry.tree] = "dry"
        elif "soil_wet" in body.signs:
            found[entry.tree] = "moist"  # wet to the finger is what is wanted; roots in water are another thing
    return found


def dry_ground(house: House) -> Mapping[str, float]:
    """Give the water that is missing from the upper soil, of trees of which a watering or reading was entered. [L]"""
    return {tree: litres for tree, story in _known(house).items() if (litres := frost_litres(story)) > 0.0}


def _known(house: House) -> Mapping[str, Story]:
    """Give the stories of trees of which a watering or reading was entered; a plan need not wait for others."""
    yard, _ = house.yard()
    now = house.clock()
    since = season_start(now, ZoneInfo(yard.location.time_zone))
    if not waterings(house, since) and not soil_readings(house, yard, since, now):
        return {}
    return {tree: story for tree, story in stories(house).items() if story.known}


def dry_before_freeze(house: House, night: date) -> Mapping[str, float]:
    """Give what to water before a freezing night. [L]

    Parameters
    ----------
    house : House
    night : date
        Of its evening.

    Returns
    -------
    Mapping of tree to float
        Only trees at which the middle course freezes and whose upper soil or pot is dry.
    """
    from fruitwall.service.spot_hours import coming_hours

    yard, _ = house.yard()
    zone = ZoneInfo(yard.location.time_zone)
    coming = coming_hours(house, _noon(night, zone) + timedelta(days=1))
    return {
        tree: litres
        for tree, story in stories(house).items()
        if tree in coming and _freezes(coming[tree], night, zone) and (litres := frost_litres(story)) > 0.0
    }


def _noon(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=zone)


def _freezes(hours: SpotHours, night: date, zone: ZoneInfo) -> bool:
    """Tell whether the middle course freezes at a tree between noon and noon; only where a forecast tells."""
    from fruitwall.weather.forcing import as_datetime64

    begin = as_datetime64(_noon(night, zone))
    end = as_datetime64(_noon(night + timedelta(days=1), zone))
    within = (hours.time_utc > begin) & (hours.time_utc <= end)
    within[hours.n_past + hours.n_forecast :] = False
    air = hours.alone.air_c[:, within]
    return bool(air.size and not np.isnan(air).all() and np.median(np.nanmin(air, axis=1)) < FREEZING_C)


# ---------------------------------------------------------------- the document


@dataclass(frozen=True, eq=False)
class _One:
    """A tree's story with what to do."""

    tree: Tree
    story: Story
    advice: Advice
    ahead: Ahead | None


def _document(house: House, now: datetime) -> WaterDocument:
    from fruitwall.service.spot_hours import coming_hours
    from fruitwall.service.walk import walking_order

    yard, _ = house.yard()
    zone = ZoneInfo(yard.location.time_zone)
    today = now.astimezone(zone).date()
    told = stories(house)
    coming = coming_hours(house, now + AHEAD) if told else {}
    order = list(walking_order(yard))
    found = []
    for tree in order:
        if tree.id in told:
            story = told[tree.id]
            found.append(_One(tree, story, *advise(story, coming.get(tree.id), yard, today)))
    nights = [today + timedelta(days=ahead) for ahead in range(NIGHTS_AHEAD)]
    frost = next((one for one in nights if any(_freezes(its, one, zone) for its in coming.values())), None)
    begins = min((_moment(one.story.time_utc[0]) for one in found), default=now)
    return WaterDocument(
        made=now,
        since=begins,
        until=now,
        hose_known=yard.water.hose_flow_l_min is not None,
        salt_followed=bool(yard.water.conductivity_ds_m),
        notices=sorted({notice.code for one in found for notice in one.story.notices}),
        unknown_kinds=[tree.name for tree in order if tree.id not in told] if told else [],
        frost_night=frost,
        trees=[
            _tree(one, yard, zone, freezes=frost is not None and _freezes(coming[one.tree.id], frost, zone))
            for one in found
        ],
    )


def _moment(stamp: np.datetime64) -> datetime:
    from fruitwall.weather.forcing import as_datetime

    return as_datetime(stamp)


def _tree(one: _One, yard: Yard, zone: ZoneInfo, *, freezes: bool) -> WaterTree:
    from fruitwall.plants.water.salt import extract_ec

    story, advice, roots = one.story, one.advice, one.story.roots
    frost_l = frost_litres(story) if freezes else 0.0
    salt = float(extract_ec(roots.zone, max(float(story.state.salt_g), 0.0))) if yard.water.conductivity_ds_m else None
    return WaterTree(
        tree=one.tree.id,
        name=one.tree.name,
        potted=one.tree.container is not None,
        area_m2=roots.zone.area_m2,
        root_depth_m=roots.depth_m,
        capacity_mm=roots.zone.capacity_mm,
        ready_mm=roots.zone.ready_mm,
        roof_share=roots.roof_share,
        coefficients_of=roots.row.taxon,
        coefficients_doubt=roots.row.doubt,
        known_share=story.known_share,
        depletion_mm=float(story.state.depletion_mm),
        depletion_sd_mm=story.sd_mm,
        uses_share=story.ks_now,
        root_word=root_word(story),
        lacks=advice.lacks,
        due=advice.due,
        earliest=advice.earliest,
        latest=advice.latest,
        looked_until=advice.until,
        litres=advice.litres,
        emitter_minutes=emitter_minutes(story, advice.litres),
        work_minutes=work_minutes(story, advice.litres, yard),
        leaching_share=advice.leaching_share,
        too_salty=advice.too_salty,
        extract_ds_m=salt,
        stands_ds_m=roots.salt.threshold_ds_m,
        half_days=advice.half_days,
        later_share=advice.later_ks,
        frost_litres=frost_l,
        frost_minutes=work_minutes(story, frost_l, yard) if frost_l > 0.0 else 0.0,
        believed_from=_moment(story.time_utc[story.believed_from]) if story.known else None,
        waterings=[
            Watering(entry=its.entry, at=its.at, litres=litres, written=its.litres is not None)
            for its, litres in story.waterings
        ],
        readings=[
            SoilReading(at=its.at, before_mm=its.before_mm, read_mm=its.read_mm, after_mm=its.after_mm)
            for its in story.corrections
        ],
        days=_days(story, zone),
        ahead=[]
        if one.ahead is None
        else [
            WaterAhead(day=day, p10_mm=float(low), p50_mm=float(middle), p90_mm=float(high))
            for day, low, middle, high in zip(
                one.ahead.days, one.ahead.low_mm, one.ahead.middle_mm, one.ahead.high_mm, strict=True
            )
        ],
    )


def _days(story: Story, zone: ZoneInfo) -> list[WaterDay]:
    """Put the hours together by the day."""
    if not story.time_utc.size:
        return []
    days = local_days(story.time_utc, zone)
    names, start = np.unique(days, return_index=True)
    last = np.append(start[1:], days.size) - 1
    rain = np.add.reduceat(np.nan_to_num(story.rain_mm), start)
    given = np.add.reduceat(story.given_mm, start) * story.roots.zone.area_m2
    return [
        WaterDay(
            day=name.astype(date),
            depletion_mm=None if np.isnan(story.depletion_mm[at]) else float(story.depletion_mm[at]),
            rain_mm=float(fallen),
            given_l=float(litres),
        )
        for name, at, fallen, litres in zip(names, last, rain, given, strict=True)
    ]
