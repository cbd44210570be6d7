"""Asking for the weather: what is kept, what is told, and that a failure takes nothing away."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fruitwall.errors import SourceUnavailable, WeatherError
from fruitwall.journal.forcing_file import MEDIA_TYPE, pack_forcing
from fruitwall.journal.opening import open_journal
from fruitwall.service import desk as evenings
from fruitwall.service import forecasts
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.forecasts import DEFAULT_SERVICE, Asked
from fruitwall.service.weather_desk import AFTER_FAILURE, AT_MOST_EVERY, TooSoon, WeatherDesk
from fruitwall.speech import say_again, speaking, told
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.yard.demo import demo_yard, demo_yard_text
from tests.web.sample import sample_plan

FORECAST = demo_forcing()


class Service:
    """Stands for the network: answers, fails, or has only an old answer."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.fails = ""
        self.note = ""
        self.fetched = demo_now()

    def __call__(self, yard, source, now, contact):
        self.asked.append(source)
        if self.fails:
            raise SourceUnavailable(self.fails)
        return Asked(FORECAST, self.fetched, self.note)


class Clock:
    def __init__(self) -> None:
        self.now = demo_now()

    def __call__(self):
        return self.now


@pytest.fixture
def service():
    return Service()


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def desk(tmp_path, service, clock):
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard(demo_yard_text(), name="yard", now=clock.now, author="test")
        yield WeatherDesk(journal, None, clock, ask=service)


def test_what_a_service_answered_is_kept_and_told(desk, service, clock):
    assert desk.last() == (None, None)
    forecast, history = desk.weather(demo_yard(), clock.now)

    assert (forecast.source, history) == (FORECAST.source, None)
    good, bad = desk.last()
    assert (good.source, good.fetched, bad) == (DEFAULT_SERVICE, service.fetched, None)
    assert desk.journal.latest_forecast().fetched == service.fetched
    # An answer of a service is no import: the next plan asks again.
    desk.weather(demo_yard(), clock.now)
    assert service.asked == [DEFAULT_SERVICE] * 2


def test_a_failure_leaves_the_last_good_forecast_in_use_and_is_told(desk, service, clock):
    desk.weather(demo_yard(), clock.now)
    service.fails = "the network is down"
    clock.now += timedelta(hours=1)
    forecast, _ = desk.weather(demo_yard(), clock.now)

    assert forecast.t_air_c.shape == FORECAST.t_air_c.shape
    assert any("the network is down" in warning for warning in forecast.warnings)
    good, bad = desk.last()
    assert (good.at, bad.at, bad.trouble) == (demo_now(), clock.now, "the network is down")

    with pytest.raises(TooSoon):
        desk.fetch_now()
    clock.now += AFTER_FAILURE
    with pytest.raises(SourceUnavailable):
        desk.fetch_now()
    assert desk.journal.latest_forecast().fetched == service.fetched
    assert desk.changes == 0

    service.fails = ""
    clock.now += AT_MOST_EVERY
    desk.fetch_now()
    assert desk.last()[1] is None


def test_a_failure_is_told_in_the_language_of_each_reader_whoever_asked(desk, service, clock):
    desk.weather(demo_yard(), clock.now)
    service.fails = told("no answer within {seconds:g} s", seconds=9)
    with speaking("es"):
        forecast, _ = desk.weather(demo_yard(), clock.now + timedelta(hours=1))
        spanish = "sin respuesta en 9 s"
        assert say_again(forecast.warnings[-1]) == f"no se pudo consultar de nuevo el servicio: {spanish}"
        assert desk.last()[1].trouble == spanish

    # A plan is kept in English, with what made each of its sentences.
    assert forecast.warnings[-1] == "the service could not be asked anew: no answer within 9 s"
    assert desk.last()[1].trouble == "no answer within 9 s"


@pytest.mark.parametrize(
    ("content", "english", "spanish"),
    [
        ("<html>", "this is a web page or XML", "esto es una página web o XML"),
        # What a layer below refuses stands in what the file is told to lack.
        ("time,t_air [C]\n2026-12-22T18:00Z,99\n2026-12-22T19:00Z,3\n", "is it in °F or K?", "¿está en °F o en K?"),
    ],
)
def test_why_a_forecast_cannot_be_read_is_told_in_the_language_of_each_reader(tmp_path, content, english, spanish):
    broken = tmp_path / "answer.csv"
    broken.write_text(content)
    with speaking("es"), pytest.raises(WeatherError) as caught:
        forecasts.weather_for(demo_yard(), str(broken), None, now=demo_now())

    assert english in str(caught.value)
    with speaking("es"):
        assert spanish in str(caught.value)


def test_without_any_kept_forecast_a_failure_is_told_to_the_asker(desk, service, clock):
    service.fails = "the network is down"
    with pytest.raises(SourceUnavailable, match="the network is down"):
        desk.weather(demo_yard(), clock.now)


def test_a_forecast_that_is_too_old_does_not_stand_in(desk, service, clock):
    desk.weather(demo_yard(), clock.now)
    service.fails = "the network is down"
    clock.now += timedelta(days=9)
    with pytest.raises(SourceUnavailable):
        desk.weather(demo_yard(), clock.now)


def test_an_old_answer_that_stood_in_is_no_success(desk, service, clock):
    service.note = "of yesterday: the service could not be asked"
    with pytest.raises(SourceUnavailable, match="of yesterday"):
        desk.fetch_now()
    assert desk.journal.latest_forecast() is None
    assert desk.weather(demo_yard(), clock.now)[0] is FORECAST


def test_a_service_is_not_asked_more_often_than_that_at_a_wish(desk, service, clock):
    desk.fetch_now()
    clock.now += AT_MOST_EVERY - timedelta(seconds=1)
    with pytest.raises(TooSoon, match="at most every 5"):
        desk.fetch_now()
    clock.now += timedelta(seconds=1)
    assert desk.fetch_now().at == clock.now
    assert len(service.asked) == 2


def test_two_who_ask_at_once_ask_once(desk, service):
    assert desk._asking.acquire(blocking=False)
    with pytest.raises(TooSoon, match="already"):
        desk.fetch_now()
    desk._asking.release()
    assert service.asked == []


def test_an_imported_forecast_comes_first_until_one_is_fetched_at_a_wish(desk, service, clock):
    body = pack_forcing(FORECAST.with_warnings("imported"))
    desk.journal.store_forecast(
        body, source="file", issued=FORECAST.issued_utc, fetched=clock.now, media_type=MEDIA_TYPE
    )
    assert "imported" in desk.weather(demo_yard(), clock.now)[0].warnings
    assert service.asked == []
    desk.fetch_now()
    assert "imported" not in desk.weather(demo_yard(), clock.now)[0].warnings


def test_the_chosen_service_is_asked_and_only_known_ones_can_be_chosen(desk, service, clock):
    desk.choose("met-norway", author="Ana")
    desk.weather(demo_yard(), clock.now)
    assert (desk.source, service.asked) == ("met-norway", ["met-norway"])
    with pytest.raises(WeatherError):
        desk.choose("https://evil.example/", author="Ana")
    assert desk.source == "met-norway"


def test_weather_that_was_named_at_the_start_is_neither_asked_for_nor_chosen(desk, service):
    named = WeatherDesk(desk.journal, None, desk.clock, forecast="forecast.csv", ask=service)
    assert named.source == "forecast.csv"
    with pytest.raises(WeatherError):
        named.fetch_now()
    assert service.asked == []


def test_plans_are_made_from_what_was_fetched_at_a_wish(desk, clock, service, monkeypatch):
    made = []
    monkeypatch.setattr(evenings, "plan_evening", lambda *_, **__: made.append(1) or sample_plan())
    its = EveningsDesk(desk.journal, None, desk.weather, clock, renewed=lambda: desk.changes)
    its.plan_for(sample_plan().night)
    its.plan_for(sample_plan().night)
    assert (len(service.asked), len(made)) == (1, 1)
    clock.now += AT_MOST_EVERY
    desk.fetch_now()
    its.plan_for(sample_plan().night)
    assert (len(service.asked), len(made)) == (3, 2)


def test_at_the_terminal_a_forecast_that_was_fetched_is_no_import_and_stands_in_when_the_network_fails(
    desk, clock, monkeypatch
):
    asked = []

    def read(yard, place, now, contact, heard=None):
        asked.append(place)
        raise SourceUnavailable("the network is down")

    monkeypatch.setattr(forecasts, "_read", read)
    with pytest.raises(SourceUnavailable):
        forecasts.weather_for(demo_yard(), None, None, now=clock.now, journal=desk.journal)
    desk.choose("met-norway", author="Ana")
    desk.fetch_now()
    forecast, _ = forecasts.weather_for(demo_yard(), None, None, now=clock.now, journal=desk.journal)
    assert asked == [DEFAULT_SERVICE, "met-norway"]
    assert any("the network is down" in warning for warning in forecast.warnings)
