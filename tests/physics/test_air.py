"""Psychrometrics against FAO-56, handbook tables, psychrolib and what must always hold."""

import importlib.util
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics import air
from tests.published import find_check

FILE = "air.yaml"
MMHG_KPA = 0.133322
INHG_KPA = 3.386389


def fahrenheit(t_c):
    return t_c * 1.8 + 32.0


def celsius(t_f):
    return (np.asarray(t_f) - 32.0) / 1.8


@pytest.fixture(scope="module")
def psychrolib():
    """psychrolib in SI units, a copy of its own without numba: compiling it takes longer than all these tests."""
    spec = importlib.util.find_spec("psychrolib")
    module = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "numba", None)
        spec.loader.exec_module(module)
    module.SetUnitSystem(module.SI)
    return module


# ---------------------------------------------------------------- published values


def test_saturation_over_ice_and_water_is_that_of_the_handbook():
    check = find_check(FILE, "psy-svp-ashrae-s")
    assert air.saturation_vapour_pressure(check.given("t_c"), over_ice=True) * 1000 == check.approx("p_ws_pa")


def test_saturation_over_ice_is_that_of_the_old_mercury_table():
    check = find_check(FILE, "psy-ice-table-mmhg")
    over_ice = air.saturation_vapour_pressure(check.given("t_c"), over_ice=True)
    assert over_ice / MMHG_KPA == check.approx("e_ice_mmhg")


def test_the_mean_saturation_of_a_day_is_the_mean_of_its_extremes():
    check = find_check(FILE, "psy-svp-fao56")
    highest, lowest = (air.saturation_vapour_pressure(check.given(name)) for name in ("t_max_c", "t_min_c"))
    assert highest == check.approx("e_tmax_kpa")
    assert lowest == check.approx("e_tmin_kpa")
    assert (highest + lowest) / 2 == pytest.approx(check.want("e_s_mean_kpa"), abs=0.005)  # printed to two decimals


def test_moisture_taken_as_saturation_at_the_minimum_is_that_of_fao_example_20():
    check = find_check(FILE, "psy-ea-tmin-fao56")
    assert air.saturation_vapour_pressure(check.given("t_min_c")) == check.approx("ea_kpa")


def test_moisture_from_relative_humidity_is_that_of_fao_example_5():
    check = find_check(FILE, "psy-ea-rh-fao56")
    # The example gives vapour pressures; their temperatures are the dew points of these.
    t_min, t_max = (air.dew_point(check.given(name)) for name in ("e_tmin_kpa", "e_tmax_kpa"))
    at_night, at_noon = (
        air.vapour_pressure(t_min, check.given("rh_max_pct")),
        air.vapour_pressure(t_max, check.given("rh_min_pct")),
    )
    assert (at_night + at_noon) / 2 == check.approx("ea_kpa")


def test_pressure_and_psychrometric_constant_at_1800_m_are_those_of_fao_example_2():
    check = find_check(FILE, "psy-pressure-fao56")
    pressure = air.pressure_at(check.given("elevation_m"))
    assert pressure == check.approx("p_kpa")
    assert air.psychrometric_constant(pressure) == check.approx("gamma_kpa_per_k")


def test_slope_of_saturation_is_that_of_fao_example_17():
    check = find_check(FILE, "psy-slope-fao56")
    assert air.slope_of_saturation(check.given("t_c")) == check.approx("delta_kpa_per_k")


def test_psychrometer_coefficients_are_those_of_fao_and_the_iced_bulb():
    check = find_check(FILE, "psy-psychrometer-coefficients")
    assert pytest.approx(check.want("a_per_k")[0], abs=1e-6) == air.PSYCHROMETER_WATER
    assert check.approx("a_iced_bulb_ventilated_per_k") == air.PSYCHROMETER_ICE


def test_humidity_ratio_at_saturation_is_that_of_the_handbook():
    check = find_check(FILE, "psy-humidity-ratio-sat")
    saturated = air.saturation_vapour_pressure(check.given("t_c"), over_ice=True)
    assert air.humidity_ratio(saturated, check.given("p_pa") / 1000) == check.approx("w_sat_kg_per_kg")


def test_humidity_from_an_iced_bulb_is_that_of_the_handbook_example():
    check = find_check(FILE, "psy-wetbulb-w-subzero")
    dry, bulb, pressure = check.given("t_dry_c"), check.given("t_wet_c"), check.given("p_pa") / 1000
    # Handbook eq. 35, with our vapour pressure over ice.
    saturated = air.humidity_ratio(air.saturation_vapour_pressure(bulb, over_ice=True), pressure)
    ratio = ((2830.0 - 0.24 * bulb) * saturated - 1.006 * (dry - bulb)) / (2830.0 + 1.86 * dry - 2.1 * bulb)
    assert ratio == check.approx("w_kg_per_kg")


def test_wet_bulb_from_relative_humidity_is_the_handbook_one():
    check = find_check(FILE, "psy-wetbulb-from-rh")
    t = check.given("t_dry_c")
    dew = air.dew_point(air.vapour_pressure(t, check.given("rh_pct")))
    assert air.wet_bulb(t, dew, check.given("p_pa") / 1000) == check.approx("t_wet_c")


def test_wet_bulb_and_iced_bulb_of_freezing_nights():
    check = find_check(FILE, "psy-wetbulb-frostbulb-s")
    state = (check.given("t_c"), check.given("t_dew_c"), check.given("p_kpa"))
    assert air.wet_bulb(*state) == pytest.approx(check.want("t_wet_c"), abs=0.02)
    assert air.wet_bulb(*state, over_ice=True) == pytest.approx(check.want("t_frostbulb_c"), abs=0.02)
    assert air.wet_bulb(*state, over_ice=True) == check.approx("t_wet_thermodynamic_c")


def test_the_rule_of_one_third_is_near_the_wet_bulb_at_freezing():
    check = find_check(FILE, "psy-one-third-rule")
    bulb = fahrenheit(air.wet_bulb(celsius(check.given("t_f")), celsius(check.given("t_dew_f"))))
    assert bulb == check.approx("t_wet_rule_f")
    assert bulb == pytest.approx(check.want("t_wet_iterated_f"), abs=0.1)


def test_frost_point_lies_above_the_dew_point_of_the_same_air():
    check = find_check(FILE, "psy-frost-point-s")
    moisture = air.saturation_vapour_pressure(check.given("t_dew_c"))
    # Sonntag's curve over supercooled water lies 0.4 % below FAO-56's at -10 °C: 0.03 K.
    assert moisture == pytest.approx(check.want("ea_kpa"), rel=0.004)
    assert air.frost_point(moisture) == check.approx("t_frost_c")


def test_trap_what_old_tables_print_as_dew_point_below_freezing_is_the_frost_point():
    check = find_check(FILE, "psy-uswb-subfreezing-dewpoint")
    dry, pressure = celsius(check.given("t_dry_f")), check.given("p_inhg") * INHG_KPA
    bulb_f = check.given("t_dry_f") - check.given("depression_f")
    ferrel = 0.000367 * pressure * check.given("depression_f") * (1.0 + (bulb_f - 32.0) / 1571.0)
    moisture = air.saturation_vapour_pressure(celsius(bulb_f), over_ice=True) - ferrel
    assert air.saturation_vapour_pressure(dry, over_ice=True) / INHG_KPA == pytest.approx(0.1026, abs=0.0003)

    assert fahrenheit(air.frost_point(moisture)) == check.approx("printed_dew_point_f")
    assert np.all(fahrenheit(air.dew_point(moisture)) < check.want("printed_dew_point_f") - 3.5)


def test_dew_point_from_a_sling_psychrometer_is_that_of_the_classroom_example():
    check = find_check(FILE, "psy-ward-dewpoint")
    dry, bulb = celsius(check.given("t_dry_f")), celsius(check.given("t_wet_f"))
    moisture = air.saturation_vapour_pressure(bulb) - air.PSYCHROMETER_WATER * 101.325 * (dry - bulb)
    assert fahrenheit(air.dew_point(moisture)) == check.approx("t_dew_f")


def test_dew_point_falls_one_kelvin_for_five_per_cent_of_humidity():
    check = find_check(FILE, "psy-lawrence-rule")
    for t in (0.0, 20.0):
        dew = air.dew_point(air.vapour_pressure(t, check.given("rh_pct")))
        assert t - dew == check.approx("t_minus_tdew_c")


def test_the_one_formula_wet_bulb_is_off_by_no_more_than_its_author_says():
    check = find_check(FILE, "psy-stull-wetbulb")

    def stull(t, rh):
        at = np.arctan
        first = t * at(0.151977 * (rh + 8.313659) ** 0.5) + at(t + rh) - at(rh - 1.676331)
        return first + 0.00391838 * rh**1.5 * at(0.023101 * rh) - 4.686035

    assert stull(check.given("t_c"), check.given("rh_pct")) == check.approx("t_wet_formula_c")
    t, rh = np.meshgrid(np.linspace(-10.0, 40.0, 26), np.linspace(10.0, 95.0, 18))
    # Its range is printed as -1.0 to +0.65 K; below 0 °C it is read against the iced bulb as well as the wet one.
    off = stull(t, rh) - air.wet_bulb(t, air.dew_point(air.vapour_pressure(t, rh)))
    assert -1.05 < off[t >= 0.0].min() < off[t >= 0.0].max() < 0.75


# ---------------------------------------------------------------- psychrolib as an oracle


@pytest.mark.parametrize("t_c", [-40.0, -20.0, -10.0, -2.0, -0.1, 0.5, 5.0, 20.0, 40.0])
def test_saturation_agrees_with_psychrolib(psychrolib, t_c):
    # psychrolib takes ice below the triple point; Tetens is 0.13 % off at 40 °C, the ice curve 0.35 % at -40 °C.
    expected = psychrolib.GetSatVapPres(t_c) / 1000
    assert air.saturation_vapour_pressure(t_c, over_ice=True) == pytest.approx(expected, rel=0.0035)


@pytest.mark.parametrize(("t_c", "rh"), [(2.0, 0.6), (8.0, 0.4), (20.0, 0.5), (35.0, 0.2), (30.0, 0.95)])
def test_wet_bulb_agrees_with_psychrolib_above_freezing(psychrolib, t_c, rh):
    pressure = 95.0
    dew = air.dew_point(air.vapour_pressure(t_c, 100 * rh))
    expected = psychrolib.GetTWetBulbFromRelHum(t_c, rh, pressure * 1000)
    # An aspirated psychrometer is no adiabatic saturator: up to 0.2 K in hot dry air.
    assert air.wet_bulb(t_c, dew, pressure) == pytest.approx(expected, abs=0.25)


def test_air_density_agrees_with_psychrolib(psychrolib):
    ratio = air.humidity_ratio(1.0, 101.325)
    expected = psychrolib.GetMoistAirDensity(10.0, float(ratio), 101325.0)
    assert air.air_density(10.0, 1.0, 101.325) == pytest.approx(expected, rel=1e-3)


# ---------------------------------------------------------------- what always holds

temperatures = st.floats(-45.0, 60.0)
depressions = st.floats(0.0, 40.0)


@given(temperatures, depressions, st.floats(50.0, 105.0))
def test_a_wet_bulb_lies_between_dew_point_and_air(t_c, depression, p_kpa):
    dew = t_c - depression
    bulb = air.wet_bulb(t_c, dew, p_kpa)
    assert dew - 1e-6 <= bulb <= t_c + 1e-6


@given(temperatures, depressions)
def test_a_wet_bulb_satisfies_the_psychrometer_equation(t_c, depression):
    bulb = air.wet_bulb(t_c, t_c - depression)
    left = air.saturation_vapour_pressure(bulb) - air.PSYCHROMETER_WATER * 101.325 * (t_c - bulb)
    assert left == pytest.approx(air.saturation_vapour_pressure(t_c - depression), abs=1e-8)


@given(st.floats(-60.0, 80.0))
def test_dew_point_undoes_saturation(t_c):
    assert air.dew_point(air.saturation_vapour_pressure(t_c)) == pytest.approx(t_c, abs=1e-9)
    assert air.frost_point(air.saturation_vapour_pressure(t_c, over_ice=True)) == pytest.approx(t_c, abs=1e-9)


@given(st.floats(1e-4, 5.0))
def test_a_frost_point_lies_between_dew_point_and_zero(ea_kpa):
    dew, frost = air.dew_point(ea_kpa), air.frost_point(ea_kpa)
    assert dew <= frost
    assert frost <= max(0.0, float(dew))


@given(st.floats(-80.0, 80.0), st.floats(0.01, 9.0))
def test_saturation_rises_with_temperature_over_water_and_ice(t_c, more):
    for over_ice in (False, True):
        lower, higher = air.saturation_vapour_pressure([t_c, t_c + more], over_ice=over_ice)
        assert lower < higher


def test_water_and_ice_meet_at_zero_and_ice_lies_below():
    assert air.saturation_vapour_pressure(0.0) == air.saturation_vapour_pressure(0.0, over_ice=True)
    below = np.linspace(-40.0, -0.1, 50)
    assert np.all(air.saturation_vapour_pressure(below, over_ice=True) < air.saturation_vapour_pressure(below))


def test_slope_is_the_derivative_of_saturation():
    t = np.linspace(-30.0, 45.0, 16)
    derivative = (air.saturation_vapour_pressure(t + 1e-4) - air.saturation_vapour_pressure(t - 1e-4)) / 2e-4
    assert air.slope_of_saturation(t) == pytest.approx(derivative, rel=1e-6)


def test_saturated_air_has_wet_bulb_dew_point_and_air_in_one():
    assert air.wet_bulb([-5.0, 0.0, 12.0], [-5.0, 0.0, 12.0]) == pytest.approx([-5.0, 0.0, 12.0], abs=1e-8)


def test_an_iced_bulb_in_air_saturated_over_water_is_warmer_than_the_air():
    assert -8.0 < air.wet_bulb(-8.0, -8.0, over_ice=True) < air.frost_point(air.saturation_vapour_pressure(-8.0))


def test_moist_air_is_lighter_than_dry():
    assert air.air_density(20.0, 2.0) < air.air_density(20.0)
    assert air.volumetric_heat_capacity(0.0) / 3600 == pytest.approx(0.36, abs=0.002)


# ---------------------------------------------------------------- arrays, NaN, refusal


def test_arrays_broadcast_and_match_single_values():
    t, dew = np.array([[2.0], [10.0]]), np.array([-3.0, 0.0, 2.0])
    together = air.wet_bulb(t, dew, 90.0)
    assert together.shape == (2, 3)
    one_by_one = [[float(air.wet_bulb(a, b, 90.0)) for b in dew] for a in t[:, 0]]
    assert together == pytest.approx(np.array(one_by_one), abs=1e-9)


def test_nan_stays_nan_beside_good_values():
    assert np.isnan(air.wet_bulb([np.nan, 2.0], [0.0, -4.0])).tolist() == [True, False]
    assert air.wet_bulb([np.nan, 2.0], [0.0, -4.0])[1] == pytest.approx(-0.2012, abs=1e-4)
    for function in (air.dew_point, air.frost_point, air.saturation_vapour_pressure, air.pressure_at):
        assert np.isnan(function([np.nan, 1.0])).tolist() == [True, False]


def test_a_dew_point_above_the_air_is_refused_in_words():
    with pytest.raises(ValueError, match=r"t_dew_c must be at most t_c, got t_dew_c 3\.0 with t_c 2\.0"):
        air.wet_bulb([5.0, 2.0], [1.0, 3.0])


def test_vapour_that_fills_the_air_is_refused():
    with pytest.raises(ValueError, match="ea_kpa must be less than p_kpa"):
        air.humidity_ratio(40.0, 35.0)
