"""Inner loops of `matching`, compiled: cavity and tilted moments of each look, and the sum of all factors."""

from __future__ import annotations

from math import erfc, exp, log, sqrt

import numba
import numpy as np
from numpy.typing import NDArray

REACH = 5.6
"""How many spreads the nodes reach on either side; beyond lies a mass of 2e-8."""

RULES = (13, 19, 27, 39, 57, 81)
"""Numbers of equally spaced nodes to choose from: for smooth curves such sums converge fast once the steps are finer
than the sharpest bend."""

FINE = 1.2
"""Most step over the spread that cavity and look have together: the sum is then off by exp(-2 (π / 1.2)²), 1e-6."""

_ROOT_HALF = sqrt(0.5)
_DENSITY = 1.0 / sqrt(2.0 * np.pi)


def _rules() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes and weights of all rules. [rule, node]"""
    nodes, weights = np.zeros((len(RULES), max(RULES))), np.zeros((len(RULES), max(RULES)))
    for rule, count in enumerate(RULES):
        nodes[rule, :count] = np.linspace(-REACH, REACH, count)
        weight = np.exp(-0.5 * nodes[rule, :count] ** 2)
        weights[rule, :count] = weight / weight.sum()
    return nodes, weights


_NODES, _WEIGHTS = _rules()
_COUNTS = np.array(RULES)
_STEPS = 2.0 * REACH / (_COUNTS - 1.0)


@numba.njit(nogil=True, cache=True, error_model="numpy")
def match_looks(  # type: ignore[no-untyped-def]
    mean, covariance, precision, tilt, weights, offset, rate, lines, spread,
    certain, cold, seen, pale, slope, dose, needed, width_h, chill_first, chill_step, index,
):  # fmt: skip
    """Give each look's new factors (precision and tilt, for shift and chill) and its part of the log evidence.

    `weights` [look, 6] are the coefficients of the shift scalar over the first six parameters of `index`; the exposures
    passed the limits by the largest of the first `lines` [look, grade or above] of ``offset + rate · scalar``
    [look, grade or above, line]; with -1 lines they passed for certain. The likelihood of a look is::

        certain - cold · fine(grade) - seen · (1 - fine(grade above))
        fine = Φ(-passed / width) · spared by chill · not paled

    a sum of products over the two scalars, so that each is integrated for itself. The last result is the derivative of
    the log evidence by the logarithm of `spread`.
    """
    count = slope.size
    new_precision, new_tilt = np.zeros((count, 2)), np.zeros((count, 2))
    log_z = np.zeros(count)
    by_spread = 0.0
    part, chill_part = np.zeros((2, 4)), np.zeros((2, 4))
    for look in range(count):
        ids = index[look]
        chilled = ids[6] >= 0
        m, v = 0.0, 0.0
        for i in range(6):
            m += weights[look, i] * mean[ids[i]]
            for j in range(6):
                v += weights[look, i] * covariance[ids[i], ids[j]] * weights[look, j]
        cavity_m, cavity_v = _without(m, v, precision[look, 0], tilt[look, 0])
        width = slope[look] * spread
        for column in range(2):
            _shift_moments(
                cavity_m, cavity_v, offset[look, column], rate[look, column], lines[look, column], width, part[column]
            )
        chill_m, chill_v = 0.0, 0.0
        chill_part[:] = 0.0
        chill_part[:, 0] = 1.0
        chill_part[:, 2] = 1.0
        if chilled:
            a, b = ids[6], ids[7]
            chill_m, chill_v = _without(
                mean[a] + mean[b],
                covariance[a, a] + covariance[b, b] + 2.0 * covariance[a, b],
                precision[look, 1],
                tilt[look, 1],
            )
            for column in range(2):
                _chill_moments(
                    chill_m, chill_v, dose[look], needed[look, column], width_h * width, chill_first, chill_step,
                    chill_part[column],
                )  # fmt: skip
        low, high = -cold[look] * pale[look, 0], seen[look] * pale[look, 1]
        flat = certain - seen[look]
        z = flat + low * part[0, 0] * chill_part[0, 0] + high * part[1, 0] * chill_part[1, 0]
        z1 = (low * part[0, 1] * chill_part[0, 0] + high * part[1, 1] * chill_part[1, 0]) / z
        z2 = (flat + low * part[0, 2] * chill_part[0, 0] + high * part[1, 2] * chill_part[1, 0]) / z
        new_precision[look, 0], new_tilt[look, 0] = _factor(z1, z2, cavity_m, cavity_v)
        by_spread += low * (part[0, 3] * chill_part[0, 0] + part[0, 0] * chill_part[0, 3]) / z
        by_spread += high * (part[1, 3] * chill_part[1, 0] + part[1, 0] * chill_part[1, 3]) / z
        log_z[look] = log(z) - _log_product(cavity_m, cavity_v, new_precision[look, 0], new_tilt[look, 0])
        if chilled:
            c1 = (low * part[0, 0] * chill_part[0, 1] + high * part[1, 0] * chill_part[1, 1]) / z
            c2 = (flat + low * part[0, 0] * chill_part[0, 2] + high * part[1, 0] * chill_part[1, 2]) / z
            new_precision[look, 1], new_tilt[look, 1] = _factor(c1, c2, chill_m, chill_v)
            log_z[look] -= _log_product(chill_m, chill_v, new_precision[look, 1], new_tilt[look, 1])
    return new_precision, new_tilt, log_z, by_spread


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
def _shift_moments(m, v, offset, rate, lines, width, moments):  # type: ignore[no-untyped-def]
    """Mass, first and second moment (in spreads from the mean) of what is fine, and the mass's slope by log width."""
    if lines <= 0:
        moments[:] = 0.0
        if lines == 0:
            moments[0] = 1.0
            moments[2] = 1.0
        return
    moments[:] = 0.0
    sd = sqrt(v)
    if _most(offset, rate, lines, m + REACH * sd) < -7.0 * width:
        moments[0] = 1.0
        moments[2] = 1.0
        return
    steep = rate[0]
    for line in range(1, lines):
        steep = max(steep, rate[line])
    rule = _rule(steep * sd / width)
    for i in range(_COUNTS[rule]):
        node = _NODES[rule, i]
        u = -_most(offset, rate, lines, m + sd * node) / width
        part = _WEIGHTS[rule, i] * 0.5 * erfc(-u * _ROOT_HALF)
        moments[0] += part
        moments[1] += part * node
        moments[2] += part * node * node
        moments[3] -= _WEIGHTS[rule, i] * _DENSITY * exp(-0.5 * u * u) * u


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _chill_moments(m, v, dose, needed, width, first, step, moments):  # type: ignore[no-untyped-def]
    """Do the same for what chilling spares; left as it is where chilling does not cause the grade."""
    if not needed < np.inf:
        return
    moments[:] = 0.0
    sd = sqrt(v)
    steepest = (dose[-1] - dose[-2]) / step
    rule = _rule(steepest * sd / width)
    for i in range(_COUNTS[rule]):
        node = _NODES[rule, i]
        place = min(max((m + sd * node - first) / step, 0.0), dose.size - 1.001)
        low = int(place)
        carried = dose[low] + (dose[low + 1] - dose[low]) * (place - low)
        part = _WEIGHTS[rule, i]
        if carried > 0.0:
            u = (needed - carried) / width
            moments[3] -= part * _DENSITY * exp(-0.5 * u * u) * u
            part *= 0.5 * erfc(-u * _ROOT_HALF)
        moments[0] += part
        moments[1] += part * node
        moments[2] += part * node * node


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _rule(sharpness):  # type: ignore[no-untyped-def]
    """The coarsest rule that is fine enough for a bend so many times as sharp as the cavity."""
    finest = FINE / sqrt(1.0 + sharpness * sharpness)
    rule = 0
    while rule < _STEPS.size - 1 and _STEPS[rule] > finest:
        rule += 1
    return rule


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _most(offset, rate, lines, at):  # type: ignore[no-untyped-def]
    """Largest of the first lines at a point."""
    most = offset[0] + rate[0] * at
    for line in range(1, lines):
        most = max(most, offset[line] + rate[line] * at)
    return most


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _without(m, v, precision, tilt):  # type: ignore[no-untyped-def]
    """Mean and variance without one factor."""
    left = 1.0 / v - precision
    return (m / v - tilt) / left, 1.0 / left


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _factor(first, second, cavity_m, cavity_v):  # type: ignore[no-untyped-def]
    """Factor that turns the cavity's moments into the tilted ones (in spreads from its mean); never one that widens."""
    shrunk = min(second - first * first, 1.0)
    m, v = cavity_m + sqrt(cavity_v) * first, cavity_v * shrunk
    return 1.0 / v - 1.0 / cavity_v, m / v - cavity_m / cavity_v


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _log_product(m, v, precision, tilt):  # type: ignore[no-untyped-def]
    """Logarithm of the integral of a normal times a factor."""
    left = 1.0 / v + precision
    pull = m / v + tilt
    return 0.5 * (pull * pull / left - m * m / v - log(v * left))
