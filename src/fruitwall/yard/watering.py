"""How a yard is watered: its water, the emitters at its trees, what their roots and pots hold.

Like `yard.model`, of which these are part; what becomes of them is for `service.water_season`.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fruitwall.yard.base import Part, Point
from fruitwall.yard.quantities import Conductivity, Count, DripFlow, Flow

PotMix = Literal["potting_mix", "bark", "peat", "coir", "soil"]
"""What a pot may be filled with."""


class Emitter(Part):
    """What waters a tree by itself when the tap is open: drippers, a ring, a small sprinkler."""

    flow_l_h: DripFlow = Field(alias="flow", gt=0, le=2000, description="Of one, from its label; gph are US gallons")
    count: Count = Field(default=1, ge=1, le=200, description="How many of them at this tree")

    @property
    def total_l_h(self) -> float:
        """What all of them give together. [L/h]"""
        return self.flow_l_h * self.count


class Water(Part):
    """The water that trees are given."""

    conductivity_ds_m: Conductivity | None = Field(
        default=None,
        alias="conductivity",
        ge=0,
        le=20,
        description="How salty it is, from the supplier's report; without it salt is not followed",
    )
    hose_flow_l_min: Flow | None = Field(
        default=None,
        alias="hose_flow",
        gt=0,
        le=200,
        description="What the hose gives, for the time that watering takes where there is no emitter: time a bucket",
    )
    tap: Point | None = Field(
        default=None, description="Where the tap is, as [x, y]; to tell how far from water a place is"
    )
