"""The season of a yard: its parts in one place, and all that is to be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

from fruitwall.errors import FruitwallError, NoYard
from fruitwall.service.season_part import PartKey, SeasonPart, SeasonTask
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

MAKERS: dict[PartKey, str] = {
    "cold": "cold_season:cold_part",
    "chill": "chill_season:chill_part",
    "heat": "heat_words:heat_part",
    "water": "water_season:water_part",
    "growth": "growth_season:growth_part",
    "recovery": "recovery_season:recovery_part",
}
"""Where each part is made, as ``module:function`` below `fruitwall.service`; in the order of a page. A maker takes the
house and the household of who reads and gives a `SeasonPart`. By name, so that nothing is loaded before it is asked."""


def season_part(key: PartKey, house: House, household: Household) -> SeasonPart:
    """Work out one part of the season.

    Parameters
    ----------
    key : str
        One of `MAKERS`.
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    module, _, function = MAKERS[key].partition(":")
    make: Callable[[House, Household], SeasonPart] = getattr(import_module(f"fruitwall.service.{module}"), function)
    return make(house, household)


def season_parts(house: House, household: Household) -> list[SeasonPart]:
    """Work out all parts, in the order of a page."""
    return [season_part(key, house, household) for key in MAKERS]


TITLES: dict[PartKey, str] = {
    "cold": marked("Cold"),
    "chill": marked("Chill"),
    "water": marked("Water"),
    "heat": marked("Heat"),
    "growth": marked("Growth"),
    "recovery": marked("Recovery"),
}


@dataclass(frozen=True)
class Part:
    """One part as it could be worked out.

    Attributes
    ----------
    key, title : str
    told : SeasonPart or None
        None where it could not be.
    wrong : str
        Why not, and the mend; empty otherwise.
    """

    key: PartKey
    title: str
    told: SeasonPart | None
    wrong: str = ""


def season_parts_told(house: House, household: Household) -> list[Part]:
    """Work out all parts; one that cannot be worked out says so and leaves the others alone.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    list of Part
        In the order of a page.
    """
    found = []
    for key in MAKERS:
        title = say(TITLES[key])
        try:
            found.append(Part(key, title, season_part(key, house, household)))
        except NoYard:
            raise
        except FruitwallError as error:
            found.append(Part(key, title, None, str(error)))
    return found


def season_tasks(parts: Iterable[SeasonPart]) -> list[SeasonTask]:
    """Give what is to be done, soonest first; what cannot wait before what can on the same day."""
    return sorted((task for part in parts for task in part.tasks), key=lambda one: (one.due, not one.urgent, one.key))
