"""Looks that can hardly be as entered: found, explained, mended; and nothing is said of what may well be so."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import pytest

from fruitwall.errors import JournalError
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service import causes, doubtful
from fruitwall.service.corrections import chain_of
from fruitwall.service.doubtful import Doubt, doubts_of, move_look, trees_meant
from fruitwall.service.house import House
from fruitwall.service.ledger import Body, Deed, Sighting, Signed, Stage, entry_of, take_back
from fruitwall.speech import speaking
from tests.databases import with_tables
from tests.service.test_causes import lived

NOW = datetime(2027, 2, 20, 18, 0, tzinfo=UTC)
LAST_NIGHT = date(2027, 2, 19)

TREES = ("mango", "moya", "lime", "guava", "fig")
YARD = """\
fruitwall: 1
name: Small yard
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
trees:
  - {id: mango, name: Mango, taxon: mango, position: [3, 3], height: 2 m, crown_diameter: 1.5 m}
  - {id: moya, name: Moya, taxon: cherimoya, position: [6, 3], height: 2 m, crown_diameter: 1.5 m}
  - {id: lime, name: Lime, taxon: lime, position: [9, 3], height: 1.5 m, crown_diameter: 1 m}
  - {id: guava, name: Guava, taxon: guava, position: [12, 3], height: 1.5 m, crown_diameter: 1 m}
  - {id: fig, name: Fig, taxon: fig, position: [15, 3], height: 1.5 m, crown_diameter: 1 m}
"""


@pytest.fixture
def house(request, tmp_path, monkeypatch) -> Iterator[House]:
    """A household after sixty mild nights."""
    with open_journal(with_tables(request, "sqlite", tmp_path)) as journal:
        journal.store_yard(YARD, name="Small", now=NOW - timedelta(days=400), author="test")
        nights(monkeypatch, 9.0)
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


def nights(monkeypatch, coldest_c: float, trees: tuple[str, ...] = TREES) -> None:
    def lived_by(tree: str) -> tuple:
        return tuple(
            lived(LAST_NIGHT - timedelta(days=back), coldest_c if back == 3 and tree in trees else 9.0)
            for back in range(60)
        )

    found = {tree: lived_by(tree) for tree in TREES}
    monkeypatch.setattr(doubtful, "lived_nights", lambda _: found)
    monkeypatch.setattr(causes, "lived_nights", lambda _: found)


def enter(house: House, body: Body, tree: str = "mango", *, days: float = 0.0, author: str = "Ana") -> str:
    kind = {Sighting: "sighting", Deed: "deed", Stage: "stage"}[type(body)]
    entry = entry_of(kind, body, tree=tree, at=NOW - timedelta(days=days), signed=Signed(author, "phone", NOW))
    house.ledger.add([entry])
    return entry.id


def walk(house: House, days: float, *, but: tuple[str, ...] = (), grade: int = 0) -> None:
    for tree in TREES:
        if tree not in but:
            enter(house, Sighting(grade=grade), tree, days=days)


def only(house: House) -> Doubt:
    (doubt,) = doubts_of(house)
    return doubt


def test_a_tree_dead_after_mild_nights_with_its_neighbours_unhurt_is_doubtful(house):
    walk(house, 10)
    walk(house, 0.1, but=("mango",))
    which = enter(house, Sighting(grade=7))
    doubt = only(house)
    assert (doubt.entry, doubt.tree) == (which, "mango")
    assert "“Dead” was entered, and “None” on Wed 10 Feb" in doubt.words
    assert "4 other trees seen within two days got no worse" in doubt.words
    assert "move the look there" in doubt.mend
    assert trees_meant(house, which) == ()  # all others were looked at on this walk


def test_trees_that_were_as_bad_before_do_not_tell_of_a_cold_night(house):
    walk(house, 10, but=("mango",), grade=4)
    enter(house, Sighting(grade=0), days=10)
    walk(house, 0.1, but=("mango",), grade=4)
    assert [one.entry for one in doubts_of(house)] == []  # not yet entered
    which = enter(house, Sighting(grade=7))
    assert only(house).entry == which


def test_the_next_tree_of_the_walk_that_was_not_looked_at_is_offered(house):
    walk(house, 10)
    walk(house, 0.1, but=("lime", "guava"))
    which = enter(house, Sighting(grade=6), "guava")
    assert only(house).entry == which
    assert trees_meant(house, which) == ("lime",)  # next to the guava on the walk, and passed over


def test_of_trees_passed_over_the_one_that_the_night_struck_comes_first(house, monkeypatch):
    nights(monkeypatch, -6.0, ("fig",))
    walk(house, 10)
    walk(house, 0.1, but=("mango", "fig"))
    which = enter(house, Sighting(grade=6))
    assert only(house).entry == which
    assert trees_meant(house, which)[0] == "fig"
    assert trees_meant(house, str(uuid.uuid4())) == ()


@pytest.mark.parametrize(
    "why", ["cold night", "neighbours hurt", "few neighbours", "it was bad before", "shed", "unknown"]
)
def test_what_may_well_be_so_is_not_doubted(house, monkeypatch, why):
    walk(house, 10, grade=5 if why == "it was bad before" else 0)
    if why != "few neighbours":
        walk(house, 0.1, but=("mango", "moya"), grade=2 if why == "neighbours hurt" else 0)
    if why == "cold night":
        nights(monkeypatch, -6.0, ("mango",))
    if why == "unknown":
        monkeypatch.setattr(doubtful, "lived_nights", lambda _: {})
    if why == "it was bad before":
        enter(house, Sighting(grade=6), days=0)
    elif why == "shed":
        enter(house, Sighting(grade=4, signs=["bare"]), "moya")
    else:
        enter(house, Sighting(grade=7))
    assert [one for one in doubts_of(house) if one.tree in ("mango", "moya")] == []


def test_leaf_that_heals_without_new_growth_is_doubtful(house):
    enter(house, Sighting(grade=4), days=20)
    which = enter(house, Sighting(grade=1))
    doubt = only(house)
    assert doubt.entry == which
    assert "“Paler” was entered 20 days after “Most leaf lost”" in doubt.words
    assert "New growth starting" in doubt.mend


@pytest.mark.parametrize(
    ("then", "now", "days", "between"),
    [
        (4, 3, 20, None),  # two people may differ by one grade
        (4, 1, 90, None),  # time enough
        (1, 0, 5, None),  # pale leaf greens up
        (4, 1, 20, Sighting(grade=4, signs=["new_growth"])),
        (4, 1, 20, Stage(stage="flush")),
        (4, 1, 20, Deed(what="pruned", words="Pruned")),
    ],
)
def test_what_can_have_healed_is_not_doubted(house, then, now, days, between):
    enter(house, Sighting(grade=then), days=days)
    if between is not None:
        enter(house, between, days=days - 1)
    enter(house, Sighting(grade=now))
    assert doubts_of(house) == []


def test_the_dead_that_are_seen_alive_were_not_dead(house):
    which = enter(house, Sighting(grade=7), days=40)
    enter(house, Sighting(grade=6, signs=["new_growth"]))
    doubt = only(house)
    assert doubt.entry == which
    assert "seen alive" in doubt.words


def test_two_looks_at_one_tree_within_minutes_and_the_next_passed_over(house):
    enter(house, Sighting(grade=0), "lime", days=0.01)
    which = enter(house, Sighting(grade=3), "lime")
    doubt = only(house)
    assert doubt.entry == which
    assert "Two looks at this tree within 14 minutes" in doubt.words
    assert set(trees_meant(house, which)) == {"guava", "moya"}


def test_burnt_leaf_of_a_tree_entered_as_resting_is_doubtful(house):
    enter(house, Stage(stage="dormant"), "fig", days=20)
    which = enter(house, Sighting(grade=2), "fig")
    assert only(house).entry == which
    enter(house, Stage(stage="dormant"), "lime", days=20)  # an evergreen keeps its leaf
    enter(house, Sighting(grade=2), "lime")
    assert len(doubts_of(house)) == 1


def test_a_look_moved_to_the_tree_that_was_meant_is_no_longer_doubtful_and_can_be_moved_back(house):
    walk(house, 10)
    walk(house, 0.1, but=("mango", "moya"))
    which = enter(house, Sighting(grade=7, note="by the gate"))
    signed = Signed("Ana", "phone", NOW)
    number = str(uuid.uuid4())
    for _ in range(2):
        moved = move_look(house, which, "moya", signed=signed, number=number)
    assert (moved.tree, moved.replaces) == ("moya", which)
    assert "mango" not in {one.tree for one in doubts_of(house)}
    assert [one.id for one in chain_of(house.ledger, which).standing] == [moved.id]

    back = move_look(house, moved.id, "mango", signed=signed, number=str(uuid.uuid4()))
    assert (back.tree, back.body) == ("mango", house.ledger.entry(which).body)
    with pytest.raises(JournalError, match="does not stand"):
        move_look(house, moved.id, "fig", signed=signed, number=str(uuid.uuid4()))
    with pytest.raises(JournalError, match="no tree"):
        move_look(house, back.id, "moon", signed=signed, number=str(uuid.uuid4()))


def test_a_look_taken_back_takes_its_doubt_with_it(house):
    enter(house, Sighting(grade=4), days=20)
    which = enter(house, Sighting(grade=0))
    assert len(doubts_of(house)) == 1
    take_back(house.ledger, which, signed=Signed("Ana", "phone", NOW), within=None)
    assert doubts_of(house) == []


def test_doubts_are_said_in_the_language_of_who_reads(house):
    enter(house, Sighting(grade=4), days=20)
    enter(house, Sighting(grade=0))
    english = only(house).words
    with speaking("es"):
        assert "la hoja quemada no sana" in only(house).words
    assert only(house).words == english


def test_a_walk_without_doubts_asks_for_no_weather(house, monkeypatch):
    def must_not(_: House) -> None:
        raise AssertionError("weather was asked for")

    monkeypatch.setattr(doubtful, "lived_nights", must_not)
    monkeypatch.setattr(causes, "known_hours", must_not)
    walk(house, 10)
    walk(house, 0.1, grade=2)
    assert doubts_of(house) == []
