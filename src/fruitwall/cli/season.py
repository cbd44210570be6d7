"""``fruitwall season``: what is to be done in the season, and how it stands with each part of it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, NowOption, app
from fruitwall.cli.evening import house_of
from fruitwall.cli.given import moment_asked, open_journal
from fruitwall.speech import say, say_count

if TYPE_CHECKING:
    from datetime import date

    from rich.console import RenderableType

    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.service.season import Part
    from fruitwall.service.season_part import PartKey, PartTable, SeasonPart, SeasonTask

season_app = typer.Typer(
    help="The other months of the job: cold, chill, water, heat, growth, recovery, and what is to be done.",
    rich_markup_mode=None,
)
app.add_typer(season_app, name="season")

NameOption = Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of a yard in the journal.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print it as a document, in SI units.")]

HELPS: dict[PartKey, str] = {
    "cold": "Show the cold that each tree went through, with what was done and without.",
    "chill": "Show the winter chill of the trees that need it, and when they have enough.",
    "water": "Show what water each tree has left, how much to give and when.",
    "heat": "Show what heat each tree went through, and what to do against what comes.",
    "growth": "Show the stages of each tree: what is, what comes, when there will be fruit.",
    "recovery": "Show what hurt trees are waiting for, and from when to prune.",
}


@season_app.callback(invoke_without_command=True)
def season(
    context: typer.Context,
    yard: NameOption = None,
    as_json: JsonOption = False,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Show what is to be done in the season, and how it stands with each part."""
    if context.invoked_subcommand is not None:
        context.obj = {"yard": yard, "now": now, "database": database, "as_json": as_json}
        return
    from fruitwall.service.season import season_parts_told
    from fruitwall.terminal import show

    with household_at(yard, now, database) as (house, household):
        with working():
            parts = season_parts_told(house, household)
        if as_json:
            from fruitwall.service.season_document import season_document

            typer.echo(season_document(parts).model_dump_json(indent=2))
        else:
            show(_overview(parts, household, house.clock().astimezone(household.zone).date()))


def _part_command(key: PartKey) -> Callable[..., None]:
    """Make the command of one part."""

    def command(
        context: typer.Context,
        yard: NameOption = None,
        as_json: JsonOption = False,
        now: NowOption = None,
        database: DatabaseOption = None,
    ) -> None:
        # What stands before the name of the part holds as well.
        yard, now, database = (
            own or context.obj[name] for own, name in ((yard, "yard"), (now, "now"), (database, "database"))
        )
        as_json = as_json or context.obj["as_json"]
        from fruitwall.service.season import season_part
        from fruitwall.terminal import show

        with household_at(yard, now, database) as (house, household):
            with working():
                part = season_part(key, house, household)
            if as_json:
                from fruitwall.service.season_document import part_document

                typer.echo(part_document(part).model_dump_json(indent=2))
            else:
                show(_part(part, house.clock().astimezone(household.zone).date()))

    return command


for _key, _help in HELPS.items():
    season_app.command(_key, help=_help)(_part_command(_key))


@contextmanager
def household_at(yard: str | None, now: str | None, database: str | None) -> Iterator[tuple[House, Household]]:
    """Open the journal, and give the house with how its people read.

    Parameters
    ----------
    yard : str or None
        Name of a yard in the journal.
    now : str or None
        Moment at which to look; the present if left out.
    database : str or None

    Yields
    ------
    (House, Household)
    """
    from zoneinfo import ZoneInfo

    from fruitwall.service.household import Household
    from fruitwall.service.yards import load_yard

    with open_journal(database) as journal:
        known, _ = load_yard(journal, yard)
        moment, _ = moment_asked(now, None, known)
        house = house_of(journal, yard, lambda: moment)
        yield house, Household(known.display, ZoneInfo(known.location.time_zone))


@contextmanager
def working() -> Iterator[None]:
    """Say on an interactive terminal that something takes a while."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(say("The season is being worked out")):
        yield


def _overview(parts: Sequence[Part], household: Household, today: date) -> RenderableType:
    from rich.console import Group
    from rich.padding import Padding
    from rich.text import Text

    from fruitwall.service.season import season_tasks

    tasks = season_tasks(one.told for one in parts if one.told is not None)
    lines: list[RenderableType] = [Text(say("To do"), style="bold"), *_tasks(tasks, today)]
    if not tasks:
        lines.append(
            Text(say("Nothing is asked for in the coming days. What each evening asks for stands under Evening."))
        )
    for one in parts:
        lines.append(Text(f"\n{one.title}", style="bold"))
        told = one.told.verdict if one.told is not None else f"{say('Could not be worked out.')} {one.wrong}"
        lines.append(Padding(Text(told), (0, 0, 0, 2)))
        if one.told is not None and one.told.notices:
            count = len(one.told.notices)
            doubt = say_count("{count} thing assumed or in doubt", "{count} things assumed or in doubt", count)
            lines.append(Padding(Text(f"{doubt}: fruitwall season {one.key}", style="dim"), (0, 0, 0, 2)))
    return Group(*lines)


def _tasks(tasks: Sequence[SeasonTask], today: date) -> list[RenderableType]:
    from rich.padding import Padding
    from rich.text import Text

    from fruitwall.service.season import task_groups
    from fruitwall.service.season_words import when_words

    lines: list[RenderableType] = []
    for group in task_groups(tasks):
        when = when_words(group.first, today)
        lines.append(Text.assemble((f"- {when}: ", "bold" if group.urgent else ""), group.what))
        lines += [Padding(Text(f"· {line}"), (0, 0, 0, 2)) for line in group.told]
        beside = (*group.why, *group.steps, *group.cautions)
        lines += [Padding(Text(line, style="dim"), (0, 0, 0, 2)) for line in beside]
    return lines


def _part(part: SeasonPart, today: date) -> RenderableType:
    from rich.console import Group
    from rich.text import Text

    lines: list[RenderableType] = [Text(part.title, style="bold"), Text(part.verdict)]
    if part.tasks:
        lines += [Text("\n" + say("To do"), style="bold"), *_tasks(part.tasks, today)]
    if part.table is not None:
        lines += [Text(""), _table(part.table)]
    if part.notices:
        lines.append(Text("\n" + say("Assumed or in doubt"), style="bold"))
        lines += [Text(f"- {line}") for line in part.notices]
    lines += [Text(source, style="dim") for source in part.sources]
    return Group(*lines)


def _table(table: PartTable) -> RenderableType:
    from rich.table import Table

    laid = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0), title=table.caption)
    laid.title_justify = "left"
    for at, head in enumerate(table.columns):
        laid.add_column(head, overflow="fold", max_width=30 if at == 0 else 26)
    for row in table.rows:
        laid.add_row(*row)
    return laid
