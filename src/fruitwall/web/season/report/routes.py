"""Addresses of the report of the season."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, HTTPException, Query, Request, Response

from fruitwall.errors import FruitwallError
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who

if TYPE_CHECKING:
    from fruitwall.service.season_report import SeasonReport

PAGE = "/season/report"

Private = Annotated[bool, Query(description="With place, people, notes and photos")]


def season_report_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the report.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/report``, and the same as ``.html`` and ``.pdf`` to download.
    """
    if settings.house is None:
        raise ValueError("a report needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def worked_out(_: date | None) -> bool:
        """Work all of it out once, so that telling it to whoever reads is quick."""
        from fruitwall.service.season_report import season_report

        yard, _version = house.yard()
        season_report(house, Household(yard.display, ZoneInfo(yard.location.time_zone)))
        return True

    patience = Patience(worked_out, settings.patience_s)

    def made(request: Request, private: bool) -> tuple[SeasonReport, Household] | None:
        """Give the report for whoever asks; None while it is worked out."""
        from fruitwall.service.season_report import season_report

        yard, _ = house.yard()  # without one whoever asks is led to the start
        if patience.plan(None) is None:
            return None
        household = household_of(yard, who(request))
        return season_report(house, household, private=private), household

    def wait(request: Request) -> Response:
        return waiting(pages, request, "season/report/season-report-waiting.html")

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def look(request: Request, private: Private = False) -> Response:
        from fruitwall.reports.season_html import body

        found = made(request, private)
        if found is None:
            return wait(request)
        report, household = found
        told = body(report, household, lambda digest: f"/photos/{digest}-small.jpg")
        return pages.render(request, "season/report/season-report.html", body=told, private=private, title=report.title)

    @router.api_route(PAGE + ".html", methods=["GET", "HEAD"])
    def as_html(request: Request, private: Private = False) -> Response:
        from fruitwall.reports.season_html import as_file
        from fruitwall.service.pictures import small_picture

        found = made(request, private)
        if found is None:
            return wait(request)
        text = as_file(*found, lambda digest: small_picture(house, digest))
        return _file(text.encode(), "text/html; charset=utf-8", f"season-{house.clock():%Y-%m-%d}.html")

    @router.api_route(PAGE + ".pdf", methods=["GET", "HEAD"])
    def as_paper(request: Request, private: Private = False) -> Response:
        from fruitwall.reports.season_pdf import as_pdf, check_typst

        try:
            check_typst()
        except FruitwallError as error:
            raise HTTPException(501, str(error)) from error
        found = made(request, private)
        if found is None:
            return wait(request)
        return _file(as_pdf(*found), "application/pdf", f"season-{house.clock():%Y-%m-%d}.pdf")

    return router


def _file(content: bytes, kind: str, name: str) -> Response:
    """Answer with a file to keep: shown as a page of ours it would be held to our content policy."""
    return Response(
        content,
        media_type=kind,
        headers={"cache-control": "private, no-store", "content-disposition": f'attachment; filename="{name}"'},
    )
