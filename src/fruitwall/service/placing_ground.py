"""From a yard and its climate to the raster that "where to plant" is asked of.

Every cell is looked round from (`physics.look_round`), a tree of each wanted kind is marched there through every winter
with nothing done for it (`physics.winters.replay`), and whole winters are judged at once (`plants.winter_hurt`).
docs/placing.md sets the model out.

Kinds differ for physics only in the width of their leaf and the size of their fruit. Few such sizes are marched, at
most `WIDTH_RATIO` and `FRUIT_RATIO` apart, and a kind's own exposures are read between them on the logarithm of the
size: against a march of the kind itself leaves are within 0.1 K and fruit within 0.3 K (tested).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from hashlib import sha256
from itertools import pairwise
from math import ceil, hypot, log, nan
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.treatment import LEAVE
from fruitwall.plans.placing.raster import Raster, Wanted
from fruitwall.plants.tolerance import FRUIT, LEAF, TISSUES, Tolerance
from fruitwall.service.kept import Kept
from fruitwall.service.placing_cells import Cells, cells_a_part, cells_of, hours_of_sun
from fruitwall.service.winters_replay import _level, weeks_before
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice, WinterWeather, winter_weather
from fruitwall.service.work import Progress, WorkPart, work
from fruitwall.speech import marked, told

if TYPE_CHECKING:
    from fruitwall.physics.body import Body
    from fruitwall.physics.faces import Face
    from fruitwall.physics.spot import Spot
    from fruitwall.plants.catalogue import Catalogue, Taxon
    from fruitwall.plants.winter_hurt import KindInWinter
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.house import House
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Tree, Yard

FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.float32]

WIDTH_RATIO, FRUIT_RATIO = 4.0, 5.0
"""Leaf widths, and diameters of fruit, that are marched lie at most so many times apart. [-]"""

STEP_MINUTES = 60
"""As `service.winters_ground`. [min]"""

CELLS_A_PART, ROWS_AT_ONCE = 250, 128
"""Cells that are worked out, kept and told of together, for a few kinds; cells times sizes that a thread marches at a
time: some 80 MB for 30 winters."""

PART_BYTES = 12_000_000
"""Room for what the kernel writes at a time, in each thread."""

ANNUAL_OVER_K = 2.0
"""Nights are kept so far above the mildest winter's coldest air, so that the coldest leaf of every winter is among
them; where a sheltered cell is warmer still, it is marched once more with all nights. [K]"""

TEN_YEARS = 0.1
"""Share of winters in which the ten-year level is reached."""

LEFT_OUT = (
    marked("nothing is done for the tree: no cover, no heat, no watering, no carrying"),
    marked("one age and size for all the years looked at; a tree grows hardier with age"),
    marked("trees that drop their leaves are at rest all winter; the others are not in flush"),
    marked("leaves that pale in weeks of cool nights are left out"),
)
"""What is simpler than in an evening's plan."""


def placing_ground(
    house: House,
    wanted: Sequence[Wanted],
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    without: Sequence[str] = (),
    cell_m: float | None = None,
    heard: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> Raster | None:
    """Work out what every place of a yard would do to trees that might be planted there.

    Parameters
    ----------
    house : House
    wanted : sequence of Wanted
        At least one; the same taxon may come at several ages, which costs little as long as height is the same.
    choice : WeatherChoice
        Which winters, and how they are weighted and warmed.
    without : sequence of str
        Trees of the yard that are to go: they cast no shade and take no room.
    cell_m : float, optional
        Side of a cell; by the size of the yard if left out. [m]
    heard : callable
        Told how far it is.
    stop : callable
        Asked between parts whether to stop.

    Returns
    -------
    Raster or None
        None where no whole winter is known. Kept in memory by content, and in the journal part by part.

    Raises
    ------
    UnknownTaxonError
        If a kind is not in the yard's catalogue.
    Stopped
        If `stop` said so; what was done is kept.
    ValueError
        If nothing is wanted, or a size is outside its range.
    """
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.climate import climate_of

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    yard, _ = house.yard()
    beliefs = beliefs_of(house)
    today = house.clock().date()
    climate = climate_of(house)
    # Summers are as much warmer as winters; only a trend that is taken out of those stays in these.
    summers = tuple(_warmer(year, choice.warmer_k) for year in climate.years) if climate is not None else ()

    def keep(parts: Sequence[WorkPart]) -> list[Any]:
        return work(house, parts, heard=heard, stop=stop)

    def make() -> Raster:
        return make_raster(
            yard, wanted, weather, beliefs, today, without=without, cell_m=cell_m, summers=summers, keep=keep
        )

    key = raster_key(yard, wanted, weather, beliefs, today, without, cell_m, summers)
    return _RASTERS.of(house.journal, key=key, make=make)


_RASTERS: Kept[Raster] = Kept(3)


def raster_key(
    yard: Yard,
    wanted: Sequence[Wanted],
    weather: WinterWeather,
    beliefs: Beliefs,
    today: date,
    without: Sequence[str] = (),
    cell_m: float | None = None,
    summers: Sequence[Forcing] = (),
) -> str:
    """Give the same text for the same question: ages count by the year, summers by their hours and their warmth."""
    heat = [(str(one.time_utc[0]), one.n_times, f"{one.t_air_c.sum():.3f}") for one in summers]
    asked = (tuple(wanted), tuple(sorted(without)), cell_m)
    parts = (yard.model_dump_json(), weather.mark, beliefs.lasting_mark, *asked, heat)
    return sha256(repr((parts, today.year)).encode()).hexdigest()


def _warmer(year: Forcing, by_k: float) -> Forcing:
    """Give a year that is so much warmer in all hours, dew point as well."""
    if by_k == 0.0:
        return year
    return replace(year, t_air_c=year.t_air_c + by_k, t_dew_c=year.t_dew_c + by_k)


def make_raster(
    yard: Yard,
    wanted: Sequence[Wanted],
    weather: WinterWeather,
    beliefs: Beliefs,
    today: date,
    *,
    without: Sequence[str] = (),
    cell_m: float | None = None,
    summers: Sequence[Forcing] = (),
    keep: Callable[[Sequence[WorkPart]], list[Any]] | None = None,
    threads: int = 2,
    skip: bool = False,
) -> Raster:
    """Work the raster out of a yard and winters.

    Parameters
    ----------
    yard : Yard
    wanted : sequence of Wanted
    weather : WinterWeather
    beliefs : Beliefs
        What the yard has taught.
    today : date
    without, cell_m
        As `placing_ground`.
    summers : sequence of Forcing, one member each
        Years of hourly weather, for the heat; none: nothing is said of it.
    keep : callable, optional
        Does parts of work and keeps them; by default they are done one after the other.
    threads : int
        The result does not depend on it.
    skip : bool
        Leave out nights that the safe bound says are harmless to every kind. The result does not depend on it but for
        chances below 1 in 30,000. Off, since every place has but one treatment here and its ground is marched through
        all hours anyway: the bound takes longer than it saves (`bench.placing_case`).

    Returns
    -------
    Raster
    """
    if not wanted:
        raise ValueError("wanted must name at least one kind, got none")
    mark = raster_key(yard, wanted, weather, beliefs, today, without, cell_m, summers)
    left = yard.model_copy(update={"trees": [tree for tree in yard.trees if tree.id not in set(without)]})
    placing = _Placing(left, tuple(wanted), weather, beliefs, today, threads, skip, tuple(summers))
    cells = cells_of(left, cell_m)
    stand = cells.stand
    size = cells_a_part(len(wanted), CELLS_A_PART)
    chunks = [stand[at : at + size] for at in range(0, stand.size, size)]
    parts = [
        WorkPart(
            key=f"placing:{mark}:{skip}:{size}:{at}",
            weight=float(chunk.size),
            what=told("cells {first} to {last} of {count}", first=at * size + 1,
                      last=at * size + chunk.size, count=stand.size),
            make=partial(placing.cells, cells.x_m[chunk], cells.y_m[chunk]),
        )
        for at, chunk in enumerate(chunks)
    ]  # fmt: skip
    made = keep(parts) if keep is not None else [part.make() for part in parts]

    def laid(name: str, axis: int, *shape: int) -> Any:
        """Put the parts' arrays in their cells, axis `axis`; elsewhere not a number."""
        out = np.full(shape, np.nan, dtype=np.float32 if len(shape) == 3 or name == "coldest" else np.float64)
        if made:
            np.moveaxis(out, axis, 0)[stand] = np.moveaxis(np.concatenate([part[name] for part in made], axis), axis, 0)
        return out

    kinds, count, winters = len(wanted), cells.x_m.size, len(weather.names)
    coldest = laid("coldest", 0, count, winters)
    return Raster(
        columns=cells.columns,
        rows=cells.rows,
        cell_m=cells.cell_m,
        x_m=cells.x_m,
        y_m=cells.y_m,
        taken=cells.taken,
        taken_by=cells.taken_by,
        gap_m=cells.gap_m,
        wanted=tuple(wanted),
        names=tuple(taxon.name for taxon in placing.taxa),
        winters=weather.names,
        weights=weather.weights,
        death=laid("death", 1, kinds, count, winters),
        bare=laid("bare", 1, kinds, count, winters),
        fruit=laid("fruit", 1, kinds, count, winters),
        loss=laid("loss", 1, kinds, count, winters),
        coldest_c=coldest,
        ten_years_c=level_c(coldest, weather.weights, TEN_YEARS),
        winter_sun_h=laid("winter_sun", 0, count),
        summer_sun_h=laid("summer_sun", 0, count),
        power_m=cells.power_m,
        power_by=cells.power_by,
        tap_m=cells.tap_m,
        scorch=laid("scorch", 1, kinds, count),
        canopy=laid("canopy", 0, count),
        wall=laid("wall", 0, count),
        colder_k=laid("colder", 0, count),
        wind=laid("wind", 0, count),
        skipped_share=float(np.average([part["skipped"] for part in made], weights=[c.size for c in chunks]))
        if made
        else 0.0,
        notes=placing.notes(cells),
        source=weather.source,
        mark=mark,
    )


def level_c(coldest_c: SmallArray, weights: FloatArray, share: float) -> FloatArray:
    """Give the level below which the coldest hour falls in so large a share of winters.

    Parameters
    ----------
    coldest_c : ndarray, shape (cell, winter)
        [°C]
    weights : ndarray, shape (winter,)
        Sum to one. [-]
    share : float
        0 to 1. [-]

    Returns
    -------
    ndarray, shape (cell,)
        By straight lines between the winters, each in the middle of its weight; no extreme is made up beyond the
        coldest winter. NaN gives NaN. [°C]
    """
    order = np.argsort(coldest_c, axis=1, kind="stable")
    values = np.take_along_axis(coldest_c.astype(np.float64), order, axis=1)
    middle = np.cumsum(weights[order], axis=1) - 0.5 * weights[order]
    return np.array([np.interp(share, at, row) for at, row in zip(middle, values, strict=True)])


@dataclass(frozen=True, eq=False)
class _Group:
    """Kinds that differ for physics in leaf width and fruit only."""

    kinds: tuple[int, ...]
    height_m: float
    bodies: tuple[Body, ...]
    level_c: FloatArray | None


class _Placing:
    """What all cells share."""

    def __init__(
        self,
        yard: Yard,
        wanted: tuple[Wanted, ...],
        weather: WinterWeather,
        beliefs: Beliefs,
        today: date,
        threads: int,
        skip: bool,
        summers: tuple[Forcing, ...],
    ) -> None:
        from fruitwall.physics.spot import survey_faces
        from fruitwall.service.own_kinds import catalogue_of

        self.yard, self.wanted, self.weather, self.beliefs = yard, wanted, weather, beliefs
        self.today, self.threads, self.summers = today, threads, summers
        self.catalogue: Catalogue = catalogue_of(yard)
        self.taxa: list[Taxon] = [self.catalogue.find(one.taxon) for one in wanted]
        self.trees = [tree_of(one, taxon) for one, taxon in zip(wanted, self.taxa, strict=True)]
        self.weeks_c = weeks_before(weather)
        self.faces: list[Face] = survey_faces(yard, winter=True)
        self.annual_c = self._mildest_c() + ANNUAL_OVER_K
        self.skip = skip
        self.groups, self.in_winter = self._grouped()

    def _mildest_c(self) -> float:
        """Give the coldest air of the mildest winter, at the yard. [°C]"""
        lowest = [float(winter.t_air_c.min()) for winter in self.weather.winters]
        return max(lowest) + min(self.yard.location.clear_night_offset_k, 0.0)

    def stands(self, number: int, weeks_c: float) -> Tolerance:
        """Give what a new tree of a kind stands after such weeks, with what the yard taught of its kind."""
        from fruitwall.plants.tolerance import prior

        tree, taxon = self.trees[number], self.taxa[number]
        published = prior(
            taxon,
            age_years=self.wanted[number].age_years,
            height_m=None,
            potted=tree.container is not None,
            stages=tree.stages,
            origin=tree.origin,
            acclimation_c=weeks_c,
            known=self.catalogue,
        )
        return replace(_taught(published, taxon, self.wanted[number], self.beliefs, self.catalogue), pale_level_c=nan)

    def _grouped(self) -> tuple[list[_Group], list[KindInWinter]]:
        """Put kinds together that few marched sizes stand for."""
        from fruitwall.plants.winter_hurt import HARD_WEEKS_C, USUAL_WEEKS_C, kind_in_winter
        from fruitwall.service.treatments import body_of, crown_level_m

        bodies = [body_of(tree, taxon) for tree, taxon in zip(self.trees, self.taxa, strict=True)]
        keys: dict[Body, list[int]] = {}
        for number, body in enumerate(bodies):
            plain = replace(body, leaf_width_m=0.05, fruit_diameter_m=0.05, fruit_freezing_c=-2.0)
            keys.setdefault(plain, []).append(number)
        groups: list[_Group] = []
        found: dict[int, KindInWinter] = {}
        for kinds in keys.values():
            widths = [bodies[at].leaf_width_m for at in kinds]
            fruits = [bodies[at].fruit_diameter_m for at in kinds if bodies[at].fruit_diameter_m > 0.0]
            count = max(_steps(widths, WIDTH_RATIO), _steps(fruits, FRUIT_RATIO))
            width, fruit = _spaced(widths, count), _spaced(fruits, count)
            sizes = [
                replace(bodies[kinds[0]], leaf_width_m=float(w), fruit_diameter_m=float(f))
                for w, f in zip(width, fruit, strict=True)
            ]
            for at in kinds:
                by_leaf = _between(width, bodies[at].leaf_width_m)
                place = dict.fromkeys(range(len(TISSUES)), by_leaf)
                if bodies[at].fruit_diameter_m > 0.0:
                    place[FRUIT] = _between(fruit, bodies[at].fruit_diameter_m)
                found[at] = kind_in_winter(
                    self.stands(at, USUAL_WEEKS_C), self.stands(at, HARD_WEEKS_C),
                    [place[t][0] for t in range(len(TISSUES))], [place[t][1] for t in range(len(TISSUES))],
                )  # fmt: skip
            groups.append(_Group(tuple(kinds), crown_level_m(self.trees[kinds[0]]), tuple(sizes), self._levels(kinds)))
        return groups, [found[at] for at in range(len(bodies))]

    def _levels(self, kinds: Sequence[int]) -> FloatArray | None:
        """Give the temperature of each tissue below which a night may matter to any of some kinds; None: all do."""
        from fruitwall.physics.winters import LEVEL

        if not self.skip:
            return None
        tender = float(np.max(self.weeks_c))
        levels = np.fmax.reduce([_level(self.stands(at, tender)) for at in kinds])
        # The coldest hour of the year is told of the leaf, of the twig where there is none.
        tissue = LEAF if np.isfinite(levels[LEAF]) else TISSUES.index("twig")
        levels[tissue] = max(float(levels[tissue]), self.annual_c)
        return None if np.nanmax(levels) > LEVEL.high else levels

    def cells(self, x_m: FloatArray, y_m: FloatArray) -> dict[str, Any]:
        """Work out the cells with these middles."""
        from fruitwall.physics.look_round import survey_many
        from fruitwall.service.placing_scorch import scorch
        from fruitwall.service.spot_offsets import ELSEWHERE, with_offset

        offset = self.beliefs.offsets.get(ELSEWHERE)
        count, kinds, winters = x_m.size, len(self.wanted), len(self.weather.names)
        out: dict[str, Any] = {
            name: np.full((kinds, count, winters), np.nan, dtype=np.float32)
            for name in ("death", "bare", "loss", "fruit")
        }
        out["scorch"] = np.full((kinds, count), np.nan)
        by_height: dict[float, tuple[list[Spot], list[Spot]]] = {}
        for group in self.groups:
            if group.height_m not in by_height:
                places = [(f"cell{at}", float(x), float(y), group.height_m) for at, (x, y) in enumerate(zip(x_m, y_m))]  # noqa: B905
                bare, leafy = (
                    [
                        with_offset(spot, offset)
                        for spot in survey_many(self.yard, places, winter=w, threads=self.threads)
                    ]
                    for w in (True, False)
                )
                by_height[group.height_m] = bare, leafy
        first_bare, first_leafy = by_height[self.groups[0].height_m]
        middle = self.weather.nights[len(self.weather.nights) // 2].name
        out["winter_sun"], out["summer_sun"] = hours_of_sun(self.yard, first_bare, first_leafy, middle)
        for name, field in (("canopy", "canopy"), ("wall", "wall"), ("colder", "colder_k"), ("wind", "wind_share")):
            out[name] = np.array([getattr(spot, field) for spot in first_bare])
        out["coldest"] = np.full((count, winters), np.nan, dtype=np.float32)
        skipped = []
        felt: dict[float, dict[object, FloatArray]] = {}
        for number, group in enumerate(self.groups):
            bare, leafy = by_height[group.height_m]
            skipped.append(self._march(group, bare, out, told_coldest=number == 0))
            if self.summers:
                for kind in group.kinds:
                    out["scorch"][kind] = scorch(
                        self.yard, leafy, self.summers, self.taxa[kind], self.trees[kind],
                        self.wanted[kind].age_years, self.catalogue, felt.setdefault(group.height_m, {}),
                    )  # fmt: skip
        out["skipped"] = float(np.mean(skipped))
        return out

    def _march(self, group: _Group, spots: Sequence[Spot], out: dict[str, Any], *, told_coldest: bool) -> float:
        """March one group through all winters at some places, and judge them; gives the share of nights left out."""
        # Two or four or more, all alike, whatever the number of threads: the safe bound is that of a job's places.
        count = 2 * ceil(len(spots) * len(group.bodies) / (2 * ROWS_AT_ONCE))
        edges = np.linspace(0, len(spots), count + 1).round().astype(int)
        jobs = [slice(int(low), int(high)) for low, high in pairwise(edges) if high > low]

        def one(part: slice) -> float:
            """March some places."""
            from fruitwall.plants.winter_hurt import coldest_hour, winter_hurt

            some = spots[part]
            cold, skipped = self._replayed(group, some, group.level_c)
            if told_coldest:
                hour = coldest_hour(cold, self.weather.known)
                # An hour above the level might have a colder one among the nights left out.
                again = [] if group.level_c is None else np.flatnonzero((hour > self.annual_c).any(axis=1)).tolist()
                if again:
                    first = replace(group, bodies=group.bodies[:1])
                    whole, _ = self._replayed(first, [some[at] for at in again], None)
                    hour[again] = coldest_hour(whole, self.weather.known)
                out["coldest"][part] = hour
            hurt = winter_hurt([self.in_winter[at] for at in group.kinds], cold, self.weather.known, self.weeks_c)
            for name in ("death", "bare", "loss", "fruit"):
                out[name][list(group.kinds), part] = getattr(hurt, name)
            return skipped * len(some)

        if self.threads == 1 or len(jobs) == 1:
            shares = [one(job) for job in jobs]
        else:
            with ThreadPoolExecutor(self.threads) as pool:
                shares = list(pool.map(one, jobs))
        return float(sum(shares)) / max(len(spots), 1)

    def _replayed(self, group: _Group, spots: Sequence[Spot], levels: FloatArray | None) -> tuple[SmallArray, float]:
        """Give exposures (size, place, winter, night, tissue, duration) and the share of nights left out."""
        from fruitwall.physics.winters import replay

        sizes = len(group.bodies)
        result = replay(
            self.weather.winters,
            [*spots] * sizes,
            [body for body in group.bodies for _ in spots],
            [[LEAVE]] * (sizes * len(spots)),
            self.weather.nights,
            level_c=levels,
            faces=self.faces,
            soil=self.yard.ground.soil,
            moisture=self.yard.ground.moisture,
            step_minutes=STEP_MINUTES,
            threads=1,
            clear_night_offset_k=self.yard.location.clear_night_offset_k,
            single_precision=True,
            part_bytes=PART_BYTES,
        )
        cold = result.coldest_c[:, 0].reshape(sizes, len(spots), *result.coldest_c.shape[2:])
        return cold, result.left_out_share

    def notes(self, cells: Cells) -> tuple[str, ...]:
        """Say what is assumed and what is missing."""
        missing = []
        if np.isnan(cells.tap_m).all():
            missing.append(told("the yard file does not say where the tap is"))
        if np.isnan(cells.power_m).all():
            missing.append(told("the yard has no outdoor socket"))
        if not self.summers:
            missing.append(told("no summer is known: nothing is said of heat"))
        return (*self.weather.notes, *LEFT_OUT, *missing, *self.beliefs.trouble)


def tree_of(wanted: Wanted, taxon: Taxon) -> Tree:
    """Give a wanted tree as the yard would have it, in winter: at rest if its kind needs winter chill, else in leaf.

    It carries fruit, so that what a winter would take of that is known; its worth is not asked.
    """
    from fruitwall.yard.model import Container, Tree

    resting = taxon.needs_winter_chill
    return Tree(
        id="wanted",
        name=taxon.name,
        taxon=taxon.scientific,
        position=(0.0, 0.0),
        height_m=wanted.height_m,
        crown_diameter_m=wanted.crown_m,
        age_years=wanted.age_years,
        stages=["dormant"] if resting else ["leafy", "fruit"],
        container=None if wanted.potted_l is None else Container(volume_l=wanted.potted_l),
    )


def _taught(tolerance: Tolerance, taxon: Taxon, wanted: Wanted, beliefs: Beliefs, known: Catalogue) -> Tolerance:
    """Move what a new tree stands by what the yard taught of all trees, of young ones, and of its kind.

    The parts are taken as known apart from each other, which errs to the wide side: what is learned of the yard and of
    a kind from the same looks goes against each other.
    """
    from fruitwall.learning.applied import taught_tolerance
    from fruitwall.learning.tolerances import Shift
    from fruitwall.plants.effects import TREE_SD_K, youth
    from fruitwall.plants.kinds import kind

    learned, before = beliefs.learned, beliefs.before
    if learned is None or before is None or learned is before:
        return tolerance
    young = youth(wanted.age_years, None)
    about = kind(taxon, known)
    own = float(about.grade_sd_k[3] if np.isfinite(about.grade_sd_k[3]) else about.grade_sd_k[5])
    unknown = Shift(0.0, own)

    def whole(parts: Any) -> Shift:
        of_kind = parts.kinds.get(taxon.scientific, unknown)
        mean = parts.yard.mean_k + young * parts.young.mean_k + of_kind.mean_k
        return Shift(mean, hypot(parts.yard.sd_k, young * parts.young.sd_k, of_kind.sd_k, TREE_SD_K))

    then, now = whole(before), whole(learned)
    return taught_tolerance(tolerance, then, Shift(now.mean_k, min(now.sd_k, then.sd_k)))


def _steps(sizes: Sequence[float], ratio: float) -> int:
    """Give how many sizes must be marched so that neighbours are at most `ratio` apart."""
    if not sizes or max(sizes) <= min(sizes) * 1.0001:
        return 1
    return 1 + ceil(log(max(sizes) / min(sizes)) / log(ratio) - 1e-9)


def _spaced(sizes: Sequence[float], count: int) -> FloatArray:
    """Space so many sizes evenly by their logarithm; NaN without any."""
    if not sizes:
        return np.full(count, nan)
    return np.asarray(np.geomspace(min(sizes), max(sizes), count) if count > 1 else np.array([sizes[0]]))


def _between(sizes: FloatArray, size: float) -> tuple[int, float]:
    """Give between which two sizes one lies, and how far by the logarithm."""
    if len(sizes) == 1 or sizes[-1] <= sizes[0]:
        return 0, 0.0
    place = log(size / sizes[0]) / log(sizes[-1] / sizes[0]) * (len(sizes) - 1)
    low = min(max(int(np.floor(place + 1e-9)), 0), len(sizes) - 2)
    return low, float(np.clip(place - low, 0.0, 1.0))
