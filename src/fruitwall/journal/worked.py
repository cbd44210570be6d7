"""Parts of long work, kept by their content: what is lost here is only worked out again.

All is within one database, so that a household has one file. The part that was used longest ago goes first once there
is more than `MOST_BYTES`.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import datetime

from sqlalchemy import Connection, delete, func, insert, select, update

from fruitwall.journal.store import Journal
from fruitwall.journal.tables import worked

MOST_BYTES = 256 * 2**20
"""So much is kept, compressed. Our judgement: what thirty winters of sixty trees take several times over; opening
the database, which looks through its pages, takes 0.06 s longer with it. [bytes]"""

PACKED = 1
"""Level of compression: numbers of floating point gain little by more. Our judgement."""


def kept_work(journal: Journal, key: str) -> bytes | None:
    """Give what is kept under a key.

    Parameters
    ----------
    journal : Journal
    key : str
        As given to `keep_work`.

    Returns
    -------
    bytes or None
        None if there is none, or if it cannot be read any more.
    """
    with journal.reading() as connection:
        packed = connection.scalar(select(worked.c.body_zlib).where(worked.c.key == key))
    try:
        return None if packed is None else zlib.decompress(packed)
    except zlib.error:
        return None


def which_work(journal: Journal, keys: Collection[str]) -> frozenset[str]:
    """Tell which of some keys something is kept under."""
    wanted, found = sorted(set(keys)), set[str]()
    with journal.reading() as connection:
        for begin in range(0, len(wanted), 500):  # databases limit how many values one question may have
            query = select(worked.c.key).where(worked.c.key.in_(wanted[begin : begin + 500]))
            found.update(connection.scalars(query))
    return frozenset(found)


def keep_work(journal: Journal, key: str, body: bytes, *, now: datetime, most_bytes: int = MOST_BYTES) -> bool:
    """Keep what was worked out, in place of what was under the key, and drop what was used longest ago.

    Parameters
    ----------
    journal : Journal
    key : str
        Of 64 characters at most; by content: whoever has the same key has the same body.
    body : bytes
    now : datetime, aware
    most_bytes : int
        How much may be kept in all. [bytes]

    Returns
    -------
    bool
        False for what is larger than all that may be kept: it is not.

    Raises
    ------
    JournalError
        If the database cannot be written.
    """
    packed = zlib.compress(body, PACKED)
    if len(packed) > most_bytes:
        return False
    row = {"key": key, "made_utc": now, "last_used_utc": now, "size": len(packed), "body_zlib": packed}
    with _writing(journal) as connection:
        connection.execute(delete(worked).where(worked.c.key == key))
        connection.execute(insert(worked).values(row))
        _drop_oldest(connection, most_bytes, spare=key)
    return True


def touch_work(journal: Journal, keys: Collection[str], *, now: datetime) -> None:
    """Note that what is kept under some keys was used now."""
    wanted = sorted(set(keys))
    if not wanted:
        return
    with _writing(journal) as connection:
        for begin in range(0, len(wanted), 500):
            some = worked.c.key.in_(wanted[begin : begin + 500])
            connection.execute(update(worked).where(some).values(last_used_utc=now))


def kept_bytes(journal: Journal) -> int:
    """Tell how much is kept. [bytes]"""
    with journal.reading() as connection:
        return int(connection.scalar(select(func.coalesce(func.sum(worked.c.size), 0))) or 0)


@contextmanager
def _writing(journal: Journal) -> Iterator[Connection]:
    """Open a transaction that alone changes the table."""
    with journal.writing() as connection:
        if connection.dialect.name == "postgresql":
            # Two who drop what the other one also drops, in another order, would wait for each other for ever.
            connection.exec_driver_sql(f"LOCK TABLE {worked.name} IN SHARE ROW EXCLUSIVE MODE")
        yield connection


def _drop_oldest(connection: Connection, most_bytes: int, spare: str) -> None:
    """Drop what was used longest ago until the rest is no more than may be kept."""
    rows = select(worked.c.key, worked.c.size).where(worked.c.key != spare)
    sizes = connection.execute(rows.order_by(worked.c.last_used_utc.desc(), worked.c.key)).all()
    left = most_bytes - int(connection.scalar(select(worked.c.size).where(worked.c.key == spare)) or 0)
    dropped = []
    for key, size in sizes:
        left -= size
        if left < 0:
            dropped.append(key)
    for begin in range(0, len(dropped), 500):
        connection.execute(delete(worked).where(worked.c.key.in_(dropped[begin : begin + 500])))
