"""The page of what a sighting may come of, worked out before its template sees it."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.plants.causes import Judgement, Question, Reason, sources_of
from fruitwall.service.cause_words import (
    QUESTIONS,
    WHAT_TO_DO,
    WHAT_TO_WAIT_FOR,
    Advice,
    cause_name,
    none_words,
    reason_words,
    source_words,
    verdict_words,
    within,
)
from fruitwall.service.causes import CANNOT_TELL, NONE_OF_THEM, Finding
from fruitwall.service.doubtful import Doubt
from fruitwall.service.household import Household, author_words, percent
from fruitwall.service.ledger import SIGNS
from fruitwall.speech import say
from fruitwall.web.svg import tag
from fruitwall.web.walk.words import looked
from fruitwall.yard.model import Tree, Yard

SHOWN = 4
"""Causes that are named with a bar of their own."""

TOLD = 4
"""Reasons for and against a cause that are told at most."""


@dataclass(frozen=True)
class CauseBar:
    """One cause."""

    name: str
    chance: str
    bar: Markup
    speaks_for: list[str]
    speaks_against: list[str]


@dataclass(frozen=True)
class AskedLine:
    """One question that was answered."""

    group: str
    question: str
    said: str


@dataclass(frozen=True)
class QuestionForm:
    """One question, its answers one touch each."""

    group: str
    question: str
    how: str
    answers: list[tuple[str, str]]
    number: str


@dataclass(frozen=True)
class AdviceLine:
    """One thing to do or to wait for."""

    words: str
    sources: list[str]


@dataclass(frozen=True)
class DoubtBox:
    """Why the look can hardly be as entered."""

    words: str
    mend: str
    meant: list[tuple[str, str]]
    """Trees that may have been meant: id and name."""
    number: str


@dataclass(frozen=True)
class CausePage:
    """What a sighting may come of."""

    tree: str
    tree_url: str
    url: str
    entry_url: str
    words: str
    when: str
    note: str
    verdict: str
    bars: list[CauseBar]
    rest: CauseBar | None
    questions: list[QuestionForm]
    asked: list[AskedLine]
    to_do_title: str
    to_do: list[AdviceLine]
    to_wait_for: list[AdviceLine]
    known: list[str]
    """Rows of the table on which it rests: why a sign goes with a cause, and who says so."""
    doubt: DoubtBox | None
    others: list[tuple[str, str]]
    """The other trees of the yard: id and name."""
    number: str


def cause_url(tree: str, entry: str) -> str:
    """Give the address of what a sighting may come of."""
    return f"/trees/{quote(tree, safe='')}/sightings/{entry}/cause"


def cause_page(
    finding: Finding, yard: Yard, doubt: Doubt | None, household: Household, *, meant: Sequence[str] = ()
) -> CausePage:
    """Lay out what a sighting may come of.

    Parameters
    ----------
    finding : Finding
    yard : Yard
    doubt : Doubt or None
        Of this sighting.
    household : Household
        Of who reads.
    meant : sequence of str
        Trees that may have been meant, where there is a doubt.

    Returns
    -------
    CausePage
    """
    verdict = finding.judgement
    causes = list(verdict.chances)
    rest = sum(verdict.chances[cause] for cause in causes[SHOWN:])
    names = {tree.id: tree.name for tree in yard.trees}
    entry, tree = finding.entry, finding.tree
    tree_url = f"/trees/{quote(tree.id, safe='')}"
    likeliest = verdict.likeliest
    return CausePage(
        tree=tree.name,
        tree_url=tree_url,
        url=cause_url(tree.id, entry.id),
        entry_url=f"{tree_url}/{entry.id}",
        words=looked(finding.sighting),
        when=f"{household.moment(entry.at)}, {author_words(entry.author)}",
        note=finding.sighting.note,
        verdict=verdict_words(finding),
        bars=[_bar(cause, finding, household) for cause in causes[:SHOWN]],
        rest=CauseBar(_rest_names(causes[SHOWN:]), percent(rest), bar_of(rest), [], []),
        questions=[_question(one) for one in finding.questions],
        asked=[_asked(group, finding) for group in finding.sighting.asked if group in QUESTIONS],
        to_do_title=say("If it is {cause}: what to do", cause=within(likeliest)),
        to_do=_advice(WHAT_TO_DO[likeliest], finding),
        to_wait_for=_advice(WHAT_TO_WAIT_FOR[likeliest], finding),
        known=_table_rows(verdict, finding),
        doubt=_doubt(doubt, meant, names),
        others=_others(yard.trees, tree),
        number=str(uuid.uuid4()),
    )


def bar_of(share: float) -> Markup:
    """Draw a share of one as a bar; what it says stands beside it in words."""
    width = f"{max(100.0 * share, 0.5):.1f}"
    return tag(
        "svg",
        tag("rect", width="100", height="8", class_="bar-whole"),
        tag("rect", width=width, height="8", class_="bar-share"),
        class_="cause-bar",
        viewBox="0 0 100 8",
        preserveAspectRatio="none",
        aria_hidden="true",
    )


def _bar(cause: str, finding: Finding, household: Household) -> CauseBar:
    chance = finding.judgement.chances[cause]
    reasons = finding.judgement.reasons[cause]

    def told(found: Iterable[Reason]) -> list[str]:
        return [reason_words(reason, finding, household) for reason in found][:TOLD]

    return CauseBar(
        name=cause_name(cause),
        chance=percent(chance),
        bar=bar_of(chance),
        speaks_for=told(one for one in reasons if one.weight > 0),
        speaks_against=told(one for one in reasons if one.weight < 0),
    )


def _rest_names(causes: Sequence[str]) -> str:
    names = [cause_name(cause) for cause in causes]
    return say("All others: {causes}", causes=", ".join(name[:1].lower() + name[1:] for name in names))


def _question(question: Question) -> QuestionForm:
    asked, how = QUESTIONS[question.group]
    words = dict(SIGNS)
    one = len(question.answers) == 1
    return QuestionForm(
        group=question.group,
        question=say(asked),
        how=say(how),
        answers=[
            *((sign, say("Yes") if one else say(words[sign])) for sign in question.answers),
            (NONE_OF_THEM, none_words(question.group, len(question.answers))),
            (CANNOT_TELL, say("Cannot tell")),
        ],
        number=str(uuid.uuid4()),
    )


def _asked(group: str, finding: Finding) -> AskedLine:
    from fruitwall.plants.causes import cause_table

    members = [sign.key for sign in cause_table().groups[group]]
    words = dict(SIGNS)
    there = [say(words[key]) for key in members if key in finding.sighting.signs]
    if there:
        said = ", ".join(there) if len(members) > 1 else say("Yes")
    elif set(members) <= set(finding.sighting.absent):
        said = none_words(group, len(members))
    else:
        said = say("Cannot tell")
    return AskedLine(group, say(QUESTIONS[group][0]), said)


def _advice(advice: Sequence[Advice], finding: Finding) -> list[AdviceLine]:
    return [AdviceLine(say(one.words), source_words(one.sources)) for one in advice if one.palm in (None, finding.palm)]


def _table_rows(verdict: Judgement, finding: Finding) -> list[str]:
    """Give who says that the signs seen go with the likeliest causes."""
    causes = list(verdict.chances)[:2]
    signs = {*finding.sighting.signs, *finding.sighting.absent}
    found = dict.fromkeys(who for row in sources_of(causes, signs) for who in source_words(row.sources))
    return list(found)


def _doubt(doubt: Doubt | None, trees: Sequence[str], names: dict[str, str]) -> DoubtBox | None:
    if doubt is None:
        return None
    meant = [(tree, names[tree]) for tree in trees if tree in names]
    return DoubtBox(doubt.words, doubt.mend, meant, str(uuid.uuid4()))


def _others(trees: Sequence[Tree], own: Tree) -> list[tuple[str, str]]:
    return [(tree.id, tree.name) for tree in trees if tree.id != own.id]
