"""Tonight's plan: in the terminal, as the demo, and as pages."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, ForecastOption, HistoryOption, NowOption, YardOption, app
from fruitwall.cli.given import (
    contact,
    find_yard,
    journal_if_needed,
    moment_asked,
    open_journal,
    present,
    tree_named,
)
from fruitwall.cli.serving import Listening, serve_pages
from fruitwall.cli.told import progress, show_plan, tell_preparing
from fruitwall.speech import marked

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
    as_published: Annotated[bool, typer.Option("--as-published", help="Leave aside what the yard has taught.")] = False,
) -> None:
    """Print tonight's plan, tree by tree; with --done, what still helps."""
    from fruitwall.journal.ledger import Ledger
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.earlier import Earlier, done_so_far, earlier_plans, following, standing_so_far
    from fruitwall.service.evening import night_to_plan, plan_evening
    from fruitwall.service.forecasts import weather_for
    from fruitwall.service.ledger import Signed
    from fruitwall.service.stages import carried_on
    from fruitwall.service.ticks import tell_done
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
        beliefs = None
        if journal is not None and version is not None and not as_published:
            beliefs = beliefs_of(house_of(journal, version.yard, lambda: moment))
        carried = carried_on(journal, version.yard, moment) if journal is not None and version is not None else None
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
                beliefs=beliefs,
                carried=carried,
            )
        plan = following(plan, before)
        if journal is not None and version is not None:
            journal.store_plan(plan.night, plan.model_dump_json(), version=version, made=moment)
            tell_done(
                Ledger(journal, version.yard),
                plan,
                before.tonight,
                signed=Signed("terminal", "terminal", moment),
                forget="none" in [word.strip() for word in done.split(",")],
            )
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
    winters: Annotated[
        bool, typer.Option("--winters", help="First live through two invented winters, and tell what they taught.")
    ] = False,
    summer: Annotated[bool, typer.Option("--summer", help="Show it in a hot spell of August instead.")] = False,
    decades: Annotated[
        bool, typer.Option("--decades", help="Show it in Florida, with fifty real winters to ask what if.")
    ] = False,
) -> None:
    """Show an invented yard on a real cold evening, then serve its page."""
    from fruitwall.service import demo as demos

    if winters:
        from fruitwall.cli.demo_winters import show_winters
        from fruitwall.weather.demo import demo_now

        show_winters(lambda of, yard: house_of(of, yard, demo_now), once=once, port=port, database=database)
        return
    own = demos.decades_database() if decades else demos.summer_database() if summer else demos.demo_database()
    with open_journal(database or os.environ.get("FRUITWALL_DATABASE") or str(own)) as journal:
        if decades:
            desk = demos.decades_desk(journal)
            demos.keep_decades(journal, desk.yard().name)
        else:
            desk = demos.summer_desk(journal) if summer else demos.demo_desk(journal)
            demos.keep_weather(journal, desk.yard().name, summer=summer)
        with progress() as report:
            report(marked("planning the demo evening"))
            plan = desk.plan_for(None, report=report)
        show_plan(plan, desk.yard(), as_json=False, tree=None)
        if not once:
            house = house_of(journal, desk.yard().name, lambda: plan.made)
            serve_pages(desk.plan_for, desk.yard, lambda: plan.made, house, Listening(port=port))


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
    host: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Listen here; 0.0.0.0 for the whole network, once there is an owner.")
    ] = "127.0.0.1",
    allow_host: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Answer under this name as well; may be given again.")
    ] = None,
    https: Annotated[
        bool, typer.Option("--https", help="Speak https with a certificate of your own; see the page /pair.")
    ] = False,
) -> None:
    """Serve tonight's page: on this machine, or with --host for phones in the network.

    With --now, or a --date that is past, the clock of the pages stands still.
    """
    from fruitwall.errors import NoYard
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.desk import EveningsDesk
    from fruitwall.service.weather_desk import WeatherDesk
    from fruitwall.service.yards import load_yard

    with open_journal(database) as journal:
        # A misspelt yard or a wrong date is told now, not on the first page; without any yard the pages begin one.
        try:
            known = load_yard(journal, yard)[0]
        except NoYard:
            if yard is not None:
                raise
            known = None
        moment, day = moment_asked(now, night, known)
        stands = now is not None or moment < present() - timedelta(minutes=1)
        clock = (lambda: moment) if stands else present
        weather = WeatherDesk(journal, yard, clock, forecast=forecast, history=history, contact=contact())
        house = house_of(journal, yard, clock)
        desk = EveningsDesk(
            journal,
            yard,
            weather.weather,
            clock,
            renewed=lambda: weather.changes,
            beliefs=lambda: beliefs_of(house),
        )
        serve_pages(
            lambda asked: desk.plan_for(asked or day, report=tell_preparing),
            desk.yard,
            clock,
            house,
            Listening(host, port, tuple(allow_host or ()), https),
            weather,
        )


def house_of(journal: Journal, yard: str | None, clock: Callable[[], datetime]) -> House:
    """Put together what the pages of a household need."""
    from fruitwall.journal.photos import VARIABLE, PhotoFolder, photo_folder
    from fruitwall.service.house import House

    return House(journal, yard, clock, PhotoFolder(photo_folder(journal.place, os.environ.get(VARIABLE))))
