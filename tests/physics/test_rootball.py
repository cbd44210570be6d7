"""Root balls of containers against the cylinder, and what freezing water does."""

import numpy as np
import pytest

from fruitwall.physics.body import Body
from fruitwall.physics.faces import Layer
from fruitwall.physics.rootball import HEIGHT_OVER_DIAMETER, RIM_SHARE, WALL_RESISTANCE, root_ball, root_ball_of
from fruitwall.physics.slab import Slab
from tests.published import find_check


def march(ball, *, start, air, h, hours, wall=0.0, freezing=False):
    """Rim and core in air alone, by small explicit steps; top and floor closed."""
    side = ball.side_m2 / (1.0 / h + ball.wall_m2kw - wall)
    capacity = np.array([ball.rim_j_k, ball.core_j_k])
    latent = np.array([ball.rim_freezing_j, ball.core_freezing_j]) * freezing
    heat = capacity * start
    course = []
    for _ in range(round(hours * 60)):
        t = (np.maximum(heat, 0.0) + np.minimum(heat + latent, 0.0)) / capacity
        between = ball.between * (t[1] - t[0])
        heat = heat + 60.0 * np.array([side * (air - t[0]) + between, -between])
        course.append(t)
    return np.array(course)


def test_rim_and_core_follow_the_exact_cylinder_through_the_night():
    check = find_check("slab.yaml", "cond-pot-night")
    diameter, k, c = (check.given(name) for name in ("diameter_m", "k_w_mk", "c_j_m3k"))
    volume = np.pi / 4 * diameter**2 * HEIGHT_OVER_DIAMETER * diameter * 1000.0
    ball = root_ball(volume, conductivity_w_mk=k, capacity_j_m3k=c)
    start, air, h = (check.given(name) for name in ("t_initial_c", "t_air_c", "h_w_m2k"))
    nodes = march(ball, start=start, air=air, h=h, hours=10, wall=WALL_RESISTANCE["plastic"])
    radius = diameter / 2
    rings = [radius * (1 - (1 - RIM_SHARE / 2) ** 0.5), radius * (1 - ((1 - RIM_SHARE) / 2) ** 0.5)]
    exact = Slab([Layer(radius, k, c / 1000, 1000.0)], shape="cylinder").march(
        60.0, start_c=start, t_air_c=np.full(600, float(air)), h_w_m2k=h, depths_m=rings
    )
    # Two nodes cannot follow the first hour's thin cold skin; from the second hour on they do.
    assert nodes[120:] == pytest.approx(exact.temperature_c[1:][120:], abs=0.35)
    assert nodes[-1, 0] == pytest.approx(exact.temperature_c[-1, 0], abs=0.06)


def test_water_in_the_mix_holds_the_roots_at_zero_through_a_frost_night():
    ball = root_ball(20.0)
    wet = march(ball, start=3.0, air=-6.0, h=10.0, hours=10, freezing=True)
    dry = march(ball, start=3.0, air=-6.0, h=10.0, hours=10)
    assert wet[-1, 0] == pytest.approx(0.0, abs=1e-9)
    assert dry[-1, 0] < -3.0


def test_a_large_container_cools_more_slowly_than_a_small_one():
    small, large = (march(root_ball(v), start=8.0, air=-3.0, h=10.0, hours=8)[-1, 0] for v in (4.0, 100.0))
    assert small < large - 2.0


def test_a_timber_tub_loses_less_than_a_plastic_pot():
    plastic, timber = root_ball(50.0, "plastic"), root_ball(50.0, "timber")
    assert timber.wall_m2kw > plastic.wall_m2kw + 0.1


def test_a_body_in_a_pot_has_its_root_ball():
    assert root_ball_of(Body(pot_volume_l=20.0, pot_wall="clay")) == root_ball(20.0, "clay")


@pytest.mark.parametrize(
    ("volume", "wall", "words"),
    [
        (0.0, "plastic", "volume_l must be greater than 0"),
        (float("nan"), "plastic", "volume_l must be greater than 0 and at most 2000 L, got nan"),
        (20.0, "paper", "wall must be one of plastic, clay"),
    ],
)
def test_impossible_containers_are_refused_by_name(volume, wall, words):
    with pytest.raises(ValueError, match=words):
        root_ball(volume, wall)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"leaf_width_m": 0.0}, "leaf_width_m must be greater than 0"),
        ({"height_m": float("nan")}, "height_m must be a number greater than 0"),
        ({"pot_volume_l": -1.0}, "pot_volume_l must be greater than 0"),
    ],
)
def test_impossible_bodies_are_refused_by_name(change, words):
    with pytest.raises(ValueError, match=words):
        Body(**change)


def test_a_leafless_body_hides_no_sky():
    assert Body(leaf_area_index=0.0).foliage_share == 0.0
    assert not Body(leaf_area_index=0.0).leafy
