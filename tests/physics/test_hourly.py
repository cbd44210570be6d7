"""Steps of a whole hour: what many winters are replayed with."""

import numpy as np
import pytest

from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.physics.night import simulate
from fruitwall.physics.treatment import Treatment
from tests.physics.nights import LAST, frost_weather, open_spot

TREATMENTS = [Treatment("leave"), Treatment("cloth", cover="fleece_light", on_frame=True)]


def hourly(minutes, **more):
    body = Body(fruit_diameter_m=0.06)
    return simulate(frost_weather(members=2), [open_spot()], [body], [TREATMENTS], [LAST], step_minutes=minutes, **more)


def test_running_means_of_hours_are_those_of_the_series():
    result = hourly(60, keep_series=True)
    start, end = (np.datetime64(moment.replace(tzinfo=None)) for moment in (LAST.start_utc, LAST.end_utc))
    inside = (result.time_utc > start) & (result.time_utc <= end)
    for tissue, name in enumerate(TISSUES):
        night = result.series[name][0, :, :, inside]  # [hour, treatment, member]
        for level, hours in enumerate(DURATIONS_H):
            window = np.lib.stride_tricks.sliding_window_view(night, max(round(hours), 1), axis=0).mean(axis=-1)
            assert window.min(axis=0) == pytest.approx(result.coldest_c[0, :, :, 0, tissue, level], abs=1e-10)


def test_the_coldest_half_hour_of_hourly_steps_is_the_coldest_hour():
    result = hourly(60)
    assert np.array_equal(result.coldest_c[..., 0], result.coldest_c[..., 1], equal_nan=True)


def test_hourly_steps_give_nearly_the_night_of_quarter_hours():
    # The study of the method: 0.10 K at most in the night minimum; here the forecast's hours are the same in both.
    assert hourly(60).minimum_c == pytest.approx(hourly(15).minimum_c, abs=0.15, nan_ok=True)
