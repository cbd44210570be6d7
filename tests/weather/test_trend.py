"""The FAO night minimum and trend against published values; sources stand in tests/checks/weather.yaml."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.weather.trend import fit_minimum, night_trend
from tests.published import find_check


def fao_model():
    check = find_check("weather.yaml", "min-fao-fit")
    return fit_minimum(check.given("t0_c"), check.given("td0_c"), check.given("t_min_c"))


def test_the_two_stage_fit_gives_the_published_coefficients():
    check = find_check("weather.yaml", "min-fao-fit")
    model = fao_model()

    assert model.slope_t0 == check.approx("stage1_slope")
    assert model.intercept_c == check.approx("stage1_intercept_c")
    assert model.slope_td0 == check.approx("stage2_slope_on_dew_point")
    assert model.intercept_td0_c == check.approx("stage2_intercept_c")
    assert model.intercept_c + model.intercept_td0_c == check.approx("combined_intercept_c")
    assert model.rmse_k == check.approx("rmse_c")
    assert model.r2 == check.approx("r2")


def test_the_prediction_is_the_published_one():
    check = find_check("weather.yaml", "min-fao-predict")
    assert fao_model().predict(check.given("t0_c"), check.given("td0_c")) == check.approx("t_min_c")


def test_trap_it_is_not_a_multiple_regression():
    trap = find_check("weather.yaml", "min-fao-fit-trap")
    assert fao_model().predict(10.0, 2.0) != pytest.approx(trap.want("prediction_at_10_and_2_c"), abs=0.2)
    assert fao_model().slope_t0 != pytest.approx(trap.want("slope_t0"), abs=0.01)


def test_trap_a_fitted_constant_is_added_with_its_sign_so_that_no_minimum_passes_the_maximum():
    check, trap = find_check("weather.yaml", "min-mendoza"), find_check("weather.yaml", "min-mendoza-sign-trap")
    middle = (check.given("t_max_c") + check.given("t_dew_c")) / 2
    each = check.given("t_min_c") - middle
    assert each == check.approx("signed_constant_each_c")
    assert each.mean() == check.approx("mean_c")

    # Nights that all lie the fitted constant below their middle: our fit finds it with its sign, and adds it.
    model = fit_minimum(middle, None, middle + each.mean())
    assert model.intercept_c == check.approx("mean_c")
    forecast = model.predict((trap.given("t_max_c") + trap.given("t_dew_c")) / 2)
    assert forecast == trap.approx("t_min_c")
    assert forecast < trap.given("t_max_c") < trap.want("wrong_published_value_c")


def test_without_dew_point_the_first_stage_stands_alone():
    check = find_check("weather.yaml", "min-fao-t0-only")
    model = fit_minimum(check.given("t0_c"), None, check.given("t_min_c"))

    assert model.predict(check.given("predict_t0_c")) == check.approx("predicted_c")
    assert not model.uses_dew_point


def test_a_model_with_dew_point_asks_for_it():
    with pytest.raises(ValueError, match="td0 is needed"):
        fao_model().predict(3.0)


def test_a_missing_evening_gives_a_missing_forecast():
    assert np.isnan(fao_model().predict(np.nan, 1.0))


@pytest.mark.parametrize(
    ("t0", "td0", "t_min", "words"),
    [
        ([1.0, 2.0], None, [0.0, 1.0], "t0_c must hold at least 3 nights"),
        ([1.0, 2.0, 3.0], None, [0.0, 1.0, np.nan], "t_min_c must be known for every night, got nan"),
        ([1.0, 2.0, 3.0], [0.0] * 4, [0.0, 1.0, 2.0], "td0_c must hold the 3 nights of t_min_c, got 4"),
        ([2.0, 2.0, 2.0], None, [0.0, 1.0, 2.0], "t0_c must differ between nights, got 2 on all"),
        ([1.0, 2.0, 99.0], None, [0.0, 1.0, 2.0], "t0_c must be at least -90 and at most 60 °C, got 99"),
    ],
)
def test_evenings_that_cannot_be_fitted_are_refused(t0, td0, t_min, words):
    with pytest.raises(ValueError, match=words):
        fit_minimum(t0, td0, t_min)


def test_the_square_root_trend_gives_the_published_series():
    check = find_check("weather.yaml", "trend-sqrt-f")
    curve = night_trend(
        check.given("t2_f"),
        check.given("t_min_f"),
        check.given("hours_sunset_to_sunrise"),
        check.given("hours_after_sunset"),
    )
    assert curve == check.approx("t_f")  # the formula is linear in temperature, so °F serve as well


def test_the_trend_passes_a_level_at_the_published_hour():
    check = find_check("weather.yaml", "trend-sqrt-crossing")
    total, level = check.given("hours_sunset_to_sunrise"), check.given("level_c")
    hours = np.linspace(2.0, total, 20_001)
    curve = night_trend(check.given("t2_c"), check.given("t_min_c"), total, hours)

    assert hours[np.argmin(np.abs(curve - level))] == check.approx("hours_after_sunset")


def test_trap_our_curve_reaches_the_minimum_at_sunrise_where_the_raw_exponential_does_not():
    check = find_check("weather.yaml", "trend-parton-logan")
    sunset, lowest, total = (check.given(name) for name in ("t_sunset_c", "t_min_c", "night_length_h"))
    raw = lowest + (sunset - lowest) * np.exp(-check.given("b") * check.given("hours_after_sunset") / total)
    assert raw == check.approx("t_c")
    assert (raw[-1] - lowest) / (sunset - lowest) == pytest.approx(0.11, abs=0.002)

    assert night_trend(raw[1], lowest, total, total) == pytest.approx(lowest)


@pytest.mark.parametrize(("total", "at"), [(2.0, 2.0), (25.0, 5.0), (13.0, 1.9), (13.0, 13.1)])
def test_hours_outside_the_night_are_refused(total, at):
    with pytest.raises(ValueError, match=r"hours(_total)? must be"):
        night_trend(6.0, -3.0, total, at)


def test_a_missing_temperature_gives_a_missing_trend():
    assert np.isnan(night_trend(np.nan, -3.0, 13.0, [5.0, 6.0])).all()
