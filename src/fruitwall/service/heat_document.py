"""The heat of a yard's season as a document, in SI units and UTC."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Tissue = Literal["leaf", "fruit", "bark", "root"]

Reason = Literal["sun", "wall", "pot", "still", "dry_air"]


LEVELS_C = (40.0, 45.0)
"""Round levels at which hours are counted: 104 and 113 °F. Our judgement: growth stops about the lower, harm may begin
above the higher. [°C]"""


class Part(BaseModel):
    """Common settings: unknown keys are an error, and what is made stays."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Begins(Part):
    """Where harm begins in a tissue: an hour at this temperature, and how roughly that is known."""

    mean_c: float
    sd_k: float


class HotTissue(Part):
    """What one tissue of one tree went through, or will."""

    tissue: Tissue
    begins: Begins
    hottest_c: float = Field(description="Mean of its hottest hour; with several members the median of theirs")
    at: datetime = Field(description="End of that hour")
    air_c: float = Field(description="At the crown in that hour")
    wind_m_s: float
    vpd_kpa: float = Field(description="Vapour pressure deficit of the air in that hour")
    harm: float = Field(ge=0, le=1, description="Chance of harm, grade 2 or more, from that hour")
    hours_above: float = Field(ge=0, description="Hours at or above where harm begins, mean of the members")
    hours_at_levels: tuple[float, ...] = Field(description="Hours at or above each of `LEVELS_C`, mean of the members")
    reasons: tuple[Reason, ...] = Field(description="What made it so hot, most telling first")
    wall: str | None = Field(default=None, description="Structure whose warm side the tree faces, where that matters")


class HeatDay(Part):
    """One day of one tree."""

    day: date
    leaf_c: float = Field(
        description="Hottest hour of a leaf that faces the sun, watered as it is; median of the members"
    )
    leaf_dry_c: float = Field(description="The same with pores shut, as in drought")
    root_c: float | None = Field(default=None, description="Hottest hour of the sunny quarter of a pot; else None")
    harm: float = Field(ge=0, le=1, description="Chance of harm to leaf, bark or pot roots that day")
    worst: Tissue
    hot_hours: float = Field(ge=0, description="Hours in which any of these is above where its harm begins")


class TreeHeat(Part):
    """The heat of one tree."""

    tree: str
    name: str
    potted: bool
    known: bool = Field(description="Whether any hour of it is known, over or to come")
    past: tuple[HotTissue, ...] = ()
    leaf_dry_c: float | None = Field(default=None, description="Hottest hour of the leaf with pores shut, past")
    coming: tuple[HotTissue, ...] = ()
    days: tuple[HeatDay, ...] = Field(default=(), description="Forecast days")
    past_days: tuple[HeatDay, ...] = Field(default=(), description="Warm days that are over, oldest first")
    evidence: tuple[str, ...] = ()

    def worst(self, *, coming: bool) -> HotTissue | None:
        """Give what is most endangered of the tree itself; fruit is its crop."""
        found = [one for one in (self.coming if coming else self.past) if one.tissue != "fruit"]
        return max(found, key=lambda one: one.harm, default=None)

    def of(self, tissue: Tissue, *, coming: bool = False) -> HotTissue | None:
        """Give one tissue."""
        return next((one for one in (self.coming if coming else self.past) if one.tissue == tissue), None)


class HeatSeason(Part):
    """The heat of all trees since a day, and as far as the forecast goes."""

    since: datetime
    now: datetime
    known_hours: int = Field(description="Hours of the past whose weather is known")
    hours: int = Field(description="Hours of the past since that day")
    hottest_air_c: float | None = Field(default=None, description="At the station, since then")
    hottest_air_at: datetime | None = None
    forecast_until: datetime | None = None
    trees: tuple[TreeHeat, ...]
