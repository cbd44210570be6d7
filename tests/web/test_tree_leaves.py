"""The colour of the leaves on a tree's page."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO

import pytest
from PIL import Image
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.ledger import Sighting, Signed, entry_of
from fruitwall.service.pictures import keep_picture
from tests.plants.leaf_scenes import photo
from tests.web.markup import read_page
from tests.web.sample import NOW

PAPAYA = "/trees/papaya"


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def seen(house: House, *, days_ago: int, **how) -> str:
    """Enter a look with a photo."""
    out = BytesIO()
    Image.fromarray(photo(**{"number": 4, "kind": "paper", **how})[0]).save(out, "PNG")
    digest = keep_picture(house, out.getvalue()).sha256
    at = NOW - timedelta(days=days_ago)
    entry = entry_of(
        "sighting",
        Sighting(photos=[digest]),
        tree="papaya",
        at=at,
        signed=Signed("Anna", "phone", NOW),
        number=str(uuid.uuid4()),
    )
    house.ledger.add([entry])
    return digest


def test_without_photos_nothing_is_said_of_leaves(client):
    assert "Leaf colour" not in client.get(PAPAYA).text


def test_the_photos_of_a_tree_are_told_drawn_and_tabled(client, house):
    sound = seen(house, days_ago=20, number=13)
    seen(house, days_ago=10, number=13, seed=5, stops=-4.0)
    yellow = seen(house, days_ago=1, number=1)
    page = read_page(client.get(PAPAYA).text)

    part = next(one for one in page.all("section") if "Leaf colour in the photos" in one.text)
    assert "shows paler leaves than the one before it" in part.text
    assert "1 photo cannot be compared." in part.text
    table = part.one("table")
    rows = [one.text for one in table.all("tr")]
    assert len(rows) == 4
    assert "Green index (/100)" in rows[0]
    assert "Not comparable: too dark" in rows[2]
    links = [one.attributes["href"] for one in part.all("a")]
    assert f"/photos/{sound}.jpg" in links
    assert f"/photos/{yellow}.jpg" in links


def test_a_photo_that_is_gone_does_not_take_the_page_with_it(client, house):
    digest = seen(house, days_ago=1)
    house.photos.path(digest).unlink()
    page = client.get(PAPAYA)
    assert page.status_code == 200
    assert "The photo cannot be read." in page.text
