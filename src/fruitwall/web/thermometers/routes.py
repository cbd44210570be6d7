"""Addresses of the page of thermometers."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Annotated, cast, get_args

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.service.house import House
from fruitwall.service.readings import NewReading
from fruitwall.service.sensor_checks import doubts_about
from fruitwall.service.thermometers import QUANTITY, Mend, Word, mend, mends_of, unmend
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import Who, need, who

if TYPE_CHECKING:
    from fruitwall.service.sensor_checks import Doubt
    from fruitwall.web.thermometers.page import Known

PAGE = "/weather/thermometers"
MOST_HOURS = 48.0
"""A clock that is further off is not mended by so many hours. [h]"""

Text = Annotated[str, Form(max_length=300)]


def thermometer_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the page of thermometers.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/weather/thermometers``, and what is sent to ``/mend`` and ``/unmend`` below it.
    """
    if settings.house is None:
        raise ValueError("thermometers need a household")
    house: House = settings.house
    router = APIRouter(prefix=PAGE, include_in_schema=False)

    def known(_: date | None) -> Known:
        from fruitwall.web.thermometers.page import known_of

        return known_of(house)

    patience = Patience(known, settings.patience_s)

    # Plain functions: what was taught is worked out, which belongs into a worker thread.
    @router.api_route("", methods=["GET", "HEAD"])
    def look(request: Request, done: str = "", sensor: str = "", at: str = "") -> Response:
        from fruitwall.web.thermometers.page import thermometers_page

        ready = patience.plan(None)
        if ready is None:
            return waiting(pages, request, "thermometers/waiting.html")
        asking = who(request)
        page = thermometers_page(ready, household_of(ready.yard, asking), doubt=_doubt(house, sensor, at), done=done)
        return pages.render(request, "thermometers/thermometers.html", page=page, may=asking.may("helper"))

    @router.post("/mend")
    def say_so(
        request: Request,
        asking: Annotated[Who, Depends(need("helper"))],
        sensor: Text = "",
        since: Text = "",
        until: Text = "",
        how: Text = "",
        hours: Text = "0",
    ) -> Response:
        new = _mend(sensor, since, until, how, hours, author=asking.name, now=house.clock())
        if new is None:
            lines = [say("What was sent names no thermometer, no time or nothing that can be done.")]
            return pages.problem(request, 422, say("This cannot be noted"), lines)
        mend(house, new)
        return RedirectResponse(f"{PAGE}?done=mended", 303)

    @router.post("/unmend")
    def take_back(asking: Annotated[Who, Depends(need("helper"))], mark: Text = "") -> Response:
        from fruitwall.web.thermometers.page import mark_of

        places = [place for place, one in enumerate(mends_of(house)) if mark_of(one) == mark]
        if places:
            unmend(house, places[-1], author=asking.name, now=house.clock())
        return RedirectResponse(f"{PAGE}?done=unmended", 303)

    return router


def _mend(sensor: str, since: str, until: str, how: str, hours: str, *, author: str, now: datetime) -> Mend | None:
    """Read what was sent; None where it makes no sense."""
    try:
        first, last, fast = datetime.fromisoformat(since), datetime.fromisoformat(until), float(hours)
    except ValueError:
        return None
    if not sensor.strip() or how not in get_args(Word) or first.tzinfo is None or last.tzinfo is None:
        return None
    if last < first or not abs(fast) <= MOST_HOURS:
        return None
    return {
        "sensor": sensor,
        "since": first.isoformat(),
        "until": last.isoformat(),
        "how": cast("Word", how),
        "hours": fast if how == "clock" else 0.0,
        "author": author,
        "at": now.isoformat(),
    }


def _doubt(house: House, sensor: str, at: str) -> tuple[Doubt, str, datetime, float] | None:
    """Find a reading that was just entered, and what is doubtful about it; None where nothing is, or it is settled."""
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        return None
    if moment.tzinfo is None or not 1900 <= moment.year <= 9000:
        return None
    if any(
        one["sensor"] == sensor
        and datetime.fromisoformat(one["since"]) <= moment <= datetime.fromisoformat(one["until"])
        for one in mends_of(house)
    ):
        return None
    near = house.ledger.readings(since=moment, until=moment + timedelta(seconds=1), quantity=QUANTITY)
    for one in near:
        if one.sensor == sensor:
            given = NewReading(sensor=sensor, quantity=QUANTITY, at=one.at, value=one.value)
            found = doubts_about(house, [given])
            if found:
                return found[0], sensor, one.at, one.value
    return None
