"""Addresses of the first evening."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import YardFileError
from fruitwall.service.first_yard import begin_yard, demo_is_out, demo_is_shown, put_demo_away, show_demo
from fruitwall.web.pages import Pages
from fruitwall.web.settings import WebSettings
from fruitwall.web.start.page import StartPage, start_page
from fruitwall.web.who import Who, need

Owner = Annotated[Who, Depends(need("owner"))]


def start_routes(settings: WebSettings, pages: Pages) -> APIRouter:
    """Make the routes of the first evening.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.

    Returns
    -------
    APIRouter
        ``/start``, ``/start/demo`` and ``/start/demo/away``.
    """
    router = APIRouter()
    house = settings.house
    assert house is not None

    def shown(request: Request, page: StartPage, status: int = 200) -> Response:
        return pages.render(
            request,
            "start/start.html",
            status=status,
            page=page,
            now=house.clock(),
            fixed=house.yard_name is not None,
            demo_is_out=demo_is_out(house),
            demo_is_shown=demo_is_shown(house),
        )

    @router.api_route("/start", methods=["GET", "HEAD"], include_in_schema=False)
    def begin(request: Request, _: Owner) -> Response:
        return shown(request, start_page({}, step="place", go=""))

    @router.post("/start", include_in_schema=False)
    async def answered(request: Request, asking: Owner) -> Response:
        form = await request.form()
        typed = {name: value for name, value in form.items() if isinstance(value, str)}
        go = typed.get("go", "")
        page = start_page(typed, step=typed.get("step", ""), go=go)
        if go == "store" and page.told is not None:
            try:
                begin_yard(house, page.told, author=asking.name)
            except YardFileError as error:
                page.wrong["all"] = str(error)
            else:
                return RedirectResponse("/", 303)
        return shown(request, page, 422 if page.wrong else 200)

    @router.post("/start/demo", include_in_schema=False)
    def demo(asking: Owner) -> Response:
        show_demo(house, author=asking.name)
        return RedirectResponse("/", 303)

    @router.post("/start/demo/away", include_in_schema=False)
    def away(asking: Owner) -> Response:
        put_demo_away(house, author=asking.name)
        return RedirectResponse("/", 303)

    return router
