"""From a yard and its climate to the ground that "what if" is asked of.

Every measure that the yard allows is marched through every winter as if it were taken every night, at several sizes of
its trees (`service.winters_replay`); here the parts of that work are put together, and kept.

What is simpler here than in an evening's plan, and told to the user: hourly steps; no picking of fruit, no single sheet
over several trees, no wetting of the ground; trees carry what their file says, deciduous ones rest all winter; leaf
that pales in weeks of cool nights is left out (no measure of an evening is taken for it).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground, WinterNights
from fruitwall.service.kept import Kept
from fruitwall.service.winters_replay import YardSize
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice, WinterWeather, first_evening, winter_weather
from fruitwall.speech import marked

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.house import House
    from fruitwall.service.work import WorkPart
    from fruitwall.yard.model import Yard

FloatArray = NDArray[np.float64]

STEP_YEARS = (0.0, 4.0, 10.0)
"""Sizes at which the yard is replayed, years from now. Our judgement. [years]"""

WARMEST_LIMIT_C = 7.0
"""The warmest limit that a house rule may have: nights that are told to be warmer are left out where they can hurt
nothing. [°C]"""

TOLD_LEAD_H = 12.0
"""Between the evening's decision and the coldest hour: lead time whose published error the told minimum has. [h]"""

SEED = 20_260_915
"""Of the errors of the told minima."""

LEFT_OUT = (
    marked("fruit is not picked, no single sheet covers several trees, and the ground is not wetted"),
    marked(
        "trees carry the fruit and bloom of their file all winter; trees that drop their leaves are at rest all winter"
    ),
    marked("leaves that pale in weeks of cool nights are left out"),
)
"""What is simpler than in an evening's plan."""


def winters_ground(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    yard: Yard | None = None,
    steps: tuple[float, ...] = STEP_YEARS,
    heard: Callable[[float], None] = lambda _share: None,
    stop: Callable[[], bool] = lambda: False,
) -> Ground | None:
    """Work out what every tree would have felt under everything that can be done for it, in every winter.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters, and how they are weighted and warmed.
    yard : Yard, optional
        Another yard of the same place, such as this one with more gear; the house's own by default.
    steps : tuple of float
        Sizes at which the yard is replayed, the first 0. [years from now]
    heard : callable
        Told the share that is done, 0 to 1.
    stop : callable
        Asked between parts whether to stop.

    Returns
    -------
    Ground or None
        None where no whole winter is known. Kept in memory by content, and in the journal part by part.

    Raises
    ------
    Stopped
        If `stop` said so; what was done is kept.
    """
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.work import work

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    own, _ = house.yard()
    meant = own if yard is None else yard
    beliefs = beliefs_of(house)
    today = house.clock().date()
    key = ground_key(meant, weather, beliefs, steps, today)

    stretches = iter([(0.0, LOWEST_SHARE), (LOWEST_SHARE, 1.0)])

    def keep(parts: Sequence[WorkPart]) -> list[Any]:
        begin, end = next(stretches)
        return work(house, parts, heard=lambda one: heard(begin + (end - begin) * one.share), stop=stop)

    return _GROUNDS.of(
        house.journal, key=key, make=lambda: make_ground(meant, weather, beliefs, today, steps, keep=keep)
    )


_GROUNDS: Kept[Ground] = Kept(3)


LOWEST_SHARE = 0.1
"""Share of the work that finds how cold the nights were, about. [-]"""


def ground_key(yard: Yard, weather: WinterWeather, beliefs: Beliefs, steps: tuple[float, ...], today: date) -> str:
    """Give the same text for the same question: ages count by the year."""
    text = repr((yard.model_dump_json(), weather.mark, beliefs.lasting_mark, steps, today.year))
    return sha256(text.encode()).hexdigest()


def present_key(house: House, choice: WeatherChoice = AS_THEY_WERE) -> str | None:
    """Give the key of the ground as it would be worked out now; None where no whole winter is known."""
    from fruitwall.service.beliefs import beliefs_of

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    yard, _ = house.yard()
    return ground_key(yard, weather, beliefs_of(house), STEP_YEARS, house.clock().date())


def make_ground(
    yard: Yard,
    weather: WinterWeather,
    beliefs: Beliefs,
    today: date,
    steps: tuple[float, ...] = STEP_YEARS,
    *,
    keep: Callable[[Sequence[WorkPart]], list[Any]] | None = None,
    threads: int = 2,
    skip: bool = True,
) -> Ground:
    """Work the ground out of a yard and winters.

    Parameters
    ----------
    yard : Yard
    weather : WinterWeather
    beliefs : Beliefs
        What the yard has taught.
    today : date
    steps : tuple of float
        As `winters_ground`. [years]
    keep : callable, optional
        Does parts of work, or takes what is kept of them (`service.work.work`); by default they are just done.
    threads : int
        The result does not depend on it.
    skip : bool
        Leave out nights that the safe bound says are harmless to a tree. The result does not depend on it but for
        chances below 1 in 30,000.

    Returns
    -------
    Ground

    Raises
    ------
    ValueError
        If the steps do not begin with 0 and rise.
    """
    if not steps or steps[0] != 0.0 or list(steps) != sorted(steps):
        raise ValueError(f"steps must begin with 0 and rise, got {steps}")
    mark = ground_key(yard, weather, beliefs, steps, today)
    done = keep or (lambda parts: [part.make() for part in parts])
    sizes = [YardSize(yard, weather, beliefs, today, years, threads=threads, skip=skip) for years in steps]
    nights = nights_of(weather, **done([sizes[0].lowest_part(mark)])[0])
    parts = [part for size in sizes for part in size.parts(mark, nights)]
    found = iter(done(parts))
    made, skipped = [], []
    for size in sizes:
        step, left_out = size.step([next(found) for _ in size.groups], nights)
        made.append(step)
        skipped.append(left_out)
    return Ground(
        nights=nights,
        steps=tuple(made),
        prices=yard.prices,
        notes=(*weather.notes, *LEFT_OUT, *beliefs.trouble),
        source=weather.source,
        mark=mark,
        skipped_share=float(np.mean(skipped)),
    )


def nights_of(weather: WinterWeather, lowest_c: FloatArray, threatening: NDArray[np.bool_]) -> WinterNights:
    """Give the nights that count: those told to be cold, and those that may hurt a tree left alone now.

    Parameters
    ----------
    weather : WinterWeather
    lowest_c : ndarray, shape (winter, day)
        Lowest air of the weather. [°C]
    threatening : ndarray of bool, shape (winter, day)

    Returns
    -------
    WinterNights
    """
    whole = np.where(weather.known, lowest_c, np.nan).astype(np.float64)
    told_c = whole + _told_error_k(whole.shape)
    counts = weather.known & ((told_c <= WARMEST_LIMIT_C) | threatening)
    winter, day = np.nonzero(counts)
    first = np.array([first_evening(name, north=weather.winters[0].latitude_deg >= 0) for name in weather.names])
    return WinterNights(
        winters=weather.names,
        weights=weather.weights,
        winter=winter,
        day=day,
        evening=first[winter] + day.astype("timedelta64[D]"),
        minimum_c=whole[counts],
        told_c=told_c[counts],
        whole=whole,
    )


def _told_error_k(shape: tuple[int, ...]) -> FloatArray:
    """Draw by how much each night's forecast minimum is off, with the published spread of one evening ahead. [K]"""
    from fruitwall.service.evening import generator
    from fruitwall.weather.dressing import prior

    sd_k = float(prior().air_sd_k(TOLD_LEAD_H))
    return np.asarray(generator(SEED).normal(scale=sd_k, size=shape))
