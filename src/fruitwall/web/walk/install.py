"""What makes the pages an app on a telephone: service worker, manifest and icons."""

from __future__ import annotations

import json
import re
from functools import lru_cache
from hashlib import sha256
from io import BytesIO

from fastapi import APIRouter, HTTPException, Request, Response

from fruitwall.speech import language, say
from fruitwall.web.pages import HERE, Pages

SHELL = ("base.css", "mark.svg", "walk.css", "walk.js", "walk-queue.js", "walk-photo.js", "waiting.js")
"""Files without which the walk does not work out of reach."""

ICONS = {"icon-192.png": (192, False), "icon-512.png": (512, False), "icon-mask-512.png": (512, True)}
ICONS |= {"icon-180.png": (180, True)}
"""Side in pixels, and whether the ground fills the whole square, for systems that cut a shape of their own out of it.

180 is what iOS takes for its home screen.
"""

NIGHT, EMBER = "#14120f", "#c48a34"
"""Paper and near of the design sheet, by night."""

_RECTANGLE = re.compile(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)")
_RECTANGLE_AFTER = re.compile(r"M([\d.]+) ([\d.]+)H([\d.]+)v([\d.]+)")
_CIRCLE = re.compile(r'cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)"')


def install_routes(pages: Pages) -> APIRouter:
    """Make the routes of what a telephone needs to keep the pages.

    Parameters
    ----------
    pages : Pages
        Knows the addresses of the files.

    Returns
    -------
    APIRouter
        ``/sw.js``, ``/manifest.webmanifest``, ``/icons/{name}``, and ``/walk/-/offline``.
    """
    router = APIRouter()

    @router.api_route("/sw.js", methods=["GET", "HEAD"], include_in_schema=False)
    def worker() -> Response:
        asset = pages.templates.globals["asset"]
        files = [*(asset(name) for name in SHELL), OFFLINE]  # type: ignore[operator]
        source = (HERE / "walk" / "worker" / "sw.js").read_text("utf-8")
        version = sha256("\n".join((*files, source, language())).encode()).hexdigest()[:12]
        head = f"const VERSION = {json.dumps(version)};\nconst SHELL = {json.dumps(files)};\n"
        # Asked for anew each time: a worker that is kept for long keeps everything else for long.
        return Response(head + source, media_type="text/javascript", headers={"cache-control": "no-cache"})

    @router.api_route("/manifest.webmanifest", methods=["GET", "HEAD"], include_in_schema=False)
    def manifest() -> Response:
        icons = [
            {"src": f"/icons/{name}", "sizes": f"{side}x{side}", "type": "image/png", "purpose": purpose}
            for name, side, purpose in (
                ("icon-192.png", 192, "any"),
                ("icon-512.png", 512, "any"),
                ("icon-mask-512.png", 512, "maskable"),
            )
        ]
        told = {
            "id": "/",
            "name": "fruitwall",
            "short_name": "fruitwall",
            "description": say("How cold each tree gets tonight, what to do, and how it looked after."),
            "lang": language(),
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": NIGHT,
            "theme_color": NIGHT,
            "icons": icons,
            "shortcuts": [{"name": say("Walk"), "url": "/walk"}],
        }
        headers = {"cache-control": "no-cache"}
        return Response(json.dumps(told, ensure_ascii=False), media_type="application/manifest+json", headers=headers)

    @router.api_route("/icons/{name}", methods=["GET", "HEAD"], include_in_schema=False)
    def icon(name: str) -> Response:
        if name not in ICONS:
            raise HTTPException(404)
        return Response(icon_png(*ICONS[name]), media_type="image/png", headers={"cache-control": "max-age=604800"})

    @router.api_route(OFFLINE, methods=["GET", "HEAD"], include_in_schema=False)
    def offline(request: Request) -> Response:
        return pages.render(request, "walk/offline.html")

    return router


OFFLINE = "/walk/-/offline"
"""What is shown out of reach instead of pages that are not kept; no tree can have this address."""


@lru_cache(maxsize=8)
def icon_png(side: int, whole: bool) -> bytes:
    """Draw the mark as a PNG.

    Parameters
    ----------
    side : int
        Pixels.
    whole : bool
        Whether the ground fills the square, with the mark in its inner part.

    Returns
    -------
    bytes
    """
    from PIL import Image, ImageDraw

    source = (HERE / "mark.svg").read_text("utf-8")
    fine = 4  # drawn larger and made smaller, so that edges are smooth
    size = side * fine
    image = Image.new("RGBA", (size, size), NIGHT if whole else (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    if not whole:
        draw.rounded_rectangle((0, 0, size - 1, size - 1), size * 0.18, fill=NIGHT)
    share = 0.56 if whole else 0.72
    scale, shift = size * share / 24, size * (1 - share) / 2

    def at(value: float) -> float:
        return value * scale + shift

    stones = [(x, y, x + w, y + h) for x, y, w, h in (map(float, found) for found in _RECTANGLE.findall(source))]
    stones += [(x, y, right, y + h) for x, y, right, h in (map(float, f) for f in _RECTANGLE_AFTER.findall(source))]
    for left, top, right, bottom in stones:
        draw.rectangle((at(left), at(top), at(right), at(bottom)), fill="#8d8474")
    circle = _CIRCLE.search(source)
    if circle is not None:
        x, y, r = map(float, circle.groups())
        draw.ellipse((at(x - r), at(y - r), at(x + r), at(y + r)), fill=EMBER)
    out = BytesIO()
    image.resize((side, side), Image.Resampling.LANCZOS).save(out, "PNG", optimize=True)
    return out.getvalue()
