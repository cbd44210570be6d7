"""The cold ledger as a document: SI units, times in UTC."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import Field

from fruitwall.service.evening_document import Document

Tissue = Literal["leaf", "twig", "wood", "fruit", "root"]
LevelKind = Literal["begins", "grade", "chill", "fruit", "flower", "fixed"]


class ColdLevel(Document):
    """A temperature below which is counted, and at which tissue."""

    key: str = Field(description="The same for every winter", examples=["leaf-2", "fixed-0C"])
    kind: LevelKind = Field(description="begins: where harm begins; fixed: a round number, the same for all trees")
    grade: int | None = Field(default=None, ge=1, le=7, description="Grade of injury that half of such trees reach")
    tissue: Tissue
    level_c: float


class ColdCount(Document):
    """What was counted below one level."""

    nights: int = Field(description="Nights, noon to noon, with at least one hour below")
    hours: int = Field(description="Hours whose mean lies below")
    degree_hours: float = Field(description="Sum over these hours of how far below they lie [K h]")
    longest_h: int = Field(description="Most such hours in a row")


class ColdLine(Document):
    """One level: with what was done, and had the tree been left alone."""

    level: ColdLevel
    done: ColdCount
    alone: ColdCount


class Coldest(Document):
    """The lowest hour of one tissue."""

    tissue: Tissue
    done_c: float
    done_night: date = Field(description="Night, by the date of its evening")
    alone_c: float
    alone_night: date


class WinterCold(Document):
    """What one tree went through from the beginning of a winter to some hour."""

    name: str = Field(examples=["2026/27"])
    since: datetime
    until: datetime
    hours: int
    known_hours: int = Field(description="Hours whose weather is known; only they are counted")
    coldest: list[Coldest] = Field(description="By tissue; empty where nothing is known")
    lines: list[ColdLine]


class ColdNight(Document):
    """The lowest hour of one night at the tissue that is told."""

    night: date
    done_c: float
    alone_c: float


class ColdRange(Document):
    """The years of the climate side by side: their tenth, fiftieth and ninetieth percentile."""

    p10: float
    p50: float
    p90: float


class ClimateLine(Document):
    """One level, left alone, in the years of the climate: whole winters."""

    level: ColdLevel
    nights: ColdRange
    hours: ColdRange
    degree_hours: ColdRange


class ClimateCold(Document):
    """What the climate of the place would have brought to one tree left alone, winter by winter."""

    years: int
    coldest_c: ColdRange = Field(description="Lowest hour of the tissue that is told")
    lines: list[ClimateLine]


class TreeCold(Document):
    """The cold ledger of one tree."""

    tree: str = Field(examples=["papaya"])
    name: str
    tissue: Tissue | None = Field(description="The tissue that is told first; None where nothing is known")
    begins_c: float | None = Field(description="Where harm to it begins, in a usual winter, with what was learned")
    by_chill: bool = Field(default=False, description="Whether that is a night of eight hours above freezing")
    winter: WinterCold | None = Field(description="This winter; None where nothing is known of it")
    to_day: list[WinterCold] = Field(description="Earlier winters up to the same day, the newest first")
    whole: list[WinterCold] = Field(description="Earlier winters, all of each, the newest first")
    nights: list[ColdNight] = Field(description="This winter, oldest first")
    climate: ClimateCold | None = None


class ColdLedger(Document):
    """The cold ledger of a yard."""

    yard: str
    winter: str = Field(examples=["2026/27"])
    since: datetime
    until: datetime
    climate: str = Field(
        default="", description="Where the years of the climate come from, in English; empty without one"
    )
    trees: list[TreeCold]
