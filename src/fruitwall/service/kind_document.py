"""A kind of plant as a document: what terminal, page and JSON all show of it.

Temperatures are °C here; terminal and page turn them into the household's units.
"""

from __future__ import annotations

from pydantic import Field

from fruitwall.service.evening_document import Document


class Origin(Document):
    """Who says it."""

    key: str
    authors: str
    year: str
    title: str
    publisher: str
    where: str = Field(description="Address or identifier of the work")
    place: str = Field(description="Place in the work")


class Mark(Document):
    """Where a statement says that the limit lies: tissue temperature of a one-hour exposure. [°C]"""

    low_c: float
    high_c: float
    colder: bool = Field(description="The limit is colder than this: the tree stood it")


class Statement(Document):
    """One published figure on cold."""

    number: int = Field(ge=1)
    stage: str
    effect: str
    type: str
    low_c: float
    high_c: float
    as_stated: str
    hours: float | None
    origin: Origin
    voice: str = Field(description="The independent source it counts towards")
    note: str
    from_memory: bool
    own: bool = Field(description="From the yard file of the user")
    mark: Mark | None = Field(description="What it says of a freezing limit, on one footing; None if it says nothing")


class HabitFact(Document):
    """One published fact on leaf and season."""

    text: str
    origin: Origin


class HeatFact(Document):
    """One published figure on heat."""

    about: str = Field(
        description="What it was found of, if not of this kind: its genus, many kinds together, or another fruit"
    )
    stage: str
    effect: str
    temperature_c: float
    note: str
    origin: Origin


class GradeLimit(Document):
    """Tissue temperature of one hour that brings half of such trees to a grade. [°C], [K]"""

    grade: int = Field(ge=1, le=7)
    words: str
    middle_c: float
    sd_k: float


class OtherLimit(Document):
    """A limit of something else than the grown tree. [°C], [K]"""

    words: str
    middle_c: float
    sd_k: float | None


class KindDocument(Document):
    """Everything known of a kind, and what was made of it."""

    key: str
    scientific: str
    synonyms: list[str]
    english: list[str]
    spanish: list[str]
    cultivars: list[str]
    family: str
    own: bool = Field(description="Described in the yard file of the user")
    facts: list[str] = Field(description="Leaf habit, sizes and flags, one plain sentence each")
    statements: list[Statement]
    habits: list[HabitFact]
    heats: list[HeatFact]
    state: str = Field(description="Of the grown tree whose grades follow: in leaf, or at rest")
    grades: list[GradeLimit]
    others: list[OtherLimit]
    rests_on: str = Field(description="What the prior rests on, one paragraph")


class KindLine(Document):
    """One kind in the list of kinds."""

    key: str
    name: str
    spanish: str
    scientific: str
    family: str
    statements: int
    sources: int
    own: bool


class KindList(Document):
    """All kinds."""

    kinds: list[KindLine]
