"""Addresses of the list of all tasks and of the calendar that phones subscribe to."""

from __future__ import annotations

import threading
from collections.abc import Hashable, Sequence
from datetime import date
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.service.earlier import latest_plan
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import take_back
from fruitwall.service.season import Part, season_parts_told, season_tasks
from fruitwall.service.season_part import SeasonTask
from fruitwall.service.season_tasks import done_lately, tick_season, todo
from fruitwall.speech import language, say
from fruitwall.web.guard import OF_ONE_HOUSEHOLD
from fruitwall.web.pages import Pages, holds
from fruitwall.web.patience import LOOK_AGAIN_S, Patience, waiting
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.walk.intake import signed_by
from fruitwall.web.who import Who, need, who

PAGE = "/season/tasks"
FEED = "/season.ics"

ASK_LATER_S = 60
"""So long a calendar waits that came while the tasks were worked out. Our judgement. [s]"""

Key = Annotated[str, Form(max_length=200, pattern="^[^\0]*$")]
Number = Annotated[str, Form(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]
Helper = Annotated[Who, Depends(need("helper"))]


class _Lists:
    """The last list that was worked out for each way of reading: shown while a newer one is made."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last: dict[Hashable, list[Part]] = {}

    def keep(self, key: Hashable, parts: list[Part]) -> None:
        with self._lock:
            self._last[key] = parts
            while len(self._last) > 16:
                del self._last[next(iter(self._last))]

    def last(self, key: Hashable) -> list[Part] | None:
        with self._lock:
            return self._last.get(key)


def season_task_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the tasks of the season.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/season/tasks``, what is ticked and taken back there, and ``/season.ics``.
    """
    if settings.house is None:
        raise ValueError("the tasks need a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)
    lists = _Lists()

    def worked_out(_: date | None) -> bool:
        """Work all parts out once, so that telling them to whoever reads is quick."""
        yard, _version = house.yard()
        season_parts_told(house, Household(yard.display, ZoneInfo(yard.location.time_zone)))
        return True

    patience = Patience(worked_out, settings.patience_s)

    def parts_of(household: Household) -> tuple[list[Part] | None, bool]:
        """Give the parts and whether they are of now; those of before, or None, while they are worked out."""
        _, version = house.yard()
        key = (version.yard, version.number, language(), household.display)
        if patience.plan(None) is None:
            return lists.last(key), False
        parts = season_parts_told(house, household)
        lists.keep(key, parts)
        return parts, True

    def show(request: Request, error: str = "") -> Response:
        from fruitwall.web.season.tasks.page import tasks_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        household = household_of(yard, who(request))
        parts, now = parts_of(household)
        if parts is None and error:
            raise HTTPException(422, error)  # not the waiting page, which would say nothing of it
        if parts is None:
            return waiting(pages, request, "season/tasks/season-tasks-waiting.html")
        today = house.clock().astimezone(household.zone).date()
        found = todo(_tasks(parts), done_lately(house), today)
        page = tasks_page(
            found,
            household,
            today,
            {tree.id: tree.name for tree in yard.trees},
            anew=not now,
            wrong=[f"{one.title}: {one.wrong}" for one in parts if one.told is None],
            may=who(request).may("helper"),
            error=error,
        )
        answer = pages.render(request, "season/tasks/season-tasks.html", status=422 if error else 200, page=page)
        if not now:
            answer.headers["refresh"] = f"{2 * LOOK_AGAIN_S}"
        return answer

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def look(request: Request) -> Response:
        return show(request)

    @router.post(PAGE + "/tick")
    def tick(
        request: Request,
        entry: Number,
        _: Helper,
        deed: Key = "",
        tree: Annotated[list[str] | None, Form()] = None,
        minutes: Annotated[float | None, Form(ge=0, le=1440)] = None,
    ) -> Response:
        try:
            tick_season(house, deed, tree or [], minutes=minutes, signed=signed_by(request, house), number=entry)
        except JournalError as error:
            return show(request, str(error))
        return RedirectResponse(f"{PAGE}#done", 303)

    @router.post(PAGE + "/untick")
    def untick(request: Request, entry: Number, _: Helper) -> Response:
        if all(one.entry.id != entry for one in done_lately(house)):  # taken back already, perhaps on another phone
            return RedirectResponse(PAGE, 303)
        try:
            take_back(house.ledger, entry, signed=signed_by(request, house))
        except JournalError as error:
            return show(request, str(error))
        return RedirectResponse(PAGE, 303)

    @router.api_route(FEED, methods=["GET", "HEAD"])
    def feed(request: Request) -> Response:
        """Give the tasks of the season and of tonight as iCalendar (RFC 5545)."""
        from hashlib import sha256

        from fruitwall.service.nights import tonight
        from fruitwall.service.reader import plan_for_reader
        from fruitwall.service.season_calendar import TOLD, as_setting, season_calendar, told_before, told_now

        yard, version = house.yard()
        household = household_of(yard, who(request))
        parts, now = parts_of(household)
        if parts is None:
            raise HTTPException(
                503, say("The tasks are being worked out. Ask again in a minute."), {"retry-after": f"{ASK_LATER_S}"}
            )
        tasks = _tasks(parts)
        before = told_before(house.ledger.setting(TOLD))
        told = before
        if now:
            moment, silent = house.clock(), {one.key for one in parts if one.told is None}
            told = told_now(before, tasks, moment, moment.astimezone(household.zone).date(), silent)
        if told != before:
            house.ledger.set(TOLD, as_setting(told), author="fruitwall", now=house.clock())
        plan = latest_plan(house.journal, version.yard, tonight(yard.location, house.clock()))
        if plan is not None:
            zone = ZoneInfo(plan.time_zone)
            plan = plan_for_reader(plan, Household(household.display, zone), Household(yard.display, zone))
        shown = yard.model_copy(update={"display": household.display})
        written = season_calendar(tasks, told, shown, household, plan)
        mark = f'"{sha256(written).hexdigest()[:32]}"'
        headers = {
            "cache-control": OF_ONE_HOUSEHOLD,
            "etag": mark,
            "content-disposition": 'inline; filename="season.ics"',
        }
        if holds(request, mark):
            return Response(status_code=304, headers=headers)
        return Response(written, media_type="text/calendar", headers=headers)

    return router


def _tasks(parts: Sequence[Part]) -> list[SeasonTask]:
    return season_tasks(one.told for one in parts if one.told is not None)
