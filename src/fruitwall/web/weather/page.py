"""What the page of the weather shows, worked out before the template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from fruitwall.service.household import ago, percent, short_day
from fruitwall.speech import capital, marked, say, say_count
from fruitwall.web.weather.fared import FaredPart
from fruitwall.web.weather.source import SourcePart

if TYPE_CHECKING:
    from fruitwall.service.evening_document import Spread
    from fruitwall.service.household import Household
    from fruitwall.service.weather_story import MeanError, PlannedNight, WeatherStory


MOISTURE = "%"
"""Unit of a reading of soil moisture, by volume."""


@dataclass(frozen=True)
class Typed:
    """What was typed into the form of a reading."""

    value: str = ""
    at: str = ""
    sensor: str = ""
    unit: str = ""
    """°C or °F, or % for soil moisture; empty for that of the reader."""


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
    issued : str
        What the forecast said of the first of them before what readings taught was applied; empty where it was not.
    compared : tuple of tuple of str
        Night, thermometer, lowest reading, forecast at p10, p50, p90, difference.
    errors : tuple of str
        How each thermometer compares, in words.
    unit : str
        Of temperatures, °C or °F.
    sensors : tuple of str
        Names of thermometers that were compared, and of trees, to choose from.
    planned : tuple of tuple of str
        Night; minimum, dew point, wind, cloud; source, and when it was planned.
    source : SourcePart
    fared : FaredPart
    units : tuple of (str, str, bool)
        In which a reading may be entered: value, words, and which is chosen.
    """

    facts: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    coming: tuple[tuple[str, ...], ...]
    issued: str
    compared: tuple[tuple[str, ...], ...]
    errors: tuple[str, ...]
    unit: str
    sensors: tuple[str, ...]
    planned: tuple[tuple[str, ...], ...]
    source: SourcePart
    fared: FaredPart
    units: tuple[tuple[str, str, bool], ...]
    typed: Typed
    error: str = ""
    done: str = ""
    refused: str = ""
    """Why no forecast was fetched or no source chosen."""


DONE = {
    "taken": marked("The reading is stored."),
    "fetched": marked("Fetched. Plans are made from it from now on."),
    "station": marked("Chosen. Plans go by what it read from now on."),
    "chosen": marked("Chosen. It is asked when the next plan is made, or at once by “Fetch now”."),
}
"""What was done, by the word of the address."""


def weather_page(
    story: WeatherStory,
    household: Household,
    now: datetime,
    typed: Typed,
    source: SourcePart,
    fared: FaredPart,
    *,
    spots: Sequence[str] = (),
    error: str = "",
    done: str = "",
    refused: str = "",
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
    source : SourcePart
    fared : FaredPart
    spots : sequence of str
        Names of trees, near which a thermometer may hang.
    error, done, refused : str
        What was wrong with the form; a word of `DONE`; why asking the service was refused.

    Returns
    -------
    WeatherPage
    """
    facts: list[tuple[str, str]] = []
    if story.forecast is not None and story.made is not None:
        facts.append((say("Planned with"), story.forecast.source))
        moments = [(say("Issued"), story.forecast.issued), (say("Plan made"), story.made)]
        if story.fetched:
            moments.insert(1, (say("Fetched"), story.fetched))
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
        tuple(capital(household.in_own_units(text)) for text in (story.forecast.warnings if story.forecast else ())),
        tuple((short_day(one.night), *_spread(one.minimum_c, household)) for one in story.coming),
        _issued(story, household),
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
        tuple(dict.fromkeys([*(one.sensor for one in story.errors), *spots])),
        tuple(_planned(one, household) for one in story.planned),
        source,
        fared,
        tuple(
            (unit, words, unit == (typed.unit or household.degree))
            for unit, words in (("°C", "°C"), ("°F", "°F"), (MOISTURE, say("% water in the soil")))
        ),
        typed,
        error,
        say(DONE[done]) if done in DONE else "",
        refused,
    )


def _issued(story: WeatherStory, household: Household) -> str:
    """Say what was issued for tonight where the plan was made with what readings taught."""
    if story.forecast is None or not story.forecast.as_issued_c or not story.coming:
        return ""
    ahead = (story.coming[0].night - story.planned[0].night).days if story.planned else 0
    if ahead >= len(story.forecast.as_issued_c):
        return ""
    before = household.temperature(story.forecast.as_issued_c[ahead].p50)
    return say(
        "In these figures is what readings taught of forecasts here; as issued, the middle of the first night was "
        "{before}.",
        before=before,
    )


def _planned(one: PlannedNight, household: Household) -> tuple[str, ...]:
    forecast = one.forecast
    return (
        short_day(one.night),
        household.bare_temperature(forecast.station_minimum_c.p50),
        household.bare_temperature(forecast.dew_point_c.p50),
        household.wind(forecast.wind_m_s.p50),
        percent(forecast.cloud.p50),
        forecast.source,
        household.moment(one.made),
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
