"""The plan for a hot spell as a document, in SI units and UTC."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from fruitwall.service.heat_document import HeatSeason, Tissue


class Part(BaseModel):
    """Common settings: unknown keys are an error, and what is made stays."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Two(Part):
    """A value without help and with the plan."""

    nothing: float
    chosen: float


class SummerTree(Part):
    """One tree that heat may hurt in the days ahead."""

    id: str
    name: str
    measure: str = Field(description="Key of what it gets, as `plans.shading` names it")
    tissue: Tissue = Field(description="What of it is most endangered without help")
    begins_c: float = Field(description="Where harm begins in that tissue, the middle of what is believed")
    hottest_c: Two = Field(description="That tissue's hottest hour of the spell, median of the members")
    harm: Two = Field(description="Chance that the tree is hurt, grade 2 or more [0-1]")
    fruit_lost: Two = Field(description="Expected share of its crop lost [0-1]")
    loss: Two = Field(description="Expected loss [currency]")
    first_day: date = Field(description="First day that may hurt it; the worst one where none does by itself")
    runner_up: str | None = Field(default=None, description="Key of the next best measure")
    runner_up_costs_more: float | None = None
    left_because: str | None = Field(default=None, description="Kind of reason, as `plans.reasons` has it")


class SummerTask(Part):
    """One thing that somebody does."""

    key: str
    kind: Literal["shade", "into_shade", "whitewash", "water"]
    tree: str
    due: date
    people: tuple[str, ...]
    minutes: float = Field(description="Of each of them [min]")
    lifts: int
    ladder: bool
    cloth: str | None = None
    trolley: str | None = None
    to: tuple[float, float] | None = Field(default=None, description="Where a pot is brought [m, m]")


class SummerLimit(Part):
    """How much of something is used."""

    key: str
    name: str
    unit: str
    used: float
    available: float
    binding: bool


class SummerMore(Part):
    """What one more of something would buy."""

    key: str
    name: str
    step: float
    unit: str
    saves: float = Field(description="Of loss and effort [currency]")
    saves_loss: float = Field(description="Of loss alone [currency]")
    trees: tuple[str, ...] = Field(description="Trees that would get something else")


class SummerPlan(Part):
    """What is worth doing in the hot days ahead."""

    state: Literal["no_forecast", "cool", "safe", "hot"] = Field(
        description="No forecast; no hot hour in it; hot hours that hurt no tree of the yard; a tree may be hurt"
    )
    now: datetime
    days: tuple[date, ...] = Field(default=(), description="Days that were looked at")
    hot_days: tuple[date, ...] = Field(default=(), description="Those that may hurt a tree")
    hottest_air_c: float | None = Field(default=None, description="Highest of the forecast in those days, any member")
    trees: tuple[SummerTree, ...] = ()
    tasks: tuple[SummerTask, ...] = ()
    standing: tuple[str, ...] = Field(default=(), description="Keys of what is in place already")
    limits: tuple[SummerLimit, ...] = ()
    one_more: tuple[SummerMore, ...] = ()
    at_risk: tuple[str, ...] = Field(default=(), description="Trees that stay in danger, the worst first")
    loss: Two = Two(nothing=0.0, chosen=0.0)
    minutes: float = 0.0
    status: Literal["optimal", "gap"] = "optimal"
    gap: float = 0.0


class HeatWithPlan(HeatSeason):
    """The heat of a season, with what is worth doing against what comes."""

    summer: SummerPlan

    @classmethod
    def of(cls, season: HeatSeason, summer: SummerPlan) -> HeatWithPlan:
        """Put both together."""
        return cls(**{name: getattr(season, name) for name in HeatSeason.model_fields}, summer=summer)
