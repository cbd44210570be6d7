"""A real ``fruitwall serve`` in a process of its own, for the cases of the pages."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import httpx2


@dataclass(frozen=True)
class Server:
    """A server that runs.

    Attributes
    ----------
    address : str
        With scheme and port.
    pid : int
    listens_after_s : float
        From the start of the process to its first answer, before anything was planned. [s]
    """

    address: str
    pid: int
    listens_after_s: float

    def memory_mb(self) -> float:
        """Give what it keeps resident; nan where the system does not tell. [MB]"""
        try:
            told = Path(f"/proc/{self.pid}/status").read_text()
        except OSError:
            return float("nan")
        found = re.search(r"^VmRSS:\s+(\d+) kB", told, re.MULTILINE)
        return int(found[1]) / 1000 if found else float("nan")

    def plan(self, wait_s: float = 600.0) -> float:
        """Ask for the page until its plan is made; gives how long that took. [s]"""
        began = time.perf_counter()
        while time.perf_counter() - began < wait_s:
            answer = httpx2.get(self.address + "/", timeout=60.0)
            if answer.status_code == 200:
                return time.perf_counter() - began
            time.sleep(0.5)
        raise TimeoutError(f"no plan after {wait_s:g} s")


@contextmanager
def serving(database: Path, now: datetime) -> Iterator[Server]:
    """Serve a journal on a free port of this machine until the block ends.

    Parameters
    ----------
    database : Path
    now : datetime, aware
        Where the clock of the pages stands still.
    """
    began = time.perf_counter()
    command = [sys.executable, "-m", "fruitwall.cli", "serve", "--database", str(database), "--port", "0"]
    process = subprocess.Popen(
        [*command, "--now", now.isoformat()],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    try:
        yield Server(_address(process), process.pid, time.perf_counter() - began)
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _address(process: subprocess.Popen[str]) -> str:
    """Read the address that the server prints, and wait for its first answer."""
    assert process.stdout is not None
    for line in process.stdout:
        found = re.search(r"https?://\S+:\d+", line)
        if found:
            for _ in range(600):
                try:
                    httpx2.get(found[0] + "/health", timeout=5.0).raise_for_status()
                except httpx2.TransportError:
                    time.sleep(0.02)
                else:
                    return found[0]
    raise RuntimeError(f"the server stopped with status {process.wait()} before it said where it listens")
