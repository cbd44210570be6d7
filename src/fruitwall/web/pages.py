"""Rendering of templates and of the page that says what went wrong."""

from __future__ import annotations

from pathlib import Path

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from pydantic import BaseModel

from fruitwall.web.assets import Assets

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
        self.templates.globals["asset"] = assets.url

    def render(self, request: Request, template: str, *, status: int = 200, **values: object) -> Response:
        """Render a page."""
        text = self.templates.get_template(template).render(path=request.url.path, **values)
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
        if request.url.path.endswith(".json"):
            return JSONResponse({"error": title, "problems": lines, "status": status}, status)
        return self.render(request, "error.html", status=status, title=title, lines=lines, number=status)
