"""Forecast errors of a yard: what is held against what, which thermometer counts, what a plan makes of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from fruitwall.journal.entries import Reading
from fruitwall.journal.opening import open_journal
from fruitwall.service.evening import evenings_ahead, generator, plan_evening
from fruitwall.service.forecast_errors import (
    FAR_K,
    LEAST_SD_K,
    evidence_of,
    learned_errors,
    station_sensor,
    with_learned,
)
from fruitwall.service.forecast_report import forecast_report
from fruitwall.service.forecast_words import findings_words, gain_words, left_out_words, plan_words, station_words
from fruitwall.service.household import Household
from fruitwall.service.past_weather import STATION
from fruitwall.service.station import station_nights
from fruitwall.service.thermometers import Mend, mend, unmend
from fruitwall.weather.demo import demo_forcing
from fruitwall.weather.dressing import dress
from fruitwall.weather.forcing import as_datetime
from tests.service.past import house_with_past, keep
from tests.web.sample import sample_plan, spread_around

FIRST, LAST = date(2026, 12, 14), date(2026, 12, 25)
NOW = datetime(2026, 12, 27, 22, tzinfo=UTC)
TRUE = demo_forcing()
"""What the air really was: whole hours of these days."""


def forecast_of(day, warm_k, members=1):
    """The forecast of one afternoon for the nights to come, too warm by so much."""
    made = datetime(day.year, day.month, day.day, 22, tzinfo=UTC)
    cut = TRUE.select(made, min(made + timedelta(hours=68), TRUE.end_utc))
    spread = np.linspace(-0.2, 0.2, members)[:, None] if members > 1 else np.zeros((1, 1))
    each = {
        name: np.repeat(getattr(cut, name), members, axis=0)
        for name in ("wind_m_s", "cloud", "shortwave_w_m2", "rain_mm")
    }
    air = cut.t_air_c + warm_k + spread
    return replace(cut, t_air_c=air, t_dew_c=np.minimum(cut.t_dew_c, air), **each, issued_utc=made, n_history=0)


def readings(sensor, days, *, until_h=24.0):
    """Hourly readings of the true air, each day from noon on."""
    found = []
    for day in days:
        begin = datetime(day.year, day.month, day.day, 20, tzinfo=UTC)
        cut = TRUE.select(begin, begin + timedelta(hours=until_h))
        found += [
            Reading(sensor, "air_temperature_c", as_datetime(at), float(value))
            for at, value in zip(cut.time_utc[:-1], cut.t_air_c[0, :-1], strict=True)
        ]
    return found


DAYS = [FIRST + timedelta(days=ahead) for ahead in range((LAST - FIRST).days + 1)]


@pytest.fixture
def told(tmp_path):
    """A household whose forecasts were kept, each 1.5 K too warm, and whose post was read."""
    with open_journal(tmp_path / "told.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=forecast_of(DAYS[0], 1.5), clock=lambda: NOW)
        for day in DAYS[1:]:
            keep(journal, forecast_of(day, 1.5))
        house.ledger.add_readings(readings("post", DAYS), received=NOW)
        yield house


def test_every_night_is_held_against_the_forecast_of_that_evening_and_of_those_before(told):
    evidence = evidence_of(told)
    assert (evidence.sensor, evidence.chosen, evidence.left_out) == ("post", False, ())
    assert [one.said.night for one in evidence.held if one.said.lead == 0] == DAYS
    assert [one.said.night for one in evidence.held if one.said.lead == 1] == DAYS[1:]
    for one in evidence.held:
        assert one.error_k == pytest.approx(-1.5)
    # Later lead times are the less sure ones.
    sd = [one.said.sd_k for one in evidence.held if one.said.night == DAYS[4]]
    assert [one.said.lead for one in evidence.held if one.said.night == DAYS[4]] == [0, 1, 2]
    assert 1.4 < sd[0] < sd[1] < sd[2] < 1.9
    errors = learned_errors(told)
    assert errors.pairs == len(evidence.held)
    # Twelve nights in a row: most of it is believed, and not more than was seen.
    assert -1.5 < errors.on_nights(0.7)[0] < -0.9


def test_without_readings_and_without_forecasts_it_is_as_published(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, clock=lambda: NOW)  # weather that is past says nothing of forecasts
        assert learned_errors(house).pairs == 0
        house.ledger.add_readings(readings("post", DAYS), received=NOW)
        assert learned_errors(house).pairs == 0
        report = forecast_report(house)
        assert (report.nights, report.findings, report.leads) == ((), (), ())
        assert "No reading can be held against a forecast yet" in station_words(report.evidence)


def test_a_night_counts_only_if_the_thermometer_was_read_to_its_end(tmp_path, told):
    told.ledger.add_readings(readings("shed", DAYS, until_h=8.0), received=NOW)  # silent from eight in the evening on
    assert [one.sensor for one in evidence_of(told).stations] == ["post"]
    by_hand = datetime(2026, 12, 21, 14, 30, tzinfo=UTC)  # half past six in the morning
    told.ledger.add_readings([Reading("wall", "air_temperature_c", by_hand, -1.0)], received=NOW)
    assert [(one.sensor, one.nights) for one in evidence_of(told).stations] == [("post", 12), ("wall", 1)]


def test_a_thermometer_in_a_tree_stands_for_the_yard_only_if_it_is_chosen(told):
    told.ledger.add_readings(readings("Mango", DAYS[:3]), received=NOW)
    assert station_sensor(told) == "post"
    told.ledger.set(STATION, "Mango", author="Ana", now=NOW)
    evidence = evidence_of(told)
    assert (evidence.sensor, evidence.chosen) == ("Mango", True)
    assert len({one.said.night for one in evidence.held}) == 3
    assert station_words(evidence) == "This thermometer stands for the yard: Mango. It was chosen."
    told.ledger.set(STATION, "", author="Ana", now=NOW)
    assert station_sensor(told) == "post"


def test_where_only_trees_have_thermometers_none_stands_for_the_yard(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=forecast_of(DAYS[0], 0.0), clock=lambda: NOW)
        house.ledger.add_readings(readings("mango", DAYS[:1]), received=NOW)
        assert station_sensor(house) == ""
        assert learned_errors(house).pairs == 0
        assert "hang in trees" in station_words(evidence_of(house))


def test_degrees_fahrenheit_taken_for_celsius_teach_nothing_and_are_told(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=forecast_of(DAYS[6], 0.0), clock=lambda: NOW)
        for day in DAYS[7:]:
            keep(journal, forecast_of(day, 0.0))
        good = readings("post", DAYS[6:])
        wrong = [replace(one, value=one.value * 1.8 + 32) if one.at.date() <= DAYS[7] else one for one in good]
        house.ledger.add_readings(wrong, received=NOW)
        evidence = evidence_of(house)
        assert evidence.left_out[0].said.night == DAYS[6]
        assert all(abs(one.error_k) <= FAR_K for one in evidence.held)
        assert abs(learned_errors(house).on_nights(0.5)[0]) < 0.5
        celsius = Household(house.yard()[0].display, evening_zone())
        assert "So far off is no weather: left out." in left_out_words(evidence, celsius)[-1]


def evening_zone():
    from zoneinfo import ZoneInfo

    return ZoneInfo("America/Los_Angeles")


def test_readings_that_were_said_to_be_wrong_lose_their_influence_and_get_it_back(told):
    before = learned_errors(told)
    whole: Mend = {
        "sensor": "post", "since": "2026-12-01T00:00:00+00:00", "until": "2026-12-31T00:00:00+00:00", "how": "ignore",
        "hours": 0.0, "author": "Ana", "at": NOW.isoformat(),
    }  # fmt: skip
    mend(told, whole)
    assert learned_errors(told).pairs == 0
    unmend(told, 0, author="Ana", now=NOW)
    after = learned_errors(told)
    assert (after.mean == before.mean).all()


def test_a_forecast_of_the_night_itself_is_not_that_of_the_evening(told):
    late = replace(forecast_of(DAYS[3], 5.0), issued_utc=datetime(2026, 12, 18, 6, tzinfo=UTC))  # ten in the evening
    keep(told.journal, late)
    assert {round(one.error_k, 6) for one in evidence_of(told).held if one.said.night == DAYS[3]} == {-1.5}


def test_an_ensemble_of_the_source_has_its_own_spread_but_no_less_than_some(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=forecast_of(DAYS[0], 1.0, members=7), clock=lambda: NOW)
        house.ledger.add_readings(readings("post", DAYS[:1]), received=NOW)
        (one,) = [held for held in evidence_of(house).held if held.said.lead == 0]
        assert one.said.sd_k == LEAST_SD_K
        assert one.error_k == pytest.approx(-1.0)


def test_plans_tell_of_forecasts_that_were_not_kept_and_of_what_was_issued_not_of_what_was_learned(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, clock=lambda: NOW)
        version = house.yard()[1]
        for at, day in enumerate(DAYS[:2]):
            forecast = sample_plan().forecast
            changes = {"station_minimum_c": spread_around(5.0), "following_minima_c": []}
            if at == 1:  # planned with what was learned: three kelvin lower than issued
                changes |= {"station_minimum_c": spread_around(2.0), "as_issued_c": [spread_around(5.0)]}
            plan = sample_plan().model_copy(update={"night": day, "forecast": forecast.model_copy(update=changes)})
            made = datetime(day.year, day.month, day.day, 22, tzinfo=UTC)
            journal.store_plan(day, plan.model_dump_json(), version=version, made=made)
        house.ledger.add_readings(readings("post", DAYS[:2]), received=NOW)
        held = evidence_of(house).held
        assert [one.said.minimum_c for one in held] == [5.0, 5.0]


# ---------------------------------------------------------------- what is told


def test_what_the_evidence_supports_is_said_with_its_strength_and_not_before(told):
    report = forecast_report(told)
    celsius = Household(told.yard()[0].display, evening_zone())
    (said,) = findings_words(report, celsius)
    assert said.startswith("Forecasts here run 1.")
    assert said.endswith("K too warm: beyond doubt, from 12 nights of this kind.")
    assert [one.lead for one in report.leads] == [0, 1, 2]
    first = report.leads[0]
    assert (first.nights, first.mean_k) == (12, pytest.approx(-1.5))
    assert first.score_after_k < first.score_before_k
    assert "with what was learned" in gain_words(report, celsius)[0]
    clear, _ = plan_words(report, celsius)
    assert "lower, and eight nights in ten within" in clear
    assert report.nights[0].error_k.p50 == 0.0  # nothing was known before the first night
    assert report.nights[-1].error_k.p50 < -0.8


def test_after_two_nights_nothing_is_said_to_be_sure(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        house = house_with_past(journal, tmp_path, forcing=forecast_of(DAYS[0], 1.5), clock=lambda: NOW)
        keep(journal, forecast_of(DAYS[1], 1.5))
        house.ledger.add_readings(readings("post", DAYS[:2]), received=NOW)
        celsius = Household(house.yard()[0].display, evening_zone())
        assert findings_words(forecast_report(house), celsius) == [
            "Nothing sure can be said yet of how forecasts miss here, after 2 nights."
        ]


# ---------------------------------------------------------------- into the plan


def test_nothing_learned_leaves_the_weather_of_a_plan_as_it_is(told):
    yard = told.yard()[0]
    forecast = forecast_of(date(2026, 12, 24), 0.0)
    evenings = evenings_ahead(yard.location, forecast, date(2026, 12, 24), 2, forecast.issued_utc)
    none = learned_errors_of_none()
    for errors in (None, none):
        same, issued = with_learned(forecast, evenings, errors, now=forecast.issued_utc)
        assert same is forecast
        assert issued == []


def learned_errors_of_none():
    from fruitwall.learning.forecasts import learn_errors

    return learn_errors([], [], [], [], [])


@pytest.mark.parametrize("members", [1, 7])
def test_what_was_learned_moves_the_minima_and_sets_their_spread(told, members):
    yard, errors = told.yard()[0], learned_errors(told)
    forecast = forecast_of(date(2026, 12, 24), 1.5, members=members)
    now = forecast.issued_utc
    evenings = evenings_ahead(yard.location, forecast, date(2026, 12, 24), 2, now)
    ensemble = dress(forecast, rng=generator(1), now=now)
    moved, issued = with_learned(ensemble, evenings, errors, now=now)
    assert [one.p50 for one in issued] == [one.minimum_c.p50 for one in station_nights(ensemble, evenings)]
    for before, after in zip(issued, station_nights(moved, evenings), strict=True):
        assert -1.6 < after.minimum_c.p50 - before.p50 < -0.7
        # A narrow ensemble of the source's own is not believed to be that sure.
        assert after.minimum_c.p90 - after.minimum_c.p10 > (0.8 if members > 1 else 1.5)


def test_a_plan_made_with_it_is_colder_and_keeps_what_was_issued(told):
    from fruitwall.service.beliefs import Beliefs

    yard = told.yard()[0]
    forecast = forecast_of(date(2026, 12, 24), 1.5)
    asked = {"now": forecast.issued_utc, "members": 9, "nights": 1}
    bare = plan_evening(yard, forecast, **asked)
    taught = plan_evening(yard, forecast, **asked, beliefs=Beliefs(errors=learned_errors(told)))
    assert bare.forecast.as_issued_c == []
    assert taught.forecast.as_issued_c == [bare.forecast.station_minimum_c]
    assert taught.forecast.station_minimum_c.p50 < bare.forecast.station_minimum_c.p50 - 0.7
    assert [text for text in taught.forecast.warnings if "lower than issued, as readings here have taught" in text]
    assert set(taught.forecast.warnings) > set(bare.forecast.warnings)
