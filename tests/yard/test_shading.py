"""Shade cloth and paint: written with units, entered in a form, kept in the file."""

from __future__ import annotations

import pytest

from fruitwall.errors import YardFileError
from fruitwall.service.yard_edit import Add, data_of, find
from fruitwall.service.yard_form import form_of, part_of, parts_of, read_form
from fruitwall.yard.checks import check_yard
from fruitwall.yard.file import parse_yard, write_yard
from fruitwall.yard.model import Display

TEXT = """
fruitwall: 1
name: Shaded
location: {latitude: 33.92, longitude: -117.22, elevation: 500, time_zone: America/Los_Angeles}
outline: [[0, 0], [12, 0], [12, 15], [0, 15]]
gear_store: [11, 14]
trees:
  - {id: lemon, name: Lemon, taxon: lemon, position: [5, 8], height: 2, crown_diameter: 2}
gear:
  shades:
    - {id: net, name: Net, shade: 50 %, width: 12 ft, length: 20 ft, count: 2, on_frame: yes}
  paints:
    - {id: white, name: White paint, volume: 1 gal}
"""
YARD = parse_yard(TEXT)


def test_share_and_sizes_are_read_with_their_units():
    net, paint = YARD.gear.shades[0], YARD.gear.paints[0]
    assert (net.shade, net.count, net.on_frame, net.wear) == (0.5, 2, True, 0.10)
    # By definition: the foot is 0.3048 m, the US gallon 3.785411784 L.
    assert (net.width_m, net.length_m) == pytest.approx((12 * 0.3048, 20 * 0.3048))
    assert paint.volume_l == pytest.approx(3.785411784)


def test_what_is_written_is_read_again():
    assert parse_yard(write_yard(YARD)) == YARD


def test_impossible_cloth_is_refused_with_its_place_and_range():
    for share in ("120 %", "0"):
        with pytest.raises(YardFileError) as refused:
            parse_yard(TEXT.replace("shade: 50 %", f"shade: {share}"))
        assert "gear.shades[0].shade" in str(refused.value)
    with pytest.raises(YardFileError, match="already that of"):
        parse_yard(TEXT.replace("id: white", "id: net"))


def test_cloth_that_is_too_small_for_every_tree_is_warned_of():
    # The lemon's crown is 2 m wide and 2 m deep: 6 m; 12 ft are 3.66 m.
    told = [one for one in check_yard(YARD) if one.loc == ("gear", "shades", 0)]
    assert [one.severity for one in told] == ["warning"]
    assert "lemon would need 6 m each way" in told[0].message
    large = parse_yard(TEXT.replace("width: 12 ft", "width: 20 ft"))
    assert [one for one in check_yard(large) if "shades" in one.loc] == []


def test_the_form_shows_what_stands_there_and_sends_what_changed():
    display = Display(length="ft", volume="gal")
    net = part_of("net", YARD)
    form = {field.name: field for field in form_of("shade", YARD, display, net)}
    assert (form["width"].text, form["width"].unit) == ("12", "ft")
    sent = {name: [field.text] for name, field in form.items() if field.input in ("number", "text")}
    entered = read_form(
        "shade", list(form.values()), sent | {"width": ["14"]}, display, find(data_of(TEXT), "net") or {}
    )
    assert entered.fields == {"width": "14 ft"}
    assert [one.id for one in parts_of("paint", YARD)] == ["white"]
    assert Add("paint", {"name": "More", "volume": 1.0}).kind == "paint"
