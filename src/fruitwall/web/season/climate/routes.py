"""Address of the page of the climate of the place."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from fruitwall.service.house import House
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

PAGE = "/season/climate"


def climate_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the climate.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/climate``.
    """
    if settings.house is None:
        raise ValueError("a climate needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    # A plain function: the journal is read, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def climate(request: Request) -> Response:
        from fruitwall.service.climate_report import climate_report

        yard, _ = house.yard()  # without one whoever asks is led to the start
        page = climate_report(house, household_of(yard, who(request)))
        return pages.render(request, "season/climate/season-climate.html", page=page)

    return router
