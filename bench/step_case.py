"""How far steps of 5, 15 and 60 minutes are from an independent solution: the table of docs/model-night.md.

Run ``python -m bench step_case``; the implicit Runge-Kutta of `bench.night_reference` takes a few minutes. A night to
-3 °C over bare soil that freezes; the reference is driven by the weather at five minutes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bench.night_case import nights, spots, weather
from bench.night_reference import Reference
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.night import _March
from fruitwall.physics.soil import ground_of
from fruitwall.physics.treatment import Treatment

CASES = (
    Treatment("open"),
    Treatment("cloth", cover="fleece_medium", on_frame=True),
    Treatment("heated film", cover="film_polyethylene", on_frame=True, heater_w=400.0, thermostat_c=2.0),
    Treatment("watered, blanket", cover="frost_blanket", on_frame=True, wet_ground=True),
)
STEPS_MIN = (5, 15, 60)
HOURS = 72


def marched(treatment: Treatment, minutes: int) -> _March:
    """One tree under one treatment on the first night."""
    spot = spots(1)[0]
    tree = ([spot], [Body(fruit_diameter_m=0.07)], [[treatment]])
    return _March(weather(1, HOURS), *tree, nights(1), (), "loam", "moist", minutes, 0.0)


def tissues(march: _March, last: int) -> NDArray[np.float64]:
    """Temperatures of the tissues up to a step, shape (step, tissue)."""
    rows = march.run(keep_series=True, threads=1).series[0, 0].reshape(-1, k.HISTORY_ROWS, k.LANES)
    return np.asarray(rows[: last + 1, : len(TISSUES), 0])


def main() -> None:
    """Print errors of night minima and of all hours."""
    minima: dict[int, list[NDArray[np.float64]]] = {minutes: [] for minutes in STEPS_MIN}
    hours: dict[int, list[NDArray[np.float64]]] = {minutes: [] for minutes in STEPS_MIN}
    for treatment in CASES:
        fine = marched(treatment, STEPS_MIN[0])
        inside = np.flatnonzero(fine.clock.night == 0)
        last = int(inside[-1])
        slabs = [ground_of(fine.cases.spots[0], "loam", each) for each in ("moist", "wet")]
        reference = Reference(fine, 0, slabs, [("loam", "moist"), ("loam", "wet")])
        exact = reference.march(float(fine.start[0, 0]), last)
        for minutes in STEPS_MIN:
            march = marched(treatment, minutes)
            stride = minutes // STEPS_MIN[0]
            ours = tissues(march, last // stride)
            night = march.clock.night[: len(ours)] == 0
            minima[minutes].append(ours[night].min(axis=0) - exact[inside].min(axis=0))
            hours[minutes].append((ours - exact[::stride][: len(ours)])[night])
    print("  " + " ".join(f"{name:>8s}" for name in ("min", "of", *TISSUES)))
    for minutes in STEPS_MIN:
        least, all_of_them = np.array(minima[minutes]), np.concatenate(hours[minutes])
        for what, values in (
            ("minima rms", np.sqrt((least**2).mean(axis=0))),
            ("minima max", np.abs(least).max(axis=0)),
            ("hours rms", np.sqrt((all_of_them**2).mean(axis=0))),
            ("hours max", np.abs(all_of_them).max(axis=0)),
        ):
            print(f"  {minutes:3d} {what:12s}" + " ".join(f"{value:8.3f}" for value in values))


if __name__ == "__main__":
    main()
