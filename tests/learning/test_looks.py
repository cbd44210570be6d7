"""Is a look reduced to what it can say?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fruitwall.learning.looks import (
    CHILL_SHIFTS_K,
    LivedNight,
    Look,
    reduce_look,
    reference_sd_k,
    scale_of,
    share_seen,
)
from fruitwall.plants.injury import CHILL_MEMORY
from fruitwall.plants.tolerance import LEAF, ROOT, TWIG, WOOD
from tests.learning.made_yards import HOURS, believed, night

LEMON = believed("lemon")


def look(nights: list[LivedNight], **about: Any) -> Look:
    return reduce_look(nights, **({"id": "l", "tree": "t", "observer": "ana", "grade": 2} | about))


def lived(*coldest_hours_c: float) -> list[LivedNight]:
    return [LivedNight(night(one), LEMON) for one in coldest_hours_c]


# ---------------------------------------------------------------- how far beyond the limits


def test_an_hour_counts_by_how_far_it_went_below_the_limit() -> None:
    got = look(lived(-6.0))

    hour = list(HOURS).index(1.0)
    # Limits of the lemon: leaf burn begins at -4.9 °C, much leaf burn at -5.3 °C, the first dead wood at -6.7 °C.
    assert got.beyond_k[0, LEAF, hour] == pytest.approx(-4.9 + 6.0)
    assert got.beyond_k[1, LEAF, hour] == pytest.approx(-5.3 + 6.0)
    assert got.beyond_k[0, WOOD, hour] == pytest.approx(-6.7 + 6.0)
    assert np.isneginf(got.beyond_k[:, ROOT]).all()


def test_longer_hours_count_more_by_what_a_doubling_is_worth() -> None:
    got = look([LivedNight(np.full((5, HOURS.size), -5.0), LEMON)])

    assert np.diff(got.beyond_k[0, LEAF]) == pytest.approx(LEMON.duration_k_per_log2h * np.diff(np.log2(HOURS)))


def test_a_tissue_that_only_a_worse_grade_concerns_counts_for_the_lesser_one_too() -> None:
    got = look(lived(-6.5), grade=1)

    assert got.beyond_k[0, TWIG, 1] == got.beyond_k[1, TWIG, 1] == pytest.approx(-6.2 + 6.5)


def test_above_freezing_nothing_freezes_however_tender() -> None:
    assert np.isneginf(look(lived(0.5)).beyond_k[:, :, 1]).all()


def test_grade_0_was_reached_for_certain_and_grade_7_is_never_passed() -> None:
    assert np.isposinf(look(lived(-3.0), grade=0).beyond_k[0]).all()
    assert np.isneginf(look(lived(-30.0), grade=7).beyond_k[1]).all()


def test_a_look_at_a_tree_that_was_as_bad_before_only_says_no_worse() -> None:
    before, now = look(lived(-6.0), grade=3), look(lived(-6.0), grade=3, at_most=True)

    assert np.isposinf(now.beyond_k[0]).all()
    assert (now.beyond_k[1] == before.beyond_k[1]).all()


def test_the_worst_of_many_nights_counts_in_any_order() -> None:
    weeks = [float(one) for one in np.random.default_rng(1).normal(-1.0, 2.0, 42)]  # not looked at for six weeks

    forward, backward, alone = look(lived(*weeks)), look(lived(*weeks[::-1])), look(lived(min(weeks)))

    assert (forward.beyond_k == backward.beyond_k).all()
    assert (forward.beyond_k == alone.beyond_k).all()


def test_each_night_is_held_against_what_the_tree_stood_that_night() -> None:
    hardened, soft = believed("satsuma"), believed("lemon")
    nights = [LivedNight(night(-7.0), hardened), LivedNight(night(-4.0), soft)]

    # -7 °C did less to the hardened tree (limit -8) than -4 °C to the soft one (limit -4.9): 0.9 K short, not 1.
    assert look(nights).beyond_k[0, LEAF, 1] == pytest.approx(-0.9)


def test_missing_tissues_and_hours_say_nothing() -> None:
    cold = night(-6.0)
    cold[LEAF], cold[TWIG, 2:] = np.nan, np.nan

    got = look([LivedNight(cold, LEMON)])

    assert np.isneginf(got.beyond_k[:, LEAF]).all()
    assert np.isfinite(got.beyond_k[0, TWIG, :2]).all()


def test_the_leaf_stands_for_the_tree_and_the_others_follow_by_their_doubt() -> None:
    assert reference_sd_k(LEMON) == LEMON.sd_k[LEAF]
    assert scale_of(LEMON) == pytest.approx([1.0, 1.0, 1.05, 0.0, 0.0])


def test_what_is_not_known_of_the_exposure_widens_the_look() -> None:
    assert look(lived(-6.0), exposure_sd_k=0.8).slope_k == pytest.approx(1.0)  # 0.6 within the tree and 0.8


# ---------------------------------------------------------------- chilling


def test_the_dose_of_chilling_is_carried_over_the_nights_for_every_level() -> None:
    banana = believed("banana")
    cold = np.full((5, HOURS.size), 6.0)

    got = look([LivedNight(cold, banana)] * 2, grade=2)

    # Level 8 °C: 2 K below it for 8 h are 16 K h, and half of the night before.
    assert got.chill_dose_k_h[CHILL_SHIFTS_K == 0.0] == pytest.approx(16.0 * (1.0 + CHILL_MEMORY))
    assert got.chill_dose_k_h[CHILL_SHIFTS_K == -3.0] == pytest.approx(0.0)
    assert got.chill_needed_k_h.tolist() == [20.0, 36.0]


def test_chilling_causes_no_dead_wood_and_hurts_no_lemon() -> None:
    assert np.isinf(look([LivedNight(night(3.0), believed("banana"))], grade=5).chill_needed_k_h).all()
    assert (look(lived(3.0)).chill_dose_k_h == 0.0).all()
    assert np.isinf(look(lived(3.0)).chill_needed_k_h).all()


# ---------------------------------------------------------------- shares and ranges


def test_damage_comes_out_over_four_weeks() -> None:
    assert [share_seen(days) for days in (0, 28, 400)] == [0.1, 1.0, 1.0]
    assert (np.diff([share_seen(days) for days in range(29)]) > 0).all()


@pytest.mark.parametrize(
    ("about", "told"),
    [
        ({"grade": 8}, "grade must be from 0 to 7"),
        ({"grade": -1}, "grade must be from 0 to 7"),
        ({"cold": 1.1}, "cold must be from 0 to 1"),
        ({"seen": -0.1}, "seen must be from 0 to 1"),
        ({"young": 2.0}, "young must be from 0 to 1"),
        ({"paled": float("nan")}, "paled must be from 0 to 1"),
    ],
)
def test_values_out_of_range_are_refused(about: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        look(lived(-3.0), **about)


def test_a_look_without_nights_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one night"):
        look([])
