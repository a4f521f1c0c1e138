"""Settings for all tests: the same examples each time on a check machine, and every store on both kinds of database."""

from __future__ import annotations

import gc
import os
import shutil
import tempfile

import pytest
from hypothesis import settings

from tests.both_stores import guard, kept_on, let_go, postgresql_server, run_twice  # noqa: F401 -- the fixtures of all tests
from tests.made_once import make_once

# No test is judged by the clock. A check machine tries the same examples each time.
settings.register_profile("here", deadline=None)
settings.register_profile("check", derandomize=True, deadline=None)
settings.load_profile("check" if os.environ.get("CI") else "here")


def pytest_configure(config: pytest.Config) -> None:
    # Nothing of whoever runs the tests is read or written: their store, their kept answers of services.
    for name in ("XDG_DATA_HOME", "XDG_CACHE_HOME"):
        os.environ[name] = tempfile.mkdtemp(prefix="tripplan-tests-")
    make_once()
    config.addinivalue_line("markers", "sqlite_file(why): about the file itself, so it runs on SQLite only")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    run_twice(metafunc)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    guard(item)


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item) -> None:
    let_go(item)


def pytest_collection_finish() -> None:
    # What was imported and collected stays until the end: looking it through for garbage again and again would take a
    # sixth of the time of the tests.
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 10, 10)


def pytest_unconfigure() -> None:
    for name in ("XDG_DATA_HOME", "XDG_CACHE_HOME"):
        shutil.rmtree(os.environ[name], ignore_errors=True)
