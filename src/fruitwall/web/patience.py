"""Pages that do not look dead: a plan that takes long is made in the background while the reader is told so."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from contextvars import copy_context
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from fastapi import Request, Response

    from fruitwall.web.pages import Pages

Made = TypeVar("Made")

LOOK_AGAIN_S = 3
"""So long a browser waits before it asks again whether all is worked out. Our judgement. [s]"""


def waiting(pages: Pages, request: Request, template: str) -> Response:
    """Tell a reader that something is still being worked out; the browser asks again by itself.

    Parameters
    ----------
    pages : Pages
        Renders templates.
    request : Request
    template : str
        Says what is being worked out.

    Returns
    -------
    Response
        202, as nothing has failed.
    """
    answer = pages.render(request, template, status=202)
    answer.headers["refresh"] = f"{LOOK_AGAIN_S}"
    return answer


class Patience(Generic[Made]):
    """Asks for plans, or for something else that takes long, and stops waiting after a while; it goes on being made.

    Parameters
    ----------
    plan_for : callable
        Gives the plan of a night, or of tonight for None; keeps what it has made.
    seconds : float
        How long to wait.
    """

    def __init__(self, plan_for: Callable[[date | None], Made], seconds: float) -> None:
        self._plan_for = plan_for
        self._seconds = seconds
        self._lock = threading.Lock()
        self._running: dict[date | None, tuple[float, Future[Made]]] = {}
        """What is being made, and until when readers wait for it. [s, of the monotonic clock]"""

    def plan(self, night: date | None) -> Made | None:
        """Give a plan, or None if it is still being made.

        Errors of `plan_for` are raised here. Whoever asks meanwhile waits for the same plan; what is done is
        forgotten, so that nobody is shown an old plan or an old error. Who comes late to one that takes long does not
        wait: many who wait would keep all of the server's threads from those who only tick.
        """
        with self._lock:
            running = self._running.get(night)
            if running is None:
                running = self._running[night] = (time.monotonic() + self._seconds, Future())
                # A daemon: Ctrl-C ends the server without waiting for a plan that nobody will read.
                # In the context of who asked first, so that an error speaks their language.
                run = partial(copy_context().run, self._make, night, running[1])
                threading.Thread(target=run, daemon=True).start()
        until, work = running
        wait([work], timeout=max(0.0, until - time.monotonic()))
        return work.result() if work.done() else None

    def _make(self, night: date | None, work: Future[Made]) -> None:
        """Make a plan and hand it to all who wait."""
        try:
            plan = self._plan_for(night)
        except BaseException as error:  # whatever it is, those who wait must hear of it
            self._forget(night)
            work.set_exception(error)
        else:
            self._forget(night)
            work.set_result(plan)

    def _forget(self, night: date | None) -> None:
        """Let the next reader ask anew."""
        with self._lock:
            del self._running[night]
