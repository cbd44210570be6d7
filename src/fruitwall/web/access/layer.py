"""Stands between the guard and the pages: finds out who asks, and sends away who may not."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from math import ceil
from typing import TYPE_CHECKING
from urllib.parse import quote

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fruitwall.speech import say, say_count, speaking
from fruitwall.web.access.origin import SAFE, made_here
from fruitwall.web.access.pace import (
    MOST_BYTES,
    MOST_BYTES_OF_SENSORS,
    Pace,
    address_of,
    at_most,
    told_bytes,
    too_much,
)
from fruitwall.web.access.sessions import Known, Sessions, anyone_here, spoken, stranger
from fruitwall.web.pages import for_programs, problem_document
from fruitwall.web.who import Who

if TYPE_CHECKING:
    from fruitwall.web.pages import Pages

__all__ = ["AccessLayer", "anyone_here"]

OPEN = ("/log-in", "/log-out", "/pair", "/authority.crt", "/health", "/favicon.ico")
"""Pages that everybody gets; those below them too."""

OPEN_APP = ("/sw.js", "/manifest.webmanifest", "/icons", "/walk/-/offline")
"""What makes the pages an app. Browsers ask for the manifest without cookies, and for a new worker when they like."""

OPEN_FILES = "/static/"
"""The program's own style sheets and scripts: they hold nothing of the household."""

OWN = ("/log-in", "/log-out", "/pair", "/settings/people", "/settings/own")
"""Where a viewer may send something, since it concerns only themselves; the pages there ask who it is."""

READINGS = "/api/readings"
"""All that a key for readings opens, and only to send some: what hangs in a garden need not read anything."""

FEED = "/season.ics"
"""What a calendar reads, with its secret as ``key`` in the address: it can neither log in nor send a header."""

LARGEST_OF_STRANGERS = 64 * 1024
"""Bytes that somebody may send who has not logged in: a name and a passphrase. Our judgement."""


class AccessLayer:
    """Stands between the guard and the pages.

    Parameters
    ----------
    app : ASGI application
    pages : Pages
        Renders what is told to whoever is sent away.
    sessions : Sessions or None
        Recognises devices; None where there is no household, and everybody only looks.
    """

    def __init__(self, app: ASGIApp, *, pages: Pages, sessions: Sessions | None) -> None:
        self.app = app
        self.pages = pages
        self.sessions = sessions
        self.pace = None if sessions is None else Pace(sessions.reach.seconds)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer in the language of who asks, or send them away."""
        if scope["type"] == "websocket":
            # No page uses them; one that comes to must not slip in without a log-in.
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        key = _script_key(request)
        found: Who = stranger(request)
        answer: Callable[[], Response] | None
        unsafe = scope["method"] not in SAFE
        if unsafe and key is None and not made_here(request.headers, request.url.scheme):
            answer = partial(self._refuse_foreign, request)
        else:
            found, answer = await self._who(request, key)
        most = MOST_BYTES_OF_SENSORS if found.scope == "readings" else MOST_BYTES
        if answer is None and told_bytes(request) > most:
            answer = partial(self._refuse_large, request, most)
        receive = at_most(receive, most)
        scope.setdefault("state", {})["who"] = found
        # Worker threads get a copy of this context, so plain functions speak the same language.
        with speaking(found.language):
            if answer is not None:
                await answer()(scope, receive, send)
            elif unsafe and self.sessions is not None:
                await self.app(scope, receive, self._forgetting(self.sessions, send))
            else:
                await self.app(scope, receive, send)

    async def _who(self, request: Request, key: str | None) -> tuple[Who, Callable[[], Response] | None]:
        """Give who asks, and what sends them away if they may not."""
        if self.sessions is None:
            return anyone_here(request), None
        if request.url.path == FEED and "key" in request.query_params:
            return await self._calendar(self.sessions, request, request.query_params["key"])
        known = await self._known(self.sessions, request, key)
        if key is not None and self.pace is not None:
            wait_s = self.pace.wait_s(f"key:{known.key.id}" if known is not None else f"address:{address_of(request)}")
            if wait_s > 0:
                return stranger(request), partial(self._refuse_hasty, request, wait_s)
        if known is not None:
            request.scope["state"]["key"] = known.key
            return spoken(known, request), self._within(request, known.who)
        somebody = self.sessions.surely_somebody()
        if somebody is None:
            somebody = await to_thread.run_sync(self.sessions.is_there_somebody)
        # A wrong key gets no answer either where nobody has to log in: whoever sends one wants to be recognised.
        if not somebody and key is None:
            if not self.sessions.reach.beyond:
                return anyone_here(request), None
            closed = self._without(request, key) is not None
            return stranger(request), partial(self._refuse_unready, request) if closed else None
        return stranger(request), self._without(request, key)

    async def _calendar(
        self, sessions: Sessions, request: Request, secret: str
    ) -> tuple[Who, Callable[[], Response] | None]:
        """Recognise a calendar by the secret in its address, whatever cookie or header came with it."""
        known = await to_thread.run_sync(sessions.calendar, secret) if request.method in SAFE else None
        name = f"key:{known.key.id}" if known is not None else f"address:{address_of(request)}"
        wait_s = self.pace.wait_s(name) if self.pace is not None else 0.0
        if wait_s > 0:
            return stranger(request), partial(self._refuse_hasty, request, wait_s)
        if known is None:
            lines = [say("The calendar’s address was ended, or never was. A new one is made under Settings.")]
            # Not to the log-in: a calendar would take its page for one.
            return stranger(request), partial(self.refusal, request, 404, say("There is no such calendar"), lines)
        request.scope["state"]["key"] = known.key
        return spoken(known, request), None

    @staticmethod
    async def _known(sessions: Sessions, request: Request, key: str | None) -> Known | None:
        """Recognise a device or a script; a key of a script counts alone, whatever cookie came with it."""
        request.scope.setdefault("state", {})
        secret = key if key is not None else sessions.secret_in(request)
        if not secret:
            return None
        known = sessions.remembered(secret)
        if known is None:
            known = await to_thread.run_sync(partial(sessions.look_up, secret, script=key is not None))
        return known

    def _within(self, request: Request, who: Who) -> Callable[[], Response] | None:
        """Hold who was recognised to what they may do; the routes ask themselves, this is the net below them."""
        path, unsafe = request.url.path, request.method not in SAFE
        if who.scope == "readings" and (path, request.method) != (READINGS, "POST"):
            return lambda: self.refusal(request, 403, say("This key only sends readings of sensors."), [])
        if who.scope is not None and any(_below(path, place) for place in OWN):
            return lambda: self.refusal(request, 403, say("Keys of scripts cannot change accounts."), [])
        if unsafe and not who.may("helper") and not any(_below(path, place) for place in OWN):
            return lambda: self.refusal(
                request,
                403,
                say("This was refused"),
                [say("Your account may look but not change this; ask the owner of the yard.")],
            )
        return None

    def _without(self, request: Request, key: str | None) -> Callable[[], Response] | None:
        """Send whoever was not recognised to the log-in; None where everybody may go on."""
        path = request.url.path
        if key is None and (path.startswith(OPEN_FILES) or any(_below(path, place) for place in OPEN + OPEN_APP)):
            large = request.headers.get("content-length", "0")
            counted = large.isdigit() and int(large) <= LARGEST_OF_STRANGERS
            if request.method in SAFE or (counted and "transfer-encoding" not in request.headers):
                return None
            return lambda: self.refusal(request, 413, say("This is too large"), [])

        def answer() -> Response:
            if key is None and request.method in SAFE and not _wants_json(request):
                asked = quote(path + (f"?{request.url.query}" if request.url.query else ""))
                return RedirectResponse(f"/log-in?next={asked}" if path != "/" else "/log-in", 303)
            if key is not None:
                line = say("The key is not known, or was ended.")
            elif request.method in SAFE:
                line = say("Log in with a browser, or send the key of a script as “Authorization: Bearer KEY”.")
            else:
                line = say("You are not logged in here any more. Nothing was stored; log in and send it again.")
            refusal = self.refusal(request, 401, say("Log in first"), [line])
            refusal.headers["www-authenticate"] = 'Bearer realm="fruitwall"'
            return refusal

        return answer

    def refusal(self, request: Request, status: int, title: str, lines: list[str]) -> Response:
        """Say why somebody is sent away: a page for people, problem JSON (RFC 9457) for programs."""
        if _wants_json(request):
            return problem_document(status, title, lines)
        answer = self.pages.problem(request, status, title, lines)
        answer.headers["cache-control"] = "no-store"
        return answer

    def _refuse_hasty(self, request: Request, wait_s: float) -> Response:
        seconds = ceil(wait_s)
        lines = [say_count("Ask again in a second.", "Ask again in {count} seconds.", seconds)]
        answer = self.refusal(request, 429, say("This key asks too often"), lines)
        answer.headers["retry-after"] = str(seconds)
        return answer

    def _refuse_large(self, request: Request, most: int) -> Response:
        return self.refusal(request, 413, say("This is too large"), [too_much(most)])

    def _refuse_foreign(self, request: Request) -> Response:
        return self.refusal(
            request,
            403,
            say("This came from another page"),
            [
                say("Something outside fruitwall asked your browser to change something here; nothing was changed."),
                say("If it was you, open the page anew under the address in the bar and do it there."),
            ],
        )

    def _refuse_unready(self, request: Request) -> Response:
        return self.refusal(
            request,
            403,
            say("Nobody can log in yet"),
            [
                say(
                    "This server can be reached from the network, so it shows nothing before there is an owner: "
                    "fruitwall account add NAME --role owner"
                )
            ],
        )

    @staticmethod
    def _forgetting(sessions: Sessions, send: Send) -> Send:
        """Look devices up anew after whatever may have changed an account, before the answer goes out."""

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                sessions.forget()
            await send(message)

        return sending


def _script_key(request: Request) -> str | None:
    """Give the key in the Authorization header (RFC 6750), None without one.

    Another scheme does not count: browsers send a name and password that a proxy asked for along with everything,
    also with what another site makes them send.
    """
    scheme, _, key = request.headers.get("authorization", "").partition(" ")
    return key.strip() if scheme.lower() == "bearer" else None


def _below(path: str, place: str) -> bool:
    """Tell whether an address is a place or lies below it."""
    return path == place or path.startswith(place + "/")


def _wants_json(request: Request) -> bool:
    """Tell a program from a person."""
    accept = request.headers.get("accept", "")
    return for_programs(request.url.path) or ("json" in accept and "html" not in accept)
