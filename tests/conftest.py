"""What all tests share: a closed network, a fixed clock and generator, a real browser."""

from __future__ import annotations

import os

# Before NumPy is loaded: two BLAS threads on small matrices wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Commands speak the language of the machine; what they print is compared with English.
os.environ["FRUITWALL_LANGUAGE"] = "en"

import ipaddress
import socket
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import hypothesis
import numpy as np
import pytest

# Fixtures for the whole suite; they stand in a module of their own.
from tests.databases import (  # noqa: F401
    database,
    file,
    filled_file,
    place,
    postgres_emptied,
    postgres_server,
    postgres_with_tables,
)
from tests.needs import UNDER_CI, find_browser

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

# Without the background-networking flags Chromium looks up its maker's hosts at every start.
BROWSER_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# Examples are made from the test's source, so that a run can be repeated; a deadline would measure the machine.
hypothesis.settings.register_profile("house", deadline=None, derandomize=UNDER_CI, print_blob=True)
hypothesis.settings.register_profile("thorough", deadline=None, max_examples=2000)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "house"))


# ---------------------------------------------------------------- network


class NetworkTouched(RuntimeError):
    """A test reached for the network; not an `OSError`, so that no code takes it for being offline."""


def _is_here(host: object) -> bool:
    """Tell whether a host names this machine."""
    if host is None or host in ("", "localhost", b"localhost"):
        return True
    text = host.decode() if isinstance(host, bytes) else str(host)
    try:
        return ipaddress.ip_address(text.split("%")[0]).is_loopback
    except ValueError:
        return False


def _guard_address(original: Callable[..., Any]) -> Callable[..., Any]:
    """Wrap a socket method whose last argument is the address."""

    def guarded(self: socket.socket, *args: Any) -> Any:
        address = args[-1]
        if self.family in (socket.AF_INET, socket.AF_INET6) and not _is_here(address[0]):
            raise NetworkTouched(f"a test tried to reach {address!r}; give it a stored reply instead")
        return original(self, *args)

    return guarded


def _guard_name(original: Callable[..., Any]) -> Callable[..., Any]:
    """Wrap a look-up whose first argument is the host."""

    def guarded(host: Any, *args: Any, **options: Any) -> Any:
        if not _is_here(host):
            raise NetworkTouched(f"a test tried to look up {host!r}; give it a stored reply instead")
        return original(host, *args, **options)

    return guarded


def pytest_configure(config: pytest.Config) -> None:
    """Close the network for the whole run, loopback left open."""
    for name in ("connect", "connect_ex", "sendto"):
        setattr(socket.socket, name, _guard_address(getattr(socket.socket, name)))
    for name in ("getaddrinfo", "gethostbyname"):
        setattr(socket, name, _guard_name(getattr(socket, name)))


# ---------------------------------------------------------------- clock and chance


@pytest.fixture
def now() -> datetime:
    """Early afternoon of 22 December 2026 in southern California, a day before the demo evening."""
    return datetime(2026, 12, 22, 22, 0, tzinfo=UTC)


@pytest.fixture
def rng() -> np.random.Generator:
    """A generator that gives every test the same numbers."""
    return np.random.default_rng(20261222)


# ---------------------------------------------------------------- browser


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium, started once."""
    path = find_browser()
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=BROWSER_FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    """A page of a phone's size that takes touches; an error in a script fails the test."""
    yield from _page(browser, viewport={"width": 390, "height": 844}, has_touch=True, device_scale_factor=2)


@pytest.fixture
def desktop(browser: Browser) -> Iterator[Page]:
    """A page of a desk screen's size; an error in a script fails the test."""
    yield from _page(browser, viewport={"width": 1280, "height": 800})


def _page(browser: Browser, **options: Any) -> Iterator[Page]:
    """Open a page in a context of its own and collect what goes wrong in it."""
    context = browser.new_context(**options)
    context.set_default_timeout(10_000)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield page
    context.close()
    assert errors == [], f"errors in the page's scripts: {errors}"


# ---------------------------------------------------------------- the project's files


@pytest.fixture(scope="session")
def project() -> Path:
    """The folder of the project."""
    return Path(__file__).resolve().parent.parent
