"""Whatever the description of the interface allows, and much that it does not, is answered as it says: never by 500.

Schemathesis reads the description, makes up requests and holds the answers to what is described. The requests are the
same on every run.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import load_all_checks
from schemathesis.specs.openapi.checks import negative_data_rejection, positive_data_acceptance

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.house import House
from fruitwall.service.ledger import Note, Signed, entry_of
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings
from fruitwall.yard.demo import demo_yard_text
from tests.web.sample import NOW, sample_plan

load_all_checks()

EXAMPLES = 15
"""Requests made up for each address, of those that the description allows and again of those that it does not."""

LOOKS_INSIDE = {"POST /api/photos"}
"""The description cannot say what a photo shows; one that is too small is refused although it is described."""

EACH_FOR_ITSELF = {"POST /api/entries"}
"""A telephone sends what waited in one list: a wrong entry is refused in the answer, 200, and keeps no other out."""


@pytest.fixture(scope="module")
def described(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    folder = tmp_path_factory.mktemp("described")
    with open_journal(folder / "house.db") as journal:
        journal.store_yard(demo_yard_text(), name="Demo", now=NOW, author="test")
        house = House(journal, None, lambda: NOW, PhotoFolder(folder / "photos"))
        house.ledger.add([entry_of("note", Note(note="dry"), tree=None, at=NOW, signed=Signed("Ana", "phone", NOW))])
        app = create_app(
            WebSettings(
                plan_for=lambda _: sample_plan(),
                yard=lambda: house.yard()[0],
                now=house.clock,
                house=house,
                hosts=("testserver",),
            )
        )
        schema = schemathesis.openapi.from_asgi("/api/openapi.json", app)
        yield {found.ok().label: found.ok() for found in schema.get_all_operations()}


TAKES_NOTHING = ["GET /api/yard", "GET /api/yard-schema", "GET /api/trees"]
TAKES_ANY_TEXT = ["GET /api/entries/{number}/history"]
CAN_BE_ASKED_WRONGLY = [
    "GET /api/entries",
    "POST /api/entries",
    "GET /api/readings",
    "POST /api/readings",
    "POST /api/photos",
]
ADDRESSES = [*TAKES_NOTHING, *TAKES_ANY_TEXT, *CAN_BE_ASKED_WRONGLY]
ASKED = [
    *((address, GenerationMode.POSITIVE) for address in ADDRESSES),
    *((address, GenerationMode.NEGATIVE) for address in CAN_BE_ASKED_WRONGLY),
]


def test_every_address_is_tried(described):
    assert set(described) == set(ADDRESSES)


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
    @given(case=described[address].as_strategy(generation_mode=mode))
    def ask(case: Any) -> None:
        case.call_and_validate(excluded_checks=excluded)

    ask()
