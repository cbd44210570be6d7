"""Winters weighted and moved as the user asks, and the trend that is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.plans.years_trend import slope_limits, trend_of
from fruitwall.service.climate_trend import coldest_trend, mean_trend, trend_lines
from fruitwall.service.household import Household
from fruitwall.service.winters_weather import WeatherChoice, winters_from
from fruitwall.weather.climate import Climate
from fruitwall.weather.climate_winters import winters_of
from fruitwall.weather.demo_climate import TYPICAL
from fruitwall.weather.forcing import Forcing, as_datetime64
from fruitwall.yard.model import Display, Location
from tests.weather.builders import some_forcing

LOCATION = Location(latitude_deg=33.9, longitude_deg=-117.2, elevation_m=462.0, time_zone="America/Los_Angeles")

PER_YEAR_K = 0.05


def year(autumn: int, *, off_k: float = 0.0, source: str = "a station") -> Forcing:
    start = datetime(autumn, 7, 1, tzinfo=UTC)
    made = some_forcing(24 * 365, start=as_datetime64(start), issued_utc=start, source=source)
    air = made.t_air_c + off_k
    return replace(
        made, t_air_c=air, t_dew_c=np.minimum(made.t_dew_c + off_k, air), latitude_deg=33.9, longitude_deg=-117.2
    )


@pytest.fixture(scope="module")
def climate() -> Climate:
    """Twenty winters that become milder by half a kelvin in ten years, the odd ones 0.3 K off."""
    return Climate(
        tuple(year(2000 + n, off_k=PER_YEAR_K * n + 0.3 * (n % 2)) for n in range(20)), "a station", ("of a station",)
    )


def winters(climate: Climate, **choice):
    found = winters_from(climate, LOCATION, WeatherChoice(**choice))
    assert found is not None
    return found


def test_warming_moves_air_and_dew_point_alike_and_nothing_else(climate):
    plain, warmer = winters(climate), winters(climate, warmer_k=2.0)
    for one, other in zip(plain.winters, warmer.winters, strict=True):
        assert other.t_air_c == pytest.approx(one.t_air_c + 2.0)
        assert other.t_dew_c == pytest.approx(one.t_dew_c + 2.0)
        assert (other.t_dew_c <= other.t_air_c).all()
        assert (other.wind_m_s == one.wind_m_s).all()
        assert (other.cloud == one.cloud).all()
    assert plain.mark != warmer.mark
    assert any("the dew point moves with the air" in note for note in warmer.notes)
    assert not any("dew point moves" in note for note in plain.notes)


def test_the_trend_taken_out_leaves_winters_without_a_trend(climate):
    plain, level = winters(climate), winters(climate, trend_taken_out=True)
    by = [float((b.t_air_c - a.t_air_c).mean()) for a, b in zip(plain.winters, level.winters, strict=True)]
    slope = mean_trend(winters_of(climate.years)).trend.per_decade_k / 10.0
    assert slope == pytest.approx(PER_YEAR_K, abs=0.005)
    assert by == pytest.approx([slope * (19 - n) for n in range(20)], abs=1e-6)
    after = trend_of(np.arange(20), [float(one.t_air_c.mean()) for one in level.winters])
    assert after.per_decade_k == pytest.approx(0.0, abs=1e-6)
    both = winters(climate, trend_taken_out=True, warmer_k=1.0)
    assert float((both.winters[-1].t_air_c - plain.winters[-1].t_air_c).mean()) == pytest.approx(1.0)


def test_too_few_winters_have_no_trend_to_take_out(climate):
    few = winters(Climate(climate.years[:5], "a station"), trend_taken_out=True)
    assert (few.winters[0].t_air_c == winters(Climate(climate.years[:5], "a station")).winters[0].t_air_c).all()
    assert any("too few real winters" in note for note in few.notes)


def test_recent_winters_count_for_more_and_typical_ones_for_the_mean(climate):
    assert winters(climate).weights == pytest.approx(np.full(20, 0.05))
    weights = winters(climate, weighting="recent", half_life_years=5.0).weights
    assert weights.sum() == pytest.approx(1.0)
    assert weights[14] == pytest.approx(weights[19] / 2)
    assert weights[9] == pytest.approx(weights[19] / 4)
    mixed = Climate((*climate.years[:3], year(2010, source=TYPICAL)), "mixed")
    found = winters(mixed, weighting="recent").weights
    assert found[3] == pytest.approx(found[:3].mean())


def test_the_trend_is_told_with_its_limits(climate):
    household = Household(Display(), ZoneInfo("UTC"))
    lines = trend_lines(winters_of(climate.years), household)
    assert "The coldest night has become milder by" in lines[0]
    assert "(2000 to 2019, 20 winters)" in lines[0]
    assert "The whole winter has become milder by" in lines[1]
    assert "no trend is proven" not in lines[1]
    assert trend_lines(winters_of(climate.years[:9]), household) == ()
    falling = Climate(tuple(year(2000 + n, off_k=-0.1 * n) for n in range(12)), "a station")
    assert "become colder" in trend_lines(winters_of(falling.years), household)[0]
    assert coldest_trend(winters_of(falling.years)).trend.per_decade_k == pytest.approx(-1.0, abs=0.01)


def test_limits_of_the_slope_are_those_of_an_independent_program():
    """Oracle: scipy.stats.theilslopes."""
    from scipy.stats import theilslopes

    rng = np.random.default_rng(3)
    for count in (12, 31, 60):
        years = np.sort(rng.choice(np.arange(1940, 2020), count, replace=False))
        values = np.round(rng.normal(-3.0, 2.0, count) + 0.03 * (years - 1940), 1)
        for confidence in (0.8, 0.9, 0.95):
            theirs = theilslopes(values, years, confidence)
            assert slope_limits(years, values, confidence) == pytest.approx(
                (10 * theirs.low_slope, 10 * theirs.high_slope)
            )
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1"):
        slope_limits([1, 2], [1, 2], 1.0)
