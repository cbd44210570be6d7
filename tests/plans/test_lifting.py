"""The revised lifting equation against its manual and those who teach it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fruitwall.plans import pushing, times, walking
from fruitwall.plans.lifting import (
    EXCLUSIONS,
    KG_PER_LB,
    container_posture,
    frequency_multiplier,
    horizontal_distance_cm,
    lifting_index,
    multipliers,
    posture_limit_kg,
    recommended_weight_limit,
)
from fruitwall.plans.lifting_patterns import (
    LiftTask,
    composite_lifting_index,
    duration_class,
    frequency_in_bursts,
    recovery_needed_min,
)
from tests.published import Check, find_check, load_checks

CHECKS = load_checks("lifting.yaml")
MANUAL = [check for check in CHECKS if check.id.startswith("pg_niosh_ex")]
METRIC = [check for check in CHECKS if check.inputs.get("constants") == "metric"]
POTS = [check for check in CHECKS if check.id.startswith("pg_niosh_pot")]


def in_inches(check: Check) -> dict[str, object]:
    """Arguments of an example of the manual, its inches turned into centimetres."""
    given = check.inputs
    return {
        "h_cm": given["h_in"] * 2.54,
        "v_cm": given["v_in"] * 2.54,
        "d_cm": given["d_in"] * 2.54,
        "a_deg": given["a_deg"],
        "f_per_min": given["f_per_min"],
        "duration_h": given["duration_h"],
        "coupling": given["coupling"],
        "v_origin_cm": given["v_at_origin_in"] * 2.54,
    }


def posture(check: Check) -> dict[str, object]:
    return {
        name: check.inputs[name] for name in ("h_cm", "v_cm", "d_cm", "a_deg", "f_per_min", "duration_h", "coupling")
    }


@pytest.mark.parametrize("check", MANUAL, ids=str)
def test_the_examples_of_the_manual_come_out_in_us_constants(check: Check):
    arguments = in_inches(check)
    mass = check.inputs["load_lb"] * KG_PER_LB

    limit_lb = float(recommended_weight_limit(**arguments, constants="us")) / KG_PER_LB
    index = float(lifting_index(mass, **arguments, constants="us"))

    assert limit_lb == check.approx("rwl_lb")
    assert limit_lb == check.approx("rwl_lb_full")
    assert index == check.approx("li")


@pytest.mark.parametrize("check", MANUAL, ids=str)
def test_metric_constants_give_a_slightly_stricter_limit_than_us_constants(check: Check):
    arguments = in_inches(check)

    assert float(recommended_weight_limit(**arguments)) == check.approx("rwl_kg_metric")
    assert float(lifting_index(check.inputs["load_lb"] * KG_PER_LB, **arguments)) == check.approx("li_metric")


@pytest.mark.parametrize("check", METRIC, ids=str)
def test_metric_worked_examples_come_out(check: Check):
    limit = float(recommended_weight_limit(**posture(check)))

    assert limit == check.approx("rwl_kg")
    assert limit == check.approx("rwl_kg_full")
    if "li" in check.expected:
        assert float(lifting_index(check.inputs["mass_kg"], **posture(check))) == check.approx("li")
    if "verdict" in check.expected:
        assert (check.inputs["mass_kg"] > limit) == ("above" in check.expected["verdict"])


@pytest.mark.parametrize("check", POTS, ids=str)
def test_watered_nursery_pots_come_out_as_computed(check: Check):
    given = check.inputs
    assert horizontal_distance_cm(given["w_cm"], given["v_cm"]) == pytest.approx(given["h_cm"])
    assert float(recommended_weight_limit(**posture(check))) == check.approx("rwl_kg")
    for which in ("low", "high"):
        index = float(lifting_index(given[f"mass_kg_{which}"], **posture(check)))
        assert index == check.approx(f"li_{which}")


def test_the_frequency_table_is_reproduced_cell_by_cell():
    check = find_check("lifting.yaml", "pg_niosh_frequency_table")
    paces = check.given("f_per_min")
    for column, (hours, height) in enumerate((h, v) for h in (1.0, 2.0, 8.0) for v in (74.9, 75.0)):
        values = frequency_multiplier(paces, hours, height)
        np.testing.assert_array_equal(values, check.want("fm")[:, column])
    assert float(frequency_multiplier(15.1, 0.5, 80.0)) == check.expected["above_15_per_min"]


def test_between_rows_the_frequency_multiplier_is_linear_and_a_step_to_zero_is_zero():
    assert float(frequency_multiplier(3.5, 1.0, 50.0)) == pytest.approx((0.88 + 0.84) / 2)
    assert float(frequency_multiplier(8.5, 8.0, 50.0)) == 0.0  # between .18 and 0: the manual leaves it open
    assert float(frequency_multiplier(0.0, 1.0, 50.0)) == 1.0  # fewer than 0.2 a minute count as 0.2


def test_two_hours_belong_to_the_moderate_class():
    check = find_check("lifting.yaml", "pg_niosh_two_hour_boundary")
    given = check.inputs
    hours = np.array(given["durations_h"])
    np.testing.assert_array_equal(frequency_multiplier(given["f_per_min"], hours, given["v_cm"]), check.want("fm"))
    limits = recommended_weight_limit(
        given["h_cm"], given["v_cm"], given["d_cm"], given["a_deg"], given["f_per_min"], hours, given["coupling"]
    )
    assert limits == check.approx("rwl_kg")


def test_coupling_multipliers_are_those_of_the_table():
    check = find_check("lifting.yaml", "pg_niosh_coupling_table")
    for heights, name in ((74.0, "cm_below"), (75.0, "cm_at_or_above")):
        found = [
            float(multipliers(25, heights, 25, 0, 0.2, 1, grip).coupling) for grip in check.inputs["v_below_75_cm"]
        ]
        assert found == check.expected[name]


def test_multipliers_end_where_the_manual_says():
    check = find_check("lifting.yaml", "pg_niosh_multiplier_limits")
    found = {
        "hm": multipliers(check.given("h_cm"), 75, 25, 0, 0.2, 1, "good").horizontal,
        "vm": multipliers(25, check.given("v_cm"), 25, 0, 0.2, 1, "good").vertical,
        "dm": multipliers(25, 75, check.given("d_cm"), 0, 0.2, 1, "good").distance,
        "am": multipliers(25, 75, 25, check.given("a_deg"), 0.2, 1, "good").asymmetry,
    }
    for name, values in found.items():
        np.testing.assert_allclose(np.broadcast_to(values, check.want(name).shape), check.want(name), atol=1e-4)


def test_trap_the_formulas_govern_where_printed_tables_differ():
    check = find_check("lifting.yaml", "pg_niosh_table_anomalies")
    found = [
        float(multipliers(22 * 2.54, 75, 25, 0, 0.2, 1, "good", constants="us").horizontal),
        float(multipliers(23 * 2.54, 75, 25, 0, 0.2, 1, "good", constants="us").horizontal),
        float(multipliers(25, 75, 130, 0, 0.2, 1, "good").distance),
    ]
    assert [round(value, 2) for value in found] == check.expected["formula_rounded"]
    assert [round(value, 2) for value in found] != check.expected["table_printed"]


def test_the_composite_index_of_three_tasks_comes_out():
    check = find_check("lifting.yaml", "pg_niosh_cli_three_tasks")
    tasks = [
        LiftTask(task["load_lb"] * KG_PER_LB, task["firwl_lb"] * KG_PER_LB, task["f_per_min"])
        for task in check.inputs["tasks"]
    ]
    assert composite_lifting_index(tasks, duration_h=1.0) == check.approx("cli")
    # The order in which the tasks are given does not matter.
    assert composite_lifting_index(tasks[::-1], duration_h=1.0) == check.approx("cli")
    for task, single in zip(tasks, check.expected["stli"], strict=True):
        assert composite_lifting_index([task], duration_h=1.0) == pytest.approx(single, abs=0.06)


def test_bursts_count_at_their_average_pace():
    check = find_check("lifting.yaml", "pg_niosh_special_frequency")
    given = check.inputs
    pace = frequency_in_bursts(given["lifts_per_min_in_burst"], given["burst_min"], sample_min=given["sample_min"])
    assert pace == check.approx("f_per_min")
    assert frequency_in_bursts(10, 20) == 10.0


def test_stretches_of_work_fall_into_the_published_duration_classes():
    check = find_check("lifting.yaml", "pg_niosh_duration_classes")
    given = check.inputs
    found = [duration_class(work, pause) for work, pause in zip(given["work_min"], given["pause_min"], strict=True)]
    assert found == check.expected["class"]
    assert recovery_needed_min(given["recovery_after_min"]) == check.approx("recovery_needed_min")


def test_reach_is_estimated_from_the_width_of_the_container():
    check = find_check("lifting.yaml", "pg_niosh_h_estimate")
    found = [horizontal_distance_cm(check.inputs["w_cm"], v) for v in check.inputs["v_cm"]]
    assert found == check.approx("h_cm")


@pytest.mark.parametrize("situation", find_check("lifting.yaml", "pg_niosh_scope").inputs["situation"])
def test_situations_outside_the_scope_are_refused_in_words(situation: str):
    with pytest.raises(ValueError, match=r"within the scope of the lifting equation, got .*") as refusal:
        recommended_weight_limit(30, 50, 50, 0, 0.2, 1, "fair", situation=[situation])
    assert EXCLUSIONS[situation] in str(refusal.value)


def test_a_posture_beyond_reach_has_no_limit_and_no_index():
    assert float(recommended_weight_limit(64, 50, 50, 0, 0.2, 1, "fair")) == 0.0
    with pytest.raises(ValueError, match="index is undefined"):
        lifting_index(5, 64, 50, 50, 0, 0.2, 1, "fair")


@pytest.mark.parametrize(
    ("name", "bad", "words"),
    [
        ("h_cm", -1, "h_cm must be 0 or more"),
        ("v_cm", 301, "v_cm must be 0 or more and at most 300, got 301"),
        ("a_deg", 181, "a_deg must be 0 or more and at most 180"),
        ("duration_h", 8.5, "duration_h must be greater than 0 and at most 8, got 8.5"),
        ("duration_h", 0, "duration_h must be greater than 0"),
        ("coupling", "firm", "coupling must be"),
    ],
)
def test_impossible_arguments_are_named_with_their_range(name: str, bad: object, words: str):
    fine = {"h_cm": 30, "v_cm": 50, "d_cm": 50, "a_deg": 0, "f_per_min": 0.2, "duration_h": 1, "coupling": "fair"}
    with pytest.raises(ValueError, match=words):
        recommended_weight_limit(**fine | {name: bad})


def test_scalars_and_arrays_give_the_same_and_nan_stays_nan():
    reach = np.array([20.0, 35.0, 50.0, np.nan])
    limits = recommended_weight_limit(reach, 50, 50, 0, 0.2, 1, "fair")
    for one, limit in zip(reach[:3], limits[:3], strict=True):
        assert float(recommended_weight_limit(one, 50, 50, 0, 0.2, 1, "fair")) == limit
    assert np.isnan(limits[3])
    assert np.isnan(recommended_weight_limit(30, np.nan, 50, 0, 0.2, 1, "fair"))


def test_further_twisted_faster_or_longer_never_raises_the_limit():
    rng = np.random.default_rng(5)
    for _ in range(200):
        h, v, d, a, f, hours = rng.uniform((20, 0, 0, 0, 0, 0.1), (60, 170, 170, 130, 14, 8))
        base = float(recommended_weight_limit(h, v, d, a, f, hours, "fair"))
        assert float(recommended_weight_limit(h + 2, v, d, a, f, hours, "fair")) <= base + 1e-12
        assert float(recommended_weight_limit(h, v, d + 2, a, f, hours, "fair")) <= base + 1e-12
        assert float(recommended_weight_limit(h, v, d, a + 2, f, hours, "fair")) <= base + 1e-12
        assert float(recommended_weight_limit(h, v, d, a, f + 0.5, hours, "fair")) <= base + 1e-12
        assert float(recommended_weight_limit(h, v, d, a, f, min(8.0, hours + 1), "fair")) <= base + 1e-12
        assert float(recommended_weight_limit(h, v, d, a, f, hours, "poor")) <= base + 1e-12


def test_handles_allow_more_and_bigger_pots_allow_less():
    limits = [posture_limit_kg(container_posture(volume)) for volume in (6, 15, 35, 55, 105)]
    assert limits == sorted(limits, reverse=True)
    assert posture_limit_kg(container_posture(15, handles=True)) > posture_limit_kg(container_posture(15))


def test_pushing_values_are_those_published():
    check = find_check("lifting.yaml", "pg_push_trolley_women_75")
    given = check.inputs
    for kind, sustained in (("initial", False), ("sustained", True)):
        for percent, capable in ((50, 0.5), (75, 0.75)):
            force = pushing.acceptable_push_kgf(
                given["v_m"], given["dh_m"], given["f_per_min"], sustained=sustained, capable=capable
            )
            assert force == check.approx(f"{kind}_kgf_{percent}")
            if percent == 75:
                assert force * pushing.GRAVITY_M_S2 == check.approx(f"{kind}_n_75")


def test_the_lower_guideline_forces_are_used():
    check = find_check("lifting.yaml", "pg_push_guideline_forces")
    assert min(check.expected["start_stop_n"]) == pushing.START_FORCE_N
    assert min(check.expected["keep_moving_n"]) == pushing.KEEP_MOVING_FORCE_N
    assert check.expected["distance_m_without_break"] == pushing.PUSH_WITHOUT_BREAK_M
    assert times.SetUpTimes().roll_rest_every_m == pushing.PUSH_WITHOUT_BREAK_M


def test_rolling_takes_the_published_share_of_the_weight():
    check = find_check("lifting.yaml", "pg_push_rolling_share")
    forces = [
        pushing.push_force_n(load, rolling_share=pushing.ROLLING_SHARE_SMOOTH) / pushing.GRAVITY_M_S2
        for load in check.inputs["load_kg"]
    ]
    assert forces == check.approx("force_kgf")
    assert check.expected["share_uneven_or_soft"] == pushing.ROLLING_SHARE_SOFT


def test_a_pot_up_a_slope_is_more_than_may_be_kept_moving():
    check = find_check("lifting.yaml", "pg_push_trolley_lawn_slope")
    given = check.inputs
    force = pushing.push_force_n(given["mass_kg"], rolling_share=given["rolling_share"], slope_rad=given["slope_rad"])
    assert force == check.approx("force_n")
    assert (force <= pushing.START_FORCE_N) == check.expected["within_woman_start_stop_150_n"]
    assert pushing.within_guideline(force) == check.expected["within_woman_keep_moving_70_n"]


def test_carrying_rests_and_pace_are_those_published():
    rest = find_check("lifting.yaml", "pg_handling_reductions")
    assert times.SetUpTimes().rest_every_m == rest.expected["carry_m_without_rest"]
    slow, fast = find_check("lifting.yaml", "pg_iso_lift_scope").expected["walking_speed_m_s"]
    assert slow <= walking.CARRYING_M_S <= fast


def test_every_check_of_lifting_is_used_by_a_test_above():
    words = Path(__file__).read_text(encoding="utf-8")
    groups = {check.id for check in [*MANUAL, *METRIC, *POTS]}
    unused = [check.id for check in CHECKS if check.id not in groups and check.id not in words]
    assert unused == []
