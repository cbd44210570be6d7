"""``fruitwall season report``: the season as one page to print or share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fruitwall.cli.app import DatabaseOption, NowOption
from fruitwall.cli.season import NameOption, household_at, season_app
from fruitwall.errors import FruitwallError
from fruitwall.speech import say


@season_app.command("report", help="Write the report of the season, to print or share, as HTML or PDF.")
def report(
    html: Annotated[Path | None, typer.Option("--html", metavar="FILE", help="Write it as one HTML file.")] = None,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Write it as PDF.")] = None,
    private: Annotated[
        bool,
        typer.Option("--private", help="With name and place of the yard, names of people, notes and photos."),
    ] = False,
    yard: NameOption = None,
    now: NowOption = None,
    database: DatabaseOption = None,
) -> None:
    """Write the report of the season."""
    if html is None and pdf is None:
        raise FruitwallError(say("Say what to write: --html FILE, --pdf FILE, or both."))
    from fruitwall.reports.season_html import as_file
    from fruitwall.reports.season_pdf import as_pdf, check_typst
    from fruitwall.service.pictures import small_picture
    from fruitwall.service.season_report import season_report

    if pdf is not None:
        check_typst()  # before minutes of work
    with household_at(yard, now, database) as (house, household):
        made = season_report(house, household, private=private)
        if html is not None:
            _write(html, as_file(made, household, lambda digest: small_picture(house, digest)).encode())
        if pdf is not None:
            _write(pdf, as_pdf(made, household))


def _write(file: Path, content: bytes) -> None:
    try:
        file.write_bytes(content)
    except OSError as error:
        raise FruitwallError(say("{file} cannot be written: {error}", file=file, error=error.strerror)) from error
    typer.echo(say("Written: {file}", file=file))
