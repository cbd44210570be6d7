"""Ray casting against closed forms, and what must hold in every yard."""

from importlib import resources

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.physics import lee, rays, shape
from fruitwall.physics.spot import (
    RAYS,
    SUN_BINS,
    ground_sun_visibility,
    side_rays,
    sun_visibility,
    survey,
    survey_faces,
    tree_places,
    upper_rays,
)
from fruitwall.yard.file import read_yard
from tests.physics.yards import canopy, roof, square, wall, yard
from tests.published import find_check

GROUND = 0.1
"""Height from which the tests look; structures are made that much higher. [m]"""

CLOSE = 0.004
"""What 1,024 rays are good for."""


def look(where, *, rays=RAYS, height=GROUND, winter=True, at=(0.0, 0.0)):
    return survey(where, [("here", *at, height)], rays=rays, winter=winter)[0]


# ---------------------------------------------------------------- closed forms

LONG = 2000.0

CLOSED_FORMS = {
    "long wall": (
        yard(wall([[-LONG, 1.0], [LONG, 1.0]], 3.0 + GROUND)),
        "wall",
        float(shape.wall_view(1.0, 3.0)),
    ),
    "wall of 8 m": (
        yard(wall([[-4.0, 1.5], [4.0, 1.5]], 3.0 + GROUND)),
        "wall",
        float(shape.wall_view(1.5, 3.0, 8.0)),
    ),
    "roof of 4 m by 3 m": (
        yard(roof([[-2.0, -1.5], [2.0, -1.5], [2.0, 1.5], [-2.0, 1.5]], 2.5 + GROUND)),
        "roof",
        float(shape.roof_view(4.0, 3.0, 2.5)),
    ),
    "thin dense canopy": (
        yard(canopy(crown_diameter=6.0, base=3.0999, height=3.1001, gap_fraction=0.0)),
        "canopy",
        float(shape.disc_view(3.0, 3.0)),
    ),
    "gap between walls": (
        yard(
            wall([[-LONG, 1.0], [LONG, 1.0]], 2.0 + GROUND),
            wall([[-LONG, -1.0], [LONG, -1.0]], 2.0 + GROUND) | {"id": "other"},
        ),
        "sky",
        float(1.0 - 2.0 * shape.wall_view(1.0, 2.0)),
    ),
    "even horizon of 30 degrees": (
        yard(horizon=[{"azimuth": azimuth, "height": 30.0} for azimuth in (0.0, 120.0, 240.0)]),
        "sky",
        0.75,
    ),
    "crooked horizon": (
        yard(horizon=[{"azimuth": azimuth, "height": height} for azimuth, height in ((40.0, 50.0), (200.0, 5.0))]),
        "sky",
        float(shape.sky_view([40.0, 200.0], [50.0, 5.0])),
    ),
    "open ground": (yard(), "sky", 1.0),
}


@pytest.mark.parametrize(("where", "share", "expected"), CLOSED_FORMS.values(), ids=CLOSED_FORMS)
def test_rays_give_the_closed_form(where, share, expected):
    assert getattr(look(where), share) == pytest.approx(expected, abs=CLOSE)


@pytest.mark.parametrize(("where", "share", "expected"), CLOSED_FORMS.values(), ids=CLOSED_FORMS)
def test_more_rays_come_closer_to_the_closed_form(where, share, expected):
    few, many = (getattr(look(where, rays=count), share) for count in (RAYS, 64 * RAYS))
    assert many == pytest.approx(expected, abs=3e-4)
    assert abs(many - expected) <= abs(few - expected) + 1e-4


def test_a_pot_under_an_eave_sees_the_published_wall_eave_and_sky():
    check = find_check("shape.yaml", "vf-eave-and-wall")
    distance, height, depth = (
        check.given(f"{name}_m") for name in ("distance_to_wall", "eave_height", "eave_projection")
    )
    house = wall([[-LONG, distance], [LONG, distance]], height + GROUND)
    eave = roof(
        [[-LONG, distance - depth], [LONG, distance - depth], [LONG, distance], [-LONG, distance]], height + GROUND
    )
    spot = look(yard(house, eave), rays=64 * RAYS)
    assert spot.wall == check.approx("wall_view")
    assert spot.roof == check.approx("eave_view")
    assert spot.sky == check.approx("sky_view")


def test_the_middle_of_a_long_gap_sees_the_published_sky():
    check = find_check("shape.yaml", "vf-canyon")
    for ratio, expected in zip(check.given("height_over_width"), check.want("sky_view_floor_centre"), strict=True):
        sides = [
            wall([[-LONG, y], [LONG, y]], 2.0 * float(ratio) + GROUND) | {"id": f"wall{number}"}
            for number, y in enumerate((-1.0, 1.0))
        ]
        assert look(yard(*sides), rays=64 * RAYS).sky == pytest.approx(expected, abs=5e-4)


def test_a_wall_before_the_face_is_seen_by_the_lower_half_of_a_leaf_too():
    # By symmetry: at half the height of a long wall both halves of a leaf see the same share of it.
    spot = look(yard(wall([[-LONG, 1.0], [LONG, 1.0]], 3.0)), height=1.5)
    assert spot.wall_below == pytest.approx(spot.wall, abs=CLOSE)
    assert spot.wall == pytest.approx(float(shape.wall_view(1.0, 1.5)), abs=CLOSE)


def test_paving_below_is_seen_as_the_disc_it_is():
    # A level leaf looking down on a disc of radius r from height h: r²/(r² + h²).
    corners = [[3.0 * np.sin(turn), 3.0 * np.cos(turn)] for turn in np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)]
    disc = {"kind": "paving", "id": "disc", "outline": corners, "material": "brick"}
    spot = look(yard(disc), height=3.0)
    assert spot.paving_share == pytest.approx(0.5, abs=0.01)
    assert (spot.paving_material, spot.pond_share, spot.ground) == ("brick", 0.0, "turf")


def test_upper_rays_weigh_directions_by_the_cosine():
    up = upper_rays(100_000)
    assert np.linalg.norm(up, axis=1) == pytest.approx(1.0)
    assert up[:, 2].mean() == pytest.approx(2.0 / 3.0, abs=1e-4)  # mean cosine under a cosine weight
    assert np.abs(up[:, :2].mean(axis=0)).max() < 1e-3


# ---------------------------------------------------------------- what lets through


def test_glass_keeps_the_sky_away_and_lets_the_sun_in():
    glass, tile = (look(yard(roof(square(50.0), 2.0, material=material))) for material in ("glass", "tile"))
    assert glass.roof == tile.roof > 0.99
    assert glass.diffuse_share == pytest.approx(0.85, abs=0.01)
    assert glass.roof_transmits_sun == pytest.approx(0.85)
    assert tile.diffuse_share < 0.01
    assert tile.roof_transmits_sun == 0.0
    assert sun_visibility(glass, 180.0, 45.0) == pytest.approx(0.85)
    assert sun_visibility(tile, 180.0, 45.0) == 0.0


def test_a_film_roof_keeps_only_a_part_of_the_sky_away():
    spot = look(yard(roof(square(500.0), 2.0, material="polyethylene")))
    assert spot.sky == pytest.approx(rays.ROOF_SKINS["polyethylene"].longwave, abs=0.01)
    assert spot.roof == pytest.approx(1.0 - spot.sky, abs=0.01)


def test_a_leafless_crown_shows_half_the_sky_it_covers_and_a_leafy_one_its_gaps():
    tree = canopy(crown_diameter=12.0, height=10.0, base=2.0, habit="leafless_in_winter", gap_fraction=0.1)
    covered = look(yard(tree | {"gap_fraction": 0.0}), winter=False).canopy
    winter, summer = (look(yard(tree), winter=season) for season in (True, False))
    # Gap fractions hold for the mean way through a crown; over all ways the mean is a little higher.
    assert winter.canopy / covered == pytest.approx(1.0 - rays.LEAFLESS_GAP, abs=0.06)
    assert summer.canopy / covered == pytest.approx(1.0 - 0.1, abs=0.06)
    assert 0.3 < sun_visibility(winter, 180.0, 80.0) < 0.6
    assert winter.diffuse_share > summer.diffuse_share


def test_a_fence_hides_by_its_boards_and_stores_nothing():
    fence = {
        "kind": "fence",
        "id": "slats",
        "line": [[-LONG, 1.0], [LONG, 1.0]],
        "height": 2.0 + GROUND,
        "porosity": 0.4,
    }
    spot = look(yard(fence))
    assert spot.wall_ids == ("fence/slats",)
    assert spot.wall == pytest.approx(0.6 * float(shape.wall_view(1.0, 2.0)), abs=CLOSE)


def test_a_wall_behind_a_fence_counts_by_what_gets_through():
    fence = {"kind": "fence", "id": "slats", "line": [[-LONG, 1.0], [LONG, 1.0]], "height": 9.0, "porosity": 0.4}
    behind = wall([[-LONG, 1.5], [LONG, 1.5]], 13.45)
    spot = look(yard(fence, behind))
    shares = dict(zip(spot.wall_ids, spot.wall_shares, strict=True))
    assert shares["wall/1/right"] / shares["fence/slats"] == pytest.approx(0.4 / 0.6, rel=0.02)


def test_a_tree_does_not_shade_itself_but_its_neighbour():
    crown = {"id": "here", "name": "Here", "taxon": "lemon", "position": [0, 0], "height": 4.0, "crown_diameter": 4.0}
    assert look(yard(trees=[crown]), height=2.0).sky == 1.0
    assert look(yard(trees=[crown | {"id": "there"}]), height=2.0).sky < 0.6


def test_a_retaining_wall_is_there_only_for_those_before_it():
    terrace = yard(wall([[-50.0, 0.0], [50.0, 0.0]], 2.0, retains_earth=True))
    below, above = (look(terrace, at=(0.0, y), height=1.0) for y in (-1.0, 1.0))
    assert below.wall_ids == ("wall/1/right",)
    assert below.wall > 0.1
    assert (above.wall, above.wall_below, above.wall_ids) == (0.0, 0.0, ())
    assert above.wind_share == 1.0


# ---------------------------------------------------------------- sun


def test_a_south_wall_hides_the_sun_behind_it_and_not_before_it():
    spot = look(yard(wall([[-LONG, -2.0], [LONG, -2.0]], 2.0 + GROUND)))  # to the south, elevation 45° due south
    assert sun_visibility(spot, 180.0, 30.0) == 0.0
    assert sun_visibility(spot, 180.0, 60.0) == 1.0
    assert sun_visibility(spot, 0.0, 10.0) == 1.0


def test_hills_hide_the_low_sun():
    spot = look(yard(horizon=[{"azimuth": 90.0, "height": 20.0}, {"azimuth": 270.0, "height": 0.0}]))
    assert sun_visibility(spot, 92.5, 12.5) == 0.0
    assert sun_visibility(spot, 92.5, 27.5) == 1.0
    assert sun_visibility(spot, 267.5, 7.5) == 1.0


def test_there_is_no_sun_below_the_horizon_and_nan_stays_nan():
    spot = look(yard())
    got = sun_visibility(spot, [0.0, 359.9, np.nan, 10.0], [[-3.0], [0.1], [90.0], [np.nan]])
    assert got.shape == (4, 4)
    assert got[0, :2].tolist() == [0.0, 0.0]
    assert got[1:3, :2].tolist() == [[1.0, 1.0], [1.0, 1.0]]
    assert np.isnan(got[:, 2]).all()
    assert np.isnan(got[3]).all()


def test_the_sun_table_is_read_between_its_bins():
    spot = look(yard(wall([[-LONG, -2.0], [LONG, -2.0]], 2.0 + GROUND)))
    middles = np.array([2.5, 182.5, 357.5])
    assert sun_visibility(spot, middles, 12.5) == pytest.approx(spot.sun_share[[0, 36, 71], 2])
    between = sun_visibility(spot, 180.0, np.array([42.5, 45.0, 47.5]))
    assert between[1] == pytest.approx(0.5 * (between[0] + between[2]))


# ---------------------------------------------------------------- faces looked out from


def test_a_free_face_sees_half_sky_and_all_the_sun_before_it():
    faces = survey_faces(yard(wall([[-4.0, 0.0], [4.0, 0.0]], 2.0)))
    for face in faces:
        assert face.sky == pytest.approx(0.5, abs=0.002)
        assert sun_visibility(face, face.azimuth_deg, 40.0) == 1.0


def test_a_roof_before_a_face_takes_its_sky_and_glass_leaves_the_sun():
    porch = roof([[-50.0, -3.0], [50.0, -3.0], [50.0, 0.0], [-50.0, 0.0]], 2.0, material="glass")
    house = {"kind": "building", "id": "house", "outline": square(4.0, (0.0, 4.0)), "height": 2.0}
    south = next(face for face in survey_faces(yard(porch, house)) if face.azimuth_deg == pytest.approx(180.0))
    # From 1 m up, an endless level strip of 3 m seen by the wall: (1 - sin 18.4°)/2 of sky is left below its edge.
    edge = np.degrees(np.arctan2(1.0, 3.0))
    assert south.sky == pytest.approx(0.5 * np.sin(np.radians(edge)), abs=0.005)
    assert sun_visibility(south, 180.0, 50.0) == pytest.approx(0.85)
    assert sun_visibility(south, 180.0, 10.0) == 1.0


@pytest.mark.parametrize("tilt", [45.0, 60.0, 90.0, 120.0])
@pytest.mark.parametrize("earth", [False, True])
def test_a_free_slope_sees_the_sky_of_the_closed_form_and_is_not_in_its_own_way(tilt, earth):
    faces = survey_faces(yard(wall([[-4.0, 0.0], [4.0, 0.0]], 2.0, tilt=tilt, retains_earth=earth)))
    assert len(faces) == (1 if earth else 2)
    for face in faces:
        expected = float(shape.tilted_sky_view(face.tilt_deg))
        assert (face.sky, face.diffuse) == pytest.approx((expected, expected), abs=0.003)
        assert np.all(face.sun_share == 1.0)


def test_a_hillside_before_a_slope_hides_as_much_of_its_sky_as_before_a_level_surface_turned():
    # A slope of 60° faces an even skyline of 30° all round: the sky above it is what its plane and the skyline leave,
    # (1 + cos 60°)/2 less a strip; against a direct sum over the hemisphere.
    hills = [{"azimuth": azimuth, "height": 30.0} for azimuth in (0.0, 120.0, 240.0)]
    (face,) = survey_faces(yard(wall([[-4.0, 0.0], [4.0, 0.0]], 2.0, tilt=60.0, retains_earth=True), horizon=hills))
    elevation = np.radians((np.arange(900) + 0.5) / 10.0)[:, None]
    azimuth = np.radians(np.arange(0.0, 360.0, 0.5))[None, :]
    slant = np.cos(np.radians(60.0)) * np.sin(elevation)
    slant = np.maximum(slant + np.sin(np.radians(60.0)) * np.cos(elevation) * np.cos(azimuth), 0.0)
    above = elevation > np.radians(30.0)
    step = np.radians(0.1) * np.radians(0.5)
    assert face.sky == pytest.approx(float((slant * above * np.cos(elevation)).sum() * step / np.pi), abs=CLOSE)


def test_both_faces_of_a_wall_know_what_the_other_sees():
    roofed = yard(wall([[-4.0, 0.0], [4.0, 0.0]], 2.0), roof([[-9.0, 0.1], [9.0, 0.1], [9.0, 4.0], [-9.0, 4.0]], 2.5))
    south, north = survey_faces(roofed)
    assert south.back.sky == north.sky < south.sky == north.back.sky
    assert south.back.back is None
    assert np.array_equal(south.back.sun_share, north.sun_share)


def test_two_long_walls_see_each_other_as_the_closed_form_says():
    # From the middle of the one (a centimetre before it), the other fills the angle between its foot and its top: the
    # sine of half of it.
    south = wall([[-LONG, 0.0], [LONG, 0.0]], 2.0)
    north = wall([[-LONG, 1.5], [LONG, 1.5]], 2.0) | {"id": "other"}
    faces = {face.id: face for face in survey_faces(yard(south, north))}
    (seen,) = faces["wall/1/left"].facing
    assert seen[0] == "other/1/right"
    assert seen[1] == pytest.approx(np.sin(np.arctan2(1.0, 1.49)), abs=0.003)
    assert seen[1] == pytest.approx(2.0 * float(shape.wall_view(1.49, 1.0, receiver="facing")), abs=0.003)
    assert faces["wall/1/right"].facing == faces["other/1/left"].facing == ()
    assert faces["wall/1/right"].back.facing == (seen,)


def test_a_wall_shades_the_ground_on_its_far_side():
    south, north = survey_faces(yard(wall([[-LONG, 0.0], [LONG, 0.0]], 2.0)))
    assert ground_sun_visibility(south, 180.0, 30.0) == 1.0
    assert ground_sun_visibility(north, 180.0, 30.0) < 0.6  # it reaches 3.5 m
    assert ground_sun_visibility(north, 180.0, 88.0) == 1.0
    assert ground_sun_visibility(north, 180.0, -5.0) == 0.0
    assert 0.6 < south.ground_diffuse == pytest.approx(north.ground_diffuse, abs=0.02)
    assert south.ground_diffuse < 0.95


def test_a_face_without_a_table_has_nothing_before_it():
    from fruitwall.physics.faces import wall_faces

    face = wall_faces(yard(wall([[0.0, 0.0], [1.0, 0.0]], 2.0)))[0]
    for look_up in (sun_visibility, ground_sun_visibility):
        assert look_up(face, [10.0, 20.0, np.nan], [5.0, -5.0, 5.0])[:2].tolist() == [1.0, 0.0]


# ---------------------------------------------------------------- what an upright surface sees


def blocked_sides(elevation_rad):
    """Share of an upright surface's sky, over all ways it could look, below a skyline (mean over directions)."""
    return float(np.mean((2.0 * elevation_rad + np.sin(2.0 * elevation_rad)) / np.pi))


def test_on_open_ground_an_upright_surface_sees_half_sky():
    assert look(yard()).side_sky == 0.5


def test_an_even_horizon_takes_the_low_sky_of_which_an_upright_surface_sees_most():
    hills = yard(horizon=[{"azimuth": azimuth, "height": 30.0} for azimuth in (0.0, 120.0, 240.0)])
    assert look(hills).side_sky == pytest.approx(0.5 * (1.0 - blocked_sides(np.radians(30.0))), abs=CLOSE)
    assert look(hills).side_sky < 0.4 * look(hills).sky


@pytest.mark.parametrize(("distance", "height"), [(1.0, 3.0), (2.0, 1.0)])
def test_a_long_wall_hides_its_side_of_the_low_sky(distance, height):
    around = np.radians(np.arange(0.05, 360.0, 0.1))
    skyline = np.arctan(height / distance * np.maximum(np.cos(around), 0.0))
    spot = look(yard(wall([[-LONG, distance], [LONG, distance]], height + GROUND)))
    assert spot.side_sky == pytest.approx(0.5 * (1.0 - blocked_sides(skyline)), abs=CLOSE)


def test_side_rays_weigh_elevations_as_upright_surfaces_do():
    rays_aside = side_rays(100_000)
    assert np.linalg.norm(rays_aside, axis=1) == pytest.approx(1.0)
    # Mean over the upper half: of sin e under a weight of cos² e, 4/(3π); no side preferred.
    assert rays_aside[:, 2].mean() == pytest.approx(4.0 / (3.0 * np.pi), abs=1e-4)
    assert np.abs(rays_aside[:, :2].mean(axis=0)).max() < 1e-3


# ---------------------------------------------------------------- wind and stillness


def test_wind_behind_a_long_barrier_is_the_curve_of_the_erosion_model():
    # Evaluated by hand from the published equation: p 0.5, x 5: a 0.00510, b 0.8736, c 7.5, d 2.5.
    assert lee.wind_behind(5.0, 0.5) == pytest.approx(
        1 - np.exp(-0.00510 * 25) + 0.8736 * np.exp(-0.003 * 12.5**2.5), abs=1e-3
    )
    # Loeffler et al. 1992 (abstract): calmest 2 to 6 heights behind windbreaks of 0-31 % porosity. The curve of a
    # barrier without gaps is calmest at 1.3 heights, so that one is left out.
    x = np.linspace(0.0, 20.0, 201)
    for porosity in (0.2, 0.31):
        assert 2.0 <= x[np.argmin(lee.wind_behind(x, porosity))] <= 6.0


@given(st.floats(-30.0, 60.0), st.floats(0.0, 1.0))
def test_a_barrier_never_makes_more_wind(distance, porosity):
    assert 0.0 <= lee.wind_behind(distance, porosity) <= 1.0
    assert np.isnan(lee.wind_behind(np.nan, porosity))


def test_an_open_spot_has_all_the_wind_and_a_courtyard_little():
    court = {"kind": "wall", "id": "court", "line": [*square(3.0), square(3.0)[0]], "height": 2.5}
    free, enclosed = look(yard(), height=1.0), look(yard(court), height=1.0)
    assert (free.wind_share, free.stillness) == (1.0, 0.0)
    assert enclosed.wind_share == pytest.approx(lee.LEAST_WIND, abs=0.01)
    assert enclosed.stillness > 0.5


def test_shelter_ends_above_the_barrier():
    fence = {"kind": "fence", "id": "fence", "line": [[-50.0, 3.0], [50.0, 3.0]], "height": 2.0, "porosity": 0.3}
    shares = [look(yard(fence), height=height).wind_share for height in (0.5, 1.5, 2.0, 2.5, 3.0)]
    assert shares == sorted(shares)
    assert shares[0] < 0.8
    assert shares[-1] == 1.0


def test_the_wind_blows_through_under_a_high_crown():
    high, low = (canopy(crown_diameter=6.0, height=8.0, base=base, gap_fraction=0.2) for base in (5.0, 0.5))
    assert (
        look(yard(high), at=(5.0, 0.0), height=1.0).wind_share > look(yard(low), at=(5.0, 0.0), height=1.0).wind_share
    )


def test_a_roof_overhead_stills_the_air():
    assert look(yard(roof(square(4.0), 2.5)), height=1.0).stillness > 0.3


# ---------------------------------------------------------------- hollows


def test_a_hollow_is_cold_inside_and_fades_over_its_edge():
    hollow = {"kind": "hollow", "id": "dip", "outline": square(20.0), "colder": 3.0}
    colder = [look(yard(hollow), at=(x, 0.0)).colder_k for x in (0.0, 16.9, 18.5, 20.0, 21.5, 23.1, 40.0)]
    assert colder[0] == colder[1] == 3.0
    assert colder[3] == pytest.approx(1.5)
    assert colder[5] == colder[6] == 0.0
    assert colder == sorted(colder, reverse=True)


def test_of_two_hollows_the_colder_counts():
    dips = [{"kind": "hollow", "id": f"dip{k}", "outline": square(20.0), "colder": float(k)} for k in (1, 2)]
    assert look(yard(*dips)).colder_k == 2.0


# ---------------------------------------------------------------- what always holds

coordinates = st.floats(-15.0, 15.0)
heights = st.floats(0.3, 8.0)
points = st.tuples(coordinates, coordinates).map(list)


@st.composite
def structures(draw):
    """One structure of any kind, anywhere."""
    kind = draw(st.sampled_from(["wall", "fence", "building", "roof", "canopy"]))
    part = {"kind": kind, "id": draw(st.from_regex(r"[a-z]{6}", fullmatch=True)), "height": draw(heights)}
    if kind in ("wall", "fence"):
        part["line"] = draw(st.lists(points, min_size=2, max_size=4))
    if kind == "wall":
        part |= {"retains_earth": draw(st.booleans()), "tilt": draw(st.sampled_from([45, 75, 90, 130]))}
    if kind == "fence":
        part["porosity"] = draw(st.floats(0.0, 1.0))
    if kind in ("building", "roof"):
        part["outline"] = square(draw(st.floats(0.5, 5.0)), draw(points))
    if kind == "roof":
        part["material"] = draw(st.sampled_from(sorted(rays.ROOF_SKINS)))
    if kind == "canopy":
        part |= {"position": draw(points), "crown_diameter": draw(st.floats(0.5, 10.0)), "base": 0.2}
        part |= {
            "habit": draw(st.sampled_from(["evergreen", "leafless_in_winter"])),
            "gap_fraction": draw(st.floats(0, 1)),
        }
    return part


@settings(max_examples=60, deadline=None)
@given(st.lists(structures(), max_size=5, unique_by=lambda part: part["id"]), points, st.floats(0.1, 4.0))
def test_shares_are_shares_and_sum_to_one(parts, at, height):
    spot = look(yard(*parts), at=at, height=height, rays=256)
    assert spot.sky + spot.roof + spot.wall + spot.canopy == pytest.approx(1.0, abs=1e-12)
    assert sum(spot.wall_shares) == pytest.approx(spot.wall, abs=1e-12)
    assert sum(spot.wall_below_shares) == pytest.approx(spot.wall_below, abs=1e-12)
    shares = [spot.sky, spot.roof, spot.wall, spot.canopy, spot.wall_below, spot.paving_share, spot.pond_share]
    shares += [spot.diffuse_share, spot.roof_transmits_sun, spot.wind_share, spot.stillness, *spot.wall_shares]
    shares += [2.0 * spot.side_sky, *spot.wall_below_shares, spot.paving_share + spot.pond_share]
    assert all(-1e-12 <= share <= 1.0 + 1e-12 for share in shares)
    assert spot.sun_share.shape == SUN_BINS
    assert np.all((spot.sun_share >= 0.0) & (spot.sun_share <= 1.0))


@settings(max_examples=60, deadline=None)
@given(st.lists(structures(), max_size=5, unique_by=lambda part: part["id"]), points, st.floats(0.1, 4.0))
def test_every_ray_up_or_down_is_shared_out_wholly(parts, at, height):
    scene = rays.scene_of(yard(*parts))
    above = upper_rays(256)
    for directions in (above, above * [1.0, 1.0, -1.0], side_rays(64)):
        hits = rays.cast(scene, np.array([*at, height]), directions)
        taken = np.column_stack([hits.crown, hits.film, hits.fence, hits.rest])
        assert np.all(taken >= -1e-15)
        assert taken.sum(axis=1) == pytest.approx(np.ones(len(directions)), abs=1e-9)
        ends = np.stack([hits.face >= 0, hits.roof, hits.hill])
        assert np.all(ends.sum(axis=0) <= 1)  # what is left ends in one thing, else in the sky or on the ground


@settings(max_examples=30, deadline=None)
@given(st.lists(structures(), max_size=5, unique_by=lambda part: part["id"]))
def test_a_face_sees_no_more_sky_than_its_tilt_allows(parts):
    for face in survey_faces(yard(*parts)):
        assert -1e-12 <= face.sky <= float(shape.tilted_sky_view(face.tilt_deg)) + 0.003
        assert -1e-12 <= face.diffuse <= float(shape.tilted_sky_view(face.tilt_deg)) + 0.003
        assert 0.0 <= face.ground_diffuse <= 1.0
        assert 0.0 <= face.ground <= 1.0 - face.sky + 1e-12


def solid(part):
    return part["kind"] in ("wall", "building")


@settings(max_examples=30, deadline=None)
@given(st.lists(structures().filter(solid), max_size=5, unique_by=lambda part: part["id"]))
def test_among_walls_sky_ground_and_faces_are_all_that_a_face_sees(parts):
    for face in survey_faces(yard(*parts)):
        whole = face.sky + face.ground + sum(share for _, share in face.facing)
        # Faces that fill less than half a hundredth each are left out.
        assert 1.0 - 0.005 * 4 * len(parts) - 1e-9 <= whole <= 1.0 + 1e-9


@settings(max_examples=60, deadline=None)
@given(st.lists(structures(), min_size=1, max_size=5, unique_by=lambda part: part["id"]), points, st.floats(0.1, 4.0))
def test_one_more_structure_never_gives_more_sky_sun_or_wind(parts, at, height):
    with_all, without_last = (look(yard(*some), at=at, height=height, rays=256) for some in (parts, parts[:-1]))
    assert with_all.sky <= without_last.sky + 1e-12
    assert with_all.side_sky <= without_last.side_sky + 1e-12
    assert with_all.diffuse_share <= without_last.diffuse_share + 1e-12
    assert np.all(with_all.sun_share <= without_last.sun_share + 1e-12)
    assert with_all.wind_share <= without_last.wind_share + 1e-12
    assert with_all.stillness >= without_last.stillness - 1e-12


@settings(max_examples=20, deadline=None)
@given(st.lists(structures(), max_size=4, unique_by=lambda part: part["id"]), points)
def test_looking_twice_or_in_company_gives_the_same(parts, at):
    where = yard(*parts)
    alone = survey(where, [("a", *at, 1.0)])[0]
    in_company = survey(where, [("b", 3.0, 3.0, 0.5), ("a", *at, 1.0)])[1]
    assert (alone.sky, alone.roof, alone.wall, alone.canopy) == (
        in_company.sky,
        in_company.roof,
        in_company.wall,
        in_company.canopy,
    )
    assert np.array_equal(alone.sun_share, in_company.sun_share)


# ---------------------------------------------------------------- the demo yard


@pytest.fixture(scope="module")
def demo():
    with resources.as_file(resources.files("fruitwall.yard") / "data" / "demo_yard.yaml") as path:
        return read_yard(path)


def test_every_tree_of_the_demo_yard_gets_its_spot(demo):
    spots = {spot.id: spot for spot in survey(demo, tree_places(demo))}
    assert list(spots) == [tree.id for tree in demo.trees]
    assert max(abs(s.sky + s.roof + s.wall + s.canopy - 1.0) for s in spots.values()) < 1e-12
    under_glass = spots["pot-cacao"]
    assert under_glass.roof > 0.5
    assert under_glass.roof_transmits_sun == pytest.approx(0.85)
    assert spots["lychee-mauritius"].wall > 0.2
    assert "terrace-wall/1/right" in spots["papaya"].wall_ids
    assert spots["plum"].colder_k > 1.5
    assert spots["plum"].sky > spots["lychee-mauritius"].sky > under_glass.sky


def test_the_terrace_wall_of_the_demo_yard_looks_south(demo):
    terrace = next(face for face in survey_faces(demo) if face.structure == "terrace-wall")
    assert terrace.azimuth_deg == pytest.approx(180.0)
    assert terrace.behind == "earth"


# ---------------------------------------------------------------- refusal


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (("a", 0.0, 0.0, 0.0), r"^height_m must be greater than 0 and at most 100 m, got 0\.0$"),
        (("a", 1e9, 0.0, 1.0), r"^x_m must be .* got 1000000000\.0$"),
        (("a", 0.0, np.inf, 1.0), r"^y_m must be .* got inf$"),
    ],
)
def test_an_impossible_place_is_refused(place, words):
    with pytest.raises(ValueError, match=words):
        survey(yard(), [place])


def test_too_few_rays_are_refused():
    with pytest.raises(ValueError, match=r"^rays must be at least 16 and at most 1e"):
        survey(yard(), [("a", 0.0, 0.0, 1.0)], rays=3)
