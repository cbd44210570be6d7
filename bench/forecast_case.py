"""How much does learning from readings help forecasts of the night minimum? Real forecasts, split by time.

Run ``python -m bench forecast_case``; ``python -m bench.forecast_case --write`` puts the tables into
docs/learning-weather.md.

The nights after a day are foretold by what the 5, 10, 30 and 100 nights with a pair before it taught; nothing is
learned during these nights. Each way gives a whole distribution, scored by its CRPS; its median is scored by the root
of its mean square error.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import re
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtr

from bench.fit_dressing_prior import LEADS_H
from fruitwall.learning.forecasts import crps_ensemble, crps_normal, fit_emos, foretold, learn_errors
from fruitwall.learning.scores import crps_student
from fruitwall.weather.dressing import prior

Array = NDArray[np.float64]

HERE = Path(__file__).parent
PAGE = HERE.parent / "docs" / "learning-weather.md"

NIGHTS = (5, 10, 30, 100)
TEST_NIGHTS = 60

CLEAR_BY_WORD = {"SUNNY": 1.0, "VRYHOT": 1.0, "PTCLDY": 0.6, "MOCLDY": 0.25, "CLOUDY": 0.0}
"""How clear a bulletin's word says a night to be, though it is of the whole day; others, such as rain, 0.3. Our
judgement."""

COLD_C = 5.0

COLD_AT_LEAST = 30
"""Nights of a place below which its mean says too little."""

EMOS_AT_LEAST = 10
"""Nights that `fit_emos` asks for."""


@dataclass(frozen=True, eq=False)
class Place:
    """Pairs of one place and lead time, oldest first."""

    name: str
    night: Array
    forecast_c: Array
    """Middle of the members. [°C]"""
    sd_k: Array
    """Spread before anything was learned. [K]"""
    clear: Array
    observed_c: Array
    members_c: Array | None = None
    """As they came, shape (night, member); None for a single forecast. [°C]"""

    def part(self, at: slice) -> Place:
        """Give some of the nights."""
        members = None if self.members_c is None else self.members_c[at]
        return Place(
            self.name, self.night[at], self.forecast_c[at], self.sd_k[at], self.clear[at], self.observed_c[at], members
        )


@dataclass(frozen=True, eq=False)
class Scored:
    """What one way said of some nights: score, error of the median, chance of less than was observed."""

    crps_k: Array
    error_k: Array
    below: Array


Way = Callable[[Place, Place], Scored | None]


def cities(lead_h: int) -> list[Place]:
    """Give the 24 cities of the bulletins at one lead time."""
    rows: dict[str, list[tuple[float, float, float, float]]] = {}
    with gzip.open(HERE / "data" / "nws_city_lows" / "nws_city_lows.csv.gz", "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            usable = row["suspect_obs"] != "1" and row["suspect_forecast"] != "1"
            if usable and int(row["lead_h"]) == lead_h and row["forecast_low_c"] and row["observed_low_c"]:
                night = date.fromisoformat(row["night_ending"]).toordinal()
                clear = CLEAR_BY_WORD.get(row["forecast_weather"], 0.3)
                pair = (float(night), float(row["forecast_low_c"]), clear, float(row["observed_low_c"]))
                rows.setdefault(row["city"], []).append(pair)
    sd = float(prior().air_sd_k(LEADS_H[lead_h]))
    places = []
    for name, pairs in sorted(rows.items()):
        night, forecast, clear, observed = np.array(sorted(pairs)).T
        places.append(Place(name, night, forecast, np.full(night.size, sd), clear, observed))
    return places


def innsbruck() -> Place:
    """Give the ensemble of Innsbruck; how clear the nights were is not known."""
    path = HERE / "data" / "innsbruck_ensemble_tmin" / "innsbruck_ensemble_tmin.csv"
    with path.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    members = np.array([[float(row[name]) for name in row if name.startswith("ens_")] for row in rows])
    night = np.array([float(date.fromisoformat(row["night_ending"]).toordinal()) for row in rows])
    observed = np.array([float(row["observed_tmin_c"]) for row in rows])
    sd = np.maximum(members.std(axis=1, ddof=1), 0.5)
    half = np.full(night.size, 0.5)
    return Place("Innsbruck", night, np.median(members, axis=1), sd, half, observed, members)


# ---------------------------------------------------------------- ways


def as_issued(_: Place, test: Place) -> Scored:
    """Take the forecast as it came: one number, or the source's own members."""
    members = test.forecast_c[:, None] if test.members_c is None else test.members_c
    below = (members < test.observed_c[:, None]).mean(axis=1)
    return Scored(crps_ensemble(members, test.observed_c), test.observed_c - test.forecast_c, below)


def as_published(_: Place, test: Place) -> Scored:
    """Dress the forecast with the spread of the prior."""
    return _normal(test, test.forecast_c, test.sd_k)


def mean_bias(train: Place, test: Place) -> Scored:
    """Take off the mean error; the spread is that of the errors, or of the source's own members where it has them."""
    error = train.observed_c - train.forecast_c
    if test.members_c is None:
        return _normal(test, test.forecast_c + error.mean(), np.full(test.night.size, max(error.std(ddof=1), 0.1)))
    moved = test.members_c + error.mean()
    below = (moved < test.observed_c[:, None]).mean(axis=1)
    return Scored(crps_ensemble(moved, test.observed_c), test.observed_c - test.forecast_c - error.mean(), below)


def emos(train: Place, test: Place) -> Scored | None:
    """Fit mean and variance by least score."""
    if train.night.size < EMOS_AT_LEAST:
        return None

    def variance(place: Place) -> Array:
        return np.zeros(place.night.size) if place.members_c is None else place.members_c.var(axis=1, ddof=1)

    fitted = fit_emos(train.forecast_c, variance(train), train.observed_c)
    return _normal(test, fitted.mean(test.forecast_c), np.maximum(fitted.sd(variance(test)), 0.05))


def learned(train: Place, test: Place) -> Scored:
    """Learn as the product does."""
    known = learn_errors(train.forecast_c, train.observed_c, train.sd_k, train.clear, train.night)
    mean, scale = known.at(test.clear, test.sd_k)
    error = test.observed_c - test.forecast_c
    free = float(known.nights[0])
    return Scored(crps_student(mean, scale, free, error), error - mean, stdtr(free, (error - mean) / scale))


WAYS: dict[str, Way] = {
    "as issued": as_issued,
    "with the prior's spread": as_published,
    "mean bias taken off": mean_bias,
    "EMOS": emos,
    "learned": learned,
}


def _normal(test: Place, middle_c: Array, sd_k: Array) -> Scored:
    error = test.observed_c - middle_c
    return Scored(crps_normal(middle_c, sd_k, test.observed_c), error, ndtr(error / sd_k))


# ---------------------------------------------------------------- tables


def splits(place: Place, nights: int) -> Iterator[tuple[Place, Place]]:
    """Give the nights before and after a day, so that the tests are the same whatever number of nights is learned."""
    for begin in range(max(NIGHTS), place.night.size - TEST_NIGHTS + 1, TEST_NIGHTS):
        yield place.part(slice(begin - nights, begin)), place.part(slice(begin, begin + TEST_NIGHTS))


@dataclass(frozen=True, eq=False)
class Tried:
    """What each way said of the tests of each place, by way and number of nights, and which of these are cold."""

    scored: dict[tuple[str, int], dict[str, Scored]]
    cold: dict[str, NDArray[np.bool_]]


def tried(places: list[Place]) -> Tried:
    """Let all ways foretell all tests."""
    found: dict[tuple[str, int], dict[str, Scored]] = {}
    cold = {}
    for place in places:
        cold[place.name] = np.concatenate([test.forecast_c <= COLD_C for _, test in splits(place, 1)])
        for nights in NIGHTS:
            for name, way in WAYS.items():
                its = [said for train, test in splits(place, nights) if (said := way(train, test)) is not None]
                if its:
                    found.setdefault((name, nights), {})[place.name] = Scored(
                        *(
                            np.concatenate([getattr(one, part) for one in its])
                            for part in ("crps_k", "error_k", "below")
                        )
                    )
    return Tried(found, cold)


def table(said: Tried, *, cold: bool = False, members: bool = False) -> list[str]:
    """Give rows: way; then per number of nights CRPS, error of the median, and the share within the 80 % range."""
    use = {name: its if cold else np.ones(its.size, dtype=bool) for name, its in said.cold.items()}
    names = [name for name, its in use.items() if its.sum() >= COLD_AT_LEAST]
    rows = ["| way | " + " | ".join(f"{nights} nights" for nights in NIGHTS) + " |", "|---|" + "---|" * len(NIGHTS)]
    for way in WAYS:
        cells = []
        for nights in NIGHTS:
            its = said.scored.get((way, nights))
            if its is None:
                cells.append("")
                continue
            usual = said.scored["with the prior's spread", nights]
            crps = np.array([its[name].crps_k[use[name]].mean() for name in names])
            apart = crps - np.array([usual[name].crps_k[use[name]].mean() for name in names])
            square = np.mean([np.mean(its[name].error_k[use[name]] ** 2) for name in names])
            within = np.mean([np.mean(np.abs(its[name].below[use[name]] - 0.5) <= 0.4) for name in names])
            doubt = f" ±{apart.std(ddof=1) / np.sqrt(len(names)):.3f}" if len(names) > 1 and apart.any() else ""
            share = "" if way == "as issued" and not members else f" / {100 * within:.0f} %"
            cells.append(f"{crps.mean():.3f}{doubt} / {np.sqrt(square):.2f}{share}")
        rows.append(f"| {way} | " + " | ".join(cells) + " |")
    return rows


def reliability(places: list[Place]) -> list[str]:
    """Give how often the minimum fell in each tenth, each night foretold from all before it."""
    before, after = np.zeros(10), np.zeros(10)
    for place in places:
        error = place.observed_c - place.forecast_c
        told = foretold(place.forecast_c, place.observed_c, place.sd_k, place.clear, place.night)
        # Errors are multiples of 5/9 K: each is spread evenly over the step that was rounded to it.
        rng = np.random.default_rng(1)
        error = error + rng.uniform(-0.5, 0.5, error.size) / 1.8 if place.members_c is None else error
        for counts, chances in (
            (before, ndtr(error / place.sd_k)),
            (after, stdtr(told.nights, (error - told.mean) / told.scale)),
        ):
            counts += np.bincount(np.clip((chances * 10).astype(int), 0, 9), minlength=10)
    rows = ["| tenth | " + " | ".join(str(one) for one in range(1, 11)) + " |", "|---|" + "---|" * 10]
    for name, counts in (("with the prior's spread", before), ("learned", after)):
        rows.append(f"| {name} | " + " | ".join(f"{100 * one / counts.sum():.1f}" for one in counts) + " |")
    return rows


def tables() -> dict[str, list[str]]:
    """Give all tables by their names on the page."""
    short, alpine = cities(12), [innsbruck()]
    said = tried(short)
    return {
        "cities-12": table(said),
        "cities-12-cold": table(said, cold=True),
        "cities-48": table(tried(cities(48))),
        "innsbruck": table(tried(alpine), members=True),
        "cities-reliability": reliability(short),
        "innsbruck-reliability": reliability(alpine),
    }


def written(text: str, found: dict[str, list[str]]) -> str:
    """Put tables into a page between their marks."""
    for name, rows in found.items():
        begin, end = f"<!-- table: {name} -->\n", "<!-- end of table -->\n"
        parts = re.split(re.escape(begin) + ".*?" + re.escape(end), text, flags=re.DOTALL)
        if len(parts) != 2:
            raise ValueError(f"the page has {len(parts) - 1} places for the table {name}")
        text = (begin + "\n".join(rows) + "\n" + end).join(parts)
    return text


def main(argv: list[str] | None = None) -> int:
    """Print or write the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--write", action="store_true", help=f"write the tables into {PAGE.name}")
    options = parser.parse_args(argv or [])
    found = tables()
    if options.write:
        PAGE.write_text(written(PAGE.read_text(encoding="utf-8"), found), encoding="utf-8")
        return 0
    for name, rows in found.items():
        print(f"\n{name}", *rows, sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
