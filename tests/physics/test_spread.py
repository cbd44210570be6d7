"""Uncertain parameters drawn for every member."""

from dataclasses import replace

import numpy as np
import pytest

from fruitwall.physics.body import Body
from fruitwall.physics.night import simulate
from fruitwall.physics.spread import NO_SPREAD, Spread, spread_steps
from fruitwall.physics.steps import steps_of
from fruitwall.physics.treatment import Treatment
from tests.physics.nights import LAST, frost_weather, open_spot

TREATMENTS = [Treatment("leave"), Treatment("film", cover="film_polyethylene", on_frame=True)]


def same_weather(members):
    """Members that do not differ in their weather."""
    weather = frost_weather(members=members)
    return replace(weather, t_air_c=np.broadcast_to(weather.t_air_c.mean(axis=0), weather.t_air_c.shape))


def leaf_minima(weather, **more):
    """Leaf minima by treatment and member."""
    return simulate(weather, [open_spot()], [Body()], [TREATMENTS], [LAST], **more).minimum_c[0, :, :, 0, 0]


def test_without_spread_members_of_one_weather_are_one():
    assert np.ptp(leaf_minima(same_weather(8)), axis=1) == pytest.approx(0.0, abs=1e-9)
    assert np.array_equal(leaf_minima(same_weather(8)), leaf_minima(same_weather(8), spread=NO_SPREAD))


def test_uncertain_parameters_spread_the_leaf_by_half_a_kelvin_around_what_it_was():
    certain = leaf_minima(same_weather(64))[:, 0]
    unsure = leaf_minima(same_weather(64), spread=Spread(), rng=np.random.default_rng(1))
    assert np.all(unsure.std(axis=1) > 0.2)
    assert np.all(unsure.std(axis=1) < 1.5)
    assert unsure.mean(axis=1) == pytest.approx(certain, abs=0.3)


@pytest.mark.parametrize(("name", "covered_only"), [("sky_w_m2", False), ("wind_log", False), ("leak_log", True)])
def test_each_parameter_moves_what_it_belongs_to(name, covered_only):
    rng = np.random.default_rng(1)
    values = {"sky_w_m2": 0.0, "wind_log": 0.0, "cooling_log": 0.0, "leak_log": 0.0} | {name: 0.5}
    open_air, film = leaf_minima(same_weather(32), spread=Spread(**values), rng=rng).std(axis=1)
    assert film > 0.0
    assert (open_air < 1e-9) == covered_only


def test_the_draw_is_normal_repeatable_and_another_with_another_seed():
    steps = steps_of(same_weather(256), 60)
    drawn, leak = spread_steps(steps, Spread(), np.random.default_rng(1))
    assert np.log(leak).mean() == pytest.approx(0.0, abs=0.02)
    assert np.log(leak).std() == pytest.approx(Spread().leak_log, rel=0.03)
    assert (drawn.sky_w_m2 - steps.sky_w_m2)[:, 0].std() == pytest.approx(Spread().sky_w_m2, rel=0.03)
    assert np.all((drawn.cooling >= 0.0) & (drawn.cooling <= 1.0))
    assert np.array_equal(spread_steps(steps, Spread(), np.random.default_rng(1))[1], leak)
    assert not np.array_equal(spread_steps(steps, Spread(), np.random.default_rng(2))[1], leak)


def test_one_member_stands_for_the_middle():
    steps = steps_of(frost_weather(), 60)
    drawn, leak = spread_steps(steps, Spread())
    assert drawn is steps
    assert leak == pytest.approx([1.0])


def test_impossible_spreads_are_refused_by_name():
    with pytest.raises(ValueError, match="leak_log must be"):
        Spread(leak_log=-0.1)
    with pytest.raises(ValueError, match="sky_w_m2 must be"):
        Spread(sky_w_m2=500.0)
    with pytest.raises(ValueError, match="needs an rng"):
        leaf_minima(same_weather(4), spread=Spread())
