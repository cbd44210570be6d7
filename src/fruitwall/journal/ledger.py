"""The ledger: what happened to the trees, entry by entry.

Entries are only ever added. The device that makes an entry names it, so an entry that is sent again, after a
connection broke or by two tabs, is stored once. A correction is an entry that replaces another; where two people
corrected the same entry, both corrections stand.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from datetime import datetime
from functools import cache

from sqlalchemy import Connection, Executable, Row, Select, Table, exc, func, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from fruitwall.errors import JournalError
from fruitwall.journal.entries import LedgerEntry, Reading, StoredPhoto
from fruitwall.journal.rows import changed, find_yard
from fruitwall.journal.store import Journal
from fruitwall.journal.tables import ledger_entries, photos, readings, settings, yards
from fruitwall.speech import say

KINDS = ("sighting", "deed", "stage", "note")
"""What an entry may be."""

_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")

_entries = select(
    ledger_entries.c.id,
    yards.c.name.label("yard"),
    ledger_entries.c.kind,
    ledger_entries.c.tree,
    ledger_entries.c.at_utc.label("at"),
    ledger_entries.c.author,
    ledger_entries.c.device,
    ledger_entries.c.received_utc.label("received"),
    ledger_entries.c.body,
    ledger_entries.c.replaces,
    ledger_entries.c.withdrawn,
    ledger_entries.c.sha256,
).join(yards, yards.c.id == ledger_entries.c.yard_id)


class EntryConflict(JournalError):
    """An entry of this id is stored already, and says something else."""


class Ledger:
    """What happened in one yard.

    Parameters
    ----------
    journal : Journal
        Open.
    yard : str, optional
        Name of the yard; may be left out where there is only one.
    """

    def __init__(self, journal: Journal, yard: str | None = None) -> None:
        self.journal = journal
        self.yard = yard

    # ------------------------------------------------------------ entries

    def add(self, entries: Sequence[LedgerEntry]) -> list[bool]:
        """Store entries, all of them or none.

        Parameters
        ----------
        entries : sequence of LedgerEntry
            Their `yard` is not looked at: they go to the yard of this ledger.

        Returns
        -------
        list of bool
            For each whether it is new; False where the same entry was there already.

        Raises
        ------
        EntryConflict
            If one of these ids is stored with another content.
        JournalError
            If an entry replaces one that is not stored, or the database cannot be written.
        ValueError
            If an entry is not of the stated form.
        """
        for entry in entries:
            _check(entry)
        with self.journal.writing() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            return [self._add_one(connection, yard_id, entry) for entry in entries]

    def _add_one(self, connection: Connection, yard_id: int, entry: LedgerEntry) -> bool:
        digest = _digest(entry)
        known = connection.execute(
            select(ledger_entries.c.sha256, ledger_entries.c.yard_id).where(ledger_entries.c.id == entry.id)
        ).first()
        if known is not None:
            if (known.sha256, known.yard_id) == (digest, yard_id):
                return False
            raise EntryConflict(
                say("the entry {number} is stored already and says something else; it was not changed", number=entry.id)
            )
        if entry.replaces is not None:
            found = select(ledger_entries.c.id).where(
                ledger_entries.c.id == entry.replaces, ledger_entries.c.yard_id == yard_id
            )
            if connection.execute(found).first() is None:
                raise JournalError(
                    say(
                        "the entry {number} corrects {replaced}, which is not stored",
                        number=entry.id,
                        replaced=entry.replaces,
                    )
                )
        values = {
            "id": entry.id,
            "yard_id": yard_id,
            "kind": entry.kind,
            "tree": entry.tree,
            "at_utc": entry.at,
            "author": entry.author,
            "device": entry.device,
            "received_utc": entry.received,
            "body": entry.body,
            "sha256": digest,
            "replaces": entry.replaces,
            "withdrawn": entry.withdrawn,
        }
        try:
            with connection.begin_nested():
                connection.execute(insert(ledger_entries).values(values))
        except exc.IntegrityError:
            # On PostgreSQL another connection may have stored the same entry since we looked.
            known = connection.execute(select(ledger_entries.c.sha256).where(ledger_entries.c.id == entry.id)).first()
            if known is None or known.sha256 != digest:
                raise
            return False
        return True

    def current(
        self,
        *,
        tree: str | None = None,
        kind: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> list[LedgerEntry]:
        """Give the entries that stand: neither corrected nor taken back.

        Parameters
        ----------
        tree : str, optional
            Only those of this tree.
        kind : str, optional
            Only those of this kind.
        since, until : datetime, aware, optional
            Only those that happened then: `since` included, `until` not.

        Returns
        -------
        list of LedgerEntry
            Oldest first.
        """
        replacing = select(ledger_entries.c.replaces).where(ledger_entries.c.replaces.is_not(None))
        query = _entries.where(ledger_entries.c.withdrawn.is_(False), ledger_entries.c.id.not_in(replacing))
        if tree is not None:
            query = query.where(ledger_entries.c.tree == tree)
        return self._read(_only(query, kind, since, until))

    def taken_back(
        self, *, kind: str | None = None, since: datetime | None = None, until: datetime | None = None
    ) -> list[LedgerEntry]:
        """Give the entries that take another back, oldest first; what is given limits them as for `current`."""
        return self._read(_only(_entries.where(ledger_entries.c.withdrawn.is_(True)), kind, since, until))

    def history(self, entry: str) -> list[LedgerEntry]:
        """Give an entry and all corrections of it and of these, oldest received first.

        Parameters
        ----------
        entry : str
            Id of any one of them.

        Returns
        -------
        list of LedgerEntry
            Empty if there is no such entry.
        """
        wanted, found = {entry}, dict[str, LedgerEntry]()
        while wanted:
            near = self._read(_entries.where(ledger_entries.c.id.in_(wanted) | ledger_entries.c.replaces.in_(wanted)))
            new = {one.id: one for one in near if one.id not in found}
            found |= new
            wanted = set(new) | {one.replaces for one in new.values() if one.replaces} - set(found)
        return sorted(found.values(), key=lambda one: (one.received, one.id))

    def entry(self, number: str) -> LedgerEntry | None:
        """Give one entry by its id, corrected or not; None if there is none."""
        found = self._read(_entries.where(ledger_entries.c.id == number))
        return found[0] if found else None

    def _read(self, query: Select[*tuple[object, ...]]) -> list[LedgerEntry]:
        with self.journal.reading() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            ordered = query.where(ledger_entries.c.yard_id == yard_id).order_by(
                ledger_entries.c.at_utc, ledger_entries.c.id
            )
            return [self._record(row) for row in connection.execute(ordered)]

    def _record(self, row: Row[*tuple[object, ...]]) -> LedgerEntry:
        values = row._asdict()
        digest = values.pop("sha256")
        entry = LedgerEntry(**values)
        if _digest(entry) != digest:
            raise changed(self.journal.place, say("the entry {number}", number=entry.id))
        return entry

    # ------------------------------------------------------------ photos, readings, settings

    def add_photo(self, photo: StoredPhoto) -> None:
        """Note that a picture is in the folder; noting it again changes nothing."""
        with self.journal.writing() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            values = {
                "yard_id": yard_id,
                "sha256": photo.sha256,
                "width": photo.width,
                "height": photo.height,
                "size": photo.size,
                "taken_utc": photo.taken,
                "stored_utc": photo.stored,
            }
            _insert_new(connection, photos, values)

    def photo(self, sha256: str) -> StoredPhoto | None:
        """Give what is known of a picture of this yard; None if it has no such picture."""
        query = select(
            photos.c.sha256, photos.c.width, photos.c.height, photos.c.size, photos.c.taken_utc, photos.c.stored_utc
        )
        with self.journal.reading() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            row = connection.execute(query.where(photos.c.yard_id == yard_id, photos.c.sha256 == sha256)).first()
            return None if row is None else StoredPhoto(*row)

    def photo_names(self) -> list[str]:
        """Give the digests of all pictures of this yard."""
        with self.journal.reading() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            return list(connection.scalars(select(photos.c.sha256).where(photos.c.yard_id == yard_id)))

    def add_readings(self, new: Sequence[Reading], *, received: datetime) -> int:
        """Store readings; one that is there already, of the same sensor, quantity and time, is passed over.

        Parameters
        ----------
        new : sequence of Reading
        received : datetime, aware
            When they came.

        Returns
        -------
        int
            How many were new.
        """
        with self.journal.writing() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            count = 0
            # In one order, so that two loggers that send the same on PostgreSQL never wait for each other.
            for one in sorted(new, key=lambda one: (one.sensor, one.quantity, one.at)):
                values = {
                    "yard_id": yard_id,
                    "sensor": one.sensor,
                    "quantity": one.quantity,
                    "at_utc": one.at,
                    "value": one.value,
                    "received_utc": received,
                }
                count += _insert_new(connection, readings, values)
            return count

    def readings(self, *, since: datetime, until: datetime, quantity: str | None = None) -> list[Reading]:
        """Give the readings of a time, oldest first: `since` included, `until` not."""
        query = select(readings.c.sensor, readings.c.quantity, readings.c.at_utc, readings.c.value).where(
            readings.c.at_utc >= since, readings.c.at_utc < until
        )
        if quantity is not None:
            query = query.where(readings.c.quantity == quantity)
        with self.journal.reading() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            ordered = query.where(readings.c.yard_id == yard_id).order_by(readings.c.at_utc, readings.c.id)
            return [Reading(*row) for row in connection.execute(ordered)]

    def readings_mark(self, *, until: datetime) -> tuple[int, int]:
        """Give how many readings there are of before a moment, and the number of the last that came of these."""
        with self.journal.reading() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            query = select(func.count(), func.coalesce(func.max(readings.c.id), 0)).where(
                readings.c.yard_id == yard_id, readings.c.at_utc < until
            )
            count, last = connection.execute(query).one()
            return int(count), int(last)

    def set(self, key: str, value: object, *, author: str, now: datetime) -> None:
        """Set a setting of the yard; what it was before stays in the journal.

        Parameters
        ----------
        key : str
            1 to 100 characters.
        value : object
            Anything that JSON can hold.
        author : str
            Who set it.
        now : datetime, aware
        """
        text = json.dumps(value, ensure_ascii=False, sort_keys=True)
        with self.journal.writing() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            values = {"yard_id": yard_id, "key": key, "value": text, "author": author, "set_utc": now}
            connection.execute(insert(settings).values(values))

    def setting(self, key: str) -> object:
        """Give a setting of the yard; None if it was never set."""
        with self.journal.reading() as connection:
            yard_id = find_yard(connection, self.yard, self.journal.place)
            query = select(settings.c.value).where(settings.c.yard_id == yard_id, settings.c.key == key)
            text = connection.scalar(query.order_by(settings.c.id.desc()).limit(1))
            return None if text is None else json.loads(text)


def _only(
    query: Select[*tuple[object, ...]], kind: str | None, since: datetime | None, until: datetime | None
) -> Select[*tuple[object, ...]]:
    """Limit entries to a kind and a time, where they are given."""
    if kind is not None:
        query = query.where(ledger_entries.c.kind == kind)
    if since is not None:
        query = query.where(ledger_entries.c.at_utc >= since)
    if until is not None:
        query = query.where(ledger_entries.c.at_utc < until)
    return query


def _insert_new(connection: Connection, table: Table, values: dict[str, object]) -> int:
    """Insert a row unless there is one of the same key; gives 1 where it is new.

    One statement and not a look before it: on PostgreSQL another connection may store the same in between.
    """
    return int(connection.execute(_adding(connection.dialect.name, table), values).first() is not None)


@cache  # writing the statement anew for every reading of a logger took longer than storing it
def _adding(dialect: str, table: Table) -> Executable:
    make = postgresql.insert if dialect == "postgresql" else sqlite.insert
    return make(table).on_conflict_do_nothing().returning(table.c.id)


def _check(entry: LedgerEntry) -> None:
    """Refuse what is not of the form of an entry."""
    if not _ID.fullmatch(entry.id):
        raise ValueError(f"an entry's id must be a UUID in lower case, got {entry.id!r}")
    if entry.kind not in KINDS:
        raise ValueError(f"an entry is one of {', '.join(KINDS)}, got {entry.kind!r}")
    for name, moment in (("at", entry.at), ("received", entry.received)):
        if moment.utcoffset() is None:
            raise ValueError(f"{name} must carry its time zone, got {moment.isoformat()} without one")
    for name, text, longest in (("author", entry.author, 200), ("device", entry.device, 200)):
        if not 1 <= len(text) <= longest:
            raise ValueError(f"{name} must be 1 to {longest} characters, got {len(text)}")
    if entry.tree is not None and not 1 <= len(entry.tree) <= 100:
        raise ValueError(f"tree must be 1 to 100 characters, got {len(entry.tree)}")
    if "\0" in entry.body + (entry.tree or "") + entry.author + entry.device:
        raise ValueError("an entry must hold no NUL character")
    if entry.withdrawn and entry.replaces is None:
        raise ValueError("an entry that takes one back must say which (replaces)")
    try:
        json.loads(entry.body)
        entry.body.encode()
    except ValueError as error:
        raise ValueError(f"body must be JSON: {error}") from error


def _digest(entry: LedgerEntry) -> str:
    """Give the digest of all that an entry says; when it was received is not part of it."""
    at = entry.at.timestamp()
    said = [entry.id, entry.kind, entry.tree, at, entry.author, entry.device, entry.body, entry.replaces]
    return hashlib.sha256(json.dumps([*said, entry.withdrawn]).encode()).hexdigest()
