"""Addresses of the trees."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import STAGES, Body, Deed, Note, Stage
from fruitwall.service.tree_story import Story, correct, enter, stories_of
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.settings import WebSettings
from fruitwall.web.trees.page import DEEDS, deed_words, tree_line, tree_page
from fruitwall.web.walk.intake import signed_by
from fruitwall.web.who import Who, need, who

Number = Annotated[str, Form(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]
Words = Annotated[str, Form(max_length=5000, pattern="^[^\0]*$")]
Helper = Annotated[Who, Depends(need("helper"))]


def tree_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the trees.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/trees`` and ``/trees/{tree}``, where entries are added and corrected.
    """
    if settings.house is None:
        raise ValueError("the trees need a household")
    house: House = settings.house
    router = APIRouter()

    def household(request: Request, story: Story) -> Household:
        asking = who(request)
        own = {"temperature": asking.temperature, "length": asking.length, "mass": asking.mass}
        display = house.yard()[0].display
        return Household(display.model_copy(update={key: v for key, v in own.items() if v is not None}), story.zone)

    def only(tree: str) -> Story:
        found = stories_of(house, tree)
        if not found:
            raise HTTPException(404, say("The yard has no tree of this name now."))
        return found[0]

    @router.api_route("/trees", methods=["GET", "HEAD"], include_in_schema=False)
    def trees(request: Request) -> Response:
        lines = [tree_line(story, household(request, story)) for story in stories_of(house)]
        return pages.render(request, "trees/list.html", trees=lines)

    @router.api_route("/trees/{tree}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_tree(request: Request, tree: str) -> Response:
        story = only(tree)
        histories = {one.entry.id: house.ledger.history(one.entry.id) for one in story.told if one.corrected}
        page = tree_page(story, household(request, story), histories)
        return pages.render(request, "trees/tree.html", page=page, may=who(request).may("helper"))

    @router.post("/trees/{tree}", include_in_schema=False)
    def add(
        request: Request,
        tree: str,
        entry: Number,
        _: Helper,
        stage: Annotated[str, Form()] = "",
        deed: Annotated[str, Form()] = "",
        note: Words = "",
    ) -> Response:
        only(tree)
        kind, body = _new(stage, deed, note.replace("\r\n", "\n"))
        try:
            enter(house, tree, kind, body, signed=signed_by(request, house), number=entry)
        except JournalError as error:
            raise HTTPException(409, str(error)) from error
        return RedirectResponse(f"/trees/{tree}#entries", 303)

    @router.post("/trees/{tree}/{which}", include_in_schema=False)
    def change(
        request: Request,
        tree: str,
        which: str,
        entry: Number,
        _: Helper,
        note: Words = "",
        grade: Annotated[str, Form(pattern="^[0-7]?$")] = "",
    ) -> Response:
        only(tree)
        changes = {"note": note.replace("\r\n", "\n"), "grade": int(grade) if grade else None}
        try:
            correct(house, which, changes, signed=signed_by(request, house), number=entry)
        except JournalError as error:
            raise HTTPException(409, str(error)) from error
        return RedirectResponse(f"/trees/{tree}#entries", 303)

    return router


def _new(stage: str, deed: str, note: str) -> tuple[str, Body]:
    """Read what is entered: a stage, a deed, or words alone."""
    if stage in STAGES:
        return "stage", Stage.model_validate({"stage": stage, "note": note})
    if deed in DEEDS:
        return "deed", Deed(what=deed, words=deed_words(deed), note=note)
    if not note.strip():
        raise HTTPException(422, say("Write something, or choose what was done."))
    return "note", Note(note=note)
