"""Weather tables in text files: comment lines, header with units, rows of numbers.

What hourly and daily files have in common. Column names and units are documented in docs/weather-files.md; which
columns a file must have is left to `sources.csv_file` and `history`.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say
from fruitwall.weather.units import convert

FloatArray = NDArray[np.float64]

LARGEST_FILE_BYTES = 50_000_000
"""Thirty years of hours are about 20 MB."""

MISSING = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "--", "m"})
"""Texts of a cell that mean "not known", in lower case."""

SETTINGS = (
    "time zone",
    "latitude",
    "longitude",
    "elevation",
    "wind height",
    "issued",
    "source",
)
"""Comment lines that mean something: ``# time zone: America/Los_Angeles``. Others are free text."""


@dataclass(frozen=True)
class Column:
    """One kind of column: our name, kind of unit, the spellings by which it is found, an example header."""

    name: str
    kind: str
    spellings: tuple[str, ...]
    example: str


@dataclass(frozen=True)
class Table:
    """A file as read: values in our units, texts of the key columns, settings of the comment lines."""

    where: str
    settings: dict[str, str]
    values: dict[str, FloatArray]
    texts: dict[str, list[str]]
    lines: list[int] = field(repr=False)
    ignored: tuple[str, ...] = ()

    def setting(self, name: str, kind: str) -> float | None:
        """Give a numerical setting such as ``# elevation: 462 m``, in our unit; a bare number is taken in it."""
        text = self.settings.get(name)
        if text is None:
            return None
        match = re.fullmatch(r"([-+]?[\d.]+)\s*(.*)", text)
        try:
            if match is None:
                raise ValueError("no number")
            number, unit = float(match[1]), match[2].strip()
            if kind == "angle":
                if unit not in ("", "°", "deg", "degrees"):
                    raise ValueError("no degrees")
                return number
            return float(convert(number, unit or "m", kind))
        except ValueError as error:
            raise WeatherError(
                say(
                    '{where}: expected a number in the line "# {name}: ...", got "{text}" ({error})',
                    where=self.where,
                    name=name,
                    text=text,
                    error=error,
                )
            ) from error


def read_text(path: Path) -> str:
    """Read a text file whole.

    Raises
    ------
    WeatherError
        If it is not there, too large, or no text.
    """
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise WeatherError(
                say(
                    "{path}: larger than {most} MB, which no weather file is",
                    path=path,
                    most=LARGEST_FILE_BYTES // 1_000_000,
                )
            )
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise WeatherError(say("{path}: no such file", path=path)) from error
    except UnicodeDecodeError as error:
        raise WeatherError(
            say("{path}: no UTF-8 text (byte {start}); save it as CSV in UTF-8", path=path, start=error.start)
        ) from error
    except OSError as error:
        raise WeatherError(
            say("{path}: cannot be read ({reason})", path=path, reason=error.strerror or error)
        ) from error


def parse_table(text: str, *, where: str, keys: Mapping[str, Sequence[str]], columns: Sequence[Column]) -> Table:
    """Read a table from text.

    Parameters
    ----------
    text : str
        Whole file. Fields are separated by comma, semicolon (then a decimal comma is understood) or tab.
    where : str
        Its name for messages.
    keys : mapping of str to sequence of str
        Text columns by our name with their spellings, such as the time; the first is compulsory.
    columns : sequence of Column
        Numerical columns that are known here.

    Returns
    -------
    Table
        Unknown columns are listed in `ignored`.

    Raises
    ------
    WeatherError
        If the header lacks a unit or the first key, a column looks misspelt or stands twice, or a cell is no number.
    """
    settings, header_line, body = _split(text, where)
    delimiter = max(";\t,", key=header_line[1].count)
    rows = list(csv.reader(io.StringIO(body), delimiter=delimiter))
    numbers = _line_numbers(body, header_line[0])
    header = [cell.strip() for cell in next(csv.reader([header_line[1]], delimiter=delimiter))]
    places, ignored = _read_header(header, where=where, keys=keys, columns=columns)
    texts: dict[str, list[str]] = {name: [] for name, spot in places.items() if spot[1] is None}
    cells: dict[str, list[float]] = {name: [] for name, spot in places.items() if spot[1] is not None}
    lines: list[int] = []
    for number, row in zip(numbers, rows, strict=False):
        if not any(cell.strip() for cell in row) or row[0].lstrip().startswith("#"):
            continue
        if len(row) != len(header):
            raise WeatherError(
                say(
                    "{where} line {number}: {count} fields, but the header has {known}",
                    where=where,
                    number=number,
                    count=len(row),
                    known=len(header),
                )
            )
        lines.append(number)
        for name, (position, _) in places.items():
            cell = row[position].strip()
            if name in texts:
                texts[name].append(cell)
            else:
                cells[name].append(_read_number(cell, header[position], number, where, comma=delimiter == ";"))
    if not lines:
        raise WeatherError(say("{where}: no rows below the header", where=where))
    kinds = {column.name: column for column in columns}
    values = {}
    for name, numbers_read in cells.items():
        unit = places[name][1]
        values[name] = convert(numbers_read, unit or "", kinds[name].kind)
    return Table(where, settings, values, texts, lines, tuple(ignored))


def _split(text: str, where: str) -> tuple[dict[str, str], tuple[int, str], str]:
    """Part the comment lines at the top, the header and the rest."""
    settings: dict[str, str] = {}
    lines = text.splitlines()
    for number, line in enumerate(lines, start=1):
        if line.lstrip().startswith("#"):
            name, colon, value = line.lstrip("# \t").partition(":")
            if colon and name.strip().lower() in SETTINGS:
                settings[name.strip().lower()] = value.strip()
        elif line.strip():
            return settings, (number, line), "\n".join(lines[number:])
    raise WeatherError(say("{where}: the file is empty", where=where))


def _line_numbers(body: str, header_line: int) -> list[int]:
    """Number the rows of the body; no field holds a line break, so rows are lines."""
    return list(range(header_line + 1, header_line + 1 + len(body.splitlines())))


def _read_header(
    header: list[str], *, where: str, keys: Mapping[str, Sequence[str]], columns: Sequence[Column]
) -> tuple[dict[str, tuple[int, str | None]], list[str]]:
    """Find each known column: its position and unit (none for texts). Unknown ones are listed."""
    found: dict[str, tuple[int, str | None]] = {}
    ignored: list[str] = []
    by_spelling = {spelling: column for column in columns for spelling in column.spellings}
    key_names = {spelling: name for name, spellings in keys.items() for spelling in spellings}
    for position, cell in enumerate(header):
        match = re.fullmatch(r"([^\[\(]*?)\s*(?:[\[\(](.*)[\]\)])?", cell)
        spelt, unit = (match[1], match[2]) if match else (cell, None)
        spelt = re.sub(r"[\s\-]+", "_", spelt.strip().lower())
        if spelt in key_names:
            name, unit = key_names[spelt], None
        elif spelt in by_spelling:
            column = by_spelling[spelt]
            name = column.name
            if not unit:
                raise WeatherError(
                    say(
                        '{where}: the column "{cell}" has no unit; write it in the header as in "{example}"',
                        where=where,
                        cell=cell,
                        example=column.example,
                    )
                )
            try:
                convert(0.0, unit, column.kind)
            except ValueError as error:
                raise WeatherError(
                    say(
                        '{where}: the column "{cell}": {error}; write it as in "{example}"',
                        where=where,
                        cell=cell,
                        error=error,
                        example=column.example,
                    )
                ) from error
        else:
            near = difflib.get_close_matches(spelt, [*by_spelling, *key_names], n=1, cutoff=0.8)
            if near:
                raise WeatherError(
                    say(
                        '{where}: no column is named "{spelt}"; did you mean "{near}"?',
                        where=where,
                        spelt=spelt,
                        near=near[0],
                    )
                )
            ignored.append(cell)
            continue
        if name in found:
            raise WeatherError(
                say(
                    '{where}: the columns "{known}" and "{cell}" mean the same',
                    where=where,
                    known=header[found[name][0]],
                    cell=cell,
                )
            )
        found[name] = (position, unit)
    first = next(iter(keys))
    if first not in found:
        examples = ", ".join([first, *(column.example for column in columns[:3])])
        raise WeatherError(
            say(
                '{where}: no column "{first}" in the header; expected one such as "{examples}"',
                where=where,
                first=first,
                examples=examples,
            )
        )
    return found, ignored


def _read_number(cell: str, column: str, line: int, where: str, *, comma: bool) -> float:
    """Read one cell; texts of `MISSING` give NaN."""
    if cell.lower() in MISSING:
        return float("nan")
    try:
        value = float(cell.replace(",", ".") if comma else cell)
    except ValueError:
        value = float("inf")
    if not np.isfinite(value):
        raise WeatherError(
            say(
                '{where} line {line}, {column}: expected a number such as -2.5, got "{cell}"',
                where=where,
                line=line,
                column=column,
                cell=cell,
            )
        )
    return value
