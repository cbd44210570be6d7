"""What the sun heats by day: limits, closed forms, order, and the ranges that were measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial import legendre

from fruitwall.physics import daylight as day
from fruitwall.physics.rootball import root_ball
from tests.physics.day import daylight
from tests.published import find_check

NIGHT = {"beam_w_m2": 0.0, "diffuse_w_m2": 0.0}


def in_a_room(air_c: float = 30.0, hours: int = 1, **more) -> day.Daylight:
    """Give surroundings that are all as warm as the air, without sun."""
    light = daylight(air_c, 100.0, **(NIGHT | more), hours=hours)
    black = np.full_like(light.above_w_m2, day.black_body_w_m2(air_c))
    return replace(light, above_w_m2=black, below_w_m2=black)


# ---------------------------------------------------------------- published


@pytest.mark.parametrize("wind_m_s", [0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("air_c", [35.0, 40.0, 44.0])
def test_a_desert_leaf_with_shut_pores_is_no_hotter_than_was_measured(air_c, wind_m_s):
    check = find_check("heat.yaml", "heat.desert_citrus_leaf")
    light = daylight(air_c, 15.0, wind_m_s=wind_m_s, beam_w_m2=900.0, elevation_deg=75.0)
    excess = day.sunlit_leaf_c(light, 0.04, water=0.0)[0, 0] - air_c
    assert 2.0 < excess <= check.want("leaf_minus_air_k_up_to") + check.tolerance["abs"]


def test_a_sunlit_apple_is_as_much_hotter_than_air_as_orchards_report():
    # Schrader and others (2001, 2002) found browning (46-49 °C of peel) on days above 30 to 35 °C, so some 12 to 16 K.
    light = daylight(34.0, 30.0, wind_m_s=1.0, surface="turf")
    assert 46.0 - 1.0 <= day.sunlit_peel_c(light, 0.075)[0, 0] <= 49.0 + 1.0


def test_sunny_bark_comes_as_near_to_50_degrees_as_that_of_cherries_did():
    # Sheppard, Morhart, Spiecker (2016), Silva Fennica 50(3) 1313 (abstract): nearly 50 °C on the south-west side in a
    # summer of south-west Germany; taken as its hottest afternoon: 35 °C, light wind, sun at 35°.
    light = daylight(35.0, 30.0, wind_m_s=1.5, elevation_deg=35.0, surface="turf")
    assert 45.0 < day.sunlit_bark_c(light, 0.15)[0, 0] < 53.0


def test_fruit_inside_a_crown_gets_the_share_of_the_sun_that_its_leaves_let_through():
    light = daylight(38.0, 20.0, wind_m_s=0.5)
    dark, inside, outside = (day.sunlit_peel_c(light, 0.12, lit)[0, 0] for lit in (0.0, 0.29, 1.0))
    assert inside - dark == pytest.approx(0.29 * (outside - dark))
    assert outside - inside > 8.0


def test_the_sun_stirs_the_air_of_a_calm_noon():
    # Closed form: w*^3 = g/T H z/(rho c) with 0.25 * 850 W/m2 at 30 degC, 1000 m; no sun, no gusts.
    rho = 353.0 / 303.15
    assert day.stirred_wind_m_s(850.0, 30.0) ** 3 == pytest.approx(
        9.81 / 303.15 * 0.25 * 850.0 / (rho * 1005.0) * 1000.0
    )
    assert day.stirred_wind_m_s(850.0, 30.0) == pytest.approx(1.81, abs=0.02)  # the usual 1 to 2 m/s of a sunny noon
    assert day.stirred_wind_m_s(0.0, 30.0) == 0.0
    assert np.isnan(day.stirred_wind_m_s(np.nan, 30.0))


def test_the_quarters_of_a_round_pot_take_in_together_what_the_sun_sends_at_it():
    across = np.linspace(-45.0, 45.0, 9001)
    for azimuth in (0.0, 20.0, 45.0, 133.0, 271.0, 359.0):
        quarters = [float(day._on_quarter(np.array(azimuth - looks))) for looks in (0.0, 90.0, 180.0, 270.0)]
        wanted = [
            float(np.maximum(np.cos(np.radians(azimuth - looks - across)), 0.0).mean())
            for looks in (0.0, 90.0, 180.0, 270.0)
        ]
        assert quarters == pytest.approx(wanted, abs=2e-4)
        assert np.mean(quarters) == pytest.approx(1.0 / np.pi)  # width over circumference of a cylinder


# ---------------------------------------------------------------- limits


@pytest.mark.parametrize("water", [0.0, 1.0])
def test_without_sun_in_moist_surroundings_as_warm_as_the_air_all_is_as_warm_as_the_air(water):
    light = in_a_room()
    assert day.sunlit_leaf_c(light, 0.05, water=water)[0, 0] == pytest.approx(30.0, abs=0.01)
    assert day.sunlit_peel_c(light, 0.07)[0, 0] == pytest.approx(30.0, abs=1e-6)
    assert day.sunlit_bark_c(light, 0.05)[0, 0] == pytest.approx(30.0, abs=1e-6)
    pot = day.root_ball_c(in_a_room(hours=48), root_ball(20.0), np.ones(48), 0.9, 0.5)
    assert pot == pytest.approx(30.0, abs=1e-6)


def test_a_watered_leaf_in_the_dark_falls_below_dry_air():
    light = daylight(35.0, 10.0, **NIGHT)
    assert day.sunlit_leaf_c(light, 0.05)[0, 0] < 35.0


def test_series_of_sphere_and_cylinder_are_those_of_a_side_lit_body():
    x = np.linspace(0.0, 1.0, 100_001)
    for order, share in day._sphere():
        wave = legendre.legval(x, np.eye(order + 1)[order])
        assert share == pytest.approx((2 * order + 1) / 2 * np.trapezoid(x * wave, x), abs=1e-6)
    angle = np.linspace(-np.pi / 2, np.pi / 2, 100_001)
    for order, share in day._cylinder():
        norm = 2 * np.pi if order == 0 else np.pi
        assert share == pytest.approx(np.trapezoid(np.cos(angle) * np.cos(order * angle), angle) / norm, abs=1e-6)


def test_a_fruit_that_conducts_nothing_has_all_the_suns_heat_at_its_pole(monkeypatch):
    monkeypatch.setattr(day, "FLESH_W_MK", 0.0)
    light = daylight()
    dark = replace(light, beam_w_m2=0.0 * light.beam_w_m2)
    gained = day.sunlit_peel_c(light, 0.07) - day.sunlit_peel_c(dark, 0.07)
    _, exchange = day._without_sun(light, 0.07)
    # the series ends at order 10, within 2 %
    assert gained == pytest.approx(day.PEEL_ABSORBS * light.beam_w_m2 / exchange, rel=0.02)


def test_a_pot_in_a_still_world_comes_to_the_balance_of_its_walls():
    hours = 24 * 30
    light = in_a_room(hours=hours)
    beam, low, west = np.full((1, hours), 300.0), np.zeros(hours), np.full(hours, 270.0)
    light = replace(light, beam_w_m2=beam, elevation_deg=low, azimuth_deg=west)
    pot = day.root_ball_c(light, root_ball(20.0), np.ones(hours), 0.9, 1.0)
    assert pot[0, 0] == pytest.approx(pot[0, -1], abs=1e-6)  # it begins in balance and stays
    air = 30.0
    assert pot[0, -1] > air + 5.0
    dark = day.root_ball_c(light, root_ball(20.0), np.zeros(hours), 0.9, 1.0)
    assert dark == pytest.approx(air, abs=1e-6)


def test_a_pot_gives_its_heat_back_in_the_night():
    hours = 48
    light = in_a_room(hours=hours)
    beam = np.zeros((1, hours))
    beam[0, 10:16] = 800.0
    light = replace(light, beam_w_m2=beam, elevation_deg=np.full(hours, 45.0), azimuth_deg=np.full(hours, 240.0))
    pot = day.root_ball_c(light, root_ball(20.0), np.ones(hours), 0.9, 0.7)[0]
    first_day_mean = pot[:9]
    assert first_day_mean == pytest.approx(first_day_mean[0], abs=4.0)
    assert pot.argmax() in (15, 16)
    assert pot[40] < pot[20] < pot[16]


# ---------------------------------------------------------------- order

winds = st.floats(0.0, 8.0)
suns = st.floats(0.0, 1000.0)
airs = st.floats(20.0, 45.0)


@settings(max_examples=12)
@given(air=airs, wind=winds, sun=suns, more=st.floats(1.0, 100.0))
def test_more_sun_never_cools(air, wind, sun, more):
    less, brighter = (daylight(air, 25.0, wind_m_s=wind, beam_w_m2=each) for each in (sun, sun + more))
    assert day.sunlit_leaf_c(brighter, 0.05, water=0.0) > day.sunlit_leaf_c(less, 0.05, water=0.0)
    assert day.sunlit_peel_c(brighter, 0.07) > day.sunlit_peel_c(less, 0.07)
    assert day.sunlit_bark_c(brighter, 0.05) > day.sunlit_bark_c(less, 0.05)


@settings(max_examples=12)
@given(air=airs, wind=winds, stops=st.floats(0.05, 0.95))
def test_cloth_cools_by_day_and_the_more_the_denser(air, wind, stops):
    light = daylight(air, 25.0, wind_m_s=wind)
    denser = min(1.0, stops + 0.05)
    for water in (0.0, 1.0):
        open_c, under, under_more = (
            day.sunlit_leaf_c(one, 0.05, water=water)
            for one in (light, day.under_cloth(light, stops), day.under_cloth(light, denser))
        )
        assert open_c > under
        if water == 0.0:
            assert under > under_more
    assert day.sunlit_peel_c(light, 0.07) > day.sunlit_peel_c(day.under_cloth(light, stops), 0.07)


@settings(max_examples=12)
@given(air=airs, wind=winds)
def test_white_paint_open_shade_and_water_cool(air, wind):
    light = daylight(air, 25.0, wind_m_s=wind)
    bark = day.sunlit_bark_c(light, 0.05)
    assert day.sunlit_bark_c(light, 0.05, absorptance=day.PAINT_ABSORBS) < bark - 1.0
    shade = day.in_open_shade(light)
    assert day.sunlit_bark_c(shade, 0.05) < bark
    assert day.sunlit_leaf_c(shade, 0.05, water=0.0) < day.sunlit_leaf_c(light, 0.05, water=0.0)
    assert day.sunlit_leaf_c(light, 0.05) < day.sunlit_leaf_c(light, 0.05, water=0.0)


def test_a_wall_that_throws_sun_heats_and_a_big_leaf_gets_hotter_than_a_small_one():
    light, walled = daylight(), daylight(thrown_w_m2=100.0)
    assert day.sunlit_leaf_c(walled, 0.05) > day.sunlit_leaf_c(light, 0.05) + 0.5
    assert day.sunlit_leaf_c(light, 0.3) > day.sunlit_leaf_c(light, 0.05) > day.sunlit_leaf_c(light, 0.01)
    assert day.sunlit_peel_c(light, 0.12) > day.sunlit_peel_c(light, 0.03)


def test_a_black_pot_in_the_sun_is_hotter_than_a_pale_one_and_one_of_thick_wood():
    light = daylight(35.0, 25.0, elevation_deg=40.0, azimuth_deg=250.0, hours=24)
    black, pale, wood = (
        day.root_ball_c(light, root_ball(20.0, wall), np.ones(24), absorbs, 0.7)[0, -1]
        for wall, absorbs in (("plastic", 0.9), ("plastic", 0.3), ("timber", 0.9))
    )
    assert black > pale + 2.0
    assert black > wood + 2.0


def test_no_sun_is_brighter_than_clean_air_lets_it_be():
    # Clear-sky beam of the order of 1000 W/m² under a high sun, some 850 at 30°, half of it near 8° (any handbook).
    beam = day.brightest_beam([90.0, 30.0, 8.0, 0.0, -5.0], 1361.0)
    assert beam[:3] == pytest.approx([1020.0, 860.0, 470.0], abs=30.0)
    assert (np.diff(beam) < 0.0).all()
    assert beam[-1] == 0.0


def test_dry_hot_air_shuts_pores():
    wet, dry = day.stomatal_conductance([1.0, 6.0], 800.0)
    assert wet > dry > day.STOMATA_SHUT
    assert day.stomatal_conductance(1.0, 800.0, water=0.0) == day.STOMATA_SHUT
    assert day.stomatal_conductance(1.0, 0.0) == day.STOMATA_SHUT


def test_the_low_sun_reaches_trunk_and_pot_below_the_crown():
    lit = day.own_shade([10.0, 44.0, 46.0, 80.0], 1.0, 2.0, 0.7)
    assert lit == pytest.approx([1.0, 1.0, 0.3, 0.3])


def test_moist_turf_is_cooler_than_bare_ground():
    assert day.ground_c(900.0, 35.0, 1.0, "turf") < day.ground_c(900.0, 35.0, 1.0, "bare")
    assert day.ground_c(0.0, 35.0, 1.0, "bare") == pytest.approx(35.0)
    with pytest.raises(ValueError, match="surface must be one of"):
        day.ground_c(0.0, 35.0, 1.0, "lava")


def test_what_is_not_known_stays_unknown():
    light = daylight(hours=30)
    air = light.t_air_c.copy()
    air[0, 5] = np.nan
    light = replace(light, t_air_c=air)
    for found in (
        day.sunlit_leaf_c(light, 0.05),
        day.sunlit_peel_c(light, 0.07),
        day.sunlit_bark_c(light, 0.05),
        day.root_ball_c(light, root_ball(20.0), np.ones(30), 0.9, 0.7),
    ):
        assert np.isnan(found[0]).nonzero()[0].tolist() == [5]


def test_impossible_cloth_and_sizes_are_refused():
    with pytest.raises(ValueError, match="stops must be from 0 to 1"):
        day.under_cloth(daylight(), 1.5)
    with pytest.raises(ValueError, match="diameter_m"):
        day.sunlit_peel_c(daylight(), 0.0)
