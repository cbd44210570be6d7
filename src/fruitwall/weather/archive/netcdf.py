"""Reanalyses as NetCDF: ERA5 and ERA5-Land by the names of ECMWF, one place or a small grid.

Classic files (NetCDF-3) are read with SciPy, those of today (NetCDF-4, which is HDF5) with h5py. Variables: ``t2m`` and
``d2m`` (K), ``u10`` and ``v10`` (m/s), ``tcc`` (0-1), ``ssrd`` (J/m²) and ``tp`` (m), both of the hour that ends at the
stamp in ERA5, summed from 00 UTC in ERA5-Land (documentation of ECMWF read in a stored copy).
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.archive.record import HourlyRecord, in_order, need_place
from fruitwall.weather.place import Place

FloatArray = NDArray[np.float64]

CLASSIC, HDF5 = b"CDF", b"\x89HDF"

UNIT_S = {"second": 1, "minute": 60, "hour": 3600, "day": 86_400}

KELVIN = 273.15

WANTED = ("t2m", "d2m", "u10", "v10", "tcc", "ssrd", "tp")


class _Variable(NamedTuple):
    """One array with its attributes."""

    values: NDArray[Any]
    attributes: Mapping[str, Any]
    dimensions: tuple[str, ...]


def is_netcdf(body: bytes) -> bool:
    """Tell whether bytes are a NetCDF file."""
    return body.startswith((CLASSIC, HDF5))


def read_netcdf(body: bytes, *, where: str, place: Place | None) -> HourlyRecord:
    """Read hours of the grid point nearest to a place.

    Parameters
    ----------
    body : bytes
        Whole file.
    where : str
        Its name for messages.
    place : Place or None
        Which point is meant where there are several; gives the height above sea level, which the files lack.

    Returns
    -------
    HourlyRecord

    Raises
    ------
    WeatherError
        With file, variable and mend.
    """
    variables = _classic(body, where) if body.startswith(CLASSIC) else _hdf5(body, where)
    if "t2m" not in variables:
        names = ", ".join(sorted(variables)) or "–"
        raise WeatherError(
            say(
                "{where}: no variable t2m in it (there are: {names}); ask for the 2 m temperature",
                where=where,
                names=names,
            )
        )
    times = _times(variables, where)
    point, at = _nearest(variables, place, where)
    given = {name: _series(variables[name], point, times.size, where, name) for name in WANTED if name in variables}
    stamps, order = in_order(times, "s")
    given = {name: values[order] for name, values in given.items()}
    values: dict[str, FloatArray] = {"t_air_c": given["t2m"] - KELVIN}
    if "d2m" in given:
        values["t_dew_c"] = np.minimum(given["d2m"] - KELVIN, values["t_air_c"])
    if "u10" in given and "v10" in given:
        values["wind_m_s"] = np.hypot(given["u10"], given["v10"])
    if "tcc" in given:
        values["cloud"] = np.clip(given["tcc"], 0.0, 1.0)
    if "ssrd" in given:
        values["shortwave_w_m2"] = np.maximum(_by_hour(given["ssrd"], stamps), 0.0) / 3600.0
    if "tp" in given:
        values["rain_mm"] = np.maximum(_by_hour(given["tp"], stamps), 0.0) * 1000.0
    return HourlyRecord(stamps, values, at, told("reanalysis (NetCDF), file {name}", name=where))


def _classic(body: bytes, where: str) -> dict[str, _Variable]:
    """Read a NetCDF-3 file."""
    from scipy.io import netcdf_file

    try:
        with netcdf_file(io.BytesIO(body), mmap=False) as file:
            return {
                name: _Variable(
                    np.array(one[:]) if one.shape else np.array(one.getValue()), one._attributes, one.dimensions
                )
                for name, one in file.variables.items()
            }
    except (TypeError, ValueError, LookupError, AttributeError, ArithmeticError, OSError, MemoryError) as error:
        raise _damaged(where) from error  # whatever SciPy stumbles over: it checks nothing


def _hdf5(body: bytes, where: str) -> dict[str, _Variable]:
    """Read a NetCDF-4 file."""
    try:
        import h5py
    except ImportError as error:
        raise WeatherError(
            say(
                "{where}: a NetCDF-4 file needs h5py; install it with {command}, or save the file as NetCDF classic",
                where=where,
                command="pip install 'fruitwall[reanalysis]'",
            )
        ) from error
    found: dict[str, _Variable] = {}
    try:
        with h5py.File(io.BytesIO(body), "r") as file:
            for name, one in file.items():
                if isinstance(one, h5py.Dataset) and one.dtype.kind in "fiu":
                    axes = tuple(
                        str(one.dims[axis][0].name).rsplit("/", 1)[-1] if len(one.dims[axis]) else ""
                        for axis in range(one.ndim)
                    )
                    found[name] = _Variable(np.asarray(one[()]), dict(one.attrs), axes)
    except (OSError, KeyError, RuntimeError, ValueError) as error:
        raise _damaged(where) from error
    return found


def _damaged(where: str) -> WeatherError:
    return WeatherError(say("{where}: the NetCDF file cannot be read; download it again", where=where))


def _attribute(variable: _Variable, name: str) -> str:
    value = variable.attributes.get(name, b"")
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


def _numbers(variable: _Variable) -> FloatArray:
    """Give the numbers with their scale, NaN where they are the filling."""
    values = np.asarray(variable.values, dtype=np.float64)
    missing = np.zeros(values.shape, dtype=bool)
    for name in ("_FillValue", "missing_value"):
        if name in variable.attributes:
            missing |= values == float(np.ravel(variable.attributes[name])[0])
    scale = float(np.ravel(variable.attributes.get("scale_factor", 1.0))[0])
    offset = float(np.ravel(variable.attributes.get("add_offset", 0.0))[0])
    return np.where(missing, np.nan, values * scale + offset)


def _times(variables: Mapping[str, _Variable], where: str) -> NDArray[np.datetime64]:
    """Give the stamps of the time axis."""
    name = next((one for one in ("valid_time", "time") if one in variables), None)
    if name is None:
        raise WeatherError(say("{where}: no time in it (time or valid_time); download the file again", where=where))
    units = _attribute(variables[name], "units")
    match = re.match(r"(second|minute|hour|day)s? since (\d{4}-\d{1,2}-\d{1,2})(?:[ T](\d{1,2}:\d{2}))?", units)
    if match is None:
        raise WeatherError(
            say(
                '{where}: the unit of its time, "{units}", cannot be read; download the file again',
                where=where,
                units=units,
            )
        )
    year, month, day = (int(part) for part in match[2].split("-"))
    hour, minute = (int(part) for part in (match[3] or "0:0").split(":"))
    try:
        begun = np.datetime64(datetime(year, month, day, hour, minute), "s")  # noqa: DTZ001 - UTC by the standard
    except ValueError as error:
        raise _damaged(where) from error
    seconds = np.round(np.atleast_1d(_numbers(variables[name])) * UNIT_S[match[1]]).astype(np.int64)
    return np.asarray(begun + seconds.astype("timedelta64[s]"))


def _nearest(variables: Mapping[str, _Variable], place: Place | None, where: str) -> tuple[tuple[int, int], Place]:
    """Give the point nearest to the place: its numbers on the axes, and where it lies."""
    axes = []
    for long, short in (("latitude", "lat"), ("longitude", "lon")):
        name = long if long in variables else short
        axes.append(np.atleast_1d(_numbers(variables[name])) if name in variables else None)
    north, east = axes
    if north is None or east is None:
        return (0, 0), need_place(place, where)
    if place is None and north.size * east.size > 1:
        need_place(place, where)
    wanted = (place.latitude_deg, place.longitude_deg) if place else (float(north[0]), float(east[0]))
    row = int(np.abs(north - wanted[0]).argmin())
    column = int(np.abs((east - wanted[1] + 180.0) % 360.0 - 180.0).argmin())
    longitude = (float(east[column]) + 180.0) % 360.0 - 180.0
    return (row, column), Place(float(north[row]), longitude, place.elevation_m if place else 0.0)


def _series(variable: _Variable, point: tuple[int, int], hours: int, where: str, name: str) -> FloatArray:
    """Take one point; of a further axis (``expver``: final and first version) what is known first."""
    values = _numbers(variable)
    for axis in range(values.ndim - 1, -1, -1):
        axis_name = variable.dimensions[axis] if axis < len(variable.dimensions) else ""
        if axis_name in ("latitude", "lat"):
            values = np.take(values, min(point[0], values.shape[axis] - 1), axis=axis)
        elif axis_name in ("longitude", "lon"):
            values = np.take(values, min(point[1], values.shape[axis] - 1), axis=axis)
        elif axis_name in ("expver", "number"):
            parts = np.moveaxis(values, axis, 0)
            first = parts[0]
            for part in parts[1:]:
                first = np.where(np.isnan(first), part, first)
            values = first
    if values.shape != (hours,):
        raise WeatherError(
            say(
                "{where}: {name} has the shape {shape}; time, latitude and longitude are expected",
                where=where,
                name=name,
                shape=values.shape,
            )
        )
    return values


def _by_hour(summed: FloatArray, times: NDArray[np.datetime64]) -> FloatArray:
    """Take sums from 00 UTC apart into hours, where they are such: they never fall within a day and do rise."""
    before = np.concatenate([[np.nan], summed[:-1]])
    follows = np.concatenate([[False], np.diff(times) == np.timedelta64(3600, "s")])
    of_day = times.astype("datetime64[h]").astype(np.int64) % 24
    inside = follows & (of_day != 1) & np.isfinite(before) & np.isfinite(summed)
    steps = (summed - before)[inside]
    if steps.size < 24 or (steps < -1e-6 * max(np.nanmax(summed), 1e-12)).any() or not (steps > 0).any():
        return summed
    return np.where(inside, summed - before, np.where(of_day == 1, summed, np.nan))
