"""Address of the page of winter chill."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from fruitwall.service.house import House
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

if TYPE_CHECKING:
    from fruitwall.service.chill_document import ChillSeason

PAGE = "/season/chill"


def chill_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the route of winter chill.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/chill``.
    """
    if settings.house is None:
        raise ValueError("winter chill needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def worked_out(_: date | None) -> ChillSeason:
        from fruitwall.service.chill_ledger import chill_season

        return chill_season(house)

    patience = Patience(worked_out, settings.patience_s)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def chill(request: Request) -> Response:
        from fruitwall.web.season.chill.page import chill_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        season = patience.plan(None)
        if season is None:
            return waiting(pages, request, "season/chill/season-chill-waiting.html")
        page = chill_page(season, household_of(yard, who(request)))
        return pages.render(request, "season/chill/season-chill.html", page=page)

    return router
