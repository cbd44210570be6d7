"""Sample the posterior of made yards with NUTS, for the tests to hold the nightly learner against.

Run ``python -m bench.learning_reference`` with the extra ``bayes``; it writes ``tests/learning/sampled.json``. Needed
again whenever the model of `fruitwall.learning.tolerances` or the made yards change.
"""

from __future__ import annotations

import json
from importlib.metadata import version
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

from bench.machine import machine
from fruitwall.learning.sampled import sample
from fruitwall.learning.tolerances import SCALES
from tests.learning.made_yards import made_yard

YARDS: dict[str, dict[str, Any]] = {
    "told much": {"looks": 8, "nights": 3},
    "told little": {"looks": 2, "nights": 1},
    "one kind, one observer": {"kinds": ("lemon",), "per_kind": 6, "looks": 5, "observers": ("ana",)},
}
SEED = 6
CHAINS, WARMUP, DRAWS = 4, 500, 1500
STORED = Path(__file__).parents[1] / "tests" / "learning" / "sampled.json"


def told(draws: np.ndarray) -> list[float]:
    """Mean and standard deviation."""
    return [round(float(draws.mean()), 4), round(float(draws.std()), 4)]


def main() -> None:
    """Sample all yards and store what the tests need."""
    stored: dict[str, Any] = {
        "made by": "python -m bench.learning_reference",
        "with": {name: version(name) for name in ("blackjax", "jax", "numpy")},
        "draws": [CHAINS, DRAWS],
        "yards": {},
    }
    print(machine())
    for name, options in YARDS.items():
        trees, looks, _ = made_yard(np.random.default_rng(SEED), **options)
        begin = perf_counter()
        drawn = sample(trees, looks, seed=SEED, chains=CHAINS, warmup=WARMUP, draws=DRAWS)
        print(
            f"{name}: {len(looks)} looks, {perf_counter() - begin:.0f} s, split R-hat {drawn.worst_rhat:.4f}",
            flush=True,
        )
        stored["yards"][name] = {
            "grades": "".join(str(one.grade) for one in looks),
            "worst_rhat": round(drawn.worst_rhat, 4),
            "trees": {key: told(its) for key, its in drawn.trees.items()},
            "chill": {key: told(its) for key, its in drawn.chill.items()},
            "kinds": {key: told(its) for key, its in drawn.kinds.items()},
            "yard": told(drawn.yard),
            "scales": {key: told(drawn.scales[..., at]) for at, key in enumerate(SCALES)},
        }
    STORED.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
