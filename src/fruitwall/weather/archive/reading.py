"""Files of many years: which format a file has is told by its content, never by its name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fruitwall.errors import WeatherError
from fruitwall.speech import say
from fruitwall.weather.archive.ghcn import is_ghcn, read_ghcn
from fruitwall.weather.archive.isd import is_isd_lite, read_isd_lite
from fruitwall.weather.archive.likeness import Likeness
from fruitwall.weather.archive.netcdf import is_netcdf, read_netcdf
from fruitwall.weather.archive.record import Record, read_bytes, together
from fruitwall.weather.archive.tables import (
    OPEN_METEO_START,
    POWER_START,
    read_documented,
    read_open_meteo,
    read_power,
)
from fruitwall.weather.archive.whole import forcings_of
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.place import Place


def read_archive(
    paths: Sequence[Path], *, place: Place | None, likeness: Likeness | None = None
) -> tuple[Forcing, ...]:
    """Read past weather of one place.

    Parameters
    ----------
    paths : sequence of Path
        Files of one station or grid point that go together, such as one for each year; gzip too.
    place : Place or None
        For files that do not name theirs, and which point of a grid is meant.
    likeness : Likeness, optional
        Days from which dew point, wind and cloud are drawn where they are missing.

    Returns
    -------
    tuple of Forcing
        Pieces between long holes, oldest first.

    Raises
    ------
    WeatherError
        One clear message with file, line and mend.
    """
    names = [path.name for path in paths]
    record = together([read_record(path, place=place) for path in paths], names)
    return forcings_of(record, names[0], likeness=likeness)


def read_record(path: Path, *, place: Place | None) -> Record:
    """Read one file as it is, with its holes; see `read_archive`."""
    where = path.name
    body = read_bytes(path)
    if is_netcdf(body):
        return read_netcdf(body, where=where, place=place)
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise WeatherError(
            say("{path}: no UTF-8 text (byte {start}); save it as CSV in UTF-8", path=where, start=error.start)
        ) from error
    first = text.lstrip("\n").split("\n", 1)[0].rstrip("\r")
    if first.startswith(POWER_START):
        return read_power(text, where=where)
    if first.lower().startswith(OPEN_METEO_START):
        return read_open_meteo(text, where=where)
    if is_isd_lite(first):
        return read_isd_lite(text, where=where, place=place)
    if is_ghcn(first):
        return read_ghcn(text, where=where, place=place, beside=path.parent)
    return read_documented(text, where=where, place=place)
