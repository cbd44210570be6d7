"""Cut the two winters of the demo's story, and the year before its evening, out of typical meteorological years.

Reads hourly TMY3 files as CSV (columns time_utc, temp_c, dewpoint_c, wind_speed_ms, opaque_sky_cover_tenths, ghi_wm2;
the hour that ends at the stamp, nominal year 2001) and writes ``winter_*.csv.gz`` and ``year_*.csv.gz`` of
``src/fruitwall/weather/data``::

    python -m bench.cut_two_winters FOLDER

Every month keeps its days and hours; only its year becomes another. Where two months of different stations meet, the
twelve hours round the seam go over from one to the other in a straight line.
"""

from __future__ import annotations

import csv
import gzip
import sys
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

TO = Path(__file__).parent.parent / "src" / "fruitwall" / "weather" / "data"

NAMES = {
    "march_afb_ca": "March AFB",
    "riverside_ca": "Riverside Municipal Airport",
    "thermal_ca": "Palm Springs Thermal Airport",
}

WINTERS = {
    2024: {11: "thermal_ca", 12: "thermal_ca", 1: "thermal_ca", 2: "march_afb_ca", 3: "march_afb_ca"},
    2025: {11: "march_afb_ca", 12: "riverside_ca", 1: "march_afb_ca", 2: "riverside_ca", 3: "riverside_ca"},
}
"""By the year of its autumn: which station's month stands for which. Thermal, in the desert, had the coldest January of
the three; Riverside's December 1998 is the spell of the demo evening as it was 20 km away and 200 m lower."""

YEAR_BEGIN, YEAR_END = datetime(2025, 10, 1, 1), datetime(2026, 12, 14)  # noqa: DTZ001 - local standard time throughout
YEAR = {
    (2025, 10): "riverside_ca",
    **{(2025 + (month < 11), month): station for month, station in WINTERS[2025].items()},
    **{(2026, month): "march_afb_ca" for month in range(4, 13)},
}
"""The same for the year before the demo evening; its December is that of the demo's spell itself."""

RAIN_MONTHS = (11, 12, 1, 2, 3)
RAIN_TENTHS, RAIN_DEPRESSION_K, RAIN_MM_H = 10.0, 1.0, 1.5
"""Typical years carry no rain. It is made up by rule, for the demo alone: in the winter half year, an hour under a
whole sky of cloud with air near saturation brings this much. It makes some 330 mm in the winter of 2025/26."""

COLUMNS = {
    "temp_c": "t_air [C]",
    "dewpoint_c": "dew_point [C]",
    "wind_speed_ms": "wind [m/s]",
    "opaque_sky_cover_tenths": "cloud [tenths]",
    "ghi_wm2": "ghi [W/m2]",
}

SEAM_H = 6
"""Hours before and after a seam in which one station goes over into the other."""

LOCAL_H = 8
"""Hours by which local standard time is behind UTC."""

Hours = dict[tuple[int, int, int], tuple[int, list[float]]]


def hours_of(file: Path) -> Hours:
    """Read a year: by month, day and hour of local standard time the source year and the values."""
    found: Hours = {}
    with file.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            at = datetime.fromisoformat(row["time_utc"].replace("Z", "+00:00")) - timedelta(hours=LOCAL_H)
            found[at.month, at.day, at.hour] = int(row["source_year"]), [float(row[name]) for name in COLUMNS]
    return found


def blended(at: datetime, months: dict[tuple[int, int], str], stations: dict[str, Hours]) -> list[float]:
    """Give the values of the hour that ends at a stamp, led over where months of two stations meet."""
    here = at - timedelta(hours=1)
    station = months[here.year, here.month]
    values = stations[station][at.month, at.day, at.hour][1]
    for side in (-1, 1):
        other = here + side * timedelta(hours=SEAM_H)
        if months.get((other.year, other.month), station) != station:
            seam = other.replace(day=1, hour=0) if side > 0 else here.replace(day=1, hour=0)
            far = abs((here - seam) / timedelta(hours=1) + 0.5)
            share = 0.5 * (1.0 - far / SEAM_H)
            there = stations[months[other.year, other.month]][at.month, at.day, at.hour][1]
            values = [(1 - share) * a + share * b for a, b in zip(values, there, strict=True)]
    return values


def line_of(at: datetime, values: list[float]) -> str:
    """Write an hour as a line."""
    stamp = at + timedelta(hours=LOCAL_H)
    return f"{stamp:%Y-%m-%dT%H:%MZ}," + ",".join(f"{value:.1f}".removesuffix(".0") for value in values)


def rain_mm(at: datetime, values: list[float]) -> float:
    """Make up the rain of an hour."""
    air, dew, _, cloud, _ = values
    wet = at.month in RAIN_MONTHS and cloud >= RAIN_TENTHS and air - dew <= RAIN_DEPRESSION_K
    return RAIN_MM_H if wet else 0.0


def year(stations: dict[str, Hours]) -> list[str]:
    """Give the lines of the year before the demo evening."""
    at, lines = YEAR_BEGIN, []
    while at <= YEAR_END:
        values = blended(at, YEAR, stations)
        lines.append(line_of(at, [*values, rain_mm(at, values)]))
        at += timedelta(hours=1)
    return lines


def winter(autumn: int, stations: dict[str, Hours]) -> tuple[list[str], list[str]]:
    """Give the lines of one winter, and what its months are."""
    months = {(autumn + (month < 11), month): station for month, station in WINTERS[autumn].items()}
    at, end = datetime(autumn, 11, 1, 1), datetime(autumn + 1, 4, 1)  # noqa: DTZ001 - local standard time throughout
    lines, told = [], []
    while at < end:
        lines.append(line_of(at, blended(at, months, stations)))
        at += timedelta(hours=1)
    for (played, month), station in months.items():
        real = stations[station][month, 15, 12][0]
        told.append(f"{played}-{month:02d} is {real}-{month:02d} at {NAMES[station]}")
    return lines, told


def head_of(title: str, source: str, columns: Iterable[str]) -> list[str]:
    """Give the comment lines and the row of names."""
    return [
        title,
        f"# source: {source} (TMY3, NREL), played back in another year",
        "# latitude: 33.9",
        "# longitude: -117.25",
        "# elevation: 462 m",
        "# wind height: 10 m",
        "# Made from NREL TMY3 (public domain); see README.md beside this file.",
        "time," + ",".join(columns),
    ]


def main() -> None:
    folder = Path(sys.argv[1])
    stations = {name: hours_of(folder / f"{name}.csv") for name in NAMES}
    for autumn in WINTERS:
        lines, told = winter(autumn, stations)
        names = ", ".join(dict.fromkeys(NAMES[one] for one in WINTERS[autumn].values()))
        head = head_of(
            f"# A winter put together of real months, played back in {autumn}/{autumn + 1}: {'; '.join(told)}",
            f"a winter of real months, {names}",
            COLUMNS.values(),
        )
        packed = gzip.compress("\n".join([*head, *lines, ""]).encode(), compresslevel=9, mtime=0)
        (TO / f"winter_{autumn}_{autumn + 1}.csv.gz").write_bytes(packed)
        print(f"{autumn}/{autumn + 1}: {len(lines)} hours, {len(packed)} bytes; {'; '.join(told)}")
    lines = year(stations)
    head = head_of(
        "# The year before the demo evening, put together of real months; its rain is made up",
        "a year of real months, March AFB, Riverside Municipal Airport",
        [*COLUMNS.values(), "rain [mm]"],
    )
    packed = gzip.compress("\n".join([*head, *lines, ""]).encode(), compresslevel=9, mtime=0)
    (TO / "year_2025_2026.csv.gz").write_bytes(packed)
    print(f"year: {len(lines)} hours, {len(packed)} bytes")


if __name__ == "__main__":
    main()
