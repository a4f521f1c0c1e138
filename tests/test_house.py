"""The house itself: lint, types, and what a wheel carries."""

from __future__ import annotations

import re
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False)


def test_lint_finds_nothing():
    found = run("ruff", "check", ".")
    assert found.returncode == 0, found.stdout + found.stderr


def test_every_file_is_formatted():
    found = run("ruff", "format", "--check", ".")
    assert found.returncode == 0, found.stdout + found.stderr


def test_types_agree():
    found = run("mypy")
    assert found.returncode == 0, found.stdout + found.stderr


def test_a_wheel_carries_templates_sites_tables_and_the_rule_book(tmp_path):
    found = run("hatchling", "build", "-t", "wheel", "-d", str(tmp_path))
    assert found.returncode == 0, found.stdout + found.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    for wanted in (
        "tripplan/_data/templates/pages/plan.html",
        "tripplan/_data/templates/static/page.css",
        "tripplan/_data/templates/guides/leader.md",
        "tripplan/_data/templates/guides/pictures/plan-phone.png",
        "tripplan/_data/sites/stair-ledge.toml",
        "tripplan/_data/sites/stations/north-haven.csv",
        "tripplan/_data/sites/centre/people.toml",
        "tripplan/_data/sites/requests/saturday-ledge.toml",
        "tripplan/rulebook/baseline.toml",
        "tripplan/tables/navy_rev7_no_stop_limits.csv",
    ):
        assert wanted in names


def test_the_constraints_pin_every_library_and_name_no_address():
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert len(lines) > 40
    for line in lines:
        assert re.match(r"^[a-z0-9][a-z0-9._-]*==[0-9]", line), line
