"""The US service's answers: real samples, and what goes wrong with them."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.sources import nws
from tests.weather.builders import YARD, sample


def grid(name: str = "nws_gridpoint_raw_fgz_freeze.json") -> dict:
    return json.loads(sample(name))


def parse(document, reader=nws.parse_grid):
    return reader(document, where="api.weather.gov", place=YARD)


def at(forcing, moment: str) -> int:
    return int(np.searchsorted(forcing.time_utc, np.datetime64(moment)))


def refused(document, reader=nws.parse_grid) -> str:
    with pytest.raises(WeatherError) as caught:
        parse(document, reader)
    assert str(caught.value).startswith("api.weather.gov")
    return str(caught.value)


def test_layers_of_many_lengths_become_hours():
    forcing = parse(grid())

    # 2024-02-20T17:00/PT3H -2.22, T20:00/PT1H -3.33 (read in the sample)
    first = forcing.t_air_c[0, :4]
    assert first.tolist() == pytest.approx([-2.2222, -2.2222, -2.2222, -3.3333], abs=1e-3)
    assert forcing.wind_m_s[0, 0] == pytest.approx(11.112 / 3.6)
    assert forcing.cloud[0, 0] == pytest.approx(0.81)
    assert forcing.issued_utc == datetime(2024, 2, 20, 17, 13, 54, tzinfo=UTC)


def test_the_forecast_ends_with_its_shortest_layer():
    # Temperature ends at 24 February 07:00, dew point and wind go on.
    assert parse(grid()).end_utc == datetime(2024, 2, 24, 7, tzinfo=UTC)


def test_place_and_height_are_the_grid_cells():
    forcing = parse(grid())
    assert (forcing.latitude_deg, forcing.longitude_deg) == pytest.approx((35.2, -111.65), abs=0.01)
    assert forcing.elevation_m == pytest.approx(2129.9424)
    assert forcing.source == "US National Weather Service, grid FGZ 74,89"


def test_rain_of_six_hours_is_spread_over_the_hours_that_end_inside():
    document = grid()
    document["properties"]["quantitativePrecipitation"]["values"] = [
        {"validTime": "2024-02-21T00:00:00+00:00/PT6H", "value": 12}
    ]
    forcing = parse(document)

    wet = np.flatnonzero(forcing.rain_mm[0])
    assert forcing.rain_mm[0, wet].tolist() == [2.0] * 6
    assert wet[0] == at(forcing, "2024-02-21T01:00")


def test_nights_reach_the_services_own_minimum():
    document = grid()
    document["properties"]["minTemperature"]["values"] = [
        {"validTime": "2024-02-22T08:00:00+00:00/PT14H", "value": -12.0}
    ]
    plain, reached = (
        parse({**document, "properties": {**document["properties"], "minTemperature": None}}),
        parse(document),
    )

    inside = slice(at(plain, "2024-02-22T08:00"), at(plain, "2024-02-22T22:00"))
    assert plain.t_air_c[0, inside].min() > -12.0
    assert reached.t_air_c[0, inside].min() == pytest.approx(-12.0)
    assert reached.t_air_c[0, inside].max() == plain.t_air_c[0, inside].max()
    assert reached.t_air_c[0, inside].argmin() == plain.t_air_c[0, inside].argmin()


def test_a_minimum_above_the_hours_changes_nothing():
    document = grid()
    document["properties"]["minTemperature"]["values"] = [
        {"validTime": "2024-02-22T08:00:00+00:00/PT14H", "value": 5.0}
    ]
    without = {**document, "properties": {**document["properties"], "minTemperature": None}}
    assert (parse(document).t_air_c == parse(without).t_air_c).all()


def test_the_dew_point_comes_from_humidity_where_its_layer_is_missing():
    document = grid()
    del document["properties"]["dewpoint"]
    forcing = parse(document)

    # 85 % at -2.2 °C: 2.1 K below the air (FAO-56 eq. 11).
    assert forcing.t_air_c[0, 0] - forcing.t_dew_c[0, 0] == pytest.approx(2.2, abs=0.15)


def test_single_nulls_in_the_wind_are_bridged_and_told():
    document = grid()
    document["properties"]["windSpeed"]["values"][5]["value"] = None
    forcing = parse(document)
    assert any("wind was missing for single hours" in warning for warning in forcing.warnings)


def test_a_null_temperature_is_refused_by_its_hour():
    document = grid()
    document["properties"]["temperature"]["values"][5]["value"] = None
    start = document["properties"]["temperature"]["values"][5]["validTime"][:16].replace("T", " ")
    assert f"the air temperature is missing at {start} UTC" in refused(document)


def test_a_hole_between_two_values_is_refused():
    document = grid()
    removed = document["properties"]["temperature"]["values"].pop(10)
    assert f"missing at {removed['validTime'][:16].replace('T', ' ')} UTC" in refused(document)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p.pop("temperature"), "properties.temperature is missing or empty"),
        (lambda p: p["temperature"].update(uom="wmoUnit:bananas"), '"wmoUnit:bananas" is no unit of temperature'),
        (lambda p: p["temperature"].pop("uom"), "no uom in the answer"),
        (lambda p: p["temperature"]["values"][0].update(validTime="yesterday"), "expected a time and duration"),
        (lambda p: p["temperature"]["values"][0].update(value="cold"), "should hold numbers, got 'cold'"),
        (lambda p: p["temperature"]["values"][0].update(validTime="2024-02-20T17:00:00/PT3H"), "a time with offset"),
        (lambda p: p["skyCover"]["values"][0].update(validTime="2024-02-20T17:00:00+00:00/P999D"), "more hours than"),
        (lambda p: p.pop("updateTime"), "no properties.updateTime"),
    ],
)
def test_a_damaged_answer_is_refused_in_plain_words(change, words):
    document = grid()
    change(document["properties"])
    assert words in refused(document)


def test_fahrenheit_labelled_as_celsius_is_refused():
    document = grid()
    for value in document["properties"]["temperature"]["values"]:
        value["value"] = value["value"] * 1.8 + 80
    assert "t_air_c must be at least -90 and at most 60" in refused(document)


# ---------------------------------------------------------------- hourly forecast


def hourly(name: str) -> dict:
    return json.loads(sample(name))


def test_us_and_si_units_give_the_same_weather():
    us = parse(hourly("nws_forecast_hourly_us.json"), nws.parse_hourly)
    si = parse(hourly("nws_forecast_hourly_si.json"), nws.parse_hourly)

    assert us.t_air_c[0] == pytest.approx(si.t_air_c[0], abs=0.1)  # 78 °F and 25.5 °C, whole degrees in the first
    assert us.t_dew_c[0].tolist() == si.t_dew_c[0].tolist() == [5.0, 5.0]  # dew point is in °C in both


def test_a_frosty_hourly_forecast_is_read():
    forcing = parse(hourly("nws_forecast_hourly_oax_freeze.json"), nws.parse_hourly)

    assert forcing.n_times == 60
    assert forcing.t_air_c[0, 0] == pytest.approx((19 - 32) / 1.8)
    assert forcing.wind_m_s[0, 0] == pytest.approx(3 * 0.44704)
    assert forcing.cloud[0, :3].tolist() == [0.7, 0.7, 0.4]  # icons bkn, bkn, sct


@pytest.mark.parametrize(
    ("text", "m_s"), [("5 to 10 mph", 7.5 * 0.44704), ("15 mph", 15 * 0.44704), ("10 km/h", 10 / 3.6)]
)
def test_wind_in_words_is_read(text, m_s):
    document = hourly("nws_forecast_hourly_us.json")
    document["properties"]["periods"][0]["windSpeed"] = text
    assert parse(document, nws.parse_hourly).wind_m_s[0, 0] == pytest.approx(m_s)


def test_wind_as_an_object_is_read():
    document = hourly("nws_forecast_hourly_us.json")
    document["properties"]["periods"][0]["windSpeed"] = {"unitCode": "wmoUnit:km_h-1", "value": 18}
    assert parse(document, nws.parse_hourly).wind_m_s[0, 0] == pytest.approx(5.0)


def test_wind_that_cannot_be_read_is_refused():
    document = hourly("nws_forecast_hourly_us.json")
    document["properties"]["periods"][1]["windSpeed"] = "breezy"
    assert "properties.periods[1].windSpeed should be like" in refused(document, nws.parse_hourly)


@pytest.mark.parametrize(
    ("icon", "words", "cloud"),
    [
        ("https://api.weather.gov/icons/land/night/wind_few?size=small", "", 0.2),
        ("https://api.weather.gov/icons/land/night/rain_showers,40?size=small", "", 0.95),
        (None, "Mostly Cloudy", 0.7),
        (None, "Patchy Fog", 0.95),
        ("", "Sunny", 0.05),
    ],
)
def test_sky_cover_comes_from_icon_or_words(icon, words, cloud):
    document = hourly("nws_forecast_hourly_us.json")
    document["properties"]["periods"][0].update(icon=icon, shortForecast=words)
    assert parse(document, nws.parse_hourly).cloud[0, 0] == cloud


def test_half_day_periods_are_refused_with_what_to_ask_for():
    message = refused(hourly("nws_forecast_12h_us.json"), nws.parse_hourly)
    assert "forecast by half days" in message
    assert "forecastGridData" in message


def test_the_lookup_asks_for_four_decimals():
    assert nws.points_url(33.123456, -117.98765) == "https://api.weather.gov/points/33.1235,-117.9877"
    url = nws.grid_url(json.loads(sample("nws_points.json")), "api.weather.gov")
    assert url == "https://api.weather.gov/gridpoints/TAE/58,65"
