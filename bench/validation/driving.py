"""Reading the committed series and turning them into what `simulate` takes."""

from __future__ import annotations

import csv
import gzip
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.sky import BEST_BY_EVIDENCE, CLOUD_WEIGHT, clear_sky_emissivity, emitted
from fruitwall.physics.spot import Spot
from fruitwall.physics.treatment import Night
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.history import CLOUD_PER_K, CLOUD_WITHOUT_RANGE
from fruitwall.weather.sun import sun_elevation

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

DATA = Path(__file__).resolve().parents[1] / "data"
TESTS_DATA = DATA.parents[1] / "tests" / "data"

SPIN_UP = np.timedelta64(5, "D")
"""Days in which ground and trunks find their temperature; not scored."""

DARK_DEG = -3.0
"""Sun this far down counts as night: half-hour means near sunset hold no sun. [degrees]"""


def read(path: Path) -> tuple[TimeArray, dict[str, FloatArray], dict[str, list[str]]]:
    """Read a CSV file with a column ``time_utc``.

    Returns
    -------
    tuple
        Times, numeric columns (NaN where blank) and columns of words.
    """
    raw = path.read_bytes()
    text = (gzip.decompress(raw) if path.suffix == ".gz" else raw).decode("utf-8")
    table = list(csv.DictReader(text.splitlines()))
    times = np.array([row["time_utc"].rstrip("Z") for row in table], dtype="datetime64[s]")
    numbers: dict[str, FloatArray] = {}
    words: dict[str, list[str]] = {}
    for name in table[0]:
        column = [row[name] for row in table]
        if name == "time_utc":
            continue
        try:
            numbers[name] = np.array([float(cell) if cell else np.nan for cell in column])
        except ValueError:
            words[name] = column
    return times, numbers, words


def on_hours(time_utc: TimeArray, values: FloatArray, hours: TimeArray, half_width_min: int) -> FloatArray:
    """Give means of the values stamped from `half_width_min` before to as much after each hour (ends half weight).

    NaN where nothing is known.
    """
    seconds, at, width = time_utc.astype(np.int64), hours.astype(np.int64), 60 * half_width_min
    known = np.isfinite(values)
    first, stop = np.searchsorted(seconds, at - width, "left"), np.searchsorted(seconds, at + width, "right")

    def total(each: FloatArray) -> FloatArray:
        """Sum over each window, its ends halved."""
        summed = np.concatenate([[0.0], np.cumsum(each)])
        padded = np.append(each, 0.0)
        begins = np.append(seconds, -1)[first] == at - width
        ends = (seconds[stop - 1] == at + width) & (stop > first)
        return np.asarray(summed[stop] - summed[first] - 0.5 * (padded[first] * begins + padded[stop - 1] * ends))

    weight = total(known.astype(np.float64))
    some = weight > 1e-9
    return np.where(some, total(np.where(known, values, 0.0)) / np.where(some, weight, 1.0), np.nan)


def mean_of_last(values: FloatArray, count: int) -> FloatArray:
    """Running mean of the last `count` values (fewer at the beginning)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    stop = np.arange(1, values.size + 1)
    first = np.maximum(stop - count, 0)
    return np.asarray((total[stop] - total[first]) / (stop - first))


def filled(values: FloatArray) -> FloatArray:
    """Straight lines through gaps; ends are held."""
    at = np.arange(values.size)
    known = np.isfinite(values)
    return np.asarray(np.interp(at, at[known], values[known]))


def cloud_from_longwave(t_air_c: FloatArray, vapour_kpa: FloatArray, longwave_w_m2: FloatArray) -> FloatArray:
    """Give the share of cloud with which the model's sky sends the measured longwave, held between 0 and 1."""
    clear = clear_sky_emissivity(t_air_c, vapour_kpa, BEST_BY_EVIDENCE)
    share = (longwave_w_m2 / emitted(t_air_c) - clear) / (CLOUD_WEIGHT * (1.0 - clear))
    return np.asarray(np.clip(share, 0.0, 1.0))


def cloud_from_range(time_utc: TimeArray, t_air_c: FloatArray, longitude_deg: float) -> FloatArray:
    """Give cloud for a station without any, as the product does for past days: from the day's range of temperature."""
    local = time_utc.astype("datetime64[s]") + np.timedelta64(round(longitude_deg * 240), "s")
    day = local.astype("datetime64[D]")
    days, which = np.unique(day, return_inverse=True)
    range_k = np.array([np.nanmax(t_air_c[which == n]) - np.nanmin(t_air_c[which == n]) for n in range(days.size)])
    cloud = np.clip(CLOUD_WITHOUT_RANGE + CLOUD_PER_K * range_k, 0.0, 1.0)
    # As for daily files: a day's mean holds at its noon, straight lines between.
    noon = days.astype("datetime64[s]").astype(np.int64) + 12 * 3600
    return np.asarray(np.interp(local.astype(np.int64), noon, cloud))


def is_dark(time_utc: TimeArray, latitude_deg: float, longitude_deg: float) -> NDArray[np.bool_]:
    """Tell where the sun is well below the horizon."""
    return np.asarray(sun_elevation(time_utc, latitude_deg, longitude_deg) < DARK_DEG)


def forcing(
    time_utc: TimeArray,
    *,
    t_air_c: FloatArray,
    t_dew_c: FloatArray,
    wind_m_s: FloatArray,
    cloud: FloatArray,
    shortwave_w_m2: FloatArray,
    place: tuple[float, float, float],
    wind_height_m: float,
    source: str,
) -> Forcing:
    """Make a forcing of one member; `place` is latitude, longitude [degrees] and elevation [m]."""
    return Forcing(
        time_utc=time_utc,
        t_air_c=t_air_c[None, :],
        t_dew_c=np.minimum(t_dew_c, t_air_c)[None, :],
        wind_m_s=np.maximum(wind_m_s, 0.0)[None, :],
        cloud=cloud[None, :],
        shortwave_w_m2=np.maximum(shortwave_w_m2, 0.0)[None, :],
        rain_mm=np.zeros((1, time_utc.size)),
        latitude_deg=place[0],
        longitude_deg=place[1],
        elevation_m=place[2],
        source=source,
        issued_utc=time_utc[-1].astype(datetime).replace(tzinfo=UTC),
        wind_height_m=wind_height_m,
    )


def open_spot(height_m: float, *, ground: str, sky: float = 1.0, wind_share: float = 1.0) -> Spot:
    """Give a place on level ground; what is not sky is crowns."""
    return Spot(
        id="place",
        x_m=0.0,
        y_m=0.0,
        height_m=height_m,
        sky=sky,
        roof=0.0,
        wall=0.0,
        canopy=1.0 - sky,
        wall_ids=(),
        wall_shares=(),
        wall_below=0.0,
        wall_below_shares=(),
        ground=ground,
        paving_share=0.0,
        pond_share=0.0,
        paving_material=None,
        sun_share=np.full((72, 18), sky),
        diffuse_share=sky,
        roof_transmits_sun=0.0,
        wind_share=wind_share,
        colder_k=0.0,
        stillness=0.0,
    )


def nights_between(start: datetime, end: datetime, longitude_deg: float, *, on_h: float, off_h: float) -> list[Night]:
    """Give all whole nights of a stretch; covers are on from `on_h` to `off_h` hours after local mean noon."""
    shift = timedelta(hours=round(longitude_deg / 15))
    first = (start + shift).date() + timedelta(days=1)
    made = []
    for number in range((end - start).days + 1):
        name: date = first + timedelta(days=number)
        noon = datetime(name.year, name.month, name.day, 12, tzinfo=UTC) - shift
        if noon < start or noon + timedelta(hours=24) > end:
            continue
        on, off = noon + timedelta(hours=on_h), noon + timedelta(hours=off_h)
        made.append(Night(name, noon, noon + timedelta(hours=24), on, off, on, off))
    return made
