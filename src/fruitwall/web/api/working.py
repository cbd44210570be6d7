"""Long work asked for by programs: its result, or how far it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import Request, Response
from pydantic import BaseModel, Field

from fruitwall.web.who import who
from fruitwall.web.winters.runner import PATIENCE_S, Do, Runner, State

if TYPE_CHECKING:
    from starlette.datastructures import Headers

AGAIN_S = 5
"""After so long it is worth asking again. Our judgement. [s]"""


class WorkAnswer(BaseModel):
    """How far long work is."""

    state: State = Field(
        description="stopped: somebody stopped it on its page, where it can be begun again", examples=["running"]
    )
    share: float = Field(description="Done, 0 to 1", examples=[0.42])
    left_s: float | None = Field(description="Time left; null before it is known [s]", examples=[95.0])


def worked_out(runner: Runner, key: str, do: Do, request: Request, *, what: str, place: str) -> Any:
    """Give the result of long work, begun by whoever asks first; until it is there, tell how far it is.

    Parameters
    ----------
    runner : Runner
    key : str
        By content: the same as that of the page.
    do : callable (heard, stop) -> result
    request : Request
        Helpers and owners begin it; others only look, and so do pages of other sites and what a browser fetches in
        case it is wanted.
    what, place : str
        In words (`speech.marked`), and the page that shows it.

    Returns
    -------
    result or Response
        A Response (202, to be asked again) until it is done.

    Raises
    ------
    Exception
        What went wrong, once; whoever asks again has it tried again.
    """
    if who(request).may("helper") and _meant(request.headers) and runner.standing(key).state == "unknown":
        runner.start(key, do, what=what, place=place)
        runner.wait(key, PATIENCE_S)
    standing = runner.standing(key)
    if standing.error is not None:
        runner.forget(key)
        raise standing.error
    if standing.state == "done":
        try:
            return runner.result(key)
        except LookupError:  # dropped meanwhile
            pass
    told = WorkAnswer(state=standing.state, share=standing.progress.share, left_s=standing.progress.left_s)
    return Response(told.model_dump_json(), 202, {"retry-after": f"{AGAIN_S}"}, media_type="application/json")


def _meant(headers: Headers) -> bool:
    """Tell whether somebody means a request: no page of another site made it, and no browser by way of precaution."""
    return headers.get("sec-fetch-site", "none") in ("same-origin", "none") and "prefetch" not in headers.get(
        "sec-purpose", ""
    )
