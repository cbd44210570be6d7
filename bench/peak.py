"""What this machine's processor can do with float64, and what the kernel's loops ask of it.

Peak and divider are measured by small loops; the instructions of a lane function are counted in its compiled code.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from time import perf_counter, process_time, sleep
from typing import Any

import numba
import numpy as np

IDLE = 0.9
WAIT_S = 60.0
PATIENCE_S = 180.0
SAMPLE_S = 0.5
LOOP_LANES = 64


class Quiet:
    """Times calls on idle cores, as far as the machine gives any.

    Attributes
    ----------
    patience_s : float
        Left for waiting, over all timings. [s]
    timings, in_vain : int
        Timings so far, and those that went ahead on busy cores.
    """

    def __init__(self, patience_s: float = PATIENCE_S) -> None:
        self.patience_s = patience_s
        self.timings = self.in_vain = 0

    def time(self, call: Callable[[], Any]) -> tuple[float, float]:
        """Seconds of a call by the clock, and of processor time."""
        begin = perf_counter()
        idle = wait_until_idle(min(WAIT_S, self.patience_s))
        self.patience_s = max(self.patience_s - (perf_counter() - begin), 0.0)
        self.timings += 1
        self.in_vain += not idle
        begin, used = perf_counter(), process_time()
        call()
        return perf_counter() - begin, process_time() - used


def wait_until_idle(longest_s: float = WAIT_S) -> bool:
    """Wait until all cores were idle for half a second; give whether they were before the time ran out."""
    end = perf_counter() + longest_s
    while True:
        before = _core_times()
        sleep(SAMPLE_S)
        after = _core_times()
        if all(_idle_share(a, b) >= IDLE for a, b in zip(before, after, strict=True)):
            return True
        if perf_counter() > end:
            return False


def _core_times() -> list[list[int]]:
    """Counters of every core since the start; nothing where the system does not tell."""
    stat = Path("/proc/stat")
    if not stat.exists():
        return []
    lines = stat.read_text(encoding="utf-8").splitlines()
    return [[int(word) for word in line.split()[1:9]] for line in lines if re.match(r"cpu\d", line)]


def _idle_share(before: list[int], after: list[int]) -> float:
    """Share of a core's time in which it did nothing (or waited for a disk)."""
    spent = [b - a for a, b in zip(before, after, strict=True)]
    return (spent[3] + spent[4]) / max(sum(spent), 1)


def best_of(call: Callable[[], Any], times: int = 25) -> float:
    """Shortest of several times. [s]"""
    taken = []
    for _ in range(times):
        begin = perf_counter()
        call()
        taken.append(perf_counter() - begin)
    return min(taken)


@dataclass(frozen=True)
class Peak:
    """What one core can do.

    Attributes
    ----------
    gflops : float
        Fused multiply-adds in vectors, counted as two. [GFlop/s]
    division_ns, root_ns : float
        Per number, in vectors. [ns]
    cycle_ns : float
        Of the clock while adding, if an addition takes `ADD_CYCLES`. [ns]
    """

    gflops: float
    division_ns: float
    root_ns: float
    cycle_ns: float


ADD_CYCLES = 3
"""Latency of an addition on the machine at hand: 3 on AMD Zen 2 to 5, 4 on Intel until 2021 (from memory)."""


@cache
def _loops() -> tuple[Any, Any, Any, Any]:
    """Compiled loops: multiply-adds, divisions, square roots, additions that wait for each other."""

    @numba.njit(fastmath={"contract"}, error_model="numpy")
    def multiply_add(rounds: int, x: Any, a: float, b: float) -> None:
        n = np.uint64(x.shape[0] // 6)
        for _ in range(rounds):
            for j in range(n):
                # Six chains that do not wait for each other, four numbers or more in each: hides the latency.
                q, r, s = x[j], x[n + j], x[2 * n + j]
                t, u, v = x[3 * n + j], x[4 * n + j], x[5 * n + j]
                for _ in range(16):
                    q, r, s, t, u, v = q * a + b, r * a + b, s * a + b, t * a + b, u * a + b, v * a + b
                x[j], x[n + j], x[2 * n + j] = q, r, s
                x[3 * n + j], x[4 * n + j], x[5 * n + j] = t, u, v

    @numba.njit(error_model="numpy")
    def divide(rounds: int, x: Any, y: Any) -> None:
        for r in range(rounds):
            for j in range(x.shape[0]):
                y[j] = r / x[j]

    @numba.njit(error_model="numpy")
    def root(rounds: int, x: Any, y: Any) -> None:
        for _ in range(rounds):
            for j in range(x.shape[0]):
                y[j] = np.sqrt(x[j])

    @numba.njit
    def chain(count: int, a: float) -> float:
        total = 0.0
        for _ in range(count):
            total += a
        return total

    return multiply_add, divide, root, chain


def measure_peak() -> Peak:
    """Measure one core."""
    multiply_add, divide, root, chain = _loops()
    x, y, rounds = np.linspace(1.0, 2.0, 6 * LOOP_LANES), np.empty(6 * LOOP_LANES), 1000
    for call in (multiply_add, divide, root):
        call(1, x, *((0.5, 0.5) if call is multiply_add else (y,)))
    chain(1, 1.0)
    flops = 2 * 16 * x.size * rounds
    return Peak(
        gflops=flops / best_of(lambda: multiply_add(rounds, x, 0.5, 0.5)) * 1e-9,
        division_ns=best_of(lambda: divide(rounds, x, y)) / (rounds * x.size) * 1e9,
        root_ns=best_of(lambda: root(rounds, x, y)) / (rounds * x.size) * 1e9,
        cycle_ns=best_of(lambda: chain(100_000, 1.0)) / (100_000 * ADD_CYCLES) * 1e9,
    )


@dataclass(frozen=True)
class Work:
    """What a lane function does for one lane, from its compiled code.

    Attributes
    ----------
    instructions, packed : float
        Instructions of the vector loop, and those of them that calculate, divided by the lanes done at once.
    operations, flops : float
        Additions, multiplications and fused multiply-adds; as flops these last count two, divisions and roots one,
        moves and comparisons none.
    divisions, roots : float
    """

    instructions: float = 0.0
    packed: float = 0.0
    operations: float = 0.0
    flops: float = 0.0
    divisions: float = 0.0
    roots: float = 0.0

    def __add__(self, other: Work) -> Work:
        return Work(*(a + b for a, b in zip(self.parts(), other.parts(), strict=True)))

    def __mul__(self, times: float) -> Work:
        return Work(*(times * value for value in self.parts()))

    def parts(self) -> tuple[float, ...]:
        """All numbers in order."""
        return self.instructions, self.packed, self.operations, self.flops, self.divisions, self.roots

    def flops_ns(self, peak: Peak) -> float:
        """Time that its operations need, each as long as a multiply-add. [ns]"""
        return 2.0 * self.operations / peak.gflops

    def divider_ns(self, peak: Peak) -> float:
        """Time that the divider needs for it. [ns]"""
        return self.divisions * peak.division_ns + self.roots * peak.root_ns


ARITHMETIC = re.compile(r"\s+v?(fn?m(?:add|sub)\d*|mul|add|sub|div|sqrt|min|max|cmp\w*|blendv|and|andn|or|xor)p[ds]\b")
LANES = re.compile(r"\s+addq\s+\$(\d+), %\w+")


def count_work(function: Any) -> Work | None:
    """Count a compiled lane function, all its vector loops together.

    Parameters
    ----------
    function : Numba dispatcher
        With at least one signature compiled in this process.

    Returns
    -------
    Work or None
        Per lane; None where the code is not understood (another processor than x86-64, or no vector loop).
    """
    loops: list[tuple[int, list[str]]] = []
    label, body = "", list[str]()
    for line in next(iter(function.inspect_asm().values()), "").splitlines():
        start = re.match(r"(\.L\w+):", line)
        if start:
            label, body = start.group(1), []
            continue
        body.append(line)
        back = re.match(r"\s+j\w+\s+(\.L\w+)", line)
        # A loop over lanes jumps back to its own start and counts up by the lanes that it does at once.
        strides = [int(match.group(1)) for each in body if (match := LANES.match(each))]
        if back and back.group(1) == label and strides and any("%ymm" in each or "%zmm" in each for each in body):
            loops.append((strides[-1], body))
    if not loops:
        return None
    most = max(lanes for lanes, _ in loops)  # fewer: what is left over of a main loop
    return sum((_work(body, lanes) for lanes, body in loops if lanes == most), Work())


def _work(body: list[str], lanes: int) -> Work:
    """Work of one pass of a vector loop, for each of the lanes that it does at once."""
    kinds: Counter[str] = Counter()
    done: Counter[str] = Counter()
    for line in body:
        match = ARITHMETIC.match(line)
        if match:
            kinds[match.group(1)] += 1
            done[match.group(1)] += 8 if "%zmm" in line else 4 if "%ymm" in line else 2
    fused = sum(n for kind, n in done.items() if kind.startswith("f"))
    simple, slow = done["add"] + done["sub"] + done["mul"], done["div"] + done["sqrt"]
    numbers = (len(body), kinds.total(), simple + fused, simple + 2 * fused + slow, done["div"], done["sqrt"])
    return Work(*(number / lanes for number in numbers))
