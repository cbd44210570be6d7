"""Inner loops of `matching`, compiled: cavity and tilted moments of each look, and the sum of all factors."""

from __future__ import annotations

from math import erfc, exp, isfinite, log, sqrt

import numba
import numpy as np

_ROOT_HALF = sqrt(0.5)

SHIFT_NODES, SHIFT_REACH = 49, 6.0
CHILL_NODES, CHILL_REACH = 15, 4.0
"""Equally spaced nodes and how many spreads they reach on either side: such sums converge fast for smooth curves."""

LEAST_LIKELIHOOD = 1e-12


@numba.njit(nogil=True, cache=True, error_model="numpy")
def match_looks(  # type: ignore[no-untyped-def]
    mean, covariance, precision, tilt, weights, offset, rate, spread,
    cold, seen, pale, slope, dose, needed, width_h, chill_first, chill_step, index,
):  # fmt: skip
    """Give each look's new factors (precision and tilt, for shift and chill) and its part of the log evidence.

    `weights` [look, 6] are the coefficients of the shift scalar over the first six parameters of `index`; the exposures
    passed the limits by the largest of ``offset + rate · scalar`` [look, grade or above, line].
    """
    count = slope.size
    new_precision, new_tilt = np.zeros((count, 2)), np.zeros((count, 2))
    log_z = np.zeros(count)
    for look in range(count):
        ids = index[look]
        chilled = ids[6] >= 0
        m, v = 0.0, 0.0
        for i in range(6):
            m += weights[look, i] * mean[ids[i]]
            for j in range(6):
                v += weights[look, i] * covariance[ids[i], ids[j]] * weights[look, j]
        cavity_m, cavity_v = _without(m, v, precision[look, 0], tilt[look, 0])
        chill_m, chill_v = 0.0, 0.0
        if chilled:
            a, b = ids[6], ids[7]
            chill_m, chill_v = _without(
                mean[a] + mean[b],
                covariance[a, a] + covariance[b, b] + 2.0 * covariance[a, b],
                precision[look, 1],
                tilt[look, 1],
            )
        width = slope[look] * spread
        z = z1 = z2 = c1 = c2 = 0.0
        total = 0.0
        steps = CHILL_NODES if chilled else 1
        for k in range(steps):
            at_chill, chill_weight, kept0, kept1 = 0.0, 1.0, 1.0, 1.0
            if chilled:
                node = CHILL_REACH * (2.0 * k / (CHILL_NODES - 1) - 1.0)
                chill_weight = exp(-0.5 * node * node)
                at_chill = chill_m + sqrt(chill_v) * node
                place = min(max((at_chill - chill_first) / chill_step, 0.0), dose.shape[1] - 1.001)
                low = int(place)
                carried = dose[look, low] + (dose[look, low + 1] - dose[look, low]) * (place - low)
                if carried > 0.0:
                    kept0 = _phi((needed[look, 0] - carried) / (width_h * width))
                    kept1 = _phi((needed[look, 1] - carried) / (width_h * width))
            for i in range(SHIFT_NODES):
                node = SHIFT_REACH * (2.0 * i / (SHIFT_NODES - 1) - 1.0)
                weight = exp(-0.5 * node * node) * chill_weight
                there = cavity_m + sqrt(cavity_v) * node
                fine0 = _phi(-_most(offset[look, 0], rate[look, 0], there) / width) * kept0 * pale[look, 0]
                fine1 = _phi(-_most(offset[look, 1], rate[look, 1], there) / width) * kept1 * pale[look, 1]
                like = max(1.0 - cold[look] * fine0 - seen[look] * (1.0 - fine1), LEAST_LIKELIHOOD)
                part = weight * like
                total += weight
                z += part
                z1 += part * there
                z2 += part * there * there
                c1 += part * at_chill
                c2 += part * at_chill * at_chill
        z1, z2, c1, c2 = z1 / z, z2 / z, c1 / z, c2 / z
        constant = log(z / total)
        new_precision[look, 0], new_tilt[look, 0] = _factor(z1, z2 - z1 * z1, cavity_m, cavity_v)
        constant -= _log_product(cavity_m, cavity_v, new_precision[look, 0], new_tilt[look, 0])
        if chilled:
            new_precision[look, 1], new_tilt[look, 1] = _factor(c1, c2 - c1 * c1, chill_m, chill_v)
            constant -= _log_product(chill_m, chill_v, new_precision[look, 1], new_tilt[look, 1])
        log_z[look] = constant
    return new_precision, new_tilt, log_z


@numba.njit(nogil=True, cache=True, error_model="numpy")
def joined(size, precision, tilt, weights, index):  # type: ignore[no-untyped-def]
    """Give the sum of all looks' factors: precision [parameter, parameter] and tilt [parameter]."""
    whole, pull = np.zeros((size, size)), np.zeros(size)
    for look in range(index.shape[0]):
        ids = index[look]
        for i in range(6):
            pull[ids[i]] += weights[look, i] * tilt[look, 0]
            for j in range(6):
                whole[ids[i], ids[j]] += weights[look, i] * precision[look, 0] * weights[look, j]
        if ids[6] >= 0:
            for i in range(6, 8):
                pull[ids[i]] += tilt[look, 1]
                for j in range(6, 8):
                    whole[ids[i], ids[j]] += precision[look, 1]
    return whole, pull


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _most(offset, rate, at):  # type: ignore[no-untyped-def]
    """Largest of some lines at a point."""
    most = offset[0] + rate[0] * at
    for line in range(1, offset.size):
        most = max(most, offset[line] + rate[line] * at)
    return most


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _phi(x):  # type: ignore[no-untyped-def]
    """Standard normal distribution function."""
    return 0.5 * erfc(-x * _ROOT_HALF) if isfinite(x) else (1.0 if x > 0 else 0.0)


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _without(m, v, precision, tilt):  # type: ignore[no-untyped-def]
    """Mean and variance without one factor."""
    left = 1.0 / v - precision
    return (m / v - tilt) / left, 1.0 / left


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _factor(m, v, cavity_m, cavity_v):  # type: ignore[no-untyped-def]
    """Factor that turns the cavity's moments into the tilted ones; never one that widens."""
    v = min(v, cavity_v)
    return 1.0 / v - 1.0 / cavity_v, m / v - cavity_m / cavity_v


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _log_product(m, v, precision, tilt):  # type: ignore[no-untyped-def]
    """Logarithm of the integral of a normal times a factor."""
    left = 1.0 / v + precision
    pull = m / v + tilt
    return 0.5 * (pull * pull / left - m * m / v - log(v * left))
