"""The story of one tree: what it went through, what was done and seen, what it is believed to stand, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import FruitwallError
from fruitwall.service.corrections import chain_of, chains_of, rivals_of
from fruitwall.service.earlier import latest_plan
from fruitwall.service.ledger import Body, Deed, Sighting, Signed, Stage, entry_of, says, trees_of
from fruitwall.service.nights_felt import NightFelt, NightRead, nights_read

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.evening_document import EveningPlan, TreePlan
    from fruitwall.service.house import House
    from fruitwall.service.kind_document import Statement
    from fruitwall.yard.model import Tree, Yard

NIGHTS_TOLD = 200
"""Nights in the picture at most: a winter. Each plan is read once in the life of the server."""

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
        Whether another one stands that corrects the same: somebody has to say which holds.
    shared : int
        Of how many trees it tells; its minutes are shared among them.
    """

    entry: LedgerEntry
    body: Body
    corrected: bool
    rival: bool
    shared: int = 1


@dataclass(frozen=True)
class Winter:
    """What a tree cost in one winter.

    Attributes
    ----------
    name : str
        Such as ``2026/27``.
    planned_min : float or None
        What the plans of nights that are over asked for; None where no plan of that winter was read. [min]
    nights : int
        How many plans that were.
    ticked_min : float
        What was ticked or entered with its minutes. [min]
    """

    name: str
    planned_min: float | None
    nights: int
    ticked_min: float


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
    winters : list of Winter
        What it cost, the last one first.
    plan : EveningPlan or None
        That of `tonight`, to say it in another language.
    read : Mapping of date to NightRead
        Nights that are known, to say what was ticked in another language.
    taken_back : list of LedgerEntry
        Entries that took another back which stands no more in any form, the newest first.
    statements : list of Statement
        What is published on the cold that its kind stands; empty where more than one tree is told.
    """

    tree: Tree
    zone: ZoneInfo
    now: datetime
    told: list[Told]
    nights: list[tuple[datetime, NightFelt]]
    tonight: TreePlan | None
    winters: list[Winter]
    plan: EveningPlan | None = None
    read: Mapping[date, NightRead] = field(default_factory=dict)
    taken_back: Sequence[LedgerEntry] = ()
    statements: Sequence[Statement] = ()

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
    zone = ZoneInfo(yard.location.time_zone)
    current = house.ledger.current()
    disputed = rivals_of(current, chains_of(house.ledger, current))
    entries = [(one, body) for one in current if (body := says(one)) is not None]
    night = tonight(yard.location, now)
    plan = latest_plan(house.journal, version.yard, night)
    planned = {one.id: one for one in plan.trees} if plan is not None else {}
    read = nights_read(house, version.yard, now, back=NIGHTS_TOLD) if tree is not None else []
    over = [one for one in read if one.sunrise <= now]
    stories = []
    for one in yard.trees:
        if tree is not None and one.id != tree:
            continue
        told = _told([(entry, body) for entry, body in entries if one.id in trees_of(entry, body)], disputed)
        nights = [(its.sunrise, its.felt[one.id]) for its in over if one.id in its.felt]
        stories.append(
            Story(
                tree=one,
                zone=zone,
                now=now,
                told=told,
                nights=nights,
                tonight=planned.get(one.id),
                winters=_winters(told, nights, zone),
                plan=plan,
                read={its.night: its for its in read},
                taken_back=_taken_back(house, one.id) if tree is not None else (),
                statements=_statements(yard, one) if tree is not None else (),
            )
        )
    return stories


def _told(entries: Sequence[tuple[LedgerEntry, Body]], disputed: Set[str]) -> list[Told]:
    return [
        Told(entry, body, entry.replaces is not None, entry.id in disputed, max(len(trees_of(entry, body)), 1))
        for entry, body in entries
    ]


def _statements(yard: Yard, tree: Tree) -> Sequence[Statement]:
    """Give what is published on a tree's kind; nothing for a kind that the catalogue no longer has."""
    from fruitwall.service.kind import describe_kind
    from fruitwall.service.own_kinds import catalogue_of

    try:
        return describe_kind(tree.taxon, catalogue_of(yard)).statements
    except FruitwallError:
        return ()


def _taken_back(house: House, tree: str) -> list[LedgerEntry]:
    """Give what took entries of a tree back, as long as nothing else of their chain stands."""
    found = []
    for back in house.ledger.taken_back():
        body = says(back)
        if body is None or tree not in trees_of(back, body):
            continue
        chain = chain_of(house.ledger, back.id)
        if not chain.standing and back.id in {one.id for one in chain.back}:
            found.append(back)
    return sorted(found, key=lambda one: one.received, reverse=True)


def _winters(told: Sequence[Told], nights: Sequence[tuple[datetime, NightFelt]], zone: ZoneInfo) -> list[Winter]:
    """Add up minutes by winter; those of work for several trees are shared among them."""
    ticked: dict[str, float] = {}
    planned: dict[str, list[float]] = {}
    for one in told:
        if isinstance(one.body, Deed) and one.body.minutes is not None:
            name = _winter(one.entry.at.astimezone(zone).date())
            ticked[name] = ticked.get(name, 0.0) + one.body.minutes / one.shared
    for _, felt in nights:
        planned.setdefault(_winter(felt.night), []).append(felt.minutes)
    return [
        Winter(name, sum(planned[name]) if name in planned else None, len(planned.get(name, ())), ticked.get(name, 0.0))
        for name in sorted(ticked.keys() | planned.keys(), reverse=True)
    ]


def _winter(day: date) -> str:
    first = day.year if day.month >= WINTER_BEGINS else day.year - 1
    return f"{first}/{(first + 1) % 100:02d}"


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
