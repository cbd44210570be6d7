"""What stands beside a sighting on other pages; these are shown also where it cannot be worked out."""

from __future__ import annotations

from contextlib import suppress

from fruitwall.errors import FruitwallError
from fruitwall.service.causes import Finding, findings_of
from fruitwall.service.doubtful import Doubt, doubts_by_entry, doubts_of
from fruitwall.service.house import House


def findings_beside(house: House, tree: str) -> dict[str, Finding]:
    """Give what the sightings of a tree may come of, by entry."""
    with suppress(FruitwallError, ArithmeticError, ValueError):
        return findings_of(house, tree)
    return {}


def doubts_beside(house: House) -> dict[str, Doubt]:
    """Give the sightings that can hardly be as entered, by entry."""
    with suppress(FruitwallError, ArithmeticError, ValueError):
        return doubts_by_entry(doubts_of(house))
    return {}
