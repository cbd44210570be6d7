"""Every example of docs/api.md, sent to the application as curl would send it."""

from __future__ import annotations

import json
import re
import shlex
from io import BytesIO
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from PIL import Image
from starlette.testclient import TestClient

from fruitwall.service.accounts import SCOPES, People
from fruitwall.service.accounts_passphrases import Passphrases
from fruitwall.service.readings import AT_ONCE, QUANTITIES
from fruitwall.service.walk_entries import MOST_ENTRIES
from fruitwall.web.access import pace
from fruitwall.web.api.document import api_document
from fruitwall.web.walk.intake import MOST_JSON_BYTES
from tests.web.sample import NIGHT, NOW, sample_plan

GUIDE = (Path(__file__).parents[2] / "docs" / "api.md").read_text("utf-8")
ADDRESS = "http://localhost"


@pytest.fixture
def keys(house, app) -> dict[str, str]:
    from argon2 import PasswordHasher

    people = People(house.accounts, lambda: NOW, Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)))
    ana = people.add("Ana", "owner", "stone pear window")
    return {scope: people.make_token(ana, scope, scope).secret for scope in SCOPES}


@pytest.fixture
def app(make_app, house):
    plan = sample_plan()
    house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    return make_app(house=house)


def commands() -> list[list[str]]:
    """Give the curl commands of the guide, as a shell parts them."""
    found = []
    for block in re.findall(r"```sh\n(.*?)```", GUIDE, re.DOTALL):
        found += [shlex.split(one) for one in re.findall(r"^curl (.*?)(?=^curl |\Z)", block, re.MULTILINE | re.DOTALL)]
    return found


def sent(client: TestClient, words: list[str], keys: dict[str, str]):
    """Send what curl would send."""
    headers, data, files, address = {}, None, None, ""
    rest = iter(words)
    for word in rest:
        if word == "-H":
            name, value = next(rest).split(": ", 1)
            value = value.replace("$SENSOR_KEY", keys["readings"]).replace("$KEY", keys["helper"])
            headers[name] = value
        elif word == "--data":
            data = next(rest)
        elif word == "-F":
            field, _, name = next(rest).partition("=@")
            photo = BytesIO()
            Image.new("RGB", (64, 48), "green").save(photo, "JPEG")
            files = {field: (name, photo.getvalue())}
        else:
            address = word.replace("$FRUITWALL", ADDRESS)
    method = "POST" if data is not None or files is not None else "GET"
    return client.request(method, address, headers=headers, content=data, files=files)


def test_every_example_of_the_guide_works_as_it_stands(app, keys):
    client = TestClient(app, base_url=ADDRESS)
    asked = commands()
    answers = {f"{words[-1]}": sent(client, words, keys) for words in asked}

    assert len(asked) == 14
    assert {answer.status_code for answer in answers.values()} == {200}
    plan = answers[f"$FRUITWALL/api/plans/{NIGHT}"].json()
    assert plan["night"] == str(NIGHT)
    (readings,) = [one.json() for one in answers.values() if "known" in one.json()]
    assert readings == {"new": 2, "known": 0, "refused": []}
    (entries,) = [one.json()["answers"] for one in answers.values() if "answers" in one.json()]
    assert [one["result"] for one in entries] == ["stored", "stored"]
    versions = answers["$FRUITWALL/api/yard/versions"].json()
    assert answers["$FRUITWALL/api/yard/versions/1"].json()["version"] == versions[0]["version"] == 1


def test_sent_again_nothing_is_stored_twice(app, keys, house):
    client = TestClient(app, base_url=ADDRESS)
    posts = [words for words in commands() if "--data" in words or "-F" in words]
    first, again = ([sent(client, words, keys).json() for words in posts] for _ in "ab")

    assert [again[0]["new"], again[0]["known"]] == [0, 2]
    assert [one["result"] for one in again[1]["answers"]] == ["known", "known"]
    assert again[2] == first[2]
    assert len(house.ledger.current()) == 2


def test_the_problem_of_the_guide_is_what_is_answered(app, keys):
    (shown,) = (json.loads(one) for one in re.findall(r"```json\n(.*?)```", GUIDE, re.DOTALL))

    answer = TestClient(app, base_url=ADDRESS).get("/api/trees", headers={"authorization": "Bearer fw_wrong"})

    assert answer.json() == shown
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_ticks_of_an_evening_tell_who_did_what(app, keys, house):
    from fruitwall.service.ledger import Signed
    from fruitwall.service.ticks import tick, tick_key

    plan = sample_plan()
    key = tick_key(plan, plan.tasks[0])
    tick(house.ledger, plan, key, signed=Signed("Odalis", "phone", NOW))
    client = TestClient(app, base_url=ADDRESS, headers={"authorization": f"Bearer {keys['viewer']}"})

    found = client.get(f"/api/plans/{NIGHT}/ticks").json()

    assert [(one["key"], one["by"]) for one in found["done"]] == [(key, "Odalis")]
    assert client.get("/api/plans/2020-01-01").status_code == 404
    assert client.get("/api/plans", params={"since": str(NIGHT), "until": str(NIGHT)}).json() == []
    assert [one["night"] for one in client.get("/api/plans", params={"since": str(NIGHT)}).json()] == [str(NIGHT)]


def test_the_numbers_of_the_guide_are_those_of_the_program(app):
    for name, quantity in QUANTITIES.items():
        low = f"{quantity.low:g}".replace("-", "\N{MINUS SIGN}")
        assert f"| `{name}` | {low} | {quantity.high:g} |" in GUIDE
    assert set(re.findall(r"^\| `(\w+)` \|", GUIDE, re.MULTILINE)) == set(QUANTITIES) | set(SCOPES)
    for number in (AT_ONCE, MOST_ENTRIES, pace.AT_ONCE):
        assert f" {number} " in GUIDE
    assert MOST_JSON_BYTES == 2_000_000
    assert pace.PER_SECOND == 2


def test_every_address_for_programs_stands_in_the_guide(app):
    named = set(re.findall(r"/api/[a-z/-]*", GUIDE))
    for path in api_document(app)["paths"]:
        start = path.split("{")[0]
        assert start in named or path == "/api/yard" or path == "/api/yard-schema", path


def test_all_routes_for_programs_are_described(app):
    """A route under /api without a description would be one that nobody checks."""

    def flat(routes):
        for route in routes:
            inner = getattr(route, "original_router", None)
            yield from flat(inner.routes) if inner is not None else [route]

    paths = {one.path for one in flat(app.routes) if isinstance(one, APIRoute) and one.path.startswith("/api/")}

    assert paths - {"/api/openapi.json"} == set(api_document(app)["paths"])
