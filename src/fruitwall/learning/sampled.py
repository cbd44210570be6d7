"""The same model by sampling: NUTS, for the yearly full fit and as the check of the nightly approximation.

Needs the extra ``bayes`` (JAX and BlackJAX: some 600 MB, which is why it is not in the core).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.looks import Look
from fruitwall.learning.tolerances import HYPER_SD, TreePrior, prepare
from fruitwall.plants.injury import DURATIONS_H

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Sampled:
    """Draws of the trees' shifts, with what tells whether the chains have met.

    Attributes
    ----------
    trees : dict of ndarray [chain, draw]
        Shift of each tree's limits. [K]
    scales : ndarray [chain, draw, scale]
        Logarithms of the factors of kinds, trees and spread.
    worst_rhat : float
        Largest split R-hat of trees and scales (Gelman et al. 2013, Bayesian data analysis, section 11.4).
    """

    trees: dict[str, Array]
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
        Without JAX and BlackJAX.
    """
    import blackjax
    import jax

    jax.config.update("jax_enable_x64", True)
    layout, data = prepare(trees, looks, durations_h)
    density = _log_density(layout, data.arrays)

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
    factor = _factors(layout, np)(scales)
    shifts = (drawn[..., : layout.size] * layout.sd * factor) @ layout.shift_of.T
    worst = max(float(_split_rhat(one).max()) for one in (shifts, scales))
    return Sampled({name: shifts[..., at] for at, name in enumerate(layout.kind_of)}, scales, worst)


def _factors(layout: Any, xp: Any) -> Any:
    """Factor on each parameter's prior spread, from the logarithms of the scales."""

    def factors(scales: Any) -> Any:
        kinds = xp.where(layout.of_kinds, xp.exp(scales[..., :1]), 1.0)
        return kinds * xp.where(layout.of_trees, xp.exp(scales[..., 1:2]), 1.0)

    return factors


def _log_density(layout: Any, arrays: tuple[Any, ...]) -> Any:
    """Log density over standardised parameters and scales: each is standard normal before the data."""
    import jax
    import jax.numpy as jnp
    from jax.scipy.special import ndtr

    beyond, scale, log2h, cold, seen, pale, slope, young, dose, needed, width_h, chill_first, step, index = (
        jnp.asarray(one) for one in arrays
    )
    beyond = jnp.where(jnp.isfinite(beyond), beyond, jnp.sign(beyond) * 1e3)
    needed = jnp.where(jnp.isfinite(needed), needed, 1e9)
    chilled = index[:, 6] >= 0
    factors = _factors(layout, jnp)
    sd, rows = jnp.asarray(layout.sd), jnp.arange(slope.size)

    def density(x: Any) -> Any:
        scales = HYPER_SD * x[layout.size :]
        at = x[: layout.size] * sd * factors(scales)
        width = slope * jnp.exp(scales[2])
        part = at[index]
        shift = part[:, 0] + young * part[:, 1] + part[:, 3] + part[:, 4] + part[:, 5]
        passed = (beyond + (scale * shift[:, None] + log2h * at[2])[:, None, :]).max(axis=2)
        spared = ndtr(-passed / width[:, None])
        chill = jnp.where(chilled, part[:, 6] + part[:, 7], 0.0)
        place = jnp.clip((chill - chill_first) / step, 0.0, dose.shape[1] - 1.001)
        low = place.astype(int)
        carried = dose[rows, low] + (dose[rows, low + 1] - dose[rows, low]) * (place - low)
        kept = jnp.where(carried[:, None] > 0, ndtr((needed - carried[:, None]) / (width_h * width[:, None])), 1.0)
        fine = spared * kept * pale
        like = 1.0 - cold * fine[:, 0] - seen * (1.0 - fine[:, 1])
        return jnp.log(jnp.maximum(like, 1e-12)).sum() - 0.5 * (x**2).sum()

    return jax.jit(density)


def _split_rhat(draws: Array) -> Array:
    """Split R-hat of draws [chain, draw, ...]."""
    half = draws.shape[1] // 2
    parts = np.concatenate([draws[:, :half], draws[:, half : 2 * half]])
    within = parts.var(axis=1, ddof=1).mean(axis=0)
    between = half * parts.mean(axis=1).var(axis=0, ddof=1)
    return np.asarray(np.sqrt(((half - 1) / half * within + between / half) / within))
