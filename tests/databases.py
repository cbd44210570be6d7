"""A database for every test, of either kind: an SQLite file, and PostgreSQL on a server started once for the run.

The tests of the journal begin with an empty database, so that tables are made (`place`). Those of what stands on it
begin with the tables there (`database`): SQLite's are copied from a file made once, PostgreSQL's are emptied, since
making them anew would cost more than most of these tests do.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.journal.tables import metadata
from tests.needs import find_postgres, missing

__all__ = [
    "EITHER",
    "database",
    "file",
    "filled_file",
    "place",
    "postgres_emptied",
    "postgres_server",
    "postgres_with_tables",
]

EITHER = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]
"""Kinds of database, as parameters."""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Where an SQLite database will be."""
    return tmp_path / "yard.db"


@pytest.fixture(params=EITHER)
def place(request: pytest.FixtureRequest, file: Path) -> str:
    """A new, empty database of either kind, as file name or URL."""
    if request.param == "sqlite":
        return str(file)
    folder: Path = request.getfixturevalue("postgres_server")
    return _new_database(folder, f"yard_{uuid4().hex}")


@pytest.fixture(params=EITHER)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A database of either kind with all tables and nothing in them, as file name or URL."""
    return with_tables(request, request.param, tmp_path)


def with_tables(request: pytest.FixtureRequest, kind: str, folder: Path) -> str:
    """Give a database of a kind with all tables and nothing in them, as file name or URL."""
    if kind == "sqlite":
        target = folder / "house.db"
        shutil.copy(request.getfixturevalue("filled_file"), target)
        return str(target)
    emptied: str = request.getfixturevalue("postgres_emptied")
    return emptied


@pytest.fixture(scope="session")
def filled_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An SQLite file with all tables and nothing in them, to be copied."""
    made = tmp_path_factory.mktemp("tables") / "tables.db"
    open_journal(made).close()
    return made


@pytest.fixture(scope="session")
def postgres_with_tables(postgres_server: Path) -> str:
    """A PostgreSQL database with all tables."""
    url = _new_database(postgres_server, "with_tables")
    open_journal(url).close()
    return url


@pytest.fixture
def postgres_emptied(postgres_with_tables: str) -> str:
    """A PostgreSQL database with all tables and nothing in them; every test gets the same, one after the other."""
    import psycopg

    with psycopg.connect(postgres_with_tables) as connection:
        # A test that left a transaction open is to be found out and not waited for.
        connection.execute("SET lock_timeout = '10s'")
        connection.execute(f"TRUNCATE {', '.join(metadata.tables)} RESTART IDENTITY CASCADE")
    return postgres_with_tables


def _new_database(server: Path, name: str) -> str:
    """Make a database; gives its URL."""
    import psycopg

    with psycopg.connect(f"host={server} user=fruitwall dbname=postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"postgresql://fruitwall@/{name}?host={server}"


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[Path]:
    """A PostgreSQL server on a socket in a folder, which is given; it listens to no port."""
    programs = find_postgres()
    try:
        import psycopg  # noqa: F401
    except ImportError:
        missing("no psycopg: it comes with `make test`")
    # Not pytest's folder: that is closed to the user as whom a server must run when the tests run as root.
    folder = Path(tempfile.mkdtemp(prefix="fruitwall-"))
    as_user: list[str] = []
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
        as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]

    def run(program: str, *arguments: str) -> None:
        command = [*as_user, str(programs / program), *arguments]
        subprocess.run(command, check=True, cwd="/", stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)

    data, settings = str(folder / "data"), f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off"
    try:
        run("initdb", "-D", data, "-U", "fruitwall", "--auth=trust", "--encoding=UTF8", "--no-sync")
        run("pg_ctl", "-D", data, "-l", str(folder / "log"), "-o", settings, "-w", "start")
        try:
            yield folder
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
