"""``fruitwall winters search``: how it is told on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.plans.cautions import caution_texts
from fruitwall.service.winters_search_words import (
    beyond_words,
    carrying_words,
    cheaper_words,
    figures_words,
    frontier_table,
    letter,
    line_words,
    notes_words,
    played_table,
    played_words,
    verdict,
    winters_words,
)
from fruitwall.speech import say, say_list

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table as RichTable

    from fruitwall.service.household import Household
    from fruitwall.service.winters_search_document import FoundRules, SearchDocument
    from fruitwall.service.winters_search_words import Table


def show_search(document: SearchDocument, household: Household) -> RenderableType:
    """Lay out the best house rules, and what carrying less costs.

    Parameters
    ----------
    document : SearchDocument
    household : Household
        Of who reads.

    Returns
    -------
    RenderableType
    """
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    parts: list[RenderableType] = [Text(verdict(document), style="bold")]
    parts.append(Text(winters_words(document.winters[0], document.winters[1], document.count), style="dim"))
    parts += [Text(""), rich_table(frontier_table(document))]
    parts += [Text(line) for line in (beyond_words(document),) if line]
    for at, one in enumerate(document.frontier):
        parts += [Text(""), Text(say("Rules {letter}", letter=letter(at)), style="bold")]
        parts += [Text(line) for line in carrying_words(one)]
    parts += [Text(""), Text(say("Least loss and work together"), style="bold")]
    if document.answer is None:
        parts.append(Text(say("No rules were found that can be kept on every night.")))
    else:
        parts += [Text(line) for line in _rules(document.answer, document, household)]
    parts += [Text(line) for line in (cheaper_words(document),) if line]
    parts += [Text(""), Text(say("How it would go over the years"), style="bold")]
    parts += [rich_table(played_table(document)), Text(played_words(document), style="dim")]
    parts += [Text(""), *(Text(household.in_own_units(line)) for line in caution_texts("lifting"))]
    parts += [Text(""), *(Text(line, style="dim") for line in notes_words(document.notes))]
    return Padding(Group(*parts), (1, 0, 1, 0))


def _rules(found: FoundRules, document: SearchDocument, household: Household) -> list[str]:
    left = [name for line in found.lines if line.way == "never" for name in line.names]
    return [
        figures_words(found, document.currency),
        *carrying_words(found),
        *(line_words(line, household) for line in found.lines if line.way != "never"),
        *([say("Left as they stand: {names}.", names=say_list(left))] if left else []),
    ]


def rich_table(table: Table) -> RichTable:
    """Lay a table out: the first column to the left, figures to the right."""
    from rich.table import Table as RichTable

    laid = RichTable(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for number, head in enumerate(table.heads):
        laid.add_column(head, justify="right" if number else "left")
    for row in table.rows:
        laid.add_row(*row)
    return laid
