"""How much winter chill a tree needs before its buds break as they should, by kind and cultivar, and who says so.

Where only the kind is known the range over all its published cultivars is given: it is wide, and says so. Where nothing
is published, nothing is given.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

import yaml

from fruitwall.plants.catalogue import Source, Taxon, folded, read_source
from fruitwall.plants.chill_tables import Model

Basis = Literal["none", "unknown", "own", "cultivar", "kind"]
"""Needs none; nothing published; what the user says of an own kind; of the cultivar; of all cultivars of the kind."""

ORDER: tuple[Model, ...] = ("portions", "hours", "hours_below", "positive_units", "utah_units")
"""By which need a tree is judged if several are known: portions hold best from one climate to another (Luedeling et al.
2009, Agric. Ecosyst. Environ. 133, 23-31), units worst."""

MEMORY = "memory"
"""Key of what stands in the table without a source that was opened."""


BELOW = ("aces_t4", "jolly_green_nursery")
"""Keys of sources that count hours at or below 45 °F, also below freezing."""


@dataclass(frozen=True)
class NeedRow:
    """One published figure.

    Attributes
    ----------
    crop, cultivar : str
        As in the table; the cultivar may be empty.
    low, high : float
        In the unit of the model.
    model : str
        Sum that it is to be compared with.
    source : Source or None
        None where it stands from memory, without a source that was opened.
    locator : str
        Where in the source.
    """

    crop: str
    cultivar: str
    low: float
    high: float
    model: Model
    source: Source | None
    locator: str


@dataclass(frozen=True)
class ChillNeed:
    """What a tree needs by one sum.

    Attributes
    ----------
    model : str
    low, high : float
        From where on it may be enough, and from where on it is by all that is known.
    rows : tuple of NeedRow
        What that rests on; empty for what a user says.
    cultivars : int
        How many cultivars the range is over; 1 for a known one.
    """

    model: Model
    low: float
    high: float
    rows: tuple[NeedRow, ...]
    cultivars: int = 1

    @property
    def from_memory(self) -> bool:
        """Whether no source of it was opened."""
        return bool(self.rows) and all(row.source is None for row in self.rows)

    @property
    def from_sellers(self) -> bool:
        """Whether only nurseries tell it: such figures are rarely measured and differ from one to the next."""
        return bool(self.rows) and all(row.source is not None and row.source.kind == "nursery" for row in self.rows)


@dataclass(frozen=True)
class TreeNeeds:
    """What a tree needs, by every sum for which something is known, the one to judge by first.

    Attributes
    ----------
    basis : str
        `Basis`.
    needs : tuple of ChillNeed
        Empty where it needs none or nothing is known.
    """

    basis: Basis
    needs: tuple[ChillNeed, ...] = ()

    @property
    def first(self) -> ChillNeed | None:
        """The one to judge by."""
        return self.needs[0] if self.needs else None


def needs_of(taxon: Taxon, cultivar: str | None = None, own: Sequence[ChillNeed] = ()) -> TreeNeeds:
    """Give how much chill a tree needs.

    Parameters
    ----------
    taxon : Taxon
        An own kind that is like another takes over its figures.
    cultivar : str, optional
        Case, accents and spaces are overlooked.
    own : sequence of ChillNeed
        What the user says of an own kind; comes before all tables.

    Returns
    -------
    TreeNeeds
        ``none`` for kinds that keep their leaf; tropical kinds that drop it for a while are no such, and nothing is
        known of them unless the catalogue says that they need winter chill.
    """
    if own:
        return TreeNeeds("own", tuple(sorted(own, key=_rank)))
    rows = _rows_of(taxon)
    if not taxon.needs_winter_chill:
        return TreeNeeds("none")
    wanted = folded(cultivar) if cultivar else ""
    of_it = [row for row in rows if wanted and wanted in _called(row.cultivar)]
    if of_it:
        return TreeNeeds("cultivar", _joined(of_it, cultivars=1))
    if rows:
        return TreeNeeds("kind", _joined(rows))
    return TreeNeeds("unknown")


def _joined(rows: Iterable[NeedRow], cultivars: int | None = None) -> tuple[ChillNeed, ...]:
    """Join figures into ranges, one for each sum."""
    by_model: dict[Model, list[NeedRow]] = {}
    for row in rows:
        by_model.setdefault(row.model, []).append(row)
    found = [
        ChillNeed(
            model,
            min(row.low for row in its),
            max(row.high for row in its),
            tuple(its),
            cultivars or len({(row.crop, folded(row.cultivar)) for row in its}),
        )
        for model, its in by_model.items()
    ]
    return tuple(sorted(found, key=_rank))


def _rank(need: ChillNeed) -> int:
    return ORDER.index(need.model) if need.model in ORDER else len(ORDER)


def _called(cultivar: str) -> set[str]:
    """Give the names of a cultivar of the table: "CVN-1A (Delta)" is found by both."""
    outside = re.sub(r"\(.*?\)", "", cultivar)
    return {folded(name) for name in (cultivar, outside, *re.findall(r"\((.*?)\)", cultivar)) if name} - {""}


def _rows_of(taxon: Taxon) -> tuple[NeedRow, ...]:
    """Give all figures on a kind."""
    name = re.sub(r"\s*\(.*\)$", "", taxon.like or taxon.scientific)
    words = name.replace("×", " ").split()
    crops = _crops()
    for key in (" ".join(words[:2]), words[0] if words else ""):
        if key in crops:
            return tuple(row for row in all_needs() if row.crop in crops[key])
    return ()


@cache
def _crops() -> dict[str, list[str]]:
    text = (resources.files("fruitwall.plants") / "data" / "chill_crops.yaml").read_text(encoding="utf-8")
    found: dict[str, list[str]] = yaml.safe_load(text)
    if strangers := {crop for crops in found.values() for crop in crops} - {row.crop for row in all_needs()}:
        raise ValueError(f"chill_crops.yaml names crops that are not in the table: {', '.join(sorted(strangers))}")
    return found


@cache
def all_needs() -> tuple[NeedRow, ...]:
    """Give every published figure, in the order of the tables."""
    data = resources.files("fruitwall.plants") / "data"
    sources = {
        row["source_key"]: read_source(row)
        for row in csv.DictReader((data / "chill_sources.csv").read_text(encoding="utf-8").splitlines())
    }
    rows = [
        row
        for file in ("chill_requirements.csv", "chill_added.csv")
        for row in csv.DictReader((data / file).read_text(encoding="utf-8").splitlines())
    ]
    return tuple(
        NeedRow(
            crop=row["crop"],
            cultivar=row["cultivar"],
            low=float(row["requirement_low"]),
            high=float(row["requirement_high"]),
            model=_model(row),
            source=None if row["source_key"] == MEMORY else sources[row["source_key"]],
            locator=row["locator"],
        )
        for row in rows
    )


def _model(row: dict[str, str]) -> Model:
    """Tell by which sum a figure is meant.

    Alabama and Florida count hours at or below 45 °F; where a source does not say, hours from 0 to
    7.2 °C are taken, which are fewer, so that a need is not called met too early. What Florida calls a chill unit of a
    peach is such an hour (from memory); what New South Wales means was not read: Utah units without negative hours are
    taken, since with them its warm winters have any at all. Our judgement where not said otherwise.
    """
    florida = row["note"].startswith("UF/IFAS")
    match row["unit"]:
        case "chill portions":
            return "portions"
        case "chilling hours":
            return "hours_below" if row["source_key"] in BELOW or florida else "hours"
        case "chill units":
            return "hours_below" if florida else "positive_units"
        case other:
            raise ValueError(f"unit must be chill portions, chilling hours or chill units, got {other!r}")
