"""Fit the error model that turns one forecast into many from open data, and store its numbers.

    python -m bench.fit_dressing_prior           # prints the tables, writes weather/data/dressing_prior.json
    python -m bench.fit_dressing_prior --check   # prints them, fails if the stored numbers differ

1. How wrong forecasts of the night minimum are, by lead time: 24 US cities, two winters (bench/data/nws_city_lows).
2. How alike the errors of successive nights of one bulletin are.
3. How much warmer cloud and wind make a winter night: seven stations (bench/data/tmy3_winter_nights).
4. Errors of cloud and wind forecasts, from published figures (they are not in those data).
"""

from __future__ import annotations

import argparse
import csv
import gzip
import json
import sys
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DATA = Path(__file__).parent / "data"
OUT = Path(__file__).parents[1] / "src" / "fruitwall" / "weather" / "data" / "dressing_prior.json"

COLD_C = 5.0
"""Nights whose forecast minimum is at most this are the ones that matter here."""

# Nominal lead of the bulletins and mean hours from issue to sunrise in them.
LEADS_H = {12: 11.1, 24: 23.1, 36: 35.1, 48: 47.1}

# Ye and Chen (2013), Mon. Not. R. Astron. Soc. 428, 3288 (abstract read): the share of total-cloud forecasts of the
# GFS within 30 % of what satellites saw falls from 73 % to 58 % over 180 h. A normal error with these shares has an sd
# of 0.30 / 1.103 and 0.30 / 0.806.
CLOUD_SD = {"at_issue": 0.272, "at_180_h": 0.372}

# Root mean square error of 10 m wind forecasts against some 50,000 station hours each, March to April 2026: 1.5 to
# 1.6 m/s for fine-meshed European models, 2.0 to 2.4 m/s for global ones (benchmark page meteo.matrunich.com, read in a
# stored copy). At 3 m/s an error of 1.5 m/s is 0.43 in the square root of the speed.
WIND_SD_SQRT = 0.43


@dataclass(frozen=True)
class Hour:
    """One hour of a typical year."""

    when: datetime
    t_air_c: float
    t_dew_c: float
    wind_m_s: float
    cloud: float


def main() -> int:
    """Fit, print, store or compare."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--check", action="store_true", help="compare with the stored numbers instead of writing")
    options = parser.parse_args()
    fitted = fit()
    text = json.dumps(fitted, indent=1) + "\n"
    print(text)
    if options.check:
        return 0 if OUT.read_text(encoding="utf-8") == text else 1
    OUT.write_text(text, encoding="utf-8")
    return 0


def fit() -> dict[str, Any]:
    """Give all numbers of the error model with where they come from."""
    rows = read_lows()
    cold = [row for row in rows if row["forecast"] <= COLD_C]
    winter = [row for row in rows if row["night"].month in (11, 12, 1, 2, 3)]
    table = by_lead(cold)
    leads = np.array(table["lead_h"])
    per_hour, at_zero = np.polyfit(leads, table["sd_k"], 1, w=np.sqrt(table["n"]))
    warming = night_warming()
    mean = warming["mean"]
    sd_day = at_zero + per_hour * 24
    return {
        "made_by": "bench/fit_dressing_prior.py",
        "night_minimum": {
            "data": "bench/data/nws_city_lows: US National Weather Service city forecasts, 24 cities, 2021-22",
            "used": f"nights forecast at most {COLD_C:g} degC",
            "error": "observed minus forecast",
            **table,
            "sd_line": {"at_zero_k": round(float(at_zero), 3), "per_hour_k": round(float(per_hour), 5)},
            "between_cities_sd_k": round(between_cities(rows), 2),
            "same_bulletin_next_night_correlation": round(next_night_correlation(rows), 3),
            "for_comparison": {"all_nights": by_lead(rows), "november_to_march": by_lead(winter)},
        },
        "cloud": {"sd": CLOUD_SD, "source": "Ye and Chen 2013, doi 10.1093/mnras/sts278, abstract"},
        "wind": {
            "sd_of_square_root": WIND_SD_SQRT,
            "source": "benchmark of wind forecasts, meteo.matrunich.com, 2026",
        },
        "night_warming": {
            "data": "bench/data/tmy3_winter_nights: NREL TMY3, 7 stations, November to March",
            **warming,
            "share_of_error_by_cloud": round(-mean["cooling_per_cloud_k"] * CLOUD_SD["at_issue"] / sd_day, 2),
            "share_of_error_by_wind": round(-mean["cooling_per_sqrt_wind_k"] * WIND_SD_SQRT / sd_day, 2),
        },
    }


def read_lows() -> list[dict[str, Any]]:
    """Read forecasts of minima with what was observed, suspect ones left out."""
    rows = []
    with gzip.open(DATA / "nws_city_lows" / "nws_city_lows.csv.gz", "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["suspect_obs"] == "1" or row["suspect_forecast"] == "1":
                continue
            if not row["forecast_low_c"] or not row["observed_low_c"]:
                continue
            rows.append(
                {
                    "city": row["city"],
                    "night": date.fromisoformat(row["night_ending"]),
                    "lead": int(row["lead_h"]),
                    "issued": row["issued_utc"],
                    "forecast": float(row["forecast_low_c"]),
                    "error": float(row["observed_low_c"]) - float(row["forecast_low_c"]),
                }
            )
    return rows


def by_lead(rows: list[dict[str, Any]]) -> dict[str, list[Any]]:
    """Give number, bias with its standard error, sd and mean absolute error by lead time."""
    table: dict[str, list[Any]] = defaultdict(list)
    for lead, hours in LEADS_H.items():
        of = [row for row in rows if row["lead"] == lead]
        errors = np.array([row["error"] for row in of])
        table["lead_h"].append(hours)
        table["n"].append(len(of))
        table["nights"].append(len({row["night"] for row in of}))
        table["bias_k"].append(round(float(errors.mean()), 2))
        table["bias_se_k"].append(round(clustered_se(of), 2))
        table["sd_k"].append(round(float(errors.std(ddof=1)), 3))
        table["mae_k"].append(round(float(np.abs(errors).mean()), 2))
    return dict(table)


def clustered_se(rows: list[dict[str, Any]]) -> float:
    """Give the standard error of the mean error, cities of one night counting as one draw."""
    sums: dict[date, float] = defaultdict(float)
    mean = float(np.mean([row["error"] for row in rows]))
    for row in rows:
        sums[row["night"]] += row["error"] - mean
    return float(np.sqrt(sum(value**2 for value in sums.values())) / len(rows))


def between_cities(rows: list[dict[str, Any]]) -> float:
    """Give the sd of the cities' own mean errors."""
    errors: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        errors[row["city"]].append(row["error"])
    return float(np.std([np.mean(of) for of in errors.values()], ddof=1))


def next_night_correlation(rows: list[dict[str, Any]]) -> float:
    """Correlate the errors of one bulletin for one night and the next."""
    later = {(row["city"], row["issued"], row["night"], row["lead"]): row["error"] for row in rows}
    pairs = []
    for row in rows:
        key = (row["city"], row["issued"], row["night"] + timedelta(days=1), row["lead"] + 24)
        if key in later:
            pairs.append((row["error"], later[key]))
    first, second = np.array(pairs).T
    return float(np.corrcoef(first, second)[0, 1])


def night_warming() -> dict[str, Any]:
    """Regress the cooling of winter nights on cloud, root of wind and dryness of the evening air."""
    stations = {name: cooling_slopes(of) for name, of in read_hours().items()}
    mean = {
        name: round(float(np.mean([station[name] for station in stations.values()])), 2)
        for name in ("cooling_per_cloud_k", "cooling_per_sqrt_wind_k")
    }
    return {"stations": stations, "mean": mean}


def cloud_by_range() -> dict[str, float]:
    """Fit the day's mean sky cover on its range of temperature; used by `weather.history` for daily files."""
    rows = []
    for hours in read_hours().values():
        days: dict[date, list[Hour]] = defaultdict(list)
        for hour in hours:
            days[hour.when.date()].append(hour)
        for of in days.values():
            if len(of) == 24:
                air = [hour.t_air_c for hour in of]
                rows.append((max(air) - min(air), float(np.mean([hour.cloud for hour in of]))))
    range_k, cloud = np.array(rows).T
    slope, start = np.polyfit(range_k, cloud, 1)
    correlation = float(np.corrcoef(range_k, cloud)[0, 1])
    return {"days": len(rows), "at_zero": float(start), "per_k": float(slope), "correlation": correlation}


def read_hours() -> dict[str, list[Hour]]:
    """Read the winter hours of the seven stations."""
    hours: dict[str, list[Hour]] = defaultdict(list)
    with gzip.open(DATA / "tmy3_winter_nights" / "hours.csv.gz", "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            hour = Hour(
                when=datetime.fromisoformat(row["time_local_standard"]),
                t_air_c=float(row["temp_c"]),
                t_dew_c=float(row["dewpoint_c"]),
                wind_m_s=float(row["wind_speed_ms"]),
                cloud=float(row["sky_cover_tenths"]) / 10,
            )
            hours[row["station"]].append(hour)
    return hours


def cooling_slopes(hours: list[Hour]) -> dict[str, Any]:
    """Fit one station: cooling from 17:00 to the lowest of 19:00 to 06:00."""
    nights: dict[date, list[Hour]] = defaultdict(list)
    for hour in hours:
        nights[(hour.when - timedelta(hours=12)).date()].append(hour)
    rows = []
    for of in nights.values():
        start = next((hour for hour in of if hour.when.hour == 17), None)
        dark = [hour for hour in of if hour.when.hour >= 19 or hour.when.hour <= 6]
        if len(of) == 24 and start is not None:
            cloud, wind = (np.array([getattr(hour, name) for hour in dark]) for name in ("cloud", "wind_m_s"))
            cooling = start.t_air_c - min(hour.t_air_c for hour in dark)
            rows.append((cooling, cloud.mean(), np.sqrt(wind).mean(), start.t_air_c - start.t_dew_c))
    table = np.array(rows)
    design = np.column_stack([np.ones(len(table)), table[:, 1:]])
    slopes, *_ = np.linalg.lstsq(design, table[:, 0], rcond=None)
    left = table[:, 0] - design @ slopes
    return {
        "nights": len(table),
        "cooling_per_cloud_k": round(float(slopes[1]), 2),
        "cooling_per_sqrt_wind_k": round(float(slopes[2]), 2),
        "r2": round(float(1 - left.var() / table[:, 0].var()), 2),
    }


if __name__ == "__main__":
    sys.exit(main())
