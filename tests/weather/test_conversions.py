"""Units against pint, dew point against psychrolib, wind and distance against published examples."""

from __future__ import annotations

import math

import pint
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.weather.humidity import dew_point_from_humidity
from fruitwall.weather.place import Place
from fruitwall.weather.units import SPELLINGS, UNITS, convert
from fruitwall.weather.wind import wind_at_height
from tests.published import find_check

PINT = {
    ("temperature", "F"): ("degF", "degC"),
    ("temperature", "K"): ("kelvin", "degC"),
    ("wind", "km/h"): ("km/h", "m/s"),
    ("wind", "mph"): ("mile/hour", "m/s"),
    ("wind", "kn"): ("knot", "m/s"),
    ("rain", "in"): ("inch", "mm"),
    ("rain", "cm"): ("cm", "mm"),
    ("height", "ft"): ("foot", "m"),
    ("sun", "kJ/m2"): ("kJ/m^2/hour", "W/m^2"),
    ("sun", "MJ/m2"): ("MJ/m^2/hour", "W/m^2"),
}


@pytest.mark.parametrize(("ours", "theirs"), PINT.items(), ids=lambda pair: " ".join(pair))
def test_factors_agree_with_pint(ours, theirs):
    registry = pint.UnitRegistry()
    kind, unit = ours
    for value in (0.0, 1.0, 28.4):
        assert convert(value, unit, kind) == pytest.approx(registry.Quantity(value, theirs[0]).to(theirs[1]).magnitude)


def test_every_spelling_leads_to_a_unit():
    known = {unit for units in UNITS.values() for unit in units}
    assert set(SPELLINGS.values()) == known


def test_a_unit_of_another_kind_is_refused_with_those_that_fit():
    with pytest.raises(ValueError, match=r'"mm" is no unit of temperature; known are C, F, K'):
        convert(1.0, "mm", "temperature")


def test_the_dew_point_agrees_with_psychrolib_above_freezing():
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t_air, humidity in ((8.0, 95.0), (20.0, 50.0), (35.0, 15.0)):
        theirs = psychrolib.GetTDewPointFromRelHum(t_air, humidity / 100)
        # FAO-56's constants against the handbook's equation: 0.1 K. Below 0 °C psychrolib gives the frost point.
        assert theirs > 0
        assert dew_point_from_humidity(t_air, humidity) == pytest.approx(theirs, abs=0.1)


@given(st.floats(-40, 45), st.floats(0, 100))
def test_the_dew_point_never_exceeds_the_air(t_air, humidity):
    assert dew_point_from_humidity(t_air, humidity) <= t_air


def test_saturated_air_has_its_own_temperature_as_dew_point():
    assert dew_point_from_humidity(-3.0, 100.0) == pytest.approx(-3.0, abs=1e-12)


@pytest.mark.parametrize("humidity", [-1.0, 106.0])
def test_an_impossible_humidity_is_refused(humidity):
    with pytest.raises(ValueError, match=f"humidity_pct must be at least 0 and at most 105, got {humidity:g}"):
        dew_point_from_humidity(10.0, humidity)


def test_a_missing_humidity_stays_missing():
    assert math.isnan(dew_point_from_humidity(10.0, math.nan))


def test_wind_at_two_metres_is_that_of_fao_56_example_14():
    check = find_check("weather.yaml", "conv-wind-profile")
    assert wind_at_height(check.given("u10_m_s"), check.given("z_m"), 2.0) == check.approx("u2_m_s")
    assert wind_at_height(wind_at_height(3.2, 10.0, 2.0), 2.0, 10.0) == pytest.approx(3.2)


def test_a_degree_of_latitude_is_sixty_nautical_miles():
    # 111.19 km on a sphere of the mean radius.
    assert Place(33.0, -117.0, 0).distance_km(Place(34.0, -117.0, 0)) == pytest.approx(111.19, abs=0.01)


def test_distance_crosses_the_date_line():
    assert Place(0.0, 179.9, 0).distance_km(Place(0.0, -179.9, 0)) == pytest.approx(22.24, abs=0.01)
