"""Where to plant: best sites for kinds, a container in question, a wish list, and what grows here unprotected.

All answers rest on one raster of the yard (`service.placing_ground`). They are data: words are made for each reader in
`service.placing_words`, the document for programs in `service.placing_document`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import PlanError
from fruitwall.plans.placing.assignment import Assignment, Demand, assign
from fruitwall.plans.placing.planting_out import PlantingOut, PotCase, plant_out
from fruitwall.plans.placing.ranking import Ranked, rank
from fruitwall.plans.placing.raster import Raster, Wanted
from fruitwall.plans.placing.seasons import NightMinima, Window, nights_below, window
from fruitwall.plans.placing.sites import Site, best_sites, ordinary_cell, site_at
from fruitwall.plans.placing.worth import YEARS, PlaceValues, place_values
from fruitwall.service.placing_asked import (
    CROWN_SHARE,
    MOST_KINDS,
    USUAL_AGE,
    USUAL_CROP_SHARE,
    Wish,
    cover_minutes,
    grown_crown_m,
    harmful_c,
    may_stand,
    pot_of,
    sized,
    snapped_m,
    stake_of,
    wanted_of,
)
from fruitwall.service.placing_weather import ChillMet, chill_met, night_minima
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice, WinterWeather, winter_weather
from fruitwall.service.work import Progress
from fruitwall.speech import told

if TYPE_CHECKING:
    from fruitwall.plans.parts import Way
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.service.house import House
    from fruitwall.yard.model import Tree, Yard

FloatArray = NDArray[np.float64]
Heard = Callable[[Progress], None]
Stop = Callable[[], bool]

MOST_SITES = 5
"""Best sites told of a kind. Our judgement."""

POT_AGES = (0.0, 2.0, 4.0, 7.0, 10.0)
"""Years from now at which a tree planted out is looked at. Our judgement. [years]"""

RANK_AGE = 5.0
"""Age at which kinds are ranked: established, not yet grown. Our judgement. [years]"""

RANK_SIZE_M = (2.0, 1.6)
"""Height and crown at which all kinds are ranked, so that they are compared in the same air. Our judgement. [m]"""

RANK_CELL_M = 2.0
"""Side of a cell for the ranking of the whole catalogue: fewer cells, for so many kinds. Our judgement. [m]"""


@dataclass(frozen=True, eq=False)
class KindSites:
    """The best places for one kind.

    Attributes
    ----------
    kind : int
        Row of the raster.
    taxon : str
        Scientific name.
    crown_m : float
        Grown crown for which room is kept. [m]
    sites : tuple of Site
        Best first.
    ordinary : Site or None
        In the middle of the yard by cold, for comparison.
    room : bool
        Whether the grown crown has room at these places; else they are merely free now.
    window : Window or None
        When to plant at the best.
    harmful_c : float
        Where its harm begins. [°C]
    """

    kind: int
    taxon: str
    crown_m: float
    sites: tuple[Site, ...]
    ordinary: Site | None
    room: bool
    window: Window | None
    harmful_c: float


@dataclass(frozen=True, eq=False)
class SitesFound:
    """Answer to: where would this grow best?"""

    raster: Raster
    kinds: tuple[KindSites, ...]


@dataclass(frozen=True, eq=False)
class PotFound:
    """Answer to: shall this container tree be planted out?

    Attributes
    ----------
    tree, name, taxon : str
    site : Site or None
        The best place in the ground.
    room : bool
        Whether the grown crown has room there.
    window : Window or None
    carried_to : str
        Where it is carried on cold nights; empty if nobody can carry it.
    grown : int
        Row of the raster of the tree when it is ten years older.
    """

    raster: Raster
    tree: str
    name: str
    taxon: str
    planting: PlantingOut
    site: Site | None
    room: bool
    window: Window | None
    carried_to: str
    grown: int


@dataclass(frozen=True, eq=False)
class WishLine:
    """One wish with what became of it."""

    wish: Wish
    kind: int
    name: str
    crown_m: float
    sites: tuple[Site, ...]
    values: tuple[float, ...]
    covered: tuple[bool, ...]
    lives: tuple[float, ...]
    minutes: tuple[float, ...]
    missing: int


@dataclass(frozen=True, eq=False)
class WishFound:
    """Answer to: where do all of these go?"""

    raster: Raster
    assignment: Assignment
    lines: tuple[WishLine, ...]


@dataclass(frozen=True)
class Grown:
    """One kind of the ranking, with what does not come from the raster."""

    ranked: Ranked
    taxon: str
    key: str
    chill: ChillMet
    voices: int
    rows: int


@dataclass(frozen=True, eq=False)
class GrowsFound:
    """Answer to: what can I grow here unprotected?"""

    raster: Raster
    kinds: tuple[Grown, ...]


def quiet(_: Progress) -> None:
    """Hear nothing."""


def never() -> bool:
    """Never stop."""
    return False


def placing_key(house: House, question: str, choice: WeatherChoice = AS_THEY_WERE) -> str | None:
    """Give the same text as long as a question has the same answer; None where no whole winter is known.

    Parameters
    ----------
    house : House
    question : str
        What is asked, in any form.
    choice : WeatherChoice
    """
    from fruitwall.service.beliefs import beliefs_of

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    version, learned = house.yard()[1], beliefs_of(house).lasting_mark
    return f"placing {question} {version.sha256} {weather.mark} {learned} {house.clock().year} {choice}"


def sites_for(
    house: House,
    taxa: Sequence[str],
    *,
    age_years: float = USUAL_AGE,
    choice: WeatherChoice = AS_THEY_WERE,
    heard: Heard = quiet,
    stop: Stop = never,
) -> SitesFound:
    """Find the best places for some kinds.

    Parameters
    ----------
    house : House
    taxa : sequence of str
        Any names.
    age_years : float
        At which they are planted. [years]
    choice : WeatherChoice
    heard, stop : callable
        Of the long work.

    Returns
    -------
    SitesFound

    Raises
    ------
    PlanError
        If no winter is known, nothing or too much is asked.
    UnknownTaxonError
        If a name is none.
    """
    yard, known = _yard(house)
    found = list(dict.fromkeys(known.find(name).scientific for name in taxa))
    if not 1 <= len(found) <= MOST_KINDS:
        raise PlanError(told("ask about 1 to {most} kinds at once, not {count}", most=MOST_KINDS, count=len(found)))
    kinds = [known.find(name) for name in found]
    raster, weather = _raster(house, [wanted_of(taxon, age_years) for taxon in kinds], choice, heard, stop)
    nights = night_minima(weather)
    return SitesFound(
        raster, tuple(_kind_sites(yard, raster, nights, known, taxon, row) for row, taxon in enumerate(kinds))
    )


def _kind_sites(yard: Yard, raster: Raster, nights: NightMinima, known: Catalogue, taxon: Taxon, row: int) -> KindSites:
    """Find the best places for one kind of a raster."""
    asked = raster.wanted[row]
    crown = grown_crown_m(taxon, asked.age_years)
    where, room = _where(yard, raster, known, crown)
    sites = best_sites(raster, row, crown_m=crown, most=MOST_SITES, where=where)
    middle = ordinary_cell(raster)
    limit = harmful_c(taxon, known, age_years=asked.age_years, height_m=asked.height_m)
    return KindSites(
        row,
        taxon.scientific,
        crown,
        sites,
        None if middle is None else site_at(raster, row, middle),
        room,
        window(raster, nights, sites[0].cell, limit) if sites else None,
        limit,
    )


def _where(
    yard: Yard, raster: Raster, known: Catalogue, crown_m: float, leave: Sequence[str] = ()
) -> tuple[NDArray[np.bool_], bool]:
    """Give where a tree may go: with room for its grown crown, or merely free ground where there is no such room."""
    where = may_stand(yard, raster, known, crown_m, leave=leave)
    return (where, True) if where.any() else (raster.free, False)


def pot_question(
    house: House, tree: str, *, choice: WeatherChoice = AS_THEY_WERE, heard: Heard = quiet, stop: Stop = never
) -> PotFound:
    """Weigh planting a container tree out against leaving it in its container.

    Parameters
    ----------
    house : House
    tree : str
        Identifier or name.
    choice : WeatherChoice
    heard, stop : callable
        Of the long work.

    Raises
    ------
    PlanError
        If there is no such container, or no winter is known.
    """
    from fruitwall.plans.walking import walking_minutes
    from fruitwall.plants.stature import grown

    yard, known = _yard(house)
    pot = pot_of(yard, tree)
    assert pot.container is not None
    taxon = known.find(pot.taxon)
    age = _age(house, pot, USUAL_AGE)
    later = [grown(pot.height_m, pot.crown_diameter_m, age, taxon, years) for years in POT_AGES]
    wanted = [
        Wanted(taxon.scientific, age + years, height, round(CROWN_SHARE * height, 2))
        for years, height in zip(POT_AGES, (snapped_m(size.height_m) for size in later), strict=True)
    ]
    wanted.append(replace(wanted[0], potted_l=pot.container.volume_l))
    raster, weather = _raster(house, wanted, choice, heard, stop, without=(pot.id,))
    nights = night_minima(weather)
    crown = max(later[-1].crown_diameter_m, grown_crown_m(taxon, age))
    where, room = _where(yard, raster, known, crown, leave=(pot.id,))
    limit = harmful_c(taxon, known, age_years=age, height_m=pot.height_m)
    pot_limit = harmful_c(taxon, known, age_years=age, height_m=pot.height_m, potted=True)
    pot_cell = _pot_cell(raster, pot)
    way, place = _carrying(yard, pot)
    walk = np.array(
        [4.0 * walking_minutes(yard.gear_store, (x, y)) for x, y in zip(raster.x_m, raster.y_m, strict=True)]
    )
    crop = pot.fruit_worth or USUAL_CROP_SHARE * pot.worth
    full = sized(taxon, age + YEARS)[1]
    case = PotCase(
        ground=tuple(zip(POT_AGES, range(len(POT_AGES)), strict=True)),
        pot=len(POT_AGES),
        pot_cell=pot_cell,
        worth=pot.worth,
        crop_ground=_crops(crop, full, pot, age, taxon, volume_l=None),
        crop_pot=_crops(crop, full, pot, age, taxon, volume_l=pot.container.volume_l),
        cover_nights=nights_below(raster, nights, limit),
        carry_nights=float(nights_below(raster, nights, pot_limit)[pot_cell]),
        cover_minutes=walk + cover_minutes(later[1].height_m, later[1].crown_diameter_m),
        carry_minutes=2.0 * way.minutes * len(way.people) if way else 0.0,
        carry_lifts=float(way.lifts + way.lifts_back) if way else 0.0,
        carried=way is not None,
        per_hour=yard.prices.per_hour,
        per_lift=yard.prices.per_lift,
    )
    planting = plant_out(raster, case, where=where)
    site = None if planting.cell is None else site_at(raster, 0, planting.cell)
    when = None if planting.cell is None else window(raster, nights, planting.cell, limit)
    return PotFound(raster, pot.id, pot.name, taxon.scientific, planting, site, room, when, place, len(POT_AGES) - 1)


def _age(house: House, tree: Tree, usual: float) -> float:
    """Give the age of a tree today. [years]"""
    from fruitwall.yard.plan import tree_age_years

    age = tree_age_years(tree, house.clock().date())
    return usual if age is None else age


def _crops(crop: float, full_m: float, pot: Tree, age: float, taxon: Taxon, *, volume_l: float | None) -> FloatArray:
    """Give the worth of the fruit of each year ahead: as the crown's area beside that of a grown one. [currency]"""
    from fruitwall.plants.stature import grown

    widths = [
        grown(
            pot.height_m, pot.crown_diameter_m, age, taxon, year, potted=volume_l is not None, volume_l=volume_l
        ).crown_diameter_m
        for year in range(1, YEARS + 1)
    ]
    return np.asarray(crop * np.minimum(1.0, (np.array(widths) / full_m) ** 2))


def _pot_cell(raster: Raster, pot: Tree) -> int:
    """Give the cell in which a container stands, or the nearest in which something can stand."""
    apart = np.hypot(raster.x_m - pot.position[0], raster.y_m - pot.position[1])
    return int(np.argmin(np.where(raster.standable, apart, np.inf)))


def _carrying(yard: Yard, pot: Tree) -> tuple[Way | None, str]:
    """Give the quickest way of carrying a container in, and the place; None and no place where there is none."""
    from fruitwall.plans.times import SetUpTimes
    from fruitwall.plans.ways import carrying_ways

    ways = [
        (way, place.name)
        for place in yard.indoor_places
        if pot.height_m <= place.max_height_m
        for way in carrying_ways(yard, pot, place.position, SetUpTimes())
    ]
    return min(ways, key=lambda one: one[0].minutes, default=(None, ""))


def wish_list(
    house: House,
    wishes: Sequence[Wish],
    *,
    age_years: float = USUAL_AGE,
    choice: WeatherChoice = AS_THEY_WERE,
    heard: Heard = quiet,
    stop: Stop = never,
) -> WishFound:
    """Place all plants of a wish list at once.

    Parameters
    ----------
    house : House
    wishes : sequence of Wish
        As `placing_asked.wishes_of` reads them.
    age_years : float
        At which bought plants are planted; containers have their own age. [years]
    choice : WeatherChoice
    heard, stop : callable
        Of the long work.

    Raises
    ------
    PlanError
        If no winter is known.
    """
    from fruitwall.plans.walking import walking_minutes

    yard, known = _yard(house)
    trees = {tree.id: tree for tree in yard.trees}
    taxa = [known.find(wish.taxon) for wish in wishes]
    wanted = [
        _wanted_pot(house, trees[wish.tree], taxon) if wish.tree else wanted_of(taxon, age_years)
        for wish, taxon in zip(wishes, taxa, strict=True)
    ]
    gone = [wish.tree for wish in wishes if wish.tree]
    raster, weather = _raster(house, wanted, choice, heard, stop, without=gone)
    nights = night_minima(weather)
    walk = np.array(
        [4.0 * walking_minutes(yard.gear_store, (x, y)) for x, y in zip(raster.x_m, raster.y_m, strict=True)]
    )
    demands, values, crowns = [], [], []
    for row, (wish, taxon, asked) in enumerate(zip(wishes, taxa, wanted, strict=True)):
        crown = grown_crown_m(taxon, asked.age_years)
        limit = harmful_c(taxon, known, age_years=asked.age_years, height_m=asked.height_m)
        stake = stake_of(yard, taxon, known, height_m=asked.height_m, crown_m=asked.crown_m)
        worth = place_values(raster, row, stake, nights_below(raster, nights, limit), walk)
        where = may_stand(yard, raster, known, crown, leave=gone)
        demands.append(Demand(wish.key, wish.count, crown, np.where(where, worth.value, np.nan)))
        values.append(worth)
        crowns.append(crown)
    if stop():
        from fruitwall.service.work import Stopped

        raise Stopped
    assignment = assign(np.stack([raster.x_m, raster.y_m], axis=1), demands)
    lines = [_wish_line(raster, assignment, wish, row, values[row], crowns[row]) for row, wish in enumerate(wishes)]
    return WishFound(raster, assignment, tuple(lines))


def _wanted_pot(house: House, tree: Tree, taxon: Taxon) -> Wanted:
    """Give a container tree as it would stand in the ground."""
    height = snapped_m(tree.height_m)
    return Wanted(taxon.scientific, _age(house, tree, USUAL_AGE), height, round(CROWN_SHARE * height, 2))


def _wish_line(
    raster: Raster, assignment: Assignment, wish: Wish, row: int, worth: PlaceValues, crown_m: float
) -> WishLine:
    """Tell what became of one wish."""
    cells = [one.cell for one in assignment.placed if one.key == wish.key]
    return WishLine(
        wish,
        row,
        raster.names[row],
        crown_m,
        tuple(site_at(raster, row, cell) for cell in cells),
        tuple(float(worth.value[cell]) for cell in cells),
        tuple(bool(worth.covered[cell]) for cell in cells),
        tuple(float(worth.lives[cell]) for cell in cells),
        tuple(float(worth.minutes[cell]) for cell in cells),
        dict(assignment.missing).get(wish.key, 0),
    )


def what_grows(
    house: House, *, choice: WeatherChoice = AS_THEY_WERE, heard: Heard = quiet, stop: Stop = never
) -> GrowsFound:
    """Rank the whole catalogue by what becomes of it here when nothing is done for it.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
    heard, stop : callable
        Of the long work.

    Raises
    ------
    PlanError
        If no winter is known.
    """
    from fruitwall.plants.kinds import kind

    _, known = _yard(house)
    height, crown = RANK_SIZE_M
    wanted = [Wanted(taxon.scientific, RANK_AGE, height, crown) for taxon in known.taxa]
    raster, weather = _raster(house, wanted, choice, heard, stop, cell_m=RANK_CELL_M)
    found = []
    for ranked in rank(raster):
        taxon = known.find(raster.wanted[ranked.kind].taxon)
        about = kind(taxon, known)
        found.append(Grown(ranked, taxon.scientific, taxon.key, chill_met(taxon, weather), about.voices, about.rows))
    return GrowsFound(raster, tuple(found))


def _yard(house: House) -> tuple[Yard, Catalogue]:
    """Give the yard and its catalogue."""
    from fruitwall.service.own_kinds import catalogue_of

    yard, _ = house.yard()
    return yard, catalogue_of(yard)


def _raster(
    house: House,
    wanted: Sequence[Wanted],
    choice: WeatherChoice,
    heard: Heard,
    stop: Stop,
    *,
    without: Sequence[str] = (),
    cell_m: float | None = None,
) -> tuple[Raster, WinterWeather]:
    """Give the raster with the winters it rests on.

    Raises
    ------
    PlanError
        If no winter is known.
    """
    from fruitwall.service.placing_ground import placing_ground

    weather = winter_weather(house, choice)
    raster = (
        None
        if weather is None
        else placing_ground(house, wanted, choice, without=without, cell_m=cell_m, heard=heard, stop=stop)
    )
    if weather is None or raster is None:
        raise PlanError(
            told("no whole winter of this place is known; `fruitwall climate fetch` or `climate add` gives some")
        )
    return raster, weather
