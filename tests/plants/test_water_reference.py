"""Reference evapotranspiration against the examples of FAO-56, station networks and independent libraries."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.physics import air
from fruitwall.plants.water import (
    daily_reference,
    hargreaves_et,
    hourly_reference,
    reference_et,
    reference_et_hourly,
    said_notice,
    vapour,
)
from fruitwall.plants.water import radiation as sun
from fruitwall.plants.water import reference as ref
from tests.published import Check, find_check

DAY = np.arange("2025-07-01T08", "2025-07-02T08", dtype="datetime64[h]").astype("datetime64[s]")
"""Ends of the hours of a day by the sun of 105 degrees west."""


def check_of(name: str) -> Check:
    return find_check("water.yaml", name)


def test_pressure_and_psychrometric_constant() -> None:
    check = check_of("et0.fao.ex2")
    assert vapour.pressure_kpa(check.given("elevation_m")) == check.approx("p_kpa")
    assert air.pressure_at(check.given("elevation_m")) == check.approx("p_kpa")
    assert vapour.psychrometric_kpa_per_k(check.given("elevation_m")) == check.approx("gamma_kpa_per_k")


def test_saturation_of_a_day() -> None:
    check = check_of("et0.fao.ex3")
    low, high = check.given("t_min_c"), check.given("t_max_c")
    assert vapour.saturation_kpa(low) == check.approx("e_tmin_kpa")
    assert vapour.saturation_kpa(high) == check.approx("e_tmax_kpa")
    assert vapour.mean_saturation_kpa(low, high) == check.approx("es_kpa")


def test_moisture_from_humidities() -> None:
    check = check_of("et0.fao.ex5")
    low, high = check.given("t_min_c"), check.given("t_max_c")
    least, most = check.given("rh_min"), check.given("rh_max")
    assert vapour.actual_kpa(low, high, rh_min_pct=least, rh_max_pct=most) == check.approx("ea_kpa")
    assert vapour.actual_kpa(low, high, rh_max_pct=most) == check.approx("ea_from_rhmax_kpa")
    assert vapour.actual_kpa(low, high, rh_mean_pct=(least + most) / 2) == check.approx("ea_from_rhmean_kpa")


def test_sun_above_the_atmosphere() -> None:
    check = check_of("et0.fao.ex8")
    latitude, day = check.given("latitude_deg"), check.given("day_of_year")
    course = sun.day_sun(latitude, day)
    assert course.distance == check.approx("dr")
    assert course.declination == check.approx("declination_rad")
    assert course.sunset == check.approx("sunset_angle_rad")
    assert sun.extraterrestrial(latitude, day) == check.approx("ra_mj_m2_d")


def test_length_of_the_day() -> None:
    check = check_of("et0.fao.ex9")
    assert sun.daylight_hours(check.given("latitude_deg"), check.given("day_of_year")) == check.approx("n_h")


def test_sun_from_sunshine() -> None:
    check = check_of("et0.fao.ex10")
    assert sun.from_sunshine(*(check.given(n) for n in ("ra_mj_m2_d", "sunshine_h", "daylight_h"))) == check.approx(
        "rs_mj_m2_d"
    )


def test_longwave_of_a_day() -> None:
    check = check_of("et0.fao.ex11")
    share = check.given("rs") / check.given("rso")
    lost = sun.longwave_loss_day(check.given("t_min_c"), check.given("t_max_c"), check.given("ea_kpa"), share)
    assert lost == check.approx("rnl_mj_m2_d")


def test_heat_into_the_ground_of_a_month() -> None:
    check = check_of("et0.fao.ex13")
    heat = ref.monthly_soil_heat(check.given("t_before_c"), check.given("t_after_c"))
    assert heat == check.approx("g_mj_m2_d")
    assert ref.MM_PER_MJ * heat == check.approx("as_mm_d")


def test_wind_at_two_metres() -> None:
    check = check_of("et0.fao.ex14")
    assert vapour.wind_at_2m(check.given("u10_m_s"), check.given("z_m")) == check.approx("u2_m_s")


def test_bangkok_in_april_with_all_that_lies_between() -> None:
    check = check_of("et0.fao.ex17")
    low, high, day = check.given("t_min_c"), check.given("t_max_c"), check.given("day_of_year")
    latitude, height, ea = check.given("latitude_deg"), check.given("elevation_m"), check.given("ea_kpa")
    ra = sun.extraterrestrial(latitude, day)
    rso = sun.clear_sky(ra, height)
    rs = sun.from_sunshine(ra, check.given("sunshine_h"), sun.daylight_hours(latitude, day))
    heat = ref.monthly_soil_heat(check.given("t_month_before_c"), check.given("t_month_c"), months_between=1)

    assert vapour.slope_kpa_per_k((low + high) / 2) == check.approx("delta")
    assert vapour.psychrometric_kpa_per_k(height) == check.approx("gamma")
    assert vapour.mean_saturation_kpa(low, high) == check.approx("es_kpa")
    assert ra == check.approx("ra")
    assert rso == check.approx("rso")
    assert rs == check.approx("rs")
    assert sun.longwave_loss_day(low, high, ea, rs / rso) == check.approx("rnl")
    assert ref.net_radiation_day(low, high, ea, rs, clear_mj_m2=rso) == check.approx("rn")
    assert heat == check.approx("g")
    et = reference_et(
        low, high, ea_kpa=ea, wind_2m_m_s=check.given("u2_m_s"), shortwave_mj_m2=rs, latitude_deg=latitude,
        day_of_year=day, elevation_m=height, soil_heat_mj_m2=heat,
    )  # fmt: skip
    assert et == check.approx("et0_mm_d")


def test_uccle_in_july_with_all_that_lies_between() -> None:
    check = check_of("et0.fao.ex18")
    low, high, rs = check.given("t_min_c"), check.given("t_max_c"), check.given("rs_mj_m2_d")
    height, latitude, day = check.given("elevation_m"), check.given("latitude_deg"), check.given("day_of_year")
    wind = vapour.wind_at_2m(check.given("u10_m_s"), 10.0)
    ea = vapour.actual_kpa(low, high, rh_min_pct=check.given("rh_min"), rh_max_pct=check.given("rh_max"))
    rso = sun.clear_sky(sun.extraterrestrial(latitude, day), height)

    assert wind == check.approx("u2_m_s")
    assert vapour.pressure_kpa(height) == check.approx("p_kpa")
    assert vapour.slope_kpa_per_k((low + high) / 2) == check.approx("delta")
    assert vapour.psychrometric_kpa_per_k(height) == check.approx("gamma")
    assert vapour.mean_saturation_kpa(low, high) == check.approx("es_kpa")
    assert ea == check.approx("ea_kpa")
    assert sun.extraterrestrial(latitude, day) == check.approx("ra")
    assert rso == check.approx("rso")
    assert (1 - sun.ALBEDO) * rs == check.approx("rns")
    assert sun.longwave_loss_day(low, high, ea, rs / rso) == check.approx("rnl")
    assert ref.net_radiation_day(low, high, ea, rs, clear_mj_m2=rso) == check.approx("rn")
    et = reference_et(
        low, high, rh_min_pct=check.given("rh_min"), rh_max_pct=check.given("rh_max"), wind_2m_m_s=wind,
        shortwave_mj_m2=rs, latitude_deg=latitude, day_of_year=day, elevation_m=height,
    )  # fmt: skip
    assert et == check.approx("et0_mm_d")


def test_two_hours_of_n_diaye() -> None:
    check = check_of("et0.fao.ex19")
    t = check.given("t_c")
    ea = check.given("rh") / 100 * vapour.saturation_kpa(t)
    assert vapour.saturation_kpa(t) == check.approx("es_kpa")
    assert ea == check.approx("ea_kpa")
    et = ref.penman_monteith_hour(t, ea, check.given("u2_m_s"), check.given("rn_mj_m2_h"), check.given("g_mj_m2_h"), 8)
    assert et == check.approx("et0_mm_h")
    # From 14 to 15 h by the example's clock, that of 15 degrees west; October begins with day 274.
    hour = sun.hour_sun(16 + 13 / 60, -(16 + 15 / 60), np.array(["2021-10-01T16:00"], "datetime64[s]"))
    assert hour.ra_mj_m2[0] == check.approx("ra_14_15_mj_m2_h")
    assert hour.day_of_year[0] == 274


def test_lyon_from_extremes_only() -> None:
    check = check_of("et0.fao.ex20")
    low, high = check.given("t_min_c"), check.given("t_max_c")
    latitude, day = check.given("latitude_deg"), check.given("day_of_year")
    assert vapour.actual_kpa(low, high) == check.approx("ea_kpa")
    et = reference_et(
        low, high, wind_2m_m_s=check.given("u2_m_s"), shortwave_mj_m2=check.given("rs_mj_m2_d"),
        latitude_deg=latitude, day_of_year=day, elevation_m=check.given("elevation_m"),
    )  # fmt: skip
    assert et == check.approx("et0_pm_mm_d")
    assert hargreaves_et(low, high, sun.extraterrestrial(latitude, day)) == check.approx("et0_hargreaves_mm_d")


def test_the_fall_back_makes_the_inputs_of_lyon_itself() -> None:
    # Example 20 estimates dew point, sun (0.16 inland) and wind as the fall-back does; the wind is given here, for with
    # temperatures alone Hargreaves stands in.
    check = check_of("et0.fao.ex20")
    found = daily_reference(
        [check.given("t_min_c")], [check.given("t_max_c")], wind_2m_m_s=check.given("u2_m_s"),
        latitude_deg=check.given("latitude_deg"), day_of_year=check.given("day_of_year"),
        elevation_m=check.given("elevation_m"),
    )  # fmt: skip
    assert found.et_mm[0] == check.approx("et0_pm_mm_d")
    assert [notice.code for notice in found.notices] == ["humidity_from_minimum", "sun_from_temperatures"]


def test_table_of_pressure() -> None:
    check = check_of("et0.fao.table2.1")
    assert vapour.pressure_kpa(check.given("elevation_m")) == check.approx("p_kpa")


def test_table_of_saturation() -> None:
    check = check_of("et0.fao.table2.3")
    assert vapour.saturation_kpa(check.given("t_c")) == check.approx("e_kpa")


def test_table_of_slopes() -> None:
    check = check_of("et0.fao.table2.4")
    assert vapour.slope_kpa_per_k(check.given("t_c")) == check.approx("delta_kpa_per_k")


def test_moisture_agrees_with_a_psychrometric_library_and_with_the_physics() -> None:
    # psychrolib has the formula of ASHRAE: 0.15 % from that of FAO-56 at 45 degC.
    psychrolib.SetUnitSystem(psychrolib.SI)
    t = np.arange(0.5, 45.1, 0.5)
    assert vapour.saturation_kpa(t) == pytest.approx([psychrolib.GetSatVapPres(x) / 1000 for x in t], rel=0.0016)
    assert vapour.saturation_kpa(t) == pytest.approx(air.saturation_vapour_pressure(t), rel=1e-12)
    assert vapour.slope_kpa_per_k(t) == pytest.approx(air.slope_of_saturation(t), rel=1e-3)


def test_low_desert_through_the_year_by_two_networks() -> None:
    check = check_of("et0.desert.maricopa")
    et = reference_et(
        check.given("t_min_c"), check.given("t_max_c"), t_dew_c=check.given("dew_point_c"),
        wind_2m_m_s=vapour.wind_at_2m(check.given("wind_3m_m_s"), check.given("wind_height_m")),
        shortwave_mj_m2=check.given("rs_mj_m2_d"), latitude_deg=check.given("latitude_deg"),
        day_of_year=check.given("day_of_year"), elevation_m=check.given("elevation_m"),
    )  # fmt: skip
    assert et == check.approx("et0_azmet_mm_d")
    assert et == check.approx("et0_refet_fao56_mm_d")


def test_twelve_months_of_a_hot_inland_place() -> None:
    check = check_of("et0.aquastat.wardha")
    latitude, day = check.given("latitude_deg"), check.given("day_of_year")
    low, high = check.given("t_min_c"), check.given("t_max_c")
    ra, length = sun.extraterrestrial(latitude, day), sun.daylight_hours(latitude, day)
    et = reference_et(
        low, high, ea_kpa=check.given("rh_mean") / 100 * vapour.saturation_kpa((low + high) / 2),
        wind_2m_m_s=check.given("u2_m_s"), latitude_deg=latitude, day_of_year=day,
        shortwave_mj_m2=sun.from_sunshine(ra, check.given("sunshine_pct") / 100 * length, length),
        elevation_m=check.given("elevation_m"),
    )  # fmt: skip
    assert et == check.approx("et0_mm_d")


@pytest.mark.parametrize(
    "name", ["et0.oracle.desert_jul", "et0.oracle.desert_jan", "et0.oracle.humid_aug", "et0.oracle.coast_apr"]
)
def test_days_by_three_libraries(name: str) -> None:
    check = check_of(name)
    low, high = check.given("t_min_c"), check.given("t_max_c")
    latitude, day, height = check.given("latitude_deg"), check.given("day_of_year"), check.given("elevation_m")
    ea = vapour.actual_kpa(low, high, rh_min_pct=check.given("rh_min"), rh_max_pct=check.given("rh_max"))
    ra = sun.extraterrestrial(latitude, day)
    et = reference_et(
        low, high, ea_kpa=ea, wind_2m_m_s=check.given("u2_m_s"), shortwave_mj_m2=check.given("rs_mj_m2_d"),
        latitude_deg=latitude, day_of_year=day, elevation_m=height,
    )  # fmt: skip
    assert et == check.approx("et0_mm_d")
    assert et == check.approx("et0_asce_libraries_mm_d")
    assert hargreaves_et(low, high, ra) == check.approx("hargreaves_mm_d")
    assert vapour.mean_saturation_kpa(low, high) == check.approx("es_kpa")
    assert vapour.mean_saturation_kpa(low, high) - ea == check.approx("vpd_kpa")
    assert ra == check.approx("ra_mj_m2_d")
    net = ref.net_radiation_day(low, high, ea, check.given("rs_mj_m2_d"), clear_mj_m2=sun.clear_sky(ra, height))
    assert net == check.approx("rn_mj_m2_d")


def test_a_year_of_days_north_and_south_by_pyet() -> None:
    check = check_of("et0.oracle.pyet_year")
    for latitude, expected in zip(check.given("latitude_deg"), check.approx("et0_mm_d").expected, strict=True):
        et = reference_et(
            check.given("t_min_c"), check.given("t_max_c"), rh_min_pct=check.given("rh_min"),
            rh_max_pct=check.given("rh_max"), wind_2m_m_s=check.given("u2_m_s"),
            shortwave_mj_m2=check.given("rs_mj_m2_d"), latitude_deg=latitude, day_of_year=check.given("day_of_year"),
            elevation_m=check.given("elevation_m"),
        )  # fmt: skip
        assert et == pytest.approx(expected, abs=check.tolerance["abs"]["et0_mm_d"])
    north = sun.extraterrestrial(check.given("latitude_deg")[0], check.given("day_of_year"))
    assert north == check.approx("ra_mj_m2_d")


def test_two_hours_by_two_libraries_in_both_forms() -> None:
    check = check_of("et0.hourly.asce")
    since = (check.given("day_of_year") - 1) * 24 + check.given("mid_hour_standard_time") + 0.5
    utc = since + check.given("zone_w_deg") / 15
    for i, hours in enumerate(utc):
        ends = np.array([np.datetime64("2021-01-01T00:00", "s") + np.timedelta64(int(hours * 3600), "s")])
        t, latitude, longitude = (
            check.given("t_c")[i],
            check.given("latitude_deg")[i],
            -check.given("longitude_w_deg")[i],
        )
        ea = check.given("rh")[i] / 100 * vapour.saturation_kpa(t)
        watts = check.given("rs_mj_m2_h")[i] / ref.SECONDS_TO_MJ
        height = check.given("elevation_m")[i]
        for form, name in (("asce", "asce_mm_h"), ("fao56", "fao56_eq53_mm_h")):
            et = reference_et_hourly(
                t, ea, check.given("u2_m_s")[i], watts, latitude, longitude, ends, height, form=form
            )
            assert et[0] == pytest.approx(check.want(name)[i], abs=check.tolerance["abs"])
        clear = sun.clear_sky(sun.hour_sun(latitude, longitude, ends).ra_mj_m2, height)
        assert clear[0] == pytest.approx(check.want("rso_mj_m2_h")[i], abs=check.tolerance["abs"])


def test_a_desert_day_hour_by_hour_by_refet() -> None:
    check = check_of("et0.oracle.refet_day")
    ends = np.datetime64(check.inputs["first_hour_utc"], "s") + (np.arange(24) + 1) * np.timedelta64(3600, "s")
    et = reference_et_hourly(
        check.given("t_c"), check.given("ea_kpa"), check.given("u2_m_s"),
        check.given("rs_mj_m2_h") / ref.SECONDS_TO_MJ, check.given("latitude_deg"), check.given("longitude_deg"),
        ends, check.given("elevation_m"), form="asce",
    )  # fmt: skip
    assert et == pytest.approx(np.maximum(check.want("et0_mm_h"), 0.0), abs=check.tolerance["abs"])


def july(**changed: object) -> dict[str, object]:
    """A desert day by the hour."""
    hour = np.arange(24) + 0.5
    day: dict[str, object] = {
        "t_c": 33.0 + 8.0 * np.sin(2 * np.pi * (hour - 9.5) / 24),
        "ea_kpa": 1.1,
        "wind_2m_m_s": 1.8,
        "shortwave_w_m2": 950.0 * np.maximum(np.sin(np.pi * (hour - 5.3) / 13.7), 0.0) * (abs(hour - 12.1) < 6.8),
        "latitude_deg": 33.4,
        "longitude_deg": -105.0,
        "time_utc": DAY,
        "elevation_m": 350.0,
    }
    return day | changed


def test_hours_of_a_day_add_up_to_the_day() -> None:
    day = july()
    hours = reference_et_hourly(**day)  # type: ignore[arg-type]
    t = np.asarray(day["t_c"])
    whole = reference_et(
        t.min(), t.max(), ea_kpa=1.1, wind_2m_m_s=1.8, latitude_deg=33.4,
        shortwave_mj_m2=np.sum(day["shortwave_w_m2"]) * ref.SECONDS_TO_MJ, day_of_year=182, elevation_m=350.0,
    )  # fmt: skip
    # FAO-56 expects the two within a few percent.
    assert hours.sum() == pytest.approx(float(whole), rel=0.05)


def test_sunshine_is_cut_to_the_day() -> None:
    found = daily_reference(
        [20.0] * 3, [34.0] * 3, latitude_deg=33.0, elevation_m=100.0, day_of_year=182, sunshine_h=[10.0, 14.25, 20.0]
    )
    assert found.et_mm[0] < found.et_mm[1] == found.et_mm[2]


def test_a_shaded_spot_uses_less_and_the_sky_above_it_stays_clear() -> None:
    day = july()
    watts = np.asarray(day["shortwave_w_m2"])
    sunny = reference_et_hourly(**day)  # type: ignore[arg-type]
    shaded = reference_et_hourly(**july(shortwave_w_m2=0.3 * watts, open_shortwave_w_m2=watts))  # type: ignore[arg-type]
    mistaken = reference_et_hourly(**july(shortwave_w_m2=0.3 * watts))  # type: ignore[arg-type]
    assert shaded.sum() < 0.75 * sunny.sum()
    # Shade taken for cloud would keep the warmth of the ground in by night.
    assert mistaken[:5].sum() > shaded[:5].sum()


@pytest.mark.parametrize(
    ("known", "codes"),
    [
        ({"t_dew_c": 8.0, "wind_2m_m_s": 1.8, "cloud": 0.1}, ["sun_from_cloud"]),
        ({"t_dew_c": 8.0, "wind_2m_m_s": 1.8}, ["sun_from_temperatures"]),
        ({"t_dew_c": 8.0, "shortwave_w_m2": "sun"}, ["wind_assumed"]),
        ({"wind_2m_m_s": 1.8, "shortwave_w_m2": "sun"}, ["humidity_from_minimum"]),
        ({}, ["only_temperatures"]),
        ({"t_dew_c": 8.0, "wind_2m_m_s": 1.8, "shortwave_w_m2": "sun"}, []),
    ],
    ids=str,
)
def test_what_stands_in_is_told_and_comes_near(known: dict[str, object], codes: list[str]) -> None:
    day = july()
    given = {name: day["shortwave_w_m2"] if value == "sun" else value for name, value in known.items()}
    found = hourly_reference(
        day["t_c"], time_utc=DAY, latitude_deg=33.4, longitude_deg=-105.0, elevation_m=350.0, **given
    )  # type: ignore[arg-type]
    true = reference_et_hourly(**july(ea_kpa=vapour.saturation_kpa(8.0)))  # type: ignore[arg-type]
    assert [notice.code for notice in found.notices] == codes
    assert found.et_mm.sum() == pytest.approx(true.sum(), rel=1e-12 if not codes else 0.25)


def test_a_gap_in_the_weather_stays_a_gap() -> None:
    day = july()
    t = np.array(day["t_c"])
    t[5] = np.nan
    found = hourly_reference(
        t, time_utc=DAY, latitude_deg=33.4, longitude_deg=-105.0, elevation_m=350.0, t_dew_c=8.0, wind_2m_m_s=2.0,
        shortwave_w_m2=day["shortwave_w_m2"],
    )  # fmt: skip  # type: ignore[arg-type]
    assert np.flatnonzero(np.isnan(found.et_mm)).tolist() == [5]
    assert [(notice.code, notice.share) for notice in found.notices] == [("unknown", pytest.approx(1 / 24))]


def test_members_stand_side_by_side() -> None:
    day = july()
    t = np.stack([np.asarray(day["t_c"]), np.asarray(day["t_c"]) - 5.0])
    both = hourly_reference(
        t, time_utc=DAY, latitude_deg=33.4, longitude_deg=-105.0, elevation_m=350.0, t_dew_c=8.0, cloud=0.3
    )
    one = hourly_reference(
        t[1], time_utc=DAY, latitude_deg=33.4, longitude_deg=-105.0, elevation_m=350.0, t_dew_c=8.0, cloud=0.3
    )
    assert both.et_mm.shape == (2, 24)
    assert (both.et_mm[1] == one.et_mm).all()


def test_polar_night_has_no_sun_and_a_number() -> None:
    assert sun.extraterrestrial(80.0, 355) == pytest.approx(0.0, abs=1e-9)
    et = reference_et(
        -20.0, -12.0, wind_2m_m_s=3.0, shortwave_mj_m2=0.0, latitude_deg=80.0, day_of_year=355, elevation_m=5.0
    )
    assert np.isfinite(et)


def test_hours_of_sun_add_up_to_the_day_everywhere() -> None:
    ends = np.arange("2025-03-21T01", "2025-03-22T01", dtype="datetime64[h]").astype("datetime64[s]")
    for latitude in (-33.0, 0.0, 28.5, 51.0):
        assert sun.hour_sun(latitude, 0.0, ends).ra_mj_m2.sum() == pytest.approx(
            float(sun.extraterrestrial(latitude, 80)), rel=0.002
        )


@settings(max_examples=60, deadline=None)
@given(
    low=st.floats(-5, 30),
    spread=st.floats(1, 20),
    sun_mj=st.floats(6, 20),
    wind=st.floats(0, 8),
    rh=st.floats(10, 100),
    more=st.floats(0.1, 5),
)
def test_more_sun_uses_more(low: float, spread: float, sun_mj: float, wind: float, rh: float, more: float) -> None:
    both = reference_et(
        low,
        low + spread,
        rh_mean_pct=rh,
        wind_2m_m_s=wind,
        shortwave_mj_m2=[sun_mj, sun_mj + more],
        open_shortwave_mj_m2=20.0,
        latitude_deg=30.0,
        day_of_year=170,
        elevation_m=50.0,
    )
    assert both[1] > both[0] >= 0.0 or both[1] == 0.0


def test_every_notice_has_its_sentence() -> None:
    for code in (
        "humidity_from_minimum", "wind_assumed", "sun_from_cloud", "sun_from_temperatures", "only_temperatures",
        "unknown",
    ):  # fmt: skip
        assert said_notice(code).endswith(".")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changed", "name"),
    [
        ({"wind_2m_m_s": -1.0}, "wind_2m_m_s"),
        ({"shortwave_mj_m2": 70.0}, "shortwave_mj_m2"),
        ({"latitude_deg": 91.0}, "latitude_deg"),
        ({"rh_mean_pct": 120.0}, "rh_mean_pct"),
        ({"t_min_c": 30.0}, "t_min_c"),
        ({"elevation_m": "high"}, "elevation_m"),
    ],
)
def test_impossible_weather_is_refused_by_name(changed: dict[str, object], name: str) -> None:
    day: dict[str, object] = {
        "t_min_c": 10.0, "t_max_c": 20.0, "wind_2m_m_s": 2.0, "shortwave_mj_m2": 20.0, "latitude_deg": 30.0,
        "day_of_year": 100, "elevation_m": 10.0,
    }  # fmt: skip
    with pytest.raises(ValueError, match=name):
        reference_et(**(day | changed))  # type: ignore[arg-type]


def test_unknown_stays_unknown() -> None:
    et = reference_et(
        [10.0, np.nan], 20.0, wind_2m_m_s=2.0, shortwave_mj_m2=20.0, latitude_deg=30.0, day_of_year=100, elevation_m=0.0
    )
    assert np.isnan(et).tolist() == [False, True]


def test_an_unknown_form_is_refused() -> None:
    with pytest.raises(ValueError, match="form must be one of fao56, asce"):
        ref.penman_monteith_hour(20.0, 1.0, 2.0, 1.0, 0.1, 0.0, "penman")  # type: ignore[arg-type]
