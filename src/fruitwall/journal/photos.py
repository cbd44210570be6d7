"""Pictures as files named by the digest of their content.

A file is written under another name, brought to the disk and then renamed: whoever finds a name finds a whole picture.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections.abc import Iterator
from pathlib import Path

import platformdirs

from fruitwall.errors import JournalError

VARIABLE = "FRUITWALL_PHOTOS"
"""Environment variable that names the folder of pictures."""

_DIGEST = re.compile(r"[0-9a-f]{64}")


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
        self._write(self.path(digest), content)
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
        self._write(self._small_path(digest), content)

    def read_small(self, digest: str) -> bytes | None:
        """Give the small form of a picture; None if it is not there."""
        try:
            return self._small_path(digest).read_bytes()
        except FileNotFoundError:
            return None

    def _small_path(self, digest: str) -> Path:
        return self.path(digest).with_name(f"{digest}-small.jpg")

    def _write(self, path: Path, content: bytes) -> None:
        """Write a file whole or not at all; one that is there stays."""
        if path.exists():
            return
        part = path.with_name(f".{path.stem}.{secrets.token_hex(4)}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with part.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
            _sync_folder(path.parent)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise JournalError(f"the picture cannot be stored in {self.folder}: {error.strerror}") from error

    def read(self, digest: str) -> bytes | None:
        """Give a picture; None if it is not there.

        Raises
        ------
        JournalError
            If the file is no longer what was stored.
        """
        try:
            content = self.path(digest).read_bytes()
        except FileNotFoundError:
            return None
        if hashlib.sha256(content).hexdigest() != digest:
            raise JournalError(f"the picture {digest} in {self.folder} is no longer what was stored; restore a backup")
        return content

    def path(self, digest: str) -> Path:
        """Give where a picture is or would be."""
        if not _DIGEST.fullmatch(digest):
            raise ValueError(f"a picture is named by 64 hexadecimal digits, got {digest!r}")
        return self.folder / digest[:2] / f"{digest}.jpg"

    def digests(self) -> Iterator[str]:
        """Give the names of all pictures, in order."""
        for path in sorted(self.folder.glob("[0-9a-f][0-9a-f]/*.jpg")):
            if _DIGEST.fullmatch(path.stem):
                yield path.stem


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
