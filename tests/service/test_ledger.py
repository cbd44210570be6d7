"""What people enter is checked on the way in, and taken back without being lost."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest

from fruitwall.errors import JournalError
from fruitwall.journal.ledger import Ledger
from fruitwall.journal.opening import open_journal
from fruitwall.plants.tolerance import GRADES as MODEL_GRADES
from fruitwall.service.ledger import (
    GRADES,
    STAGES,
    Sighting,
    Signed,
    Stage,
    body_of,
    entry_of,
    last_sightings,
    read_body,
    take_back,
)


@pytest.fixture
def ledger(database: str, now: datetime):
    with open_journal(database) as journal:
        journal.store_yard("trees: []\n", name="Slope", now=now, author="test")
        yield Ledger(journal)


def signed(now: datetime) -> Signed:
    return Signed("Ana", "phone", now)


def test_a_sighting_comes_back_as_it_was_entered(ledger, now):
    said = Sighting(grade=3, signs=["tips"], note=" brown ", photos=["a" * 64])
    ledger.add([entry_of("sighting", said, tree="mango", at=now, signed=signed(now))])

    (entry,) = ledger.current()

    assert body_of(entry) == said
    assert last_sightings([entry]) == {"mango": entry}


@pytest.mark.parametrize(
    ("kind", "said", "told"),
    [
        ("sighting", {"grade": 8}, "grade"),
        ("sighting", {"grade": 3, "colour": "x"}, "colour"),
        ("deed", {"words": "x"}, "what"),
        ("deed", {"what": "x", "words": "x", "minutes": -1}, "minutes"),
        ("stage", {"stage": "sulking"}, "stage"),
        ("note", {"photos": ["../../x"]}, "photos.0"),
        ("gossip", {}, "one of sighting"),
    ],
)
def test_what_an_entry_may_not_say_is_told_by_its_field(kind, said, told):
    with pytest.raises(JournalError, match=told):
        read_body(kind, json.dumps(said))


def test_an_entry_of_the_future_is_refused(now):
    with pytest.raises(JournalError, match="cannot be of the future"):
        entry_of("stage", Stage(stage="bloom"), tree="a", at=now + timedelta(hours=1), signed=signed(now))


def test_a_tick_is_taken_back_within_the_hour_and_only_once(ledger, now):
    entry = entry_of("stage", Stage(stage="bloom"), tree="a", at=now, signed=signed(now))
    ledger.add([entry])

    first = take_back(ledger, entry.id, signed=signed(now + timedelta(minutes=59)))
    again = take_back(ledger, entry.id, signed=signed(now + timedelta(minutes=59, seconds=30)))

    assert first.id == again.id
    assert ledger.current() == []
    assert len(ledger.history(entry.id)) == 2


def test_after_the_hour_it_is_told_what_can_be_done_instead(ledger, now):
    entry = entry_of("stage", Stage(stage="bloom"), tree="a", at=now, signed=signed(now))
    ledger.add([entry])

    with pytest.raises(JournalError, match="more than an hour ago"):
        take_back(ledger, entry.id, signed=signed(now + timedelta(minutes=61)))
    assert take_back(ledger, entry.id, signed=signed(now + timedelta(days=9)), within=None).withdrawn


def test_there_are_the_grades_of_the_model():
    assert len(GRADES) == len(MODEL_GRADES) == 8
    assert len({key for key, *_ in GRADES}) == 8


def test_every_stage_can_be_entered():
    assert [Stage(stage=stage).stage for stage in STAGES] == list(STAGES)
