"""Addresses of the walk."""

from __future__ import annotations

import json
import uuid
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from fruitwall.errors import JournalError
from fruitwall.service import pictures
from fruitwall.service.corrections import let_hold
from fruitwall.service.house import House
from fruitwall.service.ledger import GRADES, SIGNS, Sighting
from fruitwall.service.pictures import PictureRefused, keep_picture
from fruitwall.service.walk import Walk, walk_of
from fruitwall.service.walk_entries import NewEntry, take_entry
from fruitwall.speech import say
from fruitwall.web.causes.beside import doubts_beside
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.walk.install import install_routes
from fruitwall.web.walk.intake import BESIDES_BYTES, intake_routes, read_form, signed_by
from fruitwall.web.walk.page import Typed, stop_page, stop_url, walk_page
from fruitwall.web.who import Who, need, who

LONGEST_NOTE = 5000


def walk_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the walk.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/walk``, ``/walk/{tree}``, ``/sw.js``, ``/manifest.webmanifest``, the icons, and what `intake_routes` makes.
    """
    if settings.house is None:
        raise ValueError("the walk needs a household")
    house: House = settings.house
    router = APIRouter()
    router.include_router(intake_routes(house))
    router.include_router(install_routes(pages))

    # Plain functions: the journal is read, which belongs into a worker thread.
    @router.api_route("/walk", methods=["GET", "HEAD"], include_in_schema=False)
    def walk(request: Request) -> Response:
        found = walk_of(house)
        page = walk_page(found, household_of(found.yard, who(request)), doubts_beside(house))
        return pages.render(request, "walk/walk.html", page=page, may=who(request).may("helper"))

    @router.api_route("/walk/{tree}", methods=["GET", "HEAD"], include_in_schema=False)
    def one_tree(request: Request, tree: str) -> Response:
        return show(request, tree, None)

    def show(request: Request, tree: str, typed: Typed | None) -> Response:
        found = walk_of(house)
        at = found.place(tree)
        if at is None:
            raise HTTPException(404, say("The yard has no tree of this name now."))
        doubts = doubts_beside(house)
        page = stop_page(found, at, household_of(found.yard, who(request)), typed, doubts)
        status = 422 if page.errors else 200
        return pages.render(request, "walk/stop.html", status=status, page=page, may=who(request).may("helper"))

    @router.post("/walk/{tree}/holds", include_in_schema=False)
    def holds(
        request: Request,
        tree: str,
        which: Annotated[str, Form(pattern="^[0-9a-f-]{36}$")],
        _: Annotated[Who, Depends(need("helper"))],
    ) -> Response:
        found = walk_of(house)
        at = found.place(tree)
        if at is None or which not in {look.entry.id for look in found.stops[at].looks}:
            raise HTTPException(409, say("This does not stand any more: it was corrected or taken back meanwhile."))
        let_hold(house.ledger, which, signed=signed_by(request, house))
        return RedirectResponse(stop_url(tree), 303)

    @router.post("/walk/{tree}", include_in_schema=False)
    async def look(request: Request, tree: str, _: Annotated[Who, Depends(need("helper"))]) -> Response:
        async with read_form(request, pictures.MOST_BYTES + BESIDES_BYTES) as form:
            sent = [one for one in form.getlist("photo") if isinstance(one, UploadFile)]
            files = [(one.filename or "", await one.read()) for one in sent]
        return await run_in_threadpool(enter, request, tree, form, [one for one in files if one[1]])

    def enter(request: Request, tree: str, form: FormData, files: list[tuple[str, bytes]]) -> Response:
        found = walk_of(house)
        at = found.place(tree)
        if at is None:
            raise HTTPException(404, say("The yard has no tree of this name now."))
        typed = _typed(form, found, at)
        try:
            photos = [keep_picture(house, content, name=name).sha256 for name, content in files]
            if typed.grade is None and not typed.signs and not typed.note and not photos:
                raise JournalError(say("Choose a grade, a sign or a photo, or write a note. Or skip this tree."))
            body = Sighting(grade=typed.grade, signs=list(typed.signs), note=typed.note, photos=photos)
            number, replaces = str(form.get("entry", "")), str(form.get("replaces", "")) or None
            _store(house, request, _entry(number, tree, body, replaces, found))
        except (PictureRefused, JournalError, ValueError) as error:
            return show(request, tree, replace(typed, errors=(str(error),)))
        page = stop_page(found, at, household_of(found.yard, who(request)))
        return RedirectResponse(page.next_url, 303)

    return router


def _typed(form: FormData, walk: Walk, at: int) -> Typed:
    """Read what was entered; "the same as last time" stands for the grade and signs of then."""
    last = walk.stops[at].last
    note = str(form.get("note", "")).replace("\r\n", "\n").replace("\0", "").strip()[:LONGEST_NOTE]
    corrects = bool(form.get("replaces"))
    if form.get("act") == "same" and last is not None:
        return Typed(last.sighting.grade, tuple(last.sighting.signs), note, corrects)
    told = str(form.get("grade", ""))
    grade = int(told) if told in {str(value) for value in range(len(GRADES))} else None
    chosen = {str(sign) for sign in form.getlist("sign")}
    return Typed(grade, tuple(key for key, _ in SIGNS if key in chosen), note, corrects)


def _entry(number: str, tree: str, body: Sighting, replaces: str | None, walk: Walk) -> NewEntry:
    return NewEntry(
        id=number,
        kind="sighting",
        tree=tree,
        at=walk.now,
        body=json.loads(body.model_dump_json(exclude_defaults=True)),
        replaces=replaces,
    )


def _store(house: House, request: Request, entry: NewEntry) -> None:
    """Store a look. Who goes back in the browser and sends the form again with other words corrects what it made."""
    signed = signed_by(request, house)
    before = house.ledger.entry(entry.id)
    if before is not None and before.tree == entry.tree:
        same = json.loads(before.body) == entry.body and before.replaces == entry.replaces
        if same:
            return
        entry = entry.model_copy(update={"id": str(uuid.uuid4()), "replaces": before.id})
    take_entry(house, entry, at=entry.at, signed=signed)
