"""What a tree needs of winter chill, by cultivar, by kind, or not known."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.chill_needs import ChillNeed, _crops, all_needs, needs_of
from fruitwall.plants.chill_tables import MODELS


def test_every_row_of_the_table_is_read_and_names_its_source() -> None:
    rows = all_needs()
    assert len(rows) == 125 + 28  # those collected at first, and those looked up later
    assert all(0.0 <= row.low <= row.high and row.locator and row.model in MODELS for row in rows)
    assert sum(row.source is None for row in rows) == 16  # those written down from memory
    # Every crop of the table belongs to some kind.
    assert {row.crop for row in rows} == {crop for crops in _crops().values() for crop in crops}


@pytest.mark.parametrize(
    ("kind", "cultivar", "model", "low", "high", "count"),
    [
        ("peach", "Flordaprince", "portions", 8.0, 8.0, 1),  # Erez 2000 in the table of the University of California
        ("peach", "redhaven", "portions", 75.0, 75.0, 1),
        ("nectarine", "Fantasia", "portions", 41.7, 42.0, 1),  # two sources, nearly the same
        ("peach", "CVN-1A", "hours_below", 550.0, 550.0, 1),  # Alabama: at or below 45 °F
        ("peach", "delta", "hours_below", 550.0, 550.0, 1),
        ("apricot", "Bulida", "portions", 53.8, 56.0, 1),  # without its accent
        ("plum", "Segundo", "hours", 400.0, 500.0, 1),
        ("apricot", "Katy", "hours", 200.0, 300.0, 1),  # a nursery
        ("peach", "Tropic Snow", "hours", 225.0, 225.0, 1),
    ],
)
def test_a_cultivar_of_the_tables_has_its_own_need(
    kind: str, cultivar: str, model: str, low: float, high: float, count: int
) -> None:
    found = needs_of(catalogue().find(kind), cultivar)
    assert found.basis == "cultivar"
    first = found.first
    assert first is not None
    assert (first.model, first.low, first.high, first.cultivars) == (model, low, high, count)
    assert first.rows


def test_two_published_kinds_of_need_stand_beside_each_other_portions_first() -> None:
    found = needs_of(catalogue().find("peach"), "Flordaprince")
    assert [need.model for need in found.needs] == ["portions", "hours", "hours_below"]
    assert [need.from_memory for need in found.needs] == [False, False, True]
    assert [need.from_sellers for need in found.needs] == [False, True, False]


def test_without_a_known_cultivar_the_range_is_over_all_of_the_kind() -> None:
    for cultivar in (None, "No such name"):
        found = needs_of(catalogue().find("apricot"), cultivar)
        assert found.basis == "kind"
        assert found.first is not None
        assert (found.first.low, found.first.high) == (30.0, 69.1)  # Canino to Orange Red
        assert found.first.cultivars == 12


def test_what_keeps_its_leaf_needs_none_and_what_nobody_published_is_not_invented() -> None:
    for kind in ("lemon", "avocado", "loquat", "mango", "sugar apple"):
        found = needs_of(catalogue().find(kind))
        assert (found.basis, found.first) == ("none", None)
    stranger = replace(catalogue().find("peach"), scientific="Asimina triloba")
    assert needs_of(stranger, "Sunflower").basis == "unknown"
    assert needs_of(stranger).first is None


def test_an_own_kind_has_what_its_owner_says_else_what_it_is_like() -> None:
    own = replace(catalogue().find("peach"), key="ours", scientific="Prunus persica 'Ours'", like="Prunus persica")
    assert needs_of(own).basis == "kind"
    told = ChillNeed("portions", 15.0, 20.0, ())
    assert needs_of(own, "Redhaven", (told,)).first == told
    # The owner is believed also of a kind of which the catalogue says that it needs none.
    assert needs_of(catalogue().find("lemon"), None, (told,)).basis == "own"


def test_a_species_is_found_before_its_genus() -> None:
    like = replace(catalogue().find("peach"), like="Vaccinium corymbosum")
    assert needs_of(like).first == ChillNeed("hours", 650.0, 850.0, needs_of(like).needs[0].rows, 1)
    assert len(needs_of(replace(like, like="Vaccinium darrowii")).needs[0].rows) == 2
