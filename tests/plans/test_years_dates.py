"""Dates of freezes where some years have none: against a published table, and at their edges."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fruitwall.plans.years import frost_date
from fruitwall.plans.years_dates import YEAR_DAYS, FreezeDates, free_days, freeze_dates
from tests.published import find_check

CHECK = find_check("climate.yaml", "climate.freeze_dates.mixed")


@pytest.mark.parametrize("row", list(CHECK.expected))
def test_published_tables_have_the_form_of_the_mixed_distribution(row: str) -> None:
    from scipy.stats import norm

    want, chance = CHECK.want(row), CHECK.given("chance")
    share = CHECK.inputs["years_with_freeze_of_30"][row] / 30
    # A straight line through the dates over the normal quantiles gives mean and spread.
    reduced = norm.ppf(chance[: want.size] / share)
    sd, mean = np.polyfit(-reduced, want, 1)
    found = FreezeDates(30, round(30 * share), share, float(mean), float(sd)).last_day(chance)
    np.testing.assert_allclose(found[: want.size], want, atol=CHECK.tolerance["abs"])
    assert np.isnan(found[want.size :]).all(), "the table leaves empty what comes more seldom"


def test_another_number_of_years_with_a_freeze_does_not_fit() -> None:
    from scipy.stats import norm

    want, chance = CHECK.want("gainesville_24"), CHECK.given("chance")[:6]
    sd, mean = np.polyfit(-norm.ppf(chance / 0.8), want, 1)
    found = FreezeDates(30, 24, 0.8, float(mean), float(sd)).last_day(chance)
    assert np.abs(found - want).max() > 2.0


def test_with_a_freeze_in_every_year_dates_are_those_of_the_plain_distribution() -> None:
    days = find_check("climate.yaml", "climate.last_frost.denver").given("day_of_year")
    dates = freeze_dates(days)
    assert (dates.winters, dates.with_freeze, dates.chance) == (51, 51, 1.0)
    chance = np.array([0.1, 0.5, 0.9])
    np.testing.assert_allclose(dates.first_day(chance), frost_date(days, chance), atol=1e-9)
    np.testing.assert_allclose(dates.last_day(chance), frost_date(days, 1 - chance), atol=1e-9)


def test_days_and_chances_are_each_others_inverse() -> None:
    dates = freeze_dates([10.0, np.nan, 20.0, 25.0, np.nan, 12.0])
    assert dates.chance == pytest.approx(4 / 6)
    chance = np.array([0.1, 0.3, 0.6])
    np.testing.assert_allclose(dates.come_by(dates.first_day(chance)), chance, rtol=1e-12)
    np.testing.assert_allclose(dates.comes_after(dates.last_day(chance)), chance, rtol=1e-12)
    assert dates.come_by(1e6) == pytest.approx(4 / 6), "some winters never have one"
    assert math.isnan(dates.first_day(0.7))
    assert math.isnan(dates.last_day(0.7))


def test_places_without_freeze_and_with_one() -> None:
    none = freeze_dates([np.nan, np.nan])
    assert none.chance == 0.0
    assert np.isnan(none.first_day([0.1, 0.5])).all()
    assert (none.come_by([0.0, 400.0]) == 0.0).all()
    one = freeze_dates([np.nan, 30.0, np.nan])
    assert one.mean_day == 30.0
    assert math.isnan(one.first_day(0.1)), "one date has no spread"
    same = freeze_dates([30.0, 30.0, np.nan])
    assert same.first_day(0.5) == 30.0
    np.testing.assert_allclose(same.come_by([29.0, 30.0]), [0.0, 2 / 3])


def test_weights_are_whole_winters_where_they_are_equal() -> None:
    days = [10.0, np.nan, 20.0, 25.0]
    plain, weighted = freeze_dates(days), freeze_dates(days, weights=[2.0, 2.0, 2.0, 2.0])
    assert (weighted.mean_day, weighted.sd_day) == pytest.approx((plain.mean_day, plain.sd_day))
    assert freeze_dates(days, weights=[0.0, 1.0, 0.0, 1.0]).chance == pytest.approx(0.5)
    assert freeze_dates(days, weights=[0.0, 0.0, 1.0, 1.0]).mean_day == pytest.approx(22.5)


def test_the_time_without_a_freeze_adds_both_spreads() -> None:
    last, first = FreezeDates(30, 30, 1.0, 60.0, 3.0), FreezeDates(30, 30, 1.0, -20.0, 4.0)
    half, short = free_days(last, first, [0.5, 0.1])
    assert half == pytest.approx(YEAR_DAYS - 80.0)
    assert half - short == pytest.approx(5.0 * 1.2815516)
    seldom = FreezeDates(30, 15, 0.5, 60.0, 3.0)
    assert np.isnan(free_days(seldom, first, 0.6)), "half of the years have no end"


@pytest.mark.parametrize(("days", "weights"), [([], None), ([1.0], [1.0, 2.0]), ([1.0, 2.0], [0.0, 0.0])])
def test_what_cannot_be(days: list[float], weights: list[float] | None) -> None:
    with pytest.raises(ValueError, match=r"day must|weights must"):
        freeze_dates(days, weights=weights)


def test_a_chance_is_between_none_and_all() -> None:
    with pytest.raises(ValueError, match="chance must be greater than 0"):
        freeze_dates([1.0, 2.0]).first_day(1.0)
