"""Addresses of gear and people: looking, adding, changing, taking out, undo and redo."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.service.nights import tonight
from fruitwall.service.yard_edit import Change, EditConflict, EditRefused, edit_yard
from fruitwall.service.yard_form import Field, kind_of
from fruitwall.speech import say
from fruitwall.web.editing import Asked, EditDesk, Posted, first
from fruitwall.web.household.page import KINDS, NEW_KINDS, form_for, household_page
from fruitwall.web.pages import Pages
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who
from fruitwall.yard.model import Display, Yard

PAGE = "/household"
Word = Annotated[str | None, Query(max_length=64)]


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
    router = APIRouter()
    desk = _GearDesk(settings.house, pages)

    @router.api_route(PAGE, methods=["GET", "HEAD"], include_in_schema=False)
    def look(request: Request, pick: Word = None, add: Word = None, said: Word = None) -> Response:
        return desk.show(request, Asked(pick, add, said=said))

    desk.take(router, PAGE, tonight=desk.tonight)
    return router


class _GearDesk(EditDesk):
    """Answers what is sent by the forms of gear and people."""

    most_bytes = 50_000  # the longest form is that of a shelter with sixty corners
    most_fields = 300

    def show(self, request: Request, asked: Asked, status: int = 200, **more: Any) -> Response:
        page = household_page(self.house, asked, who(request), **more)
        return self.pages.render(request, "household/household.html", status=status, page=page)

    def address(self, asked: Asked) -> str:
        pick = f"pick={quote(asked.pick, safe='')}&" if asked.pick else ""
        return f"{PAGE}?{pick}said={asked.said}"

    def may_add(self, kind: str) -> bool:
        return kind in NEW_KINDS

    def asks(self, name: str) -> str:
        return say("Take {name} out? Undo brings it back.", name=name)

    def kind_here(self, thing: str, yard: Yard) -> str | None:
        kind = super().kind_here(thing, yard)
        return kind if kind in KINDS else None

    def form(self, kind: str, yard: Yard, display: Display, thing: str = "") -> list[Field]:
        return form_for(kind, yard, display, thing)

    def tonight(self, request: Request, posted: Posted) -> Response:
        """Say that somebody is not here tonight, or is after all."""
        thing = first(posted, "thing")
        yard, _ = self.house.yard()
        if kind_of(thing, yard) != "person":
            return self.show(request, Asked(), 404, errors=[say("There is no such thing in the yard.")])
        back = tonight(yard.location, self.house.clock()) + timedelta(days=1)
        away = back.isoformat() if first(posted, "here") == "no" else None
        edit, author = Change(thing, {"away_until": away}), who(request).name
        try:
            # The list goes on showing all of them; what somebody else changed of the person stays.
            edit_yard(self.house, edit, base=self.house.yard()[1].number, author=author)
        except (EditRefused, EditConflict) as refused:
            return self.show(request, Asked(), 409, errors=[str(refused)])
        return RedirectResponse(f"{PAGE}?said=changed#people", 303)
