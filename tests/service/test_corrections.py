"""Entries put right: in every field, taken back and brought back, one of two chosen; nothing that was entered goes."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterator
from datetime import timedelta

import pytest

from fruitwall.errors import JournalError
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.service.corrections import bring_back, chain_of, chains_of, correct, let_hold, rivals_of, withdraw
from fruitwall.service.ledger import Deed, Sighting, Signed, entry_of
from fruitwall.yard.file import write_yard
from tests.web.sample import NOW, sample_yard

ODALIS = Signed("Odalis", "phone", NOW)
WENDELL = Signed("Wendell", "tablet", NOW + timedelta(minutes=5))
LATER = Signed("Wendell", "tablet", NOW + timedelta(days=40))


@pytest.fixture
def ledger(database: str) -> Iterator[Ledger]:
    with open_journal(database) as opened:
        yard = sample_yard()
        opened.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")
        yield Ledger(opened, None)


def new() -> str:
    return str(uuid.uuid4())


@pytest.fixture
def look(ledger: Ledger) -> str:
    entry = entry_of("sighting", Sighting(grade=3, note="tips"), tree="papaya", at=NOW, signed=ODALIS)
    ledger.add([entry])
    return entry.id


def grades(ledger: Ledger) -> list[int]:
    return sorted(json.loads(entry.body).get("grade") for entry in ledger.current())


def test_every_field_is_corrected_and_what_was_said_before_is_kept(ledger: Ledger, look: str) -> None:
    changes = {"grade": 5, "signs": ["brown"], "note": "twigs", "nothing": 1}
    made = correct(ledger, look, changes, signed=WENDELL, number=new(), at=NOW - timedelta(hours=3))

    assert json.loads(made.body) == {"grade": 5, "signs": ["brown"], "note": "twigs"}
    assert made.at == NOW - timedelta(hours=3)
    assert [entry.id for entry in ledger.current()] == [made.id]
    assert [json.loads(one.body)["grade"] for one in chain_of(ledger, made.id).entries] == [3, 5]


def test_sent_twice_it_is_one_correction_and_without_a_change_it_is_none(ledger: Ledger, look: str) -> None:
    number = new()
    for _ in range(2):
        correct(ledger, look, {"grade": 4}, signed=WENDELL, number=number)
    assert grades(ledger) == [4]
    assert correct(ledger, number, {"grade": 4}, signed=WENDELL, number=new()).id == number
    assert len(chain_of(ledger, look).entries) == 2


@pytest.mark.parametrize("change", [{"grade": 8}, {"note": "x" * 5001}])
def test_nothing_impossible_becomes_of_it(ledger: Ledger, look: str, change: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"7|5000"):
        correct(ledger, look, change, signed=WENDELL, number=new())
    with pytest.raises(JournalError, match="future"):
        correct(ledger, look, {}, signed=WENDELL, number=new(), at=NOW + timedelta(days=1))
    assert grades(ledger) == [3]


def test_taken_back_after_weeks_it_is_kept_and_can_be_brought_back_once(ledger: Ledger, look: str) -> None:
    back = withdraw(ledger, look, signed=LATER)
    assert ledger.current() == []
    with pytest.raises(JournalError, match="does not stand"):
        withdraw(ledger, look, signed=LATER)
    with pytest.raises(JournalError, match="taken back"):
        correct(ledger, back.id, {"grade": 1}, signed=LATER, number=new())

    first, second = (bring_back(ledger, back.id, signed=LATER) for _ in range(2))
    assert first.id == second.id
    assert grades(ledger) == [3]
    assert ledger.current()[0].at == NOW
    chain = chain_of(ledger, look)
    assert [one.id for one in chain.standing] == [first.id]
    assert chain.back == []
    withdraw(ledger, first.id, signed=LATER)
    assert ledger.current() == []


def test_of_two_corrections_one_holds_and_the_other_can_be_brought_back(ledger: Ledger, look: str) -> None:
    mine = correct(ledger, look, {"grade": 4}, signed=ODALIS, number=new())
    theirs = correct(ledger, look, {"grade": 6}, signed=WENDELL, number=new())
    again = correct(ledger, theirs.id, {"grade": 7}, signed=WENDELL, number=new())  # corrected once more: still two
    standing = ledger.current()
    assert rivals_of(standing, chains_of(ledger, standing)) == {mine.id, again.id}

    (back,) = let_hold(ledger, mine.id, signed=ODALIS)
    assert grades(ledger) == [4]
    assert rivals_of(ledger.current(), chains_of(ledger, ledger.current())) == set()
    chain = chain_of(ledger, look)
    assert [chain.taken(one).id for one in chain.back] == [again.id]
    with pytest.raises(JournalError, match="does not stand"):
        let_hold(ledger, again.id, signed=ODALIS)

    bring_back(ledger, back.id, signed=ODALIS)
    standing = ledger.current()
    assert grades(ledger) == [4, 7]
    assert len(rivals_of(standing, chains_of(ledger, standing))) == 2


def test_corrections_of_two_looks_are_no_rivals(ledger: Ledger, look: str) -> None:
    other = entry_of("sighting", Sighting(grade=1), tree="papaya", at=NOW, signed=ODALIS)
    ledger.add([other])
    for which in (look, other.id):
        correct(ledger, which, {"grade": 2}, signed=WENDELL, number=new())
    standing = ledger.current()
    assert rivals_of(standing, chains_of(ledger, standing)) == set()


def test_a_tick_corrected_keeps_its_task(ledger: Ledger) -> None:
    deed = Deed(what="cover:fleece@papaya", words="Cover the papaya", night=NOW.date(), minutes=12)
    entry = entry_of("deed", deed, tree="papaya", at=NOW, signed=ODALIS)
    ledger.add([entry])
    made = correct(ledger, entry.id, {"minutes": 20.0}, signed=WENDELL, number=new())
    assert json.loads(made.body) == json.loads(entry.body) | {"minutes": 20.0}


def test_what_is_not_there_is_told(ledger: Ledger, look: str) -> None:
    for act in (withdraw, bring_back, let_hold):
        with pytest.raises(JournalError, match="no entry"):
            act(ledger, new(), signed=ODALIS)
    with pytest.raises(JournalError, match="no entry"):
        correct(ledger, new(), {}, signed=ODALIS, number=new())
    with pytest.raises(JournalError, match="no entry"):
        bring_back(ledger, look, signed=ODALIS)  # it takes nothing back
