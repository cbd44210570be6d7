"""Addresses of the photo or sketch under the plan: bring it, touch two points in it, say how far they lie apart."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from fruitwall.service.house import House
from fruitwall.service.pictures import MOST_BYTES, PictureRefused
from fruitwall.service.yard_underlay import NEAREST_PX, Underlay, set_underlay, take_underlay, underlay_of
from fruitwall.speech import say
from fruitwall.web.editing import BESIDES_BYTES, OWNER, limited_form
from fruitwall.web.pages import Pages
from fruitwall.web.reader import display_of
from fruitwall.web.who import who
from fruitwall.yard.display import in_household_unit, unit_symbol
from fruitwall.yard.model import Display
from fruitwall.yard.units import KINDS, read_quantity

SHOWN_WIDTH = 340
"""Width at which the picture is shown to be touched; fits a phone. [CSS pixels]"""


@dataclass(frozen=True)
class UnderlayPage:
    """What the page shows."""

    underlay: Underlay | None
    step: str
    """``bring``, ``first``, ``second`` or ``place``."""
    width: int
    height: int
    """Of the picture as shown."""
    points: list[tuple[float, float]]
    """The points touched, in the picture as shown."""
    unit: str
    apart: str
    east: str
    north: str
    turn: str
    opacity: str
    error: str = ""


def underlay_routes(house: House, pages: Pages) -> APIRouter:
    """Make the routes of the picture under the plan.

    Parameters
    ----------
    house : House
    pages : Pages

    Returns
    -------
    APIRouter
        ``/yard/underlay`` the page, ``/yard/underlay/picture`` the picture; by POST ``/yard/underlay`` brings one,
        ``/yard/underlay/point`` takes a touched point, ``/yard/underlay/place`` places it or takes it away.
    """
    router = APIRouter()

    def show(request: Request, status: int = 200, error: str = "") -> Response:
        page = page_of(underlay_of(house), display_of(house.yard()[0], who(request)), error=error)
        return pages.render(request, "yard/underlay.html", status=status, page=page)

    def back() -> Response:
        return RedirectResponse("/yard/underlay", 303)

    @router.api_route("/yard/underlay", methods=["GET", "HEAD"], include_in_schema=False, dependencies=[OWNER])
    def look(request: Request) -> Response:
        return show(request)

    @router.api_route("/yard/underlay/picture", methods=["GET", "HEAD"], include_in_schema=False)
    def picture() -> Response:
        underlay = underlay_of(house)
        content = house.photos.read(underlay.photo) if underlay is not None else None
        if content is None:
            raise HTTPException(404)
        return Response(content, media_type="image/jpeg", headers={"cache-control": "private, no-cache"})

    @router.post("/yard/underlay", include_in_schema=False, dependencies=[OWNER])
    async def bring(request: Request) -> Response:
        async with limited_form(request, MOST_BYTES + BESIDES_BYTES) as form:
            file = form.get("picture")
            name = file.filename or "" if isinstance(file, UploadFile) else ""
            content = await file.read() if isinstance(file, UploadFile) else b""
        if not content:
            return await run_in_threadpool(show, request, 422, say("Choose a picture first."))
        try:
            await run_in_threadpool(take_underlay, house, content, name, author=who(request).name)
        except PictureRefused as refused:
            return await run_in_threadpool(show, request, 422, str(refused))
        return back()

    @router.post("/yard/underlay/point", include_in_schema=False, dependencies=[OWNER])
    async def point(request: Request) -> Response:
        async with limited_form(request, BESIDES_BYTES) as form:
            return await run_in_threadpool(touched, request, form)

    @router.post("/yard/underlay/place", include_in_schema=False, dependencies=[OWNER])
    async def place(request: Request) -> Response:
        async with limited_form(request, BESIDES_BYTES) as form:
            return await run_in_threadpool(placed, request, form)

    def touched(request: Request, form: FormData) -> Response:
        underlay = underlay_of(house)
        if underlay is None:
            return back()
        try:
            # A picture that is a button sends where it was touched, also without a script.
            spot = [float(str(form.get(f"point.{axis}", ""))) * underlay.width / SHOWN_WIDTH for axis in "xy"]
        except ValueError:
            return show(request, 422, say("Touch a point of the picture."))
        at = (min(max(spot[0], 0.0), float(underlay.width)), min(max(spot[1], 0.0), float(underlay.height)))
        if underlay.first is None or underlay.second is not None:
            new = underlay.model_copy(update={"first": at, "second": None})
        elif hypot(at[0] - underlay.first[0], at[1] - underlay.first[1]) < 5 * NEAREST_PX:
            return show(request, 422, say("The second point must lie farther from the first."))
        else:
            new = underlay.model_copy(update={"second": at})
        set_underlay(house, new, author=who(request).name)
        return back()

    def placed(request: Request, form: FormData) -> Response:
        underlay = underlay_of(house)
        if underlay is None:
            return back()
        if form.get("away"):
            set_underlay(house, None, author=who(request).name)
            return RedirectResponse("/yard", 303)
        if form.get("again"):
            set_underlay(house, underlay.model_copy(update={"first": None, "second": None}), author=who(request).name)
            return back()
        display = display_of(house.yard()[0], who(request))
        try:
            apart, east, north = (_metres(str(form.get(name, "")), display) for name in ("apart", "east", "north"))
            turn, strength = (float(str(form.get(name, "")).replace(",", ".")) for name in ("turn", "opacity"))
            values = underlay.model_dump() | {
                "apart_m": apart,
                "at": (east, north),
                "turn_deg": turn,
                "opacity": strength / 100,
            }
            new = Underlay.model_validate(values)
        except (ValueError, ValidationError):
            return show(request, 422, say("Give the distance, the place and the direction as numbers."))
        set_underlay(house, new, author=who(request).name)
        return RedirectResponse("/yard", 303)

    return router


def page_of(underlay: Underlay | None, display: Display, *, error: str = "") -> UnderlayPage:
    """Lay out the page.

    Parameters
    ----------
    underlay : Underlay or None
    display : Display
        Units of whoever reads.
    error : str
        What was wrong with what was sent.

    Returns
    -------
    UnderlayPage
    """

    def length(metres: float) -> str:
        return f"{in_household_unit(metres, 'length', display):.2f}".rstrip("0").rstrip(".")

    unit = unit_symbol("length", display)
    if underlay is None:
        return UnderlayPage(None, "bring", 0, 0, [], unit, "", "", "", "0", "50", error)
    scale = SHOWN_WIDTH / underlay.width
    points = [(x * scale, y * scale) for x, y in (one for one in (underlay.first, underlay.second) if one is not None)]
    return UnderlayPage(
        underlay=underlay,
        step="first" if underlay.first is None else "second" if underlay.second is None else "place",
        width=SHOWN_WIDTH,
        height=round(underlay.height * scale),
        points=points,
        unit=unit,
        apart=length(underlay.apart_m),
        east=length(underlay.at[0]),
        north=length(underlay.at[1]),
        turn=f"{underlay.turn_deg:g}",
        opacity=f"{underlay.opacity * 100:.0f}",
        error=error,
    )


def _metres(text: str, display: Display) -> float:
    """Read a length in the household's unit. [m]"""
    text = text.strip().replace(",", ".")
    try:
        number = float(text)
    except ValueError:
        return read_quantity(KINDS["length"], text)
    return number * 0.3048 if display.length == "ft" else number
