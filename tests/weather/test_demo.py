"""The demo's weather is the real December 1998 of March air base, 28 years on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from fruitwall.weather.demo import demo_forcing, demo_now, demo_winters


def test_the_demo_moment_is_the_afternoon_of_the_23rd_in_california():
    assert demo_now().isoformat() == "2026-12-23T14:30:00-08:00"


def test_it_gives_ten_days_of_past_and_five_nights():
    forcing = demo_forcing()

    assert forcing.n_members == 1
    assert forcing.n_history == 10 * 24 + 1
    assert forcing.time_utc[forcing.n_history - 1] == np.datetime64("2026-12-23T22:00:00")
    assert forcing.end_utc == datetime(2026, 12, 28, 22, tzinfo=UTC)
    assert forcing.issued_utc == datetime(2026, 12, 23, 22, tzinfo=UTC)


def test_the_coldest_hour_is_the_measured_one():
    # Read in the TMY3 file: -6 °C at 06:00 PST of 23 December 1998, dew point -11 °C, calm, no cloud.
    forcing = demo_forcing()
    spot = int(np.searchsorted(forcing.time_utc, np.datetime64("2026-12-23T14:00:00")))

    assert forcing.t_air_c[0, spot] == forcing.t_air_c[0].min() == -6.0
    assert forcing.t_dew_c[0, spot] == -11.0
    assert forcing.wind_m_s[0, spot] == 0.0
    assert forcing.cloud[0, spot] == 0.0


def test_the_source_tells_what_it_is():
    source = demo_forcing().source
    assert source == "March AFB, California, December 1998 (TMY3, NREL), played back as if it were a forecast"


def test_another_evening_of_the_spell_can_be_played():
    later = demo_forcing(demo_now() + timedelta(days=1))

    assert later.issued_utc == datetime(2026, 12, 24, 22, tzinfo=UTC)
    assert later.n_history == 10 * 24 + 1


@pytest.mark.parametrize("moment", [datetime(2026, 12, 1, tzinfo=UTC), datetime(2027, 1, 3, tzinfo=UTC)])
def test_a_moment_outside_the_spell_is_refused(moment):
    with pytest.raises(ValueError, match="now must lie within 11 and 30 December 2026"):
        demo_forcing(moment)


def test_the_place_is_the_air_base():
    forcing = demo_forcing()
    assert (forcing.latitude_deg, forcing.longitude_deg, forcing.elevation_m) == (33.9, -117.25, 462.0)


def test_two_winters_of_real_hours_lie_before_it():
    first, second = demo_winters()

    for winter, autumn in ((first, 2024), (second, 2025)):
        assert winter.start_utc == datetime(autumn, 11, 1, 9, tzinfo=UTC)
        assert winter.end_utc == datetime(autumn + 1, 4, 1, 7, tzinfo=UTC)
        assert winter.n_members == 1
        assert winter.n_history == winter.n_times == 3623
    # Read in the TMY3 files: -3 °C, at Thermal on 7 January 1998 and at Riverside on 22 December 1998.
    assert first.t_air_c.min() == second.t_air_c.min() == -3.0
    assert not np.array_equal(first.t_air_c, second.t_air_c)


def test_where_months_of_two_stations_meet_there_is_no_step():
    for winter in demo_winters():
        local = winter.time_utc - np.timedelta64(8, "h")
        steps = np.abs(np.diff(winter.t_air_c[0]))
        seams = (local[1:].astype("datetime64[M]") != local[:-1].astype("datetime64[M]")).nonzero()[0]
        # No larger than what an ordinary sunrise does.
        assert steps[seams].max() < np.quantile(steps, 0.98)
