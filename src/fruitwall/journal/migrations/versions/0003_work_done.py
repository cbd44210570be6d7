"""Make the table of parts of long work."""

import sqlalchemy as sa
from alembic import op

from fruitwall.journal.tables import UtcDateTime

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "worked",
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("made_utc", UtcDateTime(), nullable=False),
        sa.Column("last_used_utc", UtcDateTime(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("body_zlib", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_worked"),
    )
    op.create_index("ix_worked_last_used_utc", "worked", ["last_used_utc"])
