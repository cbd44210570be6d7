"""How well are the lowest temperatures at a spot foretold after 3, 10 and 30 nights of a thermometer there?

Run ``python -m bench spots_case``; figures in docs/learning-spots.md. Learned from the first nights of a winter, tried
on all its nights after the thirtieth; each winter of the pairs is one trial. Four answers to the same question:

alone    what is known without the thermometer (`bench.networks`), with the spread that the prior gives it
mean     the same with the mean difference of the nights read, and their spread
nearest  what the nearest other thermometer read *that very night*, with the spread of the difference in the nights
         read: it needs that thermometer to be read each night, which for a forecast is the future
learned  `learning.spots`
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chisquare, norm

from bench.faults import rates, stretches
from bench.machine import machine
from bench.made_spots import ranks
from bench.networks import Network, networks
from bench.validation.pairs import LAPSE_K_M, PAIRS
from fruitwall.learning.scores import crps_normal
from fruitwall.learning.spots import Offset, SpotReadings, learn_spots

FloatArray = NDArray[np.float64]

NIGHTS = (3, 10, 30)
LEAST_SD_K = 0.2
"""Three nights may agree by chance. [K]"""

HOURS_OF_NIGHT = 8
"""Least hours that a night must have for its minimum to count."""

WAYS = ("alone", "mean", "nearest", "learned")


@dataclass(frozen=True, eq=False)
class Winter:
    """Nights of one winter of one network.

    Attributes
    ----------
    course_c, clear : list of ndarray
        Hours of each night. [°C], [0-1]
    lowest_c : dict of str to ndarray [night]
        By thermometer.
    neighbour_c : ndarray [night] or None
        Lowest of the known thermometer as it was read; None where there are better ones among the others.
    """

    course_c: list[FloatArray]
    clear: list[FloatArray]
    lowest_c: dict[str, FloatArray]
    neighbour_c: FloatArray | None


def winters(network: Network) -> Iterator[Winter]:
    """Cut a network into winters of whole nights on which all thermometers were read."""
    whole = np.isfinite(network.course_c)
    for read in network.read_c.values():
        whole &= np.isfinite(read)
    # Seven months back from March is August: a winter has the number of the year in which it begins.
    year = (network.time_utc.astype("datetime64[M]") - np.timedelta64(7, "M")).astype("datetime64[Y]").astype(np.int64)
    higher_m = {pair.name: pair.higher_m for pair in PAIRS}.get(network.name, 0.0)
    for one in np.unique(year):
        nights = []
        some = network.dark & whole & (year == one)
        for night in np.unique(network.night[some]):
            at = np.flatnonzero(some & (network.night == night))
            if at.size >= HOURS_OF_NIGHT:
                nights.append(at)
        if len(nights) < NIGHTS[-1] + 15:
            continue
        lowest = {name: np.array([read[at].min() for at in nights]) for name, read in network.read_c.items()}
        course = [network.course_c[at] for at in nights]
        alone = np.array([each.min() for each in course]) + LAPSE_K_M * higher_m
        yield Winter(course, [network.clear[at] for at in nights], lowest, None if len(lowest) > 3 else alone)


def told(
    winter: Winter, name: str, nights: int, offset: Offset, prior: Offset
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Give mean and spread of each way for the nights after the thirtieth."""
    test = range(NIGHTS[-1], len(winter.course_c))
    lowest = winter.lowest_c[name]
    alone = np.array([each.min() for each in winter.course_c])
    clear = np.array([c[np.argmin(t)] for t, c in zip(winter.course_c, winter.clear, strict=True)])
    off = (lowest - alone)[:nights]
    mean_sd = max(float(off.std(ddof=1)), LEAST_SD_K) * (1.0 + 1.0 / nights) ** 0.5
    others = {other: winter.lowest_c[other] for other in winter.lowest_c if other != name}
    beside = winter.neighbour_c
    if beside is None:
        beside = min(others.values(), key=lambda other: float(((other - lowest)[:nights] ** 2).mean()))
    beside_sd = max(float(np.sqrt(((lowest - beside)[:nights] ** 2).mean())), LEAST_SD_K)
    a, b = offset.mean
    moved = np.array([(t + a + b * c).min() for t, c in zip(winter.course_c, winter.clear, strict=True)])

    def spread(one: Offset) -> FloatArray:
        return np.array([np.hypot(one.at(float(each))[1], one.scatter_k) for each in clear])

    every = {
        "alone": (alone, spread(prior)),
        "mean": (alone + off.mean(), np.full(alone.shape, mean_sd)),
        "nearest": (beside, np.full(alone.shape, beside_sd)),
        "learned": (moved, spread(offset)),
    }
    return {way: (mean[test], sd[test]) for way, (mean, sd) in every.items()}


def readings_of(winter: Winter, nights: int, without: str = "") -> SpotReadings:
    """Lay the first nights out for learning."""
    rows = []
    for name, lowest in winter.lowest_c.items():
        if name != without:
            for night in range(nights):
                coldest = int(np.argmin(winter.course_c[night]))
                off = lowest[night] - winter.course_c[night][coldest]
                rows.append((name, night, float(winter.clear[night][coldest]), float(off), 0.0))
    return SpotReadings(*(list(column) for column in zip(*rows, strict=True)))


@dataclass(frozen=True)
class Score:
    """Errors of one way. [K]"""

    rmse_k: float
    crps_k: float
    within_50: float
    within_90: float


def scores(network: Network, nights: int, *, elsewhere: bool = False) -> dict[str, Score]:
    """Score all ways on one network.

    Parameters
    ----------
    network : Network
    nights : int
        Read at first.
    elsewhere : bool
        Whether the thermometer asked for is left out of the learning, so that only the others teach.

    Returns
    -------
    dict of str to Score
    """
    kept: dict[str, list[tuple[FloatArray, FloatArray, FloatArray]]] = {way: [] for way in WAYS}
    for winter in winters(network):
        names = list(winter.lowest_c)
        prior = learn_spots(names, SpotReadings([], [], [], [], []))
        together = None if elsewhere else learn_spots(names, readings_of(winter, nights))
        for name in names:
            learned = together or learn_spots(names, readings_of(winter, nights, name))
            for way, (mean, sd) in told(winter, name, nights, learned[name], prior[name]).items():
                kept[way].append((mean, sd, winter.lowest_c[name][NIGHTS[-1] :]))
    found = {}
    for way, parts in kept.items():
        mean, sd, seen = (np.concatenate(each) for each in zip(*parts, strict=True))
        rank = norm.cdf((seen - mean) / sd)
        found[way] = Score(
            float(np.sqrt(((seen - mean) ** 2).mean())),
            float(crps_normal(mean, sd, seen).mean()),
            float((np.abs(rank - 0.5) < 0.25).mean()),
            float((np.abs(rank - 0.5) < 0.45).mean()),
        )
    return found


def calibration(yards: int = 400, nights: int = 10, seed: int = 5) -> tuple[FloatArray, list[float]]:
    """Simulation-based calibration: ranks of three truths in many yards drawn from the prior, and their tests."""
    found = ranks(yards, (("a", 0.0), ("b", 0.9), ("d", 1.0)), seed=seed)
    bins = [np.histogram(column, bins=10, range=(0.0, 1.0))[0] for column in found.T]
    return found, [float(chisquare(each).pvalue) for each in bins]


def main() -> None:
    """Print all figures."""
    print(machine())
    for network in networks():
        count = len(list(winters(network)))
        print(f"\n{network.name} ({count} winters, {len(network.read_c)} thermometers asked for)")
        print("| nights read | " + " | ".join(f"{way}: RMSE, CRPS [K]" for way in WAYS) + " | learned: in 50, 90 % |")
        print("| --- " * (len(WAYS) + 2) + "|")
        for nights in NIGHTS:
            found = scores(network, nights)
            told_ways = " | ".join(f"{found[way].rmse_k:.2f}, {found[way].crps_k:.2f}" for way in WAYS)
            its = found["learned"]
            print(f"| {nights} | {told_ways} | {100 * its.within_50:.0f}, {100 * its.within_90:.0f} |", flush=True)
        if len(network.read_c) > 1:
            its = scores(network, 10, elsewhere=True)["learned"]
            print(f"ten nights of the others only: RMSE {its.rmse_k:.2f}, CRPS {its.crps_k:.2f} K")
    drawn, chances = calibration()
    within = [float((np.abs(drawn - 0.5) < half).mean()) for half in (0.25, 0.45)]
    print(
        f"\ncalibration, {len(drawn)} made-up yards: chances of unevenness {', '.join(f'{p:.2f}' for p in chances)}; "
    )
    print(f"in the middle 50 and 90 %: {100 * within[0]:.0f}, {100 * within[1]:.0f} %")
    print("\nfaults put into stretches of 30 days: found / tried (something else named)")
    some = [(network.name, rates(list(stretches(network)))) for network in networks()]
    print("| fault | " + " | ".join(name.split(",")[0] for name, _ in some) + " |")
    print("| --- " * (len(some) + 1) + "|")
    for row in zip(*(each for _, each in some), strict=True):
        cells = " | ".join(f"{one.found} / {one.tried} ({one.others})" for one in row)
        print(f"| {row[0].fault} | {cells} |")


if __name__ == "__main__":
    main()
