"""The season of a yard: its parts in one place, and all that is to be done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module
from typing import TYPE_CHECKING

from fruitwall.service.season_part import PartKey, SeasonPart, SeasonTask

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

MAKERS: dict[PartKey, str] = {
    "cold": "cold_season:cold_part",
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


def season_tasks(parts: Iterable[SeasonPart]) -> list[SeasonTask]:
    """Give what is to be done, soonest first; what cannot wait before what can on the same day."""
    return sorted((task for part in parts for task in part.tasks), key=lambda one: (one.due, not one.urgent, one.key))
