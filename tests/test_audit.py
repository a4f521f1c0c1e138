"""The audit of the libraries: what it says of each answer, and that an audit that did not take place fails nothing."""

from __future__ import annotations

import json
import subprocess
from typing import Any

import pytest

from tests import audit

WEAK = {"id": "PYSEC-2099-1", "fix_versions": ["1.1"], "aliases": [], "description": ""}


def found(*libraries: dict[str, Any]) -> dict[str, Any]:
    return {"dependencies": list(libraries), "fixes": []}


def test_a_weakness_that_a_newer_version_mends_fails() -> None:
    lines, code = audit.told(found({"name": "left", "version": "1.0", "vulns": [WEAK]}))
    assert code == 1 and lines == [
        "left 1.0: PYSEC-2099-1, mended in 1.1",
        "1 libraries audited: 1 known to be weak.",
    ]


def test_a_weakness_that_nothing_mends_yet_is_told_and_fails_nothing() -> None:
    lines, code = audit.told(found({"name": "left", "version": "1.0", "vulns": [WEAK | {"fix_versions": []}]}))
    assert code == 0 and lines[0] == "left 1.0: PYSEC-2099-1, nothing mends it yet"


def test_libraries_of_which_nothing_is_known_are_counted_apart() -> None:
    answer = found({"name": "left", "version": "1.0", "vulns": []}, {"name": "right", "skip_reason": "not there"})
    assert audit.told(answer) == (["1 libraries audited, 1 more are not on the list: 0 known to be weak."], 0)


def test_a_list_that_knows_nobody_audited_nothing() -> None:
    lines, code = audit.told(found({"name": "right", "skip_reason": "not there"}))
    assert code == 0 and lines == ["Not audited: the list that could be asked knows none of the 1 libraries."]


@pytest.mark.parametrize(("out", "said"), [("", "could not be asked: no route"), ("[]", "no answer of the list")])
def test_where_nobody_can_be_asked_it_says_so(out: str, said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    done = subprocess.CompletedProcess([], 1, out, "Traceback\nno route")
    monkeypatch.setattr(audit.subprocess, "run", lambda *_, **__: done)
    lines, code = audit.told(audit.asked(audit.CONSTRAINTS))
    assert code == 0 and len(lines) == 1 and said in lines[0]


def test_what_the_tool_says_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = found({"name": "left", "version": "1.0", "vulns": [WEAK]})
    monkeypatch.setattr(
        audit.subprocess, "run", lambda *_, **__: subprocess.CompletedProcess([], 1, json.dumps(answer))
    )
    assert audit.asked(audit.CONSTRAINTS) == answer
