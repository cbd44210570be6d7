"""What the tissues of many plants felt in their winters, and how much chilling built up; compiled.

Compiled on first use and kept on disk; no global lock is held. `felt` is `plants.injury.felt_c` and the lowest over the
nights, `chilled` the worst of `plants.injury._carried` over its doses; a test holds them to each other. Exposures are
those of a few sizes of leaf and fruit, shape (size, plant, winter, night, tissue, duration); a kind's own lie on a
straight line between two of them, `at` the lower one and `share` of the way, shapes (kind, tissue).
"""

from __future__ import annotations

from math import inf, isnan
from typing import Any

import numba
import numpy as np

kept: Any = numba.njit(nogil=True, cache=True, error_model="numpy")


@kept
def felt(
    cold: Any, at: Any, share: Any, known: Any, longer: Any, gate: float, harder: Any, hardens: Any, out: Any
) -> None:
    """Lowest felt temperature of a winter.

    `known` [winter, night]; `longer` [way, duration], what is taken off for the hours by each way in which hours may
    count; `harder` [winter, night], how far plants are hardened on that night beyond a usual winter, and `hardens`
    [kind, tissue] what that adds; `out` [kind, way, plant, winter, tissue], lowered in place.
    """
    n_kinds, n_ways = out.shape[0], out.shape[1]
    sizes, plants, winters, nights, tissues, durations = cold.shape
    for p in range(plants):
        for w in range(winters):
            for n in range(nights):
                if not known[w, n]:
                    continue
                for t in range(tissues):
                    ice = False
                    for s in range(sizes):
                        for d in range(durations):
                            ice |= cold[s, p, w, n, t, d] < 0.0  # not where it is not a number
                    if not ice:
                        continue
                    for k in range(n_kinds):
                        low, part = at[k, t], share[k, t]
                        high = min(low + 1, sizes - 1)
                        add = harder[w, n] * hardens[k, t]
                        for d in range(durations):
                            c = float(cold[low, p, w, n, t, d])
                            if part != 0.0:
                                c += part * (float(cold[high, p, w, n, t, d]) - c)
                            if c < 0.0:
                                c += max(gate / -c - 1.0, 0.0) + add
                                for i in range(n_ways):
                                    if c - longer[i, d] < out[k, i, p, w, t]:
                                        out[k, i, p, w, t] = c - longer[i, d]


@kept
def chilled(
    cold: Any, at: int, share: float, tissue: int, known: Any, hours: Any, levels: Any, tender: Any, memory: float,
    out: Any,
) -> None:  # fmt: skip
    """Worst chilling of a winter below each of some levels, for one kind.

    `known` [winter, night]; `hours` [duration]; `levels` [level]; `tender` [winter, night], by how much the levels of
    that night are higher; `out` [level, plant, winter].
    """
    sizes, plants, winters, nights, _, durations = cold.shape
    high = min(at + 1, sizes - 1)
    carried = np.zeros(levels.shape[0])
    warmest = levels.max()
    leaf = np.empty(durations)
    for p in range(plants):
        for w in range(winters):
            carried[:] = 0.0
            for n in range(nights):
                lowest = inf
                for d in range(durations):
                    c = float(cold[at, p, w, n, tissue, d])
                    if share != 0.0:
                        c += share * (float(cold[high, p, w, n, tissue, d]) - c)
                    leaf[d] = inf if isnan(c) or not known[w, n] else c - tender[w, n]
                    lowest = min(lowest, leaf[d])
                for i in range(levels.shape[0]):
                    dose = 0.0
                    if lowest < warmest:
                        for d in range(durations):
                            dose = max(dose, (levels[i] - leaf[d]) * hours[d])
                    carried[i] = memory * carried[i] + dose
                    out[i, p, w] = max(out[i, p, w], carried[i])


@kept
def lowest_hour(cold: Any, known: Any, tissue: int, duration: int, out: Any) -> None:
    """Lowest of one tissue and duration over the nights of a winter, first size; `out` [plant, winter], lowered."""
    _, plants, winters, nights, _, _ = cold.shape
    for p in range(plants):
        for w in range(winters):
            for n in range(nights):
                if known[w, n] and cold[0, p, w, n, tissue, duration] < out[p, w]:
                    out[p, w] = cold[0, p, w, n, tissue, duration]
