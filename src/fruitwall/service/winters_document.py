"""Which winters are known of a yard and what is asked of them, as a document: SI units."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import Field

from fruitwall.service.evening_document import Document

PartKey = Literal["years", "rules", "search", "gear"]
"""What is asked of many winters."""


class WinterKnown(Document):
    """One winter."""

    name: str = Field(examples=["1989/90"])
    weight: float = Field(description="How likely a coming winter is like this one; all sum to one")
    real: bool = Field(description="Whether it was so in one year; false where it is put together from months of many")
    coldest_c: float | None = Field(description="Lowest air of all nights that are known whole")
    coldest_night: date | None = Field(description="Named by its evening")


class WintersTrend(Document):
    """How the coldest nights have changed over the record."""

    per_decade_k: float
    chance: float = Field(description="That winters without a trend look like this or more so")
    sure: bool


class WintersChoice(Document):
    """How the winters are taken."""

    warmer_k: float = Field(description="Added to all temperatures")
    weighting: Literal["equal", "recent"]
    trend_taken_out: bool = Field(description="Whether each winter is moved to the level of today by the trend")
    most: int = Field(description="Newest winters taken at most")


class WintersPart(Document):
    """One thing that is asked of them."""

    key: PartKey
    title: str
    about: str
    verdict: str | None = Field(description="What it said when it was last worked out; null if it never was")
    worked_out: datetime | None
    outdated: bool = Field(
        description="Whether the yard, the winters, what was entered or the program have changed since"
    )


class WintersDocument(Document):
    """Which winters there are."""

    yard: str
    source: str | None = Field(description="Where the winters come from; null where none is known whole")
    choice: WintersChoice
    winters: list[WinterKnown] = Field(description="Oldest first")
    trend: WintersTrend | None = Field(description="Of the real winters; null where they are too few")
    takes_s: float = Field(description="How long the first answer takes, roughly; the others build on it [s]")
    kept_bytes: int = Field(description="Work that is kept, compressed [bytes]")
    parts: list[WintersPart]
    notices: list[str] = Field(description="What is doubtful of these winters")
