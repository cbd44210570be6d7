"""The recovery of hurt trees as a document for programs, in SI."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from fruitwall.service.cold_document import Tissue

State = Literal["leaf_only", "watch_base", "cold_unknown", "wait_cold", "wait_wood", "prune"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class NightChance(_Part):
    """The chance that a harmful night comes on a night or later."""

    night: date = Field(description="Date of its evening")
    chance: float = Field(ge=0, le=1)


class TreeRecovery(_Part):
    """One hurt tree."""

    tree: str
    name: str
    hurt_on: date = Field(description="Look that showed the worst")
    worst_grade: int = Field(ge=2, le=7)
    last_on: date = Field(description="Newest look")
    last_grade: int = Field(ge=0, le=7)
    cold_share: float | None = Field(description="Chance that the injury is of cold, by signs and past nights")
    state: State
    tissue: Tissue | None
    level_c: float | None = Field(description="Where freezing first harms it, in a usual winter, with what was learned")
    by_new_growth: bool = Field(default=False, description="The level is that of the soft growth that a cut starts")
    chances: list[NightChance] = Field(description="Night by night; empty where the cold to come is not known")
    safe_from: date | None = Field(description="Evening from which another harmful night is unlikely")
    live_on: date | None = Field(description="Look that showed live wood")
    live_sign: str = ""
    brown: bool = Field(default=False, description="The bark was brown at the newest scratch")
    bare: bool = Field(default=False, description="Limbs stand in the sun")
    painted: bool = False
    stale: bool = Field(default=False, description="The newest look is too old to tell how the tree stands now")
    grafted: bool | None = Field(default=None, description="None: not known how it was raised")
    look_due: date | None = Field(default=None, description="When to look and scratch next")
    prune_from: date | None = Field(default=None, description="Known only once live wood was seen")

    @property
    def chance_now(self) -> float | None:
        """Chance that a harmful night still comes."""
        return self.chances[0].chance if self.chances else None


class RecoverySeason(_Part):
    """All hurt trees of a yard."""

    since: datetime = Field(description="Looks from then on count: last winter and this one")
    until: datetime = Field(description="Up to here the cold to come is looked at")
    unlikely: float = Field(description="Chance at or below which another harmful night is unlikely")
    courses: int = Field(description="Possible courses of the weather to come; 0 where none is known")
    climate: str = Field(default="", description="Where other years' weather comes from; empty if none is known")
    years: int = Field(default=0, description="Other years that are known")
    trees: list[TreeRecovery]
    other_causes: list[str] = Field(default=[], description="Names of hurt trees whose injury is put down to else")
    pruned: list[str] = Field(default=[], description="Names of trees whose injury ended with a pruning")
