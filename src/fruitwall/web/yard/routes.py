"""Addresses of the plan of the yard: looking, changing, undo and redo."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from fruitwall.service.house import House
from fruitwall.service.yard_edit import (
    GEAR,
    LISTS,
    OUTLINE,
    Add,
    Change,
    Cut,
    Edit,
    EditConflict,
    Edited,
    EditRefused,
    Move,
    Remove,
    data_of,
    edit_yard,
    find,
    restore,
    step,
)
from fruitwall.service.yard_form import Field, form_of, kind_of, part_of, read_form, with_errors
from fruitwall.service.yards import parse_version
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import display_of, household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import need, who
from fruitwall.web.yard.page import Asked, Conflict, conflict_rows, history_page, place_form, yard_page
from fruitwall.web.yard.underlay import limited_form, underlay_routes
from fruitwall.yard.model import Yard

Posted = Mapping[str, Sequence[str]]
Did = Callable[[], Response]

MOST_BYTES = 100_000
"""Of a form of the plan, notes included."""
OWNER = Depends(need("owner"))


def yard_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the plan.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages

    Returns
    -------
    APIRouter
        ``/yard`` the plan, ``/yard/history`` its versions; by POST ``/yard/add``, ``/yard/change``, ``/yard/move``,
        ``/yard/cut``, ``/yard/remove``, ``/yard/undo``, ``/yard/redo``, ``/yard/restore``; and what `underlay_routes`
        makes.
    """
    router = APIRouter()
    house = settings.house
    if house is None:
        raise ValueError("the plan of the yard needs a house")
    desk = _Desk(house, pages)

    @router.api_route("/yard", methods=["GET", "HEAD"], include_in_schema=False)
    def yard(
        request: Request,
        pick: Annotated[str | None, Query(max_length=64)] = None,
        add: Annotated[str | None, Query(max_length=64)] = None,
        layer: Annotated[str | None, Query(max_length=64)] = None,
        said: Annotated[str | None, Query(max_length=64)] = None,
    ) -> Response:
        return desk.show(request, Asked(pick, add, layer, said))

    def post(path: str, do: Callable[[Request, Posted], Response]) -> None:
        async def answer(request: Request) -> Response:
            async with limited_form(request, MOST_BYTES, fields=400) as form:
                posted = {key: [str(one) for one in form.getlist(key)] for key in form}
            return await run_in_threadpool(do, request, posted)

        router.add_api_route(path, answer, methods=["POST"], include_in_schema=False, dependencies=[OWNER])

    post("/yard/add", desk.add)
    post("/yard/change", desk.change)
    post("/yard/move", desk.move)
    post("/yard/cut", desk.cut)
    post("/yard/remove", desk.remove)
    post("/yard/undo", lambda request, posted: desk.step(request, posted, "undo"))
    post("/yard/redo", lambda request, posted: desk.step(request, posted, "redo"))
    post("/yard/restore", desk.restore)

    @router.api_route("/yard/history", methods=["GET", "HEAD"], include_in_schema=False)
    def history(request: Request) -> Response:
        return pages.render(request, "yard/history.html", page=history_page(house, who(request)))

    router.include_router(underlay_routes(house, pages))
    return router


class _Desk:
    """Answers what is sent by the forms of the plan."""

    def __init__(self, house: House, pages: Pages) -> None:
        self.house = house
        self.pages = pages

    def show(self, request: Request, asked: Asked, status: int = 200, **more: Any) -> Response:
        page = yard_page(self.house, asked, who(request), **more)
        return self.pages.render(request, "yard/yard.html", status=status, page=page)

    def add(self, request: Request, posted: Posted) -> Response:
        """Add a thing."""
        kind = _one(posted, "kind")
        asked = Asked(add=kind, layer=_layer(posted))
        if kind not in LISTS:
            return self.show(request, Asked(layer=asked.layer), 422, errors=[say("Nothing of this kind can be added.")])
        yard, _ = self.house.yard()
        display = display_of(yard, who(request))
        entered = read_form(kind, form_of(kind, yard, display), posted, display, {})
        if entered.wrong:
            return self.show(request, asked, 422, form=entered.form)
        return self.do(request, posted, Add(kind, entered.fields), "added", asked, entered.form)

    def change(self, request: Request, posted: Posted) -> Response:
        """Change the fields of a thing, compared with those of the version on which the form was made."""
        thing = _one(posted, "thing")
        asked = Asked(pick=thing, layer=_layer(posted))
        base = _number(posted, "seen")
        seen = self.house.journal.yard_version(base, self.house.yard_name) if base is not None else None
        if seen is None:
            return self.show(request, asked, 422, errors=[say("This page is very old. Look at it and try again.")])
        yard = parse_version(seen)
        display = display_of(yard, who(request))
        kind, shown = _form(thing, yard, display)
        if kind is None:
            return self.show(request, Asked(), 404, errors=[say("There is no such thing in the yard.")])
        written = find(data_of(seen.text), thing) or {}
        if thing == GEAR:
            written = {"position": written["gear_store"]}
        entered = read_form(
            "tree" if thing == GEAR else "pond" if thing == OUTLINE else kind, shown, posted, display, written
        )
        if entered.wrong:
            return self.show(request, asked, 422, form=entered.form)
        fields = {"gear_store" if thing == GEAR else name: value for name, value in entered.fields.items()}
        if not fields:
            return self.went(asked, "same")
        return self.do(request, posted, Change(thing, fields), "changed", asked, entered.form)

    def move(self, request: Request, posted: Posted) -> Response:
        """Move a thing or one of its corners: what a drag sends."""
        thing = _one(posted, "thing")
        asked = Asked(pick=thing, layer=_layer(posted))
        try:
            to = float(_one(posted, "x")), float(_one(posted, "y"))
        except ValueError:
            return self.show(request, asked, 422, errors=[say("This cannot be read as a number.")])
        if not all(abs(one) <= 10000 for one in to):
            return self.show(request, asked, 422, errors=[say("This lies too far away.")])
        corner = _number(posted, "corner")
        new = corner is not None and _one(posted, "new") == "yes"
        return self.do(request, posted, Move(thing, to, corner, new=new), "moved", asked)

    def cut(self, request: Request, posted: Posted) -> Response:
        """Take a corner out of a shape: what the delete key sends."""
        thing, corner = _one(posted, "thing"), _number(posted, "corner")
        asked = Asked(pick=thing, layer=_layer(posted))
        if corner is None:
            return self.show(request, asked, 422, errors=[say("There is nothing that could be moved so.")])
        return self.do(request, posted, Cut(thing, corner), "changed", asked)

    def remove(self, request: Request, posted: Posted) -> Response:
        """Ask, and take a thing out once the answer is yes."""
        thing = _one(posted, "thing")
        asked = Asked(pick=thing, layer=_layer(posted))
        if _one(posted, "sure") != "yes":
            yard, _ = self.house.yard()
            name = getattr(part_of(thing, yard), "name", thing)
            asks = say(
                "Take {name} out of the yard? What was noted about it stays, and undo brings it back.", name=name
            )
            return self.show(request, asked, asks=asks)
        return self.do(request, posted, Remove(thing), "removed", asked)

    def step(self, request: Request, posted: Posted, way: str) -> Response:
        """Undo or redo."""
        asked = Asked(pick=_one(posted, "thing") or None, layer=_layer(posted))
        base = _number(posted, "seen") or 0
        return self.answer(request, asked, way, lambda: step(self.house, way, base=base, author=who(request).name))

    def restore(self, request: Request, posted: Posted) -> Response:
        """Bring back an earlier version."""
        number, base = _number(posted, "number") or 0, _number(posted, "seen") or 0
        return self.answer(
            request, Asked(), "restored", lambda: restore(self.house, number, base=base, author=who(request).name)
        )

    def do(
        self,
        request: Request,
        posted: Posted,
        edit: Edit,
        said: str,
        asked: Asked,
        form: list[Field] | None = None,
    ) -> Response:
        """Make an edit and answer: the new state, what is wrong beside its fields, or both sides of a conflict."""
        # Whoever has seen both sides of a conflict says onto which version their change goes.
        base = _number(posted, "onto") or _number(posted, "seen") or 0
        try:
            return self.answer(
                request,
                asked,
                said,
                lambda: edit_yard(self.house, edit, base=base, author=who(request).name),
                form,
            )
        except EditConflict as conflict:
            hidden = [(key, one) for key, values in posted.items() if key != "onto" for one in values]
            both = Conflict(
                author=conflict.version.author,
                rows=conflict_rows(conflict.before, conflict.theirs, conflict.mine),
                action=request.url.path,
                hidden=[*hidden, ("onto", str(conflict.version.number))],
            )
            return self.show(request, asked, 409, conflict=both)

    def answer(
        self,
        request: Request,
        asked: Asked,
        said: str,
        make: Callable[[], Edited],
        form: list[Field] | None = None,
    ) -> Response:
        """Send on to the new state, or tell what is wrong."""
        try:
            edited = make()
        except EditRefused as refused:
            shown = asked
            more: dict[str, Any] = {}
            household = household_of(self.house.yard()[0], who(request))
            problems = [(name, _told(household.in_own_units(message))) for name, message in refused.problems]
            if form is not None:
                more["form"], rest = with_errors(form, problems)
            else:
                rest = [message for _, message in problems]
            return self.show(request, shown, 422, errors=rest, **more)
        return self.went(Asked(pick=edited.thing, layer=asked.layer), said)

    def went(self, asked: Asked, said: str) -> Response:
        """Send the browser on to where the result is seen."""
        pick = f"pick={quote(asked.pick, safe='')}&" if asked.pick else ""
        return RedirectResponse(f"/yard?{pick}said={said}{asked.kept}#thing", 303)


def _form(thing: str, yard: Yard, display: Any) -> tuple[str | None, list[Field]]:
    """Give the kind of a thing and its form as it was shown."""
    if thing in (GEAR, OUTLINE):
        return thing, place_form(thing, yard, display)
    kind = kind_of(thing, yard)
    return kind, form_of(kind, yard, display, part_of(thing, yard)) if kind is not None else []


def _told(message: str) -> str:
    """Begin a message with a capital."""
    return message[:1].upper() + message[1:]


def _one(posted: Posted, name: str) -> str:
    return (posted.get(name) or [""])[0]


def _layer(posted: Posted) -> str | None:
    return _one(posted, "layer") or None


def _number(posted: Posted, name: str) -> int | None:
    """Read a whole number of a hidden field; None for anything else."""
    text = _one(posted, name)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
