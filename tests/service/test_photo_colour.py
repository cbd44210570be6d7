"""Leaf colours along a tree's photos: measured once, in any order, and honest about what cannot be read."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from math import isnan, nan

import numpy as np
import pytest
from PIL import Image

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.plants.leaf_colour import LeafColour, leaf_colour
from fruitwall.service import photo_colour
from fruitwall.service.house import House
from fruitwall.service.photo_colour import (
    VERSION,
    LeafLook,
    LeafSeries,
    change_words,
    leaf_series,
    look_words,
    measure,
)
from fruitwall.service.pictures import keep_picture
from fruitwall.yard.demo import demo_yard_text
from tests.plants.leaf_scenes import photo

NOW = datetime(2026, 12, 23, 16, 0, tzinfo=UTC)


@pytest.fixture
def house(tmp_path) -> Iterator[House]:
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard(demo_yard_text(), name="Demo", now=NOW, author="test")
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


def kept(house: House, rgb: np.ndarray, *, taken: datetime | None = None) -> str:
    out = BytesIO()
    Image.fromarray(rgb).save(out, "PNG")
    return keep_picture(house, out.getvalue(), taken=taken).sha256


def look(index: float, *, day: int, doubt: float = 0.02, **changes) -> LeafLook:
    colour = LeafColour(index, doubt, 1.0, 0.0, 0.0, 0.0, 0.0, 0.3, "patch", 3.0, None, ())
    return LeafLook(NOW + timedelta(days=day), f"{day:064x}", replace(colour, **changes))


def test_a_photo_is_measured_once_and_as_it_was_taken(house, monkeypatch):
    rgb, _ = photo(8, "soil", card=0.45, light=(1.2, 1.0, 0.7))
    digest = kept(house, rgb)
    first = measure(house, digest)
    assert first is not None
    assert first.light == "patch"
    assert first.index == pytest.approx(0.36, abs=0.05)

    monkeypatch.setattr(photo_colour, "_measure", lambda *_: pytest.fail("measured again"))
    assert measure(house, digest) == first


def test_what_was_measured_another_way_or_went_bad_is_measured_anew(house):
    digest = kept(house, photo(4, "paper")[0])
    first = measure(house, digest)
    for bad in (
        b"",
        b"[]",
        b"{}",
        json.dumps({"version": VERSION + 1, "colour": {}}).encode(),
        json.dumps({"version": VERSION, "colour": {"patch": None}}).encode(),
    ):
        house.photos.store_measured(digest, bad)
        assert measure(house, digest) == first


def test_numbers_that_are_none_come_back_as_none(house):
    digest = kept(house, np.full((40, 60, 3), 20, dtype=np.uint8))
    for _ in range(2):
        found = measure(house, digest)
        assert found is not None
        assert isnan(found.index)
        assert not found.comparable
        assert "too dark" in look_words(LeafLook(NOW, digest, found))


def test_photos_that_are_missing_damaged_or_tiny_are_said_to_be_unreadable(house):
    damaged = kept(house, photo(4, "paper")[0])
    path = house.photos.path(damaged)
    path.write_bytes(path.read_bytes()[:-200])
    tiny = kept(house, np.full((9, 9, 3), 90, dtype=np.uint8))
    no_picture = house.photos.store(b"\xff\xd8\xff no picture at all")
    for digest in (damaged, tiny, no_picture, "ab" * 32):
        assert measure(house, digest) is None
        assert look_words(LeafLook(NOW, digest, None)) == "The photo cannot be read."


def test_the_series_is_the_same_in_any_order_and_by_the_time_of_taking(house):
    taken = NOW - timedelta(days=30)
    old = kept(house, photo(13, "paper")[0], taken=taken)
    new, other = kept(house, photo(8, "paper")[0]), kept(house, photo(4, "paper")[0])
    entered = [(NOW, old), (NOW - timedelta(days=2), new), (NOW - timedelta(days=1), other), (NOW, new)]

    first = leaf_series(house, entered)
    assert [(one.at, one.photo) for one in first.looks] == [
        (taken, old),
        (NOW - timedelta(days=2), new),
        (NOW - timedelta(days=1), other),
    ]
    for seed in range(4):
        random.Random(seed).shuffle(entered)
        assert leaf_series(house, entered) == first


def test_a_page_measures_a_few_photos_the_newest_first_and_the_rest_later(house):
    digests = [kept(house, np.full((40, 60 + at, 3), 90, dtype=np.uint8)) for at in range(4)]
    entered = [(NOW + timedelta(hours=at), digest) for at, digest in enumerate(digests)]
    missing = (NOW + timedelta(hours=9), "cd" * 32)

    first = leaf_series(house, [*entered, missing], at_once=3)
    assert [one.photo for one in first.looks] == [*digests[1:], missing[1]]
    assert first.waiting == 1
    again = leaf_series(house, [*entered, missing], at_once=3)
    assert [one.photo for one in again.looks] == [*digests, missing[1]]
    assert again.waiting == 0


def test_a_change_is_told_where_it_is_more_than_light_explains():
    steady = [look(0.50 + shift, day=day) for day, shift in enumerate((0.0, 0.02, -0.02))]

    def change(*more: LeafLook):
        found = LeafSeries((*steady, *more), 0, 0).change
        assert found is not None
        return found

    assert change(look(0.47, day=9)).kind == "same"
    paler = change(look(0.40, day=9))
    assert (paler.kind, paler.before, paler.index_before) == ("paler", 3, 0.5)
    assert "than the 3 before it" in change_words(paler)
    assert "green index 40, before 50" in change_words(paler)
    assert change(look(0.60, day=9)).kind == "darker"
    # The same difference by a doubtful light is none; what cannot be compared and what has no leaf does not count.
    assert change(look(0.40, day=9, doubt=0.055)).kind == "same"
    assert change(look(0.10, day=9, problems=("cast",)), look(nan, day=10)).newest == steady[-1]
    assert LeafSeries((steady[0],), 0, 0).change is None


def test_no_photo_of_one_leaf_in_one_light_is_told_as_a_change():
    """One leaf under lights that telephones leave: at most one photo in eight is told to differ from the others."""
    rng = np.random.default_rng(8)
    looks = []
    for day in range(9):
        red, blue = np.exp(rng.normal(0, (0.03, 0.05)))
        stops = float(rng.normal(-0.3, 0.25))
        rgb, _ = photo(11, "paper", seed=day, light=(red, 1.0, blue), stops=min(stops, 0.0))
        looks.append(LeafLook(NOW + timedelta(days=day), f"{day:064x}", leaf_colour(rgb)))
    told = [LeafSeries(tuple(looks[:end]), 0, 0).change for end in range(2, 10)]
    assert sum(one is not None and one.kind != "same" for one in told) <= 1
    assert sum(one.colour.comparable for one in looks) >= 7
