"""Where the database is, unless the user says otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import platformdirs

VARIABLE = "FRUITWALL_DATABASE"
"""Environment variable that names a file or a URL."""


def default_database() -> Path:
    """Give the SQLite file in the user's own data folder.

    Returns
    -------
    Path
        Such as ``~/.local/share/fruitwall/fruitwall.db`` on Linux.
    """
    return platformdirs.user_data_path("fruitwall", appauthor=False) / "fruitwall.db"


def choose_database(given: str | None, environ: Mapping[str, str]) -> str | Path:
    """Give the database to use: the one given, else the environment's, else the user's own.

    Parameters
    ----------
    given : str or None
        File or URL from the command line.
    environ : mapping
        The environment, in which `VARIABLE` may name a file or URL.

    Returns
    -------
    str or Path
        For `journal.opening.open_journal`.
    """
    return given or environ.get(VARIABLE) or default_database()
