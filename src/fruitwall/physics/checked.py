"""Which values an argument may take, declared once and checked in one place.

A public function of this layer is decorated with `checked()`. Every numerical parameter must then have a `Range`,
from the table `RANGES` (a name means one thing everywhere) or from the decorator; a function with an undeclared
one does not import. What is declared is also data: `CHECKED` lists every function with its ranges, so that one
test can call all of them with values just outside.

NaN is let through (NaN in, NaN out); infinite values are refused unless the range includes them.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import numpy as np

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True)
class Range:
    """Allowed values of an argument: from `low` to `high`, either end open or closed."""

    low: float
    high: float
    unit: str = ""
    low_open: bool = False
    high_open: bool = False

    def words(self) -> str:
        """Say the range as it stands in messages, such as "greater than 0 and at most 2 m"."""
        unit = f" {self.unit}" if self.unit else ""
        lower = f"greater than {self.low:g}" if self.low_open else f"at least {self.low:g}"
        upper = f"less than {self.high:g}" if self.high_open else f"at most {self.high:g}"
        if math.isinf(self.high) and not self.high_open:
            return f"{lower}{unit}"
        return f"{lower} and {upper}{unit}"

    def refuses(self, values: np.ndarray) -> np.ndarray:
        """Tell which values lie outside; NaN does not."""
        below = values <= self.low if self.low_open else values < self.low
        above = values >= self.high if self.high_open else values > self.high
        return below | above

    def just_outside(self) -> list[float]:
        """Give the nearest refused numbers, for tests."""
        low = self.low if self.low_open else math.nextafter(self.low, -math.inf)
        if math.isinf(self.high):
            return [low, math.inf] if self.high_open else [low]
        return [low, self.high if self.high_open else math.nextafter(self.high, math.inf)]


TEMPERATURE = Range(-90.0, 90.0, "°C")
SHARE = Range(0.0, 1.0)

RANGES: dict[str, Range] = {
    # weather
    "t_c": TEMPERATURE,
    "t_air_c": TEMPERATURE,
    "t_dew_c": TEMPERATURE,
    "ea_kpa": Range(0.0, 75.0, "kPa"),
    "p_kpa": Range(30.0, 120.0, "kPa"),
    "rh_pct": Range(0.0, 100.0, "%"),
    "wind_m_s": Range(0.0, 120.0, "m/s"),
    "cloud": SHARE,
    "shortwave_w_m2": Range(0.0, 1500.0, "W/m²"),
    # place
    "elevation_m": Range(-500.0, 9000.0, "m"),
    "latitude_deg": Range(-90.0, 90.0, "degrees"),
    "longitude_deg": Range(-180.0, 180.0, "degrees"),
    # directions
    "azimuth_deg": Range(0.0, 360.0, "degrees"),
    "elevation_deg": Range(-90.0, 90.0, "degrees"),
    "tilt_deg": Range(0.0, 180.0, "degrees"),
    # surfaces
    "emissivity": SHARE,
    "albedo": SHARE,
}
"""Ranges by parameter name, for what more than one function takes."""

CHECKED: dict[Callable[..., Any], dict[str, Range]] = {}
"""Every decorated function with the ranges of its numerical parameters."""


def _is_number(annotation: object) -> bool:
    """Tell whether a parameter annotated so takes a number or an array of numbers."""
    return str(annotation).replace(" ", "") in {"ArrayLike", "float", "FloatArray", "ArrayLike|None", "float|None"}


def check_range(name: str, value: Any, allowed: Range) -> None:
    """Refuse a value outside its range.

    Parameters
    ----------
    name : str
        Argument as the caller knows it.
    value : array_like
        Number or numbers; NaN passes.
    allowed : Range
        What is allowed.

    Raises
    ------
    ValueError
        If any value lies outside, or is no number at all; the text names argument, range and the first bad value.
    """
    try:
        values = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be a number {allowed.words()}, got {value!r}") from None
    refused = allowed.refuses(values)
    if refused.any():
        first = float(values[refused].flat[0]) if values.ndim else float(values)
        raise ValueError(f"{name} must be {allowed.words()}, got {first!r}")


def checked(**ranges: Range) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Decorate a public function so that its numerical arguments are checked before it runs.

    Parameters
    ----------
    **ranges : Range
        By parameter name, for parameters that are not in `RANGES` or differ from it here.

    Returns
    -------
    callable
        Decorator that keeps the function's signature.

    Raises
    ------
    TypeError
        On import, if a numerical parameter has no range or a range no parameter.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        parameters = inspect.signature(function).parameters
        numbers = [name for name, parameter in parameters.items() if _is_number(parameter.annotation)]
        declared = {name: ranges.get(name, RANGES.get(name)) for name in [*numbers, *ranges]}
        missing = [name for name, allowed in declared.items() if allowed is None]
        unknown = [name for name in ranges if name not in parameters]
        if missing or unknown:
            raise TypeError(f"{function.__qualname__}: no range for {missing}, no parameter for {unknown}")
        table = {name: allowed for name, allowed in declared.items() if allowed is not None}
        positions = list(parameters)

        @wraps(function)
        def call(*args: P.args, **kwargs: P.kwargs) -> R:
            for name, value in (*zip(positions, args, strict=False), *kwargs.items()):
                allowed = table.get(name)
                if allowed is not None and value is not None:
                    check_range(name, value, allowed)
            return function(*args, **kwargs)

        CHECKED[call] = table
        return call

    return decorate
