"""Looks that can hardly be as entered: a grade for the wrong tree, or one that heals too soon. Named, and mendable.

Nothing is changed by itself: who knows the tree says what it was. A look moved to another tree is a correction like
any other, kept in the history of both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

from fruitwall.errors import JournalError
from fruitwall.plants.causes import judge
from fruitwall.service.causes import Known, cold_chances, known_of, nights_between, seen_of, window_of
from fruitwall.service.corrections import chain_of
from fruitwall.service.household import percent, short_day
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import GRADES, Sighting, body_of, entry_of
from fruitwall.service.lived import Lived, lived_nights
from fruitwall.service.walk import ONE_WALK, walking_order
from fruitwall.speech import marked, say, say_count

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.house import House
    from fruitwall.service.ledger import Signed
    from fruitwall.yard.model import Tree

BADLY, JUMP = 4, 3
"""A grade of at least so much, and so much worse than the look before, needs a cause. Our judgement."""

HARDLY = 0.02
"""Chance of harm by cold below which the nights are no cause. Our judgement."""

NEIGHBOURS, NEAR = 3, timedelta(days=2)
"""So many other trees, unhurt or no worse within so much time, tell that nothing struck the yard. Our judgement."""

UNHURT = 1
"""Grade up to which a neighbour counts as unhurt."""

HEALS_AFTER_DAYS = {2: 30, 3: 45, 4: 60, 5: 120, 6: 120}
"""Days within which an injury of a grade does not go back by two grades without new growth: burnt leaf does not heal,
it falls and is grown anew. Common practice, no source; the days are our judgement."""

AT_ONCE = timedelta(minutes=30)
"""Two looks at one tree within this, with two grades, are one too many. Our judgement."""

CANDIDATES = 3

WORDS = {
    "no_cause": marked(
        "“{grade}” was entered, and “{before}” on {day}; nothing in between explains it: the nights were too mild for "
        "it (a chance of less than {chance}), and {others} seen within two days got no worse."
    ),
    "healed": marked(
        "“{grade}” was entered {days} after “{before}”: burnt leaf does not heal, and no new growth, fall of leaf or "
        "pruning was entered."
    ),
    "risen": marked("Entered as “{grade}”, and seen alive on {day}: “{after}”."),
    "twice": marked("Two looks at this tree within {minutes} say “{grade}” and “{before}”."),
    "no_leaf": marked("“{grade}” is of the leaf, and this tree was entered as resting: it has none."),
}

MENDS = {
    "no_cause": marked("If another tree was meant, move the look there; else correct its grade, or say what you saw."),
    "healed": marked(
        "If it has grown anew, mark “New growth starting”; if another tree was meant, move the look there."
    ),
    "risen": marked("Correct the grade of this look, or move it to the tree that was meant."),
    "twice": marked("Take one back, or move it to the tree that was meant."),
    "no_leaf": marked("Correct the grade, or move the look to the tree that was meant."),
}


@dataclass(frozen=True)
class Doubt:
    """A look that can hardly be as entered.

    Attributes
    ----------
    entry : str
        Its id.
    tree : str
    words : str
        Why, in a sentence for who reads.
    mend : str
        What to do about it.
    """

    entry: str
    tree: str
    words: str
    mend: str


@dataclass(frozen=True)
class _Fact:
    """A doubt before it is said."""

    entry: str
    tree: str
    kind: str
    values: Mapping[str, Any]


def doubts_of(house: House) -> list[Doubt]:
    """Give the looks of a yard that can hardly be as entered.

    Parameters
    ----------
    house : House

    Returns
    -------
    list of Doubt
        In the order of the looks, oldest first; at most one for each look.
    """
    _, version = house.yard()
    key = (
        version.yard,
        version.number,
        house.journal.state(),
        house.clock().replace(minute=0, second=0, microsecond=0),
    )
    facts = _FACTS.of(house.journal, key=key, make=lambda: _facts(house))
    return [_said(fact) for fact in facts]


_FACTS: Kept[list[_Fact]] = Kept(4)


def _said(fact: _Fact) -> Doubt:
    values = {name: value() if callable(value) else value for name, value in fact.values.items()}
    return Doubt(fact.entry, fact.tree, say(WORDS[fact.kind], **values), say(MENDS[fact.kind]))


def trees_meant(house: House, which: str) -> tuple[str, ...]:
    """Give the trees that may have been meant by a look.

    Parameters
    ----------
    house : House
    which : str
        Id of the sighting.

    Returns
    -------
    tuple of str
        Those passed over on that walk that the nights did strike, then those next to it on the walk; at most
        `CANDIDATES`, the likeliest first.
    """
    known, graded = _graded(house)
    for tree, looks in graded.items():
        for look in looks:
            if look[0].id == which:
                return _teller(house, known, graded, tree).meant(look)
    return ()


def move_look(house: House, which: str, tree: str, *, signed: Signed, number: str) -> LedgerEntry:
    """Move a look to the tree that was meant: a correction, kept in the history.

    Parameters
    ----------
    house : House
    which : str
        Id of the sighting.
    tree : str
        Id of the other tree.
    signed : Signed
    number : str
        Id that the form gave the correction.

    Returns
    -------
    LedgerEntry
        What stands now, of the other tree.

    Raises
    ------
    JournalError
        If the look does not stand any more, or there is no such tree.
    """
    known = house.ledger.entry(number)
    if known is not None:
        return known
    entry = next((one for one in chain_of(house.ledger, which).standing if one.id == which), None)
    if entry is None or entry.kind != "sighting":
        raise JournalError(say("This does not stand any more: it was corrected or taken back meanwhile. Look again."))
    if tree not in {one.id for one in house.yard()[0].trees}:
        raise JournalError(say("The yard has no tree of this name now."))
    if tree == entry.tree:
        return entry
    made = entry_of("sighting", body_of(entry), tree=tree, at=entry.at, signed=signed, number=number, replaces=which)
    house.ledger.add([made])
    return made


# ---------------------------------------------------------------- what is doubtful

Graded = tuple["LedgerEntry", Sighting, int]


def _graded(house: House) -> tuple[Known, dict[str, list[Graded]]]:
    """Give what is known of a yard, and its graded looks by tree."""
    known = known_of(house)
    return known, {
        tree: [(entry, body, body.grade) for entry, body in looks if body.grade is not None]
        for tree, looks in known.looks.items()
        if tree in known.trees
    }


def _teller(house: House, known: Known, graded: Mapping[str, Sequence[Graded]], tree: str) -> _Teller:
    # A walk without doubts needs no nights: they are asked for where they count.
    order = [one.id for one in walking_order(known.yard)]
    return _Teller(known, cache(lambda: lived_nights(house)), graded, order, known.trees[tree])


def _facts(house: House) -> list[_Fact]:
    known, graded = _graded(house)
    found: dict[str, _Fact] = {}
    for tree, looks in graded.items():
        for fact in _teller(house, known, graded, tree).facts(looks):
            found.setdefault(fact.entry, fact)
    moments = {entry.id: entry.at for looks in graded.values() for entry, _, _ in looks}
    return sorted(found.values(), key=lambda one: (moments[one.entry], one.entry))


@dataclass(frozen=True, eq=False)
class _Teller:
    """Finds what is doubtful among the looks of one tree."""

    known: Known
    lived: Callable[[], Mapping[str, Sequence[Lived]]]
    graded: Mapping[str, Sequence[Graded]]
    order: Sequence[str]
    tree: Tree

    def facts(self, looks: Sequence[Graded]) -> Iterator[_Fact]:
        for before, look in zip([None, *looks], looks, strict=False):
            yield from self._of_one(look)
            if before is None:
                continue
            yield from self._at_once(before, look)
            yield from self._risen(before, look)
            yield from self._healed(before, look)
            yield from self._without_cause(before, look)

    def _of_one(self, look: Graded) -> Iterator[_Fact]:
        entry, _, grade = look
        resting = [stage for then, stage in self.known.stages.get(self.tree.id, ()) if then <= entry.at]
        if not 1 <= grade <= 3 or not resting or resting[-1] != "dormant":
            return
        c = self._circumstances(look)
        if c.leaf_habit != "evergreen" and c.stage:
            yield self._fact("no_leaf", look, {})

    def _at_once(self, before: Graded, look: Graded) -> Iterator[_Fact]:
        apart = look[0].at - before[0].at
        if apart > AT_ONCE or look[2] == before[2] or look[0].author != before[0].author:
            return
        if self._next_unseen(look[0]):
            minutes = max(1, round(apart / timedelta(minutes=1)))
            yield self._fact(
                "twice",
                look,
                {"minutes": lambda: say_count("{count} minute", "{count} minutes", minutes), "before": _grade(before)},
            )

    def _risen(self, before: Graded, look: Graded) -> Iterator[_Fact]:
        if before[2] == len(GRADES) - 1 and look[2] < before[2]:
            day = look[0].at.astimezone(self.known.zone).date()
            yield self._fact("risen", before, {"day": lambda: short_day(day), "after": _grade(look)})

    def _healed(self, before: Graded, look: Graded) -> Iterator[_Fact]:
        apart = look[0].at - before[0].at
        allowed = HEALS_AFTER_DAYS.get(before[2])
        if allowed is None or look[2] > before[2] - 2 or not AT_ONCE < apart < timedelta(days=allowed):
            return
        grown = {"new_growth", "fallen"} & {*look[1].signs, *before[1].signs}
        told = [
            what
            for moments in (self.known.deeds, self.known.stages)
            for then, what in moments.get(self.tree.id, ())
            if before[0].at <= then <= look[0].at and what in ("pruned", "flush", "bud", "shedding")
        ]
        if not grown and not told:
            days = max(1, apart.days)
            yield self._fact(
                "healed",
                look,
                {"days": lambda: say_count("{count} day", "{count} days", days), "before": _grade(before)},
            )

    def _without_cause(self, before: Graded, look: Graded) -> Iterator[_Fact]:
        entry, body, grade = look
        if grade < BADLY or grade - before[2] < JUMP:
            return
        others = [
            _no_worse(looks, last[-1])
            for tree, looks in self.graded.items()
            if tree != self.tree.id and (last := [at for at, one in enumerate(looks) if _near(one, look)])
        ]
        if len(others) < NEIGHBOURS or not all(others):
            return
        chance, enough = self._cold(entry, self.tree.id, grade)
        if not enough or chance >= HARDLY:
            return
        verdict = judge(seen_of(body), self._circumstances(look))
        if verdict.likeliest in ("shedding", "old"):
            return
        day = before[0].at.astimezone(self.known.zone).date()
        count = len(others)
        yield self._fact(
            "no_cause",
            look,
            {
                "before": _grade(before),
                "day": lambda: short_day(day),
                "chance": lambda: percent(HARDLY),
                "others": lambda: say_count("{count} other tree", "{count} other trees", count),
            },
        )

    def _fact(self, kind: str, look: Graded, values: Mapping[str, Any]) -> _Fact:
        return _Fact(look[0].id, self.tree.id, kind, {"grade": _grade(look), **values})

    def _circumstances(self, look: Graded) -> Any:
        entry, body, _ = look
        before = self.known.before(entry, self.tree)
        nights = nights_between(self.lived().get(self.tree.id, ()), before, entry, self.known.zone)
        return self.known.circumstances(entry, body, self.tree, before, nights)

    def _cold(self, entry: LedgerEntry, tree: str, grade: int) -> tuple[float, bool]:
        """Chance that the nights before a look did nearly this to a tree, and whether they are known."""
        before = self.known.before(entry, self.tree)
        nights = nights_between(self.lived().get(tree, ()), before, entry, self.known.zone)
        first, last = window_of(before, entry, self.known.zone)
        frost, chill = cold_chances(nights, grade)
        return 1.0 - (1.0 - frost) * (1.0 - chill), 2 * len(nights) >= max((last - first).days, 1)

    def meant(self, look: Graded) -> tuple[str, ...]:
        """Give the trees that may have been meant: next on the walk and not looked at, or hurt by those nights."""
        entry, _, grade = look
        near = self._next_unseen(entry)
        unseen = [tree for tree in self.order if tree != self.tree.id and not self._seen(tree, entry)]
        hurt: list[str] = []
        if grade >= 2:
            chances = {tree: self._cold(entry, tree, grade)[0] for tree in unseen}
            hurt = [tree for tree in sorted(unseen, key=lambda one: -chances[one]) if chances[tree] >= 5 * HARDLY]
        return tuple(dict.fromkeys([*hurt[:2], *near, *hurt]))[:CANDIDATES]

    def _next_unseen(self, entry: LedgerEntry) -> list[str]:
        """Give the trees before and after it on the walk that were not looked at then."""
        if self.tree.id not in self.order:
            return []
        at = self.order.index(self.tree.id)
        beside = [self.order[place] for place in (at + 1, at - 1) if 0 <= place < len(self.order)]
        return [tree for tree in beside if not self._seen(tree, entry)]

    def _seen(self, tree: str, entry: LedgerEntry) -> bool:
        """Whether a tree was looked at on the walk of a look."""
        return any(abs(one.at - entry.at) <= ONE_WALK for one, _ in self.known.looks.get(tree, ()))


def _near(one: Graded, look: Graded) -> bool:
    return abs(one[0].at - look[0].at) <= NEAR


def _no_worse(looks: Sequence[Graded], at: int) -> bool:
    """Whether a look found a tree unhurt, or no worse than the look before it did."""
    return looks[at][2] <= UNHURT or (at > 0 and looks[at][2] <= looks[at - 1][2])


def _grade(look: Graded) -> Any:
    """Name a grade when it is said, in the language of then."""
    name = GRADES[look[2]][1]
    return lambda: say(name)


def doubts_by_entry(doubts: Iterable[Doubt]) -> dict[str, Doubt]:
    """Give doubts by the look that they are of."""
    return {one.entry: one for one in doubts}


__all__ = ["Doubt", "doubts_by_entry", "doubts_of", "move_look", "trees_meant"]
