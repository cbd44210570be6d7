"""Hourly CSV files as growers write them, right and wrong."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.sources.csv_file import parse_hourly
from tests.weather.builders import YARD

NOW = datetime(2026, 12, 22, 22, 30, tzinfo=UTC)
HEADER = "time,t_air [C],dew_point [C],wind [m/s],cloud [%],ghi [W/m2],rain [mm]"


def read(text: str, **options):
    return parse_hourly(text, where="evening.csv", place=YARD, now=NOW, **options)


def rows(count: int = 24, *, header: str = HEADER, row: str = "{t},{air},-4,2,30,0,0", zone: str = "Z") -> str:
    start = np.datetime64("2026-12-22T20:00")
    lines = [row.format(t=f"{start + np.timedelta64(h, 'h')}{zone}", air=5 - h * 0.1, hour=h) for h in range(count)]
    return "\n".join([header, *lines]) + "\n"


def refused(text: str, **options) -> str:
    with pytest.raises(WeatherError) as caught:
        read(text, **options)
    message = str(caught.value)
    assert message.startswith("evening.csv")
    assert "\n" not in message
    return message


def test_a_plain_file_is_read():
    forcing = read(rows())

    assert forcing.n_times == 24
    assert forcing.t_air_c[0, :2].tolist() == pytest.approx([5.0, 4.9])
    assert forcing.cloud[0, 0] == pytest.approx(0.3)
    assert (forcing.latitude_deg, forcing.elevation_m) == (33.5, 300.0)
    assert forcing.source == "file evening.csv"


def test_units_of_the_header_are_turned_into_ours():
    text = rows(header="time,temp (F),rh [%],wind [mph],sky_cover [oktas],precip [in]", row="{t},28.4,50,10,4,0.1")
    forcing = read(text)

    assert forcing.t_air_c[0, 0] == pytest.approx(-2.0)
    assert forcing.wind_m_s[0, 0] == pytest.approx(4.4704)
    assert forcing.cloud[0, 0] == pytest.approx(0.5)
    assert forcing.rain_mm[0, 0] == pytest.approx(2.54)
    # FAO-56 eq. 11 turned round at -2 °C and half saturation.
    assert forcing.t_dew_c[0, 0] == pytest.approx(-11.0, abs=0.1)


def test_comment_lines_tell_place_issue_and_source():
    head = (
        "# source: the radio\n# latitude: 34.1\n# longitude: -116.9\n# elevation: 1000 ft\n"
        "# wind height: 2 m\n# issued: 2026-12-22T14:00-08:00\n# just a remark: with a colon\n"
    )
    forcing = read(head + rows())

    assert forcing.source == "the radio"
    assert (forcing.latitude_deg, forcing.longitude_deg) == (34.1, -116.9)
    assert forcing.elevation_m == pytest.approx(304.8)
    assert forcing.wind_height_m == 2.0
    assert forcing.issued_utc == datetime(2026, 12, 22, 22, tzinfo=UTC)


def test_without_an_issue_line_the_first_hour_counts_and_a_warning_says_so():
    forcing = read(rows())
    assert forcing.issued_utc == datetime(2026, 12, 22, 20, tzinfo=UTC)
    assert any("does not say when it was made" in warning for warning in forcing.warnings)


def test_semicolons_and_decimal_commas_are_understood():
    header = HEADER.replace(",", ";")
    forcing = read(rows(header=header, row="{t};-1,5;-4,25;2,0;30;0;0"))

    assert forcing.t_air_c[0, 0] == -1.5
    assert forcing.t_dew_c[0, 0] == -4.25


def test_a_file_saved_by_a_spreadsheet_with_a_byte_order_mark_and_blank_lines_is_read(tmp_path):
    from fruitwall.weather.table import read_text

    path = tmp_path / "evening.csv"
    path.write_bytes(b"\xef\xbb\xbf" + rows().replace("\n", "\r\n").encode() + b"\r\n,,,,,,\r\n")

    assert read(read_text(path)).n_times == 24


def test_members_become_an_ensemble():
    header = "time,member,t_air [C]"
    both = rows(header=header, row="{t},1,{air}") + rows(header="", row="{t},0,0").lstrip()
    forcing = read(both)

    assert forcing.n_members == 2
    assert forcing.t_air_c[:, 0].tolist() == [0.0, 5.0]


def test_members_with_other_hours_are_refused():
    header = "time,member,t_air [C]"
    text = rows(header=header, row="{t},1,{air}") + rows(23, header="", row="{t},2,0").lstrip()
    assert "member 2 has 23 hours that are not those of member 1 (24)" in refused(text)


# ---------------------------------------------------------------- what is missing


def test_only_temperature_is_needed_and_every_stand_in_is_told():
    forcing = read(rows(header="time,t_air [C]", row="{t},{air}"))

    assert (forcing.t_dew_c <= forcing.t_air_c).all()
    assert (forcing.wind_m_s == 1.0).all()
    assert (forcing.cloud == 0.0).all()
    assert forcing.shortwave_w_m2.max() > 300
    said = " ".join(forcing.warnings)
    for word in ("no humidity", "no wind", "no cloud", "no sun", "no rain"):
        assert word in said


def test_cloud_is_inferred_from_sun():
    forcing = read(rows(30, header="time,t_air [C],ghi [W/m2]", row="{t},{air},0"))
    assert any("inferred from the sun" in warning for warning in forcing.warnings)
    assert forcing.cloud[0, 0] == 1.0  # no sun at noon


def test_a_missing_hour_is_refused_by_its_neighbours():
    lines = rows().splitlines()
    del lines[5]
    message = refused("\n".join(lines))
    assert "1 hour is missing between 2026-12-22 23:00 UTC and 2026-12-23 01:00 UTC" in message


@pytest.mark.parametrize("cell", ["", "NaN", "nan", "NA", "null"])
def test_a_missing_value_is_refused_by_name_and_hour(cell):
    lines = rows().splitlines()
    lines[3] = lines[3].replace(",-4,", f",{cell},")
    assert "the dew point is missing at 2026-12-22 22:00 UTC" in refused("\n".join(lines))


def test_a_double_hour_is_refused():
    lines = rows().splitlines()
    lines.insert(5, lines[4])
    assert "2026-12-22 23:00 UTC stands twice" in refused("\n".join(lines))


def test_hours_out_of_order_are_refused():
    lines = rows().splitlines()
    lines[4], lines[6] = lines[6], lines[4]
    assert "goes back in time" in refused("\n".join(lines))


def test_quarter_hours_are_refused():
    text = rows(header="time,t_air [C]", row="{t},{air}").replace("21:00Z", "20:15Z")
    assert "is not a whole hour after" in refused(text)


# ---------------------------------------------------------------- what is wrong


def test_a_header_without_unit_is_refused_with_an_example():
    message = refused(rows(header="time,t_air,dew_point [C],wind [m/s],cloud [%],ghi [W/m2],rain [mm]"))
    assert 'the column "t_air" has no unit; write it in the header as in "t_air [C]"' in message


def test_an_unknown_unit_is_refused_with_those_that_fit():
    message = refused(rows(header=HEADER.replace("[m/s]", "[Bft]")))
    assert '"Bft" is no unit of wind; known are m/s, km/h, mph, kn' in message


def test_a_misspelt_column_is_refused_with_the_right_name():
    assert 'did you mean "dew_point"?' in refused(rows(header=HEADER.replace("dew_point", "dew_piont")))


def test_a_foreign_column_is_left_out_and_told():
    forcing = read(rows(header="time,t_air [C],barometer [hPa]", row="{t},{air},1013"))
    assert any("columns not used: barometer [hPa]" in warning for warning in forcing.warnings)


def test_two_columns_of_one_kind_are_refused():
    message = refused(rows(header="time,t_air [C],temperature [F]", row="{t},1,34"))
    assert 'the columns "t_air [C]" and "temperature [F]" mean the same' in message


def test_fahrenheit_values_under_a_celsius_header_are_refused():
    assert "is it in °F" in refused(rows(row="{t},72,60,2,30,0,0"))


def test_percent_under_a_share_header_is_refused():
    assert "a share of the sky is meant" in refused(rows(header=HEADER.replace("cloud [%]", "cloud [share]")))


def test_a_word_in_a_cell_is_refused_with_line_and_column():
    text = rows().replace("Z,4.8,", "Z,cold,")
    assert 'evening.csv line 4, t_air [C]: expected a number such as -2.5, got "cold"' in refused(text)


def test_a_row_with_too_few_fields_is_refused_by_its_line():
    text = rows() + "2026-12-23T20:00Z,1\n"
    assert "evening.csv line 26: 2 fields, but the header has 7" in refused(text)


@pytest.mark.parametrize("text", ["", "# only: a comment\n"])
def test_an_empty_file_is_refused(text):
    assert "the file is empty" in refused(text)


def test_a_header_alone_is_refused():
    assert "no rows below the header" in refused(HEADER)


def test_a_file_that_is_no_weather_is_refused_with_an_example():
    assert 'no column "time" in the header; expected one such as "time, t_air [C]' in refused("a,b\n1,2\n")


def test_a_place_in_part_is_refused():
    assert '"# latitude:" and "# longitude:" belong together' in refused("# latitude: 33.9\n" + rows())


def test_an_unreadable_elevation_is_refused():
    assert 'expected a number in the line "# elevation: ..."' in refused("# elevation: high up\n" + rows())


# ---------------------------------------------------------------- time zones


LOCAL = "# time zone: America/Los_Angeles\n"


def local_rows(*stamps: str) -> str:
    return LOCAL + "time,t_air [C]\n" + "".join(f"{stamp},5\n" for stamp in stamps)


def test_times_without_zone_are_refused_with_two_ways_to_mend_it():
    message = refused(rows(zone=""))
    assert 'the time "2026-12-22T20:00" has no time zone' in message
    assert "# time zone: America/Los_Angeles" in message


def test_a_named_zone_is_applied():
    forcing = read(local_rows("2026-12-22 12:00", "2026-12-22 13:00"))
    assert forcing.start_utc == datetime(2026, 12, 22, 20, tzinfo=UTC)


def test_an_unknown_zone_is_refused():
    assert 'no time zone is named "Pacific"' in refused(rows().join(["# time zone: Pacific\n", ""]))


def test_the_hour_that_summer_time_skips_is_refused():
    message = refused(local_rows("2026-03-08 01:00", "2026-03-08 02:00", "2026-03-08 03:00"))
    assert "2026-03-08 02:00 does not exist in America/Los_Angeles" in message


def test_hours_around_the_skipped_one_follow_each_other():
    forcing = read(local_rows("2026-03-08 01:00", "2026-03-08 03:00", "2026-03-08 04:00"))
    assert np.diff(forcing.time_utc).astype(int).tolist() == [3600, 3600]


def test_the_hour_that_winter_time_repeats_is_told_apart_by_order():
    forcing = read(local_rows("2026-11-01 00:00", "2026-11-01 01:00", "2026-11-01 01:00", "2026-11-01 02:00"))
    assert forcing.n_times == 4
    assert forcing.start_utc == datetime(2026, 11, 1, 7, tzinfo=UTC)


def test_a_file_that_drops_the_repeated_hour_misses_an_hour():
    message = refused(local_rows("2026-11-01 00:00", "2026-11-01 01:00", "2026-11-01 02:00"))
    assert "1 hour is missing between 2026-11-01 08:00 UTC and 2026-11-01 10:00 UTC" in message


@pytest.mark.parametrize("stamp", ["2026-12-22", "tomorrow", "22/12/2026 18:00"])
def test_a_stamp_that_is_no_time_is_refused_with_an_example(stamp):
    assert f'"{stamp}" is no date and time; expected "2026-12-22T18:00-08:00"' in refused(local_rows(stamp, stamp))


def test_half_hour_zones_are_read():
    forcing = read("# time zone: Asia/Kolkata\ntime,t_air [C]\n2026-12-22 12:00,5\n2026-12-22 13:00,5\n")
    assert forcing.start_utc == datetime(2026, 12, 22, 6, 30, tzinfo=UTC)
