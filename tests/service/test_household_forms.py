"""Gear, people and what a yard has one of each: every field can be changed, and nothing else of the file changes."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from fruitwall.journal.entries import YardVersion
from fruitwall.service.yard_edit import (
    GROUPS,
    LISTS,
    Add,
    Change,
    EditRefused,
    Remove,
    applied,
    changed_things,
    data_of,
    edited_text,
    find,
    warnings_about,
)
from fruitwall.service.yard_form import MODELS, MOVABLE, Field, form_of, kind_of, part_of, read_form
from fruitwall.service.yard_words import KIND_WORDS
from fruitwall.yard.demo import demo_yard_text
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display, Person
from tests.service.test_yard_form import posted

TEXT = demo_yard_text()
YARD = parse_yard(TEXT)
NOW = datetime(2026, 12, 22, 22, 0, tzinfo=UTC)
METRIC = Display()
THINGS = {
    "cover": "fleece-small",
    "lamp": "lamps-large",
    "heater": "heater",
    "lead": "lead-long",
    "trolley": "trolley",
    "person": "odalis",
    "circuit": "shed-outlet",
    "indoor_place": "shed-floor",
    "shelter": "hoops",
} | {group: group for group in GROUPS}

OTHERS = {
    "time_zone": "America/Denver",
    "latitude": "34.5",
    "longitude": "-116.5",
    "elevation": "512",
    "currency": "GBP",
    "width": "5.5",
    "length": "5.25",
    "volts": "110",
    "amps": "13",
    "height": "2.6",
    "max_height": "2.5",
    "ridge": "3",
}
"""What is entered, where 0.75 or another word would not do."""


def version(text: str = TEXT) -> YardVersion:
    return YardVersion(id=1, yard=YARD.name, number=1, created=NOW, author="test", text=text, sha256="")


def entered(field: Field) -> dict[str, list[str]]:
    """Give what a browser sends once one field is changed."""
    if field.input == "point":
        return {f"{field.name}.0.x": ["11.5"], f"{field.name}.0.y": ["27.5"]}
    if field.input == "points":
        number, east, north = field.corners[0]
        return {f"{field.name}.{number}.x": [f"{float(east) - 0.25:g}"], f"{field.name}.{number}.y": [north]}
    if field.input == "several":
        return {field.name: list(field.texts[:-1])}
    if field.input == "yes":
        return {field.name: [] if field.text else ["yes"]}
    if field.input == "choice":
        return {field.name: [next(value for value, _ in field.choices if value and value != field.text)]}
    if field.input == "day":
        return {field.name: ["2027-01-05"]}
    if field.input == "number":
        whole = field.name in ("count", "spaces")
        return {field.name: [OTHERS.get(field.name, "7" if whole else "0.75")]}
    return {field.name: [OTHERS.get(field.name, "Renamed")]}


def every_field() -> list[tuple[str, str]]:
    return [
        (kind, field.name)
        for kind, thing in THINGS.items()
        for field in form_of(kind, YARD, METRIC, part_of(thing, YARD))
    ]


@pytest.mark.parametrize(("kind", "name"), every_field())
def test_each_field_goes_into_the_file_and_comes_back_and_nothing_else_changes(kind, name):
    thing = THINGS[kind]
    assert kind_of(thing, YARD) == kind
    form = form_of(kind, YARD, METRIC, part_of(thing, YARD))
    field = next(one for one in form if one.name == name)
    sent = posted(form) | entered(field)
    read = read_form(kind, form, sent, METRIC, find(data_of(TEXT), thing) or {})
    assert not read.wrong, [one.error for one in read.form]
    assert list(read.fields) == [name]

    text, edited = edited_text(version(), Change(thing, read.fields), NOW)

    assert edited == thing
    assert changed_things(data_of(TEXT), data_of(text)) == [thing]
    after = form_of(kind, parse_yard(text), METRIC, part_of(thing, parse_yard(text)))
    shown = {one.name: one for one in after}
    if field.input in ("point", "points", "several"):
        wanted = next(one for one in read.form if one.name == name)
        assert [one for one in shown[name].texts if one] == [one for one in wanted.texts if one]
    else:
        assert shown[name].text == (sent[name][0] if sent[name] else "")
    assert {key: (one.text, one.texts) for key, one in shown.items() if key != name} == {
        one.name: (one.text, one.texts) for one in form if one.name != name
    }
    assert [line for line in TEXT.splitlines() if "#" in line and line.split("#")[1] not in text] == []


def test_a_form_sent_as_it_is_changes_nothing():
    for kind, thing in THINGS.items():
        for display in (METRIC, Display(temperature="F", length="ft", mass="lb", volume="gal")):
            form = form_of(kind, YARD, display, part_of(thing, YARD))
            assert read_form(kind, form, posted(form), display, find(data_of(TEXT), thing) or {}).fields == {}, thing


def test_what_every_kind_is_called_and_where_it_stands_is_known():
    assert set(MODELS) <= set(KIND_WORDS)
    assert set(MOVABLE) <= set(LISTS)
    assert {kind for kind in MODELS if kind not in LISTS} == set(GROUPS)


@pytest.mark.parametrize("kind", MOVABLE)
def test_gear_is_added_to_a_file_without_any_and_the_last_is_taken_out(kind):
    bare = {key: value for key, value in data_of(TEXT).items() if key not in ("gear", "people", "circuits", "shelters")}
    from fruitwall.yard.revise import revise

    text = revise(TEXT, bare)
    fields = {
        "cover": {"name": "Old sheet", "material": "bed_sheet", "width": 4, "length": 4},
        "lamp": {"name": "Lamps", "watts": 100, "kind": "led"},
        "heater": {"name": "Heater", "watts": 1500},
        "lead": {"name": "Lead", "length": 10, "conductor": "12 AWG"},
        "trolley": {"name": "Trolley", "max_mass": 90},
        "shade": {"name": "Shade net", "shade": "50 %", "width": 4, "length": 4},
        "paint": {"name": "White paint", "volume": 2.5},
        "person": {"name": "Íñigo", "minutes_before_dusk": 30},
    }[kind]
    added, thing = edited_text(version(text), Add(kind, fields), NOW)
    assert kind_of(thing, parse_yard(added)) == kind
    assert find(data_of(added), thing) == {"id": thing} | fields

    gone, _ = edited_text(version(added), Remove(thing), NOW)
    assert find(data_of(gone), thing) is None
    assert kind_of(thing, parse_yard(gone)) is None


def test_what_is_wrong_is_told_beside_its_field():
    with pytest.raises(EditRefused) as refused:
        edited_text(version(), Change("fleece-small", {"width": 200}), NOW)
    assert [name for name, _ in refused.value.problems] == ["width"]
    with pytest.raises(EditRefused) as refused:
        edited_text(version(), Change("@prices", {"per_hour": -1}), NOW)
    assert [name for name, _ in refused.value.problems] == ["per_hour"]


def test_a_group_that_is_not_written_yet_is_written_and_cannot_be_taken_out():
    bare = {key: value for key, value in data_of(TEXT).items() if key != "prices"}
    data, _ = applied(bare, Change("@prices", {"per_kwh": 0.5}))
    assert data["prices"] == {"per_kwh": 0.5}
    with pytest.raises(EditRefused):
        applied(bare, Remove("@prices"))


def test_a_socket_without_protection_is_warned_of():
    text, _ = edited_text(version(), Change("shed-outlet", {"ground_fault": False}), NOW)
    assert any("RCD" in warning for warning in warnings_about(version(text), "shed-outlet", NOW))


def test_people_are_here_on_their_evenings_and_back_after_they_were_away():
    one = Person(id="ana", name="Ana", minutes_before_dusk=30, evenings=["tue", "sat"], away_until="2026-12-26")
    tuesday, saturday, sunday = date(2026, 12, 22), date(2026, 12, 26), date(2026, 12, 27)
    assert [one.is_here(day) for day in (tuesday, saturday, sunday)] == [False, True, False]
    assert Person(id="bo", name="Bo", minutes_before_dusk=30).is_here(sunday)
