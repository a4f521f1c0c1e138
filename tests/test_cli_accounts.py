"""The commands that make accounts, and serving to others: only with accounts, and only behind a protected door."""

from __future__ import annotations

import http.client
import io
import json
import os
import re
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

import pytest

from tripplan import cli
from tripplan.data_files import data_dir
from tripplan.store.accounts import Accounts
from tripplan.store.database import Store, default_path, sqlite_url

GOOD = "seven wet gulls on a wall"
OTHER = "nine dry boots by the door"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A centre's folder, with the user's data kept apart from that of whoever runs the tests."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))


@pytest.fixture
def run(capsys, monkeypatch):
    def answer(*words: object, typed: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        code = cli.main([str(word) for word in words])
        printed = capsys.readouterr()
        return code, printed.out, printed.err

    return answer


def add(run, folder: Path, name: str = "Greta Holm", role: str = "centre", password: str = GOOD, *more: str):
    return run("account", folder, *more, "add", name, "--role", role, "--password-stdin", typed=f"{password}\n")


def store_of(folder: Path) -> Store:
    return Store(sqlite_url(default_path(folder)))


def test_the_first_account_is_made_at_the_machine_and_nobody_else_there_may_read_its_file(run, folder):
    code, out, err = add(run, folder)
    assert (code, out, err) == (0, "Greta Holm may now sign in, with the role centre.\n", "")
    assert stat.S_IMODE(default_path(folder).stat().st_mode) == 0o600
    code, out, _ = run("account", folder, "list", "--json")
    (account,) = json.loads(out)["accounts"]
    assert code == 0 and (account["name"], account["role"], account["locked"]) == ("Greta Holm", "centre", False)
    assert set(account) == {"name", "role", "locked", "created", "password_changed"}
    store = store_of(folder)
    row = Accounts(store).trail(1)[0]
    store.close()
    assert row.what == "account added" and "at the machine" in row.who


def test_accounts_are_locked_unlocked_and_given_another_password(run, folder):
    add(run, folder)
    add(run, folder, "Ben Alder", "assistant", OTHER)
    assert run("account", folder, "lock", "Ben Alder")[0] == 0
    listed = run("account", folder, "list")[1].splitlines()
    assert [line.split() for line in listed] == [
        ["Ben", "Alder", "assistant", "locked"], ["Greta", "Holm", "centre"], ["2", "accounts"],
    ]  # fmt: skip
    assert run("account", folder, "unlock", "Ben Alder")[0] == 0
    assert run("account", folder, "lock", "greta holm")[0] == 0  # one whose password got out, also as the last
    assert run("account", folder, "password", "Ben Alder", "--password-stdin", typed=f"{GOOD}\n")[0] == 0
    assert "locked" not in run("account", folder, "list")[1].splitlines()[0]


@pytest.mark.parametrize(
    ("words", "typed", "said"),
    [
        (("add", "Cy", "--role", "leader", "--password-stdin"), "too short\n", "at least 15"),
        (("add", "Cy", "--role", "leader", "--password-stdin"), "", "has 0 letters"),
        (("add", "Cy", "--role", "leader", "--password-stdin"), "passwordpassword1\n", "tried first"),
        (("add", "Cy", "--role", "leader"), "", "--password-stdin"),
        (("add", "Cy", "--role", "owner"), "", "owner"),
        (("add", "Cy"), "", "--role"),
        (("add", "greta holm", "--role", "leader", "--password-stdin"), f"{OTHER}\n", "already"),
        (("lock", "Nobody"), "", 'no account "Nobody"'),
        (("password", "Nobody", "--password-stdin"), f"{OTHER}\n", 'no account "Nobody"'),
        (("dance",), "", "dance"),
    ],
)
def test_what_cannot_be_done_is_one_line_and_never_holds_the_password(run, folder, words, typed, said):
    add(run, folder)
    code, out, err = run("account", folder, *words, typed=typed)
    assert code == 2 and out == "" and len(err.splitlines()) == 1
    assert said in err and not (typed.strip() and typed.strip() in err)
    assert run("account", folder, "list")[1].endswith("1 account\n")


def test_a_password_is_typed_twice_at_the_prompt_and_not_shown(run, folder, monkeypatch):
    import getpass

    class Keyboard(io.StringIO):
        def isatty(self) -> bool:
            return True

    asked: list[str] = []
    answers: list[str] = []

    def unseen(prompt: str) -> str:
        asked.append(prompt)
        return answers.pop(0)

    monkeypatch.setattr(getpass, "getpass", unseen)
    monkeypatch.setattr(io, "StringIO", Keyboard)
    answers[:] = [GOOD, OTHER]
    code, _, err = run("account", folder, "add", "Greta Holm", "--role", "centre")
    assert code == 2 and "differ" in err and GOOD not in err
    answers[:] = [GOOD, GOOD]
    assert run("account", folder, "add", "Greta Holm", "--role", "centre")[0] == 0
    assert asked[:2] == ["New password of Greta Holm: ", "The same again: "]


def test_a_store_of_its_own_place_and_a_store_that_cannot_be(run, folder, tmp_path):
    url = sqlite_url(tmp_path / "elsewhere" / "store.sqlite")
    assert add(run, folder, "Greta Holm", "centre", GOOD, "--store", url)[0] == 0
    assert "1 account" in run("account", folder, "--store", url, "list")[1]
    assert not default_path(folder).exists()
    for wrong, said in (
        ("mysql://x/y", "must begin with"),
        ("store.sqlite", "must begin with"),
        ("postgresql+psycopg://", "store"),
    ):
        code, _, err = run("account", folder, "--store", wrong, "list")
        assert code == 2 and len(err.splitlines()) == 1 and said in err


def test_no_folder_no_store(run, tmp_path, folder):
    code, _, err = run("account", tmp_path / "nowhere", "list")
    assert code == 2 and "nowhere:1:" in err
    assert not (tmp_path / "data").exists()


# ---- serving ----


@pytest.mark.parametrize(
    "words", [("--host", "0.0.0.0"), ("--host", "192.0.2.7"), ("--accounts",), ("--proxy", "127.0.0.1")]
)
def test_without_an_account_of_the_centre_nothing_is_served_that_asks_for_one(run, folder, words):
    code, out, err = run("serve", folder, "--port", "0", *words)
    assert code == 2 and out == "" and len(err.splitlines()) == 1
    assert "everybody has to sign in" in err and f"tripplan account {folder} add NAME --role centre" in err
    assert not default_path(folder).exists()
    add(run, folder, "Ben Alder", "assistant")
    assert run("serve", folder, "--port", "0", *words)[0] == 2


OWN_PROCESS = pytest.mark.sqlite_file("the server is a process of its own, which opens the file itself")


@contextmanager
def served(folder: Path, *words: str) -> Iterator[int]:
    """Give the port of a server that runs as it would on a machine of its own."""
    command = [sys.executable, "-m", "tripplan", "serve", str(folder), "--port", "0", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=dict(os.environ)) as server:
        assert server.stdout is not None
        try:
            line = server.stdout.readline()
            yield int(re.search(r":(\d+)/$", line.strip())[1])
        finally:
            server.terminate()


def ask(port: int, address: str, form: dict[str, str] | None = None, **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        if form is not None:
            named["Content-Type"] = "application/x-www-form-urlencoded"
        connection.request("POST" if form is not None else "GET", address, urlencode(form or {}), named)
        answer = connection.getresponse()
        answer.page = answer.read().decode()  # type: ignore[attr-defined]
        return answer
    finally:
        connection.close()


def sign_in(port: int, **headers: str) -> http.client.HTTPResponse:
    first = ask(port, "/sign-in", **headers)
    token = re.search(r'name="csrf_token" value="([^"]+)"', first.page)[1]
    cookie = first.headers["Set-Cookie"].split(";")[0]
    form = {"csrf_token": token, "name": "Greta Holm", "password": GOOD}
    return ask(port, "/sign-in", form, Cookie=cookie, **headers)


@OWN_PROCESS
def test_where_others_can_reach_it_everybody_signs_in_over_a_protected_door(run, folder):
    add(run, folder)
    with served(folder, "--host", "0.0.0.0") as port:
        assert ask(port, "/").headers["Location"] == "/sign-in"
        assert ask(port, "/healthz").page == "ok\n"
        answer = sign_in(port)
        assert answer.status == 303
        cookies = answer.headers.get_all("Set-Cookie")
        assert cookies and all("Secure" in cookie and "HttpOnly" in cookie for cookie in cookies)
        token = next(cookie.split(";")[0] for cookie in cookies if "_signed_in=" in cookie)
        assert "Sign out" in ask(port, "/accounts", Cookie=token).page


@OWN_PROCESS
def test_on_this_machine_with_accounts_a_cookie_needs_no_https_and_nobodys_word_is_taken_for_it(run, folder):
    add(run, folder)
    with served(folder, "--accounts") as port:
        for claimed in ({}, {"X_Forwarded_Proto": "https", "X_Forwarded_For": "198.51.100.4"}):
            answer = sign_in(port, **claimed)
            assert answer.status == 303
            assert not any("Secure" in cookie for cookie in answer.headers.get_all("Set-Cookie"))
    store = store_of(folder)
    assert {row.about for row in Accounts(store).trail(9) if row.what == "signed in"} == {"from 127.0.0.1"}
    store.close()


@OWN_PROCESS
def test_the_word_of_the_server_in_front_is_taken_for_who_asks_and_how(run, folder):
    add(run, folder)
    with served(folder, "--proxy", "127.0.0.1") as port:
        plain = sign_in(port, X_Forwarded_Proto="http", X_Forwarded_For="198.51.100.4")
        assert plain.status == 403 and "not protected" in plain.page
        answer = sign_in(port, X_Forwarded_Proto="https", X_Forwarded_For="198.51.100.4")
        assert answer.status == 303 and "Secure" in answer.headers["Set-Cookie"]
    store = store_of(folder)
    assert Accounts(store).trail(1)[0].about == "from 198.51.100.4"
    store.close()


def test_on_this_machine_without_accounts_nobody_signs_in_also_with_a_store_of_its_own(folder, tmp_path):
    with served(folder, "--store", sqlite_url(tmp_path / "own.sqlite")) as port:
        assert ask(port, "/people").status == 200
        assert ask(port, "/sign-in").status == 404
    assert (tmp_path / "own.sqlite").exists()
