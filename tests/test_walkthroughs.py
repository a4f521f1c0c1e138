"""The walkthroughs for contributors are true: each is made in a copy of the house, and what comes out is looked at."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CHANGES = Path(__file__).resolve().parent / "walkthroughs"
HEADS = {"rule": "Change one rule", "field": "Add one site field", "check": "Add one check"}


def files_of(name: str) -> list[str]:
    """Return the files that a change touches."""
    return re.findall(r"(?m)^\+\+\+ b/(.+)$", (CHANGES / f"{name}.diff").read_text(encoding="utf-8"))


def told(name: str) -> str:
    """Return the walkthrough as contributors read it."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    found = re.search(rf"\*\*{HEADS[name]}\*\*.*?(?=\n\*\*[A-Z]|\n## )", text, re.DOTALL)
    assert found
    return found[0]


@pytest.fixture(params=HEADS)
def changed(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, Path]:
    """Return the name of a change and a copy of the house in which it was made."""
    name = str(request.param)
    house = tmp_path / "house"
    shutil.copytree(ROOT / "tripplan", house / "tripplan", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "sites", house / "sites")
    shutil.copytree(ROOT / "templates", house / "templates", ignore=shutil.ignore_patterns("fonts"))
    (house / "templates" / "fonts").symlink_to(ROOT / "templates" / "fonts")
    shutil.copy(ROOT / "pyproject.toml", house)
    shutil.copytree(ROOT / "tests" / "catalogue" / "bad_sites", house / "tests" / "catalogue" / "bad_sites")
    done = subprocess.run(
        ["git", "apply", "--verbose", str(CHANGES / f"{name}.diff")],
        cwd=house, env={"GIT_CEILING_DIRECTORIES": str(house), "PATH": "/usr/bin:/bin"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"the walkthrough no longer fits the code, make its diff anew: {done.stderr}"
    return name, house


def told_by(house: Path, *words: str) -> str:
    """Return what a program in the changed house prints."""
    found = subprocess.run([sys.executable, *words], cwd=house, capture_output=True, text=True, check=False)
    assert found.returncode in (0, 1), found.stderr
    return found.stdout


PAGE = """
from datetime import UTC, datetime
from pathlib import Path
from tripplan.web.app import create_app
app = create_app(Path("sites"), clock=lambda: datetime(2026, 12, 1, 8, tzinfo=UTC), records=Path("records"))
print(app.test_client().get("/sites/gull-cove").get_data(as_text=True))
"""


def test_what_is_told_comes_out(changed):
    name, house = changed
    if name == "rule":
        rules = json.loads(told_by(house, "-m", "tripplan", "rules", "--json"))
        assert [r["value"] for r in rules["rules"] if r["key"] == "site.survey_fresh_days"] == [180]
    elif name == "field":
        assert "<dt>Parking</dt><dd>2.50 a day, coins only</dd>" in told_by(house, "-c", PAGE)
        assert json.loads(told_by(house, "-m", "tripplan", "sites", "sites", "--json"))["faults"] == []
    else:
        plan = json.loads(told_by(house, "-m", "tripplan", "plan", "sites/requests/beginners-cove.toml", "--json"))
        (check,) = [each for each in plan["checks"] if each["rule"] == "carry"]
        assert (check["outcome"], check["found"], check["limit"]) == ("ok", 60, 150)


@pytest.mark.parametrize("name", HEADS)
def test_every_file_of_the_change_is_named_and_no_other_number_of_files(name):
    words = told(name)
    numbers = {"one": 1, "four": 4, "five": 5}
    count = re.search(r": (\w+) files?, some", words)
    assert count and numbers[count[1]] == len(files_of(name))
    for file in files_of(name):
        assert f"`{file}`" in words
    for tests in re.findall(r"`pytest -n 0 ([^`]+)`", words):
        for place in tests.split():
            assert (ROOT / place).exists(), place
