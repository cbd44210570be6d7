"""`Journal.state` is another one after every change that what is kept in memory depends on, and only then."""

from __future__ import annotations

from datetime import date

import pytest
from sqlalchemy import insert

from fruitwall.journal.entries import LedgerEntry, Reading, StoredPhoto
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.journal.state import MEMO
from fruitwall.journal.tables import settings
from tests.journal.test_store import store_forecast, store_yard

ENTRY = "00000000-0000-4000-8000-{:012d}"
NIGHT = date(2026, 12, 22)


def deed(number: int, now, **changes) -> LedgerEntry:
    return LedgerEntry(ENTRY.format(number), "", "deed", None, now, "Ana", "phone", now, "{}", **changes)


def test_every_change_makes_another_state_and_none_comes_back(journal, now):
    ledger = Ledger(journal, "hill")
    changes = [
        lambda: store_yard(journal, now),
        lambda: store_yard(journal, now, "name: hill\nb: 1\n"),
        lambda: store_yard(journal, now, name="dale"),
        lambda: journal.store_plan(NIGHT, "{}", version=journal.current_yard("hill"), made=now),
        lambda: journal.store_plan(NIGHT, "{}", version=journal.current_yard("hill"), made=now),
        lambda: ledger.set("units", "metric", author="Ana", now=now),
        lambda: ledger.set("units", "metric", author="Ana", now=now),
        lambda: ledger.add([deed(1, now)]),
        lambda: ledger.add([deed(2, now, replaces=ENTRY.format(1))]),
        lambda: ledger.add([deed(3, now, replaces=ENTRY.format(2), withdrawn=True)]),
        # Entries come late from a phone: an older id and an earlier moment than those that are there.
        lambda: Ledger(journal, "dale").add([deed(0, now)]),
    ]

    states = [journal.state()]
    for change in changes:
        change()
        states.append(journal.state())

    assert len(set(states)) == len(changes) + 1


def test_looking_and_what_adds_nothing_leave_the_state(journal, now, later):
    store_yard(journal, now)
    plan = journal.store_plan(NIGHT, "{}", version=journal.current_yard(), made=now)
    ledger = Ledger(journal)
    ledger.add([deed(1, now)])
    state = journal.state()

    store_yard(journal, later)
    ledger.add([deed(1, now)])
    journal.plan(plan.id)
    journal.plan_marks(NIGHT)
    ledger.current()
    # Nothing that is kept by this state is made of these.
    store_forecast(journal, now)
    ledger.add_readings([Reading("post", "air_temperature_c", now, -1.0)], received=now)
    ledger.add_photo(StoredPhoto("a" * 64, 9, 9, 9, None, now))
    ledger.set(MEMO, {"a": 1}, author="Ana", now=now)

    assert journal.state() == state


def test_what_another_program_stores_is_seen(place, now):
    with open_journal(place) as journal, open_journal(place) as other:
        store_yard(journal, now)
        state = journal.state()
        Ledger(other).add([deed(1, now)])

        assert journal.state() == other.state() != state


@pytest.mark.parametrize("place", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True)
def test_of_two_rows_stored_at_once_the_one_of_the_lower_number_may_come_last_and_is_seen(journal, now):
    """Only PostgreSQL lets two write at once. The highest number of a row would be the same before and after."""
    store_yard(journal, now)
    with journal.engine.connect() as connection:
        yard_id = connection.exec_driver_sql("SELECT id FROM yards").scalar_one()
    values = {"yard_id": yard_id, "key": "units", "value": "1", "author": "Ana", "set_utc": now}
    with journal.writing() as slow:
        lower = slow.execute(insert(settings).values(values)).inserted_primary_key
        with journal.writing() as quick:
            higher = quick.execute(insert(settings).values(values)).inserted_primary_key
        before = journal.state()

    assert lower < higher
    assert journal.state() != before
