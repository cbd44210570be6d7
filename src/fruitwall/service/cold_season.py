"""The cold ledger in words: verdict, what is in doubt, and one line a tree."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fruitwall.service.cold_document import ColdLedger, ColdLine, TreeCold, WinterCold
from fruitwall.service.cold_ledger import cold_ledger
from fruitwall.service.household import decimal, number, short_day
from fruitwall.service.ledger import GRADES
from fruitwall.service.season_part import PartTable, SeasonPart
from fruitwall.service.words import TISSUE_WORDS
from fruitwall.speech import say, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.service.cold_document import ColdCount, Coldest, ColdLevel
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

KNOWN_ENOUGH = 0.98
"""Share of a winter's hours whose weather must be known for it to be told without a word on holes. Our judgement."""


def cold_part(house: House, household: Household) -> SeasonPart:
    """Tell the cold of this winter.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    ledger = cold_ledger(house)
    return SeasonPart(
        key="cold",
        title=say("Cold"),
        verdict=verdict(ledger, household),
        notices=tuple(notices(ledger, household)),
        table=yard_table(ledger, household),
        document=ledger,
    )


def verdict(ledger: ColdLedger, household: Household) -> str:
    """Say the winter in one sentence or two."""
    known = [(tree, coldest) for tree in ledger.trees if (coldest := coldest_of(tree)) is not None]
    if not known:
        return say("No weather of this winter is known yet, so nothing can be told of its cold.")
    worst, coldest = min(known, key=lambda one: one[1].done_c)
    parts = [
        say(
            "Coldest so far in winter {winter}: {tree}, {cold} in the night of {day}.",
            winter=ledger.winter,
            tree=worst.name,
            cold=household.temperature(coldest.done_c),
            day=short_day(coldest.done_night),
        )
    ]
    done = sum(line.done.nights for tree, _ in known if (line := begins_line(tree.winter)) is not None)
    alone = sum(line.alone.nights for tree, _ in known if (line := begins_line(tree.winter)) is not None)
    if alone == 0:
        parts.append(say("No tree got below where harm to it begins."))
    elif not any(night.done_c != night.alone_c for tree, _ in known for night in tree.nights):
        parts.append(
            say(
                "Below where harm begins: {alone}. Nothing was ticked as done for them in these nights.",
                alone=_tree_nights(alone),
            )
        )
    else:
        parts.append(
            say(
                "Below where harm begins: {done} as they were kept, {alone} had all been left alone.",
                done=_tree_nights(done),
                alone=_tree_nights(alone),
            )
        )
    return " ".join(parts)


def _tree_nights(count: int) -> str:
    return say_count("{count} night of a tree", "{count} nights of a tree", count)


def notices(ledger: ColdLedger, household: Household) -> list[str]:
    """Say what is assumed or missing."""
    found = []
    known = [tree.winter for tree in ledger.trees if tree.winter is not None]
    if known:
        hours, there = known[0].hours, max(one.known_hours for one in known)
        if there < KNOWN_ENOUGH * hours:
            found.append(
                say(
                    "The weather of {known} of {all} hours since {day} is known; only these are counted. Past weather "
                    "can be fetched or read in on the page of the weather.",
                    known=number(there),
                    all=number(hours),
                    day=short_day(ledger.since.astimezone(household.zone).date()),
                )
            )
    unknown = [tree.name for tree in ledger.trees if tree.winter is None]
    if unknown and known:
        found.append(say("Nothing is known of {trees}.", trees=say_list(unknown)))
    if any(tree.whole for tree in ledger.trees):
        found.append(
            say(
                "Earlier winters are worked out for the yard as it was then, with what was done then; they count up "
                "to the same day unless it says otherwise."
            )
        )
    else:
        found.append(say("The weather of no earlier winter is known, so this one stands alone."))
    if not ledger.climate:
        found.append(say("The climate of the place is not known, so the winter is not held against usual ones."))
    if any(tree.by_chill for tree in ledger.trees):
        found.append(
            say(
                "Where harm begins above freezing it comes of nights of eight hours; fewer hours below hurt less than "
                "the count says."
            )
        )
    return found


def yard_table(ledger: ColdLedger, household: Household) -> PartTable:
    """Give one line a tree: as it was kept, and had it been left alone."""
    rows = []
    for tree in ledger.trees:
        coldest, line = coldest_of(tree), begins_line(tree.winter)
        if coldest is None:
            rows.append((tree.name, *[say("unknown")] * 6))
            continue
        begins = household.bare_temperature(tree.begins_c) if tree.begins_c is not None else ""
        rows.append(
            (
                tree.name,
                household.bare_temperature(coldest.done_c),
                household.bare_temperature(coldest.alone_c),
                begins,
                *(pair(line, what, household) for what in ("nights", "hours", "degree_hours")),
            )
        )
    return PartTable(
        caption=say(
            "Winter {winter}, temperatures in {unit}; counts below where harm begins: as kept / left alone",
            winter=ledger.winter,
            unit=household.degree,
        ),
        columns=(
            say("Tree"),
            say("Coldest, as kept"),
            say("Coldest, left alone"),
            say("Harm begins"),
            say("Nights"),
            say("Hours"),
            say("Degree-hours ({unit})", unit=f"{household.step} h"),
        ),
        rows=tuple(rows),
        trees=tuple(tree.tree for tree in ledger.trees),
    )


def coldest_of(tree: TreeCold, winter: WinterCold | None = None) -> Coldest | None:
    """Give the lowest hour of the tissue that is told, of this winter or another one."""
    its = winter or tree.winter
    if its is None:
        return None
    return next((one for one in its.coldest if one.tissue == tree.tissue), None)


def begins_line(winter: WinterCold | None) -> ColdLine | None:
    """Give the counts below where harm begins."""
    return next((one for one in winter.lines if one.level.kind == "begins"), None) if winter is not None else None


def pair(line: ColdLine | None, what: str, household: Household) -> str:
    """Write one count as it was and left alone: "2 / 5"."""
    if line is None:
        return say("unknown")
    return " / ".join(count_words(count, what, household) for count in (line.done, line.alone))


def count_words(count: ColdCount, what: str, household: Household) -> str:
    """Write one count; degree-hours in the reader's degrees."""
    if what != "degree_hours":
        return number(getattr(count, what))
    return degree_hours(count.degree_hours, household)


def degree_hours(kelvin_hours: float, household: Household) -> str:
    """Write degree-hours without their unit, to a tenth below ten."""
    value = kelvin_hours * (1.8 if household.fahrenheit else 1.0)
    return decimal(f"{value:.1f}") if 0 < value < 10 else number(value)


def shown(lines: Sequence[ColdLine], household: Household) -> list[ColdLine]:
    """Give the lines that a reader sees: round numbers of their own unit only, the warmest level first."""
    other = "C" if household.fahrenheit else "F"
    own = [one for one in lines if not (one.level.kind == "fixed" and one.level.key.endswith(other))]
    graded = {one.level.level_c for one in own if one.level.kind == "grade"}  # harm mostly begins with one of them
    own = [one for one in own if not (one.level.kind == "begins" and one.level.level_c in graded)]
    return sorted(own, key=lambda one: -one.level.level_c)


def level_words(level: ColdLevel) -> str:
    """Say what a level means."""
    tissue = say(TISSUE_WORDS[level.tissue])
    if level.kind == "grade" and level.grade is not None:
        return say("{tissue}: {grade}", tissue=tissue, grade=say(GRADES[level.grade][1]))
    return {
        "begins": say("{tissue}: harm begins", tissue=tissue),
        "chill": say("{tissue}: suffers above freezing", tissue=tissue),
        "fruit": say("half of the fruit lost"),
        "flower": say("half of the flowers lost"),
        "fixed": say("{tissue}: round number", tissue=tissue),
    }[level.kind]
