"""Addresses of house rules: side by side, and the household's own."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse

from fruitwall.errors import PlanError
from fruitwall.service.house import House
from fruitwall.speech import marked, say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import Who, need, who
from fruitwall.web.winters.choice import AskedChoice, choice_query
from fruitwall.web.winters.part import await_part
from fruitwall.web.winters.runner import Runner

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_rules_document import RulesDocument
    from fruitwall.service.winters_weather import WeatherChoice

PAGE = "/winters/rules"
OWN = f"{PAGE}/own"

WHAT = marked("House rules side by side")

TAKES = marked(
    "Every rule set is replayed on every night of every winter of your climate. That takes from half a minute to some "
    "minutes, once."
)

Typed = Annotated[str, Form(max_length=200)]
Limit = Annotated[str, Form(max_length=40)]


def rules_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the routes of house rules.

    Parameters
    ----------
    settings : WebSettings
        With a house.
    pages : Pages
        Renders templates.
    runner : Runner
        The application's one.

    Returns
    -------
    APIRouter
        ``/winters/rules``, and ``/winters/rules/own`` where own rules are written and removed.
    """
    if settings.house is None:
        raise ValueError("house rules need a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    # Plain functions: they wait for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def rules(request: Request, choice: AskedChoice) -> Response:
        from fruitwall.service.winters_rules import rules_key
        from fruitwall.web.winters.rules.page import rules_page

        yard, _ = house.yard()  # without one whoever asks is led to the start
        household = household_of(yard, who(request))
        mark = rules_key(house, choice)
        found: RulesDocument | Response = await_part(
            pages, request, runner, house, "rules", choice, mark=mark, what=WHAT, takes=say(TAKES)
        )
        if isinstance(found, Response):
            return found
        return pages.render(request, "winters/rules/winters-rules.html", page=rules_page(found, household, choice))

    def show(request: Request, choice: WeatherChoice, typed: dict[str, str] | None = None, error: str = "") -> Response:
        from fruitwall.service.winters_rules import kept_rules
        from fruitwall.web.winters.rules.page import own_page

        yard, _ = house.yard()
        page = own_page(yard, kept_rules(house), household_of(yard, who(request)), choice, typed=typed, error=error)
        return pages.render(
            request,
            "winters/rules/winters-rules-own.html",
            status=422 if error else 200,
            page=page,
            may=who(request).may("helper"),
        )

    @router.api_route(OWN, methods=["GET", "HEAD"])
    def own(request: Request, choice: AskedChoice) -> Response:
        return show(request, choice)

    @router.post(OWN)
    def write(
        request: Request,
        choice: AskedChoice,
        asking: Annotated[Who, Depends(need("helper"))],
        trees: Typed = "",
        way: Typed = "below",
        cover: Limit = "",
        heat: Limit = "",
        carry: Limit = "",
        death: Limit = "",
    ) -> Response:
        from fruitwall.service.winters_rules import keep_rule, read_rule

        yard, _ = house.yard()
        household = household_of(yard, who(request))
        typed = {"trees": trees, "way": way, "cover": cover, "heat": heat, "carry": carry, "death": death}
        try:
            rule = read_rule(typed, lambda text: celsius(text, household))
            keep_rule(house, rule, author=asking.name, now=house.clock())
        except PlanError as error:
            return show(request, choice, typed, household.in_own_units(str(error)))
        return RedirectResponse(f"{OWN}{choice_query(choice)}", 303)

    @router.post(f"{OWN}/remove")
    def remove(choice: AskedChoice, asking: Annotated[Who, Depends(need("helper"))], trees: Typed = "") -> Response:
        from fruitwall.service.winters_rules import remove_rule

        remove_rule(house, trees, author=asking.name, now=house.clock())
        return RedirectResponse(f"{OWN}{choice_query(choice)}", 303)

    return router


def celsius(text: str, household: Household) -> float:
    """Read a temperature in the reader's unit, with either decimal mark. [°C]

    Raises
    ------
    ValueError
        If it is none.
    """
    minus = text.replace("\N{MINUS SIGN}", "-").replace(",", ".")
    value = float(minus.strip().removesuffix(household.degree).strip())
    if not math.isfinite(value):
        raise ValueError(text)
    return (value - 32.0) / 1.8 if household.fahrenheit else value
