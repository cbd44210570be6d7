"""The night minimum from evening readings, and the way down to it: for evenings without a forecast.

The FAO procedure of Snyder and de Melo-Abreu: on past clear calm nights the minimum is regressed on the temperature
two hours after sunset, then what is left on the dew point of that time. It is a two-stage fit, not one multiple
regression: the two give different coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

LEAST_NIGHTS = 3
"""Fewer nights than this leave nothing to judge a line by."""

START_H = 2.0
"""Hours after sunset from which the square-root curve runs. [h]"""


@dataclass(frozen=True)
class MinimumModel:
    """Fitted regression of the night minimum.

    Attributes
    ----------
    slope_t0, intercept_c : float
        First stage: minimum on temperature two hours after sunset. [-, °C]
    slope_td0, intercept_td0_c : float
        Second stage: its residual on the dew point of that time; zero where none was given. [-, °C]
    rmse_k : float
        Root mean square of what is left on the fitted nights. [K]
    r2 : float
        Share of the minimum's variance that is explained.
    nights : int
        How many nights were fitted.
    uses_dew_point : bool
        Whether the second stage was fitted.
    """

    slope_t0: float
    intercept_c: float
    slope_td0: float
    intercept_td0_c: float
    rmse_k: float
    r2: float
    nights: int
    uses_dew_point: bool

    def predict(self, t0: ArrayLike, td0: ArrayLike | None = None) -> FloatArray:
        """Forecast the night minimum.

        Parameters
        ----------
        t0 : array_like
            Air temperature two hours after sunset. [°C]
        td0 : array_like, optional
            Dew point at that time; needed if it was fitted. [°C]

        Returns
        -------
        ndarray
            Night minimum; NaN gives NaN. [°C]

        Raises
        ------
        ValueError
            If the dew point was fitted and is not given.
        """
        first = self.slope_t0 * np.asarray(t0, dtype=np.float64) + self.intercept_c
        if not self.uses_dew_point:
            return np.asarray(first)
        if td0 is None:
            raise ValueError("td0 is needed: this model was fitted with dew points, got None")
        return np.asarray(first + self.slope_td0 * np.asarray(td0, dtype=np.float64) + self.intercept_td0_c)


def fit_minimum(t0_c: ArrayLike, td0_c: ArrayLike | None, t_min_c: ArrayLike) -> MinimumModel:
    """Fit the FAO regression of the night minimum.

    Parameters
    ----------
    t0_c : array_like, shape (night,)
        Air temperature two hours after sunset on clear calm nights. [°C]
    td0_c : array_like, shape (night,), or None
        Dew point at that time; None fits the temperature alone. [°C]
    t_min_c : array_like, shape (night,)
        Minimum of the following morning. [°C]

    Returns
    -------
    MinimumModel
        With ``predict(t0, td0)``.

    Raises
    ------
    ValueError
        If there are fewer than three nights, lengths differ, values are missing, or all evenings are alike.

    References
    ----------
    .. [1] Snyder, R. L. and de Melo-Abreu, J. P. (2005). Frost Protection: Fundamentals, Practice and Economics,
       vol. 1, ch. 5. FAO Environment and Natural Resources Series 10.

    Examples
    --------
    >>> model = fit_minimum([3.2, 0.8, 0.2, 2.6], None, [-3.1, -5.0, -6.3, -5.4])
    >>> round(float(model.predict(2.0)), 2)
    -4.73
    """
    t0, t_min = _nights("t0_c", t0_c), _nights("t_min_c", t_min_c)
    td0 = None if td0_c is None else _nights("td0_c", td0_c)
    for name, values in (("t0_c", t0), ("td0_c", td0)):
        if values is not None and values.size != t_min.size:
            raise ValueError(f"{name} must hold the {t_min.size} nights of t_min_c, got {values.size}")
    slope, intercept = _line("t0_c", t0, t_min)
    left = t_min - (slope * t0 + intercept)
    slope_td, intercept_td = (0.0, 0.0) if td0 is None else _line("td0_c", td0, left)
    if td0 is not None:
        left = left - (slope_td * td0 + intercept_td)
    spread = float(((t_min - t_min.mean()) ** 2).sum())
    return MinimumModel(
        slope_t0=slope,
        intercept_c=intercept,
        slope_td0=slope_td,
        intercept_td0_c=intercept_td,
        rmse_k=float(np.sqrt((left**2).mean())),
        r2=1.0 - float((left**2).sum()) / spread if spread > 0 else float("nan"),
        nights=int(t_min.size),
        uses_dew_point=td0 is not None,
    )


def night_trend(
    t_start_c: ArrayLike, t_min_c: ArrayLike, hours_total: ArrayLike, hours: ArrayLike, *, start_h: float = START_H
) -> FloatArray:
    """Give the temperature through a clear calm night from evening to the forecast minimum.

    Parameters
    ----------
    t_start_c : array_like
        Temperature `start_h` hours after sunset. [°C]
    t_min_c : array_like
        Minimum at sunrise. [°C]
    hours_total : array_like
        Hours from sunset to sunrise, more than `start_h`, at most 24. [h]
    hours : array_like
        Hours after sunset, `start_h` to `hours_total`. [h]
    start_h : float
        Hours after sunset at which the curve begins, at least 0. [h]

    Returns
    -------
    ndarray
        Air temperature; NaN gives NaN. [°C]

    Raises
    ------
    ValueError
        If a length or an hour is outside its range.

    Notes
    -----
    Square-root trend of [1]_: ``T = T2 + (Tmin - T2) sqrt((t - 2) / (n - 2))``.

    References
    ----------
    .. [1] Snyder, R. L. and de Melo-Abreu, J. P. (2005). Frost Protection: Fundamentals, Practice and Economics,
       vol. 1, ch. 5. FAO Environment and Natural Resources Series 10.

    Examples
    --------
    >>> night_trend(6.0, -3.0, 13.0, [2.0, 13.0]).tolist()
    [6.0, -3.0]
    """
    if not 0 <= start_h < 24:
        raise ValueError(f"start_h must be at least 0 and less than 24 h, got {start_h:g}")
    start, lowest = np.asarray(t_start_c, dtype=np.float64), np.asarray(t_min_c, dtype=np.float64)
    total, at = np.asarray(hours_total, dtype=np.float64), np.asarray(hours, dtype=np.float64)
    wrong = (total <= start_h) | (total > 24)
    if wrong.any():
        raise ValueError(f"hours_total must be greater than {start_h:g} and at most 24 h, got {total[wrong].flat[0]:g}")
    total, at = np.broadcast_arrays(total, at)
    wrong = (at < start_h) | (at > total)
    if wrong.any():
        raise ValueError(f"hours must be at least {start_h:g} and at most hours_total, got {at[wrong].flat[0]:g}")
    return np.asarray(start + (lowest - start) * np.sqrt((at - start_h) / (total - start_h)))


def _nights(name: str, values: ArrayLike) -> FloatArray:
    """Give one value a night, all known, at least three."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or array.size < LEAST_NIGHTS:
        raise ValueError(f"{name} must hold at least {LEAST_NIGHTS} nights in one dimension, got shape {array.shape}")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} must be known for every night, got {array[~np.isfinite(array)][0]:g}")
    wrong = (array < -90) | (array > 60)
    if wrong.any():
        raise ValueError(f"{name} must be at least -90 and at most 60 °C, got {array[wrong][0]:g}")
    return array


def _line(name: str, x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Fit a straight line by least squares: slope and intercept."""
    centred = x - x.mean()
    spread = float((centred**2).sum())
    if spread < 1e-9:
        raise ValueError(f"{name} must differ between nights, got {x[0]:g} on all of them")
    slope = float((centred * (y - y.mean())).sum()) / spread
    return slope, float(y.mean() - slope * x.mean())
