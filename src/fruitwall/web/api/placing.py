"""Placing for programs: the answer, or how far it is."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, HTTPException, Query, Request, Response

from fruitwall.service.house import House
from fruitwall.service.placing_asked import MOST_KINDS
from fruitwall.service.placing_document import PlacingAnswer
from fruitwall.speech import marked, say
from fruitwall.web.api.working import WorkAnswer, worked_out
from fruitwall.web.reader import household_of
from fruitwall.web.who import who
from fruitwall.web.winters.choice import AskedChoice
from fruitwall.web.winters.runner import Heard, Runner, Stop

if TYPE_CHECKING:
    from collections.abc import Callable

    from fruitwall.service.placing import GrowsFound, PotFound, SitesFound, WishFound

    Found = SitesFound | PotFound | WishFound | GrowsFound

WHAT = marked("Placing, asked by a program")

Text = Annotated[str, Query(max_length=100, pattern="^[^\0]*$")]


def add_placing(router: APIRouter, house: House, runner: Runner) -> None:
    """Add the address of placing to the interface.

    Parameters
    ----------
    router : APIRouter
    house : House
    runner : Runner
        The application's one: long work is begun there, and told of with 202.
    """

    @router.get("/placing", tags=["winters"], responses={202: {"model": WorkAnswer}})
    def placing(
        request: Request,
        choice: AskedChoice,
        taxon: Annotated[
            list[Text], Query(description="Kinds by any name: their best places", max_length=MOST_KINDS)
        ] = [],  # noqa: B006
        pot: Annotated[Text, Query(description="A container tree: plant it out or not")] = "",
        wish: Annotated[
            str, Query(max_length=800, pattern="^[^\0]*$", alias="list", description="mango: 2, lychee")
        ] = "",
        everything: Annotated[bool, Query(alias="all", description="Rank all kinds")] = False,
        age: Annotated[float, Query(ge=0.5, le=50.0, allow_inf_nan=False, description="When planted [years]")] = 3.0,
    ) -> PlacingAnswer:
        """Tell where to plant. Ask one thing: taxon, pot, list, or all.

        The first time takes minutes: 202 with how far it is; ask again. What is worked out is kept.
        """
        from fruitwall.service import placing as service
        from fruitwall.service.own_kinds import catalogue_of
        from fruitwall.service.placing_asked import pot_of, wishes_of
        from fruitwall.service.placing_document import placing_document

        if sum([bool(taxon), bool(pot), bool(wish), everything]) != 1:
            raise HTTPException(422, say("Ask one thing: taxon, pot, list, or all."))
        yard, _ = house.yard()
        known = catalogue_of(yard)
        do: Callable[..., Found]
        if taxon:
            names = list(dict.fromkeys(known.find(name).scientific for name in taxon))
            question, do = f"kind {(tuple(names), age)}", partial(service.sites_for, house, names, age_years=age)
        elif pot:
            tree = pot_of(yard, pot).id
            question, do = f"pot {tree}", partial(service.pot_question, house, tree)
        elif wish:
            wishes = wishes_of(wish, yard, known)
            question, do = f"list {(wishes, age)}", partial(service.wish_list, house, wishes, age_years=age)
        else:
            question, do = "all ", partial(service.what_grows, house)
        key = service.placing_key(house, question, choice)
        if key is None:
            raise HTTPException(
                422, say("No whole winter of this place is known yet. Give some years of past weather first.")
            )

        def work(heard: Heard, stop: Stop) -> Found:
            return do(choice=choice, heard=heard, stop=stop)

        found = worked_out(runner, key, work, request, what=WHAT, place="/placing")
        if isinstance(found, Response):
            return found  # type: ignore[return-value]
        return placing_document(found, yard, known, household_of(yard, who(request)))
