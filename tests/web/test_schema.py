"""Whatever the description of the interface allows, and much that it does not, is answered as it says: never by 500.

Schemathesis reads the description, makes up requests and holds the answers to what is described. The requests are the
same on every run.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import count
from typing import Any

import pytest
import schemathesis
from argon2 import PasswordHasher
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import load_all_checks
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.accounts import SCOPES, People
from fruitwall.service.accounts_passphrases import Passphrases
from fruitwall.service.house import House
from fruitwall.service.ledger import Note, Signed, entry_of
from fruitwall.web.access.reach import Reach
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings
from fruitwall.yard.demo import demo_yard_text
from tests.web.sample import NOW, sample_plan

load_all_checks()

EXAMPLES = 15
"""Requests made up for each address, of those that the description allows and again of those that it does not."""

LOOKS_INSIDE = {"POST /api/photos", "GET /api/placing"}
"""The description cannot say what a photo shows, nor that one thing is asked at once and by names that are known; what
is otherwise is refused although it is described."""

EACH_FOR_ITSELF = {"POST /api/entries"}
"""A telephone sends what waited in one list: a wrong entry is refused in the answer, 200, and keeps no other out."""


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    folder = tmp_path_factory.mktemp("described")
    with open_journal(folder / "house.db") as journal:
        journal.store_yard(demo_yard_text(), name="Demo", now=NOW, author="test")
        house = House(journal, None, lambda: NOW, PhotoFolder(folder / "photos"))
        house.ledger.add([entry_of("note", Note(note="dry"), tree=None, at=NOW, signed=Signed("Ana", "phone", NOW))])
        plan = sample_plan()
        journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=NOW)
        quick = Passphrases(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        ticking = count(0.0, 60.0)  # a minute for each look at the clock: no key is asked to wait
        reach = Reach(now=house.clock, seconds=lambda: next(ticking), passphrases=quick)
        people = People(house.accounts, house.clock, quick)
        ana = people.add("Ana", "owner", "stone pear window")
        app = create_app(
            WebSettings(
                plan_for=lambda _: plan,
                yard=lambda: house.yard()[0],
                now=house.clock,
                house=house,
                hosts=("testserver",),
                reach=reach,
            )
        )
        keys = {scope: people.make_token(ana, scope, scope).secret for scope in SCOPES}
        schema = schemathesis.openapi.from_asgi("/api/openapi.json", app, headers=_with(keys["helper"]))
        yield {
            "operations": {found.ok().label: found.ok() for found in schema.get_all_operations()},
            "keys": keys,
        }


def _with(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


TAKES_NOTHING = [
    "GET /api/yard",
    "GET /api/yard/versions",
    "GET /api/yard-schema",
    "GET /api/trees",
    "GET /api/learned",
    "GET /api/surprises",
    "GET /api/season",
]
TAKES_ANY_TEXT = ["GET /api/entries/{number}/history"]
CAN_BE_ASKED_WRONGLY = [
    "GET /api/yard/versions/{number}",
    "GET /api/plans",
    "GET /api/plans/{night}",
    "GET /api/plans/{night}/ticks",
    "GET /api/entries",
    "POST /api/entries",
    "GET /api/readings",
    "GET /api/season/{part}",
    "GET /api/placing",
    "GET /api/winters",
    "GET /api/winters/{part}",
    "POST /api/readings",
    "POST /api/photos",
]
ADDRESSES = [*TAKES_NOTHING, *TAKES_ANY_TEXT, *CAN_BE_ASKED_WRONGLY]
ASKED = [
    *((address, GenerationMode.POSITIVE) for address in ADDRESSES),
    *((address, GenerationMode.NEGATIVE) for address in CAN_BE_ASKED_WRONGLY),
]


def test_every_address_is_tried(described):
    assert set(described["operations"]) == set(ADDRESSES)


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize(("address", "mode"), ASKED, ids=lambda one: getattr(one, "value", one))
def test_the_interface_answers_as_it_is_described(described, address, mode):
    excluded = [positive_data_acceptance] if address in LOOKS_INSIDE else []
    excluded += [negative_data_rejection] if address in EACH_FOR_ITSELF else []

    @settings(
        max_examples=EXAMPLES,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate],
    )
    @given(case=described["operations"][address].as_strategy(generation_mode=mode))
    def ask(case: Any) -> None:
        case.call_and_validate(headers=_with(described["keys"]["helper"]), excluded_checks=excluded)

    ask()


OPENED = {
    "readings": {"POST /api/readings"},
    "viewer": {address for address in ADDRESSES if address.startswith("GET ")},
    "helper": set(ADDRESSES),
    "": set(),
}
"""What a key of each scope opens; none, or a wrong one, opens nothing."""


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("scope", OPENED)
def test_each_key_opens_what_its_scope_says_at_every_address(described, scope):
    refused_by = 403 if scope else 401
    headers = _with(described["keys"].get(scope, "fw_wrong"))
    opened = set()
    for address, operation in described["operations"].items():
        statuses: set[int] = set()

        @settings(max_examples=3, derandomize=True, database=None, deadline=None, phases=[Phase.generate],
                  suppress_health_check=list(HealthCheck))  # fmt: skip
        @given(case=operation.as_strategy(generation_mode=GenerationMode.POSITIVE))
        def ask(case: Any) -> None:
            answer = case.call(headers=headers)
            statuses.add(answer.status_code)  # noqa: B023 - it is asked at once
            if answer.status_code >= 400:
                assert answer.headers["content-type"] == ["application/problem+json"]

        ask()
        assert max(statuses) < 500
        if refused_by not in statuses:
            opened.add(address)
        else:
            assert statuses == {refused_by}

    assert opened == OPENED[scope]


def test_every_answer_is_described_with_its_shape_and_an_example(described):
    """A guide that shows no values is no guide: each address says what comes back, in words and by example."""
    schema = next(iter(described["operations"].values())).schema.raw_schema
    shapes = schema["components"]["schemas"]
    for path, calls in schema["paths"].items():
        for method, call in calls.items():
            where = f"{method} {path}"
            assert call["description"], where
            content = call["responses"]["200"]["content"]["application/json"]
            assert content["schema"], where
            if where != "get /api/yard-schema":
                assert "$ref" in json.dumps(content["schema"]), where
            for parameter in call.get("parameters", []):
                assert parameter["schema"], (where, parameter["name"])
            for status, answer in call["responses"].items():
                if int(status) >= 400:
                    assert list(answer["content"]) == ["application/problem+json"], (where, status)
            if method == "post":
                assert "examples" in json.dumps(call["requestBody"]), where
    for name in ("TreeAnswer", "EntryAnswer", "ReadingAnswer", "YardAnswer", "PlanMade", "TickAnswer", "Problem"):
        fields = shapes[name]["properties"]
        plain = [field for field, shape in fields.items() if "examples" not in shape and shape.get("type") != "boolean"]
        assert plain == [], (name, plain)
