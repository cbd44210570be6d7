"""Put a restored database in the place of another, which is set aside and not lost."""

from __future__ import annotations

import secrets
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from fruitwall.errors import JournalError
from fruitwall.journal.backup import BackupContent, restore_backup
from fruitwall.journal.engine import database_url
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.speech import say

BESIDE = ("-wal", "-shm")
"""Files that SQLite keeps beside a database while it is open."""


def restore_over(backup: Path, place: str | Path, photos: PhotoFolder, *, now: datetime) -> tuple[BackupContent, Path]:
    """Restore a backup in the place of a database that holds something; the old one is set aside under another name.

    Parameters
    ----------
    backup : Path
    place : str or Path
        An SQLite file.
    photos : PhotoFolder
        Of that database; its pictures stay, and those of the backup come to them.
    now : datetime, aware
        Names the file that is set aside.

    Returns
    -------
    content : BackupContent
    aside : Path
        The old database.

    Raises
    ------
    JournalError
        If the file is no whole backup, or the database is in use or on a server. The old one is then where it was.
    """
    url = database_url(place)
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        raise JournalError(
            say(
                "{place} is on a server and is not replaced; nothing was changed. Make a new, "
                "empty database there and restore into that",
                place=url.render_as_string(hide_password=True),
            )
        )
    old = Path(url.database)
    new = old.with_name(f".{old.name}.{secrets.token_hex(4)}.part")
    try:
        with open_journal(new) as journal:
            content = restore_backup(backup, journal, photos)
        _close_up(new)
        _close_up(old)
        aside = _free_name(old, now)
        old.rename(aside)
        new.rename(old)
    finally:
        for ending in ("", *BESIDE):
            new.with_name(new.name + ending).unlink(missing_ok=True)
    return content, aside


def _close_up(file: Path) -> None:
    """Bring a database into its one file, which SQLite allows only where nobody else has it open."""
    try:
        with closing(sqlite3.connect(file, timeout=1.0)) as connection:
            mode = connection.execute("PRAGMA journal_mode = delete").fetchone()[0]
    except sqlite3.OperationalError as error:
        raise JournalError(
            say("{file} is in use ({error}); nothing was changed. Stop fruitwall and try again", file=file, error=error)
        ) from error
    except sqlite3.DatabaseError:
        return  # damaged: it is to be replaced, and is set aside as it is
    if mode != "delete":
        raise JournalError(say("{file} is in use; nothing was changed. Stop fruitwall and try again", file=file))


def _free_name(old: Path, now: datetime) -> Path:
    """Name what is set aside, so that nothing is overwritten."""
    stamp = f"{now:%Y%m%d-%H%M%S}"
    names = (old.with_name(f"{old.name}.before-{stamp}{more}") for more in ("", *(f"-{n}" for n in range(2, 100))))
    return next(name for name in names if not name.exists())
