"""Make the ledger, photos, readings, settings, accounts and their keys; versions may say what they bring back."""

import sqlalchemy as sa
from alembic import op

from fruitwall.journal.tables import UtcDateTime

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.add_column("yard_versions", sa.Column("restores", sa.Integer(), nullable=True))
    op.create_table(
        "ledger_entries",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("tree", sa.String(100), nullable=True),
        sa.Column("at_utc", UtcDateTime(), nullable=False),
        sa.Column("author", sa.String(200), nullable=False),
        sa.Column("device", sa.String(200), nullable=False),
        sa.Column("received_utc", UtcDateTime(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("replaces", sa.String(36), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_ledger_entries"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_ledger_entries_yard_id", ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["replaces"], ["ledger_entries.id"], "fk_ledger_entries_replaces", ondelete="RESTRICT"),
    )
    op.create_index("ix_ledger_entries_replaces", "ledger_entries", ["replaces"])
    op.create_index("ix_ledger_entries_yard_id_tree_at_utc", "ledger_entries", ["yard_id", "tree", "at_utc"])
    op.create_index("ix_ledger_entries_yard_id_kind_at_utc", "ledger_entries", ["yard_id", "kind", "at_utc"])
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("taken_utc", UtcDateTime(), nullable=True),
        sa.Column("stored_utc", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_photos"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_photos_yard_id", ondelete="RESTRICT"),
        sa.UniqueConstraint("yard_id", "sha256", name="uq_photos_yard_id_sha256"),
    )
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("sensor", sa.String(100), nullable=False),
        sa.Column("quantity", sa.String(30), nullable=False),
        sa.Column("at_utc", UtcDateTime(), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.Column("received_utc", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_readings"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_readings_yard_id", ondelete="RESTRICT"),
        sa.UniqueConstraint(
            "yard_id", "sensor", "quantity", "at_utc", name="uq_readings_yard_id_sensor_quantity_at_utc"
        ),
    )
    op.create_table(
        "settings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("yard_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(100), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("author", sa.String(200), nullable=False),
        sa.Column("set_utc", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_settings"),
        sa.ForeignKeyConstraint(["yard_id"], ["yards.id"], "fk_settings_yard_id", ondelete="RESTRICT"),
    )
    op.create_index("ix_settings_yard_id_key", "settings", ["yard_id", "key"])
    op.create_table(
        "accounts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(100), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("passphrase_hash", sa.String(300), nullable=True),
        sa.Column("preferences", sa.Text(), nullable=False),
        sa.Column("created_utc", UtcDateTime(), nullable=False),
        sa.Column("closed_utc", UtcDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_accounts"),
        sa.UniqueConstraint("name", name="uq_accounts_name"),
    )
    op.create_table(
        "keys",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.Column("label", sa.String(200), nullable=False),
        sa.Column("created_utc", UtcDateTime(), nullable=False),
        sa.Column("expires_utc", UtcDateTime(), nullable=True),
        sa.Column("used_utc", UtcDateTime(), nullable=True),
        sa.Column("ended_utc", UtcDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_keys"),
        sa.ForeignKeyConstraint(["account_id"], ["accounts.id"], "fk_keys_account_id", ondelete="RESTRICT"),
        sa.UniqueConstraint("secret_sha256", name="uq_keys_secret_sha256"),
    )
    _keep_entries()


def _keep_entries() -> None:
    """Have the database itself refuse to change or remove an entry."""
    if op.get_bind().dialect.name == "sqlite":
        for event in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER ledger_entries_no_{event.lower()} BEFORE {event} ON ledger_entries "
                "BEGIN SELECT RAISE(ABORT, 'entries of the ledger are never changed or removed'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION fruitwall_keep_entries() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'entries of the ledger are never changed or removed'; END $$"
    )
    op.execute(
        "CREATE TRIGGER ledger_entries_keep BEFORE UPDATE OR DELETE ON ledger_entries "
        "FOR EACH ROW EXECUTE FUNCTION fruitwall_keep_entries()"
    )
