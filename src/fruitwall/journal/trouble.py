"""What went wrong with the database, in the user's words."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import exc

from fruitwall.errors import JournalError
from fruitwall.speech import marked, say

DAMAGED = marked(
    "{place} is damaged or is not a database ({detail}). Keep the file aside; restore a backup, or import the last "
    "exported yard file into a new database (fruitwall --database NEW yard import FILE)"
)

# SQLite's primary result codes, https://www.sqlite.org/rescode.html
_SQLITE = {
    sqlite3.SQLITE_BUSY: marked(
        "{place} is in use by another program and did not become free in time; nothing was stored. Close the other "
        "one or try again"
    ),
    sqlite3.SQLITE_LOCKED: marked("{place} is in use by another part of this program; nothing was stored. Try again"),
    sqlite3.SQLITE_READONLY: marked(
        "{place} cannot be written. Check the rights of the file and of its folder, or choose another file with "
        "--database"
    ),
    sqlite3.SQLITE_PERM: marked("{place} may not be read. Check the rights of the file and of its folder"),
    sqlite3.SQLITE_FULL: marked(
        "{place} cannot grow: no space is left on its disk. Nothing was stored; make room and try again"
    ),
    sqlite3.SQLITE_CANTOPEN: marked(
        "{place} cannot be opened. Check that it is a file and that its folder can be written"
    ),
    sqlite3.SQLITE_IOERR: marked("{place} cannot be read or written: its disk answers with an error ({detail})"),
    sqlite3.SQLITE_CORRUPT: DAMAGED,
    sqlite3.SQLITE_NOTADB: DAMAGED,
}


def explain(error: BaseException, place: str) -> JournalError | None:
    """Give the message for a database error that the user can do something about.

    Parameters
    ----------
    error : BaseException
        What the database library raised.
    place : str
        The database as the user knows it, without password.

    Returns
    -------
    JournalError or None
        None for anything that is a defect of the program.
    """
    cause = error.orig if isinstance(error, exc.DBAPIError) else error
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", None)
        text = _SQLITE.get(code & 0xFF) if code is not None else None  # the low byte is the primary code
        return JournalError(say(text, place=place, detail=cause)) if text else None
    if isinstance(error, exc.OperationalError):
        first_line = str(cause).strip().splitlines()[0]
        return JournalError(say("{place} cannot be reached: {reason}", place=place, reason=first_line))
    return None


@contextmanager
def told(place: str) -> Iterator[None]:
    """Turn database errors that the user can mend into a `JournalError`; let the rest through."""
    try:
        yield
    except (exc.DBAPIError, sqlite3.Error) as error:
        known = explain(error, place)
        if known is None:
            raise
        raise known from error
