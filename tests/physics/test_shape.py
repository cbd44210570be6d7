"""View factors against published closed forms, each other, and brute-force integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from fruitwall.physics import shape
from tests.published import find_check

FILE = "shape.yaml"

lengths = st.floats(0.05, 50.0)


# ---------------------------------------------------------------- published values


def test_trap_the_two_sky_views_under_an_even_horizon_are_not_mixed():
    check = find_check(FILE, "vf-horizon-two-definitions")
    azimuths = np.arange(0.0, 360.0, 10.0)
    horizon = np.repeat(check.given("horizon_deg")[:, None], azimuths.size, axis=1)
    assert shape.sky_view(azimuths, horizon) == check.approx("cosine_weighted_level_surface")
    assert shape.sky_view(azimuths, horizon, receiver="sphere") == check.approx("plain_solid_angle_share_of_hemisphere")


def test_a_long_wall_takes_the_published_share_of_sky():
    check = find_check(FILE, "vf-wall-strip-s")
    wall = shape.wall_view(check.given("distance_m"), check.given("wall_height_m"))
    assert wall == check.approx("wall_view")
    assert 1.0 - wall == check.approx("sky_view")


def test_a_wall_of_eight_metres_takes_less_than_an_endless_one():
    check = find_check(FILE, "vf-finite-wall")
    place = (check.given("distance_m"), check.given("wall_height_m"))
    assert shape.wall_view(*place, check.given("wall_length_m")) == check.approx("wall_view")
    assert shape.wall_view(*place) == check.approx("infinite_wall_view")


def test_a_roof_overhead_takes_the_published_share():
    check = find_check(FILE, "vf-roof-overhead")
    assert shape.roof_view(*check.given("roof_m"), check.given("height_m")) == check.approx("roof_view")


def test_a_wall_and_an_eave_leave_the_published_sky():
    check = find_check(FILE, "vf-eave-and-wall")
    distance, height = check.given("distance_to_wall_m"), check.given("eave_height_m")
    edge = check.given("eave_projection_m") - distance
    # Towards the wall is positive: the eave spans from the wall's top to its edge on this side of the zenith.
    top = np.degrees(np.arctan2(distance, height))
    assert shape.strip_view(top, 90.0) == check.approx("wall_view")
    assert shape.strip_view(-np.degrees(np.arctan2(edge, height)), top) == check.approx("eave_view")


def test_a_round_canopy_takes_the_published_share():
    check = find_check(FILE, "vf-canopy-disc")
    assert shape.disc_view(check.given("canopy_radius_m"), check.given("canopy_height_m")) == check.approx(
        "canopy_view"
    )


def test_tilted_surfaces_see_the_published_sky():
    check = find_check(FILE, "vf-tilted-plane")
    assert shape.tilted_sky_view(check.given("tilt_deg")) == check.approx("sky")


def test_a_gap_between_two_walls_leaves_the_published_sky():
    check = find_check(FILE, "vf-canyon")
    ratio = check.given("height_over_width")
    assert 1.0 - 2.0 * shape.wall_view(0.5, ratio) == check.approx("sky_view_floor_centre")
    # Mean over the floor: what is left beside both walls, by crossed strings.
    assert 1.0 - 2.0 * shape.corner_view(1.0, ratio) == check.approx("sky_view_floor_mean")


def test_corner_walls_follow_the_crossed_strings():
    check = find_check(FILE, "vf-corner-walls")
    assert shape.corner_view(1.0, check.given("ratio")) == check.approx("f_unit_to_other")


def test_rectangles_agree_with_the_view_factor_library():
    parallel, upright = find_check(FILE, "vf-ees-parallel-1"), find_check(FILE, "vf-ees-perp-gap")
    sides = (parallel.given("a_m"), parallel.given("b_m"), parallel.given("spacing_m"))
    assert shape.parallel_rectangles(*sides) == parallel.approx("f12")
    # Half a metre deep and long, wall from 0.2 to 0.5 m above the edge.
    assert shape.perpendicular_rectangles(0.5, 0.3, 0.5, 0.2) == upright.approx("f_horizontal_to_vertical")


def test_the_faces_of_a_cube_see_each_other_and_nothing_else():
    check = find_check(FILE, "vf-cube")
    opposite, adjacent = shape.parallel_rectangles(1.0, 1.0, 1.0), shape.perpendicular_rectangles(1.0, 1.0, 1.0)
    assert opposite == check.approx("f_opposite")
    assert adjacent == check.approx("f_adjacent")
    assert opposite + 4.0 * adjacent == pytest.approx(1.0, abs=1e-12)


# ---------------------------------------------------------------- brute force


@pytest.mark.parametrize("receiver", ["level", "facing"])
def test_wall_view_is_the_integral_over_the_wall(receiver):
    distance, height, length = 1.3, 2.2, 5.0

    def kernel(along, up):
        squared = distance**2 + along**2 + up**2
        towards = up if receiver == "level" else distance
        return towards * distance / (np.pi * squared**2)

    by_hand, _ = integrate.dblquad(kernel, 0.0, height, -0.5 * length, 0.5 * length, epsabs=1e-10)
    assert shape.wall_view(distance, height, length, receiver=receiver) == pytest.approx(by_hand, abs=1e-8)


@pytest.mark.parametrize("receiver", ["level", "sphere"])
def test_sky_view_is_the_integral_over_a_crooked_horizon(receiver):
    azimuths, horizon = np.array([10.0, 80.0, 200.0, 310.0]), np.array([5.0, 40.0, 0.0, 70.0])
    fine = np.arange(0.005, 360.0, 0.01)
    height = np.radians(np.interp(fine, azimuths, horizon, period=360.0))
    by_hand = np.mean(np.cos(height) ** 2) if receiver == "level" else np.mean(1.0 - np.sin(height))
    assert shape.sky_view(azimuths, horizon, receiver=receiver) == pytest.approx(by_hand, abs=1e-6)


# ---------------------------------------------------------------- what always holds


@given(lengths, lengths, st.floats(0.1, 500.0))
def test_a_longer_wall_is_seen_more_and_an_endless_one_most(distance, height, length):
    for receiver in ("level", "facing"):
        shorter = shape.wall_view(distance, height, length, receiver=receiver)
        longer = shape.wall_view(distance, height, 1.5 * length, receiver=receiver)
        endless = shape.wall_view(distance, height, receiver=receiver)
        assert 0.0 < shorter <= longer + 1e-12 <= endless + 2e-12 <= 0.5 + 2e-12


@given(lengths, lengths)
def test_an_endless_wall_follows_its_elevation_only(distance, height):
    elevation = np.arctan2(height, distance)
    assert shape.wall_view(distance, height) == pytest.approx(0.5 * (1.0 - np.cos(elevation)), abs=1e-12)
    assert shape.wall_view(distance, height, receiver="facing") == pytest.approx(0.5 * np.sin(elevation), abs=1e-12)


@given(lengths, lengths, lengths)
def test_view_factors_are_reciprocal(a, b, c):
    there, back = shape.perpendicular_rectangles(a, b, c), shape.perpendicular_rectangles(b, a, c)
    assert a * there == pytest.approx(b * back, rel=1e-6, abs=1e-9)
    assert a * shape.corner_view(a, b) == pytest.approx(b * shape.corner_view(b, a), rel=1e-9)


@given(st.lists(st.floats(0.0, 90.0), min_size=1, max_size=12), st.floats(0.0, 20.0), st.floats(0.0, 360.0))
def test_a_higher_horizon_leaves_less_sky_and_turning_the_yard_changes_nothing(horizon, rise, turn):
    azimuths = np.arange(len(horizon)) * (360.0 / len(horizon))
    higher = np.minimum(np.array(horizon) + rise, 90.0)
    for receiver in ("level", "sphere"):
        view = shape.sky_view(azimuths, horizon, receiver=receiver)
        assert shape.sky_view(azimuths, higher, receiver=receiver) <= view + 1e-12
        assert shape.sky_view(azimuths + turn, horizon, receiver=receiver) == pytest.approx(view, abs=1e-9)
        assert -1e-12 <= view <= 1.0 + 1e-12


def test_a_horizon_given_in_any_order_or_closed_twice_is_the_same():
    azimuths, horizon = np.array([0.0, 90.0, 180.0, 270.0]), np.array([10.0, 20.0, 30.0, 40.0])
    view = shape.sky_view(azimuths, horizon)
    assert shape.sky_view(azimuths[[2, 0, 3, 1]], horizon[[2, 0, 3, 1]]) == pytest.approx(view, abs=1e-15)
    assert shape.sky_view([*azimuths, 360.0], [*horizon, 10.0]) == pytest.approx(view, abs=1e-15)


def test_an_open_horizon_is_all_sky_and_a_closed_one_none():
    for receiver in ("level", "sphere"):
        assert shape.sky_view([0.0], [0.0], receiver=receiver) == pytest.approx(1.0, abs=1e-15)
        assert shape.sky_view([0.0], [90.0], receiver=receiver) == pytest.approx(0.0, abs=1e-15)


# ---------------------------------------------------------------- arrays, NaN, refusal


def test_arrays_broadcast_and_nan_stays_nan():
    got = shape.wall_view([[0.5], [np.nan]], 3.0, [np.inf, 8.0, np.nan])
    assert got.shape == (2, 3)
    assert np.isnan(got).tolist() == [[False, False, True], [True, True, True]]
    assert got[0, 0] == shape.wall_view(0.5, 3.0)
    assert np.isnan(shape.sky_view([0.0, 180.0], [[10.0, 20.0], [np.nan, 20.0]])).tolist() == [False, True]


def test_a_horizon_of_the_wrong_length_is_refused():
    with pytest.raises(ValueError, match=r"horizon_deg must have one height per direction .* for 3 azimuths_deg"):
        shape.sky_view([0.0, 120.0, 240.0], [10.0, 20.0])


def test_an_unknown_receiver_is_refused():
    with pytest.raises(ValueError, match="receiver must be level or sphere, got 'cube'"):
        shape.sky_view([0.0], [10.0], receiver="cube")
    with pytest.raises(ValueError, match="receiver must be level or facing, got 'sphere'"):
        shape.wall_view(1.0, 2.0, receiver="sphere")
