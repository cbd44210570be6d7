"""Do trees fare as growers know them to? All of it: common practice, no source.

A winter whose nights are mostly near 1.5 to 2 °C with a few near -1 °C, by the shelter's thermometer, nothing
protected, weeks with a mean near 11 °C. Nothing in the model was set to meet these; where it does not, a test says
so.
"""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plants.injury import grade_chances
from tests.plants.exposures import clear_night
from tests.plants.test_injury import a_tree

WINTER = np.stack([clear_night(t) for t in [1.8] * 15 + [-0.9] + [1.6] * 15 + [-1.0, -0.8] + [2.0] * 15])
"""[night, tissue, duration]"""

COLDER_SPELL = np.stack([*WINTER[:15], clear_night(-3.0), clear_night(-4.0), clear_night(-3.0)])
"""How cold growers mean is not said: -4 °C taken, where guava is said to be in danger (25-26 °F)."""


def fares(name: str, *, nights: np.ndarray = WINTER, **change: object) -> np.ndarray:
    """Chances of each grade over the winter."""
    return grade_chances(a_tree(name, acclimation_c=11.0, **change), nights, nights_axis=0)


def usual_grade(chances: np.ndarray) -> int:
    """The grade that half of such trees reach."""
    return int(np.flatnonzero(np.cumsum(chances) >= 0.5)[0])


def test_soursop_loses_a_large_part_of_its_foliage() -> None:
    assert usual_grade(fares("soursop")) in (3, 4)


@pytest.mark.parametrize("name", ["jaboticaba", "white sapote", "sapodilla"])
def test_some_kinds_show_next_to_nothing(name: str) -> None:
    assert usual_grade(fares(name, age_years=30.0, height_m=7.0)) <= 1


def test_canistel_shows_next_to_nothing() -> None:
    assert usual_grade(fares("canistel", age_years=30.0, height_m=7.0)) <= 1


def test_guava_and_atemoya_are_about_equally_hardy_and_lightly_touched() -> None:
    guava, atemoya = fares("guava"), fares("atemoya")

    assert abs(guava @ np.arange(8) - atemoya @ np.arange(8)) < 0.7
    assert max(usual_grade(guava), usual_grade(atemoya)) <= 2


def test_guava_and_atemoya_are_cut_back_by_a_colder_spell() -> None:
    for name in ("guava", "atemoya"):
        assert 2.0 < fares(name, nights=COLDER_SPELL) @ np.arange(8) < 5.0


@pytest.mark.xfail(
    reason="published: leaf falls at a brief -2.2 °C, the tree stands -2 to -3 °C, so at -1 °C a little over half of "
    "the trees show nothing. Leaf that pales in cool sunny weeks without frost (as light and cold together do) is not "
    "in the model, and no figure was found for it"
)
def test_acerola_turns_paler() -> None:
    acerola = fares("acerola")

    assert usual_grade(acerola) in (1, 2)


@pytest.mark.xfail(
    reason="published: only that it stands a light freeze, and a merchant's 'tolerates 10 °C'; for the rest it counts "
    "as a usual subtropical kind, which is too hardy. To call it ultra-tropical for this fact alone would be fitting "
    "the check"
)
def test_jamaican_cherry_yellows_with_some_burn() -> None:
    assert usual_grade(fares("Jamaican cherry")) in (1, 2)


def test_wax_jambu_under_a_roof_drops_some_leaves() -> None:
    # Under a roof the leaf loses little heat to the sky: air temperature or somewhat above.
    sheltered = fares("wax jambu", nights=WINTER + 2.5)

    assert usual_grade(sheltered) in (2, 3)


@pytest.mark.parametrize(
    "name",
    [
        "soursop",
        "jaboticaba",
        "white sapote",
        "canistel",
        "sapodilla",
        "guava",
        "atemoya",
        "acerola",
        "Jamaican cherry",
    ],
)
def test_young_trees_fare_worse_than_old_ones(name: str) -> None:
    young = fares(name, age_years=2.0, height_m=1.2)
    old = fares(name, age_years=30.0, height_m=7.0)

    assert young @ np.arange(8) > old @ np.arange(8) + 0.3
