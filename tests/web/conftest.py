"""One app for the tests of the pages: the demonstration folder on a given day."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.made_once import plans_once
from tripplan.data_files import data_dir
from tripplan.web.app import create_app

plans_once()

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def app(kept_on, tmp_path_factory):
    records = tmp_path_factory.mktemp("records")
    return create_app(data_dir("sites"), clock=lambda: NOW, keep_young=True, records=records)


@pytest.fixture
def client(app):
    return app.test_client()
