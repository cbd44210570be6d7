"""Forms of things: numbers in the units of whoever reads, and only what was changed goes to the file."""

from __future__ import annotations

import pytest

from fruitwall.service.yard_edit import data_of, find
from fruitwall.service.yard_form import MODELS, Field, form_of, kind_of, part_of, read_form, with_errors
from fruitwall.service.yard_words import CHOICE_WORDS, FIELD_WORDS
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display
from tests.service.test_yard_edit import TEXT

YARD = parse_yard(TEXT)
METRIC = Display()
IMPERIAL = Display(temperature="F", length="ft", mass="lb", volume="gal")


def posted(form: list[Field]) -> dict[str, list[str]]:
    """Give what a browser sends of a form."""
    sent: dict[str, list[str]] = {}
    for field in form:
        if field.input in ("point", "points"):
            for number, east, north in field.corners:
                sent |= {f"{field.name}.{number}.x": [east], f"{field.name}.{number}.y": [north]}
        elif field.input in ("several", "yes"):
            sent[f"{field.name}:"] = ["shown"]
            chosen = list(field.texts) if field.input == "several" else [field.text] * bool(field.text)
            sent |= {field.name: chosen} if chosen else {}
        else:
            sent[field.name] = [field.text]
    return sent


def changed(thing: str, display: Display = METRIC, **entered: object) -> dict[str, object]:
    """Give the fields that change when something is entered into the form of a thing."""
    kind = kind_of(thing, YARD)
    assert kind is not None
    form = form_of(kind, YARD, display, part_of(thing, YARD))
    sent = posted(form) | {
        key.replace("__", "."): value if isinstance(value, list) else [str(value)] for key, value in entered.items()
    }
    read = read_form(kind, form, sent, display, find(data_of(TEXT), thing) or {})
    assert not read.wrong, [field.error for field in read.form]
    return read.fields


@pytest.mark.parametrize("display", [METRIC, IMPERIAL])
@pytest.mark.parametrize("thing", ["lemon", "mango", "long-wall", "pond"])
def test_a_form_sent_as_it_is_changes_nothing(thing, display):
    assert changed(thing, display) == {}


@pytest.mark.parametrize(
    ("entered", "display", "written"),
    [
        ("2.5", METRIC, 2.5),
        ("2,5", METRIC, 2.5),
        ("7 ft", METRIC, "7 ft"),
        ("7", IMPERIAL, "7 ft"),
        ("7.25", IMPERIAL, "7.25 ft"),
        ("2.5 m", IMPERIAL, "2.5 m"),
        ("6'2\"", IMPERIAL, "6'2\""),
    ],
)
def test_a_height_is_taken_in_the_units_of_the_reader_or_in_those_written(entered, display, written):
    assert changed("lemon", display, height=entered) == {"height": written}


def test_a_corner_that_stays_keeps_its_own_writing():
    assert changed("long-wall", line__1__x="13") == {"line": [["3 ft", 10], [13.0, 10.0]]}
    assert changed("long-wall", IMPERIAL, line__2__x="50", line__2__y="40") == {
        "line": [["3 ft", 10], [12, 10], [15.24, 12.192]]
    }


def test_a_pot_comes_and_goes_with_its_volume():
    assert changed("lemon", container__volume="57") == {"container": {"volume": 57.0}}
    assert changed("lemon", IMPERIAL, container__volume="#15") == {"container": {"volume": "#15"}}
    assert changed("mango", container__volume="") == {"container": None}
    assert changed("mango", container__material="clay") == {"container": {"volume": "15 gal", "material": "clay"}}


def test_boxes_and_lists_are_read():
    assert changed("lemon", stages=["flush", "fruit"], pickable="yes") == {
        "stages": ["flush", "fruit"],
        "pickable": True,
    }
    assert changed("long-wall", retains_earth="yes", material="brick") == {"retains_earth": True, "material": "brick"}


@pytest.mark.parametrize(
    ("field", "entered", "told"),
    [
        ("height", "tall", "cannot be read as a number"),
        ("height", "", "needed"),
        ("name", "", "needed"),
        ("hurt", "2.5", "whole number"),
        ("position.0.y", "", "lacks a number"),
        ("worth", "1,000,000", "cannot be read as a number"),
    ],
)
def test_what_cannot_be_read_is_told_beside_its_field(field, entered, told):
    form = form_of("tree", YARD, METRIC, part_of("lemon", YARD))
    read = read_form("tree", form, posted(form) | {field: [entered]}, METRIC, find(data_of(TEXT), "lemon") or {})

    wrong = {one.name: one.error for one in read.form if one.error}
    assert list(wrong) == [field.partition(".")[0]]
    assert told in wrong[field.partition(".")[0]]
    assert read.fields == {}


def test_a_shape_keeps_its_least_number_of_corners():
    form = form_of("wall", YARD, METRIC, part_of("long-wall", YARD))
    sent = posted(form) | {"line.0.x": [""], "line.0.y": [""]}

    assert "At least 2 corners" in read_form("wall", form, sent, METRIC, {"id": "w"}).form[1].error


def test_problems_of_the_whole_check_go_to_their_fields():
    form, rest = with_errors(form_of("tree", YARD, METRIC), [("height", "must be"), ("", "a"), ("other", "b")])

    assert [one.error for one in form if one.error] == ["must be"]
    assert rest == ["a", "b"]


def test_every_field_and_choice_has_words():
    for kind in MODELS:
        for field in form_of(kind, YARD, METRIC):
            assert field.name in FIELD_WORDS
            if field.name != "trees":
                assert all(value in CHOICE_WORDS for value, _ in field.choices if value)
