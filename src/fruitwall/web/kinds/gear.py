"""What is published on containers and covers, laid out for its template."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from fruitwall.service.gear import (
    ABOUT_CONTAINERS,
    ABOUT_COVERS,
    ContainerRow,
    CoverRow,
    GearDocument,
    container_figures,
    cover_figures,
)
from fruitwall.service.household import Household
from fruitwall.service.kind_words import cited
from fruitwall.service.words import sentence
from fruitwall.speech import say


@dataclass(frozen=True)
class GearRow:
    """One statement: figures, what they hold for, whether they were read, and who says so."""

    figures: str
    words: str
    status: str
    sources: str
    """As the works call themselves, in their own language."""


@dataclass(frozen=True)
class GearGroup:
    """All statements on one container or cover."""

    name: str
    figures: str
    """The spread over its statements; empty for covers, whose statements hold for different nights."""
    rows: list[GearRow]


@dataclass(frozen=True)
class GearPage:
    """What the template shows."""

    about_containers: str
    about_covers: str
    containers: list[GearGroup]
    covers: list[GearGroup]


def gear_page_of(document: GearDocument, household: Household) -> GearPage:
    """Lay out what is published on gear.

    Parameters
    ----------
    document : GearDocument
    household : Household

    Returns
    -------
    GearPage
    """
    return GearPage(
        about_containers=say(ABOUT_CONTAINERS),
        about_covers=say(ABOUT_COVERS),
        containers=[
            GearGroup(
                f"{say(group.container)} ({say(group.nominal)})",
                container_figures(group, household),
                [_row(container_figures(row, household), row.basis, row) for row in group.rows],
            )
            for group in document.containers
        ],
        covers=[
            GearGroup(
                sentence(say(material)), "", [_row(cover_figures(row, household), row.conditions, row) for row in rows]
            )
            for material, rows in groupby(document.covers, key=lambda row: row.material)
        ],
    )


def _row(figures: str, words: str, row: ContainerRow | CoverRow) -> GearRow:
    """Lay out one statement. No links: some of the addresses are pages of low authority; the document has them."""
    return GearRow(figures, sentence(say(words)), say(row.status), " ".join(cited(origin) for origin in row.origins))
