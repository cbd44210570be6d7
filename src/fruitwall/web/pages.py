"""Rendering of templates and of the page that says what went wrong."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from http import HTTPStatus
from pathlib import Path
from secrets import token_hex

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from pydantic import BaseModel

from fruitwall.speech import language, say, say_count
from fruitwall.web.areas import places
from fruitwall.web.assets import Assets
from fruitwall.web.who import who

HERE = Path(__file__).parent

AGE = {"cache-control": "no-cache"}
"""Browsers ask again each time, since a plan ages by the hour and a yard file is edited."""


PROBLEM = "application/problem+json"


def for_programs(path: str) -> bool:
    """Tell whether an address is one that programs ask."""
    return path.endswith(".json") or path.startswith("/api/")


def problem_document(status: int, title: str, lines: list[str]) -> JSONResponse:
    """Say what went wrong as a problem document (RFC 9457): one shape wherever a program asks.

    Parameters
    ----------
    status : int
        HTTP status.
    title : str
        What it means, in a few words.
    lines : list of str
        What was wrong and how to mend it, a thing a line.

    Returns
    -------
    JSONResponse
        The type is ``about:blank``, so its title is the phrase of the status (4.2.1), the same in every language; what
        is said to people stands in ``detail`` and, thing by thing, in ``problems``.
    """
    told = {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": " ".join([f"{title.rstrip('.')}.", *lines]),
        "problems": lines or [title],
    }
    return JSONResponse(told, status, media_type=PROBLEM)


def holds(request: Request, mark: str) -> bool:
    """Tell whether a browser says that it holds the answer of a mark (RFC 9110, 13.1.2)."""
    return mark in (one.strip() for one in request.headers.get("if-none-match", "").split(","))


class Pages:
    """Turns templates into answers."""

    def __init__(self, assets: Assets) -> None:
        self.templates = Environment(
            loader=FileSystemLoader(HERE),
            autoescape=True,
            undefined=StrictUndefined,  # a misspelt field is a defect, not an empty place on the page
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self.templates.globals |= {"asset": assets.url, "_": say, "n_": say_count}
        self._run = token_hex(8)
        """Another one for each run of the program: a new version's pages differ where nothing else does."""
        self.areas: frozenset[str] = frozenset()
        """URLs of the areas that the application has; set once it is put together."""
        self.invented: Callable[[], bool] = lambda: False
        """Tells whether the yard that is shown is the demo's; set where there is a household."""

    def render(
        self, request: Request, template: str, *, status: int = 200, state: str | None = None, **values: object
    ) -> Response:
        """Render a page.

        Parameters
        ----------
        request : Request
        template : str
        status : int
            HTTP status.
        state : str or None
            Differs whenever anything of `values` that is seen does. A browser that holds the page of this state is
            told that it has not changed.
        **values
            What the template asks for.
        """
        path = request.url.path
        around = {
            "path": path,
            "places": places(self.areas, path),
            "who": who(request),
            "language": language(),
            "invented": self.invented() and who(request).known,
        }
        headers = AGE
        if state is not None:
            told = repr((self._run, template, around, state))
            mark = f'W/"{sha256(told.encode()).hexdigest()[:32]}"'  # weak: ids of forms that nobody sent may differ
            headers = AGE | {"etag": mark}
            if holds(request, mark):
                return Response(status_code=304, headers=headers)
        text = self.templates.get_template(template).render(**around, **values)
        return HTMLResponse(text, status, headers=headers)

    @staticmethod
    def document(model: BaseModel) -> Response:
        """Answer with a document as JSON, asked for again each time like the page that shows it."""
        return Response(model.model_dump_json(), media_type="application/json", headers=AGE)

    def problem(self, request: Request, status: int, title: str, lines: list[str]) -> Response:
        """Say what went wrong: a page for people, a problem document (RFC 9457) for programs.

        Parameters
        ----------
        request : Request
        status : int
            HTTP status.
        title : str
            What it means, in a few words.
        lines : list of str
            What was wrong and how to mend it.
        """
        if for_programs(request.url.path):
            return problem_document(status, title, lines)
        return self.render(request, "error.html", status=status, title=title, lines=lines, number=status)
