"""Asking services: cache, validators, retries and being offline, against a fake transport and a loopback server."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

import httpx2
import pytest

from fruitwall.errors import SourceUnavailable, WeatherError
from fruitwall.speech import speaking
from fruitwall.weather import fetch as module
from fruitwall.weather.fetch import fetch, user_agent

URL = "https://weather.example/forecast?lat=33.5"
NOW = datetime(2026, 12, 22, 22, 30, tzinfo=UTC)


class Service:
    """A service that answers from a list (the last answer again and again) and remembers what it was asked."""

    def __init__(self, *answers: httpx2.Response | Exception | Callable[[httpx2.Request], httpx2.Response]) -> None:
        self.answers = list(answers)
        self.requests: list[httpx2.Request] = []
        self.pauses: list[float] = []

    def __call__(self, request: httpx2.Request) -> httpx2.Response:
        self.requests.append(request)
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if isinstance(answer, Exception):
            raise answer
        return answer(request) if callable(answer) else answer

    def ask(self, *, now: datetime = NOW, cache_dir=None, url: str = URL, **options):
        with httpx2.Client(transport=httpx2.MockTransport(self), follow_redirects=True, max_redirects=5) as client:
            return fetch(url, now=now, cache_dir=cache_dir, client=client, pause=self.pauses.append, **options)


def ok(text: str = "{}", **headers: str) -> Callable[[httpx2.Request], httpx2.Response]:
    return lambda _request: httpx2.Response(
        200, text=text, headers={k.replace("_", "-"): v for k, v in headers.items()}
    )


def status(code: int, **headers: str) -> Callable[[httpx2.Request], httpx2.Response]:
    return lambda _request: httpx2.Response(code, headers={k.replace("_", "-"): v for k, v in headers.items()})


def test_the_request_names_program_and_contact():
    service = Service(ok())
    service.ask(contact="ana@example.org")
    assert service.requests[0].headers["user-agent"].startswith("fruitwall/")
    assert "(ana@example.org)" in service.requests[0].headers["user-agent"]


def test_a_contact_cannot_smuggle_in_a_header():
    assert "\n" not in user_agent("a\r\nX-Evil: 1")
    assert user_agent("  \n ").endswith("(no contact given)")


# ---------------------------------------------------------------- cache


def test_an_answer_is_not_asked_for_again_before_it_expires(tmp_path):
    service = Service(ok("first", expires=format_datetime(NOW + timedelta(minutes=30), usegmt=True)))

    first = service.ask(cache_dir=tmp_path)
    second = service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=29))

    assert len(service.requests) == 1
    assert (first.text, second.text) == ("first", "first")
    assert second.fetched_utc == NOW
    assert second.note == ""


def test_after_it_expires_the_service_is_asked_whether_it_changed(tmp_path):
    stamp = format_datetime(NOW, usegmt=True)
    service = Service(ok("first", cache_control="max-age=600", last_modified=stamp, etag='"a"'), status(304))

    service.ask(cache_dir=tmp_path)
    later = service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=11))

    assert service.requests[1].headers["if-modified-since"] == stamp  # as it was given, the terms say
    assert service.requests[1].headers["if-none-match"] == '"a"'
    assert later.text == "first"
    assert later.fetched_utc == NOW + timedelta(minutes=11)
    assert later.note == ""


def test_validators_survive_a_304_that_does_not_repeat_them(tmp_path):
    service = Service(ok("first", cache_control="max-age=60", etag='"a"'), status(304, cache_control="max-age=60"))
    for minutes in (0, 2, 4):
        service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=minutes))
    assert service.requests[2].headers["if-none-match"] == '"a"'


def test_a_changed_answer_replaces_the_kept_one(tmp_path):
    service = Service(ok("first", cache_control="max-age=60"), ok("second", cache_control="max-age=60"))
    service.ask(cache_dir=tmp_path)
    assert service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=2)).text == "second"
    assert service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=2, seconds=30)).text == "second"
    assert len(service.requests) == 2


def test_without_word_of_the_service_an_answer_is_fresh_for_a_quarter_of_an_hour(tmp_path):
    service = Service(ok("first"))
    service.ask(cache_dir=tmp_path)
    service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=14))
    service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=16))
    assert len(service.requests) == 2


def test_no_cache_is_asked_every_time(tmp_path):
    service = Service(ok("first", cache_control="no-cache"))
    service.ask(cache_dir=tmp_path)
    service.ask(cache_dir=tmp_path)
    assert len(service.requests) == 2


def test_expiry_is_counted_on_the_services_clock(tmp_path):
    wrong = NOW - timedelta(days=400)  # our clock is a year ahead
    service = Service(
        ok(
            "first",
            date=format_datetime(wrong, usegmt=True),
            expires=format_datetime(wrong + timedelta(minutes=30), usegmt=True),
        )
    )
    service.ask(cache_dir=tmp_path)
    service.ask(cache_dir=tmp_path, now=NOW + timedelta(minutes=29))
    assert len(service.requests) == 1


def test_an_answer_kept_in_the_future_of_an_earlier_evening_is_not_used(tmp_path):
    service = Service(ok("first", cache_control="max-age=86400"))
    service.ask(cache_dir=tmp_path)
    service.ask(cache_dir=tmp_path, now=NOW - timedelta(days=3))
    assert len(service.requests) == 2


def test_a_damaged_kept_answer_counts_as_none(tmp_path):
    service = Service(ok("first", cache_control="max-age=600"))
    service.ask(cache_dir=tmp_path)
    (kept,) = tmp_path.glob("*.json")
    kept.write_text(kept.read_text()[:20])

    assert service.ask(cache_dir=tmp_path).text == "first"
    assert len(service.requests) == 2


def test_a_folder_that_cannot_be_written_costs_the_cache_only(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert Service(ok("first")).ask(cache_dir=blocked / "cache").text == "first"


def test_nothing_half_written_stays_behind(tmp_path):
    Service(ok("first")).ask(cache_dir=tmp_path)
    assert [path.suffix for path in tmp_path.iterdir()] == [".json"]


# ---------------------------------------------------------------- trouble


def test_a_passing_fault_is_tried_again():
    service = Service(status(503), httpx2.ConnectTimeout("slow"), ok("at last"))
    assert service.ask().text == "at last"
    assert service.pauses == [1.0, 2.0]


def test_a_service_is_left_alone_as_long_as_it_asks():
    service = Service(status(429, retry_after="7"), ok("now"))
    assert service.ask().text == "now"
    assert service.pauses == [7.0]


def test_a_date_to_wait_for_is_understood():
    service = Service(status(503, retry_after=format_datetime(NOW + timedelta(seconds=9), usegmt=True)), ok("now"))
    service.ask()
    assert service.pauses == [9.0]


def test_a_long_wait_is_not_sat_out():
    service = Service(status(429, retry_after="3600"))
    with pytest.raises(SourceUnavailable, match=r"answered 429 and asks to be left alone until 23:30 UTC"):
        service.ask()
    assert len(service.requests) == 1
    assert service.pauses == []


def test_offline_says_what_was_tried_and_what_to_do():
    service = Service(httpx2.ConnectError("no route to host"))
    with pytest.raises(SourceUnavailable) as caught:
        service.ask()
    message = str(caught.value)
    assert "weather.example could not be asked (no connection (no route to host), 3 tries)" in message
    assert "give a forecast file" in message
    assert URL not in message  # a line long, and of no use to who reads it
    assert len(service.requests) == 3


def test_a_failure_is_said_in_the_language_of_whoever_reads_it_and_kept_in_english():
    service = Service(httpx2.ConnectError("no route to host"))
    with speaking("es"), pytest.raises(SourceUnavailable) as caught:
        service.ask()
    with speaking("es"):
        assert "(sin conexión (no route to host), 3 intentos)" in str(caught.value)
    assert "(no connection (no route to host), 3 tries)" in str(caught.value)
    assert "(no connection (no route to host), 3 tries)" in caught.value.kept


def test_offline_a_kept_answer_serves_with_its_age_in_plain_sight(tmp_path):
    service = Service(ok("first"), httpx2.ConnectError("no route to host"))
    service.ask(cache_dir=tmp_path)

    stale = service.ask(cache_dir=tmp_path, now=NOW + timedelta(hours=5))

    assert stale.text == "first"
    assert stale.fetched_utc == NOW
    assert "could not be asked" in stale.note
    assert "its answer of 2026-12-22 22:30 UTC, 5.0 h old" in stale.note


def test_a_kept_answer_of_the_day_before_yesterday_does_not_serve(tmp_path):
    service = Service(ok("first"), httpx2.ConnectError(""))
    service.ask(cache_dir=tmp_path)
    with pytest.raises(SourceUnavailable, match=r"no forecast since 2026-12-22 22:30 UTC.*too old to use"):
        service.ask(cache_dir=tmp_path, now=NOW + timedelta(hours=37))


@pytest.mark.parametrize(
    ("code", "words"), [(403, "refuses to answer"), (401, "may want a contact"), (400, "cannot answer this request")]
)
def test_a_refusal_is_not_tried_again(code, words):
    service = Service(status(code))
    with pytest.raises(WeatherError, match=words):
        service.ask()
    assert len(service.requests) == 1


def test_a_place_outside_the_united_states_is_told_as_such():
    service = Service(status(404))
    with pytest.raises(WeatherError, match="covers the United States only"):
        service.ask(url="https://api.weather.gov/points/52.0000,5.0000")


def test_an_endless_answer_is_cut_off(monkeypatch):
    monkeypatch.setattr(module, "LARGEST_ANSWER_BYTES", 1000)
    with pytest.raises(WeatherError, match="the answer is larger than"):
        Service(ok("x" * 5000)).ask()


def test_an_answer_that_is_no_text_is_refused():
    service = Service(lambda _request: httpx2.Response(200, content=b"\xff\xfe\x00"))
    with pytest.raises(WeatherError, match="the answer is no text"):
        service.ask()


def test_an_address_that_leads_in_circles_is_refused():
    service = Service(lambda request: httpx2.Response(302, headers={"location": str(request.url)}))
    with pytest.raises(WeatherError, match="too many times"):
        service.ask()


@pytest.mark.parametrize("url", ["https://", "http://[bad", "http://weather.example:99999/"])
def test_an_address_that_is_none_is_refused(url):
    with pytest.raises(WeatherError, match="no address that can be asked"):
        fetch(url, now=NOW, pause=lambda _s: None)


# ---------------------------------------------------------------- a real socket


def test_a_real_server_is_asked_over_a_real_socket(httpserver, tmp_path):
    httpserver.expect_request("/moved").respond_with_data("", status=301, headers={"Location": "/forecast"})
    httpserver.expect_request("/forecast").respond_with_data('{"a": 1}', headers={"ETag": '"1"'})

    answer = fetch(httpserver.url_for("/moved"), now=NOW, cache_dir=tmp_path)

    assert answer.text == '{"a": 1}'


def test_a_closed_port_is_unavailable(httpserver):
    url = httpserver.url_for("/forecast").replace(str(httpserver.port), "9")
    with pytest.raises(SourceUnavailable, match="no connection"):
        fetch(url, now=NOW, pause=lambda _s: None)
