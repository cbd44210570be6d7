"""The catalogue with a yard's own kinds, cultivars and figures in it.

An own kind either takes over the published figures of a kind of the catalogue (`like`), moved by what the user says
it is hardier, or stands alone in its family. Its own figures are rows like all others: each source text is a voice of
its own and enters the prior by the same rules.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from pydantic import TypeAdapter

from fruitwall.errors import UnknownTaxonError
from fruitwall.plants.catalogue import Catalogue, Evidence, Source, Taxon, catalogue, folded
from fruitwall.said import note_of
from fruitwall.speech import quantity, say, told
from fruitwall.yard.model import Yard
from fruitwall.yard.own_kinds import OwnFigure, OwnKind
from fruitwall.yard.problems import Problem

USUAL_SIZE_M = 0.05
"""Leaf width and fruit diameter of an own kind that is like none and gives neither. Our judgement. [m]"""

_KINDS = TypeAdapter(list[OwnKind])


def own_kind_problems(yard: Yard) -> list[Problem]:
    """Give what is wrong with a yard's own kinds: neither `like` nor `family`, unknown kinds, names taken already."""
    problems: list[Problem] = []
    taken = {folded(n): t.scientific for t in catalogue().taxa for n in (t.key, *t.names)}
    for at, own in enumerate(yard.kinds):
        problems += [Problem("error", ("kinds", at, *loc), text) for loc, text in _problems(own)]
        for field, name in _names(own):
            other = taken.setdefault(folded(name), own.id)
            if other != own.id:
                text = say(
                    '"{name}" is already a name of {other}; give it another, such as "{name} here"',
                    name=name,
                    other=other,
                )
                problems.append(Problem("error", ("kinds", at, field), text))
    return problems


def _names(own: OwnKind) -> Iterator[tuple[str, str]]:
    """Give every name that must be the kind's alone, with the field that holds it."""
    yield "id", own.id
    for field, names in (("names", own.names), ("spanish", own.spanish), ("cultivars", own.cultivars)):
        yield from ((field, name) for name in names)
    if own.scientific is not None:
        yield "scientific", own.scientific


def _problems(own: OwnKind) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Give what is wrong with one kind by itself, each with its place."""
    for at, figure in enumerate(own.evidence):
        if (figure.temperature_c is None) == (figure.between_c is None):
            text = say("expected either temperature: one figure, or between: two, such as [-3, -2], and not both")
            yield ("evidence", at), text
    if (own.like is None) == (own.family is None):
        yield (), say("expected either like: a kind of the catalogue, or family: a botanical family, and not both")
    if own.like is not None:
        try:
            catalogue().find(own.like)
        except UnknownTaxonError as error:
            yield ("like",), str(error)
    elif own.hardier_k:
        yield ("hardier",), say("says hardier than what; give like: a kind of the catalogue, or leave it out")


def catalogue_of(yard: Yard | None) -> Catalogue:
    """Give the catalogue of a yard: the one that comes with fruitwall, with the yard's own kinds.

    Parameters
    ----------
    yard : Yard or None
        None for the catalogue alone. Its own kinds must be without `own_kind_problems`.

    Returns
    -------
    Catalogue
        The same object for the same kinds, so that priors are worked out once.
    """
    if yard is None or not yard.kinds:
        return catalogue()
    return _extended(_KINDS.dump_json(yard.kinds).decode())


@lru_cache(maxsize=8)
def _extended(kinds: str) -> Catalogue:
    """Put kinds, given as JSON, into the catalogue."""
    base = catalogue()
    owns = _KINDS.validate_json(kinds)
    # A cultivar that a user describes is the user's: the catalogue's name for it only found the kind.
    described = {folded(name) for own in owns for name in (*own.names, *own.spanish, *own.cultivars)}
    taxa = [
        replace(t, cultivars=tuple(c for c in t.cultivars if folded(c) not in described)) if t.cultivars else t
        for t in base.taxa
    ]
    rows = list(base.evidence_rows)
    for own in owns:
        taxon = _taxon(own, base)
        taxa.append(taxon)
        if own.like is not None:
            rows += [_taken_over(row, taxon, own.hardier_k) for row in base.evidence(base.find(own.like))]
        rows += [_evidence(figure, taxon) for figure in own.evidence]
    return replace(base, taxa=tuple(taxa), evidence_rows=tuple(rows))


def _taxon(own: OwnKind, base: Catalogue) -> Taxon:
    """Give an own kind as the catalogue holds kinds."""
    said = {
        "leaf_habit": own.leaf_habit,
        "leaf_width_m": own.leaf_width_m,
        "fruit_diameter_m": own.fruit_diameter_m,
        "chill_sensitive": own.chill_sensitive,
        "needs_winter_chill": own.needs_winter_chill,
    }
    like = base.find(own.like) if own.like is not None else None
    usual = like or Taxon(
        key="",
        scientific="",
        english=(),
        spanish=(),
        synonyms=(),
        family=own.family or "",
        leaf_habit="evergreen",
        leaf_width_m=USUAL_SIZE_M,
        fruit_diameter_m=USUAL_SIZE_M,
    )
    return replace(
        usual,
        key=own.id,
        scientific=own.scientific or (f"{like.scientific} '{own.names[0]}'" if like else own.names[0]),
        english=tuple(own.names),
        spanish=tuple(own.spanish),
        synonyms=(),
        cultivars=tuple(own.cultivars),
        like=like.scientific if like else None,
        own=True,
        **{name: value for name, value in said.items() if value is not None},  # type: ignore[arg-type]
    )


def _taken_over(row: Evidence, taxon: Taxon, hardier_k: float) -> Evidence:
    """Give a published row as one of an own kind, moved by what that is hardier."""
    note: str = note_of(row.note)
    if note:
        taken = told("{note}; taken over from {taxon}", note=told(note), taxon=row.taxon)
    else:
        taken = told("taken over from {taxon}", taxon=row.taxon)
    if hardier_k:
        by = quantity(-hardier_k, "K", "+g")
        taken = told("{note}; stated {stated}, moved by {by}", note=taken, stated=told(row.as_stated), by=by)
    return replace(
        row,
        taxon=taxon.scientific,
        common_name=taxon.name,
        low_c=row.low_c - hardier_k,
        high_c=row.high_c - hardier_k,
        as_stated="" if hardier_k else row.as_stated,
        note=taken,
    )


def _evidence(figure: OwnFigure, taxon: Taxon) -> Evidence:
    """Give an own figure as the catalogue holds figures."""
    ends_c = figure.between_c if figure.temperature_c is None else [figure.temperature_c]
    assert ends_c is not None, "held by own_kind_problems"
    return Evidence(
        taxon=taxon.scientific,
        common_name=taxon.name,
        stage=figure.stage,
        effect=figure.effect,
        type=figure.type,
        low_c=min(ends_c),
        high_c=max(ends_c),
        as_stated="",
        duration_h=None if figure.lasted_min is None else figure.lasted_min / 60.0,
        source=Source(key="own", authors="", year="", title=figure.source, publisher="", identifier="", kind="own"),
        voice=f"own: {' '.join(figure.source.casefold().split())}",
        locator="",
        note=figure.notes,
        from_memory=False,
        at_tissue=figure.at_tissue,
        unhardened=False,
    )
