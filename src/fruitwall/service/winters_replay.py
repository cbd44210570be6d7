"""One size of a yard replayed through winters, and what every tree went through reduced to what rules need.

Work is cut into parts that can be kept (`service.work`): first how cold the nights were, then the trees in groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from math import isnan, nan
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import SizeStep, TreeWinters, WinterNights
from fruitwall.plants.injury import DURATIONS_H, expected_felt_c, fruit_loss_chance, grade_chances, loss_share
from fruitwall.plants.tolerance import FRUIT, GRADES, LEAF, TISSUES, TWIG, WOOD, Tolerance
from fruitwall.plants.winter_hurt import USUAL_WEEKS_C
from fruitwall.service.winters_sizes import grown_yard
from fruitwall.service.work import WorkPart
from fruitwall.speech import quantity, say
from fruitwall.yard.plan import tree_age_years

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.physics.body import Body
    from fruitwall.physics.faces import Face
    from fruitwall.physics.spot import Spot
    from fruitwall.physics.treatment import Treatment
    from fruitwall.physics.winters import Replay
    from fruitwall.plans.parts import Measure
    from fruitwall.service.beliefs import Beliefs
    from fruitwall.service.winters_weather import WinterWeather
    from fruitwall.yard.model import Tree, Yard

FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.float32]

STEP_MINUTES = 60
"""Of the physics: night minima are 0.02 to 0.03 K off in the root mean square (study of the method). [min]"""

FAR_SCALES = 4.0
"""A night matters to a tree if it may come within so many standard deviations of half of an injury: what is left out
has a chance below 1 in 30,000. [-]"""

ACCLIMATION_STEP_K = 1.0
"""Nights after weeks of nearly the same mean temperature share what a tree stands. [K]"""

ACCLIMATION_DAYS = 21
"""As an evening's plan has it. [d]"""

ROWS_AT_ONCE = 48
"""Trees times measures that are marched at once: some 5 MB a row for 30 winters."""

HARM, DEATH = 2, 7

HOUR_AT = DURATIONS_H.index(1.0)

CHANCES = ("loss", "harm", "death", "fruit_lost")


class YardSize:
    """A yard so many years from now, with all winters.

    Parameters
    ----------
    yard : Yard
        As it stands today.
    weather : WinterWeather
    beliefs : Beliefs
        What the yard has taught.
    today : date
    years : float
        From now. [years]
    threads : int
        Results do not depend on it.
    skip : bool
        Leave out nights that the safe bound says are harmless to a tree.
    """

    def __init__(
        self,
        yard: Yard,
        weather: WinterWeather,
        beliefs: Beliefs,
        today: date,
        years: float,
        *,
        threads: int,
        skip: bool,
    ) -> None:
        from fruitwall.service.own_kinds import catalogue_of
        from fruitwall.service.treatments import kinds_of

        self.weather, self.beliefs, self.years = weather, beliefs, years
        self._threads, self._skip = threads, skip
        self.kinds = kinds_of(yard)
        self.catalogue = catalogue_of(yard)
        self.yard = grown_yard(yard, self.kinds, years, today)
        ages = [tree_age_years(tree, today) for tree in yard.trees]
        self.ages = [None if age is None else age + years for age in ages]
        middle = weather.nights[len(weather.nights) // 2]
        self.lit_h = (middle.cover_off_utc - middle.cover_on_utc).total_seconds() / 3600.0

    # ------------------------------------------------------------ the yard as physics sees it; surveyed when needed

    @cached_property
    def measures(self) -> list[tuple[Measure, ...]]:
        """What rules may do for each tree; the first is leaving it."""
        from fruitwall.plans.measures import possible_measures

        return [
            tuple(_meant(possible_measures(self.yard, tree, rain_expected=True, night_hours=self.lit_h)))
            for tree in self.yard.trees
        ]

    @cached_property
    def _spots(self) -> tuple[list[Spot], list[list[Treatment]]]:
        """Home spots, and treatments by tree."""
        from fruitwall.service.spot_offsets import ELSEWHERE, with_offset, with_offsets
        from fruitwall.service.treatments import spots_of, treatment_of

        home, moved = spots_of(self.yard, self.measures, winter=True)
        if self.beliefs.offsets:
            home = with_offsets(home, self.beliefs.offsets)
            moved = {key: with_offset(spot, self.beliefs.offsets.get(ELSEWHERE)) for key, spot in moved.items()}
        begins = self.weather.nights[0].start_utc
        return home, [[treatment_of(self.yard, one, moved, begins) for one in its] for its in self.measures]

    @cached_property
    def _bodies(self) -> list[Body]:
        from fruitwall.service.treatments import body_of

        return [body_of(tree, self.kinds[tree.id]) for tree in self.yard.trees]

    @cached_property
    def _faces(self) -> list[Face]:
        from fruitwall.physics.spot import survey_faces

        return survey_faces(self.yard, winter=True)

    @cached_property
    def _weeks_c(self) -> FloatArray:
        return weeks_before(self.weather)

    @cached_property
    def _levels(self) -> FloatArray:
        """Temperature of each tissue of each tree below which a night may matter. [°C]"""
        from fruitwall.physics.winters import LEVEL

        weeks = [float(one) for one in np.unique(self._weeks_c)]
        rows = [
            np.fmax.reduce([_level(self.stands(tree, age, 0, mean_c)) for mean_c in weeks])
            for tree, age in zip(self.yard.trees, self.ages, strict=True)
        ]
        return np.asarray(np.minimum(np.array(rows), LEVEL.high))

    def _replayed(self, some: Sequence[int], *, alone: bool) -> Replay:
        """March some trees through all winters, with everything or left alone on every night."""
        from fruitwall.physics.winters import replay

        spots, treatments = self._spots
        ground = self.yard.ground
        return replay(
            self.weather.winters,
            [spots[at] for at in some],
            [self._bodies[at] for at in some],
            [treatments[at][: 1 if alone else None] for at in some],
            self.weather.nights,
            level_c=self._levels[list(some)] if self._skip and not alone else None,
            faces=self._faces,
            soil=ground.soil,
            moisture=ground.moisture,
            step_minutes=STEP_MINUTES,
            threads=self._threads,
            clear_night_offset_k=self.yard.location.clear_night_offset_k,
            single_precision=True,
        )

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

    # ------------------------------------------------------------ parts of the work

    def lowest_part(self, mark: str) -> WorkPart:
        """Give the part that tells how cold the nights were, and which of them may hurt a tree left alone."""
        return WorkPart(f"{mark}/lowest", 4.0, say("how cold the nights were"), self._lowest)

    def _lowest(self) -> Mapping[str, Any]:
        bare = self._replayed(range(len(self.yard.trees)), alone=True)
        coldest = np.fmin.reduce(bare.coldest_c[:, 0], axis=-1)  # [tree, winter, night, tissue]
        threatening = (coldest < self._levels[:, None, None, :]).any(axis=(0, 3))
        return {"lowest_c": bare.yard_minimum_c, "threatening": threatening}

    @cached_property
    def groups(self) -> list[list[int]]:
        """Trees that are marched together."""
        return list(_few(self.measures))

    def parts(self, mark: str, nights: WinterNights) -> list[WorkPart]:
        """Give the parts in which the trees are replayed, in the order of `groups`."""
        when = (
            say("trees as they are now")
            if self.years == 0.0
            else say("trees in {years} years", years=quantity(self.years, "", "g"))
        )
        return [
            WorkPart(
                f"{mark}/{self.years:g}/{self._skip}/{some[0]}-{len(some)}",
                float(sum(len(self.measures[at]) for at in some)),
                when,
                lambda some=some: self._went_through(some, nights),  # type: ignore[misc]
            )
            for some in self.groups
        ]

    def _went_through(self, some: Sequence[int], nights: WinterNights) -> Mapping[str, Any]:
        bare = self._replayed(some, alone=True)
        result = self._replayed(some, alone=False)
        trees = []
        for row, at in enumerate(some):
            cold = result.coldest_c[row, : len(self.measures[at]), nights.winter, nights.day]
            its = self._reduced(at, np.moveaxis(cold, 0, 1).astype(np.float64), nights)
            trees.append({**its, "bare_c": self._hour(bare, row)})
        return {"trees": trees, "left_out": result.left_out_share}

    def step(self, found: Sequence[Mapping[str, Any]], nights: WinterNights) -> tuple[SizeStep, float]:
        """Put the parts together; gives also the share of tree-nights that were left out."""
        from fruitwall.plans.measures import settings_of, supplies_of

        arrays = {
            at: its
            for some, part in zip(self.groups, found, strict=True)
            for at, its in zip(some, part["trees"], strict=True)
        }
        step = SizeStep(
            self.years,
            tuple(self._tree(at, arrays[at], nights.count) for at in range(len(self.yard.trees))),
            supplies_of(self.yard),
            settings_of(self.yard, night_hours=self.lit_h),
        )
        return step, float(np.mean([part["left_out"] for part in found]))

    def _tree(self, at: int, arrays: Mapping[str, Any], count: int) -> TreeWinters:
        tree = self.yard.trees[at]
        shape = len(self.measures[at]), count, len(DURATIONS_H)
        leaf = arrays["leaf_c"]
        return TreeWinters(
            tree=tree.id,
            name=tree.name,
            taxon=self.kinds[tree.id].scientific,
            potted=tree.container is not None,
            worth=tree.worth,
            crop_worth=tree.crop_worth,
            measures=self.measures[at],
            **{name: arrays[name] for name in (*CHANCES, "felt_c", "bare_c")},
            leaf_c=np.broadcast_to(np.float32(np.inf), shape) if leaf is None else leaf,
            # The weeks before each night are known, so nothing is in doubt for not knowing them.
            stands=lambda age_years, hurt_grade: self.stands(tree, age_years, hurt_grade, USUAL_WEEKS_C),
            age_years=self.ages[at],
        )

    def _reduced(self, at: int, cold: FloatArray, nights: WinterNights) -> dict[str, Any]:
        """Reduce what one tree went through, [measure, night, tissue, duration], to what rules and outcomes need."""
        tree = self.yard.trees[at]
        weeks_c = self._weeks_c[nights.winter, nights.day]
        usual = self.stands(tree, self.ages[at], 0, USUAL_WEEKS_C)
        chills = not isnan(usual.chill_level_c)
        shape = cold.shape[:2]
        out = {name: np.zeros(shape, dtype=np.float32) for name in CHANCES}
        felt = np.full((*shape, len(TISSUES)), np.inf, dtype=np.float32)
        leaf = np.full((*shape, len(DURATIONS_H)), np.inf, dtype=np.float32)
        for mean_c in np.unique(weeks_c):
            its = np.flatnonzero((weeks_c == mean_c) & np.isfinite(cold[0]).any(axis=(-1, -2)))
            if its.size == 0:
                continue
            part = cold[:, its]
            then = self.stands(tree, self.ages[at], 0, float(mean_c))
            chances = np.nan_to_num(grade_chances(then, part, DURATIONS_H))
            lost = np.nan_to_num(fruit_loss_chance(then, part, DURATIONS_H))
            out["loss"][:, its] = tree.worth * loss_share(chances) + tree.crop_worth * lost
            out["harm"][:, its] = chances[..., HARM:].sum(axis=-1)
            out["death"][:, its] = chances[..., DEATH]
            out["fruit_lost"][:, its] = lost
            harder_k = usual.threshold_c[WOOD, DEATH] - then.threshold_c[WOOD, DEATH]
            felt[:, its] = expected_felt_c(usual, part, DURATIONS_H) + harder_k
            felt[:, its, FRUIT] -= harder_k  # fruit does not harden
            if chills:
                leaf[:, its] = part[:, :, LEAF] + (usual.chill_level_c - then.chill_level_c)
        return {
            **out,
            "felt_c": np.where(np.isnan(felt), np.float32(np.inf), felt),
            # Kinds that do not suffer above freezing need no more of their leaves.
            "leaf_c": np.where(np.isnan(leaf), np.float32(np.inf), leaf) if chills else None,
        }

    def _hour(self, bare: Replay, row: int) -> SmallArray:
        """Give the coldest hour of the leaf or twig left alone on every night; NaN where it is not known. [°C]"""
        hour = bare.coldest_c[row, 0, :, :, :, HOUR_AT]
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


def weeks_before(weather: WinterWeather) -> FloatArray:
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
