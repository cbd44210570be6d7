"""What the page of settings shows, worked out before the template."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall import __version__
from fruitwall.service.accounts import UNITS
from fruitwall.speech import LANGUAGES, marked, say

if TYPE_CHECKING:
    from fruitwall.service.accounts import Preferences
    from fruitwall.web.who import Who
    from fruitwall.yard.model import Display

UNIT_NAMES = {
    "C": marked("Celsius, °C"),
    "F": marked("Fahrenheit, °F"),
    "m": marked("Metres"),
    "ft": marked("Feet"),
    "kg": marked("Kilograms"),
    "lb": marked("Pounds"),
}

NAMES = {
    "language": marked("Language"),
    "temperature": marked("Temperatures"),
    "length": marked("Lengths"),
    "mass": marked("Weights"),
}

SOURCES = (
    (
        "Open-Meteo",
        "https://open-meteo.com/",
        marked("Forecasts for the whole world, asked where nothing else is named. CC BY 4.0."),
    ),
    ("MET Norway", "https://api.met.no/", marked("Forecasts, where it is named as the source. CC BY 4.0.")),
    (
        "National Weather Service",
        "https://www.weather.gov/documentation/services-web-api",
        marked("Forecasts for the United States, where it is named as the source. Public domain."),
    ),
)
"""Weather services that can be asked: name, address, what for and under which licence."""


@dataclass(frozen=True)
class Choice:
    """One choice of a list."""

    value: str
    text: str
    chosen: bool


@dataclass(frozen=True)
class Chooser:
    """A list to choose from."""

    name: str
    label: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True)
class SettingsPage:
    """All that the page shows.

    Attributes
    ----------
    choosers : tuple of Chooser
        Language and units.
    told : str
        For whom the choice holds.
    sources : tuple of (str, str, str)
        Name, address and words of each.
    owner : bool
        Whether who asks may take a backup.
    done : str
        What was just done.
    """

    choosers: tuple[Chooser, ...]
    told: str
    sources: tuple[tuple[str, str, str], ...]
    owner: bool
    version: str
    done: str = ""


def settings_page(asking: Who, chosen: Preferences, display: Display | None, done: str = "") -> SettingsPage:
    """Work out the page.

    Parameters
    ----------
    asking : Who
    chosen : Preferences
        What they chose so far.
    display : Display or None
        Units of the yard; None where there is none yet.
    done : str
        Word of the address: ``reads`` after a choice was stored.

    Returns
    -------
    SettingsPage
    """
    choosers = [_chooser("language", chosen.language, say("As the browser asks"), dict(LANGUAGES))]
    for name, units in UNITS.items():
        of_yard = getattr(display, name, None)
        text = say("As the yard: {unit}", unit=say(UNIT_NAMES[of_yard])) if of_yard else say("As the yard")
        words = {unit: say(UNIT_NAMES[unit]) for unit in units}
        choosers.append(_chooser(name, getattr(chosen, name), text, words))
    if asking.account is None:
        told = say("Kept in this browser, for whoever sits at it.")
    else:
        told = say("For {name}, on every device. Others read as they chose themselves.", name=asking.name)
    return SettingsPage(
        tuple(choosers),
        told,
        tuple((name, url, say(words)) for name, url, words in SOURCES),
        asking.may("owner"),
        __version__,
        say("Stored. The pages read like this from now on.") if done == "reads" else "",
    )


def _chooser(name: str, chosen: str | None, otherwise: str, words: dict[str, str]) -> Chooser:
    choices = [Choice("", otherwise, chosen is None)]
    choices += [Choice(value, text, value == chosen) for value, text in words.items()]
    return Chooser(name, say(NAMES[name]), tuple(choices))
