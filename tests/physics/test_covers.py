"""Covers: what the table says, what encloses what, and the traps that the names hide."""

from dataclasses import replace
from functools import cache
from typing import get_args

import numpy as np
import pytest

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import Body
from fruitwall.physics.cases import Setting, covered
from fruitwall.physics.covers import MATERIALS
from fruitwall.physics.enclosure import TOUCHING, enclose
from fruitwall.physics.night import simulate
from fruitwall.physics.rays import ROOF_SKINS
from fruitwall.physics.rooms import Room
from fruitwall.physics.sky import emitted
from fruitwall.physics.soil import Season
from fruitwall.physics.tissue import leaf_temperature
from fruitwall.physics.treatment import Treatment
from fruitwall.yard.model import CoverMaterial
from tests.physics.nights import FIRST, FROST_WINDS_M_S, LAST, frost_weather, night_of, open_spot
from tests.published import find_check

FILE = "covers.yaml"
BED = Body(height_m=0.25, crown_diameter_m=3.5, leaf_area_index=1.0)
"""Of a cover laid over a field or wide bed: nearly as much ground as cloth, as in the published trials."""
TREE = Body(height_m=2.0, crown_diameter_m=1.5)


def gains(treatments, body=TREE, *, weather=None, spot=None, night=LAST, **settings):
    """Leaf and air minima over those of doing nothing, and the result. [K]"""
    all_of_them = [Treatment("leave"), *treatments]
    place = spot or open_spot(height_m=max(0.6 * body.height_m, 0.3))
    result = simulate(weather or frost_weather(), [place], [body], [all_of_them], [night], **settings)
    leaf, air = result.minimum_c[0, :, 0, 0, 0], result.air_minimum_c[0, :, 0, 0]
    return leaf[1:] - leaf[0], air[1:] - air[0], result


# ---------------------------------------------------------------- the table


def test_every_material_of_the_yard_file_has_its_properties():
    assert set(MATERIALS) == set(get_args(CoverMaterial))


@pytest.mark.parametrize("name", MATERIALS)
def test_no_material_passes_on_more_radiation_than_it_gets(name):
    material = MATERIALS[name]
    assert 0 < material.longwave_through + material.longwave_emissivity <= 1
    assert 0 < material.wet_longwave_through + material.wet_longwave_emissivity <= 1
    assert 0 < material.sun_through + material.sun_absorbed <= 1
    assert material.wet_longwave_through <= material.longwave_through
    assert material.source


def test_trap_dry_polyethylene_stops_a_quarter_of_the_thermal_radiation_and_glass_nine_tenths():
    check = find_check(FILE, "cover-hanson-index")
    index = dict(zip(check.given("film"), check.want("protection_index_pct"), strict=True))
    stopped = 100 * (1 - MATERIALS["film_polyethylene"].longwave_through)
    assert stopped == pytest.approx(index["polyethylene"], abs=check.tolerance["abs"])
    # Of roofs in the yard: glass stops nearly all, and old dusty film more than clean film but less than half.
    assert 100 * (1 - ROOF_SKINS["glass"].longwave) >= index["glass"]
    assert stopped < 100 * (1 - ROOF_SKINS["polyethylene"].longwave) < 50


def test_water_on_polyethylene_cuts_its_loss_by_radiation_by_up_to_a_half():
    check = find_check(FILE, "cover-condensation")
    film = MATERIALS["film_polyethylene"]
    cut = 100 * (1 - film.wet_longwave_through / film.longwave_through)
    assert 25 < cut <= check.want("cut_of_radiation_loss_up_to_pct")


def test_cloth_by_weight_lets_through_as_much_sun_as_the_maker_says():
    # Maker's page on spunbonded polypropylene (reference 3 of physics.covers): 87, 79, 72 % at 20, 30, 40 g/m².
    by_weight = {MATERIALS[name].mass_g_m2: MATERIALS[name].sun_through for name in ("fleece_light", "fleece_medium")}
    weights, through = [20.0, 30.0, 40.0], [0.87, 0.79, 0.72]
    for weight, share in by_weight.items():
        line = np.polyval(np.polyfit(weights, through, 1), weight)
        assert share == pytest.approx(line, abs=0.02)


def test_a_leaf_under_a_film_is_as_cold_as_its_transmissivity_makes_it():
    check = find_check(FILE, "leaf-under-film")
    through = check.given("film_transmissivity")
    air = check.given("t_air_c")
    above = through * check.given("l_sky_w_m2") + (1 - through) * emitted(air)
    leaf = leaf_temperature(
        air,
        -60.0,
        0.0,
        (above + check.given("l_ground_w_m2")) / 2,
        emissivity=check.given("emissivity"),
        h_w_m2k=check.given("h_per_side_w_m2k"),
    )
    assert leaf - air == check.approx("leaf_minus_air_c")


# ---------------------------------------------------------------- what encloses what


def test_a_draped_cloth_touches_and_one_on_a_frame_does_not():
    draped = enclose(Treatment("a", cover="fleece_medium"), TREE)
    framed = enclose(Treatment("b", cover="fleece_medium", on_frame=True), TREE)
    assert draped.touching == TOUCHING
    assert framed.touching == 0.0
    assert draped.closed
    assert framed.closed


def test_a_frame_of_given_size_is_a_box():
    box = enclose(
        Treatment(
            "c", cover="film_polyethylene", on_frame=True, frame_width_m=2.0, frame_length_m=3.0, frame_height_m=2.5
        ),
        TREE,
    )
    assert box.ground_m2 == pytest.approx(6.0)
    assert box.top_ratio == pytest.approx(1.0)
    assert box.side_ratio == pytest.approx(25.0 / 6.0)


def test_open_sides_let_all_through_and_close_nothing():
    roof = enclose(Treatment("d", cover="frost_blanket", sides="open", on_frame=True), TREE)
    assert not roof.closed
    assert roof.side_ratio == 0.0
    assert roof.seen("longwave_through") > MATERIALS["frost_blanket"].longwave_through


def test_sides_without_a_top_count_for_nothing():
    leaf, air, _ = gains([Treatment("fence", sides="film_polyethylene", on_frame=True)])
    assert leaf[0] == air[0] == 0.0


def test_nothing_encloses_nothing():
    with pytest.raises(ValueError, match='treatment "leave" has no cover'):
        enclose(Treatment("leave"), TREE)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lamp_w": -5.0}, "lamp_w must be at least 0"),
        ({"heater_w": float("nan")}, "heater_w must be at least 0 and at most 50000 W, got nan"),
        ({"frame_width_m": 0.0}, "frame_width_m must be greater than 0"),
        ({"stays_by_day": True}, "stays_by_day needs a cover"),
        ({"cover": "burlap", "room": Room("shed")}, "neither covered nor at another spot"),
    ],
)
def test_impossible_treatments_are_refused_by_name(change, words):
    with pytest.raises(ValueError, match=words):
        Treatment("bad", **change)


# ---------------------------------------------------------------- published gains


def test_cloth_over_a_bed_gains_what_universities_say():
    # 2-4 °F on watered beds: the leaf under fleece of 30 and 50 g/m² and under a blanket; not in proportion to weight.
    check = find_check(FILE, "cover-csu-plain")
    low, high = np.array(check.want("gain_f")[0]) / 1.8
    cloths = [Treatment("c", cover=name) for name in ("fleece_medium", "fleece_heavy", "frost_blanket")]
    leaf, _, _ = gains(cloths, BED, moisture="wet")
    assert np.all(leaf >= low)
    assert np.all(leaf <= high + 0.5)  # a blanket of 100 g/m² is heavier than what the bulletin speaks of


def test_covers_over_a_bed_range_as_the_handbook_says_from_thin_to_thick():
    # In light air. The book names no wind, and in the windier half of a radiation frost thin covers keep less, down to
    # 0.3 K; nor does anything of ours come near the 5 K of its thick covers (2.9 K at most).
    check = find_check(FILE, "cover-fao-row-range")
    thin, thick = check.want("gain_c")
    covers = [Treatment("c", cover=name) for name in ("fleece_light", "film_polyethylene", "bubble_film")]
    leaf, _, _ = gains([*covers, Treatment("c", cover="frost_blanket")], BED, moisture="wet")
    assert leaf[:2] == pytest.approx(thin, abs=0.1)
    assert thin < leaf.max() <= thick


# Why it stays: the handbook names neither wind nor bed for its "about 1 K"; light air meets it (test above), more wind
# does not. What is lost then goes through cloth and hem, at 3 mm/s per m/s of wind for light fleece, which rests on
# source [3] of physics.covers and not on any gain. The miss is to the safe side: the plan promises less than the book.
@pytest.mark.xfail(reason="published: about 1 K in whole kelvins; at 2 m/s thin covers leak and keep 0.3 to 0.4 K here")
def test_thin_covers_keep_a_kelvin_through_all_winds_of_a_radiation_frost():
    thin, _ = find_check(FILE, "cover-fao-row-range").want("gain_c")
    covers = [Treatment("c", cover=name) for name in ("fleece_light", "film_polyethylene")]
    for wind in FROST_WINDS_M_S:
        leaf, _, _ = gains(covers, BED, moisture="wet", weather=frost_weather(wind=wind))
        assert np.all(np.round(leaf) == thin)


@cache
def strawberry_gains():
    """Leaf gains under fleece of the three published weights, by wind, on nights as cold as told. [°F]"""
    check = find_check(FILE, "cover-poling-fabric")
    names = ("fleece_light", "fleece_medium", "fleece_heavy")
    weights = [MATERIALS[name].mass_g_m2 for name in names]
    lows, found = (-6.0, -5.0, -4.0, -3.0), []
    for wind in FROST_WINDS_M_S:
        outside, gain = [], []
        for low in lows:
            leaf, _, result = gains(
                [Treatment(name, cover=name) for name in names],
                BED,
                moisture="wet",
                weather=frost_weather(low=low, wind=wind),
            )
            outside.append(result.air_minimum_c[0, 0, 0, 0] * 1.8 + 32.0)
            gain.append(np.interp(check.given("weight_g_m2"), weights, leaf * 1.8))
        told = check.given("t_outside_ground_air_f")
        assert outside[0] < told < outside[-1]
        found.append([np.interp(told, outside, column) for column in np.transpose(gain)])
    return np.array(found)


@pytest.mark.parametrize(
    "weight_oz",
    [
        # Why these two stay: one night in one field, its bed and soil not told; the gains fall out of order (4.3, 5.4
        # and 3.7 °F from the lightest to the heaviest), so that the check itself warns of fitting them. Here the
        # lighter fleece lets more of the bed's heat through to the sky and out with the air, so it gains the least. The
        # air under it instead of the leaf was tried: 1.8 to 3.0 °F, still short. The miss is to the safe side.
        pytest.param(
            0.75,
            marks=pytest.mark.xfail(
                reason="published 4.3 °F near the soil, more than under a heavier fleece; here 1.7 to 2.7 by wind"
            ),
        ),
        pytest.param(
            1.0,
            marks=pytest.mark.xfail(
                reason="published 5.4 °F near the soil, more than under a heavier fleece; here 2.0 to 3.0 by wind"
            ),
        ),
        1.25,
    ],
)
def test_strawberries_under_fleece_are_as_much_warmer_as_on_the_measured_night(weight_oz):
    # The source names the air outside at plant height (22 °F), which fixes the night, and no wind. The heaviest fleece
    # is met in every wind of a radiation frost (3.7 °F; here 2.3 to 3.2), always from below. The thermometers lay
    # between plant and soil, where it is warmer than at our outer leaf.
    check = find_check(FILE, "cover-poling-fabric")
    number = list(check.given("weight_oz_yd2")).index(weight_oz)
    assert strawberry_gains()[:, number] == pytest.approx(check.want("gain_f")[number], abs=check.tolerance["abs"])


def shield_gains():
    """Gains of a sheet over a young tree, and how much colder than the air its leaf was, by wind. [°F]"""
    young = Body(height_m=1.0, crown_diameter_m=0.8)
    roof = Treatment("roof", cover="bed_sheet", sides="open", on_frame=True)
    found = []
    for wind in FROST_WINDS_M_S:
        leaf, _, result = gains([roof], young, weather=frost_weather(wind=wind))
        found.append((leaf[0], result.air_minimum_c[0, 0, 0, 0] - result.minimum_c[0, 0, 0, 0, 0]))
    return 1.8 * np.transpose(found)


def test_an_opaque_sheet_above_gains_no_more_than_the_leaf_was_colder_than_the_air():
    # "Clear, fairly calm", no figure for the wind: the source's upper limit must hold in all winds of a radiation
    # frost, its about 1 °F within its tolerance in all but the dead calm (2.0 °F there, 1.3 at 2 m/s).
    check = find_check("tissue.yaml", "leaf-shield-citrus")
    gain, depression = shield_gains()
    assert np.all((gain > 0.0) & (gain <= depression))
    assert gain[1:] == pytest.approx(check.want("gain_f"), abs=check.tolerance["abs"])


# Why it stays: the source names neither the wind nor the size of its board nor how cold the open leaf was, and we have
# no foil-faced board among the covers, only a bed sheet. Nothing that is not told is made up to close 0.3 °F. This one
# is NOT to the safe side: a roof without sides gets 0.3 to 1 °F more here than was measured once.
@pytest.mark.xfail(reason="published: about 1.0 °F; here 1.3 to 2.0 °F by wind, more than was measured in every wind")
def test_the_measured_gain_of_an_opaque_shield_lies_among_those_of_a_radiation_frost():
    gain, _ = shield_gains()
    assert gain.min() <= find_check("tissue.yaml", "leaf-shield-citrus").want("gain_f") <= gain.max()


def test_trap_a_dry_film_in_the_early_evening_is_colder_inside_than_outside():
    check = find_check(FILE, "cover-tunnel-savage")
    assert "16:30" in check.want("colder_inside_than_outside")
    film = Treatment("film", cover="film_polyethylene", on_frame=True)
    result = simulate(
        frost_weather(), [open_spot(ground="turf")], [TREE], [[Treatment("leave"), film]], [LAST], keep_series=True
    )
    evening = slice(96 + 99, 96 + 104)  # the first hour and a half after closing at 16:30
    assert np.all(result.series["air"][0, 1, 0, evening] < result.series["air"][0, 0, 0, evening])


def test_lamps_in_a_small_film_frame_gain_what_the_trials_say():
    check = find_check(FILE, "lamp-csu-frame")
    width, length = np.array(check.given("frame_ft")) * 0.3048
    body = Body(height_m=0.8, crown_diameter_m=0.8)
    frame = {"on_frame": True, "frame_width_m": width, "frame_length_m": length, "frame_height_m": 1.0}
    low, high = np.array(check.want("gain_f")) / 1.8
    for each in check.given("watt_each"):
        lamps = Treatment("lamps", cover="film_polyethylene", lamp_w=check.given("lamps") * each, **frame)
        leaf, _, _ = gains([lamps], body)
        assert low <= leaf[0] <= high


def test_large_lamps_in_a_citrus_crown_gain_half_bare_of_what_they_gain_under_cloth():
    check = find_check(FILE, "lamp-c9-canopy")
    bare_f, (cloth_low_f, cloth_high_f) = check.want("gain_f")
    body = Body(height_m=2.0, crown_diameter_m=1.5)
    bare, cloth = gains([Treatment("b", lamp_w=250.0), Treatment("c", cover="fleece_medium", lamp_w=250.0)], body)[0]
    # A broadcaster's statement without watts: the size of the gains, and that cloth about doubles them or more.
    assert 0.5 < bare < bare_f / 1.8 + 0.5
    assert 0.7 * cloth_low_f / 1.8 < cloth < cloth_high_f / 1.8 + 0.5
    assert cloth > 1.7 * bare


# ---------------------------------------------------------------- traps


def test_trap_weight_alone_is_not_warmth():
    # Doubling the weight of cloth over insulating sod gains less than moving the same cloth over bare moist ground.
    light, heavy = Treatment("l", cover="fleece_medium"), Treatment("h", cover="fleece_heavy")
    sod, _, _ = gains([light, heavy], spot=open_spot(ground="turf"))
    bare, _, _ = gains([light], spot=open_spot(ground="bare"))
    assert sod[1] - sod[0] < bare[0] - sod[0]


def test_a_cloth_that_does_not_reach_the_ground_keeps_no_air_warm():
    tied, down = Treatment("t", cover="frost_blanket", to_ground=False), Treatment("d", cover="frost_blanket")
    _, air, _ = gains([tied, down], BED)
    assert air[0] < 0.4
    assert air[1] > air[0] + 0.5


def warmest_until_noon(treatments, body, name="leaf"):
    """Highest leaf or air temperature after the usual uncovering under covers that are left on until noon. [°C]"""
    place, left_on = open_spot(height_m=max(0.6 * body.height_m, 0.3)), replace(LAST, cover_off_utc=LAST.end_utc)
    result = simulate(frost_weather(), [place], [body], [treatments], [left_on], keep_series=True)
    return result.series[name][0, :, 0, steps_between(LAST.cover_off_utc, LAST.end_utc)].max(axis=1)


def test_a_film_left_on_until_noon_cooks_and_a_sheet_does_not():
    film, sheet = Treatment("f", cover="film_polyethylene"), Treatment("s", cover="bed_sheet")
    warmest = warmest_until_noon([film, sheet], TREE)
    assert warmest[0] > warmest[1] + 3.0
    assert warmest[0] > frost_weather().t_air_c.max() + 4.0


@pytest.mark.parametrize("body", [BED, TREE, Body(height_m=0.8, crown_diameter_m=0.8)], ids=["bed", "tree", "small"])
def test_a_closed_film_in_the_winter_sun_is_by_noon_as_much_warmer_as_closed_tunnels_are(body):
    # Air 10 to 20 K over outside in full sun, unvented (common practice, no source); a leaf in the sun up to 2 K more.
    # No proof: SIDE_SUN_WARMS was set by this range (0.4 gives 15 to 23 K). A tall frame loses heat on five times its
    # ground and must catch sun on its sides as well.
    film, fleece, sheet = (
        Treatment(name, cover=name, on_frame=True) for name in ("film_polyethylene", "fleece_light", "bed_sheet")
    )
    weather = frost_weather()
    outside = weather.t_air_c[0, weather.time_utc <= np.datetime64(LAST.end_utc.replace(tzinfo=None))][-1]
    over = warmest_until_noon([film, fleece, sheet], body, "air") - outside
    assert 10.0 < over[0] < 20.0
    assert 10.0 < warmest_until_noon([film], body)[0] - outside < 22.0
    assert over[0] > over[1] > over[2] > 3.0


def test_a_low_cover_catches_less_sun_on_its_sides_than_a_tall_one():
    setting = Setting("loam", "moist", 0.0, 900.0, 1.0, Season(0.0, 0.0))
    film = Treatment("film", cover="film_polyethylene", on_frame=True)
    low, tall = (covered(open_spot(), b, film, enclose(film, b), setting, wet=False)[k.P_SUN_AIR] for b in (BED, TREE))
    assert low > 0.0
    assert tall > 3.0 * low


def steps_between(start, end):
    """Steps of the made weather after one moment up to another."""
    first, last = (
        round((np.datetime64(moment.replace(tzinfo=None)) - FIRST) / np.timedelta64(900, "s"))
        for moment in (start, end)
    )
    return slice(first + 1, last + 1)


def test_a_cloth_that_stays_by_day_is_on_until_the_last_morning_and_one_that_is_opened_is_not():
    nights = [night_of(20), LAST]
    treatments = [
        Treatment("leave"),
        Treatment("open", cover="fleece_light", lamp_w=200.0),
        Treatment("stays", cover="fleece_light", lamp_w=200.0, stays_by_day=True),
        Treatment("dark", cover="fleece_light", stays_by_day=True),
    ]
    result = simulate(frost_weather(days=4), [open_spot()], [TREE], [treatments], nights, keep_series=True)
    air = result.series["air"][0, :, 0]
    day = steps_between(nights[0].cover_off_utc, nights[1].cover_on_utc)
    outside = steps_between(nights[1].cover_off_utc, nights[1].end_utc)
    before = slice(0, steps_between(nights[0].start_utc, nights[0].cover_on_utc).stop)
    assert air[1, day][4:] == pytest.approx(air[0, day][4:], abs=0.7)  # open again, over ground a little warmer
    assert air[2, day].max() > air[0, day].max() + 3.0
    assert air[2, day].max() < air[3, day].max() + 0.7  # lamps are off by day
    assert air[3, outside][4:] == pytest.approx(air[0, outside][4:], abs=0.7)
    assert air[2, before] == pytest.approx(air[0, before])
    assert np.all(np.diff(result.minimum_c[0, [1, 2], 0, :, 0], axis=0) >= -0.05)


def test_a_cloth_does_not_stay_through_days_between_nights_that_do_not_follow_each_other():
    nights = [night_of(20), night_of(22)]
    treatments = [Treatment("leave"), Treatment("stays", cover="fleece_light", stays_by_day=True)]
    result = simulate(frost_weather(days=5), [open_spot()], [TREE], [treatments], nights, keep_series=True)
    day = steps_between(nights[0].end_utc, nights[1].start_utc)
    assert np.isnan(result.series["cover"][0, 0, 0]).all()
    assert result.series["air"][0, 1, 0, day] == pytest.approx(result.series["air"][0, 0, 0, day], abs=0.5)


def test_a_leaf_that_touches_a_cold_cloth_is_colder_than_one_that_does_not():
    body = Body(height_m=1.0, crown_diameter_m=1.0)
    frame = {"frame_width_m": 1.2, "frame_height_m": 1.1}
    result = simulate(
        frost_weather(),
        [open_spot()],
        [body],
        [
            [
                Treatment("drape", cover="frost_blanket"),
                Treatment("frame", cover="frost_blanket", on_frame=True, **frame),
            ]
        ],
        [LAST],
        keep_series=True,
    )
    leaf, air, cover = (result.series[name][0, :, 0, 96 + 144] for name in ("leaf", "air", "cover"))
    assert cover[0] < air[0]
    assert leaf[0] - air[0] < leaf[1] - air[1]


def test_light_emitting_diodes_warm_next_to_nothing():
    led = Treatment("led", lamp_w=15.0, lamp_kind="led", cover="fleece_medium")
    bulbs = Treatment("bulbs", lamp_w=150.0, cover="fleece_medium")
    plain = Treatment("plain", cover="fleece_medium")
    leaf, _, _ = gains([plain, led, bulbs])
    assert leaf[1] - leaf[0] < 0.4
    assert leaf[2] - leaf[0] > 1.0


def test_wind_takes_the_gain_of_a_cloth_away():
    cloth = Treatment("c", cover="frost_blanket", on_frame=True)
    calm, breezy = (gains([cloth], weather=frost_weather(wind=wind))[0][0] for wind in (0.5, 6.0))
    assert breezy < calm


def test_under_cloud_there_is_little_to_screen():
    roof = Treatment("r", cover="bed_sheet", sides="open", on_frame=True)
    clear, cloudy = (gains([roof], weather=frost_weather(cloud=cloud))[0][0] for cloud in (0.0, 1.0))
    assert cloudy < 0.6 * clear


def test_ground_gives_warmth_in_the_published_order():
    check = find_check(FILE, "ground-cover-order")
    assert check.want("warm_to_cold")[0] == "bare, packed, wet"
    kinds = [("bare", "wet"), ("bare", "moist"), ("turf", "moist")]
    leaves = [
        simulate(
            frost_weather(), [open_spot(ground=ground)], [TREE], [[Treatment()]], [LAST], moisture=moisture
        ).minimum_c[0, 0, 0, 0, 0]
        for ground, moisture in kinds
    ]
    assert leaves == sorted(leaves, reverse=True)
    dry_crust = simulate(
        frost_weather(), [open_spot(ground="bare")], [TREE], [[Treatment()]], [LAST], moisture="dry"
    ).minimum_c[0, 0, 0, 0, 0]
    assert dry_crust < leaves[1]


def test_watering_bare_ground_gains_a_little_and_never_harms():
    # Published as up to 2 to 5 °F (county notes); here the air around stays the forecast's, so only the ground's own
    # radiation and exchange count: see docs/model-night.md.
    check = find_check(FILE, "soil-wet-gain")
    water = Treatment("wet", wet_ground=True)
    for moisture, least in (("dry", 0.1), ("moist", 0.02)):
        leaf, _, _ = gains([water], BED, moisture=moisture)
        assert least < leaf[0] < check.want("gain_f_up_to")[1] / 1.8


def test_water_given_after_the_sun_has_gone_gains_less_than_in_the_morning():
    morning = Treatment("am", wet_ground=True, wet_from_utc=night_of(20).end_utc.replace(hour=16))
    evening = Treatment("pm", wet_ground=True, wet_from_utc=LAST.cover_on_utc)
    leaf, _, _ = gains([morning, evening], BED, moisture="dry")
    assert leaf[1] < leaf[0]
