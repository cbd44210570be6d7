"""What each measure gains on a made-up frost night: the table of docs/model-night.md.

Run ``python -m bench gains_case``. Fair days, nights down to -3 °C in the thermometer shelter, the third is looked at.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bench.night_case import nights, spots, weather
from fruitwall.physics.body import Body
from fruitwall.physics.exposure import NightResult
from fruitwall.physics.night import simulate
from fruitwall.physics.treatment import Treatment
from fruitwall.weather.forcing import as_datetime64

PLANTS = {
    "wide bed 0.25 m": Body(height_m=0.25, crown_diameter_m=3.5, leaf_area_index=1.0),
    "young tree 1 m": Body(height_m=1.0, crown_diameter_m=0.8),
    "tree 2 m": Body(height_m=2.0, crown_diameter_m=1.5),
}
PLACES = {
    "bare, open": {"ground": "bare", "sky": 0.9, "canopy": 0.1},
    "turf, open": {"ground": "turf", "sky": 0.9, "canopy": 0.1},
    "bare, half hidden": {"ground": "bare", "sky": 0.5, "canopy": 0.5},
}
MEASURES = (
    Treatment("leave"),
    Treatment("water the ground", wet_ground=True),
    Treatment("light fleece, draped", cover="fleece_light"),
    Treatment("medium fleece, draped", cover="fleece_medium"),
    Treatment("heavy fleece, draped", cover="fleece_heavy"),
    Treatment("frost blanket, draped", cover="frost_blanket"),
    Treatment("frost blanket, frame", cover="frost_blanket", on_frame=True),
    Treatment("blanket, not to the ground", cover="frost_blanket", to_ground=False),
    Treatment("sheet above, sides open", cover="bed_sheet", sides="open", on_frame=True),
    Treatment("polyethylene, frame", cover="film_polyethylene", on_frame=True),
    Treatment("infrared film, frame", cover="film_infrared", on_frame=True),
    Treatment("bubble film, frame", cover="bubble_film", on_frame=True),
    Treatment("100 W lamps, bare", lamp_w=100.0),
    Treatment("100 W lamps, medium fleece", cover="fleece_medium", lamp_w=100.0),
    Treatment("300 W lamps, medium fleece", cover="fleece_medium", lamp_w=300.0),
    Treatment("15 W LED, medium fleece", cover="fleece_medium", lamp_w=15.0, lamp_kind="led"),
    Treatment("1 kW heater, polyethylene", cover="film_polyethylene", heater_w=1000.0, on_frame=True),
)


def lowest_covered(result: NightResult, name: str) -> NDArray[np.float64]:
    """Lowest of a series while covers are on: what follows the uncovering is the same for all. [treatment]"""
    assert result.series is not None
    assert result.time_utc is not None
    on, off = (as_datetime64(t) for t in (result.nights[0].cover_on_utc, result.nights[0].cover_off_utc))
    during = (result.time_utc > on) & (result.time_utc <= off)
    return np.asarray(result.series[name][0, :, 0, during].min(axis=0))


def warmest_after(result: NightResult, moment: np.datetime64) -> NDArray[np.float64]:
    """Highest leaf temperature from a moment to the night's end at noon. [treatment]"""
    assert result.series is not None
    assert result.time_utc is not None
    during = (result.time_utc > moment) & (result.time_utc <= as_datetime64(result.nights[0].end_utc))
    return np.asarray(result.series["leaf"][0, :, 0, during].max(axis=0))


def main() -> None:
    """Print leaf gains, and how warm it would get until noon."""
    place = spots(1)[0]
    night = nights(2)[1:]
    for place_name, change in PLACES.items():
        print(f"\n  {place_name}: gain of the leaf's minimum in K (warmest until noon in °C)")
        print(f"  {'':30s}" + "".join(f"{name:>24s}" for name in PLANTS))
        columns = []
        for body in PLANTS.values():
            spot = replace(place, paving_share=0.0, colder_k=0.0, height_m=max(0.6 * body.height_m, 0.3), **change)  # type: ignore[arg-type]
            result = simulate(
                weather(1, 96, wind=0.5, dew=-6.0, cloud=0.0), [spot], [body], [MEASURES], night, keep_series=True
            )
            leaf, air = lowest_covered(result, "leaf"), lowest_covered(result, "air")
            left_on = [replace(night[0], cover_off_utc=night[0].end_utc)]
            morning = simulate(
                weather(1, 96, wind=0.5, dew=-6.0, cloud=0.0), [spot], [body], [MEASURES], left_on, keep_series=True
            )
            columns.append((leaf, air[0], warmest_after(morning, as_datetime64(night[0].cover_off_utc))))
        print(
            f"  {'leaf (air) left alone, °C':30s}"
            + "".join(f"{leaf[0]:15.1f} ({air:5.1f}) " for leaf, air, _ in columns)
        )
        for number, measure in enumerate(MEASURES[1:], start=1):
            row = "".join(
                f"{leaf[number] - leaf[0]:+15.1f} " + (f"({warm[number]:4.0f})  " if measure.covered else " " * 8)
                for leaf, _, warm in columns
            )
            print(f"  {measure.key:30s}{row}")


if __name__ == "__main__":
    main()
