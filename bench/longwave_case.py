"""Clear-sky longwave formulas against three measured series of nights.

Run ``python -m bench longwave_case``. Nights carry no cloud observations, so the clear hours are taken as the tenth of
the night with the least longwave relative to each formula: what counts is the bias there (formula minus measured,
W/m²). Alamosa was clear throughout: all its night hours count.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.air import saturation_vapour_pressure, vapour_pressure
from fruitwall.physics.sky import FORMULAS, longwave_down

FloatArray = NDArray[np.float64]
Nights = tuple[FloatArray, FloatArray, FloatArray]

HERE = Path(__file__).parent
CLEAR_SHARE = 0.10


def columns(path: Path) -> dict[str, FloatArray]:
    """Read the complete rows of a CSV file, without its stamps."""
    with path.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if all(row.values())]
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0] if name != "time_utc"}


def alamosa() -> Nights:
    """Temperature, vapour pressure and longwave of the SURFRAD night."""
    data = columns(HERE.parent / "tests" / "data" / "surfrad" / "alamosa_2016-01-01.csv")
    night = data["ghi_wm2"] < 5.0
    moisture = vapour_pressure(data["temp_c"], data["rh_pct"])
    return data["temp_c"][night], moisture[night], data["longwave_down_wm2"][night]


def santa_maria() -> Nights:
    """The same of Santa Maria, January and July."""
    data = columns(HERE / "data" / "santa_maria_longwave" / "santa_maria_2014.csv")
    night = data["ghi_wm2"] <= 1.0
    moisture = vapour_pressure(data["temp_c"], data["rh_pct"])
    return data["temp_c"][night], moisture[night], data["longwave_down_wm2"][night]


def tharandt() -> Nights:
    """The same of Tharandt, June."""
    data = columns(HERE / "data" / "flux_tower_longwave" / "de_tha_2014_06.csv")
    night = data["ppfd_umol_m2_s"] <= 1.0
    moisture = saturation_vapour_pressure(data["temp_c"]) - data["vpd_kpa"]
    return data["temp_c"][night], moisture[night], data["longwave_down_wm2"][night]


SERIES: dict[str, tuple[Callable[[], Nights], float]] = {
    "Alamosa": (alamosa, 1.0),
    "Santa Maria": (santa_maria, CLEAR_SHARE),
    "Tharandt": (tharandt, CLEAR_SHARE),
}


def main() -> None:
    """Print bias and scatter of every formula on every series."""
    print(f"{'formula':16}" + "".join(f"{name:>22}" for name in SERIES) + "   bias ± rms of it [W/m²]")
    for formula in FORMULAS:
        cells = []
        for read, clear in SERIES.values():
            t, moisture, measured = read()
            error = longwave_down(t, moisture, 0.0, formula) - measured
            clearest = error >= np.quantile(error, 1.0 - clear)
            cells.append(f"{error[clearest].mean():+12.1f} ± {error[clearest].std():5.1f}  ")
        print(f"{formula:16}" + "".join(f"{cell:>22}" for cell in cells))
    for name, (read, _) in SERIES.items():
        t, moisture, measured = read()
        print(
            f"{name}: {len(t)} night values, {t.mean():.1f} °C, {moisture.mean():.2f} kPa, {measured.mean():.0f} W/m²"
        )


if __name__ == "__main__":
    main()
