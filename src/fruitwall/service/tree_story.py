"""The story of one tree: what it went through, what was done and seen, what it is believed to stand, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import JournalError
from fruitwall.service.earlier import latest_plan
from fruitwall.service.ledger import Body, Deed, Sighting, Signed, Stage, body_of, entry_of
from fruitwall.service.walk import NightFelt, nights_over
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.evening_document import TreePlan
    from fruitwall.service.house import House
    from fruitwall.yard.model import Tree

NIGHTS_TOLD = 45
"""Nights in the picture at most: plans are large to read. Our judgement."""

WINTER_BEGINS = 7
"""Month from which a year counts to the winter that it begins."""


@dataclass(frozen=True)
class Told:
    """One entry that stands.

    Attributes
    ----------
    entry : LedgerEntry
    body : Body
    corrected : bool
        Whether it corrects another one.
    rival : bool
        Whether somebody else corrected the same entry: both stand.
    shared : int
        Of how many trees it tells; its minutes are shared among them.
    """

    entry: LedgerEntry
    body: Body
    corrected: bool
    rival: bool
    shared: int = 1


@dataclass(frozen=True)
class Story:
    """What is known of a tree.

    Attributes
    ----------
    tree : Tree
    zone : ZoneInfo
    now : datetime, aware
    told : list of Told
        Oldest first.
    nights : list of (datetime, NightFelt)
        Sunrise after each night that is over, and what it felt.
    tonight : TreePlan or None
        From the newest plan of tonight, or of the last night that has one.
    winters : list of (str, float)
        Minutes that deeds took, by winter.
    """

    tree: Tree
    zone: ZoneInfo
    now: datetime
    told: list[Told]
    nights: list[tuple[datetime, NightFelt]]
    tonight: TreePlan | None
    winters: list[tuple[str, float]]

    @property
    def last_look(self) -> Told | None:
        """The newest sighting."""
        return next((one for one in reversed(self.told) if isinstance(one.body, Sighting)), None)

    @property
    def stage(self) -> Told | None:
        """The growth stage that it reached last."""
        return next((one for one in reversed(self.told) if isinstance(one.body, Stage)), None)


def stories_of(house: House, tree: str | None = None) -> list[Story]:
    """Tell the trees of a yard, or one of them.

    Parameters
    ----------
    house : House
    tree : str, optional
        Id of the only one to tell, with the nights that are over; without it no nights are read.

    Returns
    -------
    list of Story
        In the order of the yard; empty if there is no such tree.
    """
    from fruitwall.service.nights import tonight

    yard, version = house.yard()
    now = house.clock()
    entries = [(one, body) for one in house.ledger.current() if (body := _body(one)) is not None]
    night = tonight(yard.location, now)
    plan = latest_plan(house.journal, version.yard, night)
    planned = {one.id: one for one in plan.trees} if plan is not None else {}
    over = nights_over(house, version.yard, now, back=NIGHTS_TOLD) if tree is not None else []
    stories = []
    for one in yard.trees:
        if tree is not None and one.id != tree:
            continue
        told = _told([(entry, body) for entry, body in entries if one.id in _trees(entry, body)])
        nights = [(sunrise, felt[one.id]) for sunrise, felt in over if one.id in felt]
        zone = ZoneInfo(yard.location.time_zone)
        stories.append(Story(one, zone, now, told, nights, planned.get(one.id), _winters(told, zone)))
    return stories


def _body(entry: LedgerEntry) -> Body | None:
    """Read an entry; None for one of a form that is no longer read."""
    try:
        return body_of(entry)
    except JournalError:
        return None


def _trees(entry: LedgerEntry, body: Body) -> Sequence[str]:
    """Give the trees that an entry tells of."""
    several = body.trees if isinstance(body, Deed) else []
    return several or ([entry.tree] if entry.tree is not None else [])


def _told(entries: Sequence[tuple[LedgerEntry, Body]]) -> list[Told]:
    corrects = [entry.replaces for entry, _ in entries if entry.replaces is not None]
    return [
        Told(
            entry,
            body,
            entry.replaces is not None,
            corrects.count(entry.replaces or "") > 1,
            max(len(_trees(entry, body)), 1),
        )
        for entry, body in entries
    ]


def _winters(told: Sequence[Told], zone: ZoneInfo) -> list[tuple[str, float]]:
    """Add up the minutes of deeds by winter; minutes for several trees are shared among them."""
    found: dict[str, float] = {}
    for one in told:
        if isinstance(one.body, Deed) and one.body.minutes is not None:
            day = one.entry.at.astimezone(zone)
            first = day.year if day.month >= WINTER_BEGINS else day.year - 1
            name = f"{first}/{(first + 1) % 100:02d}"
            found[name] = found.get(name, 0.0) + one.body.minutes / one.shared
    return sorted(found.items())


def enter(house: House, tree: str, kind: str, body: Body, *, signed: Signed, number: str) -> LedgerEntry:
    """Store an entry of a tree; sent again by the same form, it is stored once.

    Parameters
    ----------
    house : House
    tree : str
    kind : str
        One of `service.ledger.BODIES`.
    body : Body
    signed : Signed
    number : str
        Id that the form gave it.

    Returns
    -------
    LedgerEntry
    """
    known = house.ledger.entry(number)
    if known is not None:
        return known
    entry = entry_of(kind, body, tree=tree, at=signed.now, signed=signed, number=number)
    house.ledger.add([entry])
    return entry


def correct(house: House, which: str, changes: Mapping[str, object], *, signed: Signed, number: str) -> LedgerEntry:
    """Correct an entry: a new one stands in its place, and the old one stays in the history.

    Parameters
    ----------
    house : House
    which : str
        Id of the entry.
    changes : Mapping
        Fields of its body that become others; those that its kind does not have are passed over.
    signed : Signed
    number : str
        Id that the form gave the correction.

    Returns
    -------
    LedgerEntry
        The correction.

    Raises
    ------
    JournalError
        If there is no such entry.
    ValueError
        If a field becomes something impossible.
    """
    known = house.ledger.entry(number)
    if known is not None:
        return known
    entry = house.ledger.entry(which)
    if entry is None:
        raise JournalError(say("There is no entry {number}", number=which))
    body = body_of(entry)
    kept = {name: value for name, value in changes.items() if name in type(body).model_fields}
    changed = type(body).model_validate(body.model_dump() | dict(kept))
    made = entry_of(entry.kind, changed, tree=entry.tree, at=entry.at, signed=signed, number=number, replaces=entry.id)
    house.ledger.add([made])
    return made
