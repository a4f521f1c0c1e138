"""Accounts, tries to sign in, sessions, and an audit trail that only grows."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from tripplan.store.migrations.guards import guard, unguard
from tripplan.store.tables import Moment

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables and the guard of the audit trail."""
    op.create_table(
        "accounts",
        sa.Column("key", sa.String(120), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("hash", sa.String(200), nullable=False),
        sa.Column("locked", sa.Boolean(), nullable=False),
        sa.Column("created", Moment(), nullable=False),
        sa.Column("password_changed", Moment(), nullable=False),
        sa.Column("sessions_after", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_accounts"),
    )
    op.create_table(
        "attempts",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("name_hash", sa.String(64), nullable=False),
        sa.Column("address", sa.String(60), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("ok", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_attempts"),
    )
    op.create_index("ix_attempts_name_hash", "attempts", ["name_hash"])
    op.create_index("ix_attempts_address", "attempts", ["address"])
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("key", sa.String(120), nullable=False),
        sa.Column("began", Moment(), nullable=False),
        sa.Column("seen", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("token_hash", name="pk_sessions"),
    )
    op.create_index("ix_sessions_key", "sessions", ["key"])
    op.create_table(
        "audit",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("who", sa.String(120), nullable=False),
        sa.Column("what", sa.String(60), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_audit"),
    )
    op.create_table(
        "signing",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("secret", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_signing"),
    )
    guard("audit")


def downgrade() -> None:
    """Take everything away again."""
    unguard("audit")
    for table in ("signing", "audit", "sessions", "attempts", "accounts"):
        op.drop_table(table)
