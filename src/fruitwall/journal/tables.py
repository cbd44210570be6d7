"""The tables, as SQLAlchemy sees them; the migrations make them and a test holds the two together."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)

REVISION = "0003"
"""Newest migration; a database that is at it is opened without loading Alembic."""

VERSION_TABLE = "fruitwall_schema"
"""Where the migration of a database stands; a name of our own, since a PostgreSQL database may be shared."""


class UtcDateTime(TypeDecorator[datetime]):
    """A moment: aware values only, stored in UTC, given back aware.

    SQLite has no time zones and would give back naive values whatever was put in.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a naive value, turn the rest into UTC."""
        if value is None:
            return None
        if value.utcoffset() is None:
            raise ValueError(f"a stored time must carry its zone, got {value.isoformat()} without one")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give UTC back."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    }
)


def _points_to(name: str, target: str, **options: Any) -> Column[int]:
    """Make a foreign key; rows that are pointed to cannot be taken away."""
    return Column(name, Integer, ForeignKey(target, ondelete="RESTRICT"), nullable=False, **options)


yards = Table(
    "yards",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False, unique=True),
    Column("created_utc", UtcDateTime, nullable=False),
)

# Rows are only ever added; triggers of the database refuse the rest.
yard_versions = Table(
    "yard_versions",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("yard_id", "yards.id"),
    Column("number", Integer, nullable=False),
    Column("created_utc", UtcDateTime, nullable=False),
    Column("author", String(200), nullable=False),
    Column("text", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    # Number of the version whose text this one brings back, when it was made by undo or redo.
    Column("restores", Integer, nullable=True),
    UniqueConstraint("yard_id", "number"),
)

forecasts = Table(
    "forecasts",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("yard_id", "yards.id"),
    Column("source", String(200), nullable=False),
    Column("issued_utc", UtcDateTime, nullable=False),
    Column("fetched_utc", UtcDateTime, nullable=False),
    Column("media_type", String(100), nullable=False),
    Column("body_zlib", LargeBinary, nullable=False),
    Column("sha256", String(64), nullable=False),
    Index(None, "yard_id", "fetched_utc"),
)

plans = Table(
    "plans",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("yard_id", "yards.id"),
    _points_to("yard_version_id", "yard_versions.id"),
    Column("night", Date, nullable=False, index=True),
    Column("made_utc", UtcDateTime, nullable=False),
    Column("forecast_id", Integer, ForeignKey("forecasts.id", ondelete="RESTRICT"), nullable=True),
    Column("document", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)

# What happened to the trees. Rows are only ever added; triggers refuse the rest. A changed entry is a new row that
# replaces the old one, so that two changes of one entry by two people are both still there.
ledger_entries = Table(
    "ledger_entries",
    metadata,
    Column("id", String(36), primary_key=True),
    _points_to("yard_id", "yards.id"),
    Column("kind", String(20), nullable=False),
    Column("tree", String(100), nullable=True),
    Column("at_utc", UtcDateTime, nullable=False),
    Column("author", String(200), nullable=False),
    Column("device", String(200), nullable=False),
    Column("received_utc", UtcDateTime, nullable=False),
    Column("body", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("replaces", String(36), ForeignKey("ledger_entries.id", ondelete="RESTRICT"), nullable=True, index=True),
    Column("withdrawn", Boolean, nullable=False),
    Index(None, "yard_id", "tree", "at_utc"),
    Index(None, "yard_id", "kind", "at_utc"),
)

# The pictures themselves are files named by their digest; see `journal.photos`.
photos = Table(
    "photos",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("yard_id", "yards.id"),
    Column("sha256", String(64), nullable=False),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("size", Integer, nullable=False),
    Column("taken_utc", UtcDateTime, nullable=True),
    Column("stored_utc", UtcDateTime, nullable=False),
    UniqueConstraint("yard_id", "sha256"),
)

readings = Table(
    "readings",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("yard_id", "yards.id"),
    Column("sensor", String(100), nullable=False),
    Column("quantity", String(30), nullable=False),
    Column("at_utc", UtcDateTime, nullable=False),
    Column("value", Float, nullable=False),
    Column("received_utc", UtcDateTime, nullable=False),
    UniqueConstraint("yard_id", "sensor", "quantity", "at_utc"),
)

# Settings keep their history: the newest row of a key counts.
settings = Table(
    "settings",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("yard_id", "yards.id"),
    Column("key", String(100), nullable=False),
    Column("value", Text, nullable=False),
    Column("author", String(200), nullable=False),
    Column("set_utc", UtcDateTime, nullable=False),
    Index(None, "yard_id", "key"),
)

accounts = Table(
    "accounts",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(100), nullable=False, unique=True),
    Column("role", String(20), nullable=False),
    Column("passphrase_hash", String(300), nullable=True),
    Column("preferences", Text, nullable=False),
    Column("created_utc", UtcDateTime, nullable=False),
    Column("closed_utc", UtcDateTime, nullable=True),
)

# Of secrets only digests are stored: who reads the database cannot log in with it.
keys = Table(
    "keys",
    metadata,
    Column("id", Integer, primary_key=True),
    _points_to("account_id", "accounts.id"),
    Column("kind", String(20), nullable=False),
    Column("secret_sha256", String(64), nullable=False, unique=True),
    Column("label", String(200), nullable=False),
    Column("created_utc", UtcDateTime, nullable=False),
    Column("expires_utc", UtcDateTime, nullable=True),
    Column("used_utc", UtcDateTime, nullable=True),
    Column("ended_utc", UtcDateTime, nullable=True),
)

# Parts of long work, by their content: what is taken away here is worked out again. It is in no backup.
worked = Table(
    "worked",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("made_utc", UtcDateTime, nullable=False),
    Column("last_used_utc", UtcDateTime, nullable=False, index=True),
    # Of `body_zlib`, so that the sum is found without reading the bodies. [bytes]
    Column("size", Integer, nullable=False),
    Column("body_zlib", LargeBinary, nullable=False),
)

ONLY_KEPT = frozenset({worked.name})
"""Tables of what can be worked out again: they go into no backup, and a database that holds nothing else is empty."""
