"""A backup: everything of a journal in one file, in open formats, taken while others go on writing.

A ZIP file with ``manifest.json``, one ``tables/<name>.jsonl`` per table (a row a line, bytes as base64, moments in
ISO 8601) and the pictures under ``photos/``. All tables are read in one transaction, so they fit together; a picture
is stored before the row that names it, so a copy of the folder made afterwards holds all that the rows name. The file
does not depend on the database it came from: what was saved from SQLite can be restored into PostgreSQL and back.

It holds everything of the database but what can be worked out again (`ONLY_KEPT`), digests of secrets too, so only its
owner may read the file (mode 0600): keep it as safe as the database. The keys of the own certificate authority are left
out: see `KEYS_LEFT_OUT`.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import re
import secrets
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Date, Engine, LargeBinary, Table, func, insert, select, text

from fruitwall.errors import JournalError
from fruitwall.journal.photos import PhotoFolder
from fruitwall.journal.store import Journal
from fruitwall.journal.tables import ONLY_KEPT, REVISION, UtcDateTime, metadata
from fruitwall.journal.trouble import told
from fruitwall.journal.whole import check_whole
from fruitwall.speech import marked, say

FORMAT = "fruitwall backup 1"
ROWS_AT_ONCE = 500

KEYS_LEFT_OUT = marked(
    "The keys of this server (the folder DATABASE.access) are in no backup: whoever got them could pose as machines of "
    "your home before your phones."
)
"""A backup is copied to places that are watched less than the machine. What is lost with them costs a morning: phones
trust a new authority and are paired anew."""

SAVED = tuple(table for table in metadata.sorted_tables if table.name not in ONLY_KEPT)
"""Tables that go into a backup, each after those that it points to."""

_PHOTO = re.compile(r"photos/[0-9a-f]{2}/([0-9a-f]{64})\.jpg")


@dataclass(frozen=True)
class BackupContent:
    """What a backup holds.

    Attributes
    ----------
    created : datetime, aware
    revision : str
        State of the tables it was taken from.
    rows : dict of str to int
        Number of rows by table.
    photos : int
        Number of pictures.
    missing_photos : tuple of str
        Pictures that the rows name and that were not in the folder, or not whole.
    """

    created: datetime
    revision: str
    rows: dict[str, int]
    photos: int
    missing_photos: tuple[str, ...]


def write_backup(journal: Journal, photos: PhotoFolder, file: Path, *, now: datetime) -> BackupContent:
    """Write a backup; others may go on writing meanwhile.

    Parameters
    ----------
    journal : Journal
        Open.
    photos : PhotoFolder
        Its pictures.
    file : Path
        Written under another name and renamed when whole; an existing file is not overwritten.
    now : datetime, aware

    Returns
    -------
    BackupContent

    Raises
    ------
    JournalError
        If the file exists or cannot be written, or the database cannot be read or is damaged.
    """
    if file.exists():
        raise JournalError(say("{file} exists already; nothing was written. Give another name", file=file))
    # A damaged database must not pass for saved, nor push out older backups that are whole.
    check_whole(journal)
    part = file.with_name(f".{file.name}.{secrets.token_hex(4)}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
                content = _write(journal, photos, archive, now)
            out.flush()
            os.fsync(out.fileno())
        part.replace(file)
    except OSError as error:
        raise JournalError(
            say("{file} cannot be written: {reason}", file=file, reason=error.strerror or error)
        ) from error
    finally:
        part.unlink(missing_ok=True)
    return content


def _write(journal: Journal, photos: PhotoFolder, archive: zipfile.ZipFile, now: datetime) -> BackupContent:
    rows: dict[str, int] = {}
    digests: dict[str, str] = {}
    named: set[str] = set()
    with told(journal.place), _one_state(journal.engine) as connection:
        for table in SAVED:
            name = f"tables/{table.name}.jsonl"
            sha, count = hashlib.sha256(), 0
            with archive.open(name, "w", force_zip64=True) as out:
                for row in connection.execute(select(table).order_by(*table.primary_key.columns)):
                    values = {column.name: _plain(value) for column, value in zip(table.columns, row, strict=True)}
                    line = json.dumps(values, ensure_ascii=False).encode() + b"\n"
                    out.write(line)
                    sha.update(line)
                    count += 1
                    if table.name == "photos":
                        named.add(values["sha256"])
            rows[table.name], digests[name] = count, sha.hexdigest()
    missing = []
    for digest in sorted(named):
        try:
            picture = photos.read(digest)
        except JournalError:
            picture = None
        if picture is None:
            missing.append(digest)
        else:
            # A picture is compressed already.
            archive.writestr(zipfile.ZipInfo(f"photos/{digest[:2]}/{digest}.jpg"), picture)
    manifest = {
        "format": FORMAT,
        "created": now.isoformat(),
        "revision": REVISION,
        "rows": rows,
        "sha256": digests,
        "photos": len(named) - len(missing),
        "missing_photos": missing,
    }
    archive.writestr("manifest.json", json.dumps(manifest, indent=1))
    return BackupContent(now, REVISION, rows, len(named) - len(missing), tuple(missing))


def _one_state(engine: Engine) -> Connection:
    """Open a connection whose reads all see the database as it was at the first."""
    connection = engine.connect()
    if engine.dialect.name == "postgresql":
        return connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return connection


def look_into(file: Path) -> BackupContent:
    """Read what a backup holds, and check every byte of it against its digests.

    Parameters
    ----------
    file : Path

    Returns
    -------
    BackupContent

    Raises
    ------
    JournalError
        If it is no backup, of a newer format, or damaged.
    """
    with _opened(file) as archive:
        return _checked(archive, file)


def restore_backup(file: Path, journal: Journal, photos: PhotoFolder) -> BackupContent:
    """Restore a backup into an empty journal: all of it or nothing.

    Parameters
    ----------
    file : Path
    journal : Journal
        Open, new: it must hold nothing.
    photos : PhotoFolder
        Where the pictures go.

    Returns
    -------
    BackupContent

    Raises
    ------
    JournalError
        If the file is no whole backup, was written by a newer fruitwall, or the journal holds something already.

    Notes
    -----
    Tables and columns that came after the backup was written stay empty: every column added by a later migration may
    be empty or has a value of its own, which `tests.journal.test_restoring` holds.
    """
    with _opened(file) as archive:
        content = _checked(archive, file)
        _refuse_newer(content.revision, file)
        # Pictures first: a row must never name one that is not there.
        for name in archive.namelist():
            if _PHOTO.fullmatch(name):
                photos.store(archive.read(name))
        with journal.writing() as connection:
            for table in SAVED:
                if connection.scalar(select(func.count()).select_from(table)):
                    raise JournalError(
                        say(
                            "{place} holds data already; nothing was changed. Restore into a new database "
                            "(--database NEW.db), or set it aside: --replace",
                            place=journal.place,
                        )
                    )
            for table in SAVED:
                _fill(connection, table, archive)
    return content


def _refuse_newer(revision: str, file: Path) -> None:
    """Refuse tables of which this program does not know what they mean."""
    if not revision.isdigit() or int(revision) > int(REVISION):
        raise JournalError(
            say(
                "{file} was written by a newer fruitwall (its tables are at {revision}, this program "
                "knows up to {known}). Nothing was restored; upgrade with: pip install --upgrade "
                "fruitwall",
                file=file,
                revision=revision,
                known=REVISION,
            )
        )


def _fill(connection: Connection, table: Table, archive: zipfile.ZipFile) -> None:
    """Put the rows of a table back."""
    name = f"tables/{table.name}.jsonl"
    if name not in archive.namelist():
        return
    rows = _rows(archive, name, table)
    if table.name == "ledger_entries":
        rows = iter(_corrections_last(list(rows)))
    waiting: list[dict[str, Any]] = []
    for row in rows:
        waiting.append(row)
        if len(waiting) == ROWS_AT_ONCE:
            connection.execute(insert(table), waiting)
            waiting = []
    if waiting:
        connection.execute(insert(table), waiting)
    if connection.dialect.name == "postgresql" and "id" in table.columns and table.name != "ledger_entries":
        # The rows brought their numbers: have the server count on from there.
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
                f"(SELECT COALESCE(MAX(id), 1) FROM {table.name}), (SELECT COUNT(*) > 0 FROM {table.name}))"
            )
        )


def _corrections_last(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Order entries so that each comes after the one it replaces."""
    known: set[str] = set()
    ordered: list[dict[str, Any]] = []
    while rows:
        ready = [row for row in rows if row["replaces"] is None or row["replaces"] in known]
        if not ready:
            raise JournalError(say("the backup holds entries that correct each other in a circle; it was not restored"))
        known |= {row["id"] for row in ready}
        ordered += ready
        rows = [row for row in rows if row["id"] not in known]
    return ordered


def _rows(archive: zipfile.ZipFile, name: str, table: Table) -> Iterator[dict[str, Any]]:
    with archive.open(name) as lines:
        for line in io.TextIOWrapper(lines, "utf-8"):
            values = json.loads(line)
            # A column that this version does not know would be lost: refuse rather than that.
            yield {column: _typed(table, column, value) for column, value in values.items()}


def _typed(table: Table, column: str, value: Any) -> Any:
    if column not in table.columns:
        raise JournalError(
            say(
                "the backup has a column {table}.{column} that this fruitwall does not know; upgrade",
                table=table.name,
                column=column,
            )
        )
    kind = table.columns[column].type
    if value is None:
        return None
    if isinstance(kind, UtcDateTime):
        return datetime.fromisoformat(value)
    if isinstance(kind, Date):
        return date.fromisoformat(value)
    return base64.b64decode(value) if isinstance(kind, LargeBinary) else value


def _plain(value: Any) -> Any:
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    return value.isoformat() if isinstance(value, date) else value  # a datetime is a date


def _opened(file: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(file)
    except FileNotFoundError as error:
        raise JournalError(say("there is no file {file}", file=file)) from error
    except (OSError, zipfile.BadZipFile) as error:
        raise JournalError(say("{file} is no backup, or was cut short: {error}", file=file, error=error)) from error


def _checked(archive: zipfile.ZipFile, file: Path) -> BackupContent:
    """Check all of a backup."""
    try:
        manifest = json.loads(archive.read("manifest.json"))
        made_by = manifest["format"]
        if made_by != FORMAT:
            raise JournalError(
                say(
                    '{file} is of the format "{made_by}", which this fruitwall does not know; upgrade',
                    file=file,
                    made_by=made_by,
                )
            )
        broken = archive.testzip()
        for name, digest in manifest["sha256"].items():
            sha = hashlib.sha256()
            with archive.open(name) as content:
                while block := content.read(1 << 20):
                    sha.update(block)
            if sha.hexdigest() != digest:
                broken = broken or name
        found = sum(1 for name in archive.namelist() if _PHOTO.fullmatch(name))
        for name in archive.namelist():
            named = _PHOTO.fullmatch(name)
            if named and hashlib.sha256(archive.read(name)).hexdigest() != named[1]:
                broken = broken or name
        if broken is None and found != manifest["photos"]:
            broken = "photos"
    except (KeyError, ValueError, zipfile.BadZipFile, OSError) as error:
        raise JournalError(say("{file} is no whole backup: {error}", file=file, error=error)) from error
    if broken is not None:
        raise JournalError(
            say("{file} is damaged at {broken}; nothing was restored. Take another backup", file=file, broken=broken)
        )
    return BackupContent(
        datetime.fromisoformat(manifest["created"]),
        manifest["revision"],
        manifest["rows"],
        manifest["photos"],
        tuple(manifest["missing_photos"]),
    )
