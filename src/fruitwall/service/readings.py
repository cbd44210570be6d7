"""Readings of sensors, and of thermometers read by hand: checked, turned into SI, stored once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from fruitwall.journal.entries import Reading
from fruitwall.service.moments import WrittenMoment
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from fruitwall.journal.ledger import Ledger

AHEAD = timedelta(minutes=10)
"""How far a sensor's clock may be ahead of ours."""

AT_ONCE = 5000
"""Readings taken in one call: a logger's memory of a month at ten minutes."""


@dataclass(frozen=True)
class Quantity:
    """Something that is measured.

    Attributes
    ----------
    words : str
        In English.
    low, high : float
        What can be read outdoors on this planet, in the unit of the name; wider than any record, so that only slips of
        the pen and broken sensors fall out.
    """

    words: str
    low: float
    high: float


QUANTITIES = {
    # Air: the records are -89.2 °C (Vostok 1983) and 56.7 °C (Furnace Creek 1913), WMO Weather and Climate Extremes
    # Archive; a sensor in the sun reads more.
    "air_temperature_c": Quantity(marked("Air temperature"), -90.0, 70.0),
    "tissue_temperature_c": Quantity(marked("Leaf or wood temperature"), -90.0, 80.0),
    "soil_temperature_c": Quantity(marked("Soil temperature"), -50.0, 70.0),
    "room_temperature_c": Quantity(marked("Temperature of a room or under a cover"), -60.0, 80.0),
    "relative_humidity_pct": Quantity(marked("Relative humidity"), 0.0, 100.0),
    # 113 m/s is the record gust (Barrow Island 1996, same archive).
    "wind_speed_m_s": Quantity(marked("Wind speed"), 0.0, 115.0),
    "soil_moisture_pct": Quantity(marked("Soil moisture by volume"), 0.0, 100.0),
    "soil_moisture_m3_m3": Quantity(marked("Soil moisture as a share of the volume"), 0.0, 1.0),
    "power_w": Quantity(marked("Power"), 0.0, 50000.0),
}
"""What may be read; the name carries the unit."""


class NewReading(BaseModel):
    """One reading as a sensor or a person gives it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sensor: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=100, pattern="^[^\0]*$")]
    quantity: Annotated[str, Field(description="One of: " + ", ".join(QUANTITIES))]
    at: Annotated[WrittenMoment, Field(description="With its zone, such as 2026-12-22T06:30:00-08:00")]
    value: Annotated[float, Field(allow_inf_nan=False)]
    unit: Annotated[Literal["F"] | None, Field(description="F where a temperature is in °F")] = None


@dataclass(frozen=True)
class Taken:
    """What became of readings.

    Attributes
    ----------
    new, known : int
        Stored now, and there already.
    refused : tuple of (int, str)
        Place in the list, from 0, and why.
    """

    new: int
    known: int
    refused: tuple[tuple[int, str], ...]


def take_readings(ledger: Ledger, given: Sequence[NewReading], *, now: datetime) -> Taken:
    """Store readings; a wrong one keeps none of the others out.

    Parameters
    ----------
    ledger : Ledger
    given : sequence of NewReading
    now : datetime, aware

    Returns
    -------
    Taken
    """
    good: list[Reading] = []
    refused: list[tuple[int, str]] = []
    for place, one in enumerate(given):
        wrong = _wrong(one, now)
        if wrong is None:
            good.append(Reading(one.sensor, one.quantity, one.at, si_of(one)))
        else:
            refused.append((place, wrong))
    new = ledger.add_readings(good, received=now) if good else 0
    return Taken(new, len(good) - new, tuple(refused))


def si_of(one: NewReading) -> float:
    """Give what was read, in the unit of its quantity."""
    return (one.value - 32) / 1.8 if one.unit == "F" else one.value


def _wrong(one: NewReading, now: datetime) -> str | None:
    """Say what is wrong with a reading, if anything is."""
    quantity = QUANTITIES.get(one.quantity)
    if quantity is None:
        return say(
            "there is no quantity {quantity}; there are: {known}", quantity=one.quantity, known=", ".join(QUANTITIES)
        )
    if one.unit == "F" and not one.quantity.endswith("_c"):
        return say("only temperatures have the unit F")
    value = si_of(one)
    if not quantity.low <= value <= quantity.high:
        return say(
            "{value} cannot be a reading of {quantity}, which is between {low} and {high}: a slip, another unit, or a "
            "broken sensor",
            value=f"{one.value:g}{' °F' if one.unit == 'F' else ''}",
            quantity=one.quantity,
            low=f"{quantity.low:g}",
            high=f"{quantity.high:g}",
        )
    if one.at > now + AHEAD:
        return say("it is of the future; is the sensor's clock right?")
    return None
