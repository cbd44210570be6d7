"""Does the design of points integrate over scales?"""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.learning.gaussian import Gaussian, integrate

PRIOR_SD = np.array([0.5, 0.8])
MIDDLE = np.array([0.3, -0.6])
COVARIANCE = np.array([[0.04, 0.015], [0.015, 0.09]])


def told(scales: np.ndarray, *, with_slope: bool) -> Gaussian:
    """One parameter whose mean follows the scales; the evidence makes the scales' posterior normal as `MIDDLE` says."""
    apart = scales - MIDDLE
    by_prior = scales / PRIOR_SD**2
    evidence = -0.5 * float(apart @ np.linalg.solve(COVARIANCE, apart)) + 0.5 * float(scales @ by_prior)
    slope = by_prior - np.linalg.solve(COVARIANCE, apart) if with_slope else None
    return Gaussian(np.array([2.0 * scales[0] - scales[1]]), np.array([[0.01]]), evidence, slope)


@pytest.mark.parametrize("with_slope", [True, False])
def test_a_normal_posterior_of_the_scales_is_met_in_mean_and_variance(with_slope: bool) -> None:
    design = integrate(lambda scales, _: told(scales, with_slope=with_slope), PRIOR_SD)

    mean = design.weights @ design.points
    apart = design.points - mean
    assert design.points[0] == pytest.approx(MIDDLE, abs=0.02)
    assert mean == pytest.approx(MIDDLE, abs=0.01)
    assert np.einsum("p,pi,pj->ij", design.weights, apart, apart) == pytest.approx(COVARIANCE, abs=0.012)
    assert design.weights.sum() == pytest.approx(1.0)
    assert design.weights @ [one.mean[0] for one in design.fits] == pytest.approx(2.0 * 0.3 + 0.6, abs=0.02)


def test_scales_of_which_the_data_say_nothing_keep_their_prior() -> None:
    design = integrate(lambda scales, _: Gaussian(scales, np.eye(2), 0.0, np.zeros(2)), PRIOR_SD)

    mean = design.weights @ design.points
    assert mean == pytest.approx([0.0, 0.0], abs=1e-9)
    assert np.sqrt(design.weights @ design.points**2) == pytest.approx(PRIOR_SD, rel=1e-6)


def test_each_fit_begins_at_one_before() -> None:
    begun: list[bool] = []

    def fit(scales: np.ndarray, near: Gaussian | None) -> Gaussian:
        begun.append(near is not None)
        return told(scales, with_slope=True)

    integrate(fit, PRIOR_SD)

    assert begun == [False] + [True] * (len(begun) - 1)
