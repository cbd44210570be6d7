"""Addresses of the page of the weather."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import ValidationError

from fruitwall.errors import WeatherError
from fruitwall.service.forecast_report import forecast_report
from fruitwall.service.house import House
from fruitwall.service.past_weather import STATION
from fruitwall.service.readings import NewReading, take_readings
from fruitwall.service.sensor_checks import doubts_about
from fruitwall.service.weather_desk import TooSoon
from fruitwall.service.weather_story import weather_story
from fruitwall.speech import capital, marked, say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.weather.fared import fared_part
from fruitwall.web.weather.page import MOISTURE, Typed, weather_page
from fruitwall.web.weather.source import source_part
from fruitwall.web.who import Who, need, who

PAGE = "/weather"
NO_TEMPERATURE = marked("The temperature must be a number, such as -1.5.")
Text = Annotated[str, Form(max_length=200)]


def weather_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the page of the weather.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/weather``, and what is sent to ``/weather/readings``, ``/weather/fetch``,
        ``/weather/source`` and ``/weather/station``.
    """
    if settings.house is None:
        raise ValueError("the weather needs a household")
    house: House = settings.house
    router = APIRouter(prefix=PAGE, include_in_schema=False)

    def show(
        request: Request,
        typed: Typed | None = None,
        error: str = "",
        done: str = "",
        refused: str = "",
        status: int = 200,
    ) -> Response:
        asking, now = who(request), house.clock()
        yard, _ = house.yard()
        household = household_of(yard, asking)
        typed = typed or Typed(at=f"{now.astimezone(household.zone):%Y-%m-%dT%H:%M}")
        page = weather_page(
            weather_story(house),
            household,
            now,
            typed,
            source_part(settings.weather, asking, household, now),
            fared_part(forecast_report(house), household, may_choose=asking.may("owner")),
            spots=[tree.name for tree in yard.trees],
            error=error,
            done=done,
            refused=refused,
        )
        return pages.render(request, "weather/weather.html", status=status, page=page, may=asking.may("helper"))

    # Plain functions: the journal is read and services are asked, which belongs into a worker thread.
    @router.api_route("", methods=["GET", "HEAD"])
    def look(request: Request, done: str = "") -> Response:
        return show(request, done=done)

    @router.post("/fetch")
    def fetch(request: Request, _: Annotated[Who, Depends(need("helper"))]) -> Response:
        if settings.weather is None:
            return show(request, refused=say("The weather is fixed, as in the demo: no service is asked."), status=409)
        try:
            settings.weather.fetch_now()
        except TooSoon as error:
            return show(request, refused=str(error), status=429)
        except WeatherError:
            # Why was noted and stands where the source is told, also for whoever looks later.
            return show(request, refused=say("No new forecast came; why stands below."), status=503)
        return RedirectResponse(f"{PAGE}?done=fetched", 303)

    @router.post("/source")
    def choose(request: Request, asking: Annotated[Who, Depends(need("owner"))], source: Text = "") -> Response:
        if settings.weather is None or settings.weather.forecast is not None:
            return show(request, refused=say("The source cannot be changed on this server."), status=409)
        try:
            settings.weather.choose(source, author=asking.name)
        except WeatherError as error:
            return show(request, refused=str(error), status=422)
        return RedirectResponse(f"{PAGE}?done=chosen", 303)

    @router.post("/station")
    def stand(request: Request, asking: Annotated[Who, Depends(need("owner"))], sensor: Text = "") -> Response:
        known = {"", *(one.sensor for one in forecast_report(house).evidence.stations)}
        if sensor not in known:
            return show(request, refused=say("No thermometer of this name was read."), status=422)
        house.ledger.set(STATION, sensor, author=asking.name, now=house.clock())
        return RedirectResponse(f"{PAGE}?done=station#fared", 303)

    @router.post("/readings")
    def take(
        request: Request,
        _: Annotated[Who, Depends(need("helper"))],
        value: Text = "",
        unit: Text = "",
        at: Text = "",
        sensor: Text = "",
    ) -> Response:
        zone = ZoneInfo(house.yard()[0].location.time_zone)
        error = ""
        try:
            new = _reading(value, unit, at, sensor, zone)
        except ValueError as wrong:
            error = str(wrong)
        else:
            taken = take_readings(house.ledger, [new], now=house.clock())
            if taken.refused:
                error = capital(taken.refused[0][1])
            elif not taken.new:
                error = say("There is a reading of this thermometer at this time already; nothing was stored.")
        if error:
            typed = unit if unit in ("°F", MOISTURE) else "°C"
            return show(request, Typed(value, at, sensor, typed), error, status=422)
        if doubts_about(house, [new]):
            # Stored all the same; what it may have been meant as is asked on the page of the thermometers.
            return RedirectResponse(f"{PAGE}/thermometers?{urlencode({'sensor': new.sensor, 'at': new.at})}", 303)
        return RedirectResponse(f"{PAGE}?done=taken", 303)

    return router


def _reading(value: str, unit: str, at: str, sensor: str, zone: ZoneInfo) -> NewReading:
    """Make a reading of what was typed; ValueError says what is wrong with it."""
    wet = unit == MOISTURE
    no_number = say("Soil moisture must be a number, such as 24.") if wet else say(NO_TEMPERATURE)
    try:
        number = float(value.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-"))
    except ValueError:
        raise ValueError(no_number) from None
    try:
        moment = datetime.fromisoformat(at.strip())
    except ValueError:
        raise ValueError(say("The time must be written as 2026-12-22T06:30.")) from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    if not 1900 <= moment.year <= 9000:
        raise ValueError(say("The time must be written as 2026-12-22T06:30."))
    try:
        quantity = "soil_moisture_pct" if wet else "air_temperature_c"
        return NewReading(sensor=sensor, quantity=quantity, at=moment, value=number, unit="F" if unit == "°F" else None)
    except ValidationError as wrong:
        if wrong.errors()[0]["loc"][:1] == ("sensor",):
            raise ValueError(say("Say where the thermometer hangs, in at most 100 characters.")) from wrong
        raise ValueError(no_number) from wrong
