"""What the weather gives to physics: hourly arrays of shape [member, time].

A `Forcing` is made by a source or read from a file, checked once on construction, and from then on trusted.
Values are instantaneous at the stamp, except the ones over the hour that ends at the stamp (sun, rain).

What this module leaves to others: where values come from (`weather.sources`), whether a forecast suits this yard and
this evening (`weather.usable`), the days before it (`weather.prepare`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.speech import marked, say, told
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

HOUR = np.timedelta64(3600, "s")

VARIABLES = ("t_air_c", "t_dew_c", "wind_m_s", "cloud", "shortwave_w_m2", "rain_mm")
"""The arrays of a forcing, in the order in which weather is named everywhere."""

# Widest values that have been measured anywhere, with some room; beyond them a unit or a column is wrong.
RANGES: dict[str, tuple[float, float, str, str]] = {
    "t_air_c": (-90.0, 60.0, "°C", marked("is it in °F or K?")),
    "t_dew_c": (-100.0, 40.0, "°C", marked("is it in °F or K, or a relative humidity?")),
    "wind_m_s": (0.0, 80.0, "m/s", marked("is it in km/h, or a missing-value code?")),
    "cloud": (0.0, 1.0, "", marked("a share of the sky is meant, not percent, tenths or eighths")),
    "shortwave_w_m2": (0.0, 1500.0, "W/m²", marked("is it in kJ/m², or a missing-value code?")),
    "rain_mm": (0.0, 400.0, marked("mm in an hour"), marked("is it in another unit, or a sum of several hours?")),
}

DEW_POINT_SLACK_K = 3.0
"""A dew point above the air temperature by up to this much is set to it; by more it is refused.

Services round, grid and interpolate the two separately, so that small crossings occur in saturated air; larger ones
mean exchanged columns or a wrong unit. [K]
"""

LONGEST_BRIDGE_H = 3
"""Most missing hours between past and forecast that are bridged by a straight line. [h]"""


@dataclass(frozen=True, eq=False)
class Forcing:
    """Hourly weather of one station or grid cell.

    Construction checks everything below, copies the arrays and makes them read-only. A dew point above the air
    temperature by at most `DEW_POINT_SLACK_K` is set to it.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (time,)
        Evenly spaced by one hour, increasing; at least two.
    t_air_c, t_dew_c, wind_m_s, cloud, shortwave_w_m2, rain_mm : ndarray, shape (member, time)
        Air temperature and dew point (over water) in a thermometer shelter [°C], wind at `wind_height_m` [m/s],
        share of sky covered [0-1], global horizontal irradiance, mean of the hour that ends at the stamp [W/m²],
        rain of that hour [mm].
    latitude_deg, longitude_deg, elevation_m : float
        The place for which the values hold.
    source : str
        Who made it, in words for the user.
    issued_utc : datetime, aware
        When the forecast was issued (for history: the last stamp). Kept in UTC.
    wind_height_m : float
        Height of the wind above open ground. [m]
    n_history : int
        How many of the first steps are past weather rather than forecast.
    warnings : tuple of str
        What was assumed, filled in or is doubtful, each in one sentence for the user.

    Raises
    ------
    ValueError
        If a value is missing, out of its range or of the wrong shape; the text names variable, hour and member.
    """

    time_utc: TimeArray
    t_air_c: FloatArray
    t_dew_c: FloatArray
    wind_m_s: FloatArray
    cloud: FloatArray
    shortwave_w_m2: FloatArray
    rain_mm: FloatArray
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    source: str
    issued_utc: datetime
    wind_height_m: float = 10.0
    n_history: int = 0
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        time_utc = _checked_times(self.time_utc)
        arrays = {name: _frozen_copy(name, getattr(self, name)) for name in VARIABLES}
        members = {array.shape[0] for array in arrays.values()}
        if len(members) > 1:
            counts = ", ".join(f"{name} {array.shape[0]}" for name, array in arrays.items())
            raise ValueError(f"all variables need the same number of members, got {counts}")
        for name, array in arrays.items():
            if array.shape[1] != time_utc.size:
                raise ValueError(f"{name} has {array.shape[1]} hours but time_utc has {time_utc.size}")
            _check_values(name, array, time_utc)
        arrays["t_dew_c"] = _dew_not_above_air(arrays["t_air_c"], arrays["t_dew_c"], time_utc)
        _check_scalars(self)
        for name, array in arrays.items():
            object.__setattr__(self, name, array)
        object.__setattr__(self, "time_utc", time_utc)
        object.__setattr__(self, "issued_utc", self.issued_utc.astimezone(UTC))
        object.__setattr__(self, "warnings", tuple(self.warnings))

    @property
    def n_members(self) -> int:
        """Number of ensemble members."""
        return int(self.t_air_c.shape[0])

    @property
    def n_times(self) -> int:
        """Number of hourly steps."""
        return int(self.time_utc.shape[0])

    @property
    def start_utc(self) -> datetime:
        """First hour, aware."""
        return as_datetime(self.time_utc[0])

    @property
    def end_utc(self) -> datetime:
        """Last hour, aware."""
        return as_datetime(self.time_utc[-1])

    def select(self, start_utc: datetime, end_utc: datetime) -> Forcing:
        """Give the hours from one time to another, both included.

        Parameters
        ----------
        start_utc, end_utc : datetime, aware
            Limits; hours outside the forcing are silently absent from the result.

        Raises
        ------
        ValueError
            If a limit has no zone or fewer than two hours lie between them.
        """
        start, end = as_datetime64(start_utc, "start_utc"), as_datetime64(end_utc, "end_utc")
        first, stop = np.searchsorted(self.time_utc, start, "left"), np.searchsorted(self.time_utc, end, "right")
        if stop - first < 2:
            raise ValueError(
                f"start_utc to end_utc must hold at least two hours of {say_hour(self.time_utc[0])} to "
                f"{say_hour(self.time_utc[-1])}, got {say_hour(start)} to {say_hour(end)}"
            )
        return self._cut(int(first), int(stop))

    def member(self, number: int) -> Forcing:
        """Give one member, counted from 0, as a forcing of its own.

        Raises
        ------
        ValueError
            If there is no such member.
        """
        if not 0 <= number < self.n_members:
            raise ValueError(f"number must be at least 0 and at most {self.n_members - 1}, got {number}")
        return replace(self, **{name: getattr(self, name)[number : number + 1] for name in VARIABLES})

    def joined(self, history: Forcing) -> Forcing:
        """Put past weather before this forecast.

        From its first hour on the forecast's own values hold. A hole of at most `LONGEST_BRIDGE_H` hours between
        the two is bridged by straight lines (rain: none). History whose stamps fall between the forecast's hours is
        interpolated to them; wind measured at another height is turned to the forecast's height. One member of
        either side serves all members of the other.

        Parameters
        ----------
        history : Forcing
            Past weather of the same place.

        Returns
        -------
        Forcing
            With `n_history` counting the hours before the forecast's first (and any history it had itself).

        Raises
        ------
        ValueError
            If the history begins after the forecast, leaves a longer hole, or both have several members and not
            the same number.
        """
        before = int((self.time_utc[0] - history.time_utc[0]) // HOUR)
        if before < 1:
            raise ValueError(
                f"the history begins at {say_hour(history.time_utc[0])}, not before the forecast's first hour "
                f"{say_hour(self.time_utc[0])}; nothing to put before it"
            )
        hole_h = int(np.ceil((self.time_utc[0] - history.time_utc[-1]) / HOUR)) - 1
        if hole_h > LONGEST_BRIDGE_H:
            raise ValueError(
                f"{hole_h} hours are missing between the history's last hour {say_hour(history.time_utc[-1])} and the "
                f"forecast's first {say_hour(self.time_utc[0])}; at most {LONGEST_BRIDGE_H} are bridged. Give a "
                "history that reaches closer to the forecast"
            )
        members = _common_members(self.n_members, history.n_members)
        past_times = self.time_utc[0] - HOUR * np.arange(before, 0, -1)
        arrays: dict[str, Any] = {
            name: np.concatenate(
                [
                    np.broadcast_to(self._past(history, name, past_times), (members, before)),
                    np.broadcast_to(getattr(self, name), (members, self.n_times)),
                ],
                axis=1,
            )
            for name in VARIABLES
        }
        warnings = [*history.warnings, *self.warnings]
        if hole_h > 0:
            warnings.append(
                told(
                    "{hours} h between past weather and forecast (from {hour}) were bridged",
                    hours=hole_h,
                    hour=say_hour(history.time_utc[-1]),
                )
            )
        return replace(
            self,
            time_utc=np.concatenate([past_times, self.time_utc]),
            **arrays,
            source=told("{source}; before it {past}", source=self.source, past=history.source),
            n_history=before + self.n_history,
            warnings=tuple(dict.fromkeys(warnings)),
        )

    def with_warnings(self, *more: str) -> Forcing:
        """Give the same forcing with further warnings, each kept once."""
        return replace(self, warnings=tuple(dict.fromkeys([*self.warnings, *more])))

    def _past(self, history: Forcing, name: str, times: TimeArray) -> FloatArray:
        """Give one variable of the history at the forecast's own phase of the hour, bridging to its first hour."""
        seconds, past_seconds = _seconds(times), _seconds(history.time_utc)
        past: FloatArray = getattr(history, name)
        if name == "wind_m_s":
            past = past * wind_at_height(1.0, history.wind_height_m, self.wind_height_m)
        own: FloatArray = getattr(self, name)
        first = np.zeros(1) if name == "rain_mm" else own.mean(axis=0)[:1]
        kept = past_seconds < _seconds(self.time_utc[:1])[0]
        nodes = np.append(past_seconds[kept], _seconds(self.time_utc[:1]))
        return np.stack([np.interp(seconds, nodes, np.append(row[kept], first)) for row in past])

    def _cut(self, first: int, stop: int) -> Forcing:
        """Give the hours `first` to before `stop`."""
        return replace(
            self,
            time_utc=self.time_utc[first:stop],
            **{name: getattr(self, name)[:, first:stop] for name in VARIABLES},
            n_history=min(max(self.n_history - first, 0), stop - first),
        )


def as_datetime(time_utc: np.datetime64) -> datetime:
    """Turn an array's time into an aware datetime."""
    return datetime.fromtimestamp(int(time_utc.astype("datetime64[s]").astype(np.int64)), tz=UTC)


def as_datetime64(moment: datetime, name: str = "moment") -> np.datetime64:
    """Turn an aware datetime into an array's time.

    Raises
    ------
    ValueError
        If it has no zone; `name` is the argument that the text names.
    """
    if moment.tzinfo is None:
        raise ValueError(f"{name} needs a time zone, got {moment.isoformat()} without one")
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")


def say_hour(time_utc: np.datetime64) -> str:
    """Say a time as messages do: ``2026-12-22 22:00 UTC``."""
    return f"{as_datetime(time_utc):%Y-%m-%d %H:%M} UTC"


def _checked_times(times: Any) -> TimeArray:
    """Give the times as read-only datetime64[s], one hour apart."""
    array = np.asarray(times)
    if array.ndim != 1 or array.size < 2 or not np.issubdtype(array.dtype, np.datetime64):
        raise ValueError(
            f"time_utc must be a one-dimensional datetime64 array of at least two hours, got {array.dtype} of shape "
            f"{array.shape}"
        )
    array = array.astype("datetime64[s]")
    if np.isnat(array).any():
        raise ValueError(f"time_utc must be known everywhere, got NaT at position {int(np.isnat(array).argmax())}")
    steps = np.diff(array)
    if (steps != HOUR).any():
        wrong = int((steps != HOUR).argmax())
        raise ValueError(
            f"time_utc must go forward by one hour, got {say_hour(array[wrong])} followed by "
            f"{say_hour(array[wrong + 1])}"
        )
    array.flags.writeable = False
    return array


def _frozen_copy(name: str, values: Any) -> FloatArray:
    """Give values as a read-only float array of two dimensions."""
    array = np.array(values, dtype=np.float64, order="C")
    if array.ndim != 2 or array.shape[0] < 1:
        raise ValueError(f"{name} must have the shape (member, time), got {array.shape}")
    array.flags.writeable = False
    return array


def _check_values(name: str, values: FloatArray, times: TimeArray) -> None:
    """Refuse missing and impossible values by name, hour and member."""
    low, high, unit, hint = RANGES[name]
    missing = ~np.isfinite(values)
    if missing.any():
        raise ValueError(f"{name} must be known everywhere, got {_first(values, missing, times)}")
    outside = (values < low) | (values > high)
    if outside.any():
        raise ValueError(
            say(
                "{name} must be at least {low:g} and at most {high:g}{unit}, got {given}; {hint}",
                name=name,
                low=low,
                high=high,
                unit=f" {say(unit)}" if unit else "",
                given=_first(values, outside, times),
                hint=say(hint),
            )
        )


def _first(values: FloatArray, wrong: NDArray[np.bool_], times: TimeArray) -> str:
    """Say the first wrong value with its hour, its member where there are several, and how many there are."""
    member, step = np.unravel_index(int(wrong.argmax()), wrong.shape)
    where = say(" in member {member}", member=int(member)) if wrong.shape[0] > 1 else ""
    others = int(wrong.sum()) - 1
    more = say(" (and {count} more)", count=others) if others else ""
    value = float(values[member, step])
    return say("{value:g} at {hour}{where}{more}", value=value, hour=say_hour(times[step]), where=where, more=more)


def _dew_not_above_air(t_air_c: FloatArray, t_dew_c: FloatArray, times: TimeArray) -> FloatArray:
    """Set small crossings of the dew point to the air temperature, refuse large ones."""
    wrong = t_dew_c > t_air_c + DEW_POINT_SLACK_K
    if wrong.any():
        member, step = np.unravel_index(int(wrong.argmax()), wrong.shape)
        raise ValueError(
            say(
                "t_dew_c must not exceed t_air_c by more than {most:g} K, got {dew:g} °C in air of {air:g} °C at "
                "{hour}; are columns exchanged or units mixed?",
                most=DEW_POINT_SLACK_K,
                dew=float(t_dew_c[member, step]),
                air=float(t_air_c[member, step]),
                hour=say_hour(times[step]),
            )
        )
    if (t_dew_c > t_air_c).any():
        t_dew_c = np.minimum(t_dew_c, t_air_c)
        t_dew_c.flags.writeable = False
    return t_dew_c


def _check_scalars(forcing: Forcing) -> None:
    """Check place, wind height, issue time and number of past steps."""
    limits = {
        "latitude_deg": (-90.0, 90.0),
        "longitude_deg": (-180.0, 180.0),
        "elevation_m": (-450.0, 9000.0),
        "wind_height_m": (0.5, 200.0),
        "n_history": (0, forcing.n_times),
    }
    for name, (low, high) in limits.items():
        value = getattr(forcing, name)
        if not low <= value <= high:  # NaN fails too
            raise ValueError(f"{name} must be at least {low:g} and at most {high:g}, got {value!r}")
    as_datetime64(forcing.issued_utc, "issued_utc")
    if not forcing.source.strip():
        raise ValueError("source must say in words who made the weather, got an empty text")


def _common_members(forecast: int, history: int) -> int:
    """Give the number of members of a joined forcing."""
    if forecast != history and 1 not in (forecast, history):
        raise ValueError(f"history must have 1 member or the forecast's {forecast}, got {history}")
    return max(forecast, history)


def _seconds(times: TimeArray) -> FloatArray:
    """Give times as seconds for interpolation."""
    return times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
