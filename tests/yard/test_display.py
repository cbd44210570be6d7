import math

import pint
import pytest

from fruitwall.yard.display import NO_VALUE, format_quantity, in_household_unit, unit_symbol
from fruitwall.yard.model import Display

METRIC = Display()
US = Display(temperature="F", length="ft", mass="lb", volume="gal", currency="USD")


@pytest.mark.parametrize(
    ("value", "kind", "metric", "us"),
    [
        (-2.2222, "temperature", "−2.2 °C", "28 °F"),
        (-0.01, "temperature", "0.0 °C", "32 °F"),
        (1.6667, "difference", "1.7 °C", "3.0 °F"),
        (1.8288, "length", "1.83 m", "6.0 ft"),
        (18.288, "length", "18.3 m", "60 ft"),
        (499.872, "length", "500 m", "1640 ft"),
        (13.6077, "mass", "14 kg", "30 lb"),
        (3.2, "mass", "3.2 kg", "7.1 lb"),
        (56.781, "volume", "57 L", "15 gal"),
    ],
)
def test_values_are_shown_in_the_households_unit(value, kind, metric, us):
    assert format_quantity(value, kind, METRIC).replace("\N{NO-BREAK SPACE}", " ") == metric
    assert format_quantity(value, kind, US).replace("\N{NO-BREAK SPACE}", " ") == us


def test_a_margin_carries_its_sign():
    assert format_quantity(1.0, "difference", METRIC, signed=True, unit=False) == "+1.0"
    assert format_quantity(-1.0, "difference", METRIC, signed=True, unit=False) == "−1.0"
    assert format_quantity(0.01, "difference", METRIC, signed=True, unit=False) == "0.0"


def test_digits_can_be_asked_for():
    assert format_quantity(-2.2222, "temperature", US, digits=1, unit=False) == "28.0"
    with pytest.raises(ValueError, match="digits must be from 0 to 6, got 7"):
        format_quantity(1.0, "length", METRIC, digits=7)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_missing_value_is_a_dash(value):
    assert format_quantity(value, "temperature", METRIC) == NO_VALUE


@pytest.mark.parametrize("kind", ["temperature", "difference", "length", "mass", "volume"])
def test_factors_agree_with_pint(kind):  # an independent source of the definitions
    registry = pint.UnitRegistry()
    si, us = {
        "temperature": ("degC", "degF"),
        "difference": ("kelvin", "delta_degF"),
        "length": ("meter", "foot"),
        "mass": ("kilogram", "pound"),
        "volume": ("liter", "US_liquid_gallon"),
    }[kind]
    assert in_household_unit(7.3, kind, US) == pytest.approx(registry.Quantity(7.3, si).to(us).magnitude, rel=1e-12)
    assert in_household_unit(7.3, kind, METRIC) == 7.3
    assert unit_symbol(kind, METRIC) != unit_symbol(kind, US)


def test_an_unknown_kind_is_refused():
    with pytest.raises(ValueError, match="kind must be temperature, difference, length, mass or volume, got 'speed'"):
        in_household_unit(1.0, "speed", METRIC)
