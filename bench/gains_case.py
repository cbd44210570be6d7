"""What each measure gains on a made-up frost night: the table of docs/model-night.md.

Run ``python -m bench gains_case``. Fair days, nights down to -3 °C in the thermometer shelter, the third is looked at.
"""

from __future__ import annotations

from dataclasses import replace

from bench.night_case import nights, spots, weather
from fruitwall.physics.body import Body
from fruitwall.physics.night import simulate
from fruitwall.physics.treatment import Treatment

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
            result = simulate(weather(1, 96, wind=0.5, dew=-6.0, cloud=0.0), [spot], [body], [MEASURES], night)
            columns.append(
                (result.minimum_c[0, :, 0, 0, 0], result.air_minimum_c[0, 0, 0, 0], result.warmest_c[0, :, 0, 0])
            )
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
