"""Heat through a slab from one surface to the other: closed forms, and that none is lost on the way."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.physics.faces import Layer
from fruitwall.physics.slab import Slab

DAY = 86_400.0
STONE = Layer(0.3, 2.3, 2400.0, 1000.0)
RENDER = Layer(0.05, 0.9, 1400.0, 1000.0)


@pytest.mark.parametrize("count", [6, 16, None])
def test_steady_heat_goes_in_at_one_surface_and_out_at_the_other(count):
    wall = Slab([RENDER, STONE], behind="surface")
    course = wall.march(900.0, start_c=0.0, surface_c=np.full(3000, 12.0), back_c=np.full(3000, 2.0), count=count)
    through = 10.0 / (0.05 / 0.9 + 0.3 / 2.3)
    assert course.flux_w_m2[-1] == pytest.approx(through, rel=1e-9)
    assert course.back_flux_w_m2[-1] == pytest.approx(-through, rel=1e-9)


def harmonics(count, *, front=0.0, back=0.0, thickness=0.3):
    """First harmonic of both fluxes, per kelvin of a daily swing of the surfaces, after twenty days."""
    time = np.arange(1, 20 * 288 + 1) / 288  # five minutes: a surface that runs straight over 15 is no sine (0.4 %)
    swing = np.cos(2.0 * np.pi * time)
    wall = Slab([Layer(thickness, 2.3, 2400.0, 1000.0)], behind="surface")
    course = wall.march(300.0, start_c=0.0, surface_c=front * swing, back_c=back * swing, count=count)
    wave = np.exp(-2j * np.pi * time[-288:]) / 144
    return course.flux_w_m2[-288:] @ wave, course.back_flux_w_m2[-288:] @ wave


@pytest.mark.parametrize("count", [16, None])
@pytest.mark.parametrize("thickness", [0.15, 0.3, 0.6])
def test_a_daily_wave_comes_through_with_the_amplitude_and_delay_of_the_closed_form(count, thickness):
    # Elements of the heat transfer matrix of a slab (EN ISO 13786, from memory; Carslaw & Jaeger 1959, ch. 3.7).
    root = (1.0 + 1.0j) * np.sqrt(np.pi / DAY * 2400.0 * 1000.0 / 2.3)
    taken, through = harmonics(count, front=1.0, thickness=thickness)
    assert taken == pytest.approx(2.3 * root / np.tanh(root * thickness), rel=0.002)
    expected = -2.3 * root / np.sinh(root * thickness)
    assert abs(through) == pytest.approx(abs(expected), rel=0.005)
    hours = np.angle(expected / through) / (2.0 * np.pi) * 24.0
    assert hours == pytest.approx(0.0, abs=0.02)


def test_a_slab_answers_alike_from_both_ends():
    ahead, back = harmonics(16, front=1.0), harmonics(16, back=1.0)
    assert ahead == pytest.approx(back[::-1], abs=1e-9)


@given(
    st.floats(0.003, 1.5),
    st.floats(0.1, 50.0),
    st.floats(0.2e6, 4e6),
    st.lists(st.floats(-20, 40), min_size=2, max_size=9),
)
def test_what_flows_in_at_both_surfaces_is_what_the_slab_keeps(thickness, conductivity, capacity, surfaces):
    slab = Slab([Layer(thickness, conductivity, capacity / 1000.0, 1000.0)], behind="surface")
    terms, step_s, rate = slab.terms(900.0, 60), 900.0, slab._rate
    values = np.stack([surfaces, surfaces[::-1]], axis=1)
    z = terms.rest @ values[0]
    flowed = 0.0
    for old, new in pairwise(values):
        after = terms.decay * z + terms.old @ old + terms.new @ new
        mean = 0.5 * (old + new)
        # Of a term that relaxes towards rest @ u the integral over the step follows from its change.
        inside = terms.rest @ mean * step_s - (after - z) / rate
        flowed += (terms.direct + terms.direct_back) @ mean * step_s - (terms.weight + terms.weight_back) @ inside
        z = after
    first, last = (
        terms.profile @ x + terms.profile_direct @ u for x, u in ((terms.rest @ values[0], values[0]), (z, values[-1]))
    )
    kept = slab.capacity_j_m2k @ (last - first)
    assert flowed == pytest.approx(kept, rel=1e-6, abs=1e-6 * capacity * thickness)
