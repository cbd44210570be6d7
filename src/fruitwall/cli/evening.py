"""Tonight's plan: in the terminal, as the demo, and as pages."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fruitwall.cli.app import DatabaseOption, ForecastOption, HistoryOption, NowOption, YardOption, app
from fruitwall.cli.given import (
    contact,
    find_yard,
    journal_if_needed,
    moment_asked,
    open_journal,
    present,
    refuse,
    tree_named,
)
from fruitwall.cli.told import progress, show_plan, tell_preparing

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal
    from fruitwall.service.house import House

NEEDS_ACTION = 3


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
    from fruitwall.service.earlier import Earlier, done_so_far, earlier_plans, following, standing_so_far
    from fruitwall.service.evening import night_to_plan, plan_evening
    from fruitwall.service.forecasts import weather_for
    from fruitwall.web.sheet.files import Papers

    papers = Papers(sheet, ics)
    with journal_if_needed(yard, database) as journal:
        checked, version = find_yard(yard, journal)
        moment, day = moment_asked(now, night, checked.yard)
        tree = tree_named(explain, checked.yard) if explain is not None else None
        weather, past = weather_for(
            checked.yard,
            forecast,
            history,
            now=moment,
            journal=journal,
            yard_name=version.yard if version else None,
            contact=contact(),
        )
        evening = day or night_to_plan(checked.yard, weather, past, moment)
        before = earlier_plans(journal, version.yard, evening) if journal is not None and version else Earlier()
        with progress(quiet=as_json) as report:
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
                standing=standing_so_far(done.split(","), before),
                last=before.last,
                before=before.tonight,
                worst_case=worst_case,
            )
        plan = following(plan, before)
        if journal is not None and version is not None:
            journal.store_plan(plan.night, plan.model_dump_json(), version=version, made=moment)
    show_plan(plan, checked.yard, as_json=as_json, tree=tree, compare=compare)
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

    with open_journal(database or os.environ.get("FRUITWALL_DATABASE") or str(demo_database())) as journal:
        desk = demo_desk(journal)
        with progress() as report:
            report("planning the demo evening")
            plan = desk.plan_for(None, report=report)
        show_plan(plan, desk.yard(), as_json=False, tree=None)
        if not once:
            house = house_of(journal, desk.yard().name, lambda: plan.made)
            serve_pages(desk.plan_for, desk.yard, lambda: plan.made, "127.0.0.1", port, house)


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

    with open_journal(database) as journal:
        # A missing yard or a wrong date is told now, not on the first page.
        moment, day = moment_asked(now, night, load_yard(journal, yard)[0])
        stands = now is not None or moment < present() - timedelta(minutes=1)
        clock = (lambda: moment) if stands else present
        desk = EveningsDesk(
            journal,
            yard,
            lambda of_yard, instant: weather_for(
                of_yard, forecast, history, now=instant, journal=journal, yard_name=yard, contact=contact()
            ),
            clock,
        )
        house = house_of(journal, yard, clock)
        serve_pages(
            lambda asked: desk.plan_for(asked or day, report=tell_preparing),
            desk.yard,
            clock,
            "127.0.0.1",
            port,
            house,
        )


def house_of(journal: Journal, yard: str | None, clock: Callable[[], datetime]) -> House:
    """Put together what the pages of a household need."""
    from fruitwall.journal.photos import VARIABLE, PhotoFolder, photo_folder
    from fruitwall.service.house import House

    return House(journal, yard, clock, PhotoFolder(photo_folder(journal.place, os.environ.get(VARIABLE))))


def serve_pages(plan_for: Any, yard: Any, clock: Any, host: str, port: int, house: House) -> None:
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
        refuse(f"cannot listen on {host}:{port}: {error.strerror}; choose another --port, or 0 for a free one")
    application = create_app(WebSettings(plan_for=plan_for, yard=yard, now=clock, house=house))
    typer.echo(f"\nTonight's page: http://{host}:{sock.getsockname()[1]}/   (Ctrl-C to stop)")
    sys.stdout.flush()
    config = uvicorn.Config(application, log_level="warning", server_header=False)
    uvicorn.Server(config).run(sockets=[sock])
