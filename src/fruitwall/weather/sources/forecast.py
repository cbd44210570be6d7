"""One door to all forecasts: a file, an address, or the name of a service.

What an answer is, is recognised by its content, never by its name.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.fetch import NO_CONTACT, Answer, fetch, host_of
from fruitwall.weather.forcing import Forcing, as_datetime64
from fruitwall.weather.place import Place
from fruitwall.weather.sources import csv_file, met_norway, nws, open_meteo
from fruitwall.weather.table import read_text
from fruitwall.weather.usable import check_usable

if TYPE_CHECKING:
    import httpx2

SERVICES = ("nws", "met-norway", "open-meteo", "open-meteo-ensemble")
"""Words that stand for a service at the yard's own place."""

# The start page of the US service stands for its look-up.
NWS_HOME = ("https://api.weather.gov", "https://api.weather.gov/")


def read_forecast(
    place: str | Path,
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    now: datetime,
    cache_dir: Path | None = None,
    client: httpx2.Client | None = None,
    contact: str = NO_CONTACT,
    until_utc: datetime | None = None,
    heard: Callable[[Answer], None] = lambda _: None,
) -> Forcing:
    """Read a forecast and check that it serves this place tonight.

    Parameters
    ----------
    place : str or Path
        A file, an http(s) address, or one of `SERVICES`.
    latitude_deg, longitude_deg, elevation_m : float
        The yard. [degree, degree, m]
    now : datetime, aware
        The present, or the moment for which an evening is planned.
    cache_dir : Path, optional
        Folder of kept answers; without it nothing is kept.
    client : httpx2.Client, optional
        For tests or a client shared by the process.
    contact : str
        E-mail or web address that the services see.
    until_utc : datetime, aware, optional
        Hour that the forecast must reach; by default the end of the coming night.
    heard : callable
        Gets each answer of a service, the forecast itself last.

    Returns
    -------
    Forcing
        With one member or an ensemble's; what was assumed stands in `warnings`.

    Raises
    ------
    SourceUnavailable
        If a service cannot be reached and no recent answer is kept.
    WeatherError
        If the forecast cannot be used; one clear message.
    ValueError
        If `now` has no zone.
    """
    as_datetime64(now, "now")  # needs a zone
    yard = Place(latitude_deg, longitude_deg, elevation_m)
    text = str(place).strip()
    if text in SERVICES or text in NWS_HOME or text.lower().startswith(("http://", "https://")):

        def ask(url: str) -> Answer:
            answer = fetch(url, now=now, cache_dir=cache_dir, client=client, contact=contact)
            heard(answer)
            return answer

        forcing = _from_network(_address(text, yard), ask, yard, now)
    else:
        path = Path(place)
        if not path.exists() and path.name == text:
            raise WeatherError(
                say(
                    "{text}: no such file, nor a service; services are {services}",
                    text=text,
                    services=", ".join(SERVICES),
                )
            )
        forcing = parse_forecast(read_text(path), where=path.name, yard=yard, now=now)
    return check_usable(forcing, yard=yard, now=now, until_utc=until_utc)


def parse_forecast(
    text: str, *, where: str, yard: Place, now: datetime, fetched_utc: datetime | None = None
) -> Forcing:
    """Read a forecast from text, whatever its kind.

    Parameters
    ----------
    text : str
        JSON of a service, or CSV.
    where : str
        File or address for messages.
    yard : Place
        For what the text leaves out.
    now : datetime, aware
        The present.
    fetched_utc : datetime, aware, optional
        When a service gave it.

    Raises
    ------
    WeatherError
        If it is of no known kind or cannot be used.
    """
    if not text.lstrip().startswith(("{", "[")):
        if text.lstrip()[:1] == "<":
            raise WeatherError(
                say("{where}: this is a web page or XML; expected JSON of a weather service, or CSV", where=where)
            )
        return csv_file.parse_hourly(text, where=where, place=yard, now=now)
    document = parse_json(text, where)
    kind = recognise(document)
    if kind == "nws-grid":
        return nws.parse_grid(document, where=where, place=yard)
    if kind == "nws-hourly":
        return nws.parse_hourly(document, where=where, place=yard)
    if kind == "met-norway":
        return met_norway.parse(document, where=where, place=yard)
    if kind == "open-meteo":
        return open_meteo.parse(document, where=where, place=yard, now=now, fetched_utc=fetched_utc)
    _refuse(kind, document, where)


def recognise(document: Any) -> str:
    """Tell what kind of answer a JSON document is.

    Returns
    -------
    str
        "nws-grid", "nws-hourly", "met-norway" or "open-meteo", which hold a forecast; "nws-points" and others, which
        do not; "" if it is nothing known.
    """
    if isinstance(document, list):
        return "several" if document and isinstance(document[0], dict) and "hourly" in document[0] else ""
    if not isinstance(document, dict):
        return ""
    if "hourly" in document and "hourly_units" in document:
        return "open-meteo"
    if document.get("error") is True or "problemDetails" in str(document.get("type", "")):
        return "error"
    if "status" in document and "detail" in document:
        return "error"
    properties = document.get("properties")
    if isinstance(properties, dict):
        if "timeseries" in properties:
            return "met-norway"
        if "periods" in properties:
            return "nws-hourly"
        if "forecastGridData" in properties:
            return "nws-points"
        if isinstance(properties.get("temperature"), dict):
            return "nws-grid" if "values" in properties["temperature"] else "observation"
    if isinstance(document.get("features"), list):
        return "collection"
    return ""


def _address(text: str, yard: Place) -> str:
    """Give the address for a service's name at the yard."""
    at = (yard.latitude_deg, yard.longitude_deg)
    if text == "nws" or text in NWS_HOME:
        return nws.points_url(*at)
    if text == "met-norway":
        return met_norway.forecast_url(*at, yard.elevation_m)
    if text == "open-meteo":
        return open_meteo.forecast_url(*at, yard.elevation_m)
    if text == "open-meteo-ensemble":
        return open_meteo.ensemble_url(*at, yard.elevation_m)
    return text


def _from_network(url: str, ask: Callable[[str], Answer], yard: Place, now: datetime) -> Forcing:
    """Ask an address, follow a look-up to its forecast, and say if an answer is not up to date."""
    answer = ask(url)
    notes = [answer.note] if answer.note else []
    where = host_of(answer.url)
    if answer.text.lstrip().startswith("{"):
        document = parse_json(answer.text, where)
        if recognise(document) == "nws-points":
            answer = ask(nws.grid_url(document, where))
            where = host_of(answer.url)
            notes = [answer.note] if answer.note else []
    forcing = parse_forecast(answer.text, where=where, yard=yard, now=now, fetched_utc=answer.fetched_utc)
    return _named(forcing, notes)


def _named(forcing: Forcing, notes: list[str]) -> Forcing:
    """Put the age of a kept answer into source and warnings."""
    if not notes:
        return forcing
    return replace(
        forcing.with_warnings(*notes), source=told("{source} (kept copy: {note})", source=forcing.source, note=notes[0])
    )


def parse_json(text: str, where: str) -> Any:
    """Parse JSON; NaN and Infinity, which JSON does not know, are refused."""

    def refuse(word: str) -> NoReturn:
        raise WeatherError(
            say("{where}: holds {word}, which is no value; a missing hour is null in JSON", where=where, word=word)
        )

    try:
        return json.loads(text, parse_constant=refuse)
    except json.JSONDecodeError as error:
        raise WeatherError(
            say(
                "{where}: no valid JSON (line {lineno}, column {colno}: {msg}); is it cut off?",
                where=where,
                lineno=error.lineno,
                colno=error.colno,
                msg=error.msg,
            )
        ) from error
    except RecursionError as error:
        raise WeatherError(say("{where}: no weather answer is nested this deeply", where=where)) from error


def _refuse(kind: str, document: Any, where: str) -> NoReturn:
    """Say what a document without a forecast is, and what to give instead."""
    if kind == "error":
        reason = document.get("reason") or document.get("detail") or document.get("title") or say("no reason given")
        raise WeatherError(
            say("{where}: the service reports an error: {reason}", where=where, reason=str(reason)[:200])
        )
    words = {
        "nws-points": say("this is the look-up of a place; give the answer of its forecastGridData address"),
        "observation": say("this is one observation, not a forecast"),
        "collection": say("this is a collection (stations, alerts), not a forecast"),
        "several": say("this holds several places; ask for one"),
    }
    what = words.get(kind) or say("this is no forecast that fruitwall knows")
    raise WeatherError(
        say(
            "{where}: {what}. Known are the US National Weather Service (forecastGridData, "
            "forecastHourly), MET Norway Locationforecast, Open-Meteo forecast and ensemble, and CSV",
            where=where,
            what=what,
        )
    )
