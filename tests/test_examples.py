"""Every example in the README, the guides and DEVELOPERS.md: files are read by the program's readers, commands run.

The examples share one folder: a copy of the demonstration's with the files of the examples in it, called ``my-centre``
as in the texts. What is not run stands below with its reason; where it is a command of ours, its words are read.
"""

from __future__ import annotations

import getpass
import io
import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tripplan import cli
from tripplan.data_files import data_dir
from tripplan.store.folder import Folder, load_folder

pytestmark = pytest.mark.sqlite_file("the examples are those of a centre on a file; PostgreSQL has its own commands")

ROOT = Path(__file__).resolve().parent.parent
GUIDES = data_dir("templates") / "guides"
DOCUMENTS = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(GUIDES.glob("*.md")))
LANGUAGES = {"console", "sh", "toml", "csv", "ini", "nginx", "text"}

NOT_RUN = {  # programs of others
    "python3": "installs or builds, from a package registry",
    "python": "runs the tests or the tools of contributors",
    "pip": "installs from a package registry",
    "uv": "asks a package registry",
    "pybabel": "for contributors; the languages have tests of their own",
    "export": "changes the shell that it is typed into",
    "useradd": "changes the machine",
    "chown": "changes the machine",
    "chmod": "changes the machine",
    "sudo": "needs another user of the machine",
    "systemctl": "changes the machine",
    "pg_dump": "PostgreSQL's own, needs a server",
    "pg_restore": "PostgreSQL's own, needs a server",
    "psql": "PostgreSQL's own, needs a server",
    "createdb": "PostgreSQL's own, needs a server",
    "createuser": "PostgreSQL's own, needs a server",
    "waitress-serve": "runs until it is ended",
    "gunicorn": "runs until it is ended",
    "journalctl": "reads the machine's own log",
    "curl": "asks a server that runs",
}
ONLY_READ = {  # commands of ours
    "demo": "runs until it is ended",
    "serve": "runs until it is ended",
    "worker": "runs until it is ended",
    "tide-table": "asks the authority's service over the network",
}
# Examples that are too short to plan a day with; they are read as files all the same.
SHORT = ("centre/emergency.toml", "centre/feeds.toml", "centre/kit.toml", "centre/skills.toml", "centre/ticks.csv")
PASSWORD = "four plain words in a row"


@dataclass(frozen=True)
class Block:
    """One fenced block of a document."""

    document: str
    line: int
    language: str
    file: str  # that it stands in; empty: in none
    adds: bool  # to the file as it is in the demonstration, instead of being the file
    text: str

    @property
    def where(self) -> str:
        return f"{self.document}:{self.line}"

    @property
    def commands(self) -> list[str]:
        """The commands of a block, one by one."""
        text = self.text.replace("\\\n", " ")
        lines = [line.removeprefix("$ ") for line in text.splitlines() if line.strip() and not line.startswith("#")]
        return [part.strip() for line in lines for part in line.split(" && ")]


def blocks() -> list[Block]:
    found = []
    for document in DOCUMENTS:
        text = document.read_text(encoding="utf-8")
        for match in re.finditer(r"^```([^\n]*)\n(.*?)^```$", text, re.DOTALL | re.MULTILINE):
            language, _, file = match[1].strip().partition(" ")
            line = text.count("\n", 0, match.start()) + 1
            name = file.removesuffix(" +")
            found.append(Block(document.name, line, language, name, file.endswith(" +"), match[2]))
    return found


BLOCKS = blocks()
FILES = [block for block in BLOCKS if block.language in ("toml", "csv")]


def lay_out(folder: Path, without: tuple[str, ...] = ()) -> None:
    """Copy the demonstration into a folder, and put the files of the examples over it."""
    shutil.copytree(data_dir("sites"), folder)
    for block in FILES:
        if block.file not in without:
            path = folder / block.file
            before = path.read_text(encoding="utf-8") + "\n" if block.adds else ""
            path.write_text(before + block.text, encoding="utf-8")


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    folder = tmp_path_factory.mktemp("read") / "my-centre"
    lay_out(folder)
    return load_folder(folder)


def test_every_block_says_what_it_is():
    assert len(BLOCKS) > 40
    for block in BLOCKS:
        assert block.language in LANGUAGES, f"{block.where}: {block.language!r}"
        if block.language in ("toml", "csv"):
            assert block.file, f"{block.where}: say after the language in which file it stands"
    whole = [block.file for block in FILES if not block.adds]
    assert len(whole) == len(set(whole)), "a file stands in two examples"


def test_the_files_of_the_examples_have_no_fault(read):
    assert [str(fault) for fault in read.faults] == []


def test_each_file_of_the_examples_was_read(read):
    """That a file has no fault shows nothing where nobody reads it."""
    kinds = {block.file.split("/")[0] if "/" in block.file else "a site" for block in FILES}
    assert kinds == {"a site", "centre", "forecast", "requests", "schedules", "stations"}
    for block in FILES:
        kind, _, name = block.file.rpartition("/")
        stem = name.rpartition(".")[0]
        if kind == "":
            assert read.sites[stem].name in block.text
        elif kind == "stations":
            assert read.stations[stem].tide is not None
        elif kind == "requests":
            assert read.requests[stem].title in block.text
        elif kind == "schedules":
            assert read.schedules[stem].title in block.text
        elif kind == "forecast":
            (site,) = re.findall(r"# sites: (\S+)", block.text)
            assert read.forecasts[site].series[0].origin.source in block.text
        elif block.file == "centre/people.toml":
            assert set(re.findall(r'^name = "(.*)"', block.text, re.MULTILINE)) <= set(read.world.people)
        elif block.file == "centre/rules.toml":
            keys = re.findall(r"^\[(.*)\]", block.text, re.MULTILINE)
            assert keys
            assert all(read.world.rules[key].overridden for key in keys)
        else:
            assert block.file in (*SHORT, "centre/centre.toml", "centre/observed.toml")
    assert len(read.world.readiness.oxygen_units) == len(read.world.readiness.drills) == 1
    assert read.world.kit is not None and len(read.world.kit.cylinders) == 2
    assert [course.kind for course in read.world.skills.courses] == ["level_1_course"]
    assert sum(len(ticks) for ticks in read.world.ticks.values()) == 2
    assert read.feeds.order == ("met_norway",)
    assert list(read.seen) == ["stair-ledge"]


# ---- commands ----


def commands() -> Iterator[tuple[str, Block]]:
    """Yield every command, in the order of the documents."""
    for block in BLOCKS:
        if block.language in ("console", "sh"):
            yield from ((line, block) for line in block.commands)


def own_words(line: str) -> list[str] | None:
    """Return the words after our program's name in a command, whoever runs it; None where it is another program."""
    words = shlex.split(line)
    if words[0] == "tripplan":
        return words[1:]
    return next((words[at + 1 :] for at, word in enumerate(words) if word.endswith("bin/tripplan")), None)


def test_every_command_is_ours_or_says_why_it_is_not_run():
    programs = set()
    for line, block in commands():
        program = shlex.split(line)[0].rpartition("/")[2]
        if block.language == "console":
            assert program == "tripplan", f"{block.where}: {line}"
        assert program == "tripplan" or program in NOT_RUN, f"{block.where}: {line}"
        programs.add(program)
    assert {"tripplan", "python3", "systemctl", "pg_dump"} <= programs


def test_the_words_of_every_command_of_ours_are_read():
    count = 0
    for line, block in commands():
        words = own_words(line)
        if words is not None:
            options = cli._parser(words).parse_args(words)  # raises where a word is not known
            assert callable(options.run), f"{block.where}: {line}"
            count += 1
    assert count > 35


def test_what_is_named_in_a_sentence_is_a_command_or_an_option_of_one():
    helped = io.StringIO()
    for name in cli.COMMANDS:
        parser = cli._parser([name])
        (known,) = [action.choices for action in parser._actions if action.dest != "help" and action.choices]
        each = known[name]
        helped.write(each.format_help())
        for action in each._actions:
            if isinstance(action.choices, dict):
                for inner in action.choices.values():
                    helped.write(inner.format_help())
    options = set(re.findall(r"--[a-z][a-z-]*", helped.getvalue()))
    for document in DOCUMENTS:
        text = re.sub(r"^```.*?^```$", "", document.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
        for code in re.findall(r"`([^`\n]+)`", text):
            if code.startswith("tripplan "):
                assert code.split()[1] in cli.COMMANDS, f"{document.name}: {code}"
            if code.startswith("--"):
                assert code.split()[0] in options, f"{document.name}: {code}"


@pytest.fixture(scope="module")
def beach(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder in which the commands run, with ``my-centre`` and ``sites`` in it."""
    folder = tmp_path_factory.mktemp("commands")
    lay_out(folder / "my-centre", without=SHORT)
    (folder / "sites").symlink_to(data_dir("sites"))
    return folder


def test_every_command_of_ours_runs(beach, monkeypatch, capsys):
    """In one go and in the order of the texts, for some stand on what an earlier one has written; the same one once."""
    monkeypatch.chdir(beach)
    monkeypatch.setattr(getpass, "getpass", lambda prompt: PASSWORD)
    wrong, done = [], set()
    for line, block in commands():
        words = own_words(line)
        if block.language != "console" or not words or words[0] in ONLY_READ or line in done:
            continue
        done.add(line)
        monkeypatch.setattr("sys.stdin", Keyboard() if words[0] == "account" else io.StringIO())
        code = cli.main(words)
        printed = capsys.readouterr()
        if code != 0 or printed.err or not printed.out.strip():
            wrong.append(f"{block.where}: {line}: exit {code}: {printed.err or printed.out[-300:]}")
    assert wrong == []
    assert len(done) > 30


class Keyboard(io.StringIO):
    """What stands for a keyboard at which a password can be typed."""

    def isatty(self) -> bool:
        return True
