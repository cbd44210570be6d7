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
from PIL import JpegImagePlugin, PngImagePlugin  # noqa: F401  imported here, once for all children

from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.service.house import House
from fruitwall.web.app import create_app
from fruitwall.web.settings import WebSettings


def serve(database: str, photos: str, sock: socket.socket) -> None:
    """Open the journal and serve, until killed."""

    def no_plan(_: object) -> object:
        raise AssertionError("this server makes no plans")

    with open_journal(database) as journal:
        house = House(journal, None, lambda: datetime.now(UTC), PhotoFolder(Path(photos)))
        settings = WebSettings(plan_for=no_plan, yard=lambda: house.yard()[0], now=house.clock, house=house)  # type: ignore[arg-type]
        sys.stdout.write(f"{os.getpid()} {sock.getsockname()[1]}\n")
        sys.stdout.flush()
        config = uvicorn.Config(create_app(settings), log_level="error", ws="none", lifespan="off")
        uvicorn.Server(config).run(sockets=[sock])


def main(database: str, photos: str) -> None:
    """Start one server for each line."""
    child = 0
    for _ in sys.stdin:
        if child:
            os.waitpid(child, 0)
        sock = socket.socket()
        sock.bind(("127.0.0.1", 0))
        sock.listen()
        child = os.fork()
        if not child:
            serve(database, photos, sock)
            os._exit(0)
        sock.close()
    if child:
        os.waitpid(child, 0)


if __name__ == "__main__":
    main(*sys.argv[1:])
