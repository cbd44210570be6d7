"""When does a kind flush, bloom, ripen and rest, and when may this tree be picked?

What is published is thin and scattered: months in some place, days from bloom to harvest in another. Every statement
keeps its source and mark; the spread between sources stays in what is foreseen, and a tree's own entries narrow it
(docs/season-growth.md). Pure: no clock and no weather of its own.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from importlib import resources
from math import exp, isfinite, log, sqrt
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.catalogue import Source, Taxon, catalogue, read_source
from fruitwall.plants.cause_odds import shed_months
from fruitwall.plants.degree_days import METHODS, Method, degree_days

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Catalogue

__all__ = [
    "METHODS",
    "Band",
    "FruitTime",
    "GrowthFact",
    "Method",
    "Window",
    "bands_of",
    "bloom_heat",
    "bloom_hours",
    "degree_days",
    "facts_of",
    "fruit_time",
    "harvest_window",
    "learned_bloom",
    "learned_time",
    "next_time",
    "reached_on",
]

What = Literal["bloom", "harvest", "flush", "shedding", "fruit_time", "heat_to_bloom", "rest_end"]
Status = Literal["read", "from_memory", "common_practice"]
BandStage = Literal["dormant", "bloom", "harvest", "flush", "shedding"]

DAYS_PER_MONTH = 30.4
"""A twelfth of a year; published months are round figures. [days]"""

MIDDLE_SHARE_Z = 1.2816
"""A published range is taken as what 8 of 10 trees and years keep to: so many standard deviations to either side of its
middle. Our judgement: authors leave out the odd ones."""

LEAST_SPREAD = 0.15
"""Standard deviation of bloom to harvest where one figure stands alone, as a share of it. 'Elberta' in New Jersey took
123 to 144 days in ten years (Blake 1930), which is 0.06 for one cultivar in one place; places and cultivars vary more.
Our judgement. [-]"""

YEAR_SPREAD = 0.06
"""Standard deviation from year to year of one tree, as a share of its time; the same ten years of 'Elberta'. [-]"""

BLOOM_YEAR_DAYS = 14.0
"""Standard deviation of an entered bloom about the tree's usual one: 10 days from year to year ('Elberta' in New Jersey
bloomed over 29 days in ten years, Blake 1930, a range of about three standard deviations) and as much again because
somebody enters it when it is seen and not with the first flower (our judgement). [days]"""

OPEN_END = 1.6
"""Where only the earliest is published, the latest is taken so many times as long. Our judgement: peaches take 60 days
to five months. [-]"""

NO_TREES = frozenset({"Musaceae", "Caricaceae", "Arecaceae", "Cactaceae", "Bromeliaceae"})
"""Families of giant herbs, palms and cacti: what is said of all evergreen trees is not said of them."""


NEVER_TASTED = frozenset({"blighia-sapida", "anacardium-occidentale"})
"""Kinds whose ripeness nobody should find out by tasting: unripe akee kills (hypoglycin, Jamaican vomiting sickness;
from memory), the shell of a cashew burns skin and mouth. By the catalogue's keys."""


@dataclass(frozen=True)
class GrowthFact:
    """One statement on the season of a kind.

    Attributes
    ----------
    taxon : str
        As it stands in the table: a kind, a species of several groups, a genus, or a group of kinds in brackets.
    what : str
    low, high : float
        Months of a northern year (from, to), days, growing degree hours, or Utah chill units; `high` is NaN where only
        the earliest is published. [month], [day], [GDH] or [CU], as `unit` says
    unit : str
        month, day, GDH or CU; a length in months is given in days.
    place, locator, note : str
    source : Source
    status : str
    """

    taxon: str
    what: What
    low: float
    high: float
    unit: Literal["month", "day", "GDH", "CU"]
    place: str
    source: Source
    locator: str
    status: Status
    note: str


@dataclass(frozen=True)
class FruitTime:
    """How long a kind takes from bloom (or fruit set) to harvest.

    Attributes
    ----------
    mean_days, sd_days : float
        Over trees, years and sources. [days]
    low_days, high_days : float
        The shortest and the longest that any source states; the longest is NaN where none does. [days]
    statements : tuple of GrowthFact
        With `low` and `high` in days.
    """

    mean_days: float
    sd_days: float
    low_days: float
    high_days: float
    statements: tuple[GrowthFact, ...]


@dataclass(frozen=True)
class Band:
    """Months in which a stage of a kind is to be expected.

    Attributes
    ----------
    stage : str
    first_month, last_month : int
        1 to 12 at the place asked for; the last may be the smaller one, over the turn of the year.
    status : str
        The weakest mark among its statements.
    facts : tuple of GrowthFact
        What it rests on; empty where leaf habit alone says so.
    """

    stage: BandStage
    first_month: int
    last_month: int
    status: Status
    facts: tuple[GrowthFact, ...]

    def holds(self, day: date) -> bool:
        """Tell whether a day lies in it."""
        return (day.month - self.first_month) % 12 <= (self.last_month - self.first_month) % 12


@dataclass(frozen=True)
class Window:
    """Days between which something is expected in 8 of 10 cases; `middle` is the most likely one."""

    first: date
    middle: date
    last: date


# ---------------------------------------------------------------- what is published


@cache
def _tables() -> tuple[GrowthFact, ...]:
    data = resources.files("fruitwall.plants") / "data"
    known = catalogue()
    sources = {row.source.key: row.source for row in known.habits}
    sources |= {
        row["source_key"]: read_source(row)
        for row in csv.DictReader((data / "growth_sources.csv").read_text(encoding="utf-8").splitlines())
    }
    return tuple(parse_growth((data / "growth_added.csv").read_text(encoding="utf-8"), sources))


def parse_growth(text: str, sources: dict[str, Source]) -> list[GrowthFact]:
    """Read statements from CSV as in `data/growth_added.csv`.

    Parameters
    ----------
    text : str
        The table with its header.
    sources : dict
        Source key to source.

    Raises
    ------
    ValueError
        For an unknown source, status or unit and impossible numbers; names the row.
    """
    found = []
    for number, row in enumerate(csv.DictReader(text.splitlines()), start=2):
        try:
            low, high = float(row["low"]), float(row["high"] or "nan")
            length = row["what"] == "fruit_time"
            if row["unit"] not in ("month", "day", "GDH", "CU") or row["status"] not in (
                "read",
                "from_memory",
                "common_practice",
            ):
                raise ValueError(f"unit or status not known: {row['unit']}, {row['status']}")
            if not length and row["unit"] == "month" and not {low, high} <= set(range(1, 13)):
                raise ValueError(f"months must be from 1 to 12, got {low}, {high}")
            if row["unit"] != "month" and isfinite(high) and not 0 < low <= high:
                raise ValueError(f"low must be above 0 and at most high, got {low}, {high}")
            if length and row["unit"] == "month":
                low, high = low * DAYS_PER_MONTH, high * DAYS_PER_MONTH
            found.append(
                GrowthFact(
                    taxon=row["taxon"],
                    what=row["what"],  # type: ignore[arg-type]  # held to the words by a test
                    low=low,
                    high=high,
                    unit="day" if length else row["unit"],  # type: ignore[arg-type]
                    place=row["place"],
                    source=sources[row["source_key"]],
                    locator=row["locator"],
                    status=row["status"],  # type: ignore[arg-type]
                    note=row["note"],
                )
            )
        except (ValueError, KeyError) as problem:
            raise ValueError(f"growth row {number} ({row.get('taxon')}): {problem}") from None
    return found


def facts_of(taxon: Taxon, what: What) -> tuple[GrowthFact, ...]:
    """Give what was added on a kind: of itself, else of its species, else of its genus, else of its group.

    Parameters
    ----------
    taxon : Taxon
    what : str
        bloom, harvest, flush, shedding, fruit_time, heat_to_bloom or rest_end.

    Returns
    -------
    tuple of GrowthFact
    """
    name = taxon.like or taxon.scientific
    group = "(winter chill)" if taxon.needs_winter_chill else f"({taxon.leaf_habit})"
    if taxon.family in NO_TREES:
        group = ""
    for level in (name, name.partition(" (")[0], name.split()[0], group):
        found = tuple(row for row in _tables() if row.what == what and row.taxon == level)
        if found:
            return found
    return ()


# ---------------------------------------------------------------- bloom to harvest


def fruit_time(kind: str | Taxon, known: Catalogue | None = None) -> FruitTime | None:
    """Give how long a kind takes from bloom to harvest.

    Parameters
    ----------
    kind : str or Taxon
        Name or kind.
    known : Catalogue, optional
        Catalogue that the kind belongs to; the one that comes with fruitwall if left out.

    Returns
    -------
    FruitTime or None
        None where nothing is published. Statements from set to ripe and from bloom to ripe are taken together: between
        the two lie one to three weeks, less than between sources.

    Notes
    -----
    A statement of a range low-high has the middle ``sqrt(low high)`` and, in the logarithm, the standard deviation
    ``ln(high / low) / (2 z)`` (`MIDDLE_SHARE_Z`), at least `LEAST_SPREAD`. The kind's is the mixture of its statements,
    each with the same weight, so that what sources disagree in stays as spread.
    """
    its = known or catalogue()
    taxon = its.find(kind) if isinstance(kind, str) else kind
    rows = [*_habit_lengths(its, taxon), *facts_of(taxon, "fruit_time")]
    name = taxon.like or taxon.scientific
    if any(row.taxon == name for row in rows):
        # What is known of the kind itself goes before what is said of its genus.
        rows = [row for row in rows if row.taxon != name.split()[0]]
    if not rows:
        return None
    middles, sds = [], []
    for row in rows:
        high = row.high if isfinite(row.high) else OPEN_END * row.low
        middles.append(0.5 * (log(row.low) + log(high)))
        sds.append(max(LEAST_SPREAD, (log(high) - log(row.low)) / (2.0 * MIDDLE_SHARE_Z)))
    middle = float(np.mean(middles))
    sd = sqrt(float(np.mean(np.square(sds)) + np.var(middles)))
    ends = [row.high for row in rows if isfinite(row.high)]
    return FruitTime(
        mean_days=exp(middle),
        sd_days=exp(middle) * sd,
        low_days=min(row.low for row in rows),
        high_days=max(ends) if ends else float("nan"),
        statements=tuple(rows),
    )


def _habit_lengths(known: Catalogue, taxon: Taxon) -> Iterable[GrowthFact]:
    """Give the lengths of the table of habits as statements."""
    for row in known.habit(taxon):
        if row.bloom_to_harvest_months is not None:
            low, high = (months * DAYS_PER_MONTH for months in row.bloom_to_harvest_months)
            yield GrowthFact(row.taxon, "fruit_time", low, high, "day", "", row.source, row.locator, "read", "")


def learned_time(prior: FruitTime | None, own_days: Sequence[float]) -> tuple[float, float] | None:
    """Give this tree's own time from bloom to harvest after what was logged of it.

    Parameters
    ----------
    prior : FruitTime or None
        Of its kind.
    own_days : sequence of float
        Bloom to harvest in each year that was logged. [days]

    Returns
    -------
    mean_days, sd_days : float
        For the coming crop: what is not known of the tree and the spread from year to year together; None where
        neither a kind's time nor an own year is known. [days]

    Notes
    -----
    Normal with known spread: the kind's mean and spread are the prior of this tree's own mean, each logged year
    measures it with `YEAR_SPREAD`. With n years the weight of the tree's own is ``n / (n + (year sd / kind sd)^2)``.
    """
    own = [days for days in own_days if isfinite(days) and days > 0]
    if prior is None and not own:
        return None
    centre = prior.mean_days if prior is not None else float(np.mean(own))
    year_sd = YEAR_SPREAD * centre
    if prior is None:
        return centre, year_sd * sqrt(1.0 + 1.0 / len(own))
    return _shrunk(centre, prior.sd_days, own, year_sd)


def _shrunk(mean: float, sd: float, own: Sequence[float], year_sd: float) -> tuple[float, float]:
    """Give mean and spread of the coming year after own years, from those of the kind, years and trees together."""
    tree_var = max(sd**2 - year_sd**2, (0.5 * year_sd) ** 2)
    precision = 1.0 / tree_var + len(own) / year_sd**2
    middle = (mean / tree_var + sum(own) / year_sd**2) / precision
    return middle, sqrt(1.0 / precision + year_sd**2)


def learned_bloom(first: date, last: date, own: Sequence[date]) -> Window:
    """Give when this tree's next bloom begins, after those that were entered.

    Parameters
    ----------
    first, last : date
        Of the coming bloom by the months of its kind; taken as what 8 of 10 keep to.
    own : sequence of date
        First days of its blooms in earlier years.

    Returns
    -------
    Window
        The months themselves where nothing was entered; otherwise drawn to the tree's own days of the year, each of
        which measures its usual one with `BLOOM_YEAR_DAYS`.
    """
    middle = first + (last - first) / 2
    if not own:
        return Window(first, middle, last)
    half = (last - first).days / 2.0
    # Days from the middle of the coming months, in whichever year lies nearest.
    away = [(day - middle).days - 365.25 * round((day - middle).days / 365.25) for day in own]
    mean, sd = _shrunk(0.0, half / MIDDLE_SHARE_Z, away, BLOOM_YEAR_DAYS)
    at = middle + timedelta(days=round(mean))
    reach = timedelta(days=round(MIDDLE_SHARE_Z * sd))
    return Window(at - reach, at, at + reach)


def harvest_window(bloom: Window, time_days: tuple[float, float]) -> Window:
    """Give when harvest begins, from when bloom began and how long it takes.

    Parameters
    ----------
    bloom : Window
        Its first day; all three the same for one that was logged.
    time_days : tuple of float
        Mean and standard deviation from bloom to harvest. [days]

    Returns
    -------
    Window
        Both spreads added as variances.
    """
    mean, sd = time_days
    early = MIDDLE_SHARE_Z * sd
    before, after = (bloom.middle - bloom.first).days, (bloom.last - bloom.middle).days
    middle = bloom.middle + timedelta(days=round(mean))
    return Window(
        middle - timedelta(days=round(sqrt(early**2 + before**2))),
        middle,
        middle + timedelta(days=round(sqrt(early**2 + after**2))),
    )


# ---------------------------------------------------------------- months


WEAKNESS: tuple[Status, ...] = ("read", "from_memory", "common_practice")


def bands_of(taxon: Taxon, latitude_deg: float, known: Catalogue | None = None) -> tuple[Band, ...]:
    """Give in which months the stages of a kind are to be expected.

    Parameters
    ----------
    taxon : Taxon
    latitude_deg : float
        South of the equator all published months are taken half a year later: they are of the northern half. [°]
    known : Catalogue, optional
        Catalogue that the kind belongs to.

    Returns
    -------
    tuple of Band
        In the order of a year's work; a stage of which nothing is known is not among them. Where sources name several
        spans of months each is one band.

    Raises
    ------
    ValueError
        If the latitude is impossible.
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(f"latitude_deg must be from -90 to 90 °, got {latitude_deg}")
    shift = 6 if latitude_deg < 0 else 0
    found: list[Band] = []
    if taxon.leaf_habit != "evergreen":
        months = shed_months((known or catalogue()).habit(taxon), taxon.leaf_habit)
        first = next(month for month in sorted(months) if _before(month) not in months or len(months) == 12)
        last = first + len(_run(first, months)) - 1
        found.append(Band("dormant", _month(first, shift), _month(last, shift), "read", ()))
    stages: tuple[tuple[What, BandStage], ...] = (
        ("bloom", "bloom"),
        ("flush", "flush"),
        ("harvest", "harvest"),
        ("shedding", "shedding"),
    )
    for what, stage in stages:
        for rows in _same_months(facts_of(taxon, what)):
            weakest = max((row.status for row in rows), key=WEAKNESS.index)
            low, high = int(rows[0].low), int(rows[0].high)
            found.append(Band(stage, _month(low, shift), _month(high, shift), weakest, rows))
    return tuple(found)


def _same_months(rows: Iterable[GrowthFact]) -> list[tuple[GrowthFact, ...]]:
    by_months: dict[tuple[float, float], list[GrowthFact]] = {}
    for row in rows:
        by_months.setdefault((row.low, row.high), []).append(row)
    return [tuple(one) for one in by_months.values()]


def _month(month: int, shift: int) -> int:
    return (month - 1 + shift) % 12 + 1


def _before(month: int) -> int:
    return (month - 2) % 12 + 1


def _run(first: int, months: frozenset[int]) -> list[int]:
    """Give the months that follow each other from a first one."""
    found = []
    for step in range(12):
        month = _month(first, step)
        if month not in months:
            break
        found.append(month)
    return found


def next_time(band: Band, on: date) -> tuple[date, date]:
    """Give the first and last day of a band: the one that runs on a day, else the next to come.

    Parameters
    ----------
    band : Band
    on : date

    Returns
    -------
    first, last : date
    """
    length = (band.last_month - band.first_month) % 12
    for year in (on.year - 1, on.year, on.year + 1):
        first = date(year, band.first_month, 1)
        months = first.year * 12 + first.month - 1 + length + 1
        last = date(months // 12, months % 12 + 1, 1) - timedelta(days=1)
        if last >= on:
            return first, last
    raise AssertionError("a band comes every year")


# ---------------------------------------------------------------- heat


def bloom_heat(taxon: Taxon, cultivar: str | None) -> tuple[GrowthFact, GrowthFact] | None:
    """Give what ends a cultivar's rest and what warmth brings it from there to full bloom, where both are published.

    Parameters
    ----------
    taxon : Taxon
    cultivar : str or None

    Returns
    -------
    rest, warmth : GrowthFact
        Utah units and growing degree hours. None for a cultivar of which nothing is published: another one's need says
        little.
    """
    named = (cultivar or "").strip().casefold()
    rest, warmth = (
        next((row for row in facts_of(taxon, what) if named and f"'{named}'" in row.note.casefold()), None)
        for what in ("rest_end", "heat_to_bloom")
    )
    return (rest, warmth) if rest is not None and warmth is not None else None


def bloom_hours(units: ArrayLike, warmth: ArrayLike, rest_need: float, warmth_need: float) -> int | None:
    """Give the hour of full bloom: first the rest is over, then the warmth is reached.

    Parameters
    ----------
    units, warmth : array_like, shape (hour,)
        Utah units and growing degree hours summed so far; units count from their lowest, since warm autumn hours take
        away what was not there yet.
    rest_need, warmth_need : float
        Above 0.

    Returns
    -------
    int or None
        From 0; None if it is not reached.
    """
    so_far = np.asarray(units, float)
    rested = np.flatnonzero(so_far - np.minimum.accumulate(np.minimum(so_far, 0.0)) >= rest_need)
    if rested.size == 0:
        return None
    since = np.asarray(warmth, float)[rested[0] :]
    at = np.flatnonzero(since - since[0] >= warmth_need)
    return int(rested[0] + at[0]) if at.size else None


def reached_on(heat: ArrayLike, need: float) -> int | None:
    """Give the step at which a sum of heat reaches a need.

    Parameters
    ----------
    heat : array_like
        What each step adds; unknown steps (NaN) add nothing.
    need : float
        Above 0, in the same unit.

    Returns
    -------
    int or None
        From 0; None if it is not reached.
    """
    if not need > 0:
        raise ValueError(f"need must be greater than 0, got {need}")
    sums = np.nancumsum(np.asarray(heat, float))
    at = int(np.searchsorted(sums, need))
    return at if at < sums.size else None
