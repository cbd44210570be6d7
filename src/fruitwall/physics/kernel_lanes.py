"""One step of the night for a row of ensemble members: the innermost loops, compiled by Numba.

Every function is one short loop over lanes (members) without branches or library calls, so that the compiler turns it
into vector instructions; parameters are taken out of their array before the loop. The equations are set out in
``docs/model-night.md``; ``bench/night_reference.py`` solves the same ones with SciPy.

Symbols: l leaf, i inside air, c cover, s soil surface, a outside air; e black-body emission, d its derivative; q flux,
g its derivative; f what a balance lacks, m minus its derivatives.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

import numba

from fruitwall.physics import kernel_rows as k

# Like fastmath, but a NaN stays a NaN.
FAST = {"contract", "arcp", "reassoc", "nsz", "afn"}
# Only `march` is called from Python and kept on disk: without wrappers of their own these compile in half the time.
BARE: Any = {
    "nogil": True,
    "fastmath": FAST,
    "error_model": "numpy",
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}
apart: Any = numba.njit(**BARE)
lanes: Any = numba.njit(forceinline=True, **BARE)

SIGMA = 5.670374419e-8
ZERO = 273.15
EPS = 0.96  # leaf, soil, bark: 0.95-0.98 (Campbell & Norman 1998, table 11.3; from memory)
ABSORBED = 0.5  # of sun by leaves, all wavelengths (Campbell & Norman 1998, ch. 11; from memory)
BARK_SUN = 0.2  # of level sun, per surface of a twig or fruit: absorptance 0.7 times shadow over surface, 0.25 to 0.32
LATENT = 44100.0 / 101.3  # J/mol over kPa
FROST_MORE = 0.136  # by how much the heat of sublimation exceeds that of evaporation
STABLE = 0.3  # free exchange left over a surface colder than the air above it; see docs/model-night.md
STABLE_WIND = 0.45  # share of the wind near the ground that a full inversion takes; see docs/model-night.md
SMALL2 = 0.01  # (0.1 K)², rounds off |ΔT|^¼ at 0
FAR = 999.0  # colder or warmer than anything
LIMIT = 4.0  # K, longest stride of one pass
BAND = 1.0  # K over which a thermostat goes from off to full


@lanes
def saturation(t: float) -> float:
    """Vapour pressure over water above 0 °C and over ice below, -50 to 70 °C. [kPa]

    Polynomials fitted to `physics.air.saturation_vapour_pressure`, within 1e-6 of it (tested).
    """
    t = -50.0 if t < -50.0 else t
    t = 70.0 if t > 70.0 else t
    x = (t - 10.0) * (1.0 / 60.0)
    e = 0.000757283953554
    e = e * x + 0.00109992641986
    e = e * x - 0.0160378914624
    e = e * x - 0.0332134313045
    e = e * x + 0.300613471985
    e = e * x + 1.92391554993
    e = e * x + 5.37073246174
    e = e * x + 8.77636694017
    e = e * x + 8.72739046763
    e = e * x + 4.93717240299
    e = e * x + 1.22796263979
    y = (0.0 if t > 0.0 else t) * 0.02
    ice = -0.00291606819341
    ice = ice * y - 0.00172070785755
    ice = ice * y - 0.0007288443274
    ice = ice * y + 0.126249903756
    ice = ice * y + 0.480404791039
    return e * (1.0 + ice * y)


@lanes
def exponential(z: float) -> float:
    """exp(z) for -32 to 3: Taylor series of z/32, squared five times; within 1e-12."""
    z = -32.0 if z < -32.0 else z
    y = z * (1.0 / 32.0)
    e = 1.0 / 362880.0
    e = e * y + 1.0 / 40320.0
    e = e * y + 1.0 / 5040.0
    e = e * y + 1.0 / 720.0
    e = e * y + 1.0 / 120.0
    e = e * y + 1.0 / 24.0
    e = e * y + 1.0 / 6.0
    e = e * y + 0.5
    e = e * y + 1.0
    e = e * y + 1.0
    e = e * e
    e = e * e
    e = e * e
    e = e * e
    return e * e


@apart
def clear_walls(x: Any, w: int) -> None:
    """Set the sums of the walls to nothing."""
    for j in range(w):
        x[k.X_EWALL + j] = 0.0
        x[k.X_TWALL + j] = 0.0
        x[k.X_EWALL_LOW + j] = 0.0
        x[k.X_BOUNCE + j] = 0.0


@apart
def add_wall(x: Any, w: int, temperature: Any, thrown: Any, share: float, share_low: float) -> None:
    """Add what one wall sends from the upper and the lower hemisphere, and the sun it throws back from the upper."""
    for j in range(w):
        t = temperature[j]
        kelvin = t + ZERO
        e = SIGMA * kelvin * kelvin * kelvin * kelvin
        x[k.X_EWALL + j] += share * e
        x[k.X_TWALL + j] += share * t
        x[k.X_EWALL_LOW + j] += share_low * e
        x[k.X_BOUNCE + j] += share * thrown[j]


@apart
def surround(x: Any, w: int, f: Any, p: Any, visible: float) -> None:
    """Make the station's weather into the spot's surroundings."""
    cooling, warmer = p[k.P_COOLING], p[k.P_WARMER]
    wind, calm2, diffuse = p[k.P_WIND], p[k.P_CALM2], p[k.P_DIFFUSE]
    sky, roof, air_view, air_low = p[k.P_SKY], p[k.P_ROOF], p[k.P_AIR_VIEW], p[k.P_AIR_VIEW_LOW]
    for j in range(w):
        ta = f[k.F_AIR + j] + warmer + cooling * f[k.F_COOLING + j]
        kelvin = ta + ZERO
        ea = SIGMA * kelvin * kelvin * kelvin * kelvin
        u = f[k.F_WIND + j] * wind * (1.0 - STABLE_WIND * f[k.F_COOLING + j])
        full = saturation(ta)
        vapour = f[k.F_VAPOUR + j]
        x[k.X_TA + j] = ta
        x[k.X_EA + j] = full if vapour > full else vapour
        x[k.X_ROOT_U + j] = sqrt(sqrt(u * u + calm2))
        x[k.X_LENV + j] = sky * f[k.F_SKY + j] + roof * f[k.F_ROOF + j] + air_view * ea + x[k.X_EWALL + j]
        x[k.X_EWALL_LOW + j] += air_low * ea
        x[k.X_SUN + j] = visible * f[k.F_BEAM + j] + diffuse * f[k.F_DIFFUSE + j] + x[k.X_BOUNCE + j]


@apart
def ground_answer(x: Any, w: int, p: Any, inv_dt: float) -> None:
    """What the ground takes up over this step, as a function of its surface temperature in straight pieces.

    Not frozen: `P_OWN` s less `X_RETURN`. Where soil freezes the surface meets the freezing front, at 0 °C below as
    much ice as `X_ICE` says, and the ground under it sees 0 °C. Below zero the heat taken up is `X_COLD` s: what ice
    conducts, or, where none is yet, a film of it. Above zero ice melts at next to 0 °C up to `X_THAW`; there all of it
    is gone, and the rest of the step's heat goes into the ground. The pieces join without a jump; no heat is lost.
    """
    w0, w1, w2 = p[k.P_WEIGHT], p[k.P_WEIGHT + 1], p[k.P_WEIGHT + 2]
    w3, w4, w5 = p[k.P_WEIGHT + 3], p[k.P_WEIGHT + 4], p[k.P_WEIGHT + 5]
    d0, d1, d2 = w0 * p[k.P_DECAY], w1 * p[k.P_DECAY + 1], w2 * p[k.P_DECAY + 2]
    d3, d4, d5 = w3 * p[k.P_DECAY + 3], w4 * p[k.P_DECAY + 4], w5 * p[k.P_DECAY + 5]
    old = w0 * p[k.P_OLD] + w1 * p[k.P_OLD + 1] + w2 * p[k.P_OLD + 2]
    old += w3 * p[k.P_OLD + 3] + w4 * p[k.P_OLD + 4] + w5 * p[k.P_OLD + 5]
    solid, per, own, stiff = p[k.P_FROZEN_K], p[k.P_FROZEN_PER], p[k.P_OWN], p[k.P_STIFF]
    always, inv_stiff = solid == 0.0, 1.0 / p[k.P_STIFF]
    for j in range(w):
        r = d0 * x[k.X_Z0 + j] + d1 * x[k.X_Z1 + j] + d2 * x[k.X_Z2 + j]
        r += d3 * x[k.X_Z3 + j] + d4 * x[k.X_Z4 + j] + d5 * x[k.X_Z5 + j]
        r += old * x[k.X_FRONT0 + j]
        ice = x[k.X_ICE + j]
        left = r - ice * inv_dt  # from below, beyond what melts all ice
        hard = always | (x[k.X_HARD + j] > 0.5)
        melts = hard | (left > 0.0)
        x[k.X_BELOW + j] = r
        x[k.X_RETURN + j] = left if melts else 0.0
        x[k.X_COLD + j] = (own if hard else stiff) if melts else solid / (solid * inv_stiff + per * ice)
        x[k.X_THAW + j] = 0.0 if melts else -left * inv_stiff


@apart
def ground_now(x: Any, w: int, p: Any) -> None:
    """What the ground takes up at this instant, for a jump of the surroundings: no ice comes or goes."""
    w0, w1, w2 = p[k.P_WEIGHT], p[k.P_WEIGHT + 1], p[k.P_WEIGHT + 2]
    w3, w4, w5 = p[k.P_WEIGHT + 3], p[k.P_WEIGHT + 4], p[k.P_WEIGHT + 5]
    solid, per, inv_stiff = p[k.P_FROZEN_K], p[k.P_FROZEN_PER], 1.0 / p[k.P_STIFF]
    direct = p[k.P_DIRECT]
    stiff = p[k.P_STIFF] if p[k.P_FROZEN_K] > 0.0 else direct
    for j in range(w):
        r = w0 * x[k.X_Z0 + j] + w1 * x[k.X_Z1 + j] + w2 * x[k.X_Z2 + j]
        r += w3 * x[k.X_Z3 + j] + w4 * x[k.X_Z4 + j] + w5 * x[k.X_Z5 + j]
        ice = x[k.X_ICE + j]
        x[k.X_RETURN + j] = 0.0 if ice > 0.0 else r
        unfrozen = direct if x[k.X_HARD + j] > 0.5 else stiff
        x[k.X_COLD + j] = solid / (solid * inv_stiff + per * ice) if ice > 0.0 else unfrozen
        x[k.X_THAW + j] = FAR if ice > 0.0 else 0.0


@apart
def front(x: Any, w: int, p: Any) -> None:
    """What the ground's terms see as their surface: the front while soil is frozen, else the surface itself."""
    coldest = 0.0 if p[k.P_FROZEN_K] > 0.0 else -FAR
    for j in range(w):
        t = x[k.X_SOIL + j] - x[k.X_THAW + j]
        x[k.X_FRONT + j] = coldest if (t < coldest) & (x[k.X_HARD + j] < 0.5) else t


@apart
def freeze(x: Any, w: int, p: Any, dt: float) -> None:
    """Soil that freezes or thaws in this step: what the surface takes beyond what comes from below freezes water."""
    freezes, stiff = 1.0 if p[k.P_FROZEN_K] > 0.0 else 0.0, p[k.P_STIFF]
    for j in range(w):
        t = x[k.X_SOIL + j]
        taken = (x[k.X_COLD + j] if t < 0.0 else stiff) * t - x[k.X_RETURN + j]
        ice = x[k.X_ICE + j] - dt * (taken + x[k.X_BELOW + j])
        gone = (t > x[k.X_THAW + j]) | (ice < 0.0) | (x[k.X_HARD + j] > 0.5)
        x[k.X_ICE + j] = 0.0 if gone else freezes * ice


@apart
def ground_march(x: Any, w: int, p: Any) -> None:
    """Bring the ground's terms to the end of the step."""
    d0, d1, d2, d3, d4, d5 = (
        p[k.P_DECAY],
        p[k.P_DECAY + 1],
        p[k.P_DECAY + 2],
        p[k.P_DECAY + 3],
        p[k.P_DECAY + 4],
        p[k.P_DECAY + 5],
    )
    a0, a1, a2, a3, a4, a5 = p[k.P_OLD], p[k.P_OLD + 1], p[k.P_OLD + 2], p[k.P_OLD + 3], p[k.P_OLD + 4], p[k.P_OLD + 5]
    b0, b1, b2, b3, b4, b5 = p[k.P_NEW], p[k.P_NEW + 1], p[k.P_NEW + 2], p[k.P_NEW + 3], p[k.P_NEW + 4], p[k.P_NEW + 5]
    for j in range(w):
        old, new = x[k.X_FRONT0 + j], x[k.X_FRONT + j]
        x[k.X_Z0 + j] = d0 * x[k.X_Z0 + j] + a0 * old + b0 * new
        x[k.X_Z1 + j] = d1 * x[k.X_Z1 + j] + a1 * old + b1 * new
        x[k.X_Z2 + j] = d2 * x[k.X_Z2 + j] + a2 * old + b2 * new
        x[k.X_Z3 + j] = d3 * x[k.X_Z3 + j] + a3 * old + b3 * new
        x[k.X_Z4 + j] = d4 * x[k.X_Z4 + j] + a4 * old + b4 * new
        x[k.X_Z5 + j] = d5 * x[k.X_Z5 + j] + a5 * old + b5 * new


@apart
def guess(x: Any, w: int, slope: float, freezes: bool) -> None:
    """Start of a step: the last solution, run on in a straight line (slope 1) or kept (0).

    Soil that has just begun to freeze or thaw stays where it is.
    """
    for j in range(w):
        leaf, air = x[k.X_LEAF + j], x[k.X_AIR + j]
        x[k.X_LEAF + j] = leaf + slope * (leaf - x[k.X_LEAF0 + j])
        x[k.X_AIR + j] = air + slope * (air - x[k.X_AIR0 + j])
        x[k.X_LEAF0 + j] = leaf
        x[k.X_AIR0 + j] = air
    for j in range(w):
        cover, soil = x[k.X_COVER + j], x[k.X_SOIL + j]
        x[k.X_COVER + j] = cover + slope * (cover - x[k.X_COVER0 + j])
        last = x[k.X_SOIL0 + j]
        turned = freezes & ((soil < 0.0) != (last < 0.0))
        x[k.X_SOIL + j] = soil + (0.0 if turned else slope) * (soil - last)
        x[k.X_COVER0 + j] = cover
        x[k.X_SOIL0 + j] = soil
        x[k.X_FRONT0 + j] = x[k.X_FRONT + j]
    for j in range(w):
        x[k.X_OPEN0 + j] = x[k.X_OPEN + j]
        x[k.X_HALF0 + j] = x[k.X_HALF + j]
        x[k.X_SHADE0 + j] = x[k.X_SHADE + j]


@apart
def settled(x: Any, w: int) -> None:
    """After a jump: the surfaces as solved are where the step starts."""
    for j in range(w):
        x[k.X_LEAF0 + j] = x[k.X_LEAF + j]
        x[k.X_AIR0 + j] = x[k.X_AIR + j]
    for j in range(w):
        x[k.X_COVER0 + j] = x[k.X_COVER + j]
        x[k.X_SOIL0 + j] = x[k.X_SOIL + j]
    for j in range(w):
        x[k.X_OPEN0 + j] = x[k.X_OPEN + j]
        x[k.X_HALF0 + j] = x[k.X_HALF + j]
        x[k.X_SHADE0 + j] = x[k.X_SHADE + j]


@apart
def copy_row(x: Any, w: int, to: int, source: int) -> None:
    """Copy one row."""
    for j in range(w):
        x[to + j] = x[source + j]


@apart
def newton_open(x: Any, w: int, p: Any, p_own: float, stiff: float) -> None:
    """One pass over leaf, air and soil without a cover."""
    fol, low, albedo = p[k.P_FOLIAGE], 1.0 - p[k.P_WALL_LOW], p[k.P_ALBEDO]
    gap = 1.0 - fol
    leaf_a, leaf_b, soil_a, soil_b = p[k.P_LEAF_A], p[k.P_LEAF_B], p[k.P_SOIL_A], p[k.P_SOIL_B]
    exchange0, exchange1 = p[k.P_EXCHANGE0], p[k.P_EXCHANGE1]
    wall_air, wall_share = p[k.P_WALL_AIR], p[k.P_WALL_SHARE]
    heater, heater_slope, thermostat = p[k.P_HEATER], p[k.P_HEATER] / BAND, p[k.P_THERMOSTAT]
    lamp_leaf, lamp_air, lamp_soil = p[k.P_LAMP_LEAF], p[k.P_LAMP_AIR], p[k.P_LAMP_SOIL]
    deposition, stomata = p[k.P_DEPOSITION], p[k.P_STOMATA]
    sun_leaf, sun_soil = ABSORBED * (1.0 + albedo * gap), (1.0 - albedo) * gap
    for j in range(w):
        tl, ti, ts = x[k.X_LEAF + j], x[k.X_AIR + j], x[k.X_SOIL + j]
        ta, root_u, lenv, sun = x[k.X_TA + j], x[k.X_ROOT_U + j], x[k.X_LENV + j], x[k.X_SUN + j]
        given, cold, thaw = x[k.X_RETURN + j], x[k.X_COLD + j], x[k.X_THAW + j]
        kl, ki, ks = tl + ZERO, ti + ZERO, ts + ZERO
        dl, di, ds = SIGMA * kl * kl * kl, SIGMA * ki * ki * ki, SIGMA * ks * ks * ks
        el, ei, es = dl * kl, di * ki, ds * ks
        dl, di, ds = 4.0 * dl, 4.0 * di, 4.0 * ds
        # exchange with the air
        d = ti - tl
        a, b = leaf_a * root_u, leaf_b * sqrt(sqrt(sqrt(d * d + SMALL2)))
        h_leaf = a + b
        q_leaf, g_leaf = h_leaf * d, a + 1.25 * b
        d = ts - ti
        a, b = soil_a * root_u, soil_b * sqrt(sqrt(sqrt(d * d + SMALL2)))
        b = STABLE * b if d < 0.0 else b
        q_soil, g_soil = (a + b) * d, a + 1.25 * b
        exchange = exchange0 + exchange1 * root_u * root_u
        heat = heater_slope * (thermostat - ti)
        heat_slope = 0.0 if (heat < 0.0) | (heat > heater) else heater_slope
        heat = heater if heat > heater else heat
        heat = 0.0 if heat < 0.0 else heat
        # dew, frost, transpiration; vapour for dew comes with the air, through the same two resistances as its heat
        dew = deposition * exchange / (exchange + 2.0 * fol * h_leaf)
        e = saturation(tl)
        frozen = 0.0 if tl > 0.0 else -tl
        frozen = 1.0 if frozen > 1.0 else frozen
        d = e - x[k.X_EA + j]
        g = (LATENT + LATENT * FROST_MORE * frozen) * (dew * h_leaf if d < 0.0 else stomata * sun)
        q_wet, g_wet = g * d, g * e * (0.0728 - 5.3e-4 * tl) * (1.0 + 0.13 * frozen)
        # balances
        f_l = sun_leaf * sun + lamp_leaf + EPS * (lenv + gap * (low * es + x[k.X_EWALL_LOW + j]) + fol * ei - 2.0 * el)
        f_l += 2.0 * q_leaf - q_wet
        f_i = q_soil - 2.0 * fol * q_leaf + exchange * (ta - ti) + wall_air * (x[k.X_TWALL + j] - wall_share * ti)
        f_i += heat + lamp_air + EPS * fol * fol * (el + es - 2.0 * ei)
        f_s = sun_soil * sun + lamp_soil + EPS * (gap * lenv + fol * gap * el + fol * fol * ei - es)
        f_s += given - q_soil
        m_ll = 2.0 * EPS * dl + 2.0 * g_leaf + g_wet
        m_li = -2.0 * g_leaf - EPS * fol * di
        m_ls = -EPS * gap * low * ds
        m_il = -2.0 * fol * g_leaf - EPS * fol * fol * dl
        m_ii = g_soil + 2.0 * fol * g_leaf + exchange + wall_air * wall_share + heat_slope + 2.0 * EPS * fol * fol * di
        m_is = -g_soil - EPS * fol * fol * ds
        m_sl = -EPS * fol * gap * dl
        m_si = -g_soil - EPS * fol * fol * di
        m_ss = EPS * ds + g_soil
        # eliminate leaf, then air
        inv_l = 1.0 / m_ll
        r = m_il * inv_l
        m_ii -= r * m_li
        m_is -= r * m_ls
        f_i -= r * f_l
        r = m_sl * inv_l
        m_si -= r * m_li
        m_ss -= r * m_ls
        f_s -= r * f_l
        inv_i = 1.0 / m_ii
        r = m_si * inv_i
        # What the ground takes up runs in straight pieces: cold, thawing, thawed (`ground_answer`). Its surface is
        # found on the right one at once, and limited before the rest follows from it.
        slope = m_ss - r * m_is
        known = f_s - r * f_i + slope * ts
        thawed = known - (slope + stiff) * thaw
        above = (p_own if thawed > 0.0 else stiff) if known > 0.0 else cold
        more = (p_own - stiff) * thaw if (known > 0.0) & (thawed > 0.0) else 0.0
        step_s = (known + more) / (slope + above) - ts
        step_s = LIMIT if step_s > LIMIT else (-LIMIT if step_s < -LIMIT else step_s)
        step_i = (f_i - m_is * step_s) * inv_i
        # Past the thermostat's whole band: stop in its middle, or off and on would take turns for ever.
        after = ti + step_i
        past = ((ti > thermostat) & (after < thermostat - BAND)) | ((ti < thermostat - BAND) & (after > thermostat))
        step_i = thermostat - 0.5 * BAND - ti if past else step_i
        step_l = (f_l - m_li * step_i - m_ls * step_s) * inv_l
        step_i = LIMIT if step_i > LIMIT else (-LIMIT if step_i < -LIMIT else step_i)
        step_l = LIMIT if step_l > LIMIT else (-LIMIT if step_l < -LIMIT else step_l)
        x[k.X_SOIL + j] = ts + step_s
        x[k.X_AIR + j] = ti + step_i
        x[k.X_LEAF + j] = tl + step_l
        x[k.X_COVER + j] = ta
        x[k.X_DOWN + j] = lenv


@apart
def newton_covered(x: Any, w: int, p: Any, p_own: float, stiff: float) -> None:
    """One pass over cover, air, leaf and soil."""
    fol, low, albedo = p[k.P_FOLIAGE], 1.0 - p[k.P_WALL_LOW], p[k.P_ALBEDO]
    gap = 1.0 - fol
    leaf_a, leaf_b, soil_a, soil_b = p[k.P_LEAF_A], p[k.P_LEAF_B], p[k.P_SOIL_A], p[k.P_SOIL_B]
    in_a, in_b, out_a, out_b = p[k.P_COVER_IN_A], p[k.P_COVER_IN_B], p[k.P_COVER_OUT_A], p[k.P_COVER_OUT_B]
    area, wind_mul, wind_add = p[k.P_COVER_AREA], p[k.P_IN_WIND_MUL], p[k.P_IN_WIND_ADD]
    exchange0, exchange1, barrel = p[k.P_EXCHANGE0], p[k.P_EXCHANGE1], p[k.P_BARREL]
    through, hold, emit, reflect = p[k.P_THROUGH], p[k.P_HOLD], p[k.P_EMIT_IN], p[k.P_REFLECT]
    out_env, out_air, out_sum, factor = p[k.P_OUT_ENV], p[k.P_OUT_AIR], p[k.P_OUT_SUM], p[k.P_OUT_FACTOR]
    heater, heater_slope, thermostat = p[k.P_HEATER], p[k.P_HEATER] / BAND, p[k.P_THERMOSTAT]
    lamp_leaf, lamp_air, lamp_soil, lamp_cover = p[k.P_LAMP_LEAF], p[k.P_LAMP_AIR], p[k.P_LAMP_SOIL], p[k.P_LAMP_COVER]
    deposition, stomata, sun_cover = p[k.P_DEPOSITION], p[k.P_STOMATA], p[k.P_SUN_COVER]
    cover_deposition, moist = p[k.P_COVER_DEPOSITION], p[k.P_MOIST]
    sun_through, sun_air = p[k.P_SUN_THROUGH], p[k.P_SUN_AIR]
    sun_leaf, sun_soil = ABSORBED * (1.0 + albedo * gap) * sun_through, (1.0 - albedo) * gap * sun_through
    for j in range(w):
        tl, ti, tc, ts = x[k.X_LEAF + j], x[k.X_AIR + j], x[k.X_COVER + j], x[k.X_SOIL + j]
        ta, root_u, lenv, sun = x[k.X_TA + j], x[k.X_ROOT_U + j], x[k.X_LENV + j], x[k.X_SUN + j]
        given, cold, thaw = x[k.X_RETURN + j], x[k.X_COLD + j], x[k.X_THAW + j]
        kl, ki, kc, ks, ka = tl + ZERO, ti + ZERO, tc + ZERO, ts + ZERO, ta + ZERO
        dl, di, dc, ds = SIGMA * kl * kl * kl, SIGMA * ki * ki * ki, SIGMA * kc * kc * kc, SIGMA * ks * ks * ks
        el, ei, ec, es, ea = dl * kl, di * ki, dc * kc, ds * ks, SIGMA * ka * ka * ka * ka
        dl, di, dc, ds = 4.0 * dl, 4.0 * di, 4.0 * dc, 4.0 * ds
        # exchange with the air
        inside = wind_mul * root_u + wind_add
        d = ti - tl
        a, b = leaf_a * inside, leaf_b * sqrt(sqrt(sqrt(d * d + SMALL2)))
        h_leaf = a + b
        q_leaf, g_leaf = h_leaf * d, a + 1.25 * b
        d = ts - ti
        a, b = soil_a * inside, soil_b * sqrt(sqrt(sqrt(d * d + SMALL2)))
        b = STABLE * b if d < 0.0 else b
        q_soil, g_soil = (a + b) * d, a + 1.25 * b
        d = tc - ti
        a, b = area * in_a * inside, area * in_b * sqrt(sqrt(sqrt(d * d + SMALL2)))
        q_in, g_in = (a + b) * d, a + 1.25 * b
        d = ta - tc
        a, b = area * out_a * root_u, area * out_b * sqrt(sqrt(sqrt(d * d + SMALL2)))
        h_out = a + b
        q_out, g_out = h_out * d, a + 1.25 * b
        exchange = x[k.X_LEAK + j] * (exchange0 + exchange1 * root_u * root_u)
        heat = heater_slope * (thermostat - ti)
        heat_slope = 0.0 if (heat < 0.0) | (heat > heater) else heater_slope
        heat = heater if heat > heater else heat
        heat = 0.0 if heat < 0.0 else heat
        # dew, frost, transpiration; vapour for dew comes with the air, through the same two resistances as its heat
        dew = deposition * exchange / (exchange + 2.0 * fol * h_leaf)
        e = saturation(tl)
        frozen = 0.0 if tl > 0.0 else -tl
        frozen = 1.0 if frozen > 1.0 else frozen
        d = e - x[k.X_EA + j]
        g = (LATENT + LATENT * FROST_MORE * frozen) * (dew * h_leaf if d < 0.0 else stomata * sun)
        q_wet, g_wet = g * d, g * e * (0.0728 - 5.3e-4 * tl) * (1.0 + 0.13 * frozen)
        # dew or frost on the outside of the cover; vapour from the ground to its inside
        e = saturation(tc)
        frozen = 0.0 if tc > 0.0 else -tc
        frozen = 1.0 if frozen > 1.0 else frozen
        d = e - x[k.X_EA + j]
        g = (LATENT + LATENT * FROST_MORE * frozen) * (cover_deposition * h_out if d < 0.0 else 0.0)
        q_out -= g * d
        g_out += g * e * (0.0728 - 5.3e-4 * tc) * (1.0 + 0.13 * frozen)
        steam = moist if ts > tc else 0.0
        # longwave under the cover: down to the plants, up to the cover
        plane = fol * el + gap * es
        down = through * lenv + emit * ec + reflect * plane
        up = EPS * plane + (1.0 - EPS) * down
        # balances
        f_c = factor * (out_env * lenv + out_air * ea - out_sum * ec + q_out) - q_in
        f_c += hold * (up - ec) + sun_cover * sun + lamp_cover + steam * (ts - tc)
        f_i = q_in + q_soil - 2.0 * fol * q_leaf + exchange * (ta - ti)
        f_i += barrel * (x[k.X_BARREL + j] - ti)
        f_i += heat + lamp_air + sun_air * sun + EPS * fol * fol * (el + es - 2.0 * ei)
        f_l = sun_leaf * sun + lamp_leaf + EPS * (down + gap * (low * es + x[k.X_EWALL_LOW + j]) + fol * ei - 2.0 * el)
        f_l += 2.0 * q_leaf - q_wet
        f_s = sun_soil * sun + lamp_soil + EPS * (gap * down + fol * gap * el + fol * fol * ei - es)
        f_s += given - q_soil - steam * (ts - tc)
        down_c, down_l, down_s = emit * dc, reflect * fol * dl, reflect * gap * ds
        m_cc = factor * (out_sum * dc + g_out) + g_in + hold * (dc - (1.0 - EPS) * down_c) + steam
        m_ci = -g_in
        m_cl = -hold * (EPS * fol * dl + (1.0 - EPS) * down_l)
        m_cs = -hold * (EPS * gap * ds + (1.0 - EPS) * down_s) - steam
        m_ii = g_in + g_soil + 2.0 * fol * g_leaf + exchange + barrel + heat_slope + 2.0 * EPS * fol * fol * di
        m_il = -2.0 * fol * g_leaf - EPS * fol * fol * dl
        m_is = -g_soil - EPS * fol * fol * ds
        m_lc = -EPS * down_c
        m_li = -2.0 * g_leaf - EPS * fol * di
        m_ll = EPS * (2.0 * dl - down_l) + 2.0 * g_leaf + g_wet
        m_ls = -EPS * (down_s + gap * low * ds)
        m_sc = -EPS * gap * down_c - steam
        m_si = -g_soil - EPS * fol * fol * di
        m_sl = -EPS * gap * (down_l + fol * dl)
        m_ss = EPS * (ds - gap * down_s) + g_soil + steam
        # eliminate cover, leaf, air
        inv_c = 1.0 / m_cc
        r = -g_in * inv_c
        m_ii -= r * m_ci
        m_il -= r * m_cl
        m_is -= r * m_cs
        f_i -= r * f_c
        r = m_lc * inv_c
        m_li -= r * m_ci
        m_ll -= r * m_cl
        m_ls -= r * m_cs
        f_l -= r * f_c
        r = m_sc * inv_c
        m_si -= r * m_ci
        m_sl -= r * m_cl
        m_ss -= r * m_cs
        f_s -= r * f_c
        inv_l = 1.0 / m_ll
        r = m_il * inv_l
        m_ii -= r * m_li
        m_is -= r * m_ls
        f_i -= r * f_l
        r = m_sl * inv_l
        m_si -= r * m_li
        m_ss -= r * m_ls
        f_s -= r * f_l
        inv_i = 1.0 / m_ii
        r = m_si * inv_i
        # What the ground takes up runs in straight pieces: cold, thawing, thawed (`ground_answer`). Its surface is
        # found on the right one at once, and limited before the rest follows from it.
        slope = m_ss - r * m_is
        known = f_s - r * f_i + slope * ts
        thawed = known - (slope + stiff) * thaw
        above = (p_own if thawed > 0.0 else stiff) if known > 0.0 else cold
        more = (p_own - stiff) * thaw if (known > 0.0) & (thawed > 0.0) else 0.0
        step_s = (known + more) / (slope + above) - ts
        step_s = LIMIT if step_s > LIMIT else (-LIMIT if step_s < -LIMIT else step_s)
        step_i = (f_i - m_is * step_s) * inv_i
        # Past the thermostat's whole band: stop in its middle, or off and on would take turns for ever.
        after = ti + step_i
        past = ((ti > thermostat) & (after < thermostat - BAND)) | ((ti < thermostat - BAND) & (after > thermostat))
        step_i = thermostat - 0.5 * BAND - ti if past else step_i
        step_l = (f_l - m_li * step_i - m_ls * step_s) * inv_l
        step_c = (f_c - m_ci * step_i - m_cl * step_l - m_cs * step_s) * inv_c
        step_i = LIMIT if step_i > LIMIT else (-LIMIT if step_i < -LIMIT else step_i)
        step_l = LIMIT if step_l > LIMIT else (-LIMIT if step_l < -LIMIT else step_l)
        step_c = LIMIT if step_c > LIMIT else (-LIMIT if step_c < -LIMIT else step_c)
        x[k.X_SOIL + j] = ts + step_s
        x[k.X_AIR + j] = ti + step_i
        x[k.X_LEAF + j] = tl + step_l
        x[k.X_COVER + j] = tc + step_c
        x[k.X_DOWN + j] = down


@apart
def indoors(x: Any, w: int, room: Any, f: Any) -> None:
    """Leaf, air, floor and surroundings at the temperature of a room; the ground outside follows the air there."""
    for j in range(w):
        t = room[j]
        kelvin = t + ZERO
        x[k.X_LEAF + j] = t
        x[k.X_AIR + j] = t
        x[k.X_COVER + j] = t
        x[k.X_SOIL + j] = t
        x[k.X_FRONT + j] = f[k.F_AIR + j]
        x[k.X_DOWN + j] = SIGMA * kelvin * kelvin * kelvin * kelvin
        x[k.X_TA + j] = t
        x[k.X_ROOT_U + j] = 0.2
        x[k.X_SUN + j] = 0.0
    for j in range(w):
        x[k.X_OPEN + j] = EPS * x[k.X_DOWN + j]
        x[k.X_HALF + j] = EPS * x[k.X_DOWN + j]
        x[k.X_SHADE + j] = EPS * x[k.X_DOWN + j]
