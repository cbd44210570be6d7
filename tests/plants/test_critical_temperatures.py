"""What stone fruit and oranges stand against published critical temperatures; sources in tests/checks/plants.yaml."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plants.injury import DURATIONS_H, fruit_loss_chance
from fruitwall.plants.tolerance import FRUIT, TISSUES, TWIG
from tests.plants.test_injury import a_tree
from tests.published import find_check

FILE = "plants.yaml"


def celsius(t_f: float) -> float:
    return (t_f - 32.0) / 1.8


def cold_for(hours: float, tissue_c: float) -> np.ndarray:
    """All tissues at one temperature for so long, warm otherwise. [tissue, duration]"""
    cold = np.full((len(TISSUES), len(DURATIONS_H)), 20.0)
    cold[:, [duration <= hours for duration in DURATIONS_H]] = tissue_c
    return cold


@pytest.mark.parametrize("table", ["crit-apple", "crit-peach"])
def test_a_table_of_critical_temperatures_has_the_shape_it_must_have(table: str) -> None:
    check, shape = find_check(FILE, table), find_check(FILE, "crit-structure")
    t10, t90 = check.want("t10_f"), check.want("t90_f")
    assert len(t10) == len(t90) == len(check.given("stage"))
    assert np.all(t10 > t90) == shape.want("t10_above_t90")
    assert np.all(np.diff(t10) >= 0) == shape.want("t10_never_falls_with_stage")
    assert np.all(np.diff(t90) >= 0) == shape.want("t90_never_falls_with_stage")
    gap = t10 - t90
    assert [gap[0], gap[-1]] == shape.expected["gap_f_first_to_last"][table.removeprefix("crit-")]


@pytest.mark.parametrize("name", ["peach", "apricot", "Japanese plum"])
def test_stone_fruit_in_bloom_loses_half_between_the_published_ten_and_ninety_per_cent(name: str) -> None:
    # Half an hour in a freezer: 10 % of peach buds at 27 °F and 90 % at 24 °F in full bloom; the other two kinds are
    # near it in other tables (from memory). Ours is the mean over trees that are not known, so its ends are wider.
    check = find_check(FILE, "crit-peach")
    bloom = check.given("stage").index("full bloom")
    few, most = (celsius(check.want(key)[bloom]) for key in ("t10_f", "t90_f"))
    tree = a_tree(name, stages=["flower"])
    chances = [float(fruit_loss_chance(tree, cold_for(0.5, t))) for t in (few, (few + most) / 2, most)]
    assert chances[0] < 0.5 < chances[2]
    assert chances[1] == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("name", ["peach", "apricot", "Japanese plum"])
def test_stone_fruit_grows_tenderer_from_rest_to_bloom_as_the_tables_do(name: str) -> None:
    shape = find_check(FILE, "crit-structure")
    assert shape.want("t90_never_falls_with_stage")
    peach = find_check(FILE, "crit-peach")
    at_rest = a_tree(name, stages=["dormant"]).threshold_c[TWIG, 5]
    assert at_rest < celsius(float(peach.want("t10_f")[0])) < a_tree(name, stages=["flower"]).flower_c
    # Young fruit stands no more than the flower did, within a kelvin.
    assert a_tree(name, stages=["fruit"]).fruit_c > a_tree(name, stages=["flower"]).flower_c - 1.0


def test_ripe_oranges_freeze_in_about_the_hours_and_at_the_degrees_of_the_rule() -> None:
    check = find_check(FILE, "thr-citrus-orange")
    limit, hours = celsius(check.want("air_f_at_most")), check.want("hours_at_least")
    orange = a_tree("sweet orange", stages=["leafy", "fruit"])

    def lost(t: float, duration: float) -> float:
        cold = np.full((len(TISSUES), len(DURATIONS_H)), 20.0)
        cold[FRUIT] = cold_for(duration, t)[FRUIT]
        return float(fruit_loss_chance(orange, cold))

    assert lost(limit, hours) == pytest.approx(0.5, abs=0.15)
    assert lost(limit, hours / 8) < 0.2
    assert lost(limit + 2.0, hours) < 0.1
