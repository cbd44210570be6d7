"""A walk round the yard: in which order, what each tree was like at the last look, and what it went through since."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import JournalError
from fruitwall.plans.walking import route
from fruitwall.service.ledger import Sighting, body_of

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry, StoredPlan
    from fruitwall.service.house import House
    from fruitwall.yard.model import Tree, Yard

ONE_WALK = timedelta(hours=12)
"""Looks no older than this belong to the walk that is going on. Our judgement: a morning's and an evening's differ."""

NIGHTS_BACK = 14
"""How many nights back is told at most. Injury by cold shows within days; our judgement."""


@dataclass(frozen=True)
class Look:
    """One sighting that stands.

    Attributes
    ----------
    entry : LedgerEntry
    sighting : Sighting
        What it says.
    """

    entry: LedgerEntry
    sighting: Sighting


@dataclass(frozen=True)
class NightFelt:
    """What one tree went through in one night, as the last plan of that night computed it.

    Attributes
    ----------
    night : date
        Of the evening.
    tissue : str
        The most endangered one.
    measure : str
        Key of what was planned for it; ``leave`` for nothing.
    measure_name : str
        In words, in English.
    alone_c, planned_c : float
        Coldest of that tissue, median: left alone, and with what was planned. [°C]
    margin_alone_k, margin_planned_k : float
        That minus what it stands. [K]
    """

    night: date
    tissue: str
    measure: str
    measure_name: str
    alone_c: float
    planned_c: float
    margin_alone_k: float
    margin_planned_k: float


@dataclass(frozen=True)
class Stop:
    """One tree of the walk.

    Attributes
    ----------
    tree : Tree
    number : int
        The tree's own, as in the plan of the evening.
    looks : list of Look
        Those that stand, oldest first.
    nights : list of NightFelt
        Nights that are over since the last look, oldest first; at most `NIGHTS_BACK`.
    seen : bool
        Whether it was looked at on this walk.
    """

    tree: Tree
    number: int
    looks: list[Look]
    nights: list[NightFelt]
    seen: bool

    @property
    def last(self) -> Look | None:
        """The newest look; None if it was never looked at."""
        return self.looks[-1] if self.looks else None

    @property
    def coldest(self) -> NightFelt | None:
        """The night since the last look that left the least margin with what was planned for it."""
        known = [night for night in self.nights if night.margin_planned_k == night.margin_planned_k]
        return min(known, key=lambda night: night.margin_planned_k, default=None)

    @property
    def photo(self) -> tuple[str, datetime] | None:
        """The newest picture and when it was seen so."""
        for look in reversed(self.looks):
            if look.sighting.photos:
                return look.sighting.photos[-1], look.entry.at
        return None

    @property
    def rivals(self) -> list[Look]:
        """Looks that correct one and the same earlier look: both stand, somebody has to say which holds."""
        corrected = Counter(look.entry.replaces for look in self.looks if look.entry.replaces is not None)
        return [look for look in self.looks if corrected.get(look.entry.replaces or "", 0) > 1]


@dataclass(frozen=True)
class Walk:
    """The whole round.

    Attributes
    ----------
    yard : Yard
    stops : list of Stop
        In walking order.
    now : datetime, aware
    """

    yard: Yard
    stops: list[Stop]
    now: datetime

    @property
    def zone(self) -> ZoneInfo:
        """Of the yard's clock."""
        return ZoneInfo(self.yard.location.time_zone)

    @property
    def seen(self) -> int:
        """How many trees were looked at on this walk."""
        return sum(stop.seen for stop in self.stops)

    def place(self, tree: str) -> int | None:
        """Give the place of a tree in the walk, from 0; None if the yard has no such tree."""
        return next((at for at, stop in enumerate(self.stops) if stop.tree.id == tree), None)


def walk_of(house: House) -> Walk:
    """Give the walk round a yard as it stands now.

    Parameters
    ----------
    house : House

    Returns
    -------
    Walk

    Raises
    ------
    JournalError
        If there is no yard yet.
    """
    now = house.clock()
    yard, version = house.yard()
    looks = _looks(house.ledger.current(kind="sighting"))
    nights = nights_over(house, version.yard, now)
    numbers = {tree.id: number for number, tree in enumerate(yard.trees, start=1)}
    stops = []
    for tree in walking_order(yard):
        seen = looks.get(tree.id, [])
        since = seen[-1].entry.at if seen else None
        stops.append(
            Stop(
                tree=tree,
                number=numbers[tree.id],
                looks=seen,
                nights=[felt[tree.id] for over, felt in nights if tree.id in felt and (since is None or over > since)],
                seen=since is not None and now - since <= ONE_WALK,
            )
        )
    return Walk(yard, stops, now)


def walking_order(yard: Yard) -> list[Tree]:
    """Give the trees in the order of a short round that begins where the gear is kept."""
    return [yard.trees[at] for at in _order(tuple(yard.gear_store), tuple(tree.position for tree in yard.trees))]


@lru_cache(maxsize=8)
def _order(start: tuple[float, float], stops: tuple[tuple[float, float], ...]) -> tuple[int, ...]:
    return route(start, stops).order


def _looks(entries: Sequence[LedgerEntry]) -> dict[str, list[Look]]:
    """Read the sightings that stand, by tree; one of a form that is no longer read is passed over."""
    found: dict[str, list[Look]] = {}
    for entry in entries:
        if entry.tree is None:
            continue
        try:
            body = body_of(entry)
        except JournalError:
            continue
        if isinstance(body, Sighting):
            found.setdefault(entry.tree, []).append(Look(entry, body))
    return found


def nights_over(
    house: House, yard: str, now: datetime, *, back: int = NIGHTS_BACK
) -> list[tuple[datetime, Mapping[str, NightFelt]]]:
    """Give what the trees went through in the last nights, from the plans that were stored for them.

    Parameters
    ----------
    house : House
    yard : str
        Name of the yard.
    now : datetime, aware
    back : int
        How many nights at most.

    Returns
    -------
    list of (datetime, mapping)
        Sunrise after the night and what each tree felt, oldest night first. A night without a plan is not known.
    """
    found: list[tuple[datetime, Mapping[str, NightFelt]]] = []
    # A plan of tomorrow night may be there already; two days ahead of UTC's date is ahead of every zone's.
    before = now.date() + timedelta(days=2)
    earliest = now.date() - timedelta(days=back + 1)
    while (stored := house.journal.plan_before(before, yard=yard)) is not None and stored.night >= earliest:
        before = stored.night
        read = _read_plan(stored)
        if read is not None and read[0] <= now:
            found.append(read)
    return found[:back][::-1]


_plans_read: dict[str, tuple[datetime, Mapping[str, NightFelt]] | None] = {}


def _read_plan(stored: StoredPlan) -> tuple[datetime, Mapping[str, NightFelt]] | None:
    """Read of a plan what the trees feel, once for each plan: a document of many trees takes a while to read."""
    if stored.sha256 not in _plans_read:
        while len(_plans_read) > 4 * NIGHTS_BACK:
            _plans_read.pop(next(iter(_plans_read)), None)
        _plans_read[stored.sha256] = _felt(stored)
    return _plans_read[stored.sha256]


def _felt(stored: StoredPlan) -> tuple[datetime, Mapping[str, NightFelt]] | None:
    """Read only what is needed, so that plans of other versions of the program still tell it."""
    try:
        document = json.loads(stored.document)
        sunrise = datetime.fromisoformat(document["sunrise"])
        felt = {
            str(tree["id"]): NightFelt(
                night=stored.night,
                tissue=str(tree["tissue"]),
                measure=str(tree["measure"]),
                measure_name=str(tree["measure_name"]),
                alone_c=_float(tree["tissue_min_c"]["nothing"]["p50"]),
                planned_c=_float(tree["tissue_min_c"]["chosen"]["p50"]),
                margin_alone_k=_float(tree["margin_k"]["nothing"]),
                margin_planned_k=_float(tree["margin_k"]["chosen"]),
            )
            for tree in document["trees"]
        }
    except (ValueError, KeyError, TypeError):
        return None
    return (sunrise, felt) if sunrise.utcoffset() is not None else None


def _float(value: object) -> float:
    """Read a number; what is unknown is null in the document."""
    return float(value) if isinstance(value, int | float) else float("nan")
