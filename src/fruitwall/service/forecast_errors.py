"""How wrong forecasts are here: every kept forecast of a night beside what the yard's thermometer read in it.

What is learned enters the plan as a shift and a spread of each night's members (`with_learned`). Without readings, or
when all is withdrawn, everything is as published.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import FruitwallError, JournalError
from fruitwall.learning.forecasts import LEADS, ForecastErrors, learn_errors
from fruitwall.physics.cooling import cooling_strength
from fruitwall.service.evening_document import Spread
from fruitwall.service.kept import Kept
from fruitwall.service.nights import Evening, evening_of, full_hour, tonight
from fruitwall.service.past_weather import STATION
from fruitwall.weather.dressing import NightError, learned, prior
from fruitwall.weather.forcing import HOUR, VARIABLES, Forcing, as_datetime64
from fruitwall.weather.wind import wind_at_height

if TYPE_CHECKING:
    from fruitwall.journal.entries import Reading
    from fruitwall.service.house import House
    from fruitwall.yard.model import Location, Yard

Array = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

NIGHTS_KEPT = 300
"""Newest nights that are learned from: two winters. Our judgement: services change their models, so that what was said
years ago tells little of tonight."""

BACK = timedelta(days=3 * 366)
"""How far back readings are looked for."""

LATE = timedelta(hours=2)
"""A forecast counts as that of an evening if it was fetched no later than this after sunset. Our judgement: what is
fetched in the night is for the hours left, not for the plan."""

BEFORE_SUNRISE = timedelta(hours=3)
"""A night's lowest reading is believed if the thermometer was still read within this of sunrise: a logger that stopped
at midnight has not seen the coldest hour. Our judgement."""

AT_SUNRISE = timedelta(hours=1)
"""The same for a thermometer that shows only the moment. Our judgement."""

FAR_K, NEVER_K = 8.0, 15.0
"""An error so far from the middle of the others, and one so large by itself, is a slip and not weather: °F taken for °C
is 25 K off and more near freezing. Our judgement; of 42,000 errors in bench/data/nws_city_lows 8 are above 8 K. [K]"""

MIDDLE_OF = 5
"""Nights from which on errors are held against their own middle: a hollow may well be some kelvin off always."""

LEAST_SD_K = 0.5
"""Spread of a night's minimum that is taken where a source's ensemble is narrower: no thermometer of a yard agrees with
a weather model's cell more closely. Our judgement. [K]"""

STORM_M_S, DRIEST_C = 100.0, -90.0
"""Wind and dew point beyond which nothing changes in how clear and calm a night is. [m/s], [°C]"""

LOW_SD = 2.5631
"""Tenth to ninetieth percentile of a normal distribution, in standard deviations."""


@dataclass(frozen=True)
class Issued:
    """What one forecast said of one night.

    Attributes
    ----------
    night : date
        Of its evening.
    lead : int
        Nights ahead; 0 where the forecast is of that very evening.
    minimum_c : float
        Lowest air temperature of the middle of its members. [°C]
    sd_k : float
        Spread of that before anything was learned. [K]
    clear : float
        How clear and calm the night's dark hours are said to be, 0 to 1; 0.5 where that is not known.
    """

    night: date
    lead: int
    minimum_c: float
    sd_k: float
    clear: float


@dataclass(frozen=True)
class Held:
    """What was said of a night, and what was read in it.

    Attributes
    ----------
    said : Issued
    read_c : float
        Lowest reading. [°C]
    """

    said: Issued
    read_c: float

    @property
    def error_k(self) -> float:
        """Read minus said: below zero where it was colder than forecast. [K]"""
        return self.read_c - self.said.minimum_c


@dataclass(frozen=True)
class Station:
    """A thermometer that may stand for the yard.

    Attributes
    ----------
    sensor : str
        As its readings are named.
    nights : int
        Nights in which it can be held against a forecast.
    at_tree : bool
        Whether it hangs in a tree or is named after one: it then tells of that spot, not of the yard.
    """

    sensor: str
    nights: int
    at_tree: bool


@dataclass(frozen=True, eq=False)
class Evidence:
    """What forecast errors are learned from.

    Attributes
    ----------
    sensor : str
        Empty where no thermometer stands for the yard.
    chosen : bool
        Whether somebody chose it; else it is the one of most nights.
    stations : tuple of Station
        All that could be chosen, most nights first.
    held : tuple of Held
        By night, and of one night by lead time.
    left_out : tuple of Held
        Too far off to be weather; of the shortest lead time of each night.
    """

    sensor: str = ""
    chosen: bool = False
    stations: tuple[Station, ...] = ()
    held: tuple[Held, ...] = ()
    left_out: tuple[Held, ...] = ()


def learned_errors(house: House) -> ForecastErrors:
    """Learn how wrong forecasts are here.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    ForecastErrors
        The prior itself (`pairs` 0) without readings that can be held against forecasts.
    """
    evidence = evidence_of(house)
    return _LEARNED.of(evidence, make=lambda: learn_errors(**pairs_of(evidence.held)))


_LEARNED: Kept[ForecastErrors] = Kept(8)


def pairs_of(held: Sequence[Held]) -> dict[str, Array]:
    """Give pairs as `learning.forecasts` takes them."""
    return {
        "forecast_c": np.array([one.said.minimum_c for one in held]),
        "observed_c": np.array([one.read_c for one in held]),
        "prior_sd_k": np.array([one.said.sd_k for one in held]),
        "clear": np.array([one.said.clear for one in held]),
        "night": np.array([float(one.said.night.toordinal()) for one in held]),
        "lead": np.array([float(one.said.lead) for one in held]),
    }


def evidence_of(house: House) -> Evidence:
    """Gather what forecast errors are learned from.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    Evidence
        The same one as long as nothing of it changed.
    """
    yard, version = house.yard()
    journal = house.journal
    this = tonight(yard.location, house.clock())
    key = (version.sha256, version.yard, journal.state(), journal.weather_state(), this)
    return _EVIDENCE.of(journal, key=key, make=lambda: _gather(house, yard, version.yard, this))


_EVIDENCE: Kept[Evidence] = Kept(8)


def station_sensor(house: House) -> str:
    """Give the thermometer that stands for the yard: chosen, else the one of most nights; empty for none."""
    return evidence_of(house).sensor


def _gather(house: House, yard: Yard, name: str, this: date) -> Evidence:
    read = house.ledger.readings(since=house.clock() - BACK, until=house.clock(), quantity="air_temperature_c")
    if not read:
        return Evidence()  # forecasts are only read where they can be held against something
    first = (read[0].at - timedelta(days=LEADS)).date()
    said = [one for one in _all_issued(house, yard.location, name, first, this) if one.night < this]
    lows = _lows(house, yard, read, sorted({one.night for one in said}))
    at_tree = _at_trees(yard)
    stations = sorted(
        (Station(sensor, len(of), sensor.casefold() in at_tree) for sensor, of in lows.items()),
        key=lambda one: (one.at_tree, -one.nights, one.sensor),
    )
    sensor, chosen = _station_of(house, yard, stations)
    held = [Held(one, lows[sensor][one.night]) for one in said if one.night in lows.get(sensor, {})]
    held.sort(key=lambda one: (one.said.night, one.said.lead))
    good = _believed(held)
    out = {one.said.night: one for one in reversed(held) if one not in good}
    return Evidence(sensor, chosen, tuple(stations), tuple(good), tuple(out[night] for night in sorted(out)))


def _station_of(house: House, yard: Yard, stations: Sequence[Station]) -> tuple[str, bool]:
    """Give the thermometer that stands for the yard, and whether somebody said so."""
    setting = house.ledger.setting(STATION)
    if isinstance(setting, str) and setting:
        return setting, True
    named = {name.casefold() for one in yard.sensors if one.station for name in (one.id, one.name)}
    for one in stations:
        if one.sensor.casefold() in named:
            return one.sensor, True
    return next((one.sensor for one in stations if not one.at_tree), ""), False


def _at_trees(yard: Yard) -> set[str]:
    """Give the names, in small letters, under which readings tell of a tree's spot."""
    trees = {name.casefold() for tree in yard.trees for name in (tree.id, tree.name)}
    return trees | {name.casefold() for one in yard.sensors if one.tree for name in (one.id, one.name)}


def _believed(held: Sequence[Held]) -> list[Held]:
    """Leave out what cannot be weather."""
    possible = [one for one in held if abs(one.error_k) <= NEVER_K]
    nights = {one.said.night for one in possible}
    middle = float(np.median([one.error_k for one in possible])) if len(nights) >= MIDDLE_OF else 0.0
    return [one for one in possible if abs(one.error_k - middle) <= FAR_K]


# ---------------------------------------------------------------- what was read


def _lows(
    house: House, yard: Yard, read: Sequence[Reading], nights: Sequence[date]
) -> Mapping[str, Mapping[date, float]]:
    """Give the lowest reading of each thermometer in each night in which it was read to the end, mended as was said."""
    from fruitwall.service.thermometers import mended, mends_of

    evenings = [one for night in nights if (one := _evening(yard.location, night)) is not None]
    kinds = {name.casefold(): one.kind for one in yard.sensors for name in (one.id, one.name)}
    mends = mends_of(house)
    of_sensor: dict[str, list[Reading]] = defaultdict(list)
    for reading in read:
        of_sensor[reading.sensor].append(reading)
    found: dict[str, dict[date, float]] = {}
    for sensor, its in of_sensor.items():
        came = np.array([as_datetime64(one.at) for one in its], dtype="datetime64[s]")
        at, values, stay, _ = mended(sensor, came, np.array([one.value for one in its]), mends)
        order = np.argsort(at[stay], kind="stable")
        at, values = at[stay][order], values[stay][order]
        kind = kinds.get(sensor.casefold(), "")
        lows = {evening.night.name: _low(evening, at, values, kind) for evening in evenings}
        found[sensor] = {night: low for night, low in lows.items() if low is not None}
    return {sensor: lows for sensor, lows in found.items() if lows}


def _low(evening: Evening, at: TimeArray, values: Array, kind: str) -> float | None:
    """Give the lowest reading of one night, at times that rise; None if the coldest hours are not known."""
    begin, end, late = evening.sunset, evening.uncover, evening.sunrise - BEFORE_SUNRISE
    if kind == "min_max":  # it is read once a day and has kept the lowest; in the evening that of the night before
        begin, end = late, evening.night.end_utc
    elif kind == "hand":
        begin, end, late = evening.sunrise - AT_SUNRISE, evening.sunrise + AT_SUNRISE, evening.sunrise - AT_SUNRISE
    first = int(np.searchsorted(at, as_datetime64(begin), "left"))
    stop = int(np.searchsorted(at, as_datetime64(end), "right"))
    if stop <= first or at[stop - 1] < as_datetime64(late):
        return None
    return float(values[first:stop].min())


# ---------------------------------------------------------------- what was said


def _all_issued(house: House, location: Location, name: str, first: date, this: date) -> list[Issued]:
    """Give what was said of nights at every lead time, by the forecasts that were kept, else by the plans.

    The evenings on which it was said are from `first` to `this`, and no more than the newest ones.
    """
    kept = _of_forecasts(house, location, name, first, this)
    known = {(one.night, one.lead) for one in kept}
    planned = _of_plans(house, location, name, first, this)
    return [*kept, *(one for one in planned if (one.night, one.lead) not in known)]


def _of_forecasts(house: House, location: Location, name: str, first: date, this: date) -> list[Issued]:
    from fruitwall.journal.forcing_file import MEDIA_TYPE
    from fruitwall.journal.listing import forecasts_kept

    newest: dict[date, tuple[datetime, int]] = {}
    for one in forecasts_kept(house.journal, media_type=MEDIA_TYPE, yard=name):
        made = max(one.issued, one.fetched)
        if not first <= made.date() <= this + timedelta(days=1):
            continue
        day = _evening_for(location, made)
        if day is not None and first <= day <= this:
            newest[day] = max(newest.get(day, (made, one.id)), (made, one.id))
    found: list[Issued] = []
    for day, (made, number) in sorted(newest.items())[-NIGHTS_KEPT:]:
        found += _read(house, location, day, made, number)
    return found


_ISSUED: Kept[tuple[Issued, ...]] = Kept(1200)
"""What forecasts said of their nights, one forecast for each day of three years."""


def _evening_for(location: Location, made: datetime) -> date | None:
    """Give the evening for which a forecast of some moment was the newest."""
    from zoneinfo import ZoneInfo

    day = made.astimezone(ZoneInfo(location.time_zone)).date()
    evening = _evening(location, day)
    return None if evening is None else day if made <= evening.sunset + LATE else day + timedelta(days=1)


def _evening(location: Location, day: date) -> Evening | None:
    """Give a night; None where the sun does not set."""
    try:
        return evening_of(location, day)
    except FruitwallError:
        return None


def _read(house: House, location: Location, day: date, made: datetime, number: int) -> tuple[Issued, ...]:
    """Read a kept forecast: the nights that it covers from that evening on."""
    key = (number, day, location.model_dump_json())
    return _ISSUED.of(house.journal, key=key, make=lambda: _read_anew(house, location, day, made, number))


def _read_anew(house: House, location: Location, day: date, made: datetime, number: int) -> tuple[Issued, ...]:
    from fruitwall.journal.forcing_file import unpack_forcing

    try:
        forcing = unpack_forcing(house.journal.forecast(number).body)
    except (JournalError, ValueError):
        return ()
    evenings = [_evening(location, day + timedelta(days=ahead)) for ahead in range(LEADS)]
    issued = min(forcing.issued_utc, made)
    found = []
    for ahead, evening in enumerate(evenings):
        window = None if evening is None else _window(forcing, evening, made)
        if evening is not None and window is not None:
            minimum, sd, clear = _night_of(forcing, window)
            if sd is None:
                lead_h = (forcing.time_utc[window][np.argmin(minimum)] - as_datetime64(issued)) / HOUR
                sd = float(prior().air_sd_k(lead_h))
            found.append(Issued(evening.night.name, ahead, float(minimum.min()), max(sd, LEAST_SD_K), clear))
    return tuple(found)


def _window(forcing: Forcing, evening: Evening, made: datetime) -> slice | None:
    """Give the hours of a night that a forecast foretold, to the morning; None if it does not reach over it."""
    begin = full_hour(max(evening.sunset, made))
    first, stop = (int(np.searchsorted(forcing.time_utc, as_datetime64(one))) for one in (begin, evening.uncover))
    whole = forcing.start_utc <= evening.sunset + LATE + timedelta(hours=1) and forcing.end_utc >= evening.uncover
    return slice(first, stop) if whole and first >= forcing.n_history and stop - first >= 2 else None


def _night_of(forcing: Forcing, window: slice) -> tuple[Array, float | None, float]:
    """Give the middle air of a night hour by hour, the spread of its minimum, and how clear and calm it is."""
    whole = {name: getattr(forcing, name)[:, window] for name in VARIABLES}
    middle = {name: its[0] if forcing.n_members == 1 else np.median(its, axis=0) for name, its in whole.items()}
    sd = None
    if forcing.n_members > 1:
        low, high = np.percentile(forcing.t_air_c[:, window].min(axis=1), (10, 90))
        sd = float(high - low) / LOW_SD
    return middle["t_air_c"], sd, clearness(middle, forcing.wind_height_m)


def clearness(middle: Mapping[str, Array], wind_height_m: float) -> float:
    """Give how clear and calm a night is.

    Parameters
    ----------
    middle : mapping of str to ndarray [hour]
        Air, dew point, wind, cloud and sun of its hours, named as in `Forcing`.
    wind_height_m : float

    Returns
    -------
    float
        Mean strength of radiative cooling over the dark hours (`physics.cooling`), 0 to 1.
    """
    dark = middle["shortwave_w_m2"] <= 0.0
    use = dark if dark.any() else np.ones_like(dark)
    wind = np.minimum(middle["wind_m_s"] * wind_at_height(1.0, wind_height_m, 10.0), STORM_M_S)
    air, dew = middle["t_air_c"], np.clip(middle["t_dew_c"], DRIEST_C, middle["t_air_c"])
    return float(cooling_strength(air[use], dew[use], wind[use], middle["cloud"][use]).mean())


def _of_plans(house: House, location: Location, name: str, first: date, this: date) -> list[Issued]:
    """Give what stored plans hold of forecasts that were not kept, such as those of a file."""
    from fruitwall.journal.listing import plans_made

    last: dict[date, int] = {}
    for plan in plans_made(house.journal, since=first, until=this + timedelta(days=1), yard=name):
        evening = _evening(location, plan.night)
        if evening is not None and plan.made <= evening.sunset + LATE:
            last[plan.night] = plan.id
    found: list[Issued] = []
    for number in list(last.values())[-NIGHTS_KEPT:]:
        found += _planned(house, number)
    return found


_PLANNED: Kept[tuple[Issued, ...]] = Kept(1200)


def _planned(house: House, number: int) -> tuple[Issued, ...]:
    """Read what a plan was made from."""
    return _PLANNED.of(house.journal, key=number, make=lambda: _planned_anew(house, number))


def _planned_anew(house: House, number: int) -> tuple[Issued, ...]:
    from pydantic import ValidationError
    from pydantic_core import from_json

    from fruitwall.service.evening_document import ForecastSummary

    stored = house.journal.plan(number)
    try:
        forecast = ForecastSummary.model_validate(from_json(stored.document)["forecast"])
    except (ValueError, KeyError, TypeError, ValidationError):
        return ()
    minima = forecast.as_issued_c or [forecast.station_minimum_c, *forecast.following_minima_c]
    said = {
        "t_air_c": forecast.station_minimum_c.p50,
        "t_dew_c": forecast.dew_point_c.p50,
        "wind_m_s": forecast.wind_m_s.p50,
        "cloud": forecast.cloud.p50,
        "shortwave_w_m2": 0.0,
    }
    try:
        tonight_clear = clearness({name: np.array([value]) for name, value in said.items()}, 10.0)
    except ValueError:
        return ()
    return tuple(
        Issued(
            stored.night + timedelta(days=ahead),
            ahead,
            one.p50,
            max((one.p90 - one.p10) / LOW_SD, LEAST_SD_K),
            tonight_clear if ahead == 0 else 0.5,
        )
        for ahead, one in enumerate(minima[:LEADS])
        if np.isfinite([one.p10, one.p50, one.p90, tonight_clear]).all()
    )


# ---------------------------------------------------------------- into the plan


def with_learned(
    forcing: Forcing, evenings: Sequence[Evening], errors: ForecastErrors | None, *, now: datetime
) -> tuple[Forcing, list[Spread]]:
    """Apply what was learned to the weather of a plan.

    Parameters
    ----------
    forcing : Forcing
        An ensemble, dressed or the source's own, or one member.
    evenings : sequence of Evening
        The nights that are planned, tonight first.
    errors : ForecastErrors or None
    now : datetime, aware

    Returns
    -------
    forcing : Forcing
        The same object where nothing was learned.
    as_issued_c : list of Spread
        Lowest air temperature of each night before that; empty where nothing was learned. [°C]
    """
    from fruitwall.service.station import station_nights

    if errors is None or errors.pairs == 0:
        return forcing, []
    told = [one.minimum_c for one in station_nights(forcing, evenings)]
    nights = []
    for ahead, (evening, minimum) in enumerate(zip(evenings, told, strict=True)):
        if evening.sunrise <= now:
            continue  # what is left of this night is past its coldest hour
        hours = slice(
            *np.searchsorted(
                forcing.time_utc, [as_datetime64(full_hour(max(evening.sunset, now))), as_datetime64(evening.uncover)]
            )
        )
        spread_k = (minimum.p90 - minimum.p10) / LOW_SD
        sd_k = max(spread_k, LEAST_SD_K)
        shift, factor = errors.shift_and_factor(_night_of(forcing, hours)[2], sd_k, ahead)
        # A narrow ensemble of the source's own is first taken as wide as it is believed to be.
        wider = float(factor) * sd_k / spread_k if spread_k > 0.0 else 1.0
        nights.append(NightError(evening.sunrise, float(shift), wider))
    return learned(forcing, nights, now=now), told
