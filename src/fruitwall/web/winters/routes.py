"""Address of the page of many winters."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from fruitwall.service.house import House
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who
from fruitwall.web.winters.choice import AskedChoice
from fruitwall.web.winters.runner import LOOK_AGAIN_S, Runner

PAGE = "/winters"


def winters_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the route of the page of many winters.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.
    runner : Runner
        Does what the parts ask for.

    Returns
    -------
    APIRouter
        ``/winters``.
    """
    if settings.house is None:
        raise ValueError("winters need a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    # A plain function: the journal is read, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def winters(request: Request, choice: AskedChoice) -> Response:
        from fruitwall.service.winters import winters_overview
        from fruitwall.web.winters.page import winters_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        document = winters_overview(house, choice)
        household = household_of(yard, who(request))
        going_on = runner.going_on()
        page = winters_page(document, choice, household, going_on=going_on)
        answer = pages.render(request, "winters/winters.html", page=page)
        if going_on:
            answer.headers["refresh"] = f"{5 * LOOK_AGAIN_S}"
        return answer

    return router
