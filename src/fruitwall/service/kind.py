"""What is known of a kind of plant, and what was made of it: `fruitwall kind` and the pages of kinds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import hypot, isnan
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import UnknownTaxonError
from fruitwall.plants.catalogue import GENERAL, Catalogue, Evidence, Heat, Source, Taxon, folded
from fruitwall.plants.kinds import Kind, kind
from fruitwall.plants.reading import readings
from fruitwall.plants.tolerance import GRADES, LEAF, ROOT, TWIG, WOOD, Tolerance, prior
from fruitwall.said import note_of, told_of
from fruitwall.service.household import Household, signed
from fruitwall.service.kind_document import (
    GradeLimit,
    HabitFact,
    HeatFact,
    KindDocument,
    KindLine,
    Mark,
    Origin,
    OtherLimit,
    Statement,
)
from fruitwall.service.kind_words import name_for_reader
from fruitwall.speech import (
    Amount,
    Book,
    Told,
    language,
    marked,
    noting,
    quantity,
    say,
    say_again,
    say_chain,
    say_count,
    writing,
)
from fruitwall.yard.model import Display

if TYPE_CHECKING:
    from fruitwall.yard.model import Yard

GROWN_YEARS, GROWN_M = 20.0, 6.0
SMALL_YEARS, SMALL_M = 2.0, 1.2
"""The two trees that are shown: a grown one in the ground and a small one in a pot; as in docs/tolerance.md."""

HABITS = {
    "evergreen": marked("evergreen"),
    "deciduous": marked("sheds its leaf"),
    "briefly_deciduous": marked("bare for some weeks"),
}


def reader(yard: Yard | None, unit: str | None = None) -> Household:
    """Give the units in which somebody reads on kinds.

    Parameters
    ----------
    yard : Yard or None
        Its own units; without one metric units and °C.
    unit : str or None
        "C" or "F" overrules the yard's degrees.
    """
    display = yard.display if yard else Display()
    zone = ZoneInfo(yard.location.time_zone) if yard else ZoneInfo("UTC")
    return Household(display.model_copy(update={"temperature": unit}) if unit else display, zone)


def list_kinds(known: Catalogue) -> list[KindLine]:
    """Give all kinds, by family and then by the name that the reader calls them; the user's own first."""
    lines = []
    for taxon in known.taxa:
        rows = known.evidence(taxon)
        lines.append(
            KindLine(
                key=taxon.key,
                name=taxon.name,
                spanish=taxon.spanish[0] if taxon.spanish else "",
                scientific=taxon.scientific,
                family=taxon.family,
                statements=len(rows),
                sources=len({row.voice for row in rows}),
                own=taxon.own,
            )
        )

    def called(line: KindLine) -> str:
        return folded(name_for_reader([line.name], [line.spanish] if line.spanish else []))

    return sorted(lines, key=lambda line: (not line.own, line.family, called(line)))


def look_up(name: str, known: Catalogue) -> tuple[Taxon, bool]:
    """Find a kind as a person asks for it, who may misspell it.

    Parameters
    ----------
    name : str
        Any of its names or cultivars, or its key; a slip or two of the pen are forgiven.
    known : Catalogue
        Where to look.

    Returns
    -------
    Taxon, bool
        The kind, and whether it was guessed: whoever shows it says so.

    Raises
    ------
    UnknownTaxonError
        If no kind is called so nor surely meant; it offers near names.
    """
    try:
        return known.find(name), False
    except UnknownTaxonError:
        meant = known.meant(name)
        if meant is None:
            raise
        return meant, True


def describe_kind(name: str, known: Catalogue) -> KindDocument:
    """Give everything known of a kind.

    Parameters
    ----------
    name : str
        Any of its names or cultivars, or its key.
    known : Catalogue
        Where to look.

    Returns
    -------
    KindDocument

    Raises
    ------
    UnknownTaxonError
        If no kind is called so; it offers near names.
    """
    return _describe(known.find(name), known)[0]


def kind_for_reader(name: str, known: Catalogue, household: Household) -> KindDocument:
    """Give everything known of a kind as somebody reads it, in the language in force.

    Parameters
    ----------
    name : str
        Any of its names or cultivars, or its key.
    known : Catalogue
        Where to look.
    household : Household
        Units in which it is read.

    Returns
    -------
    KindDocument
        Its sentences said for the reader; its figures stay in °C.

    Raises
    ------
    UnknownTaxonError
        If no kind is called so; it offers near names.
    """
    document, book = _describe(known.find(name), known)
    units = household.display
    if language() == "en" and (units.temperature, units.length, units.mass) == ("C", "m", "kg"):
        return document
    with writing(household.again):
        return document.model_copy(
            update={
                "facts": [book.said(fact) for fact in document.facts],
                # What somebody typed into their own yard file stays as it is.
                "statements": [
                    row if row.own else row.model_copy(update={"note": book.said(row.note)})
                    for row in document.statements
                ],
                "habits": [row.model_copy(update={"text": book.said(row.text)}) for row in document.habits],
                "heats": [
                    row.model_copy(update={"note": book.said(row.note), "about": book.said(row.about)})
                    for row in document.heats
                ],
                "state": book.said(document.state),
                "grades": [row.model_copy(update={"words": book.said(row.words)}) for row in document.grades],
                "others": [row.model_copy(update={"words": book.said(row.words)}) for row in document.others],
                "rests_on": book.said(document.rests_on),
            }
        )


@lru_cache(maxsize=256)
def _describe(taxon: Taxon, known: Catalogue) -> tuple[KindDocument, Book]:
    """Put a kind's document together, once: it takes a tenth of a second and does not change.

    With it comes what made its sentences, so that each reader gets them in their own language and units.
    """
    with noting() as book:
        return _put_together(taxon, known), book


def _put_together(taxon: Taxon, known: Catalogue) -> KindDocument:
    """Put a kind's document together, in English."""
    about = kind(taxon, known)
    stage = "dormant" if taxon.needs_winter_chill else "leafy"
    grown = prior(taxon, age_years=GROWN_YEARS, height_m=GROWN_M, potted=False, stages=[stage], known=known)
    small = prior(taxon, age_years=SMALL_YEARS, height_m=SMALL_M, potted=True, stages=[stage], known=known)
    return KindDocument(
        key=taxon.key,
        scientific=taxon.scientific,
        synonyms=list(taxon.synonyms),
        english=list(taxon.english),
        spanish=list(taxon.spanish),
        cultivars=list(taxon.cultivars),
        family=taxon.family,
        own=taxon.own,
        facts=_facts(taxon),
        statements=[
            _statement(number, row, rests=taxon.needs_winter_chill)
            for number, row in enumerate(known.evidence(taxon), start=1)
        ],
        habits=_habits(taxon, known),
        heats=[
            *(_heat(row, "") for row in known.heat(taxon)),
            *(_heat(row, row.taxon.removeprefix(GENERAL)) for row in known.heat_of_others(taxon)),
        ],
        state=say("at rest, without leaf" if taxon.needs_winter_chill else "in leaf"),
        grades=_grades(grown),
        others=_others(about, small, leafless=taxon.needs_winter_chill),
        rests_on=_rests_on(taxon, about, known),
    )


def _facts(taxon: Taxon) -> list[str]:
    """Say what the catalogue holds on the plant itself."""
    facts = [
        say(
            "Leaf: {habit}, about {width} wide; fruit about {diameter} across (sizes from memory, for the energy "
            "balance only).",
            habit=say(HABITS[taxon.leaf_habit]),
            width=quantity(taxon.leaf_width_m * 100, "cm", ".2g"),
            diameter=quantity(taxon.fruit_diameter_m * 100, "cm", ".2g"),
        )
    ]
    if taxon.chill_sensitive:
        facts.append(say("Its leaf suffers in long nights above freezing too."))
    if taxon.needs_winter_chill:
        facts.append(say("A temperate kind: it rests without leaf and needs winter cold to break bud."))
    if taxon.acclimation_k is not None:
        told = taxon.acclimation_source or ""
        key = told.removesuffix(told_of(told))
        facts.append(
            say(
                "Weeks of cold make it {hardier} hardier ({key}{source}).",
                hardier=quantity(taxon.acclimation_k, "K", "g"),
                key=key,
                source=say(told_of(told)),
            )
            if taxon.acclimation_k
            else say("Weeks of cold do not make it hardier ({key}{source}).", key=key, source=say(told_of(told)))
        )
    return facts


def origin_of(source: Source, place: str) -> Origin:
    """Give a source with the place in it, as documents hold it."""
    return Origin(
        key=source.key,
        authors=source.authors,
        year=source.year,
        title=source.title,
        publisher=source.publisher,
        where=source.identifier,
        place=place,
    )


def _statement(number: int, row: Evidence, *, rests: bool) -> Statement:
    """Give one row, with what it was read as."""
    found = [reading for reading in readings([row], rests=rests) if reading.organ != "chill"]
    first = found[0] if found else None
    return Statement(
        number=number,
        stage=row.stage,
        effect=row.effect,
        type=row.type,
        low_c=row.low_c,
        high_c=row.high_c,
        as_stated=row.as_stated,
        hours=row.duration_h,
        origin=origin_of(row.source, row.locator),
        voice=row.voice,
        note=say_again(row.note) if isinstance(row.note, Told) else note_of(row.note),
        from_memory=row.from_memory,
        own=row.source.kind == "own",
        mark=Mark(low_c=first.low_c, high_c=first.high_c, colder=first.side == "colder") if first else None,
    )


def _habits(taxon: Taxon, known: Catalogue) -> list[HabitFact]:
    """Put what is published on leaf and season into words."""
    facts = []
    for row in known.habit(taxon):
        parts = [say(HABITS[row.leaf_habit])] if row.leaf_habit else []
        if row.natural_leaf_drop:
            parts.append(say("sheds: {months}", months=say(row.natural_leaf_drop)))
        if row.new_growth:
            parts.append(say("new growth: {months}", months=say(row.new_growth)))
        if row.bloom_to_harvest_months:
            low, high = map(float, row.bloom_to_harvest_months)
            parts.append(
                say("{low:g} to {high:g} months from bloom to harvest", low=low, high=high)
                if low < high
                else say("{low:g} months from bloom to harvest", low=low)
            )
        facts.append(HabitFact(text=say_chain(parts), origin=origin_of(row.source, row.locator)))
    return facts


def _heat(row: Heat, about: str) -> HeatFact:
    """Give one row on heat."""
    return HeatFact(
        about=about,
        stage=row.stage,
        effect=row.effect,
        temperature_c=row.temperature_c,
        note=row.note,
        origin=origin_of(row.source, row.locator),
    )


def _grades(grown: Tolerance) -> list[GradeLimit]:
    """Give the limit of each grade, from the tissue that causes it."""
    tissue = {1: LEAF, 2: LEAF, 3: LEAF, 4: LEAF, 5: TWIG, 6: WOOD, 7: WOOD}
    return [
        GradeLimit(
            grade=grade,
            words=say(GRADES[grade]),
            middle_c=float(grown.threshold_c[of, grade]),
            sd_k=hypot(float(grown.sd_k[of]), grown.slope_k),
        )
        for grade, of in tissue.items()
        if not isnan(grown.threshold_c[of, grade])
    ]


def _others(about: Kind, small: Tolerance, *, leafless: bool) -> list[OtherLimit]:
    """Give the limits of a small tree in a pot, of new growth, flowers, fruit, and of nights above freezing."""
    pot = say("a tree of {years:g} years and {height} in a pot", years=SMALL_YEARS, height=quantity(SMALL_M, "m", "g"))
    found = [
        (say("some leaf burn"), float(small.threshold_c[LEAF, 2]), float(small.sd_k[LEAF])),
        (say("dead"), float(small.threshold_c[WOOD, 7]), float(small.sd_k[WOOD])),
        (say("dead by its roots"), float(small.threshold_c[ROOT, 7]), float(small.sd_k[ROOT])),
    ]
    limits = [
        (say("{tree}: {words}", tree=pot, words=words), middle, hypot(sd, small.slope_k)) for words, middle, sd in found
    ]
    soft = [
        (say("soft new growth killed"), about.flush_c),
        (say("half of the open flowers lost"), about.flower_c),
        (say("half of the fruit lost (fruit temperature)"), about.fruit_c),
        (say("some leaf burnt by a night of eight hours above freezing"), about.chill_c),
    ]
    limits += [(words, middle, sd) for words, (middle, sd) in soft]
    return [OtherLimit(words=w, middle_c=m, sd_k=sd) for w, m, sd in limits if not isnan(m)]


def _rests_on(taxon: Taxon, about: Kind, known: Catalogue) -> str:
    """Say what the prior rests on: own statements, relatives, and what each contributes."""
    rows = known.evidence(taxon)
    relatives = known.relatives(taxon)
    behind = sum(len(known.evidence(other)) for other in relatives)
    alone = kind(taxon, _without(taxon, known))
    wood, sd = about.grade_c[7], about.grade_sd_k[7]
    parts = [_own_part(about, rows)]
    if relatives:
        parts.append(
            say_count(
                "Its {count} relative in the {family} ({statements}) and kinds of its sort would make its wood die "
                "near {temperature}, give or take {spread}.",
                "Its {count} relatives in the {family} ({statements}) and kinds of its sort would make its wood die "
                "near {temperature}, give or take {spread}.",
                len(relatives),
                family=taxon.family,
                statements=_statements(behind),
                temperature=_celsius(alone.grade_c[7]),
                spread=_kelvins(alone.grade_sd_k[7]),
            )
        )
    else:
        parts.append(
            say(
                "It has no relative in the catalogue; kinds of its sort would make its wood die near {temperature}, "
                "give or take {spread}.",
                temperature=_celsius(alone.grade_c[7]),
                spread=_kelvins(alone.grade_sd_k[7]),
            )
        )
    if about.rows:
        parts.append(
            say(
                "With its own statements that becomes {temperature}, give or take {spread}.",
                temperature=_celsius(wood),
                spread=_kelvins(sd),
            )
        )
    else:
        parts.append(say("That is all it rests on: the spread is wide, and one good observation would change it much."))
    if unused := sum(not readings([row], rests=taxon.needs_winter_chill) for row in rows):
        parts.append(
            say_count(
                "{count} statement is shown but not used (growth only, or a tree before the cold weeks).",
                "{count} statements are shown but not used (growth only, or a tree before the cold weeks).",
                unused,
            )
        )
    if recalled := sum(row.from_memory for row in rows):
        parts.append(
            say_count(
                "{count} figure stood in no text at hand when written down: from memory.",
                "{count} figures stood in no text at hand when written down: from memory.",
                recalled,
            )
        )
    parts.append(
        say(
            "Published air temperatures were brought to the temperature of the tissue, and all hours to one hour; the "
            "spread of the single tree and of that conversion is in the figures."
        )
    )
    return _one_after_the_other(parts)


def _one_after_the_other(sentences: Sequence[str]) -> str:
    """Put whole sentences together so that they can be said again."""
    said = sentences[0]
    for one in sentences[1:]:
        said = say("{before} {sentence}", before=said, sentence=one)
    return said


def _celsius(temperature_c: float) -> Amount:
    """Write a temperature to a tenth, to be written anew for each reader."""
    text = signed(f"{temperature_c:.1f}")
    return Amount(f"{text} °C", "quantity", float(temperature_c), "°C", ".1f")


def _kelvins(difference_k: float) -> Amount:
    return quantity(float(difference_k), "K", ".1f")


def _statements(number: int) -> str:
    return say_count("{count} statement", "{count} statements", number)


def _own_part(about: Kind, rows: Sequence[Evidence]) -> str:
    """Say how much is published on the kind itself."""
    if not about.rows:
        others = len(rows)
        return (
            say_count(
                "Nothing is published on freezing of the tree itself ({count} statement on other things).",
                "Nothing is published on freezing of the tree itself ({count} statements on other things).",
                others,
            )
            if others
            else say("Nothing is published on freezing of the tree itself.")
        )
    used = sum(
        any(reading.organ == "tree" for reading in readings([row], rests=about.taxon.needs_winter_chill))
        for row in rows
    )
    return say(
        "{statements} on freezing of the tree itself, by {sources}: however many rows one source gives, it counts "
        "once, and independent sources differ by about {spread}.",
        statements=_statements(used),
        sources=say_count("{count} independent source", "{count} independent sources", about.voices),
        spread=quantity(2.0, "K", "g"),
    )


def _without(taxon: Taxon, known: Catalogue) -> Catalogue:
    """Give the catalogue without what is published on one kind."""
    rows = tuple(row for row in known.evidence_rows if row.taxon != taxon.scientific)
    return replace(known, evidence_rows=rows)
