"""What is built and what is installed: whole, with nothing that does not belong there, and started without a network.

Here the running Python and its libraries are used; ``python -m tests.install`` does it with every Python, from nothing.
"""

from __future__ import annotations

import os
import re
import site
import sys
import sysconfig
import tarfile
import tomllib
from email import message_from_bytes
from email.message import Message
from pathlib import Path

import pytest

from tests.install.installing import ROOT, Place, build, content, run, snapshot, use
from tripplan import __version__
from tripplan.cli import main

NEVER = re.compile(
    r"(^|/)(tests?|\.git|\.venv|records|__pycache__|node_modules)/|\.(sqlite|db|pem|key|env|pyc|log|new|orig)$|"
    r"(^|/)(\.env|\.netrc|\.being-written|id_[a-z0-9]+|confirmed\.csv)$"
)
SECRET = re.compile(
    rb"-----BEGIN [A-Z ]*PRIVATE KEY|(?i:api[_-]?key|password|secret|token)\s*=\s*[\"'][A-Za-z0-9+/_-]{16,}[\"']"
)
MACHINE = re.compile(rb"(?<![\w.])/(home|root|Users)/\w")


@pytest.fixture(scope="module")
def tree(tmp_path_factory) -> Path:
    return snapshot(tmp_path_factory.mktemp("source") / "tree")


@pytest.fixture(scope="module")
def built(tree, tmp_path_factory) -> dict[str, Path]:
    return build(tree, tmp_path_factory.mktemp("dist"), "wheel", "sdist")


@pytest.fixture(scope="module")
def files(built) -> dict[str, bytes]:
    return content(built["wheel"])


def files_of(tree: Path, folder: str) -> set[str]:
    """Return the files of a folder of the source tree that belong to the program."""
    there = (file for file in (tree / folder).rglob("*") if file.is_file())
    return {file.relative_to(tree).as_posix() for file in there if not file.name.startswith(".")}


def test_the_wheel_holds_the_whole_program_and_nothing_else(files, tree):
    data = files_of(tree, "templates") | files_of(tree, "sites")
    wanted = files_of(tree, "tripplan") | {f"tripplan/_data/{name}" for name in data}
    got = {name for name in files if ".dist-info/" not in name}
    assert got == wanted
    for name, held in files.items():
        assert not NEVER.search(name), name
        if ".dist-info/" not in name:
            assert held == (tree / name.replace("tripplan/_data/", "")).read_bytes()
        if not name.endswith((".png", ".ttf", ".otf", ".woff2", ".jpg")):
            assert not SECRET.search(held), (name, SECRET.search(held))
            assert not MACHINE.search(held), (name, MACHINE.search(held))


def test_what_the_wheel_says_of_itself(files, tree):
    (name,) = [name for name in files if name.endswith(".dist-info/METADATA")]
    said: Message = message_from_bytes(files[name])
    assert (said["Name"], said["Version"]) == ("tripplan", __version__)
    assert said["Requires-Python"] == ">=3.11" and said["License-Expression"] == "Apache-2.0"
    assert files[name.replace("METADATA", "licenses/LICENSE")] == (tree / "LICENSE").read_bytes()
    points = files[name.replace("METADATA", "entry_points.txt")].decode()
    assert points.split() == ["[console_scripts]", "tripplan", "=", "tripplan.cli:main"]
    needs = said.get_all("Requires-Dist") or []
    for each in needs:  # each with a floor: what is older was never tried
        assert re.search(r">=\d", each), each
    project = tomllib.loads((tree / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "version" not in project and "version" in project["dynamic"]  # it stands in tripplan/__init__.py alone


def test_the_readme_renders_where_packages_are_shown(files, tree):
    from markdown_it import MarkdownIt

    (name,) = [name for name in files if name.endswith(".dist-info/METADATA")]
    said = message_from_bytes(files[name])
    assert said["Description-Content-Type"] == "text/markdown"
    shown = MarkdownIt("commonmark").render(str(said.get_payload(decode=True), "utf-8"))
    assert shown.startswith("<h1>tripplan</h1>")
    assert shown.count("<h2>") == len(re.findall(r"(?m)^## ", (tree / "README.md").read_text(encoding="utf-8")))
    assert "```" not in shown and "**" not in re.sub(r"(?s)<pre>.*?</pre>", "", shown)


def test_the_sdist_builds_the_same_wheel(built, files, tmp_path):
    with tarfile.open(built["sdist"]) as packed:
        packed.extractall(tmp_path, filter="data")
    (unpacked,) = tmp_path.iterdir()
    assert not [file for file in unpacked.rglob("*") if NEVER.search(file.name)]
    again = build(unpacked, tmp_path / "dist", "wheel")["wheel"]
    assert again.name == built["wheel"].name
    assert content(again) == files


def test_an_installation_is_used_from_elsewhere_without_a_network(built, tmp_path, capsys):
    """Plan, sheet, account, store, schedule and the pages, where the libraries are but nothing of this tree is."""
    import matplotlib

    own = tmp_path / "venv"
    run([sys.executable, "-m", "venv", "--without-pip", own], tmp_path)
    scheme = "nt" if os.name == "nt" else "venv"
    folder = Path(sysconfig.get_path("purelib", scheme, {"base": str(own), "platbase": str(own)}))
    python = own / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    run([sys.executable, "-m", "pip", "--python", python, "install", "-q", "--no-deps", "--no-index", built["wheel"]],
        tmp_path)  # fmt: skip
    libraries = [each for each in site.getsitepackages() if Path(each).is_dir()]
    (folder / "libraries.pth").write_text("\n".join(libraries) + "\n", encoding="utf-8")
    (tmp_path / "home").mkdir()
    (tmp_path / "work").mkdir()
    # Matplotlib lists the fonts of a machine once for each user, which takes seconds; whoever runs this has the list.
    said = use(
        Place(python, tmp_path / "home"), tmp_path / "work", {"MPLCONFIGDIR": matplotlib.get_cachedir()}, compiled=False
    )
    assert said["version"] == __version__
    assert "demo" in said["help"] and "Ana Sol may now sign in" in said["account"] and said["outings"] == "1"
    assert (tmp_path / "home" / ".local" / "share" / "tripplan").is_dir()
    assert main(["plan", str(ROOT / "sites" / "requests" / "saturday-ledge.toml")]) == 0
    assert said["plan"] == capsys.readouterr().out
