"""``fruitwall yard``: the yard file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from fruitwall.cli.app import DatabaseOption, yard_app
from fruitwall.cli.given import open_journal, present, refuse
from fruitwall.cli.told import tell_warnings
from fruitwall.speech import say, say_count


@yard_app.command("check")
def yard_check(file: Annotated[Path, typer.Argument(metavar="FILE", help="The yard file.")]) -> None:
    """Check a yard file and say all that is wrong in it."""
    from fruitwall.service.yards import check_yard_file

    checked = check_yard_file(file, today=present().date())
    tell_warnings(checked)
    yard = checked.yard
    kinds = len({tree.taxon for tree in yard.trees})
    typer.echo(
        say(
            "{file} is good: {yard} ({place}), {trees} of {kinds}, {structures}, {people}.",
            file=file.name,
            yard=yard.name,
            place=f"{yard.location.latitude_deg:g}, {yard.location.longitude_deg:g}",
            trees=say_count("{count} tree", "{count} trees", len(yard.trees)),
            kinds=say_count("{count} kind", "{count} kinds", kinds),
            structures=say_count("{count} structure", "{count} structures", len(yard.structures)),
            people=say_count("{count} person", "{count} people", len(yard.people)),
        )
    )


@yard_app.command("import")
def yard_import(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The yard file.")],
    database: DatabaseOption = None,
) -> None:
    """Keep a yard file in the journal; earlier versions stay."""
    from fruitwall.service.yards import check_yard_file, import_yard

    checked = check_yard_file(file, today=present().date())
    tell_warnings(checked)
    now = present()
    with open_journal(database) as journal:
        version = import_yard(journal, checked, now=now, author=say("import of {file}", file=file.name)[:200])
    if version.created < now:
        typer.echo(
            say(
                "{yard} is unchanged: version {version} is this file already.",
                yard=version.yard,
                version=version.number,
            )
        )
    else:
        typer.echo(say("Kept {yard}, version {version}.", yard=version.yard, version=version.number))


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
    with open_journal(database) as journal:
        version = journal.current_yard(name)
    if to is None:
        sys.stdout.buffer.write(version.text.encode())
        return
    try:
        with to.open("w" if force else "x", encoding="utf-8", newline="") as out:
            out.write(version.text)
    except FileExistsError:
        refuse(say("{to} exists already; nothing written. Give another name, or --force to overwrite it", to=to))
    except OSError as error:
        refuse(say("cannot write {to}: {reason}", to=to, reason=error.strerror))
    typer.echo(say("Wrote {yard}, version {version}, to {file}.", yard=version.yard, version=version.number, file=to))
