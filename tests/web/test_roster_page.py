"""The people as a table through the pages: looked at first, written whole or not at all, nothing lost."""

from __future__ import annotations

import csv
import html
import io
import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tripplan.data_files import data_dir
from tripplan.store.people_file import centre_people
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(data_dir("sites"), tmp_path / "centre")
    return tmp_path / "centre"


@pytest.fixture
def client(folder, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return create_app(folder, clock=lambda: NOW).test_client()


def token(page: str) -> str:
    found = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert found
    return found[1]


def look(client, content: bytes, name: str = "people.csv"):
    # Written by hand: the test client leaves a file open where it packs a large form itself.
    parts = (
        b'--cut\r\nContent-Disposition: form-data; name="csrf_token"\r\n\r\n',
        token(client.get("/people/table").text).encode(),
        f'\r\n--cut\r\nContent-Disposition: form-data; name="table"; filename="{name}"\r\n\r\n'.encode(),
        content,
        b"\r\n--cut--\r\n",
    )
    return client.post("/people/table", data=b"".join(parts), content_type="multipart/form-data; boundary=cut")


def hidden(page: str) -> dict[str, str]:
    form = page[page.index('action="/people/table/apply"') :]
    return {
        name: html.unescape(value) for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)
    }


def rows_out(client) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(client.get("/people/table.csv").data.decode("utf-8-sig"))))


def as_csv(rows: list[dict[str, str]]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def people(folder: Path):
    return centre_people(folder).roster.people


def test_what_is_taken_out_changes_nothing_when_it_is_brought_in_again(client):
    for ending in ("csv", "xlsx"):
        page = look(client, client.get(f"/people/table.{ending}").data, f"people.{ending}").text
        assert "<b>0</b> new, <b>0</b> changed" in page
        assert "There is nothing to change" in page


def test_a_look_writes_nothing_and_a_yes_writes_just_what_was_looked_at(client, folder):
    rows = rows_out(client)
    before = (folder / "centre" / "people.toml").read_bytes()
    rows[0]["logged_dives"] = "4321"
    rows.append({**dict.fromkeys(rows[0], ""), "name": "Wren Ash", "born": "1999-04-02", "level": "level_2"})
    seen = look(client, as_csv(rows))
    assert seen.status_code == 200
    assert "<b>1</b> new, <b>1</b> changed" in seen.text and "Wren Ash" in seen.text and "4321" in seen.text
    assert (folder / "centre" / "people.toml").read_bytes() == before
    done = client.post("/people/table/apply", data=hidden(seen.text), follow_redirects=True)
    assert done.status_code == 200 and "Written: 1 new, 1 changed" in done.text
    assert "Written:" not in client.get("/people/table").text  # it is told once
    after = people(folder)
    assert after["Wren Ash"].born.year == 1999 and after[rows[0]["name"]].logged_dives == 4321
    kept = list((folder / "centre").glob("people-*.toml"))
    assert [file.read_bytes() for file in kept] == [before]
    assert "Wren Ash" in client.get("/people").text


def test_rows_with_faults_are_told_by_number_and_go_in_only_without_them(client, folder):
    rows = rows_out(client)
    rows[1]["born"] = "yesterday"
    rows[2]["logged_dives"] = "77"
    seen = look(client, as_csv(rows)).text
    assert "Row 3</b>, born" in seen  # row 1 holds the names of the columns
    refused = client.post("/people/table/apply", data=hidden(seen))
    assert refused.status_code == 400 and "rows have faults" in refused.text
    assert people(folder)[rows[2]["name"]].logged_dives != 77
    client.post("/people/table/apply", data={**hidden(seen), "good_rows": "yes"})
    assert people(folder)[rows[2]["name"]].logged_dives == 77
    assert rows[1]["name"] in people(folder)


def test_two_who_change_the_list_at_once_get_a_choice_and_nothing_is_lost(client, folder):
    rows = rows_out(client)
    mine, theirs = [dict(row) for row in rows], [dict(row) for row in rows]
    mine[0]["logged_dives"], theirs[1]["logged_dives"] = "1111", "2222"
    first, second = look(client, as_csv(mine)).text, look(client, as_csv(theirs)).text
    assert client.post("/people/table/apply", data=hidden(second)).status_code == 303
    late = client.post("/people/table/apply", data=hidden(first))
    assert late.status_code == 409 and "changed meanwhile" in late.text
    assert people(folder)[rows[1]["name"]].logged_dives == 2222
    assert "2222 →" in late.text  # my table would put theirs back: that is what the look shows now
    assert people(folder)[rows[0]["name"]].logged_dives != 1111


def test_a_file_that_is_no_table_and_a_form_without_one_are_refused_in_words(client):
    assert "ends with .csv or .xlsx" in look(client, b"", "").text
    for content, name, said in ((b"\xff\xfe\x00", "people.pdf", "not read"), (b"", "people.csv", "empty")):
        answer = look(client, content, name)
        assert answer.status_code == 400 and said in answer.text
    page = client.get("/people/table").text
    bad = client.post("/people/table/apply", data={"csrf_token": token(page), "content": "%%%"})
    assert bad.status_code == 400 and "choose the file once more" in bad.text


def test_without_its_token_nothing_is_read(client):
    data = {"table": (io.BytesIO(b"name\n"), "people.csv")}
    answer = client.post("/people/table", data=data, content_type="multipart/form-data")
    assert answer.status_code == 400


def test_a_table_of_five_thousand_rows_fits_and_one_too_large_is_refused(client, folder):
    row = dict.fromkeys(rows_out(client)[0], "")
    many = [{**row, "name": f"Person {n}", "born": "1990-01-01", "level": "level_2"} for n in range(5000)]
    seen = look(client, as_csv(many))
    assert seen.status_code == 200 and "<b>5000</b> new" in seen.text
    assert client.post("/people/table/apply", data=hidden(seen.text)).status_code == 303
    assert len(people(folder)) > 5000
    assert look(client, b"name\n" + b"x" * 5_100_000).status_code == 400
    assert client.post("/people/table", data=b"x" * 9_000_000, content_type="text/plain").status_code in (400, 413)


def test_the_people_of_the_demonstration_stay_as_they_are(folder, tmp_path):
    client = create_app(folder, clock=lambda: NOW, keep_young=True, records=tmp_path / "records").test_client()
    rows = rows_out(client)
    rows[0]["logged_dives"] = "4321"
    page = look(client, as_csv(rows)).text
    assert "stay as they are" in page and 'action="/people/table/apply"' not in page
    data = {"csrf_token": token(page), "content": "bmFtZQ==", "name": "people.csv"}
    assert "stay as they are" in client.post("/people/table/apply", data=data).text
