"""Edits of the yard: kept in the owner's own writing, undone to the letter, never over somebody else's."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.house import House
from fruitwall.service.ledger import Note, Signed, entry_of
from fruitwall.service.yard_edit import (
    GEAR,
    OUTLINE,
    Add,
    Change,
    Cut,
    EditConflict,
    EditRefused,
    Move,
    Remove,
    Steps,
    changed_things,
    data_of,
    edit_yard,
    find,
    free_id,
    step,
    steps_of,
    yard_steps,
)
from fruitwall.service.yards import check_yard_text, import_yard

NOW = datetime(2026, 12, 22, 22, 0, tzinfo=UTC)
TEXT = """\
# Our yard, paced out in March.
fruitwall: 1
name: Small steps
location: {latitude: 33.9, longitude: -117.2, elevation: 1640 ft, time_zone: America/Los_Angeles}
display: {temperature: F, length: ft}   # as we read
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]

structures:
  # the warm side
  - kind: wall
    id: long-wall
    name: Long wall
    line: [["3 ft", 10], [12, 10]]   # along the path
    height: 6 ft

  - {kind: pond, id: pond, name: Pond, outline: [[14, 2], [18, 2], [18, 5], [14, 5]]}

trees:
  # from grandmother
  - id: lemon
    name: Lemon
    taxon: lemon
    position: [5, 5]     # where the barrel was
    height: 10 ft
    crown_diameter: 8 ft

  - id: mango
    name: Mango
    taxon: mango
    position: [8, 12]
    height: 2.5
    crown_diameter: 2
    container: {volume: 15 gal}   # the blue one
# the end
"""


@contextmanager
def household(place: str | None = None, text: str = TEXT) -> Iterator[House]:
    with tempfile.TemporaryDirectory() as folder, open_journal(place or Path(folder) / "h.db") as journal:
        journal.store_yard(text, name="Small steps", now=NOW, author="first")
        yield House(journal, None, lambda: NOW, PhotoFolder(Path(folder) / "photos"))


@pytest.fixture
def house(database: str) -> Iterator[House]:
    with household(database) as one:
        yield one


def text_of(house: House) -> str:
    return house.journal.current_yard().text


def do(house: House, *edits: object) -> None:
    for edit in edits:
        edit_yard(house, edit, base=yard_steps(house).current, author="me")  # type: ignore[arg-type]


def test_a_moved_tree_is_a_new_version_and_nothing_else_of_the_file_changes(house):
    edited = edit_yard(house, Move("lemon", (5.5, 5.25)), base=1, author="Ana")

    assert edited.version.number == 2
    assert edited.version.author == "Ana"
    assert edited.thing == "lemon"
    assert text_of(house) == TEXT.replace("[5, 5]     #", "[5.5, 5.25]     #")


def test_a_corner_moves_in_its_own_unit(house):
    do(house, Move("long-wall", (0.3048 * 4, 10.5), corner=0))

    assert "line: [4 ft, 10.5], [12, 10]]   # along".replace("[4", "[[4") in text_of(house)


def test_a_whole_wall_moves_with_all_its_corners(house):
    do(house, Move("long-wall", (0.9144, 9.0)))

    assert text_of(house) == TEXT.replace('[["3 ft", 10], [12, 10]]', '[["3 ft", 9], [12, 9]]')


def test_corners_are_put_in_and_cut_out(house):
    do(house, Move("long-wall", (16.4 * 0.3048, 11.0), corner=1, new=True), Move("pond", (14, 3.5), corner=4, new=True))
    assert '[["3 ft", 10], [16.4 ft, 11], [12, 10]]   # along' in text_of(house)
    assert "[14, 5], [14, 3.5]]" in text_of(house)

    do(house, Cut("long-wall", 1), Cut("pond", 4))
    assert text_of(house) == TEXT
    for edit in (Cut("long-wall", 2), Cut("long-wall", 0), Cut("lemon", 0), Move("pond", (1, 1), corner=5, new=True)):
        with pytest.raises(EditRefused):
            do(house, edit)


def test_the_boundary_and_the_gear_move_too(house):
    do(house, Move(OUTLINE, (21, 21), corner=2), Move(GEAR, (2, 2)))

    assert "outline: [[0, 0], [20, 0], [21, 21], [0, 20]]" in text_of(house)
    assert "gear_store: [2, 2]" in text_of(house)


def test_fields_keep_the_unit_they_are_given_in(house):
    do(house, Change("long-wall", {"height": "7 ft", "material": "brick"}))

    wanted = TEXT.replace("height: 6 ft", "height: 7 ft\n    material: brick")
    assert text_of(house) == wanted


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("tree", {"name": "Ñandú", "taxon": "guava", "position": [3, 3], "height": "5 ft", "crown_diameter": 1}),
        ("wall", {"name": "Wall", "line": [[2, 2], [4, 2]], "height": 2}),
        ("fence", {"name": "Hedge", "line": [[2, 2], [4, 2]], "height": 2}),
        ("building", {"name": "Shed", "outline": [[1, 15], [3, 15], [3, 17]], "height": 3}),
        ("roof", {"name": "Porch", "outline": [[1, 15], [3, 15], [3, 17]], "height": 3}),
        ("paving", {"name": "Path", "outline": [[1, 15], [3, 15], [3, 17]]}),
        ("canopy", {"name": "Oak", "position": [10, 18], "crown_diameter": 6, "height": 8}),
        ("pond", {"name": "Pond", "outline": [[1, 15], [3, 15], [3, 17]]}),
        ("hollow", {"name": "Dip", "outline": [[1, 15], [3, 15], [3, 17]], "colder": 1}),
        ("shelter", {"name": "Hoops", "outline": [[4, 4], [6, 4], [6, 6], [4, 6]], "height": 4, "trees": ["lemon"]}),
        ("circuit", {"name": "Patio", "volts": 120, "amps": 15, "outlet": [1, 2], "ground_fault": True}),
        ("indoor_place", {"name": "Garage", "position": [1, 2], "spaces": 2}),
    ],
)
def test_every_kind_of_thing_is_added_changed_and_taken_out(house, kind, fields):
    edited = edit_yard(house, Add(kind, fields), base=1, author="me")
    assert edited.thing is not None
    assert find(data_of(text_of(house)), edited.thing)["name"] == fields["name"]

    do(house, Change(edited.thing, {"name": "Other"}), Remove(edited.thing))

    assert check_yard_text(text_of(house)).yard == check_yard_text(TEXT).yard
    assert "# from grandmother" in text_of(house)
    assert "# the end" in text_of(house)


def test_an_id_is_made_from_the_name_and_is_free():
    data = data_of(TEXT)

    assert free_id(data, "Ñandú tree!") == "nandu-tree"
    assert free_id(data, "Lemon") == "lemon-2"
    assert free_id(data, "木") == "thing"


def test_what_does_not_hold_together_is_refused_with_its_field_and_nothing_is_stored(house):
    for edit, where in (
        (Move("lemon", (25, 5)), "position"),
        (Move("lemon", (16, 3)), "position"),
        (Change("lemon", {"height": 0}), "height"),
        (Change("mango", {"container": {"volume": -1}}), "container.volume"),
        (Change("lemon", {"taxon": "no such kind"}), "taxon"),
        (Change("lemon", {"name": None}), "name"),
    ):
        with pytest.raises(EditRefused) as refused:
            edit_yard(house, edit, base=1, author="me")
        assert [name for name, _ in refused.value.problems] == [where]
    assert yard_steps(house).current == 1


def test_a_removed_tree_leaves_its_ledger_and_its_shelter(house):
    do(
        house,
        Add("shelter", {"name": "H", "outline": [[4, 4], [9, 4], [9, 13], [4, 13]], "height": 4,
                        "trees": ["lemon", "mango"]}),
    )  # fmt: skip
    signed = Signed("me", "phone", NOW)
    house.ledger.add([entry_of("note", Note(note="two fruit"), tree="lemon", at=NOW, signed=signed)])

    do(house, Remove("lemon"))

    assert [one.tree for one in house.ledger.current()] == ["lemon"]
    assert find(data_of(text_of(house)), "h")["trees"] == ["mango"]
    assert "# from grandmother" in text_of(house)


def test_a_removed_tree_leaves_its_thermometer_hanging_where_it_stood():
    text = TEXT.replace("# the end", "sensors:\n  - {id: log, name: Logger, tree: lemon}   # bought in May\n# the end")
    with household(text=text) as house:
        do(house, Remove("lemon"))

        (log,) = data_of(text_of(house))["sensors"]
        assert "tree" not in log
        assert log["position"] == [5, 5]
        assert "# bought in May" in text_of(house)


def test_an_edit_of_something_else_than_was_changed_meanwhile_goes_on_top(house):
    edit_yard(house, Move("lemon", (6, 6)), base=1, author="Ana")
    edit_yard(house, Move("mango", (9, 13)), base=1, author="Ben")

    assert "[6, 6]" in text_of(house)
    assert "[9, 13]" in text_of(house)


def test_an_edit_of_the_same_thing_shows_both(house):
    edit_yard(house, Move("lemon", (6, 6)), base=1, author="Ana")

    with pytest.raises(EditConflict, match="Ana") as conflict:
        edit_yard(house, Move("lemon", (7, 7)), base=1, author="Ben")

    both = conflict.value
    assert both.before is not None
    assert [one["position"] for one in (both.before, both.theirs, both.mine)] == [[5, 5], [6, 6], [7, 7]]
    assert "[6, 6]" in text_of(house)
    edit_yard(house, Move("lemon", (7, 7)), base=both.version.number, author="Ben")
    assert "[7, 7]" in text_of(house)


def test_of_two_at_the_same_moment_none_is_lost(house, monkeypatch):
    stored = house.journal.store_yard
    first = True

    def late(*arguments, **options):
        nonlocal first
        if first:
            first = False
            edit_yard(house, Move("lemon", (6, 6)), base=1, author="Ana")
        return stored(*arguments, **options)

    monkeypatch.setattr(house.journal, "store_yard", late)
    edit_yard(house, Move("mango", (9, 13)), base=1, author="Ben")

    assert "[6, 6]" in text_of(house)
    assert "[9, 13]" in text_of(house)


def test_undo_is_refused_after_somebody_elses_change(house):
    do(house, Move("lemon", (6, 6)))

    with pytest.raises(EditRefused, match="me changed the yard meanwhile"):
        step(house, "undo", base=1, author="Ben")
    with pytest.raises(EditRefused, match="nothing to redo"):
        step(house, "redo", base=2, author="Ben")


def test_undo_goes_back_over_an_import(house):
    do(house, Move("lemon", (6, 6)))
    moved = text_of(house)
    import_yard(house.journal, check_yard_text(TEXT.replace("Lemon", "Old lemon")), now=NOW, author="import")
    do(house, Move("mango", (9, 13)))

    for _ in range(2):
        step(house, "undo", base=yard_steps(house).current, author="me")
    assert text_of(house) == moved

    assert step(house, "redo", base=yard_steps(house).current, author="me").thing == "lemon"
    assert "Old lemon" in text_of(house)


def test_a_new_edit_after_undo_forgets_what_was_undone():
    assert steps_of([(1, None)]) == Steps(1, None, None)
    undone = steps_of([(1, None), (2, None), (3, 1)])
    assert (undone.undo, undone.redo) == (None, 2)
    edited = steps_of([(1, None), (2, None), (3, 1), (4, None)])
    assert (edited.undo, edited.redo) == (1, None)
    again = steps_of([(1, None), (2, None), (3, 1), (4, None), (5, 2)])  # brought back from behind the line
    assert (again.undo, again.redo) == (4, None)


inside = st.tuples(st.integers(0, 130), st.integers(0, 70)).map(lambda p: (p[0] / 10, p[1] / 10))
edits = st.one_of(
    st.builds(Move, st.sampled_from(["lemon", "mango", "long-wall", "pond", "gone"]), inside),
    st.builds(Move, st.sampled_from(["long-wall", "pond", OUTLINE]), inside, st.integers(0, 3)),
    st.builds(
        Change,
        st.sampled_from(["lemon", "mango", "long-wall", "new"]),
        st.dictionaries(st.sampled_from(["height", "notes", "name"]), st.sampled_from(["3 ft", "# 4: m", None]),
                        min_size=1),
    ),
    st.builds(Cut, st.sampled_from(["long-wall", "pond", OUTLINE]), st.integers(0, 4)),
    st.builds(Move, st.sampled_from(["long-wall", "pond"]), inside, st.integers(0, 4), st.just(True)),
    st.builds(Remove, st.sampled_from(["lemon", "mango", "pond", "long-wall", "new"])),
    st.just(Add("tree", {"name": "New", "taxon": "guava", "position": [1, 9], "height": 1, "crown_diameter": 1})),
    st.just(Add("wall", {"name": "New", "line": [[1, 9], [2, 9]], "height": "3 ft"})),
)  # fmt: skip


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(edits | st.sampled_from(["undo", "redo"]), max_size=10))
def test_any_edits_are_undone_and_redone_to_the_letter(wanted):
    with household() as house:
        line, at = [TEXT], 0
        for one in wanted:
            current = yard_steps(house).current
            try:
                if isinstance(one, str):
                    step(house, one, base=current, author="me")
                    at += -1 if one == "undo" else 1
                    assert text_of(house) == line[at]
                    continue
                edit_yard(house, one, base=current, author="me")
            except EditRefused:
                assert yard_steps(house).current == current
                continue
            if text_of(house) != line[at]:
                line[at + 1 :] = [text_of(house)]
                at += 1
            assert "# Our yard, paced out in March." in text_of(house)
            assert "# the end" in text_of(house)

        for text in reversed(line[:at]):
            step(house, "undo", base=yard_steps(house).current, author="me")
            assert text_of(house) == text
        assert text_of(house) == TEXT
        assert yard_steps(house).undo is None
        for text in line[1:]:
            step(house, "redo", base=yard_steps(house).current, author="me")
            assert text_of(house) == text


def test_what_changed_between_two_states_is_named():
    after = TEXT.replace("[8, 12]", "[8, 13]").replace("gear_store: [1, 1]", "gear_store: [1, 2]")

    assert changed_things(data_of(TEXT), data_of(after)) == [GEAR, "mango"]
