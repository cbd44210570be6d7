"""Kinds and cultivars of a user's own, and figures on them, as they stand in the yard file.

Like `yard.model`, of which they are part; what becomes of them is for `service.own_kinds`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from fruitwall.yard.base import Identifier, Label, Notes, Part
from fruitwall.yard.quantities import (
    Celsius,
    Kelvins,
    Metres,
    Minutes,
    YesNo,
)


class OwnFigure(Part):
    """A figure of your own on what cold does to a kind: seen here, told by a neighbour, read somewhere."""

    temperature_c: Celsius | None = Field(
        default=None,
        alias="temperature",
        ge=-60,
        le=30,
        description="Air temperature, or the plant's own with `at_tissue: yes`; this or `between`",
    )
    between_c: list[Annotated[Celsius, Field(ge=-60, le=30)]] | None = Field(
        default=None,
        alias="between",
        min_length=2,
        max_length=2,
        description="Two temperatures between which it was, if it is not known better",
    )
    type: Literal["observed", "survives", "threshold"] = Field(
        default="observed",
        description="It was hurt so at this; it stood this without such injury; it is hurt so at this and below",
    )
    effect: Literal["leaf_injury", "twig_injury", "severe_injury", "death", "chilling_injury"] = Field(
        description="What the cold does"
    )
    stage: Literal["any", "mature", "young", "new_growth", "flower", "fruit"] = Field(
        default="any", description="Of which tree, or what of it"
    )
    lasted_min: Minutes | None = Field(
        default=None, alias="lasted", gt=0, le=20160, description="For how long, such as 3 h"
    )
    at_tissue: YesNo = Field(default=False, description="Measured on the plant itself, or in air moved by wind")
    source: Label = Field(description="Who says it; each different text counts as one independent source")
    notes: Notes = Field(default="", description="Anything else")


class OwnKind(Part):
    """A kind or cultivar of your own, beside those of the catalogue."""

    id: Identifier = Field(description="Short name for references: lower-case letters, digits, - and _")
    names: list[Label] = Field(min_length=1, description="What it is called; the first is shown")
    spanish: list[Label] = Field(default=[], description="Further names, in Spanish")
    scientific: Label | None = Field(
        default=None, description="Scientific name; if left out, that of `like` with the first name beside it"
    )
    cultivars: list[Label] = Field(default=[], description="Names of cultivars that find it")
    like: Label | None = Field(
        default=None, description="Kind of the catalogue whose published figures, sizes and habits it takes over"
    )
    hardier_k: Kelvins = Field(
        default=0.0, alias="hardier", ge=-10, le=10, description="How much more cold than `like` it stands; minus: less"
    )
    family: Label | None = Field(default=None, description="Botanical family, if it is like no kind of the catalogue")
    leaf_habit: Literal["evergreen", "deciduous", "briefly_deciduous"] | None = Field(
        default=None, description="If left out as `like`, else evergreen"
    )
    leaf_width_m: Metres | None = Field(
        default=None, alias="leaf_width", gt=0, le=1, description="If left out as `like`, else 5 cm"
    )
    fruit_diameter_m: Metres | None = Field(
        default=None, alias="fruit_diameter", gt=0, le=1, description="If left out as `like`, else 5 cm"
    )
    chill_sensitive: YesNo | None = Field(
        default=None, description="Whether its leaf suffers above freezing; if left out as `like`, else no"
    )
    needs_winter_chill: YesNo | None = Field(
        default=None, description="Whether it rests leafless in winter; if left out as `like`, else no"
    )
    chill_portions: list[Annotated[float, Field(ge=0, le=200)]] | None = Field(
        default=None,
        min_length=1,
        max_length=2,
        description="Winter chill that it needs, in portions of the Dynamic Model: one figure or two, such as [12, 18]",
    )
    chill_hours: list[Annotated[float, Field(ge=0, le=3000)]] | None = Field(
        default=None,
        min_length=1,
        max_length=2,
        description="The same in hours at or below 7.2 °C (45 °F), such as [250]",
    )
    evidence: list[OwnFigure] = Field(default=[], description="Figures of your own on it")
