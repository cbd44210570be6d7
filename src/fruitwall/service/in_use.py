"""What tonight's plan takes of the gear and of everybody's time."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING

from fruitwall.service.nights import tonight

if TYPE_CHECKING:
    from fruitwall.service.house import House


@dataclass(frozen=True)
class Taken:
    """How much of one thing a plan takes.

    Attributes
    ----------
    used, available : float
    unit : str
        W, min, or nothing for pieces and spaces.
    """

    used: float
    available: float
    unit: str = ""


@dataclass(frozen=True)
class InUse:
    """What the last plan of tonight takes.

    Attributes
    ----------
    night : date or None
        Named by its evening; None where nothing was planned.
    made : datetime or None
    taken : dict of str to Taken
        By the id of the thing; what is not taken stands with zero, what the plan does not know is left out.
    """

    night: date | None = None
    made: datetime | None = None
    taken: dict[str, Taken] = field(default_factory=dict)


_KINDS = ("sheet", "lamps", "heater", "lead", "circuit", "room", "person", "trolley")
_UNITS = ("W", "min")


def in_use(house: House) -> InUse:
    """Give what tonight's plan takes; nothing is planned for it.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    InUse
    """
    yard, version = house.yard()
    night = tonight(yard.location, house.clock())
    stored = house.journal.latest_plan(night, yard=version.yard)
    if stored is None:
        return InUse()
    document = json.loads(stored.document)
    taken = {}
    for limit in document.get("limits", ()):
        kind, _, name = str(limit.get("key", "")).partition("/")
        if kind not in _KINDS:
            continue
        unit = str(limit["unit"]) if limit["unit"] in _UNITS else ""
        # A place indoors is told from roofs and walls by a word before its id.
        taken[name.removeprefix("place:")] = Taken(float(limit["used"]), float(limit["available"]), unit)
    # A shelter is not scarce; whether it is closed tonight stands in the tasks.
    keys = {str(task.get("key", "")) for task in document.get("tasks", ())}
    for shelter in yard.shelters:
        taken[shelter.id] = Taken(float(f"close:{shelter.id}" in keys), 1.0)
    return InUse(night, stored.made, taken)
