"""What a spell of nights adds up to, how hardened trees are, and what a verdict counts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fruitwall.service.compose import verdict_of
from fruitwall.service.outlook import acclimation, added_by_night, in_winter
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.weather.forcing import Forcing

LOSSES = hnp.arrays(
    np.float64,
    st.tuples(st.integers(1, 4), st.integers(1, 5)),
    elements=st.floats(0, 1000, allow_nan=False, width=32),
)


def test_two_equal_nights_are_each_worth_half_of_protecting_both() -> None:
    added = added_by_night(np.array([[100.0, 100.0], [10.0, 10.0]]))

    assert (added[0] - added[1]).sum() == pytest.approx(90.0)
    assert added[0, 0] == added[0, 1]


def test_mild_nights_add_nothing_to_a_night_that_takes_more_at_best() -> None:
    added = added_by_night(np.array([[75.0, 20.0, 20.0], [52.0, 8.0, 8.0]]))

    assert (added[0] - added[1])[0] == pytest.approx(23.0)
    assert (added[:, 1:] == 0).all()


def test_a_single_night_counts_as_it_is() -> None:
    losses = np.array([[60.0], [5.0]])

    assert (added_by_night(losses) == losses).all()


@given(LOSSES)
def test_what_nights_add_is_never_negative_and_protecting_all_saves_no_more_than_the_spell(losses: np.ndarray) -> None:
    added = added_by_night(losses)
    saved = (added[0] - added.min(axis=0)).sum()

    assert (added >= 0).all()
    assert saved <= losses[0].max() - losses.min(axis=0).max() + 1e-6


def with_past(mean_c: float, days: int) -> Forcing:
    """Give the demo's forecast with so many days of past at one temperature."""
    forcing = demo_forcing()
    past = np.arange(forcing.n_times) < forcing.n_history
    keep = ~past | (np.arange(forcing.n_times) >= forcing.n_history - 24 * days)
    cut = forcing.select(forcing.start_utc + timedelta(hours=int((~keep).sum())), forcing.end_utc)
    n_history = min(forcing.n_history, 24 * days)
    air = cut.t_air_c.copy()
    air[:, :n_history] = mean_c
    return replace(cut, t_air_c=air, t_dew_c=np.minimum(cut.t_dew_c, air), n_history=n_history)


def test_hardening_is_read_from_the_past_alone() -> None:
    assert acclimation(with_past(17.0, 9), None, demo_now()) == pytest.approx(17.0)


def test_less_than_a_week_of_past_says_nothing_of_hardening() -> None:
    assert acclimation(with_past(17.0, 5), None, demo_now()) is None


def test_leafless_trees_stand_bare_in_their_own_winter() -> None:
    assert in_winter(34.0, date(2026, 12, 22))
    assert not in_winter(34.0, date(2026, 7, 22))
    assert in_winter(-34.0, date(2026, 7, 22))
    assert not in_winter(-34.0, date(2026, 12, 22))


@pytest.mark.parametrize(
    ("harm", "death", "fruit", "word"),
    [
        (0.04, 0.0, 0.0, "safe"),
        (0.05, 0.0, 0.0, "watch"),
        (0.30, 0.0, 0.0, "danger"),
        (0.90, 0.11, 0.0, "deadly"),
        (0.00, 0.0, 0.10, "watch"),
        (0.00, 0.0, 0.72, "danger"),
    ],
)
def test_a_verdict_counts_leaves_life_and_fruit(harm: float, death: float, fruit: float, word: str) -> None:
    assert verdict_of(harm, death, fruit) == word
