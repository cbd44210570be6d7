"""Scores against published values; learning of forecast errors: recovery, calibration, coverage, order."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from fruitwall.learning import forecasts
from fruitwall.learning.forecasts import (
    BIAS_SD_K,
    CLEAR_SD_K,
    LEADS,
    NEXT_NIGHT,
    PRIOR_FACTOR2,
    SCALE_NIGHTS,
    USUAL_SD_K,
    brier,
    crps_ensemble,
    crps_normal,
    fit_emos,
    foretold,
    learn_errors,
)
from fruitwall.learning.scores import crps_student
from tests.published import find_check

SERIES = Path(__file__).parents[2] / "bench" / "data" / "forecast_scores" / "forecast_scores.json"


@cache
def series(name):
    return {key: np.array(values, float) for key, values in json.loads(SERIES.read_text("utf-8"))[name].items()}


# ---------------------------------------------------------------- scores


@pytest.mark.parametrize("name", ["forecast.crps.published", "forecast.crps.normal", "forecast.crps.limit"])
def test_the_score_of_a_normal_forecast_is_the_published_one(name):
    check = find_check("forecasts.yaml", name)
    assert crps_normal(check.given("mu"), check.given("sigma"), check.given("y")) == check.approx("crps")


def test_the_score_of_an_ensemble_is_the_published_one():
    check = find_check("forecasts.yaml", "forecast.crps.ensemble")
    members, y = check.given("members"), check.given("y")
    assert crps_ensemble(members, y) == check.approx("crps_ecdf")
    assert crps_ensemble(members, y, fair=True) == check.approx("crps_fair")


def test_the_score_of_a_t_distribution_is_its_integral():
    # Gneiting & Raftery (2007), eq. 20: the integral of (F(x) - 1{x >= y})² over x.
    for mu, scale, free, y in ((0.0, 1.0, 12.0, 0.7), (-1.5, 2.0, 4.0, 3.0), (0.3, 0.5, 200.0, -0.9)):
        law = stats.t(free, mu, scale)
        below = integrate.quad(lambda x, law=law: law.cdf(x) ** 2, -np.inf, y, epsabs=1e-10)[0]
        above = integrate.quad(lambda x, law=law: law.sf(x) ** 2, y, np.inf, epsabs=1e-10)[0]
        assert crps_student(mu, scale, free, y) == pytest.approx(below + above, abs=1e-7)
    assert crps_student(0.2, 1.3, 1e7, 1.0) == pytest.approx(float(crps_normal(0.2, 1.3, 1.0)), abs=1e-6)


def test_brier_scores_are_the_published_ones():
    small = find_check("forecasts.yaml", "forecast.brier.small")
    assert brier(small.given("p"), small.given("o")).score == small.approx("brier")
    check = find_check("forecasts.yaml", "forecast.brier.tampere24")
    rain = series(check.inputs["series"])
    found = brier(rain["probability"], rain["occurred"], rain["issued"])
    for ours, name in (
        ("score", "brier"),
        *((one, one) for one in ("reliability", "resolution", "uncertainty", "skill")),
    ):
        assert getattr(found, ours) == check.approx(name)


@pytest.mark.parametrize("name", ["forecast.emos.canby", "forecast.emos.buoy"])
def test_emos_reaches_the_published_score_on_real_forecasts(name):
    check = find_check("forecasts.yaml", name)
    its = series(check.inputs["series"])
    m, s2, y = its["ensemble_mean_c"], its["ensemble_variance_c2_ddof1"], its["observation_c"]
    found = fit_emos(m, s2, y)
    assert found.crps <= check.want("mean_crps_after") + check.tolerance["abs"]["mean_crps_after"]
    for part in "abcd":
        assert getattr(found, part) == check.approx(part)
    assert crps_normal(found.mean(m), found.sd(s2), y).mean() == pytest.approx(found.crps, abs=1e-6)
    if "mean_crps_raw_normal" in check.expected:
        assert np.abs(y - m).mean() == check.approx("mae_raw_mean")
        assert crps_normal(m, np.sqrt(s2), y).mean() == check.approx("mean_crps_raw_normal")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: fit_emos([1.0] * 9, [1.0] * 9, [1.0] * 9), "at least ten"),
        (lambda: fit_emos([1.0] * 10, [-1.0] * 10, [1.0] * 10), "no negative variances"),
        (lambda: crps_normal(0.0, 0.0, 1.0), "sigma must be greater than 0"),
        (lambda: crps_student(0.0, 1.0, 1.0, 0.0), "nights greater than 1"),
        (lambda: crps_ensemble([1.0], 1.0, fair=True), "at least 2"),
        (lambda: brier([1.2], [1]), "from 0 to 1"),
        (lambda: brier([0.2], [2]), "from 0 to issued"),
        (lambda: learn_errors([0.0], [np.nan], [1.0], [0.5], [1]), "no missing values"),
        (lambda: learn_errors([0.0], [0.0], [0.0], [0.5], [1]), "prior_sd_k greater than 0"),
        (lambda: learn_errors([0.0, 1.0], [0.0], [1.0], [0.5], [1]), "of one length"),
        (lambda: learn_errors([0.0] * 2, [0.0] * 2, [1.0] * 2, [0.5] * 2, [3, 3]), "two pairs are of the same"),
    ],
)
def test_impossible_input_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


# ---------------------------------------------------------------- learning: the prior and single properties


def test_without_a_pair_the_prior_is_given_exactly():
    none = learn_errors([], [], [], [], [])
    shift, factor = none.shift_and_factor([0.0, 0.5, 1.0], [1.5, 1.6, 1.9], [0, 1, 4])
    assert (shift == 0.0).all()
    assert (factor == 1.0).all()
    # What is said before the first pair is as wide as the prior, so that the first pair makes no leap.
    low, high = none.quantile([0.1, 0.9], 0.5, USUAL_SD_K)
    assert [low, high] == pytest.approx(np.array([-1.0, 1.0]) * stats.norm.ppf(0.9) * USUAL_SD_K, abs=1e-9)


def test_the_first_night_changes_little_and_many_change_much():
    for error in (-3.0, 0.0, 3.0):
        one = learn_errors([0.0], [error], [USUAL_SD_K], [0.5], [1])
        shift, factor = one.shift_and_factor(0.5, USUAL_SD_K)
        assert abs(shift) <= abs(error) / 3.0
        assert 0.85 < factor < 1.15
    n = np.arange(200)
    many = learn_errors(np.zeros(200), np.where(n % 2, -1.9, -1.1), np.full(200, 1.6), np.full(200, 0.5), n)
    shift, factor = many.shift_and_factor(0.5, 1.6)
    assert shift == pytest.approx(-1.5, abs=0.05)
    assert factor < 0.6


def test_clear_nights_are_learned_apart_from_overcast_ones():
    n = np.arange(0, 240, 3)
    clear = (n % 2).astype(float)
    learned = learn_errors(np.zeros(n.size), -1.3 * clear + 0.1 * np.cos(n), np.full(n.size, 1.5), clear, n)
    assert learned.on_nights(1.0)[0] == pytest.approx(-1.3, abs=0.15)
    assert learned.on_nights(0.0)[0] == pytest.approx(0.0, abs=0.15)


def test_each_lead_time_learns_from_its_own_pairs_and_from_the_nearest_where_it_has_none():
    n = np.arange(60)
    zeros, sd, half = np.zeros(60), np.full(60, 1.5), np.full(60, 0.5)
    one = learn_errors(zeros, np.full(60, -1.0), sd, half, n, np.zeros(60))
    both = learn_errors(
        np.tile(zeros, 2), np.concatenate([np.full(60, -1.0), np.full(60, 2.0)]), np.tile(sd, 2), np.tile(half, 2),
        np.tile(n, 2), np.repeat([0, 1], 60),
    )  # fmt: skip
    assert one.on_nights(0.5, 0)[0] == one.on_nights(0.5, 3)[0] == both.on_nights(0.5, 0)[0]
    assert both.on_nights(0.5, 1)[0] == both.on_nights(0.5, LEADS - 1)[0] > 1.0
    assert (both.nights == SCALE_NIGHTS + 60).all()  # several lead times of a night are one night


def test_any_order_of_entry_gives_the_same_to_the_last_bit():
    rng = np.random.default_rng(7)
    n = np.repeat(np.arange(40), 2)
    pairs = [
        rng.normal(0, 3, 80),
        rng.normal(0, 3, 80),
        rng.uniform(1, 2, 80),
        rng.uniform(0, 1, 80),
        n,
        np.tile([0, 1], 40),
    ]
    one, told = learn_errors(*pairs), foretold(*pairs)
    for _ in range(5):
        order = rng.permutation(80)
        mixed = [part[order] for part in pairs]
        other = learn_errors(*mixed)
        assert (other.mean == one.mean).all()
        assert (other.covariance == one.covariance).all()
        assert (other.factor2 == one.factor2).all()
        assert (foretold(*mixed).mean == told.mean[order]).all()


def test_what_is_foretold_of_a_night_knows_only_the_nights_before_it():
    rng = np.random.default_rng(3)
    n, lead = np.repeat(np.arange(30), 2), np.tile([0, 2], 30)
    f, y, sd, c = rng.normal(0, 3, 60), rng.normal(0, 3, 60), rng.uniform(1, 2, 60), rng.uniform(0, 1, 60)
    told = foretold(f, y, sd, c, n, lead)
    for at in (0, 1, 20, 41, 59):
        known = n < n[at] - lead[at]
        before = learn_errors(f[known], y[known], sd[known], c[known], n[known], lead[known])
        mean, scale = before.at(c[at], sd[at], lead[at])
        assert told.mean[at] == pytest.approx(float(mean), abs=1e-9)
        assert told.scale[at] == pytest.approx(float(scale), abs=1e-9)
        assert told.nights[at] == before.nights[lead[at]]
    assert told.nights[0] == SCALE_NIGHTS


def test_runs_of_nights_count_for_less_than_nights_apart():
    def spread(nights):
        k = len(nights)
        return learn_errors(np.zeros(k), np.full(k, 0.1), np.full(k, 1.5), np.full(k, 0.5), nights).on_nights(0.5)[1]

    assert spread(np.arange(20)) > 1.1 * spread(np.arange(20) * 10)


# ---------------------------------------------------------------- learning: calibration on drawn worlds


def world(rng, nights, factor=None, bias=None, slope=None):
    """Draw a place from the prior, and its errors night by night with the gaps of a household."""
    f2 = SCALE_NIGHTS * PRIOR_FACTOR2 / rng.chisquare(SCALE_NIGHTS) if factor is None else factor**2
    scale = np.sqrt(f2 / PRIOR_FACTOR2)
    truth = (
        rng.normal(0, BIAS_SD_K * scale) if bias is None else bias,
        rng.normal(0, CLEAR_SD_K * scale) if slope is None else slope,
    )
    n = np.cumsum(rng.choice([1, 1, 1, 2, 6], nights))
    kept = np.concatenate([[0.0], NEXT_NIGHT ** np.diff(n)])
    e = rng.normal(size=nights) * np.sqrt(1 - kept**2)
    for at in range(1, nights):
        e[at] += kept[at] * e[at - 1]
    sd, clear, forecast = rng.uniform(1.3, 1.9, nights), rng.beta(0.8, 0.8, nights), rng.normal(2, 4, nights)
    observed = forecast + truth[0] + truth[1] * (clear - 0.5) + np.sqrt(f2) * sd * e
    return truth, f2, (forecast, observed, sd, clear, n)


def test_ranks_of_the_truth_among_draws_of_the_posterior_are_even():
    # Simulation-based calibration (Talts et al. 2018, arXiv:1804.06788): 1500 places drawn from the prior, 49 draws of
    # each posterior, ranks in ten bins. A right posterior fails one of the three chi-squares at 0.001 with chance
    # 0.003; the seed is fixed.
    rng = np.random.default_rng(20261127)
    draws, bins = 49, np.zeros((3, 10))
    for _ in range(1500):
        (bias, slope), f2, pairs = world(rng, int(rng.integers(1, 25)))
        known = learn_errors(*pairs)
        free = float(known.nights[0])
        drawn_f2 = free * known.factor2[0] / rng.chisquare(free, draws)
        root = np.linalg.cholesky(known.covariance[0])
        drawn = known.mean[0] + np.sqrt(drawn_f2)[:, None] * (rng.normal(size=(draws, 2)) @ root.T)
        for row, (true, some) in enumerate(((bias, drawn[:, 0]), (slope, drawn[:, 1]), (f2, drawn_f2))):
            bins[row, int((some < true).sum()) // 5] += 1
    for row in bins:
        assert stats.chisquare(row).pvalue > 0.001, bins


def test_a_wrong_posterior_is_found_out_by_the_same_ranks():
    # The same with the prior's spread of the bias taken half as wide as it is: the test above can fail.
    rng = np.random.default_rng(20261127)
    bins = np.zeros(10)
    for _ in range(600):
        truth, _, pairs = world(rng, 5, bias=rng.normal(0, 2.5 * BIAS_SD_K))
        known = learn_errors(*pairs)
        free = float(known.nights[0])
        spread = np.sqrt(known.factor2[0] * known.covariance[0, 0, 0])
        bins[int(10 * stats.t.cdf((truth[0] - known.mean[0, 0]) / spread, free))] += 1
    assert stats.chisquare(bins).pvalue < 1e-6


def test_a_known_place_is_recovered():
    # 40 seasons of 120 nights: the mean of what is found is the truth within 3 of its standard errors (chance of a
    # false alarm by three values 0.008; fixed seed), short of the shrinkage, which is under a twentieth.
    rng = np.random.default_rng(11)
    found = []
    for _ in range(40):
        _, _, pairs = world(rng, 120, factor=0.9, bias=-1.0, slope=-1.2)
        known = learn_errors(*pairs)
        found.append([*known.mean[0], np.sqrt(known.factor2[0])])
    found = np.array(found)
    error = found.std(axis=0, ddof=1) / np.sqrt(40)
    assert (np.abs(found.mean(axis=0) - [-1.0, -1.2, 0.9]) <= 3 * error + 0.05).all()


@pytest.mark.parametrize("nights", [3, 10, 40])
def test_as_many_nights_fall_within_a_range_as_it_says(nights):
    # One next night of each of 1500 places drawn from the prior: the share within the 50 % and the 90 % range lies
    # within 3 standard errors (0.039 and 0.023; chance of a false alarm 0.016 by all six, fixed seed).
    rng = np.random.default_rng(nights)
    told = np.empty((1500, 2))
    for at in range(told.shape[0]):
        (bias, slope), f2, pairs = world(rng, nights)
        known = learn_errors(*pairs)
        sd, clear = rng.uniform(1.3, 1.9), rng.beta(0.8, 0.8)
        mean, scale = known.at(clear, sd)
        error = bias + slope * (clear - 0.5) + np.sqrt(f2) * sd * rng.normal()
        told[at] = (error - mean) / scale, known.nights[0]
    tails = stats.t.cdf(*told.T)
    for share, band in ((0.5, 0.039), (0.9, 0.023)):
        within = (np.abs(tails - 0.5) < share / 2).mean()
        assert within == pytest.approx(share, abs=band)


def test_shift_and_factor_put_a_tenth_of_the_members_below_the_tenth_percentile():
    rng = np.random.default_rng(5)
    _, _, pairs = world(rng, 15, bias=-1.0)
    known = learn_errors(*pairs)
    shift, factor = known.shift_and_factor(0.8, 1.5)
    members = shift + factor * 1.5 * stats.norm.ppf((np.arange(1000) + 0.5) / 1000)
    for share in (0.1, 0.5, 0.9):
        assert np.quantile(members, share) == pytest.approx(float(known.quantile(share, 0.8, 1.5)), abs=0.01)


def test_the_ratio_of_the_tails_that_is_written_down_is_that_of_the_distributions() -> None:
    from scipy.special import ndtri, stdtrit

    assert pytest.approx(stdtrit(forecasts.SCALE_NIGHTS, 1.0 - forecasts.TENTH) / ndtri(1.0 - forecasts.TENTH)) == (
        forecasts.WIDER
    )
