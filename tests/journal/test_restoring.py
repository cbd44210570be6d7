"""A backup from an older program, over a database that is there, and while a real server writes."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import subprocess
import sys
import zipfile
from datetime import datetime
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import inspect

from fruitwall.errors import JournalError
from fruitwall.journal.backup import restore_backup, write_backup
from fruitwall.journal.engine import database_url, make_engine
from fruitwall.journal.entries import LedgerEntry
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.replacing import restore_over
from fruitwall.journal.tables import REVISION, metadata
from fruitwall.journal.whole import check_whole

ENTRY = "00000000-0000-4000-8000-{:012d}"
WRITER = """
import sys
from datetime import UTC, datetime
from fruitwall.journal.entries import LedgerEntry
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal

with open_journal(sys.argv[1], wait_s=30.0) as journal:
    ledger, now = Ledger(journal), datetime(2026, 12, 22, tzinfo=UTC)
    for pair in range(1, 10_000):
        ids = [f"00000000-0000-4000-8000-{2 * pair + half:012d}" for half in (0, 1)]
        ledger.add([LedgerEntry(one, "", "note", None, now, "Ana", "p", now, '{"note": "x"}') for one in ids])
        print(pair, flush=True)
"""


@pytest.fixture
def photos(tmp_path: Path) -> PhotoFolder:
    return PhotoFolder(tmp_path / "photos")


@pytest.fixture
def backup(tmp_path: Path, photos: PhotoFolder, now: datetime) -> Path:
    with open_journal(tmp_path / "origin.db") as journal:
        journal.store_yard("a: 1\n", name="A", now=now, author="Ana")
        write_backup(journal, photos, tmp_path / "b.zip", now=now)
    return tmp_path / "b.zip"


def rewritten(backup: Path, **changes: object) -> Path:
    """Write a backup anew with another manifest."""
    other = backup.with_name("changed.zip")
    with zipfile.ZipFile(backup) as old, zipfile.ZipFile(other, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name == "manifest.json":
                text = json.dumps(json.loads(text) | changes).encode()
            new.writestr(name, text)
    return other


def columns_at(revision: str, folder: Path) -> dict[str, set[str]]:
    """Give the columns that each of our tables had after a migration."""
    engine = make_engine(database_url(folder / "then.db"), wait_s=1)
    with engine.connect() as connection, connection.begin():
        config = Config()
        config.set_main_option("script_location", "fruitwall.journal:migrations")
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        found = inspect(connection)
        tables = [table for table in found.get_table_names() if table in metadata.tables]
        had = {table: {one["name"] for one in found.get_columns(table)} for table in tables}
    engine.dispose()
    return had


# ------------------------------------------------------------ older and newer


def test_what_an_older_program_saved_is_restored_and_goes_on(journal, photos, backup, tmp_path, now):
    """The first migration had neither ledger nor accounts, and versions without `restores`."""
    had = columns_at("0001", tmp_path)
    older = backup.with_name("older.zip")
    with zipfile.ZipFile(backup) as new, zipfile.ZipFile(older, "w") as old:
        manifest = json.loads(new.read("manifest.json"))
        kept = {name: name[7:-6] for name in manifest["sha256"] if name[7:-6] in had}
        sums = {}
        for name, table in kept.items():
            rows = [json.loads(line) for line in new.read(name).splitlines()]
            lines = [json.dumps({key: row[key] for key in row if key in had[table]}) + "\n" for row in rows]
            old.writestr(name, "".join(lines))
            sums[name] = hashlib.sha256("".join(lines).encode()).hexdigest()
        old.writestr("manifest.json", json.dumps(manifest | {"sha256": sums, "revision": "0001"}))

    restore_backup(older, journal, photos)

    assert "restores" not in had["yard_versions"]
    assert "ledger_entries" not in had
    assert journal.current_yard().text == "a: 1\n"
    assert journal.store_yard("a: 2\n", name="A", now=now, author="Ben", restores=1).number == 2
    assert Ledger(journal).current() == []


@pytest.mark.parametrize("revision", [f"{number:04d}" for number in range(1, int(REVISION))])
def test_columns_of_later_migrations_may_be_empty_or_have_a_value(revision, tmp_path):
    """Else a backup from before them could not be restored: rows come without what was not there then."""
    had = columns_at(revision, tmp_path)
    later = [one for table in had for one in metadata.tables[table].c if one.name not in had[table]]

    assert [str(one) for one in later if not one.nullable and one.server_default is None] == []


@pytest.mark.parametrize("revision", ["9999", "a1b2"])
def test_what_a_newer_program_saved_is_refused(journal, photos, backup, revision):
    with pytest.raises(JournalError, match="written by a newer fruitwall"):
        restore_backup(rewritten(backup, revision=revision), journal, photos)

    assert journal.yards() == []


# ------------------------------------------------------------ over what is there


def test_over_a_database_only_when_asked_to_and_the_old_one_is_set_aside(tmp_path, photos, backup, now):
    place = tmp_path / "house.db"
    with open_journal(place) as journal:
        journal.store_yard("mine: 1\n", name="Mine", now=now, author="Ana")
        with pytest.raises(JournalError, match="holds data already"):
            restore_backup(backup, journal, photos)

    _, aside = restore_over(backup, place, photos, now=now)
    _, again = restore_over(backup, place, photos, now=now)

    with open_journal(place) as journal, open_journal(aside) as before:
        assert [one.name for one in journal.yards()] == ["A"]
        assert [one.name for one in before.yards()] == ["Mine"]
    assert aside != again
    assert [path.name for path in tmp_path.iterdir() if ".part" in path.name] == []


def test_a_database_that_is_in_use_or_a_backup_that_is_broken_leaves_it_where_it_was(tmp_path, photos, backup, now):
    place = tmp_path / "house.db"
    (tmp_path / "broken.zip").write_bytes(backup.read_bytes()[:-40])
    with open_journal(place) as journal:
        journal.store_yard("mine: 1\n", name="Mine", now=now, author="Ana")
        with pytest.raises(JournalError, match="in use"):
            restore_over(backup, place, photos, now=now)
        assert [one.name for one in journal.yards()] == ["Mine"]
    with pytest.raises(JournalError, match="no backup"):
        restore_over(tmp_path / "broken.zip", place, photos, now=now)

    with open_journal(place) as journal:
        assert [one.name for one in journal.yards()] == ["Mine"]


def test_a_damaged_database_can_be_replaced(tmp_path, photos, backup, now):
    place = tmp_path / "house.db"
    place.write_bytes(b"no database at all" * 1000)

    _, aside = restore_over(backup, place, photos, now=now)

    assert aside.read_bytes().startswith(b"no database")
    with open_journal(place) as journal:
        assert [one.name for one in journal.yards()] == ["A"]


def test_a_database_on_a_server_is_not_replaced(photos, backup, now):
    with pytest.raises(JournalError, match="on a server"):
        restore_over(backup, "postgresql://me:secret@db/fruitwall", photos, now=now)


# ------------------------------------------------------------ while others write


def test_a_backup_taken_while_another_process_writes_has_all_that_was_acknowledged_and_nothing_by_half(
    place, photos, tmp_path, now
):
    with open_journal(place) as journal:
        journal.store_yard("a: 1\n", name="A", now=now, author="Ana")
    command = [sys.executable, "-c", WRITER, place]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=os.environ | {"TZ": "UTC"}) as writer:
        assert writer.stdout is not None
        acknowledged = []
        try:
            with open_journal(place) as journal:
                for number in range(3):
                    acknowledged.append(int(writer.stdout.readline()))
                    write_backup(journal, photos, tmp_path / f"{number}.zip", now=now)
        finally:
            writer.kill()

    for number, told in enumerate(acknowledged):
        with open_journal(tmp_path / f"{number}.db") as restored:
            restore_backup(tmp_path / f"{number}.zip", restored, photos)
            check_whole(restored)
            pairs = {int(entry.id[-12:]) for entry in Ledger(restored).current()}
        assert set(range(2, 2 * told + 2)) <= pairs
        assert {one ^ 1 for one in pairs} == pairs


# ------------------------------------------------------------ whole, and closed to others


def test_a_row_that_points_nowhere_is_found_and_not_saved(tmp_path, photos, now):
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard("a: 1\n", name="A", now=now, author="Ana")
        Ledger(journal).add([LedgerEntry(ENTRY.format(1), "", "note", None, now, "Ana", "p", now, "{}")])
        check_whole(journal)
        with journal.engine.connect() as connection:
            # As a tool would that does not ask for foreign keys.
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA foreign_keys = off")
            connection.exec_driver_sql("INSERT INTO settings VALUES (1, 77, 'k', '1', 'a', '2026-01-01')")
            connection.exec_driver_sql("PRAGMA foreign_keys = on")

        with pytest.raises(JournalError, match="row 1 of settings points to yards"):
            check_whole(journal)
        with pytest.raises(JournalError, match="point to rows which are not there"):
            write_backup(journal, photos, tmp_path / "b.zip", now=now)

    assert not (tmp_path / "b.zip").exists()


@pytest.mark.skipif(os.name != "posix", reason="rights of files are told otherwise here")
def test_only_its_owner_reads_database_backup_and_photos(tmp_path, photos, backup):
    photos.store(b"picture")

    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard("a: 1\n", name="A", now=datetime.fromisoformat("2026-12-22T00:00:00Z"), author="Ana")
        files = [backup, *tmp_path.glob("house.db*"), photos.folder]
        assert len(files) >= 3
        assert {stat.S_IMODE(path.stat().st_mode) & 0o077 for path in files} == {0}
