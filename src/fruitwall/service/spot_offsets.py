"""How much colder or warmer is each tree's spot than physics says? Learned from the thermometers of the yard."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.spots import Offset, SpotReadings, learn_spots, next_logger
from fruitwall.service.forecast_errors import station_sensor
from fruitwall.service.kept import Kept
from fruitwall.service.thermometers import Hours, Read, read_thermometers, tended_nights

if TYPE_CHECKING:
    from fruitwall.physics.spot import Spot
    from fruitwall.service.house import House
    from fruitwall.yard.model import Yard

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

ELSEWHERE = ""
"""Key of a spot of the yard at which nothing was ever read: to where a tree is moved for a night."""

SUN_DOWN_DEG, WALK_DEG = 0.0, 2.0
"""A logger counts while the sun is below the first, what is read by hand on a walk while it is below the second: later
it warms whatever it shines on. Our judgement. [degrees]"""

MOST_OF_NIGHT = 0.7
"""Share of a night's dark hours that a logger must have read for its lowest to count as the night's. Our judgement."""

AT_HAND_SD_K, LOWEST_SD_K = 0.5, 0.3
"""What a thermometer read by hand, and one that keeps the lowest, is less certain than a logger: read at another side
of the crown and a moment too soon; a scale of whole degrees. Our judgement. [K]"""

READ_BY_H = 18.0
"""A thermometer that keeps the lowest tells of the night before, if it is read by so many hours after midnight. [h]"""

NIGHTS_TO_HANG = 10
"""For how many nights the next logger is thought to hang."""


@dataclass(frozen=True)
class NightAtSpot:
    """One night of one thermometer.

    Attributes
    ----------
    sensor, spot : str
    night : date
        Of the evening.
    clear : float
        How clear and calm it was when it was coldest. [0-1]
    read_c, expected_c, extra_sd_k : float
        What was read, what physics gave, and how much less certain it is than a logger's lowest. [°C], [°C], [K]
    """

    sensor: str
    spot: str
    night: date
    clear: float
    read_c: float
    expected_c: float
    extra_sd_k: float


@dataclass(frozen=True, eq=False)
class SpotsTaught:
    """What the thermometers taught.

    Attributes
    ----------
    offsets : Mapping of str to Offset
        By the id of a tree, by the id of a thermometer that hangs free, and `ELSEWHERE`; empty where nothing was read.
    nights : tuple of NightAtSpot
        What it was learned from, oldest first.
    left_out : Mapping of str to int
        By thermometer: nights left out because something was done for the tree.
    """

    offsets: Mapping[str, Offset] = field(default_factory=dict)
    nights: tuple[NightAtSpot, ...] = ()
    left_out: Mapping[str, int] = field(default_factory=dict)


def learned_offsets(house: House) -> Mapping[str, Offset]:
    """Give how far each tree's spot is off what physics says.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    Mapping of tree to Offset
        And of `ELSEWHERE`, for places where a tree stands for a night; empty, at once, where nothing was read.
    """
    return spots_taught(house).offsets


def spots_taught(house: House) -> SpotsTaught:
    """Give what the thermometers taught, and from which nights: those that were over by the last noon."""
    yard, version = house.yard()
    noon = _last_noon(house.clock(), ZoneInfo(yard.location.time_zone))
    reads = read_thermometers(house, until=noon)
    if not reads:
        return SpotsTaught()
    tended = tended_nights(house)
    key = (version.sha256, tuple((tree, tuple(sorted(nights))) for tree, nights in sorted(tended.items())))
    # The thermometer that stands for the yard is the weather itself: it cannot tell how a spot differs from it.
    station = station_sensor(house)
    apart = [one for one in reads if not one.hung.station and one.sensor != station]
    return _TAUGHT.of(reads, key=(*key, station), make=lambda: _taught(yard, apart, tended, noon))


_TAUGHT: Kept[SpotsTaught] = Kept(4)


def _last_noon(now: datetime, zone: ZoneInfo) -> datetime:
    """Give the last noon by the yard's clock: what comes after it belongs to a night that is not over."""
    local = now.astimezone(zone)
    noon = local.replace(hour=12, minute=0, second=0, microsecond=0)
    return (noon if noon <= local else noon - timedelta(days=1)).astimezone(UTC)


def _taught(yard: Yard, reads: Sequence[Read], tended: Mapping[str, frozenset[date]], until: datetime) -> SpotsTaught:
    from fruitwall.service.sensor_checks import as_learned

    nights: list[NightAtSpot] = []
    left_out: dict[str, int] = {}
    for one in reads:
        its = nights_of(as_learned(one, until))
        alone = [night for night in its if night.night not in tended.get(one.hung.tree or "", frozenset())]
        left_out[one.sensor] = len(its) - len(alone)
        nights += alone
    if not nights:
        return SpotsTaught(left_out=left_out)
    spots = [ELSEWHERE, *(tree.id for tree in yard.trees), *(night.spot for night in nights)]
    nights.sort(key=lambda one: (one.night, one.spot, one.sensor))
    return SpotsTaught(learn_spots(spots, table_of(nights)), tuple(nights), left_out)


def table_of(nights: Sequence[NightAtSpot]) -> SpotReadings:
    """Lay nights out for learning."""
    return SpotReadings(
        [one.spot for one in nights],
        [one.night.toordinal() for one in nights],
        [one.clear for one in nights],
        [one.read_c - one.expected_c for one in nights],
        [one.extra_sd_k for one in nights],
    )


def nights_of(read: Read) -> list[NightAtSpot]:
    """Give what one thermometer says of every night.

    Parameters
    ----------
    read : Read

    Returns
    -------
    list of NightAtSpot
        Of a logger the lowest of a night, where it was read through most of it, beside the lowest that physics gives;
        both have their own moment, so that a clock an hour off does no harm. Otherwise what was read, each reading
        beside physics at that moment.
    """
    found = []
    for hours in read.hours:
        inside = (read.time_utc >= hours.time_utc[0]) & (read.time_utc <= hours.time_utc[-1])
        if inside.any():
            time, value = read.time_utc[inside], read.value_c[inside]
            take = _lowest_kept if read.hung.kind == "min_max" else _as_it_went
            found += [
                NightAtSpot(read.sensor, read.hung.spot, _day(night), clear, low, expected, extra)
                for night, clear, low, expected, extra in take(hours, time, value)
            ]
    return found


def _day(number: int) -> date:
    return date(1970, 1, 1) + timedelta(days=number)


_Told = list[tuple[int, float, float, float, float]]


def _as_it_went(hours: Hours, time: NDArray[np.datetime64], value: Array) -> _Told:
    """Nights of what was read moment by moment."""
    at = (time - hours.time_utc[0]) / np.timedelta64(3600, "s")
    axis = np.arange(hours.time_utc.size, dtype=np.float64)
    elevation = np.interp(at, axis, hours.elevation_deg)
    low_sun = elevation < WALK_DEG
    nearest = np.rint(at).astype(np.int64)
    dark_hours = hours.elevation_deg < SUN_DOWN_DEG
    found: _Told = []
    for night in np.unique(hours.night[nearest[low_sun]]):
        its = np.flatnonzero(dark_hours & (hours.night == night))
        used = np.flatnonzero(low_sun & (hours.night[nearest] == night))
        dark = used[elevation[used] < SUN_DOWN_DEG]
        read_hours = np.unique(nearest[dark])
        if its.size and read_hours.size >= MOST_OF_NIGHT * its.size:
            coldest = its[np.argmin(hours.air_c[its])]
            found.append(
                (int(night), float(hours.clear[coldest]), _lowest_hour(nearest[dark], value[dark]),
                 float(hours.air_c[coldest]), 0.0)
            )  # fmt: skip
        else:
            expected, clear = (np.interp(at[used], axis, row) for row in (hours.air_c, hours.clear))
            found.append(
                (int(night), float(clear.mean()), float(value[used].mean()), float(expected.mean()),
                 AT_HAND_SD_K)
            )  # fmt: skip
    return found


def _lowest_hour(hour: NDArray[np.int64], value: Array) -> float:
    """Give the lowest hourly mean: physics has hours, and a logger of minutes dips below them."""
    _, where = np.unique(hour, return_inverse=True)
    return float((np.bincount(where, value) / np.bincount(where)).min())


def _lowest_kept(hours: Hours, time: NDArray[np.datetime64], value: Array) -> _Told:
    """Nights of a thermometer that keeps the lowest, read once a day."""
    found: _Told = []
    before = hours.time_utc[0] - np.timedelta64(24, "h")
    for moment, lowest in zip(time, value, strict=True):
        since = max(before, moment - np.timedelta64(24, "h"))
        before = moment
        window = np.flatnonzero((hours.time_utc > since) & (hours.time_utc <= moment))
        dark = window[hours.elevation_deg[window] < SUN_DOWN_DEG]
        if not dark.size:
            continue
        # Read in the evening, it holds the end of one night or the begin of the next as well.
        nights, its = np.unique(hours.night[dark], return_counts=True)
        night = nights[np.argmax(its)]
        of_night = hours.night == night
        whole = int((of_night & (hours.elevation_deg < SUN_DOWN_DEG)).sum())
        late = moment - hours.time_utc[of_night][0] > np.timedelta64(int((12.0 + READ_BY_H) * 3600), "s")
        if its.max() < MOST_OF_NIGHT * whole or late:
            continue
        coldest = window[np.argmin(hours.air_c[window])]
        found.append((int(night), float(hours.clear[coldest]), float(lowest), float(hours.air_c[coldest]), LOWEST_SD_K))
    return found


# ---------------------------------------------------------------- into physics, and where to hang the next one


def with_offset(spot: Spot, offset: Offset | None) -> Spot:
    """Give a spot with what thermometers taught of it."""
    if offset is None:
        return spot
    always, clear = offset.mean
    return replace(spot, learned_k=float(np.clip(always, -10.0, 10.0)), learned_clear_k=float(np.clip(clear, -10, 10)))


def with_offsets(spots: Sequence[Spot], offsets: Mapping[str, Offset]) -> list[Spot]:
    """Give the spots of trees, named by the trees' ids, with what thermometers taught of them."""
    return [with_offset(spot, offsets.get(spot.id)) for spot in spots]


@dataclass(frozen=True)
class NextLogger:
    """A place for the next thermometer.

    Attributes
    ----------
    tree : str
    share : float
        Of what is not known of clear nights, weighed by the worth of the trees, that it would take away. [0-1]
    sd_before_k, sd_after_k : float
        What is not known of a clear night at this tree now and after ten nights. [K]
    """

    tree: str
    share: float
    sd_before_k: float
    sd_after_k: float


def where_next(house: House) -> list[NextLogger]:
    """Tell at which trees a thermometer would teach most.

    Parameters
    ----------
    house : House

    Returns
    -------
    list of NextLogger
        Best first; trees at which one hangs already are among them, with the little that more nights would bring.
    """
    yard, _ = house.yard()
    nights = spots_taught(house).nights
    readings = table_of(nights)
    spots = sorted({tree.id for tree in yard.trees} | set(readings.spot))
    weight = {tree.id: max(tree.worth + tree.crop_worth, 0.0) for tree in yard.trees}
    known = learn_spots(spots, readings)
    sd = {name: known[name].at(1.0)[1] for name in weight}
    total = sum(weight[name] * sd[name] ** 2 for name in weight)
    if total <= 0.0:
        return []
    ranked = next_logger(spots, readings, weight=weight, nights=NIGHTS_TO_HANG)
    alone = {
        name: dict(next_logger(spots, readings, weight={name: 1.0}, nights=NIGHTS_TO_HANG))[name]
        for name, _ in ranked[:3]
        if name in weight
    }
    return [
        NextLogger(name, gain / total, sd[name], float(np.sqrt(max(sd[name] ** 2 - alone.get(name, 0.0), 0.0))))
        for name, gain in ranked
        if name in weight
    ]
