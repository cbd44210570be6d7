"""Address of the page of surprises."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response

from fruitwall.service.house import House
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.service.surprises import Surprise
    from fruitwall.service.taught import Taught

PAGE = "/surprises"


def surprise_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the route of the page of surprises.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/surprises``.
    """
    if settings.house is None:
        raise ValueError("surprises need a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def learned(_: date | None) -> tuple[list[Surprise], Taught]:
        from fruitwall.service.surprises import surprises_of
        from fruitwall.service.taught import taught

        return surprises_of(house), taught(house)

    patience = Patience(learned, settings.patience_s)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def surprises(request: Request) -> Response:
        from fruitwall.web.surprises.page import surprise_page

        ready = patience.plan(None)
        if ready is None:
            return waiting(pages, request, "surprises/waiting.html")
        household = household_of(house.yard()[0], who(request))
        page = surprise_page(*ready, household)
        return pages.render(request, "surprises/surprises.html", page=page, may=who(request).may("helper"))

    return router
