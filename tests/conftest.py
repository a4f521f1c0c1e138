"""Settings for all tests: the same examples each time on a check machine, and every store on both kinds of database."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

from tests.both_stores import guard, kept_on, postgresql_server, run_twice  # noqa: F401 -- the fixtures of all tests

settings.register_profile("check", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("check")


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "sqlite_file(why): about the file itself, so it runs on SQLite only")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    run_twice(metafunc)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    guard(item)
