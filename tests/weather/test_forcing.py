from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from fruitwall.weather.forcing import RANGES, VARIABLES, Forcing
from tests.weather.builders import START, hours, some_forcing

HOUR = np.timedelta64(3600, "s")


def with_value(name: str, value: float, *, at: int = 5) -> dict[str, np.ndarray]:
    values = np.array(getattr(some_forcing(), name))
    values[0, at] = value
    return {name: values}


@pytest.mark.parametrize("name", VARIABLES)
@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_a_missing_value_is_refused_by_name_and_hour(name, value):
    with pytest.raises(ValueError, match=rf"{name} must be known everywhere, got .* at 2026-12-23 01:00 UTC"):
        some_forcing(**with_value(name, value))


@pytest.mark.parametrize("name", VARIABLES)
def test_a_value_outside_its_range_is_refused_with_range_and_value(name):
    low, high, *_ = RANGES[name]
    for wrong in (low - 1.0, high + 1.0):
        with pytest.raises(ValueError, match=rf"{name} must be at least {low:g} and at most {high:g}") as caught:
            some_forcing(**with_value(name, wrong))
        assert f"{wrong:g} at 2026-12-23 01:00 UTC" in str(caught.value)


def test_fahrenheit_in_a_celsius_column_is_refused_with_a_hint():
    with pytest.raises(ValueError, match="is it in °F"):
        some_forcing(t_air_c=np.full((1, 48), 72.0))


def test_percent_of_cloud_is_refused_with_a_hint():
    with pytest.raises(ValueError, match="a share of the sky is meant, not percent"):
        some_forcing(cloud=np.full((1, 48), 40.0))


def test_the_member_with_the_wrong_value_is_named():
    values = np.full((3, 48), 2.0)
    values[1, 0] = -1.0
    with pytest.raises(ValueError, match=r"in member 1"):
        some_forcing(members=3, wind_m_s=values)


def test_a_hole_in_time_is_refused_by_its_hours():
    times = np.delete(hours(49), 10)
    with pytest.raises(ValueError, match="2026-12-23 05:00 UTC followed by 2026-12-23 07:00 UTC"):
        some_forcing(time_utc=times)


def test_times_that_are_no_datetimes_are_refused():
    with pytest.raises(ValueError, match="time_utc must be a one-dimensional datetime64 array"):
        some_forcing(time_utc=np.arange(48.0))


def test_shapes_must_agree():
    with pytest.raises(ValueError, match="wind_m_s has 47 hours but time_utc has 48"):
        some_forcing(wind_m_s=np.full((1, 47), 2.0))
    with pytest.raises(ValueError, match="same number of members"):
        some_forcing(wind_m_s=np.full((2, 48), 2.0))
    with pytest.raises(ValueError, match=r"rain_mm must have the shape \(member, time\), got \(48,\)"):
        some_forcing(rain_mm=np.zeros(48))


def test_an_issue_time_without_zone_is_refused():
    with pytest.raises(ValueError, match="issued_utc needs a time zone"):
        some_forcing(issued_utc=datetime(2026, 12, 22, 20))


def test_the_issue_time_is_kept_in_utc():
    issued = datetime(2026, 12, 22, 12, tzinfo=timezone(timedelta(hours=-8)))
    assert some_forcing(issued_utc=issued).issued_utc == datetime(2026, 12, 22, 20, tzinfo=UTC)
    assert some_forcing(issued_utc=issued).issued_utc.tzinfo is UTC


@pytest.mark.parametrize(
    ("name", "value"), [("latitude_deg", 91.0), ("longitude_deg", np.nan), ("wind_height_m", 0.0), ("n_history", 49)]
)
def test_place_wind_height_and_history_have_ranges(name, value):
    with pytest.raises(ValueError, match=f"{name} must be at least"):
        some_forcing(**{name: value})


def test_a_dew_point_slightly_above_the_air_is_set_to_it():
    forcing = some_forcing(t_dew_c=np.full((1, 48), 1.0), t_air_c=np.full((1, 48), -1.5))

    assert (forcing.t_dew_c == -1.5).all()


def test_a_dew_point_far_above_the_air_is_refused():
    with pytest.raises(ValueError, match="are columns exchanged"):
        some_forcing(t_dew_c=np.full((1, 48), 3.0), t_air_c=np.full((1, 48), -1.5))


def test_arrays_cannot_be_changed_and_do_not_follow_their_makers():
    wind = np.full((1, 48), 2.0)
    forcing = some_forcing(wind_m_s=wind)
    wind[0, 0] = 9.0

    assert forcing.wind_m_s[0, 0] == 2.0
    for name in (*VARIABLES, "time_utc"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(forcing, name)[..., 0] = 0


def test_select_gives_both_limits_and_counts_history_anew():
    forcing = some_forcing(48, n_history=10)

    part = forcing.select(forcing.start_utc + timedelta(hours=4), forcing.start_utc + timedelta(hours=20))

    assert part.n_times == 17
    assert part.n_history == 6
    assert part.t_air_c[0].tolist() == forcing.t_air_c[0, 4:21].tolist()


def test_select_refuses_a_window_with_nothing_in_it():
    forcing = some_forcing(48)
    with pytest.raises(ValueError, match="must hold at least two hours of 2026-12-22 20:00 UTC"):
        forcing.select(forcing.end_utc + timedelta(days=1), forcing.end_utc + timedelta(days=2))


def test_a_member_is_a_forcing_of_its_own():
    air = np.stack([np.full(48, 3.0), np.full(48, 5.0)])
    forcing = some_forcing(48, members=2, t_air_c=air)

    assert forcing.member(1).n_members == 1
    assert forcing.member(1).t_air_c[0, 0] == 5.0
    with pytest.raises(ValueError, match="number must be at least 0 and at most 1, got 2"):
        forcing.member(2)


# ---------------------------------------------------------------- joined


def test_past_weather_stands_before_the_forecast_and_the_forecast_wins_where_both_are():
    past = some_forcing(48, start=START - 40 * HOUR, t_air_c=np.full((1, 48), 1.0), source="the past")
    forecast = some_forcing(24)

    joined = forecast.joined(past)

    assert joined.n_times == 64
    assert joined.n_history == 40
    assert (joined.t_air_c[0, :40] == 1.0).all()
    assert (joined.t_air_c[0, 40:] == forecast.t_air_c[0]).all()
    assert joined.source == "a test; before it the past"
    assert joined.issued_utc == forecast.issued_utc


def test_one_past_serves_all_members():
    joined = some_forcing(24, members=5).joined(some_forcing(24, start=START - 24 * HOUR))

    assert joined.t_air_c.shape == (5, 48)


def test_members_that_do_not_match_are_refused():
    with pytest.raises(ValueError, match="history must have 1 member or the forecast's 5, got 3"):
        some_forcing(24, members=5).joined(some_forcing(24, members=3, start=START - 24 * HOUR))


def test_three_missing_hours_between_past_and_forecast_are_bridged_by_a_line():
    past = some_forcing(24, start=START - 27 * HOUR, t_air_c=np.full((1, 24), 1.0), rain_mm=np.full((1, 24), 2.0))
    forecast = some_forcing(24, t_air_c=np.full((1, 24), 5.0))

    joined = forecast.joined(past)

    assert joined.t_air_c[0, 23:28].tolist() == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert joined.rain_mm[0, 24:27].tolist() == pytest.approx([1.5, 1.0, 0.5])
    assert any("3 h between past weather and forecast" in warning for warning in joined.warnings)


def test_four_missing_hours_are_refused():
    past = some_forcing(24, start=START - 28 * HOUR)
    with pytest.raises(ValueError, match="4 hours are missing between the history's last hour 2026-12-22 15:00 UTC"):
        some_forcing(24).joined(past)


def test_a_past_that_begins_with_the_forecast_is_refused():
    with pytest.raises(ValueError, match="nothing to put before it"):
        some_forcing(24).joined(some_forcing(24))


def test_wind_of_another_height_is_turned_to_the_forecasts():
    # FAO-56 example 14: 3.2 m/s at 10 m are 2.4 m/s at 2 m.
    past = some_forcing(24, start=START - 24 * HOUR, wind_m_s=np.full((1, 24), 2.4), wind_height_m=2.0)

    joined = some_forcing(24).joined(past)

    assert joined.wind_m_s[0, 0] == pytest.approx(3.2, abs=0.05)


def test_past_stamps_between_the_hours_are_interpolated():
    half = np.timedelta64(1800, "s")
    air = np.arange(24.0)[None, :]
    past = some_forcing(24, start=START - 24 * HOUR - half, t_air_c=air, t_dew_c=air - 10)

    joined = some_forcing(24).joined(past)

    assert joined.n_history == 24
    assert joined.t_air_c[0, 0] == pytest.approx(0.5)


def test_warnings_are_kept_once():
    forcing = some_forcing(warnings=("a",)).with_warnings("b", "a")
    assert forcing.warnings == ("a", "b")


def test_a_forcing_is_what_it_was_after_joining_and_cutting(rng):
    whole = some_forcing(72, t_air_c=rng.normal(5, 3, (1, 72)), t_dew_c=np.full((1, 72), -15.0))
    past, forecast = (
        whole.select(whole.start_utc, whole.start_utc + timedelta(hours=30)),
        whole.select(whole.start_utc + timedelta(hours=31), whole.end_utc),
    )

    joined = forecast.joined(past)

    assert isinstance(joined, Forcing)
    assert (joined.time_utc == whole.time_utc).all()
    assert (joined.t_air_c == whole.t_air_c).all()
