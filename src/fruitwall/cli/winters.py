"""``fruitwall winters``: what many winters say of a yard, with progress; Ctrl-C stops, and the next call goes on."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from fruitwall.cli.app import DatabaseOption, NowOption, app
from fruitwall.cli.given import refuse
from fruitwall.cli.season import household_at
from fruitwall.speech import marked, say, say_again

if TYPE_CHECKING:
    from types import FrameType

    from rich.console import RenderableType

    from fruitwall.service.household import Household
    from fruitwall.service.winters_document import PartKey, WintersDocument
    from fruitwall.service.work import Progress

winters_app = typer.Typer(
    help="What many winters say of the yard: how cold how often, house rules, less work, more gear.",
    invoke_without_command=True,
    rich_markup_mode=None,
)
app.add_typer(winters_app, name="winters")

HELPS: dict[PartKey, str] = {
    "years": "Show how cold it gets once in so many winters at each tree, and when frost comes and goes.",
    "rules": "Show house rules side by side on the same winters: harm, loss, minutes, lifts, energy, money.",
    "search": "Show the cheapest house rules, and what is lost by carrying less.",
    "gear": "Show what one more sheet, heater, lamp string, shelter, trolley or barrel is worth per winter.",
}

SHOWN: dict[PartKey, str] = {
    "years": "winters_years:show_years",
    "rules": "winters_rules:show_rules",
    "search": "winters_search:show_search",
    "gear": "winters_gear:show_gear",
}
"""What lays a part's document out, ``module:function`` of this package; called with document and household."""

HOW_TO_GET = marked(
    "`fruitwall climate fetch` asks a public archive, `fruitwall climate add FILE` takes a file of your own."
)

STOPPED = 130
"""Exit status after Ctrl-C, as shells have it."""

NameOption = Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of a yard in the journal.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print it as a document, in SI units.")]
WarmerOption = Annotated[
    float | None, typer.Option("--warmer", metavar="K", min=-5, max=10, help="Take all winters so much warmer.")
]
WeightingOption = Annotated[
    str | None,
    typer.Option("--weighting", metavar="equal|recent", help="How winters count: all alike, or recent ones for more."),
]
TrendOption = Annotated[
    bool, typer.Option("--trend-out", help="Move each winter to the level of today by the trend of the record.")
]
MostOption = Annotated[
    int | None, typer.Option("--winters", metavar="N", min=3, max=100, help="Take the newest winters, at most so many.")
]


@winters_app.callback()
def winters(
    context: typer.Context,
    yard: NameOption = None,
    as_json: JsonOption = False,
    now: NowOption = None,
    database: DatabaseOption = None,
    warmer: WarmerOption = None,
    weighting: WeightingOption = None,
    trend_out: TrendOption = False,
    most: MostOption = None,
) -> None:
    """Show which winters are known, and what each part said last."""
    given: dict[str, Any] = dict(context.params)
    if context.invoked_subcommand is not None:
        context.obj = given
        return
    from fruitwall.service.winters import winters_overview
    from fruitwall.terminal import show

    with household_at(yard, now, database) as (house, household):
        document = winters_overview(house, _choice(given))
        if as_json:
            typer.echo(document.model_dump_json(indent=2))
        else:
            show(_overview(document, household))


def _part_command(key: PartKey) -> Callable[..., None]:
    """Make the command of one part."""

    def command(
        context: typer.Context,
        yard: NameOption = None,
        as_json: JsonOption = False,
        now: NowOption = None,
        database: DatabaseOption = None,
        warmer: WarmerOption = None,
        weighting: WeightingOption = None,
        trend_out: TrendOption = False,
        most: MostOption = None,
    ) -> None:
        # What stands before the name of the part holds as well.
        given: dict[str, Any] = {
            name: context.obj[name] if value in (None, False) else value for name, value in context.params.items()
        }
        from fruitwall.service.winters import PARTS, part_document
        from fruitwall.terminal import show

        with household_at(given["yard"], given["now"], given["database"]) as (house, household):
            title = next(part.title for part in PARTS if part.key == key)
            with on_terminal(say_again(title)) as (heard, stop):
                document = part_document(house, key, _choice(given), heard=heard, stop=stop)
            if document is None:
                refuse(say("No whole winter of other years is known here. {how}", how=say(HOW_TO_GET)))
            if given["as_json"]:
                typer.echo(document.model_dump_json(indent=2))
            else:
                show(_laid(key, document, household))

    return command


for _key, _help in HELPS.items():
    winters_app.command(_key, help=_help)(_part_command(_key))


def _laid(key: PartKey, document: Any, household: Household) -> RenderableType:
    """Lay a part's document out."""
    from importlib import import_module

    module, name = SHOWN[key].split(":")
    laid: RenderableType = getattr(import_module(f"fruitwall.cli.{module}"), name)(document, household)
    return laid


def _choice(given: dict[str, Any]) -> Any:
    """Give how the winters are to be taken."""
    from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice

    weighting: Literal["equal", "recent"] = given["weighting"] or AS_THEY_WERE.weighting
    if weighting not in ("equal", "recent"):
        refuse(say('--weighting: expected equal or recent, got "{given}"', given=weighting))
    return WeatherChoice(
        warmer_k=AS_THEY_WERE.warmer_k if given["warmer"] is None else given["warmer"],
        weighting=weighting,
        trend_taken_out=given["trend_out"],
        most=AS_THEY_WERE.most if given["most"] is None else given["most"],
    )


@contextmanager
def on_terminal(what: str = "") -> Iterator[tuple[Callable[[Progress], None], Callable[[], bool]]]:
    """Show how far long work is, and let Ctrl-C stop it: what is done is kept.

    Parameters
    ----------
    what : str
        What is worked out, in words; shown where the work itself tells nothing.

    Yields
    ------
    heard : callable (Progress) -> None
        A bar with the time left on an interactive terminal; nothing in a pipe.
    stop : callable () -> bool
        True after the first Ctrl-C; the second one ends the program at once.
    """
    from fruitwall.service.work import Stopped

    asked = False
    last: Progress | None = None

    def interrupted(_number: int, _frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        typer.echo(say("Stops after the part that is being done; once more ends it at once."), err=True)

    before = signal.signal(signal.SIGINT, interrupted)
    try:
        with _bar(what) as shown:

            def heard(told: Progress) -> None:
                nonlocal last
                last = told
                shown(told)

            yield heard, lambda: asked
    except Stopped:
        share = 0.0 if last is None else last.share
        typer.echo(
            say(
                "Stopped at {percent} %. What is done is kept: the same command goes on from there.",
                percent=int(100 * share),
            ),
            err=True,
        )
        raise typer.Exit(STOPPED) from None
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def _bar(what: str) -> Iterator[Callable[[Progress], None]]:
    """Show a bar with the time left; in a pipe nothing."""
    if not sys.stderr.isatty():
        yield lambda _told: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    from fruitwall.service.work import left_words

    texts = [TextColumn(one) for one in ("{task.description}", "{task.percentage:.0f} %", "{task.fields[left]}")]
    columns = (texts[0], BarColumn(), texts[1], TimeElapsedColumn(), texts[2])
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what or say("starting"), total=1.0, left="")

        def shown(told: Progress) -> None:
            left = "" if told.left_s is None else left_words(told.left_s)
            bar.update(task, completed=told.share, description=say_again(told.what) or what, left=left)

        yield shown


def _overview(document: WintersDocument, household: Household) -> RenderableType:
    """Lay out which winters there are."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    from fruitwall.service.winters_words import winters_told

    told = winters_told(document, household)
    parts: list[RenderableType] = [Text(told.verdict, style="bold")]
    if document.source is None:
        return Padding(Group(*parts, Text(say(HOW_TO_GET))), (1, 0, 1, 0))
    parts += [Text(line) for line in told.lines]
    for one in told.parts:
        command = f"fruitwall winters {one.key}"
        parts.append(Text.assemble(("\n" + one.title, "bold"), "  ", (command, "dim")))
        parts += [Padding(Text(line), (0, 0, 0, 2)) for line in (one.verdict or one.about,)]
        parts += [Padding(Text(line, style="dim"), (0, 0, 0, 2)) for line in (one.when,) if line]
    if told.table is not None:
        table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
        for number, head in enumerate(told.table.columns):
            table.add_column(head, justify="right" if number in (1, 3) else "left")
        for row in told.table.rows:
            table.add_row(*row)
        parts += [Text(""), table]
    parts += [Text(say("Note: {warning}", warning=line), style="yellow") for line in told.notices]
    return Padding(Group(*parts), (1, 0, 1, 0))
