"""Addresses of growth: the page, a stage in one tap, and taking it back."""

from __future__ import annotations

import uuid
from datetime import date, datetime, time, tzinfo
from typing import TYPE_CHECKING, Annotated, Literal

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.service.house import House
from fruitwall.service.ledger import STAGES, Stage, entry_of, says, take_back
from fruitwall.speech import say
from fruitwall.web.pages import Pages
from fruitwall.web.patience import Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.season.growth.page import growth_page, growth_url
from fruitwall.web.settings import WebSettings
from fruitwall.web.walk.intake import signed_by
from fruitwall.web.walk.page import stop_url
from fruitwall.web.who import Who, need, who

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.growth_document import Growth
    from fruitwall.service.ledger import Signed

PAGE = "/season/growth"

FIRST_YEAR = 1900
"""Days before are slips of who types. Our judgement."""

Helper = Annotated[Who, Depends(need("helper"))]
Name = Annotated[str, Form(min_length=1, max_length=200, pattern="^[^\0]*$")]
Typed = Annotated[str, Form(max_length=40, pattern="^[^\0]*$")]


def growth_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of growth.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/growth``, where stages are entered, and ``/season/growth/take-back``.
    """
    if settings.house is None:
        raise ValueError("growth needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    def worked_out(_: date | None) -> Growth:
        from fruitwall.service.growth_ledger import growth_of

        return growth_of(house)

    patience = Patience(worked_out, settings.patience_s)
    last: dict[str, Growth] = {}  # by yard; to show a form again whose entry was refused

    def show(request: Request, *, just: str = "", error: str = "", error_tree: str = "", day: str = "") -> Response:
        yard, version = house.yard()  # without one whoever asks is led to the start
        growth = patience.plan(None)
        if growth is not None:
            last[version.yard] = growth
        elif error:
            growth = last.get(version.yard)  # a form with a mistake is shown at once, with what was typed
            if growth is None:
                raise HTTPException(422, error)  # not the waiting page, which would say nothing of it
        if growth is None:
            return waiting(pages, request, "season/season-waiting.html")
        page = growth_page(
            growth, household_of(yard, who(request)), just=just, error=error, error_tree=error_tree, day=day
        )
        status = 422 if error else 200
        may = who(request).may("helper")
        return pages.render(request, "season/growth/season-growth.html", status=status, page=page, may=may)

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def growth(request: Request, tree: Annotated[str, Query(max_length=200)] = "") -> Response:
        return show(request, just=tree)

    @router.post(PAGE)
    def enter(
        request: Request,
        tree: Name,
        stage: Name,
        _: Helper,
        day: Typed = "",
        place: Annotated[Literal["growth", "walk"], Form()] = "growth",
    ) -> Response:
        yard, _version = house.yard()
        if tree not in {one.id for one in yard.trees} or stage not in STAGES:
            raise HTTPException(404, say("The yard has no tree of this name now, or there is no such stage."))
        signed = signed_by(request, house)
        household = household_of(yard, who(request))
        try:
            at = moment_of(day, signed.now, household.zone)
            store(house, tree, stage, at, signed, household.zone)
        except (JournalError, ValueError) as error:
            return show(request, error=str(error), error_tree=tree, day=day)
        return RedirectResponse(stop_url(tree) + "#stage" if place == "walk" else _back(tree), 303)

    @router.post(f"{PAGE}/take-back")
    def back(request: Request, tree: Name, entry: Name, _: Helper) -> Response:
        try:
            found = house.ledger.entry(entry)
            if found is None or found.kind != "stage":
                raise JournalError(say("There is no entry {number}", number=entry))
            take_back(house.ledger, entry, signed=signed_by(request, house))
        except JournalError as error:
            return show(request, error=str(error), error_tree=tree)
        return RedirectResponse(_back(tree), 303)

    return router


def _back(tree: str) -> str:
    """Give the page with a tree's part open."""
    address, _, mark = growth_url(tree).partition("#")
    return f"{address}?tree={mark.removeprefix('tree-')}#{mark}"


def moment_of(typed: str, now: datetime, zone: tzinfo) -> datetime:
    """Read the day on which a stage was reached: now for none, noon of an earlier day.

    Parameters
    ----------
    typed : str
        As a browser sends it, such as 2026-12-22; empty for today.
    now : datetime, aware
    zone : tzinfo
        Of the yard.

    Returns
    -------
    datetime
        Aware.

    Raises
    ------
    ValueError
        In words for the user, if it is no day or one to come.
    """
    if not typed.strip():
        return now
    try:
        day = date.fromisoformat(typed.strip())
    except ValueError:
        raise ValueError(say("The day must be written such as 2026-12-22.")) from None
    if day.year < FIRST_YEAR:
        raise ValueError(say("The day must be written such as 2026-12-22."))
    today = now.astimezone(zone).date()
    if day > today:
        raise ValueError(say("That day has not come yet. Enter a stage once the tree has reached it."))
    return now if day == today else datetime.combine(day, time(12), zone)


def store(house: House, tree: str, stage: str, at: datetime, signed: Signed, zone: tzinfo) -> str:
    """Store a stage; tapped twice on a day by the same person it is stored once.

    It is stored again where it was taken back, or where another stage was entered since: whoever taps bloom, fruit and
    bloom again means bloom.

    Parameters
    ----------
    house : House
    tree, stage : str
    at : datetime, aware
    signed : Signed
    zone : tzinfo
        Of the yard, by whose days it counts.

    Returns
    -------
    str
        Id of the entry.
    """
    day = at.astimezone(zone).date()
    number = str(uuid.uuid5(SPACE, "|".join((tree, stage, day.isoformat(), signed.author))))
    if house.ledger.entry(number) is not None:
        its = house.ledger.current(tree=tree, kind="stage")
        that_day = [one for one in its if one.at.astimezone(zone).date() == day]
        that_day.sort(key=lambda one: one.received)
        if that_day and _same(that_day[-1], stage, signed.author):
            return that_day[-1].id
        number = str(uuid.uuid4())
    body = Stage.model_validate({"stage": stage})
    house.ledger.add([entry_of("stage", body, tree=tree, at=at, signed=signed, number=number)])
    return number


def _same(entry: LedgerEntry, stage: str, author: str) -> bool:
    """Tell whether an entry says that this person saw this stage."""
    body = says(entry)
    return isinstance(body, Stage) and body.stage == stage and entry.author == author


SPACE = uuid.UUID("6f0d7a52-4b7e-5f0e-9a3c-1c1d0b6f7a11")
"""Names of entries made by a tap; any fixed one would do."""
