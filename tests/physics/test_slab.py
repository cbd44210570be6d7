"""Conduction against closed forms, and the reduced terms against the full grid."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics import soil
from fruitwall.physics.faces import Layer
from fruitwall.physics.icing import freezing_heat_w_m2
from fruitwall.physics.rootball import FREEZING_J_M3
from fruitwall.physics.slab import Slab
from fruitwall.physics.wall_march import BACK_RESISTANCE
from tests.physics.closed_forms import freezing_front_m, freezing_soil_c, front_speed_m_sqrt_s
from tests.published import find_check

FILE = "slab.yaml"
DAY = 86_400.0


def layer(thickness_m, k_w_mk, c_j_m3k):
    """One layer by its volumetric heat capacity."""
    return Layer(thickness_m, k_w_mk, c_j_m3k / 1000.0, 1000.0)


def held(hours, step_s, value):
    return np.full(round(hours * 3600 / step_s), float(value))


# ---------------------------------------------------------------- closed forms


def test_a_steady_flux_warms_thick_bodies_as_the_square_root_of_time():
    check = find_check(FILE, "cond-constant-flux")
    flux = held(check.given("hours"), 60.0, check.given("flux_w_m2"))
    rises = [
        Slab([layer(2.0, k, c)]).march(60.0, start_c=0.0, flux_w_m2=flux).surface_c[-1]
        for k, c in zip(check.given("k_w_mk"), check.given("c_j_m3k"), strict=True)
    ]
    assert rises == check.approx("surface_change_k")


def test_a_thick_wall_cools_into_cold_air_as_the_error_function_says():
    check = find_check(FILE, "cond-thick-wall-night")
    wall = Slab([layer(2.0, check.given("k_w_mk"), check.given("c_j_m3k"))])
    course = wall.march(
        60.0,
        start_c=check.given("t_initial_c"),
        t_air_c=held(check.given("hours"), 60.0, check.given("t_air_c")),
        h_w_m2k=check.given("h_w_m2k"),
        depths_m=list(check.given("depth_m")),
    )
    assert course.temperature_c[-1] == check.approx("t_c")


def test_an_insulated_wall_cools_front_and_back_as_the_series_says():
    check = find_check(FILE, "cond-finite-wall")
    wall = Slab([layer(check.given("thickness_m"), check.given("k_w_mk"), check.given("c_j_m3k"))], cells=120)
    course = wall.march(
        60.0,
        start_c=check.given("t_initial_c"),
        t_air_c=held(check.given("hours"), 60.0, check.given("t_air_c")),
        h_w_m2k=check.given("h_w_m2k"),
        depths_m=[0.0, check.given("thickness_m")],
    )
    assert course.temperature_c[-1, 0] == check.approx("t_front_c")
    assert course.temperature_c[-1, 1] == check.approx("t_back_c")


def test_a_paving_slab_in_the_sun_warms_as_the_series_says():
    check = find_check(FILE, "cond-slab-flux")
    paving = Slab([layer(check.given("thickness_m"), check.given("k_w_mk"), check.given("c_j_m3k"))], cells=120)
    flux = held(check.given("hours"), 20.0, check.given("flux_w_m2"))
    course = paving.march(20.0, start_c=0.0, flux_w_m2=flux, depths_m=list(check.given("depth_m")))
    assert course.temperature_c[-1] == check.approx("rise_k")


def test_a_daily_flux_moves_the_surface_by_the_admittance_and_three_hours_late():
    check = find_check(FILE, "cond-damping")
    omega = 2 * np.pi / DAY
    times = np.arange(1, 12 * 288 + 1) * 300.0
    for k, c, amplitude in zip(
        check.given("k_w_mk"), check.given("c_j_m3k"), check.want("surface_amplitude_k_per_100w_m2"), strict=True
    ):
        course = Slab([layer(3.0, k, c)]).march(300.0, start_c=0.0, flux_w_m2=100.0 * np.cos(omega * times))
        last = course.surface_c[1:][times > 11 * DAY]
        wave = 2 * np.mean(last * np.exp(-1j * omega * times[times > 11 * DAY]))
        assert abs(wave) == pytest.approx(amplitude, rel=check.tolerance["rel"])
        assert -np.angle(wave) * 24 / (2 * np.pi) == pytest.approx(check.want("lag_h"), rel=0.01)


def test_a_daily_wave_dies_away_and_lags_with_depth():
    check = find_check(FILE, "cond-periodic-depth")
    omega = 2 * np.pi / DAY
    times = np.arange(1, 12 * 288 + 1) * 300.0
    ground = Slab([layer(2.0, check.given("k_w_mk"), check.given("c_j_m3k"))], cells=200)
    course = ground.march(300.0, start_c=0.0, surface_c=np.sin(omega * times), depths_m=list(check.given("depth_m")))
    late = times > 11 * DAY
    phase = np.exp(-1j * omega * times[late])
    waves = 2 * (course.temperature_c[1:][late] * phase[:, None]).mean(axis=0)
    assert np.abs(waves) == pytest.approx(check.want("amplitude_ratio"), rel=0.01)  # read between cell middles
    lags = (-np.angle(1j * waves)) % (2 * np.pi) * 24 / (2 * np.pi)
    assert lags == pytest.approx(check.want("lag_h"), rel=0.01)


def test_a_round_pot_cools_as_a_long_cylinder():
    check = find_check(FILE, "cond-pot-night")
    radius = check.given("diameter_m") / 2
    pot = Slab([layer(radius, check.given("k_w_mk"), check.given("c_j_m3k"))], shape="cylinder")
    course = pot.march(
        60.0,
        start_c=check.given("t_initial_c"),
        t_air_c=held(check.given("hours"), 60.0, check.given("t_air_c")),
        h_w_m2k=check.given("h_w_m2k"),
        depths_m=[0.0, radius],
    )
    assert course.temperature_c[-1, 0] == check.approx("t_wall_c")
    assert course.temperature_c[-1, 1] == check.approx("t_axis_c")


def test_trap_an_orange_cools_as_a_sphere_and_not_as_the_homework_page_says():
    check = find_check(FILE, "cond-orange")
    radius = check.given("diameter_m") / 2
    fruit = Slab(
        [layer(radius, check.given("k_w_mk"), check.given("k_w_mk") / check.given("alpha_m2_s"))], shape="sphere"
    )
    course = fruit.march(
        60.0,
        start_c=check.given("t_initial_c"),
        t_air_c=held(check.given("hours"), 60.0, check.given("t_air_c")),
        h_w_m2k=check.given("h_w_m2k"),
        depths_m=[0.0, radius],
    )
    assert course.temperature_c[-1, 0] == check.approx("t_surface_c")
    assert course.temperature_c[-1, 1] == check.approx("t_centre_c")


def test_soil_under_a_lasting_cold_surface_stays_unfrozen_below_the_published_depth():
    check = find_check(FILE, "cond-burial")
    capacity = check.given("rho_kg_m3") * check.given("cp_j_kgk")
    ground = Slab([layer(12.0, check.given("k_w_mk"), capacity)], cells=400)
    cold = held(24 * check.given("days"), 3600.0, check.given("t_surface_c"))
    depth = check.want("depth_m")
    course = ground.march(
        3600.0, start_c=check.given("t_soil_c"), surface_c=cold, depths_m=[depth - 0.01, depth + 0.01]
    )
    assert course.temperature_c[-1, 0] < 0.0 < course.temperature_c[-1, 1]


def test_wet_soil_falls_six_tenths_as_far_as_dry_soil_for_the_same_loss():
    check = find_check(FILE, "soil-wet-analytic")
    loss = held(check.given("hours"), 60.0, -check.given("loss_w_m2"))
    falls = [
        -Slab([soil.soil_layer("sandy_loam", s, 2.0)]).march(60.0, start_c=0.0, flux_w_m2=loss).surface_c[-1]
        for s in check.given("relative_saturation")
    ]
    assert falls == check.approx("fall_k")


def test_soil_properties_are_those_of_the_published_program():
    check = find_check(FILE, "mat-soil-s")
    textures = [name.replace(" ", "_") for name in check.given("texture")]
    layers = [[soil.soil_layer(name, s) for s in check.given("relative_saturation")] for name in textures]
    assert np.array([[one.conductivity_w_mk for one in row] for row in layers]) == check.approx("k_w_mk")
    capacity = np.array([[one.density_kg_m3 * one.heat_capacity_j_kgk for one in row] for row in layers])
    assert capacity / 1e6 == check.approx("c_mj_m3k")


def test_two_thick_bodies_that_touch_meet_at_the_contact_temperature():
    check = find_check(FILE, "cond-contact")
    b1, b2 = check.given("b1"), check.given("b2")
    first, second = Slab([layer(2.0, 1.0, b1**2)], cells=200), Slab([layer(2.0, 1.0, b2**2)], cells=200)

    def left_over(t):
        """Heat into both, over heat into one, with their common surface held at a temperature."""
        surface = held(2, 60.0, t)
        into = [
            body.march(60.0, start_c=start, surface_c=surface).flux_w_m2[20:]
            for body, start in ((first, check.given("t1_c")), (second, check.given("t2_c")))
        ]
        return sum(into) / np.abs(into[0])

    # At the contact temperature one gives what the other takes at every moment, a twentieth of a kelvin off it not.
    contact = check.want("t_contact_c")
    assert left_over(contact) == pytest.approx(0.0, abs=2e-3)
    assert np.all(left_over(contact + 0.05) > 0.015)


def test_a_freezing_front_moves_as_the_published_program_says():
    # The closed form that freezing ground is judged by; see tests/physics/closed_forms.py.
    check = find_check(FILE, "cond-neumann")
    frozen, thawed = (check.given(f"alpha_{name}_cm2_h") / 1e4 / 3600.0 for name in ("frozen", "unfrozen"))
    speed = check.given("m_cm_per_sqrt_h") / 100.0 / 60.0
    seconds, depths = check.given("day") * DAY, check.given("depth_cm") / 100.0
    assert 100.0 * freezing_front_m(speed, seconds) == check.approx("front_cm")
    course = [
        freezing_soil_c(depths, t, speed, frozen, thawed, check.given("t_surface_c"), check.given("t_initial_c"))
        for t in seconds
    ]
    assert np.array(course) == check.approx("t_c")


def test_the_balance_at_the_front_gives_its_speed():
    # In the limit of little heat capacity (Stefan): depth = √(2 k ΔT t / L).
    latent, k_frozen = 1.0e8, 2.0
    slow = front_speed_m_sqrt_s((k_frozen, 1.0e3), (1.5, 1.0e3), latent, -10.0, 0.0)
    assert slow == pytest.approx(np.sqrt(2 * k_frozen * 10.0 / latent), rel=1e-3)
    with_heat_below = front_speed_m_sqrt_s((k_frozen, 2.0e6), (1.5, 2.5e6), latent, -10.0, 4.0)
    assert with_heat_below < slow


def test_a_concrete_wall_gives_back_its_heat_capacity_times_its_fall():
    check = find_check(FILE, "store-wall-release")
    wall = Slab([layer(0.20, 2.0, 2.4e6)])
    course = wall.march(
        60.0, start_c=15.0, t_air_c=held(check.given("hours"), 60.0, 2.0), h_w_m2k=8.0, depths_m=list(wall.depth_m)
    )
    fall = 15.0 - np.average(course.temperature_c[-1], weights=wall.capacity_j_m2k)
    given_back = -60.0 * course.flux_w_m2[1:].sum()
    scaled = given_back * check.given("mean_fall_k") / fall / 1e6
    assert scaled == check.approx("heat_mj_m2")
    assert scaled * 1e6 / (check.given("hours") * 3600.0) == pytest.approx(check.want("mean_flux_w_m2"), rel=0.01)


def test_a_plain_concrete_wall_has_the_u_value_of_the_standard():
    check = find_check(FILE, "mat-u-concrete-wall")
    assert BACK_RESISTANCE["indoor"] == check.given("r_si")
    wall = Slab(
        [layer(check.given("thickness_m"), check.given("k_w_mk"), 2.4e6)],
        behind="held",
        back_resistance_m2kw=check.given("r_si"),
    )
    outside = held(20 * 24, 3600.0, 0.0)
    course = wall.march(3600.0, start_c=10.0, t_air_c=outside, h_w_m2k=1 / check.given("r_se"), back_c=outside + 10.0)
    assert -course.flux_w_m2[-1] / 10.0 == check.approx("u_w_m2k")


def test_a_barrel_of_water_holds_the_published_heat():
    check = find_check(FILE, "store-water-barrel")
    litres, hours = check.given("water_l"), check.given("hours")
    # 200 L in an hour are 200 mm/h on a square metre.
    cooling = freezing_heat_w_m2(litres, check.given("from_c") - check.given("to_c")) - freezing_heat_w_m2(litres)
    assert cooling * 3600.0 / 1e6 == check.approx("sensible_mj")
    assert cooling / hours == check.approx("mean_power_w")
    assert FREEZING_J_M3 * litres / 1000.0 / 1e6 == check.approx("freezing_all_mj")


# Why it stays: a second metre of soil would be marched for every tree and step, for a flux that no night asks for.
@pytest.mark.xfail(
    reason="published: FAO's monthly flux counts some two metres of soil; ours ends at one, insulated, and keeps less "
    "than half (0.14). It is made for days: over a month 2 W/m² are missing, of 70 to 100 that a night takes."
)
def test_a_month_s_warming_takes_the_heat_of_fao_example_13():
    check = find_check(FILE, "soil-monthly-g")
    months = [check.given(f"t_{name}month_c") for name in ("previous_", "", "next_")]
    surface = np.interp(np.arange(1, 60 * 24 + 1) / 24.0, [0.0, 30.0, 60.0], months)
    course = Slab([soil.soil_layer("loam", 0.5)]).march(3600.0, start_c=months[0], surface_c=surface)
    assert course.flux_w_m2[-45 * 24 : -15 * 24].mean() * DAY / 1e6 == check.approx("g_mj_m2_d")


# ---------------------------------------------------------------- the reduced terms


def admittance(terms, step_s, period_s):
    """Complex flux per kelvin of a surface that swings at this period, steps and all."""
    z = np.exp(2j * np.pi * step_s / period_s)
    return terms.direct[0] - np.sum(terms.weight * (terms.old[:, 0] + terms.new[:, 0] * z) / (z - terms.decay))


@pytest.mark.parametrize(("count", "step_s", "limit"), [(6, 900.0, 0.013), (8, 300.0, 0.013), (8, 900.0, 0.0013)])
def test_a_few_terms_answer_the_surface_like_sixty_at_every_period_a_step_can_show(count, step_s, limit):
    # The limit for 6 and 8 terms at 15 min is what a study of the method measured (1.3 and 0.13 %).
    ground = Slab([soil.soil_layer("loam", 0.5)])
    few, full = ground.terms(step_s, count), ground.terms(step_s, 60)
    for period in 2 * step_s * np.geomspace(1.0, 30 * DAY / (2 * step_s), 40):
        exact = admittance(full, step_s, period)
        assert abs(admittance(few, step_s, period) - exact) <= limit * abs(exact)


def test_reduced_terms_relax_and_keep_steady_states():
    for parts in ([soil.TURF, soil.soil_layer("clay", 0.8)], [soil.PAVING["concrete"], soil.soil_layer("sand", 0.2)]):
        terms = Slab(parts).terms(900.0, 6)
        assert np.all((terms.decay > 0) & (terms.decay < 1))
        steady = terms.rest @ np.array([7.0, 0.0])
        assert terms.direct @ np.array([7.0, 0.0]) - terms.weight @ steady == pytest.approx(0.0, abs=1e-9)
        assert terms.decay * steady + (terms.old + terms.new) @ np.array([7.0, 0.0]) == pytest.approx(steady)


def test_a_held_back_gives_the_steady_flux_of_the_layers_in_series():
    wall = Slab([layer(0.2, 2.0, 2.4e6)], behind="held", back_resistance_m2kw=0.13)
    for count in (6, None):
        course = wall.march(900.0, start_c=0.0, surface_c=np.zeros(3000), back_c=np.full(3000, 18.0), count=count)
        assert course.flux_w_m2[-1] == pytest.approx(-18.0 / (0.2 / 2.0 + 0.13), rel=1e-6)


def test_slabs_side_by_side_take_up_what_each_takes_of_its_share():
    lawn, path = Slab([soil.TURF, soil.soil_layer("loam", 0.5)]), Slab([soil.PAVING["brick"]])
    surface = 10.0 * np.sin(2 * np.pi * np.arange(1, 300) / 96)
    both = Slab.beside([(0.7, lawn), (0.3, path)]).march(900.0, start_c=0.0, surface_c=surface)
    apart = [slab.march(900.0, start_c=0.0, surface_c=surface).flux_w_m2 for slab in (lawn, path)]
    assert both.flux_w_m2 == pytest.approx(0.7 * apart[0] + 0.3 * apart[1], abs=1e-8)


def test_depths_of_slabs_side_by_side_are_read_in_the_first():
    lawn, path = Slab([soil.soil_layer("loam", 0.5)]), Slab([soil.PAVING["brick"]])
    surface = 10.0 * np.sin(2 * np.pi * np.arange(1, 300) / 96)
    both = Slab.beside([(0.7, lawn), (0.3, path)]).march(900.0, start_c=0.0, surface_c=surface, depths_m=[0.1])
    alone = lawn.march(900.0, start_c=0.0, surface_c=surface, depths_m=[0.1])
    assert both.temperature_c == pytest.approx(alone.temperature_c, abs=1e-8)


def test_watering_keeps_the_temperatures_of_the_soil():
    dry, wet = (Slab([soil.soil_layer("loam", s)]).terms(900.0, 60) for s in (0.2, 0.8))
    profile = 5.0 + 3.0 * np.exp(-dry.depth_m / 0.1)
    surface = np.array([9.0, 0.0])
    z = dry.project @ profile
    matrix, both, _ = dry.into(wet)
    after = wet.profile @ (matrix @ z + both @ surface) + wet.profile_direct @ surface
    assert after == pytest.approx(profile, abs=1e-6)


def test_water_brings_its_own_temperature_into_the_soil():
    dry, wet = (Slab([soil.soil_layer("loam", s)]) for s in (0.2, 0.8))
    terms, after = dry.terms(900.0, 60), wet.terms(900.0, 60)
    keeps = dry.capacity_j_m2k / wet.capacity_j_m2k
    matrix, both, water = terms.into(after, keeps)
    even = np.array([9.0, 0.0])
    mixed = after.profile @ (matrix @ (terms.rest @ even) + both @ even + 4.0 * water) + after.profile_direct @ even
    assert wet.capacity_j_m2k * mixed == pytest.approx(
        dry.capacity_j_m2k * 9.0 + (wet.capacity_j_m2k - dry.capacity_j_m2k) * 4.0, rel=1e-6
    )


def test_terms_of_another_grid_cannot_be_turned_into_one_another():
    with pytest.raises(ValueError, match="same cells"):
        Slab([soil.TURF]).terms(900.0).into(Slab([soil.MULCH]).terms(900.0))


@given(st.floats(0.05, 1.5), st.floats(0.1, 3.0), st.floats(0.2e6, 3e6), st.integers(1, 40))
def test_heat_is_kept(thickness, conductivity, capacity, steps):
    slab = Slab([layer(thickness, conductivity, capacity)])
    course = slab.march(600.0, start_c=3.0, flux_w_m2=np.full(steps, 50.0), depths_m=list(slab.depth_m))
    gained = slab.capacity_j_m2k @ (course.temperature_c[-1] - 3.0)
    # The surface runs straight from value to value, so the flux of the first, jumping step is not exactly even.
    assert gained == pytest.approx(50.0 * 600.0 * steps, rel=0.5 / steps + 0.02)


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"layers": []}, "at least one layer"),
        ({"layers": [Layer(0.0, 1.0, 1.0, 1.0)]}, "thickness_m must be greater than 0"),
        ({"layers": [Layer(0.1, -1.0, 1.0, 1.0)]}, "conductivity_w_mk must be greater than 0"),
        ({"layers": [soil.TURF], "behind": "sky"}, "behind must be"),
        ({"layers": [soil.TURF], "shape": "cube"}, "shape must be"),
        ({"layers": [soil.TURF], "cells": 4}, "cells must be at least 8"),
    ],
)
def test_impossible_slabs_are_refused_by_name(arguments, words):
    with pytest.raises(ValueError, match=words):
        Slab(**arguments)


def test_a_march_wants_one_kind_of_surface():
    slab = Slab([soil.TURF])
    with pytest.raises(ValueError, match="either surface_c, or flux_w_m2"):
        slab.march(900.0, start_c=0.0)
    with pytest.raises(ValueError, match="same length"):
        slab.march(900.0, start_c=0.0, flux_w_m2=[1.0, 2.0], t_air_c=[1.0, 2.0, 3.0])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: soil.soil_layer("peat", 0.5), "texture must be one of sand"),
        (lambda: soil.soil_layer("loam", 1.5), "saturation must be at least 0 and at most 1"),
        (lambda: soil.ground_slab("snow", "loam", "dry"), "surface must be"),
        (lambda: soil.ground_slab("turf", "loam", "soggy"), "moisture must be one of dry"),
    ],
)
def test_unknown_ground_is_refused_by_name(call, words):
    with pytest.raises(ValueError, match=words):
        call()
