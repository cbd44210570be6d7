"""Who may come in: log-in, sessions, requests of other sites."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from starlette.datastructures import Headers
from starlette.testclient import TestClient

from fruitwall.service.accounts import People, Preferences
from fruitwall.service.accounts_waits import FREE_TRIES, LONGEST_WAIT_S
from fruitwall.web.access.origin import made_here
from fruitwall.web.access.routes import place_within
from fruitwall.web.access.sessions import REMEMBERED_S, Sessions
from tests.web.access.parts import FOREIGN, GOOD, logged_in
from tests.web.markup import read_page

# ------------------------------------------------------------ before and after the first account


def test_where_nobody_has_an_account_whoever_sits_here_is_the_owner(browser_at):
    browser = browser_at()

    assert browser.get("/").status_code == 200
    assert browser.post("/changed").text == '"changed"'
    page = read_page(browser.get("/settings/people").text)
    assert page.one("form").attributes["action"] == "/settings/people/first"


def test_an_account_of_another_process_is_noticed_within_seconds(browser_at, people, time):
    browser = browser_at()
    assert browser.get("/").status_code == 200
    people.add("Ana", "owner", GOOD)
    time.pass_by(REMEMBERED_S + 1)

    answer = browser.get("/night/2026-12-22?x=1")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/log-in?next=" + quote("/night/2026-12-22?x=1")


def test_programs_get_a_status_and_json_instead_of_a_page(browser_at, ana):
    for address in ("/plan.json", "/api/trees", "/api/openapi.json"):
        answer = browser_at().get(address)
        assert answer.status_code == 401
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.headers["www-authenticate"].startswith("Bearer")
        assert {"title", "status", "detail"} <= set(answer.json())
    answer = browser_at(accept="application/json").post("/changed")
    assert answer.status_code == 401
    assert "Nothing was stored" in answer.json()["detail"]


def test_the_first_owner_is_made_on_the_page_and_is_in_at_once(browser_at, people):
    browser = browser_at()
    form = {"name": "Ana", "passphrase": GOOD, "again": GOOD}
    assert browser.post("/settings/people/first", data=form | {"again": "x"}).status_code == 422
    assert not people.any_ever()

    assert browser.post("/settings/people/first", data=form).status_code == 303

    assert browser.get("/").status_code == 200
    assert browser_at().get("/").status_code == 303  # at once, also for whoever was in before
    assert browser.post("/settings/people/first", data=form | {"name": "Eve"}).status_code == 403


def test_a_server_that_others_can_reach_shows_nothing_before_there_is_an_owner(make_app, house, reach):
    from dataclasses import replace

    client = TestClient(make_app(house=house, reach=replace(reach, beyond=True)), base_url="http://localhost")

    answer = client.get("/")
    assert answer.status_code == 403
    assert "fruitwall account add" in answer.text
    form = {"name": "Eve", "passphrase": GOOD, "again": GOOD}
    assert client.post("/settings/people/first", data=form).status_code == 403
    assert house.accounts.all() == []


def test_strangers_get_the_log_in_and_its_files_and_nothing_of_the_household(browser_at, ana):
    browser = browser_at()

    page = read_page(browser.get("/log-in").text)
    assert not list(page.all("nav"))
    for element in page.all("link"):
        assert browser.get(element.attributes["href"]).status_code == 200
    for address in ("/more", "/kinds", "/settings/people", "/evening/sheet", "/log-in-not", "/static"):
        assert browser.get(address).status_code in (303, 401, 404), address
        assert "Lizard" not in browser.get(address).text


def test_strangers_cannot_fill_the_memory(browser_at, ana):
    answer = browser_at().post("/log-in", data={"name": "x" * 70_000})

    assert answer.status_code == 413
    assert browser_at().post("/log-in", content=iter([b"name=x"])).status_code == 413


# ------------------------------------------------------------ log-in and cookies


def test_the_cookie_is_signed_and_out_of_reach_of_scripts_and_other_sites(browser_at, ana):
    answer = browser_at().post("/log-in", data={"name": " ana ", "passphrase": GOOD, "next": "/kinds"})

    assert answer.headers["location"] == "/kinds"
    name, rest = answer.headers["set-cookie"].split("=", 1)
    assert name == "fruitwall"
    assert {"HttpOnly", "Path=/", "SameSite=lax"} <= set(rest.split("; "))
    assert "Domain" not in rest


def test_over_https_the_cookie_is_kept_from_neighbours_and_the_browser_stays_on_https(browser_at, ana):
    answer = browser_at(base="https://localhost").post("/log-in", data={"name": "Ana", "passphrase": GOOD})

    assert answer.headers["set-cookie"].startswith("__Host-fruitwall=")
    assert "Secure" in answer.headers["set-cookie"].split("; ")
    assert answer.headers["strict-transport-security"].startswith("max-age=")
    assert "strict-transport-security" not in browser_at().get("/log-in").headers


def test_a_cookie_that_was_not_signed_here_asks_nothing_of_the_database(browser_at, ana, people, monkeypatch):
    browser = logged_in(browser_at())
    good = browser.cookies["fruitwall"]
    secret = good.rsplit(".", 1)[0]
    monkeypatch.setattr(People, "session", lambda self, secret: pytest.fail("asked the database"))

    for forged in (secret, secret + ".x", secret + "." + "A" * 43, "x." + good.rsplit(".", 1)[1], "", "ä.b"):
        cookie = {"cookie": f"fruitwall={forged}".encode("latin-1", "replace")}
        assert browser_at().get("/", headers=cookie).status_code == 303


@pytest.mark.parametrize(
    ("name", "passphrase"), [("Ana", "wrong wrong wrong"), ("Nobody", GOOD), ("Ben", ""), ("", "")]
)
def test_a_failed_log_in_never_tells_which_part_was_wrong(browser_at, ana, people, name, passphrase):
    people.add("Ben", "helper")

    answer = browser_at().post("/log-in", data={"name": name, "passphrase": passphrase})

    assert answer.status_code == 403
    page = read_page(answer.text)
    assert page.one("p", cls="said").text == "Name and passphrase do not belong together."
    assert [e.attributes.get("value") for e in page.all("input") if e.attributes["name"] == "name"] == [name]
    assert passphrase not in answer.text or not passphrase
    assert "set-cookie" not in answer.headers


def test_guessing_has_to_wait_by_name_and_by_address(browser_at, ana, time):
    browser = browser_at()
    for _ in range(FREE_TRIES):
        assert browser.post("/log-in", data={"name": "Ana", "passphrase": "no"}).status_code == 403

    answer = browser.post("/log-in", data={"name": "Ana", "passphrase": GOOD})  # right, but too soon
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "2"
    assert "2 seconds" in answer.text
    assert browser.post("/log-in", data={"name": "Ben", "passphrase": "no"}).status_code == 429  # same address
    elsewhere = TestClient(browser.app, base_url="http://localhost", client=("192.168.1.9", 5), follow_redirects=False)
    assert elsewhere.post("/log-in", data={"name": "ANA", "passphrase": GOOD}).status_code == 429  # same name

    time.pass_by(2)
    assert browser.post("/log-in", data={"name": "Ana", "passphrase": GOOD}).status_code == 303
    time.pass_by(LONGEST_WAIT_S)


def test_log_out_ends_the_session_for_whoever_kept_the_cookie(browser_at, ana):
    browser = logged_in(browser_at())
    kept = {"cookie": f"fruitwall={browser.cookies['fruitwall']}"}
    assert browser_at().get("/", headers=kept).status_code == 200

    answer = browser.post("/log-out")

    assert 'fruitwall=""' in answer.headers["set-cookie"]
    assert answer.headers["clear-site-data"] == '"cache"'  # never "storage": there entries wait to be sent
    assert browser.get("/").status_code == 303
    assert browser_at().get("/", headers=kept).status_code == 303


def test_a_new_log_in_ends_the_session_that_the_browser_had(browser_at, ana, people):
    browser = logged_in(browser_at())
    logged_in(browser)

    assert len(people.devices()) == 1


@pytest.mark.parametrize(
    ("asked", "place"),
    [
        ("/walk?tree=a#b", "/walk?tree=a#b"),
        ("", "/"),
        ("//evil.example", "/"),
        ("/\\evil.example", "/"),
        ("/\t/evil.example", "/"),
        ("/x\\y", "/"),
        ("https://evil.example", "/"),
        ("javascript:alert(1)", "/"),
        ("/log-out", "/"),
        ("/" + "x" * 3000, "/"),
    ],
)
def test_the_log_in_leads_to_no_other_site(asked, place):
    assert place_within(asked) == place


def test_a_device_is_recognised_for_seconds_without_asking_and_an_end_counts_at_once(browser_at, ana, people, time):
    phone, desk = logged_in(browser_at()), logged_in(browser_at())
    phone.get("/")
    key = next(one for one in people.devices() if one.id == min(device.id for device in people.devices()))

    people.end(key.id)  # by another process: not noticed for some seconds
    assert phone.get("/").status_code == 200
    time.pass_by(REMEMBERED_S + 0.1)
    assert phone.get("/").status_code == 303

    phone = logged_in(browser_at())
    assert phone.get("/").status_code == 200
    newest = max(device.id for device in people.devices())
    assert desk.post(f"/settings/people/keys/{newest}/end").status_code == 303
    assert phone.get("/").status_code == 303


def test_a_device_that_is_ended_while_it_is_looked_up_is_not_remembered(people, reach, ana, monkeypatch):
    sessions = Sessions(people, reach)
    made = people.log_in("Ana", GOOD, "phone")
    find = People.session

    def ended_meanwhile(self, secret):
        key = find(self, secret)
        self.end(key.id)
        sessions.forget()
        return key

    monkeypatch.setattr(People, "session", ended_meanwhile)
    assert sessions.look_up(made.secret, script=False) is not None  # this one request came before the end

    assert sessions.remembered(made.secret) is None


def test_a_page_is_in_the_language_and_units_of_the_account(browser_at, ana, people, app):
    browser = logged_in(browser_at(**{"accept-language": "en"}))
    assert '<html lang="en">' in browser.get("/more").text

    people.set_preferences(ana.id, Preferences(language="es", temperature="F"))
    browser.post("/changed")  # whatever is sent makes this process look anew

    assert '<html lang="es">' in browser.get("/more").text


# ------------------------------------------------------------ requests of other sites


@pytest.mark.parametrize(
    ("headers", "passes"),
    [
        ({"sec-fetch-site": "same-origin"}, True),
        ({"sec-fetch-site": "none"}, True),
        ({"sec-fetch-site": "same-site"}, False),
        ({"sec-fetch-site": "cross-site"}, False),
        ({"sec-fetch-site": "cross-site", "origin": "http://garden.local:8765"}, False),
        ({"origin": "http://garden.local:8765"}, True),
        ({"origin": "HTTP://Garden.Local:8765"}, True),
        ({"origin": "https://garden.local:8765"}, False),
        ({"origin": "http://garden.local"}, False),
        ({"origin": "http://garden.local:8765.evil.example"}, False),
        ({"origin": "null"}, False),
        ({"origin": ""}, False),
        ({"origin": FOREIGN, "cookie": "fruitwall=x"}, False),
        ({"cookie": "fruitwall=x"}, False),
        ({}, True),
    ],
)
def test_a_browser_says_where_a_request_was_made(headers, passes):
    assert made_here(Headers({"host": "garden.local:8765"} | headers), "http") is passes


def test_the_port_that_goes_without_saying_makes_no_difference():
    assert made_here(Headers({"host": "garden.local", "origin": "https://garden.local:443"}), "https")
    assert made_here(Headers({"host": "garden.local:443", "origin": "https://garden.local"}), "https")


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize(
    "headers",
    [{"sec-fetch-site": "cross-site"}, {"origin": "null"}, {"origin": FOREIGN}, {}],
    ids=["form of another site", "null origin", "another origin", "no header"],
)
def test_what_another_site_makes_a_browser_send_changes_nothing(app, ana, browser_at, method, headers):
    cookie = {"cookie": f"fruitwall={logged_in(browser_at()).cookies['fruitwall']}"}
    client = TestClient(app, base_url="http://localhost", headers=headers | cookie, follow_redirects=False)

    answer = client.request(method, "/changed")

    assert answer.status_code == 403
    assert read_page(answer.text).one("h1").text == "This came from another page"
    assert client.get("/", headers={"sec-fetch-site": "cross-site"}).status_code == 200  # a link may lead here


def test_also_where_nobody_logs_in_other_sites_change_nothing(browser_at):
    for site in ("cross-site", "same-site"):
        assert browser_at(site=site).post("/changed").status_code == 403
        assert browser_at(site=site).post("/settings/people/first", data={"name": "Eve"}).status_code == 403


def test_another_site_cannot_log_a_browser_in(browser_at, ana, people):
    answer = browser_at(site="cross-site").post("/log-in", data={"name": "Ana", "passphrase": GOOD})

    assert answer.status_code == 403
    assert people.devices() == []


def test_a_name_and_password_that_a_proxy_asked_for_make_no_exception(browser_at, ana):
    browser = logged_in(browser_at())
    basic = {"authorization": "Basic YTpi"}

    assert browser.post("/changed", headers=basic).status_code == 200
    assert browser.post("/changed", headers=basic | {"sec-fetch-site": "cross-site"}).status_code == 403
