import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.yard.units import KINDS, conductor_area, read_quantity


@pytest.mark.parametrize(
    ("kind", "written", "si"),
    [
        # exact by definition: international foot, inch, pound; US gallon of 231 cubic inches
        ("length", "6 ft", 1.8288),
        ("length", "72 in", 1.8288),
        ("length", "6'2\"", 1.8796),
        ("length", "10 ft 6 in", 3.2004),
        ("length", "2 yards", 1.8288),
        ("length", "250 cm", 2.5),
        ("length", "2.5m", 2.5),
        ("length", 2, 2.0),
        ("length", "2.5", 2.5),
        ("mass", "30 lb", 13.6077711),
        ("mass", "500 g", 0.5),
        ("volume", "15 gal", 56.78117676),
        ("volume", "15 US gal", 56.78117676),
        ("volume", "0.1 m3", 100.0),
        # "A note about pot sizes: true volumes of trade containers", nursery notice (Colorado), read
        ("volume", "#5", 14.9),
        ("volume", "# 15", 54.9),
        ("power", "1500 W", 1500.0),
        ("power", "1.5 kW", 1500.0),
        ("power", "1.5KW", 1500.0),
        ("voltage", "120 V", 120.0),
        ("current", "20 amps", 20.0),
        ("time", "10 min", 10.0),
        ("time", "1.5 h", 90.0),
        ("age", "18 months", 1.5),
        ("temperature", "28 F", -2.22222222222),
        ("temperature", "-2 °C", -2.0),
        ("temperature", "−2 °C", -2.0),
        ("temperature", "68F", 20.0),
        ("temperature", "273.15 K", 0.0),
        ("temperature", -2, -2.0),
        ("angle", "12 deg", 12.0),
        ("share", "30 %", 0.3),
        ("area", "2.5 mm²", 2.5),
        ("area", "14 AWG", 2.08091),
        ("area", "AWG 14", 2.08091),
        ("coordinate", "-117.22°", -117.22),
    ],
)
def test_a_quantity_is_read_in_the_growers_unit(kind, written, si):
    assert read_quantity(KINDS[kind], written) == pytest.approx(si, rel=1e-12, abs=1e-12)


def test_a_difference_of_temperatures_has_no_zero_point():
    difference = KINDS["difference"]
    assert read_quantity(difference, "3 F") == pytest.approx(5 / 3)
    assert read_quantity(difference, "1.5 °C") == 1.5
    assert read_quantity(difference, "2 K") == 2.0
    assert read_quantity(difference, "-9 F") == -5.0


@pytest.mark.parametrize(
    ("gauge", "mm2"),
    [
        (10, 5.261),
        (12, 3.309),
        (14, 2.081),
        (16, 1.309),
        (18, 0.823),
    ],  # printed wire tables after ASTM B258, from memory
)
def test_wire_gauges_give_the_printed_cross_sections(gauge, mm2):
    assert conductor_area(gauge) == pytest.approx(mm2, abs=0.0005)


def test_a_wire_gauge_out_of_range_is_refused():
    with pytest.raises(ValueError, match="gauge must be from 0 to 40 AWG, got 41"):
        conductor_area(41)


@pytest.mark.parametrize(
    ("kind", "written", "message"),
    [
        ("length", "5 kg", 'expected a length such as "2.5 m" or "8 ft", got "5 kg"'),
        ("length", "tall", 'expected a length such as "2.5 m" or "8 ft", got "tall"'),
        ("length", "2 m 10 cm", 'expected a length such as "2.5 m" or "8 ft", got "2 m 10 cm"'),
        ("length", "", 'expected a length such as "2.5 m" or "8 ft", got ""'),
        ("length", None, 'expected a length such as "2.5 m" or "8 ft", got nothing'),
        ("length", True, 'expected a length such as "2.5 m" or "8 ft", got true'),
        ("length", [1, 2], 'expected a length such as "2.5 m" or "8 ft", got a list of 2'),
        ("length", {"a": 1}, 'expected a length such as "2.5 m" or "8 ft", got a group of fields (a)'),
        ("length", "1,5 m", "write 1.5 with a point, and 1500 without a comma"),
        ("temperature", "28 lb", 'expected a temperature such as "-2 °C" or "28 F", got "28 lb"'),
        ("power", "nan", "which is not a finite number"),
        ("power", float("nan"), "got nan, which is not a finite number"),
        ("power", float("inf"), "got inf, which is not a finite number"),
        ("power", "1e999 W", 'got "1e999 W", which is not a finite number'),
        ("power", 10**400, "got a very large number, which is not a finite number"),
        ("volume", "#4", "no container class #4; the known classes are #1, #2, #3, #5"),
        ("area", "99 AWG", "gauge must be from 0 to 40 AWG, got 99"),
        ("money", "$12", 'expected an amount of money without its sign such as 120 or 12.50, got "$12"'),
        ("coordinate", "33 55 N", 'such as 33.92 or -117.22, got "33 55 N"'),
    ],
)
def test_what_is_no_such_quantity_is_refused_with_an_example(kind, written, message):
    with pytest.raises(ValueError) as refused:  # noqa: PT011 - the message is looked at below
        read_quantity(KINDS[kind], written)
    assert message in str(refused.value)


def test_a_long_or_unprintable_text_is_quoted_short_and_harmless():
    with pytest.raises(ValueError) as refused:  # noqa: PT011 - the message is looked at below
        read_quantity(KINDS["length"], "\x1b[31m" + "x" * 10_000)
    assert len(str(refused.value)) < 150
    assert "\x1b" not in str(refused.value)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.key)
def test_examples_and_all_spellings_can_be_read(kind):
    for example in kind.examples:
        read_quantity(kind, example)
    for spelling in kind.spellings:
        assert read_quantity(kind, f"1 {spelling.upper()}") == read_quantity(kind, f"1{spelling}")


@given(
    st.sampled_from(list(KINDS.values())),
    st.text(max_size=12) | st.from_regex(r"-?[0-9]{1,4}(\.[0-9])? ?[a-zA-Z°%]{0,3}"),
)
def test_any_text_is_read_as_a_finite_number_or_refused_in_words(kind, text):
    value, refusal = None, ""
    try:
        value = read_quantity(kind, text)
    except ValueError as refused:
        refusal = str(refused)
    assert refusal if value is None else math.isfinite(value)


def test_the_model_loads_without_pint_numpy_or_shapely():
    code = "import sys, fruitwall.yard.model; print([m for m in ('pint', 'numpy', 'shapely') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
