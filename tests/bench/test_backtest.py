"""Does the back-test judge fairly, and does the model still do as well as the documentation says?"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from bench import backtest_case as backtest
from fruitwall.plants import effects
from fruitwall.plants.catalogue import catalogue


def test_no_report_of_the_back_test_is_in_the_catalogue() -> None:
    known = {row.source.identifier for row in catalogue().evidence_rows}

    assert not known & {freeze.url for freeze in backtest.reported()}


@pytest.mark.parametrize("freeze", backtest.of_catalogue(), ids=lambda f: f"{f.report}: {f.taxon}, {f.words}")
def test_a_row_of_the_catalogue_is_predicted_without_its_own_source(freeze: backtest.Freeze) -> None:
    left = backtest.without(freeze.report)

    assert freeze.report not in {row.voice for row in left.evidence_rows}
    assert len(left.evidence_rows) < len(catalogue().evidence_rows)


def test_leaving_a_source_out_changes_what_is_said_of_its_tree() -> None:
    chico = next(f for f in backtest.of_catalogue() if f.report == "sanmarcos24f" and "Feijoa" in f.taxon)
    with_it = dataclasses.replace(chico, report="somebody else")

    assert not np.allclose(backtest.predicted(chico), backtest.predicted(with_it), atol=1e-3)


def test_every_report_has_a_possible_grade_a_known_kind_and_says_where_it_stands() -> None:
    for freeze in backtest.reported():
        assert 0 <= freeze.grade[0] <= freeze.grade[1] <= 7
        assert catalogue().find(freeze.taxon).scientific == freeze.taxon
        assert freeze.url.startswith("http")
        assert freeze.words


def test_the_interval_holds_its_share_and_a_certain_forecast_scores_nothing() -> None:
    even = np.full(8, 0.125)
    certain = np.eye(8)[[3]]

    assert backtest.interval(even) == (0, 7)
    assert backtest.interval(np.eye(8)[3]) == (3, 3)
    assert backtest._ranked(certain, certain) == 0.0
    assert backtest._ranked(np.eye(8)[[5]], certain) == pytest.approx(2.0)


def sampling_error(share: float, freezes: list[backtest.Freeze]) -> float:
    """One standard error of a share, with every source counted once: its reports hang together."""
    return float(np.sqrt(share * (1.0 - share) / len({freeze.report for freeze in freezes})))


@pytest.mark.parametrize("freezes", [backtest.reported(), backtest.of_catalogue()], ids=["reports", "rows"])
def test_freezes_are_predicted_as_well_as_documented(project: Path, freezes: list[backtest.Freeze]) -> None:
    done = backtest.summary(freezes)

    # What an interval promises, less what chance may take in one case of twenty; and better than knowing nothing.
    assert done.within >= 0.8 - 1.64 * sampling_error(0.8, freezes)
    assert done.score < done.naive_score
    # For the rest there is no bound from outside: what the documentation says is held.
    text = (project / "docs" / "tolerance.md").read_text(encoding="utf-8")
    told = (
        f"| {done.count} | {done.within:.0%} | {done.error:.1f} | {round(done.bias, 1) + 0.0:+.1f} "
        f"| {done.score:.2f} | {done.naive_score:.2f} |"
    )
    assert told.replace("%", " %") in text


@pytest.mark.parametrize("freezes", [backtest.reported(), backtest.of_catalogue()], ids=["reports", "rows"])
def test_death_is_predicted_about_as_often_as_seen(freezes: list[backtest.Freeze]) -> None:
    predicted, seen = backtest.reached(freezes)

    assert abs(predicted[7] - seen[7]) < 1.96 * sampling_error(float(seen[7]), freezes)


def test_the_distance_from_death_of_the_top_to_death_of_the_tree_is_what_the_freezes_call_for() -> None:
    one_step = backtest.STUMPS_K[1] - backtest.STUMPS_K[0]

    assert abs(effects.STUMP_K["unknown"] - backtest.stump_without(None)) <= one_step


def test_a_freeze_has_no_say_in_the_distance_with_which_it_is_predicted(monkeypatch: pytest.MonkeyPatch) -> None:
    report = "greenman2017"
    reports, scores = backtest._scores()
    mine = np.array([other == report for other in reports])
    lying = np.where(mine[:, None], 1000.0 * np.arange(len(backtest.STUMPS_K)), scores)
    before = backtest.stump_without(report)
    monkeypatch.setattr(backtest, "_scores", lambda: (reports, lying))

    assert backtest.stump_without(report) == before
    assert backtest.stump_without(None) == 0.0
