"""Lifting in patterns: several kinds of lift, bursts, stretches with pauses (sections 1.3.5 and 2.4 of the manual).

Waters, Putz-Anderson and Garg, *Applications manual for the revised NIOSH lifting equation*, US DHHS (NIOSH)
Publication 94-110 (1994, revised 2021).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fruitwall.plans.lifting import frequency_multiplier, ranged


@dataclass(frozen=True)
class LiftTask:
    """One of several kinds of lift in the same work, for the composite index.

    Attributes
    ----------
    mass_kg : float
        Load. [kg]
    frequency_independent_limit_kg : float
        Recommended weight limit with a frequency multiplier of one. [kg]
    f_per_min : float
        Lifts a minute.
    """

    mass_kg: float
    frequency_independent_limit_kg: float
    f_per_min: float


def composite_lifting_index(tasks: Sequence[LiftTask], *, duration_h: float, v_cm: float = 0.0) -> float:
    """Give the index of several kinds of lift done in the same work.

    The tasks are numbered by falling single-task index; each further one adds its frequency-independent index times
    what its frequency takes from the multiplier (section 2.4 of the manual).

    Parameters
    ----------
    tasks : sequence of LiftTask
        At least one.
    duration_h, v_cm : float
        Of the whole work, for the frequency table. [h, cm]

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If there is no task, or the frequencies together are beyond the table.
    """
    if not tasks:
        raise ValueError("tasks must hold at least one task, got none")

    def fm(f_per_min: float) -> float:
        value = float(frequency_multiplier(f_per_min, duration_h, v_cm))
        if value == 0.0:
            raise ValueError(f"f_per_min must be within the frequency table, got {f_per_min} lifts a minute together")
        return value

    def independent(task: LiftTask) -> float:
        return task.mass_kg / task.frequency_independent_limit_kg

    ordered = sorted(tasks, key=lambda task: independent(task) / fm(task.f_per_min), reverse=True)
    pace = ordered[0].f_per_min
    index = independent(ordered[0]) / fm(pace)
    for task in ordered[1:]:
        index += independent(task) * (1.0 / fm(pace + task.f_per_min) - 1.0 / fm(pace))
        pace += task.f_per_min
    return index


def frequency_in_bursts(lifts_per_min: float, burst_min: float, *, sample_min: float = 15.0) -> float:
    """Give the lifts a minute that count for work in bursts (section 1.3.5.5 of the manual).

    Parameters
    ----------
    lifts_per_min : float
        Pace within the burst, 0 to 15.
    burst_min, sample_min : float
        Length of the burst and of the sample around it, above 0. A burst longer than the sample counts at its own
        pace. [min]

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If an argument is outside its range.
    """
    pace = float(ranged("lifts_per_min", lifts_per_min, 0.0, 15.0))
    burst = float(ranged("burst_min", burst_min, 0.0, 480.0, open_low=True))
    sample = float(ranged("sample_min", sample_min, 0.0, 480.0, open_low=True))
    return pace * min(burst / sample, 1.0)


def duration_class(work_min: Sequence[float], pause_min: Sequence[float] = ()) -> Literal["short", "moderate", "long"]:
    """Give the duration class of work in stretches with pauses of light work between (manual pp. 13-14).

    A stretch stands alone as short work if a pause at least as long follows it; otherwise it is added to the next.

    Parameters
    ----------
    work_min : sequence of float
        Stretches of lifting. [min]
    pause_min : sequence of float
        Pauses between them, one fewer. [min]

    Returns
    -------
    "short" (up to 1 h), "moderate" (up to 2 h) or "long" (up to 8 h)

    Raises
    ------
    ValueError
        If the numbers of stretches and pauses do not go together, or the work is longer than 8 h.
    """
    if len(pause_min) != len(work_min) - 1:
        raise ValueError(f"pause_min must have {len(work_min) - 1} values, one between stretches, got {len(pause_min)}")
    longest = together = 0.0
    for at, stretch in enumerate(work_min):
        together += stretch
        longest = max(longest, together)
        if at < len(pause_min) and together <= 60.0 and pause_min[at] >= together:
            together = 0.0
    if longest > 480.0:
        raise ValueError(f"work_min must be at most 480 min together, got {longest:g}")
    return "short" if longest <= 60.0 else "moderate" if longest <= 120.0 else "long"


def recovery_needed_min(work_min: float) -> float:
    """Give the light work that must follow for the work to keep its class: as long as it (short), 0.3 of it (moderate).

    Parameters
    ----------
    work_min : float
        Lifting, above 0 to 120. [min]

    Returns
    -------
    float
        [min]

    Raises
    ------
    ValueError
        If the work is longer than 120 min: it is of long duration whatever follows.
    """
    work = float(ranged("work_min", work_min, 0.0, 120.0, open_low=True))
    return work if work <= 60.0 else 0.3 * work
