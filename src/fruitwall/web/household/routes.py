"""Addresses of gear and people: looking, adding, changing, taking out, undo and redo."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from fruitwall.service.house import House
from fruitwall.service.nights import tonight
from fruitwall.service.yard_edit import (
    GROUPS,
    Add,
    Change,
    Edit,
    EditConflict,
    Edited,
    EditRefused,
    Remove,
    data_of,
    edit_yard,
    find,
    step,
)
from fruitwall.service.yard_form import Field, kind_of, part_of, read_form, with_errors
from fruitwall.service.yards import parse_version
from fruitwall.speech import say
from fruitwall.web.household.page import KINDS, form_for, household_page
from fruitwall.web.household.words import DRAWN
from fruitwall.web.pages import Pages
from fruitwall.web.reader import display_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import need, who
from fruitwall.web.yard.page import Conflict, conflict_rows
from fruitwall.web.yard.underlay import limited_form

PAGE = "/household"
MOST_BYTES = 50_000
"""Of a form; the longest is that of a shelter with sixty corners."""
OWNER = Depends(need("owner"))
Word = Annotated[str, Query(max_length=64)]
Posted = Mapping[str, Sequence[str]]


def household_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of gear and people.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages

    Returns
    -------
    APIRouter
        ``/household``; by POST ``/household/add``, ``/household/change``, ``/household/remove``,
        ``/household/tonight``, ``/household/undo`` and ``/household/redo``.
    """
    if settings.house is None:
        raise ValueError("gear and people need a house")
    router = APIRouter(prefix=PAGE, include_in_schema=False)
    desk = _Desk(settings.house, pages)

    @router.api_route("", methods=["GET", "HEAD"])
    def look(request: Request, pick: Word = "", add: Word = "", said: Word = "") -> Response:
        return desk.show(request, pick=pick, add=add, said=said)

    def post(path: str, do: Callable[[Request, Posted], Response]) -> None:
        async def answer(request: Request) -> Response:
            async with limited_form(request, MOST_BYTES, fields=300) as form:
                posted = {key: [str(one) for one in form.getlist(key)] for key in form}
            return await run_in_threadpool(do, request, posted)

        router.add_api_route(path, answer, methods=["POST"], dependencies=[OWNER])

    post("/add", desk.add)
    post("/change", desk.change)
    post("/remove", desk.remove)
    post("/tonight", desk.tonight)
    post("/undo", lambda request, posted: desk.step(request, posted, "undo"))
    post("/redo", lambda request, posted: desk.step(request, posted, "redo"))
    return router


class _Desk:
    """Answers what is sent by the forms."""

    def __init__(self, house: House, pages: Pages) -> None:
        self.house = house
        self.pages = pages

    def show(self, request: Request, status: int = 200, **asked: Any) -> Response:
        page = household_page(self.house, who(request), **asked)
        return self.pages.render(request, "household/household.html", status=status, page=page)

    def add(self, request: Request, posted: Posted) -> Response:
        """Add a thing."""
        kind = _one(posted, "adding")  # lamps have a field "kind" of their own
        if kind not in KINDS or kind in (*GROUPS, *DRAWN):
            return self.show(request, 422, errors=[say("Nothing of this kind can be added.")])
        yard, _ = self.house.yard()
        display = display_of(yard, who(request))
        entered = read_form(kind, form_for(kind, yard, display), posted, display, {})
        if entered.wrong:
            return self.show(request, 422, add=kind, form=entered.form)
        return self.do(request, posted, Add(kind, entered.fields), "added", {"add": kind}, entered.form)

    def change(self, request: Request, posted: Posted) -> Response:
        """Change the fields of a thing, compared with those of the version on which the form was made."""
        thing, number = _one(posted, "thing"), _number(posted, "seen")
        seen = self.house.journal.yard_version(number, self.house.yard_name) if number is not None else None
        if seen is None:
            return self.show(request, 422, errors=[say("This page is very old. Look at it and try again.")])
        yard = parse_version(seen)
        display = display_of(yard, who(request))
        kind = kind_of(thing, yard) or ""
        if kind not in KINDS:
            return self.show(request, 404, errors=[say("There is no such thing in the yard.")])
        shown = form_for(kind, yard, display, thing)
        entered = read_form(kind, shown, posted, display, find(data_of(seen.text), thing) or {})
        if entered.wrong:
            return self.show(request, 422, pick=thing, form=entered.form)
        if not entered.fields:
            return went(thing, "same")
        return self.do(request, posted, Change(thing, entered.fields), "changed", {"pick": thing}, entered.form)

    def remove(self, request: Request, posted: Posted) -> Response:
        """Ask, and take a thing out once the answer is yes."""
        thing = _one(posted, "thing")
        yard, _ = self.house.yard()
        if (kind_of(thing, yard) or "") not in KINDS:
            return self.show(request, 404, errors=[say("There is no such thing in the yard.")])
        if _one(posted, "sure") != "yes":
            name = getattr(part_of(thing, yard), "name", thing)
            return self.show(request, pick=thing, asks=say("Take {name} out? Undo brings it back.", name=name))
        return self.do(request, posted, Remove(thing), "removed", {"pick": thing})

    def tonight(self, request: Request, posted: Posted) -> Response:
        """Say that somebody is not here tonight, or is after all."""
        thing = _one(posted, "thing")
        yard, _ = self.house.yard()
        if kind_of(thing, yard) != "person":
            return self.show(request, 404, errors=[say("There is no such thing in the yard.")])
        back = tonight(yard.location, self.house.clock()) + timedelta(days=1)
        away = back.isoformat() if _one(posted, "here") == "no" else None
        edit, author = Change(thing, {"away_until": away}), who(request).name
        try:
            # The list goes on showing all of them; what somebody else changed of the person stays.
            edit_yard(self.house, edit, base=self.house.yard()[1].number, author=author)
        except (EditRefused, EditConflict) as refused:
            return self.show(request, 409, errors=[str(refused)])
        return RedirectResponse(f"{PAGE}?said=changed#people", 303)

    def step(self, request: Request, posted: Posted, way: str) -> Response:
        """Undo or redo the last change of the yard, here or on its plan."""
        base = _number(posted, "seen") or 0
        return self.answer(request, way, {}, lambda: step(self.house, way, base=base, author=who(request).name))

    def do(
        self,
        request: Request,
        posted: Posted,
        edit: Edit,
        said: str,
        asked: dict[str, str],
        form: list[Field] | None = None,
    ) -> Response:
        """Make an edit and answer: the new state, what is wrong beside its fields, or both sides of a conflict."""
        base = _number(posted, "onto") or _number(posted, "seen") or 0
        author = who(request).name
        try:
            return self.answer(
                request, said, asked, lambda: edit_yard(self.house, edit, base=base, author=author), form
            )
        except EditConflict as conflict:
            hidden = [(key, one) for key, values in posted.items() if key != "onto" for one in values]
            both = Conflict(
                author=conflict.version.author,
                rows=conflict_rows(conflict.before, conflict.theirs, conflict.mine),
                action=request.url.path,
                hidden=[*hidden, ("onto", str(conflict.version.number))],
            )
            return self.show(request, 409, **asked, conflict=both)

    def answer(
        self,
        request: Request,
        said: str,
        asked: dict[str, str],
        make: Callable[[], Edited],
        form: list[Field] | None = None,
    ) -> Response:
        """Send on to the new state, or tell what is wrong."""
        try:
            edited = make()
        except EditRefused as refused:
            problems = [(name, message[:1].upper() + message[1:]) for name, message in refused.problems]
            if form is None:
                return self.show(request, 422, **asked, errors=[message for _, message in problems])
            form, rest = with_errors(form, problems)
            return self.show(request, 422, **asked, form=form, errors=rest)
        thing = edited.thing or ""
        return went(thing if (kind_of(thing, parse_version(edited.version)) or "") in KINDS else "", said)


def went(thing: str, said: str) -> Response:
    """Send the browser on to where the result is seen."""
    pick = f"pick={quote(thing, safe='')}&" if thing else ""
    return RedirectResponse(f"{PAGE}?{pick}said={said}", 303)


def _one(posted: Posted, name: str) -> str:
    return (posted.get(name) or [""])[0]


def _number(posted: Posted, name: str) -> int | None:
    """Read a whole number of a hidden field; None for anything else."""
    text = _one(posted, name)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
