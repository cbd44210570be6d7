"""Every way in which a database can be wrong gets one clear message, and the database stays as it was."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, event, inspect

from fruitwall.errors import JournalError
from fruitwall.journal.location import VARIABLE, choose_database, default_database
from fruitwall.journal.opening import open_journal
from fruitwall.journal.tables import REVISION, VERSION_TABLE, metadata


def message_of(place: str | Path, **options: float) -> str:
    """Give the text with which a database is refused."""
    with pytest.raises(JournalError) as refused:
        open_journal(place, **options)
    return str(refused.value)


# ---------------------------------------------------------------- where it is


def test_the_given_place_goes_before_the_environment_and_that_before_the_default():
    environ = {VARIABLE: "from-environment.db"}

    assert choose_database("given.db", environ) == "given.db"
    assert choose_database(None, environ) == "from-environment.db"
    assert choose_database(None, {}) == default_database()


@pytest.mark.parametrize("name", ["fruitwall.db", "demo.db"])
def test_the_users_own_data_folder_is_made_on_first_use(tmp_path, monkeypatch, name):
    own = tmp_path / "share" / "fruitwall"
    monkeypatch.setattr("platformdirs.user_data_path", lambda *args, **options: own)

    with open_journal(default_database().with_name(name)):
        assert (own / name).is_file()


def test_a_data_folder_that_cannot_be_made_is_named(tmp_path, monkeypatch):
    (tmp_path / "share").write_text("a file where a folder should be")
    monkeypatch.setattr("platformdirs.user_data_path", lambda *args, **options: tmp_path / "share" / "fruitwall")

    assert "share/fruitwall cannot be made: Not a directory. Choose another place" in message_of(default_database())


@pytest.mark.parametrize("make", [str, Path, lambda path: f"sqlite:///{path}"])
def test_a_file_may_be_given_as_text_path_or_url(file, make):
    with open_journal(make(file)):
        assert file.is_file()


def test_a_name_with_signs_of_a_url_in_it_is_a_file(tmp_path):
    file = tmp_path / "50% of ? my # yard.db"

    with open_journal(file):
        assert file.is_file()


@pytest.mark.parametrize(
    ("place", "message"),
    [
        ("mysql://host/yards", "mysql databases are not supported. Give a file, or a URL such as postgresql://"),
        ("my yard://", '"my yard://" is not a database URL. Give a file'),
    ],
)
def test_an_impossible_url_is_answered_with_a_possible_one(place, message):
    assert message in message_of(place)


def test_postgresql_without_its_driver_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)  # None: importing it fails as if it were not installed

    assert 'pip install "fruitwall[postgres]"' in message_of("postgresql://127.0.0.1:1/yards")


# ---------------------------------------------------------------- what is wrong with it


def test_a_missing_folder_is_named(tmp_path):
    assert f"there is no folder {tmp_path / 'nowhere'}" in message_of(tmp_path / "nowhere" / "yard.db")


def test_a_folder_is_not_taken_for_a_file(tmp_path):
    assert f"{tmp_path} is a folder" in message_of(tmp_path)


def test_a_file_of_another_kind_is_refused_and_left_as_it_is(file):
    content = b"name: my yard\ntrees: []\n" * 100
    file.write_bytes(content)

    assert "is damaged or is not a database" in message_of(file)
    assert file.read_bytes() == content


def test_a_damaged_file_is_recognised_and_left_as_it_is(file, now):
    with open_journal(file) as journal:
        for number in range(40):
            journal.store_yard(f"{number} " * 2000, name="hill", now=now, author="Ana")
    damaged = bytearray(file.read_bytes())
    damaged[8192:40960] = b"\xa5" * (40960 - 8192)
    file.write_bytes(damaged)

    message = message_of(file)

    assert re.search("yard.db is damaged or is not a database.*restore a backup, or import the last", message)
    assert file.read_bytes() == damaged


def test_a_file_cut_short_is_recognised(file, now):
    with open_journal(file) as journal:
        for number in range(40):
            journal.store_yard(f"{number} " * 2000, name="hill", now=now, author="Ana")
    file.write_bytes(file.read_bytes()[:30000])

    assert "is damaged" in message_of(file)


def test_a_file_of_another_program_is_refused_and_left_as_it_is(file):
    with sqlite3.connect(file) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    content = file.read_bytes()

    assert "holds tables of another program (recipes). Nothing was changed" in message_of(file)
    assert file.read_bytes() == content


def test_a_newer_database_asks_for_an_upgrade_and_is_left_as_it_is(file):
    open_journal(file).close()
    with sqlite3.connect(file) as connection:
        connection.execute(f"UPDATE {VERSION_TABLE} SET version_num = '9999'")
    connection.close()
    content = file.read_bytes()

    message = message_of(file)

    assert "was written by a newer fruitwall" in message
    assert "pip install --upgrade fruitwall" in message
    assert file.read_bytes() == content


def test_a_locked_database_says_so_and_stores_nothing(file, now):
    with open_journal(file, wait_s=0.05) as journal:
        journal.store_yard("one", name="hill", now=now, author="Ana")
        other = sqlite3.connect(file, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")

        with pytest.raises(JournalError, match=r"yard\.db is in use by another program.*nothing was stored"):
            journal.store_yard("two", name="hill", now=now, author="Ana")
        assert journal.current_yard().text == "one"  # reading goes on while another writes

        other.close()
        assert journal.store_yard("two", name="hill", now=now, author="Ana").number == 2


def test_a_database_that_cannot_be_written_says_so(file, now):
    open_journal(file).close()
    with sqlite3.connect(file) as connection:
        connection.execute("PRAGMA journal_mode = delete")
    connection.close()

    assert "cannot be written. Check the rights" in message_of(f"sqlite:///file:{file}?mode=ro&uri=true")


def test_a_full_disk_says_so_and_loses_nothing(file, now):
    with open_journal(file) as journal:
        journal.store_yard("one", name="hill", now=now, author="Ana")
        pages = journal.engine.connect().exec_driver_sql("PRAGMA page_count").scalar()
        journal.engine.dispose()

        @event.listens_for(journal.engine, "connect")
        def no_more_pages(connection, record):
            connection.execute(f"PRAGMA max_page_count = {pages}")

        with pytest.raises(JournalError, match=r"no space is left on its disk\. Nothing was stored"):
            journal.store_yard("two " * 10_000, name="hill", now=now, author="Ana")
        assert [version.text for version in journal.history()] == ["one"]


def test_an_impossible_wait_is_refused(file):
    with pytest.raises(ValueError, match="wait_s must be 0 to 3600 s, got -1"):
        open_journal(file, wait_s=-1)


# ---------------------------------------------------------------- its tables


def test_the_migrations_make_the_tables_that_the_program_knows(file):
    open_journal(file).close()
    engine = create_engine(f"sqlite:///{file}")

    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"version_table": VERSION_TABLE, "compare_server_default": True}
        )
        assert compare_metadata(context, metadata) == []
        assert set(inspect(connection).get_table_names()) == {*metadata.tables, VERSION_TABLE}
    engine.dispose()


def test_the_program_names_the_newest_migration():
    config = Config()
    config.set_main_option("script_location", "fruitwall.journal:migrations")

    assert ScriptDirectory.from_config(config).get_current_head() == REVISION


def test_a_migration_that_fails_halfway_leaves_no_table(file, monkeypatch):
    def fail(*args, **options):
        raise RuntimeError("in the middle")

    monkeypatch.setattr("alembic.op.create_index", fail)
    with pytest.raises(RuntimeError, match="in the middle"):
        open_journal(file)
    monkeypatch.undo()

    with sqlite3.connect(file) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == []
    connection.close()
    open_journal(file).close()


def test_the_tables_hold_in_memory_too(now):
    with open_journal("sqlite://") as journal:
        journal.store_yard("one", name="hill", now=now, author="Ana")

        assert journal.current_yard().text == "one"


def test_an_up_to_date_database_opens_without_loading_alembic(file):
    open_journal(file).close()
    program = (
        "import sys; from fruitwall.journal.opening import open_journal; "
        f"open_journal({str(file)!r}).close(); print('alembic' in sys.modules)"
    )

    answer = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)

    assert answer.stdout.strip() == "False"
