"""Long work behind pages: one thing at a time, with progress and time left, to be stopped and resumed.

How a page uses it (the same for ``/winters/...`` and ``/placing``). The routes get the application's one runner::

    def rules_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
        ...

        @router.api_route(PAGE, methods=["GET", "HEAD"])
        def rules(request: Request) -> Response:
            ...

            def do(heard: Heard, stop: Stop) -> list[Compared]:
                return compare(house, rule_sets, choice, ahead, heard=heard, stop=stop)

            found = await_work(pages, request, runner, key, do, marked("House rules over many winters"))
            if isinstance(found, Response):
                return found
            return pages.render(request, "winters/rules/winters-rules.html", page=rules_page(found, ...))

- `key` is by content: the yard's version, the climate, what was learned (`Ground.mark`, or what it is made of), and
  what was chosen on the page. The same key asked twice is the same work.
- A page that is only looked at begins nothing: it shows a button, and what is known of how long it takes (`takes`).
  With ``at_once=True`` it begins by itself: for what takes seconds, or is kept already (`service.work.share_kept`).
- `do` runs in one thread, in English: what it gives must be data or sentences that were `speech.told`; words are made
  for the reader in ``page.py`` (`say_again`). The same holds for `Progress.what`.
- Errors of the family `FruitwallError` are told with a button to try again, in the reader's language. Parts that were
  done are kept by `service.work`, so that resumed work goes on where it was.
- The last `MOST_RESULTS` results stay in memory.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from hashlib import sha256
from typing import Any, Literal, TypeVar

from fastapi import Request, Response

from fruitwall.errors import FruitwallError, noting_errors
from fruitwall.service.work import Progress, Stopped, left_words
from fruitwall.speech import say, say_again
from fruitwall.web.pages import Pages
from fruitwall.web.who import who

Heard = Callable[[Progress], None]
Stop = Callable[[], bool]
Do = Callable[[Heard, Stop], Any]
Result = TypeVar("Result")

MOST_RESULTS = 24
"""So many results are kept in memory. Our judgement: those of all pages, for a few choices each."""

PATIENCE_S = 1.0
"""So long a page waits for work that it has just begun, before it shows how far it is. Our judgement. [s]"""

LOOK_AGAIN_S, SELDOM_S = 2, 15
"""A browser asks again after so long, seldom where much is left. Our judgement. [s]"""

LATE_S = 15.0
"""So much longer than thought may work take before that is told. Our judgement. [s]"""

State = Literal["unknown", "waiting", "running", "stopping", "stopped", "failed", "done"]


@dataclass(frozen=True)
class Standing:
    """How some work stands.

    Attributes
    ----------
    state : str
        ``unknown``: it was not asked for, or its result was dropped; ``waiting`` for other work.
    progress : Progress
        Of nothing, before it has told any.
    error : BaseException or None
        Why it failed.
    what, place : str
        In words (`say_again` says them), and the page that shows it.
    late : bool
        Whether the part that is being done takes longer than all that was left was thought to take.
    """

    state: State = "unknown"
    progress: Progress = field(default_factory=lambda: Progress(0.0, None, ""))
    error: BaseException | None = None
    what: str = ""
    place: str = ""
    late: bool = False

    @property
    def going_on(self) -> bool:
        """Whether it will come to an end by itself."""
        return self.state in ("waiting", "running", "stopping")


@dataclass(eq=False)
class _Job:
    do: Do
    what: str
    place: str
    state: State = "waiting"
    progress: Progress = field(default_factory=lambda: Progress(0.0, None, ""))
    heard_s: float = 0.0
    value: Any = None
    error: BaseException | None = None
    to_stop: threading.Event = field(default_factory=threading.Event)
    ended: threading.Event = field(default_factory=threading.Event)

    def standing(self, now_s: float) -> Standing:
        """Tell how it stands; what was left when it was last heard of has become less since."""
        left_s, late = self.progress.left_s, False
        if self.state == "running" and left_s is not None:
            left_s -= now_s - self.heard_s
            late = left_s < -LATE_S
        progress = replace(self.progress, left_s=None if left_s is None or late else max(left_s, 0.0))
        return Standing(self.state, progress, self.error, self.what, self.place, late)


def name_of(key: str) -> str:
    """Give the short name of work, as forms carry it."""
    return sha256(key.encode()).hexdigest()[:24]


class Runner:
    """Does long work in a thread of its own, one after the other. May be used by several threads.

    Parameters
    ----------
    most : int
        How many results are kept; those asked for longest ago are dropped.
    ticks : callable () -> float
        Tells how time passes. [s]
    """

    def __init__(self, most: int = MOST_RESULTS, ticks: Callable[[], float] = time.monotonic) -> None:
        self._most, self._ticks = most, ticks
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, _Job] = OrderedDict()
        self._queue: deque[_Job] = deque()
        self._busy = False
        self._asked: OrderedDict[str, None] = OrderedDict()

    def start(self, key: str, do: Do, *, what: str = "", place: str = "") -> None:
        """Begin some work, or go on with work that was stopped or failed; nothing where it is going on or done.

        Parameters
        ----------
        key : str
            By content.
        do : callable (heard, stop) -> object
            Tells its `Progress` to the first, asks the second whether to stop, and then raises `Stopped`.
        what, place : str
            In words, and the page that shows it.
        """
        name = name_of(key)
        with self._lock:
            self._asked.pop(name, None)
            job = self._jobs.get(name)
            if job is not None and job.state in ("waiting", "running", "done"):
                return
            if job is not None and job.state == "stopping":
                # It was stopped and is wanted after all: it goes on, unless it is ending just now.
                job.to_stop.clear()
                job.state = "running"
                return
            job = self._jobs[name] = _Job(do, what, place)
            self._jobs.move_to_end(name)
            self._queue.append(job)
            self._drop()
            if not self._busy:
                self._busy = True
                # A daemon: Ctrl-C ends the server without waiting; what was done is kept part by part.
                threading.Thread(target=self._run, name="fruitwall-long-work", daemon=True).start()

    def standing(self, key: str) -> Standing:
        """Tell how some work stands."""
        with self._lock:
            job = self._jobs.get(name_of(key))
            return Standing() if job is None else job.standing(self._ticks())

    def progress(self, key: str) -> Progress | None:
        """Tell how far some work is; None where it is not going on."""
        standing = self.standing(key)
        return standing.progress if standing.going_on else None

    def going_on(self) -> list[Standing]:
        """Tell of all work that is going on or waits, in its order."""
        with self._lock:
            now_s = self._ticks()
            return [
                job.standing(now_s) for job in self._jobs.values() if job.state in ("waiting", "running", "stopping")
            ]

    def stop(self, key: str) -> None:
        """Have some work stop; what it has done is kept."""
        self.stop_named(name_of(key))

    def stop_named(self, name: str) -> None:
        """Have the work of a name (`name_of`) stop."""
        with self._lock:
            self._asked.pop(name, None)
            job = self._jobs.get(name)
            if job is None or job.state not in ("waiting", "running"):
                return
            job.to_stop.set()
            if job.state == "waiting":
                self._queue.remove(job)
                job.state = "stopped"
                job.ended.set()
            else:
                job.state = "stopping"

    def ask_named(self, name: str) -> None:
        """Have the work of a name begin, or begin again, as soon as its page is asked for."""
        with self._lock:
            self._asked[name] = None
            while len(self._asked) > 4 * self._most:
                self._asked.popitem(last=False)

    def asked(self, key: str) -> bool:
        """Tell whether some work was asked for and is not begun yet."""
        with self._lock:
            return name_of(key) in self._asked

    def wait(self, key: str, seconds: float) -> None:
        """Wait until some work has ended, or for so long."""
        with self._lock:
            job = self._jobs.get(name_of(key))
        if job is not None:
            job.ended.wait(seconds)

    def result(self, key: str) -> Any:
        """Give what some work gave; raises its error.

        Raises
        ------
        LookupError
            If it is not done.
        """
        name = name_of(key)
        with self._lock:
            job = self._jobs.get(name)
            if job is not None:
                self._jobs.move_to_end(name)
        if job is None or job.state not in ("done", "failed"):
            raise LookupError(f"there is no result of {key} yet")
        if job.error is not None:
            raise job.error
        return job.value

    def forget(self, key: str) -> None:
        """Drop what ended, so that it is begun anew."""
        name = name_of(key)
        with self._lock:
            job = self._jobs.get(name)
            if job is not None and job.state in ("done", "failed", "stopped"):
                del self._jobs[name]

    def _run(self) -> None:
        """Do all that waits, then end: a server that nobody asks keeps no thread for it."""
        while True:
            with self._lock:
                if not self._queue:
                    self._busy = False
                    return
                job = self._queue.popleft()
                job.state = "running"
            state: State = "failed"
            try:
                with noting_errors():
                    job.value = job.do(partial(self._hear, job), job.to_stop.is_set)
                state = "done"
            except Stopped:
                state = "stopped"
            except BaseException as error:  # whatever it is, whoever asks must hear of it
                job.error = error
            with self._lock:
                job.state = state
                self._drop()
            job.ended.set()

    def _hear(self, job: _Job, told: Progress) -> None:
        with self._lock:
            job.progress, job.heard_s = told, self._ticks()

    def _drop(self) -> None:
        """Drop what ended and was asked for longest ago."""
        ended = [name for name, job in self._jobs.items() if job.state in ("done", "failed", "stopped")]
        for name in ended[: max(0, len(ended) - self._most)]:
            del self._jobs[name]


@dataclass(frozen=True)
class Working:
    """The page of work that is not done.

    Attributes
    ----------
    title : str
    state : str
        As `Standing.state`.
    percent : int
        Done. [%]
    told : tuple of str
        How far it is, in sentences.
    lines : tuple of str
        What went wrong.
    name, place : str
        What its buttons send.
    """

    title: str
    state: State
    percent: int
    told: tuple[str, ...]
    lines: tuple[str, ...]
    name: str
    place: str


def await_work(
    pages: Pages,
    request: Request,
    runner: Runner,
    key: str,
    do: Callable[[Heard, Stop], Result],
    what: str,
    *,
    at_once: bool = False,
    takes: str = "",
) -> Result | Response:
    """Give the result of long work, or the page that shows how far it is, with its buttons.

    Parameters
    ----------
    pages : Pages
        Renders templates.
    request : Request
        For a page that GET gives; its address with what was chosen is where the buttons lead back to.
    runner : Runner
    key : str
        By content; see the module.
    do : callable (heard, stop) -> result
    what : str
        Heading of the page: `speech.marked` or `speech.told`.
    at_once : bool
        Whether looking at the page begins the work.
    takes : str
        How long it takes and what is done, in the reader's language; shown before it is begun.

    Returns
    -------
    result or Response
        A Response (202; 422 where it failed) until it is done.
    """
    place = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    standing = runner.standing(key)
    begins = runner.asked(key) or (at_once and standing.state == "unknown")
    if begins and request.method != "HEAD":
        runner.start(key, do, what=what, place=place)
        runner.wait(key, PATIENCE_S)
        standing = runner.standing(key)
    if standing.state == "done":
        try:
            result: Result = runner.result(key)
        except LookupError:  # dropped meanwhile
            standing = Standing()
        else:
            return result
    if standing.error is not None and not isinstance(standing.error, FruitwallError):
        runner.forget(key)
        raise standing.error
    page = working_page(standing, what, takes, name=name_of(key), place=place, ahead=_ahead(runner, standing))
    answer = pages.render(
        request,
        "winters/working.html",
        status=422 if standing.state == "failed" else 202,
        page=page,
        may=who(request).may("helper"),
    )
    if standing.going_on:
        left_s = standing.progress.left_s or 0.0
        answer.headers["refresh"] = f"{min(SELDOM_S, max(LOOK_AGAIN_S, round(left_s / 20)))}"
    return answer


def working_page(standing: Standing, what: str, takes: str, *, name: str, place: str, ahead: str) -> Working:
    """Put the page of work that is not done together.

    Parameters
    ----------
    standing : Standing
    what, takes : str
        As for `await_work`.
    name, place : str
        What its buttons send.
    ahead : str
        What is done before it, where it waits.
    """
    told: list[str] = []
    progress = standing.progress
    percent = min(99, int(100 * progress.share))
    if standing.state == "unknown":
        told += [takes] if takes else []
    elif standing.state == "waiting":
        told.append(say("It waits until other work is done: {work}.", work=ahead) if ahead else say("It begins soon."))
    elif standing.state in ("running", "stopping", "stopped"):
        told.append(say("{percent} % done.", percent=percent))
    if standing.state == "running":
        told.append(left_told(standing))
        if progress.what:
            told.append(say("Now: {what}.", what=say_again(progress.what)))
    elif standing.state == "stopping":
        told.append(say("It stops as soon as the part that is being done is finished."))
    elif standing.state == "stopped":
        told.append(say("It was stopped. What is done is kept; it goes on from there."))
    lines = tuple(str(standing.error).splitlines()) if standing.error is not None else ()
    return Working(say_again(what), standing.state, percent, tuple(told), lines, name, place)


def left_told(standing: Standing) -> str:
    """Say how much time is left of work that is being done."""
    if standing.late:
        return say("It takes longer than was thought; how long is not known.")
    return left_words(standing.progress.left_s)


def _ahead(runner: Runner, standing: Standing) -> str:
    """Say what is being done before work that waits."""
    if standing.state != "waiting":
        return ""
    return next((say_again(one.what) for one in runner.going_on() if one.state != "waiting" and one.what), "")
