"""How whoever asks for a page reads: their own language and units where they chose some, else those of the yard."""

from __future__ import annotations

from collections.abc import Sequence
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
    own = {name: getattr(asking, name) for name in UNITS}
    return yard.display.model_copy(update={key: unit for key, unit in own.items() if unit})


def as_read_by(yard: Yard, asking: Who) -> Yard:
    """Give the yard with the units of whoever asks, for pages that take them from the yard."""
    return yard.model_copy(update={"display": display_of(yard, asking)})


def household_of(yard: Yard, asking: Who) -> Household:
    """Give units and clock of whoever asks."""
    return Household(display_of(yard, asking), ZoneInfo(yard.location.time_zone))


def preferences_from(values: Sequence[str]) -> Preferences:
    """Make preferences of language and of each of `UNITS` in turn; what is not known counts as not chosen.

    Parameters
    ----------
    values : sequence of str
        As a form or a cookie gives them; units may be left out at the end.

    Returns
    -------
    Preferences
    """
    units = dict(zip(UNITS, values[1:], strict=False))
    return Preferences(
        language=values[0] if values[0] in LANGUAGES else None,
        **{name: unit for name, unit in units.items() if unit in UNITS[name]},
    )


def as_cookie(preferences: Preferences) -> str:
    """Write preferences as they are kept in a cookie: ``es.F.-.-.gal``."""
    given = (preferences.language, *(getattr(preferences, name) for name in UNITS))
    return ".".join(value or NOTHING for value in given)


def from_cookie(text: str) -> Preferences:
    """Read preferences of a cookie; anything that was not written here counts as nothing chosen.

    Cookies of earlier versions lack the volume.
    """
    parts = text.split(".")
    return preferences_from(parts) if len(parts) in (len(UNITS), len(UNITS) + 1) else Preferences()
