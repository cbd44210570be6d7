"""``fruitwall winters years``: how it is told on a terminal.

The command itself (``fruitwall winters``) calls ``fruitwall.cli.winters_years:show_years``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.service.household import bare_percent
from fruitwall.service.winters_years_words import (
    TOLD_PERIOD,
    freeze_lines,
    how_reckoned,
    level_of,
    level_rows,
    noted,
    verdict,
    zone_lines,
)
from fruitwall.speech import say

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

    from fruitwall.service.household import Household
    from fruitwall.service.winters_years_document import YearsDocument, YearsTree


def show_years(document: YearsDocument, household: Household) -> RenderableType:
    """Lay out what many winters say.

    Parameters
    ----------
    document : YearsDocument
    household : Household
        Of who reads.

    Returns
    -------
    RenderableType
    """
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    parts: list[RenderableType] = [Text(verdict(document, household), style="bold")]
    parts += [Text(say("Note: {warning}", warning=line), style="yellow") for line in noted(document.limits, household)]
    if document.trees:
        parts += [
            Text(""),
            Text(say("The trees, those in most danger first"), style="bold"),
            Text(say("Chances in one winter with nothing done.")),
            _trees(document, household),
        ]
    parts += [
        Text(""),
        Text(say("The air of the yard, once in so many winters"), style="bold"),
        _levels(document, household),
    ]
    for freeze in document.freezes:
        parts += [Text(""), *(Text(line) for line in freeze_lines(freeze, household))]
    parts += [Text(""), *(Text(line) for line in zone_lines(document, household))]
    parts += [Text(""), *(Text(line, style="dim") for line in [*how_reckoned(), *noted(document.notices, household)])]
    return Padding(Group(*parts), (1, 0, 1, 0))


def _table() -> Table:
    from rich.table import Table

    return Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))


def _trees(document: YearsDocument, household: Household) -> Table:
    """Give a row for each tree."""
    table = _table()
    table.add_column(say("Tree"))
    heads = [
        say("burnt %"),
        say("dead %"),
        say("dead in ten winters %"),
        say("burns from {unit}", unit=household.degree),
    ]
    if document.air.fitted:
        heads.append(say("once in ten winters {unit}", unit=household.degree))
    for head in heads:
        table.add_column(head, justify="right")
    for tree in document.trees:
        table.add_row(tree.name, *_cells(tree, household)[: len(heads)])
    return table


def _cells(tree: YearsTree, household: Household) -> list[str]:
    ten = level_of(tree.spot, TOLD_PERIOD)
    return [
        bare_percent(tree.harm.yearly),
        bare_percent(tree.death.yearly),
        bare_percent(tree.death.over[0].chance),
        "–" if tree.harm.level_c is None else household.bare_temperature(tree.harm.level_c),
        "–" if ten is None or ten.level_c is None else household.bare_temperature(ten.level_c),
    ]


def _levels(document: YearsDocument, household: Household) -> Table:
    """Give a row for each return period."""
    table = _table()
    heads = (
        say("once in"),
        say("fitted {unit}", unit=household.degree),
        say("limits {unit}", unit=household.degree),
        say("by the winters {unit}", unit=household.degree),
    )
    for place, head in enumerate(heads):
        table.add_column(head, justify="right" if place else "left")
    for row in level_rows(document.air, household):
        table.add_row(*row)
    return table
