"""The pages of the trees, worked out before their templates see them."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from math import isfinite
from urllib.parse import quote

from fruitwall.journal.entries import LedgerEntry
from fruitwall.service.household import Household, ago, minutes
from fruitwall.service.ledger import GRADES, STAGES, Body, Deed, Sighting, Stage
from fruitwall.service.tree_story import Story, Told
from fruitwall.speech import say
from fruitwall.web.charts.chart import Band, Chart, DrawnChart, Event, Point, Series, draw
from fruitwall.web.walk.words import looked

DEEDS = ("watered", "pruned", "fed", "harvested", "sprayed", "moved")
"""Deeds of a tree that are one touch away."""


def deed_words(key: str) -> str:
    """Name a deed."""
    return {
        "watered": say("Watered"),
        "pruned": say("Pruned"),
        "fed": say("Fed"),
        "harvested": say("Harvested"),
        "sprayed": say("Sprayed"),
        "moved": say("Moved"),
    }[key]


def stage_words(key: str) -> str:
    """Name a growth stage."""
    return {
        "dormant": say("Dormant"),
        "bud": say("In bud"),
        "bloom": say("In bloom"),
        "fruit_set": say("Fruit set"),
        "fruit": say("In fruit"),
        "harvest": say("Being harvested"),
        "flush": say("New flush"),
        "shedding": say("Shedding leaves"),
    }[key]


@dataclass(frozen=True)
class TreeLine:
    """One tree of the list."""

    name: str
    url: str
    kind: str
    seen: str
    margin: str


@dataclass(frozen=True)
class EntryLine:
    """One entry as shown."""

    id: str
    when: str
    words: str
    note: str
    by: str
    photos: list[str]
    corrected: bool
    rival: bool
    grade: str | None
    """Grade as the form of a correction carries it; None for what is no sighting."""
    history: list[str]


@dataclass(frozen=True)
class TreePage:
    """One tree."""

    name: str
    url: str
    taxon: str
    planned_url: str
    picture: DrawnChart | None
    seen: str
    stage: str
    believed: list[tuple[str, str, str]]
    """What it is believed to stand and why: label, value, note."""
    stands: str
    costs: list[tuple[str, str]]
    entries: list[EntryLine]
    number: str
    """Id for the next entry that the page makes."""
    stages: list[tuple[str, str]]
    deeds: list[tuple[str, str]]
    grades: list[tuple[str, str]]


def tree_line(story: Story, household: Household) -> TreeLine:
    """Work out one line of the list."""
    last = story.last_look
    seen = say("Never looked at so far.")
    if last is not None:
        seen = f"{body_words(last.body)}, {ago(last.entry.at, story.now)}"
    margin = story.tonight.margin_k["chosen"] if story.tonight is not None else float("nan")
    return TreeLine(
        name=story.tree.name,
        url=f"/trees/{quote(story.tree.id)}",
        kind=story.tree.taxon,
        seen=seen,
        margin=say("tonight {margin}", margin=household.margin(margin)) if isfinite(margin) else "",
    )


def tree_page(story: Story, household: Household, histories: dict[str, list[LedgerEntry]]) -> TreePage:
    """Work out the page of one tree.

    Parameters
    ----------
    story : Story
    household : Household
    histories : dict
        Earlier versions of the entries that correct another, by id.
    """
    plan, last, stage = story.tonight, story.last_look, story.stage
    return TreePage(
        name=story.tree.name,
        url=f"/trees/{quote(story.tree.id)}",
        taxon=story.tree.taxon,
        planned_url=f"/#tree-{quote(story.tree.id)}",
        picture=picture_of(story, household),
        seen=f"{body_words(last.body)}, {ago(last.entry.at, story.now)}" if last else say("Never looked at so far."),
        stage=f"{body_words(stage.body)}, {ago(stage.entry.at, story.now)}" if stage else "",
        believed=[
            (part.label, household.in_own_units(part.value), household.in_own_units(part.note)) for part in plan.chain
        ]
        if plan
        else [],
        stands=household.temperatures(plan.tolerance_c.p10, plan.tolerance_c.p90) if plan else "",
        costs=[(name, minutes(spent)) for name, spent in story.winters],
        entries=[_entry(one, household, story.now, histories.get(one.entry.id, [])) for one in reversed(story.told)],
        number=str(uuid.uuid4()),
        stages=[(key, stage_words(key)) for key in STAGES],
        deeds=[(key, deed_words(key)) for key in DEEDS],
        grades=[(str(grade), say(GRADES[grade][1])) for grade in range(len(GRADES))],
    )


def body_words(body: Body) -> str:
    """Say what an entry says."""
    match body:
        case Sighting():
            return looked(body)
        case Deed():
            return deed_words(body.what) if body.what in DEEDS else body.words
        case Stage():
            return stage_words(body.stage)
    return say("Note")


def _entry(one: Told, household: Household, now: datetime, history: list[LedgerEntry]) -> EntryLine:
    body = one.body
    grade = None
    if isinstance(body, Sighting):
        grade = "" if body.grade is None else str(body.grade)
    return EntryLine(
        id=one.entry.id,
        when=household.moment(one.entry.at),
        words=body_words(body),
        note=body.note,
        by=one.entry.author,
        photos=list(body.photos),
        corrected=one.corrected,
        rival=one.rival,
        grade=grade,
        history=[
            say("{when}, {name}", when=household.moment(old.received), name=old.author)
            for old in history
            if old.id != one.entry.id
        ],
    )


def picture_of(story: Story, household: Household) -> DrawnChart | None:
    """Draw what a tree went through: the margin of each night, alone and with what was planned, and what happened."""
    scale = 1.8 if household.fahrenheit else 1.0
    alone = [Point(sunrise, felt.margin_alone_k * scale) for sunrise, felt in story.nights]
    planned = [Point(sunrise, felt.margin_planned_k * scale) for sunrise, felt in story.nights]
    signs = {Sighting: "sighting", Deed: "deed"}
    events = [
        Event(one.entry.at, body_words(one.body), signs.get(type(one.body), "note"))  # type: ignore[arg-type]
        for one in story.told
        if not isinstance(one.body, Stage)
    ]
    stages = [one for one in story.told if isinstance(one.body, Stage)]
    ends = [*(one.entry.at for one in stages[1:]), story.now]
    bands = [
        Band(one.entry.at, max(end, one.entry.at), body_words(one.body)) for one, end in zip(stages, ends, strict=False)
    ]
    return draw(
        Chart(
            title=say("Margin of each night, and what happened"),
            unit=household.step,
            zone=story.zone,
            series=[
                Series(say("left alone"), alone, look="two"),
                Series(say("with the plan"), planned),
            ],
            events=events,
            bands=bands,
            zero=True,
        )
    )
