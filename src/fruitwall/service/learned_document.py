"""What was learned and what was unexpected, as documents for scripts: SI units, times in UTC."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from pydantic import Field

from fruitwall.service.evening_document import Document, Probability, Spread

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.surprises import Surprise
    from fruitwall.service.taught import Taught

TREE = Field(description="Its id in the yard", examples=["papaya"])
NAME = Field(examples=["Papaya at the terrace wall"])


class LookLearned(Document):
    """A graded look that taught something."""

    entry: str = Field(
        description="Id of the entry; taken back it teaches nothing", examples=["3b241101-e2bb-4255-8caf-4136c566a962"]
    )
    at: datetime = Field(examples=["2026-12-23T06:50:00Z"])
    observer: str = Field(examples=["Odalis"])
    grade: int = Field(ge=0, le=7, examples=[2])
    nights: int = Field(description="Nights of which it may tell", examples=[9])
    coldest_night: date | None = Field(examples=["2026-12-22"])
    coldest_c: float = Field(
        description="Coldest hour of its leaf, else twig, in these nights, with what was done", examples=[-2.5]
    )
    expected: list[Probability] = Field(
        min_length=8,
        max_length=8,
        description="Chance of each grade by what was believed without learning",
        examples=[[0.9, 0.04, 0.03, 0.02, 0.01, 0.0, 0.0, 0.0]],
    )
    of_cold: Probability = Field(description="Chance that what is seen is of cold", examples=[1.0])
    pull_k: float = Field(
        description="The tree's shift with this look less that without it; above zero: more tender", examples=[0.4]
    )


class TreeLearned(Document):
    """What is believed of one tree, before and after."""

    tree: str = TREE
    name: str = NAME
    kind: str = Field(description="Scientific name", examples=["Carica papaya"])
    before_c: Spread = Field(description="Temperature of an hour at which harm begins, nothing learned")
    after_c: Spread = Field(description="The same with what was learned")
    shift_k: float = Field(description="Above zero: more tender than published", examples=[-0.8])
    shift_sd_k: float = Field(examples=[0.6])
    prior_sd_k: float = Field(description="Doubt of the shift before anything was learned", examples=[1.4])
    looks: list[LookLearned]


class SurpriseAnswer(Document):
    """Something unexpected."""

    kind: str = Field(
        description="hardier, tenderer (trees); colder, warmer (spots); stop, start, too_little, paid (measures)",
        examples=["stop"],
    )
    tree: str = TREE
    name: str = NAME
    told: list[str] = Field(description="What was unexpected, in words", examples=[["Carried in on 11 nights."]])
    change: str = Field(
        description="What to change, in words",
        examples=["Stop carrying it while its coldest hour stays above -2.0 °C: 1 h 06 min a winter saved."],
    )
    bounds: str = Field(description="How far the advice goes; empty where it has no bounds", examples=[""])
    strength: str = Field(
        description="How sure that is, in words",
        examples=["Strong evidence: a chance of 93 % that it saved less than it cost."],
    )
    chance: Probability = Field(description="The number behind it", examples=[0.93])
    worth: float = Field(description="What it is about, in the household's currency a winter", examples=[13.2])
    size_k: float = Field(description="Shift of a tree, offset of a spot; 0 for measures", examples=[0.0])
    limit_c: float | None = Field(
        description="Coldest hour down to which to stop, or below which to start; null for others", examples=[-2.0]
    )
    entries: list[str] = Field(description="Ids of the looks behind it", examples=[[]])
    nights: list[date] = Field(description="Nights behind it, the coldest first", examples=[["2026-12-22"]])


def learned_document(known: Taught) -> list[TreeLearned]:
    """Write what was learned of every tree, in the yard's order."""
    return [
        TreeLearned(
            tree=one.tree,
            name=one.name,
            kind=one.kind,
            before_c=one.before,
            after_c=one.after,
            shift_k=one.shift.mean_k,
            shift_sd_k=one.shift.sd_k,
            prior_sd_k=one.prior_sd_k,
            looks=[
                LookLearned(
                    entry=look.entry,
                    at=look.at,
                    observer=look.observer,
                    grade=look.grade,
                    nights=look.nights,
                    coldest_night=look.coldest_night,
                    coldest_c=look.coldest_c,
                    expected=[min(max(share, 0.0), 1.0) for share in look.expected],
                    of_cold=look.cold,
                    pull_k=look.pull_k,
                )
                for look in one.evidence
            ],
        )
        for one in known.trees.values()
    ]


def surprises_document(found: Sequence[Surprise], household: Household) -> list[SurpriseAnswer]:
    """Write what was unexpected.

    Parameters
    ----------
    found : sequence of Surprise
    household : Household
        In whose units the sentences are.

    Returns
    -------
    list of SurpriseAnswer
        In the same order.
    """
    from math import isfinite

    from fruitwall.service.surprise_words import told

    answers = []
    for one in found:
        words = told(one, household)
        limit = one.trial.bound_c if one.kind == "stop" and one.trial is not None else one.limit_c
        answers.append(
            SurpriseAnswer(
                kind=one.kind,
                tree=one.tree,
                name=one.name,
                told=list(words.lines),
                change=words.change,
                bounds=words.bounds,
                strength=words.strength,
                chance=min(max(one.chance, 0.0), 1.0),
                worth=one.worth,
                size_k=one.size_k,
                limit_c=limit if isfinite(limit) else None,
                entries=[look.entry for look in one.looks],
                nights=[night.night for night in one.nights],
            )
        )
    return answers
