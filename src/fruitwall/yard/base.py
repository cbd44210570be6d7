"""What every part of the yard's model is made of: its base class, places in the plane, names and days."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, WithJsonSchema

from fruitwall.yard.quantities import (
    Metres,
    read_day,
    read_point,
)

PlanMetres = Annotated[Metres, Field(ge=-10000, le=10000)]

Point = Annotated[tuple[PlanMetres, PlanMetres], BeforeValidator(read_point)]
"""Position in the yard's frame: x to the east, y to the north. [m, m]"""

Line = Annotated[list[Point], Field(min_length=2)]
Outline = Annotated[list[Point], Field(min_length=3)]
"""Corners in order; the last is joined to the first."""

Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,63}$")]
"""Name by which other parts of the file refer to a thing: lower-case letters, digits, '-' and '_'."""

Label = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")
]
"""One line of text for people."""

Notes = Annotated[str, Field(max_length=5000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f-\x9f]*$")]
"""Text of several lines."""

Day = Annotated[
    date,
    BeforeValidator(read_day),
    WithJsonSchema({"type": "string", "format": "date", "pattern": r"^\s*[0-9]{4}-[0-9]{2}-[0-9]{2}\s*$"}),
]


class Part(BaseModel):
    """Base of everything in a yard: immutable, unknown fields refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
