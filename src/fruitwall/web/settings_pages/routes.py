"""Addresses of the page of settings."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse, StreamingResponse
from starlette.background import BackgroundTask

from fruitwall.service.accounts import Preferences, preferences_of
from fruitwall.service.backups import note_backup
from fruitwall.service.house import House
from fruitwall.service.notify_targets import TargetRefused, add_target, remove_target
from fruitwall.speech import say
from fruitwall.web.access.sessions import Sessions
from fruitwall.web.pages import Pages
from fruitwall.web.reader import COOKIE, as_cookie, from_cookie, preferences_from
from fruitwall.web.settings import WebSettings
from fruitwall.web.settings_pages.page import settings_page
from fruitwall.web.who import Who, need, who

PAGE = "/settings"
TEN_YEARS_S = 10 * 366 * 24 * 3600
PIECE_BYTES = 256 * 1024

Typed = Annotated[str, Form(max_length=20)]
Long = Annotated[str, Form(max_length=1000)]


def settings_routes(settings: WebSettings, pages: Pages, sessions: Sessions) -> APIRouter:
    """Make the routes of the page of settings.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.
    sessions : Sessions
        Whose accounts keep what somebody chose.

    Returns
    -------
    APIRouter
        ``/settings``, and what is sent to ``/settings/own/reads``, ``/settings/targets``, ``/settings/targets/remove``
        and ``/settings/backup``.
    """
    if settings.house is None:
        raise ValueError("the settings need a household")
    house: House = settings.house
    people = sessions.people
    router = APIRouter(prefix=PAGE, include_in_schema=False)

    def chosen(request: Request, asking: Who) -> Preferences:
        if asking.account is None:
            return from_cookie(request.cookies.get(COOKIE, ""))
        return preferences_of(people.numbered(asking.account))

    def show(request: Request, done: str = "", status: int = 200, **refused: dict[str, str]) -> Response:
        asking = who(request)
        display = house.yard()[0].display if house.has_yard() else None
        page = settings_page(asking, chosen(request, asking), display, done, house=house, **refused)
        return pages.render(request, "settings_pages/settings.html", status=status, page=page)

    @router.api_route("", methods=["GET", "HEAD"])
    def look(request: Request, done: str = "") -> Response:
        return show(request, done)

    @router.post("/targets")
    def add(
        request: Request, asking: Annotated[Who, Depends(need("owner"))], name: Long = "", address: Long = ""
    ) -> Response:
        """Keep where messages shall go one day."""
        try:
            add_target(house.ledger, name, address, author=asking.name, now=house.clock())
        except TargetRefused as error:
            typed = {"name": name, "address": address}
            return show(request, status=422, typed=typed, wrong={error.field: str(error)})
        return RedirectResponse(f"{PAGE}?done=target#targets", 303)

    @router.post("/targets/remove")
    def remove(asking: Annotated[Who, Depends(need("owner"))], target: Typed = "") -> Response:
        remove_target(house.ledger, target, author=asking.name, now=house.clock())
        return RedirectResponse(f"{PAGE}?done=gone#targets", 303)

    # Below /settings/own, where a viewer may send something too: it concerns only themselves.
    @router.post("/own/reads")
    def reads(
        request: Request,
        language: Typed = "",
        temperature: Typed = "",
        length: Typed = "",
        mass: Typed = "",
        volume: Typed = "",
    ) -> Response:
        asking = who(request)
        if not asking.known:
            raise HTTPException(403, say("Log in first"))
        preferences = preferences_from((language, temperature, length, mass, volume))
        answer = RedirectResponse(f"{PAGE}?done=reads", 303)
        if asking.account is not None:
            people.set_preferences(asking.account, preferences)
            return answer
        answer.set_cookie(
            COOKIE,
            as_cookie(preferences),
            max_age=TEN_YEARS_S,
            path="/",
            secure=request.url.scheme == "https",
            httponly=True,
            samesite="lax",
        )
        return answer

    @router.post("/backup")
    def backup(asking: Annotated[Who, Depends(need("owner"))]) -> Response:
        """Give everything in one file, as ``fruitwall backup`` writes it."""
        from fruitwall.journal.backup import look_into, write_backup

        now = house.clock()
        folder = Path(tempfile.mkdtemp(prefix="fruitwall-backup-"))
        try:
            file = folder / f"fruitwall-{now:%Y-%m-%d-%H%M}.zip"
            write_backup(house.journal, house.photos, file, now=now)
            # What was written is read again: a backup that cannot be read is none.
            look_into(file)
            size = file.stat().st_size
            note_backup(house.journal, author=asking.name, now=now)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return StreamingResponse(
            _pieces(file),
            media_type="application/zip",
            headers={
                "content-disposition": f'attachment; filename="{file.name}"',
                "content-length": str(size),
                # A ZIP file is packed already; this keeps the layer that packs pages from trying again.
                "content-encoding": "identity",
                "cache-control": "no-store",
            },
            background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
        )

    return router


def _pieces(file: Path) -> Iterator[bytes]:
    """Read a file piece by piece and delete its folder, also where the browser went away before the end."""
    try:
        with file.open("rb") as source:
            while piece := source.read(PIECE_BYTES):
                yield piece
    finally:
        shutil.rmtree(file.parent, ignore_errors=True)
