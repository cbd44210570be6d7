"""Placing laid out for its template: words and pictures, nothing left to decide."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fruitwall.plans.placing.ranking import GROUPS
from fruitwall.plans.placing.worth import YEARS
from fruitwall.service.placing_asked import AGES, USUAL_AGE
from fruitwall.service.placing_document import line_name
from fruitwall.service.placing_words import (
    GROUP_NAMES,
    GROUP_TOLD,
    SiteTold,
    cautions,
    grown_words,
    kind_lines,
    kind_verdict,
    name_of,
    notes_of,
    pot_lines,
    pot_verdict,
    site_told,
    taxon_name,
    wish_site_verdict,
    wish_verdict,
)
from fruitwall.speech import capital, say, say_count
from fruitwall.web.placing.map import Map, Sign, map_of

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Catalogue
    from fruitwall.service.household import Household
    from fruitwall.service.placing import GrowsFound, KindSites, PotFound, SitesFound, WishFound
    from fruitwall.yard.model import Yard


@dataclass(frozen=True)
class Option:
    """One entry of a list to choose from."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True)
class Forms:
    """What can be asked, with what was typed.

    Attributes
    ----------
    kinds, ages, pots : tuple of Option
    typed : str
        The wish list.
    error : str
        What is wrong with what was typed.
    asked : str
        Which form that is: ``kind``, ``pot``, ``list``, ``all`` or empty.
    hidden : tuple of (name, value)
        How the winters are taken, kept from form to form.
    """

    kinds: tuple[Option, ...]
    ages: tuple[Option, ...]
    pots: tuple[Option, ...]
    typed: str = ""
    error: str = ""
    asked: str = ""
    hidden: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Part:
    """One answer: a heading, a map, and places."""

    key: str
    title: str
    verdict: str
    lines: tuple[str, ...] = ()
    map: Map | None = None
    sites: tuple[SiteTold, ...] = ()
    beside: tuple[str, ...] = ()
    link: tuple[str, str] | None = None


@dataclass(frozen=True)
class RankedLine:
    """One kind of the ranking."""

    name: str
    url: str
    ask: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class RankedGroup:
    """Kinds of one group."""

    key: str
    name: str
    told: str
    kinds: tuple[RankedLine, ...]


@dataclass(frozen=True)
class PlacingPage:
    """The page."""

    title: str
    forms: Forms
    parts: tuple[Part, ...] = ()
    groups: tuple[RankedGroup, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = field(default_factory=tuple)


def forms_of(
    yard: Yard,
    known: Catalogue,
    *,
    kind: str = "",
    age: float = USUAL_AGE,
    pot: str = "",
    typed: str = "",
    error: str = "",
    asked: str = "",
    hidden: tuple[tuple[str, str], ...] = (),
) -> Forms:
    """Give the forms with what was typed.

    Parameters
    ----------
    yard : Yard
    known : Catalogue
    kind : str
        Key of the kind that was chosen.
    age : float
        [years]
    pot : str
        Identifier.
    typed, error, asked, hidden
        As in `Forms`.
    """
    ages = sorted({*AGES, age})
    return Forms(
        kinds=tuple(
            sorted(
                (Option(taxon.key, capital(name_of(taxon)), taxon.key == kind) for taxon in known.taxa),
                key=lambda one: one.words.casefold(),
            )
        ),
        ages=tuple(
            Option(f"{one:g}", say_count("{count} year old", "{count} years old", round(one)), one == age)
            for one in ages
        ),
        pots=tuple(Option(tree.id, tree.name, tree.id == pot) for tree in yard.trees if tree.container is not None),
        typed=typed,
        error=error,
        asked=asked,
        hidden=hidden,
    )


def sites_page(found: SitesFound, yard: Yard, known: Catalogue, household: Household, forms: Forms) -> PlacingPage:
    """Lay out the best places of some kinds."""
    parts = tuple(_kind_part(found, kind, yard, known, household) for kind in found.kinds)
    return PlacingPage(say("Placing"), forms, parts, (), tuple(notes_of(found.raster)), tuple(cautions()))


def _kind_part(found: SitesFound, kind: KindSites, yard: Yard, known: Catalogue, household: Household) -> Part:
    name = taxon_name(known, kind.taxon)
    sites = tuple(site_told(yard, household, site, str(at)) for at, site in enumerate(kind.sites, start=1))
    signs = [Sign(site.mark, site.x_m, site.y_m) for site in sites]
    beside = []
    if kind.ordinary is not None:
        ordinary = site_told(yard, household, kind.ordinary, "")
        beside.append(say("An ordinary place, {where}: {verdict}", where=ordinary.where, verdict=ordinary.verdict))
    return Part(
        key=known.find(kind.taxon).key,
        title=capital(name),
        verdict=kind_verdict(kind, name),
        lines=tuple(kind_lines(kind, household)),
        map=map_of(
            yard,
            household,
            found.raster,
            found.raster.lives(YEARS)[kind.kind],
            signs,
            say(
                "The yard from above: chance of {name} to live ten winters, by place. The list tells the best.",
                name=name,
            ),
            name=f"map{kind.kind}",
        ),
        sites=sites,
        beside=tuple(beside),
        link=(f"/kinds/{known.find(kind.taxon).key}", say("What is published on {name}", name=name)),
    )


def pot_page(found: PotFound, yard: Yard, household: Household, forms: Forms) -> PlacingPage:
    """Lay out the question of a container."""
    sites = () if found.site is None else (site_told(yard, household, found.site, "1"),)
    lines = pot_lines(found, yard.display.currency)
    pot = next(tree for tree in yard.trees if tree.id == found.tree)
    signs = [Sign(site.mark, site.x_m, site.y_m) for site in sites]
    signs.append(Sign(say("now"), *pot.position))
    beside = (
        []
        if found.room or not sites
        else [say("Its grown crown will not have full room there; it has to be kept small.")]
    )
    part = Part(
        key="pot",
        title=found.name,
        verdict=pot_verdict(found),
        lines=tuple(lines),
        map=map_of(
            yard,
            household,
            found.raster,
            found.raster.lives(YEARS)[0],
            signs,
            say("The yard from above: chance to live ten winters in the ground as it is now, nothing done."),
            name="pot",
        ),
        sites=sites,
        beside=tuple(beside),
        link=(f"/trees/{found.tree}", say("This tree")),
    )
    return PlacingPage(say("Placing"), forms, (part,), (), tuple(notes_of(found.raster)), tuple(cautions()))


def list_page(found: WishFound, yard: Yard, known: Catalogue, household: Household, forms: Forms) -> PlacingPage:
    """Lay out a wish list that was placed."""
    names = [line_name(found, at, yard, known) for at in range(len(found.lines))]
    verdict, *lines = wish_verdict(found, names, yard.display.currency)
    signs: list[Sign] = []
    sites: list[SiteTold] = []
    for line, name in zip(found.lines, names, strict=True):
        for at, site in enumerate(line.sites):
            told = site_told(yard, household, site, str(len(sites) + 1))
            where = say("{name}: {where}", name=capital(name), where=told.where)
            words = wish_site_verdict(line, at)
            sites.append(SiteTold(told.mark, where, words, told.reasons, told.against, told.x_m, told.y_m))
            signs.append(Sign(told.mark, site.x_m, site.y_m, line.crown_m))
    part = Part(
        key="list",
        title=say("The whole list"),
        verdict=verdict,
        lines=(*lines, say("Circles on the map are crowns after ten years.")) if sites else tuple(lines),
        map=map_of(
            yard,
            household,
            found.raster,
            None,
            signs,
            say("The yard from above with the place of each plant, numbered as in the list."),
            name="list",
        ),
        sites=tuple(sites),
    )
    return PlacingPage(say("Placing"), forms, (part,), (), tuple(notes_of(found.raster)), tuple(cautions()))


def grows_page(found: GrowsFound, known: Catalogue, forms: Forms) -> PlacingPage:
    """Lay out what grows here unprotected."""
    groups = []
    for group in GROUPS:
        kinds = tuple(
            RankedLine(capital(taxon_name(known, one.taxon)), f"/kinds/{one.key}", one.key, tuple(grown_words(one)))
            for one in found.kinds
            if one.ranked.group == group
        )
        if kinds:
            groups.append(RankedGroup(group, say(GROUP_NAMES[group]), say(GROUP_TOLD[group]), kinds))
    return PlacingPage(
        say("What can I grow here unprotected?"),
        forms,
        (),
        tuple(groups),
        tuple(notes_of(found.raster)),
        tuple(cautions()),
    )
