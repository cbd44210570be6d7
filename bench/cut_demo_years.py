"""Cut the years of other weather of the demo out of typical meteorological years.

Reads the same hourly TMY3 files as `bench.cut_two_winters` and writes ``src/fruitwall/weather/data/years_*.csv.gz``::

    python -m bench.cut_demo_years FOLDER

A year goes from July to June, so that its winter is whole: July to December of the file, then January to June. The
stamps are of 2001 and 2002, whatever the real year of each month is. Where December of one real year meets January of
another, the twelve hours round the seam go over in a straight line.
"""

from __future__ import annotations

import gzip
import sys
from datetime import datetime, timedelta
from pathlib import Path

from bench.cut_two_winters import COLUMNS, LOCAL_H, NAMES, SEAM_H, TO, Hours, hours_of

FIRST_YEAR = 2001

PLACES = {
    "march_afb_ca": (33.9, -117.25, 462),
    "riverside_ca": (33.95, -117.45, 256),
}


def year(hours: Hours) -> tuple[list[str], list[str]]:
    """Give the lines of one year, and which real year each month is of."""
    at, end = datetime(FIRST_YEAR, 7, 1, 1), datetime(FIRST_YEAR + 1, 7, 1)  # noqa: DTZ001 - local standard time
    seam = datetime(FIRST_YEAR + 1, 1, 1)  # noqa: DTZ001
    lines: list[str] = []
    months: dict[int, int] = {}
    while at <= end:
        here = at - timedelta(hours=1)  # the stamp ends its hour
        source, values = hours[at.month, at.day, at.hour]
        months.setdefault(here.month, source)
        far = (here - seam) / timedelta(hours=1) + 0.5
        if abs(far) < SEAM_H:
            # The other side of the seam is not in the file: its nearest hour of the same time of day stands for it.
            other = at + timedelta(days=1 if far < 0 else -1)
            share = 0.5 * (1.0 - abs(far) / SEAM_H)
            there = hours[other.month, other.day, other.hour][1]
            values = [(1 - share) * a + share * b for a, b in zip(values, there, strict=True)]
        stamp = at + timedelta(hours=LOCAL_H)
        lines.append(f"{stamp:%Y-%m-%dT%H:%MZ}," + ",".join(f"{value:.1f}".removesuffix(".0") for value in values))
        at += timedelta(hours=1)
    return lines, [f"{month:02d} of {source}" for month, source in months.items()]


def main() -> None:
    folder = Path(sys.argv[1])
    for name, (latitude, longitude, elevation) in PLACES.items():
        lines, months = year(hours_of(folder / f"{name}.csv"))
        head = [
            f"# A typical year of {NAMES[name]}, California, July to June; its months are real: {', '.join(months)}",
            f"# source: {NAMES[name]}, California, a typical year of real months (TMY3, NREL)",
            f"# latitude: {latitude}",
            f"# longitude: {longitude}",
            f"# elevation: {elevation} m",
            "# wind height: 10 m",
            "# Made from NREL TMY3 (public domain); see README.md beside this file.",
            "time," + ",".join(COLUMNS.values()),
        ]
        packed = gzip.compress("\n".join([*head, *lines, ""]).encode(), compresslevel=9, mtime=0)
        (TO / f"year_{name}.csv.gz").write_bytes(packed)
        print(f"{name}: {len(lines)} hours, {len(packed)} bytes; {', '.join(months)}")


if __name__ == "__main__":
    main()
