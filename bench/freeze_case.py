"""A known freeze replayed: does the model of winters put reported injuries into the order of their severity?

Run ``python -m bench freeze``. The freeze of Christmas 2022 in the south-east of the United States was reported from
many places with a thermometer and a list of what was hurt (bench/data/christmas_freeze). The whole winter 2022/23 goes
through everything that "what if" uses: daily extremes to hours, ground, sky and wind, tissues, hardening by the weeks
before, tolerance, and drawn trees (`plans.rules.outcome`). No report is in the catalogue of evidence. A second list, of
17 kinds in one yard, tells its nights but no date; it is laid on the same winter.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.nightly import Chosen
from fruitwall.plans.rules.outcome import Ahead, play
from fruitwall.plants.tolerance import GRADES
from fruitwall.service.beliefs import NOTHING_LEARNED
from fruitwall.service.winters_ground import make_ground
from fruitwall.service.winters_weather import winters_from
from fruitwall.weather.climate import Climate
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.history import parse_daily
from fruitwall.weather.place import Place as Spot
from fruitwall.yard.model import Yard

Array = NDArray[np.float64]

DATA = Path(__file__).parent / "data" / "christmas_freeze"

LATITUDE_DEG, LONGITUDE_DEG = 30.5, -83.5
"""All places are replayed under the sun of their middle, so that one replay does for all. [°]"""

DRAWS = 400

APART_M = 12.0
"""Between trees, so that none shelters another. [m]"""

ORDERS = 20_000
"""Random orders against which the order found is held."""

LISTS = {
    "christmas": "the freeze of Christmas 2022",
    "one_yard": "17 kinds of one yard, date not told, laid on this winter",
    "savannah": "citrus of a trial at Savannah in its first winter 1998/99, laid on this winter",
}
"""Reports that are ordered among themselves."""


@dataclass(frozen=True)
class Place:
    """Where a report comes from.

    Attributes
    ----------
    warmer_k : float
        How much warmer its winter is than Gainesville's in the mean. [K]
    first_night : date
        Morning of the first of its told nights.
    nights_c : tuple of float
        Minima by the report's own thermometer. [°C]
    """

    key: str
    name: str
    warmer_k: float
    first_night: date
    nights_c: tuple[float, ...]


@dataclass(frozen=True)
class Reported:
    """What was seen on trees of one kind.

    Attributes
    ----------
    grade : tuple of int
        Lowest and highest grade that the words allow.
    """

    place: str
    taxon: str
    age_years: float
    height_m: float
    crown_m: float
    origin: str
    grade: tuple[int, int]
    words: str

    @property
    def list_key(self) -> str:
        """To which of `LISTS` it belongs."""
        return self.place if self.place in LISTS else "christmas"

    @property
    def middle(self) -> float:
        """The middle of what the words allow."""
        return 0.5 * sum(self.grade)


def places() -> dict[str, Place]:
    """Read the places."""
    with (DATA / "places.csv").open(encoding="utf-8") as file:
        return {
            row["place"]: Place(
                row["place"],
                row["name"],
                float(row["warmer_k"]),
                date.fromisoformat(row["first_night"]),
                tuple(float(one) for one in row["nights_c"].split()),
            )
            for row in csv.DictReader(file)
        }


def reported() -> list[Reported]:
    """Read what was seen."""
    with (DATA / "outcomes.csv").open(encoding="utf-8") as file:
        return [
            Reported(
                row["place"],
                row["taxon"],
                float(row["age_years"]),
                float(row["height_m"]),
                float(row["crown_m"]),
                row["origin"],
                (int(row["grade_low"]), int(row["grade_high"])),
                row["words"],
            )
            for row in csv.DictReader(file)
        ]


def winter_at(place: Place) -> Forcing:
    """Give the winter 2022/23 of a place: Gainesville's, moved to it, with the told minima on their nights."""
    told = {place.first_night + timedelta(days=at): low for at, low in enumerate(place.nights_c)}
    lines = []
    for line in (DATA / "gainesville_2022_23.csv").read_text(encoding="utf-8").splitlines():
        if line.startswith(("#", "date")):
            lines.append(line)
            continue
        day, low, high, *rest = line.split(",")
        on = date.fromisoformat(day)
        shift = told[on] - float(low) if on in told else place.warmer_k
        lines.append(",".join([day, f"{float(low) + shift:.2f}", f"{float(high) + shift:.2f}", *rest]))
    return parse_daily("\n".join(lines), where="gainesville_2022_23.csv", place=Spot(LATITUDE_DEG, LONGITUDE_DEG, 40.0))


def open_yard(trees: list[Reported]) -> Yard:
    """Lay trees out on open turf, with nothing to protect them."""
    side = APART_M * (len(trees) + 1)
    return Yard.model_validate(
        {
            "name": "Open turf",
            "location": {
                "latitude": LATITUDE_DEG,
                "longitude": LONGITUDE_DEG,
                "elevation": 40.0,
                "time_zone": "America/New_York",
            },
            "outline": [[0, 0], [side, 0], [side, 12], [0, 12]],
            "gear_store": [1, 1],
            "trees": [
                {
                    "id": f"tree-{at}",
                    "name": tree.taxon,
                    "taxon": tree.taxon,
                    "position": [APART_M * (at + 1), 6.0],
                    "height": tree.height_m,
                    "crown_diameter": tree.crown_m,
                    "crown_base": 0.3,
                    "age": tree.age_years,
                    "origin": tree.origin,
                }
                for at, tree in enumerate(trees)
            ],
        },
        by_alias=True,
        by_name=False,
    )


@cache
def freeze_ground() -> Ground:
    """Give the ground of all reported trees, one winter for each place."""
    yard = open_yard(reported())
    weather = winters_from(Climate(tuple(map(winter_at, places().values())), "GHCN-Daily"), yard.location)
    assert weather is not None
    assert len(weather.names) == len(places())
    return make_ground(yard, weather, NOTHING_LEARNED, date(2022, 12, 1), (0.0,))


@cache
def predicted() -> Array:
    """Give the share of drawn trees with each grade, for every report. [report, grade]"""
    seen, where, ground = reported(), list(places()), freeze_ground()
    trees, nights = len(seen), ground.nights.count
    none = np.zeros(nights)
    alone = Chosen(
        np.zeros((trees, nights), dtype=np.int16), np.zeros((trees, nights), dtype=bool), none, none, none, none, none
    )
    shares = np.zeros((trees, len(GRADES)))
    for at, key in enumerate(where):
        here = replace(ground, nights=replace(ground.nights, weights=np.eye(len(where))[at]))
        grade = play(here, [alone], Ahead(years=1, draws=DRAWS)).grade[:, 0]
        for row, one in enumerate(seen):
            if one.place == key:
                shares[row] = np.bincount(grade[:, row], minlength=len(GRADES)) / DRAWS
    return shares


def kendall_tau_b(x: Array, y: Array) -> float:
    """Give Kendall's tau-b, which counts ties in both. Kendall (1945), Biometrika 33:239-251."""
    a, b = _signs(x), _signs(y)
    return float((a * b).sum() / np.sqrt((a**2).sum() * (b**2).sum()))


def chance_of_order(x: Array, y: Array, *, seed: int = 1) -> float:
    """Give how often a random order of y agrees with x at least as well as its own."""
    first, second = np.triu_indices(len(x), 1)
    orders = np.random.default_rng(seed).permuted(np.tile(y, (ORDERS, 1)), axis=1)
    agree = np.sign(orders[:, first] - orders[:, second]) @ _signs(x)
    return float(np.mean(agree >= _signs(x) @ _signs(y)))


def _signs(x: Array) -> Array:
    """Give for every pair which of both is more."""
    first, second = np.triu_indices(len(x), 1)
    return np.sign(x[first] - x[second])


def disagreements(expected: Array, seen: list[Reported]) -> list[tuple[int, int]]:
    """Give the pairs whose ranges do not touch and that are predicted the other way round: worse reported one first."""
    return [
        (i, j)
        for i in range(len(seen))
        for j in range(len(seen))
        if seen[i].grade[0] > seen[j].grade[1] and expected[i] <= expected[j]
    ]


def mean_grade(shares: Array) -> Array:
    """Give the mean grade of each report."""
    return np.asarray(shares @ np.arange(len(GRADES)))


def main() -> None:
    """Print every report, the agreement of the orders, and the pairs that disagree."""
    everything, every_share = reported(), predicted()
    for key, title in LISTS.items():
        its = [at for at, one in enumerate(everything) if one.list_key == key]
        seen, shares = [everything[at] for at in its], every_share[its]
        expected, middle = mean_grade(shares), np.array([one.middle for one in seen])
        print(f"\n{title}\n{'place':11} {'kind':36} {'seen':>5} {'mean':>5}  shares of grades 0-7")
        for at in np.argsort(-middle, kind="stable"):
            one = seen[at]
            print(
                f"{one.place:11} {one.taxon:36} {one.grade[0]}-{one.grade[1]:<3} {expected[at]:5.1f}  "
                + " ".join(f"{share:4.0%}" for share in shares[at])
            )
        print(
            f"Kendall's tau-b {kendall_tau_b(expected, middle):.2f}; a random order is as good with a chance of "
            f"{chance_of_order(expected, middle):.4f}"
        )
        pairs = sum(1 for a in seen for b in seen if a.grade[0] > b.grade[1])
        wrong = disagreements(expected, seen)
        print(f"of {pairs} pairs whose reported ranges do not touch {len(wrong)} are predicted the other way round")
        for i, j in wrong:
            print(f"  {seen[i].taxon} at {seen[i].place} seen worse than {seen[j].taxon} at {seen[j].place}")
