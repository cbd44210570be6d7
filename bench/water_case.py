"""A year of hourly water balance for sixty trees, and how much longer a plain NumPy loop over hours takes.

Reference evapotranspiration at each spot, what the kind uses, and the balance of its root zone. Limit of the balance:
0.3 s. The loop takes the same steps for all trees at once, without crown, roof and salt; both must agree.
"""

from __future__ import annotations

import time

import numpy as np
from numpy.typing import NDArray

from bench.machine import machine
from fruitwall.plants.water import (
    Balance,
    BalanceState,
    RootZone,
    hourly_reference,
    march_balance,
    root_zone_ground,
    root_zone_pot,
)

TREES, HOURS = 60, 8760
LIMIT_S = 0.3
Array = NDArray[np.float64]


def weather(seed: int = 7) -> dict[str, Array]:
    """Make a year at spots that differ in warmth, sun and wind. [tree, hour]"""
    rng = np.random.default_rng(seed)
    hour = np.arange(HOURS)
    season = -np.cos(2 * np.pi * hour / HOURS)
    t = 18.0 + 9.0 * season - 6.0 * np.cos(2 * np.pi * (hour % 24 - 3) / 24) + rng.normal(0.0, 1.0, (TREES, 1))
    sun = (
        np.maximum(np.sin(np.pi * (hour % 24 - 6) / 12), 0.0)
        * (650.0 + 250.0 * season)
        * rng.uniform(0.4, 1, (TREES, 1))
    )
    rain = np.where(rng.random(HOURS) < 0.02, rng.gamma(0.8, 4.0, HOURS), 0.0)
    return {"t_c": t, "sun": sun, "wind": rng.uniform(0.3, 3.0, (TREES, HOURS)), "rain": rain}


def zones() -> list[RootZone]:
    """Every third tree in a pot."""
    ground = [root_zone_ground(texture, 0.9, 0.5, 7.0) for texture in ("sand", "loam", "clay")]
    return [root_zone_pot(57.0, "potting_mix", 1.0) if i % 3 == 0 else ground[i // 3 % 3] for i in range(TREES)]


def looped(held: list[RootZone], et: Array, rain: Array, given: Array) -> tuple[Array, float]:
    """Step hour by hour with NumPy over all trees: depletion [tree, hour] and seconds."""
    capacity, ready, most, catch = (
        np.array([getattr(zone, name) for zone in held])
        for name in ("capacity_mm", "ready_mm", "infiltration_mm_h", "rain_catch")
    )
    out = np.empty_like(et)
    began = time.perf_counter()
    missing, p = np.zeros(len(held)), ready / capacity
    for hour in range(et.shape[1]):
        ks = np.clip((capacity - missing) / ((1.0 - p) * capacity), 0.0, 1.0)
        come = np.minimum(rain[hour] * catch, most) + given[:, hour]
        used = np.maximum(np.minimum(ks * et[:, hour], capacity - missing + come), 0.0)
        missing = np.maximum(missing + used - come, 0.0)
        out[:, hour] = missing
    return out, time.perf_counter() - began


def main() -> None:
    """Print seconds and ratio."""
    made, held = weather(), zones()
    stamps = np.datetime64("2025-01-01T01:00", "s") + np.arange(HOURS) * np.timedelta64(3600, "s")
    print(f"  {machine()}")
    began = time.perf_counter()
    march_balance(held[0], BalanceState(0.0), [0.1], [0.0], [0.0])
    print(f"  first call, compiled or from disk: {time.perf_counter() - began:.2f} s")
    began = time.perf_counter()
    reference = hourly_reference(
        made["t_c"], time_utc=stamps, latitude_deg=33.0, longitude_deg=0.0, elevation_m=300.0, t_dew_c=8.0,
        wind_2m_m_s=made["wind"], shortwave_w_m2=made["sun"], open_shortwave_w_m2=made["sun"].max(axis=0),
    ).et_mm  # fmt: skip
    print(f"  reference evapotranspiration, {TREES} trees x {HOURS} hours: {time.perf_counter() - began:.2f} s")
    et = 0.7 * reference
    given = np.zeros_like(et)
    given[:, 20::72] = 9.0

    def marched() -> tuple[list[Balance], float]:
        since = time.perf_counter()
        done = [march_balance(z, BalanceState(0.0), et[i], made["rain"], given[i]) for i, z in enumerate(held)]
        return done, time.perf_counter() - since

    best = min(marched()[1] for _ in range(3))
    verdict = "met" if best <= LIMIT_S else "NOT met"
    print(f"  balance, tree by tree: {best:.3f} s (limit {LIMIT_S:g} s: {verdict})")
    slow, seconds = looped(held, et, made["rain"], given)
    ours = np.stack([found.depletion_mm for found in marched()[0]])
    print(f"  plain NumPy loop over hours: {seconds:.2f} s; ratio {seconds / best:.0f}")
    print(f"  largest difference of any depletion: {float(np.abs(slow - ours).max()):.1e} mm")


if __name__ == "__main__":
    main()
