"""The raster of a small yard: walls warm, hollows are cold, crowns hide the sky, and one cell is one tree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from datetime import date, timedelta
from functools import cache
from math import nan
from typing import Any

import numpy as np
import pytest

from bench.made_winters import made_winter, season
from fruitwall.errors import UnknownTaxonError
from fruitwall.physics.body import Body
from fruitwall.physics.spot import survey, survey_faces
from fruitwall.physics.treatment import LEAVE
from fruitwall.physics.winters import replay
from fruitwall.plans.placing.raster import TAKEN, Raster, Wanted, lives_through
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import DURATIONS_H, chances_of_felt, felt_c
from fruitwall.plants.tolerance import FRUIT, LEAF, WOOD, Tolerance, prior
from fruitwall.service.beliefs import NOTHING_LEARNED
from fruitwall.service.placing_cells import SPACING_M, cell_side_m, cells_of
from fruitwall.service.placing_ground import level_c, make_raster, raster_key
from fruitwall.service.treatments import body_of
from fruitwall.service.winters_replay import weeks_before
from fruitwall.service.winters_weather import WinterWeather
from fruitwall.service.work import WorkPart
from fruitwall.yard.model import Tree, Yard
from tests.physics.yards import canopy, square, wall, yard

TODAY = date(2026, 11, 27)
FIRST = date(2004, 12, 1)
NIGHTS, WINTERS = 30, 3

Made = dict[str, Any]


@cache
def weather(mean: float = 9.0) -> WinterWeather:
    """Three made-up winters of a month."""
    start = (FIRST - timedelta(days=11)).isoformat()
    made = []
    for seed in range(WINTERS):
        winter = made_winter(seed, start=f"{start}T00", days=NIGHTS + 15, mean=mean)
        made.append(replace(winter, latitude_deg=34.0, longitude_deg=-117.0, elevation_m=300.0))
    known = np.ones((WINTERS, NIGHTS), dtype=bool)
    return WinterWeather(
        tuple(made), ("2001/02", "2002/03", "2003/04"), np.array([0.5, 0.3, 0.2]), tuple(season(FIRST, NIGHTS)), known,
        "made up", (), f"made {mean}",
    )  # fmt: skip


@cache
def made_yard() -> Yard:
    """A strip of 24 m by 10 m: a wall in the north that looks south, an oak in the west, a hollow in the east."""
    return yard(
        wall([[2.0, 9.5], [22.0, 9.5]], 2.5, thickness=0.3, material="brick"),
        canopy(position=[4.0, 4.0], height=7.0, base=1.5, crown_diameter=6.0, gap_fraction=0.15),
        {"kind": "hollow", "id": "hollow", "outline": square(2.5, (20.0, 3.0)), "colder": 3.0},
        {"kind": "paving", "id": "path", "outline": square(0.6, (12.0, 1.0)), "material": "stone"},
        trees=[
            {"id": "lemon", "name": "Lemon", "taxon": "lemon", "position": [12.0, 5.0], "height": 2.0,
             "crown_diameter": 2.0},
        ],
        circuits=[{"id": "c", "name": "C", "volts": 120, "amps": 15, "ground_fault": True, "outlet": [22.0, 9.0]}],
    ).model_copy(update={"outline": [(0.0, 0.0), (22.0, 0.0), (24.0, 2.0), (24.0, 10.0), (0.0, 10.0)]})  # fmt: skip


AVOCADO, GUAVA, PERSIMMON = Wanted("Persea americana"), Wanted("Psidium guajava"), Wanted("Diospyros kaki")


def made(wanted: Sequence[Wanted] = (AVOCADO, GUAVA, PERSIMMON), **more: Any) -> Raster:
    """A raster of the strip in cells of two metres."""
    return make_raster(made_yard(), wanted, weather(), NOTHING_LEARNED, TODAY, **({"cell_m": 2.0} | more))


@pytest.fixture(scope="module")
def raster() -> Raster:
    return made()


def at(raster: Raster, x: float, y: float) -> int:
    cell = raster.cell_at(x, y)
    assert cell is not None
    return cell


def test_a_wall_warms_a_hollow_cools_a_crown_hides_the_sky(raster: Raster) -> None:
    field, by_wall, hollow, under = (
        at(raster, *place) for place in ((15.0, 3.0), (15.0, 9.0), (20.9, 3.0), (4.9, 4.9))
    )
    ten = raster.ten_years_c
    assert ten[by_wall] > ten[field] + 0.2
    assert ten[hollow] < ten[field] - 0.5
    assert ten[under] > ten[field] + 0.3
    assert raster.canopy[under] > 0.3 > raster.canopy[field]
    assert raster.wall[by_wall] > raster.wall[field]
    assert raster.colder_k[hollow] > 2.0
    assert raster.winter_sun_h[under] < raster.winter_sun_h[field] - 1.0
    avocado = raster.yearly_loss[0]
    assert avocado[hollow] > avocado[field] > avocado[by_wall]


def test_a_cell_is_a_tree_at_its_middle(raster: Raster) -> None:
    cell = at(raster, 15.0, 7.0)
    place = ("there", float(raster.x_m[cell]), float(raster.y_m[cell]))
    winters = weather()
    for kind, wanted in enumerate((AVOCADO, PERSIMMON)):
        taxon = catalogue().find(wanted.taxon)
        stages = ["dormant"] if taxon.needs_winter_chill else ["leafy", "fruit"]
        tree = Tree(
            id="t", name="T", taxon=wanted.taxon, position=(0, 0), height_m=1.5, crown_diameter_m=1.0, stages=stages
        )
        # Its own march, all nights, with the leaf of its own width, and every night judged by what it stands then.
        alone = replay(
            winters.winters, survey(made_yard(), [(*place, 0.66 * 1.5)]), [body_of(tree, taxon)], [[LEAVE]],
            winters.nights, faces=survey_faces(made_yard()), single_precision=True,
        )  # fmt: skip
        felt = np.full((WINTERS, 5), np.inf)
        weeks = weeks_before(winters)
        usual = stands(wanted, 13.0)
        for winter in range(WINTERS):
            for night in range(NIGHTS):
                harder = usual.threshold_c[WOOD, 7] - stands(wanted, float(weeks[winter, night])).threshold_c[WOOD, 7]
                its = felt_c(alone.coldest_c[0, 0, winter, night].astype(float), np.array(DURATIONS_H), 0.5)
                its[[LEAF, 1, WOOD]] += harder
                felt[winter] = np.fmin(felt[winter], its)
        sure = replace(usual, duration_sd_k_per_log2h=0.0)
        row = (0, 2)[kind]
        chances = chances_of_felt(sure, felt)
        # The doubt on how hours count moves chances by less than a hundredth; sizes between two are read between them.
        np.testing.assert_allclose(raster.bare[row, cell], chances[:, 4:].sum(axis=-1), atol=0.02)
        np.testing.assert_allclose(raster.death[row, cell], chances[:, 7], atol=0.01)
        tissue = 1 if taxon.needs_winter_chill else LEAF
        if kind == 0:
            coldest = np.nanmin(alone.coldest_c[0, 0, :, :, tissue, 1], axis=1)
            np.testing.assert_allclose(raster.coldest_c[cell], coldest, atol=0.15)


@cache
def stands(wanted: Wanted, weeks_c: float) -> Tolerance:
    taxon = catalogue().find(wanted.taxon)
    stages = ("dormant",) if taxon.needs_winter_chill else ("leafy", "fruit")
    made = prior(taxon, age_years=wanted.age_years, height_m=None, potted=False, stages=stages, acclimation_c=weeks_c)
    return replace(made, pale_level_c=nan)


def test_leaving_nights_out_and_threads_change_nothing(raster: Raster) -> None:
    some, one = made(skip=True), made(threads=1)
    assert some.skipped_share > 0.05 > raster.skipped_share
    for name in ("death", "bare", "loss", "fruit", "coldest_c", "winter_sun_h", "summer_sun_h", "taken"):
        np.testing.assert_array_equal(getattr(raster, name), getattr(one, name), err_msg=name)
        np.testing.assert_allclose(getattr(raster, name), getattr(some, name), atol=4e-5, err_msg=name)


def test_sizes_between_two_that_are_marched_are_read_between_them() -> None:
    some = [Body(leaf_width_m=w, fruit_diameter_m=f) for w, f in ((0.012, 0.018), (0.04, 0.05), (0.09, 0.12))]
    spots = survey(made_yard(), [("a", 15.0, 3.0, 1.0), ("b", 15.0, 8.0, 1.0), ("c", 4.5, 4.5, 1.0)])
    winters = weather()
    found = replay(
        winters.winters, spots * 3, [body for body in some for _ in spots], [[LEAVE]] * 9, winters.nights,
        faces=survey_faces(made_yard()), single_precision=True,
    ).coldest_c[:, 0].reshape(3, 3, WINTERS, NIGHTS, 5, 5)  # fmt: skip
    low, middle, high = found
    cold = middle[..., LEAF, 1] < 1.0
    assert cold.any()
    for tissue, sizes, most in ((LEAF, (0.012, 0.04, 0.09), 0.15), (FRUIT, (0.018, 0.05, 0.12), 0.4)):
        part = np.log(sizes[1] / sizes[0]) / np.log(sizes[2] / sizes[0])
        off = np.abs(low + part * (high - low) - middle)[..., tissue, :][cold]
        assert off.max() < most
        assert np.abs(high - low)[..., tissue, :][cold].max() > most  # or taking any size would do


def test_where_a_tree_may_stand(raster: Raster) -> None:
    def why(x: float, y: float) -> tuple[str, str]:
        cell = at(raster, x, y)
        return raster.why_not(cell), raster.taken_by[cell]

    assert why(15.0, 3.0) == ("free", "")
    assert why(3.0, 3.0) == ("free", "")
    assert why(13.0, 5.0) == ("tree", "lemon")
    assert raster.gap_m[at(raster, 13.0, 5.0)] == pytest.approx(0.0)
    fine = cells_of(made_yard(), 0.5)
    codes = {TAKEN[code] for code in fine.taken}
    assert {"free", "wall", "paving", "trunk", "tree", "outside"} <= codes
    near = np.array(fine.taken_by)[fine.taken == TAKEN.index("tree")]
    assert set(near) == {"lemon"}
    assert (fine.gap_m[fine.taken == 0] >= SPACING_M).all()
    assert raster.power_m[at(raster, 21.0, 9.0)] == pytest.approx(1.0)
    assert np.isnan(raster.tap_m).all()
    assert any("tap" in note for note in raster.notes)
    assert cell_side_m(made_yard()) == 0.5


def test_figures_stand_where_something_can_and_nowhere_else(raster: Raster) -> None:
    known = raster.standable
    for name in ("death", "bare", "loss"):
        values = getattr(raster, name)
        assert np.isfinite(values[:, known]).all()
        assert ((values[:, known] >= 0.0) & (values[:, known] <= 1.0)).all()
        assert np.isnan(values[:, ~known]).all()
    assert np.isfinite(raster.coldest_c[known]).all()
    assert np.isnan(raster.fruit[2]).all()  # a bare persimmon hangs no fruit
    assert np.isnan(raster.scorch).all()


def test_a_tree_that_is_to_go_gives_its_room() -> None:
    without = made([GUAVA], without=["lemon"])
    assert without.why_not(at(without, 13.0, 5.0)) == "free"
    assert np.isinf(without.gap_m[at(without, 13.0, 5.0)]) or without.gap_m[at(without, 13.0, 5.0)] > 100.0


def test_parts_are_handed_over_and_put_together(raster: Raster) -> None:
    seen: list[WorkPart] = []

    def keep(parts: Sequence[WorkPart]) -> list[Any]:
        seen.extend(parts)
        return [part.make() for part in parts]

    again = made(keep=keep)
    assert len({part.key for part in seen}) == len(seen) > 0
    np.testing.assert_array_equal(again.loss, raster.loss)
    assert again.mark == raster.mark
    assert raster.mark != raster_key(made_yard(), [GUAVA], weather(), NOTHING_LEARNED, TODAY, cell_m=2.0)


def test_older_trees_stand_more_and_cost_no_other_march() -> None:
    young, old = replace(GUAVA, age_years=1.0), replace(GUAVA, age_years=12.0)
    both = made([young, old])
    known = both.standable
    assert (both.yearly_loss[1, known] < both.yearly_loss[0, known]).all()


def test_heat_scorches_in_the_open_and_not_under_a_crown() -> None:
    summer = made_winter(1, start="2004-06-20T00", days=75, mean=23.0, swing=9.0, windy=0.6, local_h=-8)
    summer = replace(summer, latitude_deg=34.0, longitude_deg=-117.0)
    hot = made([AVOCADO], summers=(summer,))
    field, under = at(hot, 15.0, 3.0), at(hot, 5.0, 5.0)
    assert 0.05 < hot.scorch[0, field] < 1.0
    assert hot.scorch[0, under] < 0.7 * hot.scorch[0, field]
    mild = made([AVOCADO], summers=(replace(summer, t_air_c=summer.t_air_c - 12.0, t_dew_c=summer.t_dew_c - 12.0),))
    assert mild.scorch[0, field] < 0.2 * hot.scorch[0, field]


def test_chance_to_live_for_years() -> None:
    death, weights = np.array([0.4, 0.1, 0.0]), np.array([0.5, 0.3, 0.2])
    assert float(lives_through(death, weights, 0)) == pytest.approx(1.0)
    assert float(lives_through(death, weights, 1)) == pytest.approx(1.0 - 0.5 * 0.4 - 0.3 * 0.1)
    # By hand: u below 0.1 dies in the first two winters (0.8), below 0.4 in the first (0.5), else in none.
    assert float(lives_through(death, weights, 3)) == pytest.approx(0.1 * 0.2**3 + 0.3 * 0.5**3 + 0.6)
    with pytest.raises(ValueError, match="years must be 0 or more"):
        lives_through(death, weights, -1)


def test_level_that_so_many_winters_reach() -> None:
    coldest = np.array([[-5.0, -1.0, -3.0], [np.nan] * 3], dtype=np.float32)
    found = level_c(coldest, np.array([0.2, 0.4, 0.4]), 0.1)
    assert found[0] == pytest.approx(-5.0)
    assert np.isnan(found[1])


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="wanted must name"):
        made([])
    with pytest.raises(UnknownTaxonError):
        made([Wanted("no such tree")])
    with pytest.raises(ValueError, match="cell_m must be"):
        made([GUAVA], cell_m=0.0)


def test_every_array_has_its_shape(raster: Raster) -> None:
    count = raster.columns * raster.rows
    for each in fields(Raster):
        value = getattr(raster, each.name)
        if isinstance(value, np.ndarray) and each.name != "weights":
            assert count in value.shape, each.name
    assert raster.x_m[1] > raster.x_m[0]
    assert raster.y_m[raster.columns] > raster.y_m[0]
