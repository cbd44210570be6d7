"""Best places: distinct, with true reasons; what covers change; nights; when to plant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fruitwall.plans.placing.raster import lives_through
from fruitwall.plans.placing.seasons import NightMinima, nights_below, offset_k, window
from fruitwall.plans.placing.sites import best_sites, ordinary_cell, site_at
from fruitwall.plans.placing.worth import Stake, goodness, held_warmer, place_values
from tests.plans.placing.made import WINTERS, made_raster, made_station_c


def test_sites_are_the_best_and_lie_apart() -> None:
    raster = made_raster()
    sites = best_sites(raster, 0, crown_m=3.0, most=4)
    good = goodness(raster, 0)
    assert len(sites) == 4
    assert sites[0].cell == int(np.nanargmax(good))
    assert [site.good for site in sites] == sorted((site.good for site in sites), reverse=True)
    for number, site in enumerate(sites):
        for other in sites[:number]:
            assert np.hypot(site.x_m - other.x_m, site.y_m - other.y_m) >= 3.0
    # Nothing that was passed over and lies apart from all is better than the last.
    apart = np.min([np.hypot(raster.x_m - s.x_m, raster.y_m - s.y_m) for s in sites], axis=0) >= 3.0
    assert not (good[apart] > sites[-1].good).any()


def test_taken_places_are_no_sites() -> None:
    best = best_sites(made_raster(), 0, crown_m=2.0, most=1)[0].cell
    raster = made_raster(taken={best: "paving"})
    assert best_sites(raster, 0, crown_m=2.0, most=1)[0].cell != best


def test_reasons_say_what_the_raster_says() -> None:
    raster = made_raster()
    warm = site_at(raster, 0, 5 * 10 + 9)  # at the wall
    keys = {one.key: one for one in warm.reasons}
    assert {"warm_wall", "sun", "power_near"} <= set(keys)
    assert keys["warm_wall"].value == pytest.approx(warm.ten_years_c - np.median(raster.ten_years_c))
    assert keys["power_near"].by == "terrace"
    assert {one.key for one in warm.against} == {"tap_far"}
    hollow = {one.key: one.value for one in site_at(raster, 0, 0).against}
    assert hollow["hollow"] == 1.5
    assert hollow["not_here"] == pytest.approx(lives_through(raster.death[0, 0], raster.weights, 10))
    assert "open_sky" not in hollow  # the hollow is told already
    shaded = {one.key for one in site_at(raster, 0, 79).against}
    assert "little_sun" in shaded
    assert "open_sky" in {one.key for one in site_at(raster, 0, 3 * 10).against}


def test_the_ordinary_place_is_in_the_middle_by_cold() -> None:
    raster = made_raster()
    cell = ordinary_cell(raster)
    assert cell is not None
    below = (raster.ten_years_c < raster.ten_years_c[cell]).mean()
    assert 0.4 <= below <= 0.55
    assert ordinary_cell(replace(raster, taken=np.full(80, 4, dtype=np.int8))) is None


def test_a_cover_reads_the_same_curve_further_up() -> None:
    raster = made_raster()
    held = held_warmer(raster, raster.death[0], 2.0)
    true = 1.0 - np.array([[0.0]])  # shape only
    from fruitwall.plants.normal import ndtr

    true = ndtr((-4.0 - (raster.coldest_c + 2.0)) / 1.0)
    assert (held <= raster.death[0] + 1e-7).all()
    inner = raster.coldest_c < 0.5 * (raster.coldest_c.max() + raster.coldest_c.min())
    assert np.abs(held - true)[inner].max() < 0.12  # steps of half a kelvin on a curve of 0.4 per kelvin
    assert held_warmer(raster, raster.death[0], 0.0) == pytest.approx(raster.death[0])


def nights_of(raster_seed: int = 1) -> NightMinima:
    """One night at the winter's coldest on 15 January, all others 10 K milder; from 1 November to 30 April."""
    evening = np.arange("2024-11-01", "2025-05-01", dtype="datetime64[D]")
    station = made_station_c(raster_seed)
    minima = np.tile(station[:, None] + 10.0, (1, evening.size))
    minima[:, int((np.datetime64("2025-01-15") - evening[0]).astype(int))] = station
    return NightMinima(evening, minima)


def test_nights_are_counted_at_the_place() -> None:
    raster, nights = made_raster(), nights_of()
    warm = 0.25 * (raster.x_m - 5) + 0.1 * (raster.y_m - 4) - raster.colder_k
    assert offset_k(raster, nights) == pytest.approx(warm, abs=1e-5)
    station = made_station_c()
    for cell in (0, 44, 79):
        expected = np.mean(station + warm[cell] < -3.0)
        assert nights_below(raster, nights, -3.0)[cell] == pytest.approx(expected)


def test_it_is_planted_after_the_last_harmful_night_or_in_autumn() -> None:
    raster, nights = made_raster(), nights_of()
    mild = window(raster, nights, 44, -12.0)
    assert (mild.season, mild.opens, mild.closes, mild.still_harmful) == ("autumn", (9, 15), (11, 1), 0.0)
    cold = window(raster, nights, 44, -1.0)
    assert (cold.season, cold.opens, cold.still_harmful) == ("spring", (3, 1), 0.0)  # the soil is cold before
    assert cold.closes == (4, 30)
    later = replace(nights, minima_c=np.roll(nights.minima_c, 60, axis=1))  # the cold night on 16 March
    assert window(raster, later, 44, -1.0).opens == (3, 17)
    every_night = window(raster, nights, 44, 20.0)
    assert (every_night.season, every_night.opens) == ("spring", (5, 1))  # nothing is known after April
    assert every_night.closes == (6, 1)
    year = NightMinima(np.arange("2024-11-01", "2025-06-10", dtype="datetime64[D]"), np.zeros((WINTERS, 221)) - 3)
    assert window(raster, year, 44, 20.0).season == "never"


def test_one_winter_in_ten_is_put_up_with() -> None:
    raster, nights = made_raster(), nights_of()
    late = nights.minima_c.copy()
    late[3, -1] = -30.0  # one winter of twelve has a harmful night on 30 April
    found = window(raster, replace(nights, minima_c=late), 44, -1.0)
    lowest = late.min(axis=1)
    assert lowest[3] == -30.0
    assert found.season == "spring"
    assert found.still_harmful == pytest.approx(1 / 12)
    late[4, -1] = -30.0
    assert window(raster, replace(nights, minima_c=late), 44, -1.0).opens == (5, 1)


def test_what_may_still_come_is_told_from_the_day_on_which_it_is_planted() -> None:
    raster, nights = made_raster(), nights_of()
    february = nights.minima_c.copy()
    february[3, int((np.datetime64("2025-02-10") - nights.evening[0]).astype(int))] = -30.0
    found = window(raster, replace(nights, minima_c=february), 44, -1.0)
    assert found.opens == (3, 1)  # few enough winters are left from 16 January on, but the soil is cold
    assert found.still_harmful == 0.0


def test_covering_pays_where_it_saves_more_than_it_takes() -> None:
    raster = made_raster()
    nights, walk = np.full(80, 3.0), np.full(80, 2.0)
    dear = place_values(raster, 0, Stake(worth=1000.0, crop_worth=100.0), nights, walk)
    cheap = place_values(raster, 0, Stake(worth=5.0, crop_worth=0.0), nights, walk)
    assert dear.covered[44]
    assert dear.minutes[44] == 3.0 * 14.0
    assert not cheap.covered.any()
    assert (dear.value >= dear.bare).all()
    assert cheap.minutes.sum() == 0.0
    alone = cheap.lives
    assert alone == pytest.approx(lives_through(raster.death[0], raster.weights, 10))
    assert dear.lives[44] > alone[44]
