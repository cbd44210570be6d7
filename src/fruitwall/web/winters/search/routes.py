"""Address of the search for house rules."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Query, Request, Response

from fruitwall.service.house import House
from fruitwall.speech import marked, say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who
from fruitwall.web.winters.choice import AskedChoice
from fruitwall.web.winters.part import await_part
from fruitwall.web.winters.runner import Heard, Runner, Stop

if TYPE_CHECKING:
    from fruitwall.service.winters_search_document import SearchDocument

PAGE = "/winters/search"

WHAT = marked("House rules: the search")

TAKES = marked(
    "Every rule is tried for every tree in every winter of your climate. That takes from half a minute to some "
    "minutes, once."
)

Typed = Annotated[str, Query(max_length=40)]


def search_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the route of the search for house rules.

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
        ``/winters/search``, with the acceptable loss as ``loss``.
    """
    if settings.house is None:
        raise ValueError("a search needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def search(request: Request, choice: AskedChoice, loss: Typed = "") -> Response:
        from fruitwall.service.winters_search import search_document, search_key
        from fruitwall.service.work import telling
        from fruitwall.web.winters.search.page import search_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        household = household_of(yard, who(request))
        most_loss, error = read_loss(loss)
        mark = search_key(house, choice, most_loss)

        def within(heard: Heard, stop: Stop) -> SearchDocument | None:
            return search_document(house, choice, most_loss=most_loss, heard=telling(heard, stop, WHAT))

        found: SearchDocument | Response = await_part(
            pages, request, runner, house, "search", choice, mark=mark, what=WHAT, takes=say(TAKES),
            do=None if most_loss is None else within,  # without a limit it is what the overview tells
        )  # fmt: skip
        if isinstance(found, Response):
            return found
        page = search_page(found, household, choice, typed=loss, error=error)
        return pages.render(request, "winters/search/winters-search.html", page=page, status=422 if error else 200)

    return router


def read_loss(typed: str) -> tuple[float | None, str]:
    """Read an acceptable loss.

    Parameters
    ----------
    typed : str
        With either decimal mark; empty: none was given.

    Returns
    -------
    most_loss : float or None
        [currency]
    error : str
        What is wrong with it, in words; empty if nothing is.
    """
    text = typed.strip().replace(",", ".")
    if not text:
        return None, ""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and 0.0 <= value <= 1e9):
        return None, say('"{typed}" is no amount of money: write a number, 0 or more, such as 40.', typed=typed.strip())
    return value, ""
