"""The morning after: by when a cover must be open, because the sun would overheat what is under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from fruitwall.service.outlook import Situation
from fruitwall.service.since import batches, nights_of_trees
from fruitwall.weather.forcing import as_datetime, as_datetime64

HOT_UNDER_COVER_C = 30.0
"""Leaf temperature under a cover from which the plan says by when to open it. Assumption: well below the 40 to 45 °C
at which leaves of tender kinds are scorched, to leave time. [°C]"""

SUNNY_PERCENTILE = 90.0
"""Members are ranked by how warm it gets; one in ten is warmer than what is told. A cover that is opened an hour early
costs little, one that is opened late may cost the tree. Our judgement."""

TREES_AT_A_TIME = 8
"""Series of all members are large: so many trees are held in memory at once."""


@dataclass(frozen=True)
class Venting:
    """What becomes of a tree whose cover is left on.

    Attributes
    ----------
    open_by : datetime or None
        Last step before its leaves pass `HOT_UNDER_COVER_C`; None if they do not until noon.
    warmest_c : float
        Highest temperature of its leaves (leafless: of the air) from sunrise to noon. [°C]
    """

    open_by: datetime | None
    warmest_c: float


def venting_of(situation: Situation, chosen: Sequence[int], *, threads: int = 2) -> list[Venting | None]:
    """Run tonight once more with every cover left on until noon, and on from when it went on.

    Parameters
    ----------
    situation : Situation
    chosen : sequence of int
        Per tree, the row of its treatment.
    threads : int

    Returns
    -------
    list of Venting or None
        One per tree; None for a tree without a cover, or whose cover stays on by day anyway.
    """
    from fruitwall.physics.night import simulate

    evening = situation.evenings[0]
    # What is under a cover since the afternoon's sun, or only since ten at night, begins the morning otherwise.
    left_on = [replace(night, cover_off_utc=night.end_utc) for night in nights_of_trees(situation, chosen)]
    treatments = [situation.treatments[at][row] for at, row in enumerate(chosen)]
    found: list[Venting | None] = [None] * len(treatments)
    covered = [at for at, treatment in enumerate(treatments) if treatment.covered and not treatment.stays_by_day]
    for night, places in batches([left_on[at] for at in covered], TREES_AT_A_TIME):
        some = [covered[place] for place in places]
        result = simulate(
            situation.forcing.select(situation.forcing.start_utc, evening.end_hour),
            [situation.spots[at] for at in some],
            [situation.bodies[at] for at in some],
            [[treatments[at]] for at in some],
            [night],
            faces=situation.faces,
            soil=situation.yard.ground.soil,
            moisture=situation.yard.ground.moisture,
            keep_series=True,
            threads=threads,
            clear_night_offset_k=situation.yard.location.clear_night_offset_k,
        )
        if result.series is None or result.time_utc is None:
            raise ValueError("simulate must keep the series when asked to")
        sun, end = as_datetime64(evening.sunrise), as_datetime64(evening.night.end_utc)
        morning = (result.time_utc > sun) & (result.time_utc <= end)
        times = result.time_utc[morning]
        for row, at in enumerate(some):
            tissue = "leaf" if situation.bodies[at].leafy else "air"
            warm = np.percentile(result.series[tissue][row, 0][:, morning], SUNNY_PERCENTILE, axis=0)
            hot = np.flatnonzero(warm > HOT_UNDER_COVER_C)
            open_by = None if not hot.size else as_datetime(times[hot[0] - 1]) if hot[0] else evening.sunrise
            found[at] = Venting(open_by, float(warm.max()))
    return found
