"""Addresses of the pages of heat."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from fruitwall.service.house import House
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.patience import LOOK_AGAIN_S, Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

if TYPE_CHECKING:
    from fruitwall.service.heat_document import HeatSeason
    from fruitwall.service.summer_decide import Decided

PAGE = "/season/heat"


def heat_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of heat.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/heat`` and ``/season/heat/{tree}``.
    """
    if settings.house is None:
        raise ValueError("heat needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def worked_out(_: date | None) -> HeatSeason:
        from fruitwall.service.heat_season import heat_season

        return heat_season(house)

    def decided(_: date | None) -> Decided:
        from fruitwall.service.summer_decide import decide

        return decide(house)

    patience = Patience(worked_out, settings.patience_s)
    summer_patience = Patience(decided, settings.patience_s)

    def wait(request: Request) -> Response:
        return waiting(pages, request, "season/heat/season-heat-waiting.html")

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def heat(request: Request) -> Response:
        from fruitwall.service.summer_plan import summer_of
        from fruitwall.web.season.heat.page import heat_page
        from fruitwall.web.season.heat.summer import summer_section

        yard, _ = house.yard()  # without one whoever asks is led to the start
        season = patience.plan(None)
        if season is None:
            return wait(request)
        household = household_of(yard, who(request))
        page = heat_page(season, household)
        if summer_patience.plan(None) is None:  # what was and comes is told meanwhile
            answer = pages.render(request, "season/heat/season-heat.html", page=page, summer=None, planning=True)
            answer.headers["refresh"] = f"{LOOK_AGAIN_S}"
            return answer
        # Again, for it is kept by language: the plan that was waited for may be in that of another reader.
        summer = summer_section(summer_of(decided(None), household), household)
        return pages.render(request, "season/heat/season-heat.html", page=page, summer=summer, planning=False)

    @router.api_route(PAGE + "/{tree}", methods=["GET", "HEAD"])
    def heat_of_tree(request: Request, tree: str) -> Response:
        from fruitwall.web.season.heat.page import tree_heat_page

        yard, _ = house.yard()
        if all(one.id != tree for one in yard.trees):
            raise HTTPException(404, say("The yard has no tree “{text}”.", text=tree))
        season = patience.plan(None)
        if season is None:
            return wait(request)
        its = next((one for one in season.trees if one.tree == tree), None)
        if its is None:  # planted while the page was worked out
            return wait(request)
        page = tree_heat_page(season, its, household_of(yard, who(request)))
        return pages.render(request, "season/heat/season-heat-tree.html", page=page)

    return router
