"""Addresses of the plan of the yard: looking, changing, undo and redo."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request, Response

from fruitwall.service.yard_edit import GEAR, OUTLINE, Cut, Move, restore
from fruitwall.service.yard_form import Entered, Field, kinds_to_add, read_form
from fruitwall.speech import say
from fruitwall.web.editing import Asked, EditDesk, Posted, asked_of, first, number_of
from fruitwall.web.pages import Pages
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who
from fruitwall.web.yard.page import history_page, place_form, yard_page
from fruitwall.web.yard.underlay import underlay_routes
from fruitwall.yard.model import Display, Yard


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
    desk = _PlanDesk(house, pages)

    @router.api_route("/yard", methods=["GET", "HEAD"], include_in_schema=False)
    def yard(
        request: Request,
        pick: Annotated[str | None, Query(max_length=64)] = None,
        add: Annotated[str | None, Query(max_length=64)] = None,
        layer: Annotated[str | None, Query(max_length=64)] = None,
        said: Annotated[str | None, Query(max_length=64)] = None,
    ) -> Response:
        return desk.show(request, Asked(pick, add, layer, said))

    desk.take(router, "/yard", move=desk.move, cut=desk.cut, restore=desk.restore)

    @router.api_route("/yard/history", methods=["GET", "HEAD"], include_in_schema=False)
    def history(request: Request) -> Response:
        return pages.render(request, "yard/history.html", page=history_page(house, who(request)))

    router.include_router(underlay_routes(house, pages))
    return router


class _PlanDesk(EditDesk):
    """Answers what is sent by the forms of the plan, and by what is dragged in it."""

    def show(self, request: Request, asked: Asked, status: int = 200, **more: Any) -> Response:
        page = yard_page(self.house, asked, who(request), **more)
        return self.pages.render(request, "yard/yard.html", status=status, page=page)

    def address(self, asked: Asked) -> str:
        pick = f"pick={quote(asked.pick, safe='')}&" if asked.pick else ""
        return f"/yard?{pick}said={asked.said}{asked.kept}#thing"

    def may_add(self, kind: str) -> bool:
        return kind in dict(kinds_to_add())

    def asks(self, name: str) -> str:
        return say("Take {name} out of the yard? What was noted about it stays, and undo brings it back.", name=name)

    def kind_here(self, thing: str, yard: Yard) -> str | None:
        return thing if thing in (GEAR, OUTLINE) else super().kind_here(thing, yard)

    def form(self, kind: str, yard: Yard, display: Display, thing: str = "") -> list[Field]:
        return place_form(kind, yard, display) if kind in (GEAR, OUTLINE) else super().form(kind, yard, display, thing)

    def read(self, kind: str, shown: list[Field], posted: Posted, display: Display, written: dict[str, Any]) -> Entered:
        # Both are fields of the yard itself: read like a point and a shape of things that have such a field.
        if kind == GEAR:
            entered = read_form("tree", shown, posted, display, {"position": written["gear_store"]})
            place = entered.fields.get("position")
            return Entered({} if place is None else {"gear_store": place}, entered.form)
        return super().read("pond" if kind == OUTLINE else kind, shown, posted, display, written)

    def move(self, request: Request, posted: Posted) -> Response:
        """Move a thing or one of its corners: what a drag sends."""
        thing = first(posted, "thing")
        asked = asked_of(posted, pick=thing)
        try:
            to = float(first(posted, "x")), float(first(posted, "y"))
        except ValueError:
            return self.show(request, asked, 422, errors=[say("This cannot be read as a number.")])
        if not all(abs(one) <= 10000 for one in to):
            return self.show(request, asked, 422, errors=[say("This lies too far away.")])
        corner = number_of(posted, "corner")
        new = corner is not None and first(posted, "new") == "yes"
        return self.do(request, posted, Move(thing, to, corner, new=new), "moved", asked)

    def cut(self, request: Request, posted: Posted) -> Response:
        """Take a corner out of a shape: what the delete key sends."""
        thing, corner = first(posted, "thing"), number_of(posted, "corner")
        asked = asked_of(posted, pick=thing)
        if corner is None:
            return self.show(request, asked, 422, errors=[say("There is nothing that could be moved so.")])
        return self.do(request, posted, Cut(thing, corner), "changed", asked)

    def restore(self, request: Request, posted: Posted) -> Response:
        """Bring back an earlier version."""
        number, base = number_of(posted, "number") or 0, number_of(posted, "seen") or 0
        return self.answer(
            request, Asked(), "restored", lambda: restore(self.house, number, base=base, author=who(request).name)
        )
