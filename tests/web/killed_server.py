"""A server that is killed again and again: forked from a process that has imported all, so that it starts at once.

Run as ``python -m tests.web.killed_server DATABASE PHOTOS``. Each line on its input makes it take away the server
before, start another, and write the new one's number and port.
"""

from __future__ import annotations

import os
import socket
import sys
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from PIL import JpegImagePlugin, PngImagePlugin  # noqa: F401  imported here, once for all children

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.store import Journal
from fruitwall.service.house import House
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings


def serve(journal: Journal, app: FastAPI, sock: socket.socket) -> None:
    """Look through the database as every start does, and serve until killed."""
    # Connections of the parent are none of ours; the parent has closed them anyway.
    journal.engine.dispose(close=False)
    open_journal(journal.place).close()
    sys.stdout.write(f"{os.getpid()} {sock.getsockname()[1]}\n")
    sys.stdout.flush()
    config = uvicorn.Config(app, log_level="error", ws="none", lifespan="off")
    uvicorn.Server(config).run(sockets=[sock])


def application(journal: Journal, photos: str) -> FastAPI:
    """Put the application together, once for all children: it takes ten times as long as opening the database."""

    def no_plan(_: object) -> object:
        raise AssertionError("this server makes no plans")

    house = House(journal, None, lambda: datetime.now(UTC), PhotoFolder(Path(photos)))
    settings = WebSettings(plan_for=no_plan, yard=lambda: house.yard()[0], now=house.clock, house=house)  # type: ignore[arg-type]
    return create_app(settings)


def main(database: str, photos: str) -> None:
    """Start one server for each line."""
    journal = open_journal(database)
    app = application(journal, photos)
    journal.engine.dispose()
    child = 0
    for _ in sys.stdin:
        if child:
            os.waitpid(child, 0)
        sock = socket.socket()
        sock.bind(("127.0.0.1", 0))
        sock.listen()
        child = os.fork()
        if not child:
            serve(journal, app, sock)
            os._exit(0)
        sock.close()
    if child:
        os.waitpid(child, 0)


if __name__ == "__main__":
    main(*sys.argv[1:])
