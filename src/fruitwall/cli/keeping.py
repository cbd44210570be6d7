"""``fruitwall backup`` and ``fruitwall restore``: everything in one file, and back; ``fruitwall check``."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fruitwall.cli.app import DatabaseOption, app
from fruitwall.cli.given import open_journal, present
from fruitwall.speech import say, say_count

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

    Keep it where you would keep the database: it holds where your yard is, and digests of passphrases. The keys of this
    server (the folder DATABASE.access) stay out: after a restore on another machine phones trust a new certificate and
    are paired anew.
    """
    from fruitwall.journal.backup import KEYS_LEFT_OUT, look_into, write_backup
    from fruitwall.service.backups import note_backup

    with open_journal(database) as journal:
        now = present()
        write_backup(journal, _photos(journal), file, now=now)
        # What was written is read again: a backup that cannot be read is none.
        content = look_into(file)
        note_backup(journal, author="terminal", now=now)
    typer.echo(say("Wrote {content} to {file}.", content=_told(content), file=file))
    typer.echo(say(KEYS_LEFT_OUT))
    if content.missing_photos:
        missing = ", ".join(content.missing_photos)
        typer.echo(say("Missing from the folder of pictures: {names}", names=missing), err=True)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    database: DatabaseOption = None,
    look: Annotated[bool, typer.Option("--look", help="Only check the file and say what it holds.")] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="In the place of what is there, which is set aside under another name.")
    ] = False,
) -> None:
    """Put a backup into a new, empty database: all of it or nothing."""
    from fruitwall.journal.backup import look_into, restore_backup

    if look:
        content = look_into(file)
        written = f"{content.created:%Y-%m-%d %H:%M}"
        typer.echo(
            say("{file} is whole: {content}, written {time} UTC.", file=file, content=_told(content), time=written)
        )
        return
    if replace:
        from fruitwall.journal.location import choose_database
        from fruitwall.journal.replacing import restore_over

        place = choose_database(database, os.environ)
        content, aside = restore_over(file, place, _photos_of(str(place)), now=present())
        typer.echo(
            say(
                "Restored {content} into {place}. What was there before is {aside}.",
                content=_told(content),
                place=place,
                aside=aside,
            )
        )
    else:
        with open_journal(database) as journal:
            content = restore_backup(file, journal, _photos(journal))
            typer.echo(say("Restored {content} into {place}.", content=_told(content), place=journal.place))
    if content.rows.get("accounts"):
        typer.echo(
            say(
                "Passphrases and keys of scripts go on. Where DATABASE.access did not come along, browsers log in "
                "anew, and phones trust the new certificate and are paired anew."
            )
        )


@app.command()
def check(database: DatabaseOption = None) -> None:
    """Look through the whole database, and whether every photo is there as it was stored."""
    from fruitwall.errors import JournalError
    from fruitwall.journal.ledger import Ledger
    from fruitwall.journal.whole import check_whole

    with open_journal(database) as journal:
        check_whole(journal)
        photos = _photos(journal)
        named = sorted({digest for yard in journal.yards() for digest in Ledger(journal, yard.name).photo_names()})
        lost = []
        for digest in named:
            try:
                found = photos.read(digest) is not None
            except JournalError:
                found = False
            if not found:
                lost.append(digest)
        typer.echo(
            say_count(
                "{place} is whole: {count} photo, {lost} missing or changed.",
                "{place} is whole: {count} photos, {lost} missing or changed.",
                len(named),
                place=journal.place,
                lost=len(lost),
            )
        )
    if lost:
        names = ", ".join(lost)
        typer.echo(say("Missing or changed in {folder}: {names}", folder=photos.folder, names=names), err=True)
        raise typer.Exit(2)


def _photos(journal: Journal) -> PhotoFolder:
    """Give the folder of pictures of a journal."""
    return _photos_of(journal.place)


def _photos_of(place: str) -> PhotoFolder:
    from fruitwall.journal.photos import VARIABLE, PhotoFolder, photo_folder

    return PhotoFolder(photo_folder(place, os.environ.get(VARIABLE)))


def _told(content: BackupContent) -> str:
    """Say what a backup holds."""
    rows = content.rows
    parts = [
        say_count("{count} yard", "{count} yards", rows.get("yards", 0)),
        say_count("{count} entry", "{count} entries", rows.get("ledger_entries", 0)),
        say_count("{count} plan", "{count} plans", rows.get("plans", 0)),
        say_count("{count} photo", "{count} photos", content.photos),
        say_count("{count} account", "{count} accounts", rows.get("accounts", 0)),
    ]
    return ", ".join(parts)
