"""What a file of many years holds, before it is made whole: days or hours with holes.

Readers of all formats end in one of these two; `archive.whole` makes forcings of them.
"""

from __future__ import annotations

import gzip
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say
from fruitwall.weather.place import Place

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

DAILY_VALUES = ("t_min_c", "t_max_c", "t_dew_c", "wind_m_s", "cloud", "rain_mm")
"""What a day may have: extremes, means (dew point, wind, cloud), sum of rain."""

MOST_BYTES = 400_000_000
"""Of a file, unpacked: sixty years of hours in a wide table are about 100 MB. [B]"""

GZIP_MAGIC = b"\x1f\x8b"


@dataclass(frozen=True, eq=False)
class DailyRecord:
    """Days of one place, in order; dates may be missing.

    Attributes
    ----------
    dates : ndarray of datetime64[D], shape (day,)
        Increasing, of the place's own clock.
    values : mapping of str to ndarray, shape (day,)
        Some of `DAILY_VALUES`, NaN where missing; both extremes always.
    place : Place
    source : str
        In words for the user.
    wind_height_m : float
        [m]
    notes : tuple of str
        For the user.
    """

    dates: TimeArray
    values: Mapping[str, FloatArray]
    place: Place
    source: str
    wind_height_m: float = 10.0
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True, eq=False)
class HourlyRecord:
    """Hours of one place, in order; hours may be missing.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (hour,)
        Increasing, whole hours apart.
    values : mapping of str to ndarray, shape (hour,)
        As `weather.assemble.NAMES`, NaN where missing; air temperature always.
    place, source, wind_height_m, notes
        As in `DailyRecord`.
    """

    time_utc: TimeArray
    values: Mapping[str, FloatArray]
    place: Place
    source: str
    wind_height_m: float = 10.0
    notes: tuple[str, ...] = field(default=())


Record = DailyRecord | HourlyRecord


def in_order(stamps: Sequence[np.datetime64] | TimeArray, unit: str) -> tuple[TimeArray, NDArray[np.int64]]:
    """Give stamps in order, each once, and where each stood first."""
    found, first = np.unique(np.asarray(stamps, dtype=f"datetime64[{unit}]"), return_index=True)
    return found, first.astype(np.int64)


def together(records: Sequence[Record], where: Sequence[str]) -> Record:
    """Put files of one place after each other, such as a file for each year.

    Parameters
    ----------
    records : sequence of record
        At least one, all hourly or all daily.
    where : sequence of str
        Their names for messages.

    Returns
    -------
    DailyRecord or HourlyRecord
        Where two hold the same stamp the first one counts.

    Raises
    ------
    WeatherError
        If they do not belong together.
    """
    first = records[0]
    for one, name in zip(records[1:], where[1:], strict=True):
        if type(one) is not type(first):
            raise WeatherError(
                say("{where} and {other}: one is hourly, the other daily; give them apart", where=where[0], other=name)
            )
        if one.place.distance_km(first.place) > 1.0 or one.wind_height_m != first.wind_height_m:
            raise WeatherError(
                say("{where} and {other} are of two places; give them apart", where=where[0], other=name)
            )
    names = list(dict.fromkeys(name for one in records for name in one.values))
    stamps = [one.dates if isinstance(one, DailyRecord) else one.time_utc for one in records]
    times, at = in_order(np.concatenate(stamps), "D" if isinstance(first, DailyRecord) else "s")
    values = {
        name: np.concatenate(
            [one.values.get(name, np.full(own.size, np.nan)) for one, own in zip(records, stamps, strict=True)]
        )[at]
        for name in names
    }
    notes = tuple(dict.fromkeys(note for one in records for note in one.notes))
    if isinstance(first, DailyRecord):
        return replace(first, dates=times, values=values, notes=notes)
    return replace(first, time_utc=times, values=values, notes=notes)


def read_bytes(path: Path) -> bytes:
    """Read a file whole, unpacked where it is gzip.

    Raises
    ------
    WeatherError
        If it is not there, too large or damaged.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _too_large(path)
        body = path.read_bytes()
        if not body.startswith(GZIP_MAGIC):
            return body
        with gzip.open(path) as packed:
            body = packed.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        raise WeatherError(say("{path}: no such file", path=path)) from error
    except (EOFError, gzip.BadGzipFile) as error:
        raise WeatherError(
            say("{path}: the packed file is cut short or damaged; download it again", path=path)
        ) from error
    except OSError as error:
        raise WeatherError(
            say("{path}: cannot be read ({reason})", path=path, reason=error.strerror or error)
        ) from error
    if len(body) > MOST_BYTES:
        raise _too_large(path)
    return body


def _too_large(path: Path) -> WeatherError:
    return WeatherError(
        say("{path}: larger than {most} MB, which no weather file is", path=path, most=MOST_BYTES // 1_000_000)
    )


def need_place(place: Place | None, where: str) -> Place:
    """Give the place, or ask for it.

    Raises
    ------
    WeatherError
        If there is none.
    """
    if place is None:
        raise WeatherError(
            say(
                '{where}: the file does not say where it holds; name the place, as with "--place 29.69,-82.28,40"',
                where=where,
            )
        )
    return place
