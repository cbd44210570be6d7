"""What people may do once they are in: roles, pairing, keys for scripts, headers."""

from __future__ import annotations

import json
import re
import shlex
from datetime import UTC, datetime

import pytest
import segno
from starlette.testclient import TestClient

from fruitwall.service.accounts import PAIRING_CODE
from fruitwall.service.accounts_waits import FREE_TRIES
from fruitwall.web.access.authority import Authority
from fruitwall.web.access.qr import qr_picture
from fruitwall.web.guard import HEADERS
from tests.web.access.parts import GOOD, logged_in
from tests.web.markup import read_page
from tests.web.test_api_guide import sent

# ------------------------------------------------------------ roles


def test_a_viewer_changes_nothing_even_where_a_route_forgot_to_ask(browser_at, ana, people):
    for name, role in (("Ben", "helper"), ("Carl", "viewer")):
        people.add(name, role, f"{name} likes old pears")
    ben = logged_in(browser_at(), "Ben", "Ben likes old pears")
    carl = logged_in(browser_at(), "Carl", "Carl likes old pears")

    assert (ben.post("/changed").status_code, ben.post("/forgotten").status_code) == (200, 200)
    assert (carl.post("/changed").status_code, carl.post("/forgotten").status_code) == (403, 403)
    assert carl.get("/").status_code == 200


def test_only_owners_change_accounts_and_only_their_own_devices_are_ended_by_others(browser_at, ana, people):
    people.add("Ben", "helper", "Ben likes old pears")
    owner, ben = logged_in(browser_at()), logged_in(browser_at(), "Ben", "Ben likes old pears")
    of_owner = next(one.id for one in people.devices(ana.id))
    number = people.named("Ben").id

    for address, form in (
        ("add", {"name": "Eve", "role": "owner", "passphrase": GOOD}),
        (f"{number}/role", {"role": "owner"}),
        (f"{ana.id}/close", {}),
        (f"{ana.id}/pair", {}),
        (f"keys/{of_owner}/end", {}),
    ):
        assert ben.post(f"/settings/people/{address}", data=form).status_code == 403, address
    assert [one.name for one in people.all()] == ["Ana", "Ben"]
    assert "Ana" not in read_page(ben.get("/settings/people").text).one("main").text

    assert owner.post(f"/settings/people/{number}/role", data={"role": "viewer"}).status_code == 303
    assert ben.post("/changed").status_code == 403  # at once
    assert owner.post(f"/settings/people/{number}/close").status_code == 303
    assert ben.get("/").status_code == 303
    answer = owner.post(f"/settings/people/{ana.id}/close")
    assert answer.status_code == 422
    assert "must stay" in answer.text


def test_what_was_typed_is_kept_beside_what_is_wrong(browser_at, ana):
    owner = logged_in(browser_at())

    answer = owner.post("/settings/people/add", data={"name": "Ben", "role": "viewer", "passphrase": "short"})

    assert answer.status_code == 422
    page = read_page(answer.text)
    assert "at least 15 characters" in page.one("p", cls="said").text
    values = {e.attributes.get("id"): e.attributes.get("value") for e in page.all("input")}
    assert values["add-name"] == "Ben"
    assert values["add-new"] is None


def test_the_passphrase_is_changed_by_whoever_knows_it(browser_at, ana, people):
    here, elsewhere = logged_in(browser_at()), logged_in(browser_at())
    form = {"new": "window pear stone", "again": "window pear stone"}

    assert here.post("/settings/people/own/passphrase", data=form | {"current": "no"}).status_code == 422
    assert here.post("/settings/people/own/passphrase", data=form | {"current": GOOD}).status_code == 303

    assert here.get("/").status_code == 200
    assert elsewhere.get("/").status_code == 303
    logged_in(elsewhere, "Ana", "window pear stone")


# ------------------------------------------------------------ pairing


def code_on(page):
    return re.sub(r"\D", "", page.one("p", cls="digits").text)


def test_a_phone_is_paired_by_a_code_that_works_once(browser_at, ana, people):
    owner = logged_in(browser_at(base="http://localhost"))
    people.add("Ben", "helper")
    code = code_on(read_page(owner.post(f"/settings/people/{people.named('Ben').id}/pair").text))
    phone = browser_at(site="none")

    for _ in range(3):  # looking spends nothing: cameras and messengers look before anybody has said yes
        shown = phone.get(f"/pair/{code}")
    assert shown.status_code == 200
    assert read_page(shown.text).one("h1").text == "Use this device as Ben?"
    assert phone.get("/").status_code == 303

    answer = phone.post(f"/pair/{code}", headers={"sec-fetch-site": "same-origin"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert phone.get("/").status_code == 200
    assert [key.label for key in people.devices(people.named("Ben").id)] == ["Firefox on Android"]

    again = browser_at().post(f"/pair/{code}")
    assert again.status_code == 404
    assert "set-cookie" not in again.headers


def test_a_code_expires_after_ten_minutes(browser_at, ana, people, time):
    code = people.pairing_code(ana).secret
    time.pass_by(PAIRING_CODE.total_seconds() + 1)

    assert browser_at().get(f"/pair/{code}").status_code == 404
    assert browser_at().post(f"/pair/{code}").status_code == 404


def test_digits_may_be_typed_with_whatever_between(browser_at, ana, people):
    code = people.pairing_code(ana).secret

    answer = browser_at().get("/pair", params={"code": f" {code[:4]}-{code[4:8]} {code[8:]} "})

    assert answer.headers["location"] == f"/pair/{code}"


def test_codes_cannot_be_guessed_by_looking(browser_at, ana, people):
    code = people.pairing_code(ana).secret
    phone = browser_at()
    tried = [phone.get(f"/pair/{number:012d}").status_code for number in range(FREE_TRIES + 2)]

    assert tried == [404] * FREE_TRIES + [429] * 2
    assert phone.get(f"/pair/{code}").status_code == 429


def test_the_picture_of_the_address_says_where_a_phone_finds_the_server(make_app, house, reach, ana):
    from dataclasses import replace

    reach = replace(reach, beyond=True, addresses=("https://192.168.1.20:8765",))
    app = make_app(house=house, reach=reach, hosts=("localhost", "garden.local"))
    for host, base in (("localhost", "https://192.168.1.20:8765"), ("garden.local:81", "http://garden.local:81")):
        owner = TestClient(app, base_url=f"http://{host}", headers={"sec-fetch-site": "same-origin"})
        owner.post("/log-in", data={"name": "Ana", "passphrase": GOOD})
        page = read_page(owner.post(f"/settings/people/{ana.id}/pair").text)
        assert page.one("p", cls="address").text == f"{base}/pair"
        assert page.one("svg", cls="qr").attributes["role"] == "img"


def test_without_a_network_the_page_says_that_no_phone_comes_here(browser_at, ana):
    answer = logged_in(browser_at()).post(f"/settings/people/{ana.id}/pair")

    assert "fruitwall serve --host 0.0.0.0 --https" in answer.text
    assert 'class="qr"' not in answer.text
    assert answer.headers["cache-control"] == "no-store"


def test_a_qr_code_is_drawn_module_by_module_with_its_quiet_zone_and_no_style():
    text = "https://192.168.1.20:8765/pair/481209375562"
    picture = str(qr_picture(text, "told"))

    drawn = {
        (int(x) + step, int(y))
        for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", picture)
        for step in range(int(width))
    }
    modules = segno.make(text, error="m", micro=False).matrix
    assert drawn == {(x + 4, y + 4) for y, row in enumerate(modules) for x, dark in enumerate(row) if dark}
    assert f'viewBox="0 0 {len(modules) + 8} {len(modules) + 8}"' in picture
    assert "style" not in picture


def test_the_page_for_phones_tells_how_to_trust_the_certificate(make_app, house, reach):
    from dataclasses import replace

    authority = Authority(b"\x30\x03der", "AB:" * 31 + "AB", "fruitwall at home 1f2e", datetime(2036, 1, 1, tzinfo=UTC))
    client = TestClient(make_app(house=house, reach=replace(reach, authority=authority)), base_url="http://localhost")

    page = client.get("/pair").text
    assert "AB AB AB AB" in page
    answer = client.get("/authority.crt")
    assert answer.content == authority.certificate
    assert answer.headers["content-type"] == "application/x-x509-ca-cert"


def test_without_https_the_page_says_what_does_not_work(browser_at):
    assert "without encryption" in browser_at().get("/pair").text
    assert browser_at().get("/authority.crt").status_code == 404


# ------------------------------------------------------------ keys for scripts


def test_a_key_is_shown_once_and_opens_what_its_scope_says(browser_at, ana, app):
    owner = logged_in(browser_at())
    keys = {}
    for scope in ("viewer", "helper", "readings"):
        answer = owner.post("/settings/people/tokens", data={"label": f"{scope} script", "scope": scope})
        keys[scope] = read_page(answer.text).one("p", cls="secret").text
        assert answer.headers["cache-control"] == "no-store"
        script = TestClient(app, base_url="http://localhost", follow_redirects=False)
        (*_, shown) = (part.text for part in read_page(answer.text).all("pre", cls="secret"))
        # The command that stands beside the key does with that very key what it says.
        words, either = shlex.split(shown)[1:], dict.fromkeys(("helper", "readings"), keys[scope])
        assert sent(script, words, either).status_code == 200
    assert not any(key in owner.get("/settings/people").text for key in keys.values())

    def status(scope, method, address):
        script = TestClient(app, base_url="http://localhost", follow_redirects=False)
        return script.request(method, address, headers={"authorization": f"Bearer {keys[scope]}"}).status_code

    assert status("viewer", "GET", "/plan.json") == 200
    assert status("viewer", "POST", "/changed") == 403
    assert status("helper", "POST", "/changed") == 200
    assert status("helper", "POST", "/settings/people/add") == 403
    assert status("helper", "POST", "/log-out") == 403
    assert status("readings", "GET", "/plan.json") == 403
    assert status("readings", "POST", "/changed") == 403
    assert status("readings", "GET", "/api/readings") == 403  # it only sends
    assert status("readings", "POST", "/api/readings") == 422  # let through, and nothing sent


def test_a_wrong_key_is_refused_everywhere_even_with_a_good_cookie(browser_at, ana):
    owner = logged_in(browser_at())
    for key in ("fw_wrong", "", "x", owner.cookies["fruitwall"].rsplit(".", 1)[0]):
        for address in ("/", "/plan.json", "/log-in"):
            assert owner.get(address, headers={"authorization": f"Bearer {key}"}).status_code == 401


def test_a_key_needs_no_word_on_where_it_was_sent_from_and_ends_at_once(browser_at, ana, app, people):
    owner = logged_in(browser_at())
    made = people.make_token(ana, "helper", "script")
    script = TestClient(app, base_url="http://localhost", headers={"authorization": f"Bearer {made.secret}"})
    assert script.post("/changed", headers={"sec-fetch-site": "cross-site"}).status_code == 200

    owner.post(f"/settings/people/keys/{people.tokens()[0].id}/end")

    answer = script.post("/changed", headers={"accept": "application/json"})
    assert answer.status_code == 401
    assert json.loads(answer.text)["status"] == 401


def test_a_key_never_may_more_than_whoever_made_it(browser_at, ana, app, people):
    ben = people.add("Ben", "helper")
    made = people.make_token(ben, "helper", "script")
    script = TestClient(app, base_url="http://localhost", headers={"authorization": f"Bearer {made.secret}"})
    assert script.post("/changed").status_code == 200

    logged_in(browser_at()).post(f"/settings/people/{ben.id}/role", data={"role": "viewer"})

    assert script.post("/changed").status_code == 403


@pytest.mark.parametrize("address", ["/sw.js", "/manifest.webmanifest", "/icons/icon-192.png", "/walk/-/offline"])
def test_what_makes_the_pages_an_app_is_open(browser_at, ana, address):
    assert browser_at().get(address).status_code in (200, 404)  # 404 as long as nothing is mounted there


@pytest.mark.parametrize("address", ["/sw.jsx", "/walk/-/offlines", "/iconsx", "/pairx", "/healthy"])
def test_what_only_begins_like_an_open_address_is_not(browser_at, ana, address):
    assert browser_at().get(address).status_code == 303


def test_only_where_others_can_come_bare_addresses_are_answered(make_app, house, reach):
    from dataclasses import replace

    here = TestClient(make_app(house=house, reach=reach), base_url="http://localhost")
    beyond = TestClient(make_app(house=house, reach=replace(reach, beyond=True)), base_url="http://localhost")
    for host, home in (("192.168.1.77:8765", 200), ("[fd00::7]:8765", 200), ("evil.example", 400), ("1.2.3", 400)):
        assert here.get("/health", headers={"host": host}).status_code == 400
        assert beyond.get("/health", headers={"host": host}).status_code == home


# ------------------------------------------------------------ headers


def test_the_content_policy_allows_what_the_walk_needs_and_no_more():
    policy = dict(part.split(" ", 1) for part in HEADERS["content-security-policy"].split("; "))

    assert policy == {
        "default-src": "'none'",
        "style-src": "'self'",
        "script-src": "'self'",
        "img-src": "'self' blob:",
        "connect-src": "'self'",
        "manifest-src": "'self'",
        "worker-src": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    assert HEADERS["permissions-policy"] == "camera=(self), geolocation=(), microphone=()"


def test_also_whoever_is_sent_away_gets_the_headers(browser_at, ana):
    for answer in (
        browser_at().get("/"),
        browser_at().get("/plan.json"),
        browser_at(site="cross-site").post("/changed"),
        browser_at().get("/pair/1"),
    ):
        assert answer.status_code in (303, 401, 403, 404)
        for name, value in HEADERS.items():
            assert answer.headers[name] == value


def test_behind_a_proxy_of_this_machine_its_word_counts_and_nobody_elses(app, ana):
    from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

    said = {"x-forwarded-proto": "https", "x-forwarded-for": "203.0.113.7", "sec-fetch-site": "same-origin"}
    form = {"name": "Ana", "passphrase": GOOD}
    for peer, cookie in (("127.0.0.1", "__Host-fruitwall="), ("192.168.1.9", "fruitwall=")):
        proxied = ProxyHeadersMiddleware(app, trusted_hosts="127.0.0.1")
        client = TestClient(proxied, base_url="http://localhost", client=(peer, 1), follow_redirects=False)
        assert client.post("/log-in", data=form, headers=said).headers["set-cookie"].startswith(cookie)


def test_no_socket_slips_in_without_a_log_in(app, ana):
    from starlette.websockets import WebSocketDisconnect

    @app.websocket("/socket")
    async def socket(socket):
        await socket.accept()

    with (
        pytest.raises(WebSocketDisconnect),
        TestClient(app, base_url="http://localhost").websocket_connect("/socket"),
    ):
        pass


def test_a_busy_database_turns_nobody_away(browser_at, ana, house, time, monkeypatch):
    from fruitwall.errors import JournalError
    from fruitwall.journal.accounts import Accounts

    browser = logged_in(browser_at())

    def busy(self, key, *, now):
        raise JournalError("busy")

    monkeypatch.setattr(Accounts, "use_key", busy)
    time.pass_by(7200)
    assert browser.get("/").status_code == 200
