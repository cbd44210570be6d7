"""Opening the journal: where it is, whether it is whole, its tables brought up to date."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from sqlalchemy import URL

from fruitwall.errors import JournalError
from fruitwall.journal.engine import database_url, make_engine, use_write_ahead_log
from fruitwall.journal.location import default_database
from fruitwall.journal.migrate import check_and_migrate
from fruitwall.journal.store import Journal
from fruitwall.journal.trouble import told
from fruitwall.speech import say


def open_journal(place: str | Path, *, wait_s: float = 5.0) -> Journal:
    """Open the database, make or renew its tables, look whether it is whole.

    Parameters
    ----------
    place : str or Path
        An SQLite file, or a URL (``sqlite`` or ``postgresql``). A new file is made; of folders only the user's own
        data folder, where `journal.location.default_database` lies.
    wait_s : float
        How long a write waits for another program's, 0 to 3600. [s]

    Returns
    -------
    Journal
        To be used in a ``with`` statement or closed.

    Raises
    ------
    JournalError
        If it cannot be opened, is damaged, belongs to another program or was written by a newer fruitwall.
    ValueError
        If `wait_s` is outside its range.
    """
    if not 0 <= wait_s <= 3600:
        raise ValueError(f"wait_s must be 0 to 3600 s, got {wait_s}")
    url = database_url(place)
    name = _name_of(url)
    engine = make_engine(url, wait_s=wait_s)
    try:
        with told(name):
            _check_folder(url)
            check_and_migrate(engine, name)
            if url.get_backend_name() == "sqlite":
                use_write_ahead_log(engine, wait_s=wait_s)
    except BaseException:
        engine.dispose()
        raise
    return Journal(engine, name)


def _name_of(url: URL) -> str:
    """Name the database as the user knows it, without password."""
    if url.get_backend_name() == "sqlite":
        return url.database or "the database in memory"
    return url.render_as_string(hide_password=True)


def _check_folder(url: URL) -> None:
    """Say what is wrong with the place of a file before SQLite says only that it cannot open it."""
    if url.get_backend_name() != "sqlite" or not url.database or url.database.startswith((":memory:", "file:")):
        return
    path = Path(url.database)
    if path.is_dir():
        raise JournalError(
            say("{path} is a folder; name a file in it, such as {example}", path=path, example=path / "fruitwall.db")
        )
    if path.parent == default_database().parent:
        _make_folder(path.parent)
    if not path.parent.is_dir():
        raise JournalError(
            say(
                "{path}: there is no folder {folder}. Make it, or choose another place with --database",
                path=path,
                folder=path.parent,
            )
        )
    # It holds where somebody lives and digests of passphrases; SQLite would let everybody on the machine read it, and
    # gives the files beside it the rights of the database.
    with suppress(OSError):  # there already, or not to be made: SQLite says so in its own way
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def _make_folder(folder: Path) -> None:
    """Make the user's data folder on first use."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise JournalError(
            say(
                "{folder} cannot be made: {reason}. Choose another place with --database",
                folder=folder,
                reason=error.strerror,
            )
        ) from error
