"""Ticks on the evening page: what is shown of them, and the addresses that take them."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from fruitwall.errors import JournalError
from fruitwall.service.earlier import latest_plan
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.house import House
from fruitwall.service.household import Household, author_words
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Deed
from fruitwall.service.nights import tonight
from fruitwall.service.ticks import (
    AFTER,
    Tick,
    Ticks,
    ask_again,
    changed_since,
    deed_of,
    in_vain,
    leave_standing,
    no_longer_asked,
    of_the_evening,
    task_of,
    tick,
    ticks_of,
    untick,
)
from fruitwall.speech import say, say_count
from fruitwall.web.evening.checklist import sentence
from fruitwall.web.who import Who, need

Key = Annotated[str, Form(min_length=1, max_length=200, pattern="^[^\0]*$")]
Number = Annotated[str, Form(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]


@dataclass(frozen=True)
class DoneLine:
    """Something that is done and not on the checklist any more."""

    key: str
    what: str
    words: str
    undo: bool
    question: str = ""
    """What to decide where the plan neither asks for it nor counts with it; empty where it does."""


@dataclass(frozen=True)
class TickedPage:
    """What the evening page shows of its ticks."""

    night: str
    plan: str
    """What the plan was made with: a page that shows an older one asks to be loaded again."""
    may: bool
    """Whether the reader may tick."""
    states: dict[str, dict[str, object]]
    """By key of what is done: in words, and whether it can still be taken back."""
    numbers: dict[str, str]
    """Ids for the deeds that the buttons make."""
    bodies: dict[str, str]
    """What these deeds say, as JSON, with the tree: for a device that keeps them until it is back in reach."""
    changed: str
    """How many ticks the plan does not know yet; empty if it knows all."""
    done: list[DoneLine]
    words: str
    """What the script says, as JSON."""


def ticked_page(plan: EveningPlan, ticks: Ticks, household: Household, now: datetime, *, may: bool) -> TickedPage:
    """Work out what is shown of the ticks.

    Parameters
    ----------
    plan : EveningPlan
    ticks : Ticks
        Of its night.
    household : Household
    now : datetime, aware
    may : bool
        Whether the reader may tick.

    Returns
    -------
    TickedPage
    """
    states = states_of(ticks, household, now)
    bodies = _BODIES.of(plan, make=lambda: _bodies_of(plan)) if may else {}
    return TickedPage(
        night=str(plan.night),
        plan=_knows(plan),
        may=may,
        states=states,
        numbers={key: str(uuid.uuid4()) for key in bodies},
        bodies=bodies,
        changed=changed_words(changed_since(plan, ticks)),
        done=[*_planned_with(plan, ticks, states, household), *_no_longer_asked(plan, ticks, household, now)],
        words=json.dumps(
            {
                "waiting": say("Ticked on this device; it is sent once there is a connection."),
                "refused": say("The server did not take this tick. Load the page again and look."),
                "kept": say("It could not be taken back. Load the page again and look."),
                "unreached": say("Not taken back: there is no connection. Try again later."),
                "unkept": say("Not ticked: this device keeps nothing, and there is no connection."),
                "anew": say("The plan was made anew. Load the page again."),
            }
        ),
    )


_BODIES: Kept[dict[str, str]] = Kept(16)


def _bodies_of(plan: EveningPlan) -> dict[str, str]:
    """Write the deeds that the tasks of a plan make, by their keys."""
    deeds = [(deed_of(plan, task), task) for task in (*plan.tasks, *plan.morning)]
    return {
        deed.what: json.dumps(
            {
                "tree": task.trees[0] if len(task.trees) == 1 else None,
                "body": json.loads(deed.model_dump_json(exclude_defaults=True)),
            }
        )
        for deed, task in deeds
    }


def _planned_with(
    plan: EveningPlan, ticks: Ticks, states: dict[str, dict[str, object]], household: Household
) -> list[DoneLine]:
    """Tell what the plan counts as done: it is on the checklist no more."""
    listed = {task.key for task in plan.tasks}
    lines = []
    for one in plan.done:
        if one.key not in listed and one.key not in ticks.taken_back:
            state = states.get(one.key, {})
            words = str(state.get("words") or say("Done by {clock}.", clock=household.clock(one.at)))
            lines.append(DoneLine(one.key, sentence(one.what), words, bool(state.get("undo"))))
    return lines


def _no_longer_asked(plan: EveningPlan, ticks: Ticks, household: Household, now: datetime) -> list[DoneLine]:
    """Tell plainly what was done from an older checklist, and ask what becomes of it."""
    lines = []
    for one in no_longer_asked(plan, ticks):
        told = {"clock": household.clock(one.at), "name": author_words(one.by)}
        question = ""
        if in_vain(plan, ticks, one.key):
            words = say("Done at {clock}, {name}. It stays, but tonight’s plan has no use for it.", **told)
        elif one.key in ticks.left:
            words = say("Done at {clock}, {name}. It stays, and the next plan counts with it.", **told)
        elif of_the_evening(one.key):
            words = say("Done at {clock}, {name}; the newer plan no longer asks for it.", **told)
            question = say("Leave it, or take it off?")
        else:
            words = say("Done at {clock}, {name}; the newer plan no longer asks for it.", **told)
        lines.append(DoneLine(one.key, sentence(one.deed.words), words, now <= one.undo_until(), question))
    return lines


def states_of(ticks: Ticks, household: Household, now: datetime) -> dict[str, dict[str, object]]:
    """Give what is done by its key, in words, and whether it can still be taken back."""
    return {key: {"words": _words(one, household), "undo": now <= one.undo_until()} for key, one in ticks.done.items()}


def _words(one: Tick, household: Household) -> str:
    return say("Done {clock}, {name}.", clock=household.clock(one.at), name=author_words(one.by))


def _knows(plan: EveningPlan) -> str:
    """Give what a plan knew to be done."""
    return " ".join(sorted(task.key for task in plan.done))


def changed_words(count: int) -> str:
    """Say how many ticks a plan does not know; nothing for none."""
    if not count:
        return ""
    return say_count("{count} tick changed since this plan.", "{count} ticks changed since this plan.", count)


def ticking_routes(
    house: House, plan_for: Callable[[date | None], EveningPlan], signed_by: Callable[[Request, House], Any]
) -> APIRouter:
    """Make the addresses that take ticks.

    Parameters
    ----------
    house : House
    plan_for : callable
        As in `WebSettings`.
    signed_by : callable
        Gives who sends a request, of a request and the house.

    Returns
    -------
    APIRouter
        ``POST /evening/tick``, ``/evening/untick``, ``/evening/leave``, ``/evening/take-off``,
        ``/evening/replan`` and ``GET /evening/ticks.json``.
    """
    router = APIRouter()

    def shown(night: date) -> EveningPlan:
        """Give the plan on which somebody ticks: the stored one, since nobody waits for a new one to tick."""
        plan = latest_plan(house.journal, house.yard()[1].yard, night)
        return plan if plan is not None else plan_for(night)

    def back(night: date, place: str) -> Response:
        here = tonight(house.yard()[0].location, house.clock()) == night
        return RedirectResponse(("/" if here else f"/night/{night}") + place, 303)

    @router.post("/evening/tick", include_in_schema=False)
    def take(
        request: Request,
        night: Annotated[date, Form()],
        key: Key,
        entry: Number,
        _: Annotated[Who, Depends(need("helper"))],
        deed: Annotated[str, Form(max_length=20_000)] = "",
    ) -> Response:
        plan = shown(night)
        try:
            tick(house.ledger, plan, key, signed=signed_by(request, house), number=entry, shown=_shown_deed(deed))
        except JournalError as error:
            raise HTTPException(409, str(error)) from error
        return back(night, place_of(plan, key))

    @router.post("/evening/untick", include_in_schema=False)
    def take_back(
        request: Request, night: Annotated[date, Form()], key: Key, _: Annotated[Who, Depends(need("helper"))]
    ) -> Response:
        try:
            untick(house.ledger, night, key, signed=signed_by(request, house))
        except JournalError as error:
            raise HTTPException(409, str(error)) from error
        return back(night, place_of(shown(night), key))

    @router.post("/evening/leave", include_in_schema=False)
    def leave(
        request: Request, night: Annotated[date, Form()], key: Key, _: Annotated[Who, Depends(need("helper"))]
    ) -> Response:
        # What was taken back meanwhile does not stay.
        if key in ticks_of(house.ledger, night).done:
            leave_standing(house.ledger, night, key, signed=signed_by(request, house))
        return back(night, "#before-dark")

    @router.post("/evening/take-off", include_in_schema=False)
    def take_off(
        request: Request, night: Annotated[date, Form()], key: Key, _: Annotated[Who, Depends(need("helper"))]
    ) -> Response:
        """Tell that what was done is undone again: no slip of the finger, so no hour holds it."""
        if of_the_evening(key):
            untick(house.ledger, night, key, signed=signed_by(request, house), within=None)
        return back(night, "#before-dark")

    @router.post("/evening/replan", include_in_schema=False)
    def again(request: Request, night: Annotated[date, Form()], _: Annotated[Who, Depends(need("helper"))]) -> Response:
        ask_again(house.ledger, shown(night), signed=signed_by(request, house))
        # The page itself waits for the new plan, and says so.
        return back(night, "")

    @router.get("/evening/ticks.json", include_in_schema=False)
    def ticks(night: Annotated[date, Query()]) -> Response:
        yard, version = house.yard()
        plan = latest_plan(house.journal, version.yard, night)
        found = ticks_of(house.ledger, night)
        return JSONResponse(
            {
                "plan": _knows(plan) if plan is not None else "",
                "done": states_of(found, Household(yard.display, ZoneInfo(yard.location.time_zone)), house.clock()),
                "changed": changed_words(changed_since(plan, found)) if plan is not None else "",
            },
            headers={"cache-control": "no-store"},
        )

    return router


def _shown_deed(text: str) -> Deed | None:
    """Read what the page said that a form was sent from; None where it cannot be read."""
    try:
        return Deed.model_validate(json.loads(text)["body"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def place_of(plan: EveningPlan, key: str) -> str:
    """Give the fragment of the page at which a task stands."""
    task = task_of(plan, key)
    if task is None:
        return "#before-dark"
    evening = task in plan.tasks and task.when not in AFTER
    return f"#task-{'evening' if evening else 'morning'}-{task.order}"
