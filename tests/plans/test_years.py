"""Statistics of many winters against published values, and at their edges."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plans.years import (
    Minima,
    certainty,
    empirical_level,
    fit_minima,
    frost_date,
    return_interval,
    return_level,
)
from fruitwall.yard.hardiness import hardiness_zone, zone_bounds_c
from tests.published import find_check


def periods(levels: dict[str, float]) -> np.ndarray:
    return np.array([float(one) for one in levels])


def test_maxima_of_port_pirie_give_coles_values() -> None:
    check = find_check("climate.yaml", "climate.gev.port_pirie")
    fitted = fit_minima(-check.given("annual_maximum_m"))
    near = check.tolerance["abs"]
    assert fitted.location == pytest.approx(check.expected["location"], abs=near)
    assert fitted.scale == pytest.approx(check.expected["scale"], abs=near)
    assert fitted.shape == pytest.approx(check.expected["shape_xi"], abs=near)
    levels = check.expected["return_level"]
    np.testing.assert_allclose(-fitted.level(periods(levels)), list(levels.values()), atol=near)


def test_standard_errors_at_port_pirie_are_those_of_coles() -> None:
    # Coles (2001), section 3.4.1 prints 0.028, 0.020 and 0.098 (from memory).
    check = find_check("climate.yaml", "climate.gev.port_pirie")
    fitted = fit_minima(-check.given("annual_maximum_m"))
    np.testing.assert_allclose(np.sqrt(np.diag(fitted.covariance)), [0.028, 0.020, 0.098], atol=5e-4)


def test_the_error_of_a_level_follows_from_those_of_its_numbers() -> None:
    check = find_check("climate.yaml", "climate.gev.port_pirie")
    minima = -check.given("annual_maximum_m")
    fitted = fit_minima(minima)
    numbers = np.array([fitted.location, fitted.scale, fitted.shape])
    years = np.array([2.0, 10.0, 100.0])
    slopes = []
    for which in np.eye(3):
        up, down = (Minima(*(numbers + step * which), fitted.covariance).level(years) for step in (1e-5, -1e-5))
        slopes.append((up - down) / 2e-5)
    slope = np.array(slopes)
    expected = np.sqrt(np.einsum("iy,ij,jy->y", slope, fitted.covariance, slope))
    np.testing.assert_allclose(fitted.standard_error(years), expected, rtol=1e-6)
    low, high = return_interval(minima, years, confidence=0.95)
    np.testing.assert_allclose(high - low, 2 * 1.959964 * expected, rtol=1e-6)


@pytest.mark.parametrize("place", ["denver", "fort_collins"])
def test_coldest_nights_of_two_places(place: str) -> None:
    check = find_check("climate.yaml", f"climate.gev.{place}")
    minima_f = check.given("winter_minimum_f")
    near = check.tolerance["abs"]
    fitted = fit_minima(minima_f)
    assert fitted.location == pytest.approx(check.expected["location"], abs=near)
    assert fitted.scale == pytest.approx(check.expected["scale"], abs=near)
    assert fitted.shape == pytest.approx(check.expected["shape_xi"], abs=near)
    levels = check.expected["return_level_f"]
    np.testing.assert_allclose(return_level(minima_f, periods(levels)), list(levels.values()), atol=near)
    in_c = return_level((minima_f - 32) / 1.8, periods(levels))
    np.testing.assert_allclose(in_c * 1.8 + 32, list(levels.values()), atol=near)
    assert minima_f.mean() == pytest.approx(check.expected["mean_f"], abs=1e-3)


def test_l_moments_of_denver() -> None:
    check = find_check("climate.yaml", "climate.gev.denver")
    levels = check.expected["l_moments_level_f"]
    got = return_level(check.given("winter_minimum_f"), periods(levels), method="l-moments")
    np.testing.assert_allclose(got, list(levels.values()), atol=0.01)


def test_a_warming_record_has_warmer_last_winters() -> None:
    check = find_check("climate.yaml", "climate.gev.fort_collins")
    assert check.given("winter_minimum_f")[-30:].mean() == pytest.approx(check.expected["mean_last_30_f"], abs=0.05)


def test_level_and_chance_are_each_others_inverse() -> None:
    for shape in (-0.3, 0.0, 0.2):
        fitted = Minima(3.0, 2.0, shape, np.full((3, 3), np.nan))
        years = np.array([1.5, 2.0, 10.0, 100.0])
        np.testing.assert_allclose(fitted.chance_below(fitted.level(years)), 1.0 / years, rtol=1e-9)


def test_the_limit_of_no_shape_is_met_smoothly() -> None:
    covariance = np.diag([0.1, 0.1, 0.1])
    flat, near = Minima(3.0, 2.0, 0.0, covariance), Minima(3.0, 2.0, 1e-5, covariance)
    np.testing.assert_allclose(flat.level([5, 50]), near.level([5, 50]), atol=1e-3)
    np.testing.assert_allclose(flat.standard_error([5, 50]), near.standard_error([5, 50]), rtol=1e-3)


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    # 150 made records of 40 winters; of 90 % intervals 135 should hold the truth, spread sqrt(150 x 0.9 x 0.1) = 3.7;
    # the delta method is known to be short for extremes, so 5 spreads below are let pass, none of them above 150.
    rng = np.random.default_rng(7)
    truth = Minima(2.0, 2.0, -0.1, np.full((3, 3), np.nan))
    held = 0
    for _ in range(150):
        minima = truth.level(1.0 / rng.uniform(size=40))
        low, high = return_interval(minima, 20)
        held += bool(low <= truth.level(20) <= high)
    assert 117 <= held <= 149


def test_the_empirical_level_is_a_winter_that_was() -> None:
    minima = [-1.0, -5.0, -3.0, -2.0]
    np.testing.assert_allclose(empirical_level(minima, [5.0, 5 / 2, 5 / 3, 5 / 4]), [-5, -3, -2, -1])
    assert np.isnan(empirical_level(minima, [6.0, 1.1])).all()


@pytest.mark.parametrize("name", ["climate.risk_n_years", "climate.risk_campinas"])
def test_risk_over_years(name: str) -> None:
    check = find_check("climate.yaml", name)
    got = certainty(check.given("p"), check.given("n"))
    np.testing.assert_allclose(got, check.want("risk"), atol=check.tolerance["abs"])


def test_risk_at_its_ends() -> None:
    np.testing.assert_array_equal(certainty([0.0, 1.0, 1.0, 0.5], [10, 1, 0, 0]), [0, 1, 0, 0])
    assert np.isnan(certainty(np.nan, 3))
    assert certainty(1e-12, 1000) == pytest.approx(1e-9, rel=1e-6)
    with pytest.raises(ValueError, match=r"probability must be at least 0 and at most 1, got 1\.2"):
        certainty(1.2, 3)
    with pytest.raises(ValueError, match="years must be at least 0, got -1"):
        certainty(0.2, -1)


def test_last_frost_of_denver() -> None:
    check = find_check("climate.yaml", "climate.last_frost.denver")
    days = check.given("day_of_year")
    near = check.tolerance["abs"]
    assert days.mean() == pytest.approx(check.expected["mean"], abs=near)
    assert days.std(ddof=1) == pytest.approx(check.expected["sd"], abs=near)
    for method, key in (("normal", "normal_quantile"), ("empirical", "empirical_quantile_type7")):
        levels = check.expected[key]
        got = frost_date(days, periods(levels), method=method)
        np.testing.assert_allclose(got, list(levels.values()), atol=near)
    assert np.isnan(frost_date(days, [np.nan])).all()
    assert np.isnan(frost_date(days, [np.nan], method="empirical")).all()


def test_zones() -> None:
    bounds = find_check("climate.yaml", "climate.usda_zone_bounds")
    for zone, low_f, high_f in zip(
        bounds.inputs["zone"], bounds.expected["low_f"], bounds.expected["high_f"], strict=True
    ):
        got = [one * 1.8 + 32 for one in zone_bounds_c(zone)]
        assert got == pytest.approx([low_f, high_f], abs=1e-9)
        assert hardiness_zone((low_f - 32) / 1.8) == zone
    of = find_check("climate.yaml", "climate.usda_zone_of")
    means = of.inputs["mean_minimum_f"]
    assert [hardiness_zone((one - 32) / 1.8) for one in means] == of.expected["zone"]
    assert hardiness_zone(-80.0) == "1a"
    assert hardiness_zone(40.0) == "13b"
    for wrong in ("14a", "0a", "9", "", "9c"):
        with pytest.raises(ValueError, match="must be one of"):
            zone_bounds_c(wrong)
    with pytest.raises(ValueError, match="must be a temperature"):
        hardiness_zone(float("nan"))


def test_what_cannot_be_fitted_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="at least 10 winters, got 9"):
        return_level(np.arange(9.0), 5)
    with pytest.raises(ValueError, match="must differ"):
        return_level(np.full(12, -3.0), 5)
    with pytest.raises(ValueError, match="years must be greater than 1, got 1"):
        return_level(np.arange(12.0), 1.0)
    with pytest.raises(ValueError, match="confidence"):
        return_interval(np.arange(12.0), 5, confidence=1.0)
    assert np.isnan(return_level([np.nan, *range(12)], [5, 10])).all()


@pytest.mark.parametrize(
    "minima",
    [
        [-2, -4, -1, -3, -6, -2, -3, -5, -2, -1, -3, -4],
        [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, -9],
        [-1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, -1, 4],
    ],
)
def test_few_and_odd_winters_still_give_ordered_levels(minima: list[float]) -> None:
    levels = return_level(minima, [2, 5, 10, 50])
    assert np.isfinite(levels).all()
    assert (np.diff(levels) <= 0).all()
