"""Addresses of the pages of kinds."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import UnknownTaxonError
from fruitwall.service.kind import describe_kind, list_kinds, reader
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.web.kinds.page import families_of, kind_page_of
from fruitwall.web.pages import Pages
from fruitwall.web.settings import WebSettings


def kind_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the pages of kinds.

    Parameters
    ----------
    settings : WebSettings
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/kinds`` the list (``?name=`` searches it), ``/kinds/mangifera-indica`` one kind.
    """
    router = APIRouter()

    def listed(request: Request, asked: str, near: list[str], status: int) -> Response:
        known = catalogue_of(settings.yard())
        return pages.render(
            request,
            "kinds/kinds.html",
            status=status,
            families=families_of(list_kinds(known)),
            count=len(known.taxa),
            asked=asked,
            near=[(name, known.find(name).key) for name in near],
        )

    # Plain functions: a prior is computed, which belongs into a worker thread.
    @router.api_route("/kinds", methods=["GET", "HEAD"], include_in_schema=False)
    def kinds(request: Request, name: Annotated[str, Query(max_length=120)] = "") -> Response:
        if not name.strip():
            return listed(request, "", [], 200)
        try:
            taxon = catalogue_of(settings.yard()).find(name)
        except UnknownTaxonError as unknown:
            return listed(request, name, unknown.near, 404)
        return RedirectResponse(f"/kinds/{quote(taxon.key)}", 303)

    @router.api_route("/kinds/{key}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_kind(request: Request, key: str) -> Response:
        yard = settings.yard()
        known = catalogue_of(yard)
        try:
            taxon = known.find(key)
        except UnknownTaxonError as unknown:
            return listed(request, key, unknown.near, 404)
        if key != taxon.key:  # by a name: one address for each kind
            return RedirectResponse(f"/kinds/{quote(taxon.key)}", 303)
        page = kind_page_of(describe_kind(key, known), reader(yard))
        return pages.render(request, "kinds/kind.html", page=page)

    return router
