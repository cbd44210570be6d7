"""Boil typical years down to the days from which cloud, wind and dew point of daily records are drawn.

    python -m bench.cut_night_likeness FOLDER    # hours of seven stations, one CSV each, and stations.csv

The folder is described in src/fruitwall/weather/data/README.md; it is not part of the project (4 MB).
"""

from __future__ import annotations

import csv
import gzip
import sys
from dataclasses import fields
from pathlib import Path

import numpy as np

from fruitwall.weather.archive.likeness import PACKAGED, Likeness, joined, likeness_of
from fruitwall.weather.forcing import Forcing, as_datetime

OUT = Path(__file__).parents[1] / "src" / "fruitwall" / "weather" / "data" / PACKAGED


def station(folder: Path, row: dict[str, str]) -> Forcing:
    """Read the hours of one station."""
    with (folder / row["file"]).open(encoding="utf-8", newline="") as lines:
        hours = list(csv.DictReader(lines))
    times = np.array([hour["time_utc"].rstrip("Z") for hour in hours], dtype="datetime64[s]")

    def column(name: str) -> np.ndarray:
        return np.array([[float(hour[name]) for hour in hours]])

    air = column("temp_c")
    return Forcing(
        times,
        air,
        np.minimum(column("dewpoint_c"), air),
        column("wind_speed_ms"),
        column("opaque_sky_cover_tenths") / 10,
        column("ghi_wm2"),
        np.zeros_like(air),
        float(row["lat"]),
        float(row["lon"]),
        float(row["elev_m"]),
        row["name"],
        as_datetime(times[0]),
    )


def main(folder: Path) -> int:
    with (folder / "stations.csv").open(encoding="utf-8", newline="") as listed:
        rows = list(csv.DictReader(listed))
    days = joined([likeness_of(station(folder, row), number) for number, row in enumerate(rows)])
    names = [one.name for one in fields(Likeness)]
    lines = [f"# {number}: {row['name']}, {row['state']}" for number, row in enumerate(rows)]
    lines.append(",".join(names))
    lines.extend(",".join(f"{getattr(days, name)[at]:.4g}" for name in names) for at in range(days.count))
    OUT.write_bytes(gzip.compress(("\n".join(lines) + "\n").encode(), mtime=0))
    print(f"{OUT.name}: {days.count} days, {OUT.stat().st_size / 1000:.0f} kB")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
