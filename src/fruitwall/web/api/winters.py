"""Many winters for programs: what is known, and each part's document, or how far it is."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, HTTPException, Request

from fruitwall.service.house import House
from fruitwall.service.winters_document import PartKey, WintersDocument
from fruitwall.service.winters_gear_document import GearDocument
from fruitwall.service.winters_rules_document import RulesDocument
from fruitwall.service.winters_search_document import SearchDocument
from fruitwall.service.winters_years_document import YearsDocument
from fruitwall.speech import say
from fruitwall.web.api.working import WorkAnswer, worked_out
from fruitwall.web.winters.choice import AskedChoice, choice_query
from fruitwall.web.winters.runner import Heard, Runner, Stop


def add_winters(router: APIRouter, house: House, runner: Runner) -> None:
    """Add the addresses of many winters to the interface.

    Parameters
    ----------
    router : APIRouter
    house : House
    runner : Runner
        The application's one: long work is begun there, and told of with 202.
    """

    @router.get("/winters", tags=["winters"])
    def winters(choice: AskedChoice) -> WintersDocument:
        """Tell which winters are known, and what each part said when it was last worked out."""
        from fruitwall.service.winters import winters_overview

        return winters_overview(house, choice)

    @router.get("/winters/{part}", tags=["winters"], responses={202: {"model": WorkAnswer}})
    def winters_of(
        request: Request, part: PartKey, choice: AskedChoice
    ) -> YearsDocument | RulesDocument | SearchDocument | GearDocument:
        """Give one part: years, rules, search, gear.

        The first time takes minutes: 202 with how far it is; ask again. What is worked out is kept.
        """
        from fruitwall.service.winters import PARTS, part_document, part_mark

        key = part_mark(house, part, choice)
        if key is None:
            raise HTTPException(
                404, say("No whole winter of this place is known yet. Give some years of past weather first.")
            )

        def do(heard: Heard, stop: Stop) -> Any:
            return part_document(house, part, choice, heard=heard, stop=stop)

        what = next(one.title for one in PARTS if one.key == part)
        place = f"/winters/{part}{choice_query(choice)}"
        return worked_out(runner, key, do, request, what=what, place=place)  # type: ignore[no-any-return]
