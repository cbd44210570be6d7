"""What stands before every page: host check, methods, security headers, and a last net for defects."""

from __future__ import annotations

import logging
from collections.abc import Callable
from ipaddress import ip_address

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

log = logging.getLogger("fruitwall.web")

CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "style-src 'self'",
        "script-src 'self'",
        "img-src 'self' blob:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""Nothing from elsewhere, nothing inline: a tree named ``<script>`` stays a name even if escaping failed.

Pictures may also be blobs: a photo is shown before it is sent. Only our own scripts can make them.
"""

HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    # Not `no-referrer`: with it browsers write `Origin: null` into our own forms (Fetch, "append a request Origin
    # header"), and where there is no https nothing else tells ours from a stranger's.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
}

OF_ONE_HOUSEHOLD = "private, no-cache"
"""For what says nothing else of it: no cache in between may keep it for the next who asks."""


STAY_ON_HTTPS = "max-age=2592000"
"""A month, for this name only, and only told over https (RFC 6797). Not longer, and without the names below: other
things at home may be reached under the same name."""


class Guard:
    """Outermost of our own layers.

    Parameters
    ----------
    app : ASGI application
    hosts : tuple of str
        Host names that are answered, without port.
    any_address : bool
        Whether a bare address is answered as well. Another site cannot take one for a name of its own, and the
        address of a machine at home changes when the router likes.
    defect_page : callable
        Makes the page for an error that is our defect; it gets the request and tells nothing of the error.
    host_refusal : callable
        Makes the answer for whoever asked under a name that is not answered; it gets the request and the name.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        hosts: tuple[str, ...],
        defect_page: Callable[[Request], Response],
        host_refusal: Callable[[Request, str], Response],
        any_address: bool = False,
    ) -> None:
        self.app = app
        self.host_refusal = host_refusal
        self.any_address = any_address
        self.hosts = frozenset(host.lower() for host in hosts)
        self.defect_page = defect_page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse, or let the application answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", OF_ONE_HOUSEHOLD)
                if scope["scheme"] == "https":
                    headers.setdefault("strict-transport-security", STAY_ON_HTTPS)
            await send(message)

        host = host_name(Headers(scope=scope).get("host", ""))
        if host not in self.hosts and not (self.any_address and _is_address(host)):
            refusal = self.host_refusal(Request(scope), host)
            await refusal(scope, receive, send_with_headers)
            return
        try:
            await self.app(scope, receive, send_with_headers)
        except Exception:
            log.exception("%s %s failed", scope["method"], scope["path"])
            if started:
                raise
            await self.defect_page(Request(scope))(scope, receive, send_with_headers)


def host_name(header: str) -> str:
    """Give the name in a Host header, lower-case, without port and without the brackets of an IPv6 address.

    Parameters
    ----------
    header : str
        Value of the header, such as ``localhost:8000`` or ``[::1]:8000``.

    Returns
    -------
    str
        The name; the whole text if it is not of that form, so that it matches no allowed name.
    """
    text = header.strip().lower()
    if text.startswith("["):
        name, bracket, port = text[1:].partition("]")
        good = bool(bracket) and (port == "" or _is_port(port))
        return name if good else text
    name, colon, _ = text.partition(":")
    return name if not colon or _is_port(text[len(name) :]) else text


def _is_port(text: str) -> bool:
    """Tell whether text is a colon and digits."""
    return text.startswith(":") and text[1:].isascii() and text[1:].isdigit()


def _is_address(host: str) -> bool:
    """Tell a bare address from a name."""
    try:
        ip_address(host)
    except ValueError:
        return False
    return True
