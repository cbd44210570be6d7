"""Do trees fare as growers know them to? All of it: common practice, no source.

A winter whose nights are mostly near 1.5 to 2 °C with a few near -1 °C, by the shelter's thermometer, nothing
protected. The whole way is run (`cool_winter`): a yard, hourly weather with these minima, spots, the night's physics
through the winter, what each tree stands after such weeks, freezing and chilling joined over all nights. Nothing in
the model was set to meet these; where it does not, a test says so.
"""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.weather.forcing import HOUR
from tests.plants import cool_winter
from tests.plants.cool_winter import COLDER_C, KINDS, MINIMA_C, fared, winter_of, within_soursop

GRADES = np.arange(8)


def of(kind: str, *, age: str = "old", colder: bool = False) -> np.ndarray:
    """Chances of each grade over the winter."""
    return fared(colder)[f"{age}-{kind}".replace(" ", "-").lower()]


def usual_grade(chances: np.ndarray) -> int:
    """The grade that half of such trees reach."""
    return int(np.flatnonzero(np.cumsum(chances) >= 0.5)[0])


# ---------------------------------------------------------------- the winter itself


@pytest.mark.parametrize("minima", [MINIMA_C, COLDER_C], ids=["usual", "colder"])
def test_the_weather_has_the_nights_that_are_told(minima: list[float]) -> None:
    forcing = winter_of(minima)
    first = np.datetime64(f"{cool_winter.FIRST}T12:00", "s") - cool_winter.LOCAL_H * HOUR
    for number, low in enumerate(minima):
        noon = first + np.timedelta64(24 * number, "h")
        night = (forcing.time_utc >= noon) & (forcing.time_utc < noon + np.timedelta64(24, "h"))
        assert forcing.t_air_c[0, night].min() == pytest.approx(low, abs=1e-9)
    assert (forcing.t_dew_c <= forcing.t_air_c).all()
    assert forcing.shortwave_w_m2.min() == 0.0


def test_most_nights_are_near_two_degrees_and_a_few_below_freezing() -> None:
    minima = np.array(MINIMA_C)

    assert 0.85 < np.mean((minima >= 1.5) & (minima <= 2.0)) < 1.0
    assert 2 <= np.sum(minima < 0.0) <= 4
    assert minima.min() == -1.0


# ---------------------------------------------------------------- the facts


def test_soursop_loses_a_large_part_of_its_foliage() -> None:
    assert usual_grade(of("soursop")) in (3, 4)


def test_soursop_suffers_in_the_upper_crown_before_the_middle_of_it() -> None:
    # The skirt near the ground, where the air is coldest, is as cold as the top: only what hangs within is spared.
    leaf_c, (top, within) = within_soursop((4.9, 2.5))

    assert (leaf_c[0] < leaf_c[1] - 0.3).all()
    assert top @ GRADES > within @ GRADES


@pytest.mark.parametrize("kind", ["jaboticaba", "white sapote", "canistel", "sapodilla"])
def test_some_kinds_show_next_to_nothing(kind: str) -> None:
    assert usual_grade(of(kind)) <= 1
    assert of(kind)[2:].sum() < 0.5


def test_guava_and_atemoya_are_about_equally_hardy_and_lightly_touched() -> None:
    guava, atemoya = of("guava"), of("atemoya")

    assert abs(guava @ GRADES - atemoya @ GRADES) < 0.7
    assert max(usual_grade(guava), usual_grade(atemoya)) <= 2


def test_guava_and_atemoya_are_cut_back_by_a_colder_spell() -> None:
    for kind in ("guava", "atemoya"):
        assert 2.0 < of(kind, colder=True) @ GRADES < 5.0


def test_acerola_turns_paler() -> None:
    assert usual_grade(of("acerola")) in (1, 2)


def test_jamaican_cherry_yellows_with_some_burn() -> None:
    assert usual_grade(of("Jamaican cherry")) in (1, 2)


# Why it stays: one grower's tree in one protected place; the miss is to the safe side.
@pytest.mark.xfail(
    reason="nothing is published on chilling of wax jambu, so it counts as a usual ultra-tropical kind, burnt by "
    "nights near 3 °C after cool weeks: most of its leaf is lost. A desert grower's potted tree did lose it all in a "
    "protected place; a hardier level for this fact alone would be fitting the check"
)
def test_wax_jambu_under_a_roof_drops_some_leaves_only() -> None:
    assert usual_grade(fared()["roofed-wax-jambu"]) in (2, 3)


def test_wax_jambu_under_a_roof_is_hurt_but_lives() -> None:
    sheltered = fared()["roofed-wax-jambu"]

    assert sheltered[2:].sum() > 0.5
    assert sheltered[5:].sum() < 0.2


@pytest.mark.parametrize("kind", KINDS)
def test_young_trees_fare_worse_than_old_ones(kind: str) -> None:
    assert of(kind, age="young") @ GRADES > of(kind) @ GRADES + 0.3


@pytest.mark.parametrize("kind", KINDS)
def test_a_colder_spell_is_worse(kind: str) -> None:
    assert of(kind, colder=True) @ GRADES > of(kind) @ GRADES
