"""MET Norway's answers: real samples and a hand-made frost, and what goes wrong with them."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.sources import met_norway
from tests.weather.builders import YARD, sample

FROST = "HANDMADE_metno_complete_frost.json"
OSLO = "metno_locationforecast_compact_oslo.json"


def document(name: str = FROST) -> dict:
    return json.loads(sample(name))


def parse(answer):
    return met_norway.parse(answer, where="api.met.no", place=YARD)


def refused(answer) -> str:
    with pytest.raises(WeatherError) as caught:
        parse(answer)
    assert str(caught.value).startswith("api.met.no")
    return str(caught.value)


def test_a_real_compact_answer_is_read_with_dew_point_from_humidity():
    forcing = parse(document(OSLO))

    assert forcing.n_times == 14
    assert forcing.start_utc == datetime(2023, 11, 17, 19, tzinfo=UTC)
    assert forcing.issued_utc == datetime(2023, 11, 17, 18, 40, 9, tzinfo=UTC)
    assert forcing.t_air_c[0, :2].tolist() == [-2.7, -3.0]
    assert forcing.wind_m_s[0, 0] == 1.5
    assert forcing.cloud[0, 0] == pytest.approx(0.071)
    # 83.8 % at -2.7 °C: 5.08 hPa; the dew point over water is 2.3 K lower.
    assert forcing.t_air_c[0, 0] - forcing.t_dew_c[0, 0] == pytest.approx(2.36, abs=0.1)
    assert (forcing.latitude_deg, forcing.longitude_deg, forcing.elevation_m) == (59.9212, 10.7338, 27.0)
    assert "CC BY 4.0" in forcing.source


def test_the_six_hourly_tail_becomes_hours_and_is_told():
    forcing = parse(document())

    assert np.diff(forcing.time_utc).astype(int).tolist() == [3600] * 120
    assert forcing.end_utc == datetime(2026, 1, 19, 18, tzinfo=UTC)
    assert any("values every six hours only" in warning for warning in forcing.warnings)


def test_values_at_the_services_own_times_stay():
    answer = document()
    forcing = parse(answer)
    for step in answer["properties"]["timeseries"]:
        spot = int(np.searchsorted(forcing.time_utc, np.datetime64(step["time"].rstrip("Z"))))
        details = step["data"]["instant"]["details"]
        assert forcing.t_air_c[0, spot] == pytest.approx(details["air_temperature"])
        assert forcing.wind_m_s[0, spot] == pytest.approx(details["wind_speed"])


def test_a_coarse_step_reaches_the_lowest_temperature_of_its_period():
    answer = document()
    steps = answer["properties"]["timeseries"]
    coarse = next(i for i in range(len(steps)) if steps[i]["time"] == "2026-01-18T06:00:00Z")
    ends = [steps[i]["data"]["instant"]["details"]["air_temperature"] for i in (coarse, coarse + 1)]
    steps[coarse]["data"]["next_6_hours"]["details"]["air_temperature_min"] = min(ends) - 3.0

    forcing = parse(answer)

    first = int(np.searchsorted(forcing.time_utc, np.datetime64("2026-01-18T06:00")))
    inside = forcing.t_air_c[0, first : first + 7]
    assert inside.min() == pytest.approx(min(ends) - 3.0)
    assert [inside[0], inside[6]] == pytest.approx(ends)


def test_rain_counts_for_the_hour_that_ends_and_the_shortest_period_wins():
    answer = document()
    steps = answer["properties"]["timeseries"]
    for step in steps:
        for key in ("next_1_hours", "next_6_hours"):
            if key in step["data"]:
                step["data"][key]["details"]["precipitation_amount"] = 0.0
    steps[3]["data"]["next_1_hours"]["details"]["precipitation_amount"] = 2.0
    steps[3]["data"]["next_6_hours"]["details"]["precipitation_amount"] = 60.0
    steps[-3]["data"]["next_6_hours"]["details"]["precipitation_amount"] = 12.0

    rain = parse(answer).rain_mm[0]

    assert rain[4] == 2.0
    assert rain[:4].sum() == 0
    assert rain[-12:-6].tolist() == [2.0] * 6
    assert rain.sum() == pytest.approx(14.0)


def test_sun_is_computed_and_told():
    forcing = parse(document())
    assert forcing.shortwave_w_m2.max() > 400
    assert any("no sun given" in warning for warning in forcing.warnings)


def test_a_missing_hour_in_the_hourly_part_is_refused():
    answer = document()
    del answer["properties"]["timeseries"][10]
    assert "hours are missing between 2026-01-15 03:00 UTC and 2026-01-15 05:00 UTC" in refused(answer)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            lambda p: p["timeseries"][4]["data"]["instant"]["details"].pop("air_temperature"),
            "air temperature is missing",
        ),
        (lambda p: p["timeseries"][4].update(time="2026-01-14T22:00:00"), "should be a time with offset"),
        (lambda p: p["timeseries"][4].update(time="2026-01-14T18:00:00Z"), "does not come after the one before"),
        (lambda p: p["meta"]["units"].update(wind_speed="furlongs"), '"furlongs" is no unit of wind'),
        (lambda p: p["meta"]["units"].pop("air_temperature"), '"" is no unit of temperature'),
        (lambda p: p.update(timeseries=[]), "at least two are needed"),
        (lambda p: p["meta"].pop("updated_at"), "no properties.meta.updated_at"),
        (lambda p: p["timeseries"].__delitem__(slice(-10, -1)), "comes more than 12 h after"),
    ],
)
def test_a_damaged_answer_is_refused_in_plain_words(change, words):
    answer = document()
    change(answer["properties"])
    assert words in refused(answer)


def test_one_step_is_no_forecast():
    assert "holds 1 times" in refused(document("metno_locationforecast_complete_one_step.json"))


def test_the_address_has_four_decimals_and_the_height():
    assert met_norway.forecast_url(33.123456, -117.98765, 312.4) == (
        "https://api.met.no/weatherapi/locationforecast/2.0/complete?lat=33.1235&lon=-117.9877&altitude=312"
    )
