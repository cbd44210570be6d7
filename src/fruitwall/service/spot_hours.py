"""The hours of a season at each tree's own spot: what its tissues felt, with what was done and without.

Every part of the season reads the same hours: cold ledger, chill, water, heat, growth. What is over is marched a month
at a time through the yard as it was then (`service.lived` does the same for nights alone); what is to come begins with
the forecast and goes on with the same days of other years (`service.climate`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from hashlib import sha256
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.kept import Kept
from fruitwall.service.spot_march import STEP_MINUTES, Marched, Weather, march_trees
from fruitwall.weather.forcing import HOUR, VARIABLES, as_datetime64

if TYPE_CHECKING:
    from fruitwall.journal.entries import YardVersion
    from fruitwall.learning.spots import Offset
    from fruitwall.service.house import House
    from fruitwall.service.past_weather import PastWeather
    from fruitwall.service.stages import Carried
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

Array = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

SPIN_UP_DAYS = 7
"""Days of weather before the first hour of a month, where they are known: ground, walls and pots find their heat."""

LONGEST_AHEAD = timedelta(days=366)
"""How far ahead hours are given at most."""

COMING_CHUNK_DAYS = 30
"""Coming days that are marched at once."""

COMING_STEP_MINUTES = 60
"""Coarser than what is over: a course of another year is no forecast. [min]"""


@dataclass(frozen=True, eq=False)
class Felt:
    """Temperatures at one tree by the hour, means over the hour that ends at the stamp. [°C]

    Attributes
    ----------
    air_c : ndarray [member, hour]
        Of the air amid its crown.
    leaf_c, twig_c, wood_c, fruit_c, root_c : ndarray [member, hour]
        NaN where the tree has no such part now. The root is that of a pot; in the ground the soil below the surface.
    """

    air_c: Array
    leaf_c: Array
    twig_c: Array
    wood_c: Array
    fruit_c: Array
    root_c: Array


@dataclass(frozen=True, eq=False)
class SpotHours:
    """Hours of one tree.

    Attributes
    ----------
    tree : str
    time_utc : ndarray of datetime64[s], shape (hour,)
        Full hours, evenly spaced, without gaps.
    done : Felt
        With what was done for it in the nights that are over (coming nights: nothing done).
    alone : Felt
        Had nothing been done.
    t_air_c, t_dew_c, wind_m_s, cloud, rain_mm, open_sun_w_m2 : ndarray [member, hour]
        The yard's weather: air and dew point [°C], wind at 2 m above open ground [m/s], cloud [0-1], rain of the hour
        [mm], global sun on level open ground, mean of the hour [W/m²].
    sun_w_m2 : ndarray [member, hour]
        Global sun on a level surface at its crown, in the shade of walls, roofs, canopies.
    wind_here_m_s : ndarray [member, hour]
        Wind at its crown. [m/s]
    known : ndarray of bool [hour]
        Whether the hour's weather is known; all other arrays are NaN where not.
    n_past, n_forecast : int
        The first `n_past` hours are over, the next `n_forecast` from a forecast, the rest from other years' weather.
    """

    tree: str
    time_utc: TimeArray
    done: Felt
    alone: Felt
    t_air_c: Array
    t_dew_c: Array
    wind_m_s: Array
    cloud: Array
    rain_mm: Array
    open_sun_w_m2: Array
    sun_w_m2: Array
    wind_here_m_s: Array
    known: NDArray[np.bool_]
    n_past: int
    n_forecast: int


class Hours(dict[str, SpotHours]):
    """Hours by tree, with a mark that is the same for the same hours: what is made of them may be kept by it."""

    def __init__(self, hours: Mapping[str, SpotHours], *, mark: str) -> None:
        super().__init__(hours)
        self.mark = mark


def mark_of(hours: Mapping[str, SpotHours]) -> str:
    """Give the mark of some hours; empty where there are none."""
    return hours.mark if isinstance(hours, Hours) else ""


# ---------------------------------------------------------------- what is over


def season_hours(house: House, since: datetime, until: datetime | None = None) -> Mapping[str, SpotHours]:
    """Give the hours that are over at every tree of the yard as it stands.

    Parameters
    ----------
    house : House
    since : datetime, aware
    until : datetime, aware, optional
        Now if left out, and at most now.

    Returns
    -------
    Mapping of tree to SpotHours
        One member; hours whose weather is not known, and those before a tree stood in the yard's file, have NaN; the
        former have ``known`` false. Empty without any weather.
    """
    yard, version = house.yard()
    now = house.clock()
    end = min(now, until) if until is not None else now
    first, last = _hour_after(since), as_datetime64(end).astype("datetime64[h]").astype("datetime64[s]")
    if last < first:
        return {}
    key = (version.yard, house.journal.state(), house.journal.weather_state(), str(first), str(last))
    return _SEASONS.of(house.journal, key=key, make=lambda: _season(house, yard, version, first, last))


_SEASONS: Kept[Mapping[str, SpotHours]] = Kept(3)


def _season(
    house: House, yard: Yard, version: YardVersion, first: np.datetime64, last: np.datetime64
) -> Mapping[str, SpotHours]:
    from fruitwall.service.lived import done_by_night, versions_by_day
    from fruitwall.service.past_weather import past_stretches
    from fruitwall.service.spot_offsets import learned_offsets
    from fruitwall.service.stages import stage_log
    from fruitwall.weather.forcing import as_datetime

    stretches = past_stretches(house)
    if not stretches:
        return {}
    pieces: list[Marched | None] = []
    done, offsets = done_by_night(house, version.yard), learned_offsets(house)
    versions = versions_by_day(house, version)
    stages = stage_log(house.journal, version.yard)
    for stretch in stretches:
        forcing = stretch.forcing
        for its, start, stop in _pieces(
            yard, versions, max(first, forcing.time_utc[0]), min(last, forcing.time_utc[-1])
        ):
            carried = stages.carried(_yard_of(its), its, as_datetime(start + (stop - start) // 2))
            pieces.append(_piece(its, stretch, start, stop, done, offsets, carried))
    count = int((last - first) // HOUR) + 1
    return _laid(yard, pieces, first, last, n_past=count, n_forecast=0)


def _pieces(
    yard: Yard, versions: Sequence[YardVersion], first: np.datetime64, last: np.datetime64
) -> Iterator[tuple[YardVersion, np.datetime64, np.datetime64]]:
    """Cut a time at the months, and where the yard's file became another one; hours before the first one have it."""
    if last < first:
        return
    months = np.arange(first.astype("datetime64[M]"), last.astype("datetime64[M]") + 2).astype("datetime64[s]")
    changed = [as_datetime64(one.created).astype("datetime64[h]").astype("datetime64[s]") for one in versions[1:]]
    cuts = np.unique(np.array([first, *months, *changed, last + HOUR], dtype="datetime64[s]"))
    cuts = cuts[(cuts >= first) & (cuts <= last + HOUR)]
    for start, stop in pairwise(cuts):
        then = [one for one in versions if as_datetime64(one.created) <= start + HOUR]
        yield (then[-1] if then else versions[0]), start, stop - HOUR


def _piece(
    version: YardVersion,
    stretch: PastWeather,
    start: np.datetime64,
    stop: np.datetime64,
    done: Mapping[date, frozenset[str]],
    offsets: Mapping[str, Offset],
    carried: Mapping[str, Carried],
) -> Marched | None:
    """March some weeks once for the same weather, the same deeds and what thermometers taught."""
    from fruitwall.weather.forcing import as_datetime

    forcing = stretch.forcing
    begin = max(forcing.time_utc[0], start - np.timedelta64(SPIN_UP_DAYS, "D"))
    if stop - begin < HOUR:
        return None
    part = forcing.select(as_datetime(begin), as_datetime(stop))
    first_day = as_datetime(begin).date() - timedelta(days=1)
    days = [first_day + timedelta(days=at) for at in range((as_datetime(stop).date() - first_day).days + 1)]
    then = {day: done[day] for day in days if done.get(day)}
    return _marched(version, part, start, then, offsets, carried, STEP_MINUTES)


def _marched(
    version: YardVersion,
    part: Forcing,
    start: np.datetime64,
    done: Mapping[date, frozenset[str]],
    offsets: Mapping[str, Offset],
    carried: Mapping[str, Carried],
    step_minutes: int,
) -> Marched | None:
    """March once for the same yard, weather, deeds and offsets, whatever else was entered since."""
    digest = sha256()
    for array in (part.time_utc.astype(np.int64), *(getattr(part, name) for name in VARIABLES)):
        digest.update(np.ascontiguousarray(array).tobytes())
    key = (
        version.sha256,
        digest.hexdigest(),
        (part.latitude_deg, part.longitude_deg, part.elevation_m, part.wind_height_m),
        str(start),
        step_minutes,
        tuple(sorted((tree, tuple(its.stages)) for tree, its in carried.items())),
        tuple((day, tuple(sorted(keys))) for day, keys in sorted(done.items())),
        tuple((name, *(round(each, 2) for each in one.mean)) for name, one in sorted(offsets.items())),
    )

    def make() -> Marched | None:
        marched = march_trees(_yard_of(version), part, start, done, offsets, step_minutes=step_minutes, carried=carried)
        return None if marched is None else replace(marched, mark=sha256(repr(key).encode()).hexdigest())

    return _PIECES.of(key=key, make=make)


_PIECES: Kept[Marched | None] = Kept(40)
"""Months as they were marched: three years and a few changes of the yard's file."""


def _yard_of(version: YardVersion) -> Yard:
    from fruitwall.service.yards import parse_version

    return _YARDS.of(key=version.sha256, make=lambda: parse_version(version))


_YARDS: Kept[Yard] = Kept(8)
"""Yards as they were; the same object each time, so that what was surveyed in it is found again."""


# ---------------------------------------------------------------- what is to come


def coming_hours(house: House, until: datetime) -> Mapping[str, SpotHours]:
    """Give the hours to come at every tree: the forecast, then the same days of other years.

    Parameters
    ----------
    house : House
    until : datetime, aware
        At most a year ahead.

    Returns
    -------
    Mapping of tree to SpotHours
        Members are possible courses; the first hour is the one after now. It ends where the forecast ends if the
        climate of the place is not known (`service.climate`). Empty without a forecast and without a climate.
    """
    yard, version = house.yard()
    now = house.clock()
    end = min(until, now + LONGEST_AHEAD)
    first = as_datetime64(now).astype("datetime64[h]").astype("datetime64[s]") + HOUR
    last = as_datetime64(end).astype("datetime64[h]").astype("datetime64[s]")
    if last < first:
        return {}
    key = (version.yard, house.journal.state(), house.journal.weather_state(), str(first), str(last))
    return _COMING.of(house.journal, key=key, make=lambda: _coming(house, yard, version, first, last))


_COMING: Kept[Mapping[str, SpotHours]] = Kept(2)


def _coming(
    house: House, yard: Yard, version: YardVersion, first: np.datetime64, last: np.datetime64
) -> Mapping[str, SpotHours]:
    from fruitwall.service.coming_weather import coming_weather
    from fruitwall.service.spot_offsets import learned_offsets
    from fruitwall.service.stages import stage_log
    from fruitwall.weather.forcing import as_datetime

    coming = coming_weather(house, as_datetime(last))
    if coming is None:
        return {}
    forcing, forecast_until = coming
    last = min(last, forcing.time_utc[-1])
    if last < first:
        return {}
    pieces: list[Marched | None] = []
    offsets = learned_offsets(house)
    carried = stage_log(house.journal, version.yard).carried(yard, version, house.clock())
    step = np.timedelta64(COMING_CHUNK_DAYS, "D")
    for start in np.arange(first, last + HOUR, step):
        stop = min(start + step - HOUR, last)
        begin = max(forcing.time_utc[0], start - np.timedelta64(SPIN_UP_DAYS, "D"))
        part = forcing.select(as_datetime(begin), as_datetime(stop))
        pieces.append(_marched(version, part, start, {}, offsets, carried, COMING_STEP_MINUTES))
    count = int((last - first) // HOUR) + 1
    n_forecast = int(np.clip((as_datetime64(forecast_until) - first) // HOUR + 1, 0, count))
    return _laid(yard, pieces, first, last, n_past=0, n_forecast=n_forecast)


# ---------------------------------------------------------------- put together


def _laid(
    yard: Yard,
    pieces: Sequence[Marched | None],
    first: np.datetime64,
    last: np.datetime64,
    *,
    n_past: int,
    n_forecast: int,
) -> Mapping[str, SpotHours]:
    """Lay pieces together; the same pieces give the very same hours, so that what was made of them is found again."""
    known = [one for one in pieces if one is not None]
    if not known:
        return {}
    trees = tuple(tree.id for tree in yard.trees)

    mark = sha256(repr([one.mark for one in known]).encode()).hexdigest()

    def make() -> Mapping[str, SpotHours]:
        members = next(iter(known[0].weather.values())).shape[0]
        whole = _Whole(trees, np.arange(first, last + HOUR, HOUR), members=members)
        for piece in known:
            whole.lay(piece)
        return Hours(whole.hours(n_past=n_past, n_forecast=n_forecast), mark=f"{mark} {first} {last} {n_forecast}")

    return _LAID.of(*known, key=(trees, str(first), str(last), n_past, n_forecast), make=make)


_LAID: Kept[Mapping[str, SpotHours]] = Kept(5)


def _hour_after(moment: datetime) -> np.datetime64:
    """Give the first full hour at or after a moment."""
    at = as_datetime64(moment)
    full: np.datetime64 = at.astype("datetime64[h]").astype("datetime64[s]")
    return full if full == at else full + HOUR


class _Whole:
    """All hours of all trees, filled piece by piece."""

    def __init__(self, trees: Sequence[str], time_utc: TimeArray, *, members: int) -> None:
        self._time = time_utc
        shape = members, time_utc.size
        self._weather = {name: np.full(shape, np.nan) for name in Weather.NAMES}
        self._trees = {tree: {name: np.full(shape, np.nan) for name in Marched.NAMES} for tree in trees}
        self._known = np.zeros(time_utc.size, dtype=bool)

    def lay(self, piece: Marched) -> None:
        """Lay a piece where its hours belong; trees that the yard no longer has are passed over."""
        at = int((piece.time_utc[0] - self._time[0]) // HOUR)
        part = slice(at, at + piece.time_utc.size)
        self._known[part] = True
        for name, values in piece.weather.items():
            self._weather[name][:, part] = values
        for tree, its in piece.trees.items():
            if tree in self._trees:
                for name, small in its.items():
                    self._trees[tree][name][:, part] = small

    def hours(self, *, n_past: int, n_forecast: int) -> Mapping[str, SpotHours]:
        """Give what was laid, by tree; empty where nothing was."""
        if not self._known.any():
            return {}
        return {
            tree: SpotHours(
                tree=tree,
                time_utc=self._time,
                done=Felt(*(its[f"done_{name}"] for name in Marched.FELT)),
                alone=Felt(*(its[f"alone_{name}"] for name in Marched.FELT)),
                sun_w_m2=its["sun_w_m2"],
                wind_here_m_s=its["wind_here_m_s"],
                known=self._known,
                n_past=n_past,
                n_forecast=n_forecast,
                **self._weather,
            )
            for tree, its in self._trees.items()
        }
