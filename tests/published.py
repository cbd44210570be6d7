"""Published values to test against, read from ``tests/checks/*.yaml``.

Each file is a list of checks with the keys of `Check`. Use::

    @pytest.mark.parametrize("check", load_checks("air.yaml"), ids=str)

or take one by name: ``find_check("air.yaml", "psy-pressure-fao56")``.

Kinds: ``value``, ``table`` (lists run in parallel), ``range`` (the model falls inside), ``ordering`` (only the
order counts), ``trap`` (a known slip, in print or in code: the right value is tested).
Status: ``read`` in the source or the copy named there, ``computed_analytic`` by evaluating the stated formula,
``oracle`` by the library and version named,
``from_memory`` a reminder rather than proof.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

FOLDER = Path(__file__).parent / "checks"

KINDS = frozenset({"value", "table", "range", "ordering", "trap"})
STATUSES = frozenset({"read", "computed_analytic", "oracle", "from_memory"})


@dataclass(frozen=True)
class Check:
    """One published value or table, with where it stands and how closely it must be met."""

    id: str
    kind: str
    what: str
    inputs: dict[str, Any]
    expected: dict[str, Any]
    tolerance: dict[str, Any]
    source: str
    status: str
    notes: str = ""
    target: str = ""
    equation: str = ""
    topic: str = ""

    def __str__(self) -> str:
        return f"{self.id}: {self.source.split('(')[0][:60].strip()}"

    def given(self, name: str) -> Any:
        """Give an input; lists of numbers as arrays."""
        return _as_array(self.inputs[name])

    def want(self, name: str) -> Any:
        """Give an expected value; lists of numbers as arrays."""
        return _as_array(self.expected[name])

    def approx(self, name: str) -> Any:
        """Give the expected value as `pytest.approx` with the check's own tolerance."""
        absolute, relative = self.tolerance.get("abs"), self.tolerance.get("rel")
        if isinstance(absolute, dict):
            absolute = absolute[name]
        if absolute is None and relative is None:
            raise ValueError(f"check {self.id} has no numerical tolerance: {self.tolerance}")
        return pytest.approx(self.want(name), abs=absolute or 0.0, rel=relative or 0.0, nan_ok=True)


@cache
def _read(name: str) -> dict[str, Check]:
    """Read a file once; unknown keys, kinds and double ids are refused."""
    rows = yaml.load((FOLDER / name).read_text(encoding="utf-8"), Loader=_NoDoubles)
    checks: dict[str, Check] = {}
    for row in rows:
        check = Check(**row)
        if check.kind not in KINDS or check.status not in STATUSES:
            raise ValueError(f"{name}, {check.id}: kind {check.kind!r} or status {check.status!r} is not known")
        if check.id in checks:
            raise ValueError(f"{name}: {check.id} stands twice")
        checks[check.id] = check
    return checks


def load_checks(name: str) -> list[Check]:
    """Give all checks of ``tests/checks/<name>`` in the order of the file."""
    return list(_read(name).values())


def find_check(name: str, check_id: str) -> Check:
    """Give one check of ``tests/checks/<name>``."""
    return _read(name)[check_id]


def _as_array(value: Any) -> Any:
    """Turn a (nested) list of numbers into an array, leave the rest."""
    if isinstance(value, list) and value:
        flat = value[0] if isinstance(value[0], list) else value
        if all(isinstance(item, (int, float)) and not isinstance(item, bool) for item in flat):
            return np.asarray(value, dtype=float)
    return value


class _NoDoubles(yaml.SafeLoader):
    """Loader that refuses a key given twice, which YAML would let pass."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        keys = [self.construct_object(key, deep=True) for key, _ in node.value]
        if len(keys) != len(set(keys)):
            raise ValueError(f"key given twice near line {node.start_mark.line + 1}: {keys}")
        return super().construct_mapping(node, deep)
