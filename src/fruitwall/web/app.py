"""The application: every part put together, nothing done on import."""

from __future__ import annotations

from functools import partial
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.middleware.gzip import GZipMiddleware
from fastapi.responses import PlainTextResponse, RedirectResponse
from starlette.exceptions import HTTPException as StarletteHTTPException

from fruitwall.errors import FruitwallError, NoYard, SourceUnavailable
from fruitwall.service.accounts_waits import Waits
from fruitwall.service.first_yard import demo_is_shown
from fruitwall.speech import marked, say, speaking
from fruitwall.web.access.layer import AccessLayer
from fruitwall.web.access.people_routes import people_routes
from fruitwall.web.access.routes import access_routes
from fruitwall.web.access.sessions import browser_language, sessions_of
from fruitwall.web.api.routes import api_routes
from fruitwall.web.areas import AREAS
from fruitwall.web.assets import Assets
from fruitwall.web.causes.routes import cause_routes
from fruitwall.web.evening.routes import evening_routes
from fruitwall.web.guard import Guard
from fruitwall.web.household.routes import household_routes
from fruitwall.web.kinds.routes import kind_routes
from fruitwall.web.pages import HERE, Pages, for_programs, problem_document
from fruitwall.web.placing.routes import placing_routes
from fruitwall.web.season.chill.routes import chill_routes
from fruitwall.web.season.climate.routes import climate_routes
from fruitwall.web.season.cold.routes import cold_routes
from fruitwall.web.season.growth.routes import growth_routes
from fruitwall.web.season.heat.routes import heat_routes
from fruitwall.web.season.recovery.routes import recovery_routes
from fruitwall.web.season.report.routes import season_report_routes
from fruitwall.web.season.routes import season_routes
from fruitwall.web.season.tasks.calendar_routes import calendar_routes
from fruitwall.web.season.tasks.routes import season_task_routes
from fruitwall.web.season.water.routes import water_routes
from fruitwall.web.settings import WebSettings
from fruitwall.web.settings_pages.routes import settings_routes
from fruitwall.web.start.routes import start_routes
from fruitwall.web.surprises.routes import surprise_routes
from fruitwall.web.thermometers.routes import thermometer_routes
from fruitwall.web.trees.routes import tree_routes
from fruitwall.web.walk.routes import walk_routes
from fruitwall.web.weather.routes import weather_routes
from fruitwall.web.who import who
from fruitwall.web.winters.gear.routes import gear_routes
from fruitwall.web.winters.routes import winters_routes
from fruitwall.web.winters.rules.routes import rules_routes
from fruitwall.web.winters.runner import Runner
from fruitwall.web.winters.search.routes import search_routes
from fruitwall.web.winters.work_routes import work_routes
from fruitwall.web.winters.years.routes import years_routes
from fruitwall.web.yard.routes import yard_routes

FOR_EVER = "public, max-age=31536000, immutable"
TITLES = {404: marked("There is no such page"), 405: marked("This page can only be looked at")}

UNREADABLE = {
    "missing": marked("is missing"),
    "string_too_long": marked("is too long"),
    "string_too_short": marked("is too short"),
    "int_parsing": marked("must be a whole number"),
    "float_parsing": marked("must be a number"),
    "bool_parsing": marked("must be yes or no"),
    "date_from_datetime_parsing": marked("must be a day such as 2026-12-22"),
    "date_parsing": marked("must be a day such as 2026-12-22"),
    "datetime_parsing": marked("must be a day and a time such as 2026-12-22T15:00"),
}
"""What pydantic refused in an address or a form, in the words of a page."""


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
    folders = [
        "access",
        "causes",
        "charts",
        "evening",
        "household",
        "kinds",
        "placing",
        "season/chill",
        "season/climate",
        "season/cold",
        "season/report",
        "season/tasks",
        "season/water",
        "season/growth",
        "season/heat",
        "season/recovery",
        "season",
        "sheet",
        "start",
        "surprises",
        "thermometers",
        "trees",
        "walk",
        "weather",
        "winters",
        "winters/gear",
        "winters/rules",
        "winters/search",
        "winters/years",
        "yard",
    ]
    # The report's style serves its page and its file alike.
    assets = Assets([HERE, HERE.parent / "reports", *(HERE / name for name in folders)])
    pages = Pages(assets)
    sessions = sessions_of(settings)
    # No ready-made API pages: they load scripts from elsewhere, which the content policy rightly refuses.
    app = FastAPI(title="fruitwall", docs_url=None, redoc_url=None, openapi_url=None)
    routers = [evening_routes(settings, pages), kind_routes(settings, pages)]
    # One for all pages of long work: two at once would each take twice as long.
    runner = Runner()
    if settings.house is not None:
        pages.invented = partial(demo_is_shown, settings.house)
        routers.append(api_routes(settings, pages, runner))
        routers.append(yard_routes(settings, pages))
        routers.append(household_routes(settings, pages))
        routers.append(start_routes(settings, pages))
        routers.append(walk_routes(settings, pages))
        routers.append(weather_routes(settings, pages))
        routers.append(thermometer_routes(settings, pages))
        routers.append(tree_routes(settings, pages))
        routers.append(cause_routes(settings, pages))
        routers.append(surprise_routes(settings, pages))
        routers.append(season_routes(settings, pages))
        routers.append(water_routes(settings, pages))
        routers.append(cold_routes(settings, pages))
        routers.append(season_task_routes(settings, pages))
        routers.append(season_report_routes(settings, pages))
        routers.append(recovery_routes(settings, pages))
        routers.append(climate_routes(settings, pages))
        routers.append(growth_routes(settings, pages))
        routers.append(chill_routes(settings, pages))
        routers.append(heat_routes(settings, pages))
        routers.append(work_routes(runner))
        routers.append(winters_routes(settings, pages, runner))
        routers.append(placing_routes(settings, pages, runner))
        routers.append(search_routes(settings, pages, runner))
        routers.append(gear_routes(settings, pages, runner))
        routers.append(rules_routes(settings, pages, runner))
        routers.append(years_routes(settings, pages, runner))
    if sessions is not None:
        waits = Waits(settings.reach.seconds)
        routers += [access_routes(pages, sessions, waits), people_routes(pages, sessions, waits)]
        routers.append(settings_routes(settings, pages, sessions))
        routers.append(calendar_routes(pages, sessions))
    for router in routers:
        app.include_router(router)
    mounted = {getattr(route, "path", "") for router in routers for route in router.routes}
    pages.areas = frozenset(area.url for area in AREAS if area.url in mounted)

    @app.api_route("/more", methods=["GET", "HEAD"], include_in_schema=False)
    def more(request: Request) -> Response:
        return pages.render(request, "more.html")

    @app.api_route("/static/{name}", methods=["GET", "HEAD"], include_in_schema=False)
    async def static(request: Request) -> Response:
        asset = assets.at(request.url.path)
        if asset is None:
            raise HTTPException(404)
        return Response(asset.body, media_type=asset.kind, headers={"cache-control": FOR_EVER})

    @app.api_route("/health", methods=["GET", "HEAD"], include_in_schema=False)
    async def health() -> dict[str, str]:
        return {"status": "ok"}

    _answer_errors(app, pages)
    app.add_middleware(AccessLayer, pages=pages, sessions=sessions)
    # The usual level takes twice the time of 5 for a tenth less: a large evening page would wait longer for it.
    app.add_middleware(GZipMiddleware, minimum_size=1024, compresslevel=5)
    app.add_middleware(
        Guard,
        hosts=settings.hosts,
        any_address=settings.reach.beyond,
        host_refusal=_unknown_host,
        defect_page=lambda request: _defect(pages, request),
    )
    return app


def _defect(pages: Pages, request: Request) -> Response:
    """Tell of a defect of ours; it comes from outside the layer that knows the reader's language."""
    with speaking(who(request).language):
        lines = [say("This is a defect of the program and none of yours. What happened is in the log of the server.")]
        return pages.problem(request, 500, say("Something in fruitwall is broken"), lines)


def _unknown_host(request: Request, host: str) -> Response:
    """Refuse to answer under a host name: in plain text, since the files of a page would not come under it either.

    The names that are answered are not told: they would tell another site about the network behind a browser.
    """
    with speaking(browser_language(request)):
        told = say(
            "This server does not answer under the host name {host!r}. Whoever started it can allow more: "
            "fruitwall serve --allow-host NAME",
            host=host[:100],
        )
        if for_programs(request.scope["path"]):  # a wrong host makes no address
            return problem_document(400, say("Unknown host name"), [told])
        return PlainTextResponse(f"{told}\n", 400)


def _unreadable(error: dict[str, Any], *, for_program: bool) -> str:
    """Say what of an address or a form cannot be read; programs get the checker's own words."""
    what = ".".join(str(part) for part in error["loc"][1:])
    words = error["msg"] if for_program else say(UNREADABLE.get(error["type"], marked("cannot be read")))
    return f"{what}: {words}"


def _answer_errors(app: FastAPI, pages: Pages) -> None:
    """Turn known errors into pages; what is not known is a defect and goes to the guard."""

    @app.exception_handler(FruitwallError)
    async def mendable(request: Request, error: FruitwallError) -> Response:
        lines = str(error).splitlines()
        if isinstance(error, NoYard) and not for_programs(request.url.path):
            return RedirectResponse("/start", 303)
        if isinstance(error, SourceUnavailable):
            return pages.problem(request, 503, say("The weather service did not answer"), lines)
        return pages.problem(request, 422, say("This has to be mended first"), lines)

    @app.exception_handler(StarletteHTTPException)
    async def refused(request: Request, error: StarletteHTTPException) -> Response:
        title = say(TITLES.get(error.status_code, marked("This was refused")))
        own_words = error.detail != HTTPStatus(error.status_code).phrase
        answer = pages.problem(request, error.status_code, title, [str(error.detail)] if own_words else [])
        answer.headers.update(error.headers or {})
        return answer

    @app.exception_handler(RequestValidationError)
    async def unreadable(request: Request, error: RequestValidationError) -> Response:
        for_program = for_programs(request.url.path)
        lines = [_unreadable(one, for_program=for_program) for one in error.errors()]
        get = request.method == "GET"
        title = say("The address asks for something impossible" if get else "This cannot be taken")
        return pages.problem(request, 422, title, lines)
