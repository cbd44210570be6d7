"""The page of many winters, before it is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.service.winters_words import PartTold, WintersTold, winters_told
from fruitwall.speech import say, say_again
from fruitwall.web.winters.choice import choice_query
from fruitwall.web.winters.runner import left_told

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_document import WintersDocument
    from fruitwall.service.winters_weather import WeatherChoice
    from fruitwall.web.winters.runner import Standing

WARMER_K = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
"""Warmings that the form offers. [K]"""

NEWEST = (10, 20, 30, 40, 60)
"""Numbers of winters that the form offers."""


@dataclass(frozen=True)
class Option:
    """One entry of a list to choose from."""

    value: str
    name: str
    chosen: bool


@dataclass(frozen=True)
class LinkedPart:
    """One part, with the page that shows it."""

    told: PartTold
    url: str


@dataclass(frozen=True)
class WorkLine:
    """Work that is going on."""

    told: str
    place: str


@dataclass(frozen=True)
class WintersPage:
    """What the template shows.

    Attributes
    ----------
    told : WintersTold
    known : bool
        Whether any winter is.
    parts : tuple of LinkedPart
    work : tuple of WorkLine
        What is being worked out now.
    warmer, weighting, newest : tuple of Option
    trend_out : bool
    """

    told: WintersTold
    known: bool
    parts: tuple[LinkedPart, ...]
    work: tuple[WorkLine, ...]
    warmer: tuple[Option, ...]
    weighting: tuple[Option, ...]
    newest: tuple[Option, ...]
    trend_out: bool


def winters_page(
    document: WintersDocument,
    choice: WeatherChoice,
    household: Household,
    *,
    going_on: Sequence[Standing],
) -> WintersPage:
    """Put the page together.

    Parameters
    ----------
    document : WintersDocument
    choice : WeatherChoice
    household : Household
        Of who reads.
    going_on : sequence of Standing
        Work that is being done.

    Returns
    -------
    WintersPage
    """
    found = winters_told(document, household)
    query = choice_query(choice)
    warmer = sorted({*WARMER_K, choice.warmer_k})
    newest = sorted({*NEWEST, choice.most})
    return WintersPage(
        told=found,
        known=document.source is not None,
        parts=tuple(LinkedPart(one, f"/winters/{one.key}{query}") for one in found.parts),
        work=tuple(_work(one) for one in going_on),
        warmer=tuple(Option(f"{one:g}", _warmer_words(one, household), one == choice.warmer_k) for one in warmer),
        weighting=tuple(
            Option(value, words, value == choice.weighting)
            for value, words in (("equal", say("all alike")), ("recent", say("recent ones for more")))
        ),
        newest=tuple(Option(f"{one}", f"{one}", one == choice.most) for one in newest),
        trend_out=choice.trend_taken_out,
    )


def _warmer_words(kelvin: float, household: Household) -> str:
    if kelvin == 0.0:
        return say("as they were")
    size = household.fine_difference(kelvin)
    return say("{size} warmer", size=size) if kelvin > 0 else say("{size} colder", size=size)


def _work(standing: Standing) -> WorkLine:
    """Say how far some work is."""
    what = say_again(standing.what)
    if standing.state == "waiting":
        return WorkLine(say("{what}: waits.", what=what), standing.place)
    done = say("{percent} % done.", percent=min(99, int(100 * standing.progress.share)))
    return WorkLine(f"{what}: {done} {left_told(standing)}", standing.place)
