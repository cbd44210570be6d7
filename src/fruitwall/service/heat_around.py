"""What stands around a tree on a hot day: its spot in leaf, and how warm and bright the walls there are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.kept import Kept

if TYPE_CHECKING:
    from fruitwall.physics.body import Body
    from fruitwall.physics.daylight import Daylight
    from fruitwall.physics.faces import Face
    from fruitwall.physics.spot import Spot
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import SpotHours
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

Array = NDArray[np.float64]

CHUNK_H = 14 * 24
LEAD_H = 3 * 24
"""Walls are marched in pieces of two weeks, each begun three days before: the warmth of a wall of 30 cm is then that
of its days. Our judgement; keeps memory small. [h]"""

STEP_MINUTES = 30
"""Of walls. [min]"""

LOWEST_SUN_DEG = 5.0
"""Below this height of the sun its light on level ground says too little about what faces it. [degrees]"""

UNKNOWN_SUN_DEG = 50.0
UNKNOWN_BEAM = 0.85
UNKNOWN_SKY = 0.7
UNKNOWN_FOLIAGE = 0.7
"""Without the place of a tree: height of the sun, share of its light that comes from the disc, share of sky seen,
share of light that the crown stops. Our judgement; only where nobody gave the surroundings. [degrees], [-]"""


@dataclass(frozen=True, eq=False)
class Around:
    """Surroundings of one tree for the hours of one `SpotHours`.

    Attributes
    ----------
    spot : Spot
        In leaf.
    body : Body
        In leaf, with fruit of full size.
    latitude_deg, longitude_deg : float
    wall_above_w_m2, wall_below_w_m2 : ndarray [member, hour]
        Longwave that the walls add to the upper and the lower hemisphere, each weighed by its share. [W/m²]
    thrown_w_m2 : ndarray [member, hour]
        Sun that they throw at the crown. [W/m²]
    fruit_inside : bool
        Whether its fruit hangs below its own leaves.
    """

    spot: Spot
    body: Body
    latitude_deg: float
    longitude_deg: float
    wall_above_w_m2: Array
    wall_below_w_m2: Array
    thrown_w_m2: Array
    fruit_inside: bool = False


def arounds(house: House, hours: Mapping[str, SpotHours]) -> Mapping[str, Around]:
    """Give the surroundings of every tree of some hours.

    Parameters
    ----------
    house : House
    hours : Mapping of tree to SpotHours
        As `service.spot_hours` gives them: the same hours and weather for all trees.

    Returns
    -------
    Mapping of tree to Around
        Kept as long as the hours are. A tree that the yard no longer has is missing.
    """
    yard, _ = house.yard()
    return _KEPT.of(hours, yard, make=lambda: _arounds(yard, hours))


_KEPT: Kept[Mapping[str, Around]] = Kept(4)


def _arounds(yard: Yard, hours: Mapping[str, SpotHours]) -> Mapping[str, Around]:
    from fruitwall.plants.heat import BEARS_UNDER_CROWN
    from fruitwall.service.treatments import LEAFY_AREA_INDEX, body_of, kinds_of

    if not hours:
        return {}
    kinds = kinds_of(yard)
    spots, faces = _SURVEYED.of(yard, make=lambda: _surveyed(yard))
    warmth = walls_by_day(yard, next(iter(hours.values())), spots, faces)
    found = {}
    for tree, spot, (above, below, thrown) in zip(yard.trees, spots, warmth, strict=True):
        if tree.id not in hours:
            continue
        taxon = kinds[tree.id]
        body = replace(body_of(tree, taxon), leaf_area_index=LEAFY_AREA_INDEX, fruit_diameter_m=taxon.fruit_diameter_m)
        place = yard.location.latitude_deg, yard.location.longitude_deg
        found[tree.id] = Around(spot, body, *place, above, below, thrown, taxon.key in BEARS_UNDER_CROWN)
    return found


def _surveyed(yard: Yard) -> tuple[list[Spot], list[Face]]:
    """Look round in leaf: from every tree of a yard, and from its walls."""
    from fruitwall.physics.spot import survey_faces
    from fruitwall.service.treatments import spots_of

    return spots_of(yard, [[] for _ in yard.trees], winter=False)[0], survey_faces(yard, winter=False)


_SURVEYED: Kept[tuple[list[Spot], list[Face]]] = Kept(4)


def walls_by_day(
    yard: Yard, hours: SpotHours, spots: list[Spot], faces: list[Face]
) -> list[tuple[Array, Array, Array]]:
    """Give what the walls of a yard send to each spot.

    Parameters
    ----------
    yard : Yard
    hours : SpotHours
        Of any tree: the weather of all.
    spots : list of Spot
    faces : list of Face

    Returns
    -------
    list of (above, below, thrown), each ndarray [member, hour]
        As `Around` has them; a wall that is no face (a fence) is at air temperature and dark. Hours of unknown
        weather are not a number. [W/m²]
    """
    from fruitwall.physics.daylight import black_body_w_m2

    air = black_body_w_m2(hours.t_air_c)
    seen = {name for spot in spots for name in spot.wall_ids}
    asked = [face for face in faces if face.id in seen]
    rows = {face.id: row for row, face in enumerate(asked)}
    sent, thrown = _marched(yard, hours, asked, faces) if asked else (np.empty((0, *air.shape)),) * 2
    found = []
    for spot in spots:
        above, below, bright = (np.zeros_like(air) for _ in range(3))
        for name, share, low in zip(spot.wall_ids, spot.wall_shares, spot.wall_below_shares, strict=True):
            if name in rows:
                above += share * sent[rows[name]]
                below += low * sent[rows[name]]
                bright += share * thrown[rows[name]]
            else:
                above += share * air
                below += low * air
        found.append((above, below, bright))
    return found


def _marched(yard: Yard, hours: SpotHours, asked: list[Face], faces: list[Face]) -> tuple[Array, Array]:
    """Black-body flux and thrown sun of walls, means over the hours, shape (face, member, hour). [W/m²]"""
    from fruitwall.physics.daylight import black_body_w_m2
    from fruitwall.physics.steps import blocks_of, forcing_blocks, steps_of
    from fruitwall.physics.wall_march import march_walls

    count = hours.time_utc.size
    sent = np.full((len(asked), *hours.t_air_c.shape), np.nan)
    thrown = np.full_like(sent, np.nan)
    per_hour = 60 // STEP_MINUTES
    for first in range(0, count, CHUNK_H):
        last, begin = min(first + CHUNK_H, count), max(0, first - LEAD_H)
        if last - begin < 2:
            begin = max(0, last - 2)
        if begin == last - 1 or not hours.known[begin:last].any():
            continue
        steps = steps_of(_forcing(yard, hours, slice(begin, last)), STEP_MINUTES)
        blocks = blocks_of(steps.n_members)
        start = blocks.lay(steps.t_air_c[:, : 24 * per_hour].mean(axis=1))
        laid = forcing_blocks(steps, blocks)
        march = march_walls(asked, steps, blocks, laid, start, yard.ground.soil, yard.ground.moisture, among=faces)
        for row in range(len(asked)):
            for whole, values in (
                (sent, black_body_w_m2(blocks.take(march.temperature_c[row]))),
                (thrown, blocks.take(march.reflected_w_m2[row])),
            ):
                # The hour that ends at a stamp: the steps that end in it; the first stamp has only its own.
                hourly = np.concatenate(
                    [values[:, :1], values[:, 1:].reshape(values.shape[0], -1, per_hour).mean(axis=2)], axis=1
                )
                whole[row][:, first:last] = hourly[:, first - begin :]
    unknown = ~hours.known
    sent[..., unknown] = thrown[..., unknown] = np.nan
    return sent, thrown


def _forcing(yard: Yard, hours: SpotHours, part: slice) -> Forcing:
    """Make the hours weather again; gaps are bridged by straight lines so that walls can be marched through them."""
    from fruitwall.weather.forcing import Forcing

    time = hours.time_utc[part]
    at = np.arange(time.size, dtype=np.float64)

    def whole(values: Array) -> Array:
        rows = []
        for row in values[:, part]:
            known = np.isfinite(row)
            rows.append(np.interp(at, at[known], row[known]) if known.any() else np.zeros_like(row))
        return np.array(rows)

    air = whole(hours.t_air_c)
    issued = datetime.fromtimestamp(int(time[-1].astype("datetime64[s]").astype(np.int64)), UTC)
    return Forcing(
        time_utc=time,
        t_air_c=air,
        t_dew_c=np.minimum(whole(hours.t_dew_c), air),
        wind_m_s=whole(hours.wind_m_s),
        cloud=np.clip(whole(hours.cloud), 0.0, 1.0),
        shortwave_w_m2=whole(hours.open_sun_w_m2),
        rain_mm=whole(hours.rain_mm),
        latitude_deg=yard.location.latitude_deg,
        longitude_deg=yard.location.longitude_deg,
        elevation_m=yard.location.elevation_m or 0.0,
        source="hours of the season",
        issued_utc=issued,
        wind_height_m=2.0,
    )


def daylight_of(hours: SpotHours, around: Around | None) -> Daylight:
    """Give what a tree has around it by day.

    Parameters
    ----------
    hours : SpotHours
    around : Around or None
        None: nothing is known of the place; the sun is taken at a usual height and no wall stands there.

    Returns
    -------
    Daylight
    """
    from fruitwall.physics.air import saturation_vapour_pressure
    from fruitwall.physics.cases import wind_profile
    from fruitwall.physics.daylight import Daylight, black_body_w_m2, brightest_beam, ground_c, stirred_wind_m_s
    from fruitwall.physics.sky import BEST_BY_EVIDENCE, longwave_down
    from fruitwall.physics.spot import sun_visibility
    from fruitwall.physics.sun import extraterrestrial, split_global, sun_position

    air_c = hours.done.air_c
    dew_c = np.minimum(hours.t_dew_c, air_c)
    air = black_body_w_m2(air_c)
    sky = longwave_down(hours.t_air_c, saturation_vapour_pressure(hours.t_dew_c), hours.cloud, BEST_BY_EVIDENCE)
    level = hours.sun_w_m2
    if around is None:
        nothing = np.zeros_like(air_c)
        beam = UNKNOWN_BEAM * level / np.sin(np.radians(UNKNOWN_SUN_DEG))
        ground = black_body_w_m2(ground_c(level, air_c, hours.wind_here_m_s, "turf"))
        return Daylight(
            t_air_c=air_c,
            t_dew_c=dew_c,
            wind_m_s=hours.wind_here_m_s,
            beam_w_m2=beam,
            diffuse_w_m2=(1.0 - UNKNOWN_BEAM) * level,
            thrown_w_m2=nothing,
            ground_sun_w_m2=level,
            above_w_m2=UNKNOWN_SKY * sky + (1.0 - UNKNOWN_SKY) * air,
            below_w_m2=(1.0 - UNKNOWN_FOLIAGE) * ground + UNKNOWN_FOLIAGE * air,
            elevation_deg=np.full(hours.time_utc.size, UNKNOWN_SUN_DEG),
            azimuth_deg=np.full(hours.time_utc.size, 180.0),
        )
    spot = around.spot
    middle = hours.time_utc - np.timedelta64(1800, "s")
    sun = sun_position(middle, around.latitude_deg, around.longitude_deg)
    outside = extraterrestrial(middle)
    light = split_global(hours.open_sun_w_m2, sun.elevation_deg, outside)
    height = np.sin(np.radians(np.maximum(sun.elevation_deg, LOWEST_SUN_DEG)))
    facing = np.minimum(light.beam / height, brightest_beam(sun.elevation_deg, outside))
    facing = facing * sun_visibility(spot, sun.azimuth_deg, sun.elevation_deg)
    # Gusts that the sun stirs up reach the crown through the same shelter as the wind does.
    reach = spot.wind_share * wind_profile(spot.height_m)
    wind = np.hypot(hours.wind_here_m_s, reach * stirred_wind_m_s(hours.open_sun_w_m2, hours.t_air_c))
    surfaces = ((spot.ground, 1.0 - spot.paving_share - spot.pond_share), ("paving", spot.paving_share))
    ground = spot.pond_share * air
    for surface, share in surfaces:
        ground = ground + share * black_body_w_m2(ground_c(level, air_c, wind, surface))
    fol = around.body.foliage_share
    below = (1.0 - spot.wall_below) * ground + around.wall_below_w_m2
    return Daylight(
        t_air_c=air_c,
        t_dew_c=dew_c,
        wind_m_s=wind,
        beam_w_m2=facing,
        diffuse_w_m2=spot.diffuse_share * light.diffuse,
        thrown_w_m2=around.thrown_w_m2,
        ground_sun_w_m2=level,
        above_w_m2=spot.sky * sky + (spot.roof + spot.canopy) * air + around.wall_above_w_m2,
        below_w_m2=(1.0 - fol) * below + fol * air,
        elevation_deg=sun.elevation_deg,
        azimuth_deg=sun.azimuth_deg,
    )
