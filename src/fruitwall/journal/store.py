"""The journal: what was stored about each yard, and when.

Each function is one transaction: it is stored whole or not at all. Versions of a yard are only ever added.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from types import TracebackType
from typing import Any, Self

from sqlalchemy import (
    Connection,
    CursorResult,
    Engine,
    exc,
    func,
    insert,
    select,
)

from fruitwall.errors import JournalError
from fruitwall.journal.entries import (
    CLIMATE_TYPE,
    PlanMark,
    StoredForecast,
    StoredPlan,
    YardStep,
    YardSummary,
    YardVersion,
)
from fruitwall.journal.rows import (
    find_forecast,
    find_yard,
    newest_forecast,
    newest_version,
    read_forecast,
    read_plan,
    read_version,
    stored_plans,
    versions,
)
from fruitwall.journal.state import COUNTS, LAST_ROWS, WEATHER_COUNTS, WEATHER_LAST_ROWS
from fruitwall.journal.tables import forecasts, plans, yard_versions, yards
from fruitwall.journal.trouble import told
from fruitwall.speech import say


class YardMoved(JournalError):
    """Somebody else stored a newer version of the yard meanwhile."""


class Journal:
    """An open database; made by `journal.opening.open_journal`. May be used by several threads at once.

    Parameters
    ----------
    engine : Engine
        With tables up to date.
    place : str
        The database as the user knows it, for messages.
    """

    def __init__(self, engine: Engine, place: str) -> None:
        self.engine = engine
        self.place = place

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections; the write-ahead log is folded into the file."""
        self.engine.dispose()

    # ------------------------------------------------------------ yards

    def store_yard(
        self,
        text: str,
        *,
        name: str,
        now: datetime,
        author: str,
        restores: int | None = None,
        after: int | None = None,
    ) -> YardVersion:
        """Store a yard file as the newest version of a yard.

        Parameters
        ----------
        text : str
            The file, kept character for character. Read it without translating line ends, or an export differs.
        name : str
            Name of the yard, 1 to 200 characters; a new name starts a new yard.
        now : datetime, aware
            When it is stored.
        author : str
            Who changed it, 1 to 200 characters.
        restores : int, optional
            Number of the version whose text this is, when undo or redo brings it back.
        after : int, optional
            Number of the version that this one was made from: nothing is stored if it is no longer the newest.

        Returns
        -------
        YardVersion
            The new version, or the current one if its text is the same.

        Raises
        ------
        ValueError
            If an argument is outside its range, or `text` holds NUL characters or halves of surrogate pairs.
        YardMoved
            If there is a newer version than `after`.
        JournalError
            If the database cannot be written.
        """
        _require_length("name", name, 200)
        _require_length("author", author, 200)
        _require_aware("now", now)
        digest = _text_digest("text", text)

        def write(connection: Connection) -> YardVersion:
            yard_id = connection.scalar(select(yards.c.id).where(yards.c.name == name).with_for_update())
            if yard_id is None:
                yard_id = _inserted(connection.execute(insert(yards).values(name=name, created_utc=now)))
            current = connection.execute(newest_version(yard_id)).first()
            if after is not None and (current is None or current.number != after):
                raise YardMoved(say('the yard "{name}" was changed meanwhile', name=name))
            if current is not None and current.sha256 == digest:
                return read_version(current, self.place)
            values = {
                "yard_id": yard_id,
                "number": 1 if current is None else current.number + 1,
                "created_utc": now,
                "author": author,
                "text": text,
                "sha256": digest,
                "restores": restores,
            }
            connection.execute(insert(yard_versions).values(values))
            return read_version(connection.execute(newest_version(yard_id)).one(), self.place)

        try:
            with self.writing() as connection:
                return write(connection)
        except exc.IntegrityError:
            # On PostgreSQL two may start the same yard at once; by now the other's row is there to be locked.
            with self.writing() as connection:
                return write(connection)

    def current_yard(self, name: str | None = None) -> YardVersion:
        """Give the newest version of a yard.

        Parameters
        ----------
        name : str, optional
            Name of the yard; may be left out where there is only one.

        Returns
        -------
        YardVersion
            As it was stored.

        Raises
        ------
        JournalError
            If there is no such yard, none at all, or several and no name given.
        """
        with self.reading() as connection:
            yard_id = find_yard(connection, name, self.place)
            return read_version(connection.execute(newest_version(yard_id)).one(), self.place)

    def yards(self) -> list[YardSummary]:
        """Give all yards by name.

        Returns
        -------
        list of YardSummary
            Empty for a new database.
        """
        query = (
            select(yards.c.name, yards.c.created_utc, func.max(yard_versions.c.created_utc), func.count())
            .join(yard_versions)
            .group_by(yards.c.id, yards.c.name, yards.c.created_utc)
            .order_by(yards.c.name)
        )
        with self.reading() as connection:
            return [YardSummary(*row) for row in connection.execute(query)]

    def history(self, name: str | None = None) -> list[YardVersion]:
        """Give all versions of a yard, oldest first.

        Parameters
        ----------
        name : str, optional
            As for `current_yard`.

        Returns
        -------
        list of YardVersion
            Numbered 1, 2, 3 …
        """
        with self.reading() as connection:
            yard_id = find_yard(connection, name, self.place)
            query = versions.where(yards.c.id == yard_id).order_by(yard_versions.c.number)
            return [read_version(row, self.place) for row in connection.execute(query)]

    def yard_version(self, number: int, name: str | None = None) -> YardVersion | None:
        """Give one version of a yard by its number; None if there is none.

        Parameters
        ----------
        number : int
            `YardVersion.number`.
        name : str, optional
            As for `current_yard`.

        Returns
        -------
        YardVersion or None
            As it was stored.
        """
        with self.reading() as connection:
            yard_id = find_yard(connection, name, self.place)
            query = versions.where(yards.c.id == yard_id, yard_versions.c.number == number)
            row = connection.execute(query).first()
            return None if row is None else read_version(row, self.place)

    def yard_steps(self, name: str | None = None) -> list[YardStep]:
        """Give every version of a yard without its text, oldest first: many versions cost little so.

        Parameters
        ----------
        name : str, optional
            As for `current_yard`.

        Returns
        -------
        list of YardStep
        """
        columns = (
            yard_versions.c.number,
            yard_versions.c.restores,
            yard_versions.c.created_utc,
            yard_versions.c.author,
        )
        with self.reading() as connection:
            yard_id = find_yard(connection, name, self.place)
            query = select(*columns).where(yard_versions.c.yard_id == yard_id).order_by(yard_versions.c.number)
            return [YardStep(*row) for row in connection.execute(query)]

    # ------------------------------------------------------------ forecasts

    def store_forecast(
        self, body: bytes, *, yard: str | None = None, source: str, issued: datetime, fetched: datetime, media_type: str
    ) -> StoredForecast:
        """Store what a source answered; the same answer again adds nothing.

        Parameters
        ----------
        body : bytes
            As it came, or from `journal.forcing_file.pack_forcing`.
        yard : str, optional
            As for `current_yard`.
        source : str
            Who made it, 1 to 200 characters.
        issued, fetched : datetime, aware
            When the source made it and when it was asked.
        media_type : str
            What the bytes are, 1 to 100 characters, such as ``application/json``.

        Returns
        -------
        StoredForecast
            The new one, or the latest if it has the same source and bytes.

        Raises
        ------
        ValueError
            If an argument is outside its range.
        JournalError
            If there is no such yard or the database cannot be written.
        """
        _require_length("source", source, 200)
        _require_length("media_type", media_type, 100)
        _require_aware("issued", issued)
        _require_aware("fetched", fetched)
        digest = hashlib.sha256(body).hexdigest()
        packed = zlib.compress(body)
        with self.writing() as connection:
            yard_id = find_yard(connection, yard, self.place)
            newest = newest_forecast(yard_id, climate=media_type == CLIMATE_TYPE)
            latest = connection.execute(newest).first()
            if latest is not None and (latest.source, latest.sha256) == (source, digest):
                return read_forecast(latest, self.place)
            values = {
                "yard_id": yard_id,
                "source": source,
                "issued_utc": issued,
                "fetched_utc": fetched,
                "media_type": media_type,
                "body_zlib": packed,
                "sha256": digest,
            }
            number = _inserted(connection.execute(insert(forecasts).values(values)))
            return find_forecast(connection, number, self.place)

    def forecast(self, number: int) -> StoredForecast:
        """Give a stored forecast.

        Parameters
        ----------
        number : int
            `StoredForecast.id`.

        Returns
        -------
        StoredForecast
            As it was stored.

        Raises
        ------
        JournalError
            If there is none of that number, or its bytes are no longer what was stored.
        """
        with self.reading() as connection:
            return find_forecast(connection, number, self.place)

    def latest_forecast(self, yard: str | None = None) -> StoredForecast | None:
        """Give the forecast that was fetched last.

        Parameters
        ----------
        yard : str, optional
            As for `current_yard`.

        Returns
        -------
        StoredForecast or None
            None if the yard has none.
        """
        with self.reading() as connection:
            row = connection.execute(newest_forecast(find_yard(connection, yard, self.place))).first()
            return None if row is None else read_forecast(row, self.place)

    # ------------------------------------------------------------ plans

    def store_plan(
        self, night: date, document: str, *, version: YardVersion, made: datetime, forecast: int | None = None
    ) -> StoredPlan:
        """Store an evening plan; every one is kept.

        Parameters
        ----------
        night : date
            Date of the evening.
        document : str
            The plan as JSON, kept character for character.
        version : YardVersion
            The yard it was made for.
        made : datetime, aware
            When it was made.
        forecast : int, optional
            `StoredForecast.id` it was made from.

        Returns
        -------
        StoredPlan
            The new one.

        Raises
        ------
        ValueError
            If `document` is not JSON or `made` has no zone.
        JournalError
            If this journal has no such version or forecast, or cannot be written.
        """
        _require_aware("made", made)
        digest = _text_digest("document", document)
        try:
            json.loads(document)
        except ValueError as error:
            raise ValueError(f"document must be JSON: {error}") from error
        with self.writing() as connection:
            found = select(yard_versions.c.yard_id, yard_versions.c.sha256).where(yard_versions.c.id == version.id)
            row = connection.execute(found).first()
            if row is None or row.sha256 != version.sha256:
                raise JournalError(
                    say(
                        '{place} has no version {number} of the yard "{yard}"',
                        place=self.place,
                        number=version.number,
                        yard=version.yard,
                    )
                )
            if forecast is not None:
                find_forecast(connection, forecast, self.place)
            values = {
                "yard_id": row.yard_id,
                "yard_version_id": version.id,
                "night": night,
                "made_utc": made,
                "forecast_id": forecast,
                "document": document,
                "sha256": digest,
            }
            number = _inserted(connection.execute(insert(plans).values(values)))
            return read_plan(connection.execute(stored_plans.where(plans.c.id == number)).one(), self.place)

    def latest_plan(self, night: date, *, yard: str | None = None) -> StoredPlan | None:
        """Give the plan for a night that was made last.

        Parameters
        ----------
        night : date
            Date of the evening.
        yard : str, optional
            As for `current_yard`.

        Returns
        -------
        StoredPlan or None
            None if there is no plan for that night.
        """
        with self.reading() as connection:
            yard_id = find_yard(connection, yard, self.place)
            query = stored_plans.where(plans.c.yard_id == yard_id, plans.c.night == night)
            row = connection.execute(query.order_by(plans.c.made_utc.desc(), plans.c.id.desc())).first()
            return None if row is None else read_plan(row, self.place)

    def plan_before(self, night: date, *, yard: str | None = None) -> StoredPlan | None:
        """Give the last plan of the latest night before a night.

        Parameters
        ----------
        night : date
            Date of the evening before which to look.
        yard : str, optional
            As for `current_yard`.

        Returns
        -------
        StoredPlan or None
            None if no earlier night was planned.
        """
        with self.reading() as connection:
            yard_id = find_yard(connection, yard, self.place)
            query = stored_plans.where(plans.c.yard_id == yard_id, plans.c.night < night)
            order = (plans.c.night.desc(), plans.c.made_utc.desc(), plans.c.id.desc())
            row = connection.execute(query.order_by(*order)).first()
            return None if row is None else read_plan(row, self.place)

    def plan(self, number: int) -> StoredPlan:
        """Give a stored plan by its number.

        Parameters
        ----------
        number : int
            `StoredPlan.id`.

        Returns
        -------
        StoredPlan
            As it was stored.

        Raises
        ------
        JournalError
            If there is none of that number, or its document is no longer what was stored.
        """
        with self.reading() as connection:
            row = connection.execute(stored_plans.where(plans.c.id == number)).first()
            if row is None:
                raise JournalError(say("{place} holds no plan number {number}", place=self.place, number=number))
            return read_plan(row, self.place)

    def plan_marks(self, night: date, *, yard: str | None = None) -> tuple[PlanMark | None, PlanMark | None]:
        """Tell which plans `latest_plan` and `plan_before` give, without reading their long documents.

        Parameters
        ----------
        night : date
            Date of the evening.
        yard : str, optional
            As for `current_yard`.

        Returns
        -------
        latest, before : PlanMark or None
        """
        marks = select(plans.c.id, plans.c.night, plans.c.sha256)
        newest = (plans.c.night.desc(), plans.c.made_utc.desc(), plans.c.id.desc())
        with self.reading() as connection:
            yard_id = find_yard(connection, yard, self.place)
            of_yard = marks.where(plans.c.yard_id == yard_id).order_by(*newest).limit(1)
            latest = connection.execute(of_yard.where(plans.c.night == night)).first()
            before = connection.execute(of_yard.where(plans.c.night < night)).first()
            return PlanMark(*latest) if latest is not None else None, PlanMark(*before) if before is not None else None

    def state(self) -> tuple[int | None, ...]:
        """Tell whether anything of yards, plans, settings or the ledger was stored since somebody looked.

        Returns
        -------
        tuple of int or None
            Another one after every change, since rows are only ever added.

        Notes
        -----
        On SQLite it is the number of the last row of each table: one writes at a time, so later rows have higher
        numbers, and five winters (7500 plans, 50,000 entries) cost no more than one. On PostgreSQL that would miss a
        change: of two rows stored at once, the one of the lower number may come last. There the rows are counted.
        """
        with self.reading() as connection:
            asked = LAST_ROWS if connection.dialect.name == "sqlite" else COUNTS
            return tuple(connection.execute(asked).one())

    def weather_state(self) -> tuple[int | None, ...]:
        """Tell whether a reading or a forecast was stored since somebody looked; as `state`, which leaves them out."""
        with self.reading() as connection:
            asked = WEATHER_LAST_ROWS if connection.dialect.name == "sqlite" else WEATHER_COUNTS
            return tuple(connection.execute(asked).one())

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a transaction that sees one state of the database."""
        with told(self.place), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a transaction that is kept whole or not at all."""
        with told(self.place), self.engine.connect() as plain:
            connection = plain.execution_options(writes=True)
            with connection.begin():
                yield connection


def _inserted(result: CursorResult[Any]) -> int:
    """Give the number of the row just added."""
    key = result.inserted_primary_key
    if key is None:
        raise RuntimeError("the database gave no number for a new row")
    return int(key[0])


def _text_digest(argument: str, text: str) -> str:
    """Give the digest of a text, refusing what not every database can hold."""
    if "\0" in text:
        raise ValueError(f"{argument} must hold no NUL character, got one at position {text.index(chr(0))}")
    try:
        return hashlib.sha256(text.encode()).hexdigest()
    except UnicodeEncodeError as error:
        raise ValueError(f"{argument} must be text that UTF-8 can hold: {error}") from error


def _require_length(argument: str, text: str, longest: int) -> None:
    """Refuse an empty or endless text."""
    if not 1 <= len(text) <= longest:
        raise ValueError(f"{argument} must be 1 to {longest} characters, got {len(text)}")


def _require_aware(argument: str, moment: datetime) -> None:
    """Refuse a time without zone."""
    if moment.utcoffset() is None:
        raise ValueError(f"{argument} must carry its time zone, got {moment.isoformat()} without one")
