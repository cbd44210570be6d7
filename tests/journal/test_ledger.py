"""The ledger loses nothing, stores nothing twice, and keeps both of two corrections."""

from __future__ import annotations

import dataclasses
import random
import threading
from datetime import datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import delete, exc, update

from fruitwall.errors import JournalError
from fruitwall.journal.accounts import Accounts
from fruitwall.journal.entries import LedgerEntry, Reading, StoredPhoto
from fruitwall.journal.ledger import EntryConflict, Ledger
from fruitwall.journal.photos import PhotoFolder, photo_folder
from fruitwall.journal.store import Journal
from fruitwall.journal.tables import ledger_entries


@pytest.fixture
def ledger(journal: Journal, now: datetime) -> Ledger:
    journal.store_yard("trees: []\n", name="Slope", now=now, author="test")
    return Ledger(journal)


def sighting(now: datetime, **changes) -> LedgerEntry:
    entry = LedgerEntry(str(uuid4()), "", "sighting", "mango", now, "Ana", "phone", now, '{"grade": 2}')
    return dataclasses.replace(entry, **changes)


def test_an_entry_sent_again_is_stored_once(ledger, now, later):
    entry = sighting(now)

    assert ledger.add([entry]) == [True]
    assert ledger.add([dataclasses.replace(entry, received=later)]) == [False]

    (stored,) = ledger.current()
    assert stored == dataclasses.replace(entry, yard="Slope")


def test_the_same_id_with_other_content_is_refused_and_changes_nothing(ledger, now):
    entry = sighting(now)
    ledger.add([entry])

    with pytest.raises(EntryConflict, match="says something else"):
        ledger.add([sighting(now), dataclasses.replace(entry, body='{"grade": 7}')])

    assert [one.body for one in ledger.current()] == ['{"grade": 2}']


def test_two_corrections_of_one_entry_both_stand(ledger, now, later):
    first = sighting(now)
    one = sighting(now, replaces=first.id, body='{"grade": 3}', author="Ana", received=later)
    two = sighting(now, replaces=first.id, body='{"grade": 4}', author="Ben", received=later)
    ledger.add([first, one, two])

    assert {entry.body for entry in ledger.current()} == {'{"grade": 3}', '{"grade": 4}'}
    assert {entry.id for entry in ledger.history(two.id)} == {first.id, one.id, two.id}


def test_what_is_taken_back_no_longer_stands_but_stays_in_the_history(ledger, now, later):
    first = sighting(now)
    back = sighting(now, replaces=first.id, withdrawn=True, body="{}", received=later)
    ledger.add([first, back])

    assert ledger.current() == []
    assert [entry.id for entry in ledger.history(first.id)] == [first.id, back.id]


def test_entries_in_any_order_give_the_same_ledger(ledger, now):
    entries = [sighting(now + timedelta(minutes=minute)) for minute in range(20)]
    mixed = entries.copy()
    random.Random(4).shuffle(mixed)

    for entry in mixed:
        ledger.add([entry])

    assert [one.id for one in ledger.current()] == [one.id for one in entries]


def test_entries_are_found_by_tree_kind_and_time(ledger, now):
    ledger.add(
        [
            sighting(now),
            sighting(now, tree="lime"),
            sighting(now, kind="deed", body="{}"),
            sighting(now + timedelta(days=2)),
        ]
    )

    assert len(ledger.current(tree="mango")) == 3
    assert len(ledger.current(tree="mango", kind="sighting", until=now + timedelta(days=1))) == 1
    assert len(ledger.current(since=now + timedelta(seconds=1))) == 1


def test_an_entry_that_corrects_nothing_known_is_refused(ledger, now):
    with pytest.raises(JournalError, match="which is not stored"):
        ledger.add([sighting(now, replaces=str(uuid4()))])


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"id": "1"}, "UUID"),
        ({"kind": "gossip"}, "one of sighting, deed"),
        ({"at": datetime(2026, 1, 1)}, "carry its time zone"),
        ({"author": ""}, "author must be 1 to 200"),
        ({"body": "{"}, "body must be JSON"),
        ({"withdrawn": True}, "must say which"),
        ({"tree": "x" * 101}, "tree must be 1 to 100"),
        ({"device": "a\0b"}, "NUL"),
    ],
)
def test_what_is_no_entry_is_refused(ledger, now, changes, told):
    with pytest.raises(ValueError, match=told):
        ledger.add([sighting(now, **changes)])


def test_the_database_itself_refuses_to_change_an_entry(ledger, now):
    ledger.add([sighting(now)])

    for change in (update(ledger_entries).values(body="{}"), delete(ledger_entries)):
        with pytest.raises(exc.DatabaseError), ledger.journal.engine.begin() as connection:
            connection.execute(change)

    assert len(ledger.current()) == 1


def test_ten_threads_that_send_the_same_entries_store_each_once(ledger, now):
    entries = [sighting(now + timedelta(seconds=second)) for second in range(10)]
    new: list[bool] = []

    def send() -> None:
        for entry in entries:
            new.extend(ledger.add([entry]))

    threads = [threading.Thread(target=send) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert (new.count(True), new.count(False)) == (10, 90)
    assert len(ledger.current()) == 10


def test_a_reading_sent_again_is_passed_over(ledger, now, later):
    reading = Reading("by the mango", "air_temperature_c", now, -1.5)

    assert ledger.add_readings([reading, reading], received=later) == 1
    assert ledger.add_readings([reading], received=later) == 0
    assert ledger.readings(since=now, until=later) == [reading]


def test_a_setting_counts_as_it_was_set_last(ledger, now, later):
    assert ledger.setting("language") is None
    ledger.set("language", "en", author="Ana", now=now)
    ledger.set("language", {"es": ["ñ"]}, author="Ana", now=later)

    assert ledger.setting("language") == {"es": ["ñ"]}


def test_a_picture_is_stored_once_and_found_whole(ledger, now, tmp_path):
    folder = PhotoFolder(tmp_path / "photos")

    digest = folder.store(b"picture")
    assert folder.store(b"picture") == digest
    for _ in range(2):
        ledger.add_photo(StoredPhoto(digest, 4, 3, 7, None, now))

    assert folder.read(digest) == b"picture"
    assert list(folder.digests()) == [digest]
    assert ledger.photo(digest) == StoredPhoto(digest, 4, 3, 7, None, now)
    assert ledger.photo("0" * 64) is None
    assert [path.name for path in folder.folder.rglob("*") if path.is_file()] == [f"{digest}.jpg"]


def test_a_damaged_picture_is_told(tmp_path):
    folder = PhotoFolder(tmp_path)
    digest = folder.store(b"picture")
    folder.path(digest).write_bytes(b"other")

    with pytest.raises(JournalError, match="no longer what was stored"):
        folder.read(digest)


def test_a_name_that_is_no_digest_never_becomes_a_path(tmp_path):
    with pytest.raises(ValueError, match="64 hexadecimal digits"):
        PhotoFolder(tmp_path).path("../../etc/passwd")


def test_pictures_lie_beside_the_database_unless_said_otherwise(tmp_path):
    assert photo_folder(str(tmp_path / "a.db"), None) == tmp_path / "a.db.photos"
    assert photo_folder("postgresql://x/y", str(tmp_path)) == tmp_path
    assert photo_folder("postgresql://x/y", None).name == "photos"
    assert isinstance(photo_folder("x.db", None), Path)


# ------------------------------------------------------------ accounts


@pytest.fixture
def accounts(journal: Journal) -> Accounts:
    return Accounts(journal)


def test_a_name_is_taken_once(accounts, now):
    accounts.add("Ana", "owner", passphrase_hash="x", now=now)

    with pytest.raises(JournalError, match='named "Ana" already'):
        accounts.add("Ana", "helper", passphrase_hash=None, now=now)


def test_the_last_owner_stays(accounts, now):
    ana = accounts.add("Ana", "owner", passphrase_hash="x", now=now)

    with pytest.raises(JournalError, match="one owner must stay"):
        accounts.change(ana.id, role="viewer")
    with pytest.raises(JournalError, match="one owner must stay"):
        accounts.change(ana.id, closed=now)

    assert accounts.named("Ana") == ana


def test_a_key_is_good_until_it_expires_is_ended_or_its_account_closes(accounts, now, later):
    accounts.add("Ana", "owner", passphrase_hash="x", now=now)
    ben = accounts.add("Ben", "helper", passphrase_hash=None, now=now)
    for digest, expires in (("a" * 64, later), ("b" * 64, None), ("c" * 64, None)):
        accounts.add_key(ben.id, "session", digest, label="phone", now=now, expires=expires)

    assert accounts.key("session", "a" * 64, now=now).account == ben
    assert accounts.key("token_viewer", "a" * 64, now=now) is None
    assert accounts.key("session", "a" * 64, now=later) is None

    first = accounts.key("session", "b" * 64, now=now)
    assert accounts.spend_key(first.id, now=now)
    assert not accounts.spend_key(first.id, now=now)
    assert accounts.key("session", "b" * 64, now=now) is None

    accounts.change(ben.id, closed=later)
    assert accounts.key("session", "c" * 64, now=now) is None
    assert len(accounts.keys_of(ben.id)) == 3
