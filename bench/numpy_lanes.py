"""The lane functions of `physics.kernel_lanes` and `physics.kernel_bodies` in plain NumPy, under the same names.

Whole-array expressions over [case, member]. A state `x` and a row of weather `f` are dicts of arrays by the offsets of
`physics.kernel_rows`, shapes (case, member) and (1, member); parameters `p` and bodies `b` are arrays with the
parameter first, shape (parameter, case, 1). `bench.numpy_reference` marches them through time.

That every formula stands here a second time is on purpose: shared code would share its slips, and the kernel's speed
is told over what one would write without a compiler. What changes there must change here, and
`tests/physics/test_reference.py` fails until it does. Constants are shared, so they are not checked by this.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.kernel_lanes import (
    ABSORBED,
    BAND,
    BARK_SUN,
    EPS,
    FAR,
    FROST_MORE,
    LATENT,
    LIMIT,
    SIGMA,
    SMALL2,
    STABLE,
    STABLE_WIND,
    ZERO,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
State = dict[Any, FloatArray]

Z_ROWS = (k.X_Z0, k.X_Z1, k.X_Z2, k.X_Z3, k.X_Z4, k.X_Z5)


# ---------------------------------------------------------------- kernel_lanes


def saturation(t: FloatArray) -> FloatArray:
    """Vapour pressure over water above 0 °C and over ice below. [kPa]"""
    t = np.minimum(np.maximum(t, -50.0), 70.0)
    x = (t - 10.0) * (1.0 / 60.0)
    e = 0.000757283953554 * x + 0.00109992641986
    e = e * x - 0.0160378914624
    e = e * x - 0.0332134313045
    e = e * x + 0.300613471985
    e = e * x + 1.92391554993
    e = e * x + 5.37073246174
    e = e * x + 8.77636694017
    e = e * x + 8.72739046763
    e = e * x + 4.93717240299
    e = e * x + 1.22796263979
    y = np.minimum(t, 0.0) * 0.02
    ice = -0.00291606819341 * y - 0.00172070785755
    ice = ice * y - 0.0007288443274
    ice = ice * y + 0.126249903756
    ice = ice * y + 0.480404791039
    return e * (1.0 + ice * y)


def eighth_root(square: FloatArray) -> FloatArray:
    """|d|^¼ of a squared difference, rounded off at 0."""
    return np.sqrt(np.sqrt(np.sqrt(square + SMALL2)))


def walls(x: State, temperature: FloatArray, thrown: FloatArray, shares: FloatArray, shares_low: FloatArray) -> None:
    """Sum up the walls that a spot sees: `temperature` and sun `thrown` back [face, member], `shares` [case, face]."""
    kelvin = temperature + ZERO
    e = SIGMA * kelvin * kelvin * kelvin * kelvin
    x[k.X_EWALL] = shares @ e
    x[k.X_TWALL] = shares @ temperature
    x[k.X_EWALL_LOW] = shares_low @ e
    x[k.X_BOUNCE] = shares @ thrown


def surround(x: State, f: State, p: FloatArray, visible: FloatArray) -> None:
    """Make the station's weather into the spot's surroundings."""
    ta = f[k.F_AIR] + p[k.P_WARMER] + p[k.P_COOLING] * f[k.F_COOLING]
    kelvin = ta + ZERO
    ea = SIGMA * kelvin * kelvin * kelvin * kelvin
    u = p[k.P_WIND] * (f[k.F_WIND] * (1.0 - STABLE_WIND * f[k.F_COOLING]))
    x[k.X_TA] = ta
    x[k.X_EA] = np.minimum(f[k.F_VAPOUR], saturation(ta))
    x[k.X_ROOT_U] = np.sqrt(np.sqrt(u * u + p[k.P_CALM2]))
    lenv = p[k.P_SKY] * f[k.F_SKY] + p[k.P_ROOF] * f[k.F_ROOF] + p[k.P_AIR_VIEW] * ea
    x[k.X_LENV] = lenv + x[k.X_EWALL]
    x[k.X_EWALL_LOW] = x[k.X_EWALL_LOW] + p[k.P_AIR_VIEW_LOW] * ea
    x[k.X_SUN] = visible * f[k.F_BEAM] + p[k.P_DIFFUSE] * f[k.F_DIFFUSE] + x[k.X_BOUNCE]


def ground_answer(x: State, p: FloatArray, dt: float) -> None:
    """What the ground takes up over this step, as a function of its surface temperature in straight pieces."""
    r = np.sum(p[k.P_WEIGHT : k.P_WEIGHT + k.TERMS] * p[k.P_OLD : k.P_OLD + k.TERMS], axis=0) * x[k.X_FRONT0]
    for term, row in enumerate(Z_ROWS):
        r = r + (p[k.P_WEIGHT + term] * p[k.P_DECAY + term]) * x[row]
    ice = x[k.X_ICE]
    left = r - ice / dt  # from below, beyond what melts all ice
    hard = (p[k.P_FROZEN_K] == 0.0) | (x[k.X_HARD] > 0.5)
    melts = hard | (left > 0.0)
    x[k.X_BELOW] = r
    x[k.X_RETURN] = np.where(melts, left, 0.0)
    x[k.X_COLD] = np.where(melts, np.where(hard, p[k.P_OWN], p[k.P_STIFF]), conducted(p, ice))
    x[k.X_THAW] = np.where(melts, 0.0, -left / p[k.P_STIFF])


def conducted(p: FloatArray, ice: FloatArray) -> FloatArray:
    """Conductance of so much ice with the film over it; 1 where soil does not freeze. [W/(m² K)]"""
    solid = np.where(p[k.P_FROZEN_K] > 0.0, p[k.P_FROZEN_K], 1.0)
    return np.asarray(solid / (solid / p[k.P_STIFF] + p[k.P_FROZEN_PER] * ice))


def ground_now(x: State, p: FloatArray) -> None:
    """What the ground takes up at this instant, for a jump of the surroundings: no ice comes or goes."""
    r = np.add.reduce([p[k.P_WEIGHT + term] * x[row] for term, row in enumerate(Z_ROWS)])
    ice = x[k.X_ICE]
    cold = np.where((p[k.P_FROZEN_K] > 0.0) & (x[k.X_HARD] < 0.5), p[k.P_STIFF], p[k.P_DIRECT])
    x[k.X_RETURN] = np.where(ice > 0.0, 0.0, r)
    x[k.X_COLD] = np.where(ice > 0.0, conducted(p, ice), cold)
    x[k.X_THAW] = np.where(ice > 0.0, FAR, 0.0)


def front(x: State, p: FloatArray) -> None:
    """What the ground's terms see as their surface: the front while soil is frozen, else the surface itself."""
    soft = (p[k.P_FROZEN_K] > 0.0) & (x[k.X_HARD] < 0.5)
    x[k.X_FRONT] = np.maximum(x[k.X_SOIL] - x[k.X_THAW], np.where(soft, 0.0, -FAR))


def freeze(x: State, p: FloatArray, dt: float) -> None:
    """Soil that freezes or thaws in this step: what the surface takes beyond what comes from below freezes water."""
    t = x[k.X_SOIL]
    taken = np.where(t < 0.0, x[k.X_COLD], p[k.P_STIFF]) * t - x[k.X_RETURN]
    ice = x[k.X_ICE] - dt * (taken + x[k.X_BELOW])
    gone = (p[k.P_FROZEN_K] == 0.0) | (x[k.X_HARD] > 0.5) | (t > x[k.X_THAW]) | (ice < 0.0)
    x[k.X_ICE] = np.where(gone, 0.0, ice)


def on_its_piece(x: State, slope: FloatArray, known: FloatArray, own: FloatArray, stiff: FloatArray) -> FloatArray:
    """Surface temperature of the ground: on the piece of what it takes up where the balance holds."""
    cold, thaw = x[k.X_COLD], x[k.X_THAW]
    thawed = known - (slope + stiff) * thaw
    above = np.where(known > 0.0, np.where(thawed > 0.0, own, stiff), cold)
    more = np.where((known > 0.0) & (thawed > 0.0), (own - stiff) * thaw, 0.0)
    return np.asarray((known + more) / (slope + above))


def ground_march(x: State, p: FloatArray) -> None:
    """Bring the ground's terms to the end of the step."""
    old, new = x[k.X_FRONT0], x[k.X_FRONT]
    for term, row in enumerate(Z_ROWS):
        x[row] = p[k.P_DECAY + term] * x[row] + p[k.P_OLD + term] * old + p[k.P_NEW + term] * new


def guess(x: State, slope: FloatArray, freezes: NDArray[np.bool_]) -> None:
    """Start of a step: the last solution, run on in a straight line (slope 1) or kept (0), as soil that turns is."""
    for row, before in ((k.X_LEAF, k.X_LEAF0), (k.X_AIR, k.X_AIR0), (k.X_COVER, k.X_COVER0)):
        x[row], x[before] = x[row] + slope * (x[row] - x[before]), x[row]
    soil, last = x[k.X_SOIL], x[k.X_SOIL0]
    turned = freezes & ((soil < 0.0) != (last < 0.0))
    x[k.X_SOIL], x[k.X_SOIL0] = soil + np.where(turned, 0.0, slope) * (soil - last), soil
    x[k.X_FRONT0] = x[k.X_FRONT]
    x[k.X_OPEN0], x[k.X_HALF0], x[k.X_SHADE0] = x[k.X_OPEN], x[k.X_HALF], x[k.X_SHADE]


def settled(x: State) -> None:
    """After a jump: the surfaces as solved are where the step starts."""
    x[k.X_LEAF0], x[k.X_AIR0], x[k.X_COVER0], x[k.X_SOIL0] = x[k.X_LEAF], x[k.X_AIR], x[k.X_COVER], x[k.X_SOIL]
    x[k.X_OPEN0], x[k.X_HALF0], x[k.X_SHADE0] = x[k.X_OPEN], x[k.X_HALF], x[k.X_SHADE]


def black(t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Emission of a black body and its derivative. [W/m², W/(m² K)]"""
    kelvin = t + ZERO
    d = SIGMA * kelvin * kelvin * kelvin
    return d * kelvin, 4.0 * d


def heating(p: FloatArray, ti: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heat of a regulated heater and minus its derivative. [W/m², W/(m² K)]"""
    slope = p[k.P_HEATER] / BAND
    heat = slope * (p[k.P_THERMOSTAT] - ti)
    heat_slope = np.where((heat < 0.0) | (heat > p[k.P_HEATER]), 0.0, slope)
    return np.maximum(np.minimum(heat, p[k.P_HEATER]), 0.0), heat_slope


def wet(t: FloatArray, e: FloatArray, d: FloatArray, g: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heat that leaves with vapour and its derivative, of conductance `g` over the excess `d`."""
    frozen = np.minimum(np.maximum(-t, 0.0), 1.0)
    g = (LATENT + LATENT * FROST_MORE * frozen) * g
    return g * d, g * e * (0.0728 - 5.3e-4 * t) * (1.0 + 0.13 * frozen)


def held_in_band(p: FloatArray, ti: FloatArray, step: FloatArray) -> FloatArray:
    """Stop in the middle of a thermostat's band where a step would jump over it."""
    thermostat = p[k.P_THERMOSTAT]
    after = ti + step
    past = ((ti > thermostat) & (after < thermostat - BAND)) | ((ti < thermostat - BAND) & (after > thermostat))
    return np.where(past, thermostat - 0.5 * BAND - ti, step)


def stride(step: FloatArray) -> FloatArray:
    """Limit the stride of one pass."""
    return np.minimum(np.maximum(step, -LIMIT), LIMIT)


def newton_open(x: State, p: FloatArray, own: FloatArray, stiff: FloatArray) -> None:
    """One pass over leaf, air and soil without a cover."""
    fol, low, albedo = p[k.P_FOLIAGE], 1.0 - p[k.P_WALL_LOW], p[k.P_ALBEDO]
    gap = 1.0 - fol
    tl, ti, ts = x[k.X_LEAF], x[k.X_AIR], x[k.X_SOIL]
    root_u, lenv, sun = x[k.X_ROOT_U], x[k.X_LENV], x[k.X_SUN]
    (el, dl), (ei, di), (es, ds) = black(tl), black(ti), black(ts)
    # exchange with the air
    d = ti - tl
    a, b = p[k.P_LEAF_A] * root_u, p[k.P_LEAF_B] * eighth_root(d * d)
    h_leaf = a + b
    q_leaf, g_leaf = h_leaf * d, a + 1.25 * b
    d = ts - ti
    a, b = p[k.P_SOIL_A] * root_u, p[k.P_SOIL_B] * eighth_root(d * d)
    b = np.where(d < 0.0, STABLE * b, b)
    q_soil, g_soil = (a + b) * d, a + 1.25 * b
    exchange = p[k.P_EXCHANGE0] + p[k.P_EXCHANGE1] * root_u * root_u
    heat, heat_slope = heating(p, ti)
    # dew, frost, transpiration; vapour for dew comes with the air, through the same two resistances as its heat
    dew = p[k.P_DEPOSITION] * exchange / (exchange + 2.0 * fol * h_leaf)
    e = saturation(tl)
    d = e - x[k.X_EA]
    q_wet, g_wet = wet(tl, e, d, np.where(d < 0.0, dew * h_leaf, p[k.P_STOMATA] * sun))
    # balances
    f_l = ABSORBED * (1.0 + albedo * gap) * sun + p[k.P_LAMP_LEAF]
    f_l += EPS * (lenv + gap * (low * es + x[k.X_EWALL_LOW]) + fol * ei - 2.0 * el) + 2.0 * q_leaf - q_wet
    f_i = q_soil - 2.0 * fol * q_leaf + exchange * (x[k.X_TA] - ti)
    f_i += p[k.P_WALL_AIR] * (x[k.X_TWALL] - p[k.P_WALL_SHARE] * ti)
    f_i += heat + p[k.P_LAMP_AIR] + EPS * fol * fol * (el + es - 2.0 * ei)
    f_s = (1.0 - albedo) * gap * sun + p[k.P_LAMP_SOIL] + EPS * (gap * lenv + fol * gap * el + fol * fol * ei - es)
    f_s += x[k.X_RETURN] - q_soil
    m_ll = 2.0 * EPS * dl + 2.0 * g_leaf + g_wet
    m_li = -2.0 * g_leaf - EPS * fol * di
    m_ls = -EPS * gap * low * ds
    m_il = -2.0 * fol * g_leaf - EPS * fol * fol * dl
    m_ii = g_soil + 2.0 * fol * g_leaf + exchange + p[k.P_WALL_AIR] * p[k.P_WALL_SHARE] + heat_slope
    m_ii += 2.0 * EPS * fol * fol * di
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
    slope = m_ss - r * m_is
    step_s = stride(on_its_piece(x, slope, f_s - r * f_i + slope * ts, own, stiff) - ts)
    step_i = held_in_band(p, ti, (f_i - m_is * step_s) * inv_i)
    step_l = (f_l - m_li * step_i - m_ls * step_s) * inv_l
    x[k.X_SOIL], x[k.X_AIR], x[k.X_LEAF] = (
        ts + step_s,
        ti + stride(step_i),
        tl + stride(step_l),
    )
    x[k.X_COVER], x[k.X_DOWN] = x[k.X_TA], lenv


def newton_covered(x: State, p: FloatArray, own: FloatArray, stiff: FloatArray) -> None:
    """One pass over cover, air, leaf and soil."""
    fol, low, albedo = p[k.P_FOLIAGE], 1.0 - p[k.P_WALL_LOW], p[k.P_ALBEDO]
    gap = 1.0 - fol
    area, hold, emit, reflect = p[k.P_COVER_AREA], p[k.P_HOLD], p[k.P_EMIT_IN], p[k.P_REFLECT]
    factor, out_sum, sun_through = p[k.P_OUT_FACTOR], p[k.P_OUT_SUM], p[k.P_SUN_THROUGH]
    tl, ti, tc, ts, ta = x[k.X_LEAF], x[k.X_AIR], x[k.X_COVER], x[k.X_SOIL], x[k.X_TA]
    root_u, lenv, sun = x[k.X_ROOT_U], x[k.X_LENV], x[k.X_SUN]
    (el, dl), (ei, di), (ec, dc), (es, ds), (ea, _) = black(tl), black(ti), black(tc), black(ts), black(ta)
    # exchange with the air
    inside = p[k.P_IN_WIND_MUL] * root_u + p[k.P_IN_WIND_ADD]
    d = ti - tl
    a, b = p[k.P_LEAF_A] * inside, p[k.P_LEAF_B] * eighth_root(d * d)
    h_leaf = a + b
    q_leaf, g_leaf = h_leaf * d, a + 1.25 * b
    d = ts - ti
    a, b = p[k.P_SOIL_A] * inside, p[k.P_SOIL_B] * eighth_root(d * d)
    b = np.where(d < 0.0, STABLE * b, b)
    q_soil, g_soil = (a + b) * d, a + 1.25 * b
    d = tc - ti
    a, b = area * p[k.P_COVER_IN_A] * inside, area * p[k.P_COVER_IN_B] * eighth_root(d * d)
    q_in, g_in = (a + b) * d, a + 1.25 * b
    d = ta - tc
    a, b = area * p[k.P_COVER_OUT_A] * root_u, area * p[k.P_COVER_OUT_B] * eighth_root(d * d)
    h_out = a + b
    q_out, g_out = h_out * d, a + 1.25 * b
    exchange = x[k.X_LEAK] * (p[k.P_EXCHANGE0] + p[k.P_EXCHANGE1] * root_u * root_u)
    heat, heat_slope = heating(p, ti)
    # dew, frost, transpiration; vapour for dew comes with the air, through the same two resistances as its heat
    dew = p[k.P_DEPOSITION] * exchange / (exchange + 2.0 * fol * h_leaf)
    e = saturation(tl)
    d = e - x[k.X_EA]
    q_wet, g_wet = wet(tl, e, d, np.where(d < 0.0, dew * h_leaf, p[k.P_STOMATA] * sun))
    # dew or frost on the outside of the cover; vapour from the ground to its inside
    e = saturation(tc)
    d = e - x[k.X_EA]
    q, g = wet(tc, e, d, np.where(d < 0.0, p[k.P_COVER_DEPOSITION] * h_out, 0.0))
    q_out -= q
    g_out += g
    steam = np.where(ts > tc, p[k.P_MOIST], 0.0)
    # longwave under the cover: down to the plants, up to the cover
    plane = fol * el + gap * es
    down = p[k.P_THROUGH] * lenv + emit * ec + reflect * plane
    up = EPS * plane + (1.0 - EPS) * down
    # balances
    f_c = factor * (p[k.P_OUT_ENV] * lenv + p[k.P_OUT_AIR] * ea - out_sum * ec + q_out) - q_in
    f_c += hold * (up - ec) + p[k.P_SUN_COVER] * sun + p[k.P_LAMP_COVER] + steam * (ts - tc)
    f_i = q_in + q_soil - 2.0 * fol * q_leaf + exchange * (ta - ti) + p[k.P_BARREL] * (x[k.X_BARREL] - ti)
    f_i += heat + p[k.P_LAMP_AIR] + p[k.P_SUN_AIR] * sun + EPS * fol * fol * (el + es - 2.0 * ei)
    f_l = ABSORBED * (1.0 + albedo * gap) * sun_through * sun + p[k.P_LAMP_LEAF]
    f_l += EPS * (down + gap * (low * es + x[k.X_EWALL_LOW]) + fol * ei - 2.0 * el) + 2.0 * q_leaf - q_wet
    f_s = (1.0 - albedo) * gap * sun_through * sun + p[k.P_LAMP_SOIL]
    f_s += EPS * (gap * down + fol * gap * el + fol * fol * ei - es)
    f_s += x[k.X_RETURN] - q_soil - steam * (ts - tc)
    down_c, down_l, down_s = emit * dc, reflect * fol * dl, reflect * gap * ds
    m_cc = factor * (out_sum * dc + g_out) + g_in + hold * (dc - (1.0 - EPS) * down_c) + steam
    m_ci = -g_in
    m_cl = -hold * (EPS * fol * dl + (1.0 - EPS) * down_l)
    m_cs = -hold * (EPS * gap * ds + (1.0 - EPS) * down_s) - steam
    m_ii = g_in + g_soil + 2.0 * fol * g_leaf + exchange + p[k.P_BARREL] + heat_slope + 2.0 * EPS * fol * fol * di
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
    slope = m_ss - r * m_is
    step_s = stride(on_its_piece(x, slope, f_s - r * f_i + slope * ts, own, stiff) - ts)
    step_i = held_in_band(p, ti, (f_i - m_is * step_s) * inv_i)
    step_l = (f_l - m_li * step_i - m_ls * step_s) * inv_l
    step_c = (f_c - m_ci * step_i - m_cl * step_l - m_cs * step_s) * inv_c
    x[k.X_SOIL], x[k.X_AIR] = ts + step_s, ti + stride(step_i)
    x[k.X_LEAF], x[k.X_COVER], x[k.X_DOWN] = tl + stride(step_l), tc + stride(step_c), down


def indoors(x: State, inside: IntArray, room: FloatArray, f: State) -> None:
    """Leaf, air, floor and surroundings of some cases at room temperature; the ground follows the air outside."""
    radiated, _ = black(room)
    values = [(row, room) for row in (k.X_LEAF, k.X_AIR, k.X_COVER, k.X_SOIL, k.X_TA)]
    values += [(row, EPS * radiated) for row in (k.X_OPEN, k.X_HALF, k.X_SHADE)]
    values += [(k.X_FRONT, f[k.F_AIR]), (k.X_DOWN, radiated)]
    values += [(k.X_ROOT_U, np.full_like(room, 0.2)), (k.X_SUN, np.zeros_like(room))]
    for row, value in values:
        x[row] = x[row].copy()
        x[row][inside] = value


# ---------------------------------------------------------------- kernel_bodies


def wood_radiation(x: State, p: FloatArray, shade: FloatArray) -> None:
    """What exposed twigs, half shaded fruit and shaded limbs absorb: half from above, half from below."""
    fol, low, lamp = p[k.P_FOLIAGE], 1.0 - p[k.P_WALL_LOW], p[k.P_LAMP_LEAF]
    (el, _), (es, _), (ei, _) = black(x[k.X_LEAF]), black(x[k.X_SOIL]), black(x[k.X_AIR])
    below = (1.0 - fol) * (low * es + x[k.X_EWALL_LOW]) + fol * ei
    down = x[k.X_DOWN]
    sun = BARK_SUN * p[k.P_SUN_THROUGH] * x[k.X_SUN] + lamp
    bare = EPS * 0.5 * (down + below) + sun
    hidden = EPS * 0.5 * (shade * down + (1.0 - shade) * el + below) + shade * sun
    x[k.X_OPEN], x[k.X_HALF], x[k.X_SHADE] = bare, 0.5 * (bare + hidden), hidden


def body_step(
    x: State, row: Any, rad0: Any, rad1: Any, per_c: FloatArray, a: FloatArray, b: FloatArray, wind: FloatArray
) -> None:
    """March a twig, limb or fruit: linear at its old temperature, driven in a straight line over the step."""
    t, air0, air1 = x[row], x[k.X_AIR0], x[k.X_AIR]
    d = 0.5 * (air0 + air1) - t
    h = a * wind + b * eighth_root(d * d)
    kelvin = t + ZERO
    slope = EPS * SIGMA * kelvin * kelvin * kelvin
    emitted = slope * kelvin
    n0 = x[rad0] - emitted + h * (air0 - t)
    n1 = x[rad1] - emitted + h * (air1 - t)
    z = -(4.0 * slope + h) * per_c
    inv = 1.0 / z
    phi1 = (np.exp(z) - 1.0) * inv
    phi2 = (phi1 - 1.0) * inv
    x[row] = t + per_c * (phi1 * n0 + phi2 * (n1 - n0))


def fruit_step(x: State, b: FloatArray, dt: float, wind: FloatArray) -> None:
    """March a fruit: like `body_step`, but its juice freezes at one temperature, which holds until all of it is ice."""
    freezes, latent, per_c = b[k.B_FRUIT_FREEZES], b[k.B_FRUIT_L], dt / b[k.B_FRUIT_C]
    t, ice, air0, air1 = x[k.X_FRUIT], x[k.X_FRUIT_ICE], x[k.X_AIR0], x[k.X_AIR]
    d = 0.5 * (air0 + air1) - t
    h = b[k.B_FRUIT_A] * wind + b[k.B_FRUIT_B] * eighth_root(d * d)
    kelvin = t + ZERO
    slope = EPS * SIGMA * kelvin * kelvin * kelvin
    emitted = slope * kelvin
    n0 = x[k.X_HALF0] - emitted + h * (air0 - t)
    n1 = x[k.X_HALF] - emitted + h * (air1 - t)
    z = -(4.0 * slope + h) * per_c
    inv = 1.0 / z
    phi1 = (np.exp(z) - 1.0) * inv
    phi2 = (phi1 - 1.0) * inv
    free_t = t + per_c * (phi1 * n0 + phi2 * (n1 - n0))
    # While it freezes or thaws it stays at `freezes`, so that the flux is that of this temperature.
    holds = (ice > 0.0) & (ice < latent)
    total = ice + np.where(holds, -0.5 * dt * (n0 + n1), (freezes - free_t) / per_c * dt)
    x[k.X_FRUIT_ICE] = np.minimum(np.maximum(total, 0.0), latent)
    # The rest of a step in which the last of it froze or thawed leads at most as far as a whole step from there.
    after, reach = (np.maximum(-total, 0.0) - np.maximum(total - latent, 0.0)) * per_c / dt, free_t - freezes
    after = np.where(holds & (after > 0.0) & (after > reach), reach, after)
    x[k.X_FRUIT] = freezes + np.where(holds & (after < 0.0) & (after < reach), reach, after)


def barrel_step(x: State, b: FloatArray, dt: float, covered: FloatArray) -> None:
    """March the water in barrels: in the open with air and sun, under a cover with its air; it freezes at 0 °C."""
    capacity, exchange = b[k.B_BARREL_C], b[k.B_BARREL_G]
    gone = 1.0 - np.exp(-exchange * dt / capacity)
    around = 0.5 * (x[k.X_AIR0] + x[k.X_AIR]) + (1.0 - covered) * b[k.B_BARREL_SUN] / exchange * x[k.X_SUN]
    heat = x[k.X_BARREL_H] + capacity * gone * (around - x[k.X_BARREL])
    x[k.X_BARREL_H] = heat
    x[k.X_BARREL] = (np.maximum(heat, 0.0) + np.minimum(heat + b[k.B_BARREL_L], 0.0)) / capacity


def root_ball(x: State, b: FloatArray, dt: float, wind: FloatArray) -> None:
    """March the rim and the core of a container's root ball; water freezes at 0 °C."""
    between = b[k.B_BETWEEN]
    ti, ts, rim, core = x[k.X_AIR], x[k.X_SOIL], x[k.X_RIM], x[k.X_CORE]
    kelvin = ti + ZERO
    slope = 4.0 * EPS * SIGMA * kelvin * kelvin * kelvin
    h = b[k.B_SKIN_A] * wind + b[k.B_SKIN_0] + slope
    # radiation beyond that of the air, as a shift of its temperature
    sky = ti + (x[k.X_SHADE] - EPS * SIGMA * kelvin * kelvin * kelvin * kelvin) / h
    side = b[k.B_RIM_AREA] * h / (1.0 + h * b[k.B_WALL_R])
    f_rim = (side + b[k.B_TOP_RIM]) * (sky - rim) + b[k.B_FLOOR_RIM] * (ts - rim) + between * (core - rim)
    f_core = b[k.B_TOP_CORE] * (sky - core) + b[k.B_FLOOR_CORE] * (ts - core) + between * (rim - core)
    m_rr = b[k.B_RIM_C] / dt + side + b[k.B_TOP_RIM] + b[k.B_FLOOR_RIM] + between
    m_cc = b[k.B_CORE_C] / dt + b[k.B_TOP_CORE] + b[k.B_FLOOR_CORE] + between
    r = between / m_rr
    step_c = (f_core + r * f_rim) / (m_cc - r * between)
    step_r = (f_rim + between * step_c) / m_rr
    for row, heat_row, c, ice, step in (
        (k.X_RIM, k.X_RIM_H, k.B_RIM_C, k.B_RIM_L, step_r),
        (k.X_CORE, k.X_CORE_H, k.B_CORE_C, k.B_CORE_L, step_c),
    ):
        heat = x[heat_row] + b[c] * step
        x[heat_row] = heat
        x[row] = (np.maximum(heat, 0.0) + np.minimum(heat + b[ice], 0.0)) / b[c]


def root_depth(x: State, b: FloatArray) -> None:
    """Read the ground at root depth."""
    r = b[k.B_ROOT_SOIL] * x[k.X_FRONT]
    for term, row in enumerate(Z_ROWS):
        r = r + b[k.B_ROOT_Z + term] * x[row]
    x[k.X_RIM] = r
