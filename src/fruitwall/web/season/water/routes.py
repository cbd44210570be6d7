"""Addresses of the season's water."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.service.house import House
from fruitwall.service.ledger import DEED_NAMES, Deed, entry_of
from fruitwall.service.water_entry import read_amount
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.walk.intake import signed_by
from fruitwall.web.who import Who, need, who

if TYPE_CHECKING:
    from fruitwall.service.water_document import WaterDocument
    from fruitwall.web.season.water.page import Typed

PAGE = "/season/water"

Text = Annotated[str, Form(max_length=200)]
Number = Annotated[str, Form(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]


def water_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the season's water.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/water``, where waterings are entered too, and ``/season/water/{tree}``.
    """
    if settings.house is None:
        raise ValueError("the water needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def reckoned(_: date | None) -> WaterDocument:
        from fruitwall.service.water_season import water_document

        return water_document(house)

    patience = Patience(reckoned, settings.patience_s)

    last: dict[str, WaterDocument] = {}  # by yard; to show a form again whose entry was refused

    def known(yard: str, error: str) -> WaterDocument | None:
        """Give the water of now; that of before for a form with a mistake, so that nobody waits for their own words."""
        found = patience.plan(None)
        if found is not None:
            last[yard] = found
            return found
        if error and yard not in last:
            raise HTTPException(422, error)  # not the waiting page, which would say nothing of it
        return last[yard] if error else None

    def wait(request: Request) -> Response:
        return waiting(pages, request, "season/water/season-water-waiting.html")

    def show(request: Request, typed: Typed | None = None, error: str = "", done: str = "") -> Response:
        from fruitwall.web.season.water.page import water_page

        yard, version = house.yard()  # without one whoever asks is led to the start
        water = known(version.yard, error)
        if water is None:
            return wait(request)
        asking = who(request)
        page = water_page(water, household_of(yard, asking), typed=typed, error=error, done=done)
        status = 422 if error else 200
        return pages.render(
            request, "season/water/season-water.html", status=status, page=page, may=asking.may("helper")
        )

    def show_tree(request: Request, tree: str, typed: Typed | None = None, error: str = "", done: str = "") -> Response:
        from fruitwall.web.season.water.page import tree_water_page

        yard, version = house.yard()
        if all(one.id != tree for one in yard.trees):
            raise HTTPException(404, say("The yard has no tree “{text}”.", text=tree))
        water = known(version.yard, error)
        if water is None:
            return wait(request)
        its = next((one for one in water.trees if one.tree == tree), None)
        if its is None:
            raise HTTPException(404, say("Nothing is reckoned of this tree: its kind or the weather is not known."))
        asking = who(request)
        page = tree_water_page(water, its, household_of(yard, asking), typed=typed, error=error, done=done)
        status = 422 if error else 200
        return pages.render(
            request, "season/water/season-water-tree.html", status=status, page=page, may=asking.may("helper")
        )

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def water(request: Request, done: str = "") -> Response:
        return show(request, done=done)

    @router.post(PAGE)
    def enter(
        request: Request,
        entry: Number,
        _: Annotated[Who, Depends(need("helper"))],
        tree: Text = "",
        amount: Text = "",
        at: Text = "",
        back: Text = "",
    ) -> Response:
        from fruitwall.web.season.water.page import Typed

        yard, _version = house.yard()
        typed = Typed(tree, amount, at)
        its = next((one for one in yard.trees if one.id == tree), None)
        try:
            if its is None:
                raise ValueError(say("Choose the tree that was watered."))
            litres = read_amount(amount, household_of(yard, who(request)).display, its)
            signed = signed_by(request, house)
            moment = _moment(at, ZoneInfo(yard.location.time_zone)) or signed.now
            known = house.ledger.entry(entry) is not None
            if not known:
                body = Deed(what="watered", words=DEED_NAMES["watered"], litres=litres)
                house.ledger.add([entry_of("deed", body, tree=tree, at=moment, signed=signed, number=entry)])
        except (JournalError, ValueError) as error:
            if back == "tree" and its is not None:
                return show_tree(request, tree, typed, str(error))
            return show(request, typed, str(error))
        place = f"{PAGE}/{quote(tree, safe='')}" if back == "tree" else PAGE
        return RedirectResponse(f"{place}?done={'known' if known else 'stored'}", 303)

    @router.api_route(PAGE + "/{tree}", methods=["GET", "HEAD"])
    def water_of_tree(request: Request, tree: str, done: str = "") -> Response:
        return show_tree(request, tree, done=done)

    return router


def _moment(text: str, zone: ZoneInfo) -> datetime | None:
    """Read when it was, by the yard's clock; None where nothing was entered: now."""
    if not text.strip():
        return None
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(say("The time must be written as 2026-12-22T06:30.")) from None
    if not 1900 <= moment.year <= 9000:
        raise ValueError(say("The time must be written as 2026-12-22T06:30."))
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=zone)
