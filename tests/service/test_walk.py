"""A walk round the yard, and the entries that come back from it."""

from __future__ import annotations

import json
import threading
import uuid
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from io import BytesIO

import pytest
from PIL import Image

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.house import House
from fruitwall.service.ledger import Deed, Sighting, Signed, body_of, entry_of
from fruitwall.service.pictures import keep_picture
from fruitwall.service.walk import ONE_WALK, walk_of
from fruitwall.service.walk_entries import EntryTaken, take_entries
from fruitwall.yard.demo import demo_yard_text

ZONE_OFF = timedelta(hours=8)


@pytest.fixture
def house(database, tmp_path, now) -> Iterator[House]:
    with open_journal(database) as journal:
        journal.store_yard(demo_yard_text(), name="Demo", now=now, author="test")
        yield House(journal, None, lambda: now, PhotoFolder(tmp_path / "photos"))


def signed(now: datetime, author: str = "Odalis") -> Signed:
    return Signed(author, "phone", now)


def sent(at: datetime, *, number: str | None = None, tree: str | None = "papaya", **changes: object) -> dict:
    """Build an entry as a telephone sends it."""
    body = changes.pop("body", {"grade": 2, "signs": ["tips"]})
    return {
        "id": number or str(uuid.uuid4()),
        "kind": "sighting",
        "tree": tree,
        "at": at.isoformat(),
        "body": body,
    } | changes


def results(answers: list[EntryTaken]) -> list[str]:
    return [answer.result for answer in answers]


def look(house: House, tree: str, at: datetime, **said: object) -> str:
    """Put a look into the ledger; gives its id."""
    entry = entry_of("sighting", Sighting(**said), tree=tree, at=at, signed=signed(house.clock()))
    house.ledger.add([entry])
    return entry.id


def plan_of(night: date, sunrise: datetime, felt: dict[str, tuple[float, float, float, float]]) -> str:
    """Build the part of a plan that the walk reads: coldest alone and planned, margins alone and planned."""
    trees = [
        {
            "id": tree,
            "tissue": "leaf",
            "measure": "leave" if alone == planned else "cover:fleece_medium",
            "measure_name": "leave as it is" if alone == planned else "cover with a fleece",
            "tissue_min_c": {"nothing": {"p50": alone}, "chosen": {"p50": planned}},
            "margin_k": {"nothing": margin_alone, "chosen": margin_planned},
        }
        for tree, (alone, planned, margin_alone, margin_planned) in felt.items()
    ]
    return json.dumps({"night": str(night), "sunrise": sunrise.isoformat(), "trees": trees})


def night_stored(house: House, days_ago: int, **felt: tuple[float, float, float, float]) -> date:
    now = house.clock()
    night = (now - ZONE_OFF).date() - timedelta(days=days_ago)
    sunrise = datetime(night.year, night.month, night.day, 14, 52, tzinfo=now.tzinfo) + timedelta(days=1)
    house.journal.store_plan(night, plan_of(night, sunrise, felt), version=house.yard()[1], made=now)
    return night


# ---------------------------------------------------------------- the walk


def test_the_walk_goes_once_by_every_tree_and_begins_near_the_gear(house):
    walk = walk_of(house)
    start = walk.yard.gear_store
    far = [((s.tree.position[0] - start[0]) ** 2 + (s.tree.position[1] - start[1]) ** 2) ** 0.5 for s in walk.stops]

    assert sorted(stop.tree.id for stop in walk.stops) == sorted(tree.id for tree in walk.yard.trees)
    assert far[0] == min(far)
    assert [stop.number for stop in walk.stops] == [
        1 + [tree.id for tree in walk.yard.trees].index(stop.tree.id) for stop in walk.stops
    ]
    assert walk.place("papaya") is not None
    assert walk.place("nowhere") is None


def test_a_tree_counts_as_seen_for_the_length_of_a_walk(house, now):
    look(house, "papaya", now - ONE_WALK + timedelta(minutes=1), grade=1)
    look(house, "guava", now - ONE_WALK - timedelta(minutes=1), grade=1)

    walk = walk_of(house)

    assert walk.seen == 1
    assert [stop.tree.id for stop in walk.stops if stop.seen] == ["papaya"]


def test_a_tree_tells_what_it_went_through_since_the_last_look_and_no_more(house, now):
    look(house, "papaya", now - timedelta(days=2, hours=4), grade=0)
    night_stored(house, 4, papaya=(-5.0, -5.0, -4.0, -4.0))
    cold = night_stored(house, 2, papaya=(-2.0, 0.5, -1.4, 1.1), guava=(-2.0, -2.0, 1.0, 1.0))
    night_stored(house, 1, papaya=(1.0, 1.0, 1.6, 1.6))
    night_stored(house, 0, papaya=(-9.0, -9.0, -8.0, -8.0))  # still to come

    walk = walk_of(house)
    papaya = walk.stops[walk.place("papaya")]
    guava = walk.stops[walk.place("guava")]

    assert len(papaya.nights) == 2
    assert papaya.coldest is not None
    assert (papaya.coldest.night, papaya.coldest.planned_c, papaya.coldest.margin_alone_k) == (cold, 0.5, -1.4)
    assert [night.night for night in guava.nights] == [cold]


def test_the_plan_that_was_made_last_for_a_night_counts(house, now):
    night_stored(house, 1, papaya=(-3.0, -3.0, -2.0, -2.0))
    night_stored(house, 1, papaya=(-1.0, -1.0, 0.5, 0.5))

    (papaya,) = (stop for stop in walk_of(house).stops if stop.tree.id == "papaya")

    assert [night.margin_planned_k for night in papaya.nights] == [0.5]


def test_a_plan_that_can_no_longer_be_read_is_passed_over(house, now):
    night = (now - ZONE_OFF).date() - timedelta(days=1)
    for text in ('{"trees": 3}', "[]", '{"sunrise": "2020-01-01T00:00:00", "trees": []}'):
        house.journal.store_plan(night, text, version=house.yard()[1], made=now)

        assert all(stop.nights == [] for stop in walk_of(house).stops)


def test_the_newest_photo_is_shown_even_if_the_last_look_has_none(house, now):
    look(house, "papaya", now - timedelta(days=3), photos=["a" * 64, "b" * 64])
    look(house, "papaya", now - timedelta(days=1), grade=1)

    (papaya,) = (stop for stop in walk_of(house).stops if stop.tree.id == "papaya")

    assert papaya.photo == ("b" * 64, now - timedelta(days=3))
    assert papaya.last is not None
    assert papaya.last.sighting.grade == 1


# ---------------------------------------------------------------- entries


def test_an_entry_is_stored_once_however_often_it_comes(house, now):
    entry = sent(now - timedelta(hours=2))

    first = take_entries(house, [entry, entry], signed=signed(now))
    later = take_entries(house, [entry], signed=signed(now + timedelta(hours=1), "Wendell"))

    assert results(first) == ["stored", "known"]
    assert results(later) == ["known"], "who sends it again is not part of what it says"
    (stored,) = house.ledger.current()
    assert (stored.author, stored.at, body_of(stored)) == (
        "Odalis",
        now - timedelta(hours=2),
        Sighting(grade=2, signs=["tips"]),
    )


def test_tabs_that_send_at_the_same_time_store_once(house, now):
    entries = [sent(now, tree=tree) for tree in ("papaya", "guava", "plum")]
    answers: list[list[EntryTaken]] = []
    threads = [
        threading.Thread(target=lambda: answers.append(take_entries(house, entries, signed=signed(now))))
        for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(house.ledger.current()) == 3
    told = [one.result for answer in answers for one in answer]
    assert sorted(told) == ["known"] * 15 + ["stored"] * 3


def test_one_wrong_entry_does_not_hold_up_the_others(house, now):
    good, last = sent(now), sent(now, tree="guava")
    wrong = [
        sent(now, number="not-a-uuid"),
        sent(now, kind="gossip"),
        sent(now, body={"grade": 9}),
        sent(now, body={"grade": "no", "surprise": 1}),
        sent(now, replaces=str(uuid.uuid4())),
        sent(now + timedelta(hours=1)),
        sent(now, body={"photos": ["f" * 64]}),
        sent(now) | {"at": "2026-12-22T10:00:00"},
        "words",
        None,
        {},
    ]

    answers = take_entries(house, [good, *wrong, last], signed=signed(now))

    assert results(answers) == ["stored", *["refused"] * len(wrong), "stored"]
    assert all(answer.reason for answer in answers if answer.result == "refused")
    assert len(house.ledger.current()) == 2


def test_the_same_id_with_other_words_is_refused_and_changes_nothing(house, now):
    entry = sent(now)
    take_entries(house, [entry], signed=signed(now))

    (answer,) = take_entries(house, [entry | {"body": {"grade": 5}}], signed=signed(now))

    assert answer.result == "refused"
    assert "something else" in answer.reason
    assert [body_of(one).grade for one in house.ledger.current()] == [2]


def test_an_entry_of_a_tree_that_is_gone_is_kept_with_a_warning(house, now):
    (answer,) = take_entries(house, [sent(now, tree="felled-last-week")], signed=signed(now))

    assert answer.result == "stored"
    assert "felled-last-week" in answer.warnings[0]
    assert [entry.tree for entry in house.ledger.current()] == ["felled-last-week"]


def test_a_correction_in_the_same_sending_replaces(house, now):
    first = sent(now)
    second = sent(now, body={"grade": 4}, replaces=first["id"])

    answers = take_entries(house, [first, second], signed=signed(now))

    assert results(answers) == ["stored", "stored"]
    assert [entry.id for entry in house.ledger.current()] == [second["id"]]


def test_two_corrections_of_one_look_are_both_kept_and_told(house, now):
    first = sent(now)
    one, other = (sent(now, body={"grade": grade}, replaces=first["id"]) for grade in (3, 5))
    take_entries(house, [first], signed=signed(now))

    alone = take_entries(house, [one], signed=signed(now, "Odalis"))
    rival = take_entries(house, [other], signed=signed(now, "Wendell"))

    assert results(alone + rival) == ["stored", "stored"]
    assert alone[0].warnings == []
    assert "both are kept" in rival[0].warnings[0]
    (papaya,) = (stop for stop in walk_of(house).stops if stop.tree.id == "papaya")
    shown = sorted((rival.entry.author, rival.sighting.grade) for rival in papaya.rivals)
    assert shown == [("Odalis", 3), ("Wendell", 5)]


def test_a_wrong_clock_of_the_device_is_put_right(house, now):
    wrong = now - timedelta(days=400)

    (answer,) = take_entries(house, [sent(wrong - timedelta(minutes=30))], signed=signed(now), sent=wrong)
    (known,) = take_entries(
        house,
        [sent(wrong - timedelta(minutes=30), number=answer.id)],
        signed=signed(now + timedelta(seconds=7)),
        sent=wrong,
    )

    assert (answer.result, known.result) == ("stored", "known")
    assert "clock" in answer.warnings[0]
    assert [entry.at for entry in house.ledger.current()] == [now - timedelta(minutes=30)]


def test_a_clock_that_is_nearly_right_is_left_alone(house, now):
    take_entries(house, [sent(now)], signed=signed(now), sent=now + timedelta(minutes=9))

    assert [entry.at for entry in house.ledger.current()] == [now]


def test_a_photo_has_to_be_there_before_its_entry(house, now):
    out = BytesIO()
    Image.new("RGB", (40, 30), "green").save(out, "JPEG")
    photo = keep_picture(house, out.getvalue())

    (answer,) = take_entries(house, [sent(now, body={"photos": [photo.sha256]})], signed=signed(now))

    assert answer.result == "stored"


def test_signs_of_a_newer_program_are_kept(house, now):
    (answer,) = take_entries(house, [sent(now, body={"signs": ["sings", "tips"]})], signed=signed(now))

    assert answer.result == "stored"
    assert "sings" in answer.warnings[0]


def test_what_was_done_since_the_last_look_is_told_and_whether_the_plan_was_followed(house, now):
    night = (now - ZONE_OFF).date() - timedelta(days=1)
    document = json.loads(plan_of(night, now - timedelta(hours=7), {"papaya": (-2.0, 0.5, -1.4, 1.1)}))
    document |= {
        "yard": house.yard()[0].name,
        "night": str(night),
        "tasks": [
            {"key": "cover:fleece@papaya", "when": "before_dusk", "what": "Cover", "trees": ["papaya"], "minutes": 6.0},
            {
                "key": "close:hoops",
                "when": "before_dusk",
                "what": "Close",
                "trees": ["papaya", "guava"],
                "minutes": 8.0,
            },
        ],
        "morning": [{"key": "", "when": "morning", "what": "Open", "trees": ["papaya"], "minutes": 2.0}],
    }
    house.journal.store_plan(night, json.dumps(document), version=house.yard()[1], made=now)
    look(house, "papaya", now - timedelta(days=3), grade=0)

    def papaya():
        return next(stop for stop in walk_of(house).stops if stop.tree.id == "papaya")

    felt = papaya().nights[0]
    assert (felt.minutes, felt.asked) == (12.0, ("cover:fleece@papaya", "close:hoops"))
    assert papaya().ticked(felt) == "none"

    def deed(what: str, tree: str | None, trees: list[str], at: datetime):
        body = Deed(what=what, words=what, night=night if ":" in what else None, trees=trees)
        house.ledger.add([entry_of("deed", body, tree=tree, at=at, signed=signed(now))])

    deed("cover:fleece@papaya", "papaya", [], now - timedelta(hours=18))
    assert papaya().ticked(felt) == "some"
    deed("close:hoops", None, ["papaya", "guava"], now - timedelta(hours=17))
    deed("watered", "papaya", [], now - timedelta(days=4))  # before the last look
    deed("watered", "guava", [], now - timedelta(days=4))
    assert papaya().ticked(felt) == "all"
    assert [done.deed.what for done in papaya().deeds] == ["cover:fleece@papaya", "close:hoops"]
    guava = next(stop for stop in walk_of(house).stops if stop.tree.id == "guava")
    assert [done.deed.what for done in guava.deeds] == ["watered", "close:hoops"]
