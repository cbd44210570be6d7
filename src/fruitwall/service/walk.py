"""A walk round the yard: in which order, what each tree was like at the last look, and what it went through since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from fruitwall.plans.walking import route
from fruitwall.service.corrections import chains_of, rivals_of
from fruitwall.service.ledger import Deed, Sighting, Stage, says, trees_of
from fruitwall.service.nights_felt import NightFelt, NightRead, nights_read

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
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
class Done:
    """One deed that stands.

    Attributes
    ----------
    entry : LedgerEntry
    deed : Deed
        What it says.
    """

    entry: LedgerEntry
    deed: Deed


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
    deeds : list of Done
        What was done for it since the last look, oldest first.
    seen : bool
        Whether it was looked at on this walk.
    rivals : list of Look
        Corrections of one and the same look, or of corrections of it: all stand, somebody has to say which holds.
    stage : tuple of (str, LedgerEntry) or None
        The growth stage that was entered last.
    """

    tree: Tree
    number: int
    looks: list[Look]
    nights: list[NightFelt]
    deeds: list[Done]
    seen: bool
    rivals: list[Look]
    stage: tuple[str, LedgerEntry] | None = None

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

    def ticked(self, night: NightFelt) -> Literal["all", "some", "none"]:
        """Tell whether what a night's plan asked for this tree was ticked."""
        done = {one.deed.what for one in self.deeds if one.deed.night == night.night}
        found = sum(key in done for key in night.asked)
        return "none" if not found else "all" if found == len(night.asked) else "some"


@dataclass(frozen=True)
class Walk:
    """The whole round.

    Attributes
    ----------
    yard : Yard
    stops : list of Stop
        In walking order.
    now : datetime, aware
    nights : Mapping of date to NightRead
        What is known of the last nights, tonight's as well.
    """

    yard: Yard
    stops: list[Stop]
    now: datetime
    nights: Mapping[date, NightRead]

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
    entries = house.ledger.current()
    looks = _looks(entries)
    deeds = _deeds(entries)
    stages = _stages(entries)
    chains = chains_of(house.ledger, entries)
    nights = nights_read(house, version.yard, now, back=NIGHTS_BACK)
    over = [night for night in nights if night.sunrise <= now][-NIGHTS_BACK:]
    numbers = {tree.id: number for number, tree in enumerate(yard.trees, start=1)}
    stops = []
    for tree in walking_order(yard):
        seen = looks.get(tree.id, [])
        since = seen[-1].entry.at if seen else None
        lately = since if since is not None else now - timedelta(days=NIGHTS_BACK)
        disputed = rivals_of([look.entry for look in seen], chains)
        stops.append(
            Stop(
                tree=tree,
                number=numbers[tree.id],
                looks=seen,
                nights=[
                    night.felt[tree.id]
                    for night in over
                    if tree.id in night.felt and (since is None or night.sunrise > since)
                ],
                deeds=[done for done in deeds.get(tree.id, []) if done.entry.at > lately],
                seen=since is not None and now - since <= ONE_WALK,
                rivals=[look for look in seen if look.entry.id in disputed],
                stage=stages.get(tree.id),
            )
        )
    return Walk(yard, stops, now, {night.night: night for night in nights})


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
        if entry.tree is not None and entry.kind == "sighting" and isinstance(body := says(entry), Sighting):
            found.setdefault(entry.tree, []).append(Look(entry, body))
    return found


def _stages(entries: Sequence[LedgerEntry]) -> dict[str, tuple[str, LedgerEntry]]:
    """Read the newest stage of each tree."""
    found: dict[str, tuple[str, LedgerEntry]] = {}
    for entry in entries:
        if entry.tree is not None and entry.kind == "stage" and isinstance(body := says(entry), Stage):
            found[entry.tree] = (body.stage, entry)
    return found


def _deeds(entries: Sequence[LedgerEntry]) -> dict[str, list[Done]]:
    """Read the deeds that stand, by tree."""
    found: dict[str, list[Done]] = {}
    for entry in entries:
        if entry.kind == "deed" and isinstance(body := says(entry), Deed):
            for tree in trees_of(entry, body):
                found.setdefault(tree, []).append(Done(entry, body))
    return found
