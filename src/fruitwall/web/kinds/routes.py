"""Addresses of the pages of kinds."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, HTTPException, Query, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import UnknownTaxonError
from fruitwall.service.gear import describe_gear
from fruitwall.service.kind import describe_kind, kind_for_reader, list_kinds, look_up, reader
from fruitwall.service.kind_document import KindList
from fruitwall.service.kind_words import guessed_words, name_for_reader
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.speech import speaking
from fruitwall.web.kinds.gear import gear_page_of
from fruitwall.web.kinds.page import families_of, kind_page_of
from fruitwall.web.pages import Pages
from fruitwall.web.reader import as_read_by
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who


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
        ``/kinds`` the list (``?name=`` searches it), ``/kinds/mangifera-indica`` one kind, ``/gear``
        containers and covers; all also as documents with ``.json`` at their end.
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
            taxon, guessed = look_up(name, catalogue_of(settings.yard()))
        except UnknownTaxonError as unknown:
            return listed(request, name, unknown.near, 404)
        asked = f"?asked={quote(name)}" if guessed else ""
        return RedirectResponse(f"/kinds/{quote(taxon.key)}{asked}", 303)

    @router.api_route("/kinds.json", methods=["GET", "HEAD"], include_in_schema=False)
    def kinds_document() -> Response:
        """Give all kinds, with how much is published on each."""
        with speaking("en"):  # documents are for programs, and of one order
            return pages.document(KindList(kinds=list_kinds(catalogue_of(settings.yard()))))

    @router.api_route("/kinds/{key}.json", methods=["GET", "HEAD"], include_in_schema=False)
    def kind_document(key: str) -> Response:
        """Give everything known of a kind, by its key or any of its names, in °C."""
        try:
            return pages.document(describe_kind(key, catalogue_of(settings.yard())))
        except UnknownTaxonError as unknown:
            raise HTTPException(404, str(unknown)) from None

    @router.api_route("/kinds/{key}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_kind(request: Request, key: str, asked: Annotated[str, Query(max_length=120)] = "") -> Response:
        yard = settings.yard()
        known = catalogue_of(yard)
        try:
            taxon = known.find(key)
        except UnknownTaxonError as unknown:
            return listed(request, key, unknown.near, 404)
        if key != taxon.key:  # by a name: one address for each kind
            return RedirectResponse(f"/kinds/{quote(taxon.key)}", 303)
        household = reader(as_read_by(yard, who(request)))
        document = kind_for_reader(key, known, household)
        page = kind_page_of(document, household)
        name = name_for_reader(document.english, document.spanish)
        guessed = guessed_words(asked, name) if asked.strip() else ""
        return pages.render(request, "kinds/kind.html", page=page, guessed=guessed)

    @router.api_route("/gear", methods=["GET", "HEAD"], include_in_schema=False)
    def gear(request: Request) -> Response:
        return pages.render(
            request,
            "kinds/gear.html",
            page=gear_page_of(describe_gear(), reader(as_read_by(settings.yard(), who(request)))),
        )

    @router.api_route("/gear.json", methods=["GET", "HEAD"], include_in_schema=False)
    def gear_document() -> Response:
        """Give everything published on containers and covers, in SI units."""
        return pages.document(describe_gear())

    return router
