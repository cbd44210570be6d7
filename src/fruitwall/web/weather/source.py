"""What the page of the weather says of its source, and of asking it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fruitwall.service.household import ago
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.weather_desk import LastAsked, WeatherDesk
    from fruitwall.web.who import Who

SERVICES = {
    "open-meteo": ("Open-Meteo", marked("The whole world, one run of the best model of the place. CC BY 4.0.")),
    "open-meteo-ensemble": (
        "Open-Meteo, ensemble",
        marked("The whole world, many runs at once: they show how sure a cold night is. CC BY 4.0."),
    ),
    "met-norway": ("MET Norway", marked("The whole world, best in northern Europe. CC BY 4.0.")),
    "nws": ("National Weather Service", marked("The United States only. Public domain.")),
}
"""Name, and what each service is good for, by its word."""


@dataclass(frozen=True)
class Choice:
    """One service."""

    word: str
    name: str
    told: str
    chosen: bool


@dataclass(frozen=True)
class SourcePart:
    """Source of the weather.

    Attributes
    ----------
    now : str
        Which source is used, in words.
    choices : tuple of Choice
        None where the source was named at the start.
    last, trouble : str
        When it last gave an answer; what went wrong since.
    may_fetch, may_choose : bool
    """

    now: str
    choices: tuple[Choice, ...] = ()
    last: str = ""
    trouble: str = ""
    may_fetch: bool = False
    may_choose: bool = False


def source_part(desk: WeatherDesk | None, asking: Who, household: Household, now: datetime) -> SourcePart:
    """Say where the weather comes from.

    Parameters
    ----------
    desk : WeatherDesk or None
        None where the weather is fixed.
    asking : Who
    household : Household
        Clock of the reader.
    now : datetime, aware

    Returns
    -------
    SourcePart
    """
    if desk is None:
        return SourcePart(say("The weather is fixed, as in the demo: no service is asked."))
    if desk.forecast is not None:
        return SourcePart(
            say("The weather was named when the server was started: {source}.", source=name_of(desk.forecast))
        )
    source = desk.source
    good, bad = desk.last()
    choices = tuple(Choice(word, name, say(words), word == source) for word, (name, words) in SERVICES.items())
    return SourcePart(
        say("Asked for forecasts: {source}.", source=name_of(source)),
        choices,
        last=last_words(good, household, now),
        trouble=trouble_words(bad, household, kept=good is not None),
        may_fetch=asking.may("helper"),
        may_choose=asking.may("owner"),
    )


def name_of(word: str) -> str:
    """Give the name of a service; whatever else was named stays as it is."""
    return SERVICES.get(word, (word, ""))[0]


def last_words(good: LastAsked | None, household: Household, now: datetime) -> str:
    """Say when a service last gave a forecast."""
    if good is None or good.fetched is None:
        return say("Nothing was fetched yet.")
    return say(
        "Last fetched from {source}: {moment} ({ago}).",
        source=name_of(good.source),
        moment=household.moment(good.fetched),
        ago=ago(good.fetched, now),
    )


def trouble_words(bad: LastAsked | None, household: Household, *, kept: bool) -> str:
    """Say what went wrong since, and what is used instead, where something was kept."""
    if bad is None:
        return ""
    told = say(
        "Asked {moment}, without success: {trouble}.",
        moment=household.moment(bad.at),
        trouble=bad.trouble.rstrip("."),
    )
    return f"{told} {say('The last good forecast stays in use.')}" if kept else told
