"""Address of the first page of the season; each part has routes of its own."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, Request, Response

from fruitwall.service.house import House
from fruitwall.service.season import season_parts_told
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

PAGE = "/season"


def season_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the season.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season``.
    """
    if settings.house is None:
        raise ValueError("a season needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def worked_out(_: date | None) -> bool:
        """Work all parts out once, so that telling them to whoever reads is quick."""
        yard, _version = house.yard()
        from zoneinfo import ZoneInfo

        from fruitwall.service.household import Household

        season_parts_told(house, Household(yard.display, ZoneInfo(yard.location.time_zone)))
        return True

    patience = Patience(worked_out, settings.patience_s)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def season(request: Request) -> Response:
        from fruitwall.web.season.page import season_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        if patience.plan(None) is None:
            return waiting(pages, request, "season/season-waiting.html")
        household = household_of(yard, who(request))
        page = season_page(season_parts_told(house, household), household, house.clock(), yard)
        return pages.render(request, "season/season.html", page=page)

    return router
