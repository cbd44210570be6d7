"""Whole simulated nights against what was published of yards, orchards, tunnels and hollows.

Sources stand in tests/checks/places.yaml, covers.yaml, shelter.yaml and weather.yaml. The weather is made up: a clear
calm night of -3 °C at the shelter after fair days unless a test says otherwise. Where the model does not meet a
published value the test is marked and says why.
"""

from dataclasses import replace

import numpy as np
import pytest

from bench.night_reference import Reference
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.air import frost_point, saturation_vapour_pressure
from fruitwall.physics.body import Body
from fruitwall.physics.cases import wind_profile
from fruitwall.physics.cooling import INVERSION_HEIGHTS_M, inversion_k
from fruitwall.physics.covers import MATERIALS
from fruitwall.physics.night import _March, simulate
from fruitwall.physics.sky import emitted
from fruitwall.physics.soil import COLDEST_DAY, Season
from fruitwall.physics.treatment import Treatment
from fruitwall.yard.model import Hollow
from tests.physics.nights import FIRST, FROST_WINDS_M_S, LAST, frost_weather, night_of, open_spot
from tests.published import find_check

TREE = Body(height_m=2.0, crown_diameter_m=1.5)
SEEDLING = Body(height_m=0.3, crown_diameter_m=0.3, leaf_area_index=1.0)
BARE_GROUND = Body(leaf_area_index=0.0)
EPS = 0.96


def step_at(moment):
    """Step of the made weather at a time of UTC; local time is eight hours behind."""
    return int((np.datetime64(moment) - FIRST) / np.timedelta64(900, "s"))


DUSK, DAWN = step_at("2026-12-22T01:00"), step_at("2026-12-22T14:30")


def march(treatments, body=TREE, *, spot=None, weather=None, nights=(LAST,), **more):
    """One tree under several treatments, with its series."""
    place = spot or open_spot(height_m=max(0.6 * body.height_m, 0.3))
    return simulate(
        weather or frost_weather(), [place], [body], [list(treatments)], list(nights), keep_series=True, **more
    )


def at_dawn(name, *args, **more):
    """A series at half past six, treatments along the axis. [°C]"""
    return march(*args, **more).series[name][0, :, 0, DAWN]


# ---------------------------------------------------------------- traps


def test_trap_a_leaf_gains_heat_from_frost_once_it_is_below_the_frost_point_though_above_the_dew_point():
    dew = -5.45
    weather = frost_weather(dew=dew)
    args = (weather, [open_spot()], [TREE], [[Treatment()]], [LAST], (), "loam", "moist", 15, 0.0)
    leaf, deposits = [], (False, True)
    for deposit in deposits:
        night = _March(*args)
        if not deposit:
            night.cases.params[:, :, k.P_DEPOSITION] = 0.0
        rows = night.run(keep_series=True, threads=1).series[0, 0].reshape(-1, k.HISTORY_ROWS, k.LANES)
        leaf.append(rows[DUSK : DAWN + 1, 0, 0])
    dry, frosted = leaf
    frost = float(frost_point(saturation_vapour_pressure(dew)))
    assert frost > dew + 0.5
    between = dry < frost - 0.05
    assert between.sum() >= 6  # an hour and a half
    assert dry.min() > dew  # by the dew point no frost would form all night
    assert np.all(frosted[between] > dry[between] + 0.005)
    assert np.all(frosted[between] < frost)
    assert frosted[dry > frost + 0.05] == pytest.approx(dry[dry > frost + 0.05], abs=1e-6)


def test_trap_a_film_tunnel_cools_faster_after_sunset_than_the_air_outside():
    check = find_check("weather.yaml", "trend-savage-cooling-rate")
    tunnel = Treatment(
        "film", cover="film_polyethylene", stays_by_day=True, on_frame=True, frame_width_m=3.0, frame_length_m=8.0,
        frame_height_m=2.2,
    )  # fmt: skip
    body, nights = Body(height_m=1.0, crown_diameter_m=1.0), [night_of(20), night_of(21)]
    result = march([Treatment(), tunnel], body, weather=frost_weather(days=4), nights=nights)
    air = result.series["air"][0, :, 0, step_at("2026-12-21T23:30") : step_at("2026-12-22T02:30")]
    outside, inside = -(air[:, 4:] - air[:, :-4]).min(axis=1)  # within an hour
    # Outside it falls as the made-up forecast says, 1 K/h slower than on the measured evenings.
    ratio = check.want("cooling_inside_c_per_h") / check.want("cooling_outside_c_per_h")
    assert inside > ratio * outside
    assert inside == pytest.approx(check.want("cooling_inside_c_per_h"), abs=1.5)


# ---------------------------------------------------------------- soil


def ground_gives(spot, body, *, wind=0.5, moisture="moist"):
    """What open ground loses to the sky and what its own heat makes up, by step of a clear night above freezing. [W/m²]

    The heat that the ground gives is what its surface lacks in the independently written equations.
    """
    weather = frost_weather(days=6, low=3.0, high=17.0, dew=1.0, before=0.0, wind=wind)
    march = _March(weather, [spot], [body], [[Treatment()]], [night_of(24)], (), "loam", moisture, 15, 0.0)
    rows = march.run(keep_series=True, threads=1).series[0, 0].reshape(-1, k.HISTORY_ROWS, k.LANES)[:, :, 0]
    reference, p = Reference(march, 0, []), march.cases.params[0, 0]
    order = [int(row) // k.LANES for row in (k.H_LEAF, k.H_AIR, k.H_SOIL, k.H_COVER)]
    lost, given = [], []
    for t in range(step_at("2026-12-25T01:00"), step_at("2026-12-25T14:30")):
        around, low, walls = reference.surroundings(t * 900.0, p, 0)
        given.append(-reference.balances(rows[t, order], around, low, walls, p, (0.0, 0.0))[2])
        lost.append(EPS * (float(emitted(rows[t, order[2]])) - around.longwave))
    return np.array(lost), np.array(given)


@pytest.mark.parametrize(
    ("ground", "moisture"),
    [
        ("turf", "moist"),
        *(
            # Why these three stay: evaporation by day was tried and made published gains of covers worse (they live on
            # that heat), so it is not in; docs/model-night.md names the gap. Bare ground makes up as much as a quarter
            # of its loss more than the highest share measured: NOT to the safe side.
            pytest.param(
                "bare",
                moisture,
                marks=pytest.mark.xfail(
                    reason=f"published: 0.5 to 0.8; here {here} by wind. By day the ground does not evaporate in the "
                    "model, so that it stores more sun than it would and makes up all of its loss by night, not most"
                ),
            )
            for moisture, here in (("dry", "0.92 to 0.80"), ("moist", "1.01 to 0.96"), ("wet", "1.05 to 1.03"))
        ),
    ],
)
def test_the_ground_makes_up_the_measured_share_of_its_radiation_loss(ground, moisture):
    # Of bare soil, says our note of the abstract, in a cherry orchard whose floor is not told; only sod, common between
    # the rows (common practice, no source), meets it. Wind, not told either, from half to 3 m/s at 10 m.
    low, high = find_check("places.yaml", "rn-soil-share").want("soil_heat_share_of_net_radiation")
    for wind in (0.5, 1.0, 2.0, 3.0):
        spot = open_spot(sky=0.95, ground=ground)
        lost, given = ground_gives(spot, BARE_GROUND, wind=wind, moisture=moisture)
        assert low <= given.mean() / lost.mean() <= high


def test_under_a_tree_the_ground_gives_at_times_less_than_half_of_what_it_gives_in_the_open():
    check = find_check("places.yaml", "rn-soil-share")
    assert "below one half" in check.want("night_flux_under_tree_against_open")
    _, in_the_open = ground_gives(open_spot(sky=0.95), BARE_GROUND)
    _, under_a_tree = ground_gives(open_spot(sky=0.4), Body(height_m=3.0, crown_diameter_m=3.0))
    share = under_a_tree / in_the_open
    assert share.min() < 0.5
    assert np.all(share < 0.8)


def test_a_tree_over_sod_or_mulch_is_colder_than_over_bare_ground():
    check = find_check("places.yaml", "ground-cover-oconnell")
    assert np.all(check.want("lower_by_f") > 0.0)
    for body in (TREE, SEEDLING):
        spots = [
            open_spot(ground=ground, height_m=max(0.6 * body.height_m, 0.3)) for ground in ("bare", "turf", "mulch")
        ]
        leaves = [at_dawn("leaf", [Treatment()], body, spot=spot)[0] for spot in spots]
        assert leaves[0] > leaves[1] > leaves[2]


# Why it stays: the air of a yard is the forecast's, by design (a yard is too small to make its own); whole orchards, of
# which the source speaks, are outside of what fruitwall computes. Sign and order are held by the test above. The miss
# is NOT to the safe side where much of the neighbourhood is mulched.
@pytest.mark.xfail(
    reason="published: 0.9 to 2.2 °F between orchards, whose floors cool their own air; a tree of a yard stands in the "
    "air of the forecast, and 0.4 °F are left (0.6 °F near the ground, 1.0 °F in a wide bed)"
)
def test_mulch_costs_what_was_measured_against_bare_moist_ground():
    low, high = find_check("places.yaml", "ground-cover-oconnell").want("lower_by_f")
    bare, mulch = (
        at_dawn("air", [Treatment()], spot=open_spot(ground=ground), moisture="wet")[0] for ground in ("bare", "mulch")
    )
    assert low <= (bare - mulch) * 1.8 <= high


# ---------------------------------------------------------------- less sky


def under_crowns(sky, *, body=TREE, height=1.2, **weather):
    """Leaf temperature before dawn where this share of the sky is left between other crowns. [°C]"""
    spot = open_spot(sky=sky, height_m=height)
    return float(at_dawn("leaf", [Treatment()], body, spot=spot, weather=frost_weather(**weather))[0])


def test_under_a_forest_s_crowns_it_is_warmer_in_step_with_the_sky_they_hide_and_most_on_clear_nights():
    check = find_check("places.yaml", "shelter-forest")
    published = dict(zip(check.given("night"), check.want("warmer_c"), strict=True))
    assert published["clear"] > published["all"] > published["cloudy"]
    views = np.array([1.0, 0.8, 0.6, 0.4, 0.2])
    clear = np.array([under_crowns(view) for view in views])
    half, cloudy = (under_crowns(0.2, cloud=c) - under_crowns(1.0, cloud=c) for c in (0.5, 1.0))
    gain = clear - clear[0]
    assert gain[-1] > half > cloudy > 0.0
    assert cloudy == pytest.approx(published["cloudy"], abs=check.tolerance["abs"])
    line = np.polyval(np.polyfit(views, gain, 1), views)
    assert gain == pytest.approx(line, abs=0.1 * gain[-1])  # linear, as it was found to be


# Why it stays: as for orchards above, a forest makes its own air and a yard does not. What crowns do to the leaf's view
# of the sky is computed; how it grows with the hidden sky is held by the test above. The miss is to the safe side.
@pytest.mark.xfail(
    reason="published: 6 K between a forest and a clear-cut, each with its own air; a tree of a yard stands in the air "
    "of the neighbourhood, and only what its leaf no longer loses to the sky is left: 1.5 to 2 K"
)
def test_a_forest_is_warmer_on_clear_nights_by_what_was_measured():
    check = find_check("places.yaml", "shelter-forest")
    clear = dict(zip(check.given("night"), check.want("warmer_c"), strict=True))["clear"]
    gain = under_crowns(0.15, body=SEEDLING, height=0.3) - under_crowns(1.0, body=SEEDLING, height=0.3)
    assert gain == pytest.approx(clear, abs=check.tolerance["abs"])


# ---------------------------------------------------------------- hollows and heights


def test_our_inversion_is_a_weak_one_in_the_classes_of_californian_orchards():
    # Taken near the low end, because trees stir the air around them: see physics.cooling.
    check = find_check("places.yaml", "inv-calag-classes")
    up_to_12_m = 1.8 * float(inversion_k(12.0, 1.0) - inversion_k(1.5, 1.0))
    assert 0.0 < up_to_12_m < check.want("weak_f_below") < check.want("strong_f_at_least")


def test_a_hollow_may_be_as_cold_as_the_frost_hollow_that_was_measured_and_cools_no_faster():
    check = find_check("places.yaml", "pool-hollow-tasmania")
    outline = [[0, 0], [9, 0], [9, 9], [0, 9]]
    colder = check.want("ridge_minus_hollow_minimum_c")
    hollow = Hollow.model_validate({"id": "h", "name": "Hollow", "outline": outline, "colder": colder})
    result = march([Treatment()], spot=open_spot(colder_k=hollow.colder_k))
    ridge = march([Treatment()], spot=open_spot())
    lower = float(ridge.air_minimum_c[0, 0, 0, 0] - result.air_minimum_c[0, 0, 0, 0])
    assert 0.75 * colder < lower <= colder  # the whole of it would need a still drier and calmer night
    air = result.series["air"][0, 0, 0]
    assert (air[:-4] - air[4:]).max() <= check.want("cooling_rate_c_per_h_up_to")
    low = np.geomspace(*INVERSION_HEIGHTS_M, 50)
    steepest = np.max(np.diff(inversion_k(low, 1.0)) / np.diff(low))
    assert steepest <= check.want("stratification_c_per_m_up_to")


def test_the_yard_s_own_offsets_stay_below_the_most_extreme_hillside():
    # A hillside 15.6 K warmer than its foot, an extreme. A yard may give 10 K and the profile adds what its heights do.
    check = find_check("places.yaml", "inv-young-1921")
    low, high = INVERSION_HEIGHTS_M
    most = 10.0 + float(inversion_k(high, 1.0) - inversion_k(low, 1.0))
    assert most < check.want("difference_c")
    assert check.want("difference_c") * 1.8 == pytest.approx(check.want("difference_f"), abs=check.tolerance["abs"])


# ---------------------------------------------------------------- covers


SPRING_CLOUD, SPRING_WIND_M_S = (0.5, 0.7, 0.9), (1.0, 2.0, 3.0)
"""Of spring nights in the Willamette valley, the middle in the middle: 7 tenths of cloud, and two thirds of the 3 m/s
at 10 m that whole days of April have at its airports (from memory; the trials tell neither)."""


@pytest.fixture
def tunnel_gains(monkeypatch):
    """What tunnels that stay on by day add to the minimum of soil and air, by kind of cover. [°F]"""
    # The trials' nights were those of 15 to 30 April, when the ground lags the other way; the made weather is
    # December's. Swing of the valley: 4.5 °C in January, 19.5 in July (from memory).
    april = Season(7.5, (22 + 31 + 28 + 31 - COLDEST_DAY) / 365.25)
    monkeypatch.setattr("fruitwall.physics.night.season_of", lambda *_: april)
    bed = Body(height_m=0.3, crown_diameter_m=1.0, leaf_area_index=1.0)
    frame = {"on_frame": True, "frame_width_m": 1.2, "frame_length_m": 8.0, "frame_height_m": 0.5, "stays_by_day": True}
    tunnels = [Treatment(cover, cover=cover, **frame) for cover in ("fleece_light", "film_polyethylene")]

    def gains(cloud, wind, low_f):
        low = (low_f - 32.0) / 1.8
        shape = {"low": low, "high": low + 11.3, "dew": low - 1.2, "before": 0.0}
        weather = frost_weather(days=6, wind=wind, cloud=cloud, **shape)
        nights = [night_of(day) for day in (20, 21, 22, 23)]
        place = open_spot(height_m=0.3, sky=1.0)
        series = march([Treatment(), *tunnels], bed, spot=place, weather=weather, nights=nights).series
        last = slice(step_at("2026-12-24T01:00"), step_at("2026-12-24T15:00"))
        lowest = {name: series[name][0, :, 0, last].min(axis=-1) * 1.8 for name in ("soil", "air")}
        return {name: values[1:] - values[0] for name, values in lowest.items()}

    return gains


def test_tunnels_over_a_bed_keep_its_surface_as_much_warmer_as_the_trials_of_1983(tunnel_gains):
    # Means of spring nights in Oregon at the soil's surface: 3.3 °F under spunbonded cloth, 2.5 under cut film (ours
    # has no cuts). By cloud and wind the model has 2.3 to 3.5 and 2.4 to 3.3, in the middle 3.0 and 2.9.
    check = find_check("covers.yaml", "cover-nwrec-1983")
    bare, _, spunbonded, perforated, slitted = check.want("mean_minimum_f")
    wanted = np.array([spunbonded - bare, (perforated + slitted) / 2 - bare])
    found = np.array([[tunnel_gains(cloud, wind, bare)["soil"] for wind in SPRING_WIND_M_S] for cloud in SPRING_CLOUD])
    assert found[1, 1] == pytest.approx(wanted, abs=check.tolerance["abs"])
    assert np.all(found.min(axis=(0, 1)) < wanted)
    assert np.all(wanted < found.max(axis=(0, 1)))


def test_plants_in_tunnels_gain_least_on_the_clearest_nights(tunnel_gains):
    # By cloud alone, at the same wind. At the soil's surface it is the other way round: next test.
    bare = find_check("covers.yaml", "cover-nwrec-1983").want("mean_minimum_f")[0]
    for wind in SPRING_WIND_M_S:
        clear, cloudy = (tunnel_gains(cloud, wind, bare)["air"] for cloud in (0.0, SPRING_CLOUD[1]))
        assert np.all(clear < cloudy)


# Why it stays: one night, read in whole degrees, its wind not told; a gain of the soil's surface is a difference from
# the open surface, which the trial did not describe (wet, crusted or under mulch). Means of the same trial are met
# (test before the last). This one is NOT to the safe side; docs/model-night.md tells the reader of it.
@pytest.mark.xfail(
    reason="published: on the coldest night nothing at the soil's surface under film, in whole degrees; here +3 °F, "
    "more than on cloudy nights: open soil's surface falls further below the air than that of the trial did"
)
def test_the_soil_in_a_film_tunnel_gained_nothing_on_the_coldest_night(tunnel_gains):
    check = find_check("covers.yaml", "cover-nwrec-1983")
    bare, _, _, perforated = check.want("single_nights_f")["04-15"]
    gain = tunnel_gains(0.0, 0.5, bare)["soil"][1]
    assert gain == pytest.approx(perforated - bare, abs=1.0)


def test_a_milk_jug_over_a_plant_is_colder_than_the_air_and_a_foam_cone_warmer(monkeypatch):
    check = find_check("covers.yaml", "cover-milk-jugs")
    assert check.want("night_sign") == ["slightly colder than air", "slightly warmer than air"]
    # A jug is thin polyethylene. Foam is none of our materials: opaque, 25 mm of 0.035 W/(m K).
    opaque = {"longwave_through": 0.0, "wet_longwave_through": 0.0}
    foam = replace(MATERIALS["bed_sheet"], **opaque, resistance_m2kw=0.025 / 0.035)
    monkeypatch.setitem(MATERIALS, "bubble_film", foam)
    plant = Body(height_m=0.15, crown_diameter_m=0.12, leaf_area_index=1.0)
    size = {"on_frame": True, "frame_width_m": 0.15, "frame_length_m": 0.15, "frame_height_m": 0.25}
    covers = [Treatment(cover, cover=cover, **size) for cover in ("film_polyethylene", "bubble_film")]
    air = at_dawn("air", [Treatment(), *covers], plant, spot=open_spot(height_m=0.15))
    assert -1.5 < air[1] - air[0] < 0.0
    assert air[2] - air[0] > 0.0


def test_lamps_in_a_film_frame_gain_what_a_home_film_house_had_on_three_nights():
    # Size and watts are not told: taken for the frame of 4 by 5 feet of the trials beside it, whose strings of 25 lamps
    # of 5 and of 7 W bracket what was logged.
    check = find_check("covers.yaml", "lamp-film-house-nights")
    trial = find_check("covers.yaml", "lamp-csu-frame")
    width, length = np.array(trial.given("frame_ft")) * 0.3048
    frame = {"on_frame": True, "frame_width_m": width, "frame_length_m": length, "frame_height_m": 1.0}
    strings = [
        Treatment(f"{watts} W", cover="film_polyethylene", lamp_w=float(trial.given("lamps") * watts), **frame)
        for watts in trial.given("watt_each")
    ]
    small = Body(height_m=0.8, crown_diameter_m=0.8)
    logged = zip(check.given("t_outside_f"), check.want("t_inside_f"), check.want("gain_f"), strict=True)
    for outside_f, inside_f, gain_f in logged:
        assert inside_f - outside_f == pytest.approx(gain_f, abs=0.05)
        # What the log calls outside is near the ground, 2.7 °F under the shelter of the forecast.
        outside = (outside_f + 2.7 - 32.0) / 1.8
        air = at_dawn("air", [Treatment(), *strings], small, weather=frost_weather(low=outside, high=outside + 12.0))
        assert air[0] * 1.8 + 32.0 == pytest.approx(outside_f, abs=1.0)
        weak, strong = (air[1:] - air[0]) * 1.8
        assert weak < gain_f < strong
        assert np.mean([weak, strong]) == pytest.approx(gain_f, abs=check.tolerance["abs"])


def test_an_open_heater_loses_more_than_half_of_what_it_would_keep_under_a_cover():
    check = find_check("shelter.yaml", "heaters-fao")
    assert check.want("power_mw_per_ha") * 1e6 / 1e4 == check.approx("power_w_m2")
    power = check.want("power_w_m2") * TREE.crown_area_m2
    film = {"cover": "film_polyethylene", "on_frame": True}
    treatments = [
        Treatment(),
        Treatment("heater", heater_w=power),
        Treatment("film", **film),
        Treatment("both", heater_w=power, **film),
    ]
    air = at_dawn("air", treatments)
    lost = 1.0 - (air[1] - air[0]) / (air[3] - air[2])
    assert check.want("share_lost_to_sky_and_convection_above") < lost < 0.9


def test_a_black_sheet_over_a_crop_gains_what_the_handbook_says():
    check = find_check("covers.yaml", "cover-fao-black-pe")
    # Black film is none of our materials: an opaque sheet, wide enough that the crop sees little past it, sides open.
    crop = Body(height_m=0.25, crown_diameter_m=3.5, leaf_area_index=1.0)
    sheet = Treatment(
        "sheet", cover="bed_sheet", sides="open", on_frame=True, frame_width_m=10.0, frame_height_m=1.2
    )  # fmt: skip
    place, gains = open_spot(height_m=0.3, sky=1.0), []
    for wind in FROST_WINDS_M_S:
        leaf = at_dawn("leaf", [Treatment(), sheet], crop, spot=place, weather=frost_weather(wind=wind))
        gains.append(leaf[1] - leaf[0])
    # The book names no wind, only a radiation frost: 2.0 K in dead calm, 1.5 in the middle, 1.3 at 2 m/s.
    assert gains == sorted(gains, reverse=True)
    assert np.array(gains) == check.approx("gain_c")
    assert gains[-1] < check.want("gain_c") < gains[0]


def loss_of_film_house(*, power=5000.0, wind=1.0):
    """Heat that a film house takes per area of skin and kelvin of lift. [W/(m² K)]"""
    frame = {"on_frame": True, "frame_width_m": 3.0, "frame_length_m": 6.0, "frame_height_m": 2.5}
    treatments = [Treatment(), Treatment("warm", cover="film_polyethylene", heater_w=power, **frame)]
    plants = Body(height_m=1.5, crown_diameter_m=1.0)
    weather = frost_weather(wind=wind)
    outside, inside = at_dawn("air", treatments, plants, spot=open_spot(height_m=2.0), weather=weather)
    return power / (3.0 * 6.0 + 2 * (3.0 + 6.0) * 2.5) / (inside - outside)


def test_a_film_house_loses_more_per_kelvin_the_more_it_is_heated_and_the_more_wind_there_is():
    check = find_check("covers.yaml", "u-geoola")
    signs = check.want("sign_of_u_change")
    assert (signs["larger temperature difference"], signs["more wind"]) == ("up", "up")
    assert loss_of_film_house(power=8000.0) > loss_of_film_house(power=4000.0)
    assert loss_of_film_house(wind=4.0) > loss_of_film_house(wind=1.0)


# Why it stays: radiation between a crown's sides and those of its cover was tried and made published gains of covers
# worse; docs/model-night.md names the gap and says to trust the sizing rule, not the computed lift.
@pytest.mark.xfail(
    reason="published: down. Here condensed water takes more heat from the warm air of a heated house (its film emits "
    "three times as much) than it saves of what plants and ground send out: what passes the sides is not counted"
)
def test_condensed_water_lowers_the_loss_of_a_heated_film_house(monkeypatch):
    assert find_check("covers.yaml", "u-geoola").want("sign_of_u_change")["condensation on the film"] == "down"
    wet, film = loss_of_film_house(), MATERIALS["film_polyethylene"]
    never_wet = {
        "wet_longwave_through": film.longwave_through,
        "wet_longwave_emissivity": film.longwave_emissivity,
    }
    monkeypatch.setitem(MATERIALS, "film_polyethylene", replace(film, **never_wet))
    assert wet < loss_of_film_house()


def test_the_heater_of_the_worked_example_lifts_its_frame_by_what_it_was_sized_for_when_the_wind_blows():
    # The conventional U-values are for a wind of some 5 to 7 m/s; in calm the same heater lifts the model's frame more.
    check = find_check("shelter.yaml", "heater-box-frame")
    frame = {f"frame_{side}_m": check.given(f"{side}_m") for side in ("length", "width", "height")}
    film = {"cover": "film_polyethylene", "on_frame": True, **frame}
    treatments = [Treatment(), Treatment("heater", heater_w=check.want("total_w"), **film)]
    wanted = check.given("t_in_c") - check.given("t_out_c")
    windy, calm = (
        at_dawn("air", treatments, weather=frost_weather(wind=wind / (0.6 * wind_profile(2.0)))) for wind in (5.0, 0.5)
    )
    assert windy[1] - windy[0] == pytest.approx(wanted, rel=0.15)
    assert calm[1] - calm[0] > windy[1] - windy[0]


def loss_by_wind(cover):
    """Heat that a film house needs per area of skin and kelvin, in wind of 0, 1 and 5 m/s over it. [W/(m² K)]"""
    frame = {"on_frame": True, "frame_width_m": 3.0, "frame_length_m": 6.0, "frame_height_m": 2.5, "cover": cover}
    skin, power = 3.0 * 6.0 + 2 * (3.0 + 6.0) * 2.5, 5000.0
    plants = Body(height_m=1.5, crown_diameter_m=1.0)
    needs = []
    for wind in (0.0, 1.0, 5.0):
        weather = frost_weather(cloud=1.0, wind=wind / (0.6 * wind_profile(2.0)))
        cold, warm = at_dawn(
            "air",
            [Treatment("cold", **frame), Treatment("warm", heater_w=power, **frame)],
            plants,
            spot=open_spot(height_m=2.0),
            weather=weather,
        )
        needs.append(power / skin / (warm - cold))
    return np.array(needs)


def test_wind_makes_a_film_house_lose_more():
    check = find_check("shelter.yaml", "u-mihara-wind")
    assert np.all(np.diff(check.want("k"), axis=1) > 0)
    for cover in ("film_polyethylene", "bubble_film"):
        assert np.all(np.diff(loss_by_wind(cover)) > 0)


# Why it stays: the source measured houses of glass and PVC fixed to their frames, and the covers here are laid on by
# hand and leak with the wind. The calm end has the cause of the xfail before: radiation to the sides is left out.
@pytest.mark.xfail(
    reason="published: 5 m/s add 45 % to the loss of single glass, 55 % to that of PVC; here it is 2.4 times that of "
    "calm: home-made covers leak with the wind (16 air changes an hour at 5 m/s; without leaks it adds 23 %), and in "
    "calm they keep too much (2.7 against some 5 W/(m² K)), as the sides exchange no radiation with what is inside"
)
def test_wind_adds_to_the_loss_of_a_film_house_what_was_measured():
    check = find_check("shelter.yaml", "u-mihara-wind")
    single = check.want("k")[:2]
    ratio = loss_by_wind("film_polyethylene")
    low, high = (single[:, 2] / single[:, 0]).min(), (single[:, 2] / single[:, 0]).max()
    slack = check.tolerance["abs"] / single[0, 0]
    assert low - slack < ratio[2] / ratio[0] < high + slack
