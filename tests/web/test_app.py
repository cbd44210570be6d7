"""Addresses, headers, files and errors."""

from __future__ import annotations

import gzip
import re
import subprocess
import sys
import threading
from datetime import date

import pytest

from fruitwall.errors import PlanError, SourceUnavailable, YardFileError
from fruitwall.service.evening_document import EveningPlan
from fruitwall.web.guard import HEADERS, host_name
from tests.web.markup import read_page
from tests.web.sample import NIGHT, sample_plan


def test_importing_the_web_layer_loads_no_framework():
    code = "import sys, fruitwall.web; print([m for m in ('fastapi', 'jinja2', 'numpy') if m in sys.modules])"

    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert answer.stdout.strip() == "[]"


def test_a_server_that_has_planned_nothing_yet_has_not_loaded_what_computes():
    heavy = ("scipy", "numba", "pvlib", "pandas")
    code = f"import sys, fruitwall.web.app; print([name for name in {heavy} if name in sys.modules])"

    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert answer.stdout.strip() == "[]"


def test_the_root_shows_tonight_and_an_address_shows_the_night_it_names(client_of):
    asked = []

    def plan_for(night):
        asked.append(night)
        return sample_plan(night=night or NIGHT)

    client = client_of(plan_for)

    assert "Tonight, Tuesday 22 December 2026" in client.get("/").text
    assert "Thursday 24 December 2026" in client.get("/night/2026-12-24").text
    assert asked == [None, date(2026, 12, 24)]


def test_the_document_is_the_plan(client):
    answer = client.get("/plan.json")

    assert answer.headers["content-type"] == "application/json"
    assert EveningPlan.model_validate_json(answer.content) == sample_plan()


def test_the_document_of_another_night_can_be_asked_for(client_of):
    client = client_of(lambda night: sample_plan(night=night))

    assert client.get("/plan.json?night=2026-12-24").json()["night"] == "2026-12-24"
    answer = client.get("/plan.json?night=soon")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert set(answer.json()) == {"type", "title", "status", "detail", "problems"}
    assert answer.json()["problems"][0].startswith("night: ")


def test_health_needs_no_plan(client_of):
    def no_plan(night):
        raise AssertionError("health asked for a plan")

    assert client_of(no_plan).get("/health").json() == {"status": "ok"}


@pytest.mark.parametrize("address", ["/", "/plan.json", "/health", "/nowhere", "/night/soon", "/static/none.css"])
def test_every_answer_carries_the_security_headers(client, address):
    answer = client.get(address)

    for name, value in HEADERS.items():
        assert answer.headers[name] == value


def test_the_content_policy_allows_nothing_inline_and_nothing_from_elsewhere():
    policy = HEADERS["content-security-policy"]

    assert "unsafe" not in policy
    assert "http" not in policy
    assert policy.startswith("default-src 'none'")
    assert "frame-ancestors 'none'" in policy
    assert HEADERS["x-content-type-options"] == "nosniff"
    assert HEADERS["referrer-policy"] == "same-origin"


@pytest.mark.parametrize("address", ["/", "/nowhere"])
def test_pages_hold_no_inline_script_or_style_and_load_nothing_from_elsewhere(client, address):
    page = read_page(client.get(address).text)

    for element in page.all():
        assert element.name != "style"
        assert not any(name == "style" or name.startswith("on") for name in element.attributes), element
        if element.name == "script":
            assert element.attributes["src"].startswith("/static/")
            assert element.inside == []
        for name in ("src", "href"):
            assert element.attributes.get(name, "/").startswith(("/", "#")), element


def test_files_have_the_hash_of_their_content_in_their_address_and_are_kept_for_ever(client):
    page = read_page(client.get("/").text)
    files = [e.attributes["href"] for e in page.all("link")] + [e.attributes["src"] for e in page.all("script")]

    assert len(files) == 7
    for file in files:
        assert re.fullmatch(r"/static/\w+\.[0-9a-f]{12}\.(css|js|svg)", file)
        answer = client.get(file)
        assert answer.status_code == 200
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert "javascript" in client.get(files[-1]).headers["content-type"]


@pytest.mark.parametrize(
    "address",
    ["/static/base.css", "/static/base.000000000000.css", "/static/app.py", "/static/..%2fapp.py", "/static/base.html"],
)
def test_nothing_but_the_files_of_the_pages_is_served(client, address):
    assert client.get(address).status_code == 404


def test_pages_are_asked_for_again_each_time(client):
    assert client.get("/").headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("address", ["/", "/night/2026-12-22", "/plan.json"])
def test_nothing_but_looking_is_allowed(client, method, address):
    answer = client.request(method, address)

    assert answer.status_code == 405
    assert set(answer.headers["allow"].split(", ")) == {"GET", "HEAD"}


def test_a_head_request_gets_the_head_of_the_page(client):
    answer = client.head("/")

    assert answer.status_code == 200
    assert answer.content == b""


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8000", "[::1]:8000", "LOCALHOST"])
def test_the_server_answers_under_its_own_names(client, host):
    assert client.get("/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost.evil.example", "127.0.0.1.evil.example:80", "", "[::1", "a:b"]
)
def test_the_server_does_not_answer_under_a_strange_name(client, host):
    answer = client.get("/", headers={"host": host})

    assert answer.status_code == 400
    assert "does not answer under the host name" in answer.text
    assert "Lizard Steps" not in answer.text
    spanish = client.get("/", headers={"host": host, "accept-language": "es"})
    assert "no responde con el nombre" in spanish.text


def test_more_host_names_can_be_allowed(client_of):
    client = client_of(hosts=("garden.local",))

    assert client.get("/health", headers={"host": "garden.local:8000"}).status_code == 200
    assert client.get("/health", headers={"host": "localhost"}).status_code == 400


@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("localhost:80", "localhost"),
        ("[::1]:80", "::1"),
        ("[::1]", "::1"),
        ("a:b", "a:b"),
        ("a:", "a:"),
        ("[::1]x", "[::1]x"),
    ],
)
def test_a_host_header_is_taken_apart_strictly(header, name):
    assert host_name(header) == name


def refusing(error):
    def plan_for(night):
        raise error

    return plan_for


def test_a_plan_that_takes_long_is_announced_and_shown_once_it_is_there(client_of):
    made, asked = threading.Event(), []

    def slow(night):
        asked.append(night)
        made.wait(10)
        return sample_plan()

    client = client_of(slow, patience_s=0.05)
    waiting = [client.get("/") for _ in range(2)]
    made.set()
    shown = client_of(slow, patience_s=10).get("/")

    for answer in waiting:
        assert answer.status_code == 202
        assert answer.headers["refresh"] == "2"
        assert read_page(answer.text).one("h1").text == "The plan is being made"
        assert answer.headers["cache-control"] == "no-cache"
    assert asked == [None, None]  # both early readers waited for one plan; the later application asked for its own
    assert shown.status_code == 200
    assert read_page(shown.text).one("h1").text == sample_plan().verdict


def test_what_was_slow_once_is_asked_for_anew(client_of):
    plans = iter([sample_plan(verdict="The first."), sample_plan(verdict="The second.")])
    client = client_of(lambda night: next(plans))

    told = [read_page(client.get("/").text).one("h1").text for _ in range(2)]

    assert told == ["The first.", "The second."]


def test_an_error_that_the_grower_can_mend_is_shown_in_its_own_words(client_of):
    error = YardFileError(["yard.yaml:12: trees.3.height: -2 m is below 0; write 2 m", "yard.yaml:20: <b>no</b>"])

    answer = client_of(refusing(error)).get("/")

    assert answer.status_code == 422
    said = [element.text for element in read_page(answer.text).all("p", cls="said")]
    assert said == error.problems


def test_a_night_without_forecast_says_so_to_programs_too(client_of):
    answer = client_of(refusing(PlanError("the forecast ends before the night of 2027-01-03"))).get("/plan.json")

    assert answer.status_code == 422
    assert answer.json()["problems"] == ["the forecast ends before the night of 2027-01-03"]


def test_a_weather_service_that_does_not_answer_is_a_passing_fault(client_of):
    answer = client_of(refusing(SourceUnavailable("no answer within 10 s"))).get("/")

    assert answer.status_code == 503
    assert "no answer within 10 s" in answer.text


@pytest.mark.parametrize("address", ["/", "/plan.json"])
def test_a_defect_tells_the_reader_nothing_but_that_it_is_one_and_is_logged(client_of, address, caplog):
    answer = client_of(refusing(RuntimeError("secret of the house"))).get(address)

    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert "Something in fruitwall is broken" in answer.text
    assert answer.headers["content-security-policy"] == HEADERS["content-security-policy"]
    assert "secret of the house" in caplog.text


@pytest.mark.parametrize("night", ["soon", "2026-13-40", "20261222", "2026-W52-2", "2026-12-22x", "<script>"])
def test_a_name_that_is_no_night_is_told_how_nights_are_named(client, night):
    answer = client.get(f"/night/{night}")

    assert answer.status_code == 404
    assert "A night is named by the date of its evening: 2026-12-22." in answer.text
    assert "<script>" not in answer.text


def test_an_unknown_address_says_so_plainly(client):
    answer = client.get("/nowhere")

    assert answer.status_code == 404
    assert read_page(answer.text).one("h1").text == "There is no such page"


def test_the_page_and_its_files_weigh_little(client):
    page = client.get("/").text
    files = [e.attributes["href"] for e in read_page(page).all("link")]
    files += [e.attributes["src"] for e in read_page(page).all("script")]

    weight = sum(len(gzip.compress(body)) for body in [page.encode(), *(client.get(file).content for file in files)])

    assert weight < 60_000  # a third of what the design sheet allows


def test_pages_travel_compressed(client):
    assert client.get("/", headers={"accept-encoding": "gzip"}).headers["content-encoding"] == "gzip"
