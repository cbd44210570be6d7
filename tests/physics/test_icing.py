"""Wet plants and sprinkling against published rates and tables; the sources stand in tests/checks/icing.yaml."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics import icing
from fruitwall.physics.air import wet_bulb
from fruitwall.physics.rootball import FREEZING_J_M3
from tests.published import find_check

FILE = "icing.yaml"
INCH_MM = 25.4
BTU_J = 1055.056
POUND_KG = 0.45359237
GALLON_KG = 3.785412 * 0.9998
CALORIE_J = 4.184

# ---------------------------------------------------------------- published values


def test_one_part_that_evaporates_takes_what_seven_and_a_half_give_by_freezing():
    check = find_check(FILE, "water-latent-ratio")
    assert check.approx("evaporation_mj_kg") == icing.EVAPORATION_J_KG / 1e6
    assert check.approx("ratio_evaporation_to_fusion") == icing.EVAPORATION_OVER_FREEZING


def test_a_millimetre_an_hour_gives_and_takes_the_published_heat():
    check = find_check(FILE, "water-application-heat")
    rate, t = check.given("rate_mm_h"), check.given("t_water_c")
    assert icing.freezing_heat_w_m2(rate) == check.approx("freezing_w_m2")
    cooling = icing.freezing_heat_w_m2(rate, t) - icing.freezing_heat_w_m2(rate)
    assert cooling == check.approx("cooling_to_0_w_m2")
    assert icing.evaporating_heat_w_m2(rate) == check.approx("evaporating_1mm_h_costs_w_m2")


def test_a_mole_of_water_gives_the_heat_of_the_worked_example():
    check = find_check(FILE, "water-mole-freeze")
    per_mm = 3600.0 / 1000.0 * check.given("mass_g") / 1000.0  # from W/m² at 1 mm/h to kJ in this mass
    freezing = icing.freezing_heat_w_m2(1.0) * per_mm
    assert freezing == check.approx("freezing_kj")
    assert icing.freezing_heat_w_m2(1.0, check.given("from_c")) * per_mm - freezing == check.approx("cooling_to_0_kj")


def test_rates_and_heats_are_those_of_the_fact_sheet():
    check = find_check(FILE, "water-hs76")
    assert pytest.approx(check.want("rate_in_per_h_at_least") * INCH_MM, rel=1e-6) == icing.LEAST_RATE_MM_H
    assert pytest.approx(check.want("nursery_rate_in_per_h") * INCH_MM, rel=1e-6) == icing.NURSERY_RATE_MM_H
    assert check.approx("fusion_btu_per_gal") == icing.FUSION_J_KG * GALLON_KG / BTU_J
    assert check.approx("fusion_cal_per_g") == icing.FUSION_J_KG / 1000.0 / CALORIE_J
    assert check.approx("evaporation_btu_per_gal") == icing.EVAPORATION_J_KG * GALLON_KG / BTU_J
    assert check.approx("evaporation_cal_per_g") == icing.EVAPORATION_J_KG / 1000.0 / CALORIE_J


def test_trap_144_btu_are_of_a_pound_of_water_and_not_of_a_gallon():
    check = find_check(FILE, "water-btu-trap")
    assert check.approx("btu_per_lb") == icing.FUSION_J_KG * POUND_KG / BTU_J
    assert check.approx("btu_per_us_gal") == icing.FUSION_J_KG * GALLON_KG / BTU_J
    # The same heat by volume is what the pots' water freezes with.
    assert pytest.approx(icing.FUSION_J_KG * 1000.0, rel=0.005) == FREEZING_J_M3


def test_sprinkling_starts_where_the_table_of_wet_bulbs_and_dew_points_says():
    check = find_check(FILE, "water-start-computed")
    dew, bulb = check.given("t_dew_c")[:, None], check.given("t_wet_c")[None, :]
    assert icing.sprinkling_start_c(dew, bulb, check.given("p_kpa")) == check.approx("start_stop_air_c")


def test_sprinkling_starts_near_the_temperatures_of_the_growers_table():
    check = find_check(FILE, "water-start-omafa")
    start = icing.sprinkling_start_c(check.given("t_dew_c"), check.given("t_wet_target_c"))
    assert start == check.approx("start_air_c_printed")
    # The psychrometric row was computed with another curve over water: 0.02 K of dew point at -8 °C.
    assert start == pytest.approx(check.want("psychrometric_c"), abs=0.03)


@pytest.mark.parametrize(("air", "humidity_dew"), [(1.0, -9.0), (2.0, -8.0), (4.0, -5.0)])
def test_wet_leaves_in_dry_wind_are_as_much_colder_as_the_circular_says(air, humidity_dew):
    check = find_check(FILE, "water-wetbulb-dry-wind")
    low, high = check.want("wet_bulb_below_air_f")
    drop_f = 1.8 * icing.wet_foliage_drop_k(air, humidity_dew)  # 45 to 55 % of humidity
    assert low - 0.5 <= drop_f <= high + 0.5  # whole degrees Fahrenheit in print
    assert check.want("safe_to_stop_when_wet_bulb_f_at_least") == 32.0 + 1.8 * icing.SAFE_WET_BULB_C


# ---------------------------------------------------------------- what always holds

states = st.tuples(st.floats(-25.0, 20.0), st.floats(0.0, 25.0))


@given(states, st.floats(0.5, 15.0))
def test_drier_air_never_chills_a_wet_leaf_less(state, drier):
    air, gap = state
    moist, dry = icing.wet_foliage_drop_k(air, [air - gap, air - gap - drier])
    assert 0.0 <= moist <= dry + 1e-9
    assert dry <= gap + drier


@given(st.floats(-25.0, 5.0), st.floats(0.0, 10.0), st.floats(60.0, 105.0))
def test_the_air_at_the_start_has_the_wet_bulb_asked_for(bulb, gap, pressure):
    start = icing.sprinkling_start_c(bulb - gap, bulb, pressure)
    assert start >= bulb
    assert wet_bulb(start, bulb - gap, pressure) == pytest.approx(bulb, abs=1e-6)


@given(st.floats(-12.0, -0.1), st.floats(0.01, 3.0))
def test_water_runs_on_until_the_air_passes_the_starting_temperature_again(dew, off):
    start = float(icing.sprinkling_start_c(dew))
    assert icing.sprinkling_must_run([start - off, start + off], min(dew, start - off)).tolist() == [True, False]


def test_saturated_air_chills_nothing():
    assert icing.wet_foliage_drop_k([-5.0, 0.0, 8.0], [-5.0, 0.0, 8.0]) == pytest.approx([0.0, 0.0, 0.0], abs=1e-8)


def test_enough_water_outweighs_its_own_evaporation_and_less_does_not():
    # Frozen and evaporated share: with more than 1 part in 8.5 evaporating, sprinkling cools.
    shares = np.array([0.10, 0.13])
    gain = icing.freezing_heat_w_m2(6.0 * (1 - shares)) - icing.evaporating_heat_w_m2(6.0 * shares)
    assert gain[0] > 0.0 > gain[1]


# ---------------------------------------------------------------- arrays, NaN, refusals


def test_arrays_broadcast_and_equal_their_single_values():
    air, dew = np.array([[2.0], [6.0]]), np.array([-9.0, -2.0, 1.0])
    together = icing.wet_foliage_drop_k(air, dew, 90.0)
    assert together.shape == (2, 3)
    one_by_one = [[float(icing.wet_foliage_drop_k(a, d, 90.0)) for d in dew] for a in air[:, 0]]
    assert together == pytest.approx(np.array(one_by_one), abs=1e-9)


def test_nan_stays_nan_and_is_not_called_safe():
    assert np.isnan(icing.wet_foliage_drop_k([np.nan, 2.0], -4.0)).tolist() == [True, False]
    assert np.isnan(icing.sprinkling_start_c([np.nan, -2.0])).tolist() == [True, False]
    assert np.isnan(icing.freezing_heat_w_m2([np.nan, 2.0])).tolist() == [True, False]
    assert icing.sprinkling_must_run([np.nan, 9.0], -4.0).tolist() == [True, False]


def test_a_dew_point_above_air_or_bulb_is_refused_in_words():
    with pytest.raises(ValueError, match=r"t_dew_c must be at most t_c, got t_dew_c 3\.0 with t_c 2\.0"):
        icing.wet_foliage_drop_k(2.0, 3.0)
    with pytest.raises(ValueError, match=r"t_dew_c must be at most t_wet_c, got t_dew_c 1\.0 with t_wet_c 0\.0"):
        icing.sprinkling_start_c(1.0)
