"""Why a leaf is as cold as it is: every flux of its balance at its coldest moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.body import Body
from fruitwall.physics.cases import EMISSIVITY
from fruitwall.physics.constants import STEFAN_BOLTZMANN, ZERO_C_K
from fruitwall.physics.faces import Face
from fruitwall.physics.kernel_lanes import ABSORBED, FROST_MORE, LATENT, STABLE_WIND
from fruitwall.physics.night import _March
from fruitwall.physics.spot import Spot
from fruitwall.physics.treatment import Night, Treatment
from fruitwall.weather.forcing import Forcing


@dataclass(frozen=True)
class Explanation:
    """One leaf at its coldest step of a night, in the member whose leaf minimum is the median.

    Attributes
    ----------
    time_utc : numpy.datetime64
    member : int
    station_c, spot_air_c, air_c, leaf_c, cover_c, ground_c, sky_c : float
        Air by the forecast; at the spot; at the leaves; the leaf; the cover (NaN without one); the ground's surface;
        a black sky that would send what the sky sends. [°C]
    wind_station_m_s, wind_spot_m_s : float
        At 10 m by the forecast, and at the spot. [m/s]
    cooling : float
        Strength of radiative cooling. [0-1]
    fluxes_w_m2 : dict of str to float
        What the leaf gains from each, per m² of leaf, both sides together: "sky", "roof", "walls", "canopy" (crowns,
        hills and fences), "cover", "ground", "foliage" (its own tree's), "air", "frost" (heat set free by dew and
        frost, less what evaporates), "lamps", "sun". Radiation is net of what the leaf sends back. They sum to zero.
    heater_w_m2 : float
        Heat that a heater gives to the air, per m² of covered ground.
    """

    time_utc: np.datetime64
    member: int
    station_c: float
    spot_air_c: float
    air_c: float
    leaf_c: float
    cover_c: float
    ground_c: float
    sky_c: float
    wind_station_m_s: float
    wind_spot_m_s: float
    cooling: float
    fluxes_w_m2: dict[str, float]
    heater_w_m2: float


def explain(
    forcing: Forcing,
    spot: Spot,
    body: Body,
    treatment: Treatment,
    night: Night,
    *,
    faces: Sequence[Face] = (),
    soil: str = "loam",
    moisture: str = "moist",
    step_minutes: int = 15,
    clear_night_offset_k: float = 0.0,
) -> Explanation:
    """Give the fluxes at a leaf when it is coldest.

    Parameters
    ----------
    forcing, spot, body, treatment, night, faces, soil, moisture, step_minutes, clear_night_offset_k
        As for `physics.night.simulate`, for one tree, treatment and night. A leafless tree is explained by a leaf that
        it could carry. Indoors the leaf is at the temperature of the room and all fluxes are zero.

    Returns
    -------
    Explanation
    """
    (found,) = explain_trees(
        forcing,
        [spot],
        [body],
        [treatment],
        night,
        faces=faces,
        soil=soil,
        moisture=moisture,
        step_minutes=step_minutes,
        clear_night_offset_k=clear_night_offset_k,
    )
    return found


def explain_trees(
    forcing: Forcing,
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Treatment],
    night: Night,
    *,
    faces: Sequence[Face] = (),
    soil: str = "loam",
    moisture: str = "moist",
    step_minutes: int = 15,
    clear_night_offset_k: float = 0.0,
) -> list[Explanation]:
    """Give the fluxes at the leaves of many trees, each when it is coldest.

    Parameters
    ----------
    forcing, spots, bodies, treatments, night, faces, soil, moisture, step_minutes, clear_night_offset_k
        As for `explain`, with one spot, body and treatment per tree.

    Returns
    -------
    list of Explanation
        One per tree.
    """
    found: list[Explanation] = []
    for first in range(0, len(spots), TREES_AT_A_TIME):
        some = slice(first, first + TREES_AT_A_TIME)
        each = [[treatment] for treatment in treatments[some]]
        march = _March(
            forcing, spots[some], bodies[some], each, [night], faces, soil, moisture, step_minutes, clear_night_offset_k
        )
        raw = march.run(keep_series=True, threads=1)
        inside = np.flatnonzero(march.clock.night == 0)
        visible = march._visible()
        for case in range(len(each)):
            rows = raw.series[:, case].reshape(march.blocks.count, march.steps.n_steps, k.HISTORY_ROWS, k.LANES)
            history = march.blocks.take(rows)  # [member, step, row]
            lowest = history[:, inside, 0].min(axis=1)
            member = int(np.argsort(lowest, kind="stable")[(lowest.size - 1) // 2])
            step = int(inside[np.argmin(history[member, inside, 0])])
            found.append(_at(march, history[member, step], case, member, step, float(visible[case, step])))
    return found


TREES_AT_A_TIME = 16
"""Series are large: so many trees are held in memory at once."""


def _at(march: _March, row: NDArray[np.float64], case: int, member: int, step: int, beam_share: float) -> Explanation:
    """Take one step of one tree apart."""
    cases, steps = march.cases, march.steps
    phase = int(cases.phase[case, step])
    p = cases.params[case, max(phase, 0)]
    block, lane = divmod(member, march.blocks.width)
    weather = march.forcing[block, step].reshape(-1, k.LANES)[:, lane]
    station, vapour, wind, sky, beam, diffuse, cooling, roof = (float(value) for value in weather)
    shown, air, cover, ground = (float(row[i]) for i in (0, 5, 6, 7))
    covered = phase >= 0 and p[k.P_COVERED] > 0.5
    leaf = (
        (shown - p[k.P_CONTACT_COVER] * cover - p[k.P_CONTACT_AIR] * air) / p[k.P_CONTACT_LEAF] if phase >= 0 else shown
    )
    spot_air = station + p[k.P_WARMER] + p[k.P_COOLING] * cooling
    drift = float(np.hypot(wind * p[k.P_WIND] * (1.0 - STABLE_WIND * cooling), p[k.P_CALM2] ** 0.5))
    fluxes = dict.fromkeys(
        ("sky", "roof", "walls", "canopy", "cover", "ground", "foliage", "air", "frost", "lamps", "sun"), 0.0
    )
    if phase >= 0:
        own, foliage = _black(leaf), float(p[k.P_FOLIAGE])
        gap = 1.0 - foliage
        through = float(p[k.P_THROUGH]) if covered else 1.0
        walls = cases.face_ids[case] >= 0
        hot = np.array([_black(float(march.walls[face, block, step, lane])) for face in cases.face_ids[case][walls]])
        above, below = cases.face_shares[case][walls], cases.face_low[case, phase][walls]
        fluxes["sky"] = EMISSIVITY * through * p[k.P_SKY] * (sky - own)
        fluxes["roof"] = EMISSIVITY * through * p[k.P_ROOF] * (roof - own)
        fluxes["walls"] = EMISSIVITY * float((through * above + gap * below) @ (hot - own)) if walls.any() else 0.0
        around = through * p[k.P_AIR_VIEW] + gap * p[k.P_AIR_VIEW_LOW]
        fluxes["canopy"] = EMISSIVITY * around * (_black(spot_air) - own)
        if covered:
            plane = foliage * own + gap * _black(ground)
            fluxes["cover"] = EMISSIVITY * p[k.P_EMIT_IN] * (_black(cover) - own)
            fluxes["cover"] += EMISSIVITY * p[k.P_REFLECT] * (plane - own)
        fluxes["ground"] = EMISSIVITY * gap * (1.0 - p[k.P_WALL_LOW]) * (_black(ground) - own)
        fluxes["foliage"] = EMISSIVITY * foliage * (_black(air) - own)
        root_u = p[k.P_IN_WIND_MUL] * drift**0.5 + p[k.P_IN_WIND_ADD] if covered else drift**0.5
        h = p[k.P_LEAF_A] * root_u + p[k.P_LEAF_B] * ((air - leaf) ** 2 + 0.01) ** 0.125
        fluxes["air"] = 2.0 * h * (air - leaf)
        sun = beam_share * beam + float(p[k.P_DIFFUSE]) * diffuse
        moist = min(vapour, float(saturation_vapour_pressure(spot_air, over_ice=spot_air < 0.0)))
        excess = float(saturation_vapour_pressure(leaf, over_ice=leaf < 0.0)) - moist
        heat = LATENT * (1.0 + FROST_MORE * float(np.clip(-leaf, 0.0, 1.0)))
        exchange = p[k.P_EXCHANGE0] + p[k.P_EXCHANGE1] * drift
        dew = p[k.P_DEPOSITION] * h * exchange / (exchange + 2.0 * foliage * h)
        fluxes["frost"] = -heat * excess * (dew if excess < 0.0 else p[k.P_STOMATA] * sun)
        fluxes["lamps"] = float(p[k.P_LAMP_LEAF])
        fluxes["sun"] = ABSORBED * sun * (p[k.P_SUN_THROUGH] if covered else 1.0) * (1.0 + p[k.P_ALBEDO] * gap)
    heater = float(np.clip(p[k.P_HEATER] * (p[k.P_THERMOSTAT] - air), 0.0, p[k.P_HEATER])) if phase >= 0 else 0.0
    return Explanation(
        time_utc=steps.time_utc[step],
        member=member,
        station_c=station,
        spot_air_c=float(spot_air),
        air_c=air,
        leaf_c=shown,
        cover_c=cover if covered else float("nan"),
        ground_c=ground,
        sky_c=(sky / STEFAN_BOLTZMANN) ** 0.25 - ZERO_C_K,
        wind_station_m_s=wind,
        wind_spot_m_s=drift,
        cooling=cooling,
        fluxes_w_m2={name: float(value) for name, value in fluxes.items()},
        heater_w_m2=heater,
    )


def _black(t_c: float) -> float:
    """Emission of a black body. [W/m²]"""
    return float(STEFAN_BOLTZMANN * (t_c + ZERO_C_K) ** 4)
