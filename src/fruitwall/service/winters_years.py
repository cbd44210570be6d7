"""What many winters say: how cold once in so many, how often that hurts each tree, when freezes come.

One document for page, terminal and JSON; all of it with nothing done for any tree.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.years import (
    FEWEST_WINTERS,
    Minima,
    effective_winters,
    empirical_level,
    fit_minima,
    weighted_positions,
)
from fruitwall.plans.years_check import FEW_WINTERS, check_fit
from fruitwall.plans.years_danger import danger_of
from fruitwall.plans.years_dates import FreezeDates, free_days, freeze_dates
from fruitwall.plans.years_interval import profile_interval
from fruitwall.plans.years_trend import trend_of
from fruitwall.plans.years_zone import ZONE_WINTERS, zone_of
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice, winter_weather
from fruitwall.service.winters_years_document import (
    YearsDanger,
    YearsDates,
    YearsDocument,
    YearsFreeze,
    YearsLevel,
    YearsOver,
    YearsPoint,
    YearsRecord,
    YearsTree,
    YearsTrend,
    YearsWinter,
    YearsZone,
)
from fruitwall.speech import quantity, told

if TYPE_CHECKING:
    from fruitwall.plans.rules.ground import Ground, TreeWinters
    from fruitwall.service.house import House
    from fruitwall.service.winters_weather import WinterWeather
    from fruitwall.service.work import WorkPart

FloatArray = NDArray[np.float64]

PERIODS = (2.0, 5.0, 10.0, 20.0, 50.0)
"""Return periods that are told. [winters]"""

CONFIDENCE = 0.9
"""Of the limits. [-]"""

CHANCES = (0.1, 0.5, 0.9)
"""Of dates and of the time without freezes. [-]"""

AHEAD = (10.0, 30.0)
"""Over how many winters danger is told: about as long as a pot is carried, and a tree stands. Our judgement."""

FREEZES_C = (0.0, -20.0 / 9.0)
"""Levels of the air: 32 and 28 °F, as the published tables have them. [°C]"""

HARM, DEATH = 2, 7
"""Grades that are told: some leaf burnt, and dead."""


KEPT_AS = "winters-years-2"
"""Under which a tree's part is kept in the journal; another number where what it holds changes."""


class _Season(NamedTuple):
    """The calendar on which all winters lie."""

    first: date
    nights: int

    def day(self, place: float) -> str:
        """Give month and day of a place in the season."""
        return f"{self.first + timedelta(days=round(place)):%m-%d}"


def years_document(
    house: House,
    choice: WeatherChoice = AS_THEY_WERE,
    *,
    heard: Callable[[float], None] = lambda _share: None,
) -> YearsDocument | None:
    """Work out what many winters say.

    Parameters
    ----------
    house : House
    choice : WeatherChoice
        Which winters, and how they are weighted and warmed.
    heard : callable
        Told the share that is done, 0 to 1; may raise to stop the work, which is kept part by part.

    Returns
    -------
    YearsDocument or None
        None where no whole winter is known.
    """
    from fruitwall.service.winters_ground import winters_ground
    from fruitwall.service.work import work

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    yard, _ = house.yard()
    ground = None
    if yard.trees:
        ground = winters_ground(house, choice, heard=lambda share: heard(GROUND_SHARE * share))

    def keep(parts: Sequence[WorkPart]) -> list[Any]:
        return work(house, parts, heard=lambda now: heard(GROUND_SHARE + (1.0 - GROUND_SHARE) * now.share))

    return document_of(yard.name, weather, ground, keep=keep)


def years_key(house: House, choice: WeatherChoice = AS_THEY_WERE) -> str | None:
    """Give the same text as long as the document would be the same; None where no whole winter is known."""
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.winters_ground import STEP_YEARS, ground_key

    weather = winter_weather(house, choice)
    if weather is None:
        return None
    yard, _ = house.yard()
    return f"{KEPT_AS} {ground_key(yard, weather, beliefs_of(house), STEP_YEARS, house.clock().date())}"


GROUND_SHARE = 0.85
"""Share of the work that is the replay, about. [-]"""


def document_of(
    yard: str,
    weather: WinterWeather,
    ground: Ground | None,
    *,
    keep: Callable[[Sequence[WorkPart]], list[Any]] | None = None,
) -> YearsDocument:
    """Put the document together.

    Parameters
    ----------
    yard : str
        Its name.
    weather : WinterWeather
    ground : Ground or None
        Of the same weather; None for a yard without trees.
    keep : callable, optional
        Does parts of work, or takes what is kept of them (`service.work.work`); by default they are just done.

    Returns
    -------
    YearsDocument
    """
    from fruitwall.service.winters import lowest_air
    from fruitwall.service.work import WorkPart
    from fruitwall.weather.demo_climate import TYPICAL

    season = _Season(weather.nights[0].name, len(weather.nights))
    air = lowest_air(weather) if ground is None else ground.nights.whole.astype(np.float64)
    weights = np.asarray(weather.weights, dtype=np.float64)
    real = [winter.source != TYPICAL for winter in weather.winters]
    record, fitted = _record(air, weights, weather.names)
    parts = []
    if ground is not None:
        for tree in ground.steps[0].trees:

            def make(tree: TreeWinters = tree, ground: Ground = ground) -> Any:
                return _tree(tree, weather, weights, season, ground).model_dump()

            parts.append(WorkPart(f"{KEPT_AS} {ground.mark} {tree.tree}", 1.0, tree.name, make))
    done = keep or (lambda parts: [part.make() for part in parts])
    trees = [YearsTree.model_validate(one) for one in done(parts)]
    trees.sort(key=lambda one: (-one.death.yearly, -one.harm.yearly, one.name))
    begun = np.array([int(winter.time_utc[0].astype("datetime64[Y]").astype(int)) + 1970 for winter in weather.winters])
    coldest = _coldest(air)
    known = np.isfinite(coldest)
    trend = trend_of(begun[known & real], coldest[known & real])
    document = YearsDocument(
        yard=yard,
        source=weather.source,
        mark=weather.mark if ground is None else ground.mark,
        winters=[
            YearsWinter(name=name, weight=float(weight), real=its)
            for name, weight, its in zip(weather.names, weights, real, strict=True)
        ],
        first_evening=season.day(0),
        last_evening=season.day(season.nights - 1),
        confidence=CONFIDENCE,
        air=record,
        zone=_zone(coldest[known]),
        trend=None
        if trend is None
        else YearsTrend(per_decade_k=trend.per_decade_k, chance=trend.chance, sure=trend.sure),
        freezes=[_freeze(air, level, weights, season) for level in FREEZES_C],
        trees=trees,
        limits=[],
        notices=[],
    )
    # Put in without being checked: told sentences stay what they are, and are said in the reader's language.
    notes = weather.notes if ground is None else ground.notes
    update = {"limits": _limits(document, weights, fitted), "notices": list(dict.fromkeys(notes))}
    return document.model_copy(update=update)


def _tree(tree: TreeWinters, weather: WinterWeather, weights: FloatArray, season: _Season, ground: Ground) -> YearsTree:
    """Look at one tree."""
    bare = tree.bare_c.astype(np.float64)
    record, fitted = _record(bare, weights, weather.names)
    harm, death = (_danger(tree, grade, fitted, ground) for grade in (HARM, DEATH))
    return YearsTree(
        id=tree.tree,
        name=tree.name,
        taxon=tree.taxon,
        potted=tree.potted,
        spot=record,
        harm=harm,
        death=death,
        freeze=None if harm.level_c is None else _freeze(bare, harm.level_c, weights, season),
    )


def _record(nights_c: FloatArray, weights: FloatArray, names: Sequence[str]) -> tuple[YearsRecord, Minima | None]:
    """Tell of the coldest hour of every winter, [winter, night]; gives also what was fitted, where it can be."""
    coldest = _coldest(nights_c)
    minima, its = _known(coldest, weights)
    fitted = None
    if minima.size >= FEWEST_WINTERS and float(np.ptp(minima)) > 0.0:
        fitted = fit_minima(minima, weights=its)
    seen = empirical_level(minima, PERIODS, weights=its)
    unknown = np.full(len(PERIODS), np.nan)
    level = unknown if fitted is None else fitted.level(PERIODS)
    cold, mild = (
        (unknown, unknown)
        if fitted is None
        else profile_interval(minima, PERIODS, confidence=CONFIDENCE, weights=its, fitted=fitted)
    )
    order = np.argsort(minima, kind="stable")
    known_names = [name for name, value in zip(names, coldest, strict=True) if np.isfinite(value)]
    check = None if fitted is None else check_fit(minima, fitted, weights=its)
    periods = 1.0 / weighted_positions(its[order])
    return YearsRecord(
        coldest_c=[_or_none(value) for value in coldest],
        levels=[
            YearsLevel(
                years=years,
                level_c=_or_none(level[at]),
                cold_c=_or_none(cold[at]),
                mild_c=_or_none(mild[at]),
                seen_c=_or_none(seen[at]),
            )
            for at, years in enumerate(PERIODS)
        ],
        fitted=fitted is not None,
        doubtful=check is not None and check.doubtful,
        points=[
            YearsPoint(
                winter=known_names[place],
                years=float(periods[at]),
                seen_c=float(minima[place]),
                fitted_c=None if check is None else float(check.fitted_c[at]),
            )
            for at, place in enumerate(order)
        ],
    ), fitted


def _danger(tree: TreeWinters, grade: int, fitted: Minima | None, ground: Ground) -> YearsDanger:
    """Tell how often a grade is reached.

    The chance p of the worst night of a winter is that of one unknown of the tree, the same in every winter: it is hurt
    in those whose standard normal quantile of 1 - p lies below its own.
    """
    from scipy.special import ndtri

    level_c, sd_k = _level(tree, grade)
    worst = _worst(tree.harm if grade == HARM else tree.death, ground)
    share = np.asarray(ground.nights.weights, dtype=np.float64)
    reached = -ndtri(np.clip(worst, 0.0, 1.0))
    by_replay = float(share @ worst / share.sum())
    by_level = None
    if fitted is not None and np.isfinite(level_c):
        by_level = danger_of(level_c, sd_k, fitted, 1).yearly
    by_fit = by_level is not None and by_level >= by_replay
    over = []
    for years in AHEAD:
        found = (
            danger_of(level_c, sd_k, fitted, years)
            if by_fit and fitted is not None
            else danger_of(0.0, 1.0, reached, years, weights=share)
        )
        over.append(YearsOver(years=years, chance=found.over_years))
    return YearsDanger(
        grade=grade,
        level_c=_or_none(level_c),
        sd_k=_or_none(sd_k),
        by_level=by_level,
        by_replay=by_replay,
        yearly=by_level if by_fit and by_level is not None else by_replay,
        by="fit" if by_fit else "replay",
        over=over,
    )


def _worst(chances: NDArray[np.float32], ground: Ground) -> FloatArray:
    """Give the chance of the worst night of every winter with nothing done, shape (winter,)."""
    worst = np.zeros(len(ground.nights.winters))
    np.maximum.at(worst, ground.nights.winter, chances[0].astype(np.float64))
    return worst


def _level(tree: TreeWinters, grade: int) -> tuple[float, float]:
    """Give where a grade or a worse one begins within an hour at leaf, twig or wood, and how unsure. [°C], [K]"""
    from fruitwall.plants.tolerance import LEAF, TWIG, WOOD

    stands = tree.stands(tree.age_years, 0)
    rows = [LEAF, TWIG, WOOD]
    if not np.isfinite(stands.threshold_c[rows, grade:]).any():
        return float("nan"), float("nan")
    warmest = np.fmax.reduce(stands.threshold_c[rows, grade:], axis=1)
    tissue = rows[int(np.nanargmax(warmest))]
    return float(np.nanmax(warmest)), float(np.hypot(stands.sd_k[tissue], stands.slope_k))


def _freeze(nights_c: FloatArray, level_c: float, weights: FloatArray, season: _Season) -> YearsFreeze:
    """Tell when nights at or below a level come, [winter, night]."""
    below = nights_c <= level_c
    has = below.any(axis=1)
    first = np.where(has, below.argmax(axis=1), np.nan)
    last = np.where(has, below.shape[1] - 1 - below[:, ::-1].argmax(axis=1), np.nan)
    firsts, lasts = freeze_dates(first, weights=weights), freeze_dates(last, weights=weights)
    ends = np.isfinite(nights_c)
    begin = ends.argmax(axis=1)
    end = below.shape[1] - 1 - ends[:, ::-1].argmax(axis=1)
    return YearsFreeze(
        level_c=level_c,
        chance=firsts.chance,
        first=_dates(first, firsts.first_day(CHANCES), season),
        last=_dates(last, lasts.last_day(CHANCES), season),
        free_days=[_or_none(value) for value in _free(lasts, firsts)],
        rough=firsts.rough,
        clipped=bool(((first == begin) | (last == end)).any()),
    )


def _free(last: FreezeDates, first: FreezeDates) -> FloatArray:
    """Give the time without such a night by `CHANCES`; unknown where none ever came."""
    if last.chance == 0.0:
        return np.full(len(CHANCES), np.nan)
    return free_days(last, first, CHANCES)


def _dates(place: FloatArray, by: FloatArray, season: _Season) -> YearsDates:
    return YearsDates(
        day=[season.day(one) if np.isfinite(one) else None for one in place],
        chance=list(CHANCES),
        by=[season.day(one) if np.isfinite(one) else None for one in by],
    )


def _zone(minima: FloatArray) -> YearsZone:
    """Give the zone by the newest winters: as many as the published one takes, none weighted."""
    found = zone_of(minima[-ZONE_WINTERS:])
    return YearsZone(
        zone=found.zone,
        mean_c=found.mean_c,
        standard_error_k=_or_none(found.standard_error_k),
        colder=found.colder,
        warmer=found.warmer,
        winters=found.winters,
        enough=found.enough,
        colder_share=found.colder_share,
        below_zone_share=found.below_zone_share,
    )


def _limits(document: YearsDocument, weights: FloatArray, fitted: Minima | None) -> list[str]:
    """Say what limits the document."""
    count = len(document.winters)
    notices: list[str] = []
    typical = sum(not winter.real for winter in document.winters)
    if fitted is None:
        notices.append(
            told(
                "only {count} winters are known; how cold once in so many can be told from {least} on",
                count=count,
                least=FEWEST_WINTERS,
            )
        )
    elif count < FEW_WINTERS:
        notices.append(
            told(
                "only {count} winters are known: what comes once in 20 or 50 winters is a guess, as its limits show",
                count=count,
            )
        )
    if typical:
        notices.append(
            told(
                "{count} of the winters are typical years and no real ones: record frosts are missing, so the "
                "true levels are colder",
                count=typical,
            )
        )
    if document.air.doubtful:
        notices.append(
            told("the winters do not lie well on the fitted distribution: trust the winters more than the line")
        )
    if fitted is not None and effective_winters(weights) < 0.9 * count:
        notices.append(
            told(
                "weighted as they are, {count} winters say as much as {equal:.0f} of equal weight",
                count=count,
                equal=effective_winters(weights),
            )
        )
    if document.trend is not None and document.trend.sure:
        per_decade = quantity(abs(document.trend.per_decade_k), "K", ".1f")
        if document.trend.per_decade_k > 0:
            notices.append(
                told(
                    "the coldest nights have become milder by {change} in ten years: levels from all winters together "
                    "tell of more cold than is to be expected now",
                    change=per_decade,
                )
            )
        else:
            notices.append(
                told(
                    "the coldest nights have become colder by {change} in ten years: levels from all winters together "
                    "tell of less cold than is to be expected now",
                    change=per_decade,
                )
            )
    if any(freeze.clipped for freeze in document.freezes):
        notices.append(
            told("freezes reach the ends of the season that is looked at: first and last dates may lie farther out")
        )
    return notices


def _coldest(nights_c: FloatArray) -> FloatArray:
    """Give the lowest of each winter, NaN where no night is known."""
    filled = np.where(np.isfinite(nights_c), nights_c, np.inf).min(axis=1)
    return np.where(np.isfinite(filled), filled, np.nan)


def _known(coldest: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the winters that are known, and their weights."""
    known = np.isfinite(coldest)
    return coldest[known], weights[known]


def _or_none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
