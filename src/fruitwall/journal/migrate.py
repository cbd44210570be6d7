"""Bring the tables of a database to what this program knows."""

from __future__ import annotations

from sqlalchemy import Connection, Engine, column, inspect, select, table

from fruitwall.errors import JournalError
from fruitwall.journal.tables import REVISION, VERSION_TABLE, metadata
from fruitwall.journal.trouble import DAMAGED
from fruitwall.speech import say

# Any number will do, as long as no other program on the same server takes it for its own lock.
_POSTGRES_LOCK = 0x66727569


def check_and_migrate(engine: Engine, place: str) -> None:
    """Make or renew the tables, in one transaction, if they are not up to date.

    Parameters
    ----------
    engine : Engine
        From `journal.engine.make_engine`.
    place : str
        The database as the user knows it, for messages.

    Raises
    ------
    JournalError
        If the file is damaged, belongs to another program or was written by a newer fruitwall.
    """
    with engine.connect() as connection:
        _check_file(connection, place)
        if _revision(connection) == REVISION:
            return
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_POSTGRES_LOCK})")
        # Read again under the lock: another process may have been quicker.
        found = _revision(connection)
        if found is None:
            _refuse_foreign_tables(connection, place)
        if found != REVISION:
            _upgrade(connection, found, place)


def _check_file(connection: Connection, place: str) -> None:
    """Let SQLite look through its pages."""
    if connection.dialect.name != "sqlite":
        return
    found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    if found != "ok":
        detail = " ".join(str(found).split())
        raise JournalError(say(DAMAGED, place=place, detail=detail))


def _revision(connection: Connection) -> str | None:
    """Give the migration at which the tables stand, None if there are none."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    return connection.scalar(select(column("version_num")).select_from(table(VERSION_TABLE)))


def _refuse_foreign_tables(connection: Connection, place: str) -> None:
    """Refuse to add our tables to a file of another program, or beside a table of the same name."""
    present = set(inspect(connection).get_table_names())
    foreign = present if connection.dialect.name == "sqlite" else present & set(metadata.tables)
    if foreign:
        raise JournalError(
            say(
                "{place} holds tables of another program ({foreign}). Nothing was changed; choose "
                "another database with --database",
                place=place,
                foreign=", ".join(sorted(foreign)[:5]),
            )
        )


def _upgrade(connection: Connection, found: str | None, place: str) -> None:
    """Run the migrations packaged beside this module."""
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", "fruitwall.journal:migrations")
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found is not None and found not in known:
        raise JournalError(
            say(
                "{place} was written by a newer fruitwall (its tables are at {found}, this program knows "
                "up to {revision}). Nothing was changed; upgrade with: pip install --upgrade fruitwall",
                place=place,
                found=found,
                revision=REVISION,
            )
        )
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
