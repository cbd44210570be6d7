"""The report of a season: the winter, what was learned, and the story of each tree, in words of who reads.

It is made to be shown to others. Who lives where and who did what is nobody's business there: the name and the place
of the yard, names of people, notes, photos and what the parts say of their weather's sources are left out unless they
are asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from fruitwall.errors import FruitwallError
from fruitwall.service.cold_ledger import cold_ledger
from fruitwall.service.cold_season import begins_line, coldest_of
from fruitwall.service.household import author_words, long_day, number, short_day
from fruitwall.service.ledger import DEED_NAMES, GRADES, Deed, Sighting, says, trees_of
from fruitwall.service.words import TISSUE_WORDS
from fruitwall.speech import language, say, say_count

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.cold_document import ColdLedger, ColdNight, TreeCold
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.service.ledger import Body
    from fruitwall.service.lived import Lived
    from fruitwall.service.taught import Taught
    from fruitwall.yard.model import Tree, Yard

LOOKS_TOLD = 6
"""Looks told of each tree at most, the newest."""

PHOTOS_SHOWN = 2
"""Photos shown of each tree at most, the newest."""


@dataclass(frozen=True)
class YardNight:
    """One night of the whole yard.

    Attributes
    ----------
    night : date
    done_c, alone_c : float
        The coldest tree. [°C]
    below, below_alone : int
        Trees below where harm to them begins.
    """

    night: date
    done_c: float
    alone_c: float
    below: int
    below_alone: int


@dataclass(frozen=True)
class TreeReport:
    """The story of one tree.

    Attributes
    ----------
    tree, name, kind : str
        Id, name and kind with cultivar; the kind is empty where the name says it.
    told : tuple of str
        Its coldest night and how long it was below where harm begins.
    nights : tuple of ColdNight
    begins_c : float or None
        Where harm begins. [°C]
    done, looks, learned : tuple of str
        What was done, how it looked, what was learned; empty where nothing is known.
    notes : tuple of str
        What was written; only where private details are asked for.
    photos : tuple of str
        Digests of photos; only where private details are asked for.
    """

    tree: str
    name: str
    kind: str
    told: tuple[str, ...]
    nights: tuple[ColdNight, ...]
    begins_c: float | None
    done: tuple[str, ...]
    looks: tuple[str, ...]
    learned: tuple[str, ...]
    notes: tuple[str, ...] = ()
    photos: tuple[str, ...] = ()


@dataclass(frozen=True)
class Learned:
    """Something that was learned: about what, in sentences, and what to change."""

    title: str
    lines: tuple[str, ...]
    change: str


@dataclass(frozen=True)
class SeasonReport:
    """All that the report tells.

    Attributes
    ----------
    title, subtitle, made : str
        The winter, whose yard it is, and until when it tells.
    language : str
    private : bool
        Whether private details are in it.
    parts : tuple of (str, str)
        How it stands with each part of the season: its title and its verdict.
    nights : tuple of YardNight
    learned : tuple of Learned
    trees : tuple of TreeReport
        All trees of the yard.
    notes : tuple of str
        What is assumed or missing.
    """

    title: str
    subtitle: str
    made: str
    language: str
    private: bool
    parts: tuple[tuple[str, str], ...]
    nights: tuple[YardNight, ...]
    learned: tuple[Learned, ...]
    trees: tuple[TreeReport, ...]
    notes: tuple[str, ...]


def season_report(house: House, household: Household, *, private: bool = False) -> SeasonReport:
    """Work out the report.

    Parameters
    ----------
    house : House
        With a yard.
    household : Household
        Of who reads.
    private : bool
        Whether the name and place of the yard, names of people, notes and photos stand in it.

    Returns
    -------
    SeasonReport
    """
    from fruitwall.service.season import season_parts_told

    yard, _ = house.yard()
    ledger = cold_ledger(house)
    parts = season_parts_told(house, household)
    known = _taught(house)
    entries = [
        (entry, body)
        for entry in house.ledger.current()
        if entry.at >= ledger.since and (body := says(entry)) is not None
    ]
    lived = _lived(house)
    by_id = {tree.tree: tree for tree in ledger.trees}
    trees = tuple(
        _tree(tree, by_id[tree.id], entries, lived.get(tree.id, ()), known, (yard, household), ledger.since, private)
        for tree in yard.trees
        if tree.id in by_id
    )
    count = say_count("a yard of {count} tree", "a yard of {count} trees", len(yard.trees))
    whose = say("{yard}, near {place}", yard=yard.name, place=_place(yard)) if private else count
    return SeasonReport(
        title=say("Winter {winter} of {yard}", winter=ledger.winter, yard=whose),
        subtitle=count if private else say("Place, people, notes and photos are left out."),
        made=say("Told until {day}", day=long_day(ledger.until.astimezone(household.zone).date())),
        language=language(),
        private=private,
        parts=tuple((one.title, one.told.verdict) for one in parts if one.told is not None),
        nights=yard_nights(ledger),
        learned=_surprises(house, household),
        trees=trees,
        # What parts assume may name the station or the place of the weather.
        notes=tuple(
            dict.fromkeys(
                note
                for one in parts
                if one.told is not None and (private or one.key == "cold")
                for note in one.told.notices
            )
        ),
    )


def _place(yard: Yard) -> str:
    at = yard.location
    return f"{abs(at.latitude_deg):.2f}° {'N' if at.latitude_deg >= 0 else 'S'}, " + (
        f"{abs(at.longitude_deg):.2f}° {'E' if at.longitude_deg >= 0 else 'W'}"
    )


def yard_nights(ledger: ColdLedger) -> tuple[YardNight, ...]:
    """Put the nights of all trees together.

    Parameters
    ----------
    ledger : ColdLedger

    Returns
    -------
    tuple of YardNight
        Oldest first.
    """
    found: dict[date, list[tuple[ColdNight, float | None]]] = {}
    for tree in ledger.trees:
        for night in tree.nights:
            found.setdefault(night.night, []).append((night, tree.begins_c))
    return tuple(
        YardNight(
            night,
            min(one.done_c for one, _ in its),
            min(one.alone_c for one, _ in its),
            sum(begins is not None and one.done_c < begins for one, begins in its),
            sum(begins is not None and one.alone_c < begins for one, begins in its),
        )
        for night, its in sorted(found.items())
    )


# ---------------------------------------------------------------- one tree


def _tree(
    tree: Tree,
    cold: TreeCold,
    entries: Sequence[tuple[LedgerEntry, Body]],
    lived: Sequence[Lived],
    known: Taught | None,
    reading: tuple[Yard, Household],
    since: datetime,
    private: bool,
) -> TreeReport:
    yard, household = reading
    own = [(entry, body) for entry, body in entries if tree.id in trees_of(entry, body)]
    kind = tree.taxon if not tree.cultivar else f"{tree.taxon} ‘{tree.cultivar}’"
    newest_first = sorted(own, key=lambda one: one[0].at, reverse=True)
    return TreeReport(
        tree=tree.id,
        name=tree.name,
        kind="" if kind.casefold() == tree.name.casefold() else kind,
        told=_cold(cold, household),
        nights=tuple(cold.nights),
        begins_c=cold.begins_c,
        done=_done(yard, tree.id, own, lived, since.astimezone(household.zone).date()),
        looks=_looks(newest_first, household, private),
        learned=_learned(tree.id, known, household),
        notes=tuple(
            say("{day}: {note}", day=short_day(entry.at.astimezone(household.zone).date()), note=body.note)
            for entry, body in newest_first
            if body.note
        )
        if private
        else (),
        photos=tuple([photo for _, body in newest_first for photo in body.photos][:PHOTOS_SHOWN]) if private else (),
    )


def _cold(cold: TreeCold, household: Household) -> tuple[str, ...]:
    coldest, line = coldest_of(cold), begins_line(cold.winter)
    if coldest is None or cold.tissue is None:
        return (say("No weather of this winter is known for it."),)
    found = [
        say(
            "Coldest: {tissue} at {done} in the night of {day}; left alone {alone}.",
            tissue=say(TISSUE_WORDS[cold.tissue]),
            done=household.temperature(coldest.done_c),
            day=short_day(coldest.done_night),
            alone=household.temperature(coldest.alone_c),
        )
    ]
    if line is not None and cold.begins_c is not None:
        found.append(
            say(
                "Hours below where harm begins ({begins}): {done}; left alone {alone}.",
                begins=household.temperature(cold.begins_c),
                done=number(line.done.hours),
                alone=number(line.alone.hours),
            )
        )
    return tuple(found)


def _done(
    yard: Yard, tree: str, own: Sequence[tuple[LedgerEntry, Body]], lived: Sequence[Lived], since: date
) -> tuple[str, ...]:
    """Say what was done in the nights, and what else was done, each with how often."""
    from fruitwall.service.lived import measure_words

    nights = Counter(one.measure for one in lived if one.night >= since and one.measure != "leave")
    found = [
        say_count("{what}: {count} night", "{what}: {count} nights", times, what=measure_words(yard, tree, key))
        for key, times in nights.most_common()
    ]
    deeds = Counter(body.what for _, body in own if isinstance(body, Deed) and body.what in DEED_NAMES)
    found += [
        say_count("{what}: once", "{what}: {count} times", times, what=say(DEED_NAMES[key]))
        for key, times in deeds.most_common()
    ]
    return tuple(found)


def _looks(newest_first: Sequence[tuple[LedgerEntry, Body]], household: Household, private: bool) -> tuple[str, ...]:
    found: list[str] = []
    for entry, body in newest_first:
        if not isinstance(body, Sighting) or body.grade is None or len(found) == LOOKS_TOLD:
            continue
        day, grade = short_day(entry.at.astimezone(household.zone).date()), say(GRADES[body.grade][1])
        if private:
            found.append(say("{day}: {grade} ({who})", day=day, grade=grade, who=author_words(entry.author)))
        else:
            found.append(say("{day}: {grade}", day=day, grade=grade))
    return tuple(found)


def _learned(tree: str, known: Taught | None, household: Household) -> tuple[str, ...]:
    from fruitwall.service.taught import TRIFLE_K, shift_words

    its = known.trees.get(tree) if known is not None else None
    if its is None or not (its.evidence or abs(its.shift.mean_k) >= TRIFLE_K):
        return ()
    words = household.in_own_units(shift_words(its.shift, len(its.evidence)))
    return (words[:1].upper() + words[1:] + ".",)


# ---------------------------------------------------------------- what cannot be worked out is left out


def _taught(house: House) -> Taught | None:
    from fruitwall.service.taught import taught

    try:
        return taught(house)
    except (FruitwallError, ArithmeticError, ValueError):
        return None


def _lived(house: House) -> Mapping[str, Sequence[Lived]]:
    from fruitwall.service.lived import lived_nights

    try:
        return lived_nights(house)
    except (FruitwallError, ArithmeticError, ValueError):
        return {}


def _surprises(house: House, household: Household) -> tuple[Learned, ...]:
    from fruitwall.service.surprise_words import title, told
    from fruitwall.service.surprises import surprises_of

    try:
        found = surprises_of(house)
    except (FruitwallError, ArithmeticError, ValueError):
        return ()
    said = [(title(one), told(one, household)) for one in found]
    return tuple(Learned(name, words.lines, words.change) for name, words in said)
