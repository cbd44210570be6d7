"""Whether a request that changes something was made by one of our own pages.

A page of another site can make a browser send a form here, with the cookie of whoever sits before it. Browsers say of
each such request where it was made, and no script can change what they say: ``Sec-Fetch-Site`` (Fetch Metadata, W3C)
where the connection is secure or local, ``Origin`` (RFC 6454) everywhere.
"""

from __future__ import annotations

from starlette.datastructures import Headers

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods that change nothing (RFC 9110, 9.2.1)."""


def made_here(headers: Headers, scheme: str) -> bool:
    """Tell whether a request that may change something comes from our own pages, or from no page at all.

    Parameters
    ----------
    headers : Headers
        Of the request.
    scheme : str
        ``http`` or ``https``, as it was asked for.

    Returns
    -------
    bool
        Sites under the same name but another port or scheme are not our own. Without either header it was no browser
        of this decade: a script without cookie passes (what it may do is asked for elsewhere), one with a cookie
        does not, since an old browser may have sent it along.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is not None:
        return _plain(origin) == _plain(f"{scheme}://{headers.get('host', '')}")
    return "cookie" not in headers


def _plain(origin: str) -> str:
    """Write an origin in one way: lower-case, without the port that goes without saying."""
    text = origin.strip().lower()
    for scheme, port in (("http", ":80"), ("https", ":443")):
        if text.startswith(f"{scheme}://") and text.endswith(port):
            return text.removesuffix(port)
    return text
