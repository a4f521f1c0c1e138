"""The one direction in which areas import, and what may know the network, the disk and the clock."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tripplan.cli import COMMANDS

PACKAGE = Path(__file__).resolve().parent.parent / "tripplan"
ORDER = (
    "errors", "data_files", "language", "units", "sources", "check", "record", "rulebook", "tables", "physics",
    "environment", "people", "catalogue", "emergency", "planning", "documents", "feeds", "store", "web", "cli",
    "__main__",
)  # fmt: skip
MODULES = sorted(PACKAGE.rglob("*.py"))
OUTSIDE = {"flask", "requests", "requests_cache", "urllib3", "sqlite3", "sqlalchemy", "urllib", "http", "socket"}
CLOCKS = {("datetime", "now"), ("datetime", "today"), ("datetime", "utcnow"), ("date", "today"), ("time", "time")}


def area(module: str) -> str:
    """Return the area of a dotted module name; the package itself, which holds the version, is above all."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else ""


def name_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(path: Path) -> Iterator[str]:
    """Yield every module imported anywhere in a file, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno} is a relative import"
            module = node.module or ""
            yield from (f"tripplan.{alias.name}" for alias in node.names) if module == "tripplan" else (module,)


def test_every_module_belongs_to_an_area():
    assert len(MODULES) > 40
    assert {area(name_of(path)) for path in MODULES} - {""} <= set(ORDER)


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_imports_point_only_upwards(path):
    here = area(name_of(path))
    for module in imported(path):
        if module.split(".")[0] != "tripplan" or module == "tripplan.__version__":
            continue
        there = area(module)
        assert there in ORDER, f"{path} imports {module}"
        assert here, f"the package itself imports {module}"
        assert ORDER.index(there) <= ORDER.index(here), f"{path} imports {module}"


@pytest.mark.parametrize(
    "path", [p for p in MODULES if area(name_of(p)) not in ("feeds", "web", "cli", "__main__")], ids=name_of
)
def test_below_the_store_nothing_knows_network_database_or_clock(path):
    if area(name_of(path)) != "store":
        known = {module.split(".")[0] for module in imported(path)} & OUTSIDE
        assert not known, f"{path} imports {known}"
    if area(name_of(path)) == "store":
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner = node.func.value
            owner_name = (
                owner.id if isinstance(owner, ast.Name) else owner.attr if isinstance(owner, ast.Attribute) else ""
            )
            assert (owner_name, node.func.attr) not in CLOCKS, f"{path}:{node.lineno} reads the clock"


# ---- what is not imported before it is needed ----

SLOW = ("pandas", "matplotlib", "ortools", "typst", "openpyxl", "requests_cache")
HEAVY = (*SLOW, "geopy", "requests", "numpy", "flask", "sqlalchemy", "pydantic", "astral")


def loaded_by(program: str, cwd: Path = PACKAGE.parent, **environment: str) -> tuple[set[str], str]:
    """Return the modules that a program has loaded at its end, and what it printed."""
    program += "\nimport sys\nprint('\\nLOADED', *sys.modules)"
    found = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True, text=True, check=True, cwd=cwd, env={**os.environ, **environment},
    )  # fmt: skip
    assert found.stderr == ""
    printed, _, loaded = found.stdout.rpartition("\nLOADED ")
    return set(loaded.split()), printed


def test_help_loads_no_command_and_nothing_heavy():
    loaded, printed = loaded_by(
        "from tripplan.cli import main\ntry:\n    main(['--help'])\nexcept SystemExit as end:\n    assert not end.code"
    )
    assert "COMMAND" in printed
    assert {name for name in loaded if name.startswith("tripplan.")} == {
        "tripplan.cli", "tripplan.cli.common", "tripplan.errors",
    }  # fmt: skip
    assert not loaded & set(HEAVY)


def test_help_of_every_command_loads_nothing_heavy():
    loaded, printed = loaded_by(
        "from tripplan.cli import COMMANDS, main\nfor name in COMMANDS:\n    try:\n        main([name, '--help'])\n"
        "    except SystemExit as end:\n        assert not end.code"
    )
    assert printed.count("usage: tripplan ") == len(COMMANDS)
    assert not loaded & set(HEAVY)


def test_a_plan_as_text_loads_neither_papers_nor_tables_nor_the_network(tmp_path):
    request = PACKAGE.parent / "sites" / "requests" / "saturday-ledge.toml"
    loaded, printed = loaded_by(
        f"from tripplan.cli import main\nassert main(['plan', {str(request)!r}, '--text']) == 0",
        XDG_DATA_HOME=str(tmp_path),
        XDG_CACHE_HOME=str(tmp_path),
    )
    assert "revision" in printed.casefold()
    assert not loaded & {*SLOW, "flask", "huey"}


def test_serving_starts_without_what_only_some_pages_need(tmp_path):
    folder = PACKAGE.parent / "sites"
    loaded, _ = loaded_by(
        "import waitress.server\nfrom tripplan.cli import main\n"
        "class Server:\n    effective_port = 1\n    def run(self): pass\n"
        "waitress.server.create_server = lambda *_, **__: Server()\n"
        f"assert main(['serve', {str(folder)!r}]) == 0",
        XDG_DATA_HOME=str(tmp_path),
        XDG_CACHE_HOME=str(tmp_path),
    )
    assert "tripplan.web.app" in loaded
    assert not loaded & set(SLOW)
