"""Addresses by which somebody comes in and goes out: log-in, pairing of a phone, our certificate authority."""

from __future__ import annotations

from math import ceil
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Query, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.service.accounts_waits import Waits
from fruitwall.speech import say
from fruitwall.web.access.pace import address_of
from fruitwall.web.access.page import grouped, waiting
from fruitwall.web.access.sessions import Sessions, device_of
from fruitwall.web.pages import Pages
from fruitwall.web.who import who

Typed = Annotated[str, Form(max_length=4000)]


def access_routes(pages: Pages, sessions: Sessions, waits: Waits) -> APIRouter:
    """Make the routes of coming in.

    Parameters
    ----------
    pages : Pages
    sessions : Sessions
    waits : Waits
        Of whoever guesses.

    Returns
    -------
    APIRouter
        ``/log-in``, ``/log-out``, ``/pair`` what a phone needs, ``/pair/481209375562`` one code,
        ``/authority.crt`` the certificate that a phone has to trust.
    """
    router = APIRouter(include_in_schema=False)
    people, reach = sessions.people, sessions.reach

    # Plain functions throughout: the database and the hashing of a passphrase belong into a worker thread.
    @router.api_route("/log-in", methods=["GET", "HEAD"])
    def ask(request: Request, next: str = "/", gone: bool = False) -> Response:
        return asked(request, next=next, gone=gone)

    @router.post("/log-in")
    def log_in(request: Request, name: Typed = "", passphrase: Typed = "", next: Typed = "/") -> Response:
        counted = [f"name:{' '.join(name.split()).casefold()[:100]}", f"address:{address_of(request)}"]
        # A browser that logged in by this name before is counted for itself: who guesses elsewhere cannot lock it out.
        mark = sessions.mark_of(request, people.named(name))
        if mark is not None:
            counted = [f"browser:{mark}"]
        wait = waits.try_now(counted)
        if wait > 0:
            return asked(request, 429, _wait_words(wait), name=name, next=next, wait=wait)
        made = people.log_in(name, passphrase, device_of(request))
        if made is None:
            return asked(request, 403, say("Name and passphrase do not belong together."), name=name, next=next)
        waits.right(counted[0], not_counted=counted[1:])
        answer = RedirectResponse(place_within(next), 303)
        sessions.put(request, answer, made)
        return answer

    @router.post("/log-out")
    def log_out(request: Request) -> Response:
        answer = RedirectResponse("/log-in?gone=1", 303)
        sessions.take(request, answer)
        # Pages that the browser kept go, those that the walk kept by a script of the page after; entries that wait to
        # be sent (they are in its "storage") stay.
        answer.headers["clear-site-data"] = '"cache"'
        return answer

    def asked(
        request: Request, status: int = 200, error: str = "", wait: float = 0.0, gone: bool = False, **kept: str
    ) -> Response:
        answer = pages.render(
            request,
            "access/log_in.html",
            status=status,
            error=error,
            gone=gone,
            name=kept.get("name", "")[:100],
            next=place_within(kept["next"]),
            nobody=not people.any_ever(),
        )
        answer.headers["cache-control"] = "no-store"
        if wait > 0:
            answer.headers["retry-after"] = str(ceil(wait))
        return answer

    # ------------------------------------------------------------ pairing

    @router.api_route("/pair", methods=["GET", "HEAD"])
    def pair(request: Request, code: Annotated[str, Query(max_length=100)] = "") -> Response:
        digits = "".join(character for character in code if character in "0123456789")
        if digits:
            return RedirectResponse(f"/pair/{digits}", 303)
        return explained(request)

    def explained(request: Request, status: int = 200, error: str = "", wait: float = 0.0) -> Response:
        answer = pages.render(
            request,
            "access/pair.html",
            status=status,
            error=error,
            https=request.url.scheme == "https",
            authority=reach.authority,
            parts=_parts(reach.authority.fingerprint) if reach.authority else [],
            beyond=reach.beyond,
        )
        answer.headers["cache-control"] = "no-store"
        if wait > 0:
            answer.headers["retry-after"] = str(ceil(wait))
        return answer

    @router.api_route("/pair/{code}", methods=["GET", "HEAD"])
    def show_code(request: Request, code: str) -> Response:
        # Looking tells whether a code is good, so it is a guess as well.
        guess = f"code:{address_of(request)}"
        wait = waits.try_now([guess])
        if wait > 0:
            return explained(request, 429, _wait_words(wait), wait)
        account = people.whose_code(code)
        if account is None:
            return explained(request, 404, _no_code())
        waits.right(guess)
        answer = pages.render(
            request, "access/pair_with.html", code=code, shown=grouped(code), account=account, now_as=who(request)
        )
        answer.headers["cache-control"] = "no-store"
        return answer

    @router.post("/pair/{code}")
    def spend_code(request: Request, code: str) -> Response:
        guess = f"code:{address_of(request)}"
        wait = waits.try_now([guess])
        if wait > 0:
            return explained(request, 429, _wait_words(wait), wait)
        made = people.spend_code(code, device_of(request))
        if made is None:
            return explained(request, 404, _no_code())
        waits.right(guess)
        answer = RedirectResponse("/", 303)
        sessions.put(request, answer, made)
        return answer

    @router.api_route("/authority.crt", methods=["GET", "HEAD"])
    def authority(request: Request) -> Response:
        if reach.authority is None:
            raise HTTPException(404, say("This server uses no certificate of its own."))
        return Response(
            reach.authority.certificate,
            media_type="application/x-x509-ca-cert",
            headers={
                "content-disposition": 'attachment; filename="fruitwall-authority.crt"',
                "cache-control": "no-store",
            },
        )

    return router


def place_within(asked: str) -> str:
    """Give the page to go to after the log-in; the first page for anything that might lead elsewhere.

    Browsers take two slashes, or a slash and a backslash, for the start of another site's name.
    """
    plain = asked.isprintable() and "\\" not in asked and len(asked) <= 2000
    leads_here = plain and asked.startswith("/") and not asked.startswith("//")
    return asked if leads_here and not asked.startswith(("/log-in", "/log-out")) else "/"


def _parts(fingerprint: str) -> list[str]:
    """Part a fingerprint into groups of four pairs, as it is compared."""
    pairs = fingerprint.split(":")
    return [" ".join(pairs[start : start + 4]) for start in range(0, len(pairs), 4)]


def _wait_words(wait: float) -> str:
    return say("Too many tries. Try again in {wait}.", wait=waiting(wait))


def _no_code() -> str:
    return say("This code is not good: it works once, and for ten minutes. Have a new one made.")
