"""The house itself: lint, types, and what a wheel carries."""

from __future__ import annotations

import ast
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


# ---- modules that can be read, and found ----

LONGEST_FUNCTION = 80  # lines; what is longer does several things
LONGER_FUNCTIONS = {
    "documents/day_sheet.py: _values",  # one long table of values
    "documents/sheet_words.py: label_words",  # likewise
    "planning/outings.py: _runs_at",
    "web/app.py: create_app",
}
LONGEST_MODULE = 950
LONGER_MODULES = {"documents/coverage_table.py", "documents/picture.py"}  # a table; one picture


def test_functions_and_modules_stay_short_enough_to_be_read():
    functions, modules = set(), set()
    for path in (ROOT / "tripplan").rglob("*.py"):
        text, name = path.read_text(encoding="utf-8"), path.relative_to(ROOT / "tripplan").as_posix()
        if text.count("\n") > LONGEST_MODULE:
            modules.add(name)
        for node in ast.parse(text).body:
            for part in node.body if isinstance(node, ast.ClassDef) else [node]:
                if isinstance(part, ast.FunctionDef) and (part.end_lineno or 0) - part.lineno >= LONGEST_FUNCTION:
                    functions.add(f"{name}: {part.name}")
    assert functions == LONGER_FUNCTIONS  # whoever shortens one takes its name away
    assert modules == LONGER_MODULES


def places() -> list[str]:
    """Return every path of the table of places; one that stands behind another may leave out the folder."""
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("| I look for |")[2].partition("\n\n")[0]
    found = []
    for row in table.splitlines():
        folder = ""
        for place in re.findall(r"`([^`]+)`", row.rpartition(" | ")[2]):
            folder = place.rpartition("/")[0] if "/" in place else folder
            found.append(place if "/" in place else f"{folder}/{place}")
    return found


def test_every_place_that_contributors_are_shown_is_there():
    assert len(places()) > 60
    assert [place for place in places() if not any(list(base.glob(place)) for base in (ROOT, ROOT / "tripplan"))] == []


# ---- what is installed ----


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
