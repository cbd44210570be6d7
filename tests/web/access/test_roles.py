"""Who may do what at every address there is, held to a written table: `who_may.txt` beside this file.

A new address has to be written there. A line is method, address, and who gets past the log-in and the question who it
is: nobody, viewer, helper, owner, and sensor (a key for readings); a dash stands for refused.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from itsdangerous import Signer
from starlette.testclient import TestClient

from fruitwall.service.accounts import PASSPHRASE_SESSION
from fruitwall.web.access.sessions import _sha256
from tests.web.access.parts import GOOD
from tests.web.sample import NIGHT

TABLE = Path(__file__).with_name("who_may.txt")
WHO = ("nobody", "viewer", "helper", "owner", "sensor")
FILLED = {"tree": "papaya", "number": "999999", "night": str(NIGHT), "key": "x", "code": "000000000000"}
"""What stands in an address; whether it is there makes no difference to who may ask."""


@pytest.fixture
def app(make_app, house, reach) -> FastAPI:
    made: FastAPI = make_app(house=house, reach=reach)
    return made


def written() -> dict[str, str]:
    """Read the table."""
    lines = [line for line in TABLE.read_text("utf-8").splitlines() if line and not line.startswith("#")]
    return {" ".join(line.split()[:2]): " ".join(line.split()[2:]) for line in lines}


def routes_of(app: FastAPI) -> Iterator[tuple[str, str]]:
    """Give every address with its methods; HEAD is asked like GET."""
    for route in _flat(app.routes):
        for method in sorted(route.methods - {"HEAD"}):
            yield method, route.path


def _flat(routes) -> Iterator[APIRoute]:
    for route in routes:
        inner = getattr(route, "original_router", None) or getattr(route, "router", None)
        if isinstance(route, APIRoute):
            yield route
        elif inner is not None:
            yield from _flat(inner.routes)


def asked(app: FastAPI, reach, people, accounts, who: str, method: str, path: str) -> bool:
    """Tell whether somebody gets past the log-in and the question who it is; each comes with a session of their own."""
    headers = {"sec-fetch-site": "same-origin", "accept": "text/html"}
    if who == "sensor":
        headers = {"authorization": f"Bearer {accounts['sensor']}"}
    elif who != "nobody":
        made = people.start_session(accounts[who], "test", PASSPHRASE_SESSION)
        signed = Signer(reach.cookie_key, salt="fruitwall session", digest_method=_sha256).sign(made.secret).decode()
        headers["cookie"] = f"fruitwall={signed}"
    address = path
    for name, value in FILLED.items():
        address = address.replace(f"{{{name}}}", value)
    address = address.replace("{name}", "x").replace("{what}", "x").replace("{taxon}", "papaya")
    client = TestClient(app, base_url="http://localhost", headers=headers, follow_redirects=False)
    typed = {"name": "Ana", "passphrase": GOOD} if path == "/log-in" else None
    answer = client.request(method, address, data=typed)
    to_log_in = answer.status_code == 303 and answer.headers["location"].startswith("/log-in?next=")
    if path == "/":
        to_log_in = answer.headers.get("location") == "/log-in"
    return answer.status_code not in (401, 403) and not to_log_in


def let_in(app: FastAPI, reach, people, accounts, method: str, path: str, time) -> str:
    """Give who is let in, as it stands in the table."""
    time.pass_by(1)  # there are more addresses than a key may ask for at once, and "too often" is no refusal
    return " ".join(who if asked(app, reach, people, accounts, who, method, path) else "-" for who in WHO)


def test_every_address_lets_in_whom_the_table_says_and_nobody_else(app, reach, people, ana, time):
    accounts = {
        "owner": ana,
        "helper": people.add("Ben", "helper"),
        "viewer": people.add("Cleo", "viewer"),
        "sensor": people.make_token(ana, "readings", "post").secret,
    }
    found = {
        f"{method} {path}": let_in(app, reach, people, accounts, method, path, time)
        for method, path in sorted(routes_of(app), key=lambda one: (one[1], one[0]))
    }

    assert found == written()


def test_the_table_itself_gives_no_stranger_and_no_sensor_more_than_they_need():
    table = written()
    to_nobody = {address for address, who in table.items() if who.startswith("nobody")}
    to_sensors = {address for address, who in table.items() if who.endswith("sensor")}

    assert to_sensors == {"POST /api/readings"}
    assert all(address.split()[1].startswith(OPEN) for address in to_nobody)
    for address, who in table.items():
        allowed = who.split()[1:4]
        # Whoever may more may also what they may who may less.
        assert allowed == sorted(allowed, key=lambda one: one != "-"), address
        if address.startswith(("POST", "PUT", "DELETE", "PATCH")) and allowed[0] == "viewer":
            assert address.split()[1].startswith(OWN), address


OPEN = ("/log-in", "/log-out", "/pair", "/authority.crt", "/health", "/static/", "/sw.js", "/manifest.webmanifest",
        "/icons/", "/walk/-/offline")  # fmt: skip
OWN = ("/log-in", "/log-out", "/pair", "/settings/own", "/settings/people")
