"""Hourly station files of NOAA's Integrated Surface Database, edition "Lite" (ISD-Lite).

Format: NOAA's "ISD-Lite format documentation" of 20 June 2006 (a stored copy read): a line an hour in UTC, twelve whole
numbers, -9999 missing; temperature, dew point, pressure, wind and rain in tenths. One file a station and year, often
gzip. Data: US public domain; stations of other countries may have terms of their own.
"""

from __future__ import annotations

import re

import numpy as np

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.archive.record import HourlyRecord, in_order, need_place
from fruitwall.weather.place import Place

LINE = re.compile(r"\d{4} [ \d]\d [ \d]\d [ \d]\d(\s+-?\d+){8}\s*$")

MISSING = -9999

SKY_EIGHTHS = {code: code / 8.0 for code in range(9)} | {
    9: 1.0,
    10: 0.5,
    11: 0.25,
    12: 0.25,
    13: 0.5,
    14: 0.5,
    15: 0.75,
    16: 0.75,
    17: 1.0,
    18: 1.0,
    19: 1.0,
}
"""Share of the sky by code: 0 to 8 eighths, 9 obscured, 10 partly obscured; 11 to 18 thin or whole scattered, broken
and overcast, which stand for 2, 4, 6 and 8 eighths (reading of 10 to 19 from memory). [-]"""


def is_isd_lite(first_line: str) -> bool:
    """Tell whether a text begins as such a file."""
    return bool(LINE.match(first_line))


def read_isd_lite(text: str, *, where: str, place: Place | None) -> HourlyRecord:
    """Read one station's hours.

    Parameters
    ----------
    text : str
        Whole file.
    where : str
        Its name for messages, by which the station is known.
    place : Place or None
        The file does not name it.

    Returns
    -------
    HourlyRecord

    Raises
    ------
    WeatherError
        With file, line and mend.
    """
    rows: list[list[int]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        if not LINE.match(line):
            raise WeatherError(
                say(
                    "{where} line {line}: no line of an ISD-Lite file; download the file again",
                    where=where,
                    line=number,
                )
            )
        row = [int(word) for word in line.split()]
        if not (1 <= row[1] <= 12 and 1 <= row[2] <= 31 and 0 <= row[3] <= 23):
            raise WeatherError(
                say("{where} line {line}: no such date or hour; download the file again", where=where, line=number)
            )
        rows.append(row)
    table = np.array(rows, dtype=np.int64)
    stamps = (
        (table[:, 0] - 1970).astype("datetime64[Y]").astype("datetime64[M]")
        + (table[:, 1] - 1).astype("timedelta64[M]")
    ).astype("datetime64[D]") + (table[:, 2] - 1).astype("timedelta64[D]")
    times, at = in_order(stamps.astype("datetime64[s]") + (table[:, 3] * 3600).astype("timedelta64[s]"), "s")
    numbers = np.where(table[:, 4:] == MISSING, np.nan, table[:, 4:].astype(float))[at]
    sky = numbers[:, 5]
    cloud = np.full(sky.size, np.nan)
    for code, share in SKY_EIGHTHS.items():
        cloud[sky == code] = share
    rain = np.where(numbers[:, 6] < 0, 0.0, numbers[:, 6] / 10.0)  # -1 is a trace
    return HourlyRecord(
        times,
        {
            "t_air_c": numbers[:, 0] / 10.0,
            "t_dew_c": numbers[:, 1] / 10.0,
            "wind_m_s": numbers[:, 4] / 10.0,
            "cloud": cloud,
            "rain_mm": rain,
        },
        place=need_place(place, where),
        source=told("ISD-Lite (NOAA), file {name}", name=where),
    )
