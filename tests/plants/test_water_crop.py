"""Crop coefficients, litres and minutes against tables, worked examples and measured orchards."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.water import (
    climate_adjusted,
    covered_kc,
    crop_coefficient,
    crop_row,
    crown_area_m2,
    emitter_minutes,
    kc_on,
    leaf_area_kc,
    leaf_area_use_l,
    pot_kc_on,
    reference_et,
    to_give_mm,
    tree_volume_l,
    vapour,
    volume,
)
from fruitwall.plants.water.crop import CITRUS, find_row
from fruitwall.plants.water.crop_year import LEAFLESS_KC, citrus_row
from tests.published import Check, find_check

FOOT_M, INCH_MM, GALLON_L = 0.3048, 25.4, 231 * 0.0254**3 * 1000
"""By definition; the product itself converts at its edges only."""


def check_of(name: str) -> Check:
    return find_check("water.yaml", name)


# ---------------------------------------------------------------- coefficients


def test_adjusted_for_wind_and_dryness() -> None:
    check = check_of("water.kc.climate_adjust")
    kc = climate_adjusted(*(check.given(n) for n in ("kc_tab", "rh_min", "u2_m_s", "height_m")))
    assert kc == check.approx("kc_mid")


def test_a_small_coefficient_is_not_adjusted() -> None:
    assert climate_adjusted(0.3, 20.0, 4.0, 2.0) == 0.3


@pytest.mark.parametrize("name", ["lemon", "avocado", "banana", "peach"])
def test_rows_of_table_12(name: str) -> None:
    check = check_of("water.kc.table12")
    at = {"lemon": "citrus 70", "avocado": "avocado", "banana": "banana year 2", "peach": "stone fruit"}[name]
    expected = check.expected["kc"][check.inputs["crop"].index(at)]
    row = crop_row(catalogue().find(name))
    # 45 % and 2 m/s are what the table is for.
    assert [float(crop_coefficient(row, stage)) for stage in ("initial", "mid", "end")] == expected
    assert row.doubt == "none"


def test_every_kind_has_a_whole_row_and_says_how_near_it_is() -> None:
    for taxon in catalogue().taxa:
        row = crop_row(taxon)
        figures = [row.kc_initial, row.kc_mid, row.kc_end, *row.root_depth_m, row.depletion_p, row.height_m]
        assert np.isfinite(figures).all(), taxon.scientific
        genus = taxon.scientific.split()[0]
        own = genus in f"{row.taxon} {row.common_name}" or (row.taxon.startswith("Prunus") and genus == "Prunus")
        assert own == (row.doubt in ("none", "part")), taxon.scientific
        if row.doubt in ("family", "group"):
            assert row.depletion_p <= 0.5


@pytest.mark.parametrize(
    ("name", "like", "doubt"),
    [
        ("white sapote", "citrus", "family"), ("coconut", "palm trees", "family"), ("mango", "avocado", "group"),
        ("fig", "apricot, peach, stone fruit", "group"), ("papaya", "banana", "group"),
        ("prickly pear", "pineapple", "group"), ("passion fruit", "kiwifruit", "group"),
        ("pomegranate", "pomegranate", "part"), ("kiwi", "kiwifruit", "none"), ("loquat", "citrus", "group"),
    ],
)  # fmt: skip
def test_kinds_without_a_row_take_the_nearest(name: str, like: str, doubt: str) -> None:
    row = crop_row(catalogue().find(name))
    assert (row.common_name, row.doubt) == (like, doubt)


def test_orchards_of_the_foggy_coast_use_less_than_the_tables() -> None:
    check = check_of("water.kc.coastal")
    rows = [citrus_row(0.2), find_row(*CITRUS), crop_row(catalogue().find("avocado"))]
    ours = [
        np.mean([crop_coefficient(row, stage, 65.0, 1.5) for stage in ("initial", "mid", "end")])  # type: ignore[arg-type]
        for row in rows
    ]
    assert ours == check.approx("kc")


def test_a_mango_orchard_through_its_season() -> None:
    check = check_of("water.mango_season")
    row = crop_row(catalogue().find("mango"))
    needed = check.want("etc_mm_d_flowering_peak_maturity") / [row.kc_initial, row.kc_mid, row.kc_end]
    assert needed == pytest.approx(np.full(3, needed.mean()), rel=check.tolerance["rel"])
    assert 4.0 < needed.mean() < 7.0


def test_pomegranate_from_bud_burst_to_its_peak() -> None:
    check = check_of("water.kc.pomegranate")
    row = crop_row(catalogue().find("pomegranate"))
    assert np.full(3, row.kc_initial) == check.approx("kc_start")
    assert np.full(3, row.kc_mid) == check.approx("kc_peak")


def test_coefficient_from_leaf_area() -> None:
    check = check_of("water.leaf_area")
    assert leaf_area_kc(check.given("lai")) == check.approx("kc")
    assert leaf_area_use_l(check.given("et0_mm_d"), check.given("leaf_area_m2")) == check.approx("litre_d")
    assert leaf_area_kc(6.0) == leaf_area_kc(3.0)


def test_the_year_of_an_evergreen_and_of_a_deciduous_kind() -> None:
    lemon, peach = (crop_row(catalogue().find(name)) for name in ("lemon", "peach"))
    assert kc_on(lemon, [30, 105, 200, 365], leaf_habit="evergreen", latitude_deg=33.0) == pytest.approx(
        [0.7, 0.675, 0.65, 0.7], abs=0.002
    )
    year = kc_on(peach, [10, 70, 200, 350], leaf_habit="deciduous", latitude_deg=33.0)
    assert year == pytest.approx([LEAFLESS_KC, 0.55, 0.9, LEAFLESS_KC])
    # Half a year later in the south.
    south = kc_on(peach, [10, 200], leaf_habit="deciduous", latitude_deg=-33.0)
    assert south == pytest.approx([0.9, LEAFLESS_KC])
    # Autumn comes earlier in the cool north.
    cool = kc_on(peach, 290, leaf_habit="deciduous", latitude_deg=48.0)
    assert cool < kc_on(peach, 290, leaf_habit="deciduous", latitude_deg=33.0)


def test_a_pot_is_reckoned_by_the_leaves_of_its_tree() -> None:
    lemon, fig = (crop_row(catalogue().find(name)) for name in ("lemon", "fig"))
    place = {"leaf_habit": "evergreen", "latitude_deg": 33.0}
    # Leaf area 3 over 2.88 in its fullest season: a crown of 1 m uses 4.9 L of an ET0 of 6 mm.
    kc = float(pot_kc_on(lemon, 10, **place))  # type: ignore[arg-type]
    assert kc == pytest.approx(3.0 / 2.88)
    assert float(tree_volume_l(6.0, kc, 1.0)) == pytest.approx(float(leaf_area_use_l(6.0, 3.0 * crown_area_m2(1.0))))
    assert pot_kc_on(lemon, 200, **place) == pytest.approx(kc * 0.65 / 0.70)  # type: ignore[arg-type]
    assert pot_kc_on(fig, 10, leaf_habit="deciduous", latitude_deg=33.0) < 0.25
    assert pot_kc_on(lemon, 10, leaf_area_index=1.0, **place) == pytest.approx(1.0 / 2.88)  # type: ignore[arg-type]


def test_the_year_has_no_jump_but_where_leaves_come_and_go() -> None:
    lemon = crop_row(catalogue().find("lemon"))
    days = np.arange(1, 366)
    kc = kc_on(lemon, days, leaf_habit="evergreen", latitude_deg=33.0, rh_min_pct=20.0, wind_2m_m_s=3.0)
    assert np.abs(np.diff(kc)).max() < 0.01


def test_a_small_crown_on_bare_ground_uses_less() -> None:
    cover = np.linspace(0.0, 1.0, 50)
    kc = covered_kc(0.9, cover, 3.0)
    assert (np.diff(kc) >= 0).all()
    assert kc[0] == pytest.approx(0.15)
    assert kc[-1] == pytest.approx(0.9)


def test_citrus_between_the_printed_covers() -> None:
    assert citrus_row(0.7).kc_mid == 0.65
    assert citrus_row(0.35).kc_mid == pytest.approx((0.45 + 0.60) / 2)
    assert citrus_row(0.35, weeds=True).kc_mid == pytest.approx((0.85 + 0.80) / 2)
    assert citrus_row(0.05).kc_initial == 0.5


def test_unknown_stages_and_rows_are_refused() -> None:
    with pytest.raises(ValueError, match="stage must be one of initial, mid, end"):
        crop_coefficient(find_row(*CITRUS), "summer")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="no row"):
        find_row("Citrus spp.", "on the moon")


# ---------------------------------------------------------------- litres and minutes


def test_units_by_definition() -> None:
    check = check_of("water.inch_to_gallon")
    assert check.expected["litre_per_mm_m2"] == volume.LITRES_PER_MM_M2
    litres = check.given("inch") * INCH_MM * check.given("square_foot") * FOOT_M**2 * volume.LITRES_PER_MM_M2
    assert litres / GALLON_L == check.approx("us_gallon")


def test_an_orange_in_july() -> None:
    check = check_of("water.cimis_orange")
    assert volume.crop_et(check.given("et0_in_d"), check.given("kc")) == check.approx("etc_in_d")


def test_gallons_of_a_tree() -> None:
    check = check_of("water.tree_gallons")
    litres = tree_volume_l(
        check.given("et0_in_d") * INCH_MM, check.given("kc"), check.given("crown_diameter_ft") * FOOT_M
    )
    assert litres / GALLON_L == check.approx("us_gallon_d")


def test_a_street_tree_in_its_planter() -> None:
    check = check_of("water.container_soil_volume")
    cubic_foot_l = 1000 * FOOT_M**3
    crown = check.given("crown_diameter_ft") * FOOT_M
    use_l = volume.street_tree_use(
        crown, check.given("lai"), check.given("pan_ft_d") * FOOT_M * 1000, check.given("ratio")
    )
    soil_l = volume.volume_for_l(use_l, check.given("days"), check.given("available_fraction"))
    assert crown_area_m2(crown) / FOOT_M**2 == check.approx("crown_projection_ft2")
    assert use_l / cubic_foot_l == check.approx("use_ft3_d")
    assert soil_l / cubic_foot_l == check.approx("soil_volume_ft3")
    # 31.4 printed as 31: a little over the one percent.
    assert use_l / GALLON_L == pytest.approx(check.expected["use_us_gallon_d"], rel=0.014)


def desert_year() -> np.ndarray:
    """Reference evapotranspiration of the days of a year at Maricopa, between the eight that are published. [mm]"""
    days = check_of("et0.desert.maricopa")
    et = reference_et(
        days.given("t_min_c"), days.given("t_max_c"), t_dew_c=days.given("dew_point_c"),
        wind_2m_m_s=vapour.wind_at_2m(days.given("wind_3m_m_s"), 3.0), shortwave_mj_m2=days.given("rs_mj_m2_d"),
        latitude_deg=days.given("latitude_deg"), day_of_year=days.given("day_of_year"),
        elevation_m=days.given("elevation_m"),
    )  # fmt: skip
    return np.interp(np.arange(1, 366), days.given("day_of_year"), et, period=365)


def desert_citrus(day: np.ndarray) -> np.ndarray:
    """Coefficients of mature citrus there, with its dry afternoons."""
    row = find_row(*CITRUS)
    return kc_on(row, day, leaf_habit="evergreen", latitude_deg=33.0, rh_min_pct=20.0, wind_2m_m_s=1.8)


def test_citrus_of_the_low_desert_through_a_year() -> None:
    check = check_of("water.citrus_arizona")
    kc = kc_on(
        find_row(*CITRUS),
        np.arange(1, 366),
        leaf_habit="evergreen",
        latitude_deg=33.0,
        rh_min_pct=20.0,
        wind_2m_m_s=1.8,
    )
    assert (kc * desert_year()).sum() / INCH_MM == check.approx("annual_inches")


# Why it stays: FAO-56 gives citrus 0.70 in winter, for orchards whose ground rain keeps wet; for deserts no other
# coefficient is published, and the year's sum agrees. It errs to more water in winter than the table, not to thirst.
@pytest.mark.xfail(strict=True, reason="twice the published winter use (0.26 of July's, not 0.13): notes of the check")
def test_winter_against_summer_of_the_low_desert() -> None:
    check = check_of("water.citrus_arizona")
    kc = desert_citrus(np.array([15, 196]))
    winter, summer = kc * desert_year()[[14, 195]]
    published = check.given("winter_max_us_gallon_d") / check.given("summer_max_us_gallon_d")
    assert winter / summer == pytest.approx(published, rel=check.tolerance["rel"])


def test_minutes_of_an_emitter() -> None:
    assert emitter_minutes([18.0, 0.0], [120.0, 0.0]).tolist() == [9.0, 0.0]
    assert emitter_minutes(18.0, 0.0) == np.inf


def test_what_has_to_be_given() -> None:
    assert to_give_mm(10.0, 0.2, 0.9) == pytest.approx(10.0 / (0.8 * 0.9))
    assert to_give_mm(0.0, 0.2) == 0.0
    with pytest.raises(ValueError, match="leaching_share"):
        to_give_mm(1.0, 1.2)
