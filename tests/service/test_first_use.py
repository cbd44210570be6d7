"""Whoever waits for the first compilation is told so, and nobody else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numba

from fruitwall.physics.first_use import telling_when_compiling
from fruitwall.service.evening import PREPARING
from tests.yard.yards import SMALL_YARD

WALL = """\
structures:
  - kind: wall
    id: wall
    name: Wall
    material: stone
    line: [[4, 3], [10, 3]]
    height: 2 m
    thickness: 0.3 m
"""


def test_a_compilation_is_told_once_and_only_when_it_happens():
    told = []

    @numba.njit
    def twice(x):
        return 2 * x

    with telling_when_compiling(lambda: told.append("now")):
        assert twice(1) == 2
        assert twice(1.5) == 3.0  # a second signature is compiled too, but one word is enough
    assert told == ["now"]

    with telling_when_compiling(lambda: told.append("again")):
        assert twice(2) == 4
    assert told == ["now"]

    twice(1j)  # outside nobody listens
    assert told == ["now"]


def test_the_first_plan_with_an_empty_cache_says_that_it_prepares_and_the_second_does_not(tmp_path: Path):
    from tests.test_cli import forecast_csv

    (tmp_path / "yard.yaml").write_text(SMALL_YARD + WALL)  # walls have compiled code of their own
    (tmp_path / "cold.csv").write_text(forecast_csv())
    command = [sys.executable, "-m", "fruitwall.cli", "tonight", "--yard", "yard.yaml", "--forecast", "cold.csv"]
    command += ["--now", "2026-12-22T15:00", "--members", "4", "--nights", "1"]
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path / "cache")}

    first, second = (
        subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, env=environment, check=False)
        for _ in range(2)
    )

    assert first.returncode == second.returncode == 3, first.stderr
    assert first.stderr.count(PREPARING) == 1
    assert "preparing" not in first.stdout
    assert second.stderr == ""
