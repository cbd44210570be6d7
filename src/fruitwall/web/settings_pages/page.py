"""What the page of settings shows, worked out before the template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from fruitwall import __version__
from fruitwall.service.accounts import UNITS
from fruitwall.service.backups import last_backup
from fruitwall.service.household import ago
from fruitwall.service.notify_targets import targets_of
from fruitwall.speech import LANGUAGES, marked, say
from fruitwall.web.reader import household_of

if TYPE_CHECKING:
    from fruitwall.service.accounts import Preferences
    from fruitwall.service.house import House
    from fruitwall.web.who import Who
    from fruitwall.yard.model import Display

UNIT_NAMES = {
    "C": marked("Celsius, °C"),
    "F": marked("Fahrenheit, °F"),
    "m": marked("Metres"),
    "ft": marked("Feet"),
    "kg": marked("Kilograms"),
    "lb": marked("Pounds"),
    "L": marked("Litres"),
    "gal": marked("US gallons"),
}

NAMES = {
    "language": marked("Language"),
    "temperature": marked("Temperatures"),
    "length": marked("Lengths"),
    "mass": marked("Weights"),
    "volume": marked("Volumes"),
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
    clock : str
        By which clock the pages tell the time, and what it shows; empty where there is no yard yet.
    backup, backup_old : str, bool
        When the last backup was made, and whether a new one is advised.
    targets : tuple of (str, str, str)
        Id, name and the part of the address that may be seen; for the owner alone.
    typed, wrong : dict of str to str
        What was typed of a new target, and what is wrong, by field.
    """

    choosers: tuple[Chooser, ...]
    told: str
    sources: tuple[tuple[str, str, str], ...]
    owner: bool
    version: str
    done: str = ""
    clock: str = ""
    backup: str = ""
    backup_old: bool = False
    targets: tuple[tuple[str, str, str], ...] = ()
    typed: Mapping[str, str] = field(default_factory=dict)
    wrong: Mapping[str, str] = field(default_factory=dict)


DONE = {
    "reads": marked("Stored. The pages read like this from now on."),
    "target": marked("The address is in the list."),
    "gone": marked("The address is out of the list."),
}
"""What was done, by the word of the address."""


def settings_page(
    asking: Who,
    chosen: Preferences,
    display: Display | None,
    done: str = "",
    *,
    house: House | None = None,
    typed: Mapping[str, str] | None = None,
    wrong: Mapping[str, str] | None = None,
) -> SettingsPage:
    """Work out the page.

    Parameters
    ----------
    asking : Who
    chosen : Preferences
        What they chose so far.
    display : Display or None
        Units of the yard; None where there is none yet.
    done : str
        Word of the address, one of `DONE`.
    house : House, optional
        Whose clock, backups and targets are told.
    typed, wrong : mapping, optional
        Of a target that was refused.

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
        say(DONE[done]) if done in DONE else "",
        typed=typed or {},
        wrong=wrong or {},
        **_of_house(house, asking),
    )


def _of_house(house: House | None, asking: Who) -> dict[str, Any]:
    """Tell clock, last backup and targets."""
    if house is None or not house.has_yard():
        return {}
    yard, _ = house.yard()
    household, now = household_of(yard, asking), house.clock()
    told: dict[str, Any] = {
        "clock": say(
            "All times are those of the yard, for everybody: {zone}, where it is now {moment}.",
            zone=yard.location.time_zone,
            moment=household.moment(now),
        )
    }
    if not asking.may("owner"):
        return told
    last = last_backup(house.journal)
    if last is None:
        return told | {"backup": say("No backup was made so far."), "backup_old": True, "targets": _targets(house)}
    made = say("Last made {moment} ({ago}).", moment=household.moment(last.at), ago=ago(last.at, now))
    return told | {"backup": made, "backup_old": last.is_old(now), "targets": _targets(house)}


def _targets(house: House) -> tuple[tuple[str, str, str], ...]:
    return tuple((one.id, one.name, one.shown) for one in targets_of(house.ledger))


def _chooser(name: str, chosen: str | None, otherwise: str, words: dict[str, str]) -> Chooser:
    choices = [Choice("", otherwise, chosen is None)]
    choices += [Choice(value, text, value == chosen) for value, text in words.items()]
    return Chooser(name, say(NAMES[name]), tuple(choices))
