"""The night's equations once more, by other means: SciPy's implicit Runge-Kutta on the full grid of 60 ground cells.

Written from ``docs/model-night.md`` and apart from the kernel: surfaces by a library root finder at every evaluation,
no reduced terms, no lanes, no polynomials; soil freezes cell by cell. It takes seconds for what the kernel does in
microseconds and is here to judge it. It shares the parameters of `physics.cases`, so it checks the solving, not the
choice of physics.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.night import _March
from fruitwall.physics.slab import Slab
from fruitwall.physics.soil import SATURATION, frozen_soil, lag_k, soil_layer

FloatArray = NDArray[np.float64]
SIGMA, ZERO, EPS = 5.670374419e-8, 273.15, 0.96
FREEZES_OVER_K = 0.03
"""Soil freezes between this much below 0 °C and 0 °C: narrow enough to stand for one temperature. [K]"""

ROWS = ("air", "vapour", "wind", "sky", "beam", "diffuse", "cooling", "roof")


def black(t: float) -> float:
    """Emission of a black body. [W/m²]"""
    return float(SIGMA * (t + ZERO) ** 4)


def quarter(difference: float) -> float:
    """|ΔT|^¼, rounded off at 0.1 K."""
    return float((difference**2 + 0.01) ** 0.125)


def svp(t: float) -> float:
    """Saturation over water or ice. [kPa]"""
    return float(saturation_vapour_pressure(t, over_ice=t < 0.0))


def vapour_flux(t: float, vapour: float, deposition: float, evaporation: float) -> float:
    """Heat that leaves with vapour. [W/m²]"""
    excess = svp(t) - vapour
    heat = 44100.0 / 101.3 * (1.0 + 0.136 * min(max(-t, 0.0), 1.0))
    return heat * (deposition if excess < 0.0 else evaporation) * excess


@dataclass
class Surroundings:
    """Weather at the spot at one moment."""

    air: float
    vapour: float
    wind: float
    longwave: float
    sun: float


def frozen_share(t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Share of the water that is ice, and its slope. [1/K]"""
    x = np.clip(-t / FREEZES_OVER_K, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x), 6.0 * x * (1.0 - x) / FREEZES_OVER_K


class Reference:
    """One case of a prepared march, member 0 of block 0; where soil freezes it must be bare, without paving."""

    def __init__(self, march: _March, case: int, slabs: list[Slab], soils: Sequence[tuple[str, str]] = ()) -> None:
        self.cases, self.case, self.season = march.cases, case, march.setting.season
        self.times = np.arange(march.steps.n_steps) * march.steps.step_s
        self.rows = march.forcing[0].reshape(march.steps.n_steps, len(ROWS), k.LANES)[:, :, 0]
        self.visible = march._visible()[case]
        self.walls, self.thrown = march.walls[:, 0, :, 0], march.thrown[:, 0, :, 0]
        self.slabs = slabs
        self.guess = np.zeros(4)
        self.root_depth_m = 0.10
        # Cells of soil freeze: thickness from their heat capacity, conductances by how much of them is ice.
        self.latent = [np.zeros(slab.depth_m.size) for slab in slabs]
        self.stiffer = [1.0 for _ in slabs]
        for ground, (texture, moisture) in enumerate(soils):
            layer = soil_layer(texture, SATURATION[moisture])
            solid, latent = frozen_soil(texture, SATURATION[moisture])
            thickness = slabs[ground].capacity_j_m2k / (layer.density_kg_m3 * layer.heat_capacity_j_kgk)
            self.latent[ground] = latent * thickness
            self.stiffer[ground] = solid / layer.conductivity_w_mk

    def conductances(self, ground: int, cells: FloatArray) -> tuple[float, FloatArray]:
        """From the surface to the first cell, and from cell to cell. [W/(m² K)]"""
        slab, share = self.slabs[ground], frozen_share(cells)[0]
        factor = 1.0 + (self.stiffer[ground] - 1.0) * share
        return float(slab._front[0] * factor[0]), slab._between * 0.5 * (factor[1:] + factor[:-1])

    def surroundings(self, t: float, p: FloatArray, phase: int) -> tuple[Surroundings, float, float]:
        """Interpolate the weather, and what walls send from above and below."""
        at = {name: float(np.interp(t, self.times, self.rows[:, i])) for i, name in enumerate(ROWS)}
        air = at["air"] + p[k.P_WARMER] + p[k.P_COOLING] * at["cooling"]
        above = below = walls = bounce = 0.0
        for i, face in enumerate(self.cases.face_ids[self.case]):
            if face >= 0:
                wall = float(np.interp(t, self.times, self.walls[face]))
                above += self.cases.face_shares[self.case, i] * black(wall)
                below += self.cases.face_low[self.case, phase, i] * black(wall)
                walls += self.cases.face_shares[self.case, i] * wall
                bounce += self.cases.face_shares[self.case, i] * float(np.interp(t, self.times, self.thrown[face]))
        wind = at["wind"] * p[k.P_WIND] * (1.0 - 0.45 * at["cooling"])
        longwave = p[k.P_SKY] * at["sky"] + p[k.P_ROOF] * at["roof"] + p[k.P_AIR_VIEW] * black(air) + above
        sun = float(np.interp(t, self.times, self.visible * self.rows[:, 4])) + p[k.P_DIFFUSE] * at["diffuse"]
        sun += bounce
        spot = Surroundings(air, min(at["vapour"], svp(air)), float(np.hypot(wind, p[k.P_CALM2] ** 0.5)), longwave, sun)
        return spot, below + p[k.P_AIR_VIEW_LOW] * black(air), walls

    def balances(
        self,
        x: FloatArray,
        spot: Surroundings,
        low: float,
        walls: float,
        p: FloatArray,
        first_cell: tuple[float, float],
    ) -> FloatArray:
        """What leaf, air, soil and cover lack; `first_cell` is conductance to the first cell and its temperature."""
        leaf, air, soil, cover = x
        covered = p[k.P_COVERED] > 0.5
        fol = p[k.P_FOLIAGE]
        root_u = np.sqrt(spot.wind)
        inside = p[k.P_IN_WIND_MUL] * root_u + p[k.P_IN_WIND_ADD] if covered else root_u
        h_leaf = p[k.P_LEAF_A] * inside + p[k.P_LEAF_B] * quarter(air - leaf)
        stable = 0.3 if soil < air else 1.0
        to_air = (p[k.P_SOIL_A] * inside + stable * p[k.P_SOIL_B] * quarter(soil - air)) * (soil - air)
        plane = fol * black(leaf) + (1 - fol) * black(soil)
        if covered:
            down = p[k.P_THROUGH] * spot.longwave + p[k.P_EMIT_IN] * black(cover) + p[k.P_REFLECT] * plane
        else:
            down = spot.longwave
        below = (1 - fol) * ((1 - p[k.P_WALL_LOW]) * black(soil) + low) + fol * black(air)
        sun = p[k.P_SUN_THROUGH] * spot.sun
        heater = min(max(p[k.P_HEATER] * (p[k.P_THERMOSTAT] - air), 0.0), p[k.P_HEATER])
        exchange = p[k.P_EXCHANGE0] + p[k.P_EXCHANGE1] * spot.wind
        dew_path = exchange / (exchange + 2 * fol * h_leaf)
        wet = vapour_flux(leaf, spot.vapour, p[k.P_DEPOSITION] * h_leaf * dew_path, p[k.P_STOMATA] * spot.sun)
        f_leaf = 0.5 * sun * (1 + p[k.P_ALBEDO] * (1 - fol)) + p[k.P_LAMP_LEAF] + EPS * (down + below - 2 * black(leaf))
        f_leaf += 2 * h_leaf * (air - leaf) - wet
        f_air = to_air + 2 * fol * h_leaf * (leaf - air) + exchange * (spot.air - air) + heater + p[k.P_LAMP_AIR]
        f_air += EPS * fol**2 * (black(leaf) + black(soil) - 2 * black(air))
        f_soil = (
            (1 - p[k.P_ALBEDO]) * sun * (1 - fol) + p[k.P_LAMP_SOIL] - to_air - first_cell[0] * soil + first_cell[1]
        )
        f_soil += EPS * ((1 - fol) * (down + fol * black(leaf)) + fol**2 * black(air) - black(soil))
        if not covered:
            f_air += p[k.P_WALL_AIR] * (walls - p[k.P_WALL_SHARE] * air)
            return np.array([f_leaf, f_air, f_soil, cover - spot.air])
        f_air += p[k.P_SUN_AIR] * spot.sun
        area = p[k.P_COVER_AREA]
        inner = area * (p[k.P_COVER_IN_A] * inside + p[k.P_COVER_IN_B] * quarter(cover - air)) * (cover - air)
        h_out = p[k.P_COVER_OUT_A] * root_u + p[k.P_COVER_OUT_B] * quarter(spot.air - cover)
        dew = vapour_flux(cover, spot.vapour, p[k.P_COVER_DEPOSITION] * area * h_out, 0.0)
        radiated = p[k.P_OUT_ENV] * spot.longwave + p[k.P_OUT_AIR] * black(spot.air) - p[k.P_OUT_SUM] * black(cover)
        steam = p[k.P_MOIST] * max(soil - cover, 0.0)
        f_cover = p[k.P_OUT_FACTOR] * (radiated + area * h_out * (spot.air - cover) - dew) - inner + steam
        f_cover += p[k.P_HOLD] * (EPS * plane + (1 - EPS) * down - black(cover)) + p[k.P_SUN_COVER] * spot.sun
        return np.array([f_leaf, f_air + inner, f_soil - steam, f_cover + p[k.P_LAMP_COVER]])

    def surfaces(self, t: float, cells: FloatArray, phase: int) -> tuple[FloatArray, Surroundings, float, float]:
        """Solve the four surfaces for given ground cells."""
        from scipy.optimize import root

        p = self.cases.params[self.case, phase]
        spot, low, walls = self.surroundings(t, p, phase)
        ground = int(self.cases.ground[self.case, phase])
        if self.latent[ground].any():
            front = self.conductances(ground, cells)[0]
            first = (front, front * float(cells[0]))
        else:
            fronts = self.slabs[ground]._front
            first = (float(fronts.sum()), float(fronts @ cells))
        found = root(self.balances, self.guess, args=(spot, low, walls, p, first), tol=1e-9)
        if not found.success:
            found = root(self.balances, np.full(4, spot.air), args=(spot, low, walls, p, first), tol=1e-9, method="lm")
        self.guess = found.x
        leaf, air, soil, cover = found.x
        fol = p[k.P_FOLIAGE]
        plane = fol * black(leaf) + (1 - fol) * black(soil)
        down = spot.longwave
        if p[k.P_COVERED] > 0.5:
            down = p[k.P_THROUGH] * spot.longwave + p[k.P_EMIT_IN] * black(cover) + p[k.P_REFLECT] * plane
        below = (1 - fol) * ((1 - p[k.P_WALL_LOW]) * black(soil) + low) + fol * black(air)
        return found.x, spot, down, below

    def rates(self, t: float, y: FloatArray, phase: int) -> FloatArray:
        """Rates of change of ground cells, twig, wood and fruit."""
        ground = int(self.cases.ground[self.case, phase])
        slab = self.slabs[ground]
        p, b = self.cases.params[self.case, phase], self.cases.bodies[self.case]
        cells = y[:-3]
        (leaf, air, soil, _), spot, down, below = self.surfaces(t, cells, phase)
        flow = slab._front * (soil - cells)
        between = slab._between
        if self.latent[ground].any():
            front, between = self.conductances(ground, cells)
            flow[0] = front * (soil - cells[0])
        carried = between * np.diff(cells)
        flow[:-1] += carried
        flow[1:] -= carried
        capacity = slab.capacity_j_m2k + self.latent[ground] * frozen_share(cells)[1]
        root_u = np.sqrt(spot.wind)
        if p[k.P_COVERED] > 0.5:
            root_u = p[k.P_IN_WIND_MUL] * root_u + p[k.P_IN_WIND_ADD]
        sun = 0.2 * p[k.P_SUN_THROUGH] * spot.sun + p[k.P_LAMP_LEAF]
        shade = b[k.B_SHADE]
        bare = EPS / 2 * (down + below) + sun
        hidden = EPS / 2 * (shade * down + (1 - shade) * black(leaf) + below) + shade * sun
        bodies = []
        for t_body, absorbed, row in zip(
            y[-3:], (bare, hidden, (bare + hidden) / 2), (k.B_TWIG_C, k.B_WOOD_C, k.B_FRUIT_C), strict=True
        ):
            h = b[row + 1] * root_u + b[row + 2] * quarter(air - t_body)
            bodies.append((absorbed - EPS * black(t_body) + h * (air - t_body)) / b[row])
        return np.concatenate([flow / capacity, bodies])

    def march(self, start_c: float, last: int) -> FloatArray:
        """Give leaf, twig, wood, fruit and the ground at root depth at every step up to `last`, shape (step, 5)."""
        from scipy.integrate import solve_ivp

        phase = self.cases.phase[self.case]
        y = np.full(self.slabs[0].depth_m.size + 3, start_c)
        y[:-3] += lag_k(self.slabs[0].depth_m, self.season)
        self.guess = np.full(4, start_c)
        leaf, *_ = self.surfaces(0.0, y[:-3], int(phase[0]))[0]
        y[-3:] = start_c
        depth, nodes = self.root_depth_m, self.slabs[0].depth_m
        out = [np.array([leaf, *y[-3:], start_c])]
        step = 0
        while step < last:
            now = int(phase[step + 1])
            end = step + 1
            while end < last and phase[end + 1] == now:
                end += 1
            at = self.times[step : end + 1]
            found = solve_ivp(
                self.rates,
                (at[0], at[-1]),
                y,
                "Radau",
                t_eval=at[1:],
                args=(now,),
                rtol=1e-6,
                atol=1e-6,
                max_step=900.0,
            )
            for t, column in zip(at[1:], found.y.T, strict=True):
                leaf = self.surfaces(t, column[:-3], now)[0][0]
                out.append(np.array([leaf, *column[-3:], np.interp(depth, nodes, column[:-3])]))
            y, step = found.y[:, -1].copy(), end
            if end < last and (ground := self.cases.ground[self.case])[phase[end + 1]] != ground[now]:
                before, after = (self.slabs[ground[each]].capacity_j_m2k for each in (now, phase[end + 1]))
                y[:-3] = (before * y[:-3] + (after - before) * start_c) / after  # water at the starting temperature
        return np.array(out)
