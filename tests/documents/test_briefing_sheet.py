"""The briefing of each dive on one page: everything that is said before going in, and lines for what nobody entered."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from printed_pages import flat, pages_of
from printed_plans import HOSTILE, REQUESTS, folder, hostile_plan, plan_of
from pypdf import PdfReader
from sample_plan import sample_plan

from tripplan.documents.briefing_sheet import LINE, briefing_sheets_pdf, briefing_values
from tripplan.documents.words import DEMONSTRATION, after_words, clock, date_words, depth_down, rules_of
from tripplan.errors import OutOfRange
from tripplan.planning.plan import DayPlan, DiveGas, DivePlan

ALL = (*REQUESTS, "pier-morning", "stop")
PAPERS = ("a4", "letter")
POPPLER = shutil.which("pdftotext") and shutil.which("pdftoppm")
needs_poppler = pytest.mark.skipif(not POPPLER, reason="poppler's tools are not installed")
MARGIN_PT = 0.6 / 2.54 * 72  # nearer to the edge many printers do not reach


def pieces(words: str) -> list[str]:
    """The parts of a text between its blanks, which are drawn as lines."""
    return [flat(part) for part in words.split(LINE) if flat(part)]


@cache
def printed(name: str, paper: str = "a4") -> bytes:
    return briefing_sheets_pdf(plan_of(name), paper)


def texts(value: Any) -> Iterator[str]:
    """Yield every text of a value, in whatever lists and tables it stands; names of keys are none."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from texts(inner)


def section(sheet: dict[str, Any], title: str) -> dict[str, Any]:
    (found,) = (each for each in sheet["sections"] if each["title"].startswith(title))
    return found


def row(sheet: dict[str, Any], title: str, label: str) -> str:
    """Return the words beside a label of a section; a row without a label goes on from the one above it."""
    words, last = [], ""
    for named, text in section(sheet, title)["rows"]:
        last = named or last
        if last == label:
            words.append(text)
    assert words, label
    return " ".join(words)


def first_sheet(plan: DayPlan, **more: Any) -> dict[str, Any]:
    return briefing_values(plan, **more)["sheets"][0]


def with_dive(plan: DayPlan, **changes: Any) -> DayPlan:
    return replace(plan, dives=(replace(plan.dives[0], **changes),))


# ---- the page ----


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_each_dive_has_one_page_that_says_whose_where_when_and_which_revision(name, paper):
    plan = plan_of(name)
    pages = pages_of(printed(name, paper))
    assert len(pages) == len(plan.dives)
    for dive, page in zip(plan.dives, pages, strict=True):
        for words in (
            f"Briefing: {plan.site_name}, {date_words(plan.date)}",
            f"{dive.group}, dive {dive.number}: {dive.kind_words}",
            f"Revision {plan.revision}",
            "Page 1 of 1",
            "does not replace training, local codes or the judgement of the leader on the beach",
        ):
            assert flat(words) in page, words


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_has_the_size_that_was_asked_for(paper):
    # ISO 216: A4 is 210 by 297 mm; ANSI Y14.1: Letter is 8.5 by 11 inches. A point is 1/72 inch.
    wanted = (210 / 25.4 * 72, 297 / 25.4 * 72) if paper == "a4" else (8.5 * 72, 11 * 72)
    for page in PdfReader(io.BytesIO(printed("lake-altitude", paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.1)


def test_another_paper_and_a_plan_without_dives_are_refused_with_what_is_accepted():
    with pytest.raises(OutOfRange, match='paper is "a5"; it must be "a4" or "letter"'):
        briefing_sheets_pdf(plan_of("lake-altitude"), "a5")
    with pytest.raises(OutOfRange, match="no dive; there must be at least one"):
        briefing_sheets_pdf(replace(plan_of("lake-altitude"), dives=()))


def test_each_page_of_the_demonstration_is_marked_three_times_and_a_real_one_never():
    for page in pages_of(printed("beginners-cove")):
        assert page.count(flat(DEMONSTRATION)) == 3  # above, below and across
    for page in pages_of(briefing_sheets_pdf(replace(plan_of("lake-altitude"), demonstration=False))):
        assert flat("NOT FOR USE") not in page


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_every_word_that_belongs_to_a_dive_is_on_its_page(name, paper):
    values = briefing_values(plan_of(name))
    for sheet, page in zip(values["sheets"], pages_of(printed(name, paper)), strict=True):
        told = {
            key: sheet[key] for key in ("title", "stops", "times", "sections", "homeward", "homeward_note", "languages")
        }
        for words in texts(told):
            for piece in pieces(words):
                assert piece in page, piece


def test_equal_plans_give_equal_bytes_and_another_revision_does_not():
    plan = plan_of("lake-altitude")
    assert briefing_sheets_pdf(replace(plan)) == printed("lake-altitude")
    assert briefing_sheets_pdf(replace(plan, revision="0badc0de")) != printed("lake-altitude")


def test_the_file_is_tagged_titled_and_in_english():
    reader = PdfReader(io.BytesIO(printed("lake-altitude")))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    revision = plan_of("lake-altitude").revision
    assert reader.metadata.title == f"Briefing: Lake Orrin, Sunday 29 November 2026, revision {revision}"
    assert b"pdfuaid:part" in reader.xmp_metadata.stream.get_data()  # ISO 14289-1: the claim to be PDF/UA-1


# ---- what is said ----


@pytest.mark.parametrize("name", ALL)
def test_times_limits_and_what_binds_them_are_those_of_the_plan(name):
    plan = plan_of(name)
    for dive, sheet in zip(plan.dives, briefing_values(plan)["sheets"], strict=True):
        assert [time[1] for time in sheet["times"]] == [
            clock(moment) for moment in (dive.entry, dive.descent, dive.exit, dive.exit_by, dive.overdue_at)
        ]
        depth, time = row(sheet, "Limits", "Depth"), row(sheet, "Limits", "Time")
        assert depth.startswith(f"{depth_down(dive.depth_m)} and no deeper")
        assert dive.depth.binding.sentence in depth and dive.time.binding.sentence in time
        assert time.startswith(f"{dive.bottom_time_min} min at the bottom")
        assert row(sheet, "Gas", "Turn").startswith(f"at {dive.gas.turn_bar} bar")
        assert f"minimum gas {dive.gas.minimum_gas_bar} bar" in row(sheet, "Gas", "Come up")


@pytest.mark.parametrize("name", ALL)
def test_place_ways_other_exit_hazards_pairs_and_leader_are_those_of_the_plan(name):
    plan = plan_of(name)
    for dive, sheet in zip(plan.dives, briefing_values(plan)["sheets"], strict=True):
        told = [row(sheet, "The place", label) for label in ("Place", "Way in", "Way out", "Other exit")]
        assert told == [dive.place, dive.going_in_by, dive.coming_out_by, plan.emergency.alternative_exit]
        assert section(sheet, "Hazards")["rows"] == [list(hazard) for hazard in plan.hazards]
        assert section(sheet, "Pairs")["pairs"] == [list(pair) for pair in dive.pairs]
        assert row(sheet, "Who does what", "Leads") == dive.leader
        assert plan.emergency.contacts[0].number in row(sheet, "If somebody is hurt", "Call")
        assert row(sheet, "If somebody is hurt", "We are at") == plan.emergency.position_words


@pytest.mark.parametrize("name", ALL)
def test_each_diver_has_exactly_one_line_with_their_own_waits_on_the_way_home(name):
    plan = plan_of(name)
    waits = {one.name: "; ".join(after_words(stage, plan.date) for stage in one.stages) for one in plan.after}
    for dive, sheet in zip(plan.dives, briefing_values(plan)["sheets"], strict=True):
        home = sheet["homeward"]
        for person in dive.people:
            (words,) = (words for who, words in home if re.search(rf"\b{person.name}\b", who))
            assert words == waits[person.name]


def test_somebody_whose_wait_is_not_known_gets_a_line_and_not_the_wait_of_another():
    plan = plan_of("lake-altitude")
    nobody = replace(plan, after=plan.after[1:])
    home = first_sheet(nobody)["homeward"]
    (words,) = (words for who, words in home if plan.after[0].name in who)
    assert words == f"no time is known; not before {LINE}"
    assert len(home) == 2


def test_the_ascent_rate_and_the_stop_come_from_the_rule_book_of_the_plan():
    plan = plan_of("lake-altitude")
    points = section(first_sheet(plan), "In the water")["points"]
    # US Navy Diving Manual, Revision 7, 9-3.2: 30 feet of sea water a minute is 9 m a minute.
    assert "Come up slowly: no faster than 9 m a minute." in points
    assert "Stop as the plan says: 3 min at 5 m, then slowly to the surface." in points
    slower = [
        replace(rules_of(plan)[key], value=value, source="CENTRE", reason="taught so")
        for key, value in (("ascent.rate_m_min", 6.0), ("safety_stop.minutes_min", 5.0))
    ]
    sheet = first_sheet(replace(plan, overrides=(*plan.overrides, *slower)))
    points = section(sheet, "In the water")["points"]
    assert "Come up slowly: no faster than 6 m a minute." in points
    assert "Stop as the plan says: 5 min at 5 m, then slowly to the surface." in points


@pytest.mark.parametrize(("depth_m", "planned"), [(6.0, True), (5.9, False), (None, True)])
def test_a_stop_is_said_to_be_planned_from_the_depth_from_which_it_is_timed(depth_m, planned):
    points = section(first_sheet(with_dive(plan_of("lake-altitude"), depth_m=depth_m)), "In the water")["points"]
    assert any(point.startswith("Stop as the plan says") for point in points) == planned
    assert any("Was anybody at 6 m or deeper: stop 3 min at 5 m." in point for point in points) != planned


def test_cautions_that_every_briefing_holds_are_there():
    words = flat(" ".join(texts(briefing_values(plan_of("beginners-cove"))["sheets"][0])))
    for caution in (
        "Never hold your breath",
        "Equalise early and often",
        "Look for one minute, no longer. Come up slowly. Meet at the surface",
        "End the dive, come up slowly and together",
        "Anyone may end the dive at any time, without a reason",
        "now or in the next two days",
        "Drink water",
        "get warm",
        "No flying and no drive over a height",
        "the emergency sheet says the rest",
    ):
        assert flat(caution) in words, caution


def test_the_page_agrees_with_what_the_plan_says_on_separation_and_rate():
    said = " ".join(plan_of("beginners-cove").briefing)
    assert "look for one minute, then come up and wait at the surface" in said
    assert "Come up no faster than 9 m a minute; 3 min at 5 m." in said


def test_signals_for_turn_ascent_low_gas_problem_and_together_are_words_with_room_for_the_centres_own():
    found = section(first_sheet(plan_of("beginners-cove")), "Signals")
    meanings = " ".join(meaning for meaning, _ in found["signals"])
    for word in ("Turn", "Come up", "Low on gas", "No gas", "Problem", "together"):
        assert word in meanings
    assert all(sign for _, sign in found["signals"])
    assert "from memory" in found["notes"][0]


def test_learners_are_told_to_stay_in_reach_and_how_to_come_up_alone_and_certified_divers_are_not():
    course = " ".join(texts(first_sheet(plan_of("beginners-cove"))))
    guided = " ".join(texts(first_sheet(plan_of("saturday-ledge"))))
    assert "Stay where Ines Faro can touch you" in course and "Learners who must come up alone" in course
    assert "Luca Benti can see and reach you" in guided and "Learners" not in guided


def test_at_altitude_the_gauge_figures_stand_beside_the_depth_and_at_equal_figures_none_does():
    plan = plan_of("lake-altitude")
    dive = plan.dives[0]
    zeroed, sealed = depth_down(dive.gauge_zeroed_m), depth_down(dive.gauge_sealed_m)
    assert row(first_sheet(plan), "Limits", "Gauge") == (
        f"at most {zeroed} if zeroed at the surface, {sealed} if sealed at sea level"
    )
    same = with_dive(plan, gauge_zeroed_m=dive.depth_m, gauge_sealed_m=dive.depth_m)
    assert "Gauge" not in [label for label, _ in section(first_sheet(same), "Limits")["rows"]]


def test_different_gases_are_named_with_who_breathes_them():
    plan = plan_of("saturday-ledge")
    first, *rest = plan.dives[0].people
    sheet = first_sheet(with_dive(plan, people=(replace(first, oxygen_percent=32.0), *rest)))
    told = [words for label, words in section(sheet, "Gas")["rows"] if label == "Gas"]
    assert told[0].startswith(f"32 % oxygen, analysed and marked: {first.name}; ")
    assert told[1] == f"air: {', '.join(person.name for person in rest)}"


# ---- what is missing, and what forbids ----


def bare() -> DayPlan:
    """Return a plan of one dive of which everything is missing that may be missing."""
    plan = with_dive(
        plan_of("beginners-cove"), gas=None, pairs=(), people=(), leader=None, assistants=(), place="",
        going_in_by="", coming_out_by="",
    )  # fmt: skip
    emergency = replace(
        plan.emergency, contacts=(), extraction=(), alternative_exit="", dive_director=None, shore_watch=None,
        oxygen_provider=None, oxygen=None, phone_signal="", position_words="",
    )  # fmt: skip
    return replace(
        plan, hazards=(), conditions=(), after=(), flag_rule="", rules_here="", water_words="", emergency=emergency
    )


def test_what_nobody_entered_is_said_in_words_with_a_line_to_write_on():
    sheet = first_sheet(bare())
    for title, label, words in (
        ("The place", "Place", "not on record: ____"),
        ("The place", "Way in", "not on record: ____"),
        ("The place", "Way out", "not on record: ____"),
        ("The place", "Other exit", "none is known; agree one: ____"),
        ("The place", "Water", "not known: ____"),
        ("The place", "Told", "nobody has seen or forecast the sea for this plan"),
        ("The place", "Flag", "no rule is on record: ____"),
        ("Hazards", "None is on record", "that does not mean that there is none: ____"),
        ("Route", "Turn at", "not on record: ____"),
        ("Gas", "Turn", "cylinders not known: turn at ____ bar"),
        ("Gas", "Come up", "cylinders not known: leave the bottom at ____ bar"),
        ("Who does what", "Leads", "nobody leads; who decides: ____"),
        ("Who does what", "Director", "NOBODY NAMED: ____"),
        ("Who does what", "Ashore", "NOBODY NAMED: ____"),
        ("If somebody is hurt", "Call", "NO NUMBER IS KNOWN. Do not go before there is one: ____"),
        ("If somebody is hurt", "Oxygen", "by (NOBODY NAMED): ____; stands not on record: ____"),
        ("If somebody is hurt", "We are at", "not known: ____"),
        ("Separated", "Recall", "no signal is on record; ours is ____, given by ____"),
    ):
        assert row(sheet, title, label) == words
    divers = plan_of("beginners-cove").dives[0].divers
    assert section(sheet, "Pairs")["notes"][0] == f"Not paired yet: {', '.join(divers)}. With whom: ____"
    (page,) = pages_of(briefing_sheets_pdf(bare()))
    for words in texts(sheet["sections"]):
        for piece in pieces(words):
            assert piece in page, piece


def test_a_number_that_was_not_checked_is_rung_first():
    plan = plan_of("beginners-cove")
    assert "RING IT" not in row(first_sheet(plan), "If somebody is hurt", "Call")
    stale = tuple(replace(contact, fresh=False) for contact in plan.emergency.contacts)
    stale_plan = replace(plan, emergency=replace(plan.emergency, contacts=stale))
    assert row(first_sheet(stale_plan), "If somebody is hurt", "Call").endswith("RING IT BEFORE THE FIRST DIVE.")


def test_too_little_gas_is_no_pressure_to_turn_at():
    gas = plan_of("beginners-cove").dives[0].gas
    assert isinstance(gas, DiveGas)
    sheet = first_sheet(with_dive(plan_of("beginners-cove"), gas=replace(gas, turn_bar=None, minimum_gas_bar=None)))
    assert row(sheet, "Gas", "Turn") == "NOT ENOUGH GAS TO GO OUT WITH"
    assert row(sheet, "Gas", "Come up") == "NO FILL OF THIS CYLINDER IS ENOUGH"


@pytest.mark.parametrize("paper", PAPERS)
def test_a_stop_is_said_first_on_every_page(paper):
    plan = plan_of("stop")
    for page in pages_of(printed("stop", paper)):
        assert page.index(flat("DO NOT GO")) < page.index(flat(plan.stops[0].sentence)) < page.index(flat("The place"))
        assert flat("for information only. It does not hold while a stop stands.") in page
        assert flat(f"And {len(plan.stops) - 4} more stops on the plan of the day.") in page
    for page in pages_of(printed("saturday-ledge", paper)):
        assert flat("DO NOT GO") not in page and flat("GO WITH CARE") in page


def test_a_dive_without_a_minute_is_forbidden_and_shows_no_time_and_no_limit():
    plan = with_dive(
        plan_of("saturday-ledge"), entry=None, descent=None, exit=None, exit_by=None, overdue_at=None, depth_m=None,
        bottom_time_min=None, water_time_min=None,
    )  # fmt: skip
    (page,) = pages_of(briefing_sheets_pdf(plan))
    assert flat("DO NOT GO") in page and flat("GO WITH CARE") not in page
    assert flat("NO TIME: no minute of the day is possible. Do not go in.") in page
    assert flat("the dive has no time, so nothing was worked out. Nobody goes in.") in page
    assert flat("Overdue") not in page and flat("From not known") not in page


# ---- people's languages, the route, names of all kinds ----


def test_everybody_of_another_language_has_a_line_for_who_puts_it_into_that_language():
    plan = plan_of("beginners-cove")
    told = briefing_values(plan, {"Noor Haddad": "Arabic", "Finn Lund": "Danish", "Ruben Costa": " "})["sheets"]
    limpets, shrimps = told[0], told[1]
    assert limpets["languages"] == ["Noor Haddad: Arabic. Put into it by ____, at ____"]
    assert shrimps["languages"] == ["Finn Lund: Danish. Put into it by ____, at ____"]
    assert "not on record" in first_sheet(plan)["languages"][0]
    assert first_sheet(plan, languages={})["languages"][0].startswith("No other language is on record")
    page = pages_of(briefing_sheets_pdf(plan, languages={"Noor Haddad": "العربية"}))[0]
    assert flat("Noor Haddad:") in page and flat("All of this was said at") in page


def test_a_route_that_is_known_stands_in_words_and_one_that_is_not_is_a_line():
    plan = plan_of("beginners-cove")
    known = first_sheet(plan, routes={"Limpets": "South along the edge, turn at the white stone"})
    assert row(known, "Route", "To") == "South along the edge, turn at the white stone"
    assert row(first_sheet(plan), "Route", "To") == "Sea-grass edge; first towards ____ (direction not on record)"


@pytest.mark.parametrize("paper", PAPERS)
def test_names_are_printed_as_names_whatever_they_look_like(paper):
    text = "".join(pages_of(briefing_sheets_pdf(hostile_plan(), paper)))
    for words in HOSTILE.values():
        assert flat(words) in text


def test_characters_that_the_fonts_lack_become_question_marks_and_the_page_says_which():
    plan = replace(plan_of("lake-altitude"), hazards=(("\U00012000 here", "keep away"),))
    values = briefing_values(plan)
    assert section(values["sheets"][0], "Hazards")["rows"] == [["? here", "keep away"]]
    assert "U+12000 cuneiform sign a" in values["replaced"]
    for page in pages_of(briefing_sheets_pdf(plan)):
        assert flat(values["replaced"]) in page


@given(st.text(max_size=40), st.text(max_size=40))
@settings(max_examples=15, deadline=None)
def test_whatever_a_name_is_made_of_the_page_is_printed(group, person):
    plan = sample_plan()
    dive: DivePlan = replace(plan.dives[0], group=group, leader=person, pairs=((person, group),))
    assert briefing_sheets_pdf(replace(plan, dives=(dive,))).startswith(b"%PDF")


# ---- room ----


def crowd(count: int) -> DayPlan:
    """Return a plan of one dive with as many people as asked, in pairs, each with a wait of their own kind."""
    plan = plan_of("saturday-ledge")
    named = list(folder().world.people)[:count]
    people = tuple(replace(plan.dives[0].people[0], name=name, role="diver") for name in named)
    pairs = tuple(zip(named[1::2], named[2::2], strict=False))
    after = tuple(replace(plan.after[n % 2 * -1], name=name) for n, name in enumerate(named))
    changed = with_dive(plan, people=people, leader=named[0], divers=tuple(named[1:]), assistants=(), pairs=pairs)
    return replace(changed, after=after)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_group_of_thirteen_still_goes_on_one_page(paper):
    (page,) = pages_of(briefing_sheets_pdf(crowd(13), paper))
    for name in list(folder().world.people)[:13]:
        assert flat(name) in page


def test_what_does_not_go_on_one_page_runs_on_to_another_and_nothing_is_lost():
    plan = with_dive(plan_of("beginners-cove"))
    plan = replace(plan, hazards=tuple((f"{n}. {what}", control) for n in range(15) for what, control in plan.hazards))
    pages = pages_of(briefing_sheets_pdf(plan))
    assert len(pages) == 2
    whole = "".join(pages)
    for words in texts(first_sheet(plan)["sections"]):
        for piece in pieces(words):
            assert piece in whole or any(
                piece[:cut] in whole and piece[cut:] in whole for cut in range(4, len(piece) - 3)
            ), piece
    for number, page in enumerate(pages, 1):
        assert flat(f"Page {number} of 2") in page and flat("Limpets, dive 1") in page


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ["beginners-cove", "stop"])
def test_every_word_lies_inside_the_margins(name, paper, tmp_path: Path):
    file = tmp_path / "briefing.pdf"
    file.write_bytes(printed(name, paper))
    out = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, check=True).stdout
    found = list(ElementTree.fromstring(out).iter("{http://www.w3.org/1999/xhtml}page"))
    assert len(found) == 3
    for page in found:
        wide, high = float(page.attrib["width"]), float(page.attrib["height"])
        assert len(page) > 200
        for word in page:
            left, top, right, bottom = (float(word.attrib[key]) for key in ("xMin", "yMin", "xMax", "yMax"))
            if word.text in set(DEMONSTRATION.split()) and bottom - top > 30:
                continue  # the mark across the page
            assert left >= MARGIN_PT and right <= wide - MARGIN_PT, word.text
            assert top >= MARGIN_PT and bottom <= high - MARGIN_PT, word.text


@needs_poppler
def test_the_page_is_black_grey_and_white(tmp_path: Path):
    from PIL import Image

    file = tmp_path / "briefing.pdf"
    file.write_bytes(printed("stop"))
    subprocess.run(["pdftoppm", "-r", "50", "-png", str(file), str(tmp_path / "page")], check=True)
    pictures = sorted(tmp_path.glob("page-*.png"))
    assert len(pictures) == 3
    for path in pictures:
        with Image.open(path) as image:
            red, green, blue = image.convert("RGB").split()
            assert red.tobytes() == green.tobytes() == blue.tobytes(), path.name
            dark = sum(red.histogram()[:128]) / (image.width * image.height)
            assert 0.005 < dark < 0.25, (path.name, dark)
