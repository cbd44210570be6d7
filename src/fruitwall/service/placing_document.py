"""The answers of placing as a document for programs: figures in SI units, words in the language asked for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field

from fruitwall.service.placing_words import (
    cautions,
    grown_words,
    kind_lines,
    kind_verdict,
    notes_of,
    pot_lines,
    pot_verdict,
    site_told,
    taxon_name,
    wish_verdict,
)
from fruitwall.speech import say_again

if TYPE_CHECKING:
    from fruitwall.plans.placing.planting_out import Way
    from fruitwall.plans.placing.ranking import Chances
    from fruitwall.plans.placing.raster import Raster
    from fruitwall.plans.placing.seasons import Window
    from fruitwall.plans.placing.sites import Site
    from fruitwall.plants.catalogue import Catalogue
    from fruitwall.service.household import Household
    from fruitwall.service.placing import GrowsFound, PotFound, SitesFound, WishFound
    from fruitwall.yard.model import Yard

    Found = SitesFound | PotFound | WishFound | GrowsFound


class Told(BaseModel):
    """What all models here share."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class SiteAnswer(Told):
    """One place."""

    x_m: float
    y_m: float
    where: str
    good: float = Field(description="0 to 1: chance to live ten winters, by what leaf, fruit, light and summer leave")
    survive: float = Field(description="Chance to live one winter with nothing done")
    lives_ten_winters: float
    leaf_loss: float = Field(description="Share of winters in which it loses most of its leaf or more")
    fruit_loss: float | None = Field(description="Share of winter fruit lost a year; none for kinds without")
    scorch: float | None = Field(description="Chance of a hurt in summer; none where no summer is known")
    coldest_in_ten_years_c: float
    winter_sun_h: float
    summer_sun_h: float
    power_m: float | None
    tap_m: float | None
    reasons: list[str]
    against: list[str]


class WindowAnswer(Told):
    """When to plant."""

    season: Literal["autumn", "spring", "never"]
    opens: str | None = Field(description="Month and day, such as 03-15")
    closes: str | None
    still_harmful: float = Field(description="Share of winters with another harmful night after it opens")


class KindAnswer(Told):
    """The best places for one kind."""

    taxon: str
    name: str
    verdict: str
    told: list[str] = Field(description="When to plant, and for what crown room is kept")
    age_years: float
    grown_crown_m: float
    room: bool = Field(description="Whether the grown crown has room at these places")
    harmful_c: float = Field(description="Where its harm begins")
    plant: WindowAnswer | None
    sites: list[SiteAnswer] = Field(description="Best first")
    ordinary: SiteAnswer | None = Field(description="In the middle of the yard by cold")


class WayAnswer(Told):
    """One way of going on with a container tree."""

    covered_winters: int
    lives: float = Field(description="Chance to live through all the years")
    first_winter: float
    kept: float = Field(description="Worth of tree and fruit kept, in the household's currency")
    minutes_a_winter: float
    lifts_a_winter: float
    effort: float


class PotAnswer(Told):
    """Whether a container tree is planted out."""

    tree: str
    taxon: str
    answer: Literal["plant", "stay", "equal", "nowhere"]
    verdict: str
    because: list[str]
    years: int
    site: SiteAnswer | None
    room: bool
    plant: WindowAnswer | None
    ground: list[WayAnswer]
    container: WayAnswer
    covered_winters: int | None


class WishAnswer(Told):
    """One line of a wish list."""

    taxon: str
    tree: str | None
    name: str
    count: int
    missing: int
    grown_crown_m: float
    places: list[SiteAnswer]
    lives: list[float] = Field(description="Of each, covered where that pays")
    covered: list[bool]
    minutes_a_winter: list[float]


class ListAnswer(Told):
    """A wish list, placed."""

    verdict: list[str]
    value: float
    bound: float = Field(description="No way to place as many is worth more")
    proven: bool
    room_proven: bool
    lines: list[WishAnswer]


class ChancesAnswer(Told):
    """What becomes of a kind at one place."""

    x_m: float
    y_m: float
    survive: float
    lives_ten_winters: float
    leaf_loss: float
    fruit_loss: float | None
    scorch: float | None


class GrownAnswer(Told):
    """One kind of the ranking."""

    taxon: str
    name: str
    group: Literal["safe", "burnt", "cover", "not_here"]
    best: ChancesAnswer
    ordinary: ChancesAnswer
    covered_lives_ten_winters: float
    chill: Literal["none", "unknown", "own", "cultivar", "kind"]
    chill_least: float | None = Field(description="Share of winters that meet the lowest published need")
    chill_most: float | None
    sources: int = Field(description="Independent sources on what it stands")
    words: list[str]


class PlacingAnswer(Told):
    """An answer of placing; what was not asked is left empty."""

    winters: list[str]
    source: str
    cell_m: float
    notes: list[str]
    cautions: list[str]
    kinds: list[KindAnswer] = []
    pot: PotAnswer | None = None
    wish_list: ListAnswer | None = None
    ranking: list[GrownAnswer] = []


def placing_document(found: Found, yard: Yard, known: Catalogue, household: Household) -> PlacingAnswer:
    """Give an answer as a document.

    Parameters
    ----------
    found : SitesFound, PotFound, WishFound or GrowsFound
    yard : Yard
    known : Catalogue
    household : Household
        Of who reads the words.
    """
    from fruitwall.service.placing import GrowsFound, PotFound, SitesFound

    raster = found.raster
    head = PlacingAnswer(
        winters=list(raster.winters),
        source=say_again(raster.source),
        cell_m=raster.cell_m,
        notes=notes_of(raster),
        cautions=cautions(),
    )
    if isinstance(found, SitesFound):
        return head.model_copy(update={"kinds": _kinds(found, yard, known, household)})
    if isinstance(found, PotFound):
        return head.model_copy(update={"pot": _pot(found, yard, household)})
    if isinstance(found, GrowsFound):
        return head.model_copy(update={"ranking": _ranking(found, known)})
    return head.model_copy(update={"wish_list": _list(found, yard, known, household)})


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _site(site: Site, yard: Yard, household: Household) -> SiteAnswer:
    words = site_told(yard, household, site, "")
    return SiteAnswer(
        x_m=site.x_m,
        y_m=site.y_m,
        where=words.where,
        good=site.good,
        survive=site.survive,
        lives_ten_winters=site.lives,
        leaf_loss=site.leaf_loss,
        fruit_loss=_known(site.fruit_loss),
        scorch=_known(site.scorch),
        coldest_in_ten_years_c=site.ten_years_c,
        winter_sun_h=site.winter_sun_h,
        summer_sun_h=site.summer_sun_h,
        power_m=_known(site.power_m),
        tap_m=_known(site.tap_m),
        reasons=list(words.reasons),
        against=list(words.against),
    )


def _window(window: Window | None) -> WindowAnswer | None:
    if window is None:
        return None
    opens, closes = (None if day is None else f"{day[0]:02d}-{day[1]:02d}" for day in (window.opens, window.closes))
    return WindowAnswer(season=window.season, opens=opens, closes=closes, still_harmful=window.still_harmful)


def _kinds(found: SitesFound, yard: Yard, known: Catalogue, household: Household) -> list[KindAnswer]:
    return [
        KindAnswer(
            taxon=kind.taxon,
            name=taxon_name(known, kind.taxon),
            verdict=kind_verdict(kind, taxon_name(known, kind.taxon)),
            told=kind_lines(kind, household),
            age_years=found.raster.wanted[kind.kind].age_years,
            grown_crown_m=kind.crown_m,
            room=kind.room,
            harmful_c=kind.harmful_c,
            plant=_window(kind.window),
            sites=[_site(site, yard, household) for site in kind.sites],
            ordinary=None if kind.ordinary is None else _site(kind.ordinary, yard, household),
        )
        for kind in found.kinds
    ]


def _way(way: Way) -> WayAnswer:
    return WayAnswer(
        covered_winters=way.winters,
        lives=way.lives,
        first_winter=way.first_winter,
        kept=way.kept,
        minutes_a_winter=way.minutes,
        lifts_a_winter=way.lifts,
        effort=way.effort,
    )


def _pot(found: PotFound, yard: Yard, household: Household) -> PotAnswer:
    plan = found.planting
    return PotAnswer(
        tree=found.tree,
        taxon=found.taxon,
        answer=plan.answer,
        verdict=pot_verdict(found),
        because=pot_lines(found, yard.display.currency),
        years=plan.years,
        site=None if found.site is None else _site(found.site, yard, household),
        room=found.room,
        plant=_window(found.window),
        ground=[_way(way) for way in plan.ways],
        container=_way(plan.pot),
        covered_winters=None if plan.best is None else plan.best.winters,
    )


def _list(found: WishFound, yard: Yard, known: Catalogue, household: Household) -> ListAnswer:
    names = [line_name(found, at, yard, known) for at in range(len(found.lines))]
    return ListAnswer(
        verdict=wish_verdict(found, names, yard.display.currency),
        value=found.assignment.value,
        bound=found.assignment.bound,
        proven=found.assignment.proven,
        room_proven=found.assignment.room_proven,
        lines=[
            WishAnswer(
                taxon=line.wish.taxon,
                tree=line.wish.tree,
                name=name,
                count=line.wish.count,
                missing=line.missing,
                grown_crown_m=line.crown_m,
                places=[_site(site, yard, household) for site in line.sites],
                lives=list(line.lives),
                covered=list(line.covered),
                minutes_a_winter=list(line.minutes),
            )
            for line, name in zip(found.lines, names, strict=True)
        ],
    )


def line_name(found: WishFound, at: int, yard: Yard, known: Catalogue) -> str:
    """Give the name of a line of a wish list: of its container, or of its kind."""
    wish = found.lines[at].wish
    return next((tree.name for tree in yard.trees if tree.id == wish.tree), None) or taxon_name(known, wish.taxon)


def _chances(chances: Chances, raster: Raster) -> ChancesAnswer:
    return ChancesAnswer(
        x_m=float(raster.x_m[chances.cell]),
        y_m=float(raster.y_m[chances.cell]),
        survive=chances.survive,
        lives_ten_winters=chances.lives,
        leaf_loss=chances.leaf_loss,
        fruit_loss=_known(chances.fruit_loss),
        scorch=_known(chances.scorch),
    )


def _ranking(found: GrowsFound, known: Catalogue) -> list[GrownAnswer]:
    return [
        GrownAnswer(
            taxon=one.taxon,
            name=taxon_name(known, one.taxon),
            group=one.ranked.group,
            best=_chances(one.ranked.best, found.raster),
            ordinary=_chances(one.ranked.ordinary, found.raster),
            covered_lives_ten_winters=one.ranked.covered_lives,
            chill=one.chill.basis,
            chill_least=one.chill.least,
            chill_most=one.chill.most,
            sources=one.voices,
            words=grown_words(one),
        )
        for one in found.kinds
    ]
