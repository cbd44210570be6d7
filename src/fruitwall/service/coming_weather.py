"""The weather to come: the forecast kept last, and after it the same days of other years."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fruitwall.errors import JournalError
from fruitwall.service.past_weather import past_stretches
from fruitwall.weather.forcing import HOUR, LONGEST_BRIDGE_H, as_datetime, as_datetime64

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.weather.forcing import Forcing

BEFORE = timedelta(days=7)
"""Known weather that is put before, so that ground, walls and pots begin with their heat."""


def coming_weather(house: House, until: datetime) -> tuple[Forcing, datetime] | None:
    """Give the courses that the weather may take.

    Parameters
    ----------
    house : House
    until : datetime, aware

    Returns
    -------
    (Forcing, datetime) or None
        Weather of [member, time], begun with some days that are over, and the last hour that is of a forecast. It ends
        with the forecast where no climate is known. None where neither is.
    """
    from fruitwall.service.climate import climate_of
    from fruitwall.weather.climate import continued

    now = house.clock()
    base = _known(house, now)
    if base is None:
        return None
    forecast_until = base.end_utc
    climate = climate_of(house)
    if climate is not None and base.end_utc < until:
        base = continued(base, climate, until)
    return base, max(forecast_until, now)


def _known(house: House, now: datetime) -> Forcing | None:
    """Give the forecast that was kept last, with what is over put before it; else what is over alone."""
    stretches = past_stretches(house)
    past = stretches[-1].forcing if stretches else None
    forecast = _forecast(house, now)
    if forecast is None:
        fresh = past is not None and now - past.end_utc <= timedelta(hours=LONGEST_BRIDGE_H)
        return past.select(past.end_utc - BEFORE, past.end_utc) if past is not None and fresh else None
    begin = max(forecast.start_utc, as_datetime(as_datetime64(now).astype("datetime64[h]").astype("datetime64[s]")))
    own = forecast.select(begin, forecast.end_utc)
    if past is None or past.start_utc >= begin or begin - past.end_utc > timedelta(hours=LONGEST_BRIDGE_H):
        return forecast
    return own.joined(past.select(max(past.start_utc, begin - BEFORE), past.end_utc))


def _forecast(house: House, now: datetime) -> Forcing | None:
    """Give the forecast kept last, if some hours of it are still to come."""
    from fruitwall.journal.forcing_file import MEDIA_TYPE, unpack_forcing

    _, version = house.yard()
    stored = house.journal.latest_forecast(version.yard)
    if stored is None or stored.media_type != MEDIA_TYPE:
        return None
    try:
        forcing = unpack_forcing(stored.body)
    except JournalError:
        return None
    return forcing if as_datetime64(now) + 2 * HOUR <= forcing.time_utc[-1] else None
