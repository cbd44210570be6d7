"""On what a case ran: times depend on it, so every case names it."""

from __future__ import annotations

import os
import platform
from pathlib import Path


def machine() -> str:
    """Name processor, cores, load and Python."""
    return f"{_processor()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, Python {platform.python_version()}"


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:  # there is none but on Linux
        return platform.processor() or platform.machine()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), platform.machine())
