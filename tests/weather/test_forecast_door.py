"""One door to all forecasts: recognised by content, asked for by name, refused in one clear message."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import httpx2
import pytest

from fruitwall.errors import SourceUnavailable, WeatherError
from fruitwall.weather import fetch
from fruitwall.weather.sources import SERVICES, read_forecast
from fruitwall.weather.sources.forecast import recognise
from tests.weather.builders import JANUARY_NOW, SAMPLES, YARD, sample

FGZ = {
    "latitude_deg": 35.2,
    "longitude_deg": -111.65,
    "elevation_m": 2130.0,
    "now": datetime(2024, 2, 20, 21, tzinfo=UTC),
}
HOME = {
    "latitude_deg": YARD.latitude_deg,
    "longitude_deg": YARD.longitude_deg,
    "elevation_m": YARD.elevation_m,
    "now": JANUARY_NOW,
}


@pytest.fixture(autouse=True)
def _no_pauses(monkeypatch):
    monkeypatch.setattr(fetch, "FIRST_PAUSE_S", 0.0)


def client(answers: dict[str, str], asked: list[str] | None = None) -> httpx2.Client:
    """A network in which each part of an address has its answer."""

    def answer(request: httpx2.Request) -> httpx2.Response:
        if asked is not None:
            asked.append(str(request.url))
        for part, text in answers.items():
            if part in str(request.url):
                return httpx2.Response(200, text=text)
        raise httpx2.ConnectError("unplugged")

    return httpx2.Client(transport=httpx2.MockTransport(answer))


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("nws_gridpoint_raw_tae.json", "nws-grid"),
        ("nws_forecast_hourly_us.json", "nws-hourly"),
        ("nws_points.json", "nws-points"),
        ("nws_gridpoint_stations.json", "collection"),
        ("nws_station_observation_latest.json", "observation"),
        ("metno_locationforecast_compact_oslo.json", "met-norway"),
        ("open_meteo_forecast_trimmed.json", "open-meteo"),
        ("HANDMADE_open_meteo_ensemble_frost.json", "open-meteo"),
    ],
)
def test_answers_are_recognised_by_what_they_hold(name, kind):
    assert recognise(json.loads(sample(name))) == kind


@pytest.mark.parametrize(
    ("name", "members"),
    [
        ("HANDMADE_metno_complete_frost.json", 1),
        ("HANDMADE_open_meteo_forecast_frost.json", 1),
        ("HANDMADE_open_meteo_ensemble_frost.json", 31),
    ],
)
def test_a_file_of_any_name_is_read(name, members, tmp_path):
    path = tmp_path / "evening.txt"
    path.write_text(sample(name), encoding="utf-8")

    forcing = read_forecast(path, **HOME)

    assert forcing.n_members == members
    assert forcing.t_air_c.min() < 0


def test_a_csv_file_is_read(tmp_path):
    path = tmp_path / "evening.csv"
    rows = [f"2026-01-{14 + (h + 20) // 24}T{(h + 20) % 24:02d}:00Z,{40 - h * 0.3}" for h in range(30)]
    path.write_text("time,t_air [F]\n" + "\n".join(rows))

    assert read_forecast(str(path), **HOME).t_air_c[0, 0] == pytest.approx(40 / 1.8 - 32 / 1.8)


# ---------------------------------------------------------------- services by name


def test_nws_looks_the_place_up_and_follows_to_its_grid():
    asked: list[str] = []
    points = sample("nws_points.json").replace("TAE/58,65", "FGZ/74,89")
    network = client({"/points/": points, "/gridpoints/FGZ/74,89": sample("nws_gridpoint_raw_fgz_freeze.json")}, asked)

    forcing = read_forecast("nws", client=network, **FGZ)

    assert asked == ["https://api.weather.gov/points/35.2000,-111.6500", "https://api.weather.gov/gridpoints/FGZ/74,89"]
    assert forcing.source == "US National Weather Service, grid FGZ 74,89"


@pytest.mark.parametrize("place", ["https://api.weather.gov", "https://api.weather.gov/", "nws"])
def test_the_start_page_of_the_us_service_stands_for_its_lookup(place):
    asked: list[str] = []
    network = client({"/points/": sample("nws_points.json")}, asked)
    with pytest.raises(SourceUnavailable, match=r"api\.weather\.gov could not be asked"):
        read_forecast(place, client=network, **FGZ)
    assert asked[0].startswith("https://api.weather.gov/points/")
    assert asked[-1].endswith("/gridpoints/TAE/58,65")


def test_met_norway_is_asked_for_the_yard_with_its_height():
    asked: list[str] = []
    network = client({"api.met.no": sample("HANDMADE_metno_complete_frost.json")}, asked)

    read_forecast("met-norway", client=network, **HOME)

    assert "lat=33.5000&lon=-117.0000&altitude=300" in asked[0]


@pytest.mark.parametrize(("place", "members"), [("open-meteo", 1), ("open-meteo-ensemble", 31)])
def test_open_meteo_is_asked_and_dated_by_when_it_was_asked(place, members):
    network = client(
        {
            "ensemble-api": sample("HANDMADE_open_meteo_ensemble_frost.json"),
            "api.open-meteo.com/v1/forecast": sample("HANDMADE_open_meteo_forecast_frost.json"),
        }
    )
    forcing = read_forecast(place, client=network, **HOME)

    assert forcing.n_members == members
    assert forcing.issued_utc == JANUARY_NOW


def test_a_kept_answer_served_offline_says_so_in_source_and_warnings(tmp_path):
    answers = {"api.met.no": sample("HANDMADE_metno_complete_frost.json")}
    read_forecast("met-norway", client=client(answers), cache_dir=tmp_path, **HOME)

    later = {**HOME, "now": JANUARY_NOW + timedelta(hours=3)}
    forcing = read_forecast("met-norway", client=client({}), cache_dir=tmp_path, **later)

    assert "kept copy" in forcing.source
    assert "3.0 h old" in forcing.source
    assert any("could not be asked" in warning for warning in forcing.warnings)


def test_offline_without_a_kept_answer_is_unavailable(tmp_path):
    with pytest.raises(SourceUnavailable, match=r"api.met.no could not be asked .*give a forecast file"):
        read_forecast("met-norway", client=client({}), cache_dir=tmp_path, **HOME)


# ---------------------------------------------------------------- refused


def refused(text: str, tmp_path, **options) -> str:
    path = tmp_path / "forecast"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(WeatherError) as caught:
        read_forecast(path, **{**HOME, **options})
    message = str(caught.value)
    assert "\n" not in message
    return message


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nws_points.json", "give the answer of its forecastGridData address"),
        ("nws_gridpoint_stations.json", "this is a collection"),
        ("nws_station_observation_latest.json", "this is one observation"),
        ("nws_forecast_12h_us.json", "forecast by half days"),
    ],
)
def test_answers_without_hours_are_refused_with_what_to_give(name, words, tmp_path):
    assert words in refused(sample(name), tmp_path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<!DOCTYPE html><html></html>", "this is a web page or XML"),
        ('{"a": [1, 2', "no valid JSON (line 1, column"),
        ("{}", "no forecast that fruitwall knows"),
        ("[]", "no forecast that fruitwall knows"),
        ('{"error": true, "reason": "Latitude must be in range"}', "reports an error: Latitude must be in range"),
        ('{"status": 404, "detail": "No data"}', "reports an error: No data"),
        ("[" * 100_000, "nested this deeply"),
        ('[{"hourly": {}, "hourly_units": {}}]', "this holds several places"),
        ("", "the file is empty"),
    ],
)
def test_what_is_no_forecast_is_refused(text, words, tmp_path):
    assert words in refused(text, tmp_path)


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
def test_nan_in_json_is_refused(word, tmp_path):
    text = sample("HANDMADE_open_meteo_forecast_frost.json").replace("-1.3", word, 1)
    assert f"holds {word}, which is no value" in refused(text, tmp_path)


def test_a_forecast_for_another_place_is_refused(tmp_path):
    text = sample("HANDMADE_open_meteo_forecast_frost.json")
    assert "is for another place" in refused(text, tmp_path, latitude_deg=35.0)


def test_a_forecast_of_another_year_is_refused(tmp_path):
    text = sample("HANDMADE_metno_complete_frost.json")
    assert "at most 48 h are accepted" in refused(text, tmp_path, now=datetime(2027, 1, 14, 22, tzinfo=UTC))


def test_a_forecast_without_the_morning_is_refused(tmp_path):
    answer = json.loads(sample("HANDMADE_metno_complete_frost.json"))
    answer["properties"]["timeseries"] = answer["properties"]["timeseries"][:14]
    assert "before the night is over" in refused(json.dumps(answer), tmp_path)


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(WeatherError, match="no such file"):
        read_forecast(tmp_path / "nothing.csv", **HOME)


def test_a_misspelt_service_is_refused_with_those_there_are():
    with pytest.raises(WeatherError, match="no such file, nor a service; services are nws, met-norway, open-meteo"):
        read_forecast("open-meto", **HOME)


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(WeatherError, match="cannot be read"):
        read_forecast(tmp_path, **HOME)


def test_a_binary_file_is_refused(tmp_path):
    path = tmp_path / "photo.csv"
    path.write_bytes(b"\x89PNG\r\n\xff\xfe")
    with pytest.raises(WeatherError, match="no UTF-8 text"):
        read_forecast(path, **HOME)


def test_the_samples_hold_no_address_of_a_person():
    for path in SAMPLES.glob("*.json"):
        assert "@gmail" not in path.read_text(encoding="utf-8")
    assert len(SERVICES) == 4
