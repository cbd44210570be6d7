"""``fruitwall place``: where to plant what, with progress; Ctrl-C stops, and the next call goes on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, NowOption, app
from fruitwall.cli.given import refuse
from fruitwall.cli.season import household_at
from fruitwall.cli.winters import on_terminal
from fruitwall.speech import capital, say

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import RenderableType

    from fruitwall.plants.catalogue import Catalogue
    from fruitwall.service.house import House
    from fruitwall.service.placing import GrowsFound, PotFound, SitesFound, WishFound
    from fruitwall.service.placing_document import PlacingAnswer, SiteAnswer
    from fruitwall.service.work import Progress
    from fruitwall.yard.model import Yard

    Found = SitesFound | PotFound | WishFound | GrowsFound

NO_PLACE = 3
"""Exit status where something of a wish list found no place, as of other commands that find something to do."""


@app.command("place")
def place(
    taxa: Annotated[
        list[str] | None, typer.Argument(metavar="[TAXON]...", help="Kinds by any name: their best places.")
    ] = None,
    pot: Annotated[
        str | None, typer.Option("--pot", metavar="TREE", help="A container tree: plant it out or not.")
    ] = None,
    listed: Annotated[
        Path | None, typer.Option("--list", metavar="FILE", help="A wish list: a kind in each line, such as mango: 2.")
    ] = None,
    wishes: Annotated[
        list[str] | None, typer.Option("--wish", metavar="WISH", help='A wish, such as "mango:2"; may be repeated.')
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Rank all kinds: what grows here unprotected.")] = False,
    age: Annotated[float, typer.Option("--age", min=0.5, max=50, help="Age when planted, in years.")] = 3.0,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as a document, in SI units.")] = False,
    yard: Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of a yard in the journal.")] = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Tell where to plant: best places for kinds, a container in question, a wish list, or what grows here."""
    asked = [bool(taxa), pot is not None, listed is not None or bool(wishes), everything]
    if sum(asked) != 1:
        refuse(say("Ask one thing: kinds, --pot TREE, a wish list (--list or --wish), or --all."))
    from fruitwall.service.own_kinds import catalogue_of
    from fruitwall.service.placing_document import placing_document
    from fruitwall.terminal import show

    with household_at(yard, now, database) as (house, household):
        known_yard, _ = house.yard()
        known = catalogue_of(known_yard)
        do = _question(house, known_yard, known, taxa or [], pot, _text(listed, wishes or []), age)
        with on_terminal() as (heard, stop):
            found = do(heard, stop)
        answer = placing_document(found, known_yard, known, household)
        if as_json:
            typer.echo(answer.model_dump_json(indent=2))
        else:
            show(_told(answer))
    if answer.wish_list is not None and any(line.missing for line in answer.wish_list.lines):
        raise typer.Exit(NO_PLACE)


def _text(listed: Path | None, wishes: list[str]) -> str | None:
    """Give the wish list as one text; None where none is asked for."""
    if listed is None and not wishes:
        return None
    text = ""
    if listed is not None:
        try:
            text = listed.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            refuse(say("{file}: cannot be read: {why}", file=str(listed), why=str(error)))
    return "\n".join([text, *wishes] if text else wishes)


def _question(
    house: House, yard: Yard, known: Catalogue, taxa: list[str], pot: str | None, text: str | None, age: float
) -> Callable[[Callable[[Progress], None], Callable[[], bool]], Found]:
    """Give what answers the question; what was typed is read at once."""
    from fruitwall.service import placing
    from fruitwall.service.placing_asked import pot_of, wishes_of

    if taxa:
        names = [known.find(name).scientific for name in taxa]
        return lambda heard, stop: placing.sites_for(house, names, age_years=age, heard=heard, stop=stop)
    if pot is not None:
        tree = pot_of(yard, pot).id
        return lambda heard, stop: placing.pot_question(house, tree, heard=heard, stop=stop)
    if text is not None:
        lines = wishes_of(text, yard, known)
        return lambda heard, stop: placing.wish_list(house, lines, age_years=age, heard=heard, stop=stop)
    return lambda heard, stop: placing.what_grows(house, heard=heard, stop=stop)


def _told(answer: PlacingAnswer) -> RenderableType:
    """Lay an answer out for eyes."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    parts: list[RenderableType] = []
    for kind in answer.kinds:
        parts += [
            Text(capital(kind.name), style="bold"),
            Text(kind.verdict),
            *(Text(line) for line in kind.told),
            *_sites(kind.sites),
        ]
    if answer.pot is not None:
        parts += [Text(answer.pot.verdict, style="bold"), *(Text(line) for line in answer.pot.because)]
        parts += _sites([answer.pot.site] if answer.pot.site else [])
    if answer.wish_list is not None:
        verdict, *rest = answer.wish_list.verdict
        parts += [Text(verdict, style="bold"), *(Text(line) for line in rest)]
        for line in answer.wish_list.lines:
            parts += [Text(capital(line.name), style="bold"), *_sites(line.places)]
    parts += _ranking(answer)
    parts += [Text(""), *(Text(line, style="dim") for line in answer.notes)]
    parts += [Text(""), *(Text(line) for line in answer.cautions)]
    return Padding(Group(*parts), (1, 0, 1, 0))


def _sites(sites: list[SiteAnswer]) -> list[RenderableType]:
    """Lay places out, numbered, each with what speaks for it and against it."""
    from rich.padding import Padding
    from rich.text import Text

    from fruitwall.service.household import percent

    parts: list[RenderableType] = []
    for number, site in enumerate(sites, start=1):
        chance = say("ten winters unprotected: {share}", share=percent(site.lives_ten_winters))
        parts.append(Text(f"  {number}. {site.where} ({chance})"))
        parts += [Padding(Text(f"+ {line}"), (0, 0, 0, 5)) for line in site.reasons]
        parts += [Padding(Text(f"\N{MINUS SIGN} {line}"), (0, 0, 0, 5)) for line in site.against]
    return parts


def _ranking(answer: PlacingAnswer) -> list[RenderableType]:
    """Lay the ranking out as a table for each group."""
    from rich.table import Table
    from rich.text import Text

    from fruitwall.plans.placing.ranking import GROUPS
    from fruitwall.service.household import bare_percent
    from fruitwall.service.placing_words import GROUP_NAMES, evidence_words

    parts: list[RenderableType] = []
    for group in GROUPS:
        kinds = [kind for kind in answer.ranking if kind.group == group]
        if not kinds:
            continue
        parts.append(Text(say(GROUP_NAMES[group]), style="bold"))
        table = Table(box=None, pad_edge=False)
        table.add_column(say("Kind"))
        table.add_column(say("ten winters %, best place"), justify="right")
        table.add_column(say("ordinary place"), justify="right")
        table.add_column(say("leaf lost %"), justify="right")
        table.add_column(say("How sure"))
        for kind in kinds:
            table.add_row(
                capital(kind.name),
                bare_percent(kind.best.lives_ten_winters),
                bare_percent(kind.ordinary.lives_ten_winters),
                bare_percent(kind.best.leaf_loss),
                evidence_words(kind.sources, kind.sources),
            )
        parts += [table, Text("")]
    return parts
