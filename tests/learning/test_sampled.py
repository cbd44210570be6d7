"""Does the nightly learner say what sampling says? NUTS of three made yards is stored; a script draws it anew."""

from __future__ import annotations

import builtins
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bench.learning_reference import SEED, YARDS
from fruitwall.learning.sampled import sample
from fruitwall.learning.tolerances import Learned, Shift, learn
from tests.learning.made_yards import made_yard, prior_of

STORED = json.loads(Path(__file__).with_name("sampled.json").read_text(encoding="utf-8"))["yards"]

MEAN_WITHIN_K = 0.2
SD_RATIO = (0.8, 1.25)


@pytest.fixture(scope="module")
def learned() -> dict[str, Learned]:
    """What the nightly learner says of the same yards."""
    return {name: learn(*made_yard(np.random.default_rng(SEED), **about)[:2]) for name, about in YARDS.items()}


@pytest.mark.parametrize("name", YARDS)
def test_the_stored_draws_are_of_these_yards_and_have_met(name: str) -> None:
    _, looks, _ = made_yard(np.random.default_rng(SEED), **YARDS[name])

    assert "".join(str(one.grade) for one in looks) == STORED[name]["grades"]
    assert STORED[name]["worst_rhat"] < 1.01


@pytest.mark.parametrize("part", ["trees", "chill", "kinds", "yard"])
@pytest.mark.parametrize("name", YARDS)
def test_means_and_spreads_are_those_of_sampling(learned: dict[str, Learned], name: str, part: str) -> None:
    got, drawn = getattr(learned[name], part), STORED[name][part]
    pairs: list[tuple[Shift, list[float]]] = (
        [(got, drawn)] if isinstance(got, Shift) else [(got[key], drawn[key]) for key in drawn]
    )

    for shift, (mean_k, sd_k) in pairs:
        assert shift.mean_k == pytest.approx(mean_k, abs=MEAN_WITHIN_K)
        assert SD_RATIO[0] < shift.sd_k / sd_k < SD_RATIO[1]


@pytest.mark.parametrize("name", YARDS)
def test_scales_are_those_of_sampling(learned: dict[str, Learned], name: str) -> None:
    for key, (log_mean, log_sd) in STORED[name]["scales"].items():
        factor, sd = learned[name].scales[key]
        assert np.log(factor) == pytest.approx(log_mean, abs=0.1)
        assert SD_RATIO[0] < sd / log_sd < SD_RATIO[1]


def test_sampling_without_the_extra_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.split(".")[0] in {"blackjax", "jax"}:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    trees, looks, _ = made_yard(np.random.default_rng(1), kinds=("lemon",), per_kind=1, looks=1)

    with pytest.raises(ModuleNotFoundError, match=r"sampling needs blackjax.*fruitwall\[bayes\]"):
        sample(trees, looks, seed=1)


def test_sampling_without_looks_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one look"):
        sample([prior_of("a", "lemon")], [], seed=1)
