"""Indoor places: what their temperature does while it freezes outside."""

import numpy as np
import pytest

from fruitwall.physics.rooms import Room, room_temperature

STEP_S = 900.0
DAYS = 3
HOURS = np.arange(DAYS * 96) / 4
OUTSIDE = (4.0 - 7.0 * np.sin(2 * np.pi * HOURS / 24))[None, :] + np.array([[0.0], [-2.0]])
NIGHT = (96 + 8, 96 + 72)


FROST_HOURS = np.arange(3 * 96 + 1) / 4
FROST = np.interp(FROST_HOURS % 24, [0, 6.75, 8.25, 13, 17, 24], [-0.3, -4.0, 0.0, 12.0, 9.0, -0.3])[None, :]
"""Days of 12 °C and nights of -4 °C at sunrise (06:45), 0 °C an hour and a half later; from midnight."""

FROST_NIGHTS = [(round(4 * (24 * day + 16.5)), round(4 * (24 * day + 32.25))) for day in (0, 1)]


def test_the_lowest_of_an_unheated_shed_is_as_much_above_the_lowest_outside_as_it_is_said_to_be():
    shed = room_temperature(Room("shed", warmer_k=3.0), OUTSIDE, STEP_S, [NIGHT])
    lowest = OUTSIDE[:, NIGHT[0] : NIGHT[1] + 1].min(axis=1)
    assert shed[:, NIGHT[0] : NIGHT[1] + 17].min(axis=1) == pytest.approx(lowest + 3.0, abs=0.1)


def test_a_shed_is_as_cold_as_the_hour_of_sunrise_makes_it_and_not_as_warm_as_when_covers_come_off():
    for warmer in (1.0, 2.8, 6.0):
        shed = room_temperature(Room("shed", warmer_k=warmer), FROST, STEP_S, FROST_NIGHTS)[0]
        for first, last in FROST_NIGHTS:
            assert shed[first : last + 16].min() == pytest.approx(-4.0 + warmer, abs=0.25)


def test_a_shed_is_not_warmer_at_sunset_than_the_day_was():
    for warmer in (3.0, 10.0):
        shed = room_temperature(Room("shed", warmer_k=warmer), FROST, STEP_S, FROST_NIGHTS)[0]
        assert shed[48:].max() <= 12.0 + 1e-9


def test_a_shed_is_never_colder_than_both_the_air_outside_and_what_it_was():
    shed = room_temperature(Room("shed", warmer_k=0.0), FROST, STEP_S, FROST_NIGHTS)[0]
    assert shed.min() == pytest.approx(-4.0, abs=0.4)
    assert np.all(shed >= FROST[0].min())


def test_a_shed_keeps_its_warmth_through_a_day_that_freezes():
    # Well insulated, 8 K warmer: it must not fall to the outside's temperature when the covers of the yard come off.
    freezing = FROST / 4 - 6.0
    shed = room_temperature(Room("cellar", warmer_k=8.0), freezing, STEP_S, FROST_NIGHTS)[0]
    assert shed[FROST_NIGHTS[0][1] :].min() == pytest.approx(freezing.min() + 8.0, abs=0.25)


def test_without_a_night_a_shed_follows_the_outside_only():
    assert room_temperature(Room("shed"), FROST, STEP_S, []).min() > FROST.min()


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
