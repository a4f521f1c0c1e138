from __future__ import annotations

import io
import json
from dataclasses import replace

import pytest
from printed_pages import flat, pages_of
from printed_plans import HOSTILE, REQUESTS, hostile_plan, parts_of, plan_of
from pypdf import PdfReader
from sample_plan import sample_plan

from tripplan.documents.day_sheet import day_sheet_pdf, missing_glyphs, sheet_values
from tripplan.documents.words import DEMONSTRATION, clock, date_words, depth_down, rules_of, source_words
from tripplan.errors import OutOfRange

ALL = (*REQUESTS, "stop")
PAPERS = ("a4", "letter")


@pytest.fixture(scope="module")
def sheets() -> dict[tuple[str, str], bytes]:
    return {(name, paper): day_sheet_pdf(plan_of(name), paper) for name in ALL for paper in PAPERS}


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_the_page_has_the_size_that_was_asked_for(sheets, name, paper):
    # ISO 216: A4 is 210 by 297 mm; ANSI Y14.1: Letter is 8.5 by 11 inches. A point is 1/72 inch.
    wanted = (210 / 25.4 * 72, 297 / 25.4 * 72) if paper == "a4" else (8.5 * 72, 11 * 72)
    for page in PdfReader(io.BytesIO(sheets[name, paper])).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.1)


def test_another_paper_is_refused_with_what_is_accepted():
    with pytest.raises(OutOfRange, match='paper is "a5"; it must be "a4" or "letter"'):
        day_sheet_pdf(plan_of("lake-altitude"), "a5")


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_every_page_says_where_when_which_revision_and_how_many_pages(sheets, name, paper):
    plan = plan_of(name)
    pages = pages_of(sheets[name, paper])
    for number, page in enumerate(pages, 1):
        assert flat(f"{plan.site_name}, {date_words(plan.date)}") in page
        assert flat(f"Revision {plan.revision}") in page
        assert flat(f"Page {number} of {len(pages)}") in page
        assert flat("does not replace training, local codes or the judgement of the leader on the beach") in page


@pytest.mark.parametrize("name", ALL)
def test_each_page_of_the_demonstration_is_marked_in_words_and_across_the_page(sheets, name):
    for page in pages_of(sheets[name, "a4"]):
        assert page.count(flat(DEMONSTRATION)) == 3  # above, below and across


def test_a_real_plan_is_not_marked_as_a_demonstration():
    for page in pages_of(day_sheet_pdf(replace(plan_of("lake-altitude"), demonstration=False))):
        assert flat("NOT FOR USE") not in page


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_the_sheet_holds_every_dive_with_its_times_limits_and_people(sheets, name, paper):
    plan = plan_of(name)
    text = "".join(pages_of(sheets[name, paper]))
    for dive in plan.dives:
        for words in (
            f"In {clock(dive.entry)}, out {clock(dive.exit)}, out by {clock(dive.exit_by)}, "
            f"overdue from {clock(dive.overdue_at)}.",
            f"Depth limit {depth_down(dive.depth.value)}",
            f"because {dive.depth.binding.sentence}",
            f"because {dive.time.binding.sentence}",
            f"{depth_down(dive.depth_m)}, {dive.bottom_time_min} min at the bottom",
            dive.place,
        ):
            assert flat(words) in text
        for candidate in dive.depth.candidates + dive.time.candidates:
            assert flat(candidate.sentence) in text
        for person in dive.people:
            assert flat(person.name) in text
            assert flat(person.level_words) in text


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_the_sheet_holds_everything_for_an_emergency(sheets, name, paper):
    plan = plan_of(name)
    emergency = plan.emergency
    text = "".join(pages_of(sheets[name, paper]))
    for line in (*emergency.contacts, *emergency.care):
        for words in (line.name, line.number, line.hours, line.checked_words):
            assert flat(words) in text
    for words in (
        f"FIRST CALL: {emergency.contacts[0].role_words} {emergency.contacts[0].number}",
        emergency.position_words,
        emergency.position_spoken,
        emergency.geo_uri,
        emergency.what_to_say,
        emergency.rendezvous_words,
        emergency.alternative_exit,
        emergency.road,
    ):
        assert flat(words) in text


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_every_stop_and_caution_stands_in_full_with_its_source(sheets, name, paper):
    plan = plan_of(name)
    text = "".join(pages_of(sheets[name, paper]))
    for check in plan.stops:
        assert flat(f"STOP: {check.sentence}Source: {source_words(check.source, rules_of(plan))}") in text
    for check in plan.cautions:
        *told, source = *parts_of(check), source_words(check.source, rules_of(plan))
        assert flat(f"{told[0]} Source: {source}") in text
        assert all(flat(part) in text for part in told)


@pytest.mark.parametrize("name", ALL)
def test_the_words_given_to_the_sheet_hold_every_passed_check_observation_override_and_briefing_line(name):
    plan = plan_of(name)
    words = flat(json.dumps(sheet_values(plan), ensure_ascii=False))
    for check in plan.checks:
        for part in parts_of(check):
            assert flat(json.dumps(part, ensure_ascii=False)[1:-1]) in words
    for seen in plan.observations:
        assert flat(json.dumps(seen.limit_words, ensure_ascii=False)[1:-1]) in words
    for rule in plan.overrides:
        assert flat(rule.reason) in words
    for line in plan.briefing:
        assert flat(json.dumps(line, ensure_ascii=False)[1:-1]) in words


def stands_in(words: str, text: str) -> bool:
    """Whether words stand in a text, whole or in two pieces: a column or a page may end between two of them."""
    whole = flat(words)
    return whole in text or any(whole[:cut] in text and whole[cut:] in text for cut in range(4, len(whole) - 3))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_every_check_is_printed_passed_ones_too_with_its_source(sheets, name, paper):
    plan = plan_of(name)
    text = "".join(pages_of(sheets[name, paper]))
    for check in plan.checks:
        assert all(stands_in(part, text) for part in parts_of(check)), check.sentence
        assert stands_in(source_words(check.source, rules_of(plan)), text), check.source


def test_a_cut_sentence_is_found_but_a_missing_word_is_not():
    assert stands_in("the tide is known", "somethetideHEADERisknownmore")
    assert not stands_in("the tide is not known", "somethetideHEADERisknownmore")


@pytest.mark.parametrize("paper", PAPERS)
def test_the_sample_is_printed_with_all_that_a_leader_needs_on_the_beach(paper):
    plan = sample_plan()
    text = "".join(pages_of(day_sheet_pdf(plan, paper)))
    for words in (
        plan.headline,
        plan.nearest_edge,
        plan.tide_words,
        "from 1.3 m to 3.4 m",
        "Gauge at most",
        "Petrels, dive 2: in 24 min later and the stream closes the way out.",
        "stop above 0.5 m",
        "Head count: two people count",
        "Longest time 51 min",
        "because tissue model's no-stop limit at 16 m: 51 min",
        "8 min instead of 10 min. Why: the lifeboat needs forty minutes.",
        plan.forecast_words,
        "Aino Kivi needs 75 min at the surface first",
        "1 h 38 min at the surface before it",
        "not known by road",  # the chamber's minutes are not entered
        "NOBODY NAMED",  # no oxygen provider
        "RING IT FIRST",  # the harbour office was never checked
        "4417",
    ):
        assert flat(words) in text, words


def test_a_group_whose_name_looks_like_code_or_cannot_be_printed_is_printed_as_a_name_in_table_and_picture():
    plan = sample_plan()
    names = {"Petrels": "$\\frac$ #eval(1)", "Puffins": "\U00012000\U00012001"}
    plan = replace(plan, dives=tuple(replace(dive, group=names[dive.group]) for dive in plan.dives))
    text = "".join(pages_of(day_sheet_pdf(plan)))
    assert text.count(flat("$\\frac$ #eval(1) 1")) == 1  # the label in the picture
    assert flat("$\\frac$ #eval(1), dive 1") in text
    assert flat("??, dive 1") in text
    assert flat(missing_glyphs(plan)[0]) in text


def test_a_stop_is_said_first_and_on_every_page(sheets):
    pages = pages_of(sheets["stop", "a4"])
    for page in pages:
        assert flat("STOP: DO NOT GO") in page
    assert pages[0].index(flat("DO NOT GO")) < pages[0].index(flat(plan_of("stop").stops[0].sentence))
    text = "".join(pages)
    assert text.count(flat("For information only: a stop stands.")) == len(plan_of("stop").dives)
    for page in pages_of(sheets["saturday-ledge", "a4"]):
        assert flat("DO NOT GO") not in page


def test_a_dive_without_a_minute_shows_no_time_to_go_in():
    plan = plan_of("saturday-ledge")
    dive = replace(plan.dives[0], entry=None, descent=None, exit=None, exit_by=None, overdue_at=None)
    text = "".join(pages_of(day_sheet_pdf(replace(plan, dives=(dive,)))))
    assert flat("NO TIME: no minute of the day is possible. Do not go in.") in text
    assert flat("overdue from") not in text


def test_equal_plans_give_equal_bytes_and_another_revision_does_not():
    plan = plan_of("lake-altitude")
    first = day_sheet_pdf(plan)
    assert day_sheet_pdf(replace(plan)) == first
    assert day_sheet_pdf(replace(plan, revision="0badc0de")) != first


def test_the_file_is_tagged_titled_and_in_english():
    reader = PdfReader(io.BytesIO(day_sheet_pdf(plan_of("lake-altitude"))))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    revision = plan_of("lake-altitude").revision
    assert reader.metadata.title == f"Lake Orrin, Sunday 29 November 2026, revision {revision}"
    assert b"pdfuaid:part" in reader.xmp_metadata.stream.get_data()  # ISO 14289-1: the claim to be PDF/UA-1


@pytest.mark.parametrize("paper", PAPERS)
def test_names_are_printed_as_names_whatever_they_look_like(paper):
    text = "".join(pages_of(day_sheet_pdf(hostile_plan(), paper)))
    for key in ("code", "tag", "quote", "long"):
        assert flat(HOSTILE[key]) in text


def test_characters_that_the_fonts_lack_become_question_marks_and_the_sheet_says_which():
    plan = plan_of("saturday-ledge")
    contacts = tuple(replace(contact, name="\U00012000\U00012001 \U00012002") for contact in plan.emergency.contacts)
    plan = replace(plan, emergency=replace(plan.emergency, contacts=contacts))
    values = sheet_values(plan)
    assert values["emergency"]["contacts"][0]["name"] == "?? ?"
    # The Unicode Standard, chart U12000: the first three signs of cuneiform.
    for words in ("U+12000 cuneiform sign a", "U+12001 cuneiform sign a times a", "U+12002 cuneiform sign a times bad"):
        assert words in values["replaced"]
    assert flat(values["replaced"]) in pages_of(day_sheet_pdf(plan))[0]
    assert missing_glyphs(plan) == (values["replaced"],)
    for whole in (hostile_plan(), plan_of("lake-altitude")):
        assert sheet_values(whole)["replaced"] == ""
        assert missing_glyphs(whole) == ()


def test_marks_that_turn_the_direction_of_writing_never_reach_the_paper():
    plan = replace(plan_of("lake-altitude"), title="safe\u202etext\u2066")
    assert sheet_values(plan)["title"] == "safe?text?"


def test_letters_of_many_european_languages_are_printed():
    name = "Žofie Łukasz Ñuño Ørsted Iğdır Ștefan Ελένη Дарья"
    plan = replace(plan_of("lake-altitude"), site_name=name)
    assert flat(name) in pages_of(day_sheet_pdf(plan))[0]
