"""What the page of the weather shows, worked out before the template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fruitwall.service.household import ago, percent, short_day
from fruitwall.speech import say, say_count
from fruitwall.web.evening.checklist import sentence

if TYPE_CHECKING:
    from fruitwall.service.evening_document import Spread
    from fruitwall.service.household import Household
    from fruitwall.service.weather_story import MeanError, WeatherStory


@dataclass(frozen=True)
class Typed:
    """What was typed into the form of a reading."""

    value: str = ""
    at: str = ""
    sensor: str = ""


@dataclass(frozen=True)
class WeatherPage:
    """All that the page shows.

    Attributes
    ----------
    facts : tuple of (str, str)
        Source and age of the forecast, and what else it says of the night that was planned; none where nothing was
        planned yet.
    warnings : tuple of str
        Of the forecast.
    coming : tuple of tuple of str
        Night; minimum at p10, p50, p90.
    compared : tuple of tuple of str
        Night, thermometer, lowest reading, forecast at p10, p50, p90, difference.
    errors : tuple of str
        How each thermometer compares, in words.
    unit : str
        Of temperatures, °C or °F.
    sensors : tuple of str
        Names of thermometers that were compared, to choose from.
    """

    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    coming: tuple[tuple[str, ...], ...]
    compared: tuple[tuple[str, ...], ...]
    errors: tuple[str, ...]
    unit: str
    sensors: tuple[str, ...]
    typed: Typed
    error: str = ""
    done: str = ""


def weather_page(
    story: WeatherStory, household: Household, now: datetime, typed: Typed, *, error: str = "", done: str = ""
) -> WeatherPage:
    """Work out the page.

    Parameters
    ----------
    story : WeatherStory
    household : Household
        Units and clock of the reader.
    now : datetime, aware
    typed : Typed
        What stands in the form.
    error, done : str
        What was wrong with it; ``taken`` after a reading was stored.

    Returns
    -------
    WeatherPage
    """
    facts: list[tuple[str, str]] = []
    if story.forecast is not None and story.made is not None:
        facts.append((say("Source"), story.forecast.source))
        # Without a forecast of its own in the journal all that is known is when the plan was made from it.
        last = (say("Fetched"), story.fetched) if story.fetched else (say("Planned"), story.made)
        moments = ((say("Issued"), story.forecast.issued), last)
        facts += [(name, f"{household.moment(one)} ({ago(one, now)})") for name, one in moments]
        facts.append((say("Runs of the model"), str(story.forecast.members)))
        for one in story.coming[:1]:
            if one.dew_point_c is not None and one.wind_m_s is not None and one.cloud is not None:
                facts += [
                    (say("Dew point"), household.temperature(one.dew_point_c.p50)),
                    (say("Wind"), household.wind(one.wind_m_s.p50)),
                    (say("Cloud"), percent(one.cloud.p50)),
                ]
    return WeatherPage(
        tuple(facts),
        tuple(sentence(household.in_own_units(text)) for text in (story.forecast.warnings if story.forecast else ())),
        tuple((short_day(one.night), *_spread(one.minimum_c, household)) for one in story.coming),
        tuple(
            (
                short_day(one.night),
                one.sensor,
                household.bare_temperature(one.lowest_c),
                *_spread(one.minimum_c, household),
                household.bare_difference(one.error_k),
            )
            for one in story.compared
        ),
        tuple(error_words(one, household) for one in story.errors),
        household.degree,
        tuple(one.sensor for one in story.errors),
        typed,
        error,
        say("The reading is stored.") if done == "taken" else "",
    )


def _spread(spread: Spread, household: Household) -> tuple[str, str, str]:
    low, middle, high = (household.bare_temperature(one) for one in (spread.p10, spread.p50, spread.p90))
    return low, middle, high


def error_words(one: MeanError, household: Household) -> str:
    """Say how a thermometer compares with the forecast."""
    size = household.difference(one.mean_k)
    nights = say_count("{count} night", "{count} nights", one.nights)
    if household.bare_difference(one.mean_k) in ("0", "0.0", "0,0"):
        text = say("{sensor}: on average as the forecast said, over {nights}.", sensor=one.sensor, nights=nights)
    elif one.mean_k < 0:
        text = say(
            "{sensor}: on average {size} colder than the forecast, over {nights}.",
            sensor=one.sensor,
            size=size,
            nights=nights,
        )
    else:
        text = say(
            "{sensor}: on average {size} warmer than the forecast, over {nights}.",
            sensor=one.sensor,
            size=size,
            nights=nights,
        )
    within = say("Within the range of the forecast: {within} of {nights}.", within=one.within, nights=one.nights)
    return f"{text} {within}"
