"""How trees grow over years."""

from __future__ import annotations

import csv
from importlib import resources
from itertools import pairwise

import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.setback import NURSERY_AGE_YEARS
from fruitwall.plants.stature import POT_HEIGHT_M, POT_VOLUME_L, final_height_m, grown, grown_size, pot_height_m


def test_every_kind_of_the_catalogue_has_a_size_of_its_own_genus() -> None:
    without = [taxon.scientific for taxon in catalogue().taxa if grown_size(taxon).status == "our_judgement"]
    assert without == []
    assert all(0.5 <= grown_size(taxon).height_m <= 20 for taxon in catalogue().taxa)


def test_every_row_says_where_its_height_is_from() -> None:
    text = (resources.files("fruitwall.plants") / "data" / "stature.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert {row["status"] for row in rows} == {"read", "from_memory", "our_judgement"}
    assert all(row["note"] for row in rows if row["status"] == "read")
    assert len({row["name"] for row in rows}) == len(rows)


def test_a_lychee_stands_thirty_years_after_planting_as_its_fact_sheet_says() -> None:
    # UF/IFAS ENH-523 (Gilman, Watson, Klein, Koeser, Hilbert, McLean): about 30 ft tall 30 years after planting.
    planted = grown(1.2, 0.7, NURSERY_AGE_YEARS, catalogue().find("lychee"), 30.0)
    assert planted.height_m == pytest.approx(30 * 0.3048, rel=0.1)


def test_the_species_comes_before_its_genus() -> None:
    known = catalogue()
    assert grown_size(known.find("Citrus japonica")).height_m < grown_size(known.find("Citrus sinensis")).height_m
    assert grown_size(known.find("Persea americana (Mexican type)")) == grown_size(known.find("Persea americana"))


def test_a_seedling_reaches_half_of_its_height_in_the_years_of_the_table() -> None:
    mango = catalogue().find("mango")
    size = grown_size(mango)
    assert grown(1e-9, 1e-9, None, mango, size.half_years).height_m == pytest.approx(size.height_m / 2)
    assert grown(1e-9, 1e-9, None, mango, 200).height_m == pytest.approx(size.height_m, rel=1e-6)
    assert grown(1e-9, 1e-9, None, mango, 200).crown_diameter_m == pytest.approx(
        size.height_m * size.crown_share, rel=1e-6
    )


def test_today_it_is_as_it_is_and_it_never_shrinks() -> None:
    taxon = catalogue().find("Citrus japonica")
    now = grown(2.0, 1.5, 4.0, taxon, 0.0)
    assert (now.height_m, now.crown_diameter_m) == (2.0, 1.5)
    tall = grown(6.0, 5.0, 30.0, taxon, 20.0, potted=True, volume_l=20.0)
    assert (tall.height_m, tall.crown_diameter_m) == (6.0, 5.0)
    heights = [grown(1.0, 0.8, 3.0, taxon, years).height_m for years in range(30)]
    steps = [later - earlier for earlier, later in pairwise(heights)]
    assert all(a > b > 0 for a, b in pairwise(steps))


def test_a_tree_that_stood_small_for_long_stays_small_and_a_young_one_does_not() -> None:
    avocado = catalogue().find("avocado")
    assert final_height_m(2.0, 30.0, avocado) < 2.5
    assert final_height_m(2.0, 3.0, avocado) > 7.0


def test_twice_the_pot_gives_43_percent_more_plant() -> None:
    assert pot_height_m(POT_VOLUME_L) == POT_HEIGHT_M
    # Poorter and others 2012: biomass x 1.43; height by the cube root.
    assert pot_height_m(2 * POT_VOLUME_L) / POT_HEIGHT_M == pytest.approx(1.43 ** (1 / 3))


def test_a_container_holds_a_tree_back() -> None:
    mango = catalogue().find("mango")
    free = grown(1.5, 1.0, 3.0, mango, 10.0)
    big = grown(1.5, 1.0, 3.0, mango, 10.0, potted=True, volume_l=200.0)
    small = grown(1.5, 1.0, 3.0, mango, 10.0, potted=True, volume_l=20.0)
    assert free.height_m > big.height_m > small.height_m > 1.5


@pytest.mark.parametrize(("height", "crown", "years"), [(0.0, 1.0, 1.0), (1.0, -1.0, 1.0), (1.0, 1.0, -1.0)])
def test_impossible_sizes_are_refused(height: float, crown: float, years: float) -> None:
    with pytest.raises(ValueError, match="must"):
        grown(height, crown, None, catalogue().find("mango"), years)
