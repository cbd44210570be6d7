"""Indoor places: what their temperature does while it freezes outside."""

import numpy as np
import pytest

from fruitwall.physics.rooms import Room, room_temperature

STEP_S = 900.0
DAYS = 3
HOURS = np.arange(DAYS * 96) / 4
OUTSIDE = (4.0 - 7.0 * np.sin(2 * np.pi * HOURS / 24))[None, :] + np.array([[0.0], [-2.0]])
NIGHT = (96 + 8, 96 + 72)


def test_an_unheated_shed_is_as_much_warmer_when_it_is_coldest_outside_as_it_is_said_to_be():
    shed = room_temperature(Room("shed", warmer_k=3.0), OUTSIDE, STEP_S, [NIGHT])
    coldest = NIGHT[0] + OUTSIDE[:, NIGHT[0] : NIGHT[1] + 1].argmin(axis=1)
    members = np.arange(len(OUTSIDE))
    assert shed[members, coldest] == pytest.approx(OUTSIDE[members, coldest] + 3.0)


def test_a_shed_follows_the_outside_later_and_less():
    shed = room_temperature(Room("shed"), OUTSIDE, STEP_S, [NIGHT])[0, NIGHT[0] : NIGHT[1]]
    outside = OUTSIDE[0, NIGHT[0] : NIGHT[1]]
    assert np.argmin(shed) > np.argmin(outside)
    assert np.ptp(shed) < np.ptp(outside)


def test_a_heated_room_never_falls_below_what_is_kept():
    room = room_temperature(Room("hall", kept_at_c=12.0), OUTSIDE, STEP_S, [NIGHT])
    assert room.min() == pytest.approx(12.0)


def test_a_room_kept_cool_is_warmed_by_a_warm_spell():
    room = room_temperature(Room("hall", kept_at_c=5.0), OUTSIDE + 20.0, STEP_S, [NIGHT])
    assert room.min() > 15.0


def test_members_do_not_mix():
    room = Room("shed")
    both = room_temperature(room, OUTSIDE, STEP_S, [NIGHT])
    assert both[1:] == pytest.approx(room_temperature(room, OUTSIDE[1:], STEP_S, [NIGHT]))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kept_at_c": 60.0}, "kept_at_c must be at least -10 and at most 35 °C, got 60.0"),
        ({"warmer_k": -1.0}, "warmer_k must be at least 0 and at most 25 K, got -1.0"),
    ],
)
def test_impossible_rooms_are_refused_by_name(change, words):
    with pytest.raises(ValueError, match=words):
        Room("shed", **change)
