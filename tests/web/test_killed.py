"""A server killed a hundred times while it writes: what it acknowledged is there, and nothing is there by half."""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection, HTTPException
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from fruitwall.journal.opening import open_journal
from tests.yard.yards import SMALL_YARD

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "fork"), reason="servers are forked, which this system cannot"),
]

KILLS = 100
BATCH = 20
ROOT = Path(__file__).resolve().parents[2]
BEGAN = datetime.now(UTC) - timedelta(days=2)


class Writer(threading.Thread):
    """Sends one thing after the other until the server is gone."""

    def __init__(self, port: int, address: str) -> None:
        super().__init__(daemon=True)
        self.port, self.address = port, address
        self.acknowledged: list[tuple[Any, Any]] = []
        self.unanswered: Any = None

    def run(self) -> None:
        while self.unanswered is None:
            sent = self.made()
            try:
                self.acknowledged.append((sent, self.send(sent)))
            except (OSError, HTTPException, ValueError):
                self.unanswered = sent

    def send(self, sent: Any) -> Any:
        body, kind = self.packed(sent)
        return asked(self.port, "POST", self.address, body, kind)

    def made(self) -> Any:
        raise NotImplementedError

    def packed(self, sent: Any) -> tuple[bytes, str]:
        return json.dumps(sent).encode(), "application/json"


class Entries(Writer):
    """Notes, each with a text of its own, long enough for several pages of the database."""

    def made(self) -> Any:
        number = str(uuid.uuid4())
        return [{"id": number, "kind": "note", "at": BEGAN.isoformat(), "body": {"note": number * 40}}]


class Readings(Writer):
    """Batches of readings, all of one made-up sensor."""

    def made(self) -> Any:
        one = {"sensor": str(uuid.uuid4()), "quantity": "air_temperature_c", "value": -1.5}
        return [one | {"at": (BEGAN + timedelta(minutes=minute)).isoformat()} for minute in range(BATCH)]


class Photos(Writer):
    """Pictures of noise, none like another."""

    def made(self) -> Any:
        out = BytesIO()
        Image.frombytes("RGB", (64, 64), os.urandom(64 * 64 * 3)).resize((320, 320)).save(out, "JPEG")
        return out.getvalue()

    def packed(self, sent: Any) -> tuple[bytes, str]:
        head = b'--edge\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
        return head + sent + b"\r\n--edge--\r\n", "multipart/form-data; boundary=edge"


def asked(port: int, method: str, address: str, body: bytes | None = None, kind: str = "") -> Any:
    """Ask the server; gives the JSON of a whole answer."""
    connection = HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        connection.request(method, address, body, {"content-type": kind} if kind else {})
        answer = connection.getresponse()
        content = answer.read()
    finally:
        connection.close()
    assert answer.status == 200, (address, answer.status, content[:500])
    return json.loads(content)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Any]:
    """Start a server and give its number and port; the one before must be dead."""
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard(SMALL_YARD, name="Small", now=BEGAN, author="test")
    command = [sys.executable, "-m", "tests.web.killed_server", str(tmp_path / "house.db"), str(tmp_path / "photos")]
    parent = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert parent.stdin is not None
    assert parent.stdout is not None
    running = 0

    def begin() -> tuple[int, int]:
        nonlocal running
        parent.stdin.write("\n")
        parent.stdin.flush()
        line = parent.stdout.readline().split()
        assert len(line) == 2, "the server did not start again"
        running = int(line[0])
        return running, int(line[1])

    yield begin
    if running:
        os.kill(running, signal.SIGKILL)
    parent.stdin.close()
    parent.wait(timeout=10)
    parent.stdout.close()


def stored_by(writers: list[Writer], database: Path) -> None:
    """Hold the database to what was acknowledged, and to nothing by half."""
    entries, readings, photos = writers
    with sqlite3.connect(database) as found:
        assert found.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert found.execute("PRAGMA foreign_key_check").fetchall() == []
        notes = dict(found.execute("SELECT id, body FROM ledger_entries WHERE kind = 'note'"))
        counts = dict(found.execute("SELECT sensor, count(*) FROM readings GROUP BY sensor"))
        pictures = {row[0] for row in found.execute("SELECT sha256 FROM photos")}
    found.close()
    for (sent,), answer in entries.acknowledged:
        assert answer["answers"][0]["result"] == "stored", answer
        assert json.loads(notes[sent["id"]]) == sent["body"]
    assert all(json.loads(body) == {"note": number * 40} for number, body in notes.items())
    assert set(counts.values()) <= {BATCH}
    assert {sent[0]["sensor"] for sent, _ in readings.acknowledged} <= set(counts)
    assert {answer["sha256"] for _, answer in photos.acknowledged} <= pictures
    folder = database.parent / "photos"
    whole = {path.stem for path in folder.glob("[0-9a-f][0-9a-f]/*.jpg") if "small" not in path.stem}
    assert pictures <= whole, "a row without its picture"


def test_a_server_killed_a_hundred_times_keeps_what_it_acknowledged_and_nothing_by_half(start, tmp_path):
    chance = random.Random(20261222)
    database = tmp_path / "house.db"
    number, port = start()
    told = {"acknowledged": 0, "cut off": 0, "cut off and yet stored": 0}
    for _ in range(KILLS):
        writers = [Entries(port, "/api/entries"), Readings(port, "/api/readings"), Photos(port, "/api/photos")]
        for writer in writers:
            writer.start()
        time.sleep(chance.uniform(0.0, 0.3))
        os.kill(number, signal.SIGKILL)
        for writer in writers:
            writer.join(timeout=30)
            assert not writer.is_alive()

        number, port = start()
        stored_by(writers, database)
        # What was not answered is sent again, as a telephone does: it is there once, stored before the end or now.
        for writer in writers:
            told["acknowledged"] += len(writer.acknowledged)
            writer.port = port
            again, anew = writer.send(writer.unanswered), writer.send(writer.unanswered)
            if isinstance(writer, Entries):
                assert again["answers"][0]["result"] in ("stored", "known")
                assert anew["answers"][0]["result"] == "known"
                told["cut off and yet stored"] += again["answers"][0]["result"] == "known"
            elif isinstance(writer, Readings):
                assert (again["new"], again["known"]) in ((BATCH, 0), (0, BATCH))
                assert (anew["new"], anew["known"]) == (0, BATCH)
            else:
                assert again["sha256"] == anew["sha256"]
            told["cut off"] += 1

    # Kills that met nothing being written would prove nothing.
    assert told["acknowledged"] > KILLS, told
    for path in (tmp_path / "photos").glob("[0-9a-f][0-9a-f]/*.jpg"):
        content = path.read_bytes()
        if "small" not in path.stem:
            assert hashlib.sha256(content).hexdigest() == path.stem
        with Image.open(BytesIO(content)) as image:
            image.load()
