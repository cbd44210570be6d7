"""Past weather from files: hourly with gaps, and daily turned into hours."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fruitwall.errors import WeatherError
from fruitwall.weather import history
from fruitwall.weather.daily_curve import day_length, hourly_from_daily
from fruitwall.weather.history import parse_history, read_history
from tests.published import find_check
from tests.weather.builders import YARD

HEAD = "# latitude: 33.5\n# longitude: -117.0\n# elevation: 300 m\n"


def read(text: str, **options):
    return parse_history(text, where="past.csv", place=options.get("place"))


def refused(text: str) -> str:
    with pytest.raises(WeatherError) as caught:
        read(text)
    assert str(caught.value).startswith("past.csv")
    return str(caught.value)


def hourly(count: int = 30, *, without: tuple[int, ...] = ()) -> str:
    start = np.datetime64("2026-12-20T00:00")
    rows = [f"{start + np.timedelta64(h, 'h')}Z,{h}" for h in range(count) if h not in without]
    return HEAD + "time,t_air [C]\n" + "\n".join(rows)


def daily(days: int = 5, *, columns: str = "", cells: str = "") -> str:
    start = np.datetime64("2026-12-16")
    rows = [f"{start + d},{d},{15 + d}{cells}" for d in range(days)]
    return HEAD + f"date,t_min [C],t_max [C]{columns}\n" + "\n".join(rows)


def test_hourly_past_is_all_history(tmp_path):
    path = tmp_path / "past.csv"
    path.write_text(hourly())
    forcing = read_history(path)

    assert forcing.n_history == forcing.n_times == 30
    assert forcing.issued_utc == datetime(2026, 12, 21, 5, tzinfo=UTC)


def test_three_missing_hours_are_bridged_and_told():
    forcing = read(hourly(without=(5, 6, 7, 20)))

    assert forcing.n_times == 30
    assert forcing.n_history == 30
    assert forcing.t_air_c[0].tolist() == pytest.approx(list(range(30)))
    assert any("4 missing hours were bridged" in warning for warning in forcing.warnings)


def test_a_longer_hole_is_refused():
    assert "4 hours are missing between 2026-12-20 04:00 UTC and 2026-12-20 09:00 UTC" in refused(
        hourly(without=(5, 6, 7, 8))
    )


def test_a_file_without_place_asks_for_it():
    text = hourly().removeprefix(HEAD)
    assert 'Add the lines "# latitude: 33.9"' in refused(text)
    assert read(text, place=YARD).latitude_deg == YARD.latitude_deg


# ---------------------------------------------------------------- daily


def test_daily_extremes_become_hours_and_it_is_told():
    forcing = read(daily())

    assert any("Linvill 1990" in warning for warning in forcing.warnings)
    assert forcing.n_history == forcing.n_times
    local_day = (forcing.time_utc - np.timedelta64(int(117 / 15 * 3600), "s")).astype("datetime64[D]")
    for number in range(1, 5):
        of = forcing.t_air_c[0, local_day == np.datetime64("2026-12-16") + number]
        # Sampled at full hours, the curve's own extremes are missed by little.
        assert of.min() == pytest.approx(number, abs=0.5)
        assert of.max() == pytest.approx(15 + number, abs=0.3)


def test_wide_ranges_count_as_clear_days():
    clear = read(daily()).cloud.mean()
    start = np.datetime64("2026-12-16")
    dull = HEAD + "date,t_min [C],t_max [C]\n" + "\n".join(f"{start + d},8,11" for d in range(5))
    assert read(dull).cloud.mean() > clear + 0.3
    assert read(dull).shortwave_w_m2.mean() < 0.6 * read(daily()).shortwave_w_m2.mean()


def test_cloud_by_range_is_what_the_typical_years_show():
    from bench.fit_dressing_prior import cloud_by_range

    fitted = cloud_by_range()
    assert fitted["at_zero"] == pytest.approx(history.CLOUD_WITHOUT_RANGE, abs=0.005)
    assert fitted["per_k"] == pytest.approx(history.CLOUD_PER_K, abs=0.0005)
    assert fitted["days"] == 1050
    assert fitted["correlation"] == pytest.approx(-0.63, abs=0.005)


def test_given_means_and_rain_are_used():
    text = daily(columns=",dew_point [C],wind [km/h],cloud [%],rain [in]", cells=",-3,7.2,40,1")
    forcing = read(text)

    assert (forcing.t_dew_c <= forcing.t_air_c).all()
    assert forcing.t_dew_c.max() == -3.0
    assert forcing.wind_m_s[0, 5] == pytest.approx(2.0)
    assert forcing.cloud[0, 5] == pytest.approx(0.4)
    assert forcing.rain_mm[0, 24:48].sum() == pytest.approx(25.4)


def test_without_wind_two_metres_a_second_at_two_metres_are_taken():
    # FAO-56, ch. 3: 2 m/s at 2 m; 2.67 m/s at 10 m by eq. 47.
    assert read(daily()).wind_m_s[0, 0] == pytest.approx(2.67, abs=0.01)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("2026-12-18", "2026-12-19"), "the day 2026-12-19 does not follow 2026-12-17"),
        (("2026-12-18", "2026-12-17"), "the day 2026-12-17 stands twice"),
        (("2026-12-18", "18.12.2026"), '"18.12.2026" is no date'),
        (("2026-12-18,2,", "2026-12-18,,"), "t_min_c of 2026-12-18 is missing"),
        (("2026-12-18,2,", "2026-12-18,28,"), "t_min_c must not exceed t_max_c, got 28 and 17 on 2026-12-18"),
        (("t_max [C]", "t_max"), 'has no unit; write it in the header as in "t_max [C]"'),
        (("t_max [C]", "x [C]"), "a daily file needs both extremes"),
    ],
)
def test_daily_files_that_cannot_be_used_are_refused(change, words):
    assert words in refused(daily().replace(*change))


# ---------------------------------------------------------------- the curve


def test_the_curve_is_that_of_linvill():
    check = find_check("weather.yaml", "linvill-winter-day")
    dates = np.datetime64("2026-01-09") + np.arange(7)
    times, t_air = hourly_from_daily(
        dates, check.given("t_min_c"), check.given("t_max_c"), check.given("latitude_deg"), 0.0
    )

    for day in ("11", "12"):
        first = int(np.searchsorted(times, np.datetime64(f"2026-01-{day}T00:00")))
        # Mean solar time is UTC at longitude 0.
        assert t_air[first : first + 24] == check.approx(f"jan_{day}_hours_0_to_23")


def test_the_day_is_as_long_as_published():
    check = find_check("weather.yaml", "daylength")
    first = np.datetime64("2026-01-01")
    lengths = [
        day_length(first + int(day) - 1, latitude, 0.0)
        for day, latitude in zip(check.given("day_of_year"), check.given("latitude_deg"), strict=True)
    ]
    assert lengths == check.approx("daylength_h")


@given(
    latitude=st.floats(-80, 80),
    longitude=st.floats(-180, 180),
    minima=st.lists(st.floats(-20, 20), min_size=3, max_size=6),
    ranges=st.floats(0.1, 25),
    first=st.integers(0, 364),
)
def test_the_curve_stays_within_the_days_extremes(latitude, longitude, minima, ranges, first):
    dates = np.datetime64("2026-01-01") + first + np.arange(len(minima))
    low = np.array(minima)
    times, t_air = hourly_from_daily(dates, low, low + ranges, latitude, longitude)

    assert (np.diff(times) == np.timedelta64(3600, "s")).all()
    assert np.isfinite(t_air).all()
    assert t_air.max() <= (low + ranges).max() + 1e-9
    # An evening is drawn towards the next morning, so it may pass below its own day's minimum, not below both.
    assert t_air.min() >= low.min() - 1e-9


def test_the_next_minimum_is_reached_at_sunrise_and_the_curve_has_no_step():
    dates = np.datetime64("2026-12-16") + np.arange(4)
    low, high = np.array([0.0, -4.0, 3.0, 1.0]), np.array([15.0, 12.0, 18.0, 9.0])
    times, t_air = hourly_from_daily(dates, low, high, 33.5, -117.0)

    assert np.abs(np.diff(t_air)).max() < 6.0
    assert t_air.min() == pytest.approx(-4.0, abs=0.6)
    assert times[t_air.argmin()].astype("datetime64[D]") == np.datetime64("2026-12-17")
