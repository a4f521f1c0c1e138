"""Empty stores for tests, ready at once: a copied file, or a database that another test has given back.

To make a store takes longer than most tests: every step of the migrations, and on a server a whole new database. So a
file begins as a copy of one that went through all steps, and a database that is given back is emptied and lent again,
under another name, so that whatever still holds the old one finds nothing. One whose shape was changed is dropped.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

Open = Callable[[str], None]  # opens the store at an address, takes the steps and closes it

# Everything that the steps make: columns, indexes, guards with their code, and which step was the last.
SHAPE = """
SELECT string_agg(word, E'\\n' ORDER BY word) FROM (
  SELECT concat_ws(' ', table_name, column_name, data_type, is_nullable, column_default) AS word
    FROM information_schema.columns WHERE table_schema = 'public'
  UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'
  UNION ALL SELECT concat_ws(' ', tgrelid::regclass, tgenabled, pg_get_triggerdef(oid))
    FROM pg_trigger WHERE NOT tgisinternal
  UNION ALL SELECT concat_ws(' ', conrelid::regclass, pg_get_constraintdef(oid))
    FROM pg_constraint WHERE connamespace = 'public'::regnamespace
  UNION ALL SELECT prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace
  UNION ALL SELECT version_num FROM alembic_version
) AS words
"""
EMPTY = """
DO $$ DECLARE each record; BEGIN
  SET LOCAL session_replication_role = replica; -- the guards refuse that anything is taken out
  FOR each IN SELECT tablename AS name FROM pg_tables WHERE schemaname = 'public' AND tablename <> 'alembic_version'
  LOOP EXECUTE format('DELETE FROM %I', each.name); END LOOP;
  FOR each IN SELECT sequencename AS name FROM pg_sequences WHERE schemaname = 'public' AND last_value IS NOT NULL
  LOOP EXECUTE format('ALTER SEQUENCE %I RESTART', each.name); END LOOP;
END $$
"""


class Files:
    """Stores in files."""

    def __init__(self, folder: Path, make: Open) -> None:
        """Keep the first empty store in a folder of its own."""
        self._first = folder / "empty.sqlite"
        make(f"sqlite:///{self._first}")

    def begin(self, path: Path) -> bool:
        """Put an empty store where there is nothing; returns whether it did."""
        draft = path.with_name(f"{path.name}.{uuid4().hex}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(self._first, draft)
            os.link(draft, path)  # in one step, and never over a file
        except OSError:
            return False
        finally:
            with suppress(OSError):  # a test closed this disk to writing
                draft.unlink(missing_ok=True)
        return True


class Databases:
    """Stores on a server."""

    def __init__(self, server: str, make: Open) -> None:
        """Keep a connection to the server's maintenance database."""
        import psycopg

        self._server, self._make = server, make
        self._connection = psycopg.connect(server.replace("+psycopg", ""), autocommit=True)
        self._lock = threading.Lock()
        self._lent: dict[str, str] = {}  # names of databases, by what they stand for
        self._free: list[str] = []
        self._shape: str | None = None

    def address(self, name: str) -> str:
        """Return the address of a database."""
        return f"{self._server.rsplit('/', 1)[0]}/{name}"

    def lend(self, what: str) -> tuple[str, bool]:
        """Return the address of the database that stands for something, and whether it is empty and has just begun."""
        with self._lock:
            if what in self._lent:
                return self.address(self._lent[what]), False
            name = self._free.pop() if self._free else self._new()
            self._lent[what] = name
            return self.address(name), True

    def _new(self) -> str:
        name = _name()
        self._connection.execute(f"CREATE DATABASE {name}")
        self._make(self.address(name))
        if self._shape is None:
            self._shape = self._look(name)[0]
        return name

    def give_back(self, belongs: Callable[[str], bool]) -> None:
        """Empty the databases of what is no longer used."""
        with self._lock:
            for what in [each for each in self._lent if belongs(each)]:
                old, name = self._lent.pop(what), _name()
                try:
                    self._connection.execute(f"ALTER DATABASE {old} RENAME TO {name}")
                    whole = self._look(name, empty=True) == (self._shape, True)
                except self._errors:  # somebody still uses it
                    self._connection.execute(f"DROP DATABASE IF EXISTS {old} WITH (FORCE)")
                    whole = False
                if whole:
                    self._free.append(name)
                else:
                    self._connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    @property
    def _errors(self) -> type[Exception]:
        import psycopg

        return psycopg.Error

    def _look(self, name: str, empty: bool = False) -> tuple[Any, bool]:
        """Return the shape of a database, and whether everything was taken out of it."""
        import psycopg

        with psycopg.connect(self.address(name).replace("+psycopg", ""), autocommit=True) as connection:
            connection.execute("SET lock_timeout = '2s'")
            try:
                row = connection.execute(SHAPE).fetchone()
            except psycopg.errors.UndefinedTable:  # not even the table of the steps is left
                return None, False
            if empty:
                connection.execute(EMPTY)
            return row and hashlib.sha256(str(row[0]).encode()).hexdigest(), empty

    def close(self) -> None:
        """Let go of the server."""
        self._connection.close()


def _name() -> str:
    return f"t{uuid4().hex}"
