"""How a yard is watered: emitters, roots, salt; written with units, entered in a form, kept in the file."""

from __future__ import annotations

import pytest

from fruitwall.service.yard_edit import data_of, find
from fruitwall.service.yard_form import form_of, part_of, read_form
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Display

TEXT = """
fruitwall: 1
name: Watered
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [12, 0], [12, 15], [0, 15]]
gear_store: [11, 14]
water: {conductivity: 900 uS/cm, hose_flow: 4 gpm}
trees:
  - id: lemon
    name: Lemon
    taxon: lemon
    position: [5, 8]
    height: 2
    crown_diameter: 2
    root_depth: 2 ft
    emitter: {flow: 1 gph, count: 4}
  - id: lime
    name: Lime
    taxon: lime
    position: [8, 4]
    height: 1.2
    crown_diameter: 0.6
    container: {volume: 40, mix: bark}
"""
YARD = parse_yard(TEXT)
GALLONS = Display(volume="gal")


def changed(thing: str, kind: str, display: Display, **entered: str) -> dict[str, object]:
    """Give what changes in the file where fields of a form are filled in."""
    form = form_of(kind, YARD, display, part_of(thing, YARD))
    sent = {field.name: [field.text] for field in form if field.input in ("number", "text", "choice")}
    sent |= {name.replace("__", "."): [text] for name, text in entered.items()}
    return read_form(kind, form, sent, display, find(data_of(TEXT), thing) or {}).fields


def test_flows_and_salt_are_read_with_their_units():
    # US gallon of 231 cubic inches: 3.785411784 L by definition.
    lemon, lime = YARD.trees
    assert lemon.emitter is not None
    assert lemon.emitter.total_l_h == pytest.approx(4 * 3.785411784, rel=1e-11)
    assert lemon.root_depth_m == pytest.approx(0.6096)
    assert YARD.water.conductivity_ds_m == pytest.approx(0.9)
    assert YARD.water.hose_flow_l_min == pytest.approx(4 * 3.785411784, rel=1e-11)
    assert (lime.emitter, lime.root_depth_m) == (None, None)
    assert lime.container is not None
    assert lime.container.mix == "bark"


def test_an_emitter_is_entered_in_the_form_of_a_tree_and_taken_out_by_emptying_it():
    assert changed("lime", "tree", Display(), emitter__flow="8", emitter__count="2") == {
        "emitter": {"flow": 8.0, "count": 2}
    }
    assert changed("lime", "tree", GALLONS, emitter__flow="2") == {"emitter": {"flow": "2 gph"}}
    assert changed("lemon", "tree", Display(), emitter__flow="") == {"emitter": None}


def test_a_form_sent_as_it_stands_changes_nothing_in_litres_or_gallons():
    for display in (Display(), GALLONS):
        assert changed("lemon", "tree", display) == {}
        assert changed("@water", "@water", display) == {}
    shown = {field.name: (field.text, field.unit) for field in form_of("@water", YARD, GALLONS, YARD.water)}
    assert shown == {"conductivity": ("0.9", "dS/m"), "hose_flow": ("4", "gpm"), "tap": ("", "m")}


def test_the_tap_is_entered_by_two_numbers_and_taken_out_by_emptying_them():
    assert changed("@water", "@water", Display(), **{"tap.0.x": "12.3", "tap.0.y": "31"}) == {"tap": [12.3, 31.0]}
    assert changed("@water", "@water", Display(), **{"tap.0.x": "", "tap.0.y": ""}) == {}
    tapped = parse_yard(TEXT.replace("hose_flow: 4 gpm", "hose_flow: 4 gpm, tap: [12.3, 31]"))
    assert tapped.water.tap == (12.3, 31.0)
    form = form_of("@water", tapped, Display(), tapped.water)
    sent = {field.name: [field.text] for field in form if field.input == "number"}
    emptied = read_form("@water", form, sent | {"tap.0.x": [""], "tap.0.y": [""]}, Display(), {"tap": [12.3, 31]})
    assert emptied.fields == {"tap": None}


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ("emitter: {flow: 1 gph, count: 4}", "emitter: {count: 4}"),
        ("emitter: {flow: 1 gph, count: 4}", "emitter: {flow: 0}"),
        ("emitter: {flow: 1 gph, count: 4}", "emitter: {flow: 4 mm}"),
        ("root_depth: 2 ft", "root_depth: 9 m"),
        ("conductivity: 900 uS/cm", "conductivity: 900"),
    ],
)
def test_what_cannot_be_is_refused(wrong, told):
    from fruitwall.errors import YardFileError

    with pytest.raises(YardFileError):
        parse_yard(TEXT.replace(wrong, told))
