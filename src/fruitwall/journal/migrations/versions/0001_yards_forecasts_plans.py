"""Make yards with their versions, forecasts and plans."""

import sqlalchemy as sa
from alembic import op

from fruitwall.journal.tables import UtcDateTime

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "yards",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("created_utc", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_yards"),
        sa.UniqueConstraint("name", name="uq_yards_name"),
    )
    op.create_table(
        "yard_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("created_utc", UtcDateTime(), nullable=False),
        sa.Column("author", sa.String(200), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_yard_versions"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_yard_versions_yard_id", ondelete="RESTRICT"),
        sa.UniqueConstraint("yard_id", "number", name="uq_yard_versions_yard_id_number"),
    )
    op.create_table(
        "forecasts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("source", sa.String(200), nullable=False),
        sa.Column("issued_utc", UtcDateTime(), nullable=False),
        sa.Column("fetched_utc", UtcDateTime(), nullable=False),
        sa.Column("media_type", sa.String(100), nullable=False),
        sa.Column("body_zlib", sa.LargeBinary(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_forecasts"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_forecasts_yard_id", ondelete="RESTRICT"),
    )
    op.create_index("ix_forecasts_yard_id_fetched_utc", "forecasts", ["yard_id", "fetched_utc"])
    op.create_table(
        "plans",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("yard_version_id", sa.Integer(), nullable=False),
        sa.Column("night", sa.Date(), nullable=False),
        sa.Column("made_utc", UtcDateTime(), nullable=False),
        sa.Column("forecast_id", sa.Integer(), nullable=True),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_plans"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_plans_yard_id", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["yard_version_id"], ["yard_versions.id"], "fk_plans_yard_version_id", ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["forecast_id"], ["forecasts.id"], "fk_plans_forecast_id", ondelete="RESTRICT"),
    )
    op.create_index("ix_plans_night", "plans", ["night"])
    _keep_versions()


def _keep_versions() -> None:
    """Have the database itself refuse to change or remove a version."""
    if op.get_bind().dialect.name == "sqlite":
        for event in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER yard_versions_no_{event.lower()} BEFORE {event} ON yard_versions "
                "BEGIN SELECT RAISE(ABORT, 'versions of a yard are never changed or removed'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION fruitwall_keep_versions() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'versions of a yard are never changed or removed'; END $$"
    )
    op.execute(
        "CREATE TRIGGER yard_versions_keep BEFORE UPDATE OR DELETE ON yard_versions "
        "FOR EACH ROW EXECUTE FUNCTION fruitwall_keep_versions()"
    )
