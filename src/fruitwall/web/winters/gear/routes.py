"""Addresses of what more gear is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import PlanError
from fruitwall.service.house import House
from fruitwall.speech import marked, say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import Who, need, who
from fruitwall.web.winters.choice import AskedChoice, choice_query
from fruitwall.web.winters.part import await_part
from fruitwall.web.winters.runner import Runner

if TYPE_CHECKING:
    from fruitwall.service.winters_gear_document import GearDocument
    from fruitwall.service.winters_weather import WeatherChoice

PAGE = "/winters/gear"

WHAT = marked("What more gear is worth")

TAKES = marked(
    "Every sheet, heater, lead and helper is tried once more in every winter of your climate, and frames and barrels "
    "are computed anew. That takes some minutes, once."
)

MOST = 400
"""Things of which prices are taken at once."""

Keys = Annotated[list[str], Form(max_length=MOST)]
Prices = Annotated[list[str], Form(max_length=MOST)]


def gear_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the routes of what more gear is worth.

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
        ``/winters/gear``, where prices are entered too.
    """
    if settings.house is None:
        raise ValueError("gear needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def show(request: Request, choice: WeatherChoice, typed: dict[str, str] | None = None, error: str = "") -> Response:
        from fruitwall.service.winters_gear import gear_key, priced, prices_of
        from fruitwall.web.winters.gear.page import gear_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        household = household_of(yard, who(request))
        mark = gear_key(house, choice)
        found: GearDocument | Response = await_part(
            pages, request, runner, house, "gear", choice, mark=mark, what=WHAT, takes=say(TAKES)
        )
        if isinstance(found, Response):
            return found
        # Prices may have been entered since it was worked out.
        page = gear_page(priced(found, prices_of(house)), household, choice, typed=typed, error=error)
        return pages.render(
            request,
            "winters/gear/winters-gear.html",
            status=422 if error else 200,
            page=page,
            may=who(request).may("helper"),
        )

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def gear(request: Request, choice: AskedChoice) -> Response:
        return show(request, choice)

    @router.post(PAGE)
    def enter(
        request: Request, choice: AskedChoice, key: Keys, price: Prices, asking: Annotated[Who, Depends(need("helper"))]
    ) -> Response:
        from fruitwall.service.winters_gear import keep_prices

        typed = dict(zip((one[:200] for one in key), (one[:40] for one in price), strict=False))
        try:
            keep_prices(house, typed, author=asking.name, now=house.clock())
        except PlanError as error:
            answer = show(request, choice, typed, str(error))
            if answer.status_code == 422:
                return answer
            # The page with the form is not worked out any more: what is wrong is told all the same.
            raise
        return RedirectResponse(f"{PAGE}{choice_query(choice)}", 303)

    return router
