"""What each tree really went through: past weather, the yard as it was then, and what was ticked as done.

The evening's plan computes what may come; this computes what was. It is the ground on which the yard teaches: a tree's
exposure under its cover is its own, and a tick taken back changes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import FruitwallError
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.plants.tolerance import TISSUES
from fruitwall.service.kept import Kept
from fruitwall.service.past_weather import past_stretches
from fruitwall.service.spot_offsets import learned_offsets, with_offsets
from fruitwall.service.stages import stage_log, tree_then, with_carried
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.journal.entries import YardVersion
    from fruitwall.learning.spots import Offset
    from fruitwall.physics.night import NightResult
    from fruitwall.physics.treatment import Treatment
    from fruitwall.plans.parts import Measure
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.service.house import House
    from fruitwall.service.nights import Evening
    from fruitwall.service.past_weather import PastWeather
    from fruitwall.service.stages import Carried, StageLog
    from fruitwall.yard.model import Location, Tree, Yard

Array = NDArray[np.float64]

SPIN_UP_DAYS = 7
"""Days of weather before the first night of a stretch, where they are known; one at least."""

STEP_MINUTES = 30
"""Coarser than an evening's plan: a winter is marched at once. Night minima differ by hundredths of a kelvin."""

NIGHTS_AT_ONCE = 160
"""Nights that are marched at once: a winter. Years on end at once would need a gigabyte a year."""

ACCLIMATION_STEP_K = 0.5
"""Weeks of nearly the same mean temperature share what a tree stands after them. [K]"""

READ_BACK_DAYS = 6 * 366
"""How far back plans are read for what stood: six winters."""


@dataclass(frozen=True, eq=False)
class Lived:
    """What one tree went through in one night that is over.

    Attributes
    ----------
    night : date
        Of the evening.
    measure : str
        Key of what was really done for it; ``leave`` for nothing.
    measure_name : str
        The same in English words.
    coldest_c : ndarray [tissue, duration]
        With what was done, as `physics.exposure` has it. [°C]
    alone_c : ndarray [tissue, duration]
        Had it been left alone. [°C]
    tolerance : Tolerance
        What such a tree is believed to stand then, before anything was learned.
    air_sd_k : float
        What is not known of that night's air. [K]
    """

    night: date
    measure: str
    measure_name: str
    coldest_c: Array
    alone_c: Array
    tolerance: Tolerance
    air_sd_k: float = 0.0


def lived_nights(house: House) -> Mapping[str, tuple[Lived, ...]]:
    """Give what every tree went through in every night whose weather is known.

    Parameters
    ----------
    house : House

    Returns
    -------
    Mapping of tree to tuple of Lived
        Oldest night first. Trees that no longer stand in the yard are left out; one that was not there yet has no
        nights from before. Empty without weather.
    """
    yard, version = house.yard()
    now = house.clock()
    key = (
        version.yard,
        house.journal.state(),
        house.journal.weather_state(),
        now.replace(minute=0, second=0, microsecond=0),
    )
    return _LIVED.of(house.journal, key=key, make=lambda: _lived(house, yard, version))


_LIVED: Kept[Mapping[str, tuple[Lived, ...]]] = Kept(4)


def _lived(house: House, yard: Yard, version: YardVersion) -> Mapping[str, tuple[Lived, ...]]:
    stretches = past_stretches(house)
    if not stretches:
        return {}
    done = done_by_night(house, version.yard)
    offsets = learned_offsets(house)
    versions = versions_by_day(house, version)
    stages = stage_log(house.journal, version.yard)
    found: dict[str, list[Lived]] = {tree.id: [] for tree in yard.trees}
    for stretch in stretches:
        for group in _groups(yard.location, stretch, versions, house.clock(), stages):
            done_then = {day: done.get(day, frozenset()) for day in group.days}
            for tree, lived in _march(group, done_then, offsets).items():
                if tree in found:
                    found[tree] += lived
    return {tree: tuple(sorted(its, key=lambda one: one.night)) for tree, its in found.items()}


# ---------------------------------------------------------------- what was done


def done_by_night(house: House, yard: str) -> dict[date, frozenset[str]]:
    """Give the keys of what was done or still stood, by night."""
    from fruitwall.service.ledger import Deed, says
    from fruitwall.service.nights_felt import nights_read
    from fruitwall.service.ticks import AFTER

    found: dict[date, set[str]] = {}
    for entry in house.ledger.current(kind="deed"):
        deed = says(entry)
        if isinstance(deed, Deed) and deed.night is not None and deed.what.partition(":")[0] not in AFTER:
            found.setdefault(deed.night, set()).add(deed.what)
    for night in nights_read(house, yard, house.clock(), back=READ_BACK_DAYS):
        if night.standing:
            found.setdefault(night.night, set()).update(night.standing)
    return {night: frozenset(keys) for night, keys in found.items()}


def what_was_done(measures: Sequence[Measure], done: frozenset[str]) -> Measure:
    """Give the measure of a tree of which every part was done.

    Parameters
    ----------
    measures : sequence of Measure
        What could be done for it; the first is leaving it.
    done : frozenset of str
        Keys of parts.

    Returns
    -------
    Measure
        That of the most parts; leaving it where no measure was done in full. Watering alone counts for nothing more:
        what it adds is within what is not known of the ground.
    """
    whole = [one for one in measures if one.all_parts and all(part.key in done for part in one.all_parts)]
    return max(whole, key=lambda one: (len(one.all_parts), not one.wet_ground, one.key), default=measures[0])


# ---------------------------------------------------------------- nights of one yard in one stretch of weather


@dataclass(frozen=True, eq=False)
class _Group:
    """Nights of a stretch in which the yard's file was the same, and the same trees had shed their leaf."""

    version: YardVersion
    stretch: PastWeather
    evenings: tuple[Evening, ...]
    carried: tuple[Mapping[str, Carried], ...]
    """Night by night what trees carried by what was entered."""

    @property
    def ever_carried(self) -> Mapping[str, Carried]:
        """What each tree carried in any of the nights: fruit that hangs beside it changes nothing for leaf and wood."""
        known: dict[str, Carried] = {}
        for night in self.carried:
            for tree, its in night.items():
                before = known.get(tree)
                known[tree] = its if before is None or "fruit" in its.stages else before
        return known

    @property
    def days(self) -> list[date]:
        return [evening.night.name for evening in self.evenings]


def versions_by_day(house: House, newest: YardVersion) -> list[YardVersion]:
    """Give the versions of the yard that were the last ones of their day, oldest first."""
    history = sorted(house.journal.history(newest.yard), key=lambda one: one.number)
    last: dict[date, YardVersion] = {one.created.date(): one for one in history}
    return sorted(last.values(), key=lambda one: one.number)


def _groups(
    location: Location, stretch: PastWeather, versions: Sequence[YardVersion], now: datetime, stages: StageLog
) -> Iterable[_Group]:
    """Group the nights that are over by the yard's version and by which of its trees were at rest.

    Nights before the first version have the first. A march that begins anew warms its soil up anew, so that nights
    stay together where they can: what else a tree carries is looked at night by night.
    """
    from fruitwall.service.nights import evening_of
    from fruitwall.service.yards import parse_version

    forcing = stretch.forcing
    first = (forcing.start_utc + timedelta(days=1)).date() - timedelta(days=1)
    groups: dict[tuple[object, ...], list[Evening]] = {}
    shared: dict[tuple[object, ...], tuple[YardVersion, list[Mapping[str, Carried]]]] = {}
    for ahead in range((forcing.end_utc.date() - first).days + 1):
        try:
            evening = evening_of(location, first + timedelta(days=ahead))
        except FruitwallError:
            continue  # no night where the sun does not set
        if (
            evening.night.start_utc < forcing.start_utc + timedelta(days=1)
            or evening.end_hour > forcing.end_utc
            or evening.uncover > now
        ):
            continue
        then = [one for one in versions if one.created <= evening.sunset]
        version = then[-1] if then else versions[0]
        its: Mapping[str, Carried] = {}
        key: tuple[object, ...] = (version.number,)
        if stages.marks:
            yard = parse_version(version)
            its = stages.carried(yard, version, evening.sunset)
            key += tuple(one.id for one in yard.trees if "dormant" in tree_then(one, its.get(one.id)).stages)
        groups.setdefault(key, []).append(evening)
        shared.setdefault(key, (version, []))[1].append(its)
    for key, evenings in groups.items():
        version, carried = shared[key]
        yield _Group(version, stretch, tuple(evenings), tuple(carried))


def _march(
    group: _Group, done: Mapping[date, frozenset[str]], offsets: Mapping[str, Offset]
) -> Mapping[str, list[Lived]]:
    """March a group's nights once for the same weather, the same deeds and what thermometers taught."""
    forcing = group.stretch.forcing
    digest = sha256()
    for array in (forcing.time_utc.astype(np.int64), forcing.t_air_c, forcing.t_dew_c, forcing.wind_m_s, forcing.cloud):
        digest.update(np.ascontiguousarray(array).tobytes())
    key = (
        group.version.sha256,
        tuple(tuple(sorted((tree, its.stages) for tree, its in night.items())) for night in group.carried),
        digest.hexdigest(),
        tuple(group.days),
        tuple(tuple(sorted(done[day])) for day in group.days),
        tuple((name, *(round(each, 2) for each in one.mean)) for name, one in sorted(offsets.items())),
    )
    return _MARCHED.of(key=key, make=lambda: _marched(group, done, offsets))


_MARCHED: Kept[Mapping[str, list[Lived]]] = Kept(64)


def _marched(
    group: _Group, done: Mapping[date, frozenset[str]], offsets: Mapping[str, Offset]
) -> Mapping[str, list[Lived]]:
    from fruitwall.physics.night import simulate
    from fruitwall.physics.spot import survey_faces
    from fruitwall.plans.measures import possible_measures
    from fruitwall.service.outlook import in_winter
    from fruitwall.service.treatments import body_of, kinds_of, spots_of, treatment_of
    from fruitwall.service.yards import parse_version

    as_filed = with_time(parse_version(group.version))
    yard = with_carried(as_filed, group.ever_carried)
    try:
        kinds = kinds_of(yard)
    except FruitwallError:
        return {}  # a version whose kinds are no longer known teaches nothing
    ever = frozenset().union(*done.values()) if done else frozenset()
    measures: list[list[Measure]] = []
    for tree in yard.trees:
        options = possible_measures(yard, tree)
        used = {what_was_done(options, done[day]).key for day in group.days} if ever else set()
        measures.append([one for at, one in enumerate(options) if at == 0 or one.key in used])
    first, last = group.evenings[0], group.evenings[-1]
    middle = group.days[len(group.days) // 2]
    winter = in_winter(yard.location.latitude_deg, middle)
    home, moved = spots_of(yard, measures, winter=winter)
    treatments: list[list[Treatment]] = [
        [replace(treatment_of(yard, one, moved, first.begins), wet_ground=False, wet_from_utc=None) for one in options]
        for options in measures
    ]
    forcing = group.stretch.forcing
    start = max(forcing.start_utc, first.night.start_utc - timedelta(days=SPIN_UP_DAYS))
    result: NightResult = simulate(
        forcing.select(start, last.end_hour),
        with_offsets(home, offsets),
        [body_of(tree, kinds[tree.id]) for tree in yard.trees],
        treatments,
        [evening.night for evening in group.evenings],
        faces=survey_faces(yard, winter=winter),
        soil=yard.ground.soil,
        moisture=yard.ground.moisture,
        step_minutes=STEP_MINUTES,
        clear_night_offset_k=yard.location.clear_night_offset_k,
    )
    coldest = result.coldest_c[:, :, 0].astype(np.float64)
    weeks = [_acclimation(group.stretch, evening) for evening in group.evenings]
    doubt = [_air_sd_k(group.stretch, evening) for evening in group.evenings]
    stands = _Stands(yard, middle)
    found: dict[str, list[Lived]] = {}
    for at, tree in enumerate(yard.trees):
        rows = {one.key: row for row, one in enumerate(measures[at])}
        its = []
        for night, day in enumerate(group.days):
            measure = what_was_done(measures[at], done[day])
            then = tree_then(as_filed.trees[at], group.carried[night].get(tree.id))
            felt = [coldest[at, rows[measure.key], night], coldest[at, 0, night]]
            if "fruit" in tree.stages and "fruit" not in then.stages:
                for one in felt:
                    one[TISSUES.index("fruit")] = np.nan
            its.append(
                Lived(
                    day,
                    measure.key,
                    measure.name,
                    felt[0],
                    felt[1],
                    stands.of(then, weeks[night]),
                    doubt[night],
                )
            )
        found[tree.id] = its
    return found


def with_time(yard: Yard) -> Yard:
    """Give the yard with people who had the time for what they did."""
    people = [one.model_copy(update={"minutes_before_dusk": 600.0}) for one in yard.people]
    return yard.model_copy(update={"people": people})


class _Stands:
    """What the trees of a yard are believed to stand, worked out once for weeks of the same mean temperature."""

    def __init__(self, yard: Yard, on: date) -> None:
        from fruitwall.service.own_kinds import catalogue_of
        from fruitwall.service.treatments import kinds_of

        self._on, self._kinds, self._catalogue = on, kinds_of(yard), catalogue_of(yard)
        self._known: dict[tuple[object, ...], Tolerance] = {}

    def of(self, tree: Tree, weeks_c: float | None) -> Tolerance:
        """Give what a tree stands after weeks of a mean temperature."""
        from fruitwall.service.treatments import tolerance_of

        key = tree.id, tuple(tree.stages), weeks_c
        if key not in self._known:
            self._known[key] = tolerance_of(tree, self._kinds[tree.id], self._on, weeks_c, self._catalogue)
        return self._known[key]


def _acclimation(stretch: PastWeather, evening: Evening) -> float | None:
    """Give the mean air temperature of the weeks before a night, to half a kelvin; None if too little is known."""
    from fruitwall.service.outlook import ACCLIMATION_AT_LEAST_DAYS, ACCLIMATION_DAYS

    forcing = stretch.forcing
    end = as_datetime64(evening.sunset)
    start = end - np.timedelta64(ACCLIMATION_DAYS * 86400, "s")
    used = forcing.t_air_c[0][(forcing.time_utc >= start) & (forcing.time_utc < end)]
    if used.size < ACCLIMATION_AT_LEAST_DAYS * 24:
        return None
    mean = float(np.clip(used.mean(), -30.0, 40.0))
    return round(mean / ACCLIMATION_STEP_K) * ACCLIMATION_STEP_K


def _air_sd_k(stretch: PastWeather, evening: Evening) -> float:
    """Give what is not known of a night's air: that of its middle hour of the dark. [K]"""
    time = stretch.forcing.time_utc
    dark = (time >= as_datetime64(evening.sunset)) & (time <= as_datetime64(evening.sunrise))
    return float(np.median(stretch.sd_k[dark])) if dark.any() else 0.0


def coldest_hour_c(lived: Lived) -> float:
    """Give the coldest hour of a tree's leaf, of its twig where it has no leaf. [°C]"""
    hour = DURATIONS_H.index(1.0)
    known = [lived.coldest_c[TISSUES.index(name), hour] for name in ("leaf", "twig", "wood")]
    return float(next((one for one in known if np.isfinite(one)), np.nan))


def measure_words(yard: Yard, tree: str, key: str) -> str:
    """Name a measure in the language that is spoken now.

    Parameters
    ----------
    yard : Yard
        As it stands; of gear that it no longer has the key is all that is known.
    tree : str
    key : str
        Of the measure.

    Returns
    -------
    str
    """
    from fruitwall.plans.measures import possible_measures

    its = next((one for one in yard.trees if one.id == tree), None)
    options = possible_measures(with_time(yard), its) if its is not None else []
    return next((one.name for one in options if one.key == key), key)
