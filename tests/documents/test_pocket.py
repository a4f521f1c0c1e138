from __future__ import annotations

import base64
import hashlib
import json
import re
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from gettext import NullTranslations
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed_plans import HOSTILE, folder
from sample_plan import PERIOD_MIN, cosine_m, curve_of

from tripplan.documents import pocket
from tripplan.documents.pocket import PocketSite, pocket_html, pocket_site, search_key, with_prefix
from tripplan.documents.sheet_words import sheet_text
from tripplan.emergency.confirmed import Confirmation
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH, Language
from tripplan.planning.action_sheet import action_sheet
from tripplan.planning.day import plan_day

DAY = date(2026, 12, 12)
VOID = {"meta", "link", "img", "br", "input", "hr", "col", "source", "wbr"}


@cache
def site_of(name: str) -> PocketSite:
    """Return a request of the demonstration as a site of the pocket file, all of them on one day."""
    held = folder()
    request = held.requests[name].model_copy(update={"date": DAY})
    plan = plan_day(request, held.world)
    sheet = action_sheet(request.site, DAY, held.world, [(request, plan)])
    return pocket_site(sheet, [plan], held.world.sites[request.site], held.world)


@cache
def two_sites() -> str:
    pages = [site_of("saturday-ledge"), site_of("beginners-cove")]
    return pocket_html(DAY, pages, folder().world.rules)


def html_of(*pages: PocketSite, language: Language = ENGLISH) -> str:
    return pocket_html(DAY, pages, folder().world.rules, language)


class Read(HTMLParser):
    """The file as another program reads it: its tags with their attributes, and its words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.within: dict[str, list[str]] = {"script": [], "style": []}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        assert len(attrs) == len({name for name, _ in attrs}), f"{tag} has an attribute twice: {attrs}"
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: Any) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> closes another tag"

    def handle_data(self, data: str) -> None:
        (self.within[self.open[-1]] if self.open and self.open[-1] in self.within else self.words).append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())

    def all(self, attribute: str) -> list[str]:
        return [attributes[attribute] for _, attributes in self.tags if attribute in attributes]


def test_a_day_with_two_sites_and_six_dives_stays_below_a_million_bytes():
    pages = [site_of("saturday-ledge"), site_of("beginners-cove")]
    assert sum(len(page.sheet.dives) for page in pages) == 6
    assert len(two_sites().encode()) < 1_000_000


def test_three_sites_and_eight_dives_fit_as_well_with_all_their_pictures():
    pages = [site_of(name) for name in ("saturday-ledge", "beginners-cove", "lake-altitude")]
    assert sum(len(page.sheet.dives) for page in pages) == 8
    text = html_of(*pages)
    assert len(text.encode()) < 1_000_000
    assert "are left out" not in text
    names = Counter(Read(text).all("id"))
    assert max(names.values()) == 1
    assert {f"s{number}-happened" for number in (1, 2, 3)} <= set(names)


def test_every_tag_is_closed_in_order():
    read = Read(two_sites())
    assert read.open == []
    assert len(read.tags) > 1000


def test_nothing_in_it_leads_out_of_it():
    read = Read(two_sites())
    for name in ("src", "srcset", "data", "poster", "action", "formaction", "background", "ping", "xmlns"):
        assert read.all(name) == [], name
    for address in read.all("href"):
        assert re.match(r"#|tel:|geo:|data:,$", address), address
    assert {tag for tag, _ in read.tags} & {
        "iframe",
        "object",
        "embed",
        "img",
        "base",
        "form",
        "video",
        "audio",
    } == set()
    assert [attributes for tag, attributes in read.tags if tag == "link"] == [{"rel": "icon", "href": "data:,"}]
    assert re.search(r"https?:|//[a-z]", two_sites().replace("// ", "")) is None
    assert "@import" not in two_sites()
    assert set(re.findall(r"url\((?!#)", two_sites())) == set()
    assert {attributes.get("http-equiv") for tag, attributes in read.tags if tag == "meta"} == {
        None,
        "Content-Security-Policy",
    }


def test_only_the_one_script_runs_and_the_policy_names_it_by_its_digest():
    read = Read(two_sites())
    (script,) = (attributes for tag, attributes in read.tags if tag == "script")
    assert script == {}
    between = re.search(r"<script>(.*?)</script>", two_sites(), re.DOTALL)
    assert between
    style = re.search(r"<style>(.*?)</style>", two_sites(), re.DOTALL)
    assert style

    def digest(text):
        return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode()

    (policy,) = (attributes["content"] for _, attributes in read.tags if "http-equiv" in attributes)
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == f"'sha256-{digest(between[1])}'"
    assert rules["style-src"] == f"'sha256-{digest(style[1])}'"
    assert rules["img-src"] == "data:"
    handlers = [name for _, attributes in read.tags for name in attributes if name.startswith("on")]
    assert handlers == []


def test_every_telephone_link_is_digits_only():
    links = [address for address in Read(two_sites()).all("href") if address.startswith("tel:")]
    assert len(links) > 30
    for link in links:
        assert re.fullmatch(r"tel:\+?[0-9]+", link), link


def test_no_name_of_a_part_stands_twice_and_every_link_and_label_finds_its_part():
    read = Read(two_sites())
    names = Counter(read.all("id"))
    assert [name for name, times in names.items() if times > 1] == []
    for address in read.all("href"):
        if address.startswith("#"):
            assert address[1:] in names
    for attribute in ("aria-labelledby", "for", "aria-describedby"):
        for value in read.all(attribute):
            assert value.split() and set(value.split()) <= set(names), value
    for name in re.findall(r"url\(#([^)]+)\)", two_sites()):
        assert name in names
    for part in ("arrival", "slate", "wrong", "dives"):
        assert {f"s1p1-{part}", f"s2p1-{part}"} <= set(names)


def test_two_plans_of_one_site_stand_beside_each_other():
    page = site_of("saturday-ledge")
    read = Read(html_of(replace(page, plans=page.plans * 2)))
    names = Counter(read.all("id"))
    assert max(names.values()) == 1
    assert {"s1-plan-1", "s1-plan-2", "s1p1-slate", "s1p2-slate"} <= set(names)


@pytest.mark.parametrize("name", ["saturday-ledge", "beginners-cove", "lake-altitude"])
def test_all_that_the_sheet_says_is_in_it(name):
    page = site_of(name)
    text = Read(html_of(page)).text
    flat = "".join(text.split())
    sheet = sheet_text(page.sheet, ENGLISH)

    def said(words: str) -> None:
        assert "".join(words.split()) in flat, words

    for line in [*sheet["first_minute"], *sheet["posture"], *sheet["gear"], *sheet["look"], *sheet["report"]]:
        said(line)
    for line in [*sheet["cautions"], *sheet["gaps"], *sheet["missing_contacts"], *sheet["search_method"]]:
        said(line)
    for value in [value for key, value in sheet["where"].items() if key not in ("geo", "access")]:
        said(value)
    for line in [*sheet["contacts"], *sheet["care"]]:
        for key in ("name", "number", "status", "notes", "doubt"):
            said(line[key])
    for script in sheet["scripts"]:
        for line in [script["when"], *script["lines"], *script["after"]]:
            said(line)
    for each in sheet["scenarios"]:
        for line in [each["title"], *each["steps"], *each["never"], each["sources"]]:
            said(line)
    for line in sheet["roles"]:
        said(line["who"])
        said(line["note"])
    for dive in sheet["dives"]:
        for key in ("name", "people", "entry", "exit_by", "depth", "place"):
            said(dive[key])
    for key in ("headline", "need", "givers"):
        said(sheet["oxygen"][key])
    said(sheet["unconfirmed"])
    said(sheet["drill"])
    said(sheet["caution"])
    for plan in page.plans:
        said(plan.headline)


def test_the_worst_moment_stands_before_everything_else():
    text = two_sites()
    places = [text.index(f'id="s1-{part}"') for part in ("happened", "clocks", "contacts", "plan-1")]
    assert places == sorted(places)
    assert text.index('id="s1-plan-1"') < text.index('id="s2-happened"')
    happened = text[text.index('id="s1-happened"') : text.index('id="s1-clocks"')]
    first = sheet_text(site_of("saturday-ledge").sheet, ENGLISH)["contacts"][0]
    assert happened.index(f'href="{first["link"]}"') < happened.index("FIRST MINUTE")
    assert 'href="geo:' in happened
    assert first["status"] in happened


def test_it_says_which_revisions_it_was_saved_from_and_asks_for_the_newest():
    text = Read(two_sites()).text
    for name in ("saturday-ledge", "beginners-cove"):
        page = site_of(name)
        assert f"emergency sheet {page.sheet.revision}, plan {page.plans[0].revision}" in text
    assert "Saved copy of revisions" in text
    assert "Ask the centre whether they still hold." in text


def test_the_demonstration_says_so_and_a_real_centre_does_not():
    assert "DEMONSTRATION" in Read(two_sites()).text
    page = site_of("saturday-ledge")
    real = PocketSite(replace(page.sheet, demonstration=False), (), page.searches)
    assert "DEMONSTRATION" not in Read(html_of(real)).text


# ---- the clocks ----


def test_each_dive_has_its_instants_in_utc_and_its_times_at_the_site():
    """The Azores keep UTC-1 in winter, so a clock there shows one hour less than the instant."""
    boxes = [attributes for _, attributes in Read(two_sites()).tags if "data-exit-by" in attributes]
    dives = [dive for name in ("saturday-ledge", "beginners-cove") for dive in site_of(name).sheet.dives]
    assert len(boxes) == len(dives) == 6
    for box, dive in zip(boxes, dives, strict=True):
        for key, moment, said in (("data-entry", dive.entry, "data-in"), ("data-exit-by", dive.exit_by, "data-out")):
            instant = datetime.strptime(box[key], "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
            assert instant == moment
            assert f"{instant - timedelta(hours=1):%H:%M}" == box[said]
        assert box["data-offset-min"] == "-60"
        assert f"{dive.group}, dive {dive.number}" in box["data-name"]


def test_a_note_that_all_are_out_is_only_for_the_same_people_at_the_same_times():
    page = site_of("saturday-ledge")

    def keys(**changes: Any) -> list[str]:
        dives = (replace(page.sheet.dives[0], **changes), *page.sheet.dives[1:])
        return Read(html_of(PocketSite(replace(page.sheet, dives=dives), (), {}))).all("data-key")

    as_it_was = keys()
    first = page.sheet.dives[0]
    assert len(set(as_it_was)) == len(page.sheet.dives)
    assert keys() == as_it_was
    for changes in (
        {"exit_by": first.exit_by + timedelta(minutes=1)},
        {"entry": first.entry - timedelta(minutes=1)},
        {"people": (*first.people, "Noor Haddad")},
        {"number": 7},
        {"group": "Gannets"},
    ):
        assert keys(**changes)[0] != as_it_was[0]
        assert keys(**changes)[1:] == as_it_was[1:]
    assert all(re.fullmatch(r"tripplan-out-[0-9a-f]{16}", key) for key in as_it_was)  # no name stays on the phone


def test_the_words_of_the_clocks_have_every_value_that_the_script_puts_in():
    (words,) = Read(two_sites()).all("data-words")
    said = json.loads(words)
    script = Read(two_sites()).within["script"][0]
    assert set(re.findall(r"words\.(\w+)", script)) == set(said)
    for key, values in {"left": {"clock", "time"}, "overdue": {"time"}, "out": {"clock"}, "bar": {"dive"}}.items():
        assert set(re.findall(r"\{(\w+)\}", said[key])) == values
    assert said["overdue"].startswith("OVERDUE")


# ---- where to look ----


def test_somebody_may_have_been_seen_last_every_ten_minutes_from_leaving_the_surface_on():
    page = site_of("saturday-ledge")
    for dive in page.sheet.dives:
        areas = page.searches[search_key(dive)]
        assert areas[0].last_seen_at == dive.descent
        assert {b.last_seen_at - a.last_seen_at for a, b in pairwise(areas)} == {timedelta(minutes=10)}
        assert dive.exit_by - timedelta(minutes=20) < areas[-1].last_seen_at < dive.exit_by
        assert {area.last_seen for area in areas} == {dive.search.last_seen}
    read = Read(html_of(page))
    searches = [attributes for tag, attributes in read.tags if attributes.get("class") == "search" and tag == "details"]
    assert len(searches) == sum(map(len, page.searches.values()))
    for areas in page.searches.values():
        for area in areas:
            assert f"Last seen at {area.last_seen_at:%H:%M}" in read.text
    tables = re.findall(r'<table class="area">(.*?)</table>', html_of(page), re.DOTALL)
    assert {table.count('<th scope="row">') for table in tables} == {12}  # every ten minutes of two hours


def test_the_table_of_a_time_is_that_of_the_area_of_that_time():
    page = site_of("saturday-ledge")
    dive = page.sheet.dives[0]
    area = page.searches[search_key(dive)][2]
    only = PocketSite(replace(page.sheet, dives=(dive,)), (), {search_key(dive): (area,)})
    text = Read(html_of(only)).text
    for step in area.steps:
        assert f"{step.time.astimezone(dive.entry.tzinfo):%H:%M}" in text
    assert area.last_seen.degrees_minutes in text


def test_without_areas_of_its_own_a_dive_shows_that_of_the_sheet():
    page = site_of("saturday-ledge")
    text = Read(html_of(PocketSite(page.sheet, (), {}))).text
    for dive in page.sheet.dives:
        assert f"Last seen at {dive.search.last_seen_at:%H:%M}" in text


# ---- when something is missing or wrong ----


@pytest.mark.parametrize(("found", "said"), [("wrong", "WRONG NUMBER"), ("closed", "TAKES NO CASUALTIES TODAY")])
def test_a_number_found_useless_today_is_not_the_one_to_tap_first(found, said):
    page = site_of("saturday-ledge")
    first, second, *others = page.sheet.contacts
    at = page.sheet.dives[0].entry
    sheet = replace(
        page.sheet,
        contacts=(
            replace(first, today=Confirmation(at, first.phone.typed, first.name, "Greta Holm", found)),
            second,
            *others,
        ),
    )
    text = html_of(PocketSite(sheet, (), {}))
    happened = text[text.index('id="s1-happened"') : text.index('id="s1-clocks"')]
    assert first.phone.link not in happened
    assert happened.index(second.phone.link) < happened.index(others[0].phone.link)
    assert said in text


def test_a_site_without_anybody_to_call_says_so_where_the_call_would_stand():
    page = site_of("saturday-ledge")
    text = Read(html_of(PocketSite(replace(page.sheet, contacts=(), care=()), (), {}))).text
    assert "NOBODY TO CALL is on file. NO RESCUE SERVICE on file: nobody to call first" in text


def test_a_site_without_plan_dives_or_tide_is_still_a_whole_file():
    held = folder()
    sheet = action_sheet("stair-ledge", DAY, held.world)
    read = Read(html_of(pocket_site(sheet, [], held.world.sites["stair-ledge"], held.world)))
    assert "no dives planned here" in read.text
    assert "No plan is in this file." in read.text
    assert "No tide is in this file." in read.text
    assert max(Counter(read.all("id")).values()) == 1
    assert {a[1:] for a in read.all("href") if a.startswith("#")} <= set(read.all("id"))


def test_names_that_try_to_be_something_else_stay_names():
    page = site_of("saturday-ledge")
    first = page.sheet.dives[0]
    tag, quote = HOSTILE["tag"], HOSTILE["quote"]
    sheet = replace(
        page.sheet,
        site_name=f'{tag}" onload="alert(1)',
        road="</script><script>alert(2)</script> id=\"top\" href='#x'",
        dives=(replace(first, group=quote, leader=tag, people=(tag, quote, HOSTILE["long"])),),
        contacts=tuple(replace(line, name=tag, notes="<!-- ") for line in page.sheet.contacts),
        hazards=((tag, "javascript:alert(1)"),),
    )
    plan = replace(page.plans[0], site_name=tag, title=quote, headline='<b id="arrival">url(#day)</b> {{ 7 * 7 }}')
    dive = replace(first, group=quote)
    read = Read(html_of(PocketSite(sheet, (plan,), {search_key(dive): (first.search,)})))
    assert Counter(tag for tag, _ in read.tags)["script"] == 1
    assert read.open == []
    assert [name for _, attributes in read.tags for name in attributes if name.startswith("on")] == []
    assert max(Counter(read.all("id")).values()) == 1
    assert tag in read.text and quote in read.text and HOSTILE["long"] in read.text
    assert "</script><script>alert(2)</script> id=\"top\" href='#x'" in read.text
    assert '<b id="arrival">url(#day)</b> {{ 7 * 7 }}' in read.text
    assert len(read.within["script"]) == 1


def test_a_sheet_or_plan_of_another_day_or_place_is_refused():
    page, other = site_of("saturday-ledge"), site_of("beginners-cove")
    rules = folder().world.rules
    with pytest.raises(
        OutOfRange, match="sheet is of stair-ledge on 2026-12-12; it must be of stair-ledge on 2026-12-13"
    ):
        pocket_html(date(2026, 12, 13), [page], rules)
    with pytest.raises(OutOfRange, match="plan is of gull-cove"):
        pocket_html(DAY, [replace(page, plans=other.plans)], rules)
    with pytest.raises(OutOfRange, match="needs a site"):
        pocket_html(DAY, [], rules)


def test_too_large_a_file_leaves_out_pictures_then_plans_and_says_so(monkeypatch):
    page = site_of("saturday-ledge")
    whole = html_of(page)
    assert "are left out" not in whole
    monkeypatch.setattr(pocket, "LIMIT_BYTES", len(whole.encode()))
    fewer = html_of(page)
    assert "The pictures of the search areas are left out" in fewer
    assert fewer.count('<table class="area">') == whole.count('<table class="area">')
    assert 'id="s1-plan-1"' in fewer
    monkeypatch.setattr(pocket, "LIMIT_BYTES", len(fewer.encode()))
    fewest = html_of(page)
    assert "The plans are left out" in fewest
    assert 'id="s1-plan-1"' not in fewest
    assert fewest.count('<table class="area">') == whole.count('<table class="area">')
    assert 'id="s1-missing_diver"' in fewest
    monkeypatch.setattr(pocket, "LIMIT_BYTES", len(fewest.encode()))
    least = html_of(page)
    assert "The search areas of later times are left out" in least
    assert least.count('<table class="area">') < fewest.count('<table class="area">')
    monkeypatch.setattr(pocket, "LIMIT_BYTES", len(least.encode()))
    with pytest.raises(OutOfRange, match="fewer sites"):
        html_of(page)


# ---- the tide ----


def test_the_heights_of_every_half_hour_are_those_of_the_curve():
    """The invented tide is a cosine of 745 min: high at 11:30, so the lows are 372.5 min before and after."""
    low_min = 690 - PERIOD_MIN / 2
    rows = pocket._heights(curve_of(), ENGLISH)
    assert len(rows) == 48
    for number, (clock, said, way) in enumerate(rows):
        minute = number * 30
        assert clock == f"{minute // 60:02d}:{minute % 60:02d}"
        assert abs(float(said.removesuffix(" m")) - cosine_m(minute)) <= 0.0501
        if low_min < minute and minute + 30 < 690:
            assert way == "rising"
        if minute > 690 and minute + 30 < 690 + PERIOD_MIN / 2:
            assert way == "falling"


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25)])
def test_on_the_day_that_the_clocks_change_no_half_hour_is_lost_or_said_twice(day, hours):
    rows = pocket._heights(curve_of(day), ENGLISH)
    assert len(rows) == 2 * hours
    assert len({clock for clock, _, _ in rows}) == 2 * hours


def test_a_tide_that_is_not_known_is_said_to_be_not_known():
    curve = curve_of()
    holes = tuple(float("nan") if 600 <= minute < 700 else each for minute, each in enumerate(curve.tide_m))
    rows = {clock: said for clock, said, _ in pocket._heights(replace(curve, tide_m=holes), ENGLISH)}
    assert rows["10:00"] == rows["11:30"] == "not known"
    assert rows["09:30"] != "not known" != rows["12:00"]
    assert pocket._heights(replace(curve, tide_m=()), ENGLISH) == []


# ---- languages ----


class Loud(NullTranslations):
    """A language that writes every message between brackets."""

    def gettext(self, message: str) -> str:
        return f"[{message}]"


def test_a_language_written_from_the_right_turns_the_page_and_leaves_the_plan_in_english():
    text = html_of(site_of("saturday-ledge"), language=Language("he", "x", Loud(), notice="[checked by nobody]"))
    read = Read(text)
    assert read.tags[0] == ("html", {"lang": "he", "dir": "rtl"})
    assert "[checked by nobody]" in read.text
    assert "[The plan itself is in English.]" in read.text
    assert {"lang": "en", "dir": "ltr"} in [attributes for tag, attributes in read.tags if tag == "div"]
    english_page = Read(html_of(site_of("saturday-ledge"))).text
    shown = [words for words in pocket._words(ENGLISH).values() if "{" not in words and words in english_page]
    assert len(shown) > 15
    for english in shown:
        assert f"[{english}]" in read.text
    (words,) = read.all("data-words")
    assert all(said.startswith("[") for said in json.loads(words).values())
    assert {a[1:] for a in read.all("href") if a.startswith("#")} <= set(read.all("id"))


# ---- names made unique ----


def test_names_and_what_points_to_them_get_the_prefix_and_text_does_not():
    before = (
        '<p id="a" class="id" title="id=&quot;b&quot; #a">id="a" href="#a" url(#a)</p>'
        "<label for='a'>for=\"a\"</label>"
        '<a href="#a">x</a><a href="tel:1">#a</a><section aria-labelledby="a b" hidden></section>'
    )
    after = (
        '<p id="k-a" class="id" title="id=&quot;b&quot; #a">id="a" href="#a" url(#a)</p>'
        "<label for='k-a'>for=\"a\"</label>"
        '<a href="#k-a">x</a><a href="tel:1">#a</a><section aria-labelledby="k-a k-b" hidden></section>'
    )
    assert with_prefix(before, "k-") == after


def test_an_svg_keeps_its_references_and_loses_its_addresses():
    before = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"><path id="m" d="M0 0"/>'
        '<g clip-path="url(#c)" style="fill: url(\'#h\')"><use xlink:href="#m" x="1"/></g></svg>'
    )
    after = (
        '<svg><path id="k-m" d="M0 0"/>'
        '<g clip-path="url(#k-c)" style="fill: url(\'#k-h\')"><use href="#k-m" x="1"/></g></svg>'
    )
    assert with_prefix(before, "k-") == after


@settings(deadline=None)
@given(st.text(alphabet="ab<>\"'=#&() id=href/", max_size=40))
def test_whatever_an_escaped_text_holds_it_is_never_changed(text):
    from markupsafe import escape

    page = f'<p id="x" title="{escape(text)}">{escape(text)}</p>'
    read, changed = Read(page), Read(with_prefix(page, "k-"))
    assert changed.words == read.words
    assert changed.tags[0][1]["id"] == "k-x"
    if "url(" not in text:
        assert changed.tags[0][1]["title"] == read.tags[0][1]["title"]
