"""One step of what keeps heat: twig, limb, fruit and root ball, and the writing down of a night.

Loops over a row of ensemble members like those of `kernel_lanes`, compiled by Numba.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.kernel_lanes import BARK_SUN, EPS, SIGMA, SMALL2, ZERO, apart, exponential, lanes


@apart
def wood_radiation(x: Any, w: int, p: Any, shade: float) -> None:
    """What exposed twigs, half shaded fruit and shaded limbs absorb: half from above, half from below."""
    fol, low, sun_through, lamp = p[k.P_FOLIAGE], 1.0 - p[k.P_WALL_LOW], p[k.P_SUN_THROUGH], p[k.P_LAMP_LEAF]
    gap = 1.0 - fol
    for j in range(w):
        kl, ks, ki = x[k.X_LEAF + j] + ZERO, x[k.X_SOIL + j] + ZERO, x[k.X_AIR + j] + ZERO
        el, es, ei = SIGMA * kl * kl * kl * kl, SIGMA * ks * ks * ks * ks, SIGMA * ki * ki * ki * ki
        below = gap * (low * es + x[k.X_EWALL_LOW + j]) + fol * ei
        down = x[k.X_DOWN + j]
        sun = BARK_SUN * sun_through * x[k.X_SUN + j] + lamp
        bare = EPS * 0.5 * (down + below) + sun
        hidden = EPS * 0.5 * (shade * down + (1.0 - shade) * el + below) + shade * sun
        x[k.X_OPEN + j] = bare
        x[k.X_HALF + j] = 0.5 * (bare + hidden)
        x[k.X_SHADE + j] = hidden


@lanes
def relaxed(
    t: float, air0: float, air1: float, rad0: float, rad1: float, wind: float, per_c: float, a: float, b: float
) -> float:
    """Temperature of a twig, limb or fruit at the end of a step: linear at its old one, driven in a straight line.

    Exponential integrator of second order (Hochbruck & Ostermann 2010, from memory), with the exchange held at that of
    the step's beginning; `per_c`: step over heat capacity.
    """
    d = 0.5 * (air0 + air1) - t
    h = a * wind + b * sqrt(sqrt(sqrt(d * d + SMALL2)))
    kelvin = t + ZERO
    slope = EPS * SIGMA * kelvin * kelvin * kelvin
    emitted = slope * kelvin
    n0 = rad0 - emitted + h * (air0 - t)
    n1 = rad1 - emitted + h * (air1 - t)
    z = -(4.0 * slope + h) * per_c
    inv = 1.0 / z
    phi1 = (exponential(z) - 1.0) * inv
    phi2 = (phi1 - 1.0) * inv
    after: float = t + per_c * (phi1 * n0 + phi2 * (n1 - n0))
    return after


@apart
def wood_step(x: Any, w: int, b: Any, dt: float, mul: float, add: float) -> None:
    """March twigs and limbs."""
    twig_c, twig_a, twig_b = dt / b[k.B_TWIG_C], b[k.B_TWIG_A], b[k.B_TWIG_B]
    wood_c, wood_a, wood_b = dt / b[k.B_WOOD_C], b[k.B_WOOD_A], b[k.B_WOOD_B]
    for j in range(w):
        air0, air1, wind = x[k.X_AIR0 + j], x[k.X_AIR + j], mul * x[k.X_ROOT_U + j] + add
        rad0, rad1 = x[k.X_OPEN0 + j], x[k.X_OPEN + j]
        x[k.X_TWIG + j] = relaxed(x[k.X_TWIG + j], air0, air1, rad0, rad1, wind, twig_c, twig_a, twig_b)
    for j in range(w):
        air0, air1, wind = x[k.X_AIR0 + j], x[k.X_AIR + j], mul * x[k.X_ROOT_U + j] + add
        rad0, rad1 = x[k.X_SHADE0 + j], x[k.X_SHADE + j]
        x[k.X_WOOD + j] = relaxed(x[k.X_WOOD + j], air0, air1, rad0, rad1, wind, wood_c, wood_a, wood_b)


@apart
def crop_step(x: Any, w: int, b: Any, dt: float, mul: float, add: float) -> None:
    """March fruit that does not freeze."""
    per_c, forced, free = dt / b[k.B_FRUIT_C], b[k.B_FRUIT_A], b[k.B_FRUIT_B]
    for j in range(w):
        air0, air1, wind = x[k.X_AIR0 + j], x[k.X_AIR + j], mul * x[k.X_ROOT_U + j] + add
        rad0, rad1 = x[k.X_HALF0 + j], x[k.X_HALF + j]
        x[k.X_FRUIT + j] = relaxed(x[k.X_FRUIT + j], air0, air1, rad0, rad1, wind, per_c, forced, free)


@apart
def fruit_step(x: Any, w: int, dt: float, per_c: float, a: float, b: Any, wind_mul: float, wind_add: float) -> None:
    """March a fruit: like `crop_step`, but its juice freezes at one temperature, which holds until all of it is ice."""
    free, freezes, latent = b[k.B_FRUIT_B], b[k.B_FRUIT_FREEZES], b[k.B_FRUIT_L]
    inv_per_c = 1.0 / per_c
    for j in range(w):
        t, ice = x[k.X_FRUIT + j], x[k.X_FRUIT_ICE + j]
        air0, air1 = x[k.X_AIR0 + j], x[k.X_AIR + j]
        d = 0.5 * (air0 + air1) - t
        h = a * (wind_mul * x[k.X_ROOT_U + j] + wind_add) + free * sqrt(sqrt(sqrt(d * d + SMALL2)))
        kelvin = t + ZERO
        slope = EPS * SIGMA * kelvin * kelvin * kelvin
        emitted = slope * kelvin
        n0 = x[k.X_HALF0 + j] - emitted + h * (air0 - t)
        n1 = x[k.X_HALF + j] - emitted + h * (air1 - t)
        z = -(4.0 * slope + h) * per_c
        inv = 1.0 / z
        phi1 = (exponential(z) - 1.0) * inv
        phi2 = (phi1 - 1.0) * inv
        free_t = t + per_c * (phi1 * n0 + phi2 * (n1 - n0))
        # While it freezes or thaws it stays at `freezes`, so that the flux is that of this temperature.
        holds = (ice > 0.0) & (ice < latent)
        more = -0.5 * dt * (n0 + n1) if holds else (freezes - free_t) * inv_per_c * dt
        total = ice + more
        # Heat beyond what the ice holds: above zero liquid, below all frozen.
        liquid = -total if total < 0.0 else 0.0
        solid = total - latent if total > latent else 0.0
        total = 0.0 if total < 0.0 else total
        x[k.X_FRUIT_ICE + j] = latent if total > latent else total
        # The rest of a step in which the last of it froze or thawed leads at most as far as a whole step from there.
        after, reach = (liquid - solid) * per_c / dt, free_t - freezes
        after = reach if holds & (after > 0.0) & (after > reach) else after
        after = reach if holds & (after < 0.0) & (after < reach) else after
        x[k.X_FRUIT + j] = freezes + after


@apart
def barrel_step(x: Any, w: int, b: Any, dt: float, covered: float) -> None:
    """March the water in barrels: in the open with air and sun, under a cover with its air; it freezes at 0 °C."""
    capacity, latent, exchange, sun = b[k.B_BARREL_C], b[k.B_BARREL_L], b[k.B_BARREL_G], b[k.B_BARREL_SUN]
    gone = 1.0 - exponential(-exchange * dt / capacity)
    inv, per_air = 1.0 / capacity, 1.0 / exchange
    for j in range(w):
        around = 0.5 * (x[k.X_AIR0 + j] + x[k.X_AIR + j])
        around += (1.0 - covered) * per_air * sun * x[k.X_SUN + j]
        heat = x[k.X_BARREL_H + j] + capacity * gone * (around - x[k.X_BARREL + j])
        solid = heat + latent
        x[k.X_BARREL_H + j] = heat
        x[k.X_BARREL + j] = ((heat if heat > 0.0 else 0.0) + (solid if solid < 0.0 else 0.0)) * inv


@apart
def root_ball(x: Any, w: int, b: Any, dt: float, wind_mul: float, wind_add: float) -> None:
    """March the rim and the core of a container's root ball; water freezes at 0 °C."""
    skin_a, skin_0, wall_r, rim_area = b[k.B_SKIN_A], b[k.B_SKIN_0], b[k.B_WALL_R], b[k.B_RIM_AREA]
    top_core, top_rim, floor_core, floor_rim = b[k.B_TOP_CORE], b[k.B_TOP_RIM], b[k.B_FLOOR_CORE], b[k.B_FLOOR_RIM]
    between, rim_c, core_c, rim_l, core_l = b[k.B_BETWEEN], b[k.B_RIM_C], b[k.B_CORE_C], b[k.B_RIM_L], b[k.B_CORE_L]
    per_rim, per_core = rim_c / dt, core_c / dt
    inv_rim, inv_core = 1.0 / rim_c, 1.0 / core_c
    for j in range(w):
        ti, ts, rim, core = x[k.X_AIR + j], x[k.X_SOIL + j], x[k.X_RIM + j], x[k.X_CORE + j]
        kelvin = ti + ZERO
        slope = 4.0 * EPS * SIGMA * kelvin * kelvin * kelvin
        h = skin_a * (wind_mul * x[k.X_ROOT_U + j] + wind_add) + skin_0 + slope
        # radiation beyond that of the air, as a shift of its temperature
        sky = ti + (x[k.X_SHADE + j] - EPS * SIGMA * kelvin * kelvin * kelvin * kelvin) / h
        side = rim_area * h / (1.0 + h * wall_r)
        f_rim = side * (sky - rim) + top_rim * (sky - rim) + floor_rim * (ts - rim) + between * (core - rim)
        f_core = top_core * (sky - core) + floor_core * (ts - core) + between * (rim - core)
        m_rr = per_rim + side + top_rim + floor_rim + between
        m_cc = per_core + top_core + floor_core + between
        r = between / m_rr
        step_c = (f_core + r * f_rim) / (m_cc - r * between)
        step_r = (f_rim + between * step_c) / m_rr
        heat_r = x[k.X_RIM_H + j] + rim_c * step_r
        heat_c = x[k.X_CORE_H + j] + core_c * step_c
        x[k.X_RIM_H + j] = heat_r
        x[k.X_CORE_H + j] = heat_c
        solid_r, solid_c = heat_r + rim_l, heat_c + core_l
        x[k.X_RIM + j] = ((heat_r if heat_r > 0.0 else 0.0) + (solid_r if solid_r < 0.0 else 0.0)) * inv_rim
        x[k.X_CORE + j] = ((heat_c if heat_c > 0.0 else 0.0) + (solid_c if solid_c < 0.0 else 0.0)) * inv_core


@apart
def root_depth(x: Any, w: int, b: Any) -> None:
    """Read the ground at root depth."""
    s, b0, b1, b2 = b[k.B_ROOT_SOIL], b[k.B_ROOT_Z], b[k.B_ROOT_Z + 1], b[k.B_ROOT_Z + 2]
    b3, b4, b5 = b[k.B_ROOT_Z + 3], b[k.B_ROOT_Z + 4], b[k.B_ROOT_Z + 5]
    for j in range(w):
        r = s * x[k.X_FRONT + j] + b0 * x[k.X_Z0 + j] + b1 * x[k.X_Z1 + j] + b2 * x[k.X_Z2 + j]
        x[k.X_RIM + j] = r + b3 * x[k.X_Z3 + j] + b4 * x[k.X_Z4 + j] + b5 * x[k.X_Z5 + j]


@apart
def note_history(x: Any, w: int, h: Any, leaf: float, cover: float, air: float) -> None:
    """Write down this step; the leaf is mixed with what it touches under a draped cover."""
    for j in range(w):
        h[k.H_LEAF + j] = leaf * x[k.X_LEAF + j] + cover * x[k.X_COVER + j] + air * x[k.X_AIR + j]
        h[k.H_TWIG + j] = x[k.X_TWIG + j]
        h[k.H_WOOD + j] = x[k.X_WOOD + j]
        h[k.H_FRUIT + j] = x[k.X_FRUIT + j]
        h[k.H_ROOT + j] = x[k.X_RIM + j]
    for j in range(w):
        h[k.H_AIR + j] = x[k.X_AIR + j]
        h[k.H_COVER + j] = x[k.X_COVER + j]
        h[k.H_SOIL + j] = x[k.X_SOIL + j]
        h[k.H_DOWN + j] = x[k.X_DOWN + j]


@apart
def note_lowest(h: Any, w: int, row: int, lowest: Any) -> None:
    """Keep the lowest of a row of history."""
    for j in range(w):
        t = h[row + j]
        best = lowest[j]
        lowest[j] = t if t < best else best


@apart
def take_row(to: Any, h: Any, w: int, row: int, lowest: Any) -> None:
    """Copy one row of history, and keep the lowest of it."""
    for j in range(w):
        t = h[row + j]
        best = lowest[j]
        to[j] = t
        lowest[j] = t if t < best else best


@apart
def add_row(to: Any, source: Any, w: int) -> None:
    """Add an earlier row to a later one."""
    for j in range(w):
        to[j] += source[j]


@apart
def add_last(to: Any, source: Any, w: int, lowest: Any, scale: float) -> None:
    """Add the last row of a sum, and keep the lowest of it as a mean."""
    for j in range(w):
        total = to[j] + source[j]
        to[j] = total
        t = scale * total
        best = lowest[j]
        lowest[j] = t if t < best else best
