"""Addresses of the interface for scripts and sensors."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Depends, HTTPException, Query, Request, Response
from fastapi import Path as InPath
from pydantic import AfterValidator

from fruitwall.journal.entries import LedgerEntry, YardVersion
from fruitwall.journal.listing import plans_made
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.house import House
from fruitwall.service.learned_document import SurpriseAnswer, TreeLearned, learned_document, surprises_document
from fruitwall.service.ledger import last_sightings
from fruitwall.service.moments import WrittenDay, WrittenMoment
from fruitwall.service.readings import AT_ONCE, NewReading, take_readings
from fruitwall.service.ticks import ticks_of
from fruitwall.speech import say
from fruitwall.web.api.document import api_document
from fruitwall.web.api.placing import add_placing
from fruitwall.web.api.season import add_season
from fruitwall.web.api.shapes import (
    EntryAnswer,
    PlanMade,
    Problem,
    ReadingAnswer,
    Refused,
    TakenAnswer,
    TickAnswer,
    TicksAnswer,
    TreeAnswer,
    VersionAnswer,
    YardAnswer,
)
from fruitwall.web.api.winters import add_winters
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import need, who
from fruitwall.web.winters.runner import Runner

AT_MOST = 10_000
"""Entries or readings given in one answer."""


def _plain(text: str) -> str:
    if "\0" in text:
        raise ValueError("must hold no NUL character")
    return text


Since = Annotated[WrittenMoment | None, Query(description="Only from then on, such as 2026-12-22T06:30:00Z")]
Until = Annotated[WrittenMoment | None, Query(description="Only before then")]
Night = Annotated[WrittenDay, InPath(description="Named by the date of its evening, such as 2026-12-22")]
Name = Annotated[str, AfterValidator(_plain), Query(max_length=100)]
PROBLEMS: dict[int | str, dict[str, Any]] = {
    status: {"model": Problem} for status in (400, 401, 403, 404, 413, 422, 429, 503)
}


def api_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the routes under ``/api``.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders the page that tells how to use it.
    runner : Runner
        The application's one, for long work.

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
        return _yard(house.yard()[1])

    @router.get("/yard/versions", tags=["yard"])
    def versions() -> list[VersionAnswer]:
        """Give the versions of the yard file, oldest first: every edit made one, and none is ever lost."""
        return [
            VersionAnswer(version=one.number, changed=one.created, author=one.author, restores=one.restores)
            for one in house.journal.yard_steps(house.yard_name)
        ]

    @router.get("/yard/versions/{number}", tags=["yard"])
    def version(number: Annotated[int, InPath(ge=1, le=2**31 - 1)]) -> YardAnswer:
        """Give one version of the yard file, as it was stored."""
        found = house.journal.yard_version(number, house.yard_name)
        if found is None:
            raise HTTPException(404, say("The yard has no version {number}.", number=number))
        return _yard(found)

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
        since: Since = None,
        until: Until = None,
    ) -> list[EntryAnswer]:
        """Give the entries of the ledger that stand, oldest first: the last 10,000 of those asked for.

        What was corrected or taken back does not stand; its history is at the address of the entry.
        """
        found = house.ledger.current(tree=tree, kind=kind, since=since, until=until)
        return [_entry(one) for one in found[-AT_MOST:]]

    @router.get("/entries/{number}/history", tags=["ledger"])
    def history(number: str) -> list[EntryAnswer]:
        """Give an entry with all its corrections, oldest first."""
        found = house.ledger.history(_plain_or_404(number))
        if not found:
            raise HTTPException(404, say("There is no entry {number}", number=number))
        return [_entry(one) for one in found]

    @router.get("/learned", tags=["learned"])
    def learned() -> list[TreeLearned]:
        """Give what the yard has taught of its trees, before and after, with the looks that did it.

        Where it was not asked before since the last entry, it is worked out first, which may take seconds.
        """
        from fruitwall.service.taught import taught

        return learned_document(taught(house))

    @router.get("/surprises", tags=["learned"])
    def surprises(request: Request) -> list[SurpriseAnswer]:
        """Give what was unexpected, what to change first; sentences in the language and units of whoever asks."""
        from fruitwall.service.surprises import surprises_of

        return surprises_document(surprises_of(house), household_of(house.yard()[0], who(request)))

    @router.get("/plans", tags=["plans"])
    def plans(
        since: Annotated[
            WrittenDay | None, Query(description="Only of evenings from then on, such as 2026-12-01")
        ] = None,
        until: Annotated[WrittenDay | None, Query(description="Of evenings before then")] = None,
    ) -> list[PlanMade]:
        """Give which evening plans were made, by night: the last 10,000 of those asked for."""
        found = plans_made(house.journal, since=since, until=until, yard=house.yard_name)
        return [PlanMade(night=one.night, made=one.made, yard_version=one.yard_version) for one in found[-AT_MOST:]]

    @router.get("/plans/{night}", tags=["plans"], response_model=EveningPlan)
    def plan(night: Night) -> Response:
        """Give the plan of an evening that was made last, as it was stored; none is made anew."""
        found = house.journal.latest_plan(night, yard=house.yard_name)
        if found is None:
            raise HTTPException(404, say("No plan of this night is stored."))
        return Response(found.document, media_type="application/json")

    @router.get("/plans/{night}/ticks", tags=["plans"])
    def ticks(night: Night) -> TicksAnswer:
        """Give what is done of an evening, by whom and when."""
        found = ticks_of(house.ledger, night)
        done = [
            TickAnswer(
                key=one.key,
                words=one.deed.words,
                by=one.by,
                at=one.at,
                undo_until=one.undo_until(),
                entries=[entry.id for entry in one.entries],
            )
            for one in found.done.values()
        ]
        return TicksAnswer(night=night, done=sorted(done, key=lambda one: one.at), taken_back=sorted(found.taken_back))

    @router.get("/readings", tags=["readings"])
    def readings(
        since: Annotated[WrittenMoment, Query(description="From then on, such as 2026-12-22T06:30:00Z")],
        until: Annotated[WrittenMoment, Query(description="Before then")],
        quantity: Name | None = None,
    ) -> list[ReadingAnswer]:
        """Give the readings of a time, oldest first: the last 10,000 of those asked for."""
        found = house.ledger.readings(since=since, until=until, quantity=quantity)
        return [
            ReadingAnswer(sensor=one.sensor, quantity=one.quantity, at=one.at, value=one.value)
            for one in found[-AT_MOST:]
        ]

    add_season(router, house)
    add_placing(router, house, runner)
    add_winters(router, house, runner)

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


def _plain_or_404(text: str) -> str:
    if "\0" in text:
        raise HTTPException(404)
    return text


def _yard(version: YardVersion) -> YardAnswer:
    return YardAnswer(
        name=version.yard,
        version=version.number,
        changed=version.created,
        author=version.author,
        restores=version.restores,
        text=version.text,
    )


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
