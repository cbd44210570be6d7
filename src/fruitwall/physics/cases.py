"""Turn trees and treatments into the numbers that the kernel marches: one case for each tree under each treatment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import lru_cache
from math import isnan

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import Body
from fruitwall.physics.convection import LEAF_SHAPE as LEAF_SIZE
from fruitwall.physics.convection import MOLAR_HEAT, VAPOUR_OVER_HEAT, forced, free
from fruitwall.physics.cooling import inversion_k
from fruitwall.physics.covers import WETS_AFTER_H
from fruitwall.physics.enclosure import (
    OPEN_HEM_M_S,
    OPEN_HEM_PER_WIND,
    TOUCH_COVER,
    Enclosure,
    enclose,
)
from fruitwall.physics.rootball import root_ball_of
from fruitwall.physics.slab import Slab, Terms
from fruitwall.physics.soil import Season, freezing_of, ground_albedo, ground_of, lag_k
from fruitwall.physics.spot import Spot
from fruitwall.physics.treatment import Night, Treatment
from fruitwall.weather.forcing import as_datetime64
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

EMISSIVITY = 0.96
"""Of leaf, bark and soil; the kernel's own constant. [0-1]"""

AIR_J_M3K = 1290.0
"""Heat capacity of air at sea level and 0 °C. [J/(m³ K)]"""

CALM_DRIFT_M_S = 0.10
"""Drift of the air that is left when the forecast says calm: anemometers stall and slopes drain. Our judgement; a leaf
of 5 cm on a clear dry night is then 3 K below the air, the textbook's 3 to 5. [m/s]"""

OPEN_EXCHANGE_M_S = 0.015
"""Exchange of a standing crown's air with that around in calm air, per ground area. Our judgement. [m/s]"""

STANDING = 0.15
"""A crown through whose sides less wind comes than this, per ground area, is a low wide bed rather than a standing
crown, and its calm exchange falls with it. Our judgement."""

LOW_EXCHANGE = 0.11
"""Exchange of a low closed canopy per wind at its top: k²/ln²((h - d)/z₀) with the log profile's d = 0.67 h and
z₀ = 0.1 h (as in FAO-56 eq. 4, without its excess resistance, which here is the leaf's own). [-]"""

CROWN_POROSITY = 0.3
"""Share of the wind that passes through a crown rather than around it. Our judgement."""

ENCLOSED_LEFT = 0.2
"""Share of the exchange that is left in a fully enclosed corner. Our judgement."""

INSIDE_WIND_M_S = 0.03
"""Air movement under a closed cover. [m/s]"""

GROUND_SIZE_M = 0.5
"""Size of the patches over which air passes the ground. [m]"""

WALL_EXCHANGE = 6.0
"""Exchange of a corner's air with its walls: 3 W/(m² K) times twice the wall's share of the view. [W/(m² K)]"""

SKIN_NOMINAL = 9.0
"""Exchange outside a cover by which the resistance of the cloth itself is weighed. [W/(m² K)]"""

STOMATA_PER_SUN = 2.5e-4
"""Conductance of leaves in sunlight: 0.1 mol/(m² s) at 400 W/m², an evergreen leaf well watered. [mol/(m² s)/(W/m²)]"""

COVERED_STOMATA = 0.3
"""Of that under a cover, whose air is nearly saturated: makes the overheating estimate err to the warm side."""

LAMP_RADIATES = {"incandescent": 0.65, "led": 0.3}
"""Share of a lamp's power that leaves as radiation; the rest warms the air (from memory)."""

WOOD_J_M3K = 800.0 * 2700.0
"""Heat capacity of green wood (fruit-time-constant in tests/checks/tissue.yaml). [J/(m³ K)]"""

FRUIT_J_M3K = 900.0 * 3600.0
"""Heat capacity of fruit (same check). [J/(m³ K)]"""

FRUIT_FREEZES_J_M3 = 900.0 * 0.85 * 334e3
"""Heat that a fruit of 85 % water sets free as it freezes (fresh fruit 80-90 %, food tables; from memory). [J/m³]"""

WATER_J_M3K, WATER_FREEZES_J_M3 = 4.19e6, 334e6
"""Heat capacity of water, and the heat that it sets free as it freezes. [J/(m³ K)], [J/m³]"""

THIN_ICE_M = 0.0005
"""The first ice is never thinner in the calculation, so that its conductance has an end. [m]"""

BARREL_EXCHANGE = 7.5
"""Of a barrel's skin with the air around it: 3 by free convection, 4.5 by radiation at 0 °C. [W/(m² K)]"""

BARREL_SLENDER = 1.5
"""Height of a barrel over its width (a common steel drum is 0.88 m by 0.57 m)."""

BARREL_ABSORBS = 0.9
"""Share of sun that a dark barrel takes up (from memory). [0-1]"""

ALWAYS_ON_C = 1000.0

SIDE_VIEW = 0.37
"""Longwave deficit of a vertical surface over that of a level one under a clear sky, whose rim is warmer than its top:
after the angular law of Unsworth & Monteith 1975 (from memory). [-]"""

SIDE_SUN = 0.5
"""Sun on the sides of a cover, mean of all its sides, over that on level ground: with the winter sun 30 to 45° high a
round tower catches on its skin 1/π of cot(height) of the beam, half of the diffuse light, some of the ground's. [-]"""

SIDE_SUN_WARMS = 0.3
"""Share of that sun, once caught under the cover, that warms the air: a fifth is reflected, six tenths of the rest go
into vapour (a tunnel's moist plants). Our judgement, such that closed tunnels come to the 10 to 20 K of practice."""

SIDE_SUN_TO_GROUND = 0.5
"""Share of the sideways sun past the crown that falls on the covered ground; the rest leaves on the far side. Our
judgement."""

COVER_FORCED, COVER_FREE = 6.76, 0.72
"""Outer skin of a cover: 0.95 + 6.76 √u W/(m² K), Papadakis et al. 1992 for greenhouse covers (from memory; exponent
0.49), the calm part spread over differences of some 3 K."""

VAPOUR_STILL = 3.0
"""Exchange of air with ground and skin under a closed cover. [W/(m² K)]"""

VAPOUR_HEAT = 0.71
"""Heat carried by vapour over that carried by air, at 0 °C between wet surfaces: λ/P x 1.08/29.3 x 0.0445 kPa/K."""

NIGHTS_APART = timedelta(hours=2)
"""Nights whose windows lie further apart do not follow each other."""

GROUND_WETNESS = {"dry": 0.1, "moist": 0.5, "wet": 0.9}
"""How much of its free evaporation the ground gives. Our judgement."""


@dataclass(frozen=True, eq=False)
class Cases:
    """Arrays of the kernel, first axis the case; see `kernel_rows` for the parameters.

    Attributes
    ----------
    params : ndarray, shape (case, phase, PARAMETERS)
    phase : ndarray, shape (case, step)
        Phase of every step, -1 indoors.
    ground : ndarray, shape (case, phase)
        0 before, 1 after watering.
    change : ndarray, shape (case, TERMS, TERMS + 2)
        What watering does to the ground's terms: factors of the terms, the surface and the water.
    face_ids, face_shares, face_low : ndarray, shapes (case, face), (case, face), (case, phase, face)
    room_of : ndarray, shape (case,)
        Row of the room, -1 for none.
    bodies : ndarray, shape (case, BODY_PARAMETERS)
    spots : list of Spot
        By case.
    """

    params: FloatArray
    phase: IntArray
    ground: IntArray
    change: FloatArray
    face_ids: IntArray
    face_shares: FloatArray
    face_low: FloatArray
    room_of: IntArray
    bodies: FloatArray
    spots: list[Spot]


@dataclass(frozen=True)
class Setting:
    """What all cases share.

    Attributes
    ----------
    soil, moisture : str
        Ordinary ground.
    offset_k : float
        Clear-night offset of the yard. [K]
    step_s : float
        Time step. [s]
    air_density : float
        Over that at sea level.
    season : Season
        How the ground's temperatures lag behind those of the air at the start.
    """

    soil: str
    moisture: str
    offset_k: float
    step_s: float
    air_density: float
    season: Season


def open_air(spot: Spot, body: Body, setting: Setting) -> FloatArray:
    """Give the parameters of an uncovered plant at its spot, ground left out."""
    p = np.zeros(k.PARAMETERS)
    known_low = spot.wall_below
    p[k.P_SKY], p[k.P_ROOF], p[k.P_AIR_VIEW] = spot.sky, spot.roof, spot.canopy
    p[k.P_WALL_LOW] = known_low
    p[k.P_COOLING] = setting.offset_k - spot.colder_k + spot.learned_clear_k + float(inversion_k(spot.height_m, 1.0))
    p[k.P_WARMER] = spot.learned_k
    p[k.P_WIND] = spot.wind_share * wind_profile(spot.height_m)
    enclosed = 1.0 - (1.0 - ENCLOSED_LEFT) * spot.stillness
    p[k.P_CALM2] = (CALM_DRIFT_M_S * enclosed) ** 2
    p[k.P_DIFFUSE] = spot.diffuse_share
    p[k.P_FOLIAGE] = body.foliage_share
    leaf = LEAF_SIZE * body.leaf_width_m
    p[k.P_LEAF_A], p[k.P_LEAF_B] = forced(leaf), free(leaf)
    p[k.P_IN_WIND_MUL] = 1.0
    p[k.P_SOIL_A], p[k.P_SOIL_B] = forced(GROUND_SIZE_M) * 0.5**0.5, free(GROUND_SIZE_M)
    p[k.P_EXCHANGE0], p[k.P_EXCHANGE1] = crown_exchange(spot, body, setting)
    p[k.P_WALL_AIR] = WALL_EXCHANGE
    p[k.P_SUN_THROUGH] = 1.0
    p[k.P_ALBEDO] = ground_albedo(spot)
    p[k.P_THERMOSTAT] = ALWAYS_ON_C
    p[k.P_DEPOSITION] = 2.0 * VAPOUR_OVER_HEAT / MOLAR_HEAT
    p[k.P_STOMATA] = STOMATA_PER_SUN
    p[k.P_CONTACT_LEAF] = 1.0
    return p


def crown_exchange(spot: Spot, body: Body, setting: Setting) -> tuple[float, float]:
    """Exchange of an open crown's air with that around: in calm, and per m/s of wind. [W/(m² K)]"""
    through = CROWN_POROSITY * body.height_m / (np.pi / 4 * body.crown_diameter_m)
    left = 1.0 - (1.0 - ENCLOSED_LEFT) * spot.stillness
    heat = AIR_J_M3K * setting.air_density * left
    return heat * OPEN_EXCHANGE_M_S * min(through / STANDING, 1.0), heat * float(np.clip(through, LOW_EXCHANGE, 1.0))


def wind_profile(height_m: float) -> float:
    """Give the wind at a height over that at 10 m, over short grass (FAO-56 eq. 47), held below 0.5 m."""
    return float(wind_at_height(1.0, 10.0, max(height_m, 0.5)))


def heated(p: FloatArray, treatment: Treatment, body: Body, ground_m2: float) -> None:
    """Add lamps and heater over an area of ground."""
    p[k.P_HEATER] = treatment.heater_w / ground_m2
    p[k.P_THERMOSTAT] = ALWAYS_ON_C if isnan(treatment.thermostat_c) else treatment.thermostat_c
    power = treatment.lamp_w / ground_m2
    radiated = LAMP_RADIATES[treatment.lamp_kind] * power
    caught = radiated * body.foliage_share
    leaves = max(body.leaf_area_index * min(body.crown_area_m2 / ground_m2, 1.0), p[k.P_FOLIAGE], 0.1)
    p[k.P_LAMP_LEAF] = caught / leaves
    inner = caught * max(1.0 - p[k.P_FOLIAGE] / leaves, 0.0)
    p[k.P_LAMP_AIR] = power - radiated + inner
    p[k.P_LAMP_SOIL] = 0.5 * (radiated - caught)
    # What reaches the cover: it keeps what it does not let through.
    p[k.P_LAMP_COVER] = 0.5 * (radiated - caught) * p[k.P_HOLD]


def covered(
    spot: Spot, body: Body, treatment: Treatment, enclosure: Enclosure, setting: Setting, *, wet: bool
) -> FloatArray:
    """Give the parameters of a plant under a cover, ground left out; `wet` with water condensed on it."""
    p = open_air(spot, body, setting)
    ground = enclosure.ground_m2
    p[k.P_COVERED] = 1.0
    p[k.P_FOLIAGE] = body.foliage_share * min(body.crown_area_m2 / ground, 1.0)
    mark = "wet_" if wet else ""
    through, emits = enclosure.seen(f"{mark}longwave_through"), enclosure.seen(f"{mark}longwave_emissivity")
    reflects = max(1.0 - through - emits, 0.0)
    again = 1.0 - reflects * (1.0 - EMISSIVITY)  # what the plants reflect meets the cover once more
    p[k.P_THROUGH], p[k.P_EMIT_IN] = through / again, emits / again
    p[k.P_REFLECT], p[k.P_HOLD] = reflects * EMISSIVITY / again, emits
    top, side = enclosure.areas(f"{mark}longwave_emissivity")
    # Neighbours that hide the low sky take more of it from the sides of a cover than from what lies level.
    low_sky = SIDE_VIEW * min(spot.side_sky / max(0.5 * spot.sky, 1e-6), 1.0)
    p[k.P_OUT_ENV], p[k.P_OUT_AIR] = top + low_sky * side, (1.0 - low_sky) * side
    p[k.P_OUT_SUM] = top + side
    p[k.P_OUT_FACTOR] = 1.0 / (1.0 + SKIN_NOMINAL * enclosure.seen("resistance_m2kw"))
    p[k.P_COVER_AREA] = enclosure.top_ratio + enclosure.side_ratio
    size = float(np.clip(ground**0.5, 0.3, 3.0))
    p[k.P_COVER_IN_A], p[k.P_COVER_IN_B] = forced(size), free(size)
    p[k.P_COVER_OUT_A], p[k.P_COVER_OUT_B] = COVER_FORCED, COVER_FREE
    p[k.P_COVER_DEPOSITION] = VAPOUR_OVER_HEAT / MOLAR_HEAT
    p[k.P_SUN_THROUGH] = enclosure.seen("sun_through")
    top, side = enclosure.areas("sun_absorbed")
    p[k.P_SUN_COVER] = top + SIDE_SUN * side
    touching = enclosure.touching
    p[k.P_CONTACT_LEAF] = 1.0 - touching
    p[k.P_CONTACT_COVER], p[k.P_CONTACT_AIR] = touching * TOUCH_COVER, touching * (1.0 - TOUCH_COVER)
    heated(p, treatment, body, ground)
    if enclosure.sides is None:
        return p  # the crown's air moves as in the open
    # A tall cover loses heat on all its sides, and catches sun there as well.
    crown = body.foliage_share * min(body.crown_diameter_m / ground**0.5, 1.0)
    caught = crown + SIDE_SUN_TO_GROUND * (1.0 - crown)
    p[k.P_SUN_AIR] = SIDE_SUN_WARMS * caught * SIDE_SUN * enclosure.areas("sun_through")[1]
    heat = AIR_J_M3K * setting.air_density
    leak0, leak1 = (sum(enclosure.areas(name)) for name in ("leak_calm_m_s", "leak_per_wind"))
    p[k.P_WALL_AIR] = 0.0
    p[k.P_IN_WIND_MUL], p[k.P_IN_WIND_ADD] = 0.0, INSIDE_WIND_M_S**0.5
    if enclosure.to_ground:
        p[k.P_DEPOSITION] = 0.0  # the vapour inside comes from the ground and goes to the cover
        p[k.P_WALL_LOW] = 0.0
        p[k.P_STOMATA] *= COVERED_STOMATA
        p[k.P_MOIST] = _vapour_path(spot, setting, p[k.P_COVER_AREA], watered=treatment.wet_ground)
    else:
        leak0, leak1 = leak0 + OPEN_HEM_M_S, leak1 + OPEN_HEM_PER_WIND
    p[k.P_EXCHANGE0], p[k.P_EXCHANGE1] = heat * leak0, heat * leak1
    return p


def _vapour_path(spot: Spot, setting: Setting, cover_area: float, *, watered: bool) -> float:
    """Heat that vapour carries from moist ground to the inside of a closed cover. [W/(m² K)]"""
    wet = GROUND_WETNESS["wet" if watered else setting.moisture] * (1.0 - spot.paving_share - spot.pond_share)
    ground, skin = VAPOUR_STILL, VAPOUR_STILL * cover_area
    return (wet + spot.pond_share) * VAPOUR_HEAT * ground * skin / (ground + skin)


def lay_barrels(b: FloatArray, treatment: Treatment, ground_m2: float) -> float:
    """Write the water that stands under a cover into the parameters of a case; give its exchange. [W/(m² K)]"""
    volume = treatment.water_l / 1000.0 / ground_m2
    vessel = treatment.vessel_l / 1000.0
    width = float((vessel / (np.pi / 4 * BARREL_SLENDER)) ** (1 / 3))
    vessels = volume / vessel
    side, top = vessels * np.pi * width * BARREL_SLENDER * width, vessels * np.pi / 4 * width**2
    b[k.B_BARREL_C], b[k.B_BARREL_L] = WATER_J_M3K * volume, WATER_FREEZES_J_M3 * volume
    b[k.B_BARREL_G] = BARREL_EXCHANGE * (side + top)
    b[k.B_BARREL_SUN] = BARREL_ABSORBS * (SIDE_SUN * side + top)
    return float(b[k.B_BARREL_G])


def body_parameters(body: Body) -> FloatArray:
    """Give the parameters of twig, limb, fruit and root ball."""
    b = np.zeros(k.BODY_PARAMETERS)
    fruit = 0.06 if isnan(body.fruit_diameter_m) else body.fruit_diameter_m
    b[k.B_TWIG_C] = WOOD_J_M3K * body.twig_diameter_m / 4
    b[k.B_TWIG_A], b[k.B_TWIG_B] = forced(body.twig_diameter_m), free(body.twig_diameter_m)
    b[k.B_WOOD_C] = WOOD_J_M3K * body.wood_diameter_m / 4
    b[k.B_WOOD_A], b[k.B_WOOD_B] = forced(body.wood_diameter_m), free(body.wood_diameter_m)
    b[k.B_FRUIT_C] = FRUIT_J_M3K * fruit / 6
    b[k.B_FRUIT_A], b[k.B_FRUIT_B] = forced(fruit), free(fruit)
    b[k.B_FRUIT_FREEZES] = -ALWAYS_ON_C if isnan(body.fruit_freezing_c) else body.fruit_freezing_c
    b[k.B_FRUIT_L] = 0.0 if isnan(body.fruit_freezing_c) else FRUIT_FREEZES_J_M3 * fruit / 6
    b[k.B_SHADE] = 1.0 - body.foliage_share
    b[k.B_RIM_C] = b[k.B_CORE_C] = 1.0
    if body.potted:
        ball = root_ball_of(body)
        b[k.B_POTTED] = 1.0
        b[k.B_SKIN_A], b[k.B_SKIN_0] = ball.side_forced, ball.side_free
        b[k.B_WALL_R], b[k.B_RIM_AREA] = ball.wall_m2kw, ball.side_m2
        b[k.B_TOP_RIM], b[k.B_TOP_CORE] = ball.top_rim, ball.top_core
        b[k.B_FLOOR_RIM], b[k.B_FLOOR_CORE] = ball.floor_rim, ball.floor_core
        b[k.B_BETWEEN] = ball.between
        b[k.B_RIM_C], b[k.B_CORE_C] = ball.rim_j_k, ball.core_j_k
        b[k.B_RIM_L], b[k.B_CORE_L] = ball.rim_freezing_j, ball.core_freezing_j
    return b


def lay_ground(p: FloatArray, terms: Terms, season: Season) -> None:
    """Write a ground's terms into the parameters of a phase."""
    for name, values in ((k.P_DECAY, terms.decay), (k.P_OLD, terms.old[:, 0]), (k.P_NEW, terms.new[:, 0])):
        p[name : name + k.TERMS] = values
    p[k.P_WEIGHT : k.P_WEIGHT + k.TERMS] = terms.weight
    p[k.P_REST : k.P_REST + k.TERMS] = terms.rest[:, 0]
    p[k.P_LAG : k.P_LAG + k.TERMS] = terms.project @ lag_k(terms.depth_m, season)
    p[k.P_DIRECT] = terms.direct[0]
    p[k.P_OWN] = terms.direct[0] - terms.weight @ terms.new[:, 0]


def lay_ice(p: FloatArray, solid: float, latent: float) -> None:
    """Write how the ground freezes into the parameters of a phase; its terms are there already."""
    p[k.P_FROZEN_K], p[k.P_FROZEN_PER], p[k.P_STIFF] = solid, 0.0, p[k.P_OWN]
    if latent > 0.0:
        p[k.P_FROZEN_PER] = 1.0 / latent
        p[k.P_STIFF] = max(solid / THIN_ICE_M, 2.0 * p[k.P_DIRECT])


@dataclass(frozen=True, eq=False)
class Clock:
    """When what is on: masks over the steps.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (step,)
    night : ndarray, shape (step,)
        Number of the night whose noon-to-noon window holds the step, -1 outside.
    on : ndarray, shape (step,)
        Hours since the cover went on, NaN while it is off.
    through : ndarray, shape (step,)
        The same for a cover that stays on from the first to the last of nights that follow each other.
    """

    time_utc: NDArray[np.datetime64]
    night: IntArray
    on: FloatArray
    through: FloatArray


def clock_of(time_utc: NDArray[np.datetime64], nights: Sequence[Night]) -> Clock:
    """Lay the nights over the steps: a step belongs to what holds during it."""
    night = np.full(time_utc.size, -1, dtype=np.int64)
    on = np.full(time_utc.size, np.nan)
    through = np.full(time_utc.size, np.nan)
    first = time_utc[0]
    for number, each in enumerate(nights):
        start, end, put, taken = (
            as_datetime64(moment) for moment in (each.start_utc, each.end_utc, each.cover_on_utc, each.cover_off_utc)
        )
        night[(time_utc > start) & (time_utc <= end)] = number
        during = (time_utc > put) & (time_utc <= taken)
        on[during] = (time_utc[during] - put) / np.timedelta64(3600, "s")
        if not number or each.start_utc - nights[number - 1].end_utc > NIGHTS_APART:
            first = put
        stays = (time_utc > first) & (time_utc <= taken)
        through[stays] = (time_utc[stays] - first) / np.timedelta64(3600, "s")
    return Clock(time_utc, night, on, through)


def build(
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    clock: Clock,
    setting: Setting,
    faces: dict[str, int],
    rooms: dict[int, int],
) -> Cases:
    """Give the cases of all trees and treatments, tree by tree.

    Parameters
    ----------
    spots, bodies, treatments : sequence, one per tree
    clock : Clock
    setting : Setting
    faces : dict
        Row of every face that is marched, by its id; other walls are at air temperature.
    rooms : dict
        Row of every room, by the number of the case.

    Returns
    -------
    Cases
    """
    made = [
        _Case(spot if treatment.spot is None else treatment.spot, body, treatment, clock, setting)
        for spot, body, each in zip(spots, bodies, treatments, strict=True)
        for treatment in each
    ]
    n, steps = len(made), clock.time_utc.size
    phases = max(len(case.params) for case in made)
    seen = max(1, *(len(case.spot.wall_ids) for case in made))
    params = np.zeros((n, phases, k.PARAMETERS))
    ground = np.zeros((n, phases), dtype=np.int64)
    face_ids = np.full((n, seen), -1, dtype=np.int64)
    face_shares, face_low = np.zeros((n, seen)), np.zeros((n, phases, seen))
    for number, case in enumerate(made):
        spot = case.spot
        for column, (wall, share, low) in enumerate(
            zip(spot.wall_ids, spot.wall_shares, spot.wall_below_shares, strict=True)
        ):
            face_ids[number, column] = faces.get(wall, -1)
            stores = wall in faces
            face_shares[number, column] = share if stores else 0.0
            for phase, p in enumerate(case.params):
                inside = p[k.P_WALL_LOW] == 0.0
                face_low[number, phase, column] = low if stores and not inside else 0.0
                p[k.P_AIR_VIEW] += 0.0 if stores else share
                p[k.P_AIR_VIEW_LOW] += 0.0 if stores or inside else low
                p[k.P_WALL_SHARE] += share if stores else 0.0
        for phase, p in enumerate(case.params):
            params[number, phase] = p
            ground[number, phase] = case.grounds[phase]
    return Cases(
        params=params,
        phase=np.array([case.phase for case in made]).reshape(n, steps),
        ground=ground,
        change=np.array([case.change for case in made]),
        face_ids=face_ids,
        face_shares=face_shares,
        face_low=face_low,
        room_of=np.array([rooms.get(number, -1) for number in range(n)], dtype=np.int64),
        bodies=np.array([case.body_parameters for case in made]),
        spots=[case.spot for case in made],
    )


class _Case:
    """One tree under one treatment: its phases, and which holds when."""

    def __init__(self, spot: Spot, body: Body, treatment: Treatment, clock: Clock, setting: Setting) -> None:
        self.spot, self.body, self.treatment, self.setting = spot, body, treatment, setting
        self.params: list[FloatArray] = []
        self.grounds: list[int] = []
        self.change = np.zeros((k.TERMS, k.TERMS + 2))
        self._slabs = [ground_of(spot, setting.soil, setting.moisture)]
        if treatment.wet_ground:
            self._slabs.append(ground_of(spot, setting.soil, "wet"))
        terms = [_terms(slab, setting.step_s) for slab in self._slabs]
        if treatment.wet_ground:
            # The water comes at the temperature of the tap or well: that of the deeper ground.
            keeps = self._slabs[0].capacity_j_m2k / self._slabs[1].capacity_j_m2k
            self.change[:, : k.TERMS], both, self.change[:, k.TERMS + 1] = terms[0].into(terms[1], keeps)
            self.change[:, k.TERMS] = both[:, 0]
        self._terms = terms
        self.body_parameters = body_parameters(body)
        if not body.potted:
            weights, direct = terms[-1].reading(body.root_depth_m)
            self.body_parameters[k.B_ROOT_Z : k.B_ROOT_Z + k.TERMS] = weights
            self.body_parameters[k.B_ROOT_SOIL] = direct[0]
        self._lay_out(clock)

    def _lay_out(self, clock: Clock) -> None:
        """Make the phases and say which holds at every step."""
        treatment = self.treatment
        wet = _wet_from(treatment, clock)
        self.phase = np.zeros(clock.time_utc.size, dtype=np.int64)
        plain = open_air(self.spot, self.body, self.setting)
        on = ~np.isnan(clock.on)
        bare = np.isnan(clock.through if treatment.stays_by_day else clock.on)
        kinds: list[tuple[FloatArray, NDArray[np.bool_]]] = [(plain, bare)]
        if treatment.room is not None:
            kinds[0] = (plain, np.ones_like(on))
        elif treatment.covered:
            enclosure = enclose(treatment, self.body)
            kinds += self._covered(enclosure, clock)
            if treatment.water_l > 0.0:
                exchange = lay_barrels(self.body_parameters, treatment, enclosure.ground_m2)
                for params, _ in kinds[1:]:
                    params[k.P_BARREL] = exchange if enclosure.closed else 0.0
        elif treatment.lamp_w or treatment.heater_w:
            warm = plain.copy()
            heated(warm, treatment, self.body, self.body.crown_area_m2)
            kinds.append((warm, on))
        else:
            kinds[0] = (plain, np.ones_like(on))
        for watered in (False, True) if wet.any() else (False,):
            for params, when in kinds:
                number = len(self.params)
                self.phase[when & (wet == watered)] = number
                self.params.append(params.copy())
                self.grounds.append(int(watered))
                lay_ground(self.params[-1], self._terms[int(watered)], self.setting.season)
                solid, latent = freezing_of(self.spot, self.setting.soil, "wet" if watered else self.setting.moisture)
                lay_ice(self.params[-1], solid, latent)
        if treatment.room is not None:
            # Carried in before the first night, out after the last: by day too, whatever the air outside.
            self.phase[clock.night >= 0] = -1

    def _covered(self, enclosure: Enclosure, clock: Clock) -> list[tuple[FloatArray, NDArray[np.bool_]]]:
        """Covered phases: over moist ground it has water on it after a while; by day without lamps and heater."""
        treatment = self.treatment
        since = clock.through if treatment.stays_by_day else clock.on
        parts = [(treatment, ~np.isnan(since))]
        if treatment.stays_by_day and (treatment.lamp_w or treatment.heater_w):
            by_night = ~np.isnan(clock.on)
            parts = [(treatment, by_night), (replace(treatment, lamp_w=0.0, heater_w=0.0), parts[0][1] & ~by_night)]
        moist = treatment.wet_ground or self.setting.moisture != "dry"
        film = enclosure.top.holds_condensate or (enclosure.sides is not None and enclosure.sides.holds_condensate)
        phases = []
        for part, when in parts:
            dry = covered(self.spot, self.body, part, enclosure, self.setting, wet=False)
            if film and moist and enclosure.closed:
                wet = covered(self.spot, self.body, part, enclosure, self.setting, wet=True)
                phases += [(dry, when & (since <= WETS_AFTER_H)), (wet, when & (since > WETS_AFTER_H))]
            else:
                phases.append((dry, when))
        return phases


def _wet_from(treatment: Treatment, clock: Clock) -> NDArray[np.bool_]:
    """Steps on which the ground has been watered."""
    if not treatment.wet_ground:
        return np.zeros(clock.time_utc.size, dtype=bool)
    if treatment.wet_from_utc is not None:
        return np.asarray(clock.time_utc > as_datetime64(treatment.wet_from_utc))
    first = np.flatnonzero(clock.night >= 0)
    return np.asarray(clock.time_utc >= clock.time_utc[first[0] if first.size else 0])


@lru_cache(maxsize=256)
def _terms(slab: Slab, step_s: float) -> Terms:
    """Terms of a slab, kept because many trees stand on the same ground."""
    return slab.terms(step_s, k.TERMS)
