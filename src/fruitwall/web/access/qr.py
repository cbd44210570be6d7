"""An address as a picture that a phone's camera reads."""

from __future__ import annotations

from itertools import groupby

from markupsafe import Markup

from fruitwall.web.svg import tag

QUIET_ZONE = 4
"""Light modules around a code (ISO/IEC 18004, 9.1)."""


def qr_picture(text: str, told: str) -> Markup:
    """Draw a QR code.

    Parameters
    ----------
    text : str
        What it says.
    told : str
        What it is, for whoever does not see it.

    Returns
    -------
    Markup
        SVG whose colours come from the style sheet: dark on light also at night, since cameras want it so.
    """
    import segno

    rows = segno.make(text, error="m", micro=False).matrix
    side = len(rows) + 2 * QUIET_ZONE
    path = []
    for y, row in enumerate(rows):
        x = 0
        for dark, run in groupby(row):
            width = len(list(run))
            if dark:
                path.append(f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h{width}v1h-{width}z")
            x += width
    return tag(
        "svg",
        tag("rect", class_="ground", width=side, height=side),
        tag("path", class_="modules", d="".join(path)),
        class_="qr",
        viewBox=f"0 0 {side} {side}",
        role="img",
        aria_label=told,
        shape_rendering="crispEdges",
    )
