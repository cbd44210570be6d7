"""The connection to the database: SQLite made safe for several writers, PostgreSQL by URL."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, exc, make_url
from sqlalchemy.pool import StaticPool

from fruitwall.errors import JournalError
from fruitwall.speech import marked, say

FORMS = marked("Give a file, or a URL such as postgresql://user@host/fruitwall")


def database_url(place: str | Path) -> URL:
    """Read a file name or URL.

    Parameters
    ----------
    place : str or Path
        Text with ``://`` is a URL (``sqlite`` or ``postgresql``), anything else a file.

    Returns
    -------
    URL
        Of SQLAlchemy, driver named.

    Raises
    ------
    JournalError
        If it is neither.
    """
    if "://" not in str(place):
        return URL.create("sqlite", database=str(Path(place).expanduser().absolute()))
    try:
        url = make_url(str(place))
    except (exc.ArgumentError, ValueError) as error:
        raise JournalError(say('"{place}" is not a database URL. {forms}', place=place, forms=say(FORMS))) from error
    backend = url.get_backend_name()
    if backend == "postgresql":
        # Said outright, since SQLAlchemy 2.0 and 2.1 differ in the driver they take by default.
        return url.set(drivername="postgresql+psycopg")
    if backend != "sqlite":
        raise JournalError(say("{backend} databases are not supported. {forms}", backend=backend, forms=say(FORMS)))
    return url


def make_engine(url: URL, *, wait_s: float) -> Engine:
    """Make the engine; nothing is opened yet.

    Parameters
    ----------
    url : URL
        From `database_url`.
    wait_s : float
        How long a write waits for another program's. [s]

    Returns
    -------
    Engine
        Transactions with the execution option ``writes`` take SQLite's write lock at their start.

    Raises
    ------
    JournalError
        If the driver of a PostgreSQL URL is not installed.
    """
    if url.get_backend_name() != "sqlite":
        try:
            return create_engine(url, pool_pre_ping=True)
        except ModuleNotFoundError as error:
            raise JournalError(
                say('PostgreSQL needs the package "{error}": pip install "fruitwall[postgres]"', error=error.name)
            ) from error
    in_memory = url.database in (None, "", ":memory:")
    engine = create_engine(url, poolclass=StaticPool) if in_memory else create_engine(url)

    @event.listens_for(engine, "connect")
    def _on_connect(connection: sqlite3.Connection, _record: Any) -> None:
        # Python's own handling of transactions is switched off: it would commit before a change of tables.
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout = {int(wait_s * 1000)}")
        connection.execute("PRAGMA foreign_keys = on")
        # With a write-ahead log the default loses nothing when the program dies; this also holds when the power fails.
        connection.execute("PRAGMA synchronous = full")

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        # A transaction that reads first and writes later can find the lock taken in between and must then start anew.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def use_write_ahead_log(engine: Engine, *, wait_s: float) -> None:
    """Let readers go on while one writes; kept in the file once set.

    Parameters
    ----------
    engine : Engine
        Of an SQLite file.
    wait_s : float
        How long to try: SQLite does not wait by itself for this change. [s]
    """
    give_up = time.monotonic() + wait_s
    raw = engine.raw_connection()
    try:
        connection: Any = raw.driver_connection
        while connection.execute("PRAGMA journal_mode").fetchone()[0] not in ("wal", "memory"):
            try:
                # Answers with the mode it got; a network folder may not allow "wal", and works without.
                connection.execute("PRAGMA journal_mode = wal")
                return
            except sqlite3.OperationalError as error:
                busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
                if not busy or time.monotonic() > give_up:
                    raise
                time.sleep(0.02)
    finally:
        raw.close()
