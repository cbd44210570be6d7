"""From one forecast to many: an ensemble around a deterministic forecast by an error model.

The model says how wrong such forecasts have been, by lead time, and how the errors of the variables hang together:

* Errors are drawn at the hours of the day's lowest and highest temperature (06:00 and 15:00 local mean solar time),
  as a first-order autoregression from one to the next, and joined smoothly. So the error of a night's minimum has the
  measured spread, not the minimum of a jittering line.
* Part of a night's temperature error comes from cloud and wind: clearer and stiller than forecast is colder. By day
  less cloud is warmer.
* The dew point's error goes half with the air's; it never rises above the air. Cloud stays within 0 and 1, wind within
  its range; the root of the wind speed has a normal error. Sun follows cloud and never exceeds a clear sky.
* Nothing is wrong at the time of issue; the error has two thirds of its size three hours later.
* Members come in pairs of opposite sign and are spread evenly over the normal distribution, so that the median stays
  at the forecast and 50 members give the tenth percentile without luck.

What was learned of the forecasts of one place moves the members of a night and changes their spread (`learned`); a
source's own ensemble too.

The numbers are fitted by ``bench/fit_dressing_prior.py``, stored in ``data/dressing_prior.json`` and told in
docs/weather-files.md.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from importlib.resources import files
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.weather.forcing import HOUR, RANGES, Forcing, as_datetime64
from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.sun import clear_sun, cloud_transmission

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

MEMBERS = 50

NIGHT_H, DAY_H = 6, 15
"""Local mean solar hours at which errors are drawn: about the lowest and the highest temperature of a day. [h]"""

WET_MM, WET_CLOUD = 0.1, 0.75
"""Hours with at least so much rain keep at least so much cloud (or the forecast's, if less). [mm, 0-1]"""

MOST_MEMBERS = 1000


@dataclass(frozen=True)
class ErrorModel:
    """How wrong forecasts are, by lead time.

    Attributes
    ----------
    air_sd_at_zero_k, air_sd_per_hour_k : float
        Line through the spread of the night minimum's error against lead time, from 11 to 47 h; taken on beyond, where
        errors are likely to grow faster. [K, K/h]
    next_night : float
        Correlation of the errors of one forecast for a night and the next. [-]
    cloud_sd_at_issue, cloud_sd_at_180_h : float
        Spread of the cloud error, line between. [0-1]
    wind_sd_sqrt : float
        Spread of the error of the root of the wind speed at 24 h; grows as the air's. [(m/s)^0.5]
    by_cloud, by_wind : float
        Share of a night's temperature error (in standard deviations) that goes with the cloud's and the wind's. [-]
    by_cloud_day : float
        The same for cloud by day; negative: less cloud, warmer. An assumption. [-]
    dew_sd_ratio, dew_with_air : float
        Spread of the dew point's error over the air's, and their correlation. Assumptions (from memory: dew points
        verify somewhat worse than temperatures). [-]
    ramp_h : float
        Time after issue in which the error reaches 1 - 1/e of its size. An assumption: the data begin at 11 h. [h]
    """

    air_sd_at_zero_k: float
    air_sd_per_hour_k: float
    next_night: float
    cloud_sd_at_issue: float
    cloud_sd_at_180_h: float
    wind_sd_sqrt: float
    by_cloud: float
    by_wind: float
    by_cloud_day: float = -0.4
    dew_sd_ratio: float = 1.25
    dew_with_air: float = 0.5
    ramp_h: float = 3.0

    def __post_init__(self) -> None:
        if self.by_cloud**2 + self.by_wind**2 > 1.0 or self.by_cloud_day**2 > 1.0:
            raise ValueError(
                f"the squares of by_cloud and by_wind, and that of by_cloud_day, must be at most 1 together, got "
                f"{self.by_cloud:g}, {self.by_wind:g} and {self.by_cloud_day:g}"
            )

    def air_sd_k(self, lead_h: ArrayLike) -> FloatArray:
        """Give the spread of the air temperature's error at a lead time; zero up to issue. [K]"""
        lead = np.asarray(lead_h, dtype=np.float64)
        return self._ramp(lead) * (self.air_sd_at_zero_k + self.air_sd_per_hour_k * np.maximum(lead, 0.0))

    def cloud_sd(self, lead_h: ArrayLike) -> FloatArray:
        """Give the spread of the cloud's error at a lead time; zero up to issue. [0-1]"""
        lead = np.asarray(lead_h, dtype=np.float64)
        growth = (self.cloud_sd_at_180_h - self.cloud_sd_at_issue) / 180.0
        return self._ramp(lead) * (self.cloud_sd_at_issue + growth * np.maximum(lead, 0.0))

    def wind_sd(self, lead_h: ArrayLike) -> FloatArray:
        """Give the spread of the error of the root of the wind speed; zero up to issue. [(m/s)^0.5]"""
        at_24_h = self.air_sd_at_zero_k + self.air_sd_per_hour_k * 24.0
        return self.wind_sd_sqrt * self.air_sd_k(lead_h) / at_24_h

    def _ramp(self, lead: FloatArray) -> FloatArray:
        """Give how far the error has come up at a lead time, 0 to 1."""
        return np.asarray(1.0 - np.exp(-np.maximum(lead, 0.0) / self.ramp_h))


@cache
def prior() -> ErrorModel:
    """Give the error model fitted on open data."""
    text = files("fruitwall.weather").joinpath("data/dressing_prior.json").read_text(encoding="utf-8")
    stored: dict[str, Any] = json.loads(text)
    nights, cloud, warming = stored["night_minimum"], stored["cloud"]["sd"], stored["night_warming"]
    return ErrorModel(
        air_sd_at_zero_k=nights["sd_line"]["at_zero_k"],
        air_sd_per_hour_k=nights["sd_line"]["per_hour_k"],
        next_night=nights["same_bulletin_next_night_correlation"],
        cloud_sd_at_issue=cloud["at_issue"],
        cloud_sd_at_180_h=cloud["at_180_h"],
        wind_sd_sqrt=stored["wind"]["sd_of_square_root"],
        by_cloud=warming["share_of_error_by_cloud"],
        by_wind=warming["share_of_error_by_wind"],
    )


def dress(
    forcing: Forcing,
    *,
    members: int = MEMBERS,
    rng: np.random.Generator,
    now: datetime,
    model: ErrorModel | None = None,
) -> Forcing:
    """Make an ensemble of a deterministic forecast.

    Parameters
    ----------
    forcing : Forcing
        With one member; an ensemble passes through untouched.
    members : int
        Members wanted, 1 to 1000; 1 gives the forecast back.
    rng : numpy.random.Generator
        Source of chance; the same state gives the same ensemble.
    now : datetime, aware
        The present. Lead time counts from the time of issue, or from now if that is earlier.
    model : ErrorModel, optional
        By default `prior()`.

    Returns
    -------
    Forcing
        With `members` members; past hours are the same in all.

    Raises
    ------
    ValueError
        If `members` is outside its range or `now` has no zone.

    Notes
    -----
    The bias of the fitted forecasts on cold nights (-0.1 to -0.3 K, colder than forecast) is smaller than the spread of
    that bias between cities (0.4 K) and is not applied.
    """
    if not 1 <= members <= MOST_MEMBERS:
        raise ValueError(f"members must be at least 1 and at most {MOST_MEMBERS}, got {members}")
    start = min(as_datetime64(now, "now"), as_datetime64(forcing.issued_utc))
    if forcing.n_members > 1 or members == 1:
        return forcing
    model = prior() if model is None else model
    lead_h = (forcing.time_utc - start) / HOUR
    lead_h[: forcing.n_history] = 0.0
    knots = _knots(forcing)
    scores = _joined(_draw(knots, members, rng, model), knots, forcing.time_utc)
    air_sd = model.air_sd_k(lead_h)
    cloud = _cloud(forcing, model.cloud_sd(lead_h) * scores["cloud"])
    wind = np.maximum(np.sqrt(forcing.wind_m_s) + model.wind_sd(lead_h) * scores["wind"], 0.0) ** 2
    t_air = np.clip(forcing.t_air_c + air_sd * scores["air"], *RANGES["t_air_c"][:2])
    t_dew = np.clip(forcing.t_dew_c + model.dew_sd_ratio * air_sd * scores["dew"], *RANGES["t_dew_c"][:2])
    return replace(
        forcing,
        t_air_c=t_air,
        t_dew_c=np.minimum(t_dew, t_air),
        wind_m_s=np.minimum(wind, RANGES["wind_m_s"][1]),
        cloud=cloud,
        shortwave_w_m2=_sun(forcing, cloud),
        rain_mm=np.repeat(forcing.rain_mm, members, axis=0),
    )


@dataclass(frozen=True)
class NightError:
    """What was learned of a forecast's error in one night.

    Attributes
    ----------
    morning : datetime, aware
        Any moment of its morning, such as sunrise: the error is that of the minimum about then.
    shift_k : float
        By how much the air is warmer than forecast; below zero where it is colder. [K]
    factor : float
        By what the distance of members from their median is multiplied; greater than zero. [-]
    """

    morning: datetime
    shift_k: float
    factor: float

    def __post_init__(self) -> None:
        if not (np.isfinite([self.shift_k, self.factor]).all() and self.factor > 0.0):
            raise ValueError(
                f"shift_k must be a number and factor greater than 0, got {self.shift_k!r} and {self.factor!r}"
            )


def learned(
    forcing: Forcing, nights: Sequence[NightError], *, now: datetime, model: ErrorModel | None = None
) -> Forcing:
    """Apply what was learned of a place's forecasts to an ensemble, dressed or the source's own.

    Parameters
    ----------
    forcing : Forcing
        One member is moved; more change their spread too.
    nights : sequence of NightError
        Nights that are not named stay as they are; none give the forcing itself.
    now : datetime, aware
        Up to here nothing is changed.
    model : ErrorModel, optional
        How far the dew point goes with the air; by default `prior()`.

    Returns
    -------
    Forcing
        Each member keeps its course: all its hours of a night move together. The dew point follows the air as its
        error does, and never rises above it.

    Raises
    ------
    ValueError
        If `now` or a morning has no zone.

    Notes
    -----
    Full at the hour of the lowest temperature (06:00 local mean solar time), nothing at that of the highest, joined as
    the errors are: readings of night minima tell nothing of the day.
    """
    present = as_datetime64(now, "now")
    if not nights:
        return forcing
    model = prior() if model is None else model
    knots = _knots(forcing)
    shift, factor = np.zeros(knots.seconds.size), np.ones(knots.seconds.size)
    offset_s = solar_offset(forcing.longitude_deg).total_seconds()
    days = np.floor((knots.seconds + offset_s) / 86400.0)
    for night in nights:
        morning_s = as_datetime64(night.morning, "morning").astype(np.int64) + offset_s
        at = knots.is_night & (days == np.floor(morning_s / 86400.0))
        shift[at], factor[at] = night.shift_k, night.factor
    left, later = _between(knots, forcing.time_utc)
    ahead = (forcing.time_utc > present) & (np.arange(forcing.n_times) >= forcing.n_history)
    moved = np.where(ahead, (1.0 - later) * shift[left] + later * shift[left + 1], 0.0)
    spread = np.where(ahead, (1.0 - later) * factor[left] + later * factor[left + 1], 1.0)
    middle = np.median(forcing.t_air_c, axis=0)
    change = moved + (spread - 1.0) * (forcing.t_air_c - middle)
    t_air = np.clip(forcing.t_air_c + change, *RANGES["t_air_c"][:2])
    t_dew = np.clip(forcing.t_dew_c + model.dew_sd_ratio * model.dew_with_air * change, *RANGES["t_dew_c"][:2])
    return replace(forcing, t_air_c=t_air, t_dew_c=np.minimum(t_dew, t_air))


@dataclass(frozen=True)
class _Knots:
    """Times at which errors are drawn: seconds of UTC, whether it is the night's, correlation with the next."""

    seconds: FloatArray
    is_night: NDArray[np.bool_]
    hours_to_next: FloatArray


def _knots(forcing: Forcing) -> _Knots:
    """Give the drawing times from before the first to after the last hour."""
    offset_s = solar_offset(forcing.longitude_deg).total_seconds()
    first_day = np.floor((forcing.time_utc[0].astype(np.int64) + offset_s) / 86400.0) - 1
    last_day = np.floor((forcing.time_utc[-1].astype(np.int64) + offset_s) / 86400.0) + 1
    days = np.arange(first_day, last_day + 1)
    seconds = (days[:, None] * 86400.0 + np.array([NIGHT_H, DAY_H]) * 3600.0).ravel() - offset_s
    return _Knots(seconds, np.arange(seconds.size) % 2 == 0, np.diff(seconds) / 3600.0)


def _draw(knots: _Knots, members: int, rng: np.random.Generator, model: ErrorModel) -> dict[str, FloatArray]:
    """Draw standard errors of cloud, wind, air and dew point at the knots, shape [member, knot]."""
    pairs, count = members // 2, knots.seconds.size
    steps = rng.standard_normal((4, pairs, count))
    carried = model.next_night ** (knots.hours_to_next / 24.0)
    for knot in range(1, count):
        kept = carried[knot - 1]
        steps[:, :, knot] = kept * steps[:, :, knot - 1] + np.sqrt(1.0 - kept**2) * steps[:, :, knot]
    middle = np.zeros((4, members % 2, count))
    cloud, wind, rest, moist = _even(np.concatenate([steps, middle, -steps], axis=1))
    by_cloud = np.where(knots.is_night, model.by_cloud, model.by_cloud_day)
    by_wind = np.where(knots.is_night, model.by_wind, 0.0)
    by_rest = np.sqrt(1.0 - by_cloud**2 - by_wind**2)
    air = _even((by_cloud * cloud + by_wind * wind + by_rest * rest)[None])[0]
    dew = _even((model.dew_with_air * air + np.sqrt(1.0 - model.dew_with_air**2) * moist)[None])[0]
    return {"cloud": cloud, "wind": wind, "air": air, "dew": dew}


def _even(drawn: FloatArray) -> FloatArray:
    """Put draws [variable, member, knot] at evenly spread normal quantiles in their own order."""
    members = drawn.shape[1]
    normal = NormalDist()
    quantiles = np.array([normal.inv_cdf((rank + 0.5) / members) for rank in range(members)])
    quantiles = (quantiles - quantiles[::-1]) / 2.0  # exactly symmetric
    ranks = drawn.argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    return np.asarray(quantiles[ranks])


def _joined(drawn: dict[str, FloatArray], knots: _Knots, times: TimeArray) -> dict[str, FloatArray]:
    """Join the errors of successive knots smoothly, keeping their spread; shape [member, time]."""
    left, later = _between(knots, times)
    joined = {}
    for name, scores in drawn.items():
        mixed = (1.0 - later) * scores[:, left] + later * scores[:, left + 1]
        here, there = (scores**2).mean(axis=0)[left], (mixed**2).mean(axis=0)
        joined[name] = mixed * np.sqrt(np.divide(here, there, out=np.ones_like(there), where=there > 0))
    return joined


def _between(knots: _Knots, times: TimeArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Give the knot before each time and the share of the next one, which grows smoothly from 0 to 1."""
    seconds = times.astype(np.int64).astype(np.float64)
    left = np.searchsorted(knots.seconds, seconds, side="right") - 1
    share = (seconds - knots.seconds[left]) / np.diff(knots.seconds)[left]
    return left, np.asarray(share**2 * (3.0 - 2.0 * share))


def _cloud(forcing: Forcing, error: FloatArray) -> FloatArray:
    """Add an error to the cloud within its limits; rain keeps its cloud."""
    floor = np.where(forcing.rain_mm >= WET_MM, np.minimum(forcing.cloud, WET_CLOUD), 0.0)
    return np.asarray(np.clip(forcing.cloud + error, floor, 1.0))


def _sun(forcing: Forcing, cloud: FloatArray) -> FloatArray:
    """Let the sun follow the cloud, up to a clear sky or the forecast's own sun."""
    clear = clear_sun(forcing.time_utc, forcing.latitude_deg, forcing.longitude_deg)
    followed = forcing.shortwave_w_m2 * cloud_transmission(cloud) / cloud_transmission(forcing.cloud)
    return np.asarray(np.minimum(followed, np.maximum(clear, forcing.shortwave_w_m2)))
