"""The season for programs."""

from __future__ import annotations

from fastapi import APIRouter, Request

from fruitwall.service.house import House
from fruitwall.service.season_document import PartAnswer, SeasonAnswer, part_document, season_document
from fruitwall.service.season_part import PartKey
from fruitwall.web.reader import household_of
from fruitwall.web.who import who


def add_season(router: APIRouter, house: House) -> None:
    """Add the addresses of the season to the interface."""

    @router.get("/season", tags=["season"])
    def season(request: Request) -> SeasonAnswer:
        """Give every part of the season: verdict, doubts, tasks and its own figures. The first time takes a while."""
        from fruitwall.service.season import season_parts_told

        return season_document(season_parts_told(house, household_of(house.yard()[0], who(request))))

    @router.get("/season/{part}", tags=["season"])
    def season_of(request: Request, part: PartKey) -> PartAnswer:
        """Give one part of the season."""
        from fruitwall.service.season import season_part

        return part_document(season_part(part, house, household_of(house.yard()[0], who(request))))
