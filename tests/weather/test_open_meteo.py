"""Open-Meteo's answers: real samples and hand-made frosts, and what goes wrong with them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.sources import open_meteo
from tests.weather.builders import JANUARY_NOW, YARD, sample

FROST = "HANDMADE_open_meteo_forecast_frost.json"
ENSEMBLE = "HANDMADE_open_meteo_ensemble_frost.json"


def document(name: str = FROST) -> dict:
    return json.loads(sample(name))


def parse(answer, *, now=JANUARY_NOW, **options):
    return open_meteo.parse(answer, where="open-meteo", place=YARD, now=now, **options)


def refused(answer, **options) -> str:
    with pytest.raises(WeatherError) as caught:
        parse(answer, **options)
    assert str(caught.value).startswith("open-meteo")
    return str(caught.value)


def test_a_real_answer_is_read_in_our_units():
    forcing = parse(document("open_meteo_forecast_trimmed.json"), now=datetime(2026, 10, 3, 12, tzinfo=UTC))

    assert forcing.t_air_c[0].tolist() == [11.8, 11.2, 11.0]
    assert forcing.wind_m_s[0, 0] == pytest.approx(9.0 / 3.6)
    assert forcing.cloud[0].tolist() == pytest.approx([0.01, 0.48, 0.47])
    assert forcing.elevation_m == 29.0


def test_local_stamps_become_utc():
    # 2026-10-03T00:00 in Amsterdam, two hours ahead.
    forcing = parse(document("open_meteo_forecast_trimmed.json"), now=datetime(2026, 10, 3, 12, tzinfo=UTC))
    assert forcing.start_utc == datetime(2026, 10, 2, 22, tzinfo=UTC)


def test_unix_times_are_utc_already():
    answer = document("open_meteo_forecast_trimmed.json")
    answer["hourly_units"]["time"] = "unixtime"
    first = int(datetime(2026, 10, 2, 22, tzinfo=UTC).timestamp())
    answer["hourly"]["time"] = [first, first + 3600, first + 7200]

    assert parse(answer, now=datetime(2026, 10, 3, 12, tzinfo=UTC)).start_utc == datetime(2026, 10, 2, 22, tzinfo=UTC)


def test_a_null_variable_with_an_undefined_unit_counts_as_missing():
    answer = document()
    answer["hourly"]["cloud_cover"] = [None] * 72
    answer["hourly_units"]["cloud_cover"] = "undefined"
    forcing = parse(answer)
    assert any("inferred from the sun" in warning for warning in forcing.warnings)


def test_an_ensemble_has_its_control_and_members():
    answer = document(ENSEMBLE)
    forcing = parse(answer)

    assert forcing.n_members == 31
    assert forcing.t_air_c[0].tolist() == answer["hourly"]["temperature_2m"]
    assert forcing.t_air_c[30].tolist() == answer["hourly"]["temperature_2m_member30"]
    assert forcing.source.endswith("ensemble of 31")


def test_a_real_ensemble_is_read():
    forcing = parse(document("open_meteo_ensemble_trimmed.json"), now=datetime(2026, 10, 3, 12, tzinfo=UTC))
    assert forcing.t_air_c.shape == (21, 2)


def test_a_variable_without_members_serves_all():
    answer = document(ENSEMBLE)
    answer["hourly"]["dew_point_2m"] = [-4.0] * 72
    answer["hourly_units"]["dew_point_2m"] = "°C"
    assert parse(answer).t_dew_c.shape == (31, 72)


def test_a_member_that_ends_early_is_left_out_and_told():
    answer = document(ENSEMBLE)
    answer["hourly"]["temperature_2m_member07"][60:] = [None] * 12
    answer["hourly"]["temperature_2m_member08"] = answer["hourly"]["temperature_2m_member08"][:50]
    forcing = parse(answer)

    assert forcing.n_members == 29
    assert forcing.n_times == 72
    assert any("2 of 31 members lack hours and were left out" in warning for warning in forcing.warnings)


def test_hours_that_most_members_lack_are_cut_off_and_told():
    answer = document(ENSEMBLE)
    for key, values in answer["hourly"].items():
        if key.startswith("temperature"):
            values[66:] = [None] * 6
    forcing = parse(answer)

    assert (forcing.n_members, forcing.n_times) == (31, 66)
    assert any("6 hours at the ends are missing" in warning for warning in forcing.warnings)


def test_a_null_within_is_refused_by_member_and_hour():
    answer = document(ENSEMBLE)
    answer["hourly"]["temperature_2m_member02"][20] = None
    assert "the air temperature of member 2 is missing at 2026-01-15 04:00 UTC" in refused(answer)


def test_a_missing_hour_is_refused():
    answer = document()
    for values in answer["hourly"].values():
        del values[30]
    assert "1 hour is missing between 2026-01-15 13:00 UTC and 2026-01-15 15:00 UTC" in refused(answer)


def test_the_time_of_asking_is_the_time_of_issue_and_earlier_hours_are_history():
    fetched = JANUARY_NOW
    forcing = parse(document(), fetched_utc=fetched)

    assert forcing.issued_utc == fetched
    assert forcing.n_history == 15  # 08:00 to 22:00 UTC
    assert not any("does not say when" in warning for warning in forcing.warnings)


def test_a_file_counts_from_its_first_hour_with_a_warning():
    forcing = parse(document())
    assert forcing.issued_utc == datetime(2026, 1, 14, 8, tzinfo=UTC)
    assert any("does not say when it was made" in warning for warning in forcing.warnings)


def test_an_old_file_is_refused():
    message = refused(document(), now=JANUARY_NOW + timedelta(days=3))
    assert "does not say when it was made and begins 86 h ago, so it may be old" in message


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d["hourly"].pop("temperature_2m"), "no hourly temperature_2m"),
        (lambda d: d["hourly"].pop("time"), "no time in the answer"),
        (lambda d: d["hourly"].update(time=["soon"] * 72), "should hold times such as"),
        (lambda d: d["hourly"]["wind_speed_10m"].append(3.0), "has 73 values for 72 times"),
        (lambda d: d["hourly_units"].update(wind_speed_10m="Bft"), '"Bft" is no unit of wind'),
        (lambda d: d["hourly"].update(cloud_cover=40), "should be a list, got 40"),
        (lambda d: d["hourly"].update(cloud_cover=["grey"] * 72), "should hold numbers, got 'grey'"),
        (lambda d: d.pop("utc_offset_seconds"), "no utc_offset_seconds"),
        (lambda d: d["hourly"].update(temperature_2m=[99.0] * 72), "t_air_c must be at least -90"),
    ],
)
def test_a_damaged_answer_is_refused_in_plain_words(change, words):
    answer = document()
    change(answer)
    assert words in refused(answer)


def test_several_models_in_one_answer_are_refused():
    answer = document()
    answer["hourly"]["temperature_2m_gfs_seamless"] = answer["hourly"].pop("temperature_2m")
    assert "holds several models, ask for one" in refused(answer)


@pytest.mark.parametrize("url", [open_meteo.forecast_url, open_meteo.ensemble_url])
def test_the_address_asks_for_all_variables_in_our_units(url):
    address = url(33.5, -117.0, 312.0)
    assert "latitude=33.5000&longitude=-117.0000&elevation=312" in address
    assert "wind_speed_unit=ms&timezone=UTC&past_days=7" in address
    for variable in open_meteo.VARIABLES:
        assert variable in address


def test_members_follow_each_other_in_order():
    answer = document(ENSEMBLE)
    for number in range(1, 31):
        answer["hourly"][f"temperature_2m_member{number:02d}"] = [float(number)] * 72
    assert parse(answer).t_air_c[1:, 0].tolist() == np.arange(1.0, 31.0).tolist()
