"""The weather that was: put together from every forecast that the journal kept, and from the yard's own thermometer.

For each hour the newest word holds: what a source later gave as past weather, else the forecast made last before it. A
thermometer that counts as the yard's station takes the place of the air temperature where it was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import JournalError
from fruitwall.service.kept import Kept
from fruitwall.weather.forcing import HOUR, LONGEST_BRIDGE_H, VARIABLES, Forcing, as_datetime, as_datetime64
from fruitwall.weather.wind import wind_at_height

if TYPE_CHECKING:
    from fruitwall.journal.entries import ForecastSummary, Reading
    from fruitwall.journal.store import Journal
    from fruitwall.service.house import House
    from fruitwall.yard.model import Location

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

STATION = "station_sensor"
"""Setting of a yard: the sensor that stands for its station."""

AIR = VARIABLES.index("t_air_c")
DEW = VARIABLES.index("t_dew_c")

FORECAST_SD_K, HISTORY_SD_K, READ_SD_K = 1.3, 0.8, 0.4
"""What is not known of the air of an hour: from a forecast of the day before, from past weather of a grid cell, from
the yard's own thermometer. The first is near the spread at 12 to 24 h in weather/data/dressing_prior.json; the others
are our judgement. [K]"""

READING_COUNTS = 1.5
"""A reading counts for the hours that are no further off. Our judgement. [h]"""

MOST_APART_K = 8.0
"""A thermometer further off the weather than this is not believed: it hangs in the sun, or is broken. Our judgement: no
forecast hour of bench/data/nws_city_lows is so far off. [K]"""


@dataclass(frozen=True, eq=False)
class PastWeather:
    """A stretch of known hours without a gap.

    Attributes
    ----------
    forcing : Forcing
        One member.
    sd_k : ndarray [time]
        What is not known of the air temperature. [K]
    """

    forcing: Forcing
    sd_k: FloatArray


def past_weather(house: House, since: datetime, until: datetime) -> Forcing | None:
    """Give the weather of a time that is over.

    Parameters
    ----------
    house : House
    since, until : datetime, aware

    Returns
    -------
    Forcing or None
        One member, hourly; None where an hour of it is not known.
    """
    for stretch in past_stretches(house):
        if stretch.forcing.start_utc <= since and until <= stretch.forcing.end_utc:
            return stretch.forcing.select(since, until)
    return None


def past_stretches(house: House) -> list[PastWeather]:
    """Give all weather that is known up to now, as stretches without gaps.

    Parameters
    ----------
    house : House

    Returns
    -------
    list of PastWeather
        Oldest first; each of at least two hours.
    """
    yard, version = house.yard()
    now = house.clock()
    place = yard.location
    key = (
        version.yard,
        house.journal.state(),
        house.journal.weather_state(),
        now.replace(minute=0, second=0, microsecond=0),
    )

    def make() -> list[PastWeather]:
        from fruitwall.journal.forcing_file import MEDIA_TYPE
        from fruitwall.journal.listing import forecasts_kept
        from fruitwall.service.forecast_errors import station_sensor
        from fruitwall.service.thermometers import as_said, mends_of

        kept = forecasts_kept(house.journal, media_type=MEDIA_TYPE, yard=version.yard)
        read = [one for each in _last_of_each_day(kept) if (one := _hours_of(house.journal, each.id)) is not None]
        begun = as_datetime64(now) - HOUR  # at least two hours of it are over; a clock may also be set back
        near = [one for one in read if one.time_utc[0] <= begun and _is_near(one, place)]
        if not near:
            return []
        whole = _Whole(near, now)
        # The same thermometer against which forecasts are held: what one corrects the other must not correct again.
        name = station_sensor(house)
        if name:
            read_there = house.ledger.readings(since=whole.begin, until=now, quantity="air_temperature_c")
            whole.believe(as_said(name, [one for one in read_there if one.sensor == name], mends_of(house)))
        return whole.stretches(near[-1])

    return _STRETCHES.of(house.journal, key=key, make=make)


_STRETCHES: Kept[list[PastWeather]] = Kept(4)


def _is_near(forcing: Forcing, yard: Location) -> bool:
    """Tell whether weather is of the yard's place, which may have been set anew since."""
    from fruitwall.weather.place import Place
    from fruitwall.weather.usable import FARTHEST_KM

    here = Place(yard.latitude_deg, yard.longitude_deg, forcing.elevation_m)
    there = Place(forcing.latitude_deg, forcing.longitude_deg, forcing.elevation_m)
    return here.distance_km(there) <= FARTHEST_KM


def _last_of_each_day(kept: Sequence[ForecastSummary]) -> list[ForecastSummary]:
    """Pass over what was fetched again on the same day: the hours between are the same day's."""
    last = {(one.issued.date(), one.fetched.date()): one for one in kept}
    return sorted(last.values(), key=lambda one: (one.issued, one.fetched, one.id))


def _hours_of(journal: Journal, number: int) -> Forcing | None:
    """Read the middle member of a stored forecast; None for one that cannot be read any more."""
    from fruitwall.journal.forcing_file import unpack_forcing

    def make() -> Forcing | None:
        try:
            forcing = unpack_forcing(journal.forecast(number).body)
        except JournalError:
            return None
        return forcing if forcing.n_members == 1 else _middle(forcing)

    return _READ.of(journal, key=number, make=make)


_READ: Kept[Forcing | None] = Kept(2000)
"""Forecasts as they were read, one for each day of the winters."""


def _middle(forcing: Forcing) -> Forcing:
    """Give the median of the members, hour by hour."""
    from dataclasses import replace

    middle = {name: np.median(getattr(forcing, name), axis=0, keepdims=True) for name in VARIABLES}
    return replace(forcing, **middle)


class _Whole:
    """All hours from the first to now, each with the newest word on it."""

    def __init__(self, read: Sequence[Forcing], now: datetime) -> None:
        first = min(one.time_utc[0] for one in read).astype("datetime64[h]")
        last = as_datetime64(now).astype("datetime64[h]")
        count = int((last - first) // HOUR) + 1
        self.time_utc: TimeArray = (first.astype("datetime64[s]") + HOUR * np.arange(count)).astype("datetime64[s]")
        self.values = np.full((len(VARIABLES), count), np.nan)
        self.sd_k = np.full(count, np.nan)
        past = np.zeros(count, dtype=bool)
        height = read[-1].wind_height_m
        for forcing in read:  # oldest issue first, so that the newest word stays
            at = np.rint((forcing.time_utc - self.time_utc[0]) / HOUR).astype(np.int64)
            inside = (at >= 0) & (at < count)
            known = np.arange(forcing.n_times) < forcing.n_history
            use = inside & (known | ~past[np.clip(at, 0, max(count - 1, 0))])
            for row, name in enumerate(VARIABLES):
                self.values[row, at[use]] = getattr(forcing, name)[0, use]
            if forcing.wind_height_m != height:
                wind = self.values[VARIABLES.index("wind_m_s")]
                wind[at[use]] *= wind_at_height(1.0, forcing.wind_height_m, height)
            self.sd_k[at[use]] = np.where(known[use], HISTORY_SD_K, FORECAST_SD_K)
            past[at[use & known]] = True

    @property
    def begin(self) -> datetime:
        """The first hour."""
        return as_datetime(self.time_utc[0])

    def believe(self, readings: Sequence[Reading]) -> None:
        """Put the thermometer's word in the place of the weather's air, and take the dew point along."""
        if not readings or not self.time_utc.size:
            return
        hours = np.array([(as_datetime64(one.at) - self.time_utc[0]) / HOUR for one in readings])
        values = np.array([one.value for one in readings])
        at = np.arange(self.time_utc.size)
        read = np.interp(at, hours, values)
        after = np.clip(np.searchsorted(hours, at), 0, hours.size - 1)
        nearest = np.minimum(np.abs(hours[after] - at), np.abs(hours[np.maximum(after - 1, 0)] - at))
        air = self.values[AIR]
        use = (nearest <= READING_COUNTS) & (np.abs(read - air) <= MOST_APART_K)
        air[use] = read[use]
        self.values[DEW] = np.minimum(self.values[DEW], air)
        self.sd_k[use] = READ_SD_K

    def stretches(self, like: Forcing) -> list[PastWeather]:
        """Cut where more than a few hours are not known."""
        known = np.isfinite(self.values).all(axis=0)
        at = np.flatnonzero(known)
        if at.size < 2:
            return []
        cuts = np.flatnonzero(np.diff(at) > LONGEST_BRIDGE_H + 1) + 1
        return [self._stretch(part, like) for part in np.split(at, cuts) if part.size >= 2]

    def _stretch(self, at: NDArray[np.int64], like: Forcing) -> PastWeather:
        whole = np.arange(at[0], at[-1] + 1)
        arrays = {name: np.interp(whole, at, self.values[row, at])[None, :] for row, name in enumerate(VARIABLES)}
        forcing = Forcing(
            time_utc=self.time_utc[whole],
            t_air_c=arrays["t_air_c"],
            t_dew_c=arrays["t_dew_c"],
            wind_m_s=arrays["wind_m_s"],
            cloud=arrays["cloud"],
            shortwave_w_m2=arrays["shortwave_w_m2"],
            rain_mm=arrays["rain_mm"],
            latitude_deg=like.latitude_deg,
            longitude_deg=like.longitude_deg,
            elevation_m=like.elevation_m,
            source=like.source,
            issued_utc=as_datetime(self.time_utc[whole[-1]]),
            wind_height_m=like.wind_height_m,
            n_history=int(whole.size),
        )
        return PastWeather(forcing, np.interp(whole, at, self.sd_k[at]))
