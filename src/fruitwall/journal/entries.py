"""What comes out of the journal: plain immutable records.

They know nothing of the database, so that terminal and pages can take them without loading it. All times are aware
and in UTC; every ``sha256`` is that of the stored bytes, in hexadecimal.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True)
class YardSummary:
    """One yard of the journal: its name, when it was first and last stored, and how many versions it has."""

    name: str
    created: datetime
    changed: datetime
    versions: int


@dataclass(frozen=True)
class YardVersion:
    """A yard file as it was at one time.

    Attributes
    ----------
    id : int
        Number by which forecasts and plans point to it.
    yard : str
        Name of the yard.
    number : int
        1 for the first version of this yard, then counting up.
    created : datetime, aware
        When it was stored.
    author : str
        Who changed it, in the user's words.
    text : str
        The file, character for character.
    sha256 : str
        Of the text in UTF-8.
    """

    id: int
    yard: str
    number: int
    created: datetime
    author: str
    text: str
    sha256: str


@dataclass(frozen=True)
class StoredForecast:
    """What a source answered, byte for byte, or a forcing packed by `journal.forcing_file`.

    Attributes
    ----------
    id : int
        Number by which plans point to it.
    yard : str
        Name of the yard it was fetched for.
    source : str
        Who made it, in words for the user.
    issued, fetched : datetime, aware
        When it was made by the source, and when it was asked for.
    media_type : str
        What the bytes are, such as ``application/json``.
    body : bytes
        The bytes as they came.
    sha256 : str
        Of the bytes.
    """

    id: int
    yard: str
    source: str
    issued: datetime
    fetched: datetime
    media_type: str
    body: bytes
    sha256: str


@dataclass(frozen=True)
class StoredPlan:
    """An evening plan as it was shown.

    Attributes
    ----------
    id : int
        Number of the plan in this journal.
    yard : str
        Name of the yard.
    yard_version : int
        `YardVersion.id` of the yard it was made for.
    night : date
        Date of the evening.
    made : datetime, aware
        When it was made.
    forecast : int or None
        `StoredForecast.id` of the forecast it was made from.
    document : str
        The plan as JSON, character for character.
    sha256 : str
        Of the document in UTF-8.
    """

    id: int
    yard: str
    yard_version: int
    night: date
    made: datetime
    forecast: int | None
    document: str
    sha256: str
