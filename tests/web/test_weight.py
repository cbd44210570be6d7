"""What a first visit of evening and walk brings over the network, counted by the browser. Times are for `bench`."""

from __future__ import annotations

from pathlib import Path

import pytest

from bench.web_pages_case import LARGEST_KB, PAGES, open_page
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.house import House
from fruitwall.yard.file import write_yard
from tests.web.sample import NOW, large_evening, sample_plan, sample_yard

EVENINGS = {"demo": lambda: (sample_yard(), sample_plan()), "60 trees": lambda: large_evening(60)}


@pytest.mark.browser
@pytest.mark.parametrize("evening", EVENINGS)
def test_evening_and_walk_stay_light(browser, serve, tmp_path: Path, evening: str):
    yard, plan = EVENINGS[evening]()
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")
        house = House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))
        address = serve(plan, yard, house=house)
        weights = {
            path: open_page(browser, address + path, "main", slower=1)
            for path in ("/", "/walk", f"/walk/{yard.trees[0].id}")
        }

    assert len(weights) == len(PAGES)
    assert all(5.0 < one.received_kb < LARGEST_KB / 2 for one in weights.values()), weights
    assert all(one.requests > 2 for one in weights.values()), weights


def test_pages_are_sent_compressed_to_who_can_read_it(client_of):
    yard, plan = large_evening(60)
    client = client_of(plan, yard)

    packed = client.get("/", headers={"accept-encoding": "gzip"})
    plain = client.get("/", headers={"accept-encoding": "identity"})
    assert packed.headers["content-encoding"] == "gzip"
    assert "accept-encoding" in packed.headers["vary"].lower()
    assert "content-encoding" not in plain.headers
    assert packed.num_bytes_downloaded * 8 < len(plain.content)
    assert packed.text == plain.text
