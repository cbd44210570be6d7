"""Cut the two winters of the demo's story out of typical meteorological years.

Reads hourly TMY3 files as CSV (columns time_utc, temp_c, dewpoint_c, wind_speed_ms, opaque_sky_cover_tenths, ghi_wm2;
the hour that ends at the stamp, nominal year 2001) and writes ``src/fruitwall/weather/data/winter_*.csv.gz``::

    python -m bench.cut_two_winters FOLDER

Every month keeps its days and hours; only its year becomes another. Where two months of different stations meet, the
twelve hours round the seam go over from one to the other in a straight line.
"""

from __future__ import annotations

import csv
import gzip
import sys
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


def winter(autumn: int, stations: dict[str, Hours]) -> tuple[list[str], list[str]]:
    """Give the lines of one winter, and what its months are."""
    months = WINTERS[autumn]
    at, end = datetime(autumn, 11, 1, 1), datetime(autumn + 1, 4, 1)  # noqa: DTZ001 - local standard time throughout
    lines, told = [], []
    while at < end:
        here = at - timedelta(hours=1)  # the stamp ends its hour
        values = stations[months[here.month]][at.month, at.day, at.hour][1]
        for side in (-1, 1):
            other = here + side * timedelta(hours=SEAM_H)
            if other.month in months and months[other.month] != months[here.month]:
                seam = other.replace(day=1, hour=0) if side > 0 else here.replace(day=1, hour=0)
                far = abs((here - seam) / timedelta(hours=1) + 0.5)
                share = 0.5 * (1.0 - far / SEAM_H)
                there = stations[months[other.month]][at.month, at.day, at.hour][1]
                values = [(1 - share) * a + share * b for a, b in zip(values, there, strict=True)]
        stamp = at + timedelta(hours=LOCAL_H)
        lines.append(f"{stamp:%Y-%m-%dT%H:%MZ}," + ",".join(f"{value:.1f}".removesuffix(".0") for value in values))
        at += timedelta(hours=1)
    for month, station in months.items():
        year = stations[station][month, 15, 12][0]
        told.append(f"{autumn + (month < 11)}-{month:02d} is {year}-{month:02d} at {NAMES[station]}")
    return lines, told


def main() -> None:
    folder = Path(sys.argv[1])
    stations = {name: hours_of(folder / f"{name}.csv") for name in NAMES}
    for autumn in WINTERS:
        lines, told = winter(autumn, stations)
        names = ", ".join(dict.fromkeys(NAMES[one] for one in WINTERS[autumn].values()))
        head = [
            f"# A winter put together of real months, played back in {autumn}/{autumn + 1}: {'; '.join(told)}",
            f"# source: a winter of real months, {names} (TMY3, NREL), played back in another year",
            "# latitude: 33.9",
            "# longitude: -117.25",
            "# elevation: 462 m",
            "# wind height: 10 m",
            "# Made from NREL TMY3 (public domain); see README.md beside this file.",
            "time," + ",".join(COLUMNS.values()),
        ]
        packed = gzip.compress("\n".join([*head, *lines, ""]).encode(), compresslevel=9, mtime=0)
        (TO / f"winter_{autumn}_{autumn + 1}.csv.gz").write_bytes(packed)
        print(f"{autumn}/{autumn + 1}: {len(lines)} hours, {len(packed)} bytes; {'; '.join(told)}")


if __name__ == "__main__":
    main()
