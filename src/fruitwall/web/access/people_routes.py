"""Addresses of the page of people and devices."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi import Path as InPath
from fastapi.responses import RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.journal.entries import Account, Key
from fruitwall.service.accounts import PASSPHRASE_SESSION, Made
from fruitwall.service.accounts_waits import Waits
from fruitwall.speech import say
from fruitwall.web.access.page import grouped, people_page, waiting
from fruitwall.web.access.qr import qr_picture
from fruitwall.web.access.sessions import Sessions, device_of
from fruitwall.web.guard import host_name
from fruitwall.web.pages import Pages
from fruitwall.web.settings import LOCAL_HOSTS
from fruitwall.web.who import Who, need, who

PAGE = "/settings/people"
Typed = Annotated[str, Form(max_length=4000)]
Number = Annotated[int, InPath(ge=1, le=2**63 - 1)]


def people_routes(pages: Pages, sessions: Sessions, waits: Waits) -> APIRouter:
    """Make the routes of the page of people and devices.

    Parameters
    ----------
    pages : Pages
    sessions : Sessions
    waits : Waits
        Of whoever guesses.

    Returns
    -------
    APIRouter
        ``/settings/people``, and what can be sent from there.
    """
    router = APIRouter(prefix=PAGE, include_in_schema=False)
    people = sessions.people

    def shown(
        request: Request, status: int = 200, error: str = "", form: str = "", done: str = "", **kept: str
    ) -> Response:
        key = getattr(request.state, "key", None)
        page = people_page(
            who(request),
            people.all(),
            people.devices(),
            people.tokens(),
            here=key.id if isinstance(key, Key) else None,
            now=people.clock(),
            done=done,
            error=error,
            form=form,
            kept=kept,
        )
        answer = pages.render(request, "access/people.html", status=status, page=page)
        answer.headers["cache-control"] = "no-store"
        return answer

    def row(request: Request, number: int) -> str:
        """Name the form of an account; one's own has none among the others."""
        return "people" if number == who(request).account else f"person-{number}"

    def done(word: str) -> Response:
        sessions.forget()
        return RedirectResponse(f"{PAGE}?done={word}", 303)

    def mine(asking: Who) -> Account:
        if asking.account is None:
            raise HTTPException(403, say("Make an owner's account first."))
        return people.numbered(asking.account)

    @router.api_route("", methods=["GET", "HEAD"])
    def look(request: Request, done: str = "") -> Response:
        return shown(request, done=done)

    @router.post("/first")
    def first(request: Request, name: Typed = "", passphrase: Typed = "", again: Typed = "") -> Response:
        if who(request).account is not None or people.any_ever():
            raise HTTPException(403, say("There is an owner already."))
        try:
            _twice(passphrase, again)
            account = people.add(name, "owner", passphrase)
        except JournalError as error:
            return shown(request, 422, str(error), "first", name=name)
        answer = done("first")
        # Whoever made it sits at this machine and is known as the owner from now on.
        sessions.put(request, answer, people.start_session(account, device_of(request), PASSPHRASE_SESSION))
        return answer

    @router.post("/add")
    def add(
        request: Request,
        asking: Annotated[Who, Depends(need("owner"))],
        name: Typed = "",
        role: Typed = "helper",
        passphrase: Typed = "",
    ) -> Response:
        mine(asking)
        try:
            people.add(name, role, passphrase or None)
        except JournalError as error:
            return shown(request, 422, str(error), "add", name=name, role=role)
        return done("added")

    @router.post("/{number}/role", dependencies=[Depends(need("owner"))])
    def role(request: Request, number: Number, role: Typed = "") -> Response:
        try:
            people.change_role(people.numbered(number).id, role)
        except JournalError as error:
            return shown(request, 422, str(error), row(request, number))
        return done("role")

    @router.post("/{number}/close", dependencies=[Depends(need("owner"))])
    def close(request: Request, number: Number) -> Response:
        try:
            people.close(people.numbered(number).id)
        except JournalError as error:
            return shown(request, 422, str(error), row(request, number))
        return done("closed")

    @router.post("/own/passphrase")
    def passphrase(request: Request, current: Typed = "", new: Typed = "", again: Typed = "") -> Response:
        account = mine(who(request))
        # Not the name's count: a stranger who guesses at the log-in must not keep its owner from changing it.
        name = f"own:{account.id}"
        if account.passphrase_hash is not None:
            # Whoever finds an open phone must not get to guess without end.
            wait = waits.try_now([name])
            if wait > 0:
                told = say("Too many tries. Try again in {wait}.", wait=waiting(wait))
                return shown(request, 429, told, "passphrase")
            if not people.knows_passphrase(account, current):
                return shown(request, 422, say("The passphrase so far is another one."), "passphrase")
            waits.right(name)
        try:
            _twice(new, again)
            key = getattr(request.state, "key", None)
            people.change_passphrase(account, new, keep=key.id if isinstance(key, Key) else None)
        except JournalError as error:
            return shown(request, 422, str(error), "passphrase")
        return done("passphrase")

    @router.post("/{number}/pair")
    def pair(request: Request, number: Number) -> Response:
        asking = who(request)
        me = mine(asking)
        if number != me.id and asking.role != "owner":
            raise HTTPException(403, say("Only an owner pairs phones of others."))
        try:
            account = people.numbered(number)
        except JournalError as error:
            return shown(request, 422, str(error), "people")
        return shown_code(request, people.pairing_code(account))

    def shown_code(request: Request, made: Made) -> Response:
        base = address_for_phones(request, sessions.reach.addresses)
        url = None if base is None else f"{base}/pair/{made.secret}"
        told = say("The address for the phone, as a picture for its camera")
        answer = pages.render(
            request,
            "access/code.html",
            account=made.account,
            code=grouped(made.secret),
            url=url,
            page=None if base is None else f"{base}/pair",
            picture=None if url is None else qr_picture(url, told),
            https=url is not None and url.startswith("https:"),
            authority=sessions.reach.authority,
        )
        answer.headers["cache-control"] = "no-store"
        return answer

    # ------------------------------------------------------------ devices and keys for scripts

    @router.post("/keys/{number}/end")
    def end(request: Request, number: Number) -> Response:
        asking = who(request)
        me = mine(asking)
        key = next((one for one in [*people.devices(), *people.tokens()] if one.id == number), None)
        if key is not None and key.account.id != me.id and asking.role != "owner":
            raise HTTPException(403, say("Only an owner ends devices of others."))
        if key is not None:
            people.end(key.id)
        return done("ended")

    @router.post("/tokens")
    def token(request: Request, label: Typed = "", scope: Typed = "") -> Response:
        account = mine(who(request))
        try:
            made = people.make_token(account, scope, label)
        except JournalError as error:
            return shown(request, 422, str(error), "token", label=label, scope=scope)
        base = f"{request.url.scheme}://{request.headers.get('host', '')}"
        answer = pages.render(request, "access/token.html", secret=made.secret, label=label, scope=scope, base=base)
        answer.headers["cache-control"] = "no-store"
        return answer

    return router


def address_for_phones(request: Request, addresses: tuple[str, ...]) -> str | None:
    """Give the address under which a phone finds this server; None if it answers this machine only.

    Parameters
    ----------
    request : Request
        Of whoever sits before a browser: the name that works for them works for the phone, unless it is "this machine".
    addresses : tuple of str
        `Reach.addresses`.
    """
    here = f"{request.url.scheme}://{request.headers.get('host', '')}"
    if host_name(urlsplit(here).netloc) not in LOCAL_HOSTS:
        return here
    return addresses[0] if addresses else None


def _twice(passphrase: str, again: str) -> None:
    """Refuse a passphrase that was typed differently the second time."""
    if passphrase != again:
        raise JournalError(say("The two passphrases differ."))
