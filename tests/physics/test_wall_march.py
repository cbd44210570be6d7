"""Walls: both faces of a piece as one body, sun taken in and thrown back, slopes, and what must balance."""

from dataclasses import replace

import numpy as np
import pytest

from fruitwall.physics import kernel_rows as k
from fruitwall.physics import wall_march
from fruitwall.physics.convection import forced, free
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.slab import Slab
from fruitwall.physics.steps import blocks_of, forcing_blocks, steps_of
from fruitwall.physics.sun import SunPosition, light_on
from tests.physics.nights import frost_weather

BRICK = Layer(0.3, 0.895, 1920.0, 800.0)
SIGMA = 5.670374419e-8


def face(**changes):
    """A south face of brick, alone."""
    values = {"azimuth_deg": 180.0, "layers": (BRICK,), "behind": "outdoor", "absorptance": 0.65, "emissivity": 0.93}
    values |= changes
    return Face("wall/1/right", "wall", start=(0.0, 0.0), end=(6.0, 0.0), height_m=2.0, **values)


def pair(**changes):
    """South and north face of one wall."""
    south = face(**changes)
    north = replace(south, id="wall/1/left", azimuth_deg=(south.azimuth_deg + 180.0) % 360.0)
    return replace(south, back=north), replace(north, back=south)


class Weather:
    """Steps, blocks and forcing of one made-up spell."""

    def __init__(self, weather, minutes=15, same_days=False):
        self.steps = steps_of(weather, minutes)
        self.day = 1440 // minutes
        if same_days:  # the sun stands where it stood the day before, to the digit
            day = np.arange(self.steps.n_steps) % self.day
            sun = SunPosition(self.steps.sun.elevation_deg[day], self.steps.sun.azimuth_deg[day])
            one = np.minimum(day + self.day, self.steps.n_steps - 1)
            light = type(self.steps.light)(*(part[:, one] for part in self.steps.light))
            self.steps = replace(self.steps, sun=sun, light=light)
        self.blocks = blocks_of(self.steps.n_members)
        self.forcing = forcing_blocks(self.steps, self.blocks)
        self.start = self.blocks.lay(self.steps.t_air_c.mean(axis=1))

    def march(self, *faces, among=()):
        return wall_march.march_walls(
            faces, self.steps, self.blocks, self.forcing, self.start, "loam", "moist", among=among
        )

    def heat_taken(self, one, temperature, reflected):
        """Heat that a face takes from sun, sky, ground and air, written once more. [W/m²]"""
        air, wind, sky = self.steps.t_air_c[0], self.steps.wind_m_s[0], self.steps.sky_w_m2[0]
        taken = reflected * one.absorptance / (1.0 - one.absorptance)
        around = one.sky * sky + (1.0 - one.sky) * SIGMA * (air + 273.15) ** 4
        still = free(one.height_m) * ((air - temperature) ** 2 + 0.01) ** 0.125
        moved = forced(one.height_m) * np.sqrt(wall_march.WALL_WIND * wind)
        return (
            taken
            + one.emissivity * (around - SIGMA * (temperature + 273.15) ** 4)
            + (still + moved) * (air - temperature)
        )


@pytest.fixture(scope="module")
def frost():
    return Weather(frost_weather(members=3))


# ---------------------------------------------------------------- two faces, one body


@pytest.mark.parametrize("thickness", [0.1, 0.2, 0.4])
def test_a_day_of_sun_on_one_face_comes_through_the_wall_as_the_closed_form_says(thickness):
    # Daily wave through a slab that loses h per kelvin at its back: back over front = 1/(cosh bd + h/(k b) sinh bd),
    # b = (1 + i) √(ω ρ c/(2k)) (Carslaw & Jaeger 1959, ch. 2.6 and 3.7, from memory).
    # At 15 min it is 0.4 % off, as a surface that runs straight from step to step is no sine.
    spell = Weather(frost_weather(days=16, before=0.0), minutes=5, same_days=True)
    south, north = pair(layers=(replace(BRICK, thickness_m=thickness),))
    dark = replace(south, sun_share=np.zeros((72, 18)))
    sunny, shaded = spell.march(south, north), spell.march(dark, replace(north, back=dark))
    taken = [
        spell.heat_taken(north, march.temperature_c[1, 0, :, 0], march.reflected_w_m2[1, 0, :, 0])
        for march in (sunny, shaded)
    ]
    wave = np.exp(-2j * np.pi * np.arange(spell.day) / spell.day)
    front, back = (sunny.temperature_c - shaded.temperature_c)[:, 0, -spell.day :, 0] @ wave
    lost = (taken[1] - taken[0])[-spell.day :] @ wave / back
    root = (1.0 + 1.0j) * np.sqrt(np.pi / 86_400.0 * 1920.0 * 800.0 / 0.895)
    through = np.cosh(root * thickness) + lost / (0.895 * root) * np.sinh(root * thickness)
    assert 5.0 < lost.real < 15.0
    assert abs(back / front) == pytest.approx(1.0 / abs(through), rel=0.0025)
    late = -np.angle(back / front * through) / (2.0 * np.pi) * 24.0  # later than the closed form
    assert late == pytest.approx(0.0, abs=0.01)


def test_both_surfaces_balance_in_the_equations_written_once_more(frost, monkeypatch):
    monkeypatch.setattr(wall_march, "WALL_TERMS", 60)  # no reduction: what is left is what Newton's steps leave
    sides = pair()
    march = frost.march(*sides)
    one, two = march.temperature_c[:, 0, :, 0]
    course = Slab([BRICK], behind="surface").march(900.0, start_c=one[0], surface_c=one[1:], back_c=two[1:])
    for side, temperature, reflected, flux in zip(
        sides, (one, two), march.reflected_w_m2[:, 0, :, 0], (course.flux_w_m2, course.back_flux_w_m2), strict=True
    ):
        assert frost.heat_taken(side, temperature, reflected)[1:] == pytest.approx(flux[1:], abs=2e-3)


def test_over_a_day_like_the_day_before_a_wall_gives_back_what_it_took():
    spell = Weather(frost_weather(days=40, before=0.0), same_days=True)
    sides = pair()
    march = spell.march(*sides)
    taken = [
        spell.heat_taken(side, temperature, reflected)[-96:]
        for side, temperature, reflected in zip(
            sides, march.temperature_c[:, 0, :, 0], march.reflected_w_m2[:, 0, :, 0], strict=True
        )
    ]
    day = march.temperature_c[:, 0, -193:, 0]
    assert np.abs(day[:, 96:] - day[:, :-96]).max() < 1e-8
    assert taken[0].sum() > 1000.0  # through the wall, from south to north
    assert abs(np.sum(taken)) < 1e-6 * np.abs(taken).sum()


@pytest.mark.parametrize(("thickness", "limit"), [(0.003, 1e-6), (0.4, 1e-4), (1.0, 1e-3), (3.0, 1e-2)])
def test_sixteen_terms_are_enough_for_two_surfaces(frost, monkeypatch, thickness, limit):
    sides = pair(layers=(replace(BRICK, thickness_m=thickness),))
    few = frost.march(*sides).temperature_c
    monkeypatch.setattr(wall_march, "WALL_TERMS", 60)
    assert few == pytest.approx(frost.march(*sides).temperature_c, abs=limit)


def test_a_face_is_the_same_whether_or_not_its_other_face_is_asked_for(frost):
    south, north = pair()
    both, turned, alone = frost.march(south, north), frost.march(north, south), frost.march(north)
    for first, second, third in zip(both, turned, alone, strict=True):
        assert np.array_equal(first, second[::-1])
        assert np.array_equal(first[1:], third)


def test_walls_alike_look_alike_and_spare_lanes_repeat_the_last_member(frost):
    east, west = pair(azimuth_deg=90.0, absorptance=0.0)
    march = frost.march(east, west)
    assert march.temperature_c[0] == pytest.approx(march.temperature_c[1], abs=1e-9)
    assert np.array_equal(march.temperature_c[..., 3], march.temperature_c[..., k.LANES - 1])
    assert frost.march().temperature_c.shape == (1, 1, frost.steps.n_steps, k.LANES)


# ---------------------------------------------------------------- sun


@pytest.mark.parametrize(
    ("tilt", "azimuth"), [(90.0, 180.0), (90.0, 300.0), (60.0, 200.0), (45.0, 90.0), (120.0, 180.0)]
)
def test_the_sun_on_a_wall_of_any_aspect_and_tilt_is_that_of_pvlib(frost, tilt, azimuth):
    pvlib = pytest.importorskip("pvlib")
    one = face(azimuth_deg=azimuth, tilt_deg=tilt, sky=0.5 * (1.0 + np.cos(np.radians(tilt))))
    light, sun = frost.steps.light, frost.steps.sun
    beam, diffuse = light.beam[0], light.diffuse[0]
    high = sun.elevation_deg > 1.0
    expected = pvlib.irradiance.get_total_irradiance(
        tilt, azimuth, 90.0 - sun.elevation_deg[high], sun.azimuth_deg[high],
        beam[high] / np.sin(np.radians(sun.elevation_deg[high])), (beam + diffuse)[high], diffuse[high],
        albedo=wall_march.GROUND_ALBEDO,
    )["poa_global"]  # fmt: skip
    incident = frost.march(one).reflected_w_m2[0, 0, :, 0] / (1.0 - one.absorptance)
    assert incident[high] == pytest.approx(np.asarray(expected), rel=1e-9, abs=1e-9)
    assert incident.max() > 50.0
    night = sun.elevation_deg < 0.0
    assert np.abs(incident[night & (diffuse == 0.0)]).max() == 0.0
    both = light_on(light, sun.elevation_deg, sun.azimuth_deg, azimuth, tilt, albedo=wall_march.GROUND_ALBEDO)
    assert incident[high] == pytest.approx(both[0, high], rel=1e-9)


def test_a_bank_that_leans_back_takes_more_of_the_noon_sun_and_loses_more_to_the_sky(frost):
    upright, bank = (
        face(tilt_deg=tilt, sky=0.5 * (1.0 + np.cos(np.radians(tilt))), behind="earth") for tilt in (90.0, 60.0)
    )
    wall, slope = frost.march(upright, replace(bank, id="bank/1/right")).temperature_c[:, 0, 96:192, 0]
    assert slope.max() > wall.max() + 1.0
    assert slope.min() < wall.min() - 0.5


def test_what_shades_the_ground_takes_its_light_from_the_wall(frost):
    lit = face()
    shaded = replace(lit, ground_sun_share=np.zeros((72, 18)), ground_diffuse=0.5)
    sun, shade = (frost.march(one).reflected_w_m2[0, 0, :, 0] / (1.0 - one.absorptance) for one in (lit, shaded))
    beam, diffuse = frost.steps.light.beam[0], frost.steps.light.diffuse[0]
    visible = frost.steps.sun.elevation_deg > 0.0
    less = 0.5 * wall_march.GROUND_ALBEDO * (beam * visible + 0.5 * diffuse)
    assert sun - shade == pytest.approx(less, abs=1e-9)


# ---------------------------------------------------------------- faces that see each other


def court(share, **changes):
    """A sunny south face and the north face opposite, each of its own wall with earth behind it."""
    sunny = face(behind="earth", ground=0.3, **changes)
    shaded = replace(sunny, id="other/1/right", azimuth_deg=0.0)
    return replace(sunny, facing=((shaded.id, share),)), replace(shaded, facing=((sunny.id, share),))


def test_faces_light_each_other_as_often_as_it_takes(frost):
    sunny, shaded = court(0.4)
    one, two = frost.march(sunny, shaded).reflected_w_m2[:, 0, :, 0]
    alone, dim = (frost.march(each).reflected_w_m2[0, 0, :, 0] for each in (sunny, shaded))
    bounce = 0.4 * (1.0 - sunny.absorptance)
    # There and back again: the geometric series of two mirrors that each send on `bounce` of what falls on them.
    assert one == pytest.approx((alone + bounce * dim) / (1.0 - bounce**2), abs=1e-9)
    assert two == pytest.approx((dim + bounce * alone) / (1.0 - bounce**2), abs=1e-9)
    assert two.max() > dim.max() + 20.0


def test_faces_that_see_each_other_balance_in_the_equations_written_once_more(frost, monkeypatch):
    monkeypatch.setattr(wall_march, "WALL_TERMS", 60)
    sides = court(0.4)
    march = frost.march(*sides)
    temperature, reflected = march.temperature_c[:, 0, :, 0], march.reflected_w_m2[:, 0, :, 0]
    for here, there in ((0, 1), (1, 0)):
        slab = wall_march.wall_slab(sides[here], "loam", "moist")
        course = slab.march(900.0, start_c=temperature[here, 0], surface_c=temperature[here, 1:])
        air = frost.steps.t_air_c[0]
        from_face = 0.93 * 0.4 * SIGMA * ((temperature[there] + 273.15) ** 4 - (air + 273.15) ** 4)
        taken = frost.heat_taken(sides[here], temperature[here], reflected[here]) + from_face
        assert taken[1:] == pytest.approx(course.flux_w_m2[1:], abs=0.02)


def test_a_face_opposite_a_warm_one_stays_warmer_through_the_night(frost):
    sunny, shaded = court(0.4)
    by_night = slice(4 * 30, 4 * 38)  # 22:00 to 06:00 of the second night
    together = frost.march(sunny, shaded).temperature_c[:, 0, by_night, 0]
    apart = np.array([frost.march(each).temperature_c[0, 0, by_night, 0] for each in (sunny, shaded)])
    assert np.all(together[1] > apart[1] + 0.3)


def test_faces_at_air_temperature_in_the_dark_change_nothing():
    dark = Weather(frost_weather(days=3, before=0.0, low=4.999, high=5.001))
    dark.steps = replace(dark.steps, sky_w_m2=SIGMA * (dark.steps.t_air_c + 273.15) ** 4)
    dark.steps = replace(dark.steps, light=type(dark.steps.light)(*(0.0 * part for part in dark.steps.light)))
    dark.forcing = forcing_blocks(dark.steps, dark.blocks)
    assert dark.march(*court(0.5)).temperature_c == pytest.approx(5.0, abs=0.002)


def test_what_a_face_does_depends_on_no_other_face_that_is_asked_for(frost):
    south, north = pair()
    sunny, shaded = court(0.3)
    away = replace(shaded, id="away/1/right")  # in sight of nothing, and nothing in sight of it
    yard = [south, north, sunny, shaded, away]
    sees = replace(sunny, id="third/1/right", facing=((sunny.id, 0.1), (north.id, 0.2)))
    whole = frost.march(*yard, sees)
    for one, other in zip(whole, frost.march(sees, among=[*yard, sees]), strict=True):
        assert np.array_equal(one[5:], other)
    assert not np.array_equal(whole.temperature_c[5:], frost.march(sees).temperature_c)
