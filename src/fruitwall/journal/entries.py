"""What comes out of the journal: plain immutable records.

They know nothing of the database, so that terminal and pages can take them without loading it. All times are aware
and in UTC; every ``sha256`` is that of the stored bytes, in hexadecimal.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

CLIMATE_TYPE = "application/x-fruitwall-climate"
"""What the bytes of a stored forecast are that is none: weather of other years, packed as a forcing."""


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
    restores : int or None
        Number of the version whose text this one brings back, when undo or redo made it.
    """

    id: int
    yard: str
    number: int
    created: datetime
    author: str
    text: str
    sha256: str
    restores: int | None = None


@dataclass(frozen=True)
class YardStep:
    """A version of a yard without its text: its number, the version that it restores, when it came and from whom."""

    number: int
    restores: int | None
    created: datetime
    author: str


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
class ForecastSummary:
    """A stored forecast without its bytes: its number, when it was made, and when it was asked for."""

    id: int
    issued: datetime
    fetched: datetime


@dataclass(frozen=True)
class PlanMark:
    """Which plan is meant, without its document: number, night, and digest of the document."""

    id: int
    night: date
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


@dataclass(frozen=True)
class PlanSummary:
    """A stored plan without its document: its number, night, when it was made, and for which version of the yard."""

    id: int
    night: date
    made: datetime
    yard_version: int


@dataclass(frozen=True)
class LedgerEntry:
    """One thing that happened to a tree or in the yard, as somebody entered it; never changed afterwards.

    Attributes
    ----------
    id : str
        Made by the device that entered it (a UUID), so that the same entry sent twice is stored once.
    yard : str
        Name of the yard.
    kind : str
        ``sighting``, ``deed``, ``stage`` or ``note``.
    tree : str or None
        The tree's id in the yard file; None where the whole yard is meant.
    at : datetime, aware
        When it happened.
    author, device : str
        Who entered it, and with what.
    received : datetime, aware
        When it came to the journal.
    body : str
        The rest as JSON, character for character; its shape is `service.ledger`'s.
    replaces : str or None
        The entry that this one corrects. Two corrections of one entry are both kept, and both count as current.
    withdrawn : bool
        Whether this entry takes back the one it replaces.
    """

    id: str
    yard: str
    kind: str
    tree: str | None
    at: datetime
    author: str
    device: str
    received: datetime
    body: str
    replaces: str | None = None
    withdrawn: bool = False


@dataclass(frozen=True)
class StoredPhoto:
    """What is known of a picture; its bytes are in `journal.photos.PhotoFolder` under the digest.

    Attributes
    ----------
    sha256 : str
        Of the file.
    width, height : int
        Pixels.
    size : int
        Bytes.
    taken : datetime, aware, or None
        When the camera took it, where that is known.
    stored : datetime, aware
    """

    sha256: str
    width: int
    height: int
    size: int
    taken: datetime | None
    stored: datetime


@dataclass(frozen=True)
class Reading:
    """One value of a sensor, or one read by hand.

    Attributes
    ----------
    sensor : str
        Name of the sensor, or of the place of a thermometer.
    quantity : str
        Such as ``air_temperature_c``: the name carries the unit.
    at : datetime, aware
    value : float
        In the unit of the quantity.
    """

    sensor: str
    quantity: str
    at: datetime
    value: float


@dataclass(frozen=True)
class Account:
    """Somebody who may log in.

    Attributes
    ----------
    id : int
    name : str
    role : str
        ``owner``, ``helper`` or ``viewer``.
    passphrase_hash : str or None
        From argon2; None where only paired devices may log in.
    preferences : str
        JSON: language and units.
    created : datetime, aware
    closed : datetime, aware, or None
        When it was closed; its entries stay.
    """

    id: int
    name: str
    role: str
    passphrase_hash: str | None
    preferences: str
    created: datetime
    closed: datetime | None


@dataclass(frozen=True)
class Key:
    """A secret by which a device or program is known; only its digest is stored.

    Attributes
    ----------
    id : int
    account : Account
        For whom it stands.
    kind : str
        ``session`` (a browser), ``pairing`` (once, to make a session), or a script or sensor with what it may do:
        ``token_helper``, ``token_viewer``, ``token_readings``.
    label : str
        The device or program, in words.
    created : datetime, aware
    expires, used, ended : datetime, aware, or None
        When it will end, when it was last used, when it was ended by somebody.
    """

    id: int
    account: Account
    kind: str
    label: str
    created: datetime
    expires: datetime | None
    used: datetime | None
    ended: datetime | None
