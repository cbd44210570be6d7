"""What a test does when something outside Python is missing: fail under CI, where all is installed, skip elsewhere."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import NoReturn

import pytest

UNDER_CI = os.environ.get("CI", "").lower() in {"1", "true", "yes"}

BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
)


def missing(what: str) -> NoReturn:
    """Fail or skip, saying what is missing."""
    if UNDER_CI:
        pytest.fail(what, pytrace=False)
    pytest.skip(what)


def find_browser() -> str:
    """Give the path of an installed Chromium or Chrome; CHROMIUM names one."""
    places = (os.environ["CHROMIUM"],) if "CHROMIUM" in os.environ else BROWSERS
    for place in places:
        if found := shutil.which(place):
            return found
    missing("no Chromium or Chrome: `make test` says what to install; CHROMIUM=/path/to/it names one")


def find_postgres() -> Path:
    """Give the folder of the newest installed PostgreSQL server's programs."""
    versions = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    if versions:
        return versions[-1].parent
    if found := shutil.which("initdb"):
        return Path(found).resolve().parent
    missing("no PostgreSQL server: `make test` says what to install")
