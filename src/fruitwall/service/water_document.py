"""The water of a yard as a document for programs, in SI units."""

from __future__ import annotations

from datetime import date, datetime

from pydantic import BaseModel, ConfigDict, Field


class _Told(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Watering(_Told):
    """One watering of one tree."""

    entry: str = Field(description="Id in the ledger")
    at: datetime
    litres: float
    written: bool = Field(
        description="Whether somebody wrote the amount down; else it is taken to have filled the zone"
    )


class SoilReading(_Told):
    """What the readings of a day changed."""

    at: datetime
    before_mm: float
    read_mm: float
    after_mm: float


class WaterDay(_Told):
    """One day that is over."""

    day: date
    depletion_mm: float | None = Field(description="At its end; null where the weather is not known")
    rain_mm: float = Field(description="In the open")
    given_l: float


class WaterAhead(_Told):
    """A day to come, if nobody waters: depletion in one course of ten, the middle, nine of ten."""

    day: date
    p10_mm: float
    p50_mm: float
    p90_mm: float


class WaterTree(_Told):
    """The root zone of one tree, and what to give it."""

    tree: str
    name: str
    potted: bool
    area_m2: float
    root_depth_m: float
    capacity_mm: float = Field(description="From full to the wilting point")
    ready_mm: float = Field(description="Taken without effort at a use of 5 mm a day")
    roof_share: float
    coefficients_of: str = Field(description="Kind whose crop coefficients are taken")
    coefficients_doubt: str
    known_share: float
    depletion_mm: float
    depletion_sd_mm: float
    uses_share: float = Field(description="Share of its use that it keeps up now")
    root_word: str
    lacks: bool
    due: date | None
    earliest: date | None
    latest: date | None
    looked_until: date | None
    litres: float
    emitter_minutes: float | None
    work_minutes: float
    leaching_share: float
    too_salty: bool
    extract_ds_m: float | None = Field(
        description="Salt of the soil as of its saturated extract; null where not followed"
    )
    stands_ds_m: float
    half_days: float | None
    later_share: float | None
    frost_litres: float = Field(description="To wet the upper soil or the pot before the coming freeze; 0 for none")
    frost_minutes: float = Field(description="Work of it")
    believed_from: datetime | None = Field(
        description="First watering or reading entered; before it the tree is taken to have had enough. Null: none yet"
    )
    waterings: list[Watering]
    readings: list[SoilReading]
    days: list[WaterDay]
    ahead: list[WaterAhead]


class WaterDocument(_Told):
    """The water of a yard."""

    made: datetime
    since: datetime
    until: datetime
    hose_known: bool
    salt_followed: bool
    notices: list[str] = Field(description="Keys of what stood in for a measurement")
    unknown_kinds: list[str] = Field(description="Names of trees of which nothing can be reckoned")
    frost_night: date | None = Field(description="First night to come in which a tree may freeze")
    trees: list[WaterTree] = Field(description="In walking order")
