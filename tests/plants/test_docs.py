"""Does the documentation say what the code does?"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from fruitwall.plants import effects, injury, reading
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.tolerance import LEAF, ROOT, WOOD, prior

OF_THE_TREE = ("FRUIT", "GRADES", "LEAF", "ROOT", "TISSUES", "TWIG", "WOOD")
"""Names and places of tissues and grades; no sizes."""

KINDS = [
    "mango",
    "soursop",
    "atemoya",
    "cherimoya",
    "sugar apple",
    "Mexican avocado",
    "West Indian avocado",
    "guava",
    "jaboticaba",
    "feijoa",
    "white sapote",
    "canistel",
    "sapodilla",
    "mamey sapote",
    "acerola",
    "Jamaican cherry",
    "carambola",
    "lychee",
    "longan",
    "papaya",
    "banana",
    "lemon",
    "sweet orange",
    "satsuma",
    "Key lime",
    "loquat",
    "fig",
    "peach",
    "pomegranate",
    "olive",
    "wax jambu",
    "dragon fruit",
    "abiu",
]


def prior_table() -> str:
    """The table of priors in docs/tolerance.md."""
    lines = [
        "| kind | sources | leaf, grown, °C | top dies, grown, °C | leaf, 2 years, 1.2 m, pot | top dies | roots die "
        "| chill burn |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name in KINDS:
        taxon = catalogue().find(name)
        stages = ["dormant"] if taxon.needs_winter_chill else ["leafy"]
        grown = prior(taxon, age_years=20, height_m=6, potted=False, stages=stages)
        small = prior(taxon, age_years=2, height_m=1.2, potted=True, stages=stages)
        voices = len({row.voice for row in catalogue().evidence(taxon) if row.type != "growth_limit"})
        cells = [name, str(voices)]
        for tree, tissue, grade in (
            (grown, LEAF, 2),
            (grown, WOOD, 7),
            (small, LEAF, 2),
            (small, WOOD, 7),
            (small, ROOT, 7),
        ):
            limit = tree.threshold_c[tissue, grade]
            if tissue == WOOD:
                limit += effects.STUMP_K["unknown"]
            spread = f" ± {np.hypot(tree.sd_k[tissue], tree.slope_k):.1f}" if tree is grown else ""
            cells.append("–" if np.isnan(limit) else f"{limit:.1f}{spread}")
        burn = grown.chill_level_c - grown.chill_dose_k_h[2] / 8.0
        cells.append("–" if np.isnan(burn) else f"{burn:.0f}")
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines).replace("-", "−").replace("| −−− ", "| --- ").replace("−−−", "---")


def test_the_table_of_priors_is_fresh(project: Path) -> None:
    text = (project / "docs" / "tolerance.md").read_text(encoding="utf-8")
    shown = text.split("test_docs.py -->\n")[1].split("\n<!-- end")[0]

    assert shown == prior_table()


def test_every_constant_is_documented(project: Path) -> None:
    text = (project / "docs" / "tolerance.md").read_text(encoding="utf-8")
    constants = [
        name
        for module in (effects, reading, injury)
        for name, value in vars(module).items()
        if name.isupper()
        and name[0] != "_"
        and name not in OF_THE_TREE
        and isinstance(value, int | float | dict | tuple | np.ndarray)
    ]

    assert len(constants) > 60
    assert [name for name in constants if f"`{name}`" not in text] == []


def test_every_size_says_from_what_it_was_chosen(project: Path) -> None:
    text = (project / "docs" / "tolerance.md").read_text(encoding="utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| `")]

    assert len(rows) > 40
    for name, size, source in rows:
        assert len(source) >= len("assumption"), name
        assert re.search(r"\d|equal", size), name


def test_the_counts_of_the_catalogue_are_right(project: Path) -> None:
    text = (project / "docs" / "catalogue.md").read_text(encoding="utf-8")
    rows = catalogue().evidence_rows

    assert f"knows {len(catalogue().taxa)} kinds" in text
    assert f"and {len(rows)} published statements" in text
    for tag, count in re.findall(r"^\| `(\w+)` \|.*\| (\d+) \|$", text, flags=re.MULTILINE):
        assert sum(row.type == tag for row in rows) == int(count), tag
