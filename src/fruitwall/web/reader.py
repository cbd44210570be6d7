"""How whoever asks for a page reads: their own language and units where they chose some, else those of the yard."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.service.accounts import UNITS, Preferences
from fruitwall.service.household import Household
from fruitwall.speech import LANGUAGES

if TYPE_CHECKING:
    from fruitwall.web.who import Who
    from fruitwall.yard.model import Display, Yard

COOKIE = "fruitwall_reads"
"""Keeps the choice of a browser where nobody has an account."""

NOTHING = "-"


def display_of(yard: Yard, asking: Who) -> Display:
    """Give the units of whoever asks.

    Parameters
    ----------
    yard : Yard
    asking : Who

    Returns
    -------
    Display
    """
    own = {"temperature": asking.temperature, "length": asking.length, "mass": asking.mass}
    return yard.display.model_copy(update={key: unit for key, unit in own.items() if unit})


def as_read_by(yard: Yard, asking: Who) -> Yard:
    """Give the yard with the units of whoever asks, for pages that take them from the yard."""
    return yard.model_copy(update={"display": display_of(yard, asking)})


def household_of(yard: Yard, asking: Who) -> Household:
    """Give units and clock of whoever asks."""
    return Household(display_of(yard, asking), ZoneInfo(yard.location.time_zone))


def preferences_from(values: tuple[str, str, str, str]) -> Preferences:
    """Make preferences of language, temperature, length and mass; what is not known counts as not chosen.

    Parameters
    ----------
    values : tuple of str
        As a form or a cookie gives them.

    Returns
    -------
    Preferences
    """
    language, temperature, length, mass = values
    return Preferences(
        language=language if language in LANGUAGES else None,
        temperature=temperature if temperature in UNITS["temperature"] else None,
        length=length if length in UNITS["length"] else None,
        mass=mass if mass in UNITS["mass"] else None,
    )


def as_cookie(preferences: Preferences) -> str:
    """Write preferences as they are kept in a cookie: ``es.F.-.-``."""
    given = (preferences.language, preferences.temperature, preferences.length, preferences.mass)
    return ".".join(value or NOTHING for value in given)


def from_cookie(text: str) -> Preferences:
    """Read preferences of a cookie; anything that was not written here counts as nothing chosen."""
    parts = text.split(".")
    return preferences_from((parts[0], parts[1], parts[2], parts[3])) if len(parts) == 4 else Preferences()
