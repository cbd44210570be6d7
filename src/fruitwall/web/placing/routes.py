"""Address of placing."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any, Literal
from urllib.parse import parse_qsl

from fastapi import APIRouter, Query, Request, Response

from fruitwall.errors import FruitwallError
from fruitwall.service.house import House
from fruitwall.speech import marked, say
from fruitwall.web.pages import Pages
from fruitwall.web.reader import household_of
from fruitwall.web.settings import WebSettings
from fruitwall.web.who import who
from fruitwall.web.winters.choice import AskedChoice, choice_query
from fruitwall.web.winters.runner import Heard, Runner, Stop, await_work

if TYPE_CHECKING:
    from fruitwall.service.placing import GrowsFound, PotFound, SitesFound, WishFound
    from fruitwall.web.placing.page import Forms, PlacingPage

    Found = SitesFound | PotFound | WishFound | GrowsFound

PAGE = "/placing"

LONGEST_LIST = 800
"""Letters of a wish list: it stands in the address, so that an answer can be kept as a bookmark."""

WHATS = {
    "kind": marked("Placing: the best places for a kind"),
    "pot": marked("Placing: plant it out or not"),
    "list": marked("Placing: a wish list"),
    "all": marked("Placing: what grows here unprotected"),
}

TAKES = marked(
    "Every place of the yard is taken through every winter that is known. That takes from half a minute to some "
    "minutes, once; what is done is kept."
)

Ask = Annotated[Literal["", "kind", "pot", "list", "all"], Query()]
Typed = Annotated[str, Query(max_length=100, pattern="^[^\0]*$")]
TypedList = Annotated[str, Query(max_length=LONGEST_LIST, pattern="^[^\0]*$")]
Age = Annotated[float, Query(ge=0.5, le=50.0, allow_inf_nan=False)]


def placing_routes(settings: WebSettings, pages: Pages, runner: Runner) -> APIRouter:
    """Make the route of placing.

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
        ``/placing``; what is asked stands in the address.
    """
    if settings.house is None:
        raise ValueError("placing needs a household")
    house: House = settings.house
    router = APIRouter(include_in_schema=False)

    # A plain function: it waits for what is worked out, which belongs into a worker thread.
    @router.api_route(PAGE, methods=["GET", "HEAD"])
    def placing(
        request: Request,
        choice: AskedChoice,
        ask: Ask = "",
        kind: Typed = "",
        age: Age = 3.0,
        pot: Typed = "",
        wish: Annotated[TypedList, Query(alias="list")] = "",
    ) -> Response:
        from fruitwall.service import placing as service
        from fruitwall.service.own_kinds import catalogue_of
        from fruitwall.service.placing_asked import pot_of, wishes_of
        from fruitwall.web.placing import page as laid

        yard, _ = house.yard()  # without one whoever asks is led to the start
        known = catalogue_of(yard)
        household = household_of(yard, who(request))

        def forms(error: str = "") -> Forms:
            return laid.forms_of(
                yard,
                known,
                kind=kind,
                age=age,
                pot=pot,
                typed=wish,
                error=error,
                asked=ask,
                hidden=tuple(parse_qsl(choice_query(choice).removeprefix("?"))),
            )

        def shown(page: PlacingPage, status: int = 200) -> Response:
            return pages.render(request, "placing/placing.html", page=page, status=status)

        if not ask:
            return shown(laid.PlacingPage(say("Placing"), forms()))
        beside: dict[str, Any] = {"yard": yard, "household": household, "forms": forms()}
        question: object
        do: Callable[..., Found]
        lay: Callable[..., PlacingPage]
        try:
            if ask == "kind":
                taxon = known.find(kind).scientific
                question = ((taxon,), age)
                do = partial(service.sites_for, house, [taxon], age_years=age)
                lay = partial(laid.sites_page, known=known, **beside)
            elif ask == "pot":
                question = tree = pot_of(yard, pot).id
                do, lay = partial(service.pot_question, house, tree), partial(laid.pot_page, **beside)
            elif ask == "list":
                wishes = wishes_of(wish, yard, known)
                do = partial(service.wish_list, house, wishes, age_years=age)
                question = (wishes, age)
                lay = partial(laid.list_page, known=known, **beside)
            else:
                question = ""
                do, lay = partial(service.what_grows, house), partial(laid.grows_page, known=known, forms=forms())
        except FruitwallError as error:
            return shown(laid.PlacingPage(say("Placing"), forms(str(error))), status=422)
        key = service.placing_key(house, f"{ask} {question}", choice)
        if key is None:
            return shown(laid.PlacingPage(say("Placing"), forms(say(NO_WINTERS))), status=422)

        def work(heard: Heard, stop: Stop) -> Found:
            return do(choice=choice, heard=heard, stop=stop)

        found = await_work(pages, request, runner, key, work, WHATS[ask], takes=say(TAKES))
        return found if isinstance(found, Response) else shown(lay(found))

    return router


NO_WINTERS = marked("No whole winter of this place is known yet. Give some years of past weather first.")
