"""What of the gear helps against sun and heat: shade cloth, and white paint for bark."""

from __future__ import annotations

from pydantic import Field

from fruitwall.yard.base import Identifier, Label, Part
from fruitwall.yard.quantities import Count, Litres, Metres, Money, Share, YesNo


class ShadeCloth(Part):
    """Pieces of shade cloth of one size and density."""

    id: Identifier = Field(description="Short name for references: lower-case letters, digits, - and _")
    name: Label = Field(description="As people call it")
    shade: Share = Field(ge=0.05, le=0.95, description="Share of the sun that it keeps off, from its label, as 50 %")
    width_m: Metres = Field(alias="width", gt=0, le=50, description="Of one piece")
    length_m: Metres = Field(alias="length", gt=0, le=50, description="Of one piece")
    count: Count = Field(default=1, ge=1, le=1000, description="How many such pieces")
    on_frame: YesNo = Field(default=False, description="Held off the leaves by stakes or a frame that goes with it")
    wear: Money = Field(
        default=0.10, ge=0, le=1000, description="What a day of use wears off one piece, in money: tears and sun"
    )


class Paint(Part):
    """White paint for bark."""

    id: Identifier = Field(description="Short name for references: lower-case letters, digits, - and _")
    name: Label = Field(description="As people call it")
    volume_l: Litres = Field(alias="volume", gt=0, le=1000, description="How much is left, before it is thinned")
