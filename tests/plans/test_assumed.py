"""What is assumed of drawn years, in words."""

from __future__ import annotations

from fruitwall.plans.rules.assumed import assumed
from fruitwall.plans.rules.outcome import Ahead
from fruitwall.speech import speaking


def test_it_tells_how_far_and_what_becomes_of_a_lost_tree() -> None:
    first, lost, *others = assumed(Ahead(years=30, draws=64))
    assert "64 futures of 30 years" in first
    assert "nursery tree of 2 years" in lost
    assert len(others) == 5
    assert "stays empty" in assumed(Ahead(replant=False))[1]


def test_it_is_told_in_spanish() -> None:
    with speaking("es"):
        told = assumed(Ahead(years=1, draws=1))
    assert told[0].startswith("Se sortean 1 futuro de 1 año")
    assert not set(told) & set(assumed(Ahead(years=1, draws=1)))
