"""Longwave from the clear sky by the model's formula, against measured nights.

Three series are those of ``bench/longwave_case.py``, by which the formula was chosen; two towers were not looked at
then, and theirs is not measured but net radiation plus upward longwave. Nights carry no cloud observation: as there,
clear is the tenth of the night values with the least longwave relative to the formula (Alamosa: all, with an hour of
cloud). That takes the formula's warmest tenth: a scatter of the measurements by itself makes the bias more positive.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bench.longwave_case import CLEAR_SHARE, Nights, alamosa, santa_maria, tharandt
from bench.validation.driving import DATA, is_dark, read
from bench.validation.scores import Row, rows
from bench.validation.towers import LOW_VAPOUR_KPA, TOWERS
from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.sky import BEST_BY_EVIDENCE, emitted, longwave_down

THUMB_K = 20.0
"""A clear sky radiates like a black body about 20 K colder than the air (rule of thumb, from memory). [K]"""


def _tower(site: str) -> Callable[[], Nights]:
    """Make a reader of a tower's nights; its longwave from the sky is net radiation plus upward longwave."""

    def nights() -> Nights:
        times, data, words = read(DATA / "flux_tower_longwave" / "towers.csv.gz")
        place = next(tower.place for tower in TOWERS if tower.site == site)
        down = data["net_radiation_wm2"] + data["longwave_up_wm2"]
        known = np.isfinite(down + data["temp_c"] + data["vpd_kpa"])
        use = (np.array(words["site"]) == site) & is_dark(times, place[0], place[1]) & known
        air = data["temp_c"][use]
        vapour = np.maximum(saturation_vapour_pressure(air) - np.maximum(data["vpd_kpa"][use], 0.0), LOW_VAPOUR_KPA)
        return air, vapour, down[use]

    return nights


SERIES: tuple[tuple[str, Callable[[], Nights], float, str], ...] = (
    ("Alamosa, -17 °C", alamosa, 1.0, "in (chosen by it)"),
    ("Santa Maria, 19 °C", santa_maria, CLEAR_SHARE, "in (chosen by it)"),
    ("Tharandt, 12 °C", tharandt, CLEAR_SHARE, "in (chosen by it)"),
    ("Neustift, 14 °C", _tower("at_neu"), CLEAR_SHARE, "out"),
    ("Puéchabon, 13 °C", _tower("fr_pue"), CLEAR_SHARE, "out"),
)
"""Name, reader, share that counts as clear, and whether the formula was chosen by it."""


def sky_rows() -> list[Row]:
    """Give the rows of all five series."""
    made: list[Row] = []
    for name, nights, clear, sample in SERIES:
        air, vapour, measured = nights()
        model = longwave_down(air, vapour, 0.0, BEST_BY_EVIDENCE)
        error = model - measured
        clearest = error >= np.quantile(error, 1.0 - clear)
        made += rows(
            "longwave from the clear sky",
            name,
            model=model,
            naive=emitted(air - THUMB_K),
            measured=measured,
            night=None,
            conditions={"": clearest},
            naive_is=f"a black sky {THUMB_K:g} K colder than the air",
            sample=sample,
            unit="W/m²",
        )
    return made
