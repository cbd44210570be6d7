"""Circuits and leads against published values."""

from __future__ import annotations

import math

import pytest

from fruitwall.physics.body import Body
from fruitwall.physics.enclosure import enclose
from fruitwall.physics.treatment import Treatment
from fruitwall.plans import covers, power, walking
from fruitwall.plans.measures import possible_measures
from fruitwall.plans.power import (
    awg_area_mm2,
    awg_diameter_mm,
    circuit_capacity_w,
    lead_carries,
    lead_rating_a,
    lead_resistance_ohm,
    minimum_rating_a,
    resistive_load,
    voltage_drop,
)
from fruitwall.plans.problem import PlannedTask
from fruitwall.service.tasks import plug_in_steps
from tests.plans.test_measures import electric
from tests.published import find_check

FT = 0.3048


def check_of(name: str):
    return find_check("power.yaml", name)


def test_continuous_loads_take_four_fifths_of_a_120_v_circuit():
    check = check_of("pg_circuit_continuous_120v")
    volts, ratings = check.inputs["volts"], check.inputs["breaker_a"]
    assert [circuit_capacity_w(volts, a) for a in ratings] == check.approx("continuous_w")
    assert [circuit_capacity_w(volts, a, continuous=False) for a in ratings] == check.approx("short_w")
    assert [circuit_capacity_w(volts, a) / volts for a in ratings] == check.approx("continuous_a")


def test_a_230_v_circuit_without_the_rule_takes_its_rating():
    check = check_of("pg_circuit_230v")
    found = [circuit_capacity_w(check.inputs["volts"], a, continuous=False) for a in check.inputs["amps"]]
    assert found == check.approx("w")


def test_mixed_loads_ask_for_125_percent_of_the_continuous_part():
    check = check_of("pg_circuit_125_percent")
    assert minimum_rating_a(check.inputs["continuous_a"], check.inputs["non_continuous_a"]) == check.approx("minimum_a")


def test_a_1500_w_heater_overloads_a_15_a_circuit_and_leaves_room_for_three_strings_on_20_a():
    check = check_of("pg_heater_1500_on_circuits")
    volts, heater, string = (check.inputs[name] for name in ("volts", "heater_w", "lamp_string_w"))
    left = circuit_capacity_w(volts, 20) - heater
    assert heater / volts == check.approx("heater_a")
    assert (heater <= circuit_capacity_w(volts, 15)) == check.expected["fits_15_a_continuous"]
    assert (left >= 0) == check.expected["fits_20_a_continuous"]
    assert left == check.approx("left_on_20_a_w")
    assert left // string == check.expected["strings_beside_it"]


def test_the_drop_over_100_feet_is_that_published_for_warm_and_for_cold_copper():
    check = check_of("pg_voltage_drop_12awg")
    given = check.inputs
    # 12.9 Ω circular mil per foot: warm copper.
    cmil_m2 = math.pi / 4 * (25.4e-6) ** 2
    warm = given["k_ohm_cmil_per_ft"] * cmil_m2 / FT
    area = given["cmil"] * cmil_m2 * 1e6
    drop = voltage_drop(given["amps"], given["length_ft_one_way"] * FT, area, resistivity_ohm_m=warm)
    assert drop == check.approx("drop_v")
    assert 100 * drop / given["volts"] == check.approx("percent")
    cold = voltage_drop(given["amps"], given["length_ft_one_way"] * FT, 3.31)
    assert cold == check.approx("cold_copper_v")


def test_the_drop_of_a_thin_lead_is_that_of_the_owner_who_asked():
    check = check_of("pg_voltage_drop_lead_16awg")
    given = check.inputs
    drop = voltage_drop(given["amps"], given["length_ft"] * FT, awg_area_mm2(given["awg"]))
    assert drop == check.approx("drop_v")
    assert 100 * drop / given["volts"] == check.approx("percent")
    assert given["volts"] - drop == check.approx("end_v")


def test_wire_gauges_have_their_size_and_resistance():
    check = check_of("pg_awg_geometry")
    gauges = check.inputs["awg"]
    assert [awg_diameter_mm(n) for n in gauges] == check.approx("diameter_mm")
    assert [awg_area_mm2(n) for n in gauges] == check.approx("area_mm2")
    one_way = [lead_resistance_ohm(1000.0, awg_area_mm2(n)) / 2 for n in gauges]
    assert one_way == check.approx("ohm_per_km_one_conductor")


def test_a_heater_on_a_long_lead_gives_less_heat_and_warms_the_lead():
    check = check_of("pg_heater_on_lead")
    given = check.inputs
    watts = given["supply_v"] ** 2 / given["heater_ohm"]
    loads = [resistive_load(watts, given["supply_v"], given["length_ft"] * FT, awg_area_mm2(n)) for n in given["awg"]]
    drops = [
        100 * voltage_drop(12.5, given["length_ft"] * FT, awg_area_mm2(n)) / given["supply_v"] for n in given["awg"]
    ]
    assert drops == check.approx("drop_percent_at_12_5_a")
    assert [load.amps for load in loads] == check.approx("current_a")
    assert [load.load_w for load in loads] == check.approx("heater_w")
    assert [load.lead_loss_w for load in loads] == check.approx("lead_loss_w")
    for load in loads:  # what comes out of the wall is what arrives
        assert load.load_w + load.lead_loss_w == pytest.approx(load.amps * given["supply_v"])


def test_leads_are_rated_as_the_leaflet_says():
    check = check_of("pg_cord_ampacity")
    assert [lead_rating_a(awg_area_mm2(n)) for n in check.inputs["awg"]] == check.approx("amps")
    assert lead_rating_a(0.5) == 0.0


def test_a_thin_or_long_lead_is_not_given_a_heater():
    assert lead_carries(1500, 120, 15.24, awg_area_mm2(12), heater=True)
    assert not lead_carries(1500, 120, 30.48, awg_area_mm2(16), heater=True)  # too thin for a heater
    assert not lead_carries(1500, 120, 60.0, awg_area_mm2(12), heater=True)  # loses too much on the way
    assert not lead_carries(1800, 120, 5.0, awg_area_mm2(18))  # 15 A in a 10 A lead
    assert lead_carries(175, 120, 30.48, awg_area_mm2(16))


def test_strings_of_25_lamps_have_the_watts_of_their_lamps():
    check = check_of("pg_lamp_string_watts")
    strings = [check.inputs["lamps_per_string"] * watts for watts in check.expected["w_each"]]
    assert strings == check.approx("w_string")


def test_safety_figures_are_those_published():
    trips = check_of("pg_ground_fault").expected["trip_ma"]
    assert list(power.GROUND_FAULT_TRIP_MA.values()) == trips
    assert check_of("pg_heater_clearance").approx("min_m") == covers.HEATER_CLEARANCE_M
    speeds = check_of("pg_walking_speeds").expected
    assert speeds["unaided_m_s"] >= walking.WALKING_M_S  # a garden at dusk is slower
    assert speeds["carrying_m_s"][0] <= walking.CARRYING_M_S <= speeds["carrying_m_s"][1]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: circuit_capacity_w(0, 15), "volts must be greater than 0 and at most 500, got 0"),
        (lambda: circuit_capacity_w(120, 201), "amps must be greater than 0 and at most 200, got 201"),
        (lambda: voltage_drop(-1, 10, 2), "amps must be 0 or more"),
        (lambda: voltage_drop(1, 0, 2), "length_m must be greater than 0"),
        (lambda: awg_area_mm2(41), "awg must be from -3 to 40"),
        (lambda: resistive_load(0, 120, 10, 2), "watts must be greater than 0"),
    ],
)
def test_impossible_arguments_are_named_with_their_range(call, words: str):
    with pytest.raises(ValueError, match=words):
        call()


def test_a_13_a_lead_unrolled_carries_what_its_reel_says_and_the_plan_has_it_unrolled():
    check = check_of("pg_cable_reel")
    area = check.expected["flex_mm2_for_3_kw"]
    assert lead_rating_a(area) == check.inputs["reel_a"]
    assert circuit_capacity_w(check.inputs["volts"], lead_rating_a(area), continuous=False) == check.approx("unwound_w")
    assert lead_rating_a(area / 1.5) < check.inputs["reel_a"]
    assert not lead_carries(1500.0, 230.0, 10.0, area / 3.0)
    its = electric()
    part = next(m for m in possible_measures(its, its.trees[0]) if m.lamp).parts[0]
    task = PlannedTask(0, part, part.ways[0], again=False, circuit=part.feeds[0].circuit, lead="thick")
    assert any("fully unrolled" in step for step in plug_in_steps(task, its))


def test_a_string_in_a_small_frame_gives_the_heat_of_the_trial():
    check = check_of("pg_lamp_frame_trial")
    width, length = (FT * side for side in check.inputs["frame_ft"])
    frame = Treatment(
        cover="film_polyethylene",
        on_frame=True,
        frame_width_m=width,
        frame_length_m=length,
        lamp_w=check.inputs["string_w"],
    )
    assert frame.lamp_w / enclose(frame, Body()).ground_m2 == check.approx("w_per_m2")
