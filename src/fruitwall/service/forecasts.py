"""Which weather a plan is made from: the one named, the one imported last, or a public service."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fruitwall.errors import WeatherError, noting_errors
from fruitwall.journal.ledger import Ledger
from fruitwall.service.nights import evening_of, tonight
from fruitwall.speech import say, told

if TYPE_CHECKING:
    from fruitwall.journal.entries import StoredForecast
    from fruitwall.journal.store import Journal
    from fruitwall.weather.fetch import Answer
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

DEFAULT_SERVICE = "open-meteo"
"""Asked when nothing was named or imported: it covers the whole world and needs no key."""

NO_CONTACT = "no contact given"

SOURCE = "weather_source"
FETCHED = "weather_fetched"
"""Settings of a yard: the service that was chosen, and what is known of its last answer."""


def weather_for(
    yard: Yard,
    forecast: str | None,
    history: Path | None,
    *,
    now: datetime,
    journal: Journal | None = None,
    yard_name: str | None = None,
    contact: str = NO_CONTACT,
    ask: Callable[[], Forcing] | None = None,
) -> tuple[Forcing, Forcing | None]:
    """Give forecast and past weather for a yard.

    Parameters
    ----------
    yard : Yard
    forecast : str or None
        File, address or name of a service; None takes the forecast imported last if it still covers the night, else
        asks the chosen service, and if that fails takes what it said last.
    history : Path or None
        CSV of past weather.
    now : datetime, aware
    journal : Journal or None
        Where imported forecasts are kept.
    yard_name : str or None
        Name of the yard in the journal.
    contact : str
        Whom a weather service may write to; sent along with every question, as their terms ask.
    ask : callable, optional
        Asks the chosen service in another way, such as one that keeps what it says.

    Returns
    -------
    forecast : Forcing
    history : Forcing or None

    Raises
    ------
    WeatherError
        If the weather cannot be had or used.
    """
    past = _history_of(yard, history)
    if forecast is not None or journal is None:
        return _read(yard, forecast or DEFAULT_SERVICE, now, contact), past
    kept = _imported_forecast(journal, yard, yard_name, now)
    if kept is not None:
        return kept, past
    try:
        return ask() if ask is not None else _read(yard, chosen_service(journal, yard_name), now, contact), past
    except WeatherError as error:
        return _last_good(journal, yard, yard_name, now, error), past


def chosen_service(journal: Journal, yard_name: str | None) -> str:
    """Give the word of the service that is asked for a yard: the one chosen on the pages, else the usual one."""
    chosen = Ledger(journal, yard_name).setting(SOURCE)
    return chosen if isinstance(chosen, str) and chosen else DEFAULT_SERVICE


def _imported_forecast(journal: Journal, yard: Yard, yard_name: str | None, now: datetime) -> Forcing | None:
    """Give the forecast imported last, if nothing was fetched since and it still serves tonight; else None."""
    stored = journal.latest_forecast(yard_name)
    if stored is None or stored.id == _fetched(journal, yard_name):
        return None
    return _still_good(yard, stored, now)


def _last_good(journal: Journal, yard: Yard, yard_name: str | None, now: datetime, error: WeatherError) -> Forcing:
    """Give the forecast kept last, with a warning, where a service could not be asked.

    Raises
    ------
    WeatherError
        What the service said, if none is kept that still serves tonight.
    """
    stored = journal.latest_forecast(yard_name)
    kept = _still_good(yard, stored, now) if stored is not None else None
    if kept is None:
        raise error
    return kept.with_warnings(told("the service could not be asked anew: {error}", error=error.kept))


def _fetched(journal: Journal, yard_name: str | None) -> int | None:
    """Give the number of the forecast that was fetched last; None if none was."""
    told = Ledger(journal, yard_name).setting(FETCHED)
    number = told.get("forecast") if isinstance(told, dict) else None
    return number if isinstance(number, int) else None


def _history_of(yard: Yard, history: Path | None) -> Forcing | None:
    """Read past weather of a yard; None without a file."""
    if history is None:
        return None
    from fruitwall.weather.history import read_history

    location = yard.location
    return read_history(
        history,
        latitude_deg=location.latitude_deg,
        longitude_deg=location.longitude_deg,
        elevation_m=location.elevation_m,
    )


@dataclass(frozen=True)
class Asked:
    """What a service said.

    Attributes
    ----------
    forcing : Forcing
    fetched : datetime
        When the service last confirmed it.
    note : str
        Why an old answer stands in for the service; empty where it answered, or its last answer still holds.
    """

    forcing: Forcing
    fetched: datetime
    note: str


def ask_service(yard: Yard, source: str, now: datetime, contact: str = NO_CONTACT) -> Asked:
    """Ask a weather service over the network.

    Parameters
    ----------
    yard : Yard
    source : str
        Word of the service.
    now : datetime, aware
    contact : str
        Whom the service may write to.

    Returns
    -------
    Asked

    Raises
    ------
    WeatherError
        If nothing can be had that serves this yard tonight.
    """
    answers: list[Answer] = []
    forcing = _read(yard, source, now, contact, heard=answers.append)
    last = answers[-1]
    return Asked(forcing, last.fetched_utc, last.note)


def _still_good(yard: Yard, stored: StoredForecast, now: datetime) -> Forcing | None:
    """Give a kept forecast if it is for this place, not too old, and reaches over tonight; else None."""
    from fruitwall.weather.place import Place
    from fruitwall.weather.usable import check_usable

    location = yard.location
    evening = evening_of(location, tonight(location, now))
    place = Place(location.latitude_deg, location.longitude_deg, location.elevation_m)
    try:
        return check_usable(_unpack(stored), yard=place, now=now, until_utc=evening.end_hour)
    except WeatherError:
        return None


def import_forecast(
    journal: Journal, yard: Yard, yard_name: str, file: Path, *, now: datetime
) -> tuple[StoredForecast, Forcing]:
    """Read a forecast file, check that it is for this yard, and keep it.

    Raises
    ------
    WeatherError
        If it cannot be used; nothing is kept then.
    """
    if not file.is_file():
        raise WeatherError(say("no file {file}; nothing imported", file=file))
    forcing = _read(yard, str(file), now, NO_CONTACT)
    return keep_forecast(journal, yard_name, forcing, fetched=now), forcing


def keep_forecast(journal: Journal, yard_name: str | None, forcing: Forcing, *, fetched: datetime) -> StoredForecast:
    """Keep a forecast in the journal, as `_unpack` gives it back.

    Parameters
    ----------
    journal : Journal
    yard_name : str or None
        Name of the yard in the journal.
    forcing : Forcing
    fetched : datetime, aware
        When it was read, or a service last confirmed it.

    Returns
    -------
    StoredForecast
    """
    from fruitwall.journal.forcing_file import MEDIA_TYPE, pack_forcing

    return journal.store_forecast(
        pack_forcing(forcing),
        yard=yard_name,
        source=forcing.source[:200],
        issued=forcing.issued_utc,
        fetched=fetched,
        media_type=MEDIA_TYPE,
    )


def _read(
    yard: Yard, place: str, now: datetime, contact: str, heard: Callable[[Answer], None] = lambda _: None
) -> Forcing:
    """Read a forecast from a file, an address or a service, for this yard's place."""
    from platformdirs import user_cache_path

    from fruitwall.weather.sources import read_forecast

    location = yard.location
    with noting_errors():
        return read_forecast(
            place,
            latitude_deg=location.latitude_deg,
            longitude_deg=location.longitude_deg,
            elevation_m=location.elevation_m,
            now=now,
            contact=contact,
            cache_dir=user_cache_path("fruitwall", appauthor=False) / "forecasts",
            heard=heard,
        )


def _unpack(stored: StoredForecast) -> Forcing:
    """Give a kept forecast as it was read."""
    from fruitwall.journal.forcing_file import unpack_forcing

    return unpack_forcing(stored.body)
