"""Degree-days against published tables and an independent library."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from fruitwall.plants.growth import degree_days
from tests.published import find_check

FILE = "phenology.yaml"
SERIES = Path(__file__).parent.parent / "data" / "season_esparto_2020_daily.csv"

K_PER_F = 5.0 / 9.0


def celsius(fahrenheit):
    return (np.asarray(fahrenheit, float) - 32.0) * K_PER_F


@pytest.mark.parametrize(
    ("check_id", "single", "double"),
    [
        ("phenology.sine.zalom", "single_sine", "double_sine"),
        ("phenology.triangle.zalom", "single_triangle", "double_triangle"),
    ],
)
def test_the_cases_of_the_method_give_what_is_printed(check_id: str, single: str, double: str) -> None:
    check = find_check(FILE, check_id)
    coldest, hottest, following = (celsius(check.given(f"{key}_f")) for key in ("t_min", "t_max", "next_t_min"))
    low, high = float(celsius(check.given("lower_f"))), float(celsius(check.given("upper_f")))
    once = degree_days(coldest, hottest, low, high, single)
    twice = degree_days(coldest, hottest, low, high, double, next_t_min_c=following)
    assert once / K_PER_F == check.approx(single)
    assert twice / K_PER_F == check.approx(double)


def test_the_mean_of_the_extremes_is_read_in_two_ways() -> None:
    check = find_check(FILE, "phenology.average.mcmaster")
    days = check.given("t_min_c"), check.given("t_max_c"), float(check.given("base_c"))
    assert degree_days(*days, method="average") == check.approx("method_1")
    assert degree_days(*days, method="average_floored") == check.approx("method_2")


def test_simple_degree_days_above_fifty_fahrenheit() -> None:
    check = find_check(FILE, "phenology.average.wilson")
    days = celsius(check.given("t_min_f")), celsius(check.given("t_max_f")), float(celsius(check.given("base_f")))
    assert degree_days(*days, method="average") / K_PER_F == check.approx("degree_days_f")


def test_the_four_cases_of_weather_services_above_and_below_a_base() -> None:
    check = find_check(FILE, "phenology.mcvicker")
    days = check.given("t_min_c"), check.given("t_max_c"), float(check.given("base_c"))
    assert degree_days(*days, method="four_cases") == check.approx("above")
    assert degree_days(*days, method="four_cases", side="below") == check.approx("below")


def test_in_celsius_with_and_without_an_upper_threshold() -> None:
    check = find_check(FILE, "phenology.sine.celsius")
    days = check.given("t_min_c"), check.given("t_max_c"), float(check.given("lower_c"))
    high = float(check.given("upper_c"))
    assert degree_days(*days, high) == check.approx("single_sine")
    assert degree_days(*days, high, "single_triangle") == check.approx("single_triangle")
    assert degree_days(*days) == check.approx("sine_lower_only")


def test_a_whole_year_of_days_adds_up_as_an_independent_library_has_it() -> None:
    check = find_check(FILE, "phenology.year.esparto")
    rows = list(csv.DictReader(SERIES.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 366
    coldest, hottest = (celsius([float(row[key]) for row in rows]) for key in ("t_min_f", "t_max_f"))
    low, high = float(celsius(check.given("lower_f"))), float(celsius(check.given("upper_f")))

    def total(*args, days=slice(None), method="single_sine", **more):
        return float(degree_days(coldest[days], hottest[days], *args, method=method, **more).sum()) / K_PER_F

    spring = sum(row["date"] < "2020-07-01" for row in rows)
    but_last, following = slice(365), coldest[1:]
    found = {
        "single_sine": total(low, high),
        "single_triangle": total(low, high, method="single_triangle"),
        "simple_average_no_upper": total(low, method="average"),
        "single_sine_no_upper": total(low),
        "single_sine_jan_jun": total(low, high, days=slice(spring)),
        "double_sine_first_365_days": total(low, high, days=but_last, method="double_sine", next_t_min_c=following),
        "double_triangle_first_365_days": total(
            low, high, days=but_last, method="double_triangle", next_t_min_c=following
        ),
        "single_sine_55_90": total(float(celsius(55)), float(celsius(90))),
    }
    assert found.keys() == check.expected.keys()
    for name, value in found.items():
        assert value == check.approx(name), name


def test_what_is_not_known_stays_unknown_and_arrays_broadcast() -> None:
    found = degree_days([[10.0], [np.nan]], [20.0, 30.0], 12.0, 28.0)
    assert found.shape == (2, 2)
    assert np.isnan(found).tolist() == [[False, False], [True, True]]
    assert float(degree_days(15.0, 15.0, 10.0)) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"t_min_c": 12.0, "t_max_c": 10.0, "low_c": 5.0}, "t_max_c must not be below"),
        ({"t_min_c": 1.0, "t_max_c": 10.0, "low_c": 5.0, "high_c": 5.0}, "high_c must be greater"),
        ({"t_min_c": 1.0, "t_max_c": 10.0, "low_c": 5.0, "method": "cosine"}, "method must be one of"),
        ({"t_min_c": 1.0, "t_max_c": 10.0, "low_c": 5.0, "method": "double_sine"}, "needs next_t_min_c"),
        ({"t_min_c": 1.0, "t_max_c": 10.0, "low_c": float("nan")}, "low_c must be a number"),
        ({"t_min_c": 1.0, "t_max_c": 10.0, "low_c": 5.0, "side": "below"}, "side below goes with"),
    ],
)
def test_impossible_input_is_refused_by_name(given: dict, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        degree_days(**given)
