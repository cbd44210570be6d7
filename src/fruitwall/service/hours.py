"""The night hour by hour: every tree left alone and under its chosen measure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.treatment import Treatment
from fruitwall.plants.injury import first_injury_c
from fruitwall.service.evening_document import HourOfTree
from fruitwall.service.nights import Evening
from fruitwall.service.outlook import Situation
from fruitwall.service.since import batches
from fruitwall.service.station import spread
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.physics.treatment import Night

FloatArray = NDArray[np.float64]

TREES_AT_A_TIME = 8
"""Series of all members are large: so many trees are held in memory at once."""

HOURS_AFTER_SUNRISE = timedelta(hours=2)


@dataclass(frozen=True, eq=False)
class TreeHours:
    """One tree's night.

    Attributes
    ----------
    hours : list of HourOfTree
        From the hour before sunset to two hours after sunrise.
    at_coldest : dict of str to float
        Median values at the hour at which the tree, left alone, is coldest: ``air``, ``soil``, ``sky``, ``time``
        apart, for the explanation. [°C]
    coldest_at : datetime
        That moment.
    """

    hours: list[HourOfTree]
    at_coldest: dict[str, float]
    coldest_at: datetime


def shown_times(evening: Evening, zone: ZoneInfo) -> list[datetime]:
    """Give the full hours by the yard's clock that the strip shows, from sunset to after sunrise."""
    start = evening.sunset.astimezone(zone).replace(minute=0, second=0, microsecond=0).astimezone(UTC)
    end = min(evening.sunrise + HOURS_AFTER_SUNRISE, evening.night.end_utc)
    return [start + timedelta(hours=h) for h in range(int((end - start).total_seconds() // 3600) + 1)]


def hours_of_trees(
    situation: Situation,
    chosen: Sequence[Treatment],
    tissues: Sequence[str],
    *,
    nights: Sequence[Night] | None = None,
    threads: int = 2,
) -> list[TreeHours]:
    """Run tonight again for the chosen measures and keep its hours.

    Parameters
    ----------
    situation : Situation
    chosen : sequence of Treatment
        One per tree.
    tissues : sequence of str
        The tissue to show for each tree: the most endangered one.
    nights : sequence of Night, optional
        Tonight as each tree's treatment meets it (`service.since`); default from now for all.
    threads : int

    Returns
    -------
    list of TreeHours
    """
    from fruitwall.physics.night import simulate

    evening = situation.evenings[0]
    times = shown_times(evening, ZoneInfo(situation.yard.location.time_zone))
    forcing = situation.forcing.select(situation.forcing.start_utc, evening.end_hour)
    found: dict[int, TreeHours] = {}
    own = nights or [evening.night] * len(situation.spots)
    for night, trees in batches(own, TREES_AT_A_TIME):
        result = simulate(
            forcing,
            [situation.spots[t] for t in trees],
            [situation.bodies[t] for t in trees],
            [[situation.treatments[t][0], chosen[t]] for t in trees],
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
        steps = np.searchsorted(result.time_utc, np.array([as_datetime64(t) for t in times]))
        for row, t in enumerate(trees):
            series = {name: values[row] for name, values in result.series.items()}
            found[t] = _hours(series, steps, times, situation, t, tissues[t])
    return [found[t] for t in range(len(own))]


def _hours(
    series: dict[str, FloatArray],
    steps: NDArray[np.intp],
    times: Sequence[datetime],
    situation: Situation,
    tree: int,
    tissue: str,
) -> TreeHours:
    """Give one tree's hours from its series [treatment, member, step]."""
    limit = first_injury_c(situation.tolerances[tree], tissue)[1]
    shown = series[tissue][:, :, steps]
    air = series["air"][0][:, steps]
    hours = []
    for at, time in enumerate(times):
        nothing, with_plan = spread(shown[0, :, at]), spread(shown[1, :, at])
        hours.append(
            HourOfTree(
                time=time,
                tissue_c=with_plan,
                tissue_if_nothing_c=nothing,
                air_c=spread(air[:, at]),
                margin_k=with_plan.p50 - limit,
                margin_if_nothing_k=nothing.p50 - limit,
            )
        )
    coldest = int(np.argmin([h.tissue_if_nothing_c.p50 for h in hours]))
    step = steps[coldest]
    at_coldest = {name: float(np.median(values[0, :, step])) for name, values in series.items()}
    return TreeHours(hours, at_coldest, times[coldest])
