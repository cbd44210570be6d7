"""Rendering of templates and of the page that says what went wrong."""

from __future__ import annotations

from pathlib import Path

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
        self.areas: frozenset[str] = frozenset()
        """URLs of the areas that the application has; set once it is put together."""

    def render(self, request: Request, template: str, *, status: int = 200, **values: object) -> Response:
        """Render a page."""
        path = request.url.path
        text = self.templates.get_template(template).render(
            path=path, places=places(self.areas, path), who=who(request), language=language(), **values
        )
        return HTMLResponse(text, status, headers=AGE)

    @staticmethod
    def document(model: BaseModel) -> Response:
        """Answer with a document as JSON, asked for again each time like the page that shows it."""
        return Response(model.model_dump_json(), media_type="application/json", headers=AGE)

    def problem(self, request: Request, status: int, title: str, lines: list[str]) -> Response:
        """Say what went wrong: a page for people, one shape of JSON for programs.

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
        if request.url.path.endswith(".json") or request.url.path.startswith("/api/"):
            return JSONResponse({"error": title, "problems": lines, "status": status}, status)
        return self.render(request, "error.html", status=status, title=title, lines=lines, number=status)
