"""``fruitwall climate``: weather of other years, by which the time after the forecast is judged."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, NowOption, app
from fruitwall.cli.evening import house_of
from fruitwall.cli.given import contact, moment_asked, open_journal
from fruitwall.speech import say, say_again, say_count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from fruitwall.service.climate import GivenYears
    from fruitwall.service.climate_report import ClimateReport
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.weather.place import Place

climate_app = typer.Typer(
    help="Weather of other years: what may come after the forecast.", invoke_without_command=True, rich_markup_mode=None
)
app.add_typer(climate_app, name="climate")

NameOption = Annotated[str | None, typer.Option("--yard", metavar="NAME", help="Name of a yard in the journal.")]


@climate_app.callback()
def climate_show(
    context: typer.Context, yard: NameOption = None, now: NowOption = None, database: DatabaseOption = None
) -> None:
    """Show what is known: winters, coldest nights, first and last frost, and where it comes from."""
    if context.invoked_subcommand is not None:
        return
    from fruitwall.service.climate_report import climate_report
    from fruitwall.terminal import show

    with _household(yard, now, database) as (house, household):
        show(_told(climate_report(house, household)))


@climate_app.command("add")
def climate_add(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...",
            help="Past weather of one place: GHCN-Daily, ISD-Lite, Open-Meteo, NASA POWER, NetCDF or CSV; see "
            "docs/climate.md. Files of several years of one station go together.",
        ),
    ],
    place: Annotated[
        str | None,
        typer.Option("--place", metavar="LAT,LON[,HEIGHT]", help="Where it holds, if the files do not say so [m]."),
    ] = None,
    yard: NameOption = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Keep past weather as weather of other years."""
    from fruitwall.service.climate import add_years

    with _household(yard, now, database) as (house, _):
        given = add_years(house, files, place=_place(place))
        _told_kept(given)


@climate_app.command("blend")
def climate_blend(yard: NameOption = None, now: NowOption = None, database: DatabaseOption = None) -> None:
    """Blend the stations that were given to the yard, by what the hours they share with it teach."""
    from fruitwall.service.climate_blend import blend_years

    with _household(yard, now, database) as (house, household):
        found = blend_years(house, author="owner")
        if found.place is None:
            typer.echo(say("The yard's own thermometer tells how its air goes with the stations'."))
        else:
            typer.echo(
                say(
                    "The yard's own thermometer was not read long enough; {source} stands for the yard.",
                    source=say_again(found.place),
                )
            )
        typer.echo(say("Error of the lowest temperature of {count} nights that were left out:", count=found.nights))
        for line in found.lines:
            error = household.fine_difference(line.lowest_rmse_k)
            names = ", ".join(
                f"{say_again(source)} {100 * weight:.0f} %"
                for source, weight in zip(line.stations, line.weights, strict=True)
            )
            if line.plain_rmse_k is None:
                typer.echo("  " + say("{error}: {stations}", error=error, stations=names))
            else:
                plain = household.fine_difference(line.plain_rmse_k)
                typer.echo(
                    "  " + say("{error}: {stations}; as it is {plain}", error=error, stations=names, plain=plain)
                )
        _told_kept(list(found.kept))


def _told_kept(given: list[GivenYears]) -> None:
    """Say what was kept, and each note once."""
    for one in given:
        typer.echo(
            say(
                "Kept {source}: {begin} to {end}, as number {number}.",
                source=say_again(one.forcing.source),
                begin=f"{one.forcing.start_utc:%Y-%m-%d}",
                end=f"{one.forcing.end_utc:%Y-%m-%d}",
                number=one.number,
            )
        )
    for warning in dict.fromkeys(warning for one in given for warning in one.forcing.warnings):
        typer.echo(say("Note: {warning}", warning=say_again(warning)))


def _place(text: str | None) -> Place | None:
    """Read where weather holds."""
    from fruitwall.errors import WeatherError
    from fruitwall.weather.place import Place

    if text is None:
        return None
    try:
        latitude, longitude, *height = (float(part) for part in text.split(","))
        if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0 and len(height) <= 1):
            raise ValueError
    except ValueError as error:
        raise WeatherError(
            say('--place: expected degrees and metres such as 29.69,-82.28,40, got "{text}"', text=text)
        ) from error
    return Place(latitude, longitude, height[0] if height else 0.0)


@climate_app.command("fetch")
def climate_fetch(
    years: Annotated[int, typer.Option("--years", min=1, max=40, help="How many years, the last ones.")] = 10,
    yard: NameOption = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Ask the public archive of Open-Meteo for the last years and keep them."""
    from fruitwall.service.climate import fetch_years

    def heard(done: int, wanted: int) -> None:
        typer.echo(say("{done} of {wanted} years are there.", done=done, wanted=wanted))

    with _household(yard, now, database) as (house, _):
        new = fetch_years(house, years, contact=contact(), heard=heard)
    typer.echo(
        say_count(
            "{count} new year was kept. Data: Open-Meteo (CC BY 4.0), from Copernicus ERA5.",
            "{count} new years were kept. Data: Open-Meteo (CC BY 4.0), from Copernicus ERA5.",
            len(new),
        )
    )


@climate_app.command("leave-out")
def climate_leave_out(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="As `fruitwall climate` shows it.")],
    yard: NameOption = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Use some of the given weather no more; it stays in the journal."""
    from fruitwall.service.climate import leave_out

    with _household(yard, now, database) as (house, _):
        leave_out(house, number, author="owner")
    typer.echo(say("Number {number} is used no more; it stays in the journal.", number=number))


@contextmanager
def _household(yard: str | None, now: str | None, database: str | None) -> Iterator[tuple[House, Household]]:
    """Open the journal, and give the house with how its people read."""
    from zoneinfo import ZoneInfo

    from fruitwall.service.household import Household
    from fruitwall.service.yards import load_yard

    with open_journal(database) as journal:
        known, _ = load_yard(journal, yard)
        moment, _day = moment_asked(now, None, known)
        house = house_of(journal, yard, lambda: moment)
        yield house, Household(known.display, ZoneInfo(known.location.time_zone))


def _told(report: ClimateReport) -> RenderableType:
    """Lay out what is known."""
    from rich.console import Group
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    parts: list[RenderableType] = [Text(report.verdict, style="bold")]
    if report.table is not None:
        table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
        for number, head in enumerate(report.table.columns):
            table.add_column(head, justify="right" if number in (1, 3) else "left")
        for row in report.table.rows:
            table.add_row(*row)
        parts += [Text(""), table]
    if report.levels:
        parts += [Text(""), *(Text(line) for line in report.levels)]
    if report.trend:
        parts += [Text(""), *(Text(line) for line in report.trend)]
    if report.given:
        parts += [Text(""), Text(say("Given:"), style="bold"), *(Text(line) for line in report.given)]
    if report.notes:
        parts += [Text(""), *(Text(say("Note: {warning}", warning=note), style="yellow") for note in report.notes)]
    return Padding(Group(*parts), (1, 0, 1, 0))
