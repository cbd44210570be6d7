"""What the yard has taught of one tree, worked out before its template: before, after, and the looks that did it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import quote

from fruitwall.service.household import Household, author_words, percent, short_day
from fruitwall.service.lived import measure_words
from fruitwall.service.taught import TRIFLE_K, Evidence, TaughtTree, shift_words
from fruitwall.service.words import sentence
from fruitwall.speech import say, say_count
from fruitwall.web.walk.words import grade_word
from fruitwall.yard.model import Yard

TELLING_K = 0.05
"""A look that moved less is told as one that moved nothing. [K]"""


@dataclass(frozen=True)
class LookLine:
    """One graded look as evidence."""

    when: str
    saw: str
    after: str
    """The coldest hour before it, and what was done then."""
    expected: str
    pull: str
    url: str
    """Where the entry is corrected or taken back."""


@dataclass(frozen=True)
class TaughtPart:
    """The part of a tree's page."""

    before: str
    after: str
    summary: str
    lines: list[LookLine]
    none: str
    """Why there is nothing yet; empty where there is."""


def taught_part(its: TaughtTree, yard: Yard, household: Household, now: datetime) -> TaughtPart:
    """Work out what was learned of a tree.

    Parameters
    ----------
    its : TaughtTree
    yard : Yard
    household : Household
        Of who reads.
    now : datetime, aware

    Returns
    -------
    TaughtPart
    """
    learned = bool(its.evidence) or abs(its.shift.mean_k) >= TRIFLE_K
    return TaughtPart(
        before=household.temperatures(its.before.p10, its.before.p90),
        after=household.temperatures(its.after.p10, its.after.p90),
        summary=sentence(household.in_own_units(shift_words(its.shift, len(its.evidence)))) if learned else "",
        lines=[_line(one, its, yard, household, now) for one in reversed(its.evidence)],
        none=""
        if learned
        else say(
            "Nothing so far. A graded look after a cold night teaches, also one that finds no harm; the nights before "
            "it must be known from the weather that was kept."
        ),
    )


def _line(one: Evidence, its: TaughtTree, yard: Yard, household: Household, now: datetime) -> LookLine:
    return LookLine(
        when=household.moment(one.at, now),
        saw=say("{grade}, seen by {name}", grade=grade_word(one.grade), name=author_words(one.observer)),
        after=_after(one, its, yard, household),
        expected=_expected(one),
        pull=_pull(one, household),
        url=f"/trees/{quote(its.tree, safe='')}/{quote(one.entry, safe='')}",
    )


def _after(one: Evidence, its: TaughtTree, yard: Yard, household: Household) -> str:
    cold = household.temperature(one.coldest_c)
    day = short_day(one.coldest_night) if isinstance(one.coldest_night, date) else ""
    nights = say_count("{count} night", "{count} nights", one.nights)
    if one.measure == "leave":
        return say("after {nights}, the coldest {cold} on {day}, left alone", nights=nights, cold=cold, day=day)
    done = measure_words(yard, its.tree, one.measure)
    return say("after {nights}, the coldest {cold} on {day} with: {done}", nights=nights, cold=cold, day=day, done=done)


def _expected(one: Evidence) -> str:
    """Say how likely that or worse was thought to be without what was learned."""
    at_least = min(1.0, sum(one.expected[one.grade :]))
    if one.grade == 0:
        return say("no harm was expected with {chance}", chance=percent(one.expected[0]))
    return say("this or worse was expected with {chance}", chance=percent(at_least))


def _pull(one: Evidence, household: Household) -> str:
    if abs(one.pull_k) < TELLING_K:
        return say("moved nothing")
    far = household.fine_difference(one.pull_k)
    moved = say("moved it {far} to the tender side", far=far) if one.pull_k > 0 else ""
    moved = moved or say("moved it {far} to the hardy side", far=far)
    if one.cold < 0.95:
        return say("{moved}; taken as of cold with {chance}", moved=moved, chance=percent(one.cold))
    return moved
