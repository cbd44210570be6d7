"""The command ``fruitwall``: parses what was typed, calls one service function, shows what it gives.

Only typer is imported at the top: ``fruitwall --help`` must answer at once. Exit status: 0 nothing needs doing,
3 something does, 2 bad input with one clear message, 1 a defect of ours.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

# Before numpy is loaded anywhere: two BLAS threads make the small matrices of this program several times slower.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import typer

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal
    from fruitwall.service.evening import Report
    from fruitwall.service.evening_document import EveningPlan
    from fruitwall.service.yards import CheckedYard
    from fruitwall.yard.model import Yard

NEEDS_ACTION = 3
BAD_INPUT = 2

app = typer.Typer(
    name="fruitwall",
    help="What each tender tree of a yard gets tonight, from the forecast and from physics.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
yard_app = typer.Typer(
    help="The yard file: check it, keep it, get it back.", no_args_is_help=True, rich_markup_mode=None
)
weather_app = typer.Typer(help="Forecasts and past weather.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(yard_app, name="yard")
app.add_typer(weather_app, name="weather")

DatabaseOption = Annotated[
    str | None,
    typer.Option("--database", metavar="FILE|URL", help="The journal; else FRUITWALL_DATABASE, else your own."),
]
YardOption = Annotated[
    str | None,
    typer.Option("--yard", metavar="FILE|NAME", help="A yard file, or the name of a yard in the journal."),
]
ForecastOption = Annotated[
    str | None,
    typer.Option(
        "--forecast",
        metavar="FILE|URL|SERVICE",
        help="A forecast file or address, or one of: open-meteo, open-meteo-ensemble, met-norway, nws. "
        "Left out: the forecast imported last, else open-meteo.",
    ),
]
HistoryOption = Annotated[
    Path | None,
    typer.Option("--history", metavar="FILE", help="Past weather as CSV, so that walls and soil start as they are."),
]
NowOption = Annotated[
    str | None,
    typer.Option(
        "--now", metavar="TIME", help="Plan as from this moment, such as 2026-12-22T15:00 (the yard's clock)."
    ),
]


def _tell_version(wanted: bool) -> None:
    """Print the version and stop."""
    if wanted:
        from fruitwall import __version__

        typer.echo(f"fruitwall {__version__}")
        raise typer.Exit


@app.callback()
def whole_program(
    version: Annotated[
        bool, typer.Option("--version", callback=_tell_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """What each tender tree of a yard gets tonight, from the forecast and from physics."""


@app.command()
def tonight(
    yard: YardOption = None,
    night: Annotated[
        str | None, typer.Option("--date", metavar="DATE", help="The night that begins on this evening, as 2026-12-22.")
    ] = None,
    forecast: ForecastOption = None,
    history: HistoryOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the plan by the published schema.")] = False,
    explain: Annotated[
        str | None, typer.Option("--explain", metavar="TREE", help="Show why one tree gets so cold, and its risk.")
    ] = None,
    members: Annotated[int, typer.Option(min=1, max=500, help="Members made of a single forecast.")] = 50,
    nights: Annotated[int, typer.Option(min=1, max=10, help="Nights planned together at most.")] = 5,
    seed: Annotated[int, typer.Option(min=0, help="Of the generator that spreads a single forecast.")] = 1,
    now: NowOption = None,
    database: DatabaseOption = None,
    done: Annotated[
        str,
        typer.Option(
            metavar="ID[,ID...]", help="What of the checklist is done: numbers or keys; none forgets all told."
        ),
    ] = "",
    compare: Annotated[bool, typer.Option("--compare", help="Show what else could be done, beside the plan.")] = False,
    worst_case: Annotated[
        float | None, typer.Option(metavar="SHARE", min=0, max=1, help="Weight of the worst tenth of what may come.")
    ] = None,
    sheet: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Write a sheet for a helper, too.")] = None,
    ics: Annotated[Path | None, typer.Option(metavar="FILE.ics", help="Write the deadlines for a calendar.")] = None,
) -> None:
    """Print tonight's plan, tree by tree; with --done, what still helps."""
    from fruitwall.service.earlier import Earlier, done_so_far, earlier_plans
    from fruitwall.service.evening import night_to_plan, plan_evening
    from fruitwall.service.forecasts import weather_for
    from fruitwall.web.sheet.files import Papers

    papers = Papers(sheet, ics)
    with _journal_if_needed(yard, database) as journal:
        checked, version = _find_yard(yard, journal)
        moment, day = _moment(now, night, checked.yard)
        tree = _tree_named(explain, checked.yard) if explain is not None else None
        weather, past = weather_for(
            checked.yard,
            forecast,
            history,
            now=moment,
            journal=journal,
            yard_name=version.yard if version else None,
            contact=_contact(),
        )
        evening = day or night_to_plan(checked.yard, weather, past, moment)
        before = earlier_plans(journal, version.yard, evening) if journal is not None and version else Earlier()
        with _progress(quiet=as_json) as report:
            plan = plan_evening(
                checked.yard,
                weather,
                now=moment,
                night=evening,
                history=past,
                members=members,
                nights=nights,
                seed=seed,
                report=report,
                done=done_so_far(done.split(","), before, moment),
                last=before.last,
                worst_case=worst_case,
            )
        if journal is not None and version is not None:
            journal.store_plan(plan.night, plan.model_dump_json(), version=version, made=moment)
    _show_plan(plan, checked.yard, as_json=as_json, tree=tree, compare=compare)
    for told in papers.write(plan, checked.yard):
        typer.echo(told, err=True)
    raise typer.Exit(NEEDS_ACTION if plan.needs_action or plan.at_risk else 0)


@app.command()
def demo(
    once: Annotated[
        bool, typer.Option("--once", envvar="DEMO_ONCE", help="Print the plan and stop, without serving pages.")
    ] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port of the pages; 0 takes a free one.")] = 0,
    database: DatabaseOption = None,
) -> None:
    """Show an invented yard on a real cold evening, then serve its page."""
    from fruitwall.service.demo import demo_database, demo_desk

    with _open_journal(database or os.environ.get("FRUITWALL_DATABASE") or str(demo_database())) as journal:
        desk = demo_desk(journal)
        with _progress() as report:
            report("planning the demo evening")
            plan = desk.plan_for(None, report=report)
        _show_plan(plan, desk.yard(), as_json=False, tree=None)
        if not once:
            _serve(desk.plan_for, desk.yard, lambda: plan.made, "127.0.0.1", port)


@app.command()
def serve(
    yard: Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of a yard in the journal.")] = None,
    forecast: ForecastOption = None,
    history: HistoryOption = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = 8765,
    night: Annotated[
        str | None, typer.Option("--date", metavar="DATE", help="First show the night that begins on this evening.")
    ] = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Serve tonight's page on this machine (127.0.0.1 only).

    With --now, or a --date that is past, the clock of the pages stands still.
    """
    from fruitwall.service.desk import EveningsDesk
    from fruitwall.service.forecasts import weather_for
    from fruitwall.service.yards import load_yard

    with _open_journal(database) as journal:
        # A missing yard or a wrong date is told now, not on the first page.
        moment, day = _moment(now, night, load_yard(journal, yard)[0])
        stands = now is not None or moment < _clock() - timedelta(minutes=1)
        clock = (lambda: moment) if stands else _clock
        desk = EveningsDesk(
            journal,
            yard,
            lambda of_yard, present: weather_for(
                of_yard, forecast, history, now=present, journal=journal, yard_name=yard, contact=_contact()
            ),
            clock,
        )
        _serve(lambda asked: desk.plan_for(asked or day, report=_tell_preparing), desk.yard, clock, "127.0.0.1", port)


@app.command("kind")
def show_kind(
    name: Annotated[list[str] | None, typer.Argument(metavar="[NAME]", help="Any name of it; none lists all.")] = None,
    yard: YardOption = None,
    unit: Annotated[str | None, typer.Option("--unit", metavar="C|F", help="Degrees to read in.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print it as a document, in °C.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Show what is published on a kind of plant, and what was made of it.

    With --yard also the kinds that the yard file describes, in the yard's units.
    """
    from fruitwall.terminal import columns
    from fruitwall.terminal_kind import kind_answer

    of_yard = None
    if yard is not None:
        with _journal_if_needed(yard, database) as journal:
            of_yard = _find_yard(yard, journal)[0].yard
    typer.echo(kind_answer(" ".join(name or []), of_yard, unit, as_json=as_json, width=columns()))


@app.command()
def schema(
    what: Annotated[str, typer.Argument(metavar="yard|evening-plan", help="Which schema to print.")],
) -> None:
    """Print the JSON Schema of the yard file or of the evening plan."""
    import json

    if what == "yard":
        from fruitwall.yard.schema import yard_json_schema

        found: dict[str, Any] = yard_json_schema()
    elif what == "evening-plan":
        from fruitwall.service.evening_document import evening_plan_json_schema

        found = evening_plan_json_schema()
    else:
        _refuse(f'no schema named "{what}"; there are: yard, evening-plan')
    typer.echo(json.dumps(found, indent=2, ensure_ascii=False))


# ---------------------------------------------------------------- yard


@yard_app.command("check")
def yard_check(file: Annotated[Path, typer.Argument(metavar="FILE", help="The yard file.")]) -> None:
    """Check a yard file and say all that is wrong in it."""
    from fruitwall.service.yards import check_yard_file

    checked = check_yard_file(file, today=_clock().date())
    _tell_warnings(checked)
    yard = checked.yard
    kinds = len({tree.taxon for tree in yard.trees})
    typer.echo(
        f"{file.name} is good: {yard.name} ({yard.location.latitude_deg:g}, {yard.location.longitude_deg:g}), "
        f"{_count(len(yard.trees), 'tree')} of {_count(kinds, 'kind')}, {_count(len(yard.structures), 'structure')}, "
        f"{_count(len(yard.people), 'person', 'people')}."
    )


@yard_app.command("import")
def yard_import(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The yard file.")],
    database: DatabaseOption = None,
) -> None:
    """Keep a yard file in the journal; earlier versions stay."""
    from fruitwall.service.yards import check_yard_file, import_yard

    checked = check_yard_file(file, today=_clock().date())
    _tell_warnings(checked)
    now = _clock()
    with _open_journal(database) as journal:
        version = import_yard(journal, checked, now=now, author=f"import of {file.name}"[:200])
    if version.created < now:
        typer.echo(f"{version.yard} is unchanged: version {version.number} is this file already.")
    else:
        typer.echo(f"Kept {version.yard}, version {version.number}.")


@yard_app.command("export")
def yard_export(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="Name of the yard, if there are several.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Write here instead of to the terminal.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    database: DatabaseOption = None,
) -> None:
    """Give a yard back exactly as it was imported."""
    with _open_journal(database) as journal:
        version = journal.current_yard(name)
    if to is None:
        sys.stdout.buffer.write(version.text.encode())
        return
    try:
        with to.open("w" if force else "x", encoding="utf-8", newline="") as out:
            out.write(version.text)
    except FileExistsError:
        _refuse(f"{to} exists already; nothing written. Give another name, or --force to overwrite it")
    except OSError as error:
        _refuse(f"cannot write {to}: {error.strerror}")
    typer.echo(f"Wrote {version.yard}, version {version.number}, to {to}.")


# ---------------------------------------------------------------- weather


@weather_app.command("show")
def weather_show(
    forecast: Annotated[str | None, typer.Argument(metavar="[FILE|URL|SERVICE]")] = None,
    yard: YardOption = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Show the coming nights of a forecast at the station."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.evening import evenings_ahead
    from fruitwall.service.forecasts import weather_for
    from fruitwall.service.household import Household
    from fruitwall.service.nights import tonight as tonight_of
    from fruitwall.service.station import station_nights
    from fruitwall.terminal import nights_table, show

    with _journal_if_needed(yard, database) as journal:
        checked, version = _find_yard(yard, journal)
        moment, _ = _moment(now, None, checked.yard)
        weather, _ = weather_for(
            checked.yard,
            forecast,
            None,
            now=moment,
            journal=journal,
            yard_name=version.yard if version else None,
            contact=_contact(),
        )
    location = checked.yard.location
    evenings = evenings_ahead(location, weather, tonight_of(location, moment), 10, moment)
    nights = station_nights(weather, evenings)
    household = Household(checked.yard.display, ZoneInfo(location.time_zone))
    show(nights_table(nights, weather.source, weather.warnings, household))


@weather_app.command("import")
def weather_import(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A forecast: CSV, or what one of the services answered.")
    ],
    yard: Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of the yard, if several.")] = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Keep a forecast file in the journal; ``tonight`` uses the newest that still covers the night."""
    from fruitwall.service.forecasts import import_forecast
    from fruitwall.service.yards import load_yard

    with _open_journal(database) as journal:
        of_yard, version = load_yard(journal, yard)
        moment, _ = _moment(now, None, of_yard)
        stored, forcing = import_forecast(journal, of_yard, version.yard, file, now=moment)
    first, last = (str(t)[:16].replace("T", " ") for t in (forcing.time_utc[0], forcing.time_utc[-1]))
    typer.echo(f"Kept {stored.source}: {first} to {last} UTC, {_count(forcing.n_members, 'member')}.")


# ---------------------------------------------------------------- parts of commands


def _clock() -> datetime:
    """Give the present moment: the only clock of the program."""
    return datetime.now(UTC)


def _count(number: int, one: str, many: str = "") -> str:
    """Write a count with its noun."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def _contact() -> str:
    """Give the address that weather services may write to, if the user named one (FRUITWALL_CONTACT)."""
    return os.environ.get("FRUITWALL_CONTACT") or "no contact given"


def _moment(now: str | None, night: str | None, yard: Yard) -> tuple[datetime, date | None]:
    """Read --now and --date; a past --date without --now is planned from three in the afternoon of that day."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.nights import tonight as tonight_of

    zone = ZoneInfo(yard.location.time_zone)
    day: date | None = None
    if night is not None:
        try:
            day = date.fromisoformat(night)
        except ValueError:
            _refuse(f'--date: expected a date such as 2026-12-22, got "{night}"')
    if now is not None:
        try:
            given = datetime.fromisoformat(now)
        except ValueError:
            _refuse(f'--now: expected a moment such as 2026-12-22T15:00, got "{now}"')
        return (given if given.tzinfo else given.replace(tzinfo=zone)), day
    present = _clock().astimezone(zone)
    if day is not None and day < tonight_of(yard.location, present):
        return datetime(day.year, day.month, day.day, 15, tzinfo=zone), day
    return present, day


def _find_yard(given: str | None, journal: Journal | None) -> tuple[CheckedYard, Any]:
    """Give the yard of a file, or of the journal with its version there."""
    from fruitwall.service.yards import CheckedYard, check_yard_file, load_yard

    if given is not None and _is_file(given):
        checked = check_yard_file(Path(given), today=_clock().date())
        _tell_warnings(checked)
        return checked, None
    assert journal is not None
    yard, version = load_yard(journal, given)
    return CheckedYard(yard, version.text, ()), version


def _is_file(given: str) -> bool:
    """Tell a file from a name: names of yards do not end in .yaml."""
    return given.endswith((".yaml", ".yml")) or Path(given).is_file()


@contextmanager
def _open_journal(database: str | None) -> Iterator[Journal]:
    """Open the journal that was named, or the user's own."""
    from fruitwall.journal.location import choose_database
    from fruitwall.journal.opening import open_journal

    with open_journal(choose_database(database, os.environ)) as journal:
        yield journal


@contextmanager
def _journal_if_needed(yard: str | None, database: str | None) -> Iterator[Journal | None]:
    """Open the journal unless the yard comes from a file: then nothing is written anywhere."""
    if yard is not None and _is_file(yard):
        yield None
        return
    with _open_journal(database) as journal:
        yield journal


def _tell_warnings(checked: CheckedYard) -> None:
    """Print what the owner should still look at, apart from the output."""
    for warning in checked.warnings:
        typer.echo(f"Note: {warning}", err=True)


def _tell_preparing(stage: str) -> None:
    """Say that the first use takes longer, whatever reads us; the other stages are not told."""
    from fruitwall.service.evening import PREPARING

    if stage == PREPARING:
        typer.echo(f"fruitwall is {stage}", err=True)


@contextmanager
def _progress(*, quiet: bool = False) -> Iterator[Report]:
    """Show a bar with the stage of the work on an interactive terminal; in a pipe only what takes unusually long.

    With `quiet` a pipe gets nothing at all.
    """
    if not sys.stderr.isatty():
        yield (lambda _stage: None) if quiet else _tell_preparing
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    from fruitwall.service.evening import STAGES

    bar = Progress(
        TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), console=Console(stderr=True), transient=True
    )
    with bar:
        task = bar.add_task("starting", total=len(STAGES))

        def report(stage: str) -> None:
            bar.update(task, description=stage)
            if stage in STAGES:
                bar.update(task, completed=STAGES.index(stage))

        yield report


def _tree_named(name: str, yard: Yard) -> str:
    """Give the identifier of the tree that --explain names, before any work is done."""
    from fruitwall.yard.near_names import near_names

    wanted = name.casefold()
    for tree in yard.trees:
        if wanted in (tree.id, tree.name.casefold()):
            return tree.id
    near = near_names(name, [known for tree in yard.trees for known in (tree.id, tree.name)])
    _refuse(f'no tree named "{name}" in this yard' + (f"; near names: {', '.join(near)}" if near else ""))


def _show_plan(plan: EveningPlan, yard: Yard, *, as_json: bool, tree: str | None, compare: bool = False) -> None:
    """Print a plan as JSON, as one tree's explanation, beside what else could be done, or whole."""
    from zoneinfo import ZoneInfo

    from fruitwall import terminal
    from fruitwall.service.household import Household

    if as_json:
        typer.echo(plan.model_dump_json(indent=2))
        return
    household = Household(yard.display, ZoneInfo(yard.location.time_zone))
    if compare:
        terminal.show(terminal.comparison(plan))
    elif tree is None:
        terminal.show(terminal.evening(plan, household, width=terminal.columns()))
    else:
        terminal.show(terminal.explanation(plan, next(t for t in plan.trees if t.id == tree), household))


def _serve(plan_for: Any, yard: Any, clock: Any, host: str, port: int) -> None:
    """Serve the pages until interrupted; the address is printed once the port is taken."""
    import socket

    import uvicorn

    from fruitwall.web.app import create_app
    from fruitwall.web.settings import WebSettings

    sock = socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
    except OSError as error:
        _refuse(f"cannot listen on {host}:{port}: {error.strerror}; choose another --port, or 0 for a free one")
    application = create_app(WebSettings(plan_for=plan_for, yard=yard, now=clock))
    typer.echo(f"\nTonight's page: http://{host}:{sock.getsockname()[1]}/   (Ctrl-C to stop)")
    sys.stdout.flush()
    config = uvicorn.Config(application, log_level="warning", server_header=False)
    uvicorn.Server(config).run(sockets=[sock])


def _refuse(message: str) -> NoReturn:
    """Say what is wrong with the input, and leave with status 2."""
    from fruitwall.errors import FruitwallError

    raise FruitwallError(message)


def main() -> None:
    """Run the command; what a user can mend becomes one message and status 2, without a traceback."""
    from fruitwall.errors import FruitwallError

    try:
        app()
    except FruitwallError as error:
        typer.echo(f"fruitwall: {error}", err=True)
        sys.exit(BAD_INPUT)
    except BrokenPipeError:
        # The reader (head, less) has closed the pipe: nothing is wrong.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
