"""Addresses of the evening page."""

from __future__ import annotations

from datetime import date
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, HTTPException, Query, Request, Response

from fruitwall.service.calendar import calendar_of
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.household import Household
from fruitwall.service.kept import Kept
from fruitwall.service.reader import plan_for_reader
from fruitwall.service.ticks import keyed, ticks_of
from fruitwall.speech import say
from fruitwall.web.evening.page import evening_page, night_of, tree_page
from fruitwall.web.evening.ticking import ticking_routes
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience
from fruitwall.web.settings import WebSettings
from fruitwall.web.sheet.page import sheet_page
from fruitwall.web.walk.intake import signed_by
from fruitwall.web.who import Who, who
from fruitwall.yard.model import Yard

Night = Annotated[date | None, Query(description="Date of the evening; tonight if left out")]

LOOK_AGAIN_S = "2"
"""After how many seconds the browser asks again for a plan that was still being made."""


def for_reader(plan: EveningPlan, yard: Yard, asking: Who) -> tuple[EveningPlan, Yard]:
    """Give plan and yard in the language and the units of who asks."""
    units = {"temperature": asking.temperature, "length": asking.length, "mass": asking.mass}
    display = yard.display.model_copy(update={name: unit for name, unit in units.items() if unit is not None})
    zone = ZoneInfo(plan.time_zone)
    said = plan_for_reader(plan, Household(display, zone), Household(yard.display, zone))
    return said, _YARDS.of(yard, key=display, make=lambda: yard.model_copy(update={"display": display}))


_KEYED: Kept[EveningPlan] = Kept(16)
_YARDS: Kept[Yard] = Kept(16)
"""Copies that pages are made of. A page is kept for the very plan and yard, so these must stay the same as well."""


def evening_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the evening page.

    Parameters
    ----------
    settings : WebSettings
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/``, ``/night/{evening}``, ``/night/{evening}/trees/{tree}``, ``/evening/sheet``,
        ``/evening/calendar.ics`` and ``/plan.json``, and with a household what `ticking_routes` makes.
    """
    router = APIRouter()
    patience = Patience(settings.plan_for, settings.patience_s)
    if settings.house is not None:
        router.include_router(ticking_routes(settings.house, settings.plan_for, signed_by))

    def wait(request: Request) -> Response:
        answer = pages.render(request, "waiting.html", status=202)
        answer.headers["refresh"] = LOOK_AGAIN_S
        return answer

    def show(request: Request, night: date | None) -> Response:
        plan = patience.plan(night)
        if plan is None:
            return wait(request)
        ticks = ticks_of(settings.house.ledger, plan.night) if settings.house is not None else None
        may = who(request).may("helper")
        made = plan
        plan, yard = for_reader(_KEYED.of(made, make=lambda: keyed(made)), settings.yard(), who(request))
        page = evening_page(plan, yard, settings.now(), tonight=night is None, ticks=ticks, may=may)
        return pages.render(request, "evening/evening.html", state=page.state(), page=page)

    def named(evening: str) -> date:
        night = night_of(evening)
        if night is None:
            raise HTTPException(
                404,
                say("“{text}” names no night. A night is named by the date of its evening: 2026-12-22.", text=evening),
            )
        return night

    # Plain functions: planning computes, so it belongs into a worker thread and not on the event loop.
    @router.api_route("/", methods=["GET", "HEAD"], include_in_schema=False)
    def tonight(request: Request) -> Response:
        return show(request, None)

    @router.api_route("/night/{evening}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_night(request: Request, evening: str) -> Response:
        return show(request, named(evening))

    @router.api_route("/night/{evening}/trees/{tree}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_tree(request: Request, evening: str, tree: str) -> Response:
        plan = patience.plan(named(evening))
        if plan is None:
            return wait(request)
        plan, yard = for_reader(plan, settings.yard(), who(request))
        page = tree_page(plan, yard, tree)
        if page is None:
            raise HTTPException(404, say("No tree has the id “{text}” in the plan of this night.", text=tree))
        return pages.render(request, "evening/tree.html", page=page, of_house=settings.house is not None)

    @router.api_route("/evening/sheet", methods=["GET", "HEAD"], include_in_schema=False)
    def helpers_sheet(request: Request, night: Night = None) -> Response:
        plan = patience.plan(night)
        if plan is None:
            return wait(request)
        plan, yard = for_reader(plan, settings.yard(), who(request))
        return pages.render(request, "sheet/sheet.html", page=sheet_page(plan, yard))

    @router.api_route("/evening/calendar.ics", methods=["GET", "HEAD"], include_in_schema=False)
    def calendar(request: Request, night: Night = None) -> Response:
        """Give the plan's deadlines as iCalendar (RFC 5545)."""
        plan, yard = for_reader(settings.plan_for(night), settings.yard(), who(request))
        return Response(
            calendar_of(plan, yard),
            media_type="text/calendar",
            headers={
                "cache-control": "no-cache",
                "content-disposition": f'attachment; filename="trees-{plan.night}.ics"',
            },
        )

    @router.api_route("/plan.json", methods=["GET", "HEAD"], include_in_schema=False)
    def plan_document(night: Night = None) -> Response:
        """Give the evening plan as a document."""
        return pages.document(settings.plan_for(night))

    return router
