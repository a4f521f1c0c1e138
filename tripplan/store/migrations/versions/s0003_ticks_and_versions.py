"""Ticks of skills, and every version of a request: both only grow."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from tripplan.store.migrations.guards import guard, unguard
from tripplan.store.tables import Moment

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the tables and their guards; a request that stands already is its own first kept version."""
    op.add_column("requests", sa.Column("base", sa.String(64), nullable=False, server_default=""))
    op.create_table(
        "request_versions",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("request", sa.JSON(), nullable=False),
        sa.Column("changed", Moment(), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_request_versions"),
        sa.UniqueConstraint("name", "version", name="uq_request_versions_name"),
    )
    op.create_index("ix_request_versions_name", "request_versions", ["name"])
    columns = 'name, version, request, changed, "by"'
    op.execute(f"INSERT INTO request_versions ({columns}) SELECT {columns} FROM requests")
    op.create_table(
        "ticks",
        sa.Column("number", NUMBER, autoincrement=True, nullable=False),
        sa.Column("uid", sa.String(64), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("course", sa.String(40), nullable=False),
        sa.Column("person", sa.String(120), nullable=False),
        sa.Column("dive", sa.Integer(), nullable=False),
        sa.Column("skill", sa.String(120), nullable=False),
        sa.Column("result", sa.String(20), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_ticks"),
        sa.UniqueConstraint("uid", name="uq_ticks_uid"),
    )
    op.create_index("ix_ticks_person", "ticks", ["person"])
    for table in ("request_versions", "ticks"):
        guard(table)


def downgrade() -> None:
    """Take them away again."""
    for table in ("ticks", "request_versions"):
        unguard(table)
        op.drop_table(table)
    op.drop_column("requests", "base")
