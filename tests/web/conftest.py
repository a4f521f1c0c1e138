"""One app for the tests of the pages: the demonstration folder on a given day."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.made_once import plans_once
from tripplan.data_files import data_dir
from tripplan.documents import one_file
from tripplan.web import words
from tripplan.web.app import create_app

plans_once()

# Most tests look for whole sentences in a page as it stands; the links from words to what they mean would stand in
# them. What the marking does, and that a page reads the same with it, is tested in test_words_page.py.
marked, words.marked, one_file.marked = words.marked, lambda page: page, lambda page, at: page

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="session")
def app(kept_on, tmp_path_factory):
    records = tmp_path_factory.mktemp("records")
    return create_app(data_dir("sites"), clock=lambda: NOW, keep_young=True, records=records)


@pytest.fixture
def client(app):
    return app.test_client()
