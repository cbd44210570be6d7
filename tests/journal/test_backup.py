"""A backup gives everything back, from either database into either, also while others write."""

from __future__ import annotations

import dataclasses
import threading
import zipfile
from datetime import date, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import select

from fruitwall.errors import JournalError
from fruitwall.journal.accounts import Accounts
from fruitwall.journal.backup import look_into, restore_backup, write_backup
from fruitwall.journal.entries import LedgerEntry, Reading, StoredPhoto
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.store import Journal
from fruitwall.journal.tables import ONLY_KEPT, metadata


@pytest.fixture
def photos(tmp_path: Path) -> PhotoFolder:
    return PhotoFolder(tmp_path / "photos")


@pytest.fixture
def full(journal: Journal, photos: PhotoFolder, now: datetime) -> Journal:
    """A journal with something in every table."""
    for number in range(3):
        journal.store_yard(
            f"name: Ñandú\nnumber: {number}\n", name="Ñandú", now=now, author="Ana", restores=number or None
        )
    forecast = journal.store_forecast(b"\x00\xff{}", source="x", issued=now, fetched=now, media_type="a/b")
    journal.store_plan(date(2026, 12, 22), "{}", version=journal.current_yard(), made=now, forecast=forecast.id)
    ledger = Ledger(journal)
    # Ids such that the correction comes first in their order.
    first = LedgerEntry(f"ffffffff{str(uuid4())[8:]}", "", "sighting", "m", now, "Ana", "p", now, '{"grade": 2}')
    second = dataclasses.replace(first, id=f"00000000{str(uuid4())[8:]}", replaces=first.id, body='{"grade": 3}')
    ledger.add([first, second])
    digest = photos.store(b"\xff\xd8 picture")
    ledger.add_photo(StoredPhoto(digest, 4, 3, 10, now, now))
    ledger.add_readings([Reading("t", "air_temperature_c", now, -1.25)], received=now)
    ledger.set("underlay", {"opacity": 0.5}, author="Ana", now=now)
    ana = Accounts(journal).add("Ana", "owner", passphrase_hash="x", now=now)
    Accounts(journal).add_key(ana.id, "session", "a" * 64, label="p", now=now, expires=now + timedelta(days=1))
    return journal


def everything(journal: Journal) -> dict[str, list[tuple[object, ...]]]:
    with journal.reading() as connection:
        return {
            table.name: [tuple(row) for row in connection.execute(select(table).order_by(*table.primary_key.columns))]
            for table in metadata.sorted_tables
        }


def test_a_backup_gives_back_every_row_and_picture(full, photos, tmp_path, now):
    content = write_backup(full, photos, tmp_path / "b.zip", now=now)
    elsewhere = PhotoFolder(tmp_path / "elsewhere")

    with open_journal(tmp_path / "new.db") as new:
        assert restore_backup(tmp_path / "b.zip", new, elsewhere) == content
        assert everything(new) == everything(full)

    assert all(content.rows.values())
    assert set(content.rows) == set(metadata.tables) - ONLY_KEPT
    assert list(elsewhere.digests()) == list(photos.digests())


def test_what_was_saved_from_sqlite_goes_on_in_either_database(journal, photos, tmp_path, now):
    with open_journal(tmp_path / "old.db") as old:
        old.store_yard("a: 1\n", name="A", now=now, author="Ana")
        write_backup(old, photos, tmp_path / "b.zip", now=now)

    restore_backup(tmp_path / "b.zip", journal, photos)

    assert journal.store_yard("a: 2\n", name="A", now=now, author="Ben").number == 2
    assert journal.store_yard("b: 1\n", name="B", now=now, author="Ben").number == 1


def test_a_backup_taken_while_others_write_is_of_one_moment(full, photos, tmp_path, now):
    ledger, stop = Ledger(full), threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            pair = str(number)
            at = now + timedelta(seconds=number)
            entries = [
                LedgerEntry(str(uuid4()), "", "note", "m", at, "Ana", "p", now, f'{{"note": "{pair}"}}') for _ in "ab"
            ]
            ledger.add(entries)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        for number in range(5):
            write_backup(full, photos, tmp_path / f"{number}.zip", now=now)
    finally:
        stop.set()
        thread.join()

    for number in range(5):
        with open_journal(tmp_path / f"{number}.db") as new:
            restore_backup(tmp_path / f"{number}.zip", new, photos)
            notes = [entry.body for entry in Ledger(new).current(kind="note")]
        assert notes[::2] == notes[1::2]


def test_a_journal_that_holds_something_is_not_restored_into(full, photos, tmp_path, now):
    write_backup(full, photos, tmp_path / "b.zip", now=now)
    before = everything(full)

    with pytest.raises(JournalError, match="holds data already"):
        restore_backup(tmp_path / "b.zip", full, photos)

    assert everything(full) == before


def test_an_existing_file_is_not_overwritten(full, photos, tmp_path, now):
    (tmp_path / "b.zip").write_text("mine")

    with pytest.raises(JournalError, match="exists already"):
        write_backup(full, photos, tmp_path / "b.zip", now=now)

    assert (tmp_path / "b.zip").read_text() == "mine"
    assert [path.name for path in tmp_path.iterdir() if path.name.endswith(".part")] == []


def test_a_missing_picture_is_told(full, photos, tmp_path, now):
    (digest,) = photos.digests()
    photos.path(digest).unlink()

    assert write_backup(full, photos, tmp_path / "b.zip", now=now).missing_photos == (digest,)
    assert look_into(tmp_path / "b.zip").missing_photos == (digest,)


def test_a_backup_that_was_cut_short_or_changed_is_refused(full, photos, tmp_path, now):
    whole = tmp_path / "b.zip"
    write_backup(full, photos, whole, now=now)
    content = whole.read_bytes()
    (tmp_path / "short.zip").write_bytes(content[: len(content) // 2])
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(tmp_path / "changed.zip", "w") as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, text.replace(b"Ana", b"Eve") if name.startswith("tables/") else text)
    (tmp_path / "other.zip").write_bytes(b"PK no")

    for name, told in (("short", "no backup, or was cut short"), ("changed", "damaged at"), ("other", "no backup")):
        with open_journal(tmp_path / f"{name}.db") as empty:
            with pytest.raises(JournalError, match=told):
                restore_backup(tmp_path / f"{name}.zip", empty, photos)
            assert not any(everything(empty).values())
