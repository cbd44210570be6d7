"""How what is known looks in a terminal: a kind of plant with its prior as a small plot, and published gear.

Plain text without colour, folded to the width that is given; 80 columns are enough.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from fruitwall.errors import FruitwallError
from fruitwall.service.gear import ABOUT_CONTAINERS, ABOUT_COVERS, container_figures, cover_figures, describe_gear
from fruitwall.service.household import Household
from fruitwall.service.kind import describe_kind, kind_for_reader, list_kinds, look_up, reader
from fruitwall.service.kind_document import GradeLimit, KindDocument, KindLine, Origin, Statement
from fruitwall.service.kind_words import (
    SHORT_TYPES,
    TYPES,
    Axis,
    alternatives,
    axis_of,
    cited,
    figure,
    guessed_words,
    heat_words,
    hours,
    name_for_reader,
    our_note,
    subject,
)
from fruitwall.service.own_kinds import catalogue_of
from fruitwall.service.words import sentence
from fruitwall.speech import capital, language, say, speaking

if TYPE_CHECKING:
    from fruitwall.yard.model import Yard

LABEL, AFTER = 27, 15
"""Columns before and after the axis of the plot."""


def kind_answer(name: str, yard: Yard | None, unit: str | None, *, as_json: bool, width: int) -> str:
    """Give what `fruitwall kind` prints: one kind, or the list of all.

    Parameters
    ----------
    name : str
        Any name of a kind, a slip of the pen forgiven unless for JSON; empty for the list.
    yard : Yard or None
        Whose own kinds and units to use.
    unit : str or None
        "C" or "F" overrules the yard's degrees.
    as_json : bool
        A document in °C instead of text.
    width : int
        Columns of the terminal; 60 to 100 of them are used.

    Raises
    ------
    FruitwallError
        For another unit, or a name of no kind.
    """
    if unit not in (None, "C", "F"):
        raise FruitwallError(say('--unit: expected C or F, got "{unit}"', unit=unit))
    known, columns = catalogue_of(yard), max(60, min(width, 100))
    if name:
        if as_json:  # a program is not guessed at
            return describe_kind(name, known).model_dump_json(indent=2)
        taxon, guessed = look_up(name, known)
        household = reader(yard, unit)
        page = kind_page(kind_for_reader(taxon.key, known, household), household, width=columns)
        called = name_for_reader(taxon.english, taxon.spanish)
        told = _folded(guessed_words(name, called), columns) if guessed else []
        return "\n".join([*told, *([""] if told else []), page])
    if as_json:
        with speaking("en"):
            kinds = list_kinds(known)
        return "[" + ",\n ".join(line.model_dump_json() for line in kinds) + "]"
    return kinds_list(list_kinds(known), width=columns)


def kind_page(document: KindDocument, household: Household, *, width: int = 80) -> str:
    """Lay out one kind.

    Parameters
    ----------
    document : KindDocument
        As the reader reads it.
    household : Household
        Units to read in.
    width : int
        Columns, 60 or more.

    Returns
    -------
    str
        Lines of at most `width` characters.
    """
    lines = [*_head(document, width), "", *_plot(document, household, width), ""]
    lines += _folded(document.rests_on, width)
    lines += ["", say("Other limits (one standard deviation beside them)")]
    for limit in document.others:
        spread = f" ± {household.difference(limit.sd_k)}" if limit.sd_k is not None else ""
        text = f"{limit.words}: {household.temperature(limit.middle_c)}{spread}"
        lines += _folded(text, width, indent=2)
    lines += _statements(document, household, width)
    lines += _season_and_heat(document, household, width)
    return "\n".join(line.rstrip() for line in lines)


def gear_answer(yard: Yard | None, *, as_json: bool, width: int) -> str:
    """Give what `fruitwall gear` prints: all that is published on containers and covers.

    Parameters
    ----------
    yard : Yard or None
        In whose units to read; metric ones without it.
    as_json : bool
        A document in SI units instead of text.
    width : int
        Columns of the terminal; 60 to 100 of them are used.
    """
    document, columns = describe_gear(), max(60, min(width, 100))
    if as_json:
        return document.model_dump_json(indent=2)
    household = reader(yard)
    lines = [say("Containers"), *_folded(say(ABOUT_CONTAINERS), columns)]
    for group in document.containers:
        lines += [
            "",
            *_folded(f"{say(group.container)} ({say(group.nominal)}): {container_figures(group, household)}", columns),
        ]
        for row in group.rows:
            lines += _said(container_figures(row, household), row.basis, row.status, row.origins, columns)
    lines += ["", say("Covers"), *_folded(say(ABOUT_COVERS), columns)]
    for cover in document.covers:
        lines += ["", *_folded(say(cover.material), columns)]
        lines += _said(cover_figures(cover, household), cover.conditions, cover.status, cover.origins, columns)
    return "\n".join(line.rstrip() for line in lines)


def _said(figures: str, words: str, status: str, origins: Sequence[Origin], width: int) -> list[str]:
    """Give one statement on gear with who says it."""
    sources = " ".join(cited(origin) for origin in origins)
    said = f"{figures}. {sentence(say(words))} ({say(status)})."
    return [*_folded(said, width, indent=2), *_folded(sources, width, indent=4)]


def kinds_list(kinds: Sequence[KindLine], *, width: int = 80) -> str:
    """Lay out the list of kinds, by family.

    Parameters
    ----------
    kinds : sequence of KindLine
    width : int
        Columns, 60 or more.

    Returns
    -------
    str
    """
    lines: list[str] = []
    family = None
    for line in kinds:
        heading = say("Your own") if line.own else line.family
        if heading != family:
            lines += ["", heading] if lines else [heading]
            family = heading
        both = [line.name, *([line.spanish] if line.spanish and line.spanish != line.name else [])]
        names = " / ".join(both if language() == "en" else reversed(both))
        known = say("{statements} of {sources}", statements=line.statements, sources=line.sources)
        count = known if line.statements else say("none")
        text = f"  {names} ({line.scientific})"
        lines.append(f"{text[: width - 12]:<{width - 11}}{count:>10}")
    left, right = say("Kind, English / Spanish (scientific)"), say("statements of sources")
    head = f"{left:<{width - 1 - len(right)}}{right}"
    foot = say(
        "`fruitwall kind NAME` shows one: its figures with their sources and what was made of them. `fruitwall gear` "
        "shows what is published on containers and covers."
    )
    return "\n".join([head, "", *lines, "", *_folded(foot, width)])


def _head(document: KindDocument, width: int) -> Iterator[str]:
    """Give names and facts."""
    name = name_for_reader(document.english, document.spanish)
    yield f"{capital(name)}, {document.scientific} ({document.family})"
    yield from _folded(say("English: {names}.", names=alternatives(document.english)), width)
    yield from _folded(say("Spanish: {names}.", names=alternatives(document.spanish)), width)
    if document.synonyms:
        yield from _folded(say("Also: {names}.", names=alternatives(document.synonyms)), width)
    if document.cultivars:
        yield from _folded(say("Cultivars that find it: {names}.", names=alternatives(document.cultivars)), width)
    for fact in document.facts:
        yield from _folded(fact, width)


def _plot(document: KindDocument, household: Household, width: int) -> Iterator[str]:
    """Draw levels with their spread and the rows as marks over one axis."""
    room = width - LABEL - AFTER
    axis = axis_of(document, household, most_ticks=8)
    yield say("What a grown tree stands, {state}: tissue temperature of one hour", state=document.state)
    yield _axis_line(axis, room, household)
    for limit in document.grades:
        at = household.temperature(limit.middle_c)
        yield f"{_label(limit.words)}|{_level(limit, axis, room, household)}| {at}"
    marked = [s for s in document.statements if s.mark]
    if marked:
        yield say("Each figure, brought to tissue and one hour")
        for statement in marked:
            label = _label(f"{statement.number:>2} {subject(statement)}")
            yield f"{label}|{_row(statement, axis, room, household)}| {say(SHORT_TYPES[statement.type])}"
    yield ""
    yield from _folded(
        say(
            "o half of such trees reach this grade; = two of three do so within this. # where a figure puts the limit; "
            "< it stood this, the limit is colder."
        ),
        width,
    )


def _axis_line(axis: Axis, room: int, household: Household) -> str:
    """Write the numbers of the axis above it."""
    cells = [" "] * (room + 2)
    free_from = 0
    for tick in axis.ticks:
        text = str(tick).replace("-", "−")
        start = max(0, min(len(cells) - len(text), 1 + _column(tick, axis, room) - len(text) // 2))
        if start < free_from:
            continue
        cells[start : start + len(text)] = text
        free_from = start + len(text) + 1
    return " " * LABEL + "".join(cells) + f" {household.degree}"


def _column(value: float, axis: Axis, room: int) -> int:
    """Give the column of a temperature in the household's degrees."""
    return round(axis.share(value) * (room - 1))


def _level(limit: GradeLimit, axis: Axis, room: int, household: Household) -> str:
    """Draw one level: its middle in its spread."""
    cells = [" "] * room
    low, middle, high = (
        _column(household.degrees(limit.middle_c + d), axis, room) for d in (-limit.sd_k, 0.0, limit.sd_k)
    )
    cells[low : high + 1] = "=" * (high + 1 - low)
    cells[middle] = "o"
    return "".join(cells)


def _row(statement: Statement, axis: Axis, room: int, household: Household) -> str:
    """Draw one figure: a bar where it puts the limit, or an arrow towards the cold."""
    assert statement.mark is not None
    cells = [" "] * room
    low = _column(household.degrees(statement.mark.low_c), axis, room)
    high = _column(household.degrees(statement.mark.high_c), axis, room)
    if statement.mark.colder:
        cells[max(0, high - 3) : high + 1] = "<---"[: min(4, high + 1)]
    else:
        cells[low : high + 1] = "#" * (high + 1 - low)
    return "".join(cells)


def _label(text: str) -> str:
    """Cut a label to its columns."""
    return f"{text[: LABEL - 1]:<{LABEL}}"


def _statements(document: KindDocument, household: Household, width: int) -> Iterator[str]:
    """List every figure with its source."""
    yield ""
    if not document.statements:
        yield say("Published figures on cold: none")
        return
    yield say("Published figures on cold, as stated (mostly air in a thermometer shelter)")
    for s in document.statements:
        text = f"{s.number:>2}  {figure(s, household)}: {subject(s)}; {say(TYPES[s.type])}; {hours(s)}"
        yield from _folded(text + (f"; {say('from memory')}" if s.from_memory else ""), width, indent=4, first=0)
        yield from _folded((say("Your own:") + " " if s.own else "") + cited(s.origin), width, indent=4)
        if s.note:
            yield from _folded(our_note(s.note), width, indent=4)


def _season_and_heat(document: KindDocument, household: Household, width: int) -> Iterator[str]:
    """List what is published on leaf, season and heat."""
    if document.habits:
        yield from ("", say("Leaf and season"))
        for fact in document.habits:
            yield from _folded(f"{fact.text}. {cited(fact.origin)}", width, indent=2)
    for heading, general in ((say("Heat"), False), (say("Heat, of other trees and fruit"), True)):
        heats = [heat for heat in document.heats if bool(heat.about) is general]
        if heats:
            yield from ("", heading)
        for heat in heats:
            yield from _folded(f"{heat_words(heat, household)}. {cited(heat.origin)}", width, indent=2)


def _folded(text: str, width: int, *, indent: int = 0, first: int | None = None) -> list[str]:
    """Fold a text; the first line may be indented otherwise."""
    start = " " * (indent if first is None else first)
    return wrap(text, width, initial_indent=start, subsequent_indent=" " * indent, break_on_hyphens=False)
