"""All chill sums of many series in one pass, in pieces if need be, also through hours that are not known."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.chill import COLDEST_C, HOTTEST_C, DynamicState, _within
from fruitwall.plants.chill_tables import DYNAMIC, HIGH_C, LOW_C, LOW_CHILL, MODELS, NORTH_CAROLINA, UTAH, Model

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ChillState:
    """Where all sums stand after some hours.

    Attributes
    ----------
    intermediate : ndarray [series]
        Of the Dynamic Model.
    sums : ndarray [model, series]
        By `chill_tables.MODELS`.
    """

    intermediate: Array
    sums: Array

    def of(self, model: Model) -> Array:
        """Give the sums of one model. [series]"""
        return np.asarray(self.sums[MODELS.index(model)])

    def dynamic(self) -> DynamicState:
        """Give what the Dynamic Model alone needs."""
        return DynamicState(self.intermediate, self.of("portions"))

    def repeated(self, times: int) -> ChillState:
        """Give the same state for so many possible courses of what comes; of one series only."""
        return ChillState(np.repeat(self.intermediate, times), np.repeat(self.sums, times, axis=1))


@dataclass(frozen=True, eq=False)
class ChillSums:
    """All sums so far at each hour.

    Attributes
    ----------
    by_model : Mapping of model to ndarray [series, hour]
    state : ChillState
        After the last hour, for the next piece.
    """

    by_model: Mapping[Model, Array]
    state: ChillState


def chill_sums(
    t_c: ArrayLike,
    state: ChillState | None = None,
    *,
    missing: Literal["nan", "empty"] = "nan",
    threads: int = 2,
    out: Array | None = None,
) -> ChillSums:
    """Sum chill by all models.

    Parameters
    ----------
    t_c : array_like [series, hour]
        Air temperature, mean of the hour. [°C]
    state : ChillState, optional
        Where the hours before left off.
    missing : str
        What an hour that is not known does: ``nan`` makes the sums unknown from there on; ``empty`` adds nothing to
        any and loses the intermediate of the Dynamic Model. Hours and positive units are then what they are at least;
        portions too, to within one; other units may lie on either side.
    threads : int
        Series are shared among so many.
    out : ndarray [model, series, hour], optional
        Where to put the sums; for long series in pieces, so that no new memory is needed each time.

    Returns
    -------
    ChillSums
        The same in pieces as in one, bit for bit.

    Raises
    ------
    ValueError
        If shapes do not fit, or a temperature lies outside of -90 to 65 °C.
    """
    from fruitwall.plants.chill_kernel import march_all  # numba takes a fifth of a second to load

    if missing not in ("nan", "empty"):
        raise ValueError(f'missing must be "nan" or "empty", got {missing!r}')
    t = np.ascontiguousarray(_within("t_c", t_c, COLDEST_C, HOTTEST_C))
    if t.ndim != 2:
        raise ValueError(f"t_c must have the shape [series, hour], got {t.shape}")
    if state is None:
        intermediate, sums = np.zeros(len(t)), np.zeros((len(MODELS), len(t)))
    else:
        intermediate, sums = state.intermediate.copy(), state.sums.copy()
    if intermediate.shape != t.shape[:1] or sums.shape != (len(MODELS), len(t)):
        raise ValueError(f"state must be of {len(t)} series, got {intermediate.shape[0]}")
    shape = (len(MODELS), *t.shape)
    if out is None:
        out = np.empty(shape)
    elif out.shape != shape:
        raise ValueError(f"out must have the shape {shape}, got {out.shape}")
    constants = np.array(DYNAMIC)

    def march(first: int, last: int) -> None:
        march_all(
            t, first, last, LOW_C, HIGH_C, tuple(UTAH), tuple(LOW_CHILL), tuple(NORTH_CAROLINA), constants,
            intermediate, sums, missing == "empty", out,
        )  # fmt: skip

    parts = np.linspace(0, len(t), max(1, min(threads, len(t))) + 1).astype(int)
    if len(parts) == 2:
        march(0, len(t))
    else:
        with ThreadPoolExecutor(len(parts) - 1) as pool:
            list(pool.map(march, parts[:-1].tolist(), parts[1:].tolist()))
    return ChillSums({model: out[row] for row, model in enumerate(MODELS)}, ChillState(intermediate, sums))
