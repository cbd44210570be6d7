"""The water in the root zone of one tree through the hours that are over: weather, waterings, readings of sensors.

The science is in `plants.water`; here its parts are put together for a tree of a yard. A watering of which nobody wrote
down how much counts as filling the root zone, which is what is advised. Before the first watering or reading that was
entered a tree is taken to have been watered whenever it began to lack water: it lives. A reading of soil moisture pulls
the balance towards it by as much as the balance is in doubt beside the sensor: a Kalman step.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.weather.forcing import HOUR, as_datetime64

if TYPE_CHECKING:
    from datetime import date

    from fruitwall.plants.catalogue import Taxon
    from fruitwall.plants.water import Balance, BalanceState, CropRow, RootZone
    from fruitwall.plants.water.filled import Notice
    from fruitwall.plants.water.salt import SaltTolerance
    from fruitwall.service.water_hours import Hours
    from fruitwall.yard.model import Tree, Yard

Array = NDArray[np.float64]

LEAST_AREA_M2 = 0.05
"""Ground that even a whip of a tree draws from. Our judgement. [m²]"""

LEAST_DEPTH_M = 0.3
"""Roots of a young tree, whatever its height. Our judgement. [m]"""

START_SHARE = 0.5
"""Where nothing is known before the first hour, half of what is taken without effort is taken to be gone. Our
judgement. [-]"""

USE_DOUBT = 0.2
"""Standard error of the use of water: crop coefficients of orchards differ so much from place to place. Our judgement
after the spread of FAO-56 table 12 beside the seasons of `crop_water.csv`. [-]"""

FULL_DOUBT = 0.05
"""Standard error of a root zone that has just drained, as a share of its capacity. Our judgement. [-]"""

FORGOTTEN_H = 240.0
"""Hours without known weather after which a balance that stood still tells nothing any more. Our judgement: in ten days
rain may have filled a root zone, or a pot run dry several times. [h]"""

SENSOR_SD_M3_M3 = 0.03
"""Standard error of a soil-moisture sensor with its maker's calibration: the usual ±3 % of makers' sheets (common
practice, no source). [m³/m³]"""

PLACE_SD_M3_M3 = 0.03
"""How far one place of the root zone stands for all of it. Our judgement. [m³/m³]"""

FROST_DEPTH_M = 0.3
"""Soil that is wetted before a frost, as deep as heat goes in and out within a day: Snyder and de Melo-Abreu 2005,
Frost protection (FAO), on soil water. [m]"""

TIGHT_ROOFS = ("glass", "polycarbonate", "polyethylene", "tile", "metal", "timber")
"""Roofs that keep rain off; shade cloth lets it through."""


@dataclass(frozen=True)
class Given:
    """A watering of one tree.

    Attributes
    ----------
    at : datetime, aware
    litres : float or None
        None where nobody wrote it down. [L]
    entry : str
        Id in the ledger.
    top_only : bool
        Whether only the upper soil was wetted, as before a frost.
    """

    at: datetime
    litres: float | None
    entry: str
    top_only: bool = False


@dataclass(frozen=True)
class Moist:
    """Readings of soil moisture of one day at one tree: their mean. [m³/m³]"""

    at: datetime
    share: float


@dataclass(frozen=True)
class Correction:
    """What a day's readings changed. Depletions before, as read, and after. [mm]"""

    at: datetime
    before_mm: float
    read_mm: float
    after_mm: float


@dataclass(frozen=True, eq=False)
class Roots:
    """What a tree's root zone is and uses, apart from weather.

    Attributes
    ----------
    tree : Tree
    taxon : Taxon
    zone : RootZone
    row : CropRow
    salt : SaltTolerance
    depth_m : float
        Of the soil or the filling of the pot. [m]
    full_share : float
        Water by volume when full. [m³/m³]
    roof_share : float
        Share of its rain that a roof keeps off. [0-1]
    """

    tree: Tree
    taxon: Taxon
    zone: RootZone
    row: CropRow
    salt: SaltTolerance
    depth_m: float
    full_share: float
    roof_share: float

    @property
    def volume_mm(self) -> float:
        """Depth of soil over the area of the zone, by which a share of volume becomes millimetres. [mm]"""
        if self.tree.container is None:
            return 1000.0 * self.depth_m
        return self.zone.full_mm / self.full_share


def roots_of(tree: Tree, taxon: Taxon, yard: Yard) -> Roots:
    """Put together what a tree's roots can reach.

    Parameters
    ----------
    tree : Tree
    taxon : Taxon
    yard : Yard
        For its soil and roofs.

    Returns
    -------
    Roots
    """
    from fruitwall.plants.water import crop_row, root_zone_ground, root_zone_pot
    from fruitwall.plants.water.containers import fill_of, kept_share
    from fruitwall.plants.water.salt import salt_tolerance
    from fruitwall.plants.water.soil import soil_water

    row = crop_row(taxon)
    area_m2 = max(math.pi / 4.0 * tree.crown_diameter_m**2, LEAST_AREA_M2)
    pot = tree.container
    if pot is not None:
        zone = root_zone_pot(pot.volume_l, pot.mix, area_m2)
        zone = replace(
            zone, drains=tree.root_zone != "wet"
        )  # "in water" of a pot: it stands in a saucer or has no holes
        depth_m = fill_of(pot.volume_l, pot.mix).depth_m
        full = kept_share(pot.mix, depth_m)
    else:
        low, high = row.root_depth_m
        grown = min(1.0, tree.height_m / row.height_m)
        depth_m = tree.root_depth_m or max((low + high) / 2.0 * grown, LEAST_DEPTH_M)
        zone = root_zone_ground(yard.ground.soil, depth_m, row.depletion_p, area_m2)
        full = soil_water(yard.ground.soil)[0]
    return Roots(tree, taxon, zone, row, salt_tolerance(taxon), depth_m, full, roof_share(tree, yard))


def roof_share(tree: Tree, yard: Yard) -> float:
    """Give the share of a crown's circle over which a roof keeps the rain off. [0-1]"""
    from fruitwall.yard.model import Building, Roof

    tight = [
        one
        for one in yard.structures
        if isinstance(one, Building) or (isinstance(one, Roof) and one.material in TIGHT_ROOFS)
    ]
    if not tight:
        return 0.0
    from shapely import Point, Polygon, union_all

    circle = Point(tree.position).buffer(max(tree.crown_diameter_m / 2.0, 0.1), quad_segs=16)
    cover = union_all([Polygon(one.outline).buffer(0.0) for one in tight])
    return round(min(max(float(circle.intersection(cover).area / circle.area), 0.0), 1.0), 6)


@dataclass(frozen=True, eq=False)
class Demand:
    """What the air asks of one tree by the hour: ETc [member, hour] [mm], by the day, and what was assumed."""

    et_mm: Array
    day_mm: Array
    notices: tuple[Notice, ...]


def demand_of(roots: Roots, hours: Hours, yard: Yard) -> Demand:
    """Give what a tree that lacks nothing would use.

    Parameters
    ----------
    roots : Roots
    hours : Hours
    yard : Yard

    Returns
    -------
    Demand
        FAO-56 Penman-Monteith by the hour with the spot's sun and wind; what was not known is filled in and told.
    """
    from fruitwall.plants.water.crop_year import kc_on, pot_kc_on
    from fruitwall.plants.water.filled import hourly_reference

    place, zone = yard.location, ZoneInfo(yard.location.time_zone)
    reference = hourly_reference(
        hours.t_air_c,
        time_utc=hours.time_utc,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
        t_dew_c=np.minimum(hours.t_dew_c, hours.t_air_c),
        wind_2m_m_s=hours.wind_here_m_s,
        shortwave_w_m2=hours.sun_w_m2,
        open_shortwave_w_m2=hours.open_sun_w_m2,
        cloud=hours.cloud,
    )
    days = local_days(hours.time_utc, zone)
    of_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(int) + 1
    by_stage = kc_on if roots.tree.container is None else pot_kc_on
    kc = by_stage(roots.row, of_year, leaf_habit=roots.taxon.leaf_habit, latitude_deg=place.latitude_deg)
    et = np.maximum(reference.et_mm, 0.0) * kc
    _, start, which = np.unique(days, return_index=True, return_inverse=True)
    sums = np.add.reduceat(np.nan_to_num(et), start, axis=-1)
    known = np.add.reduceat((~np.isnan(et)).astype(float), start, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        # A day of which only some hours are known, or are still to come, is taken for a whole one of its kind.
        daily = np.where(known >= 18, sums * 24.0 / known, np.nan)
    return Demand(et, daily[..., which], reference.notices)


def local_days(time_utc: NDArray[np.datetime64], zone: ZoneInfo) -> NDArray[np.datetime64]:
    """Give the day of each hour by the yard's clock; an hour that ends at midnight belongs to the day before.

    Parameters
    ----------
    time_utc : ndarray of datetime64
        Ends of the hours.
    zone : ZoneInfo
    """
    from fruitwall.weather.forcing import as_datetime

    if not time_utc.size:
        return time_utc.astype("datetime64[D]")
    middle = time_utc - np.timedelta64(1800, "s")
    months = middle.astype("datetime64[D]")
    offsets = {}
    for day in np.unique(months):  # the clock changes by night; once a day is fine for days
        moment = as_datetime(day.astype("datetime64[s]") + np.timedelta64(12, "h")).astimezone(zone)
        offset = moment.utcoffset()
        offsets[day] = round(offset.total_seconds()) if offset is not None else 0
    shift = np.array([offsets[day] for day in months], dtype="timedelta64[s]")
    days: NDArray[np.datetime64] = (middle + shift).astype("datetime64[D]")
    return days


@dataclass(frozen=True, eq=False)
class Story:
    """The root zone of one tree up to now; arrays [hour].

    Attributes
    ----------
    roots : Roots
    time_utc : ndarray of datetime64
    depletion_mm, ks : ndarray
        At the end of the hours; NaN where the weather is not known.
    rain_mm, given_mm, used_mm, drained_mm, lost_mm : ndarray
        Rain in the open; watering; use; drained below; caught by the crown, run off or kept off by a roof. [mm]
    state : BalanceState
        Now.
    sd_mm : float
        Standard error of the depletion now. [mm]
    waterings : tuple of (Given, float)
        What was given at each, worked out where nobody wrote it down. [L]
    corrections : tuple of Correction
    notices : tuple of Notice
    known_share : float
        Share of the hours whose weather is known. [0-1]
    believed_from : int
        Hour of the first watering or reading that was entered; before it the tree is taken to have been watered
        whenever it began to lack water.
    day_mm : float
        What it would use on a day like the last one that is known. [mm]
    """

    roots: Roots
    time_utc: NDArray[np.datetime64]
    depletion_mm: Array
    ks: Array
    rain_mm: Array
    given_mm: Array
    used_mm: Array
    drained_mm: Array
    lost_mm: Array
    state: BalanceState
    sd_mm: float
    waterings: tuple[tuple[Given, float], ...]
    corrections: tuple[Correction, ...]
    notices: tuple[Notice, ...]
    known_share: float
    believed_from: int
    day_mm: float

    @property
    def known(self) -> bool:
        """Whether a watering or a reading was ever entered."""
        return self.believed_from < self.time_utc.size

    @property
    def ks_now(self) -> float:
        """Share of its use that the tree keeps up now. [0-1]"""
        from fruitwall.plants.water.soil import adjusted_p, stress

        zone = self.roots.zone
        p = zone.depletion_p if math.isnan(self.day_mm) else float(adjusted_p(zone.depletion_p, self.day_mm))
        return float(stress(float(self.state.depletion_mm), zone.capacity_mm, p))


def story_of(
    roots: Roots,
    hours: Hours,
    yard: Yard,
    givens: Sequence[Given] = (),
    moist: Sequence[Moist] = (),
    *,
    since: date | None = None,
) -> Story:
    """March the balance of one tree through hours that are over.

    Parameters
    ----------
    roots : Roots
    hours : Hours
        One member.
    yard : Yard
    givens : sequence of Given
        Those before the first hour or after the last are passed over.
    moist : sequence of Moist
        One a day at most.
    since : date, optional
        Day on which it was planted; nothing is counted before it.

    Returns
    -------
    Story

    Notes
    -----
    Doubt grows with what was used since the zone was last known, ``sd² = sd0² + (USE_DOUBT · used)²``, and is small
    where water drained; hours of unknown weather carry it to "between full and empty" within `FORGOTTEN_H`. With
    the doubt of a reading r, in the same unit, the new depletion is ``d + sd² / (sd² + r²) · (read - d)``.
    """
    from fruitwall.plants.water import BalanceState, march_balance
    from fruitwall.plants.water.volume import CROWN_HOLDS_MM_PER_LEAF, CROWN_LEAF_AREA

    zone, size = roots.zone, hours.time_utc.size
    demand = demand_of(roots, hours, yard)
    et, rain = demand.et_mm[0].copy(), hours.rain_mm[0].copy()
    unknown = np.isnan(et) | np.isnan(rain)
    if since is not None:
        before = local_days(hours.time_utc, ZoneInfo(yard.location.time_zone)) < np.datetime64(since)
        et[before] = rain[before] = np.nan
    given = np.zeros(size)
    fills: dict[int, list[Given]] = {}
    told: list[tuple[int, Given]] = []
    for one in sorted(givens, key=lambda one: one.at):
        at = _hour_of(one.at, hours.time_utc)
        if at is None:
            continue
        told.append((at, one))
        if one.litres is None:
            fills.setdefault(at, []).append(one)
        else:
            given[at] += one.litres / zone.area_m2
        if np.isnan(et[at]) or np.isnan(rain[at]):  # the water came whatever the weather was
            et[at] = rain[at] = 0.0
    read = {
        at: one for one in sorted(moist, key=lambda one: one.at) if (at := _hour_of(one.at, hours.time_utc)) is not None
    }

    # Before the first watering or reading that somebody entered: the tree lives, so it was watered.
    first = min([at for at, _ in told] + list(read), default=size)
    results = {name: np.full(size, np.nan) for name in ("depletion", "ks", "used", "drained", "lost")}
    ec = yard.water.conductivity_ds_m or 0.0

    def march(begin: int, end: int, state: BalanceState) -> Balance:
        part = slice(begin, end)
        made = march_balance(
            zone,
            state,
            et[part],
            rain[part],
            given[part],
            demand_mm_d=demand.day_mm[0][part],
            canopy_mm=CROWN_HOLDS_MM_PER_LEAF * CROWN_LEAF_AREA,
            roof_share=roots.roof_share,
            ec_water_ds_m=ec,
            stand_still=True,
        )
        lost = made.intercepted_mm + made.runoff_mm + np.nan_to_num(rain[part]) * roots.roof_share
        pieces = (made.depletion_mm, made.ks, made.et_actual_mm, made.drainage_mm, lost)
        for name, values in zip(results, pieces, strict=True):
            results[name][part] = values
        return made

    state = BalanceState(START_SHARE * zone.ready_mm)
    doubt = _Doubt(START_SHARE * zone.ready_mm)
    if first > 0:
        state = _kept_watered(march, zone, state, first, given)
        doubt = _Doubt(START_SHARE * zone.ready_mm)
    corrections: list[Correction] = []
    amounts: dict[str, float] = {one.entry: one.litres for _, one in told if one.litres is not None}
    cuts = sorted({first, size, *fills, *(at + 1 for at in read)})
    for begin, end in pairwise(cuts):
        for nth, one in enumerate(fills.get(begin, ())):
            share = min(1.0, FROST_DEPTH_M / roots.depth_m) if one.top_only and zone.kind == "ground" else 1.0
            fill_mm = share * max(float(state.depletion_mm) - given[begin], 0.0) if nth == 0 else 0.0
            given[begin] += fill_mm
            amounts[one.entry] = fill_mm * zone.area_m2
        made = march(begin, end, state)
        state = made.state_end
        doubt.follow(made, zone)
        if end - 1 in read:
            state, correction, after_sd = _corrected(roots, state, doubt.sd_mm(zone), read[end - 1])
            doubt = _Doubt(after_sd)
            corrections.append(correction)
            results["depletion"][end - 1] = correction.after_mm
    return Story(
        roots=roots,
        time_utc=hours.time_utc,
        depletion_mm=results["depletion"],
        ks=results["ks"],
        rain_mm=hours.rain_mm[0],
        given_mm=given,
        used_mm=results["used"],
        drained_mm=results["drained"],
        lost_mm=results["lost"],
        state=state,
        sd_mm=doubt.sd_mm(zone),
        waterings=tuple((one, amounts[one.entry]) for _, one in told),
        corrections=tuple(corrections),
        notices=demand.notices,
        known_share=float(1.0 - unknown.mean()) if size else 0.0,
        believed_from=first,
        day_mm=float(days[-1]) if (days := demand.day_mm[0][~np.isnan(demand.day_mm[0])]).size else math.nan,
    )


MARCH_H = 720
"""Hours that are marched at once while it is looked for when the tree would have lacked water. [h]"""


def _kept_watered(
    march: Callable[[int, int, BalanceState], Balance], zone: RootZone, state: BalanceState, end: int, given: Array
) -> BalanceState:
    """March up to an hour and fill the zone whenever the tree begins to lack water; what was given is noted."""
    begin = 0
    while begin < end:
        stop = min(begin + MARCH_H, end)
        made = march(begin, stop, state)
        short = np.flatnonzero(made.ks < 1.0)
        if not short.size:
            state, begin = made.state_end, stop
            continue
        at = begin + int(short[0])
        if at > begin:
            state = march(begin, at, state).state_end
        given[at] += max(float(state.depletion_mm), 0.0)
        state, begin = march(at, at + 1, state).state_end, at + 1
    return state


class _Doubt:
    """How far the balance may be off: what it was when it was last known, what was used since, and hours unknown."""

    def __init__(self, known_mm: float) -> None:
        self._known_mm = known_mm
        self._used_mm = 0.0
        self._unknown_h = 0

    def follow(self, made: Balance, zone: RootZone) -> None:
        """Go on with a stretch; a zone that drained is known again."""
        drained = np.flatnonzero(np.nan_to_num(made.drainage_mm) > 0.0)
        if drained.size:
            self._known_mm = FULL_DOUBT * zone.capacity_mm
            self._used_mm = float(np.nansum(made.et_actual_mm[drained[-1] :]))
            self._unknown_h = int(np.isnan(made.et_actual_mm[drained[-1] :]).sum())
        else:
            self._used_mm += float(np.nansum(made.et_actual_mm))
            self._unknown_h += int(np.isnan(made.et_actual_mm).sum())

    def sd_mm(self, zone: RootZone) -> float:
        """Give the standard error; no greater than knowing only that it lies between full and empty. [mm]"""
        most = zone.capacity_mm / math.sqrt(12.0)
        unknown_mm = most * self._unknown_h / FORGOTTEN_H
        return min(math.hypot(self._known_mm, USE_DOUBT * self._used_mm, unknown_mm), most)


def _hour_of(moment: datetime, time_utc: NDArray[np.datetime64]) -> int | None:
    """Give the hour in which a moment lies: the first that ends at or after it."""
    at = int(np.ceil((as_datetime64(moment) - time_utc[0]) / HOUR)) if time_utc.size else -1
    # What was done within the hour that is not over yet belongs to the last one that is.
    if at == time_utc.size:
        at -= 1
    return at if 0 <= at < time_utc.size else None


def _corrected(roots: Roots, state: BalanceState, sd_mm: float, read: Moist) -> tuple[BalanceState, Correction, float]:
    """Pull a balance towards a reading. Gives the new state, what changed, and the new doubt. [mm]"""
    before = float(state.depletion_mm)
    read_mm = (roots.full_share - read.share) * roots.volume_mm
    read_sd = math.hypot(SENSOR_SD_M3_M3, PLACE_SD_M3_M3) * roots.volume_mm
    gain = sd_mm**2 / (sd_mm**2 + read_sd**2)
    lowest = 0.0 if roots.zone.drains else -roots.zone.air_mm
    after = min(max(before + gain * (read_mm - before), lowest), roots.zone.capacity_mm)
    changed = replace(state, depletion_mm=after)
    return changed, Correction(read.at, before, read_mm, after), sd_mm * math.sqrt(1.0 - gain)
