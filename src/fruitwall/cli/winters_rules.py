"""House rules side by side on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.speech import say

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fruitwall.service.household import Household
    from fruitwall.service.winters_rules_document import RulesDocument


def show_rules(document: RulesDocument, household: Household) -> RenderableType:
    """Lay the comparison out.

    Parameters
    ----------
    document : RulesDocument
    household : Household
        Units and language of the reader.

    Returns
    -------
    rich renderable
    """
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    from fruitwall.plans.cautions import caution_texts
    from fruitwall.service.winters_rules_words import (
        FIGURES,
        figure_words,
        heads,
        rule_line,
        short_words,
        spread_words,
        verdict,
        work_words,
    )
    from fruitwall.service.winters_search_words import notes_words, winters_words

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("")
    for one in document.compared:
        table.add_column(say(one.name), justify="right", overflow="fold")
    for (name, _), head in zip(FIGURES, heads(document), strict=True):
        cells = [figure_words(name, getattr(one, name)) for one in document.compared]
        table.add_row(head, *(f"{mean}\n{spread}" for mean, spread in cells))
    words: list[RenderableType] = []
    for one in document.compared:
        words.append(Text(f"\n{say(one.name)}", style="bold"))
        words += [Text(f"  {rule_line(rule, document.names, household)}") for rule in one.rules]
        words.append(Text(f"  {work_words(one)} {short_words(one)}"))
    winters = winters_words(document.winters[0], document.winters[1], document.count)
    return Group(
        Text(verdict(document)),
        Text(f"{winters} {spread_words(document)}\n", style="dim"),
        table,
        *words,
        Text(""),
        *(Text(household.in_own_units(line)) for line in caution_texts("lifting", "ground_fault")),
        Text(""),
        *(Text(line, style="dim") for line in notes_words(document.notes)),
    )
