"""Entries as devices send them: each stored once, whatever the wireless did, and each answered for itself.

A telephone keeps what was entered out of reach and sends it later, perhaps twice, perhaps half. So one entry that is
not taken must not hold up the others, and what was stored before is answered as known, not as wrong.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fruitwall.errors import JournalError
from fruitwall.journal.ledger import EntryConflict
from fruitwall.service.ledger import CLOCK_AHEAD, SIGNS, Body, Sighting, Signed, body_of, entry_of, read_body
from fruitwall.service.moments import WrittenMoment
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.house import House

MOST_ENTRIES = 200
"""Of one sending."""

Uuid = Annotated[str, Field(pattern="^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")]


class NewEntry(BaseModel):
    """One entry as a device sends it."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: Uuid = Field(description="Made by the device, so that the entry is stored once however often it is sent")
    kind: Literal["sighting", "deed", "stage", "note"]
    tree: Annotated[str, Field(min_length=1, max_length=100, pattern="^[^\0]*$")] | None = Field(
        default=None, description="Its id in the yard file; null for the whole yard"
    )
    at: WrittenMoment = Field(description="When it happened, by the clock of the device")
    body: dict[str, Any] = Field(default={}, description="What it says; its fields are those of its kind")
    replaces: Uuid | None = Field(default=None, description="Id of the entry that it corrects")


class Sending(BaseModel):
    """What a device sends at once, in the order in which it was entered."""

    model_config = ConfigDict(extra="forbid")

    entries: Annotated[list[NewEntry], Field(max_length=MOST_ENTRIES)]
    sent: WrittenMoment | None = Field(
        default=None,
        description="The clock of the device as it sends this. If that clock is more than ten minutes wrong, the times "
        "of the entries are put right by as much",
    )


class EntryTaken(BaseModel):
    """What became of one entry."""

    id: str | None = Field(description="As it was sent; null if that was no text")
    result: Literal["stored", "known", "refused"] = Field(
        description="known: it was stored before, nothing was changed. refused: it was not stored, see the reason"
    )
    reason: str = ""
    warnings: list[str] = []


def take_entries(
    house: House, entries: Sequence[object], *, signed: Signed, sent: datetime | None = None
) -> list[EntryTaken]:
    """Store entries, each for itself and in their order.

    Parameters
    ----------
    house : House
    entries : sequence of object
        As read from JSON, each of the form of `NewEntry`.
    signed : Signed
        Who sends them.
    sent : datetime, aware, optional
        The clock of the device at the time of sending.

    Returns
    -------
    list of EntryTaken
        One for each, in their order.
    """
    known_trees = {tree.id for tree in house.yard()[0].trees}
    shift = signed.now - sent if sent is not None else None
    if shift is not None and abs(shift) <= CLOCK_AHEAD:
        shift = None
    answers = []
    for one in entries:
        number = one.get("id") if isinstance(one, dict) else None
        number = number if isinstance(number, str) else None
        try:
            entry = NewEntry.model_validate(one)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"]) or "entry"
            answers.append(EntryTaken(id=number, result="refused", reason=f"{where}: {first['msg']}"))
            continue
        try:
            at = entry.at if shift is None else entry.at + shift
        except OverflowError:
            at = entry.at
        warnings = [] if shift is None else [say("The clock of the device is wrong; the time was put right.")]
        try:
            answer = take_entry(house, entry, at=at, signed=signed)
        except (JournalError, ValueError) as error:
            answers.append(EntryTaken(id=number, result="refused", reason=str(error)))
            continue
        if entry.tree is not None and entry.tree not in known_trees:
            warnings.append(say("The yard has no tree {tree} now; the entry is kept under that name.", tree=entry.tree))
        answers.append(answer.model_copy(update={"warnings": warnings + answer.warnings}))
    return answers


def take_entry(house: House, entry: NewEntry, *, at: datetime, signed: Signed) -> EntryTaken:
    """Store one entry.

    Parameters
    ----------
    house : House
    entry : NewEntry
    at : datetime, aware
        When it happened, by our clock.
    signed : Signed
        Who sends it.

    Returns
    -------
    EntryTaken
        Stored or known.

    Raises
    ------
    JournalError
        If it is refused; the text says why.
    """
    body = read_body(entry.kind, json.dumps(entry.body))
    ledger = house.ledger
    before = ledger.entry(entry.id)
    if before is not None:
        return _known(before, entry, body)
    for digest in body.photos:
        if ledger.photo(digest) is None:
            raise JournalError(say("The photo {digest} is not here; send it first.", digest=digest[:12]))
    made = entry_of(entry.kind, body, tree=entry.tree, at=at, signed=signed, number=entry.id, replaces=entry.replaces)
    try:
        new = ledger.add([made])[0]
    except EntryConflict:  # somebody stored it between our look and now, such as the other tab of the same telephone
        stored = ledger.entry(entry.id)
        if stored is None:
            raise
        return _known(stored, entry, body)
    return EntryTaken(id=entry.id, result="stored" if new else "known", warnings=_doubts(house, made, body))


def _known(before: LedgerEntry, entry: NewEntry, body: Body) -> EntryTaken:
    """Answer for an entry whose id is stored: the same, or another that must not take its place.

    Who sent it, with what, and a clock put right in between are not part of what it says.
    """
    same = (before.kind, before.tree, before.replaces) == (entry.kind, entry.tree, entry.replaces)
    if not same or before.withdrawn or body_of(before) != body:
        raise JournalError(say("An entry of this id is stored already and says something else; it was not changed."))
    return EntryTaken(id=entry.id, result="known")


def _doubts(house: House, entry: LedgerEntry, body: Body) -> list[str]:
    """Tell what somebody should look at."""
    found = []
    if entry.replaces is not None:
        others = [
            one
            for one in house.ledger.history(entry.replaces)
            if one.replaces == entry.replaces and one.id != entry.id and not one.withdrawn
        ]
        if others:
            found.append(say("Somebody else corrected the same entry; both are kept and shown."))
    if isinstance(body, Sighting) and (strange := [sign for sign in body.signs if sign not in dict(SIGNS)]):
        found.append(say("Signs that are not known here were kept: {signs}", signs=", ".join(strange)[:200]))
    return found
