"""Faults of thermometers: each is found when it is put into clean readings of real ones, and clean ones are let be."""

from __future__ import annotations

import numpy as np
import pytest

from bench.faults import FAULTS, find_in, rates, stretches
from bench.networks import networks
from fruitwall.learning.sensors import Course, doubts, find_troubles, meant


@pytest.fixture(scope="module")
def near():
    """Thirty days each of the thermometers of a forest and of a plastic tunnel: 32 stretches (bench/data)."""
    return [one for network in networks()[2:] for one in stretches(network)]


def test_clean_thermometers_raise_no_alarm(near):
    accused = [(one.name, [t.kind for t in find_in(one, one.time_h, one.value_c)]) for one in near]
    assert len(near) == 32
    assert [one for one in accused if one[1]] == []


SURE = (
    "°F taken for °C, all along", "°F taken for °C, three days", "°C taken for °F, three days",
    "flat battery: still for two days", "clock 12 h off", "clock 3 h fast", "lag of 4 h",
    "in the sun for three hours, 10 K", "drift of 4 K in 30 days", "three holes of 36 h",
)  # fmt: skip
"""In the tunnel, whose sensors are a few metres apart: what must be found nearly always."""


@pytest.fixture(scope="module")
def found(near):
    some = [one for one in near if one.network.startswith("plastic tunnel")][::3]
    return {rate.fault: rate for rate in rates(some)}


@pytest.mark.parametrize("fault", SURE)
def test_a_fault_put_in_is_found_and_called_by_its_name(found, fault):
    assert found[fault].tried == 6
    assert found[fault].found >= 5, found[fault]


def test_slips_of_the_pen_are_mostly_found(found):
    slips = [found[name] for name in FAULTS if name.startswith("one ")]
    assert sum(rate.found for rate in slips) >= 0.8 * sum(rate.tried for rate in slips)


# ---------------------------------------------------------------- single numbers


@pytest.mark.parametrize(
    ("value", "expected", "kind"),
    [
        (28.4, -1.5, "fahrenheit"),  # -2 °C, read on a °F scale
        (50.0, 9.0, "fahrenheit"),
        (-20.0, -3.0, "celsius"),  # -4 given with the unit °F
        (28.0, 2.5, "tenfold"),
        (1.4, 13.0, "tenth"),
        (4.5, -4.0, "sign"),
        (21.0, 6.0, "odd"),
        (3.0, 9.0, ""),
        (-8.0, -1.0, ""),
        (np.nan, 3.0, ""),
        (3.0, np.nan, ""),
    ],
)
def test_a_number_is_doubted_as_what_it_might_have_been_meant_as(value, expected, kind):
    assert doubts(value, expected) == kind


@pytest.mark.parametrize(
    ("kind", "meant_c"),
    [("fahrenheit", -2.0), ("celsius", 83.12), ("tenfold", 2.84), ("tenth", 284.0), ("sign", -28.4)],
)
def test_a_doubted_number_can_be_read_as_it_was_meant(kind, meant_c):
    assert meant(28.4, kind) == pytest.approx(meant_c)


def test_what_people_read_once_a_day_is_doubted_alone_but_not_when_it_always_differs():
    hours = np.arange(0.0, 24.0 * 20)
    course = a_course(hours)
    time = hours[6::24]
    value = course.air_c[6::24] + 0.5
    value[7] = value[7] * 1.8 + 32.0
    (trouble,) = find_troubles(time, value, course)
    assert (trouble.kind, trouble.readings) == ("fahrenheit", 1)
    assert np.flatnonzero(trouble.wrong).tolist() == [7]
    # A place that is 9 K colder night for night is a place, not nineteen slips.
    assert find_troubles(time, course.air_c[6::24] - 9.0, course) == []


# ---------------------------------------------------------------- what a trouble says


def a_course(hours):
    """Days from 1 to 11 °C, every third one dull and flat."""
    of_day = hours % 24.0
    bright = (hours // 24.0) % 3 != 2
    wave = np.cos(2.0 * np.pi * (of_day - 15.0) / 24.0)
    sun = np.clip(np.cos(2.0 * np.pi * (of_day - 12.0) / 24.0), 0.0, 1.0) * np.where(bright, 450.0, 60.0)
    air = 6.0 + np.where(bright, 5.0, 1.5) * wave
    return Course(hours, air, sun, sun <= 0.0, of_day)


HOURS = np.arange(0.0, 24.0 * 24)


def only(value, time=HOURS, **how):
    found = find_troubles(time, value, a_course(HOURS), **how)
    assert len(found) == 1, [one.kind for one in found]
    return found[0]


def noisy(value, seed=1):
    return value + np.random.default_rng(seed).normal(0.0, 0.2, np.shape(value))


def test_a_fast_clock_is_told_with_its_hours_and_sign():
    right = np.interp(HOURS - 3.0, HOURS, a_course(HOURS).air_c)
    assert (only(noisy(right)).kind, only(noisy(right)).size) == ("clock", 3.0)
    assert only(noisy(np.interp(HOURS + 5.0, HOURS, a_course(HOURS).air_c))).size == -5.0


def test_a_thermometer_in_the_sun_is_told_with_its_hours_and_keeps_its_nights():
    course = a_course(HOURS)
    sunned = course.air_c + 8.0 * (course.sun_w_m2 > 300.0) * (course.hour_of_day >= 11) * (course.hour_of_day <= 13)
    trouble = only(noisy(sunned))
    assert (trouble.kind, trouble.hours) == ("sun", (11, 12, 13))
    assert trouble.size == pytest.approx(8.0, abs=0.3)
    assert not trouble.wrong.any()


def test_a_flat_battery_is_told_with_the_readings_that_stand_still():
    value = noisy(a_course(HOURS).air_c)
    value[100:140] = value[100]
    trouble = only(value)
    assert (trouble.kind, trouble.size) == ("stuck", 39.0)
    assert np.flatnonzero(trouble.wrong).tolist() == list(range(100, 140))


def test_a_logger_that_says_nothing_is_asked_after():
    value = noisy(a_course(HOURS).air_c)
    assert only(value, now_h=HOURS[-1] + 50.0).kind == "silent"
    assert find_troubles(HOURS, value, a_course(HOURS), now_h=HOURS[-1] + 5.0) == []


def test_readings_must_rise_in_time_and_be_whole():
    course = a_course(HOURS)
    with pytest.raises(ValueError, match="time_h must rise"):
        find_troubles(np.array([2.0, 1.0]), np.zeros(2), course)
    with pytest.raises(ValueError, match="readings must not miss values"):
        find_troubles(np.array([1.0, 2.0]), np.array([0.0, np.nan]), course)
    with pytest.raises(ValueError, match="of one length"):
        find_troubles(np.array([1.0, 2.0]), np.zeros(3), course)
    assert find_troubles(np.zeros(0), np.zeros(0), course) == []
