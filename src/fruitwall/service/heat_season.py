"""Heat at every tree: what leaf, fruit, bark and roots went through, what comes, and which tree may scorch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.daylight import black_body_w_m2
from fruitwall.service.heat_around import UNKNOWN_FOLIAGE, Around, arounds, daylight_of
from fruitwall.service.heat_document import LEVELS_C, Begins, HeatDay, HeatSeason, HotTissue, Reason, Tissue, TreeHeat
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Deed, says
from fruitwall.weather.forcing import as_datetime, as_datetime64
from fruitwall.yard.model import Building, Wall

if TYPE_CHECKING:
    from fruitwall.physics.daylight import Daylight
    from fruitwall.plants.catalogue import Catalogue
    from fruitwall.plants.heat import HeatTolerance
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import Felt, SpotHours
    from fruitwall.yard.model import Tree, Yard

Array = NDArray[np.float64]

USUAL_LEAF_M = 0.05
USUAL_FRUIT_M = 0.06
"""Width of a leaf and size of a fruit where the surroundings of the tree are not given. [m]"""

HARM = 2
"""Grade from which a tree counts as hurt."""

WORTH_TELLING = 0.05
"""Chance of harm from which on a tree and a day are told. Our judgement."""

COOL_C = 24.0
"""Hours with air below this are not looked at in a season: no sunlit leaf, fruit or bark comes near harm then. The
bound on the difference to the air is 11 K for leaves (tests), some 20 K for the largest fruit. [°C]"""

PAINT_LASTS = timedelta(days=365)
"""White paint on bark counts for so long. Our judgement: a year's growth and rain wear it off."""

LONGEST_FORECAST = timedelta(days=16)
"""No forecast goes further."""

SUNNY_W_M2 = 200.0
WALL_W_M2 = 25.0
STILL_M_S = 0.4
DRY_AIR_KPA = 4.0
"""From which sun, from which heat of a wall (thrown sun and longwave beyond that of air), below which wind and from
which vapour pressure deficit it is named as a reason. Our judgement. [W/m²], [W/m²], [m/s], [kPa]"""


@dataclass(frozen=True, eq=False)
class HotTissues:
    """Temperatures of the hottest part of each tissue by the hour. [°C]

    Attributes
    ----------
    leaf_c : ndarray [member, hour]
        Of a leaf that faces the sun.
    fruit_c : ndarray [member, hour]
        Of the sunny pole of a fruit at the outside of the crown, or below it where the kind bears there; not a number
        without fruit.
    bark_c : ndarray [member, hour]
        Of the sunny side of the trunk.
    root_c : ndarray [member, hour]
        Of the hottest quarter of a pot's rim; in the ground the soil at root depth.
    light : Daylight
        What was around it.
    """

    leaf_c: Array
    fruit_c: Array
    bark_c: Array
    root_c: Array
    light: Daylight


def hot_hours(
    hours: SpotHours,
    tree: Tree,
    *,
    shade: float = 0.0,
    whitewash: bool = False,
    in_shade: bool = False,
    watered: bool = True,
    around: Around | None = None,
    fruit: bool | None = None,
    only_above_c: float | None = None,
) -> HotTissues:
    """Give how hot a tree's tissues get, hour by hour.

    Parameters
    ----------
    hours : SpotHours
        Of this tree.
    tree : Tree
    shade : float
        Share of light that a cloth over it stops, 0 to 1.
    whitewash : bool
        Whether trunk and limbs are painted white.
    in_shade : bool
        Whether it stands in open shade instead: a container that was moved.
    watered : bool
        False is the worst case: roots dry, pores shut, dry mix in the pot.
    around : Around or None
        Of `heat_around.arounds` for the same hours. Without it no wall warms the tree and the sun stands at a usual
        height: good for a difference between measures, not for the temperature itself.
    fruit : bool or None
        Whether it carries fruit; None: as its stages say.
    only_above_c : float or None
        Leaf, fruit and bark are worked out for hours with air at least so warm; not a number in others. [°C]

    Returns
    -------
    HotTissues
        Not a number where the weather is not known.

    Raises
    ------
    ValueError
        If `shade` is outside its range.
    """
    from fruitwall.physics import daylight as day
    from fruitwall.physics.rootball import root_ball

    light = daylight_of(hours, around)
    if in_shade:
        light = day.in_open_shade(light)
    if shade:
        light = day.under_cloth(light, shade)
    carries = "fruit" in tree.stages if fruit is None else fruit
    body = None if around is None else around.body
    leaf_width = USUAL_LEAF_M if body is None else body.leaf_width_m
    fruit_size = USUAL_FRUIT_M if body is None else body.fruit_diameter_m
    foliage = UNKNOWN_FOLIAGE if body is None else body.foliage_share
    trunk = max(0.01, 0.02 * tree.height_m) if body is None else body.wood_diameter_m
    base = min(tree.crown_base_m, tree.height_m)
    lit = day.own_shade(light.elevation_deg, 0.5 * base, tree.crown_diameter_m, foliage)
    paint = day.PAINT_ABSORBS if whitewash else day.BARK_ABSORBS
    if tree.container is None:
        root = hours.done.root_c
    else:
        mix = {} if watered else {"conductivity_w_mk": day.DRY_CONDUCTIVITY_W_MK, "capacity_j_m3k": day.DRY_J_M3K}
        ball = root_ball(tree.container.volume_l, tree.container.material, **mix)
        clear = max(base - 0.5 * ball.height_m, 0.0)
        below = day.own_shade(light.elevation_deg, clear, tree.crown_diameter_m, foliage)
        root = day.root_ball_c(light, ball, below, day.POT_ABSORBS[tree.container.material], foliage)
    leaf, peel, bark = (np.full_like(light.t_air_c, np.nan) for _ in range(3))
    wanted = np.ones(hours.time_utc.size, dtype=bool)
    if only_above_c is not None:
        warmest = np.where(np.isfinite(light.t_air_c), light.t_air_c, -np.inf).max(axis=0)
        wanted = warmest >= only_above_c
    if wanted.any():
        part = _hours_of(light, wanted)
        leaf[:, wanted] = day.sunlit_leaf_c(part, leaf_width, water=1.0 if watered else 0.0)
        bark[:, wanted] = day.sunlit_bark_c(part, trunk, lit[wanted], absorptance=paint)
        if carries:
            shaded = around is not None and around.fruit_inside
            peel[:, wanted] = day.sunlit_peel_c(part, fruit_size, 1.0 - foliage if shaded else 1.0)
    return HotTissues(leaf_c=leaf, fruit_c=peel, bark_c=bark, root_c=root, light=light)


def _hours_of(light: Daylight, wanted: NDArray[np.bool_]) -> Daylight:
    """Take some hours."""
    return replace(light, **{each.name: getattr(light, each.name)[..., wanted] for each in fields(light)})


# ------------------------------------------------------------------------------------------------- the season


def hot_since(now: datetime, latitude_deg: float) -> datetime:
    """Give when the warm half of the year began last: 1 April in the north, 1 October in the south.

    Parameters
    ----------
    now : datetime, aware
        In the zone of the yard.
    latitude_deg : float

    Returns
    -------
    datetime, aware
    """
    month = 4 if latitude_deg >= 0.0 else 10
    begun = now.replace(month=month, day=1, hour=0, minute=0, second=0, microsecond=0)
    return begun if begun <= now else begun.replace(year=now.year - 1)


def heat_season(house: House) -> HeatSeason:
    """Work out the heat of all trees since the warm half of the year began, and of the forecast.

    Parameters
    ----------
    house : House

    Returns
    -------
    HeatSeason
        Kept for the hour, the yard's file, the journal and the weather.
    """
    from fruitwall.service.spot_hours import coming_hours, mark_of, season_hours

    yard, version = house.yard()
    now = house.clock()
    since = hot_since(now.astimezone(ZoneInfo(yard.location.time_zone)), yard.location.latitude_deg)
    past, coming = season_hours(house, since), coming_hours(house, now + LONGEST_FORECAST)
    painted = _painted(house, now)
    # By what the hours hold: an entry that changes nothing of them costs nothing here.
    hour = now.replace(minute=0, second=0, microsecond=0)
    key = (version.sha256, hour, mark_of(past), mark_of(coming), tuple(sorted(painted.items())))
    make = partial(_season, house, yard, now, since, past, coming, painted)
    return _KEPT.of(key=key, make=make)


_KEPT: Kept[HeatSeason] = Kept(4)


def _season(
    house: House,
    yard: Yard,
    now: datetime,
    since: datetime,
    past: Mapping[str, SpotHours],
    coming: Mapping[str, SpotHours],
    painted: Mapping[str, datetime],
) -> HeatSeason:
    from fruitwall.service.own_kinds import catalogue_of
    from fruitwall.service.treatments import kinds_of

    kinds_of(yard)  # a kind that is not known is told with its place in the yard's file
    zone = ZoneInfo(yard.location.time_zone)
    coming = {tree: _forecast_only(hours) for tree, hours in coming.items()}
    coming = {tree: hours for tree, hours in coming.items() if hours.time_utc.size}
    around_past, around_coming = arounds(house, past), arounds(house, coming)
    walls = {one.id: one.name for one in yard.structures if isinstance(one, (Wall, Building))}
    station, ahead_hours = next(iter(past.values()), None), next(iter(coming.values()), None)
    days_past = None if station is None else _Days.of(station, zone)
    days_coming = None if ahead_hours is None else _Days.of(ahead_hours, zone)
    trees = []
    for tree in yard.trees:
        stands = tolerance_of_heat(tree, now.astimezone(zone).date(), catalogue_of(yard))
        told = _Told(tree, stands, zone, walls, painted.get(tree.id))
        before = told.of(past.get(tree.id), around_past.get(tree.id), days_past)
        ahead = told.of(coming.get(tree.id), around_coming.get(tree.id), days_coming, thirsty=tree.root_zone == "dry")
        trees.append(
            TreeHeat(
                tree=tree.id,
                name=tree.name,
                potted=tree.container is not None,
                known=bool(before.tissues or ahead.tissues or before.cool or ahead.cool),
                past=before.tissues,
                leaf_dry_c=before.leaf_dry_c,
                coming=ahead.tissues,
                days=ahead.days,
                past_days=before.days,
                evidence=stands.evidence,
            )
        )
    hottest = None if station is None or not station.known.any() else int(np.nanargmax(station.t_air_c[0]))
    return HeatSeason(
        since=since,
        now=now,
        hours=int((now - since).total_seconds() // 3600),
        known_hours=0 if station is None else int(station.known.sum()),
        hottest_air_c=None if station is None or hottest is None else float(station.t_air_c[0, hottest]),
        hottest_air_at=None if station is None or hottest is None else as_datetime(station.time_utc[hottest]),
        forecast_until=None if ahead_hours is None else as_datetime(ahead_hours.time_utc[-1]),
        trees=tuple(trees),
    )


def _painted(house: House, now: datetime) -> dict[str, datetime]:
    """Give when the bark of trees was painted white, the first time that still counts."""
    found: dict[str, datetime] = {}
    for entry in house.ledger.current(kind="deed", since=now - PAINT_LASTS):
        body = says(entry)
        if entry.tree is not None and isinstance(body, Deed) and body.what == "whitewashed":
            found[entry.tree] = min(entry.at, found.get(entry.tree, entry.at))
    return found


def tolerance_of_heat(tree: Tree, on: date, known: Catalogue | None = None) -> HeatTolerance:
    """Give what heat a tree of a yard stands on a day.

    Parameters
    ----------
    tree : Tree
    on : date
    known : Catalogue or None
        That of the yard, with its own kinds.

    Returns
    -------
    HeatTolerance
    """
    from fruitwall.plants.heat import heat_tolerance
    from fruitwall.yard.plan import tree_age_years

    planted = None if tree.planted is None or tree.planted > on else (on - tree.planted).days / 365.25
    return heat_tolerance(
        tree.taxon,
        age_years=tree_age_years(tree, on),
        potted=tree.container is not None,
        catalogue=known,
        height_m=tree.height_m,
        planted_years=planted,
    )


def _forecast_only(hours: SpotHours) -> SpotHours:
    """Cut off what is of other years."""
    return _cut(hours, slice(0, hours.n_forecast))


def _cut(hours: SpotHours, part: slice) -> SpotHours:
    """Take some of the hours."""

    def felt(one: Felt) -> Felt:
        return replace(one, **{each.name: getattr(one, each.name)[:, part] for each in fields(one)})

    weather = ("t_air_c", "t_dew_c", "wind_m_s", "cloud", "rain_mm", "open_sun_w_m2", "sun_w_m2", "wind_here_m_s")
    return replace(
        hours,
        time_utc=hours.time_utc[part],
        known=hours.known[part],
        done=felt(hours.done),
        alone=felt(hours.alone),
        **{name: getattr(hours, name)[:, part] for name in weather},
    )


@dataclass(frozen=True)
class _Hot:
    """What is told of some hours of a tree."""

    tissues: tuple[HotTissue, ...] = ()
    days: tuple[HeatDay, ...] = ()
    leaf_dry_c: float | None = None
    cool: bool = False
    """Known, but never warm."""


class _Told:
    """Tells of one tree what some hours did to it."""

    def __init__(
        self, tree: Tree, stands: HeatTolerance, zone: ZoneInfo, walls: Mapping[str, str], painted: datetime | None
    ) -> None:
        self._tree, self._stands, self._zone, self._walls, self._painted = tree, stands, zone, walls, painted

    def of(self, hours: SpotHours | None, around: Around | None, days: _Days | None, *, thirsty: bool = False) -> _Hot:
        """Tell of some hours; nothing where none is known."""
        if hours is None or days is None or not np.isfinite(hours.done.air_c).any():
            return _Hot()
        hot = hot_hours(hours, self._tree, around=around, only_above_c=COOL_C, watered=not thirsty)
        if self._painted is not None and (white := hours.time_utc > as_datetime64(self._painted)).any():
            pale = hot_hours(hours, self._tree, around=around, only_above_c=COOL_C, whitewash=True)
            hot.bark_c[:, white] = pale.bark_c[:, white]
        series: dict[Tissue, Array] = {"leaf": hot.leaf_c, "fruit": hot.fruit_c, "bark": hot.bark_c}
        if self._tree.container is not None:
            series["root"] = hot.root_c
        found = {tissue: values for tissue, values in series.items() if np.isfinite(values).any()}
        if "leaf" not in found:
            return _Hot(cool=True)
        dry = _leaf_dry_c(hot, around)
        tissues = tuple(self._tissue(tissue, values, hours, hot, around) for tissue, values in found.items())
        own: dict[Tissue, Array] = {tissue: values for tissue, values in found.items() if tissue != "fruit"}
        return _Hot(tissues, self._days(days, own, hot.leaf_c, dry), float(np.nanmax(dry)))

    def _tissue(
        self, tissue: Tissue, values: Array, hours: SpotHours, hot: HotTissues, around: Around | None
    ) -> HotTissue:
        from fruitwall.plants.heat import heat_harm

        begins = self._stands.of(tissue)
        filled = np.where(np.isfinite(values), values, -np.inf)
        hottest = filled.max(axis=1)
        # The member in the middle: what is told of the hour is of one course of the weather.
        member = int(np.argsort(hottest, kind="stable")[(hottest.size - 1) // 2])
        at = int(filled[member].argmax())
        light = hot.light
        air, dew = float(light.t_air_c[member, at]), float(light.t_dew_c[member, at])
        drier = float(saturation_vapour_pressure(air) - saturation_vapour_pressure(dew))
        reasons, wall = self._why(tissue, member, at, light, around, drier)
        return HotTissue(
            tissue=tissue,
            begins=Begins(mean_c=begins.mean_c, sd_k=begins.sd_k),
            hottest_c=float(np.median(hottest)),
            at=as_datetime(hours.time_utc[at]),
            air_c=air,
            wind_m_s=float(light.wind_m_s[member, at]),
            vpd_kpa=max(drier, 0.0),
            harm=float(heat_harm(hottest, self._stands, tissue)[:, HARM:].sum(axis=1).mean()),
            hours_above=float((filled >= begins.mean_c).sum(axis=1).mean()),
            hours_at_levels=tuple(float((filled >= level).sum(axis=1).mean()) for level in LEVELS_C),
            reasons=reasons,
            wall=wall,
        )

    def _why(
        self, tissue: Tissue, member: int, at: int, light: Daylight, around: Around | None, drier_kpa: float
    ) -> tuple[tuple[Reason, ...], str | None]:
        """Give what made a tissue hot at an hour, and the wall that had a part in it."""
        sunny = float(light.beam_w_m2[member, at]) >= SUNNY_W_M2
        reasons: list[Reason] = []
        if tissue == "root":
            reasons.append("pot")
        elif sunny:
            reasons.append("sun")
        wall = None
        if around is not None and around.spot.wall > 0.0:
            sends = around.wall_above_w_m2[member, at] / around.spot.wall
            warm = around.spot.wall * (sends - float(black_body_w_m2(light.t_air_c[member, at])))
            if warm + around.thrown_w_m2[member, at] >= WALL_W_M2:
                reasons.append("wall")
                most = int(np.argmax(around.spot.wall_shares))
                wall = self._walls.get(around.spot.wall_ids[most].split("/")[0])
        if light.wind_m_s[member, at] < STILL_M_S:
            reasons.append("still")
        if tissue == "leaf" and drier_kpa >= DRY_AIR_KPA:
            reasons.append("dry_air")
        return tuple(reasons), wall

    def _days(self, days: _Days, own: Mapping[Tissue, Array], leaf_c: Array, leaf_dry_c: Array) -> tuple[HeatDay, ...]:
        """Tell day by day; a day is that of the yard's clock."""
        from fruitwall.plants.heat import heat_harm

        known = np.isfinite(days.hottest(leaf_c)).any(axis=0)
        chances: dict[Tissue, Array] = {}
        hot = np.zeros(leaf_c.shape, dtype=bool)
        for tissue, values in own.items():
            hot |= np.where(np.isfinite(values), values, COOL_C) >= self._stands.of(tissue).mean_c
            harm = heat_harm(days.hottest(values), self._stands, tissue)
            chances[tissue] = harm[..., HARM:].sum(axis=-1).mean(axis=0)
        leaf, dry = (np.median(days.hottest(values), axis=0) for values in (leaf_c, leaf_dry_c))
        hours = np.add.reduceat(hot, days.first, axis=1).mean(axis=0)
        root = np.median(days.hottest(own["root"]), axis=0) if "root" in own else None
        found = []
        for row in np.flatnonzero(known):
            worst = max(chances, key=lambda one: float(chances[one][row]))  # used at once
            found.append(
                HeatDay(
                    day=days.day[row],
                    leaf_c=float(leaf[row]),
                    leaf_dry_c=float(dry[row]),
                    root_c=None if root is None else float(root[row]),
                    harm=float(chances[worst][row]),
                    worst=worst,
                    hot_hours=float(hours[row]),
                )
            )
        return tuple(found)


@dataclass(frozen=True, eq=False)
class _Days:
    """Which hours belong to which day of the yard's clock."""

    day: tuple[date, ...]
    first: NDArray[np.intp]
    """Where each day begins."""

    @classmethod
    def of(cls, hours: SpotHours, zone: ZoneInfo) -> _Days:
        """Part the hours: one that ends at midnight belongs to the day before."""
        ends = [as_datetime(one).astimezone(zone).date() for one in hours.time_utc - np.timedelta64(1, "s")]
        days, first = np.unique(np.array([one.toordinal() for one in ends]), return_index=True)
        return cls(tuple(date.fromordinal(int(one)) for one in days), first)

    def hottest(self, values: Array) -> Array:
        """Give the hottest hour of each day, shape (member, day); not a number on days that are not known or cool."""
        top = np.maximum.reduceat(np.where(np.isfinite(values), values, -np.inf), self.first, axis=1)
        return np.where(np.isfinite(top), top, np.nan)


def _leaf_dry_c(hot: HotTissues, around: Around | None) -> Array:
    """Leaf with pores shut, where it was worked out with open ones. [°C]"""
    from fruitwall.physics.daylight import sunlit_leaf_c

    width = USUAL_LEAF_M if around is None else around.body.leaf_width_m
    wanted = np.asarray(np.isfinite(hot.leaf_c).any(axis=0))
    dry = np.full_like(hot.leaf_c, np.nan)
    dry[:, wanted] = sunlit_leaf_c(_hours_of(hot.light, wanted), width, water=0.0)
    return dry
