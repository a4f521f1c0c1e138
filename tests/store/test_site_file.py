"""A site's file written by the pages: read back as the same site, comments kept, never over something unseen."""

from __future__ import annotations

import shutil
import string
import tomllib
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from werkzeug.datastructures import MultiDict

from tripplan.catalogue.site import Site, read_site, site_from
from tripplan.catalogue.survey import survey
from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.record import Record, TomlFile, _branches
from tripplan.store.records import CannotKeep
from tripplan.store.site_file import (
    Judged,
    NotByForm,
    OtherFile,
    SiteFile,
    free_slug,
    judged_site,
    read_site_file,
    save_new_site,
    save_site,
    slug_of,
)
from tripplan.store.toml_text import comments_in, fresh_toml, merged_toml
from tripplan.web.forms import Box, Part
from tripplan.web.request_form import words_of_form
from tripplan.web.site_words import WHOLE, values_of_site, words_of_site

SITES = data_dir("sites")
TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in sorted(SITES.glob("*.toml"))}
DAY, NOW = date(2026, 11, 27), datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
NOWHERE = Path("nowhere")


def judged(slug: str, values: Mapping[str, Any], old: SiteFile | None = None) -> Judged:
    return judged_site(NOWHERE, slug, values, {}, ["north-haven", "verrow-harbour"], DAY, old)


def typed_again(values: Mapping[str, Any]) -> dict[str, Any]:
    """Bring values through the form as a browser does: every box as text, lines ended by two letters."""
    sent = MultiDict([(name, text.replace("\n", "\r\n")) for name, text in words_of_site(values).flat()])
    made, found = values_of_site(words_of_form(sent, WHOLE, ()))
    assert found == []
    return made


def site_of(text: str, slug: str = "x") -> Site:
    return site_from(TomlFile(NOWHERE / f"{slug}.toml", text))


# ---- the form has every field ----


def fields_of(model: type[Record], before: str = "") -> set[str]:
    """Return every field that a site file may have, lists of tables of their own with their fields."""
    found = set()
    for name, field in model.model_fields.items():
        if field.exclude:
            continue
        inner = [each for branch in _branches(field.annotation) for each in records_in(branch)]
        found |= (
            {f"{before}{name}"} if not inner else {x for each in inner for x in fields_of(each, f"{before}{name}.")}
        )
    return found


def records_in(branch: Any) -> list[type[Record]]:
    if isinstance(branch, type) and issubclass(branch, Record):
        return [branch]
    arguments = getattr(branch, "__args__", ())
    return [each for argument in arguments[:1] for side in _branches(argument) for each in records_in(side)]


def boxes_of(part: Part, before: str = "") -> set[str]:
    found: set[str] = set()
    for box in part.fields:
        assert isinstance(box, Box)
        inner = {"table": [key for key, _ in box.columns], "open": ["days", "opens", "closes"]}.get(box.kind, [])
        found |= {f"{before}{box.key}.{key}" for key in inner} or {f"{before}{box.key}"}
    return found | {x for key, sub in part.tables.items() for x in boxes_of(sub, f"{before}{key}.")}


def test_the_form_asks_for_every_field_of_a_site_file_and_for_no_other():
    only_the_form = {f"entries.{way}.use" for way in ("going_in", "coming_out")}
    assert boxes_of(WHOLE) - only_the_form == fields_of(Site)


# ---- there and back ----

one_line = st.text(st.characters(exclude_categories=["C", "Zl", "Zp"]), min_size=1, max_size=20).map(str.strip)
names = one_line.filter(lambda text: bool(text) and text.isprintable())
words = st.text(
    st.characters(exclude_categories=["C", "Zl", "Zp"]) | st.sampled_from("\n\"'\\#=[]{}"), min_size=3, max_size=40
).map(str.strip).filter(lambda text: len(text) >= 3)  # fmt: skip
metres = st.floats(0.001, 99, allow_nan=False) | st.integers(1, 99)


@st.composite
def changed_sites(draw: st.DrawFn) -> dict[str, Any]:
    """Give the values of a demonstration site with other words and numbers, and with rows and fields taken out."""
    values = tomllib.loads(TEXTS[draw(st.sampled_from(sorted(TEXTS)))])
    values["name"] = draw(names)[:60]
    for key in ("summary", "road", "flag_rule", "rules_here"):
        values[key] = draw(words)
    values["facilities"] = draw(st.lists(names, max_size=3))
    values["rendezvous"]["notes"] = draw(words)
    values["communications"]["phone_signal"] = draw(words)
    for key in draw(st.sets(st.sampled_from(["country", "summary", "landmark", "alternative_exit", "limits", "exposure",
                                             "surveyed_by", "access", "facilities"]))):  # fmt: skip
        values.pop(key, None)
    for row in values["places"]:
        row["deepest_m"] = draw(metres)
        row["shallowest_m"] = min(row["shallowest_m"], row["deepest_m"])
        row["notes"] = draw(words)
    for row in values["hazards"]:
        row["what"], row["control"] = draw(words), draw(words)
    for row in values["contacts"]:
        row["notes"] = draw(words)
    values["contacts"] = draw(st.lists(st.sampled_from(values["contacts"]), min_size=1, max_size=4, unique_by=id))
    values["hospitals"][0]["directions"] = draw(words)
    values["hospitals"][0].pop(draw(st.sampled_from(["open", "drive_min", "notes"])), None)
    return values


@settings(max_examples=25, deadline=None)
@given(values=changed_sites(), other=changed_sites())
def test_a_site_comes_back_from_form_and_file_as_it_was(values, other):
    """The reader of files is the judge: what it makes of the first text it makes of the second."""
    wanted = site_of(fresh_toml(values))
    made = judged("x", typed_again(values))
    assert made.site == wanted.model_copy(update={"slug": "x"}) and made.faults == ()
    assert site_of(made.text) == made.site
    # The same once more over another file: changed in place or written anew, it reads as what was asked for.
    text = fresh_toml(other, "kept by hand")
    old = SiteFile(NOWHERE / "x.toml", text, TomlFile(NOWHERE / "x.toml", text).data, "")
    over = judged("x", typed_again(values), old)
    assert over.site == made.site == site_of(over.text)
    assert over.anew or "# kept by hand" in over.text


@pytest.mark.parametrize("slug", TEXTS)
def test_a_demonstration_site_opened_and_sent_unchanged_is_the_same_file_to_the_letter(slug):
    file = read_site_file(SITES, slug)
    assert file is not None
    made = judged(slug, typed_again(file.values), file)
    values = tomllib.loads(made.text)
    for place, before in zip(values["places"], file.values["places"], strict=True):
        assert sorted(place["suits"]) == sorted(before["suits"])
    same = merged_toml(TEXTS[slug], {**tomllib.loads(TEXTS[slug])})
    assert same == TEXTS[slug] and made.site == read_site(SITES / f"{slug}.toml").model_copy(
        update={"places": made.site.places}
    )
    assert made.comments_lost == () and not made.anew


@settings(max_examples=20, deadline=None)
@given(
    notes=st.lists(st.text(string.ascii_letters + ' "#=[', max_size=12), min_size=4, max_size=4), row=st.integers(0, 2)
)
def test_comments_stay_where_they_stand_when_a_number_a_row_and_a_table_change(notes, row):
    a, b, c, d = (f"# {note}".rstrip() for note in notes)
    text = f'{a}\nname = "x"  {b}\n\n[limits]\nbreaker_m = 0.5  {c}\n' + "".join(
        f'\n{d}\n[[hazards]]\nkind = "cold"\nwhat = "what {n}"\ncontrol = "yes"\n' for n in range(3)
    )
    values = tomllib.loads(text)
    values["limits"]["breaker_m"], values["limits"]["stream_kn"] = 0.7, 1
    values["hazards"][row]["control"] = 'some "body"\nelse'
    values["hazards"].append({"kind": "surf", "what": "breakers", "control": "look"})
    values["landmark"] = {"name": "Head", "position": "1.0, 2.0"}
    made = merged_toml(text, values)
    assert made is not None and tomllib.loads(made) == values
    assert comments_in(made) == comments_in(text)


def test_a_row_taken_out_takes_its_comments_along_and_says_so():
    text = TEXTS["gull-cove"].replace('name = "South slab"', 'name = "South slab"  # slippery in winter')
    old = SiteFile(NOWHERE / "gull-cove.toml", text, TomlFile(NOWHERE / "x.toml", text).data, "")
    values = typed_again(old.values)
    del values["entries"][1], values["alternative_exit"]
    made = judged("gull-cove", values, old)
    assert made.site is not None and made.comments_lost == ("# slippery in winter",)


def test_a_text_that_cannot_be_changed_in_place_is_written_anew_and_says_so():
    text = TEXTS["gull-cove"].replace("[limits]", "[limits]  # ours")
    old = SiteFile(NOWHERE / "gull-cove.toml", text, TomlFile(NOWHERE / "x.toml", text).data, "")
    values = typed_again(old.values)
    values["contacts"].reverse()  # the calling order: rows that change places are not told apart from changed ones
    made = judged("gull-cove", values, old)
    assert made.anew and made.site is not None and made.site.contacts[0].role == "police"
    assert "# ours" in made.comments_lost
    assert merged_toml("not = toml = at all", {"a": 1}) is None


# ---- faults ----


def test_every_fault_of_the_reader_is_told_at_its_value():
    values = typed_again(tomllib.loads(TEXTS["gull-cove"]))
    values["timezone"], values["places"][1]["deepest_m"] = "Azores", 1
    del values["entries"][0]["facing_deg"]
    values["hospitals"][0]["position"] = "12.0, 12.0"
    made = judged("gull-cove", values)
    assert made.site is None
    assert {where for where, _ in made.faults} == {
        ("timezone",), ("places", 1, "shallowest_m"), ("entries", 0, "facing_deg"), ("hospitals", 0, "position"),
    }  # fmt: skip
    with pytest.raises(BadRecord) as refused:  # the same as for a file, sentence by sentence
        site_of(made.text)
    assert {fault.message for fault in refused.value.faults} == {sentence for _, sentence in made.faults}


def test_a_station_still_to_come_is_a_warning_and_a_name_that_is_taken_a_fault():
    values = {**tomllib.loads(TEXTS["gull-cove"]), "tide": {"station": "east-pier"}}
    sites = {"the-gut": read_site(SITES / "the-gut.toml")}
    made = judged_site(NOWHERE, "gull-cove", values, sites, ["north-haven"], DAY)
    assert made.site is not None and len(made.warnings) == 1 and "every plan here is a stop" in made.warnings[0]
    twin = judged_site(NOWHERE, "other", {**values, "name": "THE GUT"}, sites, ["north-haven"], DAY)
    assert twin.site is None and [where for where, _ in twin.faults] == [("name",)]


# ---- names of files ----


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Gull Cove", "gull-cove"),
        ("Baía de São Brás (norte)", "baia-de-sao-bras-norte"),
        ("../../etc/passwd", "etc-passwd"),
        ("Мыс", "site"),
        ("new", "new-site"),
        (".hidden", "hidden"),
        ("x" * 300, "x" * 60),
    ],
)
def test_a_file_is_called_after_its_site_in_plain_letters(name, slug):
    assert slug_of(name) == slug


def test_a_name_that_is_taken_gets_a_number_whatever_the_capitals(tmp_path):
    assert free_slug(tmp_path, "Gull Cove") == "gull-cove"
    (tmp_path / "Gull-Cove.toml").touch()
    assert free_slug(tmp_path, "Gull Cove") == "gull-cove-2"


# ---- writing ----


@pytest.fixture
def folder(tmp_path):
    shutil.copy(SITES / "gull-cove.toml", tmp_path)
    return tmp_path


def changed(folder: Path) -> tuple[Judged, SiteFile]:
    file = read_site_file(folder, "gull-cove")
    assert file is not None
    return judged_site(folder, "gull-cove", {**file.values, "summary": "calm"}, {}, ["verrow-harbour"], DAY, file), file


def left_over(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name.endswith(".new"))


def test_the_file_before_is_kept_and_is_no_site(folder):
    before = (folder / "gull-cove.toml").read_bytes()
    made, file = changed(folder)
    kept = [save_site(folder, made, file.stamp, NOW)]
    made, file = changed(folder)
    kept.append(save_site(folder, made, file.stamp, NOW))  # within the same second
    assert kept[0].read_bytes() == before and len(set(kept)) == 2
    assert read_site(folder / "gull-cove.toml").summary == "calm"
    assert list(survey([folder]).sites) == ["gull-cove"] and left_over(folder) == []


def test_a_file_changed_meanwhile_is_never_written_over(folder):
    made, file = changed(folder)
    by_hand = TEXTS["gull-cove"].replace("Sheltered", "Open")
    (folder / "gull-cove.toml").write_text(by_hand, encoding="utf-8")
    with pytest.raises(OtherFile, match="changed meanwhile"):
        save_site(folder, made, file.stamp, NOW)
    assert (folder / "gull-cove.toml").read_text(encoding="utf-8") == by_hand
    (folder / "gull-cove.toml").unlink()
    with pytest.raises(OtherFile, match="gone"):
        save_site(folder, made, file.stamp, NOW)
    assert not (folder / "gull-cove.toml").exists() and left_over(folder) == []


def test_a_new_site_never_takes_the_place_of_a_file(folder, monkeypatch):
    made, _ = changed(folder)
    for linked in (True, False):
        if not linked:  # a disk without links
            monkeypatch.setattr("os.link", lambda *_: (_ for _ in ()).throw(OSError("no links")))
        with pytest.raises(OtherFile, match="already"):
            save_new_site(folder, made)
        (folder / "gull-cove.toml").rename(folder / "kept")
        save_new_site(folder, made)
        assert read_site(folder / "gull-cove.toml").summary == "calm" and left_over(folder) == []
        (folder / "kept").rename(folder / "gull-cove.toml")


def test_a_full_disk_leaves_the_file_as_it_was(folder, monkeypatch):
    made, file = changed(folder)
    monkeypatch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left on device")))
    with pytest.raises(CannotKeep, match="No space left"):
        save_site(folder, made, file.stamp, NOW)
    assert (folder / "gull-cove.toml").read_text(encoding="utf-8") == TEXTS["gull-cove"] and left_over(folder) == []


def test_the_shipped_demonstration_and_a_site_with_faults_are_never_written(folder):
    made, file = changed(SITES)
    with pytest.raises(CannotKeep, match="demonstration"):
        save_site(SITES, made, file.stamp, NOW)
    with pytest.raises(CannotKeep, match="faults"):
        save_new_site(folder, judged_site(folder, "x", {"name": "x"}, {}, [], DAY))
    assert (SITES / "gull-cove.toml").read_text(encoding="utf-8") == TEXTS["gull-cove"]


def test_what_no_form_can_carry_is_left_to_the_hand(folder):
    (folder / "odd.toml").write_text('name = "x"\nsummary = "a\\u0007bell"\n', encoding="utf-8")
    with pytest.raises(NotByForm, match="summary"):
        read_site_file(folder, "odd")
    assert read_site_file(folder, "../gull-cove") is None and read_site_file(folder, "nothing") is None
