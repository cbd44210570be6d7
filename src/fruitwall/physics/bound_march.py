"""March the lower bounds of `physics.night_bound` through the weather, compiled by Numba.

One file without any other's constants, so that Numba's cache sees every change. The equations are set out there.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

import numba
import numpy as np

FAR = 999.0
PASSES = 2
"""Newton passes; what is left is taken off, so that a bound stays a bound."""

SIGMA = 5.670374419e-8
ZERO = 273.15
EPS = 0.96
STABLE = 0.3
STABLE_WIND = 0.45
LEAST_ROOT = 0.1**0.25
"""Least of the rounded fourth root of a difference in the free exchange. [K^¼]"""

MOST_ROOT = 40.0**0.25
"""Most of it, between air and colder ground. [K^¼]"""

STEEPEST = 6.4
"""Slope of σK⁴ at 31 °C. [W/(m² K)]"""

COLDEST_SLOPE = 2.5
"""ε times the slope of σK⁴ at -47 °C. [W/(m² K)]"""

(
    N_COOL, N_WIND_LO, N_WIND_HI, N_CALM_LO, N_CALM_HI, N_SKY, N_ROOFED, N_FOLIAGE, N_GAP,
    N_LEAF_A, N_LEAF_B, N_BODY_A, N_BODY_B, N_SOIL_A, N_SOIL_B, N_EXCHANGE0, N_EXCHANGE1, N_WALL,
    N_RECOVER, N_FREEZES, N_MELT, N_POTTED, N_SKIN, N_ROOT_SURFACE, N_ROOT_LESS, N_FREEZING, N_WETTED, N_DEPTHS,
    N_WARMER,
) = range(29)  # fmt: skip
NUMBERS = 29
(G_DECAY, G_OLD, G_NEW, G_WEIGHT, G_REST, G_LAG, G_READ) = range(7)
(OUT_LEAF, OUT_BODY, OUT_ROOT) = range(3)

inline: Any = numba.njit(nogil=True, forceinline=True, error_model="numpy")


@inline
def emitted(t: float) -> float:
    """σK⁴."""
    kelvin = t + ZERO
    return SIGMA * kelvin * kelvin * kelvin * kelvin


@inline
def less(value: float) -> float:
    """Value where negative, else 0."""
    return 0.0 if value > 0.0 else value


@inline
def lesser(one: float, other: float) -> float:
    """The lesser of two."""
    return one if one < other else other


@inline
def ground_root(
    s: float, known: float, own: float, air: float, long: float, around: float, wall: float, x: float, n: Any,
    lo: float, hi: float, warm: float, least: float,
) -> Any:  # fmt: skip
    """No higher than the root of the ground's balance; `least` is the least slope it can have."""
    foliage, walled = EPS * n[N_FOLIAGE], n[N_WALL]
    share = lo / (x + hi + walled + 2.0 * foliage * STEEPEST)
    per_x = warm / x
    f = 0.0
    for last in range(PASSES + 1):
        e = emitted(s)
        loss = less(long - e)
        gives = x * (air - s) + foliage * (loss + less(around - e)) + walled * less(wall - s)
        part = share if gives > 0.0 else per_x
        f = known - own * s + EPS * loss + gives * part
        if last < PASSES:
            de = 4.0 * e / (s + ZERO)
            lost = de if long < e else 0.0
            slope = x + foliage * (lost + (de if around < e else 0.0)) + (walled if wall < s else 0.0)
            s += f / (own + EPS * lost + slope * part)
    return s + less(f) / least


@inline
def air_root(
    t: float, air: float, soil: float, long: float, below: float, wall: float, x: float, n: Any, hi: float
) -> Any:
    """No higher than the root of the balance of the crown's air."""
    foliage, walled = EPS * n[N_FOLIAGE], n[N_WALL]
    f = 0.0
    for last in range(PASSES + 1):
        e = emitted(t)
        f = x * (air - t) + hi * less(soil - t) + walled * less(wall - t)
        f += foliage * (less(long - e) + less(below - e))
        if last < PASSES:
            slope = x + (hi if soil < t else 0.0) + (walled if wall < t else 0.0)
            t += f / (slope + foliage * 4.0 * e / (t + ZERO) * ((long < e) + (below < e)))
    return t + less(f) / x


@inline
def surface_root(t: float, air: float, long: float, below: float, gap: float, h: float) -> Any:
    """No higher than the root of the balance of leaf, twig or fruit, half its flux."""
    f = 0.0
    for last in range(PASSES + 1):
        e = emitted(t)
        f = 0.5 * EPS * (less(long - e) + gap * less(below - e)) + h * (air - t)
        if last < PASSES:
            t += f / (h + 0.5 * EPS * 4.0 * e / (t + ZERO) * ((long < e) + gap * (below < e)))
    return t + less(f) / h


@numba.njit(nogil=True, cache=True, error_model="numpy")
def march(
    width: int, air: Any, wind: Any, sky: Any, cooling: Any, roof: Any, wall: Any, room: Any, start: Any, n: Any,
    grounds: Any, owns: Any, night_of: Any, out: Any,
) -> None:  # fmt: skip
    """March one class; the lowest of every night goes into `out` [night, 3, lane]."""
    terms = grounds.shape[2]
    freezing, potted, wetted = n[N_FREEZING] > 0.5, n[N_POTTED] > 0.5, int(n[N_WETTED])
    soil_a, soil_b, gap = n[N_SOIL_A], n[N_SOIL_B], n[N_GAP]
    walls, rooms, roofed = wall.shape[0] > 1, room.shape[0] > 1, n[N_ROOFED] > 0.5
    soil, body, pot = start[:width].copy(), start[:width].copy(), start[:width].copy()
    inner, leaf, wood = start[:width].copy(), start[:width].copy(), start[:width].copy()
    # Ground that begins below zero has no water left to freeze, as in the kernel: it cools like any other ground.
    freezes = start[:width] >= 0.0 if freezing else np.zeros(width, dtype=np.bool_)
    before, ice, frozen = np.full(width, FAR), np.zeros(width), np.zeros(width, dtype=np.bool_)
    front = soil.copy()
    coldest = front + n[N_DEPTHS]
    z = np.empty((terms, width))
    for i in range(terms):
        z[i] = grounds[0, G_REST, i] * front + grounds[0, G_LAG, i]
    g = 0
    for t in range(air.shape[0]):
        if t == wetted:  # every depth is at least as warm as the coldest that surface and water have been
            g = 1
            for j in range(width):
                front[j] = coldest[j] = lesser(coldest[j], start[j])
                for i in range(terms):
                    z[i, j] = grounds[1, G_REST, i] * front[j]
        own, night = owns[g], night_of[t]
        for j in range(width):
            strength = cooling[t, j]
            ta = air[t, j] + n[N_WARMER] + n[N_COOL] * strength
            u = wind[t, j] * (1.0 - STABLE_WIND * strength)
            lo2, hi2 = u * n[N_WIND_LO], u * n[N_WIND_HI]
            root_lo = sqrt(sqrt(lo2 * lo2 + n[N_CALM_LO]))
            root_hi = sqrt(sqrt(hi2 * hi2 + n[N_CALM_HI]))
            x = n[N_EXCHANGE0] + n[N_EXCHANGE1] * root_lo * root_lo
            # of ground with air: least, most over colder ground, most over warmer ground
            lo, hi = soil_a * root_lo + STABLE * soil_b * LEAST_ROOT, soil_a * root_hi + STABLE * soil_b * MOST_ROOT
            warm = soil_a * root_hi + soil_b * MOST_ROOT
            tw = wall[t, j] if walls else FAR
            around = emitted(lesser(ta, tw))
            around = lesser(around, roof[t, j]) if roofed else around
            long = lesser(around, n[N_SKY] * sky[t, j] + (1.0 - n[N_SKY]) * around)
            # ground
            known = 0.0
            for i in range(terms):
                known += grounds[g, G_WEIGHT, i] * (grounds[g, G_DECAY, i] * z[i, j] + grounds[g, G_OLD, i] * front[j])
            ts = ground_root(soil[j], known, own, ta, long, around, tw, x, n, lo, hi, warm, own)
            frozen[j] = frozen[j] or ts < 0.0
            if freezes[j] and frozen[j]:
                bare = ground_root(ts, 0.0, 0.0, ta, long, around, tw, x, n, lo, hi, warm, 0.5)
                ts = lesser(ts, lesser(bare, 0.0))
            # The kernel has the ground behind a plant that is carried in follow the yard's air, below 0 °C as well.
            ts = lesser(ts, air[t, j]) if rooms else ts
            old, front[j] = front[j], 0.0 if freezes[j] and ts < 0.0 and not rooms else ts
            if t > 0:
                for i in range(terms):
                    z[i, j] = grounds[g, G_DECAY, i] * z[i, j]
                    z[i, j] += grounds[g, G_OLD, i] * old + grounds[g, G_NEW, i] * front[j]
            soil[j] = ts
            coldest[j] = lesser(coldest[j], front[j])
            # air, leaf, wood
            below = lesser(emitted(ts), around)
            ti = air_root(inner[j], ta, ts, long, below, tw, x, n, hi)
            h = n[N_LEAF_A] * root_lo + n[N_LEAF_B] * LEAST_ROOT
            tl = surface_root(leaf[j] + ti - inner[j], ti, long, below, gap, h)
            above = lesser(long, emitted(tl))
            h = n[N_BODY_A] * root_lo + n[N_BODY_B] * LEAST_ROOT
            tb = surface_root(wood[j] + ti - inner[j], ti, above, below, gap, h)
            inner[j], leaf[j], wood[j] = ti, tl, tb
            indoors = room[t, j] if rooms else FAR
            tl, tb = lesser(tl, indoors), lesser(tb, indoors)
            drive = lesser(before[j], tb)
            before[j] = tb
            held = lesser(drive, body[j] + n[N_RECOVER] * (drive - body[j]))
            if held < n[N_FREEZES]:
                ice[j] = 1.0
            if ice[j] > 0.0:
                ice[j] -= n[N_MELT] * (drive - n[N_FREEZES]) if drive > n[N_FREEZES] else 0.0
                held = lesser(held, n[N_FREEZES])
            body[j] = held
            # roots
            if potted:
                e = emitted(ti)
                lacks = 0.5 * EPS * (less(above - e) + gap * less(below - e))
                skin = ti + lacks / (n[N_SKIN] + 4.0 * EPS * e / (ti + ZERO))
                root = lesser(pot[j], lesser(lesser(skin, ts), indoors))
                pot[j] = root
            else:
                root = n[N_ROOT_SURFACE] * front[j] - n[N_ROOT_LESS]
                for i in range(terms):
                    root += grounds[g, G_READ, i] * z[i, j]
            if night >= 0:
                out[night, OUT_LEAF, j] = lesser(out[night, OUT_LEAF, j], tl)
                out[night, OUT_BODY, j] = lesser(out[night, OUT_BODY, j], held)
                out[night, OUT_ROOT, j] = lesser(out[night, OUT_ROOT, j], root)
