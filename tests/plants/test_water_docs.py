"""Does docs/season-water.md say what the code does?"""

from __future__ import annotations

from pathlib import Path

import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.water import (
    balance,
    containers,
    crop,
    crop_row,
    crop_year,
    filled,
    radiation,
    reference,
    salt,
    salt_tolerance,
    soil,
    volume,
)

KINDS = [
    "lemon", "white sapote", "avocado", "mango", "guava", "loquat", "banana", "papaya", "date palm", "olive", "carob",
    "coffee", "peach", "fig", "persimmon", "pomegranate", "sugar apple", "kiwi", "passion fruit", "dragon fruit",
]  # fmt: skip


def kinds_table() -> str:
    lines = [
        "| kind | row of | doubt | Kc initial, mid, end | roots, m | p | salt from, dS/m | doubt of salt |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name in KINDS:
        taxon = catalogue().find(name)
        row, stands = crop_row(taxon), salt_tolerance(taxon)
        kc = ", ".join(f"{x:.2f}" for x in (row.kc_initial, row.kc_mid, row.kc_end))
        low, high = row.root_depth_m
        lines.append(
            f"| {name} | {row.common_name} | {row.doubt} | {kc} | {low:g}–{high:g} | {row.depletion_p:g} "
            f"| {stands.threshold_ds_m:g} | {stands.doubt} |"
        )
    return "\n".join(lines)


def pots_table() -> str:
    lines = []
    for mix in containers.MIXES:
        small, large = containers.fill_of(15.0, mix), containers.fill_of(57.0, mix)
        kept = [f"{100 * fill.held_l / fill.medium_l:.0f} %" for fill in (small, large)]
        lines.append(f"| {mix} | {kept[0]} | {kept[1]} | {large.available_l:.0f} L | {large.easy_l:.1f} L |")
    return "\n".join(lines)


def page(project: Path) -> str:
    return (project / "docs" / "season-water.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["kinds", "pots"])
def test_its_tables_are_fresh(project: Path, name: str) -> None:
    shown = page(project).split(f"<!-- {name}: tests/plants/test_water_docs.py -->\n")[1].split("<!-- end of")[0]
    assert shown.rstrip("\n") == {"kinds": kinds_table, "pots": pots_table}[name]()


def test_every_size_stands_in_it(project: Path) -> None:
    names = [
        name
        for module in (balance, containers, crop, crop_year, filled, radiation, reference, salt, soil, volume)
        for name, value in vars(module).items()
        if name.isupper() and not isinstance(value, bool) and isinstance(value, int | float | dict | crop_year.Stages)
    ]
    assert len(names) > 35
    assert sorted({name for name in names if f"`{name}`" not in page(project)} - {"LITRES_PER_MM_M2"}) == []


def test_what_was_measured_stands_in_it(project: Path) -> None:
    # The figures of section 8 come from the tests beside this one.
    from fruitwall.plants.water.crop import CITRUS, find_row

    rows = [crop_year.citrus_row(0.2), find_row(*CITRUS), crop_row(catalogue().find("avocado"))]
    coast = [
        sum(float(crop.crop_coefficient(row, stage, 65.0, 1.5)) for stage in ("initial", "mid", "end")) / 3  # type: ignore[arg-type]
        for row in rows
    ]
    assert ", ".join(f"{kc:.2f}" for kc in coast) in page(project)
