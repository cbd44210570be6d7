"""Winter chill as a document: SI units, times in UTC."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from fruitwall.plants.chill_needs import Basis
from fruitwall.plants.chill_tables import Model
from fruitwall.service.evening_document import Document


class ChillDay(Document):
    """The sum by which a tree is judged, at one moment."""

    at: datetime
    value: float = Field(description="What it has; of what is to come the middle of the courses")
    low: float | None = Field(default=None, description="Of what is to come: one course in ten has less")
    high: float | None = Field(default=None, description="Of what is to come: one course in ten has more")


class ChillMet(Document):
    """When a sum reaches a level."""

    level: float
    met: datetime | None = Field(default=None, description="End of the hour that reached it, if that is over")
    chance: float | None = Field(
        default=None, description="Share of the courses that reach it by the end of the winter; none where it is over"
    )
    p10: datetime | None = Field(default=None, description="One course in ten has reached it by then")
    p50: datetime | None = None
    p90: datetime | None = Field(default=None, description="Nine of ten have; none where fewer ever do")


class ChillNeeded(Document):
    """What a tree needs by one sum."""

    model: Model
    low: float = Field(description="From here on it may be enough")
    high: float = Field(description="From here on it is, by all that is published")
    cultivars: int = Field(description="Number of cultivars that the range is over; 1 for a known one")
    from_memory: bool = Field(description="No source of it was opened")
    from_sellers: bool = Field(description="Only nurseries tell it")
    sources: list[str]
    at_low: ChillMet
    at_high: ChillMet


class TreeChill(Document):
    """One tree."""

    tree: str
    name: str
    taxon: str
    cultivar: str | None = None
    basis: Basis = Field(description="On what the need rests: own, cultivar, kind; unknown where nothing is published")
    hours: int = Field(description="Hours of the winter that are over")
    known_hours: int = Field(description="Those of them whose temperature is known; only they are counted")
    sums: dict[Model, float] = Field(description="All sums over the known hours")
    portions_at_bud: float | None = Field(
        description="Portions had the temperature of the bare twig been counted instead of the air around it"
    )
    intermediate: float = Field(description="Of the Dynamic Model: not yet fixed, 0 to 1")
    needs: list[ChillNeeded] = Field(description="The one to judge by first; empty where it is not known")
    warmth_k_h: float | None = Field(
        default=None, description="Growing degree hours since the lower end of its need was met [K h]"
    )
    past: list[ChillDay] = Field(description="The sum of the first need, else portions, every few days")
    coming: list[ChillDay]


class ChillSeason(Document):
    """Winter chill of a yard."""

    winter: str = Field(examples=["2026/27"])
    since: datetime
    until: datetime = Field(description="End of the winter; chill after it is not counted")
    now: datetime
    forecast_until: datetime | None = Field(default=None, description="Until here a forecast, after it other years")
    coming_until: datetime | None = None
    courses: int = Field(description="Number of courses that the weather to come may take; 0 where nothing is known")
    trees: list[TreeChill] = Field(description="Those that need winter chill")
    without_need: list[str] = Field(description="Names of the trees that need none")
