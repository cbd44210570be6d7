"""The application in process, and served on a port of this machine for the browser."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi import FastAPI
from starlette.testclient import TestClient

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.evening_document import EveningPlan
from fruitwall.service.house import House
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Yard
from tests.databases import with_tables
from tests.web.sample import NOW, sample_plan, sample_yard

AppMaker = Callable[..., FastAPI]


@pytest.fixture
def make_app() -> AppMaker:
    """Make an application around one plan, or around a function that gives or refuses plans."""

    def make(
        plan: EveningPlan | Callable[[date | None], EveningPlan] | None = None,
        yard: Yard | None = None,
        now: datetime = NOW,
        **options: object,
    ) -> FastAPI:
        shown = plan if callable(plan) else (lambda _: plan or sample_plan())
        return create_app(
            # On a busy machine even the sample may take longer than a reader is let wait before the waiting page.
            WebSettings(
                plan_for=shown, yard=lambda: yard or sample_yard(), now=lambda: now, **{"patience_s": 120.0} | options
            )  # type: ignore[arg-type]
        )

    return make


@pytest.fixture
def database(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """An SQLite file without a household in it; a module that is to run on PostgreSQL too takes `tests.databases`'."""
    return with_tables(request, "sqlite", tmp_path)


@pytest.fixture
def house(database: str, tmp_path: Path) -> Iterator[House]:
    """A household with the sample yard in a journal of its own."""
    with open_journal(database) as journal:
        yard = sample_yard()
        journal.store_yard(write_yard(yard), name=yard.name, now=NOW, author="test")
        yield House(journal, None, lambda: NOW, PhotoFolder(tmp_path / "photos"))


@pytest.fixture
def client_of(make_app: AppMaker) -> Callable[..., TestClient]:
    """Make a client of an application; arguments as for `make_app`."""

    def make(*arguments: object, **options: object) -> TestClient:
        return TestClient(make_app(*arguments, **options), base_url="http://localhost")

    return make


@pytest.fixture
def client(client_of: Callable[..., TestClient]) -> TestClient:
    """A client of the application around the sample evening."""
    return client_of()


@contextmanager
def serving(app: FastAPI, **secure: Any) -> Iterator[str]:
    """Serve an application on a free port, over TLS with the files of `secure`; gives its address, with http."""
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error", ws="none", lifespan="off", **secure)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 10
    while not server.started:
        assert time.monotonic() < deadline, "the server did not start"
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=10)


@pytest.fixture
def serve(make_app: AppMaker) -> Iterator[Callable[..., str]]:
    """Serve an application for the browser; arguments as for `make_app`, gives the address."""
    running = []

    def start(*arguments: object, **options: object) -> str:
        context = serving(make_app(*arguments, **options))
        running.append(context)
        return context.__enter__()

    yield start
    for context in running:
        context.__exit__(None, None, None)
