"""Addresses of the cold ledger."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from fastapi import APIRouter, HTTPException, Request, Response

from fruitwall.service.house import House
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

if TYPE_CHECKING:
    from fruitwall.service.cold_document import ColdLedger

PAGE = "/season/cold"


def cold_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the cold ledger.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/cold`` and ``/season/cold/{tree}``.
    """
    if settings.house is None:
        raise ValueError("the cold ledger needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def counted(_: date | None) -> ColdLedger:
        from fruitwall.service.cold_ledger import cold_ledger

        return cold_ledger(house)

    patience = Patience(counted, settings.patience_s)

    def wait(request: Request) -> Response:
        return waiting(pages, request, "season/cold/season-cold-waiting.html")

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def cold(request: Request) -> Response:
        from fruitwall.web.season.cold.page import cold_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        ledger = patience.plan(None)
        if ledger is None:
            return wait(request)
        page = cold_page(ledger, household_of(yard, who(request)))
        return pages.render(request, "season/cold/season-cold.html", page=page)

    @router.api_route(PAGE + "/{tree}", methods=["GET", "HEAD"])
    def cold_of_tree(request: Request, tree: str) -> Response:
        from fruitwall.web.season.cold.page import tree_cold_page

        yard, _ = house.yard()
        if all(one.id != tree for one in yard.trees):
            raise HTTPException(404, say("The yard has no tree “{text}”.", text=tree))
        ledger = patience.plan(None)
        if ledger is None:
            return wait(request)
        its = next((one for one in ledger.trees if one.tree == tree), None)
        if its is None:  # planted while the page was worked out
            return wait(request)
        page = tree_cold_page(ledger, its, household_of(yard, who(request)))
        return pages.render(request, "season/cold/season-cold-tree.html", page=page)

    return router
