"""The demo yard that comes with fruitwall."""

from __future__ import annotations

from importlib.resources import files

from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Yard

DEMO_NAME = "demo_yard.yaml"


def demo_yard_text() -> str:
    """Give the text of the demo yard's file, with its comments."""
    return (files("fruitwall.yard") / "data" / DEMO_NAME).read_text(encoding="utf-8")


def demo_yard() -> Yard:
    """Give the demo yard."""
    return parse_yard(demo_yard_text(), DEMO_NAME)


def moved_yard(yard: Yard) -> Yard:
    """Give the demo's trees, gear and people on level ground near Gainesville in Florida, for decades of real winters.

    As invented as the demo yard; nothing is known of a hollow or a slope there.
    """
    location = yard.location.model_copy(
        update={
            "latitude_deg": 29.69,
            "longitude_deg": -82.28,
            "elevation_m": 38.0,
            "time_zone": "America/New_York",
            "clear_night_offset_k": 0.0,
        }
    )
    return yard.model_copy(update={"name": "Heron Bend", "location": location, "horizon": []})
