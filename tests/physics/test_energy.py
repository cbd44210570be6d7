"""Heat is neither made nor lost: surfaces, ground, root ball and wood over a night, accounted for anew.

The march gives temperatures; what crosses every boundary is computed anew from them here. Nothing freezes in these
nights but the root ball, so that what the ground keeps is what its six terms keep.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import root

from bench.night_reference import EPS, Reference, Surroundings, black, quarter, vapour_flux
from fruitwall.physics import kernel_bodies
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import Body
from fruitwall.physics.cases import body_parameters
from fruitwall.physics.night import _March
from fruitwall.physics.slab import Slab, Terms
from fruitwall.physics.soil import ground_of, lag_k
from fruitwall.physics.treatment import Treatment
from tests.physics.nights import LAST, frost_weather, open_spot

LEAF, AIR, SOIL, COVER, ROOT = (int(row) // k.LANES for row in (k.H_LEAF, k.H_AIR, k.H_SOIL, k.H_COVER, k.H_ROOT))
TWIG, WOOD, FRUIT = (int(row) // k.LANES for row in (k.H_TWIG, k.H_WOOD, k.H_FRUIT))
SURFACES = [LEAF, AIR, SOIL, COVER]
TREE = Body(height_m=2.0, crown_diameter_m=1.5, fruit_diameter_m=0.07)
NOON_TO_NOON = slice(96 + 80, 96 + 176)

TREATMENTS = [
    Treatment("leave"),
    Treatment("cloth", cover="fleece_heavy", on_frame=True, heater_w=300.0, lamp_w=50.0),
    Treatment("film", cover="film_polyethylene", on_frame=True),
    Treatment("thermostat", cover="film_polyethylene", on_frame=True, heater_w=500.0, thermostat_c=6.0),
    Treatment("roof", cover="bed_sheet", sides="open", on_frame=True),
    Treatment("lamps", lamp_w=100.0),
]


def mild_weather():
    """A clear night that stays above freezing, with dew on the leaves."""
    return frost_weather(low=3.0, high=14.0, dew=2.0)


def across(x, spot, p, into_ground):
    """What crosses the boundary of leaf, air, soil's surface and cover together, inwards. [W per m² of ground]"""
    leaf, air, soil, cover = x
    fol, covered = p[k.P_FOLIAGE], p[k.P_COVERED] > 0.5
    root_u = np.sqrt(spot.wind)
    inside = p[k.P_IN_WIND_MUL] * root_u + p[k.P_IN_WIND_ADD] if covered else root_u
    h_leaf = p[k.P_LEAF_A] * inside + p[k.P_LEAF_B] * quarter(air - leaf)
    sun = p[k.P_SUN_THROUGH] * spot.sun
    plane = fol * black(leaf) + (1 - fol) * black(soil)
    exchange = p[k.P_EXCHANGE0] + p[k.P_EXCHANGE1] * spot.wind
    path = exchange / (exchange + 2 * fol * h_leaf)
    fluxes = {
        "air around": exchange * (spot.air - air),
        "ground": -into_ground,
        "vapour": -fol * vapour_flux(leaf, spot.vapour, p[k.P_DEPOSITION] * h_leaf * path, p[k.P_STOMATA] * spot.sun),
        "heater": min(max(p[k.P_HEATER] * (p[k.P_THERMOSTAT] - air), 0.0), p[k.P_HEATER]),
        "lamps": fol * p[k.P_LAMP_LEAF] + p[k.P_LAMP_AIR] + p[k.P_LAMP_SOIL] + covered * p[k.P_LAMP_COVER],
        "sun": sun * (fol * 0.5 * (1 + p[k.P_ALBEDO] * (1 - fol)) + (1 - p[k.P_ALBEDO]) * (1 - fol)),
    }
    if not covered:
        return fluxes | {"down": EPS * spot.longwave, "up": -EPS * plane}
    # What passes the material, once the plants' own reflection has met it again.
    down = p[k.P_THROUGH] * spot.longwave + p[k.P_EMIT_IN] * black(cover) + p[k.P_REFLECT] * plane
    through = p[k.P_THROUGH] / p[k.P_EMIT_IN] * p[k.P_HOLD]
    area, share = p[k.P_COVER_AREA], p[k.P_OUT_FACTOR]
    h_out = p[k.P_COVER_OUT_A] * root_u + p[k.P_COVER_OUT_B] * quarter(spot.air - cover)
    sides = p[k.P_OUT_AIR] * black(spot.air) - p[k.P_OUT_SUM] * black(cover)
    return fluxes | {
        "down": through * spot.longwave,
        "up": -through * (EPS * plane + (1 - EPS) * down),
        "skin": share * area * h_out * (spot.air - cover),
        "skin's vapour": -share * vapour_flux(cover, spot.vapour, p[k.P_COVER_DEPOSITION] * area * h_out, 0.0),
        "skin's radiation": share * (p[k.P_OUT_ENV] * spot.longwave + sides),
        "sun on the skin": (p[k.P_SUN_AIR] + p[k.P_SUN_COVER]) * spot.sun,
    }


@dataclass
class Marched:
    """One case marched by the kernel, and the ground replayed from the temperature of its surface."""

    march: _March
    rows: np.ndarray  # of the history, by step
    reference: Reference
    slab: Slab
    kept: Terms
    terms: np.ndarray  # of the ground, by step
    surface_before: np.ndarray  # what a step starts from: after a change of the surroundings not the last step's
    into_ground: np.ndarray

    def at(self, t):
        """Surfaces, surroundings and parameters of a step, and what the walls below send."""
        p = self.march.cases.params[0, int(self.march.cases.phase[0, t])]
        spot, low, _ = self.reference.surroundings(t * self.march.steps.step_s, p, 0)
        return self.rows[t, SURFACES], spot, p, low


def marched(treatment, *, step_minutes=15):
    """March one case through the mild weather and replay its ground."""
    place = open_spot(sky=0.7)
    args = ([place], [TREE], [[treatment]], [LAST], (), "loam", "moist", step_minutes, 0.0)
    march = _March(mild_weather(), *args)
    rows = march.run(keep_series=True, threads=1).series[0, 0].reshape(-1, k.HISTORY_ROWS, k.LANES)[:, :, 0]
    slab = ground_of(place, "loam", "moist")
    kept, reference = slab.terms(march.steps.step_s, k.TERMS), Reference(march, 0, [slab])
    soil, phase = rows[:, SOIL], march.cases.phase[0]
    z = kept.rest[:, 0] * march.start[0, 0] + kept.project @ lag_k(slab.depth_m, march.setting.season)
    terms, flux, before = np.tile(z, (soil.size, 1)), np.zeros(soil.size), soil.copy()
    for t in range(1, soil.size):
        before[t] = soil[t - 1]
        if phase[t] != phase[t - 1]:
            # The surfaces answer a change of their surroundings at once, the stored heat does not.
            p = march.cases.params[0, int(phase[t])]
            around = (*reference.surroundings((t - 1) * march.steps.step_s, p, 0), p)
            held = (kept.direct[0], kept.weight @ z)
            before[t] = root(reference.balances, rows[t - 1, SURFACES], args=(*around, held), tol=1e-12).x[2]
        z = kept.decay * z + kept.old[:, 0] * before[t] + kept.new[:, 0] * soil[t]
        terms[t], flux[t] = z, kept.direct[0] * soil[t] - kept.weight @ z
    return Marched(march, rows, reference, slab, kept, terms, before, flux)


# ---------------------------------------------------------------- surfaces


@pytest.mark.parametrize("treatment", TREATMENTS, ids=lambda treatment: treatment.key)
def test_over_a_night_what_comes_in_goes_out_to_one_in_a_million(treatment):
    night = marched(treatment)
    steps = range(*NOON_TO_NOON.indices(len(night.rows)))
    fluxes = [across(*night.at(t)[:3], night.into_ground[t]) for t in steps]
    crossing = sum(abs(flux) for each in fluxes for flux in each.values())
    assert sum(flux for each in fluxes for flux in each.values()) == pytest.approx(0.0, abs=1e-6 * crossing)


temperatures = st.floats(-15.0, 25.0)


@settings(deadline=None)
@given(
    st.tuples(temperatures, temperatures, temperatures, temperatures),
    temperatures,
    st.floats(0.0, 6.0),
    st.floats(0.0, 600.0),
    st.sampled_from(range(len(TREATMENTS))),
)
def test_what_one_surface_gives_another_gets_in_any_state(x, air, wind, sun, number):
    # The balances of leaf, air, soil and cover, added up by their areas, are the fluxes across the outer boundary.
    march = _march_of(number)
    spot = Surroundings(air, 0.5, wind, 250.0, sun)
    p = march.cases.params[0, march.cases.phase[0, NOON_TO_NOON.start + 60]]
    lacks = Reference(march, 0, []).balances(np.array(x), spot, 0.0, 0.0, p, (0.0, 0.0))
    covered = p[k.P_COVERED] > 0.5
    total = p[k.P_FOLIAGE] * lacks[0] + lacks[1] + lacks[2] + covered * lacks[3]
    fluxes = across(x, spot, p, 0.0).values()
    assert total == pytest.approx(sum(fluxes), abs=1e-11 * sum(abs(flux) for flux in fluxes))


_MARCHES = {}


def _march_of(number):
    """A prepared march for each treatment, kept: only its parameters are looked at."""
    if number not in _MARCHES:
        args = ([open_spot(sky=0.7)], [TREE], [[TREATMENTS[number]]], [LAST], (), "loam", "moist", 15, 0.0)
        _MARCHES[number] = _March(mild_weather(), *args)
    return _MARCHES[number]


# ---------------------------------------------------------------- ground


def test_the_ground_keeps_over_a_night_what_entered_through_its_surface():
    night = marched(Treatment("cloth", cover="fleece_heavy", on_frame=True))
    kept, dt = night.kept, night.march.steps.step_s
    rate = -np.log(kept.decay) / dt
    points, weights = np.polynomial.legendre.leggauss(12)
    entered = crossing = 0.0
    for t in range(*NOON_TO_NOON.indices(len(night.rows))):
        z, old, new = night.terms[t - 1], night.surface_before[t], night.rows[t, SOIL]
        slope = (new - old) / dt
        for point, weight in zip(0.5 * dt * (points + 1), 0.5 * dt * weights, strict=True):
            # Every term relaxes at its rate under a surface that runs in a straight line.
            gone = np.exp(-rate * point)
            now = gone * z + kept.weight / rate * (old * (1 - gone) + slope * (point - (1 - gone) / rate))
            flux = kept.direct[0] * (old + slope * point) - kept.weight @ now
            entered, crossing = entered + weight * flux, crossing + weight * abs(flux)
    first, last = (night.terms[t] @ kept.rest[:, 0] for t in (NOON_TO_NOON.start - 1, NOON_TO_NOON.stop - 1))
    assert crossing > 1e6  # more than a megajoule passes a square metre in a day
    assert last - first == pytest.approx(entered, abs=1e-6 * crossing)


def test_six_terms_keep_the_heat_of_sixty_cells():
    night = marched(Treatment("leave"))
    few, full = night.kept, night.slab.terms(night.march.steps.step_s, 60)
    z = full.rest[:, 0] * night.march.start[0, 0]
    z = z + full.project @ lag_k(night.slab.depth_m, night.march.setting.season)
    soil = night.rows[:, SOIL]
    heat = np.zeros(soil.size)
    for t in range(1, soil.size):
        z = full.decay * z + full.old[:, 0] * soil[t - 1] + full.new[:, 0] * soil[t]
        heat[t] = night.slab.capacity_j_m2k @ (full.profile @ z + full.profile_direct[:, 0] * soil[t])
    day = heat[NOON_TO_NOON]
    by_terms = (night.terms @ few.rest[:, 0])[NOON_TO_NOON]
    assert by_terms - by_terms[0] == pytest.approx(day - day[0], abs=0.01 * np.ptp(day))


def test_the_replayed_ground_is_the_kernel_s():
    night = marched(Treatment("cloth", cover="fleece_heavy", on_frame=True))
    weights, direct = night.kept.reading(TREE.root_depth_m)
    assert night.terms[1:] @ weights + direct[0] * night.rows[1:, SOIL] == pytest.approx(night.rows[1:, ROOT], abs=1e-6)


# ---------------------------------------------------------------- root ball, twig, wood, fruit


def test_a_root_ball_keeps_what_passes_its_wall_top_and_floor_while_it_freezes():
    body = Body(pot_volume_l=8.0)
    b, dt, w = body_parameters(body), 900.0, np.uint64(1)
    x = np.zeros(k.STATE_SIZE)
    x[k.X_RIM] = x[k.X_CORE] = 2.0
    x[k.X_RIM_H], x[k.X_CORE_H] = 2.0 * b[k.B_RIM_C], 2.0 * b[k.B_CORE_C]
    start = x[k.X_RIM_H] + x[k.X_CORE_H]
    passed = crossing = 0.0
    frozen = False
    for hour in np.arange(0.0, 60.0, 0.25):
        air, ground = -4.0 - 4.0 * np.sin(hour / 6.0), 2.0
        x[k.X_AIR], x[k.X_SOIL], x[k.X_ROOT_U], x[k.X_SHADE] = air, ground, 0.7, EPS * black(air - 3.0)
        before = x[k.X_RIM], x[k.X_CORE], x[k.X_RIM_H], x[k.X_CORE_H]
        kernel_bodies.root_ball.py_func(x, w, b, dt, 1.0, 0.0)
        # The step is implicit: fluxes are those at the temperature the step would end with if nothing froze.
        rim = before[0] + (x[k.X_RIM_H] - before[2]) / b[k.B_RIM_C]
        core = before[1] + (x[k.X_CORE_H] - before[3]) / b[k.B_CORE_C]
        slope = 4.0 * EPS * 5.670374419e-8 * (air + 273.15) ** 3
        h = b[k.B_SKIN_A] * 0.7 + b[k.B_SKIN_0] + slope
        around = air + (x[k.X_SHADE] - EPS * black(air)) / h
        fluxes = [
            b[k.B_RIM_AREA] * h / (1 + h * b[k.B_WALL_R]) * (around - rim),
            b[k.B_TOP_RIM] * (around - rim) + b[k.B_TOP_CORE] * (around - core),
            b[k.B_FLOOR_RIM] * (ground - rim) + b[k.B_FLOOR_CORE] * (ground - core),
        ]
        passed, crossing = passed + dt * sum(fluxes), crossing + dt * sum(map(abs, fluxes))
        frozen |= bool(x[k.X_RIM_H] < -b[k.B_RIM_L])
    assert frozen
    assert x[k.X_RIM_H] + x[k.X_CORE_H] - start == pytest.approx(passed, abs=1e-9 * crossing)


@pytest.mark.parametrize(
    ("row", "capacity", "shade"), [(TWIG, k.B_TWIG_C, 0.0), (WOOD, k.B_WOOD_C, 1.0), (FRUIT, k.B_FRUIT_C, 0.5)]
)
def test_wood_and_fruit_keep_what_they_take_up_in_the_limit_of_short_steps(row, capacity, shade):
    # Mean flux that is lost between the heat gained from dusk to dawn and the fluxes at the steps. Within a step the
    # exchange is that at its beginning, so that the loss falls with the step itself: 0.1 W/m² is about 0.01 K.
    lost = {}
    for minutes in (15, 3, 1):
        night = marched(Treatment("leave"), step_minutes=minutes)
        b, hour, dt = night.march.cases.bodies[0], 60 // minutes, night.march.steps.step_s
        steps = np.arange(49 * hour, 62 * hour + 1)  # 17 h to 6 h of local time
        flux = np.array([_taken_up(night, t, b, row, capacity, shade) for t in steps])
        gained = b[capacity] * (night.rows[steps[-1], row] - night.rows[steps[0], row])
        lost[minutes] = (gained - np.trapezoid(flux, dx=dt)) / (dt * (steps.size - 1))
    assert abs(lost[15]) < 0.1
    assert abs(lost[1]) < 0.2 * abs(lost[15])  # of first order it would be a fifteenth
    limit = 1.5 * lost[1] - 0.5 * lost[3]
    assert abs(limit) < 0.003 * np.abs(flux).mean()


def _taken_up(night, t, b, row, capacity, shade):
    """Flux into a twig, limb or fruit at a step. [W/m²]"""
    (leaf, air, soil, _), spot, p, low = night.at(t)
    fol = p[k.P_FOLIAGE]
    below = (1 - fol) * ((1 - p[k.P_WALL_LOW]) * black(soil) + low) + fol * black(air)
    bare = EPS / 2 * (spot.longwave + below)
    hidden = EPS / 2 * (b[k.B_SHADE] * spot.longwave + (1 - b[k.B_SHADE]) * black(leaf) + below)
    body = night.rows[t, row]
    h = b[capacity + 1] * np.sqrt(spot.wind) + b[capacity + 2] * quarter(air - body)
    return (1 - shade) * bare + shade * hidden - EPS * black(body) + h * (air - body)
