"""``fruitwall surprises`` and ``fruitwall learned``: what was unexpected, and what the yard has taught of its trees."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, NowOption, app
from fruitwall.cli.evening import house_of
from fruitwall.cli.given import moment_asked, open_journal, tree_named
from fruitwall.speech import say, say_count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fruitwall.learning.tolerances import Shift
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.service.surprises import Surprise
    from fruitwall.service.taught import Taught, TaughtTree

NameOption = Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of a yard in the journal.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print it as a document, in °C and K.")]


@app.command()
def surprises(
    yard: NameOption = None, as_json: JsonOption = False, now: NowOption = None, database: DatabaseOption = None
) -> None:
    """Show what was unexpected: trees, spots, measures that did not pay, and what to change."""
    from fruitwall.service.surprises import surprises_of
    from fruitwall.service.taught import taught
    from fruitwall.terminal import show

    with _household(yard, now, database) as (house, household):
        found = surprises_of(house)
        if as_json:
            from fruitwall.service.learned_document import surprises_document

            typer.echo(_json([one.model_dump(mode="json") for one in surprises_document(found, household)]))
        else:
            show(_surprises(found, taught(house), household))


@app.command()
def learned(
    tree: Annotated[list[str] | None, typer.Argument(metavar="[TREE]", help="One tree, and why; none: all.")] = None,
    yard: NameOption = None,
    as_json: JsonOption = False,
    sampled: Annotated[
        bool,
        typer.Option("--sampled", help="Learn by sampling too: minutes instead of a second; needs fruitwall[bayes]."),
    ] = False,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Show what the yard has taught of its trees, before and after; of one tree also by which looks."""
    from fruitwall.service.taught import sampled_shifts, taught
    from fruitwall.terminal import show

    with _household(yard, now, database) as (house, household):
        one = tree_named(" ".join(tree), house.yard()[0]) if tree else None
        known = taught(house)
        if as_json:
            from fruitwall.service.learned_document import learned_document

            documents = [part.model_dump(mode="json") for part in learned_document(known) if one in (None, part.tree)]
            typer.echo(_json(documents))
        elif one is not None:
            show(_why(known.trees[one], known, household))
        else:
            show(_trees(known, household, sampled_shifts(house) if sampled else None))


@contextmanager
def _household(yard: str | None, now: str | None, database: str | None) -> Iterator[tuple[House, Household]]:
    """Open the journal, and give the house with how its people read."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.household import Household
    from fruitwall.service.taught import taught
    from fruitwall.service.yards import load_yard

    with open_journal(database) as journal:
        known, _ = load_yard(journal, yard)
        moment, _ = moment_asked(now, None, known)
        house = house_of(journal, yard, lambda: moment)
        with _working():
            taught(house)
        yield house, Household(known.display, ZoneInfo(known.location.time_zone))


@contextmanager
def _working() -> Iterator[None]:
    """Say on an interactive terminal that something takes a while."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(say("What the yard taught is being worked out")):
        yield


def _json(document: object) -> str:
    import json

    return json.dumps(document, indent=2, ensure_ascii=False)


def _surprises(found: Sequence[Surprise], known: Taught, household: Household) -> RenderableType:
    """Lay out what was unexpected, by what follows from it."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    from fruitwall.service.surprise_words import SECTIONS, nothing_yet, title, told

    parts: list[RenderableType] = []
    for heading, kinds in SECTIONS:
        some = [one for one in found if one.kind in kinds]
        if some:
            parts.append(Text(f"\n{say(heading)}", style="bold"))
        for one in some:
            words = told(one, household)
            lines = [Text(line) for line in words.lines]
            lines.append(Text(f"→ {words.change}", style="bold"))
            lines += [
                Text(line, style="dim") for line in (words.bounds, words.strength, words.worth, words.read) if line
            ]
            parts += [Text(f"\n{title(one)}"), Padding(Group(*lines), (0, 0, 0, 2))]
    if not found:
        looks = sum(len(tree.evidence) for tree in known.trees.values())
        parts.append(Text(say("Nothing unexpected so far."), style="bold"))
        parts += [Text(f"- {line}") for line in nothing_yet(looks, known.nights)]
    else:
        parts.append(Text("\n" + say("Why that is believed: fruitwall learned TREE"), style="dim"))
    return Group(*parts)


def _trees(known: Taught, household: Household, sampled: Mapping[str, Shift] | None) -> RenderableType:
    """Lay out before and after of all trees, beside what sampling gave."""
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column(say("tree"), overflow="fold", max_width=30)
    for head in (
        say("before {unit}", unit=household.degree),
        say("now {unit}", unit=household.degree),
        say("shift {unit}", unit=household.step),
        *([say("by sampling {unit}", unit=household.step)] if sampled is not None else []),
        say("looks that taught"),
    ):
        table.add_column(head, justify="right", no_wrap=True)
    for one in known.trees.values():
        table.add_row(
            one.name,
            household.bare_temperature(one.before.p50),
            household.bare_temperature(one.after.p50),
            _shift(one.shift, household),
            *([_shift(sampled[one.tree], household)] if sampled is not None else []),
            str(len(one.evidence)),
        )
    legend = say("Where harm begins within an hour, in the middle; shift: above zero more tender than published.")
    nights = say_count("{count} night is known.", "{count} nights are known.", known.nights)
    return Group(table, Text(f"\n{legend} {nights}", style="dim"))


def _shift(shift: Shift, household: Household) -> str:
    doubt = household.bare_fine_difference(shift.sd_k).lstrip("+")
    return f"{household.bare_fine_difference(shift.mean_k)} ± {doubt}"


def _why(one: TaughtTree, known: Taught, household: Household) -> RenderableType:
    """Lay out what is believed of one tree, and by which looks."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    from fruitwall.service.surprise_words import look_told

    parts: list[RenderableType] = [Text(one.name, style="bold")]
    for name, spread in ((say("believed before"), one.before), (say("now"), one.after)):
        parts.append(
            Text(
                say(
                    "{when}: harm begins near {middle}, in 8 chances of 10 at {whole}",
                    when=name,
                    middle=household.temperature(spread.p50),
                    whole=household.temperatures(spread.p10, spread.p90),
                )
            )
        )
    if not one.evidence:
        parts.append(Text(say("Nobody has graded this tree itself so far.")))
    for look in one.evidence:
        words = look_told(look, household)
        lines = [
            Text(f"{words.nights}; {words.expected}.", style="dim"),
            Text(say("Pull of this look: {pull}", pull=words.pull)),
            Text(say("Taken back at {address}", address=f"/trees/{one.tree}/{look.entry}"), style="dim"),
        ]
        parts += [Text(f"\n{words.when}, {words.by}: {words.seen}"), Padding(Group(*lines), (0, 0, 0, 2))]
    others = [
        its.name for its in known.trees.values() if its.kind == one.kind and its.tree != one.tree and its.evidence
    ]
    if others:
        parts.append(Text("\n" + say("Other trees of its kind taught something as well:") + " " + ", ".join(others)))
    return Group(*parts)
