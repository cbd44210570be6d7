"""Addresses of the interface for scripts and sensors."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Depends, FastAPI, HTTPException, Query, Request, Response
from fastapi.openapi.utils import get_openapi
from pydantic import AfterValidator

from fruitwall.journal.entries import LedgerEntry
from fruitwall.service.house import House
from fruitwall.service.ledger import last_sightings
from fruitwall.service.moments import WrittenMoment
from fruitwall.service.readings import AT_ONCE, NewReading, take_readings
from fruitwall.speech import say
from fruitwall.web.api.shapes import (
    EntryAnswer,
    Problem,
    ReadingAnswer,
    Refused,
    TakenAnswer,
    TreeAnswer,
    YardAnswer,
)
from fruitwall.web.pages import Pages
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import need

AT_MOST = 10_000
"""Entries or readings given in one answer."""


def _plain(text: str) -> str:
    if "\0" in text:
        raise ValueError("must hold no NUL character")
    return text


Name = Annotated[str, AfterValidator(_plain), Query(max_length=100)]
PROBLEMS: dict[int | str, dict[str, Any]] = {status: {"model": Problem} for status in (400, 401, 403, 404, 422, 503)}


def api_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes under ``/api``.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders the page that tells how to use it.

    Returns
    -------
    APIRouter
    """
    if settings.house is None:
        raise ValueError("the interface needs a household")
    house: House = settings.house
    router = APIRouter(prefix="/api", responses=PROBLEMS)

    @router.get("/yard", tags=["yard"])
    def yard() -> YardAnswer:
        """Give the yard file as it stands."""
        version = house.yard()[1]
        return YardAnswer(name=version.yard, version=version.number, changed=version.created, text=version.text)

    @router.get("/yard-schema", tags=["yard"])
    def yard_schema() -> dict[str, Any]:
        """Give the JSON Schema of the yard file."""
        from fruitwall.yard.schema import yard_json_schema

        return yard_json_schema()

    @router.get("/trees", tags=["yard"])
    def trees() -> list[TreeAnswer]:
        """Give the trees, with how each looked last."""
        last = last_sightings(house.ledger.current(kind="sighting"))
        answers = []
        for tree in house.yard()[0].trees:
            seen = last.get(tree.id)
            answers.append(
                TreeAnswer(
                    id=tree.id,
                    name=tree.name,
                    taxon=tree.taxon,
                    position_m=(tree.position[0], tree.position[1]),
                    potted=tree.container is not None,
                    last_sighting=seen.at if seen else None,
                    last_grade=json.loads(seen.body).get("grade") if seen else None,
                )
            )
        return answers

    @router.get("/entries", tags=["ledger"])
    def entries(
        tree: Name | None = None,
        kind: Literal["sighting", "deed", "stage", "note"] | None = None,
        since: WrittenMoment | None = None,
        until: WrittenMoment | None = None,
    ) -> list[EntryAnswer]:
        """Give the entries that stand, oldest first: the last 10,000 of those asked for."""
        found = house.ledger.current(tree=tree, kind=kind, since=since, until=until)
        return [_entry(one) for one in found[-AT_MOST:]]

    @router.get("/entries/{number}/history", tags=["ledger"])
    def history(number: str) -> list[EntryAnswer]:
        """Give an entry with all its corrections, oldest first."""
        found = house.ledger.history(_plain_or_404(number))
        if not found:
            raise HTTPException(404, say("There is no entry {number}", number=number))
        return [_entry(one) for one in found]

    @router.get("/readings", tags=["readings"])
    def readings(since: WrittenMoment, until: WrittenMoment, quantity: Name | None = None) -> list[ReadingAnswer]:
        """Give the readings of a time, oldest first: the last 10,000 of those asked for."""
        found = house.ledger.readings(since=since, until=until, quantity=quantity)
        return [
            ReadingAnswer(sensor=one.sensor, quantity=one.quantity, at=one.at, value=one.value)
            for one in found[-AT_MOST:]
        ]

    @router.post("/readings", tags=["readings"], dependencies=[Depends(need("helper"))])
    def take(given: Annotated[list[NewReading], Body(max_length=AT_ONCE)]) -> TakenAnswer:
        """Take readings; each is stored once however often it is sent, and a wrong one keeps none of the others out."""
        taken = take_readings(house.ledger, given, now=house.clock())
        return TakenAnswer(
            new=taken.new, known=taken.known, refused=[Refused(index=place, why=why) for place, why in taken.refused]
        )

    @router.api_route("", methods=["GET", "HEAD"], include_in_schema=False)
    def page(request: Request) -> Response:
        document = api_document(request.app)
        calls = [
            (path, method.upper(), call.get("description") or call.get("summary", ""))
            for path, methods in document["paths"].items()
            for method, call in methods.items()
        ]
        return pages.render(request, "api/api.html", calls=calls)

    @router.get("/openapi.json", include_in_schema=False)
    def openapi(request: Request) -> dict[str, Any]:
        return api_document(request.app)

    return router


def api_document(app: FastAPI) -> dict[str, Any]:
    """Describe the interface by OpenAPI 3.1: the addresses under ``/api``, not the pages.

    Parameters
    ----------
    app : FastAPI

    Returns
    -------
    dict
        Of JSON values.
    """
    document = get_openapi(
        title="fruitwall",
        version=_version(),
        description="What a household's fruitwall knows and takes. Times carry their zone; units stand in names.",
        routes=app.routes,
    )
    document["paths"] = {path: calls for path, calls in document["paths"].items() if path.startswith("/api/")}
    for calls in document["paths"].values():
        for call in calls.values():
            for content in call.get("requestBody", {}).get("content", {}).values():
                _hoist(content.get("schema", {}), document.setdefault("components", {}).setdefault("schemas", {}))
    return document


def _hoist(schema: dict[str, Any], known: dict[str, Any]) -> None:
    """Move definitions that a schema brings along to where references of the whole document find them."""

    def renamed(part: Any) -> Any:
        if isinstance(part, dict):
            return {key: renamed(value) for key, value in part.items()}
        if isinstance(part, list):
            return [renamed(one) for one in part]
        return part.replace("#/$defs/", "#/components/schemas/") if isinstance(part, str) else part

    known.update(renamed(schema.pop("$defs", {})))
    schema.update(renamed(dict(schema)))


def _version() -> str:
    from fruitwall import __version__

    return __version__


def _plain_or_404(text: str) -> str:
    if "\0" in text:
        raise HTTPException(404)
    return text


def _entry(one: LedgerEntry) -> EntryAnswer:
    return EntryAnswer(
        id=one.id,
        kind=one.kind,
        tree=one.tree,
        at=one.at,
        author=one.author,
        device=one.device,
        received=one.received,
        replaces=one.replaces,
        withdrawn=one.withdrawn,
        body=json.loads(one.body),
    )
