"""Where the weather of the pages comes from, when it was asked for last, and asking now.

What a service answered is kept in the journal, so that a network that fails later takes nothing away: the last good
forecast is used, and the pages say so.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fruitwall.errors import FruitwallError, SourceUnavailable, WeatherError
from fruitwall.journal.ledger import Ledger
from fruitwall.service.forecasts import (
    FETCHED,
    NO_CONTACT,
    SOURCE,
    ask_service,
    chosen_service,
    keep_forecast,
    weather_for,
)
from fruitwall.service.yards import load_yard
from fruitwall.speech import LANGUAGES, language, say, say_again, speaking

if TYPE_CHECKING:
    from fruitwall.journal.store import Journal
    from fruitwall.service.forecasts import Asked
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

TROUBLE = "weather_trouble"
"""Setting of a yard: the last failure."""

AT_MOST_EVERY = timedelta(minutes=5)
"""Services are not asked more often at somebody's wish. Our judgement: they renew their forecasts every hour or so."""

AFTER_FAILURE = timedelta(minutes=1)
"""The same after a failure: the network may be back. Our judgement."""


@dataclass(frozen=True)
class LastAsked:
    """What came of asking a service.

    Attributes
    ----------
    at : datetime
        When it was asked.
    source : str
        Word of the service.
    fetched : datetime or None
        When the service last confirmed what it said; None where it failed.
    trouble : str
        Why it failed; empty where it did not.
    """

    at: datetime
    source: str
    fetched: datetime | None = None
    trouble: str = ""


class TooSoon(FruitwallError):
    """A service was asked a moment ago."""


class WeatherDesk:
    """Gives the weather for plans, and asks for it anew at a wish.

    Parameters
    ----------
    journal : Journal
    yard_name : str or None
        Which yard; None for the one that is shown.
    clock : callable
        Gives the present moment, aware.
    forecast : str or None
        File, address or service named when the server was started: it is used, whatever is chosen on the page.
    history : Path or None
        CSV of past weather.
    contact : str
        Whom a weather service may write to.
    ask : callable
        Asks a service: takes the yard, its word, the present moment and the contact.
    """

    def __init__(
        self,
        journal: Journal,
        yard_name: str | None,
        clock: Callable[[], datetime],
        *,
        forecast: str | None = None,
        history: Path | None = None,
        contact: str = NO_CONTACT,
        ask: Callable[[Yard, str, datetime, str], Asked] = ask_service,
    ) -> None:
        self.journal = journal
        self.yard_name = yard_name
        self.clock = clock
        self.forecast = forecast
        self.history = history
        self.contact = contact
        self._ask = ask
        self._asking = threading.Lock()
        self.changes = 0
        """How often the weather was renewed or another source chosen: whoever keeps weather drops it then."""

    # ------------------------------------------------------------ what is known

    @property
    def source(self) -> str:
        """Word of the service that is asked, or what was named when the server was started."""
        if self.forecast is not None:
            return self.forecast
        return chosen_service(self.journal, self.yard_name)

    @property
    def _ledger(self) -> Ledger:
        return Ledger(self.journal, self.yard_name)

    def last(self) -> tuple[LastAsked | None, LastAsked | None]:
        """Give the last good answer, and the last failure where it came after that."""
        good, bad = (_read(self._ledger.setting(key)) for key in (FETCHED, TROUBLE))
        return good, bad if bad is not None and (good is None or bad.at > good.at) else None

    # ------------------------------------------------------------ weather for plans

    def weather(self, yard: Yard, now: datetime) -> tuple[Forcing, Forcing | None]:
        """Give forecast and past weather, as `forecasts.weather_for`; what a service answers is kept.

        Parameters
        ----------
        yard : Yard
        now : datetime, aware

        Returns
        -------
        forecast : Forcing
        history : Forcing or None

        Raises
        ------
        WeatherError
            If no weather can be had and none is kept.
        """
        return weather_for(
            yard,
            self.forecast,
            self.history,
            now=now,
            journal=self.journal,
            yard_name=self.yard_name,
            contact=self.contact,
            ask=lambda: self._fetch(yard, now),
        )

    def _fetch(self, yard: Yard, now: datetime) -> Forcing:
        """Ask the service, keep its answer and note what came of it."""
        source = self.source
        try:
            asked = self._ask(yard, source, now, self.contact)
        except WeatherError as error:
            self._note(TROUBLE, {"at": now.isoformat(), "source": source, "trouble": _in_all(error.kept)}, now)
            raise
        if asked.note:
            # An old answer stood in for the service.
            self._note(TROUBLE, {"at": now.isoformat(), "source": source, "trouble": _in_all(asked.note)}, now)
            return asked.forcing
        stored = keep_forecast(self.journal, self.yard_name, asked.forcing, fetched=asked.fetched)
        told = {"at": now.isoformat(), "source": source, "fetched": asked.fetched.isoformat(), "forecast": stored.id}
        self._note(FETCHED, told, now)
        return asked.forcing

    def _note(self, key: str, told: dict[str, object], now: datetime) -> None:
        self._ledger.set(key, told, author="fruitwall", now=now)

    # ------------------------------------------------------------ wishes

    def fetch_now(self) -> LastAsked:
        """Ask the service now.

        Returns
        -------
        LastAsked

        Raises
        ------
        TooSoon
            If it was asked a moment ago, or is being asked.
        WeatherError
            If it cannot be had; what was kept stays in use.
        """
        now = self.clock()
        yard, _ = load_yard(self.journal, self.yard_name)
        if self.forecast is not None:
            raise WeatherError(say("The weather was named when the server was started; nothing else is asked."))
        if not self._asking.acquire(blocking=False):
            raise TooSoon(say("The service is being asked already."))
        try:
            for one, wait in zip(self.last(), (AT_MOST_EVERY, AFTER_FAILURE), strict=True):
                if one is not None and timedelta(0) <= now - one.at < wait:
                    minutes = f"{wait / timedelta(minutes=1):.0f}"
                    raise TooSoon(say("Asked a moment ago. Services are asked at most every {time} min.", time=minutes))
            self._fetch(yard, now)
        finally:
            self._asking.release()
        good, bad = self.last()
        if bad is not None or good is None:
            raise SourceUnavailable(bad.trouble if bad is not None else say("the service gave no answer"))
        self.changes += 1
        return good

    def choose(self, source: str, *, author: str) -> None:
        """Choose a service.

        Raises
        ------
        WeatherError
            If there is none of that word.
        """
        from fruitwall.weather.sources.forecast import SERVICES

        if source not in SERVICES:
            raise WeatherError(say("There is no such weather service."))
        self._ledger.set(SOURCE, source, author=author, now=self.clock())
        self.changes += 1


def _in_all(text: str) -> dict[str, str]:
    """Say a kept text in every language: who reads of a failure is not always who asked."""
    said = {}
    for code in LANGUAGES:
        with speaking(code):
            said[code] = say_again(text)
    return said


def _read(told: Any) -> LastAsked | None:
    """Read what was noted of asking a service; None for anything else."""
    if not isinstance(told, dict):
        return None
    try:
        fetched = datetime.fromisoformat(told["fetched"]) if "fetched" in told else None
        trouble = told.get("trouble", "")
        if isinstance(trouble, dict):
            trouble = trouble[language()]
        return LastAsked(datetime.fromisoformat(told["at"]), str(told["source"]), fetched, str(trouble))
    except (KeyError, TypeError, ValueError):
        return None
