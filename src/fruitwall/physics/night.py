"""Simulate the nights of a yard: every tree under every measure in every ensemble member."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.exposure import DURATIONS_H, SERIES, NightResult
from fruitwall.physics.spot import Spot
from fruitwall.physics.treatment import LEAVE, Night, Treatment

if TYPE_CHECKING:
    from fruitwall.physics.faces import Face
    from fruitwall.weather.forcing import Forcing

__all__ = ["DURATIONS_H", "LEAVE", "SERIES", "TISSUES", "Body", "Night", "NightResult", "Treatment", "simulate"]


def simulate(
    forcing: Forcing,
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    nights: Sequence[Night],
    *,
    faces: Sequence[Face] = (),
    soil: str = "loam",
    moisture: str = "moist",
    step_minutes: int = 15,
    keep_series: bool = False,
    threads: int = 2,
    clear_night_offset_k: float = 0.0,
) -> NightResult:
    """March all trees and treatments through the weather and give what their tissues go through.

    Parameters
    ----------
    forcing : Forcing, [member, time]
        Hourly weather; past days before the first night let soil and walls find their temperature.
    spots, bodies : sequence, one per tree
        Home spot and body of each tree.
    treatments : sequence of sequence of Treatment, one list per tree
        What could be done for each.
    nights : sequence of Night
        In order; each within the forcing.
    faces : sequence of Face
        Walls that the spots refer to.
    soil : {"sand", "loam", "clay"}
    moisture : {"dry", "moist", "wet"}
        Ordinary ground of the yard.
    step_minutes : int
        Time step, a divisor of 30. [min]
    keep_series : bool
        Also give the temperatures of all steps.
    threads : int
        Threads to use.
    clear_night_offset_k : float
        How much warmer the yard is than the forecast's place on a clear still night, -10 to 10. [K]

    Returns
    -------
    NightResult
    """
    raise NotImplementedError
