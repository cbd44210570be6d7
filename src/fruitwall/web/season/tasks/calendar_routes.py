"""Addresses where somebody makes and ends the secret addresses of their calendars."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request, Response
from fastapi import Path as InPath
from fastapi.responses import RedirectResponse
from markupsafe import Markup

from fruitwall.errors import JournalError
from fruitwall.journal.entries import Account
from fruitwall.service.household import ago
from fruitwall.speech import say
from fruitwall.web.access.people_routes import address_for_phones
from fruitwall.web.access.qr import qr_picture
from fruitwall.web.access.sessions import Sessions
from fruitwall.web.pages import Pages
from fruitwall.web.season.tasks.routes import FEED
from fruitwall.web.who import who

PAGE = "/settings/own/calendar"


@dataclass(frozen=True)
class CalendarPage:
    """The page of one's own calendars.

    Attributes
    ----------
    account : bool
        Whether who asks has an account; without one nothing but this machine reads anything.
    rows : tuple of (int, str, str)
        Number, label, and when it was made and used.
    address, subscribe : str
        Of the one just made; shown this once.
    picture : Markup or None
        The same for a phone's camera.
    far : bool
        Whether another device can reach it.
    label, error : str
        What was typed, and what is wrong with it.
    """

    account: bool
    rows: tuple[tuple[int, str, str], ...] = ()
    address: str = ""
    subscribe: str = ""
    picture: Markup | None = None
    far: bool = True
    label: str = ""
    error: str = ""


def calendar_routes(pages: Pages, sessions: Sessions) -> APIRouter:
    """Make the routes of one's own calendars.

    Parameters
    ----------
    pages : Pages
    sessions : Sessions
        Of the household.

    Returns
    -------
    APIRouter
        ``/settings/own/calendar``, and ``…/{number}/end``.
    """
    router = APIRouter(prefix=PAGE, include_in_schema=False)
    people = sessions.people

    def mine(request: Request) -> Account | None:
        asking = who(request)
        if not asking.known:
            raise HTTPException(403, say("Log in first"))
        return None if asking.account is None else people.numbered(asking.account)

    def shown(request: Request, *, status: int = 200, secret: str = "", label: str = "", error: str = "") -> Response:
        account = mine(request)
        now = people.clock()
        rows = [] if account is None else people.calendars(account.id)
        base = address_for_phones(request, sessions.reach.addresses)
        here = base or f"{request.url.scheme}://{request.headers.get('host', '')}"
        address = f"{here}{FEED}?key={secret}" if secret else ""
        page = CalendarPage(
            account=account is not None,
            rows=tuple(
                (
                    one.id,
                    one.label,
                    say("made {ago}", ago=ago(one.created, now))
                    if one.used is None
                    else say("made {ago}, last read {used}", ago=ago(one.created, now), used=ago(one.used, now)),
                )
                for one in rows
            ),
            address=address,
            subscribe=f"webcal://{address.partition('://')[2]}" if address else "",
            picture=qr_picture(address, say("The address of the calendar, as a picture for a camera"))
            if address and base
            else None,
            far=base is not None,
            label=label,
            error=error,
        )
        answer = pages.render(request, "season/tasks/season-calendar.html", status=status, page=page)
        answer.headers["cache-control"] = "no-store"
        return answer

    @router.api_route("", methods=["GET", "HEAD"])
    def look(request: Request) -> Response:
        return shown(request)

    @router.post("")
    def make(request: Request, label: Annotated[str, Form(max_length=1000)] = "") -> Response:
        account = mine(request)
        if account is None:
            raise HTTPException(403, say("Make an owner's account first."))
        try:
            made = people.make_calendar(account, label)
        except JournalError as error:
            return shown(request, status=422, label=label, error=str(error))
        return shown(request, secret=made.secret)

    @router.post("/{number}/end")
    def end(request: Request, number: Annotated[int, InPath(ge=1, le=2**63 - 1)]) -> Response:
        account = mine(request)
        if account is not None and any(one.id == number for one in people.calendars(account.id)):
            people.end(number)
        return RedirectResponse(PAGE, 303)

    return router
