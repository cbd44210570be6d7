"""The rounds of `matching`, compiled: cavity and tilted moments of each look, and the sum of all factors."""

from __future__ import annotations

from math import erfc, exp, log, sqrt

import numba
import numpy as np
from numpy.typing import NDArray

REACH = 5.2
"""How many spreads the nodes reach on either side; beyond lies a mass of 2e-7."""

RULES = (13, 19, 27, 39, 57, 81)
"""Numbers of equally spaced nodes to choose from: for smooth curves such sums converge fast once the steps are finer
than the sharpest bend."""

FINE = 1.3
"""Most step over the spread that cavity and look have together: the sum is then off by exp(-2 (π / 1.3)²), 1e-5."""

NEARLY = 0.05
"""Change of the means, over their spreads, below which the rounds work out the slopes as well: they are of use at the
end only."""

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
def settle(  # type: ignore[no-untyped-def]
    prior, precision, tilt, rounds, shares, calmer_from, settled, weights, offset, rate, log2h, lines, spread,
    certain, cold, seen, pale, slope, dose, needed, width_h, chill_first, chill_step, index,
):  # fmt: skip
    """Go round until the means settle, from these factors, which are changed in place.

    Results are mean, covariance, the log evidence and its derivatives by the last two scales; the rest as for
    `_match_looks` and `matching`.
    """
    mean, covariance, pull, log_det = _joined(prior, precision, tilt, weights, index)
    log_z, by_scale = 0.0, np.zeros(2)
    change, with_slopes = 1.0, False
    for step in range(rounds):
        share = shares[1] if step >= calmer_from else shares[0]
        with_slopes = change < NEARLY
        log_z, by_scale = _match_looks(
            mean, covariance, precision, tilt, share, with_slopes, weights, offset, rate, log2h, lines, spread,
            certain, cold, seen, pale, slope, dose, needed, width_h, chill_first, chill_step, index,
        )  # fmt: skip
        before = mean
        mean, covariance, pull, log_det = _joined(prior, precision, tilt, weights, index)
        change = 0.0
        for i in range(mean.size):
            change = max(change, abs(mean[i] - before[i]) / sqrt(covariance[i, i]))
        if change < settled * share and with_slopes:
            break
    evidence = log_z + 0.5 * (mean @ pull + np.log(prior).sum() - log_det)
    return mean, covariance, evidence, by_scale


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _match_looks(  # type: ignore[no-untyped-def]
    mean, covariance, precision, tilt, share, with_slopes, weights, offset, rate, log2h, lines, spread,
    certain, cold, seen, pale, slope, dose, needed, width_h, chill_first, chill_step, index,
):  # fmt: skip
    """Go round once: change each look's factors (`precision`, `tilt`; for shift and chill) by `share` of what is due.

    The looks of one tree, which lie one behind the other, are matched in turn, each in the light of the last; the trees
    are matched side by side, all from `mean` and `covariance`. Results are the looks' part of the log evidence and the
    derivatives of the log evidence by the logarithm of `spread` and by the effect of duration.

    `weights` [look, 5] are the coefficients of the shift over the first five parameters of `index`; the exposures
    passed the limits by the largest of the first `lines` [look, grade or above] of ``offset + rate · shift``
    [look, grade or above, line], each of so many hours (`log2h`); with -1 lines they passed for certain. The likelihood
    of a look is::

        certain - cold · fine(grade) - seen · (1 - fine(grade above))
        fine = Φ(-passed / width) · spared by chill · not paled

    a sum of products over the two scalars, so that each is integrated for itself.
    """
    count = slope.size
    log_z = 0.0
    by_scale = np.zeros(2)
    part, chill_part = np.zeros((2, 5)), np.zeros((2, 4))
    place_of = np.full(mean.size, -1)
    met = np.zeros(mean.size, dtype=np.int64)
    first = 0
    while first < count:
        behind, size = first, 0
        while behind < count and index[behind, 3] == index[first, 3]:
            for i in range(index.shape[1]):
                at = index[behind, i]
                if at >= 0 and place_of[at] < 0:
                    place_of[at] = size
                    met[size] = at
                    size += 1
            behind += 1
        m_here, v_here = np.zeros(size), np.zeros((size, size))
        for i in range(size):
            m_here[i] = mean[met[i]]
            for j in range(size):
                v_here[i, j] = covariance[met[i], met[j]]
        row = np.zeros(size)
        for look in range(first, behind):
            chilled = index[look, 5] >= 0
            width = slope[look] * spread
            row[:] = 0.0
            for i in range(5):
                row[place_of[index[look, i]]] = weights[look, i]
            m, v = _along(m_here, v_here, row)
            cavity_m, cavity_v = _without(m, v, precision[look, 0], tilt[look, 0])
            for column in range(2):
                _shift_moments(
                    cavity_m, cavity_v, offset[look, column], rate[look, column], log2h[look, column],
                    lines[look, column], width, with_slopes, part[column],
                )  # fmt: skip
            chill_m, chill_v = 0.0, 0.0
            chill_part[:] = 0.0
            chill_part[:, 0] = 1.0
            chill_part[:, 2] = 1.0
            if chilled:
                row[:] = 0.0
                row[place_of[index[look, 5]]] = 1.0
                row[place_of[index[look, 6]]] = 1.0
                m, v = _along(m_here, v_here, row)
                chill_m, chill_v = _without(m, v, precision[look, 1], tilt[look, 1])
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
            by_scale[0] += low * (part[0, 3] * chill_part[0, 0] + part[0, 0] * chill_part[0, 3]) / z
            by_scale[0] += high * (part[1, 3] * chill_part[1, 0] + part[1, 0] * chill_part[1, 3]) / z
            by_scale[1] += (low * part[0, 4] * chill_part[0, 0] + high * part[1, 4] * chill_part[1, 0]) / z
            log_z += log(z)
            if chilled:  # `row` is that of the chill
                c1 = (low * part[0, 0] * chill_part[0, 1] + high * part[1, 0] * chill_part[1, 1]) / z
                c2 = (flat + low * part[0, 0] * chill_part[0, 2] + high * part[1, 0] * chill_part[1, 2]) / z
                log_z += _change(c1, c2, chill_m, chill_v, precision[look], tilt[look], 1, share, m_here, v_here, row)
                row[:] = 0.0
                for i in range(5):
                    row[place_of[index[look, i]]] = weights[look, i]
            log_z += _change(z1, z2, cavity_m, cavity_v, precision[look], tilt[look], 0, share, m_here, v_here, row)
        for i in range(size):
            place_of[met[i]] = -1
        first = behind
    return log_z, by_scale


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _along(mean, covariance, row):  # type: ignore[no-untyped-def]
    """Mean and variance of a scalar."""
    m, v = 0.0, 0.0
    for i in range(row.size):
        if row[i] != 0.0:
            m += row[i] * mean[i]
            for j in range(row.size):
                v += row[i] * covariance[i, j] * row[j]
    return m, v


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _change(  # type: ignore[no-untyped-def]
    first, second, cavity_m, cavity_v, precision, tilt, at, share, mean, covariance, row
):
    """Move one factor towards the moments and the normal with it; give what leads to its part of the evidence."""
    due_precision, due_tilt = _factor(first, second, cavity_m, cavity_v)
    more, pull = share * (due_precision - precision[at]), share * (due_tilt - tilt[at])
    precision[at] += more
    tilt[at] += pull
    if more == 0.0 and pull == 0.0:
        return 0.0  # a look that says nothing
    spread = covariance @ row
    m, v = mean @ row, spread @ row
    left = 1.0 + more * v
    for i in range(row.size):
        mean[i] += spread[i] * (pull - more * m) / left
        for j in range(row.size):
            covariance[i, j] -= more / left * spread[i] * spread[j]
    return -_log_product(cavity_m, cavity_v, due_precision, due_tilt)


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _joined(prior, precision, tilt, weights, index):  # type: ignore[no-untyped-def]
    """Mean, covariance, the factors' pull and the log determinant of the precision, of prior and all looks' factors."""
    pull, whole = np.zeros(prior.size), np.diag(prior)
    for look in range(index.shape[0]):
        ids = index[look]
        for i in range(5):
            pull[ids[i]] += weights[look, i] * tilt[look, 0]
            for j in range(5):
                whole[ids[i], ids[j]] += weights[look, i] * precision[look, 0] * weights[look, j]
        if ids[5] >= 0:
            for i in range(5, 7):
                pull[ids[i]] += tilt[look, 1]
                for j in range(5, 7):
                    whole[ids[i], ids[j]] += precision[look, 1]
    log_det = 2.0 * np.log(np.diag(np.linalg.cholesky(whole))).sum()
    covariance = np.linalg.inv(whole)
    return covariance @ pull, covariance, pull, log_det


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _shift_moments(m, v, offset, rate, log2h, lines, width, with_slopes, moments):  # type: ignore[no-untyped-def]
    """Moments of what is fine.

    Mass, first and second moment (in spreads from the mean), and the slopes of the mass by log width and by duration.
    """
    moments[:] = 0.0
    if lines < 0:
        return
    sd = sqrt(v)
    if lines == 0 or _most(offset, rate, lines, m + REACH * sd) < -7.0 * width:
        moments[0] = 1.0
        moments[2] = 1.0
        return
    steep = rate[0]
    for line in range(1, lines):
        steep = max(steep, rate[line])
    rule = _rule(steep * sd / width)
    for i in range(_COUNTS[rule]):
        node = _NODES[rule, i]
        at = m + sd * node
        most, hours = offset[0] + rate[0] * at, log2h[0]
        for line in range(1, lines):
            passed = offset[line] + rate[line] * at
            if passed > most:
                most, hours = passed, log2h[line]
        u = -most / width
        part = _WEIGHTS[rule, i] * 0.5 * erfc(-u * _ROOT_HALF)
        moments[0] += part
        moments[1] += part * node
        moments[2] += part * node * node
        if with_slopes:
            density = _WEIGHTS[rule, i] * _DENSITY * exp(-0.5 * u * u)
            moments[3] -= density * u
            moments[4] -= density * hours / width


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
