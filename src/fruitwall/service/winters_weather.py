"""Which winters "what if" is asked of: those of the yard's climate, as the user wants them weighted and warmed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import FruitwallError
from fruitwall.service.kept import Kept
from fruitwall.service.winters_choice import moved, shifts, weighted
from fruitwall.speech import told
from fruitwall.weather.forcing import HOUR, VARIABLES, as_datetime64

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fruitwall.physics.treatment import Night
    from fruitwall.service.house import House
    from fruitwall.weather.climate import Climate
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Location

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

FIRST_EVENING, LAST_EVENING = {True: (10, 15), False: (4, 15)}, {True: (4, 15), False: (10, 14)}
"""First and last evening of the season north (True) and south of the equator: half a year round the coldest month. What
frost comes before or after is left out. Our judgement. [month, day]"""

BEFORE_DAYS = 10
"""Days before the first night in which ground and walls find their temperature, as `physics.winters`. [d]"""

KNOWN_SHARE = 0.75
"""Winters of which less is known are left out: November to March alone is 83 %. Our judgement. [-]"""


@dataclass(frozen=True)
class WeatherChoice:
    """How the user wants the winters taken.

    Attributes
    ----------
    warmer_k : float
        Added to all temperatures. [K]
    weighting : str
        ``equal``; ``recent``: weights fall by half in so many years.
    trend_taken_out : bool
        Whether every winter is first moved to the level of today by the trend of the record.
    most : int
        Newest winters taken at most.
    half_life_years : float
        With ``recent``: after so many years a winter counts for half. Our judgement. [years]
    """

    warmer_k: float = 0.0
    weighting: Literal["equal", "recent"] = "equal"
    trend_taken_out: bool = False
    most: int = 60
    half_life_years: float = 15.0


@dataclass(frozen=True, eq=False)
class WinterWeather:
    """Winters ready to be replayed.

    Attributes
    ----------
    winters : tuple of Forcing
        One member each, at the yard's place, oldest first; each holds all hours from ten days before the first night to
        the end of the last. Hours that are not known are those of the nearest known day.
    names : tuple of str
        Such as ``1989/90``.
    weights : ndarray, shape (winter,)
        Sum to one.
    nights : tuple of Night
        Of the calendar's season.
    known : ndarray of bool, shape (winter, night)
        Nights all of whose hours are known; the others count for nothing.
    source : str
    notes : tuple of str
        For the user.
    mark : str
        The same for the same hours, weights and nights.
    """

    winters: tuple[Forcing, ...]
    names: tuple[str, ...]
    weights: FloatArray
    nights: tuple[Night, ...]
    known: BoolArray
    source: str
    notes: tuple[str, ...]
    mark: str


AS_THEY_WERE = WeatherChoice()


def winter_weather(house: House, choice: WeatherChoice = AS_THEY_WERE) -> WinterWeather | None:
    """Give the winters of a yard's climate.

    Parameters
    ----------
    house : House
    choice : WeatherChoice

    Returns
    -------
    WinterWeather or None
        None where no whole winter is known.
    """
    from fruitwall.service.climate import climate_of

    climate = climate_of(house)
    if climate is None:
        return None
    yard, _ = house.yard()
    return _WEATHER.of(climate, key=(yard.location, choice), make=lambda: winters_from(climate, yard.location, choice))


_WEATHER: Kept[WinterWeather | None] = Kept(4)


def winters_from(climate: Climate, location: Location, choice: WeatherChoice = AS_THEY_WERE) -> WinterWeather | None:
    """Give the winters of a climate on the calendar of one season.

    Parameters
    ----------
    climate : Climate
    location : Location
        Of the yard.
    choice : WeatherChoice

    Returns
    -------
    WinterWeather or None
        None where no winter is known by `KNOWN_SHARE`, or the place has no nights.

    Notes
    -----
    All winters are laid on the calendar of the middle one, counted in hours from its first, as `physics.winters` does.
    """
    from fruitwall.weather.demo_climate import TYPICAL

    north = location.latitude_deg >= 0
    seasons = [(_season_of(year, north), year) for year in climate.years]
    found = [(autumn, year) for autumn, year in seasons if _share(year, autumn, north) >= KNOWN_SHARE]
    found = sorted(found, key=lambda one: one[0])[-choice.most :]
    nights = _nights(location, found[len(found) // 2][0], north) if found else ()
    if not nights:
        return None
    laid = [_laid(year, autumn, nights, location, north) for autumn, year in found]
    autumns, real = [autumn for autumn, _ in found], [year.source != TYPICAL for _, year in found]
    moved_k, told_of_it = shifts(climate, autumns, real, choice)
    winters = tuple(moved(one, float(by_k)) for (one, _), by_k in zip(laid, moved_k, strict=True))
    known = np.stack([its for _, its in laid])
    notes = [*climate.notes, *told_of_it]
    if not known.all():
        notes.append(
            told("{count} nights at the ends of winters are not known and count for nothing", count=int((~known).sum()))
        )
    names = _names(autumns, north)
    weights = weighted(autumns, real, choice)
    return WinterWeather(
        winters, names, weights, nights, known, climate.source, tuple(notes), _mark(winters, weights, known, nights)
    )


def _names(autumns: Sequence[int], north: bool) -> tuple[str, ...]:
    """Name winters; typical years of several stations may bear the same nominal year, so they are lettered."""
    plain = [f"{autumn}/{(autumn + 1) % 100:02d}" if north else str(autumn) for autumn in autumns]
    seen = {name: iter("abcdefghijklmnopqrstuvwxyz") for name in plain if plain.count(name) > 1}
    return tuple(f"{name} {next(seen[name], '?')}" if name in seen else name for name in plain)


def first_evening(name: str, *, north: bool) -> np.datetime64:
    """Give the first evening of a winter's season by its name; after a leap day evenings are a day later than so."""
    return np.datetime64(_evening(int(name[:4]), FIRST_EVENING[north], after_new_year=False), "D")


def _evening(autumn: int, when: tuple[int, int], *, after_new_year: bool) -> date:
    return date(autumn + after_new_year, *when)


def _span(autumn: int, north: bool) -> tuple[np.datetime64, np.datetime64]:
    """Give the first and last day of a winter's season, evenings in the yard's own calendar."""
    first = _evening(autumn, FIRST_EVENING[north], after_new_year=False)
    last = _evening(autumn, LAST_EVENING[north], after_new_year=north)
    return np.datetime64(first, "s"), np.datetime64(last, "s") + np.timedelta64(36, "h")


def _season_of(year: Forcing, north: bool) -> int:
    """Give the calendar year in which the winter of a year cut at midsummer begins."""
    middle = year.time_utc[0] + (year.time_utc[-1] - year.time_utc[0]) // 2
    # In the north a piece lies about the turn of the year, in the south within one.
    back = np.timedelta64(183, "D") if north else np.timedelta64(0, "D")
    return int((middle - back).astype("datetime64[Y]").astype(int)) + 1970


def _share(year: Forcing, autumn: int, north: bool) -> float:
    """Give how much of a winter's season a year has. [0-1]"""
    first, last = _span(autumn, north)
    hours = int((last - first) // HOUR)
    return float(((year.time_utc >= first) & (year.time_utc < last)).sum()) / hours


@lru_cache(maxsize=8)  # where the sun stands on half a year of evenings takes most of a second
def _nights(location: Location, autumn: int, north: bool) -> tuple[Night, ...]:
    """Give the nights of the season; where the sun does not rise or set on one of them there are none."""
    from fruitwall.service.nights import evening_of

    day, last = (
        _evening(autumn, FIRST_EVENING[north], after_new_year=False),
        _evening(autumn, LAST_EVENING[north], after_new_year=north),
    )
    found = []
    while day <= last:
        try:
            found.append(evening_of(location, day).night)
        except FruitwallError:
            return ()  # what is left would not begin where winters are laid
        day += timedelta(days=1)
    return tuple(found)


def _laid(
    year: Forcing, autumn: int, nights: Sequence[Night], location: Location, north: bool
) -> tuple[Forcing, BoolArray]:
    """Give one winter with every hour of its season under its own stamps, and which of its nights are known."""
    first_evening = _evening(autumn, FIRST_EVENING[north], after_new_year=False)
    shift = np.timedelta64((first_evening - nights[0].name).days, "D")
    begin = as_datetime64(nights[0].start_utc).astype("datetime64[h]").astype("datetime64[s]")
    begin = begin + shift - 24 * BEFORE_DAYS * HOUR
    end = as_datetime64(nights[-1].end_utc) + shift
    time = begin + HOUR * np.arange(int((end - begin) // HOUR) + 2)
    stamps = year.time_utc.astype("datetime64[h]").astype("datetime64[s]")  # some zones are half an hour off
    at = ((time - stamps[0]) // HOUR).astype(np.int64)
    there = (at >= 0) & (at < year.n_times)
    # Before what is known its first day again and again, after it the last.
    at = np.where(at < 0, at % 24, at)
    over = at >= year.n_times
    at = np.where(over, year.n_times - 24 + (at - year.n_times) % 24, at)
    arrays: dict[str, Any] = {name: getattr(year, name)[:, at] for name in VARIABLES}
    known = np.array([bool(there[_within(time, night, shift)].all()) for night in nights])
    laid = replace(
        year,
        time_utc=time,
        **arrays,
        latitude_deg=location.latitude_deg,
        longitude_deg=location.longitude_deg,
        elevation_m=location.elevation_m,
        n_history=0,
        warnings=(),
    )
    return laid, known


def _within(time: NDArray[np.datetime64], night: Night, shift: np.timedelta64) -> BoolArray:
    """Tell which hours touch a night that lies a shift away."""
    start, end = as_datetime64(night.start_utc) + shift, as_datetime64(night.end_utc) + shift
    return (time > start - HOUR) & (time <= end)


def _mark(winters: Sequence[Forcing], weights: FloatArray, known: BoolArray, nights: Sequence[Night]) -> str:
    """Give the same text for the same weather."""
    digest = sha256(repr((weights.tolist(), known.tolist(), [repr(night) for night in nights])).encode())
    for winter in winters:
        digest.update(repr((winter.time_utc[0], winter.n_times, winter.wind_height_m)).encode())
        for name in VARIABLES:
            digest.update(np.ascontiguousarray(getattr(winter, name)).tobytes())
    return digest.hexdigest()
