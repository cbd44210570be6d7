"""How well other years follow a forecast: days after the join, against the same years without a join.

Run ``python -m bench climate``. Hours of Viejas, California, 2012 to 2018 (`data/socal_pair`). On every fifth day from
November to March the last two days stand for a forecast that was right; the years besides follow it. Told is the error
of the mean of the courses for the mean temperature of each day to come, with the join and without it.
"""

from __future__ import annotations

import csv
import gzip
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from fruitwall.weather.climate import Climate, continued
from fruitwall.weather.forcing import HOUR, Forcing, as_datetime, as_datetime64

FILE = Path(__file__).parent / "data" / "socal_pair" / "viejas.csv.gz"

DAYS = (1, 2, 3, 5, 7, 10)


def series() -> Forcing:
    """Read the temperatures; holes are bridged, what is not needed here is made up."""
    times, temps = [], []
    with gzip.open(FILE, "rt", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            if row["temp_c"]:
                times.append(np.datetime64(row["time_utc"].rstrip("Z"), "s"))
                temps.append(float(row["temp_c"]))
    stamps = np.array(times)
    whole = np.arange(stamps[0], stamps[-1] + HOUR, HOUR)
    air = np.interp(whole.astype(np.int64), stamps.astype(np.int64), temps)[None]
    zero = np.zeros_like(air)
    return Forcing(whole, air, air - 5.0, zero, zero, zero, zero, 32.8, -116.7, 700.0, "Viejas", as_datetime(whole[0]))


def errors(whole: Forcing, *, joined: bool) -> np.ndarray:
    """Give the errors of the mean of the courses, [case, day]. [K]"""
    found = []
    at = whole.start_utc.replace(hour=12, minute=0) + timedelta(days=30)
    while at < whole.end_utc - timedelta(days=12):
        if at.month in (11, 12, 1, 2, 3):
            # The year that is played, half a year to both sides, is not among the others.
            far = timedelta(days=183)
            others = [
                whole.select(begin, end)
                for begin, end in ((whole.start_utc, at - far), (at + far, whole.end_utc))
                if end - begin > timedelta(days=200)
            ]
            forecast = whole.select(at - timedelta(hours=47), at)
            if joined:
                climate = Climate(tuple(others), "Viejas")
                courses = continued(forecast, climate, at + timedelta(days=11)).t_air_c[:, 48:]
            else:
                courses = np.stack([_alone(other, one) for other in others for one in _same(other, at)])
            real = whole.select(at + timedelta(hours=1), at + timedelta(days=11)).t_air_c[0]
            middle = courses.mean(axis=0)
            found.append([np.mean((middle - real)[24 * (day - 1) : 24 * day]) for day in DAYS])
        at += timedelta(days=5)
    return np.array(found)


def _same(other: Forcing, moment: datetime) -> list[datetime]:
    """Give the same moment of the calendar in the years that go on for long enough after it."""
    years = range(other.start_utc.year, other.end_utc.year + 1)
    moments = [moment.replace(year=year, day=min(moment.day, 28)) for year in years if year != moment.year]
    return [one for one in moments if other.start_utc <= one and one + timedelta(days=11) <= other.end_utc]


def _alone(other: Forcing, at: datetime) -> np.ndarray:
    """Give the temperatures that came then."""
    first = int((as_datetime64(at) - other.time_utc[0]) // HOUR) + 1
    return other.t_air_c[0, first : first + 11 * 24]


def main() -> None:
    whole = series()
    for name, joined in (("joined", True), ("other years alone", False)):
        found = errors(whole, joined=joined)
        rms = np.sqrt((found**2).mean(axis=0))
        print(f"{name:>18}: " + ", ".join(f"day {d} {r:.2f} K" for d, r in zip(DAYS, rms, strict=True)), len(found))


if __name__ == "__main__":
    main()
