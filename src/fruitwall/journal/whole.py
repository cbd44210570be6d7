"""Whether a database is whole: every page, every index, every reference from row to row.

Opening looks through the pages quickly (`journal.migrate`). This goes through everything, before a backup is written
and when it is asked for; of a large database it takes seconds.
"""

from __future__ import annotations

from sqlalchemy import Connection

from fruitwall.errors import JournalError
from fruitwall.journal.store import Journal
from fruitwall.journal.trouble import DAMAGED
from fruitwall.speech import say, say_chain

_MOST_TOLD = 3


def check_whole(journal: Journal) -> None:
    """Look through a whole database.

    Parameters
    ----------
    journal : Journal
        Open. PostgreSQL looks after its files itself (checksums, `pg_amcheck`); there only the connection is tried.

    Raises
    ------
    JournalError
        If anything in it is damaged, or a row points to one that is not there.
    """
    with journal.reading() as connection:
        if connection.dialect.name != "sqlite":
            connection.exec_driver_sql("SELECT 1")
            return
        _check_pages(connection, journal.place)
        _check_references(connection, journal.place)


def _check_pages(connection: Connection, place: str) -> None:
    found = [str(row[0]) for row in connection.exec_driver_sql(f"PRAGMA integrity_check({_MOST_TOLD})")]
    if found != ["ok"]:
        detail = "; ".join(" ".join(one.split()) for one in found)
        raise JournalError(say(DAMAGED, place=place, detail=detail))


def _check_references(connection: Connection, place: str) -> None:
    lost = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchmany(_MOST_TOLD)
    if lost:
        rows = say_chain(
            [say("row {row} of {table} points to {other}", row=row[1], table=row[0], other=row[2]) for row in lost]
        )
        raise JournalError(
            say(
                "{place} holds rows that point to rows which are not there ({rows}). Another program "
                "changed it; restore a backup",
                place=place,
                rows=rows,
            )
        )
