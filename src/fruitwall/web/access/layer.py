"""Finds out who asks, and speaks their language while they are answered."""

from __future__ import annotations

from collections.abc import Callable

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from fruitwall.speech import preferred_language, speaking
from fruitwall.web.who import Who


class AccessLayer:
    """Stands between the guard and the pages.

    Parameters
    ----------
    app : ASGI application
    find : callable
        Gives who sends a request.
    """

    def __init__(self, app: ASGIApp, *, find: Callable[[Request], Who]) -> None:
        self.app = app
        self.find = find

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer in the language of who asks."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        found = self.find(Request(scope))
        scope.setdefault("state", {})["who"] = found
        # Worker threads get a copy of this context, so plain functions speak the same language.
        with speaking(found.language):
            await self.app(scope, receive, send)


def anyone_here(request: Request) -> Who:
    """Take everyone for the owner, in the browser's language: for a server that answers this machine only."""
    return Who(language=preferred_language(request.headers.get("accept-language", "")) or "en")
