"""`tripplan new`: a folder that reads without a fault, with nothing invented in it, and never over anything."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.emergency.readiness import read_readiness
from tripplan.feeds.settings import read_feed_settings
from tripplan.store import new_folder
from tripplan.store.folder import load_folder

ALL = ["--name", 'Blue "Bay"', "--country", "PT", "--timezone", "Atlantic/Azores", "--position", "47.05, -17.12",
       "--emergency-number", "112"]  # fmt: skip


def test_the_folder_reads_without_a_fault_and_says_what_to_do_next(tmp_path, capsys):
    folder = tmp_path / "on" / "my centre"
    assert main(["new", str(folder), *ALL]) == 0
    printed = capsys.readouterr()
    assert f'tripplan serve "{folder}"' in printed.out and printed.err == ""
    found = load_folder(folder)
    assert found.faults == () and not found.sites and not found.requests and not found.world.people
    centre = found.centre
    assert (centre.name, centre.country, centre.timezone, centre.emergency_number, centre.demonstration) == (
        'Blue "Bay"', "PT", "Atlantic/Azores", "112", False,
    )  # fmt: skip
    assert centre.position is not None and centre.position.decimal == "47.05000, -17.12000"
    assert centre.rules_reviewed is None
    assert [path.name for path in folder.parent.iterdir()] == ["my centre"]  # nothing is left beside it


def test_every_file_says_what_belongs_there_and_none_of_the_demonstration_is_in_it(tmp_path):
    assert main(["new", str(tmp_path / "c"), "--name", "Blue Bay"]) == 0
    files = [path for path in (tmp_path / "c").rglob("*") if path.is_file()]
    assert len(files) >= 9
    invented = {"Verrow", "Gull Cove", "Ines Faro", "North Haven", "+44"}
    for path in files:
        text = path.read_text(encoding="utf-8")
        assert not [word for word in invented if word in text], path
        if path.suffix == ".toml":
            assert text.startswith("# ")
            values = tomllib.loads(text)
            assert set(values) <= {"name", "people", "rules"}, path  # nothing but what was given
    assert (tmp_path / "c/centre/people.toml").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("name", ["people", "rules", "emergency", "feeds"])
def test_the_examples_in_the_comments_are_of_the_kind_that_the_reader_takes(tmp_path, name):
    """With their comment signs and dots taken away they read: no key in them is unknown."""
    main(["new", str(tmp_path / "c"), "--name", "Blue Bay"])
    path = tmp_path / "c" / "centre" / f"{name}.toml"
    lines = path.read_text(encoding="utf-8").splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith(("# [", "# contact")))
    text = "\n".join(line.removeprefix("# ") if not line.startswith("#  ") else "" for line in lines[start:])
    path.write_text(text.replace('"..."', '"+44 1632 960100"').replace("contact = \"+44 1632 960100\"",
                                                                      'contact = "a@example.org"'))  # fmt: skip
    if name == "emergency":
        assert len(read_readiness(path).drills) == 1
    elif name == "feeds":
        assert read_feed_settings(path.parent.parent).met_norway.use
    else:
        found = load_folder(tmp_path / "c")
        assert found.faults == () and (len(found.world.people) == 1) == (name == "people")


def test_what_cannot_be_used_is_told_at_once_and_nothing_is_written(tmp_path, capsys):
    folder = tmp_path / "c"
    assert main(["new", str(folder), "--name", "x" * 90, "--country", "Portugal", "--timezone", "Lisbon"]) == 2
    told = capsys.readouterr().err.splitlines()
    assert [line.split(":")[1].strip() for line in told] == ["--name", "--country", "--timezone"]
    assert main(["new", str(folder)]) == 2 and "--name" in capsys.readouterr().err
    assert not folder.exists()


def test_a_folder_in_which_something_stands_is_never_touched(tmp_path, capsys):
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / ".notes").write_text("mine")
    (tmp_path / "file").write_text("mine")
    for name in ("kept", "file"):
        assert main(["new", str(tmp_path / name), *ALL]) == 2
        assert "not" in capsys.readouterr().err
    assert [path.name for path in (tmp_path / "kept").iterdir()] == [".notes"]
    assert (tmp_path / "file").read_text() == "mine"
    (tmp_path / "empty").mkdir()
    assert main(["new", str(tmp_path / "empty"), *ALL]) == 0


def test_a_disk_that_fails_on_the_way_leaves_nothing_behind(tmp_path, capsys, monkeypatch):
    real, written = new_folder.put_new, []

    def failing(path: Path, text: str) -> None:
        if len(written) == 4:
            raise OSError(28, "No space left on device")
        written.append(path)
        real(path, text)

    monkeypatch.setattr(new_folder, "put_new", failing)
    assert main(["new", str(tmp_path / "c"), *ALL]) == 2
    assert "No space left" in capsys.readouterr().err and list(tmp_path.iterdir()) == []


def test_somebody_at_the_terminal_is_asked_until_it_can_be_used(tmp_path, capsys, monkeypatch):
    answers = iter(["", "Blue Bay", "Portugal", "PT", "", "", "112"])
    asked: list[str] = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda words: asked.append(words) or next(answers))
    assert main(["new", str(tmp_path / "c")]) == 0
    assert len(asked) == 7 and "left open" not in asked[0] and "left open" in asked[2]
    err = capsys.readouterr().err
    assert "Portugal" in err and "at least 1 character" in err
    centre = load_folder(tmp_path / "c").centre
    assert (centre.country, centre.timezone, centre.emergency_number) == ("PT", None, "112")


def test_ending_the_questions_writes_nothing(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _: (_ for _ in ()).throw(EOFError))
    assert main(["new", str(tmp_path / "c")]) == 2
    assert "nothing was written" in capsys.readouterr().err and not (tmp_path / "c").exists()


def test_the_demonstration_is_not_a_folder_to_begin(capsys):
    assert main(["new", str(data_dir("sites")), *ALL]) == 2
    assert "not empty" in capsys.readouterr().err
