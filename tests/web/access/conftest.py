"""A household with an owner, and browsers that come to it."""

from __future__ import annotations

import pytest
from argon2 import PasswordHasher
from fastapi import Depends
from starlette.testclient import TestClient

from fruitwall.service.accounts import People
from fruitwall.service.accounts_passphrases import Passphrases
from fruitwall.web.access.reach import Reach
from fruitwall.web.who import need
from tests.web.access.parts import GOOD, Time


@pytest.fixture
def time():
    return Time()


@pytest.fixture
def reach(time):
    quick = Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    return Reach(now=time.now, seconds=time.seconds, passphrases=quick, cookie_key=b"k" * 32)


@pytest.fixture
def people(house, reach):
    return People(house.accounts, reach.now, reach.passphrases)


@pytest.fixture
def app(make_app, house, reach):
    app = make_app(house=house, reach=reach)

    @app.post("/changed", dependencies=[Depends(need("helper"))])
    def changed() -> str:
        return "changed"

    @app.post("/forgotten")
    def forgotten() -> str:
        return "a route that forgot to ask who it is"

    return app


@pytest.fixture
def browser_at(app):
    """Make a browser that says of each request that it was made on our own page."""

    def make(site="same-origin", base="http://localhost", agent="Mozilla/5.0 (Android 14) Firefox/140.0", **headers):
        known = {"sec-fetch-site": site, "user-agent": agent} | headers
        return TestClient(app, base_url=base, headers=known, follow_redirects=False)

    return make


@pytest.fixture
def ana(people):
    return people.add("Ana", "owner", GOOD)
