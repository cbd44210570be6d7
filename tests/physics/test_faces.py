"""Which faces there are, where they look, and what they are made of."""

import numpy as np
import pytest
from pydantic import ValidationError

from fruitwall.physics.faces import MASONRY, wall_faces
from fruitwall.yard.model import Building, Wall
from tests.physics.yards import square, wall, yard
from tests.published import find_check


def faces_of(*structures):
    return wall_faces(yard(*structures))


def test_a_free_standing_wall_has_two_faces_that_look_opposite_ways():
    faces = faces_of(wall([[0.0, 0.0], [5.0, 0.0]], 2.0))
    assert [face.id for face in faces] == ["wall/1/right", "wall/1/left"]
    assert [face.azimuth_deg for face in faces] == pytest.approx([180.0, 0.0])  # drawn from west to east
    assert {face.behind for face in faces} == {"outdoor"}
    assert all(face.length_m == pytest.approx(5.0) for face in faces)
    assert [face.back.id for face in faces] == ["wall/1/left", "wall/1/right"]
    assert {face.piece for face in faces} == {"wall/1"}


def test_a_retaining_wall_looks_to_the_right_of_its_line_and_has_earth_behind():
    (face,) = faces_of(wall([[0.0, 0.0], [0.0, 5.0]], 1.2, retains_earth=True))  # drawn from south to north
    assert face.azimuth_deg == pytest.approx(90.0)
    assert (face.behind, face.height_m, face.back) == ("earth", 1.2, None)


def test_a_leaning_wall_shows_one_face_to_the_sky_and_the_other_to_the_ground():
    right, left = faces_of(wall([[0.0, 0.0], [5.0, 0.0]], 2.0, tilt=70.0))
    assert (right.tilt_deg, left.tilt_deg) == (70.0, 110.0)
    assert right.sky == pytest.approx(0.5 * (1.0 + np.cos(np.radians(70.0))))
    assert left.sky == pytest.approx(1.0 - right.sky)
    (bank,) = faces_of(wall([[0.0, 0.0], [5.0, 0.0]], 2.0, tilt="60 deg", retains_earth=True))
    assert bank.tilt_deg == 60.0
    (upright,) = faces_of(wall([[0.0, 0.0], [5.0, 0.0]], 2.0, retains_earth=True))
    assert (upright.tilt_deg, upright.sky) == (90.0, pytest.approx(0.5))


@pytest.mark.parametrize("tilt", [44.9, 135.1])
def test_a_wall_flatter_than_half_upright_is_refused(tilt):
    with pytest.raises(ValidationError, match="tilt"):
        faces_of(wall([[0.0, 0.0], [5.0, 0.0]], 2.0, tilt=tilt))


def test_seen_from_outside_a_face_runs_from_left_to_right():
    for face in faces_of(wall([[1.0, 2.0], [4.0, 6.0]], 2.0)):
        way = np.subtract(face.end, face.start)
        bearing = np.radians(face.azimuth_deg)
        outward = np.array([np.sin(bearing), np.cos(bearing)])
        # Standing before the face and looking at it, right is the outward normal turned a quarter to the left.
        assert way @ np.array([-outward[1], outward[0]]) == pytest.approx(5.0)


@pytest.mark.parametrize("clockwise", [False, True])
def test_a_building_looks_outward_whichever_way_its_outline_runs(clockwise):
    outline = square(3.0)[::-1] if clockwise else square(3.0)
    faces = faces_of({"kind": "building", "id": "house", "outline": outline, "height": 4.0, "indoor": 20.0})
    assert sorted(round(face.azimuth_deg) % 360 for face in faces) == [0, 90, 180, 270]
    for face in faces:
        middle = 0.5 * (np.array(face.start) + np.array(face.end))
        bearing = np.radians(face.azimuth_deg)
        assert middle @ np.array([np.sin(bearing), np.cos(bearing)]) == pytest.approx(3.0)
        assert (face.behind, face.indoor_c) == ("indoor", 20.0)
    assert [face.id for face in faces] == ["house/1", "house/2", "house/3", "house/4"]


def test_an_unheated_building_has_free_air_behind_its_walls():
    faces = faces_of({"kind": "building", "id": "shed", "outline": square(2.0), "height": 2.4})
    assert {face.behind for face in faces} == {"outdoor"}
    assert all(np.isnan(face.indoor_c) for face in faces)


def test_every_piece_of_a_bent_wall_has_its_faces_and_double_points_none():
    faces = faces_of(wall([[0.0, 0.0], [5.0, 0.0], [5.0, 0.0], [5.0, 3.0]], 2.0))
    assert [face.id for face in faces] == ["wall/1/right", "wall/1/left", "wall/3/right", "wall/3/left"]


def test_roofs_fences_and_ground_have_no_faces():
    fence = {"kind": "fence", "id": "fence", "line": [[0.0, 0.0], [5.0, 0.0]], "height": 2.0}
    paving = {"kind": "paving", "id": "paving", "outline": square(2.0)}
    porch = {"kind": "roof", "id": "porch", "outline": square(2.0), "height": 2.5}
    assert faces_of(fence, paving, porch) == []


def test_metal_and_glass_are_as_thin_as_sheets_are():
    for material, thickest in (("metal", 0.003), ("glass", 0.012), ("brick", 0.3)):
        (layer,) = faces_of(wall([[0.0, 0.0], [5.0, 0.0]], 2.0, material=material, thickness=0.3))[0].layers
        assert layer.thickness_m == thickest


def test_every_material_of_the_yard_file_is_known():
    for model in (Wall, Building):
        for material in model.model_fields["material"].annotation.__args__:
            assert material in MASONRY


def test_design_values_are_those_of_the_standard():
    check = find_check("shape.yaml", "mat-building-s")
    rows = list(check.inputs["material"])
    for ours, theirs in (("concrete", "concrete 2400"), ("timber", "timber 500"), ("glass", "glass")):
        row, made_of = rows.index(theirs), MASONRY[ours]
        assert made_of.density_kg_m3 == check.want("rho_kg_m3")[row]
        assert made_of.conductivity_w_mk == check.want("k_w_mk")[row]
        assert made_of.heat_capacity_j_kgk == check.want("cp_j_kgk")[row]
    assert check.want("k_w_mk")[rows.index("granite")] > MASONRY["stone"].conductivity_w_mk  # mortar and softer stone


def test_brick_conducts_as_the_handbook_says_for_its_density():
    check = find_check("shape.yaml", "mat-brick-ashrae")
    row = list(check.given("density_kg_m3")).index(MASONRY["brick"].density_kg_m3)
    assert MASONRY["brick"].conductivity_w_mk == pytest.approx(check.want("k_w_mk")[row], rel=0.1)


def test_materials_are_physical():
    for name, made_of in MASONRY.items():
        assert 0.0 < made_of.absorptance < 1.0, name
        assert 0.8 <= made_of.emissivity <= 1.0, name
        assert 0.05 < made_of.conductivity_w_mk <= 60.0, name
        assert 300.0 < made_of.density_kg_m3 < 8000.0, name
