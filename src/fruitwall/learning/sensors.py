"""What is wrong with a thermometer? Found in its readings beside what the weather and the place should have given.

Each trouble has its own shape: °F taken for °C is a wrong scale, a wrong clock the right course at the wrong hour, a
thermometer in the sun too warm in the same hours of bright days, a flat battery a value that stands still while the
air does not. Thresholds are ours, set so that clean thermometers of four networks (bench/data) seldom raise an alarm;
how seldom, and what of each put-in fault is found, is in docs/learning-spots.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

Kind = Literal[
    "fahrenheit", "celsius", "tenfold", "tenth", "sign", "odd",
    "stuck", "clock", "lag", "sun", "drift", "gaps", "silent",
]  # fmt: skip

MISTYPED = ("fahrenheit", "celsius", "tenfold", "tenth", "sign")
"""Troubles of single numbers that another reading of the same digits mends."""

FAR_K = {"fahrenheit": 12.0, "celsius": 10.0, "tenfold": 8.0, "tenth": 8.0, "sign": 6.0}
"""How far from what was expected a number must be to be doubted, by what it might have been meant as. °F for °C is off
by 16 K at -20 °C and more above; weather and place together are seldom off by 8. [K]"""

NEAR_K = {"fahrenheit": 6.0, "celsius": 5.0, "tenfold": 3.0, "tenth": 3.0, "sign": 2.0}
"""How near it must come when read as that; and at least three times nearer than as it stands. [K]"""

FAR_SD, USUAL_AT_LEAST_K = 5.0, 0.5
"""A slip of the pen is also so many times further off than the thermometer's readings usually are, either way. [-], [K]
"""

LEAP_K, LEAP_H = 6.0, 3.0
"""And it leaps from the readings before and after by so much, where there are such within so many hours. [K], [h]"""

ODD_K = 14.0
"""So far off, and like nothing that is known, a reading is only called odd. [K]"""

STUCK_H, STUCK_READINGS, STUCK_WHILE_K = 6.0, 8, 5.0
"""A value that stands still for so long and so many readings, while the air should change by so much. [h], [K]"""

DAYS_OF_A_COURSE, HOURS_OF_A_COURSE = 4.0, 60
"""Days and readings from which on the hours of a course can be compared."""

CLOCK_H = np.arange(-12.0, 12.01, 0.5)
"""Errors of the clock that are tried. [h]"""

CLOCK_FROM_H = 1.5
"""Smaller ones are not told from the lag of a place: its morning may come an hour later than that of the model. [h]"""

LAG_H = np.array([0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 9.0])
"""Time constants that are tried. [h]"""

LAG_FROM_H = 1.5

BETTER = 0.6
"""Share of the mean square that may be left by a course at other hours, or lagging, to be believed."""

BLOCKS, BLOCKS_AGREE_H = 4, 1.5
"""A wrong clock is wrong all the time: so many parts of the series must each call for it, within so many hours."""

SUN_LEAST_W_M2, BRIGHT, DULL = 120.0, 0.6, 0.3
"""An hour is bright from so much of the brightest hour's sun on, where that is enough to warm a thermometer, and dull
below so much of it. [W/m²], [0-1]"""

SUN_K, SUN_MORE_K, SUN_DAYS = 5.0, 2.0, 4
"""How much warmer than at night, and than in the same hours of dull days, bright hours must be, on so many days. [K]"""

DRIFT_NIGHTS, DRIFT_K, DRIFT_Z = 20, 2.0, 4.5
"""Nights, change over them and its size over its standard error from which on a drift is believed. [K]"""

GAP_STEPS, GAP_H, GAPS_SHARE = 4.0, 6.0, 0.1
"""A hole is longer than so many usual steps and so many hours; holes are told where they take more than this share."""

SILENT_H = 24.0
"""A logger that is silent for longer than this is asked after. [h]"""


@dataclass(frozen=True, eq=False)
class Course:
    """What should have been read: hourly, without gaps.

    Attributes
    ----------
    time_h : ndarray [hour]
        Hours since any moment, rising.
    air_c : ndarray [hour]
        Air at the thermometer by physics, or by its neighbours. [°C]
    sun_w_m2 : ndarray [hour]
        On level ground.
    dark : ndarray of bool [hour]
    hour_of_day : ndarray [hour]
        By the sun or the clock; of use only to tell one hour of the day from another.
    """

    time_h: Array
    air_c: Array
    sun_w_m2: Array
    dark: Mask
    hour_of_day: Array


@dataclass(frozen=True, eq=False)
class Trouble:
    """Something that is wrong with a thermometer.

    Attributes
    ----------
    kind : str
    since_h, until_h : float
        Of the first and last reading concerned, on the clock of the course. [h]
    readings : int
        How many show it.
    size : float
        In kelvin: how far off (`MISTYPED`, odd, sun, drift); in hours: clock (positive: it is fast), lag, stuck, the
        longest hole, the silence.
    wrong : ndarray of bool [reading]
        Readings that must not be learned from as they stand.
    hours : tuple of int
        Hours of the day in which the sun falls on it; empty for other troubles.
    """

    kind: Kind
    since_h: float
    until_h: float
    readings: int
    size: float
    wrong: Mask
    hours: tuple[int, ...] = ()


def doubts(value_c: ArrayLike, expected_c: ArrayLike) -> NDArray[np.str_]:
    """Tell what single numbers might have been meant as.

    Parameters
    ----------
    value_c, expected_c : array_like, broadcast
        As entered, and what was expected. [°C]

    Returns
    -------
    ndarray of str, broadcast shape
        A kind of `MISTYPED`, "odd", or "" where nothing is doubtful. NaN is not.
    """
    value, expected = np.broadcast_arrays(
        np.asarray(value_c, dtype=np.float64), np.asarray(expected_c, dtype=np.float64)
    )
    off = np.abs(value - expected)
    found = np.where(off >= ODD_K, "odd", "").astype("U10")
    nearest = np.full(off.shape, np.inf)
    for kind in MISTYPED:
        left = np.abs(meant(value, kind) - expected)
        fits = (off >= FAR_K[kind]) & (left <= NEAR_K[kind]) & (3.0 * left < off) & (left < nearest)
        found = np.where(fits, kind, found)
        nearest = np.where(fits, left, nearest)
    return found


def meant(value_c: ArrayLike, kind: str) -> Array:
    """Read a number as what it was meant as.

    Parameters
    ----------
    value_c : array_like
        As it was taken. [°C]
    kind : str
        Of `MISTYPED`: "fahrenheit" was read in °F and taken for °C, "celsius" the other way round.

    Returns
    -------
    ndarray
        [°C]
    """
    value = np.asarray(value_c, dtype=np.float64)
    ways: dict[str, Callable[[Array], Array]] = {
        "fahrenheit": lambda v: (v - 32.0) / 1.8,
        "celsius": lambda v: v * 1.8 + 32.0,
        "tenfold": lambda v: v / 10.0,
        "tenth": lambda v: v * 10.0,
        "sign": lambda v: -v,
    }
    return np.asarray(ways[kind](value))


def find_troubles(time_h: Array, value_c: Array, course: Course, *, now_h: float | None = None) -> list[Trouble]:
    """Find what is wrong with one thermometer.

    Parameters
    ----------
    time_h, value_c : ndarray [reading]
        When it was read, rising, on the clock of the course, and what. [h], [°C]
    course : Course
        What should have been read. Readings outside of it count for holes and silence only.
    now_h : float, optional
        The present, for a logger that is silent; left out, silence is not looked for. [h]

    Returns
    -------
    list of Trouble
        In the order: single numbers, standing still, clock, lag, sun, drift, holes, silence.

    Raises
    ------
    ValueError
        If lengths differ, times do not rise, or values are missing.
    """
    if time_h.shape != value_c.shape or time_h.ndim != 1:
        raise ValueError(f"time_h and value_c must be of one length, got {time_h.shape} and {value_c.shape}")
    if not (np.isfinite(time_h).all() and np.isfinite(value_c).all()):
        raise ValueError("readings must not miss values")
    if (np.diff(time_h) <= 0).any():
        raise ValueError("time_h must rise")
    if not time_h.size:
        return []
    look = _Look(time_h, value_c, course)
    found = [*_mistyped(look), *_stuck(look)]
    for one in found:
        look.good &= ~one.wrong
    found += _clock_or_lag(look)
    if not any(one.kind == "clock" for one in found):
        found += _sun(look)
    return [*found, *_drift(look), *_holes(look, now_h)]


class _Look:
    """One thermometer's readings beside its course."""

    def __init__(self, time_h: Array, value_c: Array, course: Course) -> None:
        self.time_h, self.value_c, self.course = time_h, value_c, course
        self.inside = (time_h >= course.time_h[0]) & (time_h <= course.time_h[-1])
        self.expected = np.interp(time_h, course.time_h, course.air_c)
        self.off = value_c - self.expected
        nearest = np.clip(np.rint(time_h - course.time_h[0]), 0, course.time_h.size - 1).astype(np.int64)
        self.dark = course.dark[nearest]
        # Sun is given for the hour that ends at the stamp.
        coming = np.clip(np.ceil(time_h - course.time_h[0]), 0, course.time_h.size - 1).astype(np.int64)
        self.sun, self.hour = course.sun_w_m2[coming], course.hour_of_day[nearest]
        self.good = self.inside.copy()
        self.step_h = float(np.median(np.diff(time_h))) if time_h.size > 1 else np.inf

    def trouble(self, kind: Kind, at: Mask, size: float, *, wrong: bool, hours: tuple[int, ...] = ()) -> Trouble:
        """Make a trouble of the readings that show it."""
        times = self.time_h[at]
        none = np.zeros(at.size, dtype=bool)
        return Trouble(kind, float(times[0]), float(times[-1]), int(at.sum()), size, at if wrong else none, hours)


def _mistyped(look: _Look) -> list[Trouble]:
    """Numbers that are another number in disguise."""
    kinds = _in_a_row(look, np.where(look.inside, doubts(look.value_c, look.expected), ""))
    leaps = _leaps(look)
    found = []
    for kind in (*MISTYPED, "odd"):
        at = kinds == kind
        if kind not in ("fahrenheit", "celsius"):
            at &= leaps & _alone(at)
        if at.any():
            found.append(look.trouble(kind, at, float(np.median(look.off[at])), wrong=True))  # type: ignore[arg-type]
    return found


def _in_a_row(look: _Look, kinds: NDArray[np.str_]) -> NDArray[np.str_]:
    """Count numbers beside some of another unit as of that unit too, where they fit it: 36 may be 3.6 °C or 36 °F."""
    kinds = kinds.copy()
    for kind in ("fahrenheit", "celsius"):
        left = np.abs(meant(look.value_c, kind) - look.expected)
        fits = (kinds != "") & (left <= NEAR_K[kind]) & (np.abs(look.off) >= FAR_K[kind])
        for _ in range(fits.size):
            sure = kinds == kind
            beside = np.zeros(sure.size, dtype=bool)
            beside[1:] |= sure[:-1]
            beside[:-1] |= sure[1:]
            more = beside & fits & ~sure
            if not more.any():
                break
            kinds[more] = kind
    return kinds


def _leaps(look: _Look) -> Mask:
    """Readings far off by the thermometer's own measure, and by that of the readings beside them."""
    off = look.off[look.inside]
    middle = float(np.median(off)) if off.size else 0.0
    usual = 1.4826 * float(np.median(np.abs(off - middle))) if off.size else 0.0
    far = np.abs(look.off - middle) >= FAR_SD * max(usual, USUAL_AT_LEAST_K)
    for shift in (1, -1):
        beside = np.roll(look.value_c, shift)
        near = np.abs(np.roll(look.time_h, shift) - look.time_h) <= LEAP_H
        # A slip may come in a pair: the reading beyond it is asked as well.
        beyond = np.roll(look.value_c, 2 * shift)
        leap = np.maximum(np.abs(look.value_c - beside), np.abs(look.value_c - beyond)) >= LEAP_K
        far &= leap | ~near
    return far


def _alone(at: Mask) -> Mask:
    """Those of which no more than two stand in a row: slips of the pen do not come in series."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(np.int8), [0]])))
    alone = np.zeros(at.size, dtype=bool)
    for first, end in edges.reshape(-1, 2):
        alone[first:end] = end - first <= 2
    return alone


def _stuck(look: _Look) -> list[Trouble]:
    """One value over hours in which the air changed."""
    same = np.concatenate([[False], np.abs(np.diff(look.value_c)) < 1e-9, [False]])
    edges = np.flatnonzero(np.diff(same.astype(np.int8)))
    at = np.zeros(look.time_h.size, dtype=bool)
    longest = 0.0
    for first, last in edges.reshape(-1, 2):
        some = slice(first, last + 1)
        hours = look.time_h[last] - look.time_h[first]
        known = look.inside[some]
        if hours < STUCK_H or last + 1 - first < STUCK_READINGS or not known.all():
            continue
        if np.ptp(look.expected[some]) >= STUCK_WHILE_K:
            at[some] = True
            longest = max(longest, float(hours))
    return [look.trouble("stuck", at, longest, wrong=True)] if at.any() else []


def _misfit(value: Array, expected: Array) -> float:
    """Mean square left by the best straight line through the expected course, which may be steeper or flatter."""
    v, e = value - value.mean(), expected - expected.mean()
    power = float(e @ e)
    slope = max(float(e @ v) / power, 0.0) if power > 0.0 else 0.0
    return float(((v - slope * e) ** 2).mean())


def _clock_or_lag(look: _Look) -> list[Trouble]:
    """The right course at the wrong hour, or running after it."""
    time, value = look.time_h[look.good], look.value_c[look.good]
    course = look.course
    if time.size < HOURS_OF_A_COURSE or time[-1] - time[0] < 24.0 * DAYS_OF_A_COURSE:
        return []
    if look.step_h > 3.0:
        return []

    def moved(hours: float, which: Mask | slice = slice(None)) -> float:
        """Misfit of a clock that is fast by so many hours."""
        return _misfit(value[which], np.interp(time[which] - hours, course.time_h, course.air_c))

    plain = moved(0.0)
    by_shift = np.array([moved(hours) for hours in CLOCK_H])
    shift = float(CLOCK_H[np.argmin(by_shift)])
    by_lag = np.array([_misfit(value, np.interp(time, course.time_h, _lagging(course, hours))) for hours in LAG_H])
    lag = float(LAG_H[np.argmin(by_lag)])
    if by_lag.min() <= by_shift.min() and lag >= LAG_FROM_H and by_lag.min() <= BETTER * plain:
        return [look.trouble("lag", look.good, lag, wrong=False)]
    if abs(shift) < CLOCK_FROM_H or by_shift.min() > BETTER * plain:
        return []
    edges = np.linspace(time[0], time[-1], BLOCKS + 1)
    for first, last in pairwise(edges):
        some = (time >= first) & (time <= last)
        if some.sum() < 12:
            return []
        best = float(CLOCK_H[np.argmin([moved(hours, some) for hours in CLOCK_H])])
        if abs(best - shift) > BLOCKS_AGREE_H:
            return []
    return [look.trouble("clock", look.good, shift, wrong=False)]


def _lagging(course: Course, hours: float) -> Array:
    """The course as a thermometer of such a time constant would show it."""
    share = 1.0 - np.exp(-1.0 / hours)
    out = np.empty_like(course.air_c)
    now = float(course.air_c[0])
    for at, air in enumerate(course.air_c):
        now += share * (float(air) - now)
        out[at] = now
    return out


def _sun(look: _Look) -> list[Trouble]:
    """Warm in the same hours of bright days, and not of dull ones."""
    good, hour = look.good, np.rint(look.hour).astype(np.int64) % 24
    night = look.off[good & look.dark]
    if night.size < 10:
        return []
    usual, brightest = float(np.median(night)), float(look.course.sun_w_m2.max())
    hours, excess = [], []
    at = np.zeros(good.size, dtype=bool)
    for each in range(24):
        here = good & ~look.dark & (hour == each)
        bright = here & (look.sun >= max(BRIGHT * brightest, SUN_LEAST_W_M2))
        dull = here & (look.sun < DULL * brightest)
        days = np.unique(np.floor(look.time_h[bright] / 24.0)).size
        if days < SUN_DAYS:
            continue
        warm = float(np.median(look.off[bright])) - usual
        dulls = np.unique(np.floor(look.time_h[dull] / 24.0)).size
        more = warm - (float(np.median(look.off[dull])) - usual) if dulls >= SUN_DAYS else np.inf
        if warm >= SUN_K and more >= SUN_MORE_K:
            hours.append(each)
            excess.append(warm)
            at |= bright
    if not hours:
        return []
    return [look.trouble("sun", at, max(excess), wrong=False, hours=tuple(hours))]


def _drift(look: _Look) -> list[Trouble]:
    """Off by more and more, or less and less, from night to night."""
    at = look.good & look.dark
    day = np.floor((look.time_h - 12.0) / 24.0)[at]
    nights, where = np.unique(day, return_inverse=True)
    if nights.size < DRIFT_NIGHTS:
        return []
    middle = np.array([np.median(look.off[at][where == one]) for one in range(nights.size)])
    apart = nights[None, :] - nights[:, None]
    later = apart > 0
    slope = float(np.median((middle[None, :] - middle[:, None])[later] / apart[later]))
    left = middle - slope * nights
    left = left - np.median(left)
    sd = 1.4826 * float(np.median(np.abs(left)))
    # Neighbouring nights are alike: as many independent ones as an autoregressive series has.
    alike = float(np.clip(np.corrcoef(left[1:], left[:-1])[0, 1], 0.0, 0.9)) if sd > 0.0 else 0.0
    free = nights.size * (1.0 - alike) / (1.0 + alike)
    spread = float(nights.std()) * np.sqrt(max(free, 2.0))
    change = slope * float(nights[-1] - nights[0])
    if abs(change) < DRIFT_K or abs(slope) < DRIFT_Z * max(sd, 0.05) / spread:
        return []
    return [look.trouble("drift", at, change, wrong=False)]


def _holes(look: _Look, now_h: float | None) -> list[Trouble]:
    """Hours that a logger left out, and since when it says nothing."""
    if look.time_h.size < 24 or look.step_h > 3.0:
        return []
    found = []
    steps = np.diff(look.time_h)
    holes = steps > max(GAP_STEPS * look.step_h, GAP_H)
    whole = float(look.time_h[-1] - look.time_h[0])
    if holes.any() and float(steps[holes].sum()) > GAPS_SHARE * whole:
        at = np.concatenate([[False], holes])
        found.append(look.trouble("gaps", at, float(steps[holes].max()), wrong=False))
    if now_h is not None and now_h - float(look.time_h[-1]) > max(SILENT_H, GAP_STEPS * look.step_h):
        at = np.zeros(look.time_h.size, dtype=bool)
        at[-1] = True
        found.append(look.trouble("silent", at, now_h - float(look.time_h[-1]), wrong=False))
    return found
