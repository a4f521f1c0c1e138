"""Requests that were edited, over those of the files: which one stands, what is told, and that nothing is lost."""

from __future__ import annotations

import json
import shutil
import threading
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings

from tests.any_request import any_request
from tripplan.data_files import data_dir
from tripplan.planning.request import Request
from tripplan.store.database import ChangedMeanwhile, KeptRequest
from tripplan.store.demo import kept_young
from tripplan.store.folder import load_folder
from tripplan.store.requests import FromFile, base_of, judged, keep_theirs, lay, save, unseen, values_of

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
NAME = "saturday-ledge"


@pytest.fixture(scope="module")
def folder():
    return load_folder(data_dir("sites"))


@pytest.fixture
def ledge(folder):
    return folder.requests[NAME]


def edited(request: Request, version: int = 2, base: str = "", **changes: object) -> KeptRequest:
    values = json.loads(json.dumps({**values_of(request), **changes}))
    return KeptRequest(NAME, version, values, NOW, "Greta Holm", base)


# ---- values ----


PEOPLE = ("Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak", "Luca Benti", "Ann, called Nan", 'Ida "Sea" Lund')


@settings(max_examples=60, deadline=None)
@given(any_request(PEOPLE))
def test_a_request_comes_back_from_its_values_as_it_was(request):
    through_json = json.loads(json.dumps(values_of(request)))
    found, faults = judged(through_json)
    assert faults == () and found == request
    assert values_of(found) == through_json


def test_values_are_judged_as_a_file_is(ledge):
    """The sentences are those that the reader of files gives, with the place in the request."""
    bad = {**values_of(ledge), "date": "2026-13-01", "depth": 3}
    bad["groups"] = [{**bad["groups"][0], "dives": [{"depth_m": 400, "entry": "9"}]}]
    found, faults = judged(bad)
    assert found is None
    assert {where for where, _ in faults} == {
        ("date",), ("depth",), ("groups", 0, "dives", 0, "depth_m"), ("groups", 0, "dives", 0, "entry"),
    }  # fmt: skip
    twice = {**values_of(ledge), "groups": [values_of(ledge)["groups"][0]] * 2}
    assert judged(twice)[1][0][0] == ("groups", 1, "name")  # a slip that only a file can have


# ---- which one stands ----


def test_an_edited_request_stands_in_the_place_of_its_file_and_the_others_stay(folder, ledge):
    laid = lay(folder, [edited(ledge, title="Ledge, later", date="2026-12-13")])
    assert laid.folder.requests[NAME].title == "Ledge, later"
    assert laid.folder.requests[NAME].date == date(2026, 12, 13)
    assert set(laid.folder.requests) == set(folder.requests) and laid.folder.faults == folder.faults
    assert all(laid.folder.requests[name] is folder.requests[name] for name in folder.requests if name != NAME)
    assert laid.files.requests[NAME] == ledge


def test_a_request_that_has_no_file_stands_among_the_others_by_name(folder, ledge):
    new = replace(edited(ledge), name="a-new-day")
    assert list(lay(folder, [new]).folder.requests) == ["a-new-day", *folder.requests]


def test_the_date_of_an_edited_request_is_as_edited_also_in_a_demonstration(folder, ledge):
    today = date(2027, 3, 1)
    young = kept_young(folder, today)
    assert young.requests[NAME].date > ledge.date  # the files move
    laid = lay(young, [edited(ledge, date="2027-03-06")])
    assert laid.folder.requests[NAME].date == date(2027, 3, 6)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"site": "nowhere"}, 'site "nowhere" is not in the catalogue'),
        ({"crew": {"rescue": ["Zed Zimmer"]}}, '"Zed Zimmer" is not in the list of people'),
        ({"groups": []}, "groups"),
        ({"date": "soon"}, 'date is "soon"'),
        ({"shape": "of another year"}, "shape is not a known key"),
    ],
)
def test_one_that_cannot_be_read_any_more_is_a_fault_in_words_and_hides_no_other(folder, ledge, change, said):
    laid = lay(folder, [edited(ledge, **change), replace(edited(ledge), name="good")])
    assert NAME not in laid.folder.requests  # nor does its file come back: nobody asked for that older plan
    assert "good" in laid.folder.requests and "lake-altitude" in laid.folder.requests
    (fault,) = [str(fault) for fault in laid.folder.faults]
    assert fault.startswith(f'edited request "{NAME}", version 2: ') and said in fault


@pytest.mark.parametrize("values", [None, [], "text", 3])
def test_what_is_no_request_at_all_is_told_too(folder, values):
    laid = lay(folder, [KeptRequest(NAME, 1, values, NOW, "Ann")])
    assert "this is no request" in str(laid.folder.faults[-1])


def test_each_version_is_read_once(folder, ledge):
    known: dict = {}
    first = lay(folder, [edited(ledge)], known).folder.requests[NAME]
    assert lay(folder, [edited(ledge)], known).folder.requests[NAME] is first
    assert lay(folder, [edited(ledge, 3, title="Other")], known).folder.requests[NAME].title == "Other"


def test_a_store_that_cannot_be_seen_is_told_and_the_files_stand(folder):
    laid = unseen(folder, "the store cannot be opened: no such disk")
    assert laid.folder.requests == folder.requests and laid.trouble
    assert "no such disk. Requests that were edited in the browser are not shown" in str(laid.folder.faults[-1])


def test_the_mark_of_a_file_tells_whether_it_changed(tmp_path):
    folder = Path(shutil.copytree(data_dir("sites"), tmp_path / "centre"))
    file = folder / "requests" / f"{NAME}.toml"
    before = base_of(folder, NAME)
    assert len(before) == 64 and base_of(folder, "lake-altitude") != before
    file.write_text(file.read_text(encoding="utf-8") + "# a word\n", encoding="utf-8")
    assert base_of(folder, NAME) not in ("", before)
    assert base_of(folder, "none-there") == "" == base_of(folder, "x\0y")


# ---- saving ----


def test_the_first_edit_keeps_what_the_file_said_as_the_first_version(store, ledge):
    file = FromFile(values_of(ledge), "b" * 64, "the file x.toml")
    mine = {**values_of(ledge), "title": "Mine"}
    assert save(store, NAME, mine, version=None, by="Ann", changed=NOW, base=file.base, file=file) == 2
    one, two = store.request_versions(NAME)
    assert (one.request, one.by) == (file.values, "the file x.toml") and (two.request, two.by) == (mine, "Ann")
    assert store.request(NAME).base == file.base


def test_two_who_begin_from_the_same_file_at_once_lose_nothing(store, ledge):
    file = FromFile(values_of(ledge), "b" * 64, "the file x.toml")
    told: dict[str, object] = {}
    ready = threading.Barrier(2)

    def edit(who: str) -> None:
        ready.wait()
        try:
            told[who] = save(
                store, NAME, {**file.values, "title": who}, version=None, by=who, changed=NOW, base=file.base, file=file
            )
        except ChangedMeanwhile as error:
            told[who] = error

    both = [threading.Thread(target=edit, args=(who,)) for who in ("Ann", "Ben")]
    for each in both:
        each.start()
    for each in both:
        each.join()
    (winner,) = [who for who, what in told.items() if what == 2]
    (loser,) = [who for who, what in told.items() if isinstance(what, ChangedMeanwhile)]
    assert {winner, loser} == {"Ann", "Ben"}
    assert [each.by for each in store.request_versions(NAME)] == ["the file x.toml", winner]


def test_two_new_ones_of_one_name_at_once_are_one_and_the_other_is_told(store, ledge):
    told = []
    ready = threading.Barrier(2)

    def make(who: str) -> None:
        ready.wait()
        try:
            told.append(save(store, "new-day", {**values_of(ledge), "title": who}, version=None, by=who, changed=NOW))
        except ChangedMeanwhile as error:
            told.append(error.now.by)

    both = [threading.Thread(target=make, args=(who,)) for who in ("Ann", "Ben")]
    for each in both:
        each.start()
    for each in both:
        each.join()
    assert 1 in told and set(told) - {1} <= {"Ann", "Ben"} and len(store.request_versions("new-day")) == 1


def test_who_lets_theirs_stand_loses_nothing_and_is_never_in_force(store, ledge):
    values = values_of(ledge)
    store.save_request(NAME, {**values, "title": "Theirs"}, None, "Ann", NOW, "base")
    mine = {**values, "title": "Mine"}
    assert keep_theirs(store, NAME, mine, version=1, by="Ben", changed=NOW) == 3
    assert [(each.version, each.request["title"], each.by) for each in store.request_versions(NAME)] == [
        (1, "Theirs", "Ann"), (2, "Mine", "Ben"), (3, "Theirs", "Ben"),
    ]  # fmt: skip
    standing = store.request(NAME)
    assert (standing.version, standing.request["title"], standing.base) == (3, "Theirs", "base")
    with pytest.raises(ChangedMeanwhile) as refused:
        keep_theirs(store, NAME, mine, version=1, by="Cy", changed=NOW)
    assert refused.value.now.version == 3 and len(store.request_versions(NAME)) == 3
