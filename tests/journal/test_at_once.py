"""Several who store the same at the same moment: it is there once, and nobody hears of a defect."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from threading import Barrier
from typing import Any

import pytest
from sqlalchemy import update

from fruitwall.errors import JournalError
from fruitwall.journal import tables
from fruitwall.journal.accounts import Accounts
from fruitwall.journal.entries import Reading, StoredPhoto
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.journal.store import Journal

AT_ONCE = 4


def together(work: Callable[[int], Any]) -> list[Any]:
    """Do something several times at the same moment."""
    start = Barrier(AT_ONCE)

    def one(number: int) -> Any:
        start.wait()
        return work(number)

    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(one, range(AT_ONCE)))


@pytest.fixture
def ledger(journal: Journal, now: datetime) -> Ledger:
    journal.store_yard("a: 1\n", name="A", now=now, author="Ana")
    return Ledger(journal)


def test_readings_that_several_send_are_stored_once_in_whatever_order_they_come(ledger, now):
    sent = [Reading("post", "air_temperature_c", now - timedelta(minutes=minute), -1.0) for minute in range(200)]

    new = together(lambda number: ledger.add_readings(sent if number % 2 else sent[::-1], received=now))

    assert sum(new) == len(sent)
    assert len(ledger.readings(since=now - timedelta(days=1), until=now + timedelta(days=1))) == len(sent)


def test_a_photo_that_several_send_is_noted_once(ledger, now):
    for number in range(20):
        photo = StoredPhoto(f"{number:064x}", 9, 9, 9, None, now)
        together(lambda _, photo=photo: ledger.add_photo(photo))

    assert len(ledger.photo_names()) == 20


def test_owners_who_take_each_others_role_at_once_leave_one(journal, now):
    """What comes of it. It may come so by luck; that they wait for each other is held by the test below."""
    accounts = Accounts(journal)
    owners = [accounts.add(f"Owner {number}", "owner", passphrase_hash="x", now=now).id for number in range(AT_ONCE)]

    def demote(number: int) -> bool:
        try:
            accounts.change(owners[number], role="viewer")
        except JournalError:
            return False
        return True

    done = together(demote)

    assert sum(done) == AT_ONCE - 1
    assert [one.role for one in accounts.all()].count("owner") == 1


def test_who_takes_an_owners_role_waits_for_another_who_is_not_done_yet(place, now):
    """On PostgreSQL only the lock in `Accounts.change` does this: each would still see the other's owner stay."""
    hurried = f"{place}&options=-c%20lock_timeout%3D100ms" if "://" in place else place
    with open_journal(place) as journal, open_journal(hurried, wait_s=0.1) as other:
        accounts = Accounts(journal)
        first, second = (accounts.add(name, "owner", passphrase_hash="x", now=now).id for name in ("Ana", "Ben"))
        with journal.writing() as not_done:
            not_done.execute(update(tables.accounts).where(tables.accounts.c.id == first).values(role="viewer"))
            with pytest.raises(JournalError, match=r"lock timeout|in use by another"):
                Accounts(other).change(second, role="viewer")

        with pytest.raises(JournalError, match="one owner must stay"):
            Accounts(other).change(second, role="viewer")
        assert [one.role for one in accounts.all()] == ["viewer", "owner"]
