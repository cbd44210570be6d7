"""The pages of the trees, worked out before their templates see them."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from urllib.parse import quote

from fruitwall.journal.entries import LedgerEntry
from fruitwall.service.cause_words import verdict_words
from fruitwall.service.causes import Finding
from fruitwall.service.doubtful import Doubt
from fruitwall.service.evening_document import ReasonPart
from fruitwall.service.household import Household, ago, author_words, minutes
from fruitwall.service.kind_words import cited, figure, hours, subject
from fruitwall.service.ledger import DEED_NAMES, STAGES, Sighting, says
from fruitwall.service.reader import part_for_reader
from fruitwall.service.tree_story import Story, Told, Winter
from fruitwall.service.words import sentence
from fruitwall.speech import say, say_count
from fruitwall.web.causes.page import cause_url
from fruitwall.web.charts.chart import DrawnChart
from fruitwall.web.trees.picture import picture_of
from fruitwall.web.trees.taught import TaughtPart
from fruitwall.web.trees.words import body_words, stage_words
from fruitwall.web.walk.words import kind_beside


@dataclass(frozen=True)
class TreeLine:
    """One tree of the list."""

    name: str
    url: str
    kind: str
    """Kind and cultivar; empty where the name says it."""
    seen: str
    margin: str


@dataclass(frozen=True)
class EntryLine:
    """One entry as shown."""

    when: str
    words: str
    note: str
    by: str
    photos: list[str]
    corrected: bool
    rival: bool
    url: str
    """Of the page where it is corrected."""
    cause: str = ""
    """What it may come of; empty where that was not worked out."""
    cause_url: str = ""
    """Of the page that tells it; empty where nothing is wrong."""
    doubt: str = ""
    """Why it can hardly be as entered."""


@dataclass(frozen=True)
class BackLine:
    """Something that was taken back."""

    url: str
    words: str
    told: str


@dataclass(frozen=True)
class TreePage:
    """One tree."""

    name: str
    url: str
    taxon: str
    kind: str
    """Kind and cultivar; empty where the name says it."""
    planned_url: str
    picture: DrawnChart | None
    seen: str
    stage: str
    believed: list[str]
    """Why it is believed to stand what it stands."""
    chain: list[tuple[str, str, str]]
    """How tonight's cold comes about, up to the risk: label, value, note."""
    stands: str
    sources: list[tuple[str, str]]
    """What is published on its kind: the statement, and who says it."""
    costs: list[str]
    entries: list[EntryLine]
    back: list[BackLine]
    number: str
    """Id for the next entry that the page makes."""
    stages: list[tuple[str, str]]
    deeds: list[tuple[str, str]]
    error: str = ""
    """What is wrong with what was entered; empty for nothing."""
    note: str = ""
    """What was typed, where the form is shown again."""
    litres: str = ""
    taught: TaughtPart | None = None
    """What was learned of it; None where that cannot be worked out now."""


def tree_line(story: Story, household: Household) -> TreeLine:
    """Work out one line of the list."""
    last = story.last_look
    seen = say("Never looked at so far.")
    if last is not None:
        seen = _lately(last, story, household)
    margin = story.tonight.margin_k["chosen"] if story.tonight is not None else float("nan")
    return TreeLine(
        name=story.tree.name,
        url=tree_url(story),
        kind=kind_beside(story.tree),
        seen=seen,
        margin=sentence(say("tonight {margin}", margin=household.margin(margin))) if isfinite(margin) else "",
    )


def tree_page(
    story: Story,
    household: Household,
    *,
    error: str = "",
    note: str = "",
    litres: str = "",
    taught: TaughtPart | None = None,
    findings: Mapping[str, Finding] | None = None,
    doubts: Mapping[str, Doubt] | None = None,
) -> TreePage:
    """Work out the page of one tree.

    Parameters
    ----------
    story : Story
    household : Household
    error, note, litres : str
        What is wrong with what was entered, and what was typed.
    taught : TaughtPart, optional
        What was learned of it.
    findings : Mapping of str to Finding, optional
        What its sightings may come of, by entry.
    doubts : Mapping of str to Doubt, optional
        Which of its sightings can hardly be as entered, by entry.

    Returns
    -------
    TreePage
    """
    last, stage = story.last_look, story.stage
    plan = story.tonight
    if plan is not None and story.plan is not None:
        plan = part_for_reader(story.plan, plan, household)
    believed, chain = _parted(plan.chain) if plan is not None else ([], [])
    return TreePage(
        name=story.tree.name,
        url=tree_url(story),
        taxon=story.tree.taxon,
        kind=kind_beside(story.tree),
        planned_url=f"/#tree-{quote(story.tree.id)}",
        picture=picture_of(story, household),
        seen=_lately(last, story, household) if last else say("Never looked at so far."),
        stage=_lately(stage, story, household) if stage else "",
        believed=believed,
        chain=chain,
        stands=household.temperatures(plan.tolerance_c.p10, plan.tolerance_c.p90) if plan else "",
        sources=_sources(story, household),
        costs=[_winter(one) for one in story.winters],
        entries=[_entry(one, story, household, findings or {}, doubts or {}) for one in reversed(story.told)],
        back=[_back(one, story, household) for one in story.taken_back],
        number=str(uuid.uuid4()),
        stages=[(key, stage_words(key)) for key in STAGES],
        deeds=[(key, say(name)) for key, name in DEED_NAMES.items()],
        error=error,
        note=note,
        litres=litres,
        taught=taught,
    )


def tree_url(story: Story) -> str:
    """Give the address of a tree's page."""
    return f"/trees/{quote(story.tree.id, safe='')}"


def _lately(one: Told, story: Story, household: Household) -> str:
    return f"{body_words(one.body, story, household)}, {ago(one.entry.at, story.now)}"


def _parted(chain: list[ReasonPart]) -> tuple[list[str], list[tuple[str, str, str]]]:
    """Part what is believed of the tree, reasons without a value of their own, from how the cold comes about."""
    believed = [sentence(part.note) for part in chain if not part.value]
    return believed, [(part.label, part.value, part.note) for part in chain if part.value]


def _sources(story: Story, household: Household) -> list[tuple[str, str]]:
    """Give each published statement with who says it."""
    return [
        (f"{sentence(subject(one))}: {figure(one, household)}, {hours(one)}", cited(one.origin))
        for one in story.statements
    ]


def _winter(one: Winter) -> str:
    """Say what a winter cost."""
    ticked = minutes(one.ticked_min)
    if one.planned_min is None:
        return say("Winter {winter}: {ticked} ticked", winter=one.name, ticked=ticked)
    nights = say_count("{count} plan", "{count} plans", one.nights)
    return say(
        "Winter {winter}: {ticked} ticked; {nights} asked for {planned}",
        winter=one.name,
        ticked=ticked,
        nights=nights,
        planned=minutes(one.planned_min),
    )


def _entry(
    one: Told, story: Story, household: Household, findings: Mapping[str, Finding], doubts: Mapping[str, Doubt]
) -> EntryLine:
    wrong = isinstance(one.body, Sighting) and one.body.grade != 0 and (one.body.grade or one.body.signs)
    finding, doubt = findings.get(one.entry.id), doubts.get(one.entry.id)
    return EntryLine(
        when=household.moment(one.entry.at, story.now),
        words=body_words(one.body, story, household),
        note=one.body.note,
        by=author_words(one.entry.author),
        photos=list(one.body.photos),
        corrected=one.corrected,
        rival=one.rival,
        url=f"{tree_url(story)}/{one.entry.id}",
        cause=verdict_words(finding) if finding is not None else "",
        cause_url=cause_url(story.tree.id, one.entry.id) if wrong else "",
        doubt=f"{doubt.words} {doubt.mend}" if doubt is not None else "",
    )


def _back(back: LedgerEntry, story: Story, household: Household) -> BackLine:
    body = says(back)
    return BackLine(
        url=f"{tree_url(story)}/{back.id}",
        words=body_words(body, story, household) if body is not None else say("Note"),
        told=say("taken back {moment}, {name}", moment=household.moment(back.received), name=author_words(back.author)),
    )
