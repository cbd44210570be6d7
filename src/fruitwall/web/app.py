"""The application: every part put together, nothing done on import."""

from __future__ import annotations

from http import HTTPStatus

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.middleware.gzip import GZipMiddleware
from starlette.exceptions import HTTPException as StarletteHTTPException

from fruitwall.errors import FruitwallError, SourceUnavailable
from fruitwall.web.assets import Assets
from fruitwall.web.evening.routes import evening_routes
from fruitwall.web.guard import Guard
from fruitwall.web.kinds.routes import kind_routes
from fruitwall.web.pages import HERE, Pages
from fruitwall.web.settings import WebSettings

FOR_EVER = "public, max-age=31536000, immutable"
TITLES = {404: "There is no such page", 405: "This page can only be looked at"}


def create_app(settings: WebSettings) -> FastAPI:
    """Make the application.

    Parameters
    ----------
    settings : WebSettings
        Where plans, yard and time come from, and under which names to answer.

    Returns
    -------
    FastAPI
        ``/`` tonight, ``/night/2026-12-22`` another night, ``/plan.json`` the document, ``/kinds`` what is
        known of each kind, ``/gear`` what is published on containers and covers, ``/health``.
    """
    assets = Assets([HERE, HERE / "evening", HERE / "kinds", HERE / "sheet"])
    pages = Pages(assets)
    # No ready-made API pages: they load scripts from elsewhere, which the content policy rightly refuses.
    app = FastAPI(title="fruitwall", docs_url=None, redoc_url=None, openapi_url=None)
    app.include_router(evening_routes(settings, pages))
    app.include_router(kind_routes(settings, pages))

    @app.api_route("/static/{name}", methods=["GET", "HEAD"], include_in_schema=False)
    async def static(request: Request) -> Response:
        asset = assets.at(request.url.path)
        if asset is None:
            raise HTTPException(404)
        return Response(asset.body, media_type=asset.kind, headers={"cache-control": FOR_EVER})

    @app.api_route("/health", methods=["GET", "HEAD"])
    async def health() -> dict[str, str]:
        return {"status": "ok"}

    _answer_errors(app, pages)
    app.add_middleware(GZipMiddleware, minimum_size=1024)
    app.add_middleware(
        Guard,
        hosts=settings.hosts,
        defect_page=lambda request: pages.problem(
            request,
            500,
            "Something in fruitwall is broken",
            ["This is a defect of the program and none of yours. What happened is in the log of the server."],
        ),
    )
    return app


def _answer_errors(app: FastAPI, pages: Pages) -> None:
    """Turn known errors into pages; what is not known is a defect and goes to the guard."""

    @app.exception_handler(FruitwallError)
    async def mendable(request: Request, error: FruitwallError) -> Response:
        lines = str(error).splitlines()
        if isinstance(error, SourceUnavailable):
            return pages.problem(request, 503, "The weather service did not answer", lines)
        return pages.problem(request, 422, "This has to be mended first", lines)

    @app.exception_handler(StarletteHTTPException)
    async def refused(request: Request, error: StarletteHTTPException) -> Response:
        title = TITLES.get(error.status_code, "This was refused")
        own_words = error.detail != HTTPStatus(error.status_code).phrase
        answer = pages.problem(request, error.status_code, title, [str(error.detail)] if own_words else [])
        answer.headers.update(error.headers or {})
        return answer

    @app.exception_handler(RequestValidationError)
    async def unreadable(request: Request, error: RequestValidationError) -> Response:
        lines = [f"{'.'.join(str(part) for part in one['loc'][1:])}: {one['msg']}" for one in error.errors()]
        return pages.problem(request, 422, "The address asks for something impossible", lines)
