"""What more gear is worth, as a document: what page, terminal and JSON show."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fruitwall.service.evening_document import Document

GearKind = Literal["sheet", "lamps", "heater", "lead", "circuit", "person", "trolley", "room", "shelter", "barrel"]


class GearGain(Document):
    """By how much something falls a winter, over drawn futures; below 0: it rises."""

    mean: float
    p10: float
    p90: float
    error: float = Field(description="Standard error of the mean, by the number of draws")


class GearWorth(Document):
    """What one more of something is worth a winter."""

    key: str = Field(description="Of a supply, such as sheet/fleece; shelter/<tree>, barrel/<shelter>")
    kind: GearKind
    name: str = Field(description="Of the thing, the person, the place, the tree in a frame")
    step: float = Field(description="How much more: pieces, spaces, minutes, watts, litres")
    total: GearGain = Field(description="Loss and effort, in the household's currency")
    loss: GearGain = Field(description="In the household's currency")
    effort: GearGain = Field(description="Minutes, lifts, energy and wear, in the household's currency")
    minutes: GearGain
    lifts: GearGain
    kwh: GearGain
    sure: bool = Field(
        description="Whether it is worth more than the luck of the draws (two standard errors) could make"
    )
    worse: bool = Field(description="The same of what costs more effort than it saves")
    price: float | None = Field(default=None, description="As the household gave it")
    winters_to_pay: float | None = Field(default=None, description="Price over what it is worth a winter; null: never")


class GearDocument(Document):
    """What more gear is worth, the most telling first."""

    currency: str
    source: str = Field(description="Where the winters come from")
    winters: list[str] = Field(description="Names of the first and the last")
    count: int = Field(description="How many winters")
    years: int = Field(description="How far the drawn futures go")
    draws: int
    loss: float = Field(description="Expected a year as now, in the household's currency")
    effort: float = Field(description="The same")
    items: list[GearWorth]
    notes: list[str]
