"""A share as a bar; the number always stands beside it."""

from __future__ import annotations

from markupsafe import Markup

from fruitwall.web.svg import tag

HEIGHT = 8


def bar(share: float, kind: str) -> Markup:
    """Draw a share.

    Parameters
    ----------
    share : float
        0 to 1.
    kind : str
        "alone" (nothing done), "planned" or "full": colour only, so for the eye alone.

    Returns
    -------
    Markup
        As wide as its place, hidden from screen readers.
    """
    return tag(
        "svg",
        tag("rect", class_="bar-bed", width="100%", height=HEIGHT),
        tag("rect", class_=f"bar {kind}", width=f"{share * 100:.1f}%", height=HEIGHT),
        class_="bar",
        width="100%",
        height=HEIGHT,
        aria_hidden="true",
    )
