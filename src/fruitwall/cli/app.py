"""The command and its groups, and the options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fruitwall.cli.language import SpeakingGroup

app = typer.Typer(
    name="fruitwall",
    cls=SpeakingGroup,
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
account_app = typer.Typer(
    help="Who may log in to the pages: people, their roles, their phones.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(yard_app, name="yard")
app.add_typer(weather_app, name="weather")
app.add_typer(account_app, name="account")

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
    language: Annotated[
        str | None,
        typer.Option(
            "--language",
            metavar="en|es",
            help="Language of the answers; may stand anywhere. Else FRUITWALL_LANGUAGE, else that of the system.",
        ),
    ] = None,
) -> None:
    """What each tender tree of a yard gets tonight, from the forecast and from physics."""
