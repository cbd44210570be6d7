"""Where the buttons of long work lead: begin it, go on with it, stop it."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Form, Response
from fastapi.responses import RedirectResponse

from fruitwall.web.access.routes import place_within
from fruitwall.web.who import Who, need
from fruitwall.web.winters.runner import Runner

Name = Annotated[str, Form(min_length=1, max_length=40, pattern="^[0-9a-f]+$")]
Place = Annotated[str, Form(max_length=2000, pattern="^[^\0]*$")]


def work_routes(runner: Runner) -> APIRouter:
    """Make the routes of the buttons on ``winters/working.html``.

    Parameters
    ----------
    runner : Runner
        The application's one.

    Returns
    -------
    APIRouter
        ``/winters/progress/begin`` and ``/winters/progress/stop``.
    """
    router = APIRouter(include_in_schema=False)

    @router.post("/winters/progress/{what}")
    def button(
        what: Literal["begin", "stop"], work: Name, place: Place, _: Annotated[Who, Depends(need("helper"))]
    ) -> Response:
        if what == "begin":
            runner.ask_named(work)
        else:
            runner.stop_named(work)
        return RedirectResponse(place_within(place), 303)

    return router
