"""How far an answer is from what was measured, and the table that shows it beside the naive answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
TimeArray = NDArray[np.datetime64]

LEAST_VALUES = 8
"""A row of fewer values says nothing and is left out."""


@dataclass(frozen=True)
class Score:
    """Errors of one answer, answer minus measured.

    Attributes
    ----------
    bias, mae, rmse : float
        Mean, mean size and root of the mean square of the errors.
    """

    bias: float
    mae: float
    rmse: float

    def __str__(self) -> str:
        return f"{self.bias:+.2f} / {self.mae:.2f} / {self.rmse:.2f}"


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    series : str
        Which measured series.
    what : str
        What is compared, and under which condition.
    naive_is : str
        The naive answer in words.
    nights, values : int
        How much was measured (nights 0: not known); values of one night hang together, so the nights are what counts.
    model, naive : Score
    sample : str
        "out": nothing in the model was made from this series; "in": the model's shape or constant was read off it, or
        kept because it fits it; "one number": besides that one number was fitted on other winters of it.
    unit : str
    """

    series: str
    what: str
    naive_is: str
    nights: int
    values: int
    model: Score
    naive: Score
    sample: str
    unit: str = "K"

    @property
    def key(self) -> str:
        """Name of the row for tests."""
        return f"{self.series}: {self.what}"


def score(answer: FloatArray, measured: FloatArray) -> Score:
    """Give bias, mean absolute error and root mean square error of finite pairs.

    Raises
    ------
    ValueError
        If no pair is finite.
    """
    error = answer - measured
    error = error[np.isfinite(error)]
    if not error.size:
        raise ValueError("answer and measured have no finite pair")
    return Score(float(error.mean()), float(np.abs(error).mean()), float(np.sqrt((error**2).mean())))


def night_numbers(time_utc: TimeArray, longitude_deg: float) -> NDArray[np.int64]:
    """Number the nights: days that begin at local mean solar noon, shape (time,)."""
    local = time_utc.astype("datetime64[s]") + np.timedelta64(round(longitude_deg * 240), "s")
    return np.asarray((local - np.timedelta64(12, "h")).astype("datetime64[D]").astype(np.int64))


def rows(
    series: str,
    what: str,
    *,
    model: FloatArray,
    naive: FloatArray,
    measured: FloatArray,
    night: NDArray[np.int64] | None,
    conditions: Mapping[str, BoolArray],
    naive_is: str,
    sample: str = "out",
    unit: str = "K",
) -> list[Row]:
    """Give one row for each condition.

    Parameters
    ----------
    series, what, naive_is, sample, unit : str
        See `Row`; the condition's name is added to `what`.
    model, naive, measured : ndarray, shape (value,)
        Values that are not finite in all three are left out of both scores.
    night : ndarray, shape (value,), or None
        Number of the night that each value belongs to; None where the values come without stamps.
    conditions : mapping of str to ndarray, shape (value,)
        Name and which values count.

    Returns
    -------
    list of Row
        Without those of fewer than `LEAST_VALUES` values.
    """
    known = np.isfinite(model) & np.isfinite(naive) & np.isfinite(measured)
    made = []
    for name, those in conditions.items():
        use = known & those
        if use.sum() < LEAST_VALUES:
            continue
        made.append(
            Row(
                series,
                f"{what}, {name}" if name else what,
                naive_is,
                0 if night is None else int(np.unique(night[use]).size),
                int(use.sum()),
                score(model[use], measured[use]),
                score(naive[use], measured[use]),
                sample,
                unit,
            )
        )
    return made


HEAD = ("series", "compared", "nights", "values", "model", "naive", "naive answer", "sample")


def as_text(table: Sequence[Row]) -> str:
    """Give the table for a terminal; figures are bias / MAE / RMSE."""
    cells = [HEAD, *(_cells(row) for row in table)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(HEAD))]
    return "\n".join("  ".join(word.ljust(width) for word, width in zip(line, widths, strict=True)) for line in cells)


def as_markdown(table: Sequence[Row]) -> str:
    """Give the table as Markdown; the smaller RMSE is set in bold."""
    lines = ["| " + " | ".join(HEAD) + " |", "| " + " | ".join("---" for _ in HEAD) + " |"]
    for row in table:
        cells = list(_cells(row))
        column = HEAD.index("model" if row.model.rmse <= row.naive.rmse else "naive")
        cells[column] = f"**{cells[column]}**"
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def _cells(row: Row) -> tuple[str, ...]:
    """Words of one line."""
    unit = "" if row.unit == "K" else f" [{row.unit}]"
    return (
        row.series,
        row.what + unit,
        str(row.nights or "–"),
        str(row.values),
        str(row.model),
        str(row.naive),
        row.naive_is,
        row.sample,
    )
