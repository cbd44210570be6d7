"""Some weeks of weather marched through a yard, hour by hour at every tree: the kernel's steps made into hours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import FruitwallError
from fruitwall.service.kept import Kept
from fruitwall.weather.forcing import as_datetime, as_datetime64

if TYPE_CHECKING:
    from fruitwall.learning.spots import Offset
    from fruitwall.physics.faces import Face
    from fruitwall.physics.night import NightResult
    from fruitwall.physics.spot import Spot
    from fruitwall.physics.treatment import Treatment
    from fruitwall.plans.parts import Measure
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.service.nights import Evening
    from fruitwall.service.stages import Carried
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Tree, Yard

Array = NDArray[np.float64]
Small = NDArray[np.float32]

STEP_MINUTES = 30
"""As `service.lived`: night minima then differ by hundredths of a kelvin from those of an evening's plan. [min]"""

ROWS_AT_ONCE = 24
"""Trees times treatments that are marched at once: the kernel keeps all steps of all lanes, some 4 MB a row and
month."""

WIND_LEVEL_M = 2.0
"""Height for which the wind of the yard is given, as evapotranspiration wants it (FAO-56). [m]"""


class Weather:
    """Names of the yard's weather among the hours."""

    NAMES = ("t_air_c", "t_dew_c", "wind_m_s", "cloud", "rain_mm", "open_sun_w_m2")


@dataclass(frozen=True, eq=False)
class Marched:
    """Hours of some weeks.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (hour,)
    weather : Mapping of name to ndarray [member, hour]
        By `Weather.NAMES`.
    trees : Mapping of tree to Mapping of name to ndarray [member, hour]
        By `Marched.NAMES`; single precision, as they are kept.
    mark : str
        The same for the same yard, weather, deeds and offsets.
    """

    FELT: ClassVar[tuple[str, ...]] = ("air", "leaf", "twig", "wood", "fruit", "root")
    NAMES: ClassVar[tuple[str, ...]] = (
        *(f"{how}_{name}" for how in ("done", "alone") for name in ("air", "leaf", "twig", "wood", "fruit", "root")),
        "sun_w_m2",
        "wind_here_m_s",
    )

    time_utc: NDArray[np.datetime64]
    weather: Mapping[str, Array]
    trees: Mapping[str, Mapping[str, Small]]
    mark: str = ""


def march_trees(
    yard: Yard,
    forcing: Forcing,
    start: np.datetime64,
    done: Mapping[date, frozenset[str]],
    offsets: Mapping[str, Offset],
    *,
    step_minutes: int = STEP_MINUTES,
    carried: Mapping[str, Carried] | None = None,
) -> Marched | None:
    """March weather through a yard and give the hours of every tree.

    Parameters
    ----------
    yard : Yard
        As it was then.
    forcing : Forcing, [member, time]
        From some days before the first hour that is wanted to the last one.
    start : datetime64
        First hour that is wanted.
    done : Mapping of date to frozenset of str
        Keys of what was done or still stood, by night.
    offsets : Mapping of tree to Offset
        What thermometers taught.
    step_minutes : int
        A divisor of 60. [min]
    carried : Mapping of tree to Carried, optional
        Fruit, bloom and rest as entered then; what the yard's file says of the other trees.

    Returns
    -------
    Marched or None
        None where a kind of the yard is no longer known.
    """
    from fruitwall.physics.spot import survey_faces
    from fruitwall.plans.measures import possible_measures
    from fruitwall.service.lived import what_was_done, with_time
    from fruitwall.service.outlook import in_winter
    from fruitwall.service.spot_offsets import with_offsets
    from fruitwall.service.stages import tree_then
    from fruitwall.service.treatments import kinds_of, spots_of

    try:
        kinds = kinds_of(yard)
    except FruitwallError:
        return None
    evenings = _evenings(yard, forcing)
    days = [one.night.name for one in evenings]
    options = _POSSIBLE.of(yard, make=lambda: [possible_measures(with_time(yard), tree) for tree in yard.trees])
    used: list[list[Measure]] = [its[:1] for its in options]
    chosen: list[list[int]] = [[0] * len(days) for _ in options]  # by tree and night, the row among its measures
    if any(done.get(day) for day in days):
        for at, its in enumerate(options):
            keys = [what_was_done(its, done.get(day, frozenset())).key for day in days]
            used[at] = [one for place, one in enumerate(its) if place == 0 or one.key in keys]
            rows = {one.key: row for row, one in enumerate(used[at])}
            chosen[at] = [rows[key] for key in keys]
    middle = as_datetime(start + (forcing.time_utc[-1] - start) // 2).date()
    winter = in_winter(yard.location.latitude_deg, middle)
    bearing = [
        tree_then(tree, carried[tree.id]) if carried and tree.id in carried else _in_season(tree, winter=winter)
        for tree in yard.trees
    ]
    moves = tuple((one.tree, one.moved_to) for its in used for one in its if one.moved_to is not None)
    home, moved = _SURVEYED.of(yard, key=(winter, moves), make=lambda: spots_of(yard, used, winter=winter))
    home = with_offsets(home, offsets)
    hours = forcing.time_utc[forcing.time_utc >= start]
    trees: dict[str, dict[str, Small]] = {}
    faces = _FACES.of(yard, key=winter, make=lambda: survey_faces(yard, winter=winter))
    for some in _few(used):
        result = _simulated(
            yard, forcing, evenings, some, _Parts(kinds, bearing, home, used, moved, faces), step_minutes
        )
        for row, at in enumerate(some):
            night_of = _rows_by_hour(hours, evenings, chosen[at])
            trees[yard.trees[at].id] = _hours_of(result, row, hours, night_of, step_minutes)
    add_sun_and_wind(trees, yard, home, forcing, hours)
    return Marched(hours, _weather(forcing, hours), trees)


def _in_season(tree: Tree, *, winter: bool) -> Tree:
    """Give a tree that its file calls dormant its leaf in summer: the file tells of the day on which it was written."""
    if winter or "dormant" not in tree.stages:
        return tree
    kept = [stage for stage in tree.stages if stage != "dormant"]
    return tree.model_copy(update={"stages": kept or ["leafy"]})


_POSSIBLE: Kept[list[list[Measure]]] = Kept(8)
_SURVEYED: Kept[tuple[list[Spot], dict[tuple[str, tuple[float, float]], Spot]]] = Kept(8)
_FACES: Kept[list[Face]] = Kept(8)


def _evenings(yard: Yard, forcing: Forcing) -> list[Evening]:
    """Give the nights that lie wholly within the weather; where the sun does not set there is none."""
    from fruitwall.service.nights import evening_of

    first = forcing.start_utc.date() - timedelta(days=1)
    found = []
    for ahead in range((forcing.end_utc.date() - first).days + 1):
        try:
            evening = evening_of(yard.location, first + timedelta(days=ahead))
        except FruitwallError:
            continue
        if evening.night.start_utc >= forcing.start_utc and evening.end_hour <= forcing.end_utc:
            found.append(evening)
    return found


def _few(measures: Sequence[Sequence[Measure]]) -> Iterator[list[int]]:
    """Give the trees in groups of few rows."""
    group: list[int] = []
    widest = 0
    for at, options in enumerate(measures):
        wider = max(widest, len(options))
        if group and wider * (len(group) + 1) > ROWS_AT_ONCE:
            yield group
            group, wider = [], len(options)
        group.append(at)
        widest = wider
    if group:
        yield group


class _Parts(NamedTuple):
    """What a yard is made of, as physics sees it."""

    kinds: Mapping[str, Taxon]
    trees: Sequence[Tree]
    home: Sequence[Spot]
    used: Sequence[Sequence[Measure]]
    moved: dict[tuple[str, tuple[float, float]], Spot]
    faces: Sequence[Face]


def _simulated(
    yard: Yard, forcing: Forcing, evenings: Sequence[Evening], some: Sequence[int], parts: _Parts, step_minutes: int
) -> NightResult:
    from fruitwall.physics.night import simulate
    from fruitwall.service.treatments import body_of, treatment_of

    begins = evenings[0].begins if evenings else forcing.start_utc
    return simulate(
        forcing,
        [parts.home[at] for at in some],
        [body_of(parts.trees[at], parts.kinds[parts.trees[at].id]) for at in some],
        [
            [
                replace(treatment_of(yard, one, parts.moved, begins), wet_ground=False, wet_from_utc=None)
                for one in parts.used[at]
            ]
            for at in some
        ],
        [one.night for one in evenings],
        faces=parts.faces,
        soil=yard.ground.soil,
        moisture=yard.ground.moisture,
        step_minutes=step_minutes,
        keep_series=True,
        single_precision=True,  # within a few thousandths of a kelvin, at half the memory
        clear_night_offset_k=yard.location.clear_night_offset_k,
    )


def _dry(treatment: Treatment) -> Treatment:
    """Leave the watering out: what it adds is within what is not known of the ground (as `service.lived`)."""
    return replace(treatment, wet_ground=False, wet_from_utc=None)


def _rows_by_hour(hours: NDArray[np.datetime64], evenings: Sequence[Evening], rows: Sequence[int]) -> NDArray[np.int64]:
    """Give for each hour the row of what was done in its night, from noon to noon."""
    found = np.zeros(hours.size, dtype=np.int64)
    for evening, row in zip(evenings, rows, strict=True):
        window = (hours > as_datetime64(evening.night.start_utc)) & (hours <= as_datetime64(evening.night.end_utc))
        found[window] = row
    return found


def _hours_of(
    result: NightResult, tree: int, hours: NDArray[np.datetime64], rows: NDArray[np.int64], step_minutes: int
) -> dict[str, Small]:
    """Make hours of steps: the mean of the steps that end within the hour."""
    if result.series is None or result.time_utc is None:
        raise ValueError("the result must keep its series")
    per_hour = 60 // step_minutes
    last = np.searchsorted(result.time_utc, hours)
    within = np.clip(last[:, None] - np.arange(per_hour), 0, None)
    found: dict[str, Small] = {}
    for name in Marched.FELT:
        series = result.series[name][tree]  # [treatment, member, step]
        hourly = series[:, :, within].mean(axis=-1).astype(np.float32)
        found[f"alone_{name}"] = hourly[0]
        picked = np.take_along_axis(hourly, np.broadcast_to(rows, hourly.shape[1:])[None], axis=0)[0]
        found[f"done_{name}"] = picked if rows.any() else hourly[0]
    return found


def add_sun_and_wind(
    trees: dict[str, dict[str, Small]],
    yard: Yard,
    home: Sequence[Spot],
    forcing: Forcing,
    hours: NDArray[np.datetime64],
) -> None:
    """Add the sun that reaches each crown, and the wind there."""
    from fruitwall.physics.cases import wind_profile
    from fruitwall.physics.spot import sun_visibility
    from fruitwall.physics.sun import extraterrestrial, split_global, sun_position

    wanted = forcing.time_utc >= hours[0]
    global_w_m2, wind = forcing.shortwave_w_m2[:, wanted], forcing.wind_m_s[:, wanted]
    wind = wind * _to_height(forcing.wind_height_m, 10.0)
    half = hours - np.timedelta64(1800, "s")  # the mean of an hour belongs to its middle
    sun = sun_position(half, forcing.latitude_deg, forcing.longitude_deg)
    light = split_global(global_w_m2, sun.elevation_deg, extraterrestrial(half))
    for tree, spot in zip(yard.trees, home, strict=True):
        seen = sun_visibility(spot, sun.azimuth_deg, sun.elevation_deg)
        its = trees[tree.id]
        its["sun_w_m2"] = (light.beam * seen + light.diffuse * spot.diffuse_share).astype(np.float32)
        its["wind_here_m_s"] = (wind * spot.wind_share * wind_profile(spot.height_m)).astype(np.float32)


def _to_height(from_m: float, to_m: float) -> float:
    from fruitwall.weather.wind import wind_at_height

    return wind_at_height(1.0, from_m, to_m)


def _weather(forcing: Forcing, hours: NDArray[np.datetime64]) -> dict[str, Array]:
    wanted = forcing.time_utc >= hours[0]
    return {
        "t_air_c": forcing.t_air_c[:, wanted],
        "t_dew_c": forcing.t_dew_c[:, wanted],
        "wind_m_s": forcing.wind_m_s[:, wanted] * _to_height(forcing.wind_height_m, WIND_LEVEL_M),
        "cloud": forcing.cloud[:, wanted],
        "rain_mm": forcing.rain_mm[:, wanted],
        "open_sun_w_m2": forcing.shortwave_w_m2[:, wanted],
    }
