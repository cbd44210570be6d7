"""From a yard and its climate to the ground that "what if" is asked of.

Every measure that the yard allows is marched through every winter as if it were taken every night
(`physics.winters.replay`); what it would do to each tree is reduced at once to what rules and outcomes need.

What is simpler here than in an evening's plan, and told to the user: hourly steps; no picking of fruit, no single sheet
over several trees, no wetting of the ground; trees carry what their file says, deciduous ones rest all winter; leaf
that pales in weeks of cool nights is left out (no measure of an evening is taken for it).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256
from math import isnan, nan
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground, SizeStep, TreeWinters, WinterNights
from fruitwall.plants.injury import DURATIONS_H, felt_c, fruit_loss_chance, grade_chances, loss_share
from fruitwall.plants.tolerance import FRUIT, GRADES, LEAF, TISSUES, TWIG, WOOD, Tolerance
from fruitwall.service.kept import Kept
from fruitwall.service.winters_sizes import grown_yard
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice, WinterWeather, winter_weather
from fruitwall.speech import marked
from fruitwall.yard.plan import tree_age_years

if TYPE_CHECKING:
    from fruitwall.physics.winters import Replay
    from fruitwall.plans.parts import Measure
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.house import House
    from fruitwall.yard.model import Tree, Yard

FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.float32]

STEP_YEARS = (0.0, 4.0, 10.0)
"""Sizes at which the yard is replayed, years from now. Our judgement. [years]"""

STEP_MINUTES = 60
"""Of the physics: night minima are 0.02 to 0.03 K off in the root mean square (study of the method). [min]"""

WARMEST_LIMIT_C = 7.0
"""The warmest limit that a house rule may have: nights that are told to be warmer are left out where they can hurt
nothing. [°C]"""

FAR_SCALES = 4.0
"""A night matters to a tree if it may come within so many standard deviations of half of an injury: what is left out
has a chance below 1 in 30,000. [-]"""

TOLD_LEAD_H = 12.0
"""Between the evening's decision and the coldest hour: lead time whose published error the told minimum has. [h]"""

ACCLIMATION_STEP_K = 1.0
"""Nights after weeks of nearly the same mean temperature share what a tree stands. [K]"""

ACCLIMATION_DAYS = 21

ROWS_AT_ONCE = 48
"""Trees times measures that are marched at once: some 5 MB a row for 30 winters."""

SEED = 20_260_915

HARM, DEATH = 2, 7

HOUR_AT = DURATIONS_H.index(1.0)

LEFT_OUT = (
    marked("fruit is not picked, no single sheet covers several trees, and the ground is not wetted"),
    marked(
        "trees carry the fruit and bloom of their file all winter; trees that drop their leaves are at rest all winter"
    ),
    marked("leaves that pale in weeks of cool nights are left out"),
)
"""What is simpler than in an evening's plan."""


def winters_ground(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    yard: Yard | None = None,
    steps: tuple[float, ...] = STEP_YEARS,
    heard: Callable[[float], None] = lambda _share: None,
) -> Ground | None:
    """Work out what every tree would have felt under everything that can be done for it, in every winter.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters, and how they are weighted and warmed.
    yard : Yard, optional
        Another yard of the same place, such as this one with more gear; the house's own by default.
    steps : tuple of float
        Sizes at which the yard is replayed, the first 0. [years from now]
    heard : callable
        Told the share that is done, 0 to 1.

    Returns
    -------
    Ground or None
        None where no whole winter is known. Kept in memory by content.
    """
    from fruitwall.service.beliefs import beliefs_of

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    own, _ = house.yard()
    meant = own if yard is None else yard
    beliefs = beliefs_of(house)
    today = house.clock().date()
    key = _key(meant, weather, beliefs, steps, today)
    return _GROUNDS.of(house.journal, key=key, make=lambda: make_ground(meant, weather, beliefs, today, steps, heard))


_GROUNDS: Kept[Ground] = Kept(3)


def _key(yard: Yard, weather: WinterWeather, beliefs: Beliefs, steps: tuple[float, ...], today: date) -> str:
    """Give the same text for the same question: ages count by the year."""
    text = repr((yard.model_dump_json(), weather.mark, beliefs.mark, steps, today.year))
    return sha256(text.encode()).hexdigest()


def make_ground(
    yard: Yard,
    weather: WinterWeather,
    beliefs: Beliefs,
    today: date,
    steps: tuple[float, ...] = STEP_YEARS,
    heard: Callable[[float], None] = lambda _share: None,
    *,
    threads: int = 2,
    skip: bool = True,
) -> Ground:
    """Work the ground out of a yard and winters.

    Parameters
    ----------
    yard : Yard
    weather : WinterWeather
    beliefs : Beliefs
        What the yard has taught.
    today : date
    steps : tuple of float
        As `winters_ground`. [years]
    heard : callable
    threads : int
        The result does not depend on it.
    skip : bool
        Leave out nights that the safe bound says are harmless to a tree. The result does not depend on it but for
        chances below 1 in 30,000.

    Returns
    -------
    Ground
    """
    if not steps or steps[0] != 0.0 or list(steps) != sorted(steps):
        raise ValueError(f"steps must begin with 0 and rise, got {steps}")
    work = _Work(yard, weather, beliefs, today, threads, skip)
    nights = work.nights()
    made, skipped = [], []
    for at, years in enumerate(steps):

        def part(share: float, at: int = at) -> None:
            heard((at + share) / len(steps))

        step, left_out = work.step(years, nights, part)
        made.append(step)
        skipped.append(left_out)
    return Ground(
        nights=nights,
        steps=tuple(made),
        prices=yard.prices,
        notes=(*weather.notes, *LEFT_OUT, *beliefs.trouble),
        source=weather.source,
        mark=_key(yard, weather, beliefs, steps, today),
        skipped_share=float(np.mean(skipped)),
    )


class _Sized(NamedTuple):
    """A yard at one size, as physics sees it."""

    yard: Yard
    kinds: dict[str, Taxon]
    measures: list[tuple[Measure, ...]]
    spots: Any
    bodies: Any
    treatments: Any
    faces: Any


@dataclass(eq=False)
class _Work:
    """What all steps share."""

    yard: Yard
    weather: WinterWeather
    beliefs: Beliefs
    today: date
    threads: int
    skip: bool

    def __post_init__(self) -> None:
        from fruitwall.service.own_kinds import catalogue_of
        from fruitwall.service.treatments import kinds_of

        self.kinds = kinds_of(self.yard)
        self.catalogue = catalogue_of(self.yard)
        self.weeks_c = _weeks(self.weather)
        middle = self.weather.nights[len(self.weather.nights) // 2]
        self.lit_h = (middle.cover_off_utc - middle.cover_on_utc).total_seconds() / 3600.0
        self._surveyed: dict[float, _Sized] = {}
        self._bare: dict[float, Replay] = {}

    def sized(self, years: float) -> _Sized:
        """Give the yard at one size, surveyed once."""
        if years not in self._surveyed:
            self._surveyed = {years: self._survey(years)}
        return self._surveyed[years]

    def _survey(self, years: float) -> _Sized:
        from fruitwall.physics.spot import survey_faces
        from fruitwall.plans.measures import possible_measures
        from fruitwall.service.spot_offsets import ELSEWHERE, with_offset, with_offsets
        from fruitwall.service.treatments import body_of, spots_of, treatment_of

        yard = grown_yard(self.yard, self.kinds, years, self.today)
        measures = [
            tuple(_meant(possible_measures(yard, tree, rain_expected=True, night_hours=self.lit_h)))
            for tree in yard.trees
        ]
        home, moved = spots_of(yard, measures, winter=True)
        if self.beliefs.offsets:
            home = with_offsets(home, self.beliefs.offsets)
            moved = {key: with_offset(spot, self.beliefs.offsets.get(ELSEWHERE)) for key, spot in moved.items()}
        begins = self.weather.nights[0].start_utc
        return _Sized(
            yard,
            self.kinds,
            measures,
            home,
            [body_of(tree, self.kinds[tree.id]) for tree in yard.trees],
            [[treatment_of(yard, one, moved, begins) for one in options] for options in measures],
            survey_faces(yard, winter=True),
        )

    def replayed(self, sized: _Sized, some: Sequence[int], level_c: FloatArray | None) -> Replay:
        from fruitwall.physics.winters import replay

        return replay(
            self.weather.winters,
            [sized.spots[at] for at in some],
            [sized.bodies[at] for at in some],
            [sized.treatments[at] for at in some],
            self.weather.nights,
            level_c=None if level_c is None else level_c[list(some)],
            faces=sized.faces,
            soil=sized.yard.ground.soil,
            moisture=sized.yard.ground.moisture,
            step_minutes=STEP_MINUTES,
            threads=self.threads,
            clear_night_offset_k=sized.yard.location.clear_night_offset_k,
            single_precision=True,
        )

    def bare(self, years: float) -> Replay:
        """Replay everything left alone on every night, at one size."""
        if years not in self._bare:
            sized = self.sized(years)
            alone = sized._replace(treatments=[options[:1] for options in sized.treatments])
            self._bare = {years: self.replayed(alone, range(len(sized.spots)), None)}
        return self._bare[years]

    def nights(self) -> WinterNights:
        """Give the nights that count: those told to be cold, and those that may hurt a tree left alone now."""
        bare = self.bare(0.0)
        whole = np.where(self.weather.known, bare.yard_minimum_c, np.nan).astype(np.float64)
        told_c = whole + _told_error_k(whole.shape)
        levels = self.levels(self.sized(0.0).yard)
        coldest = np.fmin.reduce(bare.coldest_c[:, 0], axis=-1)  # [tree, winter, night, tissue]
        threatening = (coldest < levels[:, None, None, :]).any(axis=(0, 3))
        counts = self.weather.known & ((told_c <= WARMEST_LIMIT_C) | threatening)
        winter, day = np.nonzero(counts)
        return WinterNights(
            winters=self.weather.names,
            weights=self.weather.weights,
            winter=winter,
            day=day,
            evening=bare.evenings[counts],
            minimum_c=whole[counts],
            told_c=told_c[counts],
            whole=whole,
        )

    def levels(self, yard: Yard) -> FloatArray:
        """Give the temperature of each tissue of each tree below which a night may matter. [°C]"""
        from fruitwall.physics.winters import LEVEL

        rows = []
        for tree in yard.trees:
            age = tree_age_years(tree, self.today)
            tolerances = [self.stands(tree, age, 0, float(mean_c)) for mean_c in np.unique(self.weeks_c)]
            rows.append(np.fmax.reduce([_level(one) for one in tolerances]))
        return np.asarray(np.minimum(np.array(rows), LEVEL.high))

    def stands(self, tree: Tree, age_years: float | None, hurt_grade: int, acclimation_c: float | None) -> Tolerance:
        """Give what a tree stands at an age, with what was learned of it."""
        from fruitwall.plants.tolerance import prior

        published = prior(
            self.kinds[tree.id],
            age_years=age_years,
            height_m=tree.height_m if age_years is None else None,
            potted=tree.container is not None,
            stages=tree.stages,
            origin=tree.origin,
            acclimation_c=acclimation_c,
            known=self.catalogue,
            root_zone=tree.root_zone,
            hurt_grade=hurt_grade,
        )
        return replace(self.beliefs.stands(tree.id, published), pale_level_c=nan)

    def step(self, years: float, nights: WinterNights, heard: Callable[[float], None]) -> tuple[SizeStep, float]:
        """Replay the yard at one size; gives also the share of tree-nights left out."""
        from fruitwall.plans.measures import settings_of, supplies_of

        sized = self.sized(years)
        levels = self.levels(sized.yard) if self.skip else None
        found: dict[int, TreeWinters] = {}
        left_out = []
        for some in _few(sized.measures):
            result = self.replayed(sized, some, levels)
            left_out.append(result.left_out_share)
            for row, at in enumerate(some):
                cold = result.coldest_c[row, : len(sized.measures[at]), nights.winter, nights.day]
                found[at] = self.tree(sized, at, np.moveaxis(cold, 0, 1).astype(np.float64), nights, years)
            heard(len(found) / len(sized.measures))
        step = SizeStep(
            years,
            tuple(found[at] for at in range(len(found))),
            supplies_of(sized.yard),
            settings_of(sized.yard, night_hours=self.lit_h),
        )
        return step, float(np.mean(left_out))

    def tree(self, sized: _Sized, at: int, cold: FloatArray, nights: WinterNights, years: float) -> TreeWinters:
        """Reduce what one tree went through, [measure, night, tissue, duration], to what rules and outcomes need."""
        tree, measures = sized.yard.trees[at], sized.measures[at]
        age_now = tree_age_years(self.yard.trees[at], self.today)
        age_then = None if age_now is None else age_now + years
        weeks_c = self.weeks_c[nights.winter, nights.day]
        usual = self.stands(tree, age_then, 0, None)
        shape = cold.shape[:2]
        out = {name: np.zeros(shape, dtype=np.float32) for name in ("loss", "harm", "death", "fruit_lost")}
        felt = np.full((*shape, len(TISSUES)), np.inf, dtype=np.float32)
        leaf = np.full((*shape, len(DURATIONS_H)), np.inf, dtype=np.float32)
        for mean_c in np.unique(weeks_c):
            its = np.flatnonzero((weeks_c == mean_c) & np.isfinite(cold[0]).any(axis=(-1, -2)))
            if its.size == 0:
                continue
            part = cold[:, its]
            then = self.stands(tree, age_then, 0, None if isnan(mean_c) else float(mean_c))
            chances = np.nan_to_num(grade_chances(then, part, DURATIONS_H))
            lost = np.nan_to_num(fruit_loss_chance(then, part, DURATIONS_H))
            out["loss"][:, its] = tree.worth * loss_share(chances) + tree.crop_worth * lost
            out["harm"][:, its] = chances[..., HARM:].sum(axis=-1)
            out["death"][:, its] = chances[..., DEATH]
            out["fruit_lost"][:, its] = lost
            harder_k = usual.threshold_c[WOOD, DEATH] - then.threshold_c[WOOD, DEATH]
            felt[:, its] = felt_c(part, np.array(DURATIONS_H), usual.duration_k_per_log2h) + harder_k
            felt[:, its, FRUIT] -= harder_k  # fruit does not harden
            cooler_k = usual.chill_level_c - then.chill_level_c
            leaf[:, its] = part[:, :, LEAF] + (0.0 if isnan(cooler_k) else cooler_k)
        return TreeWinters(
            tree=tree.id,
            name=tree.name,
            taxon=sized.kinds[tree.id].scientific,
            potted=tree.container is not None,
            worth=tree.worth,
            crop_worth=tree.crop_worth,
            measures=measures,
            **out,
            felt_c=np.where(np.isnan(felt), np.float32(np.inf), felt),
            leaf_c=np.where(np.isnan(leaf), np.float32(np.inf), leaf),
            bare_c=self._bare_hour(years, at),
            stands=lambda age_years, hurt_grade: self.stands(tree, age_years, hurt_grade, None),
            age_years=age_then,
        )

    def _bare_hour(self, years: float, at: int) -> SmallArray:
        """Give the coldest hour of the leaf or twig left alone on every night; NaN where it is not known. [°C]"""
        hour = self.bare(years).coldest_c[at, 0, :, :, :, HOUR_AT]
        of_tree = np.where(np.isnan(hour[..., LEAF]), hour[..., TWIG], hour[..., LEAF])
        return np.where(self.weather.known, of_tree, np.float32(np.nan)).astype(np.float32)


def _meant(measures: Sequence[Measure]) -> Iterator[Measure]:
    """Give the measures that house rules know: no picking, no single sheet over several trees, no wetting."""
    for one in measures:
        if one.fruit_picked == 0.0 and not one.wet_ground and not one.key.startswith("together:"):
            yield one


def _few(measures: Sequence[Sequence[Measure]]) -> Iterator[list[int]]:
    """Give the trees in groups of few rows."""
    group: list[int] = []
    widest = 0
    for at in sorted(range(len(measures)), key=lambda at: len(measures[at])):
        wider = max(widest, len(measures[at]))
        if group and wider * (len(group) + 1) > ROWS_AT_ONCE:
            yield group
            group, wider = [], len(measures[at])
        group.append(at)
        widest = wider
    if group:
        yield group


def _level(tolerance: Tolerance) -> FloatArray:
    """Give by tissue the temperature below which a night may matter; NaN for a tissue that cannot be hurt. [°C]"""
    far = FAR_SCALES * np.hypot(tolerance.sd_k, tolerance.slope_k)
    # Longer than an hour hurts as much at a warmer temperature: eight hours count three doublings.
    longer = np.log2(max(DURATIONS_H)) * (tolerance.duration_k_per_log2h + 2.0 * tolerance.duration_sd_k_per_log2h)
    warmest = np.fmax.reduce(tolerance.threshold_c[:, 1 : len(GRADES)], axis=1) + far + longer
    level = np.minimum(warmest, 0.0)  # no ice above 0 °C
    level[FRUIT] = np.nan
    crop = [
        (tolerance.fruit_c, tolerance.fruit_sd_k, FRUIT),
        (tolerance.flower_c, tolerance.flower_sd_k, LEAF),
        (tolerance.flower_c, tolerance.flower_sd_k, TWIG),
    ]
    for middle, sd, tissue in crop:
        if not isnan(middle):
            own = min(middle + FAR_SCALES * float(np.hypot(sd, tolerance.slope_k)) + longer, 0.0)
            level[tissue] = np.fmax(level[tissue], own)
    if not isnan(tolerance.chill_level_c):
        level[LEAF] = np.fmax(level[LEAF], tolerance.chill_level_c + FAR_SCALES * tolerance.chill_sd_k)
    return np.asarray(level)


def _weeks(weather: WinterWeather) -> FloatArray:
    """Give the mean air of the three weeks before each night, to whole steps, shape (winter, night). [°C]"""
    from fruitwall.weather.forcing import HOUR, as_datetime64

    found = np.empty(weather.known.shape)
    begin = as_datetime64(weather.nights[0].start_utc)
    first = int(np.ceil((begin - begin.astype("datetime64[h]")) / HOUR)) + 24 * 10
    starts = [int((as_datetime64(night.start_utc) - begin) // HOUR) + first for night in weather.nights]
    for row, winter in enumerate(weather.winters):
        total = np.concatenate([[0.0], np.cumsum(winter.t_air_c[0])])
        for at, start in enumerate(starts):
            back = max(start - 24 * ACCLIMATION_DAYS, 0)
            found[row, at] = (total[start] - total[back]) / (start - back)
    return np.asarray(np.clip(np.round(found / ACCLIMATION_STEP_K) * ACCLIMATION_STEP_K, -30.0, 40.0))


def _told_error_k(shape: tuple[int, ...]) -> FloatArray:
    """Draw by how much each night's forecast minimum is off, with the published spread of one evening ahead. [K]"""
    from fruitwall.service.evening import generator
    from fruitwall.weather.dressing import prior

    sd_k = float(prior().air_sd_k(TOLD_LEAD_H))
    return np.asarray(generator(SEED).normal(scale=sd_k, size=shape))
