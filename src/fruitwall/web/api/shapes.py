"""What the interface answers."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from pydantic import BaseModel, Field

WHEN = "2026-12-23T06:50:00Z"
"""A moment for examples: in UTC, as all moments are answered."""

DIGEST = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
UUID = "3b241101-e2bb-4255-8caf-4136c566a962"


class TreeAnswer(BaseModel):
    """A tree of the yard."""

    id: str = Field(description="As in the yard file; entries name it so", examples=["papaya"])
    name: str = Field(examples=["Papaya at the terrace wall"])
    taxon: str = Field(description="A kind of the catalogue", examples=["papaya"])
    position_m: tuple[float, float] = Field(description="East and north of the yard's origin", examples=[[12.5, 17.0]])
    potted: bool
    last_sighting: datetime | None = Field(description="When somebody looked last", examples=[WHEN])
    last_grade: int | None = Field(description="Grade of injury 0 to 7 then", examples=[2])


class EntryAnswer(BaseModel):
    """An entry of the ledger."""

    id: str = Field(description="Made by the device that entered it", examples=[UUID])
    kind: str = Field(description="sighting, deed, stage or note", examples=["sighting"])
    tree: str | None = Field(description="Null for the whole yard", examples=["papaya"])
    at: datetime = Field(description="When it happened", examples=[WHEN])
    author: str = Field(examples=["Odalis"])
    device: str = Field(examples=["Firefox on Android"])
    received: datetime = Field(description="When it came here", examples=[WHEN])
    replaces: str | None = Field(description="Id of the entry that it corrects", examples=[None])
    withdrawn: bool = Field(description="Whether it takes that entry back")
    body: dict[str, Any] = Field(
        description="Its shape depends on the kind", examples=[{"grade": 2, "signs": ["tips"], "note": "north side"}]
    )


class ReadingAnswer(BaseModel):
    """A reading, in the unit that the quantity's name carries."""

    sensor: str = Field(examples=["post by the wall"])
    quantity: str = Field(examples=["air_temperature_c"])
    at: datetime = Field(examples=[WHEN])
    value: float = Field(examples=[-1.5])


class Refused(BaseModel):
    """A reading that was not taken."""

    index: int = Field(description="Place in the list that was sent, from 0", examples=[1])
    why: str = Field(examples=["it is of the future; is the sensor's clock right?"])


class TakenAnswer(BaseModel):
    """What became of the readings that were sent."""

    new: int = Field(examples=[2])
    known: int = Field(description="There already: same sensor, quantity and time", examples=[0])
    refused: list[Refused]


class YardAnswer(BaseModel):
    """A yard file."""

    name: str = Field(examples=["Lizard Steps"])
    version: int = Field(description="1 for the first, then counting up", examples=[12])
    changed: datetime = Field(description="When this version was stored", examples=[WHEN])
    author: str = Field(examples=["Odalis"])
    restores: int | None = Field(description="The version that undo or redo brought back with it", examples=[None])
    text: str = Field(
        description="The file in YAML; its schema is at /api/yard-schema",
        examples=["fruitwall: 1\nname: Lizard Steps\n"],
    )


class VersionAnswer(BaseModel):
    """A version of the yard file, without its text."""

    version: int = Field(examples=[12])
    changed: datetime = Field(examples=[WHEN])
    author: str = Field(examples=["Odalis"])
    restores: int | None = Field(description="The version that undo or redo brought back with it", examples=[None])


class PlanMade(BaseModel):
    """An evening plan that was stored, without its document."""

    night: date = Field(description="Named by the date of its evening", examples=["2026-12-22"])
    made: datetime = Field(examples=[WHEN])
    yard_version: int = Field(description="Of the yard file that it was made for", examples=[12])


class TickAnswer(BaseModel):
    """A task of an evening that is done."""

    key: str = Field(description="Of the task in the plan", examples=["cover:fleece@papaya"])
    words: str = Field(description="As a person reads it", examples=["Cover the papaya with the small fleece"])
    by: str = Field(examples=["Odalis"])
    at: datetime = Field(examples=[WHEN])
    undo_until: datetime = Field(description="Until then it can be taken back with one touch", examples=[WHEN])
    entries: list[str] = Field(description="Ids of the entries that say so, the first one first", examples=[[UUID]])


class TicksAnswer(BaseModel):
    """What is done of an evening."""

    night: date = Field(examples=["2026-12-22"])
    done: list[TickAnswer] = Field(description="In the order in which it was done")
    taken_back: list[str] = Field(description="Keys that were ticked and are not any more", examples=[[]])


class Problem(BaseModel):
    """What went wrong and how to mend it (RFC 9457); sent as application/problem+json."""

    type: str = Field(description="Always about:blank: the status says which kind it is", examples=["about:blank"])
    title: str = Field(description="The phrase of the status", examples=["Unprocessable Content"])
    status: int = Field(examples=[422])
    detail: str = Field(
        description="The same in a sentence for people, in the language of whoever asks",
        examples=["This cannot be taken. body.0.value: Input should be a valid number"],
    )
    problems: list[str] = Field(
        description="Each thing that is wrong, for itself", examples=[["body.0.value: Input should be a valid number"]]
    )
