"""Pictures as files named by the digest of their content.

A file is written under another name, brought to the disk and then renamed: whoever finds a name finds a whole picture.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

import platformdirs

from fruitwall.errors import JournalError
from fruitwall.speech import say

VARIABLE = "FRUITWALL_PHOTOS"
"""Environment variable that names the folder of pictures."""

LIVE_PART = timedelta(hours=1)
"""Younger than this a half-written file may still be written by another process; no photo takes so long. Our
judgement."""

_DIGEST = re.compile(r"[0-9a-f]{64}")
_PART = re.compile(r"\.[0-9a-f]{64}(-[a-z]+)?\.[0-9a-f]{8}\.part")
_SEAL_BYTES = hashlib.sha256().digest_size


def photo_folder(place: str, given: str | None) -> Path:
    """Give the folder of pictures that belongs to a database.

    Parameters
    ----------
    place : str
        `Journal.place`.
    given : str or None
        What the environment names (`VARIABLE`).

    Returns
    -------
    Path
        The one named; else beside an SQLite file, else the user's own.
    """
    if given:
        return Path(given).expanduser().absolute()
    if "://" in place or place.startswith("the database"):
        return platformdirs.user_data_path("fruitwall", appauthor=False) / "photos"
    return Path(f"{place}.photos")


class PhotoFolder:
    """Pictures on disk.

    Parameters
    ----------
    folder : Path
        Made on the first write.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def store(self, content: bytes) -> str:
        """Store a picture; the same again changes nothing.

        Parameters
        ----------
        content : bytes
            The file.

        Returns
        -------
        str
            SHA-256 of the content in hexadecimal.

        Raises
        ------
        JournalError
            If it cannot be written.
        """
        digest = hashlib.sha256(content).hexdigest()
        path = self.path(digest)
        # A file of this name whose bytes went bad is mended by the same picture sent again.
        if _bytes_of(path) != content:
            self._write(path, content)
        return digest

    def store_small(self, digest: str, content: bytes) -> None:
        """Store the small form of a picture beside it; it can be made anew, so it is not part of a backup.

        Parameters
        ----------
        digest : str
            Of the picture itself.
        content : bytes
            The small file.

        Raises
        ------
        JournalError
            If it cannot be written.
        """
        self._store_beside(self._beside(digest, "small.jpg"), content)

    def read_small(self, digest: str) -> bytes | None:
        """Give the small form of a picture; None if it is not there, or is no longer what was stored."""
        return _unsealed(self._beside(digest, "small.jpg"))

    def store_measured(self, digest: str, content: bytes) -> None:
        """Store what was measured of a picture beside it, as `store_small` does; errors as there."""
        self._store_beside(self._beside(digest, "measured.json"), content)

    def read_measured(self, digest: str) -> bytes | None:
        """Give what was measured of a picture; None if it is not there, or is no longer what was stored."""
        return _unsealed(self._beside(digest, "measured.json"))

    def _beside(self, digest: str, name: str) -> Path:
        return self.path(digest).with_name(f"{digest}-{name}")

    def _store_beside(self, path: Path, content: bytes) -> None:
        # Its own digest follows, since its name is that of the large picture and tells nothing of it.
        self._write(path, content + hashlib.sha256(content).digest())

    def _write(self, path: Path, content: bytes) -> None:
        """Write a file whole or not at all."""
        part = path.with_name(f".{path.stem}.{secrets.token_hex(4)}.part")
        try:
            # Closed to other users of the machine: photos show where somebody lives.
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            path.parent.mkdir(exist_ok=True)
            with part.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
            _sync_folder(path.parent)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise JournalError(
                say(
                    "the picture cannot be stored in {folder}: {reason}",
                    folder=self.folder,
                    reason=error.strerror or error,
                )
            ) from error

    def read(self, digest: str) -> bytes | None:
        """Give a picture; None if it is not there.

        Raises
        ------
        JournalError
            If the file is no longer what was stored.
        """
        content = _bytes_of(self.path(digest))
        if content is None:
            return None
        if hashlib.sha256(content).hexdigest() != digest:
            raise JournalError(
                say(
                    "the picture {digest} in {folder} is no longer what was stored; restore a backup",
                    digest=digest,
                    folder=self.folder,
                )
            )
        return content

    def path(self, digest: str) -> Path:
        """Give where a picture is or would be."""
        if not _DIGEST.fullmatch(digest):
            raise ValueError(f"a picture is named by 64 hexadecimal digits, got {digest!r}")
        return self.folder / digest[:2] / f"{digest}.jpg"

    def sweep(self, *, now: datetime) -> int:
        """Take away what killed processes left half-written; what may still be written by another stays.

        Parameters
        ----------
        now : datetime, aware
            The true present moment, as the disk knows it.

        Returns
        -------
        int
            How many files were taken away.
        """
        oldest_live_s = (now - LIVE_PART).timestamp()
        swept = 0
        for path in self.folder.glob("[0-9a-f][0-9a-f]/.*.part"):
            # What cannot be looked at or taken away does no harm where it is.
            with suppress(OSError):
                if _PART.fullmatch(path.name) and path.stat().st_mtime < oldest_live_s:
                    path.unlink()
                    swept += 1
        return swept

    def digests(self) -> Iterator[str]:
        """Give the names of all pictures, in order."""
        for path in sorted(self.folder.glob("[0-9a-f][0-9a-f]/*.jpg")):
            if _DIGEST.fullmatch(path.stem):
                yield path.stem


def _bytes_of(path: Path) -> bytes | None:
    """Read a file; None if it is not there."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None


def _unsealed(path: Path) -> bytes | None:
    """Read a file that its own digest follows; None if it is not there, or is no longer what was stored."""
    sealed = _bytes_of(path)
    if sealed is None:
        return None
    content, seal = sealed[:-_SEAL_BYTES], sealed[-_SEAL_BYTES:]
    return content if hashlib.sha256(content).digest() == seal else None


def _sync_folder(folder: Path) -> None:
    """Bring a renamed name to the disk, where the system allows it."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)
