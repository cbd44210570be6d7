"""What can be asked of many winters: which there are, what each part said last, and how to have one worked out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from fruitwall import __version__
from fruitwall.service.evening_document import Document
from fruitwall.service.winters_document import (
    PartKey,
    WinterKnown,
    WintersChoice,
    WintersDocument,
    WintersPart,
    WintersTrend,
)
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice, winter_weather
from fruitwall.service.work import Progress, body_of, bytes_of, telling
from fruitwall.speech import marked

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.winters_weather import WinterWeather


@dataclass(frozen=True)
class PartOf:
    """One thing that is asked of many winters.

    Attributes
    ----------
    key : str
    title, about : str
        In English.
    function : str
        ``module:function`` of `service`, called with house and choice, `heard` (told the share, may raise to stop);
        gives a document, or None where no whole winter is known.
    mark : str
        ``module:function``, called with house and choice; gives the same text as long as the document would be the
        same, or None.
    verdict : str
        ``module:function``, called with the document; gives one told sentence.
    """

    key: PartKey
    title: str
    about: str
    function: str
    mark: str
    verdict: str


PARTS = (
    PartOf(
        "years",
        marked("Years"),
        marked("How cold it gets once in so many winters at each tree, and when frost comes and goes"),
        "winters_years:years_document",
        "winters_years:years_key",
        "winters_verdicts:years_verdict",
    ),
    PartOf(
        "rules",
        marked("House rules"),
        marked("What if you covered below a limit, carried less, or never protected: side by side on the same winters"),
        "winters_rules:rules_document",
        "winters_rules:rules_key",
        "winters_rules:rules_verdict",
    ),
    PartOf(
        "search",
        marked("The best rules, and carrying less"),
        marked("The house rules with least loss and work, and what it costs to carry less"),
        "winters_search:search_document",
        "winters_search:search_key",
        "winters_search_words:search_verdict",
    ),
    PartOf(
        "gear",
        marked("What more gear is worth"),
        marked("What one more sheet, heater, helper, frame or barrel is worth a winter"),
        "winters_gear:gear_document",
        "winters_gear:gear_key",
        "winters_gear_words:gear_verdict",
    ),
)
"""In the order in which they are shown."""

TREE_S, TREE_WINTER_S = 0.25, 0.045
"""How long the ground of a yard takes: for each tree, and for each tree and winter. Measured on two cores of 2026: the
demo's 34 trees and 4 winters took 17 s, with another program beside it. [s]"""


def winters_overview(house: House, choice: WeatherChoice = AS_THEY_WERE) -> WintersDocument:
    """Tell which winters are known and what was worked out of them.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters, and how they are weighted and warmed.

    Returns
    -------
    WintersDocument
        Without a source where no whole winter is known. Takes a second or two: nothing is replayed.
    """
    from fruitwall.journal.worked import kept_bytes

    yard, version = house.yard()
    weather = winter_weather(house, choice)
    winters = [] if weather is None else _winters(weather)
    return WintersDocument(
        yard=version.yard,
        source=None if weather is None else weather.source,
        choice=WintersChoice(
            warmer_k=choice.warmer_k,
            weighting=choice.weighting,
            trend_taken_out=choice.trend_taken_out,
            most=choice.most,
        ),
        winters=winters,
        trend=None if weather is None else _trend(weather, winters),
        takes_s=TREE_S * len(yard.trees) + TREE_WINTER_S * len(yard.trees) * len(winters),
        kept_bytes=kept_bytes(house.journal),
        parts=[],
        notices=[],
    ).model_copy(
        # Put in without being checked: told sentences stay what they are, and are said in the reader's language.
        update={
            "parts": [_part(house, one, choice) for one in PARTS],
            "notices": [] if weather is None else list(dict.fromkeys(weather.notes)),
        }
    )


def part_document(
    house: House,
    key: PartKey,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> Document | None:
    """Work out one part, and note what it says for the overview.

    Parameters
    ----------
    house : House
    key : str
        Which part.
    choice : WeatherChoice
        Which winters, and how they are weighted and warmed.
    heard, stop : callable
        As for `service.work.work`.

    Returns
    -------
    Document or None
        None where no whole winter is known.

    Raises
    ------
    Stopped
        If `stop` said so; what was done is kept.
    """
    one = next(part for part in PARTS if part.key == key)
    mark = part_mark(house, key, choice)  # before: what is entered meanwhile is not in the answer
    found: Document | None = _function(one.function)(house, choice, heard=telling(heard, stop, ""))
    if found is not None:
        note_verdict(house, key, choice, _function(one.verdict)(found), mark=mark)
    return found


def part_mark(house: House, key: PartKey, choice: WeatherChoice = AS_THEY_WERE) -> str | None:
    """Give the same text as long as a part's document would be the same; None where no whole winter is known."""
    one = next(part for part in PARTS if part.key == key)
    mark: str | None = _function(one.mark)(house, choice)
    return mark


def note_verdict(house: House, key: PartKey, choice: WeatherChoice, verdict: str, *, mark: str | None = None) -> None:
    """Note what a part says, for the overview.

    Parameters
    ----------
    house : House
    key : str
        Of the part.
    choice : WeatherChoice
        With which it was worked out.
    verdict : str
        One sentence, `speech.told`.
    mark : str, optional
        What `part_mark` gave when the work was begun; as it is now by default.
    """
    from fruitwall.journal.worked import keep_work

    body = {
        "verdict": verdict,
        "made": house.clock().isoformat(),
        "of": _of(mark or part_mark(house, key, choice)),
    }
    keep_work(house.journal, _verdict_key(house, key, choice), bytes_of(body), now=house.clock())


def _function(named: str) -> Callable[..., Any]:
    """Give a function of a part, loaded when it is needed: parts stand on scipy and numba."""
    module, name = named.split(":")
    found: Callable[..., Any] = getattr(import_module(f"fruitwall.service.{module}"), name)
    return found


def _part(house: House, one: PartOf, choice: WeatherChoice) -> WintersPart:
    """Tell what a part said last."""
    from fruitwall.journal.worked import kept_work

    last = body_of(kept_work(house.journal, _verdict_key(house, one.key, choice)))
    part = WintersPart(key=one.key, title=one.title, about=one.about, verdict=None, worked_out=None, outdated=False)
    if last is None:
        return part
    return part.model_copy(
        update={
            "verdict": last["verdict"],
            "worked_out": datetime.fromisoformat(last["made"]),
            "outdated": last["of"] != _of(part_mark(house, one.key, choice)),
        }
    )


def _verdict_key(house: House, key: PartKey, choice: WeatherChoice) -> str:
    from hashlib import sha256

    return sha256(repr(("verdict", house.yard()[1].yard, key, choice)).encode()).hexdigest()


def _of(mark: str | None) -> str:
    """Give the same text as long as a part and the program are the same."""
    from hashlib import sha256

    return sha256(f"{mark}\0{__version__}".encode()).hexdigest()


def _winters(weather: WinterWeather) -> list[WinterKnown]:
    """Tell of each winter."""
    from fruitwall.weather.demo import WINTERS_SOURCE
    from fruitwall.weather.demo_climate import TYPICAL

    put_together = (TYPICAL, WINTERS_SOURCE)
    lowest = lowest_air(weather)
    found = []
    for row, (winter, name) in enumerate(zip(weather.winters, weather.names, strict=True)):
        known = bool(np.isfinite(lowest[row]).any())
        at = int(np.nanargmin(lowest[row])) if known else 0
        found.append(
            WinterKnown(
                name=name,
                weight=float(weather.weights[row]),
                real=winter.source not in put_together,
                coldest_c=float(lowest[row, at]) if known else None,
                coldest_night=_evening(weather, row, at) if known else None,
            )
        )
    return found


def lowest_air(weather: WinterWeather) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Give the lowest air of every night, shape (winter, night); NaN where not all of it is known. [°C]"""
    from fruitwall.weather.forcing import as_datetime64

    found = np.full(weather.known.shape, np.nan)
    for row, winter in enumerate(weather.winters):
        shift = np.timedelta64(_days_apart(weather, row), "D")
        for at in np.flatnonzero(weather.known[row]):
            night = weather.nights[at]
            begin, end = as_datetime64(night.start_utc) + shift, as_datetime64(night.end_utc) + shift
            hours = slice(*np.searchsorted(winter.time_utc, [begin, end + np.timedelta64(1, "s")]))
            found[row, at] = winter.t_air_c[0, hours].min()
    return found


def _days_apart(weather: WinterWeather, row: int) -> int:
    """Give by how many days a winter lies from the calendar of the nights."""
    from fruitwall.service.winters_weather import BEFORE_DAYS
    from fruitwall.weather.forcing import as_datetime64

    first = as_datetime64(weather.nights[0].start_utc) - np.timedelta64(BEFORE_DAYS, "D")
    return round(float((weather.winters[row].time_utc[0] - first) / np.timedelta64(1, "D")))


def _evening(weather: WinterWeather, row: int, at: int) -> date:
    return weather.nights[at].name + timedelta(days=_days_apart(weather, row))


def _trend(weather: WinterWeather, winters: list[WinterKnown]) -> WintersTrend | None:
    """Look for a trend in the coldest nights of the real winters."""
    from fruitwall.plans.years_trend import trend_of

    # The year of a winter is that in which it begins, also where its coldest night is the next one's.
    begun = [int(winter.time_utc[0].astype("datetime64[Y]").astype(int)) for winter in weather.winters]
    known = [
        (year, one.coldest_c)
        for year, one in zip(begun, winters, strict=True)
        if one.real and one.coldest_c is not None
    ]
    found = trend_of([float(year) for year, _ in known], [cold for _, cold in known])
    if found is None:
        return None
    return WintersTrend(per_decade_k=found.per_decade_k, chance=found.chance, sure=found.sure)
