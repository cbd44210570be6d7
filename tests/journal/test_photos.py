"""Pictures on disk: nothing by half is left, and nothing that went bad is shown."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fruitwall.errors import JournalError
from fruitwall.journal.photos import LIVE_PART, PhotoFolder

NOW = datetime(2026, 12, 22, 22, tzinfo=UTC)


@pytest.fixture
def photos(tmp_path: Path) -> PhotoFolder:
    return PhotoFolder(tmp_path / "photos")


def left(photos: PhotoFolder, name: str, *, ago: timedelta) -> Path:
    """Leave a file in the folder, last written some time ago."""
    path = photos.folder / "ab" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"half")
    when = (NOW - ago).timestamp()
    os.utime(path, (when, when))
    return path


def test_what_a_killed_server_left_half_written_goes_and_a_live_write_stays(photos):
    name = "ab" * 32
    old = left(photos, f".{name}.0123abcd.part", ago=LIVE_PART + timedelta(minutes=1))
    small = left(photos, f".{name}-small.0123abcd.part", ago=timedelta(days=2))
    live = left(photos, f".{name}.deadbeef.part", ago=LIVE_PART - timedelta(minutes=1))
    foreign = left(photos, ".something-of-yours.part", ago=timedelta(days=400))
    whole = left(photos, f"{name}.jpg", ago=timedelta(days=400))

    assert photos.sweep(now=NOW) == 2
    assert photos.sweep(now=NOW) == 0
    assert [path.exists() for path in (old, small, live, foreign, whole)] == [False, False, True, True, True]


def test_there_is_nothing_to_sweep_in_a_folder_that_was_never_made(photos):
    assert photos.sweep(now=NOW) == 0
    assert not photos.folder.exists()


def test_a_small_picture_whose_bytes_went_bad_is_not_there_and_is_written_anew(photos):
    digest = photos.store(b"picture")
    photos.store_small(digest, b"small picture")
    (file,) = photos.folder.glob("*/*-small.jpg")
    content = file.read_bytes()

    for bad in (b"", content[:20], content.replace(b"small", b"smile"), b"small picture", b"\xff\xd8 of an older kind"):
        file.write_bytes(bad)
        assert photos.read_small(digest) is None
        photos.store_small(digest, b"small picture")
        assert photos.read_small(digest) == b"small picture"


def test_a_picture_whose_bytes_went_bad_is_mended_by_sending_it_again(photos):
    digest = photos.store(b"picture")
    photos.path(digest).write_bytes(b"pixture")
    with pytest.raises(JournalError, match="no longer what was stored"):
        photos.read(digest)

    assert photos.store(b"picture") == digest
    assert photos.read(digest) == b"picture"
