"""What has been published about the gear: how much containers hold and weigh, and how much covers give at night.

Rows are data (`plans/data`), each with its sources. They are shown to the user as they were published. What a plan
counts with stands beside the constants that were made from them (`plans.loads`, `yard.units`, `physics.covers`).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources

from fruitwall.plants.catalogue import Source, read_source

Range = tuple[float, float]
"""Lowest and highest published value; twice the same for a single one."""


@dataclass(frozen=True)
class ContainerFact:
    """One published statement on a container. Volumes [L], masses with the watered medium [kg], sizes [cm]."""

    container: str
    nominal: str
    volume_l: Range | None
    mass_kg: Range | None
    top_cm: float | None
    base_cm: float | None
    height_cm: float | None
    basis: str
    sources: tuple[Source, ...]
    locator: str
    status: str
    """Read, computed, or from memory."""


@dataclass(frozen=True)
class CoverFact:
    """One published statement on a cover: mass [g/m²], gain at night [K], light let through [0-1], U [W/(m² K)]."""

    material: str
    g_m2: float | None
    gain_k: Range | None
    light: Range | None
    u_w_m2k: Range | None
    conditions: str
    sources: tuple[Source, ...]
    locator: str
    status: str


@cache
def container_facts() -> tuple[ContainerFact, ...]:
    """Give all published statements on containers, in the order of the table."""
    sources = _sources()
    return tuple(
        ContainerFact(
            container=row["container_class"],
            nominal=row["nominal"],
            volume_l=_single(row["actual_volume_l"]) or _range(row, "actual_volume_l"),
            mass_kg=_range(row, "mass_watered_kg"),
            top_cm=_number(row["top_diameter_cm"]),
            base_cm=_number(row["base_diameter_cm"]),
            height_cm=_number(row["height_cm"]),
            basis=row["basis"],
            sources=tuple(sources[key] for key in row["source_key"].split(";")),
            locator=row["locator"],
            status=row["status"].replace("_", " "),
        )
        for row in _rows("containers.csv")
    )


@cache
def cover_facts() -> tuple[CoverFact, ...]:
    """Give all published statements on covers, in the order of the table."""
    sources = _sources()
    return tuple(
        CoverFact(
            material=row["material"],
            g_m2=_number(row["g_m2"]),
            gain_k=_range(row, "gain_c"),
            light=_range(row, "light_transmission"),
            u_w_m2k=_range(row, "u_w_m2k"),
            conditions=row["conditions"],
            sources=tuple(sources[key] for key in row["source_key"].split(";")),
            locator=row["locator"],
            status=row["status"].replace("_", " "),
        )
        for row in _rows("covers.csv")
    )


def _rows(file: str) -> list[dict[str, str]]:
    """Read a table of the data folder."""
    text = (resources.files("fruitwall.plans") / "data" / file).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _sources() -> dict[str, Source]:
    """Read who says it: key to source."""
    return {row["source_key"]: read_source(row) for row in _rows("gear_sources.csv")}


def _number(text: str) -> float | None:
    """Read a figure; an empty cell is None."""
    return float(text) if text else None


def _single(text: str) -> Range | None:
    """Read a single figure as a range."""
    return (float(text), float(text)) if text else None


def _range(row: dict[str, str], column: str) -> Range | None:
    """Read the range of a column that is kept in two, `..._low` and `..._high`; empty is None."""
    low, high = row[f"{column}_low"], row[f"{column}_high"]
    return (float(low), float(high)) if low and high else None
