"""The inner loop of the tolerance fit: log likelihood of graded looks with its derivatives, look by look.

Compiled, because the nested approximation asks for it some hundreds of times. `tolerances` tells the model.
"""

from __future__ import annotations

from math import erfc, exp, isfinite, log, sqrt

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_ROOT_HALF = sqrt(0.5)
_DENSITY = 1.0 / sqrt(2.0 * np.pi)

PARTS = 8
"""Parameters that one look meets: yard, young, duration, kind, tree, observer, chill of kind, chill of tree."""

LEAST_LIKELIHOOD = 1e-12


@numba.njit(nogil=True, cache=True, error_model="numpy")
def look_terms(  # type: ignore[no-untyped-def]
    at,
    worst_of,
    spread,
    beyond,
    scale,
    log2h,
    cold,
    seen,
    pale,
    slope,
    young,
    dose,
    needed,
    width_h,
    chill_first,
    chill_step,
    index,
):  # numpydoc in `tolerances.Data`: plain arrays of it
    """Give log likelihood, gradient, negative Hessian, and one that can be factored. See `tolerances` for the arrays.

    Each look reaches the parameters through three scalars: how far the exposures passed the limit of its grade, how
    far that of the grade above, and the shift of the chill level. In the last matrix a look's part that is not
    positive (a grade so unlikely that it is rather a mistake) is the product of its gradient with itself.
    """
    size = at.size
    gradient = np.zeros(size)
    hessian = np.zeros((size, size))
    safe = np.zeros((size, size))
    total = 0.0
    row = np.zeros((3, PARTS))
    first = np.zeros(3)
    second = np.zeros((3, 3))
    own = np.zeros(PARTS)
    for look in range(slope.size):
        width = slope[look] * spread
        ids = index[look]
        shift = at[ids[0]] + young[look] * at[ids[1]] + at[ids[3]] + at[ids[4]] + at[ids[5]]
        chill = at[ids[6]] + at[ids[7]] if ids[6] >= 0 else 0.0
        place = min(max((chill - chill_first) / chill_step, 0.0), dose.shape[1] - 1.001)
        low = int(place)
        rise = (dose[look, low + 1] - dose[look, low]) / chill_step
        carried = dose[look, low] + rise * (place - low) * chill_step
        row[:] = 0.0
        second[:] = 0.0
        first[:] = 0.0
        like = 1.0
        for column in range(2):
            worst = worst_of[look, column]
            passed = beyond[look, column, worst] + scale[look, worst] * shift + log2h[worst] * at[ids[2]]
            eta = passed / width
            spared, by_eta, by_eta2 = 0.5 * erfc(eta * _ROOT_HALF), 0.0, 0.0
            if isfinite(eta):
                by_eta = -_DENSITY * exp(-0.5 * eta * eta)
                by_eta2 = -eta * by_eta
            kept, by_chill, by_chill2 = 1.0, 0.0, 0.0
            if carried > 0.0 and isfinite(needed[look, column]):
                gone = (carried - needed[look, column]) / (width_h * width)
                rate = rise / (width_h * width)
                kept = 0.5 * erfc(gone * _ROOT_HALF)
                by_chill = -_DENSITY * exp(-0.5 * gone * gone) * rate
                by_chill2 = -gone * by_chill * rate
            sign = (-cold[look] if column == 0 else seen[look]) * pale[look, column]
            like += (0.0 if column == 0 else -seen[look]) + sign * spared * kept
            first[column] = sign * by_eta * kept
            first[2] += sign * spared * by_chill
            second[column, column] = sign * by_eta2 * kept
            second[column, 2] = sign * by_eta * by_chill
            second[2, column] = second[column, 2]
            second[2, 2] += sign * spared * by_chill2
            tilt = scale[look, worst] / width
            row[column, 0] = tilt
            row[column, 1] = tilt * young[look]
            row[column, 2] = log2h[worst] / width
            row[column, 3] = tilt
            row[column, 4] = tilt
            row[column, 5] = tilt
        row[2, 6] = 1.0
        row[2, 7] = 1.0
        like = max(like, LEAST_LIKELIHOOD)
        total += log(like)
        for i in range(3):
            first[i] /= like
        for i in range(3):
            for j in range(3):
                second[i, j] = first[i] * first[j] - second[i, j] / like
        concave = _positive(second)
        for part in range(PARTS):
            own[part] = first[0] * row[0, part] + first[1] * row[1, part] + first[2] * row[2, part]
            if ids[part] >= 0:
                gradient[ids[part]] += own[part]
        for part in range(PARTS):
            if ids[part] < 0:
                continue
            for other in range(PARTS):
                if ids[other] < 0:
                    continue
                value = 0.0
                for i in range(3):
                    for j in range(3):
                        value += row[i, part] * second[i, j] * row[j, other]
                hessian[ids[part], ids[other]] += value
                safe[ids[part], ids[other]] += value if concave else own[part] * own[other]
    return total, gradient, hessian, safe


@numba.njit(nogil=True, cache=True, error_model="numpy")
def worst_lines(at, beyond, scale, log2h, young, index):  # type: ignore[no-untyped-def]
    """Give the exposure that passes the limit most, for the grade and for the grade above. [look, 2]"""
    worst_of = np.zeros((young.size, 2), dtype=np.int64)
    for look in range(young.size):
        ids = index[look]
        shift = at[ids[0]] + young[look] * at[ids[1]] + at[ids[3]] + at[ids[4]] + at[ids[5]]
        for column in range(2):
            passed = -np.inf
            for line in range(log2h.size):
                there = beyond[look, column, line] + scale[look, line] * shift + log2h[line] * at[ids[2]]
                if there > passed:
                    worst_of[look, column], passed = line, there
    return worst_of


@numba.njit(nogil=True, cache=True, error_model="numpy")
def _positive(m):  # type: ignore[no-untyped-def]
    """Whether a symmetric 3 by 3 matrix has no negative eigenvalue, by its principal minors."""
    slack = -1e-12
    a, b, c = m[0, 0], m[1, 1], m[2, 2]
    if a < slack or b < slack or c < slack:
        return False
    ab, ac, bc = m[0, 1], m[0, 2], m[1, 2]
    if a * b - ab * ab < slack or a * c - ac * ac < slack or b * c - bc * bc < slack:
        return False
    return a * (b * c - bc * bc) - ab * (ab * c - bc * ac) + ac * (ab * bc - b * ac) >= slack
