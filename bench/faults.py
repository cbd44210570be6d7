"""Faults put into clean readings of real thermometers: how many are found, and how often is a clean one accused?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.networks import Network
from fruitwall.learning.sensors import Course, Trouble, find_troubles

FloatArray = NDArray[np.float64]

DAYS, STEP_DAYS = 30, 15
"""Length of the stretches, and how far one begins after the other. [d]"""

KNOWN_SHARE = 0.9
"""A stretch counts if so much of it was read."""


@dataclass(frozen=True, eq=False)
class Stretch:
    """Thirty days of one thermometer.

    Attributes
    ----------
    network, name : str
    time_h, value_c : ndarray [reading]
        Where it was read. [h], [°C]
    course : Course
    """

    network: str
    name: str
    time_h: FloatArray
    value_c: FloatArray
    course: Course


def stretches(network: Network) -> Iterator[Stretch]:
    """Cut a network's readings."""
    hours = (network.time_utc - network.time_utc[0]) / np.timedelta64(1, "h")
    day = network.time_utc.astype("datetime64[D]")
    of_day = (network.time_utc - day) / np.timedelta64(1, "h")
    known = np.isfinite(network.course_c)
    air = np.interp(hours, hours[known], network.course_c[known])
    for name, read in network.read_c.items():
        good = known & np.isfinite(read)
        for first in np.arange(0.0, hours[-1] - 24.0 * DAYS + 1.0, 24.0 * STEP_DAYS):
            some = (hours >= first) & (hours < first + 24.0 * DAYS)
            if (good & some).sum() < KNOWN_SHARE * some.sum():
                continue
            course = Course(hours[some], air[some], network.sun_w_m2[some], network.dark[some], of_day[some])
            yield Stretch(network.name, name, hours[good & some], read[good & some], course)


Fault = Callable[[np.random.Generator, Stretch], tuple[FloatArray, FloatArray]]


def _changed(
    share: Callable[[np.random.Generator, Stretch], NDArray[np.bool_]], how: Callable[[FloatArray], FloatArray]
) -> Fault:
    """A fault that changes some numbers."""

    def fault(rng: np.random.Generator, one: Stretch) -> tuple[FloatArray, FloatArray]:
        value = one.value_c.copy()
        at = share(rng, one)
        value[at] = how(value[at])
        return one.time_h, value

    return fault


def _all(rng: np.random.Generator, one: Stretch) -> NDArray[np.bool_]:
    return np.ones(one.time_h.size, dtype=bool)


def _days(count: float) -> Callable[[np.random.Generator, Stretch], NDArray[np.bool_]]:
    """So many days in a row, anywhere."""

    def chosen(rng: np.random.Generator, one: Stretch) -> NDArray[np.bool_]:
        first = rng.uniform(one.time_h[0], one.time_h[-1] - 24.0 * count)
        return np.asarray((one.time_h >= first) & (one.time_h <= first + 24.0 * count))

    return chosen


def _one_of(low: float, high: float) -> Callable[[np.random.Generator, Stretch], NDArray[np.bool_]]:
    """One reading of those between two values."""

    def chosen(rng: np.random.Generator, one: Stretch) -> NDArray[np.bool_]:
        at = np.zeros(one.time_h.size, dtype=bool)
        able = np.flatnonzero((one.value_c >= low) & (one.value_c <= high))
        if able.size:
            at[rng.choice(able)] = True
        return at

    return chosen


def _clock(hours: float) -> Fault:
    return lambda rng, one: (one.time_h + hours, one.value_c)


def _lag(hours: float) -> Fault:
    def fault(rng: np.random.Generator, one: Stretch) -> tuple[FloatArray, FloatArray]:
        out = one.value_c.copy()
        for at in range(1, out.size):
            share = 1.0 - np.exp(-(one.time_h[at] - one.time_h[at - 1]) / hours)
            out[at] = out[at - 1] + share * (one.value_c[at] - out[at - 1])
        return one.time_h, out

    return fault


def _sunned(kelvin: float) -> Fault:
    """As much warmer in 400 W/m² for three hours about the brightest of the day."""

    def fault(rng: np.random.Generator, one: Stretch) -> tuple[FloatArray, FloatArray]:
        sun = np.interp(one.time_h, one.course.time_h, one.course.sun_w_m2)
        hour = np.interp(one.time_h, one.course.time_h, one.course.hour_of_day)
        brightest = hour[np.argmax(sun)]
        near = np.abs((hour - brightest + 12.0) % 24.0 - 12.0) <= 1.5
        return one.time_h, one.value_c + near * kelvin * sun / 400.0

    return fault


def _drifting(kelvin: float) -> Fault:
    return lambda rng, one: (
        one.time_h,
        one.value_c + kelvin * (one.time_h - one.time_h[0]) / (one.time_h[-1] - one.time_h[0]),
    )


def _holed(rng: np.random.Generator, one: Stretch) -> tuple[FloatArray, FloatArray]:
    """Three holes of a day and a half."""
    kept = np.ones(one.time_h.size, dtype=bool)
    for first in rng.uniform(one.time_h[0] + 24.0, one.time_h[-1] - 72.0, 3):
        kept &= (one.time_h < first) | (one.time_h > first + 36.0)
    return one.time_h[kept], one.value_c[kept]


def _frozen(hours: float) -> Fault:
    def fault(rng: np.random.Generator, one: Stretch) -> tuple[FloatArray, FloatArray]:
        value = one.value_c.copy()
        at = np.flatnonzero(_days(hours / 24.0)(rng, one))
        value[at] = value[at[0]]
        return one.time_h, value

    return fault


FAULTS: dict[str, tuple[str, Fault]] = {
    "°F taken for °C, all along": ("fahrenheit", _changed(_all, lambda c: c * 1.8 + 32.0)),
    "°F taken for °C, three days": ("fahrenheit", _changed(_days(3.0), lambda c: c * 1.8 + 32.0)),
    "°C taken for °F, three days": ("celsius", _changed(_days(3.0), lambda c: (c - 32.0) / 1.8)),
    "one point lost: 2.8 as 28": ("tenfold", _changed(_one_of(1.5, 6.0), lambda c: c * 10.0)),
    "one point too many: 14 as 1.4": ("tenth", _changed(_one_of(12.0, 40.0), lambda c: c / 10.0)),
    "one minus lost: -4 as 4": ("sign", _changed(_one_of(-20.0, -4.0), lambda c: -c)),
    "flat battery: still for two days": ("stuck", _frozen(48.0)),
    "clock 12 h off": ("clock", _clock(12.0)),
    "clock 3 h fast": ("clock", _clock(3.0)),
    "clock 1 h slow (summer time)": ("clock", _clock(-1.0)),
    "lag of 4 h": ("lag", _lag(4.0)),
    "in the sun for three hours, 10 K": ("sun", _sunned(10.0)),
    "in the sun for three hours, 5 K": ("sun", _sunned(5.0)),
    "drift of 4 K in 30 days": ("drift", _drifting(4.0)),
    "drift of 2 K in 30 days": ("drift", _drifting(2.0)),
    "three holes of 36 h": ("gaps", _holed),
}
"""Each with the trouble that it should be called."""


@dataclass(frozen=True)
class Rate:
    """How often a fault was found.

    Attributes
    ----------
    fault, kind : str
    found, tried : int
    others : int
        Stretches in which something else was found besides, or in its place.
    """

    fault: str
    kind: str
    found: int
    tried: int
    others: int


def find_in(one: Stretch, time_h: FloatArray, value_c: FloatArray) -> list[Trouble]:
    """Look for troubles."""
    return find_troubles(time_h, value_c, one.course)


def rates(some: list[Stretch], seed: int = 20261127) -> list[Rate]:
    """Put every fault into every stretch.

    Parameters
    ----------
    some : list of Stretch
    seed : int

    Returns
    -------
    list of Rate
        The first is of clean stretches: `found` are those in which anything was found.
    """
    rng = np.random.default_rng(seed)
    clean = [{trouble.kind for trouble in find_in(one, one.time_h, one.value_c)} for one in some]
    made = [Rate("nothing put in", "", sum(map(bool, clean)), len(some), 0)]
    for name, (kind, fault) in FAULTS.items():
        found = others = tried = 0
        for one, before in zip(some, clean, strict=True):
            time_h, value_c = fault(rng, one)
            if time_h is one.time_h and np.array_equal(value_c, one.value_c):
                continue  # no reading that could be mistyped so
            kinds = {trouble.kind for trouble in find_in(one, time_h, value_c)}
            tried += 1
            found += kind in kinds
            others += bool(kinds - before - {kind})
        made.append(Rate(name, kind, found, tried, others))
    return made
