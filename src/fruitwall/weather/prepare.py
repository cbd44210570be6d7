"""From a forecast to the hours that an evening is planned from: the days before it, and a check of its end.

Soil, walls and paving remember about a week. Physics therefore starts some days before tonight, and something must
stand there: past weather, the past days that a service sends along, or a stand-in made from the forecast itself.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.forcing import HOUR, LONGEST_BRIDGE_H, VARIABLES, Forcing, as_datetime, as_datetime64, say_hour
from fruitwall.weather.place import Place
from fruitwall.weather.usable import FAR_KM, FARTHEST_KM

FloatArray = NDArray[np.float64]

LONGEST_FILLED_H = 24
"""Most hours between past weather and forecast that are filled from the forecast's first day: a station read in the
morning before, a forecast from the afternoon on. [h]"""

SHORT_SPIN_UP_H = 48
"""Past weather shorter than this leaves soil and walls to a guess; a warning says so. [h]"""


def prepare(
    forecast: Forcing,
    history: Forcing | None,
    *,
    now: datetime,
    night_end_utc: datetime,
    spin_up_days: float = 7.0,
) -> Forcing:
    """Put past weather, or a stand-in for it, before a forecast.

    Parameters
    ----------
    forecast : Forcing
        As a source gives it; it may hold past days itself.
    history : Forcing or None
        Past weather; None if there is none.
    now : datetime, aware
        The present. Spin-up is counted back from here or from the forecast's first own hour, whichever is earlier.
    night_end_utc : datetime, aware
        Hour that must be reached.
    spin_up_days : float
        Days of past weather, 0 to 60.

    Returns
    -------
    Forcing
        `n_history` counts the hours that are not forecast. What was made up is in `warnings`.

    Raises
    ------
    WeatherError
        If the forecast ends before the night does, or the history is of another place or cannot be joined.
    ValueError
        If `spin_up_days` is outside its range or a time has no zone.

    Notes
    -----
    The stand-in repeats the forecast's first 24 hours backwards, hour by hour of the day; where the forecast is
    shorter, lines join its hours round the clock. Members share one past: their mean.
    """
    if not 0 <= spin_up_days <= 60:
        raise ValueError(f"spin_up_days must be at least 0 and at most 60, got {spin_up_days:g}")
    if as_datetime64(night_end_utc, "night_end_utc") > forecast.time_utc[-1]:
        raise WeatherError(
            say(
                "{source}: ends at {hour}, before the night is over ({until}); a forecast until "
                "then at least is needed",
                source=forecast.source,
                hour=say_hour(forecast.time_utc[-1]),
                until=say_hour(as_datetime64(night_end_utc)),
            )
        )
    joined = forecast if history is None else _with_history(forecast, history)
    own_start = joined.time_utc[min(joined.n_history, joined.n_times - 1)]
    anchor = min(as_datetime64(now, "now"), own_start)
    start = anchor - HOUR * round(spin_up_days * 24)
    if joined.time_utc[0] <= start:
        return joined.select(as_datetime(start), joined.end_utc)
    lacking = int(np.ceil((joined.time_utc[0] - start) / HOUR))
    past_h = int((anchor - joined.time_utc[0]) / HOUR) if joined.n_history else 0
    if past_h >= SHORT_SPIN_UP_H:
        return joined  # shorter than wished, but real
    filled = _repeat_first_day(joined, lacking)
    return filled.with_warnings(
        told(
            "no weather is known before {hour}; the first day from there was repeated backwards, so that the warmth "
            "of soil and walls is a guess",
            hour=say_hour(joined.time_utc[0]),
        )
    )


def _with_history(forecast: Forcing, history: Forcing) -> Forcing:
    """Join after checking that both are of one place; a history with nothing earlier is left out.

    A hole of up to a day, too long for a straight line, is filled as the spin-up is: from the forecast's first day.
    """
    here = Place(forecast.latitude_deg, forecast.longitude_deg, forecast.elevation_m)
    there = Place(history.latitude_deg, history.longitude_deg, history.elevation_m)
    distance_km = here.distance_km(there)
    if distance_km > FARTHEST_KM:
        raise WeatherError(
            say(
                "{source}: past weather of another place, {words}, {distance_km:.0f} km from the "
                "forecast's; at most {most_km:.0f} km are accepted",
                source=history.source,
                words=there.words(),
                distance_km=distance_km,
                most_km=FARTHEST_KM,
            )
        )
    if history.time_utc[0] >= forecast.time_utc[0]:
        return forecast.with_warnings(
            told("{source}: begins after the forecast and was not used", source=history.source)
        )
    hole_h = int(np.ceil((forecast.time_utc[0] - history.time_utc[-1]) / HOUR)) - 1
    notes = []
    if LONGEST_BRIDGE_H < hole_h <= LONGEST_FILLED_H:
        forecast = _repeat_first_day(forecast, hole_h)
        notes.append(
            told(
                "past weather ends at {hour}; the {hours} h to the forecast were filled with the same hours of its "
                "first day",
                hour=say_hour(history.time_utc[-1]),
                hours=hole_h,
            )
        )
    try:
        joined = forecast.joined(history).with_warnings(*notes)
    except ValueError as error:
        raise WeatherError(say("{where}: {error}", where=history.source, error=error)) from error
    if distance_km > FAR_KM:
        joined = joined.with_warnings(
            told(
                "past weather is of {place}, {distance:.0f} km from the forecast's",
                place=there.words(),
                distance=distance_km,
            )
        )
    return joined


def _repeat_first_day(forcing: Forcing, hours: int) -> Forcing:
    """Put `hours` hours before a forcing that repeat its first day."""
    back = np.arange(-hours, 0)
    arrays: dict[str, Any] = {}
    for name in VARIABLES:
        values: FloatArray = getattr(forcing, name)
        past = _round_the_clock(values.mean(axis=0))[back % 24]
        arrays[name] = np.concatenate([np.broadcast_to(past, (forcing.n_members, hours)), values], axis=1)
    return replace(
        forcing,
        time_utc=np.concatenate([forcing.time_utc[0] + HOUR * back, forcing.time_utc]),
        **arrays,
        n_history=hours + forcing.n_history,
    )


def _round_the_clock(values: FloatArray) -> FloatArray:
    """Give 24 hours from the first hours of a series; hours that it does not reach lie on a line round the clock."""
    known = min(values.size, 24)
    return np.asarray(np.interp(np.arange(24.0), np.arange(float(known)), values[:known], period=24.0))
