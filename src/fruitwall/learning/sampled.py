"""The same model by sampling: NUTS, for the yearly full fit and as the check of the nightly approximation.

Needs the extra ``bayes`` (JAX and BlackJAX: some 600 MB, which is why it is not in the core).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.looks import CHILL_SHIFTS_K, LEFT_BY_MISTAKES, Look
from fruitwall.learning.tolerances import CHILL_WIDTH_H, HYPER_SD, Data, Layout, TreePrior, prepare
from fruitwall.plants.injury import DURATIONS_H

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sampled:
    """Draws of the trees' shifts, with what tells whether the chains have met.

    Attributes
    ----------
    trees, chill : dict of ndarray [chain, draw]
        Shift of each tree's limits, and of its chill level. [K]
    kinds : dict of ndarray [chain, draw]
        The kinds' parts. [K]
    yard : ndarray [chain, draw]
        What all trees share. [K]
    scales : ndarray [chain, draw, scale]
        Logarithms of the factors of kinds, trees and spread, and the effect of duration; as `HYPER_SD`.
    worst_rhat : float
        Largest split R-hat of trees, kinds, yard and scales (Gelman et al. 2013, Bayesian data analysis, section 11.4).
    """

    trees: dict[str, Array]
    chill: dict[str, Array]
    kinds: dict[str, Array]
    yard: Array
    scales: Array
    worst_rhat: float


def sample(
    trees: Sequence[TreePrior],
    looks: Sequence[Look],
    *,
    seed: int,
    chains: int = 4,
    warmup: int = 500,
    draws: int = 1000,
    durations_h: Sequence[float] = DURATIONS_H,
) -> Sampled:
    """Sample from the posterior of `tolerances.learn`.

    Parameters
    ----------
    trees : sequence of TreePrior
    looks : sequence of Look
        At least one.
    seed : int
    chains, warmup, draws : int
        Each at least one.
    durations_h : sequence of float
        Durations of the exposures in the looks. [h]

    Returns
    -------
    Sampled

    Raises
    ------
    ModuleNotFoundError
        Without JAX and BlackJAX; says how to get them.
    ValueError
        As `learn`, and without looks.
    """
    layout, data = prepare(trees, looks, durations_h)
    if data is None:
        raise ValueError("looks must hold at least one look; without any the prior is the answer")
    try:
        import blackjax
        import jax
    except ModuleNotFoundError as missing:
        raise ModuleNotFoundError(
            f"sampling needs {missing.name}, which is not installed: pip install 'fruitwall[bayes]'", name=missing.name
        ) from missing

    jax.config.update("jax_enable_x64", True)
    density = _log_density(layout, data)

    def chain(key: Any) -> Any:
        warm, run = jax.random.split(key)
        start = 0.1 * jax.random.normal(warm, (layout.size + HYPER_SD.size,))
        (state, found), _ = blackjax.window_adaptation(blackjax.nuts, density).run(warm, start, num_steps=warmup)
        kernel = blackjax.nuts(density, **found).step

        def step(state: Any, key: Any) -> Any:
            state, _ = kernel(key, state)
            return state, state.position

        return jax.lax.scan(step, state, jax.random.split(run, draws))[1]

    drawn = np.asarray(jax.lax.map(jax.jit(chain), jax.random.split(jax.random.key(seed), chains)))
    scales = HYPER_SD * drawn[..., layout.size :]
    parts = drawn[..., : layout.size] * layout.sd * np.exp(scales[..., :2] @ layout.groups)
    shifts, chills = parts @ layout.shift_of.T, parts @ layout.chill_of.T
    kinds = parts[..., list(layout.kinds.values())]
    worst = max(float(_split_rhat(one).max()) for one in (shifts, kinds, parts[..., :1], scales))
    return Sampled(
        trees={name: shifts[..., at] for at, name in enumerate(layout.kind_of)},
        chill={name: chills[..., at] for at, name in enumerate(layout.kind_of) if name in layout.chill_trees},
        kinds={name: kinds[..., at] for at, name in enumerate(layout.kinds)},
        yard=parts[..., 0],
        scales=scales,
        worst_rhat=worst,
    )


def _log_density(layout: Layout, data: Data) -> Any:
    """Log density over standardised parameters and scales: each is standard normal before the data."""
    import jax
    import jax.numpy as jnp
    from jax.scipy.special import ndtr

    big = 1e3  # K; stands for infinity, whose derivatives are no numbers
    beyond = jnp.asarray(np.clip(data.beyond_k, -big, big))
    needed = jnp.asarray(np.minimum(data.needed_k_h, 1e9))
    first, step = CHILL_SHIFTS_K[0], CHILL_SHIFTS_K[1] - CHILL_SHIFTS_K[0]
    index, dose, young, slope = data.index, jnp.asarray(data.dose_k_h), data.young, data.slope_k
    chilled, rows = index[:, 5] >= 0, np.arange(len(index))

    def density(x: Any) -> Any:
        scales = HYPER_SD * x[layout.size :]
        at = x[: layout.size] * layout.sd * jnp.exp(scales[:2] @ layout.groups)
        width = slope * jnp.exp(scales[2])
        part = at[index]
        shift = part[:, 0] + young * part[:, 1] + part[:, 2] + part[:, 3] + part[:, 4]
        by_shift = (data.scale * shift[:, None])[:, None, :, None]
        passed = (beyond + by_shift + data.log2h * scales[3]).max(axis=(2, 3))
        spared = ndtr(-passed / width[:, None])
        chill = jnp.where(chilled, part[:, 5] + part[:, 6], 0.0)
        place = jnp.clip((chill - first) / step, 0.0, dose.shape[1] - 1.001)
        low = place.astype(int)
        carried = dose[rows, low] + (dose[rows, low + 1] - dose[rows, low]) * (place - low)
        kept = jnp.where(
            carried[:, None] > 0, ndtr((needed - carried[:, None]) / (CHILL_WIDTH_H * width[:, None])), 1.0
        )
        fine = spared * kept * data.pale
        like = LEFT_BY_MISTAKES - data.cold * fine[:, 0] - data.seen * (1.0 - fine[:, 1])
        return jnp.log(like).sum() - 0.5 * (x**2).sum()

    return jax.jit(density)


def _split_rhat(draws: Array) -> Array:
    """Split R-hat of draws [chain, draw, ...]."""
    half = draws.shape[1] // 2
    parts = np.concatenate([draws[:, :half], draws[:, half : 2 * half]])
    within = parts.var(axis=1, ddof=1).mean(axis=0)
    between = half * parts.mean(axis=1).var(axis=0, ddof=1)
    return np.asarray(np.sqrt(((half - 1) / half * within + between / half) / within))
