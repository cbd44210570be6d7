"""``fruitwall winters gear``: how it is told on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.cli.winters_search import rich_table
from fruitwall.plans.cautions import caution_texts
from fruitwall.service.winters_gear_words import (
    gear_lines,
    gear_table,
    now_words,
    payback_words,
    thing_words,
    verdict_words,
    worth_words,
)
from fruitwall.service.winters_search_words import notes_words, winters_words
from fruitwall.speech import say

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fruitwall.service.household import Household
    from fruitwall.service.winters_gear_document import GearDocument


def show_gear(document: GearDocument, household: Household) -> RenderableType:
    """Lay out what more gear is worth.

    Parameters
    ----------
    document : GearDocument
    household : Household
        Of who reads.

    Returns
    -------
    RenderableType
    """
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    worth, others = gear_lines(document)
    parts: list[RenderableType] = [Text(verdict_words(document, household), style="bold")]
    parts.append(Text(winters_words(document.winters[0], document.winters[1], document.count), style="dim"))
    parts.append(Text(now_words(document)))
    for item in worth:
        lines = (worth_words(item, document.currency), payback_words(item, document.currency))
        parts += [Text(""), Text(thing_words(item, household), style="bold")]
        parts += [Padding(Text(line), (0, 0, 0, 2)) for line in lines if line]
    if others:
        names = "; ".join(thing_words(item, household) for item in others)
        parts += [Text(""), Text(say("Worth nothing here"), style="bold"), Text(names)]
    parts += [Text(""), rich_table(gear_table(document, household))]
    parts += [Text(""), *(Text(line) for line in caution_texts("ground_fault", "heater"))]
    parts += [Text(""), *(Text(line, style="dim") for line in notes_words(document.notes))]
    return Padding(Group(*parts), (1, 0, 1, 0))
