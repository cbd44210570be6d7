"""What people enter about their trees: sightings, deeds, growth stages, notes.

The journal keeps entries as they came (`journal.ledger`); here is what an entry may say, and who may say it. An entry
is named by the device that makes it, so that sending it twice, from a queue that waited for the wireless, stores it
once. Nothing is overwritten: a correction is a new entry that replaces the old one.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from fruitwall.errors import JournalError
from fruitwall.journal.entries import LedgerEntry
from fruitwall.speech import marked, say

if TYPE_CHECKING:
    from fruitwall.journal.ledger import Ledger

UNDO_FOR = timedelta(hours=1)
"""How long whoever ticked something may take it back with one touch. Later it can still be corrected."""

CLOCK_AHEAD = timedelta(minutes=10)
"""How far a telephone's clock may be ahead of ours before an entry counts as one of the future."""

GRADES = (
    ("none", marked("None"), marked("Leaves as they should be")),
    ("paler", marked("Paler"), marked("Leaves paler or yellower than usual, nothing burnt")),
    ("some_burn", marked("Some leaf burnt"), marked("Less than a tenth of the leaf burnt or lost")),
    ("much_burn", marked("Much leaf burnt"), marked("A tenth to a half of the leaf burnt or lost")),
    (
        "most_lost",
        marked("Most leaf lost"),
        marked("More than half of the leaf burnt or lost, twigs still green under the bark"),
    ),
    ("twigs_dead", marked("Twigs dead"), marked("Twigs brown under the bark, limbs alive")),
    ("limbs_dead", marked("Limbs dead"), marked("Limbs brown under the bark, trunk or base alive")),
    ("dead", marked("Dead"), marked("Brown under the bark down to the ground, no shoot from below")),
)
"""Grades of injury 0 to 7: key, name and plain description; the same as in DESIGN and in `plants.tolerance`."""

WALK_SIGNS = (
    ("upper_crown", marked("At the top of the crown")),
    ("lower_crown", marked("Low in the crown")),
    ("open_side", marked("On the side open to the sky")),
    ("wall_side", marked("On the side of a wall")),
    ("sun_side", marked("On the sunny side")),
    ("old_leaves", marked("Old leaves")),
    ("young_leaves", marked("Young leaves and flush")),
    ("tips", marked("Tips and margins only")),
    ("whole_leaves", marked("Whole leaves")),
    ("between_veins", marked("Between the veins")),
    ("pale", marked("Pale")),
    ("yellow", marked("Yellow")),
    ("brown", marked("Brown")),
    ("black", marked("Black, water-soaked")),
    ("curled", marked("Curled or wilted")),
    ("fallen", marked("Leaves on the ground")),
    ("sudden", marked("Came within days")),
    ("slow", marked("Came over weeks")),
    ("bark_split", marked("Bark split")),
    ("fruit_hurt", marked("Fruit hurt")),
    ("flowers_hurt", marked("Flowers hurt")),
    ("new_growth", marked("New growth starting")),
    ("hanging", marked("Dead leaves that hang on")),
    ("bare", marked("Bare: no leaf left")),
    ("wilts_by_day", marked("Limp by day, firm in the morning")),
)
"""What is offered on a walk, each key with plain words."""

ASKED_SIGNS = (
    ("all_round", marked("All round the tree alike")),
    ("from_base", marked("From the base of the leaf outward")),
    ("limp_in_cold", marked("Limp in the cold, firm again by day")),
    ("wood_green", marked("Green under the scratched bark")),
    ("wood_brown", marked("Brown under the scratched bark")),
    ("tips_green", marked("Shoot tips green and firm")),
    ("sharp_edge", marked("A sharp border to what lay in the shade")),
    ("neighbours_too", marked("Other plants beside it show the same")),
    ("soil_dry", marked("Soil dry a finger deep")),
    ("soil_wet", marked("Soil wet a finger deep")),
    ("white_crust", marked("A white crust on soil or pot")),
    ("insects", marked("Insects, webs, spots or holes")),
    ("runs_down", marked("Brown areas that run down leaf and stem")),
)
"""What somebody is asked to look for, to tell one cause from another."""

SIGNS = (*WALK_SIGNS, *ASKED_SIGNS)
"""What can be seen, each key with plain words."""

DEED_NAMES = {
    "watered": marked("Watered"),
    "wetted": marked("Ground wetted before cold"),
    "pruned": marked("Pruned"),
    "fed": marked("Fed"),
    "harvested": marked("Harvested"),
    "sprayed": marked("Sprayed"),
    "moved": marked("Moved"),
    "shaded": marked("Shaded with cloth"),
    "whitewashed": marked("Bark painted white"),
}
"""Deeds of a tree that are one touch away; the others are tasks of an evening."""

WATER_DEEDS = ("watered", "wetted")
"""Deeds that may carry an amount of water."""

STAGES = ("dormant", "bud", "bloom", "fruit_set", "fruit", "harvest", "flush", "shedding")
"""Growth stages, in the order of a year."""

Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=5000, pattern="^[^\0]*$")]
Digest = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Short = Annotated[str, StringConstraints(min_length=1, max_length=200, pattern="^[^\0]*$")]


class Body(BaseModel):
    """What an entry says besides tree, time and author."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    note: Text = ""
    photos: list[Digest] = Field(default=[], max_length=20)


class Sighting(Body):
    """One look at one tree."""

    grade: Annotated[int, Field(ge=0, le=7)] | None = Field(default=None, description="None: looked, not graded")
    signs: list[str] = Field(default=[], max_length=len(SIGNS))
    absent: list[str] = Field(
        default=[], max_length=len(SIGNS), description="Signs that were looked for and are not there"
    )
    asked: list[str] = Field(
        default=[], max_length=20, description="Questions about the cause that were answered, also with 'cannot tell'"
    )


class Deed(Body):
    """Something done."""

    what: Short = Field(description="A task's key, or one of the deeds of a tree such as watered, pruned")
    words: Short = Field(description="The same as a person reads it")
    night: date | None = Field(default=None, description="The evening it belongs to")
    people: list[str] = Field(default=[], max_length=20)
    minutes: Annotated[float, Field(ge=0, le=1440)] | None = None
    litres: Annotated[float, Field(ge=0, le=20000)] | None = Field(
        default=None, description="Of a watering: how much water each tree got; not known where left out"
    )
    sheet: str | None = None
    circuit: str | None = None
    lead: str | None = None
    trees: list[Short] = Field(default=[], max_length=200, description="Where it was for several trees: all of them")


class Stage(Body):
    """A growth stage that a tree has reached."""

    stage: Literal["dormant", "bud", "bloom", "fruit_set", "fruit", "harvest", "flush", "shedding"]


class Note(Body):
    """Words alone."""


BODIES: dict[str, type[Body]] = {"sighting": Sighting, "deed": Deed, "stage": Stage, "note": Note}


@dataclass(frozen=True)
class Signed:
    """Who enters something, with what, and when it came."""

    author: str
    device: str
    now: datetime


def entry_of(
    kind: str,
    body: Body,
    *,
    tree: str | None,
    at: datetime,
    signed: Signed,
    number: str | None = None,
    replaces: str | None = None,
    withdrawn: bool = False,
) -> LedgerEntry:
    """Make an entry.

    Parameters
    ----------
    kind : str
        One of `BODIES`.
    body : Body
    tree : str or None
        Its id in the yard; None for the whole yard.
    at : datetime, aware
        When it happened.
    signed : Signed
    number : str, optional
        The id that the device gave it; a new one if left out.
    replaces : str, optional
        Id of the entry it corrects.
    withdrawn : bool
        Whether it takes that entry back.

    Returns
    -------
    LedgerEntry

    Raises
    ------
    JournalError
        If it would have happened in the future.
    """
    if at > signed.now + CLOCK_AHEAD:
        raise JournalError(
            say(
                "An entry cannot be of the future: it says {at}, and it is {now}. Is the clock of the device right?",
                at=f"{at:%Y-%m-%d %H:%M %Z}",
                now=f"{signed.now.astimezone(at.tzinfo):%Y-%m-%d %H:%M %Z}",
            )
        )
    return LedgerEntry(
        id=number or str(uuid.uuid4()),
        yard="",
        kind=kind,
        tree=tree,
        at=at,
        author=signed.author,
        device=signed.device,
        received=signed.now,
        body=body.model_dump_json(exclude_defaults=True),
        replaces=replaces,
        withdrawn=withdrawn,
    )


def body_of(entry: LedgerEntry) -> Body:
    """Read what an entry says.

    Raises
    ------
    JournalError
        If it is not of the shape of its kind.
    """
    return read_body(entry.kind, entry.body)


def says(entry: LedgerEntry) -> Body | None:
    """Read what an entry says; None for one of a form that is no longer read."""
    try:
        return body_of(entry)
    except JournalError:
        return None


def read_body(kind: str, text: str) -> Body:
    """Read the JSON of an entry.

    Parameters
    ----------
    kind : str
        One of `BODIES`.
    text : str
        JSON.

    Raises
    ------
    JournalError
        Saying which field is wrong.
    """
    model = BODIES.get(kind)
    if model is None:
        raise JournalError(say("An entry is one of {kinds}, not {kind}", kinds=", ".join(BODIES), kind=kind))
    try:
        return model.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or kind
        raise JournalError(f"{where}: {first['msg']}") from error


def trees_of(entry: LedgerEntry, body: Body) -> list[str]:
    """Give the trees that an entry tells of; none for the whole yard."""
    several = body.trees if isinstance(body, Deed) else []
    return list(several) or ([entry.tree] if entry.tree is not None else [])


def take_back(ledger: Ledger, number: str, *, signed: Signed, within: timedelta | None = UNDO_FOR) -> LedgerEntry:
    """Take an entry back; it stays in the history.

    Parameters
    ----------
    ledger : Ledger
    number : str
        Id of the entry.
    signed : Signed
    within : timedelta or None
        How long after it came it may be taken back; None for ever.

    Returns
    -------
    LedgerEntry
        The entry that takes it back.

    Raises
    ------
    JournalError
        If there is no such entry, or it is too late.
    """
    entry = ledger.entry(number)
    if entry is None:
        raise JournalError(say("There is no entry {number}", number=number))
    if within is not None and signed.now - entry.received > within:
        raise JournalError(say("This was entered more than an hour ago. It can still be corrected on the tree's page."))
    back = LedgerEntry(
        # Named after what it takes back: taking back twice is once.
        id=str(uuid.uuid5(uuid.UUID(entry.id), "taken back")),
        yard="",
        kind=entry.kind,
        tree=entry.tree,
        at=entry.at,
        author=signed.author,
        device=signed.device,
        received=signed.now,
        body=entry.body,
        replaces=entry.id,
        withdrawn=True,
    )
    known = ledger.entry(back.id)
    if known is None:
        ledger.add([back])
    return known or back


def last_sightings(entries: Iterable[LedgerEntry]) -> dict[str, LedgerEntry]:
    """Give the newest sighting of each tree.

    Parameters
    ----------
    entries : iterable of LedgerEntry
        Those that stand, oldest first.
    """
    return {entry.tree: entry for entry in entries if entry.kind == "sighting" and entry.tree is not None}
