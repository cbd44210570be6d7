"""Addresses that take in what devices send, photos and entries, and give the photos back."""

from __future__ import annotations

import json
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from pydantic import BaseModel, Field, TypeAdapter, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.formparsers import MultiPartException
from starlette.types import Message

from fruitwall.service import pictures
from fruitwall.service.house import House
from fruitwall.service.ledger import Signed
from fruitwall.service.moments import WrittenMoment
from fruitwall.service.pictures import PictureRefused, keep_picture, small_picture, too_many_bytes
from fruitwall.service.walk_entries import MOST_ENTRIES, EntryTaken, Sending, take_entries
from fruitwall.speech import say
from fruitwall.web.api.shapes import Problem
from fruitwall.web.who import need, who

MOST_JSON_BYTES = 2_000_000
"""Of one sending: two hundred entries with the longest notes that a ledger takes."""

BESIDES_BYTES = 200_000
"""What a form may hold besides its photo."""

KEPT = "private, max-age=31536000, immutable"
"""A photo's name is the digest of its content: what is under a name never changes. Private: it shows a home."""

_NAME = re.compile(r"([0-9a-f]{64})(-small)?\.jpg")

PROBLEMS: dict[int | str, dict[str, Any]] = {status: {"model": Problem} for status in (400, 401, 403, 413, 422, 429)}


class PhotoTaken(BaseModel):
    """A photo as it is kept."""

    sha256: str = Field(description="Names it in entries, and at /photos/{sha256}.jpg")
    width: int
    height: int
    taken: datetime | None = Field(description="When the camera took it, where that is known")


class EntriesTaken(BaseModel):
    """What became of the entries sent, in their order."""

    answers: list[EntryTaken]


def intake_routes(house: House) -> APIRouter:
    """Make the routes of photos and entries.

    Parameters
    ----------
    house : House

    Returns
    -------
    APIRouter
        ``POST /api/photos``, ``POST /api/entries``, ``GET /photos/{digest}.jpg`` and ``-small.jpg``.
    """
    router = APIRouter()

    @router.post(
        "/api/photos",
        tags=["ledger"],
        responses=PROBLEMS,
        dependencies=[Depends(need("helper"))],
        openapi_extra={
            "requestBody": {"required": True, "content": {"multipart/form-data": {"schema": _photo_schema()}}}
        },
    )
    async def photos(request: Request) -> PhotoTaken:
        """Take a photo in, JPEG, PNG, WebP or HEIC of at most 25 MB and 60 million pixels; the same again is known."""
        async with read_form(request, pictures.MOST_BYTES + BESIDES_BYTES) as form:
            file, told = form.get("photo"), form.get("taken")
            if not isinstance(file, UploadFile):
                raise HTTPException(422, say("Send the photo as a file in the field “photo”."))
            content = await file.read()
        taken = _moment(told) if isinstance(told, str) and told else None

        def keep() -> PhotoTaken:
            stored = keep_picture(house, content, name=file.filename or "", taken=taken)
            return PhotoTaken(sha256=stored.sha256, width=stored.width, height=stored.height, taken=stored.taken)

        try:
            return await run_in_threadpool(keep)
        except PictureRefused as refused:
            raise HTTPException(422, str(refused)) from refused

    @router.post(
        "/api/entries",
        tags=["ledger"],
        responses=PROBLEMS,
        dependencies=[Depends(need("helper"))],
        openapi_extra={
            "requestBody": {"required": True, "content": {"application/json": {"schema": Sending.model_json_schema()}}}
        },
    )
    async def entries(request: Request) -> EntriesTaken:
        """Take entries, each stored once however often it is sent; one that is refused keeps none of the others out.

        Every entry is named by the device that makes it (a UUID), and answered for itself: stored, known from before,
        or refused with the reason. Photos are sent before, to /api/photos.
        """
        told, sent = _sending(await read_body(request, MOST_JSON_BYTES))
        signed = signed_by(request, house)
        return EntriesTaken(answers=await run_in_threadpool(take_entries, house, told, signed=signed, sent=sent))

    @router.api_route("/photos/{name}", methods=["GET", "HEAD"], include_in_schema=False)
    def photo(name: str) -> Response:
        named = _NAME.fullmatch(name)
        if named is None or house.ledger.photo(named[1]) is None:
            raise HTTPException(404)
        content = small_picture(house, named[1]) if named[2] else house.photos.read(named[1])
        if content is None:
            raise HTTPException(404)
        headers = {"cache-control": KEPT, "content-disposition": "inline", "x-content-type-options": "nosniff"}
        return Response(content, media_type="image/jpeg", headers=headers)

    return router


def signed_by(request: Request, house: House) -> Signed:
    """Give who sends something, and with what."""
    key = getattr(request.state, "key", None)
    label = str(getattr(key, "label", "") or "") or "browser"
    return Signed(author=who(request).name, device=label[:200], now=house.clock())


async def read_body(request: Request, most: int) -> bytes:
    """Read what was sent, and stop reading where it is too much.

    Parameters
    ----------
    request : Request
    most : int
        Bytes.

    Raises
    ------
    HTTPException
        413.
    """
    try:
        return await _limited(request, most).body()
    except MultiPartException as error:
        raise HTTPException(413, error.message) from error


@asynccontextmanager
async def read_form(request: Request, most: int) -> AsyncIterator[FormData]:
    """Read a form with files, and stop reading where it is too much: longer files would fill the disk.

    Parameters
    ----------
    request : Request
    most : int
        Bytes of the whole form.

    Raises
    ------
    HTTPException
        413, or 400 for what is no form.
    """
    limited = _limited(request, most)
    try:
        form = await limited.form(max_files=10, max_fields=100, max_part_size=BESIDES_BYTES)
    except StarletteHTTPException as error:
        raise HTTPException(413 if limited.state.too_long else 400, error.detail) from error
    try:
        yield form
    finally:
        await form.close()


def _limited(request: Request, most: int) -> Request:
    """Give the same request, whose body ends in a refusal where it is too long."""
    told = request.headers.get("content-length", "")
    if told.isdigit() and int(told) > most:
        raise HTTPException(413, too_many_bytes())
    count = 0

    async def receive() -> Message:
        nonlocal count
        message = await request.receive()
        count += len(message.get("body", b""))
        if count > most:
            limited.state.too_long = True
            # The one exception at which the reader of forms takes its files off the disk.
            raise MultiPartException(too_many_bytes())
        return message

    limited = Request({**request.scope, "state": {"too_long": False}}, receive)
    return limited


def _sending(body: bytes) -> tuple[list[object], datetime | None]:
    """Read JSON as far as the list of entries; each is looked at later, for itself."""
    try:
        found = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise HTTPException(422, say("This is no JSON.")) from error
    if isinstance(found, list):
        found = {"entries": found}
    told = found.get("entries") if isinstance(found, dict) else None
    if not isinstance(told, list) or len(told) > MOST_ENTRIES:
        raise HTTPException(422, say("Send a list of at most {most} entries.", most=MOST_ENTRIES))
    sent = found.get("sent")
    return told, None if sent is None else _moment(sent)


def _moment(text: object) -> datetime:
    try:
        return _MOMENT.validate_python(text)
    except ValidationError as error:
        raise HTTPException(422, say("A time must be written as 2026-12-22T06:30:00Z.")) from error


_MOMENT: TypeAdapter[datetime] = TypeAdapter(WrittenMoment)


def _photo_schema() -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["photo"],
        "properties": {
            "photo": {"type": "string", "format": "binary"},
            "taken": {"type": "string", "format": "date-time"},
        },
    }


__all__ = ["intake_routes", "read_body", "read_form", "signed_by"]
