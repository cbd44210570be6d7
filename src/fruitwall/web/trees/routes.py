"""Addresses of the trees."""

from __future__ import annotations

import uuid
from contextlib import suppress
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from fruitwall.errors import FruitwallError, JournalError
from fruitwall.journal.entries import LedgerEntry
from fruitwall.service import pictures
from fruitwall.service.corrections import bring_back, chain_of, correct, let_hold, withdraw
from fruitwall.service.house import House
from fruitwall.service.ledger import DEED_NAMES, STAGES, WATER_DEEDS, Body, Deed, Note, Stage, says, trees_of
from fruitwall.service.pictures import PictureRefused, keep_picture
from fruitwall.service.taught import taught
from fruitwall.service.tree_story import Story, enter, stories_of
from fruitwall.service.water_entry import read_amount
from fruitwall.speech import say
from fruitwall.web.causes.beside import doubts_beside, findings_beside
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.trees.entry import changes_of, entry_page, moment_of
from fruitwall.web.trees.leaves import leaf_part
from fruitwall.web.trees.page import tree_line, tree_page, tree_url
from fruitwall.web.trees.taught import TaughtPart, taught_part
from fruitwall.web.walk.intake import BESIDES_BYTES, read_form, signed_by
from fruitwall.web.who import Who, need, who

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.yard.model import Yard

Number = Annotated[str, Form(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]
Words = Annotated[str, Form(max_length=5000, pattern="^[^\0]*$")]
Helper = Annotated[Who, Depends(need("helper"))]

Fields = dict[str, list[str]]


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
        ``/trees``, ``/trees/{tree}``, where entries are added, and ``/trees/{tree}/{entry}``, where one is corrected,
        taken back, brought back, or said to hold.
    """
    if settings.house is None:
        raise ValueError("the trees need a household")
    house: House = settings.house
    router = APIRouter()

    def only(tree: str) -> Story:
        found = stories_of(house, tree)
        if not found:
            raise HTTPException(404, say("The yard has no tree of this name now."))
        return found[0]

    def taught_of(tree: str, yard: Yard, household: Household) -> TaughtPart | None:
        """Work out what was learned; a page that tells of a tree is shown also where that fails."""
        with suppress(FruitwallError, ArithmeticError, ValueError):
            its = taught(house).trees.get(tree)
            return taught_part(its, yard, household, house.clock()) if its is not None else None
        return None

    def entry_of_tree(tree: str, which: str) -> LedgerEntry:
        entry = house.ledger.entry(which)
        body = says(entry) if entry is not None else None
        if entry is None or body is None or tree not in trees_of(entry, body):
            raise HTTPException(404, say("This tree has no such entry."))
        return entry

    def show_tree(request: Request, tree: str, *, error: str = "", note: str = "", litres: str = "") -> Response:
        yard, _ = house.yard()
        household = household_of(yard, who(request))
        part, story = taught_of(tree, yard, household), only(tree)
        leaves = leaf_part(house, story, household)
        page = tree_page(
            story,
            household,
            error=error,
            note=note,
            litres=litres,
            taught=part,
            findings=findings_beside(house, tree),
            doubts=doubts_beside(house),
        )
        status = 422 if error else 200
        may = who(request).may("helper")
        return pages.render(request, "trees/tree.html", status=status, page=page, leaves=leaves, may=may)

    def show_entry(request: Request, tree: str, which: str, typed: Fields | None, errors: list[str]) -> Response:
        story, entry = only(tree), entry_of_tree(tree, which)
        household = household_of(house.yard()[0], who(request))
        page = entry_page(story, entry, chain_of(house.ledger, which), household, typed=typed, errors=errors)
        status = 422 if errors else 200
        return pages.render(request, "trees/entry.html", status=status, page=page, may=who(request).may("helper"))

    @router.api_route("/trees", methods=["GET", "HEAD"], include_in_schema=False)
    def trees(request: Request) -> Response:
        household = household_of(house.yard()[0], who(request))
        lines = [tree_line(story, household) for story in stories_of(house)]
        return pages.render(request, "trees/list.html", trees=lines)

    @router.api_route("/trees/{tree}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_tree(request: Request, tree: str) -> Response:
        return show_tree(request, tree)

    @router.post("/trees/{tree}", include_in_schema=False)
    def add(
        request: Request,
        tree: str,
        entry: Number,
        _: Helper,
        stage: Annotated[str, Form()] = "",
        deed: Annotated[str, Form()] = "",
        note: Words = "",
        litres: Words = "",
    ) -> Response:
        story = only(tree)
        display = household_of(house.yard()[0], who(request)).display
        try:
            given = read_amount(litres, display, story.tree) if deed in WATER_DEEDS else None
            made = _new(stage, deed, note.replace("\r\n", "\n"), given)
            if made is None:
                raise ValueError(say("Write something, or choose what was done."))
            enter(house, tree, *made, signed=signed_by(request, house), number=entry)
        except (JournalError, ValueError) as error:
            return show_tree(request, tree, error=str(error), note=note, litres=litres)
        return RedirectResponse(f"{tree_url(story)}#entries", 303)

    @router.api_route("/trees/{tree}/{which}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_entry(request: Request, tree: str, which: str) -> Response:
        return show_entry(request, tree, which, None, [])

    @router.post("/trees/{tree}/{which}", include_in_schema=False)
    async def change(request: Request, tree: str, which: str, _: Helper) -> Response:
        async with read_form(request, pictures.MOST_BYTES + BESIDES_BYTES) as form:
            given: Fields = {}
            files = []
            for name, value in form.multi_items():
                if isinstance(value, UploadFile):
                    files.append((value.filename or "", await value.read()))
                else:
                    given.setdefault(name, []).append(value.replace("\0", ""))
        return await run_in_threadpool(changed, request, tree, which, given, [one for one in files if one[1]])

    def changed(request: Request, tree: str, which: str, given: Fields, files: list[tuple[str, bytes]]) -> Response:
        story, entry = only(tree), entry_of_tree(tree, which)
        signed = signed_by(request, house)
        try:
            match given.get("act", ["correct"])[0]:
                case "withdraw":
                    withdraw(house.ledger, which, signed=signed)
                case "bring-back":
                    bring_back(house.ledger, which, signed=signed)
                case "holds":
                    let_hold(house.ledger, which, signed=signed)
                case _:
                    # Where somebody else corrected it meanwhile, both corrections are kept, and a person decides.
                    if not chain_of(house.ledger, which).standing:
                        raise JournalError(say("This was taken back; bring it back before you correct it."))
                    photos = [keep_picture(house, content, name=name).sha256 for name, content in files]
                    household = household_of(house.yard()[0], who(request))
                    changes = changes_of(says(entry) or Body(), given, photos, household, story.tree)
                    moment = moment_of(entry, given, story.zone)
                    number = given.get("entry", [str(uuid.uuid4())])[0]
                    correct(house.ledger, which, changes, signed=signed, number=number, at=moment)
        except ValidationError as error:
            return show_entry(request, tree, which, given, [one["msg"] for one in error.errors()])
        except (PictureRefused, JournalError, ValueError) as error:
            return show_entry(request, tree, which, given, [str(error)])
        return RedirectResponse(f"{tree_url(story)}#entries", 303)

    return router


def _new(stage: str, deed: str, note: str, litres: float | None) -> tuple[str, Body] | None:
    """Read what is entered: a stage, a deed, or words alone; None for nothing."""
    if stage in STAGES:
        return "stage", Stage.model_validate({"stage": stage, "note": note})
    if deed in DEED_NAMES:
        return "deed", Deed(what=deed, words=DEED_NAMES[deed], note=note, litres=litres)
    return ("note", Note(note=note)) if note.strip() else None
