"""What is it? From what is seen on a tree, and what it went through, to the probability of each cause.

A sign is one of a group of signs of which usually one holds, such as the colour. For each cause a table says how often
each sign goes with it (`data/causes.csv`, every row with its source). Three states are told apart: seen, looked for and
not there, and not marked; the last says little, and nothing where nobody marked any sign. Signs of one group count
once, and every group's word is made weaker (`TEMPER`), since signs of one damage go together. See docs/causes.md.
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants.cause_odds import (
    CAUSES,
    OTHERS,
    OTHERS_CHANCE,
    USUAL,
    Circumstances,
    Ground,
    grounds_of,
    odds_of,
)

Array = NDArray[np.float64]

TEMPER = 0.8
"""Power by which every group's word is weakened: signs of one damage go together more than their causes make them. Our
judgement: 1 would take six agreeing signs for six witnesses."""

SLIP = 0.04
"""Share of marks that are wrong: then a sign is as likely as usual, whatever the cause. Our judgement."""

NO_SOURCE = {"common_practice": "common practice, no source", "our_judgement": "Our judgement"}
"""What stands in the place of a source in the table."""

MOST_QUESTIONS = 2
"""How many questions are asked of one look at most."""

TELLING_BITS = 0.05
"""A question that is expected to tell less is not asked. Our judgement. [bit]"""

SURE = 0.95
"""Where one cause is so likely nothing is asked. Our judgement."""

ASKED_GROUPS = (
    "wood",
    "side",
    "age",
    "extent",
    "fall",
    "droop",
    "speed",
    "shoots",
    "colour",
    "soil",
    "neighbours",
    "height",
    "border",
    "crust",
    "insects",
    "bark",
    "blight",
)
"""Groups of signs that can be asked for; the earlier one where two tell as much."""

GRADE_SIGNS = ("grade_pale", "grade_burn", "grade_burn", "grade_lost", "grade_dead", "grade_dead", "grade_dead")
"""What the grades 1 to 7 are as a sign."""


@dataclass(frozen=True)
class SignRow:
    """One sign of the table.

    Attributes
    ----------
    key, group : str
    usual : float
        How often it is there whatever the cause.
    marked : float
        How often somebody who marks signs marks this one when it is there.
    """

    key: str
    group: str
    usual: float
    marked: float


@dataclass(frozen=True)
class CauseRow:
    """How often a sign is there where a cause is at work.

    Attributes
    ----------
    sign, cause : str
    chance : float
    sources : tuple of str
        Keys of the sources that say that the two go together, or one of `NO_SOURCE`. The number is ours.
    why : str
        In our own words; may be empty.
    """

    sign: str
    cause: str
    chance: float
    sources: tuple[str, ...]
    why: str


@dataclass(frozen=True, eq=False)
class CauseTable:
    """The whole table, checked.

    Parameters
    ----------
    signs : sequence of SignRow
    rows : sequence of CauseRow

    Raises
    ------
    ValueError
        If a row names an unknown sign or cause, one stands twice, or a group's chances sum to more than 1.
    """

    signs: tuple[SignRow, ...]
    rows: tuple[CauseRow, ...]
    groups: Mapping[str, tuple[SignRow, ...]] = field(init=False)
    channels: Mapping[str, Array] = field(init=False)
    """By group: chance of each of its signs, and last of none of them, for each cause; weakened. [sign + 1, cause]"""

    def __post_init__(self) -> None:
        places = {sign.key: at for at, sign in enumerate(self.signs)}
        chance = np.array([[sign.usual] * len(CAUSES) for sign in self.signs])
        met = set()
        for row in self.rows:
            if row.sign not in places or row.cause not in CAUSES or not 0 < row.chance < 1:
                raise ValueError(f"no such sign, cause or chance: {row.sign}, {row.cause}, {row.chance}")
            if (row.sign, row.cause) in met or not row.sources:
                raise ValueError(f"twice, or without a source: {row.sign}, {row.cause}")
            met.add((row.sign, row.cause))
            chance[places[row.sign], CAUSES.index(row.cause)] = row.chance
        usual = np.array([[sign.usual] for sign in self.signs])
        chance = (1.0 - SLIP) * chance + SLIP * usual
        groups: dict[str, list[SignRow]] = {}
        for sign in self.signs:
            groups.setdefault(sign.group, []).append(sign)
        channels = {}
        for group, members in groups.items():
            part = chance[[places[sign.key] for sign in members]]
            if part.sum(axis=0).max() >= 1.0:
                raise ValueError(f"the chances of {group} sum to 1 or more for one cause")
            weak = np.vstack([part, 1.0 - part.sum(axis=0)]) ** TEMPER
            channels[group] = weak / weak.sum(axis=0)
        object.__setattr__(self, "groups", MappingProxyType({name: tuple(found) for name, found in groups.items()}))
        object.__setattr__(self, "channels", MappingProxyType(channels))


@dataclass(frozen=True)
class Seen:
    """What was seen of one tree at one time.

    Attributes
    ----------
    signs : frozenset of str
        Those that are there.
    absent : frozenset of str
        Those that were looked for and are not there.
    asked : frozenset of str
        Groups whose signs were answered to a question: they do not show that somebody went through all signs.
    """

    signs: frozenset[str] = frozenset()
    absent: frozenset[str] = frozenset()
    asked: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Reason:
    """One thing that speaks for or against a cause.

    Attributes
    ----------
    key : str
        A sign, or a circumstance of `cause_odds`.
    kind : str
        ``seen``, ``absent`` or ``known``.
    weight : float
        Logarithm of how much more likely it makes the cause against the others; below 0 it speaks against it.
    """

    key: str
    kind: str
    weight: float


@dataclass(frozen=True)
class Judgement:
    """What it may be.

    Attributes
    ----------
    chances : Mapping of str to float
        Of each cause, summing to 1, the likeliest first.
    before_signs : Mapping of str to float
        The same before any sign: by what the tree went through alone.
    reasons : Mapping of str to tuple of Reason
        By cause, the strongest first.
    """

    chances: Mapping[str, float]
    before_signs: Mapping[str, float]
    reasons: Mapping[str, tuple[Reason, ...]]

    @property
    def likeliest(self) -> str:
        """The likeliest cause."""
        return next(iter(self.chances))

    @property
    def cold(self) -> float:
        """The probability that it is of cold, freezing or not."""
        return self.chances["frost"] + self.chances["chill"]


@dataclass(frozen=True)
class Question:
    """What to look at next.

    Attributes
    ----------
    group : str
    answers : tuple of str
        Signs that may be there.
    bits : float
        How much its answer is expected to tell. [bit]
    """

    group: str
    answers: tuple[str, ...]
    bits: float


@cache
def cause_table() -> CauseTable:
    """Give the table that comes with fruitwall; read once."""
    data = resources.files("fruitwall.plants") / "data"
    signs = csv.DictReader((data / "cause_signs.csv").read_text(encoding="utf-8").splitlines())
    rows = csv.DictReader((data / "causes.csv").read_text(encoding="utf-8").splitlines())
    return CauseTable(
        tuple(SignRow(one["sign"], one["group"], float(one["usual"]), float(one["marked"])) for one in signs),
        tuple(
            CauseRow(one["sign"], one["cause"], float(one["chance"]), tuple(one["source_keys"].split()), one["why"])
            for one in rows
        ),
    )


def judge(seen: Seen, c: Circumstances, table: CauseTable | None = None) -> Judgement:
    """Give the probability of each cause.

    Parameters
    ----------
    seen : Seen
        Signs that are not in the table count for nothing.
    c : Circumstances
    table : CauseTable, optional
        Another one than that which comes with fruitwall.

    Returns
    -------
    Judgement
        The same in whatever order signs were entered.
    """
    table = table or cause_table()
    odds = odds_of(c)
    prior = np.array([odds[cause] for cause in CAUSES])
    whole = _with_grade(seen, c)
    log_chance = np.log(prior)
    for group in table.groups:
        log_chance += _group_log(table, group, whole)
    chance = np.exp(log_chance - log_chance.max())
    chance /= chance.sum()
    order = sorted(range(len(CAUSES)), key=lambda at: -chance[at])
    return Judgement(
        MappingProxyType({CAUSES[at]: float(chance[at]) for at in order}),
        MappingProxyType(odds),
        MappingProxyType(_reasons(table, whole, c, prior)),
    )


def share_of_cold(seen: Seen, c: Circumstances, *, of_frost: float = 1.0, table: CauseTable | None = None) -> float:
    """Give the probability that the damage is of cold if the nights were cold enough for it.

    Parameters
    ----------
    seen : Seen
    c : Circumstances
        Their chances of harm by cold are not looked at.
    of_frost : float
        Which share of what the nights could do is by freezing, 0 to 1; the rest by cold above freezing.
    table : CauseTable, optional

    Returns
    -------
    float
        0 to 1.

    Notes
    -----
    For whoever learns from the grade what the tree stands, and so weighs the nights himself: with this share ``w`` the
    likelihood of a tolerance is ``w P(cold did this grade) + (1 - w) P(cold did no more than this grade)``. The nights
    must not count twice, or a tree more tender than believed could never show it. What other causes do is taken as
    `OTHERS_CHANCE`, spread over the grades as the table has it.
    """
    table = table or cause_table()
    weights = dict(USUAL)
    for ground in grounds_of(c):
        weights[ground.cause] *= ground.factor
    signs = np.zeros(len(CAUSES))
    for group in table.groups:
        if group != "grade":
            signs += _group_log(table, group, seen)
    like = dict(zip(CAUSES, np.exp(signs - signs.max()), strict=True))
    scale = OTHERS_CHANCE / sum(USUAL[cause] for cause in OTHERS)
    grade = _grade_chances(table, c)
    others = scale * sum(weights[cause] * like[cause] * grade[cause] for cause in OTHERS)
    cold = of_frost * like["frost"] + (1.0 - of_frost) * like["chill"]
    return float(cold / (cold + others))


def _grade_chances(table: CauseTable, c: Circumstances) -> dict[str, float]:
    """Chance of this very grade where a cause did harm; of any grade where none was given."""
    if not c.grade:
        return dict.fromkeys(CAUSES, 1.0)
    name = GRADE_SIGNS[c.grade - 1]
    at = [sign.key for sign in table.groups["grade"]].index(name)
    return dict(zip(CAUSES, table.channels["grade"][at] / GRADE_SIGNS.count(name), strict=True))


def questions(
    seen: Seen, c: Circumstances, *, most: int = MOST_QUESTIONS, table: CauseTable | None = None
) -> tuple[Question, ...]:
    """Give what to look at next, the most telling first.

    Parameters
    ----------
    seen : Seen
    c : Circumstances
    most : int
        How many at most, those in `seen.asked` among them.
    table : CauseTable, optional

    Returns
    -------
    tuple of Question
        The first is the one whose answer tells most of the cause by expectation (mutual information); the second the
        one that tells most together with the first. None where one cause is nearly sure, or nothing would tell much.
    """
    table = table or cause_table()
    verdict = judge(seen, c, table)
    chance = np.array([verdict.chances[cause] for cause in CAUSES])
    left = most - len(seen.asked)
    chosen: list[Question] = []
    joint = np.ones((1, len(CAUSES)))
    told = 0.0
    while len(chosen) < left and chance.max() < SURE:
        best: tuple[float, str, Array] | None = None
        for group in ASKED_GROUPS:
            if group not in table.groups or not _open(table, group, seen) or group in {one.group for one in chosen}:
                continue
            answers = answer_chances(table, group, seen)
            both = (joint[:, None, :] * answers[None, :, :]).reshape(-1, len(CAUSES))
            bits = information_bits(both, chance)
            if best is None or bits > best[0] + 1e-12:
                best = bits, group, both
        if best is None or best[0] - told < TELLING_BITS:
            break
        told, joint = best[0], best[2]
        answers_of = tuple(sign.key for sign in table.groups[best[1]] if sign.key not in seen.absent)
        chosen.append(Question(best[1], answers_of, best[0]))
    return tuple(chosen)


def answer_chances(table: CauseTable, group: str, seen: Seen) -> Array:
    """Give the chance of each answer to a question for each cause, given that nobody marked the group so far.

    Parameters
    ----------
    table : CauseTable
    group : str
    seen : Seen

    Returns
    -------
    ndarray [answer, cause]
        One row for each sign of the group, last none of them; each column sums to 1.
    """
    answers = table.channels[group].copy()
    answers[:-1] *= _unmarked(table, group, seen)[:, None]
    return np.asarray(answers / answers.sum(axis=0))


def information_bits(answers: Array, chance: Array) -> float:
    """Give how much an answer is expected to tell of the cause.

    Parameters
    ----------
    answers : ndarray [answer, cause]
        Chance of each answer for each cause.
    chance : ndarray [cause]
        Probability of each cause.

    Returns
    -------
    float
        Mutual information. [bit]
    """
    joint = answers * chance
    apart = joint.sum(axis=1, keepdims=True) * chance
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(joint > 0, joint * np.log2(joint / apart), 0.0)
    return float(terms.sum())


def _with_grade(seen: Seen, c: Circumstances) -> Seen:
    """Add the grade as a sign."""
    if not c.grade:
        return seen
    grade = GRADE_SIGNS[c.grade - 1]
    return Seen(seen.signs | {grade}, seen.absent, seen.asked | {"grade"})


def _group_log(table: CauseTable, group: str, seen: Seen) -> Array:
    """Logarithm of the chance of what is known of one group, for each cause. [cause]"""
    channel = table.channels[group]
    there = [at for at, sign in enumerate(table.groups[group]) if sign.key in seen.signs]
    if there:
        # Several of one group count once: their mean.
        return np.asarray(np.log(channel[there]).mean(axis=0))
    return np.asarray(np.log(channel[-1] + (channel[:-1] * _unmarked(table, group, seen)[:, None]).sum(axis=0)))


def _unmarked(table: CauseTable, group: str, seen: Seen) -> Array:
    """Chance that each sign of a group is there and not marked, as a share of that it is there. [sign]"""
    members = table.groups[group]
    of = {sign.key: name for name, signs in table.groups.items() for sign in signs}
    looked = any(of[sign] not in seen.asked for sign in seen.signs if sign in of)
    return np.array([0.0 if one.key in seen.absent else 1.0 - one.marked if looked else 1.0 for one in members])


def _open(table: CauseTable, group: str, seen: Seen) -> bool:
    """Whether a group can still be asked for."""
    members = {sign.key for sign in table.groups[group]}
    return group not in seen.asked and not members & seen.signs and not members <= seen.absent


def _reasons(table: CauseTable, seen: Seen, c: Circumstances, prior: Array) -> dict[str, tuple[Reason, ...]]:
    found: dict[str, list[Reason]] = {cause: [] for cause in CAUSES}
    for ground in grounds_of(c):
        _add(found[ground.cause], Reason(ground.key, "known", _log(ground)))
    for group, members in table.groups.items():
        if group == "grade":
            continue
        channel = table.channels[group]
        there = [at for at, sign in enumerate(members) if sign.key in seen.signs]
        for at, sign in enumerate(members):
            if at in there:
                ratios = _against_others(channel[at], prior) / len(there)
                kind = "seen"
            elif sign.key in seen.absent and not there:
                ratios = _against_others(1.0 - channel[at], prior)
                kind = "absent"
            else:
                continue
            for cause, ratio in zip(CAUSES, ratios, strict=True):
                _add(found[cause], Reason(sign.key, kind, float(ratio)))
    return {cause: tuple(sorted(reasons, key=lambda one: -abs(one.weight))) for cause, reasons in found.items()}


TELLING = 0.25
"""What moves a cause by less than this (a factor of 1.3) is not told. Our judgement."""


def _add(reasons: list[Reason], reason: Reason) -> None:
    if abs(reason.weight) >= TELLING:
        reasons.append(reason)


def _log(ground: Ground) -> float:
    return float(np.log(ground.factor))


def _against_others(chance: Array, prior: Array) -> Array:
    """Logarithm of a chance against that of the other causes together, for each cause. [cause]"""
    others = ((chance * prior).sum() - chance * prior) / (1.0 - prior)
    return np.asarray(np.log(chance / others))


def sources_of(causes: Sequence[str], signs: Collection[str], table: CauseTable | None = None) -> tuple[CauseRow, ...]:
    """Give the rows of the table on which a judgement of some signs rests.

    Parameters
    ----------
    causes : sequence of str
    signs : collection of str
        Seen, or looked for and not there.
    table : CauseTable, optional

    Returns
    -------
    tuple of CauseRow
        Those with a why, in the order of the table.
    """
    rows = (table or cause_table()).rows
    return tuple(row for row in rows if row.sign in signs and row.cause in causes and row.why)
