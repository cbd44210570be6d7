"""Log-in, pairing, people, keys and refusals leave no English to somebody who reads Spanish."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from starlette.testclient import TestClient

from fruitwall.service.accounts_waits import FREE_TRIES
from fruitwall.web.access.authority import Authority
from fruitwall.web.access.pace import MOST_BYTES
from tests.web.access.parts import GOOD, logged_in
from tests.web.bracketed import bracketing, unbracketed

OWN_PAGE = {"sec-fetch-site": "same-origin"}
NAMES = {"fruitwall", "Ana", "Ben", "Cleo", "post by the wall", "Firefox", "Firefox en Android"}
"""What people typed, and what no language bends."""


@pytest.fixture
def left(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., list[str]]]:
    """Give what an answer of a status leaves in English."""

    def look(answer, status: int = 200, also: set[str] = frozenset()) -> list[str]:
        assert answer.status_code == status, answer.text[:300]
        return unbracketed(answer.text, NAMES | also)

    with bracketing(monkeypatch):
        yield look


def reads_spanish(browser: TestClient) -> TestClient:
    browser.headers["accept-language"] = "es"
    return browser


@pytest.fixture
def stranger(browser_at) -> TestClient:
    return reads_spanish(browser_at())


@pytest.fixture
def owner(browser_at, ana) -> TestClient:
    return logged_in(reads_spanish(browser_at()))


def test_the_log_in_has_no_english_left(stranger, ana, left):
    assert left(stranger.get("/log-in")) == []
    assert left(stranger.get("/log-in?gone=1")) == []
    typed = {"name": "Ana", "passphrase": "wrong wrong wrong"}
    for _ in range(FREE_TRIES):
        assert left(stranger.post("/log-in", data=typed), 403) == []
    # How long it lasts is said by the library that knows the words of all languages.
    assert left(stranger.post("/log-in", data=typed), 429, {"segundos"}) == []


def test_the_first_log_in_has_no_english_left(stranger, left):
    assert left(stranger.get("/log-in")) == []
    assert left(stranger.get("/settings/people")) == []


@pytest.mark.parametrize("trusted", [True, False])
def test_what_a_phone_needs_has_no_english_left(make_app, house, reach, ana, people, left, trusted):
    authority = Authority(b"\x30\x03der", "AB:" * 31 + "AB", "fruitwall at home 1f2e", datetime(2036, 1, 1, tzinfo=UTC))
    app = make_app(house=house, reach=replace(reach, authority=authority if trusted else None))
    phone = reads_spanish(TestClient(app, base_url="http://localhost", headers=OWN_PAGE, follow_redirects=False))

    assert left(phone.get("/pair"), also={authority.name, "AB", "fruitwall-authority.crt"}) == []
    assert left(phone.get("/pair/000000000000"), 404, {authority.name, "AB"}) == []
    assert left(phone.get(f"/pair/{people.pairing_code(ana).secret}")) == []
    cleo = people.add("Cleo", "viewer")
    assert left(logged_in(phone).get(f"/pair/{people.pairing_code(cleo).secret}")) == []


def test_people_devices_and_keys_have_no_english_left(owner, people, ana, left):
    ben = people.add("Ben", "helper")
    people.add("Cleo", "viewer", "stone plum window")
    people.start_session(ben, "Firefox", None)
    people.make_token(ana, "readings", "post by the wall")

    assert left(owner.get("/settings/people")) == []
    for done in ("first", "added", "role", "closed", "passphrase", "ended"):
        assert left(owner.get(f"/settings/people?done={done}")) == []
    assert left(owner.post(f"/settings/people/{ben.id}/pair")) == []
    for scope in ("readings", "viewer"):
        made = owner.post("/settings/people/tokens", data={"label": "post by the wall", "scope": scope})
        assert left(made) == []


WRONG = {
    "add": {"name": "Ben", "role": "viewer", "passphrase": "short"},
    "own/passphrase": {"current": "no", "new": GOOD, "again": GOOD},
    "tokens": {"label": "", "scope": "viewer"},
}


@pytest.mark.parametrize("form", WRONG)
def test_what_is_wrong_in_a_form_has_no_english_left(owner, left, form):
    assert left(owner.post(f"/settings/people/{form}", data=WRONG[form]), 422) == []


def test_refusals_have_no_english_left(browser_at, people, left):
    people.add("Ana", "owner", GOOD)
    people.add("Cleo", "viewer", "stone plum window")
    viewer = logged_in(reads_spanish(browser_at()), "Cleo", "stone plum window")
    assert left(viewer.post("/evening/tick", data={}), 403) == []
    foreign = reads_spanish(browser_at(site="cross-site"))
    assert left(foreign.post("/log-in", data={}), 403) == []
    too_long = {"content-length": str(MOST_BYTES + 1)}
    assert left(viewer.post("/settings/people/add", content=b"", headers=too_long), 413) == []
    script = reads_spanish(browser_at(authorization="Bearer fw_wrong", accept="text/html"))
    assert left(script.get("/"), 401) == []
