"""Schedules: changes made in the browser, results and which hangs on the wall only grow; jobs come and go."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from tripplan.store.migrations.guards import guard, unguard
from tripplan.store.tables import Moment

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
ONLY_GROW = ("schedule_versions", "schedule_results", "schedule_published")


def upgrade() -> None:
    """Make the tables and their guards."""
    op.create_table(
        "schedule_versions",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("slug", sa.String(120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("edits", sa.JSON(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("changed", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("base", sa.String(64), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_schedule_versions"),
        sa.UniqueConstraint("slug", "version", name="uq_schedule_versions_slug"),
    )
    op.create_table(
        "schedule_results",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("slug", sa.String(120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("base", sa.String(64), nullable=False),
        sa.Column("revision", sa.String(64), nullable=False),
        sa.Column("made", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("stopped", sa.Boolean(), nullable=False),
        sa.Column("before", NUMBER, nullable=True),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.Column("schedule", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_schedule_results"),
    )
    op.create_table(
        "schedule_published",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("slug", sa.String(120), nullable=False),
        sa.Column("result", NUMBER, nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("last_day", sa.Date(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_schedule_published"),
    )
    op.create_table(
        "schedule_jobs",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("slug", sa.String(120), nullable=False),
        sa.Column("open", sa.String(120), nullable=True),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("asked", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("worker", sa.String(40), nullable=False),
        sa.Column("started", Moment(), nullable=True),
        sa.Column("beat", Moment(), nullable=False),
        sa.Column("ended", Moment(), nullable=True),
        sa.Column("stop", sa.Boolean(), nullable=False),
        sa.Column("again", sa.String(120), nullable=False),
        sa.Column("progress", sa.JSON(), nullable=True),
        sa.Column("result", NUMBER, nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_schedule_jobs"),
        sa.UniqueConstraint("open", name="uq_schedule_jobs_open"),
    )
    for table in (*ONLY_GROW, "schedule_jobs"):
        op.create_index(f"ix_{table}_slug", table, ["slug"])
    for table in ONLY_GROW:
        guard(table)


def downgrade() -> None:
    """Take them away again."""
    op.drop_table("schedule_jobs")
    for table in reversed(ONLY_GROW):
        unguard(table)
        op.drop_table(table)
