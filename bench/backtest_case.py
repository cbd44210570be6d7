"""Predicted against reported injury: what would the model have said before freezes whose outcome is known?

Run ``python -m bench backtest_case``. Reports in bench/data/freezes are in no catalogue. Rows of the
catalogue that tell an observed injury, or a freeze stood unhurt, are predicted from the catalogue without their own
source.

A report gives an air temperature, seldom more. So tissue is taken 1.5 K below the air of a still night and as cold as
the air of a windy one, as where published limits are read; the night model itself is tried elsewhere
(bench/validate_physics.py).

One number of the model is taken from these freezes: how much colder than the death of its top a tree dies for good
(`plants.effects.STUMP_K`). So every freeze is predicted with the number that all *other* reports call for.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants import effects
from fruitwall.plants.catalogue import Catalogue, Evidence, catalogue
from fruitwall.plants.injury import DURATIONS_H, grade_chances
from fruitwall.plants.tolerance import FRUIT, GRADES, ROOT, TISSUES, WOOD, prior

Array = NDArray[np.float64]

FREEZES = Path(__file__).parent / "data" / "freezes" / "freezes.csv"

OF_EFFECT = {
    "chilling_injury": (1, 4),
    "leaf_injury": (2, 4),
    "twig_injury": (5, 5),
    "severe_injury": (5, 6),
    "death": (7, 7),
}
"""Grades that a row's effect may mean; where the row's own words say more they are not used."""

EVENTS = ("sanmarcos24f",)
"""Sources whose rows of survival tell of one freeze, not of a limit."""

RISE_K_PER_LOG2 = 0.6
"""How much milder the mean of twice the hours near the minimum is, as on a usual clear night. Our judgement. [K]"""


STUMPS_K = np.arange(0.0, 6.01, 0.5)
"""Distances from death of the top to death of the tree that are tried. [K]"""


@dataclass(frozen=True)
class Freeze:
    """One reported outcome.

    Attributes
    ----------
    report : str
        Independent source; left out of the catalogue when this is predicted.
    air_c : tuple of float
        Minimum air temperature of each night. [°C]
    hours : float
        Hours near the minimum. [h]
    weeks_c : float or None
        Mean temperature of the weeks before; None for a usual winter. [°C]
    grade : tuple of int
        Lowest and highest grade that the report's words allow.
    """

    report: str
    url: str
    taxon: str
    age_years: float
    height_m: float | None
    potted: bool
    windy: bool
    air_c: tuple[float, ...]
    hours: float
    weeks_c: float | None
    stages: tuple[str, ...]
    grade: tuple[int, int]
    words: str


def reported() -> list[Freeze]:
    """Read bench/data/freezes."""
    with FREEZES.open(encoding="utf-8") as file:
        return [
            Freeze(
                report=row["report"],
                url=row["url"],
                taxon=row["taxon"],
                age_years=float(row["age_years"]),
                height_m=float(row["height_m"]),
                potted=row["potted"] == "1",
                windy=row["windy"] == "1",
                air_c=tuple(float(word) for word in row["air_c"].split()),
                hours=float(row["hours"] or effects.USUAL_HOURS),
                weeks_c=float(row["weeks_c"]) if row["weeks_c"] else None,
                stages=tuple(row["stages"].split()),
                grade=(int(row["grade_low"]), int(row["grade_high"])),
                words=row["words"],
            )
            for row in csv.DictReader(file)
        ]


def of_catalogue() -> list[Freeze]:
    """Give the catalogue's rows that tell what was seen of a tree in the cold."""
    return [
        _of_row(row)
        for row in catalogue().evidence_rows
        if row.stage not in ("fruit", "flower")
        and not row.unhardened
        and (row.type == "observed" or (row.type == "survives" and row.source.key in EVENTS))
    ]


def _of_row(row: Evidence) -> Freeze:
    """Make a case of a row: in the middle of its range, young trees two years old, at rest if the kind rests."""
    taxon = catalogue().find(row.taxon)
    grade = (0, 1) if row.type == "survives" else OF_EFFECT[row.effect]
    stages = "flush" if row.stage == "new_growth" else "dormant" if taxon.needs_winter_chill else "leafy"
    return Freeze(
        report=row.voice,
        url=row.source.identifier,
        taxon=row.taxon,
        age_years=effects.YOUNG_TREE_YEARS if row.stage == "young" else 15.0,
        height_m=None,
        potted=False,
        windy=row.at_tissue,
        air_c=(0.5 * (row.low_c + row.high_c),),
        hours=row.duration_h or effects.USUAL_HOURS,
        weeks_c=None,
        stages=(stages,),
        grade=grade,
        words=f"{row.effect.replace('_', ' ')}, {row.type}",
    )


def exposure(freeze: Freeze) -> Array:
    """Give the coldest means of each tissue in each night. [night, tissue, duration] in [°C]

    Roots are left out: no report tells the temperature in the ground or pot.
    """
    above = RISE_K_PER_LOG2 * np.log2(np.maximum(np.array(DURATIONS_H) / freeze.hours, 1.0))
    colder = np.full(len(TISSUES), 0.0 if freeze.windy else effects.AIR_TO_TISSUE_K)
    colder[FRUIT] = 0.0 if freeze.windy else effects.AIR_TO_FRUIT_K
    cold = np.array(freeze.air_c)[:, None, None] - colder[:, None] + above
    cold[:, ROOT] = np.nan
    return np.asarray(cold)


@lru_cache(maxsize=64)
def without(voice: str) -> Catalogue:
    """Give the catalogue without one source's rows."""
    known = catalogue()
    return Catalogue(known.taxa, tuple(row for row in known.evidence_rows if row.voice != voice))


@lru_cache(maxsize=4096)
def predicted(freeze: Freeze, stump_k: float | None = None) -> Array:
    """Give the chance of each grade as it would have been said beforehand. [grade]

    Parameters
    ----------
    freeze : Freeze
    stump_k : float or None
        How much colder than the death of its top the tree dies; what the model has if left out. [K]
    """
    tree = prior(
        catalogue().find(freeze.taxon),
        age_years=freeze.age_years,
        height_m=freeze.height_m,
        potted=freeze.potted,
        stages=freeze.stages,
        acclimation_c=freeze.weeks_c,
        known=without(freeze.report),
    )
    if stump_k is not None:
        limits = tree.threshold_c.copy()
        limits[WOOD, 7] += effects.STUMP_K["unknown"] - stump_k
        tree = replace(tree, threshold_c=limits)
    return grade_chances(tree, exposure(freeze), nights_axis=0)


def everything() -> tuple[Freeze, ...]:
    """Give all freezes, reports and rows."""
    return (*reported(), *of_catalogue())


@lru_cache(maxsize=1)
def _scores() -> tuple[tuple[str, ...], Array]:
    """Report and ranked score of every freeze under every distance. [freeze], [freeze, distance]"""
    freezes = everything()
    scores = [
        [_ranked(predicted(freeze, float(stump))[None], seen(freeze)[None]) for stump in STUMPS_K] for freeze in freezes
    ]
    return tuple(freeze.report for freeze in freezes), np.array(scores)


def stump_without(report: str | None) -> float:
    """Give the distance from death of the top to death of the tree that all other reports call for. [K]"""
    reports, scores = _scores()
    return float(STUMPS_K[scores[[other != report for other in reports]].mean(axis=0).argmin()])


def beforehand(freeze: Freeze) -> Array:
    """Give the chance of each grade with nothing taken from the freeze's own report. [grade]"""
    return predicted(freeze, stump_without(freeze.report))


def interval(chances: Array, share: float = 0.8) -> tuple[int, int]:
    """Give the grades between which the middle `share` of the chances lies."""
    cumulated = np.cumsum(chances)
    tail = 0.5 * (1.0 - share)
    return int(np.searchsorted(cumulated, tail)), int(np.searchsorted(cumulated, 1.0 - tail))


def seen(freeze: Freeze) -> Array:
    """Spread the reported outcome over the grades that its words allow. [grade]"""
    low, high = freeze.grade
    chances = np.zeros(len(GRADES))
    chances[low : high + 1] = 1.0 / (high - low + 1)
    return chances


@dataclass(frozen=True)
class Summary:
    """How well a set of freezes was predicted.

    Attributes
    ----------
    within : float
        Share of reports whose grades touch the predicted 80 % interval.
    bias, error : float
        Mean of expected minus reported grade, and of its size; positive is too dark a prediction. [grades]
    score, naive_score : float
        Ranked probability score, lower is better: of the model, and of one who only knows how the other reports of the
        set came out. [-]
    """

    count: int
    within: float
    bias: float
    error: float
    score: float
    naive_score: float


def summary(freezes: Sequence[Freeze]) -> Summary:
    """Compare predictions with what was reported; nothing is taken from the report that is predicted."""
    chances = np.array([beforehand(freeze) for freeze in freezes])
    outcomes = np.array([seen(freeze) for freeze in freezes])
    reports = np.array([freeze.report for freeze in freezes])
    naive = np.array([outcomes[reports != report].mean(axis=0) for report in reports])
    grades = np.arange(len(GRADES))
    miss = (chances - outcomes) @ grades
    touched = [
        low <= freeze.grade[1] and freeze.grade[0] <= high
        for freeze, (low, high) in zip(freezes, map(interval, chances), strict=True)
    ]
    return Summary(
        count=len(freezes),
        within=float(np.mean(touched)),
        bias=float(miss.mean()),
        error=float(np.abs(miss).mean()),
        score=_ranked(chances, outcomes),
        naive_score=_ranked(naive, outcomes),
    )


def reached(freezes: Sequence[Freeze]) -> tuple[Array, Array]:
    """Give the share of trees predicted, and seen, to reach each grade or a worse one. [grade], [grade]"""
    chances = np.mean([beforehand(freeze) for freeze in freezes], axis=0)
    outcomes = np.mean([seen(freeze) for freeze in freezes], axis=0)
    return np.cumsum(chances[::-1])[::-1], np.cumsum(outcomes[::-1])[::-1]


def _ranked(chances: Array, outcomes: Array) -> float:
    """Mean ranked probability score of forecasts against outcomes. [case, grade]"""
    return float((np.cumsum(chances - outcomes, axis=1) ** 2).sum(axis=1).mean())


def table(freezes: Sequence[Freeze]) -> list[str]:
    """Give one line per freeze, the worst predicted marked."""
    lines = [f"{'kind':34} {'air °C':>7} {'said':>5} {'80 %':>5} {'mean':>5}  report, what was seen"]
    for freeze in freezes:
        chances = beforehand(freeze)
        low, high = interval(chances)
        mark = " " if low <= freeze.grade[1] and freeze.grade[0] <= high else "!"
        lines.append(
            f"{freeze.taxon[:34]:34} {min(freeze.air_c):7.1f} {freeze.grade[0]}-{freeze.grade[1]:<3} "
            f"{low}-{high:<3} {chances @ np.arange(len(GRADES)):5.1f} {mark} {freeze.report}, {freeze.words}"
        )
    return lines


def main() -> None:
    """Print every freeze and what comes out in all."""
    sets = {
        "reports": reported(),
        "rows of the catalogue, own source left out": of_catalogue(),
    }
    for title, freezes in sets.items():
        print(f"\n{title}")
        print("\n".join(table(freezes)))
        done = summary(freezes)
        sources = len({freeze.report for freeze in freezes})
        print(f"{done.count} freezes of {sources} sources: {done.within:.0%} within the 80 % interval,")
        print(f"grade off by {done.error:.1f} (bias {done.bias:+.1f}), ranked score {done.score:.2f}")
        print(f"against {done.naive_score:.2f} of one who only knows the other outcomes")
        for what, shares in zip(("predicted", "seen"), reached(freezes), strict=True):
            print(f"{what:9} to reach grade 1-7: " + " ".join(f"{share:4.0%}" for share in shares[1:]))
    chosen = {report: stump_without(report) for report in sorted({freeze.report for freeze in everything()})}
    print(
        f"\na top that is killed comes again unless it gets colder by: all {stump_without(None):g} K, leaving out one"
    )
    print("  " + ", ".join(f"{report} {stump:g}" for report, stump in chosen.items()))
    reports, scores = _scores()
    for title, freezes in sets.items():
        mine = np.isin(np.arange(len(reports)), [everything().index(freeze) for freeze in freezes])
        print(
            f"  {title}: " + ", ".join(f"{k:g} K {s:.2f}" for k, s in zip(STUMPS_K, scores[mine].mean(0), strict=True))
        )
    print("\nsources read")
    for report, url in sorted({(f.report, f.url) for f in reported()}):
        print(f"{report}: {url}")
