"""Address of the page of what many winters say."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, cast

from fastapi import APIRouter, Query, Request, Response

from fruitwall.service.house import House
from fruitwall.speech import marked
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who
from fruitwall.web.winters.choice import AskedChoice
from fruitwall.web.winters.runner import Heard, Runner, Stop, await_work

if TYPE_CHECKING:
    from fruitwall.service.winters_years_document import YearsDocument

PAGE = "/winters/years"

WHAT = marked("How cold, how often")

PlaceAsked = Annotated[str, Query(max_length=200)]


def years_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the route of the page.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.
    runner : Runner
        The application's one.

    Returns
    -------
    APIRouter
        ``/winters/years``.
    """
    if settings.house is None:
        raise ValueError("many winters need a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def years(request: Request, choice: AskedChoice, place: PlaceAsked = "") -> Response:
        from fruitwall.service.winters import part_document
        from fruitwall.service.winters_years import years_key
        from fruitwall.service.winters_years_words import takes_words
        from fruitwall.web.winters.years.page import unknown_page, years_page

        yard, _ = house.yard()
        household = household_of(yard, who(request))
        key = years_key(house, choice)
        if key is None:
            return pages.render(request, "winters/years/winters-years.html", page=unknown_page())

        def do(heard: Heard, stop: Stop) -> YearsDocument | None:
            return cast("YearsDocument | None", part_document(house, "years", choice, heard=heard, stop=stop))

        found = await_work(pages, request, runner, key, do, WHAT, takes=takes_words(len(yard.trees)))
        if isinstance(found, Response):
            return found
        page = unknown_page() if found is None else years_page(found, household, place, choice)
        return pages.render(request, "winters/years/winters-years.html", page=page)

    return router
