"""Several programs at one database, and programs that die while they write."""

from __future__ import annotations

import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from fruitwall.journal.opening import open_journal

WRITER = """
import sys
from datetime import UTC, datetime
from fruitwall.journal.opening import open_journal

place, who, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_journal(place, wait_s=60) as journal:
    for number in range(count):
        version = journal.store_yard(f"{who} {number}\\n" * 500, name="hill", now=datetime.now(UTC), author=who)
        print(version.number, flush=True)
"""


def start_writer(place: str | Path, who: str, count: int) -> subprocess.Popen[str]:
    """Start a program that stores `count` versions and says each number once it is stored."""
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(place), who, str(count)], stdout=subprocess.PIPE, text=True
    )


def test_two_programs_make_and_write_one_new_database_without_losing_a_version(place):
    writers = [start_writer(place, who, 25) for who in ("Ana", "Ben")]

    said = [int(line) for writer in writers for line in writer.communicate(timeout=120)[0].split()]

    assert [writer.returncode for writer in writers] == [0, 0]
    with open_journal(place) as journal:
        history = journal.history()
    assert sorted(said) == [version.number for version in history] == list(range(1, 51))
    for who in ("Ana", "Ben"):
        own = [version.text.split("\n")[0] for version in history if version.author == who]
        assert own == [f"{who} {number}" for number in range(25)]


def test_threads_of_one_program_share_a_journal(journal, now):
    def store(number: int) -> int:
        return journal.store_yard(f"{number}", name="hill", now=now, author="Ana").number

    with ThreadPoolExecutor(8) as pool:
        numbers = list(pool.map(store, range(40)))

    assert sorted(numbers) == list(range(1, 41))
    assert {version.text for version in journal.history()} == {str(number) for number in range(40)}


@pytest.mark.parametrize("delay_s", [0.0, 0.013, 0.05])
def test_a_program_killed_while_writing_loses_nothing_it_had_stored(file, delay_s):
    writer = start_writer(file, "Ana", 100_000)
    assert writer.stdout is not None
    said = [writer.stdout.readline() for _ in range(10)]
    time.sleep(delay_s)

    writer.kill()

    said += writer.stdout.read().splitlines(keepends=True)
    writer.stdout.close()
    writer.wait()
    stored = max(int(line) for line in said if line.endswith("\n"))
    with open_journal(file) as journal:  # looks whether the file is whole
        history = journal.history()
        assert [version.number for version in history] == list(range(1, len(history) + 1))
        # One more than it said: it may have died between storing and saying.
        assert stored <= len(history) <= stored + 1
        assert all(version.text == f"Ana {version.number - 1}\n" * 500 for version in history)
