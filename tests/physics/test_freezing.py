"""Water that freezes: in bare soil, in fruit and in barrels. Closed forms, and heat that is neither made nor lost."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.physics import kernel_bodies as body
from fruitwall.physics import kernel_lanes as lane
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import Body
from fruitwall.physics.cases import body_parameters, lay_barrels, lay_ground, lay_ice
from fruitwall.physics.night import _March, simulate
from fruitwall.physics.soil import (
    SATURATION,
    UNFROZEN,
    Season,
    freezing_of,
    frozen_soil,
    ground_of,
    lag_k,
    season_of,
    soil_layer,
)
from fruitwall.physics.treatment import Treatment
from tests.physics.nights import LAST, frost_weather, open_spot
from tests.physics.test_night import STONE_WALL
from tests.published import find_check

ONE = np.uint64(1)
STEP_S = 900.0


def plain(function):
    """The Python function that is compiled."""
    return getattr(function, "py_func", function)


@pytest.fixture
def _plain_exponential(monkeypatch):
    """The compiled one has no way in from Python."""
    monkeypatch.setattr(body, "exponential", plain(lane.exponential))


class Ground:
    """Bare ground under a surface temperature that is told it, step by step, as the kernel marches it."""

    def __init__(self, texture="loam", moisture="moist", start_c=4.0):
        self.p = np.zeros(k.PARAMETERS)
        lay_ground(self.p, ground_of(open_spot(), texture, moisture).terms(STEP_S, k.TERMS), Season(0.0, 0.0))
        lay_ice(self.p, *freezing_of(open_spot(), texture, moisture))
        self.x = np.zeros(k.STATE_SIZE)
        self.x[k.X_FRONT0] = self.x[k.X_SOIL] = start_c
        for i in range(k.TERMS):
            self.x[int(k.X_Z0) + i * k.LANES] = self.p[k.P_REST + i] * start_c

    def step(self, surface_c):
        """March one step; give the heat taken up, what the unfrozen ground took of it, and what the ice took. [W/m²]"""
        x, p, before = self.x, self.p, self.x[k.X_ICE]
        plain(lane.ground_answer)(x, ONE, p, 1.0 / STEP_S)
        x[k.X_SOIL] = surface_c
        cold, thaw, stiff = x[k.X_COLD], x[k.X_THAW], p[k.P_STIFF]
        warm = min(stiff * surface_c, p[k.P_OWN] * (surface_c - thaw) + stiff * thaw)
        taken = (cold * surface_c if surface_c < 0.0 else warm) - x[k.X_RETURN]
        plain(lane.front)(x, ONE, p)
        plain(lane.freeze)(x, ONE, p, STEP_S)
        into_slab = p[k.P_OWN] * x[k.X_FRONT] - x[k.X_BELOW]
        plain(lane.ground_march)(x, ONE, p)
        x[k.X_FRONT0] = x[k.X_FRONT]
        return taken, into_slab, (before - x[k.X_ICE]) / STEP_S

    @property
    def frozen_m(self):
        """Depth of the ice. [m]"""
        return self.x[k.X_ICE] * self.p[k.P_FROZEN_PER]


# ---------------------------------------------------------------- soil


@pytest.mark.parametrize(
    ("texture", "moisture"), [("loam", "moist"), ("loam", "wet"), ("sand", "moist"), ("clay", "wet")]
)
def test_frost_goes_into_the_soil_at_the_speed_of_stefans_exact_solution(texture, moisture):
    # The one case with a front of constant speed v, in soil that is at 0 °C: the surface must fall as
    # (L/c) (1 - exp(v² t/a)) (Stefan 1891; from memory, and the heat equation is satisfied by it). Ours leaves out the
    # heat kept in the ice, a few hundredths here. A first step would freeze more than it should under a surface that
    # jumps: no surface of a yard does.
    ground = Ground(texture, moisture, start_c=0.0)
    layer = soil_layer(texture, SATURATION[moisture])
    solid, latent = frozen_soil(texture, SATURATION[moisture])
    capacity = layer.density_kg_m3 * layer.heat_capacity_j_kgk
    speed = 0.04 / (48 * STEP_S)
    for step in range(1, 49):
        ground.step(latent / capacity * (1.0 - np.exp(speed**2 * step * STEP_S * capacity / solid)))
    assert ground.frozen_m == pytest.approx(0.04, rel=0.06)


@settings(deadline=None)
@given(st.lists(st.floats(-12.0, 15.0), min_size=2, max_size=40), st.sampled_from(["dry", "moist", "wet"]))
def test_what_the_surface_takes_up_is_what_the_ground_and_the_ice_keep(temperatures, moisture):
    ground = Ground(moisture=moisture)
    for surface_c in temperatures:
        taken, into_slab, melted = ground.step(surface_c)
        assert ground.x[k.X_ICE] >= 0.0
        assert taken == pytest.approx(into_slab + melted, abs=1e-8 * (1.0 + abs(taken) + abs(into_slab) + abs(melted)))


@settings(deadline=None)
@given(st.lists(st.floats(-6.0, 8.0), min_size=1, max_size=30), st.floats(-5.0, 5.0), st.floats(0.0, 4.0))
def test_a_warmer_surface_is_never_given_more_heat(temperatures, surface_c, more):
    # The pieces of the ground's answer rise without a jump, so that the balance of the surface has one solution.
    taken = []
    for last in (surface_c, surface_c + more):
        ground = Ground()
        for each in temperatures:
            ground.step(each)
        taken.append(ground.step(last)[0])
    assert taken[1] >= taken[0] - 1e-9


def test_water_held_by_fine_grains_does_not_freeze():
    assert frozen_soil("loam", SATURATION["dry"])[1] < 0.2 * frozen_soil("loam", SATURATION["moist"])[1]
    assert frozen_soil("clay", 0.3)[1] == 0.0
    for texture, bound in UNFROZEN.items():
        conductivity, latent = frozen_soil(texture, 1.0)
        assert conductivity > soil_layer(texture, 1.0).conductivity_w_mk  # ice conducts four times as well as water
        assert latent < 334e6 * (1.0 - bound)


def test_only_bare_ground_freezes_at_its_surface():
    assert freezing_of(open_spot(), "loam", "moist")[1] > 0.0
    for change in ({"ground": "turf"}, {"ground": "mulch"}, {"paving_share": 0.7}, {"pond_share": 0.6}):
        assert freezing_of(open_spot(**change), "loam", "moist") == (0.0, 0.0)


def test_ground_that_was_frozen_for_weeks_is_not_frozen_once_more():
    # Its first five days are below zero: it has no water left to freeze, so that its surface falls with the air.
    weather = frost_weather(low=-12.0, high=-3.0, before=0.0)
    soil = simulate(weather, [open_spot()], [Body()], [[Treatment()]], [LAST], keep_series=True).series["soil"]
    assert soil.min() < -6.0


def test_watered_soil_gives_back_more_heat_through_the_night():
    # The day before a freeze: the surface of the wetted bare ground is warmer at dawn, and the leaf not colder.
    treatments = [Treatment("leave"), Treatment("water", wet_ground=True)]
    seedling = Body(height_m=0.3, crown_diameter_m=0.3, leaf_area_index=1.0)
    result = simulate(frost_weather(low=1.0), [open_spot()], [seedling], [treatments], [LAST], keep_series=True)
    dawn = 96 + 58 + 96
    soil, leaf = result.series["soil"][0, :, 0, dawn], result.series["leaf"][0, :, 0, dawn]
    assert soil[1] > soil[0] + 0.3
    assert leaf[1] > leaf[0]


# ---------------------------------------------------------------- the year in the ground


def test_the_depths_are_warmer_than_the_air_in_winter_and_colder_in_summer():
    north, south = (season_of(np.datetime64("2026-01-17T00:00:00"), latitude) for latitude in (34.0, -34.0))
    assert lag_k(0.0, north) == pytest.approx(0.0)
    assert 2.0 < lag_k(1.0, north) < 5.0
    assert lag_k(1.0, south) == pytest.approx(-lag_k(1.0, north), abs=0.02)
    assert np.all(np.diff(lag_k(np.linspace(0.0, 1.0, 11), north)) > 0.0)


def test_the_ground_starts_with_what_summer_left_in_it():
    deep = Body(root_depth_m=0.8)
    result = simulate(frost_weather(before=0.0), [open_spot()], [deep], [[Treatment()]], [LAST], keep_series=True)
    start = frost_weather(before=0.0).t_air_c.mean()
    expected = lag_k(0.8, season_of(frost_weather().time_utc[0], 34.0))
    assert result.series["root"][0, 0, 0, 4] - start == pytest.approx(expected, abs=0.4)


# ---------------------------------------------------------------- fruit


def fruit_steps(fruit, around_c, steps, start_c=5.0):
    """Temperatures and ice of a fruit in still surroundings at one temperature."""
    b, x = body_parameters(fruit), np.zeros(k.STATE_SIZE)
    emitted = lane.EPS * lane.SIGMA * (around_c + lane.ZERO) ** 4
    x[k.X_AIR0] = x[k.X_AIR] = around_c
    x[k.X_HALF0] = x[k.X_HALF] = emitted
    x[k.X_ROOT_U], x[k.X_FRUIT] = 0.5, start_c
    out = []
    for _ in range(steps):
        plain(body.fruit_step)(x, ONE, STEP_S, STEP_S / b[k.B_FRUIT_C], b[k.B_FRUIT_A], b, 1.0, 0.0)
        out.append((x[k.X_FRUIT], x[k.X_FRUIT_ICE]))
    return b, np.array(out)


@pytest.mark.usefixtures("_plain_exponential")
def test_a_fruit_stays_at_its_freezing_point_until_the_flux_there_has_frozen_it():
    # Time of freezing: latent heat over the flux at the freezing point, which is constant in still surroundings.
    fruit = Body(fruit_diameter_m=0.07, fruit_freezing_c=-1.5)
    b, out = fruit_steps(fruit, -6.0, 200)
    plateau = np.sum((out[:, 1] > 0.0) & (out[:, 1] < b[k.B_FRUIT_L])) * STEP_S
    h = b[k.B_FRUIT_A] * 0.5 + b[k.B_FRUIT_B] * (4.5**2 + 0.01) ** 0.125
    emitted = [lane.EPS * lane.SIGMA * (t + lane.ZERO) ** 4 for t in (-6.0, -1.5)]
    flux = emitted[0] - emitted[1] - h * 4.5
    assert plateau == pytest.approx(b[k.B_FRUIT_L] / -flux, abs=2 * STEP_S)
    assert np.all(out[(out[:, 1] > 0.0) & (out[:, 1] < b[k.B_FRUIT_L]), 0] == -1.5)
    assert out[-1, 0] == pytest.approx(-6.0, abs=0.05)
    assert out[-1, 1] == pytest.approx(b[k.B_FRUIT_L])


@pytest.mark.usefixtures("_plain_exponential")
def test_a_frozen_fruit_thaws_by_giving_the_same_heat_back():
    fruit = Body(fruit_diameter_m=0.07, fruit_freezing_c=-1.5)
    b, x = body_parameters(fruit), np.zeros(k.STATE_SIZE)
    x[k.X_FRUIT], x[k.X_FRUIT_ICE], x[k.X_ROOT_U] = -5.0, b[k.B_FRUIT_L], 0.5
    x[k.X_AIR0] = x[k.X_AIR] = 8.0
    x[k.X_HALF0] = x[k.X_HALF] = lane.EPS * lane.SIGMA * (8.0 + lane.ZERO) ** 4
    ice = []
    for _ in range(200):
        plain(body.fruit_step)(x, ONE, STEP_S, STEP_S / b[k.B_FRUIT_C], b[k.B_FRUIT_A], b, 1.0, 0.0)
        ice.append(x[k.X_FRUIT_ICE])
    assert np.all(np.diff(ice) <= 0.0)
    assert ice[-1] == 0.0
    assert x[k.X_FRUIT] == pytest.approx(8.0, abs=0.05)


def test_fruit_that_freezes_is_warmer_through_the_night_than_fruit_that_undercools():
    freezing, undercooling = (
        simulate(
            frost_weather(), [open_spot()], [Body(fruit_diameter_m=0.07, fruit_freezing_c=t)], [[Treatment()]], [LAST]
        )
        for t in (-1.5, float("nan"))
    )
    assert freezing.minimum_c[0, 0, 0, 0, 3] == pytest.approx(-1.5)
    assert undercooling.minimum_c[0, 0, 0, 0, 3] < -3.0
    assert np.array_equal(freezing.minimum_c[..., :3], undercooling.minimum_c[..., :3])  # the leaves do not notice


@pytest.mark.parametrize("minutes", [5, 15, 60])
@pytest.mark.parametrize("diameter_m", [0.005, 0.02, 0.2])
def test_buds_and_melons_freeze_and_thaw_within_what_surrounds_them(diameter_m, minutes):
    # A small body runs out of ice within a step; what is left of the step must not be taken for a whole one.
    weather = frost_weather(low=-11.0, high=6.0, before=0.0)
    fruit = Body(fruit_diameter_m=diameter_m, fruit_freezing_c=-1.5)
    series = simulate(
        weather, [open_spot()], [fruit], [[Treatment()]], [LAST], keep_series=True, step_minutes=minutes
    ).series
    assert series["fruit"].min() > min(series["leaf"].min(), series["twig"].min()) - 1.0
    assert series["fruit"].max() < series["leaf"].max() + 5.0


# ---------------------------------------------------------------- barrels


@pytest.mark.usefixtures("_plain_exponential")
def test_a_barrel_cools_as_the_exponential_says_and_gives_the_published_heat():
    check = find_check("slab.yaml", "store-water-barrel")
    b, x = np.zeros(k.BODY_PARAMETERS), np.zeros(k.STATE_SIZE)
    exchange = lay_barrels(b, Treatment("b", cover="film_polyethylene", water_l=check.given("water_l")), 1.0)
    start = float(check.given("from_c"))
    assert b[k.B_BARREL_C] * start / 1e6 == check.approx("sensible_mj")
    assert b[k.B_BARREL_L] / 1e6 == check.approx("freezing_all_mj")
    x[k.X_BARREL], x[k.X_BARREL_H] = start, start * b[k.B_BARREL_C]
    x[k.X_AIR0] = x[k.X_AIR] = 2.0
    for _ in range(48):
        plain(body.barrel_step)(x, ONE, b, STEP_S, 1.0)
    left = np.exp(-exchange * 12 * 3600.0 / b[k.B_BARREL_C])
    assert x[k.X_BARREL] == pytest.approx(2.0 + (start - 2.0) * left, abs=1e-6)
    x[k.X_AIR0] = x[k.X_AIR] = -8.0
    for _ in range(400):
        plain(body.barrel_step)(x, ONE, b, STEP_S, 1.0)
    assert x[k.X_BARREL] == 0.0  # days of frost, and it still freezes
    assert -b[k.B_BARREL_L] < x[k.X_BARREL_H] < 0.0


def test_barrels_under_film_keep_a_tree_warmer_and_many_small_cans_more_than_one_barrel():
    shed = {"cover": "film_polyethylene", "on_frame": True}
    treatments = [
        Treatment("film", **shed),
        Treatment("barrel", **shed, water_l=200.0),
        Treatment("cans", **shed, water_l=200.0, vessel_l=10.0),
    ]
    result = simulate(frost_weather(), [open_spot()], [Body()], [treatments], [LAST], keep_series=True)
    dawn = result.series["leaf"][0, :, 0, 96 + 96 + 58]
    assert dawn[0] + 0.3 < dawn[1] < dawn[2]


def test_water_in_barrels_wants_to_be_a_number():
    with pytest.raises(ValueError, match="water_l must be at least 0"):
        Treatment("b", cover="bed_sheet", water_l=float("nan"))


# ---------------------------------------------------------------- sun thrown back, low sky hidden


def test_the_sun_that_a_wall_throws_back_warms_a_leaf_and_only_by_day():
    spot = open_spot(
        sky=0.6, wall=0.3, wall_ids=("wall/1/right",), wall_shares=(0.3,), wall_below=0.2, wall_below_shares=(0.2,)
    )
    white = replace(STONE_WALL, absorptance=0.2)
    leaf = []
    for thrown in (1.0, 0.0):
        march = _March(frost_weather(), [spot], [Body()], [[Treatment()]], [LAST], [white], "loam", "moist", 15, 0.0)
        march.thrown *= thrown
        rows = march.run(keep_series=True, threads=1).series[0, 0].reshape(-1, k.HISTORY_ROWS, k.LANES)
        leaf.append(rows[:, 0, 0])
    gain = leaf[0] - leaf[1]
    assert gain[80] > 0.2  # noon of the first day
    assert np.abs(gain[8:56]).max() < 0.01  # the night before: what is left of the evening sun in the ground


def test_a_cover_among_neighbours_that_hide_the_low_sky_loses_less_at_its_sides():
    cloth = Treatment("c", cover="frost_blanket", on_frame=True)
    open_side, hidden = (
        simulate(frost_weather(), [open_spot(sky=0.75, side_sky=s)], [Body()], [[cloth]], [LAST]).minimum_c[
            0, 0, 0, 0, 0
        ]
        for s in (0.375, 0.25)
    )
    assert 0.02 < hidden - open_side < 1.0
