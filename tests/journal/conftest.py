"""A journal of its own for every test: in a file, and on a PostgreSQL server started for the run."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.journal.store import Journal
from tests.needs import find_postgres, missing


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Where an SQLite database will be."""
    return tmp_path / "yard.db"


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def place(request: pytest.FixtureRequest, file: Path) -> str:
    """A new, empty database of either kind, as file name or URL."""
    if request.param == "sqlite":
        return str(file)
    folder: Path = request.getfixturevalue("postgres_server")
    import psycopg

    name = f"yard_{uuid4().hex}"
    with psycopg.connect(f"host={folder} user=fruitwall dbname=postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
    return f"postgresql://fruitwall@/{name}?host={folder}"


@pytest.fixture
def journal(place: str) -> Iterator[Journal]:
    """A new, empty journal in either kind of database."""
    with open_journal(place) as opened:
        yield opened


@pytest.fixture
def later(now: datetime) -> datetime:
    """An hour after `now`."""
    return now + timedelta(hours=1)


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
