"""Reading JSON answers with messages that name the path, for all services."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say
from fruitwall.weather.units import convert

MISSING = object()

LONGEST_FORECAST_H = 24 * 120
"""More hours than any service forecasts, with up to three months of past days; bounds what an answer may make us
allocate. [h]"""


def dig(document: Any, path: str, where: str, *, kind: type | tuple[type, ...] = object, default: Any = MISSING) -> Any:
    """Follow a dotted path such as ``properties.meta.updated_at`` through objects.

    Raises
    ------
    WeatherError
        If it leads nowhere and there is no default, or to another kind of value.
    """
    found = document
    for step in path.split("."):
        if not isinstance(found, dict) or step not in found:
            if default is not MISSING:
                return default
            raise WeatherError(
                say("{where}: no {path} in the answer; it is cut off or of another kind", where=where, path=path)
            )
        found = found[step]
    if found is None and default is not MISSING:
        return default
    if not isinstance(found, kind):
        raise WeatherError(
            say(
                "{where}: {path} holds {given}, which is not of the expected kind",
                where=where,
                path=path,
                given=describe(found),
            )
        )
    return found


def describe(value: Any) -> str:
    """Say what a JSON value is, shortly."""
    if isinstance(value, dict):
        return say("an object")
    if isinstance(value, list):
        return say("a list")
    return repr(value) if len(repr(value)) <= 40 else f"{repr(value)[:37]}..."


def read_instant(text: Any, path: str, where: str) -> datetime:
    """Read an ISO 8601 time with offset.

    Raises
    ------
    WeatherError
        If it is no time or has no offset.
    """
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is None:
            raise ValueError("no offset")
        return moment.astimezone(UTC)
    except (TypeError, ValueError) as error:
        raise WeatherError(
            say(
                "{where}: {path} should be a time with offset, got {given}",
                where=where,
                path=path,
                given=describe(text),
            )
        ) from error


def read_numbers(values: Sequence[Any], unit: str, kind: str, path: str, where: str) -> NDArray[np.float64]:
    """Turn JSON numbers and nulls into our unit; null becomes NaN.

    Raises
    ------
    WeatherError
        If a value is no number or the unit is not known.
    """
    for value in values:
        if value is not None and (isinstance(value, bool) or not isinstance(value, (int, float))):
            raise WeatherError(
                say(
                    "{where}: {path} should hold numbers, got {given}",
                    where=where,
                    path=path,
                    given=describe(value),
                )
            )
    try:
        numbers = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
        return convert(numbers, unit, kind)
    except ValueError as error:
        raise WeatherError(say("{where}: {path}: {error}", where=where, path=path, error=error)) from error
