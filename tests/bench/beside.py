"""Serve the demonstration and a bare Flask page from one server process: ``python -m tests.bench.beside``.

Prints its port once it answers. ``/bare/`` is the bare page; everything else is the program.
"""

from __future__ import annotations

import logging
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask
from waitress.server import create_server
from werkzeug.middleware.dispatcher import DispatcherMiddleware

from tripplan.data_files import data_dir
from tripplan.store.database import Store, sqlite_url
from tripplan.web.app import create_app

NOW = datetime(2026, 12, 1, 8, tzinfo=UTC)
THREADS = 4  # as the program serves itself


def bare() -> Flask:
    """Return an app with one page that says a word."""
    app = Flask("bare")
    app.add_url_rule("/", view_func=lambda: "<!doctype html><title>Bare</title><p>Here.</p>", endpoint="page")
    return app


def main() -> None:
    """Serve until killed."""
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # that some wait is what is measured
    with tempfile.TemporaryDirectory() as place:
        store = Store(sqlite_url(Path(place) / "store.sqlite"))
        program = create_app(data_dir("sites"), clock=lambda: NOW, records=Path(place), store=store)
        server = create_server(
            DispatcherMiddleware(program, {"/bare": bare()}), host="127.0.0.1", port=0, threads=THREADS
        )
        print(server.effective_port, flush=True)
        server.run()


if __name__ == "__main__":
    main()
