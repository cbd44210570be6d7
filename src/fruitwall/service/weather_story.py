"""What was forecast for the yard, how old that is, and how thermometers of the yard compare with it."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from pydantic import ValidationError

from fruitwall.service.evening_document import ForecastSummary, Spread
from fruitwall.service.nights import evening_of, tonight
from fruitwall.service.reader import forecast_for_reader

if TYPE_CHECKING:
    from fruitwall.journal.entries import Reading, StoredPlan
    from fruitwall.service.house import House
    from fruitwall.yard.model import Location

NIGHTS_BACK = 14
"""Planned nights that are compared with readings."""


@dataclass(frozen=True)
class ComingNight:
    """One night of the newest plan.

    Attributes
    ----------
    night : date
        Date of its evening.
    minimum_c : Spread
        Lowest air temperature at the station.
    dew_point_c, wind_m_s, cloud : Spread or None
        Only known of the night that was planned; cloud 0-1.
    """

    night: date
    minimum_c: Spread
    dew_point_c: Spread | None = None
    wind_m_s: Spread | None = None
    cloud: Spread | None = None


@dataclass(frozen=True)
class Compared:
    """The lowest reading of one thermometer in one night beside the forecast.

    Attributes
    ----------
    night : date
    sensor : str
        Its name, or where it hangs.
    lowest_c : float
    at : datetime
        When that was read.
    minimum_c : Spread
        As the last plan of that night had it.
    """

    night: date
    sensor: str
    lowest_c: float
    at: datetime
    minimum_c: Spread

    @property
    def error_k(self) -> float:
        """Reading minus median of the forecast: negative where it was colder."""
        return self.lowest_c - self.minimum_c.p50

    @property
    def within(self) -> bool:
        """Whether it lies between the tenth and ninetieth percentile."""
        return self.minimum_c.p10 <= self.lowest_c <= self.minimum_c.p90


@dataclass(frozen=True)
class MeanError:
    """How one thermometer compares with the forecast.

    Attributes
    ----------
    sensor : str
    nights, within : int
        Nights compared, and those of them within the forecast's range.
    mean_k : float
        Reading minus median; negative where the thermometer is colder than the forecast.
    """

    sensor: str
    nights: int
    within: int
    mean_k: float


@dataclass(frozen=True)
class PlannedNight:
    """With which weather a night was planned.

    Attributes
    ----------
    night : date
    made : datetime
        When its last plan was made.
    forecast : ForecastSummary
        What that plan was made from.
    """

    night: date
    made: datetime
    forecast: ForecastSummary


@dataclass(frozen=True)
class WeatherStory:
    """All that is told of the weather.

    Attributes
    ----------
    forecast : ForecastSummary or None
        Of the newest plan; None where nothing was planned yet.
    made : datetime or None
        When that plan was made, from weather read then.
    fetched : datetime or None
        When its forecast was fetched, where it is kept in the journal by itself.
    coming : tuple of ComingNight
        Nights of that plan that are not over.
    compared : tuple of Compared
        Newest night first.
    errors : tuple of MeanError
        By thermometer.
    planned : tuple of PlannedNight
        Newest night first.
    """

    forecast: ForecastSummary | None = None
    made: datetime | None = None
    fetched: datetime | None = None
    coming: tuple[ComingNight, ...] = ()
    compared: tuple[Compared, ...] = ()
    errors: tuple[MeanError, ...] = ()
    planned: tuple[PlannedNight, ...] = ()


def weather_story(house: House) -> WeatherStory:
    """Tell the weather of the yard from plans and readings in the journal; no service is asked.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    WeatherStory
    """
    yard, version = house.yard()
    this = tonight(yard.location, house.clock())
    plans = _plans(house, version.yard, this)
    if not plans:
        return WeatherStory()
    newest, forecast = plans[0]
    fetched = None if newest.forecast is None else house.journal.forecast(newest.forecast).fetched
    compared = _compared(house, yard.location, plans)
    return WeatherStory(
        forecast,
        newest.made,
        fetched,
        _coming(newest, forecast, this),
        tuple(compared),
        mean_errors(compared),
        tuple(PlannedNight(plan.night, plan.made, summary) for plan, summary in plans),
    )


def _plans(house: House, yard: str, this: date) -> list[tuple[StoredPlan, ForecastSummary]]:
    """Read the forecast of the last plan of each night, newest night first."""
    found = []
    before = this + timedelta(days=1)
    for _ in range(NIGHTS_BACK):
        stored = house.journal.plan_before(before, yard=yard)
        if stored is None:
            break
        before = stored.night
        try:
            # Only this part, so that plans of earlier versions of the program can still be compared with.
            forecast = forecast_for_reader(json.loads(stored.document))
        except (ValueError, KeyError, TypeError, ValidationError):
            continue
        found.append((stored, forecast))
    return found


def _coming(plan: StoredPlan, forecast: ForecastSummary, this: date) -> tuple[ComingNight, ...]:
    first = ComingNight(plan.night, forecast.station_minimum_c, forecast.dew_point_c, forecast.wind_m_s, forecast.cloud)
    later = [
        ComingNight(plan.night + timedelta(days=days), minimum)
        for days, minimum in enumerate(forecast.following_minima_c, start=1)
    ]
    return tuple(one for one in (first, *later) if one.night >= this)


def _compared(house: House, location: Location, plans: Sequence[tuple[StoredPlan, ForecastSummary]]) -> list[Compared]:
    found = []
    for plan, forecast in plans:
        evening = evening_of(location, plan.night)
        # From sunset until covers come off: the reading of a mild afternoon says nothing of the night.
        read = house.ledger.readings(since=evening.sunset, until=evening.uncover, quantity="air_temperature_c")
        lowest: dict[str, Reading] = {}
        for one in read:
            if one.sensor not in lowest or one.value < lowest[one.sensor].value:
                lowest[one.sensor] = one
        found += [
            Compared(plan.night, sensor, one.value, one.at, forecast.station_minimum_c)
            for sensor, one in sorted(lowest.items())
        ]
    return found


def mean_errors(compared: Sequence[Compared]) -> tuple[MeanError, ...]:
    """Give the mean error of each thermometer, by its name."""
    nights: dict[str, list[Compared]] = defaultdict(list)
    for one in compared:
        nights[one.sensor].append(one)
    return tuple(
        MeanError(
            sensor,
            len(of_sensor),
            sum(one.within for one in of_sensor),
            sum(one.error_k for one in of_sensor) / len(of_sensor),
        )
        for sensor, of_sensor in sorted(nights.items())
    )
