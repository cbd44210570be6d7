"""Parts of long work in the journal: kept by key, the one used longest ago goes first, and in no backup."""

from __future__ import annotations

import threading
import zipfile
from datetime import timedelta
from random import Random

from sqlalchemy import update

from fruitwall.journal.backup import look_into, restore_backup, write_backup
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.tables import worked
from fruitwall.journal.worked import keep_work, kept_bytes, kept_work, touch_work, which_work

THOUSAND = Random(1).randbytes(1000)  # does not get smaller by packing


def test_what_is_kept_is_found_again_and_replaced(journal, now, later):
    keep_work(journal, "a", b"one", now=now)
    keep_work(journal, "b", b"", now=now)
    keep_work(journal, "a", b"two", now=later)

    assert kept_work(journal, "a") == b"two"
    assert kept_work(journal, "b") == b""
    assert kept_work(journal, "c") is None
    assert which_work(journal, ["a", "c", "a"]) == {"a"}


def test_what_was_used_longest_ago_goes_first(journal, now):
    for number, key in enumerate("abcd"):
        assert keep_work(journal, key, THOUSAND, now=now + timedelta(hours=number), most_bytes=4500)
    touch_work(journal, ["a"], now=now + timedelta(hours=5))

    keep_work(journal, "e", THOUSAND, now=now + timedelta(hours=6), most_bytes=4500)

    assert which_work(journal, "abcde") == set("acde")
    assert 4000 < kept_bytes(journal) <= 4500


def test_what_is_larger_than_all_that_may_be_kept_pushes_nothing_out(journal, now, later):
    keep_work(journal, "a", THOUSAND, now=now, most_bytes=1500)

    assert not keep_work(journal, "b", Random(2).randbytes(2000), now=later, most_bytes=1500)
    assert which_work(journal, "ab") == {"a"}


def test_what_cannot_be_read_any_more_counts_as_not_there(journal, now):
    keep_work(journal, "a", THOUSAND, now=now)
    with journal.writing() as connection:
        connection.execute(update(worked).values(body_zlib=b"no longer what it was"))

    assert kept_work(journal, "a") is None


def test_many_keys_are_more_than_one_question(journal, now):
    keep_work(journal, "700", b"x", now=now)

    assert which_work(journal, [str(number) for number in range(1200)]) == {"700"}
    touch_work(journal, [str(number) for number in range(1200)], now=now)


def test_threads_may_keep_the_same_at_once(journal, now):
    errors = []

    def keep(number: int) -> None:
        try:
            for _ in range(5):
                keep_work(journal, "same", b"the same body", now=now)
                keep_work(journal, f"own {number}", THOUSAND, now=now, most_bytes=2500)
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=keep, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert errors == []
    keep_work(journal, "last", THOUSAND, now=now + timedelta(hours=1), most_bytes=2500)
    assert which_work(journal, ["last"]) == {"last"}
    assert kept_bytes(journal) <= 2500


def test_it_is_in_no_backup_and_a_database_that_holds_nothing_else_can_be_restored_into(journal, tmp_path, now):
    photos = PhotoFolder(tmp_path / "photos")
    journal.store_yard("a: 1\n", name="A", now=now, author="Ana")
    keep_work(journal, "a", THOUSAND, now=now)
    before = journal.state()

    content = write_backup(journal, photos, tmp_path / "b.zip", now=now)

    assert "worked" not in content.rows
    assert "tables/worked.jsonl" not in zipfile.ZipFile(tmp_path / "b.zip").namelist()
    with open_journal(tmp_path / "new.db") as other:
        keep_work(other, "b", b"b", now=now)
        assert restore_backup(tmp_path / "b.zip", other, photos) == look_into(tmp_path / "b.zip")
        assert other.current_yard().text == "a: 1\n"
        assert kept_work(other, "b") == b"b"
    keep_work(journal, "c", b"c", now=now)
    assert journal.state() == before  # no plan is made anew for it
