"""Address of the page of recovery."""

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
    from fruitwall.service.recovery_document import RecoverySeason

PAGE = "/season/recovery"


def recovery_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of recovery.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/recovery``.
    """
    if settings.house is None:
        raise ValueError("recovery needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def worked_out(_: date | None) -> RecoverySeason:
        from fruitwall.service.recovery_ledger import recovery_season

        return recovery_season(house)

    patience = Patience(worked_out, settings.patience_s)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def recovery(request: Request) -> Response:
        from fruitwall.web.season.recovery.page import recovery_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        season = patience.plan(None)
        if season is None:
            return waiting(pages, request, "season/recovery/season-recovery-waiting.html")
        household = household_of(yard, who(request))
        page = recovery_page(season, household, house.clock().astimezone(household.zone).date())
        return pages.render(request, "season/recovery/season-recovery.html", page=page)

    return router
