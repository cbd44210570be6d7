"""Files of public archives: what is in them is read, what is wrong with them is named with place and mend."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import numpy as np
import pytest

from fruitwall.errors import WeatherError
from fruitwall.weather.archive.reading import read_archive, read_record
from fruitwall.weather.archive.record import DailyRecord, HourlyRecord
from fruitwall.weather.place import Place

HERE = Place(29.7, -82.3, 40.0)
SHASTA = Path(__file__).parents[3] / "bench" / "data" / "mount_shasta_isd_lite" / "725957.gz"


def kept(tmp_path: Path, name: str, text: str | bytes) -> Path:
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def refused(path: Path, place: Place | None = HERE) -> str:
    with pytest.raises(WeatherError) as caught:
        read_archive([path], place=place)
    return str(caught.value)


# ---------------------------------------------------------------- GHCN-Daily


def dly(element: str, values: dict[int, tuple[int, str]], month: str = "201001") -> str:
    """One line as section III of NOAA's readme has it: value of 5, flags of measurement, quality, source."""
    cells = [values.get(day, (-9999, " ")) for day in range(1, 32)]
    return f"USW00012816{month}{element}" + "".join(f"{value:5d} {quality}W" for value, quality in cells) + "\n"


def test_a_dly_file_is_read_in_tenths_and_its_quality_flags_are_kept_to(tmp_path):
    lows = {day: (-50 + day, " ") for day in range(1, 32)} | {9: (-400, "I")}
    text = dly("TMIN", lows) + dly("TMAX", dict.fromkeys(range(1, 32), (100, " ")))
    text += dly("PRCP", {3: (127, " ")}) + dly("AWND", {3: (31, " ")}) + dly("SNOW", {3: (5, " ")})
    record = read_record(kept(tmp_path, "any.txt", text), place=HERE)

    assert isinstance(record, DailyRecord)
    assert (record.dates[0], record.dates[-1]) == (np.datetime64("2010-01-01"), np.datetime64("2010-01-31"))
    assert record.values["t_min_c"][:3].tolist() == pytest.approx([-4.9, -4.8, -4.7])
    assert np.isnan(record.values["t_min_c"][8])
    assert (record.values["rain_mm"][2], record.values["wind_m_s"][2]) == pytest.approx((12.7, 3.1))
    assert [str(note) for note in record.notes] == ["values that failed NOAA's quality checks are left out: 1"]
    assert "USW00012816" in record.source


def test_a_month_has_as_many_days_as_it_has(tmp_path):
    text = dly("TMIN", dict.fromkeys(range(1, 32), (10, " ")), "201002")
    record = read_record(kept(tmp_path, "a.dly", text), place=HERE)
    assert record.dates[-1] == np.datetime64("2010-02-28")


def test_the_list_of_stations_beside_the_file_tells_the_place(tmp_path):
    listed = f"{'USW00012816':11} {29.6919:8.4f} {-82.2756:9.4f} {37.5:6.1f} FL GAINESVILLE RGNL AP\n"
    kept(tmp_path, "ghcnd-stations.txt", listed)
    record = read_record(kept(tmp_path, "a.dly", dly("TMIN", {1: (10, " ")})), place=None)
    assert record.place == Place(29.6919, -82.2756, 37.5)
    assert record.source == "GHCN-Daily (NOAA), station USW00012816 GAINESVILLE RGNL AP, daily"


def test_the_table_by_station_puts_a_maximum_read_in_the_morning_on_the_day_before(tmp_path):
    rows = ["ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"]
    for day in range(10, 13):
        rows += [f"USC00083321,201001{day},TMIN,{day},,,0,0700", f"USC00083321,201001{day},TMAX,{200 + day},,,0,0700"]
    record = read_record(kept(tmp_path, "s.csv", "\n".join(rows)), place=HERE)
    assert record.dates.tolist()[0].isoformat() == "2010-01-09"
    assert record.values["t_max_c"][:3].tolist() == pytest.approx([21.0, 21.1, 21.2])
    assert record.values["t_min_c"][1:].tolist() == pytest.approx([1.0, 1.1, 1.2])


WIDE = "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n"


def test_the_daily_summaries_tell_their_own_place_and_units(tmp_path):
    tenths = WIDE + 'USW1,2010-01-11,29.7,-82.3,40,"A, FL US","  206",",,W","   -6",",,W"\n'
    tenths += 'USW1,2010-01-12,29.7,-82.3,40,"A, FL US","  211",",,W"," -350",",G,W"\n'
    record = read_record(kept(tmp_path, "a.csv", tenths), place=None)
    assert record.place == HERE
    assert record.values["t_max_c"].tolist() == pytest.approx([20.6, 21.1])
    assert record.values["t_min_c"][0] == pytest.approx(-0.6)
    assert np.isnan(record.values["t_min_c"][1])

    metric = WIDE + 'USW1,2010-01-11,29.7,-82.3,40,A,20.6,",,W",-0.6,",,W"\n'
    assert read_record(kept(tmp_path, "b.csv", metric), place=None).values["t_max_c"][0] == pytest.approx(20.6)

    days = np.arange(np.datetime64("2010-01-01"), np.datetime64("2011-01-01"))
    fahrenheit = WIDE + "".join(f'USW1,{day},29.7,-82.3,40,A,69,",,W",31,",,W"\n' for day in days)
    assert read_record(kept(tmp_path, "c.csv", fahrenheit), place=None).values["t_min_c"][0] == pytest.approx(-5 / 9)

    unclear = WIDE + 'USW1,2010-01-11,29.7,-82.3,40,A,69,",,W",31,",,W"\n'
    assert "cannot be told whether temperatures are tenths of °C or °F" in refused(kept(tmp_path, "d.csv", unclear))


def test_what_is_wrong_with_a_station_file_is_named_with_its_line(tmp_path):
    good = dly("TMIN", {1: (10, " ")})
    assert "a.dly line 2: no line of a .dly file" in refused(kept(tmp_path, "a.dly", good + "garbage\n"))
    assert "name the place" in refused(kept(tmp_path, "b.dly", good), place=None)
    assert "no lowest and highest temperature" in refused(kept(tmp_path, "c.dly", dly("PRCP", {1: (10, " ")})))
    assert "no 60 days on end" in refused(kept(tmp_path, "d.dly", good + dly("TMAX", {1: (90, " ")})))


# ---------------------------------------------------------------- ISD-Lite


def test_isd_lite_hours_are_read_packed_or_not(tmp_path):
    text = "2015 11 03 00   -11   -44 10170   280    21     9    -1 -9999\n"
    text += "2015 11 03 01 -9999 -9999 -9999 -9999 -9999     2     5 -9999\n"
    for path in (kept(tmp_path, "a", text), kept(tmp_path, "a.gz", gzip.compress(text.encode()))):
        record = read_record(path, place=HERE)
        assert isinstance(record, HourlyRecord)
        assert record.time_utc[0] == np.datetime64("2015-11-03T00:00:00")
        first = {name: float(values[0]) for name, values in record.values.items()}
        assert first == pytest.approx({"t_air_c": -1.1, "t_dew_c": -4.4, "wind_m_s": 2.1, "cloud": 1.0, "rain_mm": 0.0})
        assert np.isnan(record.values["t_air_c"][1])
        assert (record.values["cloud"][1], record.values["rain_mm"][1]) == (0.25, 0.5)
    assert "a.gz: the packed file is cut short" in refused(
        kept(tmp_path, "a.gz", gzip.compress(text.encode())[:-9])
    ).replace(str(tmp_path) + "/", "")


def test_an_impossible_date_is_named(tmp_path):
    line = "2015 13 03 00   -11   -44 10170   280    21     9    -1 -9999\n"
    assert "a line 1: no such date or hour" in refused(kept(tmp_path, "a", line))
    power = POWER + "YEAR,MO,DY,HR,T2M\n2020,13,1,0,1\n"
    assert "MO holds an impossible number" in refused(kept(tmp_path, "b.csv", power))
    table = OPEN_METEO + "time,temperature_2m (°C)\n2020-01-01T00:00Z,1\n"
    assert "a time with an offset of its own" in refused(kept(tmp_path, "c.csv", table))


def test_real_hours_of_two_winters_become_two_pieces_whose_holes_are_filled():
    pieces = read_archive([SHASTA], place=Place(41.33, -122.33, 1080.0))
    assert [f"{one.start_utc:%Y-%m}" for one in pieces] == ["2015-10", "2016-10"]
    assert any("missing hours of air temperature that were filled in" in note for note in pieces[0].warnings)
    assert any("% of the hours were drawn" in note for note in pieces[0].warnings)
    assert pieces[0].t_air_c.min() == pytest.approx(-12.2, abs=3.0)
    assert (pieces[0].t_dew_c <= pieces[0].t_air_c).all()


def test_files_of_one_station_are_put_together_and_others_are_refused(tmp_path):
    lines = gzip.decompress(SHASTA.read_bytes()).decode().splitlines()[:4000]
    parts = [kept(tmp_path, "b", "\n".join(lines[2000:])), kept(tmp_path, "a", "\n".join(lines[:2100]))]
    together = read_archive(parts, place=HERE)
    whole = read_archive([kept(tmp_path, "c", "\n".join(lines))], place=HERE)
    assert [one.n_times for one in together] == [one.n_times for one in whole]
    daily = kept(tmp_path, "d.csv", "date,t_min [C],t_max [C]\n2015-01-01,1,2\n")
    with pytest.raises(WeatherError, match=r"a and d\.csv: one is hourly, the other daily"):
        read_archive([parts[1], daily], place=HERE)


# ---------------------------------------------------------------- reanalyses as tables

OPEN_METEO = """latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation
33.8,-117.3,462.0,-28800,America/Los_Angeles,GMT-8

"""


def test_open_meteos_table_is_read_by_the_hour_and_by_the_day(tmp_path):
    hourly = (
        "time,temperature_2m (°F),dew_point_2m (°F),wind_speed_10m (km/h),cloud_cover (%),weather_code (wmo code)\n"
    )
    hourly += "2020-01-01T00:00,50,41,7.2,25,1\n2020-01-01T01:00,NaN,41,7.2,25,1\n"
    daily = "time,temperature_2m_max (°C),temperature_2m_min (°C),precipitation_sum (mm)\n2020-01-01,15.5,2.5,1.2\n"
    record = read_record(kept(tmp_path, "a.csv", OPEN_METEO + hourly + "\n" + daily), place=None)
    assert isinstance(record, HourlyRecord)
    assert record.place == Place(33.8, -117.3, 462.0)
    assert record.time_utc[0] == np.datetime64("2020-01-01T08:00:00")
    first = {name: float(values[0]) for name, values in record.values.items()}
    assert first == pytest.approx({"t_air_c": 10.0, "t_dew_c": 5.0, "wind_m_s": 2.0, "cloud": 0.25})

    by_day = read_record(kept(tmp_path, "b.csv", OPEN_METEO + daily), place=None)
    assert isinstance(by_day, DailyRecord)
    assert (by_day.values["t_min_c"][0], by_day.values["t_max_c"][0], by_day.values["rain_mm"][0]) == (2.5, 15.5, 1.2)
    assert "export temperature_2m" in refused(
        kept(tmp_path, "c.csv", OPEN_METEO + "time,rain (mm)\n2020-01-01T00:00,1\n")
    )
    assert 'c.csv line 5: expected a number, got "x"' in refused(
        kept(tmp_path, "c.csv", OPEN_METEO + "time,temperature_2m (°C)\n2020-01-01T00:00,x\n")
    )


POWER = """-BEGIN HEADER-
NASA/POWER CERES/MERRA2 Native Resolution Hourly Data
Dates (month/day/year): 01/01/2020 through 01/02/2020 in LST
Location: latitude  33.9   longitude -117.25
Elevation from MERRA-2: Average for 0.5 x 0.625 degree lat/lon region = 480.5 meters
The value for missing source data that cannot be computed or is outside of the sources availability range: -999
Parameter(s):
T2M                   MERRA-2 Temperature at 2 Meters (C)
-END HEADER-
"""


def test_nasa_power_is_read_by_the_hour_and_by_the_day(tmp_path):
    text = POWER + "YEAR,MO,DY,HR,T2M,T2MDEW,WS2M,ALLSKY_SFC_SW_DWN\n2020,1,1,5,3.5,1.25,2.0,-999\n"
    record = read_record(kept(tmp_path, "a.csv", text), place=None)
    assert isinstance(record, HourlyRecord)
    assert (record.place, record.wind_height_m) == (Place(33.9, -117.25, 480.5), 2.0)
    assert record.time_utc[0] == np.datetime64("2020-01-01T14:00:00")  # the hour from 5 to 6, eight zones west
    assert (record.values["t_air_c"][0], record.values["t_dew_c"][0]) == (3.5, 1.25)
    assert np.isnan(record.values["shortwave_w_m2"][0])

    daily = POWER + "YEAR,DOY,T2M_MAX,T2M_MIN\n2020,32,15.0,2.0\n"
    by_day = read_record(kept(tmp_path, "b.csv", daily), place=None)
    assert isinstance(by_day, DailyRecord)
    assert by_day.dates[0] == np.datetime64("2020-02-01")
    assert "no end" in refused(kept(tmp_path, "c.csv", POWER.replace("-END HEADER-\n", "")))
    assert "ask for T2M" in refused(kept(tmp_path, "c.csv", POWER + "YEAR,MO,DY,HR,PS\n2020,1,1,0,1\n"))
    assert "c.csv line 11: too few fields" in refused(
        kept(tmp_path, "c.csv", POWER + "YEAR,MO,DY,HR,T2M\n2020,1,1,0\n")
    )


# ---------------------------------------------------------------- NetCDF

HOURS = 72


def classic(**more: np.ndarray) -> bytes:
    """A classic file as ECMWF names things, packed as 16-bit numbers, two by two points."""
    from scipy.io import netcdf_file

    buffer = io.BytesIO()
    with netcdf_file(buffer, "w") as file:
        for name, values in (
            ("time", np.arange(HOURS) + 1051896),  # hours since 1900: 2020-01-01
            ("latitude", np.array([34.0, 33.75])),
            ("longitude", np.array([242.5, 242.75])),
        ):
            file.createDimension(name, values.size)
            file.createVariable(name, "i" if name == "time" else "f", (name,))[:] = values
        file.variables["time"].units = "hours since 1900-01-01 00:00:00.0"
        axes = ("time", "latitude", "longitude")
        air = file.createVariable("t2m", "h", axes)
        air.scale_factor, air.add_offset, air._FillValue = 0.01, 273.15, np.int16(-32767)
        packed = np.zeros((HOURS, 2, 2), dtype=np.int16)
        packed[:, 1, 1] = 250
        packed[5, 1, 1] = -32767
        air[:] = packed
        for name, series in more.items():
            file.createVariable(name, "f", axes)[:] = np.broadcast_to(series[:, None, None], (HOURS, 2, 2))
        file.flush()
        return buffer.getvalue()


def test_a_classic_netcdf_gives_the_nearest_point_in_our_units(tmp_path):
    ones = np.ones(HOURS)
    body = classic(d2m=280.0 * ones, u10=3.0 * ones, v10=4.0 * ones, tcc=0.5 * ones)
    record = read_record(kept(tmp_path, "era.nc", body), place=Place(33.8, -117.2, 462.0))
    assert isinstance(record, HourlyRecord)
    assert record.place == Place(33.75, -117.25, 462.0)
    assert record.time_utc[0] == np.datetime64("2020-01-01T00:00:00")
    assert record.values["t_air_c"][0] == pytest.approx(2.5, abs=1e-4)  # the scale is kept in single precision
    assert np.isnan(record.values["t_air_c"][5])
    assert record.values["t_dew_c"][0] == pytest.approx(2.5, abs=1e-4)  # 6.85 °C is above the air
    assert (record.values["wind_m_s"][0], record.values["cloud"][0]) == pytest.approx((5.0, 0.5))
    assert "name the place" in refused(tmp_path / "era.nc", place=None)


def test_sums_from_midnight_are_taken_apart_and_hourly_ones_are_not(tmp_path):
    hour = np.arange(HOURS)
    sun = np.where((hour % 24 > 6) & (hour % 24 <= 17), 100.0, 0.0)  # W/m² of the hour that ends
    of_day = (hour - 1) // 24
    summed = np.array([sun[(of_day == of_day[h]) & (hour <= h)].sum() for h in hour])
    at = Place(33.8, -117.2, 462.0)
    for name, given in (("land.nc", summed), ("era.nc", sun)):
        record = read_record(kept(tmp_path, name, classic(ssrd=given * 3600.0)), place=at)
        assert record.values["shortwave_w_m2"][1:] == pytest.approx(sun[1:], abs=0.01)


def test_a_netcdf_of_today_is_read_too(tmp_path):
    import h5py

    path = tmp_path / "era5.nc"
    with h5py.File(path, "w") as file:
        time = file.create_dataset("valid_time", data=np.arange(3) * 3600 + 1577836800)
        time.attrs["units"] = np.bytes_("seconds since 1970-01-01")
        time.make_scale("valid_time")
        air = file.create_dataset("t2m", data=np.array([[[280.15]], [[281.15]], [[282.15]]], dtype="f4"))
        air.dims[0].attach_scale(time)
        for axis, (name, value) in enumerate((("latitude", 33.75), ("longitude", -117.25)), start=1):
            scale = file.create_dataset(name, data=np.array([value]))
            scale.make_scale(name)
            air.dims[axis].attach_scale(scale)
    record = read_record(path, place=HERE)
    assert record.values["t_air_c"] == pytest.approx([7.0, 8.0, 9.0], abs=1e-4)
    assert record.time_utc[0] == np.datetime64("2020-01-01T00:00:00")


def test_a_damaged_or_strange_netcdf_is_refused(tmp_path):
    assert "cannot be read; download it again" in refused(kept(tmp_path, "a.nc", classic()[:200]))
    assert "cannot be read; download it again" in refused(kept(tmp_path, "b.nc", b"\x89HDF\r\n\x1a\nnothing"))
    body = bytearray(classic())
    body[body.index(b"add_offset") + 12 : body.index(b"add_offset") + 16] = b"\0\0\0\0"  # a type that does not exist
    assert "cannot be read; download it again" in refused(kept(tmp_path, "d.nc", bytes(body)))
    assert "no variable t2m" in refused(kept(tmp_path, "c.nc", classic().replace(b"t2m", b"t9m")))


# ---------------------------------------------------------------- the documented CSV


def test_the_documented_csv_may_have_holes_here(tmp_path):
    days = np.arange(np.datetime64("2010-10-01"), np.datetime64("2011-04-01"))
    rows = [f"{day},{4 + n % 3},{15 + n % 4}" for n, day in enumerate(days) if n not in (50, 51)]
    pieces = read_archive([kept(tmp_path, "a.csv", "date,t_min [C],t_max [C]\n" + "\n".join(rows))], place=HERE)
    assert len(pieces) == 1
    assert "missing days that were bridged by straight lines: 2" in [str(note) for note in pieces[0].warnings]

    holed = [row for n, row in enumerate(rows) if not 80 <= n < 90]
    pieces = read_archive([kept(tmp_path, "b.csv", "date,t_min [C],t_max [C]\n" + "\n".join(holed))], place=HERE)
    assert len(pieces) == 2
    assert "no such column" not in refused(kept(tmp_path, "c.csv", "date,t_min [C]\n2010-10-01,4\n"))
    assert 'no column such as "t_max [C]"' in refused(tmp_path / "c.csv")
    assert 'c.csv line 2: "yesterday" is no date' in refused(
        kept(tmp_path, "c.csv", "date,t_min [C],t_max [C]\nyesterday,4,5\n")
    )
