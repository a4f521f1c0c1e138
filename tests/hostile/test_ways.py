"""The other ways in: names of hosts and files, what is too large, patterns that never end, headers, planted names."""

from __future__ import annotations

import ast
import io
import re
import shutil
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask import Flask
from pypdf import PdfReader

from tests.hostile.mutations import MARKUP
from tests.hostile.walk import Page, Walker, answered_well
from tests.made_once import plans_once
from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.documents.cells import harmless, meant
from tripplan.web.app import HEADERS, create_app, only_here

plans_once()

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)
PLAN = "site=stair-ledge&date=2026-12-12&group=Terns&asked=yes"


def app_of(folder: Path, path: Path) -> Flask:
    made = create_app(folder, clock=lambda: NOW, records=path / "records", feed_cache=path / "feeds")
    made.config.update(PROPAGATE_EXCEPTIONS=False)
    return made


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Flask:
    return app_of(data_dir("sites"), tmp_path_factory.mktemp("ways"))


# ---- who is called ----


def test_without_accounts_only_this_machines_own_names_are_answered(tmp_path: Path) -> None:
    made = app_of(data_dir("sites"), tmp_path)
    only_here(made, "127.0.0.5")
    for host in ("localhost", "localhost:8080", "127.0.0.1:8080", "[::1]:8080", "127.0.0.5:8080", "LOCALHOST"):
        assert made.test_client().get("/about", headers={"Host": host}).status_code == 200, host
    for host in ("evil.example", "evil.example:8080", "localhost.evil.example", "127.0.0.1.evil.example", "127.0.0.2"):
        answer = made.test_client().get("/people", headers={"Host": host})
        assert answer.status_code == 400, host
        text = answer.get_data(as_text=True)
        assert "this machine only" in text and "Luca Benti" not in text
        assert all(name in answer.headers for name in HEADERS)


def test_a_host_that_somebody_made_up_stands_in_no_link(app: Flask) -> None:
    client = app.test_client()
    for address in ("/sheets", "/requests/saturday-ledge", "/nowhere"):
        answer = client.get(address, headers={"Host": "evil.example", "X-Forwarded-Host": "evil.example"})
        assert "evil.example" not in answer.get_data(as_text=True) + answer.headers.get("Location", "")


# ---- headers ----


def test_every_kind_of_answer_carries_the_headers(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    client = app.test_client()

    def broken() -> str:
        raise RuntimeError("a fault")

    monkeypatch.setitem(app.view_functions, "books.about", broken)
    asked = {
        200: client.get("/rules"),
        302: client.get("/requests/saturday-ledge"),
        400: client.get("/limits?depth=x"),
        404: client.get("/nowhere"),
        405: client.delete("/rules"),
        413: client.post("/requests/new", data={"title": "x" * 70_000}),
        500: client.get("/about"),
    }
    for code, answer in asked.items():
        assert answer.status_code == code
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, (code, name)
    with client.get("/static/live.js") as static:
        answered_well(static, "static")


INLINE = re.compile(r"<script(?![^>]*\bsrc=)|<style|\s(?:style|on[a-z]+)\s*=\s*[\"']|javascript:", re.IGNORECASE)
OWN_STYLE = {"offline.html", "pocket.html"}  # files to keep: a digest in their policy names what is inside


def test_no_template_holds_a_script_a_style_or_an_attribute_that_runs() -> None:
    for template in sorted((ROOT / "templates" / "pages").glob("*.html")):
        found = INLINE.findall(template.read_text(encoding="utf-8"))
        if template.name in OWN_STYLE:
            assert [each for each in found if not re.match(r"<script|<style", each)] == [], template.name
        else:
            assert found == [], template.name
    for script in sorted((ROOT / "templates" / "static").glob("*.js")):
        text = script.read_text(encoding="utf-8")
        assert not re.search(r"\beval\(|new Function|document\.write|setAttribute\(\s*[\"'](?:on|style)", text), script


# ---- too much ----


def test_what_is_too_large_is_refused_with_words(app: Flask) -> None:
    client = app.test_client()
    for address, sent, kind in (
        ("/requests/new", b"title=" + b"x" * 70_000, "application/x-www-form-urlencoded"),
        ("/today/stair-ledge/entries", b'{"entries": "' + b"x" * 70_000 + b'"}', "application/json"),
        ("/people/table/apply", b"content=" + b"x" * 7_000_000, "application/x-www-form-urlencoded"),
    ):
        answer = client.post(address, data=sent, content_type=kind)
        assert answer.status_code == 413, address
        assert "Nothing was written down" in answer.get_data(as_text=True)
    head = b'--x\r\nContent-Disposition: form-data; name="table"; filename="people.csv"\r\n\r\n'
    sent = head + b"x" * 7_000_000 + b"\r\n--x--\r\n"
    answer = client.post("/people/table", data=sent, content_type="multipart/form-data; boundary=x")
    assert answer.status_code == 413


def test_files_of_others_are_not_given_by_any_address(app: Flask) -> None:
    client = app.test_client()
    ways = (
        "../../../../etc/passwd",
        "..%2f..%2f..%2fetc%2fpasswd",
        "%2e%2e/%2e%2e/etc/passwd",
        "/etc/passwd",
        "..\\..\\etc\\passwd",
        "....//....//etc/passwd",
        "a%00b",
        "../pages/base.html",
        "%252e%252e/pages",
    )
    for way in ways:
        for before in ("/static/", "/guide/", "/guide/pictures/", "/sites/", "/tides/", "/requests/", "/schedules/",
                       "/today/", "/sheets/", "/people/", "/people/table."):  # fmt: skip
            with client.get(before + way) as answer:
                text = answer.get_data(as_text=True)
                assert answer.status_code in (301, 302, 303, 308, 400, 404), before + way
                assert "root:" not in text and "{% block" not in text


# ---- formulas ----


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''=1", " =1", "＝1", "'tis", ""]
)
def test_a_cell_that_could_be_a_formula_is_none_and_reads_back_as_it_was(text: str) -> None:
    assert not re.match(r"[\s]*[=+\-@＝＋－＠\t\r]", harmless(text))
    assert meant(harmless(text)) == text


def test_a_name_that_is_a_formula_is_none_in_the_table_of_a_season(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    cove = folder / "gull-cove.toml"
    cove.write_text(cove.read_text(encoding="utf-8").replace('"Gull Cove"', '"=1+1"', 1), encoding="utf-8")
    out = tmp_path / "season.csv"
    days = ["--from", "2026-12-12", "--to", "2026-12-12"]
    assert main(["season", "gull-cove", *days, "--folder", str(folder), "--csv", str(out)]) == 0
    assert ",'=1+1," in out.read_text(encoding="utf-8")


# ---- patterns without end ----


def patterns() -> Iterator[tuple[str, str]]:
    """Yield every pattern that stands in the program, with where."""
    for path in sorted((ROOT / "tripplan").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and isinstance(node.func.value, ast.Name)
                and node.func.value.id == "re"
                and node.args
                and isinstance(node.args[0], ast.Constant)
                and isinstance(node.args[0].value, str)
            ):
                yield f"{path.relative_to(ROOT)}:{node.lineno}", node.args[0].value


STUFF = (
    "a",
    "0",
    " ",
    ",",
    '"',
    "'",
    "(0",
    "a.",
    "a0",
    "-",
    "/a",
    "MS",
    "M2",
    "\\",
    "a=",
    "[0]",
    "<a ",
    "é",
    ";",
    "\t\n",
)


def spent_s(pattern: re.Pattern[str], text: str) -> float:
    """Return processor time, not time by the clock: other programs of the machine do not count."""
    begun = time.process_time()
    pattern.search(text)
    pattern.fullmatch(text)
    return time.process_time() - begun


def test_no_pattern_takes_longer_than_with_the_square_of_what_it_reads() -> None:
    seen = 0
    for where, text in patterns():
        if not re.search(r"[*+{]", text):
            continue
        pattern = re.compile(text)
        seen += 1
        for stuff in STUFF:
            for few, many in ((20, 25), (400, 800)):
                first = spent_s(pattern, stuff * few + "!")
                if first > 0.002:  # below, it is the clock that is measured
                    second = spent_s(pattern, stuff * many + "!")
                    assert second < 12 * first, f"{where}: {few}, {many} of {stuff!r}: {first:.4f}, {second:.4f} s"
    assert seen > 80


# ---- names ----

KEYS = ("name", "title", "notes", "summary", "road", "what", "control", "kept", "place", "hours", "address",
        "code_of_practice", "rules_here", "flag_rule", "phone_signal", "mix")  # fmt: skip
TYPST = '#read("/etc/passwd")'
IN_FILE = TYPST.replace('"', '\\"')


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Flask, set[str]]:
    """A centre in which every name and note that can be markup is."""
    path = tmp_path_factory.mktemp("planted")
    folder = Path(shutil.copytree(data_dir("sites"), path / "house"))
    for file in (*folder.glob("*.toml"), *folder.glob("centre/*.toml"), *folder.glob("requests/*.toml")):
        if file.name in ("rules.toml", "feeds.toml"):
            continue
        text = file.read_text(encoding="utf-8")
        named = f"{file.stem[:8]} {MARKUP} {IN_FILE}".replace("\\", "\\\\")
        for key in KEYS:
            pattern = rf'(?m)^({key} = ")([^"\n]*)"'
            if key == "name" and file.parent == folder:
                text = re.sub(pattern, rf'\1{named}"', text, count=1)  # the first is the site's own
            elif key not in ("name", "place"):  # of people, groups and places: other files name them
                text = re.sub(pattern, rf'\1\2 {MARKUP}"', text)
        file.write_text(text, encoding="utf-8")
    made = app_of(folder, path)
    return made, {str(fault)[-300:] for fault in made.extensions["tripplan_shelf"].folder.faults}


def test_names_full_of_markup_are_shown_as_they_are_on_every_page(planted: tuple[Flask, set[str]]) -> None:
    app, refused = planted
    assert refused == set()
    walker = Walker(app)
    shown = 0
    for address in (
        f"/plan?{PLAN}", "/sites", "/sites/stair-ledge", "/people", "/kit", "/skills", "/sheets",
        "/sheets/stair-ledge?date=2026-12-12", "/sheets/stair-ledge/search?date=2026-12-12&at=10:40", "/requests",
        "/requests/saturday-ledge/edit", "/today?date=2026-12-12", "/board?date=2026-12-12",
    ):  # fmt: skip
        path, _, query = address.partition("?")
        answer = walker.get(path, [tuple(each.split("=", 1)) for each in query.split("&") if each])
        assert answer.status_code == 200, address
        shown += MARKUP in " ".join(Page(answer.get_data(as_text=True), address).text)
    assert shown >= 8
    for address in (f"/plan/offline.html?{PLAN}", "/sheets/pocket.html?date=2026-12-12"):
        page = Page(walker.client.get(address).get_data(as_text=True), address)
        assert "x" not in page.images and MARKUP in " ".join(page.text), address


@pytest.mark.parametrize("address", [f"/plan.pdf?{PLAN}", "/sheets.pdf?date=2026-12-12&site=stair-ledge"])
def test_names_full_of_commands_are_printed_as_they_are(address: str, planted: tuple[Flask, set[str]]) -> None:
    answer = planted[0].test_client().get(address)
    assert answer.status_code == 200
    text = re.sub(r"\s", "", " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages))
    assert "root:" not in text
    assert re.sub(r"\s", "", MARKUP) in text and TYPST in text
