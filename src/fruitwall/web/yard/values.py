"""Values of a layer in words, short numbers and shades."""

from __future__ import annotations

from math import floor, isnan

from fruitwall.service.household import NO_BREAK, Household
from fruitwall.service.yard_layers import Layer
from fruitwall.speech import say
from fruitwall.web.margins import band_of

SHADES = 5

_VERDICTS = {"safe": "safe", "near": "watch", "beyond": "danger", "far": "deadly"}
"""How the sign of a tree looks in each band of the margin scale."""


def layer_words(name: str) -> tuple[str, str]:
    """Give the name of a layer and what it tells."""
    return {
        "sun": (say("Sun today"), say("Hours of direct sun on a cloudless day like today, a metre above the ground.")),
        "winter": (
            say("Sun on the shortest day"),
            say("Hours of direct sun on the shortest day, cloudless, a metre above the ground."),
        ),
        "sky": (
            say("View of the sky"),
            say(
                "How much of the sky a level leaf sees, in per cent. The more it sees, the more heat it loses at night."
            ),
        ),
        "margin": (
            say("Margin of the last plan"),
            say("How far each tree stays from what it stands on the night last planned, with the plan."),
        ),
    }[name]


def value_text(name: str, value: float, household: Household) -> str:
    """Write a value in full."""
    if isnan(value):
        return say("unknown")
    if name == "margin":
        return household.margin(value)
    return f"{value * 100:.0f}{NO_BREAK}%" if name == "sky" else f"{value:.1f}{NO_BREAK}h"


def cell_text(name: str, value: float, household: Household) -> str:
    """Write a value so short that it fits a cell."""
    if name == "margin":
        return household.margin_number(value)
    return f"{value * 100:.0f}" if name == "sky" else f"{value:.0f}"


def shade_of(layer: Layer, value: float) -> int:
    """Give the shade of a value, 0 the least to 4 the most."""
    most = 1.0 if layer.name == "sky" else max(layer.longest_h, 0.1)
    return min(max(floor(value / most * SHADES), 0), SHADES - 1)


def verdict_of(name: str, value: float) -> str:
    """Give how the sign of a tree looks; nothing where the layer does not say what is dangerous."""
    band = band_of(value) if name == "margin" else None
    return _VERDICTS[band.key] if band else ""


def legend_of(layer: Layer) -> list[tuple[str, str]]:
    """Give the shades of a layer's raster with the range that each stands for."""
    if not layer.cells:
        return []
    most = 100.0 if layer.name == "sky" else layer.longest_h
    unit = "%" if layer.name == "sky" else "h"
    edges = [most * step / SHADES for step in range(SHADES + 1)]
    digits = 0 if layer.name == "sky" else 1
    return [
        (f"{layer.name} shade-{step}", f"{edges[step]:.{digits}f}–{edges[step + 1]:.{digits}f}{NO_BREAK}{unit}")
        for step in range(SHADES)
    ]
