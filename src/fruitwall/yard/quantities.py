"""Field types of the yard model: floats in SI that may be written with the grower's own unit.

``Metres`` is a float; given ``"6 ft"`` it becomes 1.8288. Units and spellings are in `yard.units`; this module only
joins them to pydantic (validation, JSON Schema).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from fruitwall.speech import say
from fruitwall.yard.units import KINDS, Kind, read_quantity, show_input

PLAIN_TEXT = "plain_text"
"""Type of the validation errors whose message is already in plain words."""


def plain_error(message: str) -> PydanticCustomError:
    """Give an error whose text reaches the user as it is."""
    return PydanticCustomError(PLAIN_TEXT, "{message}", {"message": message})


@dataclass(frozen=True)
class Quantity:
    """Annotation that makes a float field read texts with units of one kind."""

    kind: Kind

    def read(self, value: object) -> float:
        """Read a number or a text; refuse in plain words."""
        try:
            return read_quantity(self.kind, value)
        except ValueError as problem:
            raise plain_error(str(problem)) from problem

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Put the reading before pydantic's own check for a float."""
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Describe the field as a number in the SI unit or a text with a unit."""
        unit = f"In {self.kind.unit}" if self.kind.unit else "A plain number"
        number = {**handler(schema), "description": unit}  # the bounds come with it; for texts only reading checks them
        if not self.kind.spellings:
            return number
        written = ", ".join(self.kind.spellings)
        text = {
            "type": "string",
            "pattern": self.kind.pattern,
            "description": f"With a unit: {written} (upper or lower case)",
            "examples": list(self.kind.examples),
        }
        return {"anyOf": [number, text]}


Metres = Annotated[float, Quantity(KINDS["length"])]
Kilograms = Annotated[float, Quantity(KINDS["mass"])]
Litres = Annotated[float, Quantity(KINDS["volume"])]
Watts = Annotated[float, Quantity(KINDS["power"])]
Volts = Annotated[float, Quantity(KINDS["voltage"])]
Amperes = Annotated[float, Quantity(KINDS["current"])]
Minutes = Annotated[float, Quantity(KINDS["time"])]
Years = Annotated[float, Quantity(KINDS["age"])]
Celsius = Annotated[float, Quantity(KINDS["temperature"])]
"""A temperature; "28 F" is -2.22 °C."""
Kelvins = Annotated[float, Quantity(KINDS["difference"])]
"""A difference of temperatures; "3 F" is 1.67 K."""
Angle = Annotated[float, Quantity(KINDS["angle"])]
Coordinate = Annotated[float, Quantity(KINDS["coordinate"])]
"""Latitude or longitude in decimal degrees."""
Share = Annotated[float, Quantity(KINDS["share"])]
"""From 0 to 1, or with "%"."""
SquareMillimetres = Annotated[float, Quantity(KINDS["area"])]
DripFlow = Annotated[float, Quantity(KINDS["drip"])]
Flow = Annotated[float, Quantity(KINDS["flow"])]
Conductivity = Annotated[float, Quantity(KINDS["conductivity"])]
Money = Annotated[float, Quantity(KINDS["money"])]
"""In the household's currency."""


def _whole_number(value: object) -> object:
    """Refuse texts and true/false where a count belongs; pydantic alone would take both."""
    if isinstance(value, bool | str) or not isinstance(value, int | float):
        raise plain_error(say("expected a whole number such as 2, got {value}", value=show_input(value)))
    if isinstance(value, float) and not value.is_integer():
        raise plain_error(say("expected a whole number such as 2, got {value}", value=show_input(value)))
    return value


_YES_AND_NO = {"yes": True, "on": True, "true": True, "no": False, "off": False, "false": False}


def _yes_or_no(value: object) -> object:
    """Read yes and no as people write them; YAML 1.2 leaves these words as text."""
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip().lower() in _YES_AND_NO:
        return _YES_AND_NO[value.strip().lower()]
    raise plain_error(say("expected yes or no, got {value}", value=show_input(value)))


@dataclass(frozen=True)
class _YesOrNo:
    """Annotation for true/false fields."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(_yes_or_no, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        words = "|".join("".join(f"[{c}{c.upper()}]" for c in word) for word in _YES_AND_NO)
        return {"anyOf": [{"type": "boolean"}, {"type": "string", "pattern": rf"^\s*(?:{words})\s*$"}]}


Count = Annotated[int, BeforeValidator(_whole_number)]
YesNo = Annotated[bool, _YesOrNo()]


def read_point(value: object) -> object:
    """Refuse what is not a pair; the two numbers are checked one by one afterwards."""
    if isinstance(value, list | tuple) and len(value) == 2:
        return value
    raise plain_error(
        say(
            "expected a position such as [3.5, 12] (metres to the east and to the north), got {value}",
            value=show_input(value),
        )
    )


def read_day(value: object) -> object:
    """Take a date or its ISO text; refuse bare numbers, which pydantic would take as seconds since 1970."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and re.fullmatch(r"\s*[0-9]{4}-[0-9]{2}-[0-9]{2}\s*", value):
        try:
            return date.fromisoformat(value.strip())
        except ValueError:
            pass  # a 30th of February: the message below fits
    only_year = re.fullmatch(r"[0-9]{4}", str(value))
    hint = say("; if only the year is known, give the age instead") if only_year else ""
    raise plain_error(
        say("expected a day such as 2019-03-15 (year-month-day), got {value}{hint}", value=show_input(value), hint=hint)
    )
