"""Container trees: plant out or stay; ranking of kinds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fruitwall.plans.placing.planting_out import LUCKS, PotCase, lives_along, plant_out
from fruitwall.plans.placing.ranking import group_of, rank
from fruitwall.plans.placing.raster import Raster, lives_through
from tests.plans.placing.made import made_raster


def case_of(raster: Raster, **changes: object) -> PotCase:
    """A tree that is tender now (row 0), hardier in four years (row 1), as tender in its pot as now (row 0)."""
    usual = PotCase(
        ground=((0.0, 0), (4.0, 1)),
        pot=0,
        pot_cell=44,
        worth=200.0,
        crop_ground=np.linspace(0, 40, 10),
        crop_pot=np.full(10, 5.0),
        cover_nights=np.full(raster.count, 5.0),
        carry_nights=8.0,
        cover_minutes=np.full(raster.count, 10.0),
        carry_minutes=15.0,
        carry_lifts=2.0,
        carried=True,
        per_hour=12.0,
        per_lift=1.0,
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


def test_years_alike_are_those_of_the_raster() -> None:
    raster = made_raster()
    same = [raster.death[0].astype(float)] * 10
    alive = lives_along(same, raster.weights)
    for years in (1, 5, 10):
        exact = lives_through(raster.death[0], raster.weights, years)
        assert np.abs(alive[years - 1] - exact).max() < 1.0 / LUCKS


def test_it_is_planted_out_and_covered_until_it_is_big_enough() -> None:
    raster = made_raster(kills_c=(-2.5, -9.0))
    found = plant_out(raster, case_of(raster))
    assert found.answer == "plant"
    assert found.best is not None
    assert found.best.value == max(way.value for way in found.ways)
    assert 0 < found.best.winters <= 6
    assert found.big_enough == found.best.winters
    bare = found.ways[0]
    assert (bare.winters, bare.minutes, bare.effort) == (0, 0.0, 0.0)
    assert found.best.lives > bare.lives
    assert found.best.minutes == 50.0
    assert found.best.effort <= found.best.winters * 50.0 / 60.0 * 12.0 + 1e-9


def test_more_winters_of_cover_never_kill() -> None:
    raster = made_raster()
    ways = plant_out(raster, case_of(raster)).ways
    assert [way.lives for way in ways] == sorted(way.lives for way in ways)


def test_where_it_would_die_it_stays() -> None:
    raster = made_raster(kills_c=(3.0, 3.0))
    found = plant_out(raster, case_of(raster))
    assert found.answer == "stay"
    assert found.too_risky
    assert found.best is not None
    assert found.best.lives < 0.5


def test_where_nobody_minds_carrying_and_the_ground_gives_nothing_more_it_stays() -> None:
    raster = made_raster(kills_c=(-4.0, -4.0))
    found = plant_out(
        raster, case_of(raster, crop_ground=np.zeros(10), crop_pot=np.full(10, 30.0), per_hour=0.0, per_lift=0.0)
    )
    assert found.answer == "stay"
    assert found.pot.lives > 0.95
    assert found.pot.lifts == 16.0


def test_what_nobody_can_carry_has_the_cold_of_its_place() -> None:
    raster = made_raster()
    found = plant_out(raster, case_of(raster, carried=False))
    exact = lives_through(raster.death[0, 44], raster.weights, 10)
    assert found.pot.lives == pytest.approx(float(exact), abs=1.0 / LUCKS)
    assert (found.pot.minutes, found.pot.effort) == (0.0, 0.0)


def test_without_free_ground_there_is_no_place() -> None:
    raster = made_raster(taken=dict.fromkeys(range(80), "paving"))
    found = plant_out(raster, case_of(raster))
    assert (found.answer, found.cell, found.ways) == ("nowhere", None, ())


def test_kinds_are_ranked_from_safe_to_hopeless() -> None:
    raster = made_raster(kills_c=(6.0, -3.0, -20.0, -7.5))
    ranked = rank(raster)
    assert [one.kind for one in ranked] == [2, 3, 1, 0]
    assert [one.group for one in ranked] == ["safe", "safe", "cover", "not_here"]
    hardy, tender = ranked[0], ranked[-1]
    assert hardy.best.lives == pytest.approx(1.0)
    assert tender.best.survive < 0.2
    assert all(one.covered_lives >= one.best.lives - 1e-9 for one in ranked)
    assert len({one.ordinary.cell for one in ranked}) == 1


@pytest.mark.parametrize(
    ("lives", "leaf_loss", "covered", "covered_leaf_loss", "group"),
    [
        (0.9, 0.05, 0.95, 0.0, "safe"),
        (0.9, 0.2, 0.95, 0.0, "burnt"),
        (0.9, 0.6, 0.95, 0.2, "cover"),
        (0.9, 0.9, 0.95, 0.6, "not_here"),
        (0.7, 0.0, 0.85, 0.0, "cover"),
        (0.7, 0.0, 0.7, 0.0, "not_here"),
    ],
)
def test_groups(lives: float, leaf_loss: float, covered: float, covered_leaf_loss: float, group: str) -> None:
    assert group_of(lives, leaf_loss, covered, covered_leaf_loss) == group


def test_no_free_ground_ranks_nothing() -> None:
    assert rank(made_raster(taken=dict.fromkeys(range(80), "roof"))) == ()
