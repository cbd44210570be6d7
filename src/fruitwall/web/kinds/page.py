"""A kind laid out for its template: words and pictures, nothing left to decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from markupsafe import Markup

from fruitwall.service.household import Household
from fruitwall.service.kind_document import KindDocument, KindLine
from fruitwall.service.kind_words import (
    SHORT_TYPES,
    TYPES,
    alternatives,
    axis_of,
    cited,
    figure,
    heat_words,
    hours,
    mark_words,
    name_for_reader,
    our_note,
    subject,
)
from fruitwall.speech import capital, language, say, say_count
from fruitwall.web.kinds.plot import axis_picture, level_picture, mark_picture


@dataclass(frozen=True)
class Track:
    """One row of the plot."""

    words: str
    value: str
    picture: Markup


@dataclass(frozen=True)
class Figure:
    """One published figure."""

    number: int
    value: str
    words: str
    source: str
    address: str | None
    """Web address of the source, if it has one."""
    note: str
    own: bool


@dataclass(frozen=True)
class KindPage:
    """One kind as shown."""

    key: str
    name: str
    scientific: str
    family: str
    name_language: str
    names: list[tuple[str, str, str]]
    """What they are, the names, and their language."""
    facts: list[str]
    state: str
    unit: str
    axis: Markup
    levels: list[Track]
    marks: list[Track]
    rests_on: str
    others: list[tuple[str, str]]
    """What it is the limit of, and the limit."""
    figures: list[Figure]
    season: list[tuple[str, str]]
    """What is said, and who says it."""
    heat: list[tuple[str, str]]
    general_heat: list[tuple[str, str]]
    """The same of many kinds together."""


@dataclass(frozen=True)
class Line:
    """One kind in the list."""

    key: str
    called: str
    also: str
    """Its name in the other language, empty if it is the same."""
    also_language: str
    scientific: str
    known: str


@dataclass(frozen=True)
class Family:
    """The kinds of one family in the list."""

    name: str
    latin: bool
    kinds: list[Line]


def kind_page_of(document: KindDocument, household: Household) -> KindPage:
    """Lay out one kind.

    Parameters
    ----------
    document : KindDocument
        As the reader reads it.
    household : Household

    Returns
    -------
    KindPage
    """
    axis = axis_of(document, household, most_ticks=7)
    name = name_for_reader(document.english, document.spanish)
    return KindPage(
        key=document.key,
        name=capital(name),
        name_language="es" if language() == "es" and document.spanish else "en",
        scientific=document.scientific,
        family=document.family,
        names=[
            (what, alternatives(names), spoken)
            for what, names, spoken in (
                (say("English"), document.english, "en"),
                (say("Spanish"), document.spanish, "es"),
                (say("Also"), document.synonyms, "la"),
                (say("Cultivars"), document.cultivars, language()),
            )
            if names
        ],
        facts=document.facts,
        state=document.state,
        unit=household.degree,
        axis=axis_picture(axis),
        levels=[
            Track(
                limit.words,
                f"{household.temperature(limit.middle_c)} ± {household.difference(limit.sd_k)}",
                level_picture(limit, axis, household),
            )
            for limit in document.grades
        ],
        marks=[
            Track(
                f"{s.number}. {subject(s)} ({say(SHORT_TYPES[s.type])})",
                mark_words(s.mark, household),
                mark_picture(s.mark, axis, household),
            )
            for s in document.statements
            if s.mark
        ],
        rests_on=document.rests_on,
        others=[
            (
                limit.words,
                household.temperature(limit.middle_c)
                + (f" ± {household.difference(limit.sd_k)}" if limit.sd_k is not None else ""),
            )
            for limit in document.others
        ],
        figures=[
            Figure(
                number=s.number,
                value=figure(s, household),
                words="; ".join(
                    [subject(s), say(TYPES[s.type]), hours(s), *([say("from memory")] if s.from_memory else [])]
                ),
                source=cited(s.origin),
                address=_address(s.origin.where),
                note=our_note(s.note) if s.note else "",
                own=s.own,
            )
            for s in document.statements
        ],
        season=[(fact.text, cited(fact.origin)) for fact in document.habits],
        heat=[(heat_words(heat, household), cited(heat.origin)) for heat in document.heats if not heat.about],
        general_heat=[(heat_words(heat, household), cited(heat.origin)) for heat in document.heats if heat.about],
    )


def families_of(kinds: Sequence[KindLine]) -> list[Family]:
    """Group the list of kinds by family, in its order; the user's own stand first.

    Parameters
    ----------
    kinds : sequence of KindLine
        Sorted, as `list_kinds` gives them.
    """
    grouped = groupby(kinds, key=lambda line: "" if line.own else line.family)
    return [Family(name or say("Your own"), bool(name), [_line(one) for one in lines]) for name, lines in grouped]


def _line(line: KindLine) -> Line:
    """Lay out one kind of the list: the reader's name for it first."""
    spanish = [line.spanish] if line.spanish else []
    called = name_for_reader([line.name], spanish)
    names = {"en": line.name, "es": line.spanish}
    also_language = "en" if called == line.spanish and language() == "es" else "es"
    also = names[also_language]
    figures = say_count("{count} figure", "{count} figures", line.statements)
    sources = say_count("{count} source", "{count} sources", line.sources)
    return Line(
        key=line.key,
        called=called,
        also="" if also == called else also,
        also_language=also_language,
        scientific=line.scientific,
        known=say("{parts}, {last}", parts=figures, last=sources) if line.statements else say("no figure"),
    )


def _address(where: str) -> str | None:
    """Give the web address at the head of an identifier, if there is one; nothing else may become a link."""
    first = where.split(" ")[0]
    return first if first.startswith(("https://", "http://")) else None
