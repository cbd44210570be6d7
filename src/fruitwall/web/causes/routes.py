"""Addresses of what a sighting may come of."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.service.causes import answer, causes_of, take_answer_back
from fruitwall.service.corrections import chain_of
from fruitwall.service.doubtful import doubts_by_entry, doubts_of, move_look, trees_meant
from fruitwall.service.house import House
from fruitwall.speech import say
from fruitwall.web.causes.page import cause_page, cause_url
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.walk.intake import signed_by
from fruitwall.web.who import Who, need, who

Number = Annotated[str, Form(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]
Word = Annotated[str, Form(max_length=100, pattern="^[^\0]*$")]


def cause_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of what sightings may come of.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/trees/{tree}/sightings/{which}/cause``, where questions are answered and a look is moved to another tree.
    """
    if settings.house is None:
        raise ValueError("what sightings may come of needs a household")
    house: House = settings.house
    router = APIRouter()

    def show(request: Request, tree: str, which: str) -> Response:
        entry = house.ledger.entry(which)
        if entry is None:
            raise HTTPException(404, say("This tree has no such entry."))
        standing = chain_of(house.ledger, which).standing
        if which not in {one.id for one in standing} and len(standing) == 1 and standing[0].tree is not None:
            # It was corrected meanwhile, perhaps by an answer in another tab.
            return RedirectResponse(cause_url(standing[0].tree, standing[0].id), 303)
        finding = causes_of(house, entry)
        if finding is None or finding.tree.id != tree or which not in {one.id for one in standing}:
            raise HTTPException(404, say("This tree has no such entry of something wrong."))
        yard = house.yard()[0]
        doubt = doubts_by_entry(doubts_of(house)).get(which)
        meant = trees_meant(house, which) if doubt is not None else ()
        page = cause_page(finding, yard, doubt, household_of(yard, who(request)), meant=meant)
        return pages.render(request, "causes/cause.html", page=page, may=who(request).may("helper"))

    # Plain functions: the journal is read, which belongs into a worker thread.
    @router.api_route("/trees/{tree}/sightings/{which}/cause", methods=["GET", "HEAD"], include_in_schema=False)
    def cause(request: Request, tree: str, which: str) -> Response:
        return show(request, tree, which)

    @router.post("/trees/{tree}/sightings/{which}/cause", include_in_schema=False)
    def say_more(
        request: Request,
        tree: str,
        which: str,
        entry: Number,
        _: Annotated[Who, Depends(need("helper"))],
        asked: Word = "",
        said: Word = "",
        undo: Word = "",
        move: Word = "",
    ) -> Response:
        if house.ledger.entry(which) is None:
            raise HTTPException(404, say("This tree has no such entry."))
        signed = signed_by(request, house)
        try:
            if move:
                made = move_look(house, which, move, signed=signed, number=entry)
            elif undo:
                made = take_answer_back(house, which, undo, signed=signed, number=entry)
            else:
                made = answer(house, which, asked, said, signed=signed, number=entry)
        except JournalError as error:
            raise HTTPException(409, str(error)) from error
        return RedirectResponse(cause_url(made.tree or tree, made.id), 303)

    return router
