"""Triggers that keep a table from being changed: rows are added, and taken out only while a purge says so."""

from __future__ import annotations

from alembic import op


def guard(table: str) -> None:
    """Refuse UPDATE always, and DELETE unless a purge is under way."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            f"""
            CREATE FUNCTION {table}_only_grows() RETURNS trigger AS $$
            BEGIN
                IF TG_OP = 'DELETE' AND EXISTS (SELECT 1 FROM purging) THEN RETURN OLD; END IF;
                RAISE EXCEPTION '{table} only grow: a correction is a row of its own';
            END $$ LANGUAGE plpgsql
            """
        )
        op.execute(
            f"CREATE TRIGGER {table}_only_grows BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_only_grows()"
        )
        return
    said = f"SELECT RAISE(ABORT, '{table} only grow: a correction is a row of its own')"
    op.execute(f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN {said}; END")
    op.execute(
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} "
        f"WHEN NOT EXISTS (SELECT 1 FROM purging) BEGIN {said}; END"
    )


def unguard(table: str) -> None:
    """Take the triggers away."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(f"DROP TRIGGER {table}_only_grows ON {table}")
        op.execute(f"DROP FUNCTION {table}_only_grows()")
        return
    op.execute(f"DROP TRIGGER {table}_no_update")
    op.execute(f"DROP TRIGGER {table}_no_delete")
