"""Leaves and bodies against closed forms, published programs and field ranges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics import convection
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.air import dew_point, frost_point, saturation_vapour_pressure, vapour_pressure
from fruitwall.physics.body import Body
from fruitwall.physics.cases import body_parameters
from fruitwall.physics.sky import emitted, longwave_down
from fruitwall.physics.tissue import LATENT_ICE, LATENT_WATER, body_temperature, leaf_temperature
from tests.published import find_check

FILE = "tissue.yaml"
DRY = -60.0  # dew point of air that gives no dew

temperatures = st.floats(-25.0, 30.0)
winds = st.floats(0.0, 10.0)
widths = st.floats(0.003, 0.4)


def mean_of(sky, ground):
    return (np.asarray(sky) + np.asarray(ground)) / 2


# ---------------------------------------------------------------- published values


def test_a_leaf_with_given_exchange_is_that_of_the_closed_balance():
    check = find_check(FILE, "leaf-prescribed-h")
    leaf = leaf_temperature(
        check.given("t_air_c"),
        DRY,
        0.0,
        mean_of(check.given("l_sky_w_m2"), check.given("l_ground_w_m2")),
        emissivity=check.given("emissivity"),
        h_w_m2k=check.given("h_per_side_w_m2k"),
    )
    assert leaf - check.given("t_air_c") == check.approx("leaf_minus_air_c")


def test_leaves_by_wind_and_size_are_near_those_of_another_textbooks_coefficients():
    check = find_check(FILE, "leaf-night-computed-s")
    longwave = mean_of(check.given("l_sky_w_m2"), emitted(-1.0))
    for width, expected in check.want("leaf_minus_air_c").items():
        leaf = leaf_temperature(0.0, DRY, check.given("wind_m_s"), longwave, leaf_width_m=float(width))
        assert leaf == pytest.approx(expected, abs=0.3)  # the check allows 0.5; the blend was chosen by this


def test_a_dry_leaf_by_day_is_near_the_published_program():
    check = find_check(FILE, "leaf-bonan-dry")
    leaf = leaf_temperature(
        check.given("t_air_c"),
        DRY,
        check.given("wind_m_s"),
        0.0,
        check.given("absorbed_w_m2"),
        check.given("leaf_width_m"),
        emissivity=check.given("leaf_emissivity"),
        absorptance=1.0,
    )
    assert leaf == pytest.approx(check.want("t_leaf_c"), abs=0.6)  # other coefficients, as the check says


def test_a_level_leaf_on_a_calm_clear_night_is_colder_than_air_by_what_was_measured():
    check = find_check(FILE, "leaf-depression-leuning-cremer")
    low, high = check.want("leaf_minus_air_c")
    for air, dew, wind in ((2.0, -4.0, 0.3), (-2.0, -6.0, 0.5), (-4.0, -9.0, 0.6)):
        sky = longwave_down(air, saturation_vapour_pressure(dew), 0.0)
        leaf = leaf_temperature(air, dew, wind, mean_of(sky, emitted(air - 2.0)), leaf_width_m=0.03)
        assert low <= leaf - air <= high


def test_trap_a_large_leaf_is_colder_than_a_small_one_by_what_was_measured():
    check = find_check(FILE, "leaf-depression-leuning-cremer")
    low, high = check.want("large_minus_small_leaf_c")
    sky = longwave_down(-1.0, saturation_vapour_pressure(-6.0), 0.0)
    small, large = leaf_temperature(-1.0, -6.0, 0.4, mean_of(sky, emitted(-3.0)), leaf_width_m=np.array([0.02, 0.10]))
    assert low <= large - small <= high


def test_leaves_over_wetter_warmer_ground_are_warmer():
    check = find_check(FILE, "leaf-depression-leuning-cremer")
    assert check.want("order_of_leaf_temperature_by_ground")[0] == "over grass (coldest)"
    leaves = leaf_temperature(0.0, DRY, 0.4, mean_of(220.0, emitted(np.array([-5.0, -3.0, -1.0]))))
    assert np.all(np.diff(leaves) > 0)


def test_still_air_gives_the_textbook_depression():
    check = find_check(FILE, "leaf-depression-korner")
    low, high = check.want("leaf_minus_air_c")
    sky = longwave_down(0.0, saturation_vapour_pressure(-8.0), 0.0)
    assert low <= leaf_temperature(0.0, -8.0, 0.1, mean_of(sky, emitted(-2.0))) <= high


def test_a_dry_fruit_settles_as_the_closed_balance_says():
    check = find_check(FILE, "fruit-steady-depression")
    longwave = mean_of(check.given("l_sky_w_m2"), check.given("l_ground_w_m2"))
    fruit = body_temperature(
        check.given("t_air_c"), longwave, check.given("h_w_m2k"), emissivity=check.given("emissivity")
    )
    assert fruit - check.given("t_air_c") == check.approx("fruit_minus_air_c")


def test_forced_and_free_exchange_are_within_a_fifth_of_the_published_program():
    # Other published coefficients differ by up to a quarter in calm air (leaf-night-computed-s).
    check = find_check(FILE, "conv-leaf-forced")
    size = convection.LEAF_SHAPE * check.given("leaf_width_m")
    forced = convection.forced(size) * np.sqrt(check.given("wind_m_s")) / convection.MOLAR_HEAT
    assert forced == pytest.approx(check.want("gbh_mol_m2_s"), rel=0.2)
    for name in ("conv-leaf-free", "conv-leaf-free-h"):
        check = find_check(FILE, name)
        free = convection.free(size) * check.given("dt_c") ** 0.25 / convection.MOLAR_HEAT
        assert free == pytest.approx(check.want("gbh_mol_m2_s"), rel=0.2)


def test_free_exchange_of_a_twig_and_a_limb_is_near_that_of_a_cylinder():
    check = find_check(FILE, "conv-twig-free-s")
    for diameter, expected in zip(check.given("diameter_m"), check.want("h_w_m2k"), strict=True):
        h = convection.free(diameter) * check.given("dt_c") ** 0.25
        assert h == pytest.approx(expected, rel=0.3)  # one coefficient for all shapes: 4 % high at 5 mm, 27 % at 5 cm


def test_a_leaf_follows_within_a_minute_and_may_be_taken_as_settled_at_every_step():
    check = find_check(FILE, "leaf-time-constant")
    # Response of the settled leaf to a little more radiation on both sides: 1/(2 (h + hr)), with hr that of 0 °C.
    more = 0.1
    settled, warmer = leaf_temperature(
        0.0, DRY, 0.0, emitted(0.0) + np.array([0.0, more]), emissivity=1.0, h_w_m2k=check.given("h_per_side_w_m2k")
    )
    capacity = check.given("water_kg_m2") * check.given("specific_heat_j_kgk")
    tau = capacity * (warmer - settled) / (2 * more)
    assert tau == check.approx("tau_s")
    assert tau < 300.0 / 5  # of a step of five minutes, the shortest that is usual


def test_a_transpiring_leaf_is_near_the_published_program():
    check = find_check(FILE, "leaf-bonan-wet")
    air, width = check.given("t_air_c"), check.given("leaf_width_m")
    vapour = vapour_pressure(air, check.given("rh_pct"))
    # The program has pores and boundary layer on one side; ours counts both sides together. The same resistance:
    size = convection.LEAF_SHAPE * width
    free = convection.free(size) * np.abs(check.want("t_leaf_c") - air) ** 0.25
    boundary = convection.VAPOUR_OVER_HEAT / convection.MOLAR_HEAT
    boundary = boundary * (convection.forced(size) * np.sqrt(check.given("wind_m_s")) + free)
    pores = 1.0 / (1.0 / check.given("gs_mol") + 0.5 / boundary)
    leaf = leaf_temperature(
        air,
        dew_point(vapour),
        check.given("wind_m_s"),
        0.0,
        check.given("absorbed_w_m2"),
        width,
        emissivity=check.given("leaf_emissivity"),
        absorptance=1.0,
        stomatal_mol_m2_s=pores,
    )
    assert leaf == pytest.approx(check.want("t_leaf_c"), abs=0.6)  # other coefficients, as for the dry leaf
    per_side = pores * 2 * boundary / (pores + 2 * boundary)
    latent = LATENT_WATER / (check.given("p_pa") / 1000) * per_side * (saturation_vapour_pressure(leaf) - vapour)
    assert latent == pytest.approx(check.want("latent_w_m2"), rel=0.06)


AIR_0C = {"nu": 1.34e-5, "pr": 0.71, "k": 0.0243}
"""Air near 0 °C, as in conv-twig-free-s: viscosity [m²/s], Prandtl number, conductivity [W/(m K)]."""


def grashof(size_m, difference_k):
    return 9.81 * difference_k * size_m**3 / 273.15 / AIR_0C["nu"] ** 2


def sphere_nusselt(pr, gr):
    rayleigh, bracket = pr * gr, 1 + (0.469 / pr) ** (9 / 16)
    late = (1 + 7.44e-8 * rayleigh / bracket ** (16 / 9)) ** (1 / 12)
    return 2 + 0.589 * rayleigh**0.25 / bracket ** (4 / 9) * late


def plate_nusselt(pr, gr):
    return (0.825 + 0.387 * (pr * gr) ** (1 / 6) / (1 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)) ** 2


def test_a_fruit_and_a_limb_follow_with_the_published_time_constants():
    check = find_check(FILE, "fruit-time-constant")
    assert check.given("body") == ["sphere 0.08 m", "cylinder 0.05 m"]
    b = body_parameters(Body(fruit_diameter_m=0.08, wood_diameter_m=0.05))
    capacity = np.array([b[k.B_FRUIT_C], b[k.B_WOOD_C]])
    assert capacity / check.given("h_total_w_m2k") / 3600.0 == check.approx("tau_h")


def test_free_exchange_of_fruit_is_near_that_of_a_sphere():
    check = find_check(FILE, "conv-sphere-free")
    assert sphere_nusselt(check.given("pr"), check.given("gr")) == check.approx("nu")
    # One coefficient for all shapes: from 16 % low for a lime to 7 % high for a grapefruit, 5 K below the air at most.
    for diameter in (0.04, 0.06, 0.08, 0.12):
        for difference in (1.0, 2.0, 5.0):
            exact = sphere_nusselt(AIR_0C["pr"], grashof(diameter, difference)) * AIR_0C["k"] / diameter
            assert convection.free(diameter) * difference**0.25 == pytest.approx(exact, rel=0.17)


@pytest.mark.parametrize(
    "height",
    [
        0.5,
        1.0,
        # Why it stays: a second law for tall walls would be needed for a few per cent of what they exchange; the short
        # cut named below would take 0.1 K from published gains of cloth.
        pytest.param(
            3.0,
            marks=pytest.mark.xfail(
                reason="published: on a wall of 3 m free convection is turbulent and no longer falls with the height; "
                "ours falls with its fourth root and is 26 to 37 % low (0.4 to 1.1 of some 10 W/(m² K), radiation and "
                "wind being the rest). Holding the size at 0.5 m would meet it; cloth would gain 0.1 K less."
            ),
        ),
    ],
)
def test_free_exchange_of_a_wall_is_near_that_of_a_tall_plate(height):
    check = find_check(FILE, "conv-vertical-plate")
    assert plate_nusselt(check.given("pr"), check.given("gr")) == check.approx("nu")
    for difference in (1.0, 3.0, 10.0):
        exact = plate_nusselt(AIR_0C["pr"], grashof(height, difference)) * AIR_0C["k"] / height
        assert convection.free(height) * difference**0.25 == pytest.approx(exact, rel=0.22)


# ---------------------------------------------------------------- limits and directions


@given(temperatures, winds, widths)
def test_a_leaf_in_surroundings_at_air_temperature_is_at_air_temperature(air, wind, width):
    assert leaf_temperature(air, DRY, wind, emitted(air), leaf_width_m=width) == pytest.approx(air, abs=1e-6)


@given(temperatures, winds, widths, st.floats(100.0, 300.0), st.floats(0.5, 50.0))
def test_a_colder_sky_never_warms_a_leaf(air, wind, width, longwave, less):
    warm, cold = leaf_temperature(air, air - 2.0, wind, np.array([longwave, longwave - less]), leaf_width_m=width)
    assert cold <= warm


@given(temperatures, st.floats(0.0, 20.0), winds, widths, st.floats(150.0, 320.0))
def test_the_balance_closes(air, depression, wind, width, longwave):
    dew = air - depression
    leaf = float(leaf_temperature(air, dew, wind, longwave, leaf_width_m=width))
    size = convection.LEAF_SHAPE * width
    h = convection.forced(size) * wind**0.5 + convection.free(size) * ((air - leaf) ** 2 + 0.01) ** 0.125
    excess = saturation_vapour_pressure(leaf, over_ice=leaf < 0) - saturation_vapour_pressure(dew)
    latent = LATENT_WATER + (LATENT_ICE - LATENT_WATER) * min(max(-leaf, 0.0), 1.0)
    wet = latent / 101.325 * 2 * 1.08 * h / 29.3 * min(float(excess), 0.0)
    assert 2 * 0.96 * (longwave - float(emitted(leaf))) + 2 * h * (air - leaf) - wet == pytest.approx(0.0, abs=1e-6)


def test_dew_warms_a_leaf_towards_the_dew_point_but_not_beyond():
    sky = mean_of(200.0, 290.0)
    dry, humid = leaf_temperature(2.0, np.array([DRY, 1.5]), 0.3, sky)
    assert dry < humid < 1.5


def test_trap_frost_forms_from_the_frost_point_down_and_not_only_from_the_dew_point():
    dew = -8.0
    vapour = saturation_vapour_pressure(dew)
    frost = float(frost_point(vapour))
    assert float(dew_point(vapour)) == pytest.approx(dew)
    assert frost > dew + 0.5
    between = (dew + frost) / 2
    # A dry leaf between the two points is warmed by frost, one above the frost point is not.
    for dry, warmed in ((between, True), (frost + 0.3, False)):
        longwave = emitted(dry) - 10.0 / 0.96  # keeps it 1 K below the air at 10 W/(m² K)
        plain = leaf_temperature(dry + 1.0, dew, 0.0, longwave, h_w_m2k=10.0, deposition=False)
        frosted = leaf_temperature(dry + 1.0, dew, 0.0, longwave, h_w_m2k=10.0)
        assert plain == pytest.approx(dry, abs=1e-6)
        assert (frosted > plain + 1e-3) == warmed


def test_transpiration_cools_a_sunlit_leaf():
    dry, wet = leaf_temperature(25.0, 10.0, 1.0, emitted(25.0), 600.0, stomatal_mol_m2_s=np.array([0.0, 0.3]))
    assert wet < dry - 2.0


def test_wind_brings_a_leaf_nearer_to_the_air():
    leaf = leaf_temperature(-2.0, DRY, np.array([0.0, 0.2, 1.0, 5.0]), mean_of(205.0, 290.0))
    assert np.all(np.diff(leaf) > 0)
    assert leaf[-1] < -2.0


# ---------------------------------------------------------------- shapes, NaN, refusals


def test_arrays_broadcast_and_equal_their_single_values():
    air, wind = np.array([-5.0, 0.0, 5.0]), np.array([[0.1], [1.0]])
    batch = leaf_temperature(air, air - 3.0, wind, 250.0)
    assert batch.shape == (2, 3)
    one_by_one = [[float(leaf_temperature(a, a - 3.0, w, 250.0)) for a in air] for w in wind[:, 0]]
    assert batch == pytest.approx(np.array(one_by_one), abs=1e-12)


@pytest.mark.parametrize("place", range(6))
def test_nan_in_gives_nan_out(place):
    values = [0.0, -3.0, 0.5, 250.0, 0.0, 0.05]
    values[place] = np.nan
    assert np.isnan(leaf_temperature(*values))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"leaf_width_m": -0.05}, r"leaf_width_m must be greater than 0 and at most 2 m, got -0\.05"),
        ({"leaf_width_m": 0.0}, "leaf_width_m must be greater than 0"),
        ({"wind_m_s": -1.0}, "wind_m_s must be at least 0"),
        ({"longwave_in_w_m2": -1.0}, "longwave_in_w_m2 must be at least 0"),
        ({"emissivity": 1.2}, "emissivity must be at least 0 and at most 1"),
    ],
)
def test_impossible_leaves_are_refused_by_name_range_and_value(change, words):
    given_values = {"t_air_c": 0.0, "t_dew_c": -3.0, "wind_m_s": 0.5, "longwave_in_w_m2": 250.0} | change
    with pytest.raises(ValueError, match=words):
        leaf_temperature(**given_values)
