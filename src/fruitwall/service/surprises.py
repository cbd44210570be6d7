"""What was unexpected in this yard, what follows from it, and how sure that is.

Trees that stand more or less than was believed, spots that are colder or warmer than was reckoned, measures that did
not pay and those that did, trees that were hurt though nothing was feared for them. Nothing here is learned: this reads
what was learned (`service.taught`, `service.spot_offsets`) beside what the trees went through (`service.lived`).

Advice to do less is on the safe side: never where a night as cold as those it speaks of could cost the tree or most of
its leaf with more than a small stated chance, and never for colder nights than those that were.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date
from math import isfinite
from statistics import median
from typing import TYPE_CHECKING, Literal

import numpy as np

from fruitwall.learning.tolerances import Shift
from fruitwall.plants.normal import ndtr
from fruitwall.service.kept import Kept
from fruitwall.service.worth_it import (
    DEAD,
    HARM,
    MOST_LOST,
    WEIGHTS,
    Array,
    Belief,
    coldest_hour_c,
    fate,
    left_alone,
    verb_of,
    winter_of,
)

if TYPE_CHECKING:
    from fruitwall.learning.spots import Offset
    from fruitwall.service.evening_document import Spread
    from fruitwall.service.house import House
    from fruitwall.service.lived import Lived
    from fruitwall.service.taught import Evidence, Taught, TaughtTree
    from fruitwall.yard.model import Shelter, Tree, Yard

NOTABLE_K = 1.0
"""From which size on a tree counts as other than believed: what a light cover brings. Our judgement. [K]"""

NOTABLE_SPOT_K = 0.5
"""The same of a spot on clear calm nights. Less than of a tree: after some weeks a thermometer tells it to a few
tenths, and it holds for whatever stands there. Our judgement. [K]"""

LISTED = 0.75
"""Chance from which on something is told as a surprise: three to one. Our judgement."""

SAFE = ((DEAD, 0.01), (MOST_LOST, 0.05), (HARM, 0.1))
"""Advice to do less is never given where leaving the tree alone, on all the nights that the advice speaks of together,
would bring it to this grade or worse with a larger chance. Our judgement: a tree is the work of years."""

OFTEN_ENOUGH = 3
"""Nights on which something was done, from which on it may be said not to pay. Our judgement."""

UNEXPECTED = 0.3
"""An injury counts as more than expected where so bad a one, or a worse one, had at most this chance. Our judgement."""

OF_COLD = 0.5
"""A look counts as one at harm by cold where that is at least so likely. Our judgement."""

USUAL_MINUTES = 6.0
"""What protecting a tree takes where nobody told: covering one of 1.5 m by `plans.times`, with the morning. [min]"""

NIGHTS_SHOWN = 12
"""Nights given as evidence, the coldest. Our judgement."""

Kind = Literal["hardier", "tenderer", "colder", "warmer", "stop", "start", "too_little", "paid"]
"""Of a surprise: a tree that stands more, or less; a spot that is colder, or warmer; to do less; to begin; to do more;
what paid."""

ADVICE: tuple[Kind, ...] = ("start", "too_little", "stop")


@dataclass(frozen=True)
class NightProof:
    """One night as evidence.

    Attributes
    ----------
    night : date
    measure, measure_name : str
        What was done: key, and English words.
    alone_c, with_c : float
        Coldest hour of the leaf, of the twigs where there is none: left alone, and with what was done. [°C]
    harm_alone, harm_with : float
        Chance of burnt leaf or worse by what is believed now.
    """

    night: date
    measure: str
    measure_name: str
    alone_c: float
    with_c: float
    harm_alone: float
    harm_with: float


@dataclass(frozen=True)
class Trial:
    """What doing something for a tree brought over the nights on which it was done.

    Attributes
    ----------
    verb : str
        ``carry``, ``cover``, ``wet``, ``shelter``, or ``other`` where it was not always the same.
    times : int
        On how many nights that are judged here.
    winters : int
        Over how many winters these nights are spread.
    minutes : float
        What it took. [min a winter]
    cost, saved : float
        What these minutes are worth, and by how much the expected loss is lower for it. [currency a winter]
    chance_unpaid : float
        Chance, over what is unknown of the tree, that it saved less than it cost.
    harm, most_lost, dead : float
        Chance that left alone over all these nights it would have been hurt (burnt leaf or worse), lost most of its
        leaf or more, died.
    bound_c : float
        Coldest hour of the tree in the coldest of these nights, had it been left alone. [°C]
    colder : int
        On how many colder nights it was done, on which it could not be left alone safely.
    """

    verb: str
    times: int
    winters: int
    minutes: float
    cost: float
    saved: float
    chance_unpaid: float
    harm: float
    most_lost: float
    dead: float
    bound_c: float
    colder: int

    @property
    def gain(self) -> float:
        """What stopping would bring. [currency a winter]"""
        return self.cost - self.saved


@dataclass(frozen=True)
class Surprise:
    """Something that was not expected.

    Attributes
    ----------
    kind : str
        Of `Kind`.
    tree, name : str
        Id and name of the tree, or of the tree at whose spot a thermometer hung.
    chance : float
        How sure it is: that the shift is larger than `NOTABLE_K`, the offset than `NOTABLE_SPOT_K`; that a measure
        saved less than it cost (`stop`), or more (`paid`, `start`); that the tree is hurt again with what was done
        (`too_little`).
    worth : float
        What it is about. [currency a winter]
    size_k : float
        Shift of the limits (above zero: more tender), offset of the spot on clear calm nights; zero for measures. [K]
    before, after : Spread or None
        Where harm begins, before and after; None for spots. [°C]
    count : int
        Nights on which the spot was read; looks that taught, of the tree itself.
    trial : Trial or None
        Of a measure.
    limit_c : float
        For `start`: below which coldest hour to begin; else not a number. [°C]
    looks : tuple of Evidence
        Of this tree, oldest first.
    nights : tuple of NightProof
        Coldest first.
    others : tuple of (str, str)
        Id and name of other trees whose looks taught something of this one; of a shelter: the trees in it.
    seen : Evidence or None
        For `start` and `too_little`: the look that was worse than expected.
    """

    kind: Kind
    tree: str
    name: str
    chance: float
    worth: float
    size_k: float = 0.0
    before: Spread | None = None
    after: Spread | None = None
    count: int = 0
    trial: Trial | None = None
    limit_c: float = float("nan")
    looks: tuple[Evidence, ...] = ()
    nights: tuple[NightProof, ...] = ()
    others: tuple[tuple[str, str], ...] = ()
    seen: Evidence | None = None


Minutes = Mapping[tuple[str, date], float | None]
"""What was done took so long, by tree and night; None where nobody told. A night without an entry took nothing: what
was put up earlier still stood. [min]"""


def surprises(
    taught: Taught,
    lived: Mapping[str, Sequence[Lived]],
    offsets: Mapping[str, Offset],
    yard: Yard,
    minutes: Minutes,
) -> list[Surprise]:
    """Give what was unexpected.

    Parameters
    ----------
    taught : Taught
        What was learned of the trees.
    lived : Mapping of tree to sequence of Lived
        What they went through.
    offsets : Mapping of tree to Offset
        What was learned of their spots.
    yard : Yard
        With worths and prices.
    minutes : Minutes

    Returns
    -------
    list of Surprise
        What is to be changed first, then by what it is worth.
    """
    told = [one for one in minutes.values() if one is not None]
    usual = median(told) if told else USUAL_MINUTES
    shared = {one.id for one in yard.shelters if len(one.trees) > 1}
    found: list[Surprise] = []
    cases: dict[str, _Case] = {}
    for tree in yard.trees:
        known = taught.trees.get(tree.id)
        case = None
        if known is not None:
            nights = tuple(lived.get(tree.id, ()))
            case = _Case(tree, known, nights, taught, yard.prices.per_hour / 60.0, minutes, usual)
            cases[tree.id] = case
            found += case.of_tree()
            found += case.unprotected()
        if tree.id in offsets:
            found += _of_spot(tree, offsets[tree.id], case)
    exposed = {one.tree for one in found if one.kind == "start"}
    for case in cases.values():
        found += case.of_measures(stop=case.tree.id not in exposed, shared=shared)
    for shelter in yard.shelters:
        inside = [cases[tree] for tree in shelter.trees if tree in cases]
        if shelter.id in shared and len(inside) == len(shelter.trees) and exposed.isdisjoint(shelter.trees):
            found += _of_shelter(shelter, inside)
    return sorted(found, key=lambda one: (one.kind not in ADVICE, -one.worth, one.name, one.kind))


class _Case:
    """One tree with all that is known of it."""

    def __init__(
        self,
        tree: Tree,
        known: TaughtTree,
        nights: Sequence[Lived],
        taught: Taught,
        per_minute: float,
        minutes: Minutes,
        usual_minutes: float,
    ) -> None:
        self.tree, self.known, self.nights, self._taught = tree, known, nights, taught
        self._per_minute, self._minutes, self._usual = per_minute, minutes, usual_minutes
        chill = taught.before.chill.get(tree.id), taught.learned.chill.get(tree.id)
        self.belief = Belief(
            Shift(0.0, known.prior_sd_k), known.shift, (chill[0], chill[1]) if chill[0] and chill[1] else None
        )
        self._winters = len({winter_of(one) for one in nights}) or 1

    # ---- judging

    def loss(self, nights: Iterable[Lived], belief: Belief | None = None) -> Array:
        """Expected loss a winter for every shift, the nights of each winter together. [shift]"""
        by_winter: dict[int, list[Lived]] = defaultdict(list)
        for one in nights:
            by_winter[winter_of(one)].append(one)
        total = np.zeros(WEIGHTS.size)
        for its in by_winter.values():
            total += fate(its, belief or self.belief).loss(self.tree.worth, self.tree.crop_worth)
        return np.asarray(total / self._winters)

    def chance(self, nights: Sequence[Lived], grade: int) -> float:
        """Chance of at least a grade over some nights together, with what was done."""
        return fate(nights, self.belief).chance(grade)

    def harm(self, nights: Iterable[Lived]) -> float:
        """Chance of burnt leaf or worse over some nights together, left alone."""
        return self.chance([left_alone(one) for one in nights], HARM)

    def proofs(self, nights: Iterable[Lived]) -> tuple[NightProof, ...]:
        """Give nights as evidence, the coldest first."""
        coldest = sorted(nights, key=lambda one: (coldest_hour_c(one.alone_c), one.night))[:NIGHTS_SHOWN]
        return tuple(
            NightProof(
                one.night,
                one.measure,
                one.measure_name,
                coldest_hour_c(one.alone_c),
                coldest_hour_c(one.coldest_c),
                self.harm([one]),
                self.chance([one], HARM),
            )
            for one in coldest
        )

    def took(self, nights: Sequence[Lived]) -> float:
        """What was done on some nights took so long. [min a winter]"""
        told = [self._minutes.get((self.tree.id, one.night), 0.0) for one in nights]
        own = [one for one in told if one]
        usual = median(own) if own else self._usual
        return sum(usual if one is None else one for one in told) / self._winters

    def surprise(self, kind: Kind, chance: float, worth: float, nights: Iterable[Lived], **more: object) -> Surprise:
        """Make a surprise of this tree."""
        made = Surprise(
            kind,
            self.tree.id,
            self.tree.name,
            chance,
            worth,
            before=self.known.before,
            after=self.known.after,
            count=len(self.known.evidence),
            looks=self.known.evidence,
            nights=self.proofs(nights),
        )
        return replace(made, **more)  # type: ignore[arg-type]

    # ---- what was unexpected

    def of_tree(self) -> list[Surprise]:
        """Tell whether it stands more or less than believed."""
        shift = self.known.shift
        if self.known.before.p50 > 0.0 and self.belief.chill is not None:
            shift = self.belief.chill[1]  # its harm begins above freezing
        less, more = (float(ndtr((sign * shift.mean_k - NOTABLE_K) / shift.sd_k)) for sign in (1.0, -1.0))
        if max(less, more) < LISTED:
            return []
        alone = [left_alone(one) for one in self.nights]
        worth = abs(float(WEIGHTS @ (self.loss(alone) - self.loss(alone, self.belief.unlearned()))))
        others = tuple(
            (one.tree, one.name)
            for one in self._taught.trees.values()
            if one.tree != self.tree.id and one.kind == self.known.kind and one.evidence
        )
        looked = {one.coldest_night for one in self.known.evidence}
        nights = [one for one in self.nights if one.night in looked]
        kind: Kind = "tenderer" if less > more else "hardier"
        return [self.surprise(kind, max(less, more), worth, nights, size_k=shift.mean_k, others=others)]

    def unprotected(self) -> list[Surprise]:
        """Tell where it was hurt more than expected: left alone, or in spite of what was done."""
        by_night = {one.night: one for one in self.nights}
        found: dict[Kind, tuple[float, Lived, Evidence]] = {}
        carried = 0  # what was seen before is no new harm
        for look in self.known.evidence:
            old, carried = look.grade <= carried, look.grade
            if old:
                continue
            night = by_night.get(look.coldest_night) if look.coldest_night is not None else None
            tail = sum(look.expected[look.grade :])
            if night is None or look.grade < HARM or look.cold < OF_COLD or tail > UNEXPECTED:
                continue
            kind: Kind = "start" if night.measure == "leave" else "too_little"
            if kind not in found or tail < found[kind][0]:
                found[kind] = (tail, night, look)
        told = []
        if "start" in found:
            told += self._start(*found["start"][1:])
        if "too_little" in found:
            _, night, look = found["too_little"]
            loss = float(WEIGHTS @ self.loss([one for one in self.nights if one.measure != "leave"]))
            told.append(self.surprise("too_little", self.chance([night], HARM), loss, [night], seen=look))
        return told

    def _start(self, worst: Lived, look: Evidence) -> list[Surprise]:
        """Tell from which cold on to protect it, if that pays."""
        limit = min(self.known.after.p90, 0.0)
        bare = [one for one in self.nights if one.measure == "leave" and coldest_hour_c(one.alone_c) < limit]
        bare = bare or [worst]
        cost = len(bare) * self._usual * self._per_minute / self._winters
        loss = self.loss(bare)
        chance = float(WEIGHTS[loss > cost].sum())
        if chance < LISTED:
            return []
        return [self.surprise("start", chance, float(WEIGHTS @ loss) - cost, bare, limit_c=limit, seen=look)]

    def of_measures(self, *, stop: bool, shared: Set[str]) -> list[Surprise]:
        """Tell whether what was done for it paid; shelters that it shares are not its own to leave open."""
        done = [one for one in self.nights if one.measure != "leave"]
        if not done:
            return []
        own = [one for one in done if _shelter_of(one.measure) not in shared]
        mild = self.safe(own) if stop else []
        if len(mild) >= OFTEN_ENOUGH:
            trial = self.trial(mild, len(own) - len(mild))
            if trial.chance_unpaid >= LISTED and trial.saved < trial.cost:
                return [self.surprise("stop", trial.chance_unpaid, trial.gain, mild, trial=trial)]
        trial = self.trial(done, 0)
        if 1.0 - trial.chance_unpaid >= LISTED and trial.saved > trial.cost:
            return [self.surprise("paid", 1.0 - trial.chance_unpaid, -trial.gain, done, trial=trial)]
        return []

    def safe(self, done: Sequence[Lived]) -> list[Lived]:
        """Give the mildest of some nights, as many as could all have been left alone safely."""
        mildest = sorted(done, key=lambda one: (-coldest_hour_c(one.alone_c), one.night))
        low, high = 0, len(mildest)
        while low < high:  # what is left alone on more nights is hurt more: the last safe number by halving
            middle = (low + high + 1) // 2
            how = fate(sorted(map(left_alone, mildest[:middle]), key=lambda one: one.night), self.belief)
            safe = all(how.chance(grade) <= most for grade, most in SAFE)
            low, high = (middle, high) if safe else (low, middle - 1)
        return mildest[:low]

    def trial(self, nights: Sequence[Lived], colder: int) -> Trial:
        """Set what was done on some nights beside leaving it alone then; all other nights stay as they were."""
        judged = {one.night for one in nights}
        left = [left_alone(one) if one.night in judged else one for one in self.nights]
        saved = self.loss(left) - self.loss(self.nights)
        minutes = self.took(nights)
        cost = minutes * self._per_minute
        alone = [left_alone(one) for one in self.nights if one.night in judged]
        how = fate(alone, self.belief)
        hours = [hour for one in nights if isfinite(hour := coldest_hour_c(one.alone_c))]
        return Trial(
            verb=verb_of([one.measure for one in nights]),
            times=len(nights),
            winters=self._winters,
            minutes=minutes,
            cost=cost,
            saved=float(WEIGHTS @ saved),
            chance_unpaid=float(WEIGHTS[saved < cost].sum()),
            harm=how.chance(HARM),
            most_lost=how.chance(MOST_LOST),
            dead=how.chance(DEAD),
            bound_c=min(hours, default=float("nan")),
            colder=colder,
        )


def _shelter_of(measure: str) -> str:
    """Give the id of the shelter that a measure closes; empty for none."""
    return measure.removeprefix("shelter:").split("+")[0] if measure.startswith("shelter:") else ""


def _of_shelter(shelter: Shelter, inside: Sequence[_Case]) -> list[Surprise]:
    """Tell whether closing a shelter over several trees paid, down to where the tenderest of them could do without."""
    closed = {case.tree.id: [one for one in case.nights if _shelter_of(one.measure) == shelter.id] for case in inside}
    every = {one.night for its in closed.values() for one in its}
    mild = set(every)
    for case in inside:
        its = closed[case.tree.id]
        mild -= {one.night for one in its} - {one.night for one in case.safe(its)}
    if len(mild) < OFTEN_ENOUGH:
        return []
    judged = {case.tree.id: [one for one in closed[case.tree.id] if one.night in mild] for case in inside}
    trials = [case.trial(judged[case.tree.id], 0) for case in inside if judged[case.tree.id]]
    # At least so likely, however the trees hang together: that closing it saved less than it cost at every one of them.
    chance = max(1.0 - sum(1.0 - one.chance_unpaid for one in trials), 0.0)
    whole = Trial(
        verb="shelter",
        times=len(mild),
        winters=max(one.winters for one in trials),
        minutes=sum(one.minutes for one in trials),
        cost=sum(one.cost for one in trials),
        saved=sum(one.saved for one in trials),
        chance_unpaid=chance,
        harm=max(one.harm for one in trials),
        most_lost=max(one.most_lost for one in trials),
        dead=max(one.dead for one in trials),
        bound_c=max(one.bound_c for one in trials),
        colder=len(every) - len(mild),
    )
    if chance < LISTED or whole.saved >= whole.cost:
        return []
    tenderest = max((case for case in inside if judged[case.tree.id]), key=lambda case: case.harm(judged[case.tree.id]))
    return [
        Surprise(
            "stop",
            tenderest.tree.id,
            shelter.name,
            chance,
            whole.gain,
            trial=whole,
            nights=tenderest.proofs(judged[tenderest.tree.id]),
            others=tuple((case.tree.id, case.tree.name) for case in inside),
        )
    ]


def _of_spot(tree: Tree, offset: Offset, case: _Case | None) -> list[Surprise]:
    """Tell whether a spot is colder or warmer on clear calm nights than was reckoned."""
    mean, sd = offset.at(1.0)
    colder, warmer = (float(ndtr((sign * mean - NOTABLE_SPOT_K) / sd)) for sign in (-1.0, 1.0))
    if offset.nights == 0 or max(colder, warmer) < LISTED:
        return []
    worth = 0.0
    if case is not None:
        alone = [left_alone(one) for one in case.nights]
        moved = [replace(one, coldest_c=one.coldest_c + mean) for one in alone]
        worth = abs(float(WEIGHTS @ (case.loss(moved) - case.loss(alone))))
    kind: Kind = "colder" if colder > warmer else "warmer"
    return [Surprise(kind, tree.id, tree.name, max(colder, warmer), worth, size_k=mean, count=offset.nights)]


def surprises_of(house: House) -> list[Surprise]:
    """Give what was unexpected in a household's yard.

    Parameters
    ----------
    house : House

    Returns
    -------
    list of Surprise
        As `surprises` gives it.
    """
    from fruitwall.service.lived import lived_nights
    from fruitwall.service.spot_offsets import learned_offsets
    from fruitwall.service.taught import taught

    yard, version = house.yard()
    known, lived, offsets = taught(house), lived_nights(house), learned_offsets(house)
    # What was learned is the same object as long as nothing changed in the journal, and so is what was lived.
    return _FOUND.of(
        known,
        lived,
        key=(version.yard, version.number, house.journal.state()),
        make=lambda: surprises(known, lived, offsets, yard, minutes_of(house)),
    )


_FOUND: Kept[list[Surprise]] = Kept(4)


def minutes_of(house: House) -> Minutes:
    """Give how long what was done took, from what was ticked; work for several trees is shared among them."""
    from fruitwall.service.ledger import Deed, says, trees_of

    found: dict[tuple[str, date], float | None] = {}
    for entry in house.ledger.current(kind="deed"):
        deed = says(entry)
        if not isinstance(deed, Deed) or deed.night is None:
            continue
        trees = trees_of(entry, deed)
        for tree in trees:
            before = found.get((tree, deed.night))
            if deed.minutes is not None:
                found[tree, deed.night] = (before or 0.0) + deed.minutes / len(trees)
            else:
                found.setdefault((tree, deed.night), None)
    return found
