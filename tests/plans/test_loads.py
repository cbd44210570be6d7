"""What containers weigh."""

from __future__ import annotations

import pytest

from fruitwall.plans.loads import (
    MEDIA_KG_PER_L,
    container_height_m,
    container_mass_kg,
    container_width_m,
    depth_of_taper_m,
    medium_mass_kg,
)
from fruitwall.yard.units import CONTAINER_CLASS_L
from tests.published import find_check


def check_of(name: str):
    return find_check("loads.yaml", name)


def test_wet_media_weigh_what_was_measured():
    check = check_of("pg_container_media_wet_density")
    assert MEDIA_KG_PER_L["bark"] == tuple(check.inputs["pine_bark"])
    assert MEDIA_KG_PER_L["peat"] == tuple(check.inputs["sphagnum_peat"])
    assert [medium_mass_kg(1.0, mix=mix) for mix in ("bark", "peat")] == check.approx("wet_kg_per_l")


def test_the_medium_of_a_15_gallon_pot_weighs_36_to_54_kg():
    check = check_of("pg_container_no15_medium_mass")
    volume = check.inputs["volume_l"]
    assert [medium_mass_kg(volume, mix=mix) for mix in ("bark", "peat")] == check.approx("mass_kg")


def test_a_15_gallon_tree_weighs_what_nurseries_say():
    check = check_of("pg_container_no15_published_weight")
    mass = container_mass_kg(**check.inputs)
    low, high = check.expected["realistic_kg"]
    assert low <= mass <= high


def test_tapered_pots_have_the_depth_of_their_volume():
    check = check_of("pg_container_frustum_depth")
    rows = zip(check.inputs["litre"], check.inputs["top_cm"], check.inputs["base_cm"], strict=True)
    depths = [100 * depth_of_taper_m(litre, top / 100, base / 100) for litre, top, base in rows]
    assert depths == check.approx("depth_cm")


def test_widths_and_heights_follow_the_published_pots():
    check = check_of("pot_dimensions_rows")
    volumes = check.inputs["volume_l"]
    relative = check.tolerance["rel"]
    assert [100 * container_width_m(v) for v in volumes] == pytest.approx(
        check.expected["top_cm"], rel=relative["top_cm"]
    )
    heights = [100 * container_height_m(v) for v in volumes]
    assert heights == pytest.approx(check.expected["height_cm"], rel=relative["height_cm"])


def test_water_clay_and_a_larger_tree_make_it_heavier():
    size = {"tree_height_m": 1.5, "crown_diameter_m": 0.8}
    masses = [container_mass_kg(20, **size, wetness=wetness) for wetness in ("dry", "moist", "wet")]
    assert masses == sorted(masses)
    assert container_mass_kg(20, **size, material="clay") > container_mass_kg(20, **size)
    assert container_mass_kg(20, tree_height_m=2, crown_diameter_m=1) > container_mass_kg(20, **size)


@pytest.mark.parametrize("volume", [0.0, -1.0, 2001.0])
def test_impossible_volumes_are_refused(volume: float):
    with pytest.raises(ValueError, match="volume_l must be greater than 0 and at most 2000 L"):
        medium_mass_kg(volume)


def test_trade_containers_hold_what_a_nursery_measured():
    check = check_of("pg_container_true_volume")
    volumes = [CONTAINER_CLASS_L[number] for number in check.inputs["class"]]
    assert volumes == check.expected["litre"]
    assert [volume / 3.785411784 for volume in volumes] == check.approx("us_gal")


def test_all_but_one_of_them_lie_within_the_remembered_classes():
    check = check_of("pg_container_class_ranges")
    forgiven = check.tolerance["abs"]
    outside = [
        number
        for number, (low, high) in zip(check.inputs["class"], check.inputs["cubic_inches"], strict=True)
        if not 0.0254**3 * 1000 * low - forgiven <= CONTAINER_CLASS_L[number] <= 0.0254**3 * 1000 * high + forgiven
    ]
    assert outside == check.expected["outside"]


def test_dry_peat_media_weigh_what_a_second_source_says():
    check = check_of("pg_container_peat_mix_density")
    low, high = check.expected["bulk_density_g_cm3"]
    assert all(low <= MEDIA_KG_PER_L[mix][0] <= high for mix in check.inputs["medium"])
