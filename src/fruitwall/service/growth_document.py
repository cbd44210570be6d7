"""What is known and foreseen of the growth of a yard's trees, for programs: SI, days of the yard."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class Part(BaseModel):
    """A part of the document."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class StageEntered(Part):
    """A stage that somebody entered."""

    entry: str
    stage: str = Field(description="One of the stages of the ledger, or harvested")
    day: date
    fresh: bool = Field(description="Entered less than an hour ago: it can be taken back with one touch")


class StageExpected(Part):
    """When a stage is to be expected."""

    stage: str
    first: date
    last: date
    basis: Literal["months", "own", "heat"] = Field(
        description="months: of its kind; own: of its kind, drawn to what was entered of this tree; heat: by chill and "
        "warmth at the tree, as published for its cultivar"
    )
    own_years: int = 0
    status: Literal["read", "from_memory", "common_practice"]
    sources: list[str] = Field(description="Who says it")


class HeatWindow(Part):
    """The same by the warmth that this tree needed in its own logged years."""

    first: date
    middle: date
    last: date
    need_k_d: float = Field(description="Degree-days from bloom to harvest, mean of its years")
    so_far_k_d: float
    base_c: float
    own_years: int


class HarvestExpected(Part):
    """When harvest is to be expected: in 8 of 10 cases it begins between the first and the last day."""

    first: date
    middle: date
    last: date
    bloom: date = Field(description="First day of the bloom that it is reckoned from")
    bloom_entered: bool = Field(
        description="False where the bloom is only foreseen, or taken by the months of the kind"
    )
    mean_days: float = Field(description="Bloom to harvest")
    sd_days: float
    kind_mean_days: float | None = Field(description="Of its kind alone; null where nothing is published")
    own_years: int = Field(description="Years of this tree that went into it")
    by_heat: HeatWindow | None = None
    sources: list[str]


class TreeGrowth(Part):
    """One tree."""

    tree: str
    name: str
    taxon: str
    carries: list[str]
    since: dict[str, date] = Field(description="Of what somebody entered")
    gone: dict[str, date] = Field(description="What the yard file names and an entry took away: since when")
    entered: list[StageEntered] = Field(description="Of the last two years, the newest first")
    expected: list[StageExpected] = Field(description="In the order in which they come")
    harvest: HarvestExpected | None = Field(description="Of what hangs, else of the next bloom; null where not known")
    later: HarvestExpected | None = Field(
        description="Of a bloom that was entered, where fruit of an earlier one still hangs"
    )
    kind_mean_days: float | None = Field(description="Bloom to harvest of its kind; null where nothing is published")
    worth_missing: bool = Field(description="It carries fruit or flowers that are worth nothing in the yard file")
    pickable: bool


class Growth(Part):
    """All trees of a yard."""

    yard: str
    today: date
    southern: bool
    trees: list[TreeGrowth]
