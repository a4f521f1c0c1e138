"""Steps from one shape of the store to the next, by Alembic; each step runs on SQLite and on PostgreSQL."""
