"""``fruitwall backup`` and ``fruitwall restore``: everything in one file, and back."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, app
from fruitwall.cli.given import open_journal, present
from fruitwall.cli.told import count

if TYPE_CHECKING:
    from fruitwall.journal.backup import BackupContent
    from fruitwall.journal.photos import PhotoFolder
    from fruitwall.journal.store import Journal


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="Where to write it; must not exist.")],
    database: DatabaseOption = None,
) -> None:
    """Write everything into one file, while fruitwall goes on running: yards, ledger, plans, photos, accounts.

    Keep it where you would keep the database: it holds where your yard is, and digests of passphrases.
    """
    from fruitwall.journal.backup import look_into, write_backup

    with open_journal(database) as journal:
        write_backup(journal, _photos(journal), file, now=present())
    # What was written is read again: a backup that cannot be read is none.
    content = look_into(file)
    typer.echo(f"Wrote {_told(content)} to {file}.")
    if content.missing_photos:
        typer.echo(f"Missing from the folder of pictures: {', '.join(content.missing_photos)}", err=True)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    database: DatabaseOption = None,
    look: Annotated[bool, typer.Option("--look", help="Only check the file and say what it holds.")] = False,
) -> None:
    """Put a backup into a new, empty database: all of it or nothing."""
    from fruitwall.journal.backup import look_into, restore_backup

    if look:
        content = look_into(file)
        typer.echo(f"{file} is whole: {_told(content)}, written {content.created:%Y-%m-%d %H:%M} UTC.")
        return
    with open_journal(database) as journal:
        content = restore_backup(file, journal, _photos(journal))
        typer.echo(f"Restored {_told(content)} into {journal.place}.")


def _photos(journal: Journal) -> PhotoFolder:
    """Give the folder of pictures of a journal."""
    from fruitwall.journal.photos import VARIABLE, PhotoFolder, photo_folder

    return PhotoFolder(photo_folder(journal.place, os.environ.get(VARIABLE)))


def _told(content: BackupContent) -> str:
    """Say what a backup holds."""
    rows = content.rows
    parts = [
        count(rows.get("yards", 0), "yard"),
        count(rows.get("ledger_entries", 0), "entry", "entries"),
        count(rows.get("plans", 0), "plan"),
        count(content.photos, "photo"),
        count(rows.get("accounts", 0), "account"),
    ]
    return ", ".join(parts)
