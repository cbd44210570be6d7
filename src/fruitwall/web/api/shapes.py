"""What the interface answers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, Field


class TreeAnswer(BaseModel):
    """A tree of the yard."""

    id: str
    name: str
    taxon: str
    position_m: tuple[float, float] = Field(description="East and north of the yard's origin")
    potted: bool
    last_sighting: datetime | None = Field(description="When somebody looked last")
    last_grade: int | None = Field(description="Grade of injury 0 to 7 then")


class EntryAnswer(BaseModel):
    """An entry of the ledger."""

    id: str
    kind: str
    tree: str | None
    at: datetime
    author: str
    device: str
    received: datetime
    replaces: str | None
    withdrawn: bool
    body: dict[str, Any] = Field(description="Its shape depends on the kind")


class ReadingAnswer(BaseModel):
    """A reading, in the unit that the quantity's name carries."""

    sensor: str
    quantity: str
    at: datetime
    value: float


class Refused(BaseModel):
    """A reading that was not taken."""

    index: int = Field(description="Place in the list that was sent, from 0")
    why: str


class TakenAnswer(BaseModel):
    """What became of the readings that were sent."""

    new: int
    known: int = Field(description="There already: same sensor, quantity and time")
    refused: list[Refused]


class YardAnswer(BaseModel):
    """The yard file as it stands."""

    name: str
    version: int
    changed: datetime
    text: str = Field(description="The file in YAML; its schema is at /api/yard-schema")


class Problem(BaseModel):
    """What went wrong and how to mend it."""

    error: str
    problems: list[str]
    status: int
