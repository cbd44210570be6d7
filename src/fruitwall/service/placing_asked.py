"""What is asked of placing, in the yard's own terms: kinds by name, wish lists, sizes, what hangs on a tree."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

from fruitwall.errors import PlanError, UnknownTaxonError
from fruitwall.plans.placing.worth import YEARS, Stake
from fruitwall.speech import say, told

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np
    from numpy.typing import NDArray

    from fruitwall.plans.placing.raster import Raster, Wanted
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.yard.model import Tree, Yard

MOST_PLANTS = 40
"""Plants of a wish list at most: more take too long to be placed at once. Our judgement."""

MOST_KINDS = 12
"""Kinds that are asked about at once at most, but for the whole catalogue. Our judgement, by time."""

AGES = (1.0, 3.0, 5.0, 10.0)
"""Ages that the page offers. [years]"""

USUAL_AGE = 3.0
"""Age of a bought tree, if nobody says. common practice, no source. [years]"""

USUAL_WORTH, USUAL_CROP_SHARE = 100.0, 0.2
"""Worth of a tree of a kind that the yard has none of, and of a year's fruit as a share of it. Our judgement.
[currency], [1/year]"""

SIZES_M = (0.6, 1.0, 1.6, 2.5, 4.0)
CROWN_SHARE = 0.7
"""Heights at which wanted trees are marched, the nearest by ratio for each, and crowns for these: kinds of one size
cost hardly more than one kind. Our judgement: a cell differs less between neighbouring sizes than cells do. [m],
[-]"""

WALL_LEAST_M, WALL_MOST_M, WALL_CROWNS = 0.6, 2.0, 0.25
"""Distance of the trunk from walls, fences and buildings: a quarter of the grown crown, within these limits; trees at
walls are trained or cut back on that side. Our judgement. [m], [m], [-]"""

EDGE_MOST_M = 2.0
"""Distance from the boundary: half the grown crown, at most this. Our judgement: local law on trees at a boundary
differs, and prevails. [m]"""

_COUNTED = re.compile(r"^(?:(?P<n1>\d{1,4})\s*[x×]?\s+)?(?P<name>.+?)(?:\s*[:x×]\s*(?P<n2>\d{1,4}))?$")


@dataclass(frozen=True)
class Wish:
    """One line of a wish list.

    Attributes
    ----------
    taxon : str
        Scientific name.
    count : int
    tree : str or None
        Identifier of a container of the yard that is to be planted.
    """

    taxon: str
    count: int = 1
    tree: str | None = None

    @property
    def key(self) -> str:
        """Unique in a list in which every kind stands once."""
        return f"pot:{self.tree}" if self.tree else self.taxon


def taxon_of(name: str, known: Catalogue) -> Taxon:
    """Find a kind by any of its names.

    Raises
    ------
    UnknownTaxonError
        With near names.
    """
    return known.find(name.strip())


def wishes_of(text: str, yard: Yard, known: Catalogue) -> tuple[Wish, ...]:
    """Read a wish list: a kind or a container in each line, with how many.

    Parameters
    ----------
    text : str
        Such as ``mango: 2``, ``2 mango``, ``lychee`` or ``pot-mango``, one to a line or parted by commas or semicolons;
        what follows ``#`` is passed over.
    yard : Yard
    known : Catalogue

    Returns
    -------
    tuple of Wish
        Lines of one kind joined.

    Raises
    ------
    PlanError
        If a line cannot be read, all such lines at once.
    """
    found: dict[str, Wish] = {}
    problems = []
    pots = {name.casefold(): tree for tree in yard.trees for name in (tree.id, tree.name) if tree.container}
    parts = [part.strip() for row in text.splitlines() for part in re.split(r"[,;]", row.partition("#")[0])]
    for number, line in enumerate(parts, start=1):
        if not line:
            continue
        pot = pots.get(line.casefold().removeprefix("pot:").strip())
        if pot is not None:
            wish = Wish(known.find(pot.taxon).scientific, 1, pot.id)
            found[wish.key] = wish
            continue
        read = _COUNTED.match(line)
        name, count = (line, 1) if read is None else (read["name"], int(read["n1"] or read["n2"] or 1))
        try:
            taxon = taxon_of(name, known)
        except UnknownTaxonError as error:
            problems.append(say("{number}. {line}: {why}", number=number, line=line, why=str(error)))
            continue
        before = found.get(taxon.scientific)
        found[taxon.scientific] = Wish(taxon.scientific, count + (before.count if before else 0))
    if problems:
        raise PlanError("\n".join(problems))
    wishes = tuple(wish for wish in found.values() if wish.count)
    plants = sum(wish.count for wish in wishes)
    if not wishes:
        raise PlanError(told("the wish list is empty: write a kind in each line, such as mango: 2"))
    if plants > MOST_PLANTS or len(wishes) > MOST_KINDS:
        raise PlanError(
            told(
                "the wish list holds {plants} plants of {kinds} kinds; at most {most} of {most_kinds} kinds are placed "
                "at once",
                plants=plants,
                kinds=len(wishes),
                most=MOST_PLANTS,
                most_kinds=MOST_KINDS,
            )
        )
    return wishes


def pot_of(yard: Yard, tree: str) -> Tree:
    """Find a container tree by identifier or name.

    Raises
    ------
    PlanError
        If there is none; it names those that there are.
    """
    pots = [one for one in yard.trees if one.container is not None]
    for one in pots:
        if tree.strip().casefold() in (one.id.casefold(), one.name.casefold()):
            return one
    if not pots:
        raise PlanError(told("no tree of this yard stands in a container"))
    raise PlanError(
        told("no container tree is called “{tree}”; there are: {pots}", tree=tree, pots=", ".join(p.id for p in pots))
    )


def sized(taxon: Taxon, age_years: float) -> tuple[float, float]:
    """Give height and crown of a tree of a kind in the ground at an age, as its curve of growth has it. [m], [m]"""
    from fruitwall.plants.stature import grown_size

    kind = grown_size(taxon)
    height = max(kind.height_m * (1.0 - 0.5 ** (age_years / kind.half_years)), 0.4)
    return height, max(kind.crown_share * height, 0.3)


def wanted_of(taxon: Taxon, age_years: float) -> Wanted:
    """Give a tree of a kind to be planted at an age, in the nearest of `SIZES_M`."""
    from fruitwall.plans.placing.raster import Wanted

    height = snapped_m(sized(taxon, age_years)[0])
    return Wanted(taxon.scientific, age_years, height, round(CROWN_SHARE * height, 2))


def snapped_m(height_m: float) -> float:
    """Give the nearest height at which trees are marched. [m]"""
    return min(SIZES_M, key=lambda size: abs(math.log(size / height_m)))


def grown_crown_m(taxon: Taxon, age_years: float) -> float:
    """Give the width of the crown for which room is kept: after the years that are looked ahead. [m]"""
    return sized(taxon, age_years + YEARS)[1]


def stake_of(yard: Yard, taxon: Taxon, known: Catalogue, *, height_m: float, crown_m: float) -> Stake:
    """Give what hangs on a tree of a kind: as for the yard's own trees of that kind, else a usual one.

    Parameters
    ----------
    yard : Yard
    taxon : Taxon
    known : Catalogue
    height_m, crown_m : float
        For the minutes that covering takes. [m]
    """
    same = [tree for tree in yard.trees if _is(tree, taxon, known)]
    worth = median([tree.worth for tree in same]) if same else USUAL_WORTH
    crops = [tree.fruit_worth for tree in same if tree.fruit_worth]
    return Stake(
        worth=worth,
        crop_worth=median(crops) if crops else USUAL_CROP_SHARE * worth,
        cover_minutes=cover_minutes(height_m, crown_m),
        per_hour=yard.prices.per_hour,
    )


def cover_minutes(height_m: float, crown_m: float) -> float:
    """Give how long covering takes, evening and morning, as the evening's plan reckons it, without the walk. [min]"""
    from fruitwall.plans.times import SetUpTimes

    times = SetUpTimes()
    return times.cover + times.cover_per_m * (height_m + crown_m) + times.cloth_morning


def _is(tree: Tree, taxon: Taxon, known: Catalogue) -> bool:
    try:
        return known.find(tree.taxon).scientific == taxon.scientific
    except UnknownTaxonError:
        return False


def harmful_c(taxon: Taxon, known: Catalogue, *, age_years: float, height_m: float, potted: bool = False) -> float:
    """Give the temperature at which the harm of a tree begins, by what is most likely. [°C]

    Parameters
    ----------
    taxon : Taxon
    known : Catalogue
    age_years, height_m : float
        [years], [m]
    potted : bool

    Returns
    -------
    float
        Of leaf, twig, wood or root, whichever comes first; of a tree that rests leafless without its leaf. [°C]
    """
    from fruitwall.plants.injury import first_injury_c
    from fruitwall.plants.tolerance import prior

    stages = ("dormant",) if taxon.needs_winter_chill else ("leafy",)
    stands = prior(taxon, age_years=age_years, height_m=height_m, potted=potted, stages=stages, known=known)
    limits = [first_injury_c(stands, tissue)[1] for tissue in ("leaf", "twig", "wood", "root")]
    return max(limit for limit in limits if math.isfinite(limit))


def may_stand(
    yard: Yard, raster: Raster, known: Catalogue, crown_m: float, *, leave: Iterable[str] = ()
) -> NDArray[np.bool_]:
    """Tell in which free cells a tree may be planted so that its grown crown has room, shape (cell,).

    Parameters
    ----------
    yard : Yard
    raster : Raster
    known : Catalogue
    crown_m : float
        Across the grown crown of the new tree. [m]
    leave : iterable of str
        Trees that go away.

    Returns
    -------
    ndarray of bool
        At least half the sum of both grown crowns from every tree in the ground; from walls, fences, buildings and the
        boundary as `WALL_CROWNS` and `EDGE_MOST_M` say. Containers move, and hinder nothing.
    """
    import numpy as np
    from shapely import LineString, Polygon, distance, points

    from fruitwall.plants.stature import grown
    from fruitwall.yard.model import Building, Fence, Wall

    gone = frozenset(leave)
    spots = points(raster.x_m, raster.y_m)
    good = raster.free.copy()
    for tree in yard.trees:
        if tree.container is not None or tree.id in gone:
            continue
        try:
            later = grown(tree.height_m, tree.crown_diameter_m, tree.age_years, known.find(tree.taxon), YEARS)
            crown = later.crown_diameter_m
        except UnknownTaxonError:
            crown = tree.crown_diameter_m
        apart = np.hypot(raster.x_m - tree.position[0], raster.y_m - tree.position[1])
        good &= apart >= 0.5 * (crown + crown_m)
    wall_m = min(max(WALL_CROWNS * crown_m, WALL_LEAST_M), WALL_MOST_M)
    for one in yard.structures:
        if isinstance(one, Building):
            good &= distance(spots, Polygon(one.outline)) >= wall_m
        elif isinstance(one, Wall | Fence):
            thick = one.thickness_m / 2.0 if isinstance(one, Wall) else 0.0
            good &= distance(spots, LineString(one.line)) >= wall_m + thick
    edge_m = min(0.5 * crown_m, EDGE_MOST_M)
    return np.asarray(good & (distance(spots, Polygon(yard.outline).exterior) >= edge_m))
