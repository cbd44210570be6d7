"""What a stranger, a stolen key or a neighbour tries, beyond what `test_log_in` and `test_people` hold."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from starlette.requests import Request
from starlette.testclient import TestClient

from fruitwall.service.accounts_waits import FREE_TRIES
from fruitwall.web.access.pace import AT_ONCE, MOST_BYTES, MOST_BYTES_OF_SENSORS, MOST_KEPT, PER_SECOND, Pace
from fruitwall.web.access.routes import place_within
from tests.web.access.parts import GOOD, Time, logged_in

SENT_FROM = ["192.0.2.7", "2001:db8::7"]


def tried(browser, passphrase=GOOD, name="Ana") -> int:
    return browser.post("/log-in", data={"name": name, "passphrase": passphrase}).status_code


def client_at(app, address: str, **headers: str) -> TestClient:
    """A browser elsewhere in the network."""
    known = {"sec-fetch-site": "same-origin"} | headers
    return TestClient(app, base_url="http://localhost", headers=known, follow_redirects=False, client=(address, 40000))


def guessing(app, time, name="Ana", times=FREE_TRIES + 4) -> None:
    """Guess at a name from one address after the other, until nobody may guess at it any more."""
    for number in range(times):
        while tried(client_at(app, f"192.0.2.{number + 1}"), "wrong wrong wrong", name) == 429:
            time.pass_by(60)


# ------------------------------------------------------------ log-in


def test_a_stranger_who_guesses_does_not_lock_the_owner_out_of_the_own_browser(app, browser_at, ana, time):
    own = logged_in(browser_at())
    own.post("/log-out")
    guessing(app, time)
    assert tried(client_at(app, "192.0.2.200")) == 429  # not even with the right passphrase: it may have been guessed

    assert tried(own) == 303
    assert tried(client_at(app, "192.0.2.200")) == 429  # and the guesses of the stranger still count


def test_in_the_own_browser_guessing_is_counted_too(app, browser_at, ana):
    thief = logged_in(browser_at())
    thief.post("/log-out")

    for _ in range(FREE_TRIES):
        assert tried(thief, "wrong wrong wrong") == 403
    assert tried(thief, "wrong wrong wrong") == 429


def test_the_mark_of_a_browser_is_of_one_account_signed_and_opens_nothing(app, browser_at, ana, people, time):
    people.add("Ben", "helper", "another long phrase")
    own = logged_in(browser_at(), "Ben", "another long phrase")
    mark = own.cookies["fruitwall-knows"]
    guessing(app, time)

    assert tried(client_at(app, "192.0.2.201", cookie=f"fruitwall-knows={mark}")) == 429  # Ben's is not Ana's
    forged = mark.replace(mark.split(".")[0], str(ana.id), 1)
    assert tried(client_at(app, "192.0.2.201", cookie=f"fruitwall-knows={forged}")) == 429
    assert client_at(app, "192.0.2.201", cookie=f"fruitwall-knows={mark}").get("/").headers["location"] == "/log-in"
    assert client_at(app, "192.0.2.201", cookie=f"fruitwall={mark}").get("/").headers["location"] == "/log-in"


def test_a_stranger_who_guesses_does_not_keep_the_owner_from_a_new_passphrase(app, browser_at, ana, time):
    own = logged_in(browser_at())
    guessing(app, time)
    new = "a wall of warm old stone"

    answer = own.post("/settings/people/own/passphrase", data={"current": GOOD, "new": new, "again": new})

    assert answer.status_code == 303


def test_a_log_in_gives_a_new_session_whatever_the_browser_brought_along(app, browser_at, ana, people):
    planted = logged_in(browser_at()).cookies["fruitwall"]
    victim = client_at(app, "192.0.2.9", cookie=f"fruitwall={planted}")

    given = victim.post("/log-in", data={"name": "Ana", "passphrase": GOOD}).cookies["fruitwall"]

    assert given != planted
    assert client_at(app, "192.0.2.10", cookie=f"fruitwall={planted}").get("/plan.json").status_code == 401


@pytest.mark.parametrize(
    "asked",
    ["//evil.example", "/\\evil.example", "\\\\evil.example", "https://evil.example", "javascript:alert(1)", "/\t/evil",
     "/\n/evil", " //evil.example", "evil.example", "/\u2028/evil", "", "/" + "x" * 3000, "/log-in?next=/", "/log-out"],
)  # fmt: skip
def test_the_way_on_after_the_log_in_leads_nowhere_else(asked):
    assert place_within(asked) == "/"


def test_codes_of_phones_cannot_be_guessed_and_are_spent_ended_and_forgotten(app, browser_at, ana, people, time):
    made = people.pairing_code(ana)
    for number in range(FREE_TRIES):
        assert client_at(app, "192.0.2.50").post(f"/pair/{number:012d}").status_code == 404
    assert client_at(app, "192.0.2.50").post(f"/pair/{made.secret}").status_code == 429  # also the right one

    assert client_at(app, "192.0.2.51").post(f"/pair/{made.secret}").status_code == 303
    assert client_at(app, "192.0.2.52").post(f"/pair/{made.secret}").status_code == 404
    later = people.pairing_code(ana)
    newer = people.pairing_code(ana)
    assert client_at(app, "192.0.2.52").post(f"/pair/{later.secret}").status_code == 404
    time.pass_by(timedelta(minutes=10, seconds=1).total_seconds())
    assert client_at(app, "192.0.2.52").post(f"/pair/{newer.secret}").status_code == 404


# ------------------------------------------------------------ other sites


FOREIGN_MARKS = (
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"origin": "http://evil.example"},
    {"origin": "null"},
    {"origin": "http://localhost:9999"},
    {},
)
TAKE_SOMETHING = ("/api/entries", "/api/readings", "/api/photos", "/log-out", "/settings/people/add")


def test_whatever_form_another_site_sends_changes_nothing(app, browser_at, ana):
    cookie = logged_in(browser_at()).cookies["fruitwall"]
    for headers in FOREIGN_MARKS:
        client = TestClient(app, base_url="http://localhost", headers={"cookie": f"fruitwall={cookie}"} | headers)
        for address in TAKE_SOMETHING:
            for kind in ("application/json", "text/plain", "multipart/form-data; boundary=x", ""):
                answer = client.post(address, content=b"[]", headers={"content-type": kind} if kind else {})
                assert answer.status_code == 403, (headers, address, kind)
                assert "outside fruitwall" in answer.text
    assert client.get("/plan.json").status_code == 200  # nobody was logged out


def test_a_name_of_another_site_for_this_server_gets_no_answer_and_hears_of_no_names(make_app, house, reach):
    app = make_app(house=house, reach=reach, hosts=("localhost", "orchardpi", "192.168.7.20"))

    for address in ("/", "/api/trees", "/plan.json", "/health", "/log-in"):
        answer = TestClient(app, base_url="http://evil.example").get(address)
        assert answer.status_code == 400
        assert "orchardpi" not in answer.text
        assert "192.168" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"
    told = TestClient(app, base_url="http://evil.example").get("/api/trees")
    assert told.headers["content-type"] == "application/problem+json"


HOSTS = ("localhost:80@evil.example", "localhost.evil.example", "evil.example:80", "[::1", "", "localhost,evil")


def test_no_trick_with_the_host_passes(app):
    client = TestClient(app, base_url="http://localhost")

    assert {host: client.get("/log-in", headers={"host": host}).status_code for host in HOSTS} == dict.fromkeys(
        HOSTS, 400
    )


# ------------------------------------------------------------ addresses

PREFIXES = (
    "/photos/", "/static/", "/icons/", "/trees/", "/walk/", "/kinds/", "/night/", "/api/entries/", "/api/plans/",
    "/pair/",
)  # fmt: skip
NAMES = (
    "..%2f..%2f..%2fetc%2fpasswd",
    "%2e%2e/%2e%2e/etc/passwd",
    "....//....//etc/passwd",
    "%2fetc%2fpasswd",
    "..%5c..%5cwindows%5cwin.ini",
    "%00",
    "papaya%00.jpg",
    "a" * 64 + ".jpg%2f..%2f..%2fhouse.db",
    "..%2fhouse.db",
    "%ff%fe",
    "a" * 5000,
)


def test_no_address_leads_out_of_its_folder_or_to_a_defect(app, browser_at, ana):
    browser = logged_in(browser_at())
    for prefix in PREFIXES:
        for name in NAMES:
            answer = browser.get(prefix + name)
            assert answer.status_code in (400, 404, 405, 422, 429), (prefix, name, answer.status_code)
            assert "root:" not in answer.text
            assert "SQLite format" not in answer.text


# ------------------------------------------------------------ keys


def script(app, people, account, scope: str) -> TestClient:
    """A script with a key of a scope."""
    key = people.make_token(account, scope, f"{scope} script").secret
    return TestClient(app, base_url="http://localhost", headers={"authorization": f"Bearer {key}"})


CLOSED_TO_SENSORS = (
    ("GET", "/api/readings"),
    ("HEAD", "/api/readings"),
    ("PUT", "/api/readings"),
    ("POST", "/api/readings/"),
    ("GET", "/api/trees"),
    ("POST", "/api/entries"),
    ("GET", "/"),
)


def test_a_sensors_key_sends_readings_and_reads_nothing_not_even_them(app, ana, people):
    sensor = script(app, people, ana, "readings")

    assert sensor.post("/api/readings", json=[]).json() == {"new": 0, "known": 0, "refused": []}
    for method, address in CLOSED_TO_SENSORS:
        assert sensor.request(method, address).status_code == 403, (method, address)


def test_a_key_that_asks_without_end_waits_and_others_do_not(app, browser_at, ana, people, time):
    busy, calm = script(app, people, ana, "viewer"), script(app, people, ana, "viewer")
    for _ in range(AT_ONCE):
        assert busy.get("/api/yard/versions").status_code == 200

    answer = busy.get("/api/yard/versions")

    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "1"
    assert answer.headers["content-type"] == "application/problem+json"
    assert calm.get("/api/yard/versions").status_code == 200
    assert logged_in(browser_at()).get("/plan.json").status_code == 200
    time.pass_by(1 / PER_SECOND)
    assert busy.get("/api/yard/versions").status_code == 200


def test_wrong_keys_without_end_wait_as_well(app, ana):
    guesser = TestClient(app, base_url="http://localhost", headers={"authorization": "Bearer fw_guess"})

    found = [guesser.get("/api/trees").status_code for _ in range(AT_ONCE + 2)]

    assert found == [401] * AT_ONCE + [429] * 2


def test_a_pace_forgets_whoever_asked_longest_ago():
    time = Time()
    pace = Pace(time.seconds)
    for _ in range(AT_ONCE):
        assert pace.wait_s("key:1") == 0
    assert pace.wait_s("key:1") == pytest.approx(1 / PER_SECOND)

    for number in range(2, MOST_KEPT + 3):
        pace.wait_s(f"key:{number}")
    assert pace.wait_s("key:1") == 0
    time.pass_by(1e9)
    assert pace.wait_s("key:2") == 0


# ------------------------------------------------------------ too much


def endless(most: int):
    """A body that does not say how long it is."""
    for _ in range(most // 2**20 + 2):
        yield b" " * 2**20


@pytest.mark.parametrize(
    ("address", "refused_by"),
    [("/api/readings", 413), ("/api/entries", 413), ("/settings/people/add", 403)],  # scripts change no accounts
)
def test_a_body_without_end_is_cut_off_whether_it_says_its_length_or_not(app, ana, people, address, refused_by):
    helper = script(app, people, ana, "helper")

    told = helper.post(address, content=b"[", headers={"content-length": str(MOST_BYTES + 1)})
    assert told.status_code == refused_by
    kind = {"content-type": "application/json"}
    assert helper.post(address, content=endless(MOST_BYTES), headers=kind).status_code == refused_by


def test_a_sensors_key_cannot_fill_the_memory(app, ana, people):
    sensor = script(app, people, ana, "readings")
    sent = {"content-type": "application/json"}

    assert sensor.post("/api/readings", content=endless(MOST_BYTES_OF_SENSORS), headers=sent).status_code == 413
    deep = sensor.post("/api/readings", content=b"[" * 1_000_000, headers=sent)
    assert deep.status_code in (400, 422)
    assert json.loads(deep.text)["status"] == deep.status_code


# ------------------------------------------------------------ caches


def test_nothing_of_the_household_may_be_kept_by_a_cache_in_between(browser_at, ana, house):
    browser = logged_in(browser_at())

    for address in ("/", "/plan.json", "/api/trees", "/api/yard", "/trees", "/settings/people", "/health", "/nowhere"):
        kept = browser.get(address).headers["cache-control"]
        assert any(word in kept for word in ("private", "no-store", "no-cache")), (address, kept)
        assert "public" not in kept


@pytest.mark.parametrize("address", SENT_FROM)
def test_a_request_from_another_machine_is_named_by_its_address_or_its_network(address):
    from fruitwall.web.access.pace import address_of

    request = Request({"type": "http", "client": (address, 5), "headers": []})

    assert address_of(request) == {"192.0.2.7": "192.0.2.7", "2001:db8::7": "2001:0db8:0000:0000"}[address]
