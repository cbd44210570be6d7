"""``fruitwall weather``: forecasts and past weather."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fruitwall.cli.app import DatabaseOption, NowOption, YardOption, weather_app
from fruitwall.cli.given import contact, find_yard, journal_if_needed, moment_asked, open_journal
from fruitwall.speech import say_again, say_count


@weather_app.command("show")
def weather_show(
    forecast: Annotated[str | None, typer.Argument(metavar="[FILE|URL|SERVICE]")] = None,
    yard: YardOption = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Show the coming nights of a forecast at the station."""
    from zoneinfo import ZoneInfo

    from fruitwall.cli.evening import house_of
    from fruitwall.service.evening import evenings_ahead
    from fruitwall.service.forecast_report import forecast_report
    from fruitwall.service.forecast_words import findings_words, plan_words
    from fruitwall.service.forecasts import weather_for
    from fruitwall.service.household import Household
    from fruitwall.service.nights import tonight as tonight_of
    from fruitwall.service.station import station_nights
    from fruitwall.terminal import nights_table, show

    told: list[str] = []
    with journal_if_needed(yard, database) as journal:
        checked, version = find_yard(yard, journal)
        moment, _ = moment_asked(now, None, checked.yard)
        household = Household(checked.yard.display, ZoneInfo(checked.yard.location.time_zone))
        if journal is not None and version is not None:
            report = forecast_report(house_of(journal, version.yard, lambda: moment))
            told = [*findings_words(report, household), *plan_words(report, household)]
        weather, _ = weather_for(
            checked.yard,
            forecast,
            None,
            now=moment,
            journal=journal,
            yard_name=version.yard if version else None,
            contact=contact(),
        )
    location = checked.yard.location
    evenings = evenings_ahead(location, weather, tonight_of(location, moment), 10, moment)
    nights = station_nights(weather, evenings)
    show(nights_table(nights, weather.source, weather.warnings, household))
    for line in told:
        typer.echo(f"\n{line}")


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

    with open_journal(database) as journal:
        of_yard, version = load_yard(journal, yard)
        moment, _ = moment_asked(now, None, of_yard)
        stored, forcing = import_forecast(journal, of_yard, version.yard, file, now=moment)
    first, last = (str(t)[:16].replace("T", " ") for t in (forcing.time_utc[0], forcing.time_utc[-1]))
    typer.echo(
        say_count(
            "Kept {source}: {first} to {last} UTC, {count} member.",
            "Kept {source}: {first} to {last} UTC, {count} members.",
            forcing.n_members,
            source=say_again(stored.source),
            first=first,
            last=last,
        )
    )
