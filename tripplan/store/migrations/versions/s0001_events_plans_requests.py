"""Events and plans that only grow, and requests that are edited."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from tripplan.store.migrations.guards import guard, unguard
from tripplan.store.tables import Moment

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables and the guards."""
    op.create_table(
        "events",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("uid", sa.String(64), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("arrived", Moment(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("site", sa.String(120), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("person", sa.String(120), nullable=False),
        sa.Column("group", sa.String(120), nullable=False),
        sa.Column("dive", sa.Integer(), nullable=False),
        sa.Column("value", sa.Float()),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("identity", sa.String(120), nullable=False),
        sa.Column("corrects", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_events"),
        sa.UniqueConstraint("uid", name="uq_events_uid"),
    )
    op.create_index("ix_events_day", "events", ["day"])
    op.create_table(
        "plans",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("revision", sa.String(8), nullable=False),
        sa.Column("site", sa.String(120), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("kept", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("request", sa.JSON(), nullable=False),
        sa.Column("inputs", sa.JSON(), nullable=False),
        sa.Column("plan", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_plans"),
        sa.UniqueConstraint("revision", name="uq_plans_revision"),
    )
    op.create_index("ix_plans_day", "plans", ["day"])
    op.create_table(
        "requests",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("request", sa.JSON(), nullable=False),
        sa.Column("changed", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_requests"),
    )
    op.create_table(
        "purging",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_purging"),
    )
    for table in ("events", "plans"):
        guard(table)


def downgrade() -> None:
    """Take everything away again."""
    for table in ("events", "plans"):
        unguard(table)
    for table in ("purging", "requests", "plans", "events"):
        op.drop_table(table)
