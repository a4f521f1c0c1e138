"""The printed emergency sheet: every field that an emergency plan must have, nothing cut off, readable in grey."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from gettext import NullTranslations
from itertools import product
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import typst
from hypothesis import given
from hypothesis import strategies as st
from printed_pages import flat, pages_of
from printed_plans import REQUESTS, folder
from pypdf import PdfReader

from tripplan.documents import emergency_sheet
from tripplan.documents.emergency_sheet import action_sheets_pdf, radio_rows, revision_link, when_rows
from tripplan.documents.sheet_words import gap_words, sheet_text
from tripplan.emergency.confirmed import Confirmation
from tripplan.emergency.readiness import TellAfter
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH, Language, language
from tripplan.planning.action_sheet import GAPS, ActionSheet, action_sheet
from tripplan.planning.day import plan_day

PAPERS = ("a4", "letter")
DAY = date(2026, 12, 5)
SITES = sorted(folder().world.sites)
MARGIN_PT = 0.6 / 2.54 * 72  # nearer to the edge many printers do not reach
POPPLER = shutil.which("pdftotext") and shutil.which("pdftoppm")
needs_poppler = pytest.mark.skipif(not POPPLER, reason="poppler's tools are not installed")


def pieces(words: str) -> list[str]:
    """The parts of a text between its blanks, which are drawn as lines."""
    return [flat(part) for part in re.split(r"_{4}", words) if len(flat(part)) > 1]


@cache
def planned(name: str = "saturday-ledge") -> ActionSheet:
    """Return the sheet of a request of the demonstration."""
    request = folder().requests[name]
    return action_sheet(request.site, request.date, folder().world, [(request, plan_day(request, folder().world))])


@cache
def unplanned(slug: str = "old-slip") -> ActionSheet:
    return action_sheet(slug, DAY, folder().world)


@cache
def printed(sheet: ActionSheet, paper: str = "a4", code: str = "en", address: str = "") -> bytes:
    return action_sheets_pdf([sheet], paper, language(code), address)


def bare() -> ActionSheet:
    """Return a sheet of which everything is missing that may be missing."""
    sheet = unplanned()
    facts = replace(
        sheet.facts, gate_code=None, callback=None, landmark=None, landmark_bearing_deg=None,
        landmark_distance_nm=None, vhf=None, helicopter="",
    )  # fmt: skip
    supply = replace(sheet.oxygen, lines=(), minutes_one=0, minutes_two=0, needed_min=None, known_min=0)
    return replace(
        sheet, country=None, country_numbers=(), rendezvous_notes="", ambulance_min=None, helicopter="",
        gate_code=None, access_notes="", vhf=None, landline=None, beach_phone=None, extraction=(),
        alternative_exit="none known", facts=facts, oxygen_givers=(), oxygen=supply, kits=(), drill=None,
        tell_after=(), dives=(), gaps=GAPS, roles=tuple(replace(line, people=(), diving=()) for line in sheet.roles),
    )  # fmt: skip


# ---- what an emergency plan must hold: the tag is the source that asks for it ----


OXYGEN_KEYS = ("name", "size", "pressure", "device", "minutes", "kept", "read")
WAY_IN = ("gate", "ambulance", "meet_notes", "access")
DIVE_KEYS = ("people", "entry", "exit_by", "depth", "place")


def fields(sheet: ActionSheet) -> list[tuple[str, list[str]]]:
    """Return each field of a printed emergency plan with the words that stand for it.

    IE: HSA Ireland; FR78: French Sports Code A322-78; EAP: public plans for divers; NOAA: diving emergency plan;
    OS421: 29 CFR 1910.421(b); OSC: its appendix C; QCOP: Queensland code of practice 2018; QLD16: its regulation, s 16;
    OS440: 29 CFR 1910.440; USN: US Navy Diving Manual.
    """
    text = sheet_text(sheet, ENGLISH)
    where, oxygen = text["where"], text["oxygen"]
    scenarios = {each["key"]: [each["title"], *each["steps"], *each["never"]] for each in text["scenarios"]}
    return [
        ("IE: site-specific", [text["site"], text["date"], text["revision"], where["road"], where["meet"]]),
        ("IE: exact location", [where["position"], where["spoken"], where["decimal"], where["meet_position"]]),
        ("IE: access for the ambulance", [where[key].rstrip(".") for key in WAY_IN]),
        ("IE: helicopter", [where["helicopter"]]),
        ("FR78: written, current, for place and dive", [text["superseded"], text["printed_from"]]),
        ("FR78: rule that applies", [text["code_of_practice"]]),
        ("EAP, NOAA: roles", [part for line in text["roles"] for part in (line["role"], line["who"], line["note"])]),
        ("OS421, USN: contacts", [part for c in text["contacts"] for part in (c["role"], c["name"], c["number"])]),
        ("OS421: their hours and status", [part for c in text["contacts"] for part in (c["hours"], c["status"])]),
        ("OS421: notes on them", [part for c in text["contacts"] for part in (c["notes"], c["doubt"])]),
        ("OS421: contacts that are missing", text["missing_contacts"]),
        ("EAP: numbers of the country", text["country_numbers"]),
        ("OSC: checked today at and by", ["checked today ____ by ____"]),
        ("OSC: what nobody confirmed", [text["unconfirmed"]]),
        ("IE: call script", text["breath"]),
        ("IE: radio call", [line for script in text["scripts"][1:] for line in script["lines"]]),
        ("IE: after the call", [line for script in text["scripts"][1:] for line in script["after"]]),
        ("SMCP: the name spelled, figures", [text["spelled"], *(f"{one}{said}" for one, said in text["figures"])]),
        ("IE: signal, VHF, landline", [where["signal"], where["vhf"], where["landline"], where["beach_phone"]]),
        ("IE: bearing from the chart", [where["landmark"]]),
        (
            "IE: way to care",
            [c[key] for c in text["care"] for key in ("name", "number", "drive", "directions", "position")],
        ),
        ("OS421: care open, height of the way", [part for c in text["care"] for part in (c["opened"], c["height"])]),
        ("NOAA, IE, OSC: oxygen lasts", [oxygen["headline"], oxygen["need"], *oxygen["shortfall"]]),
        (
            "NOAA: oxygen units",
            [line[key] for line in oxygen["lines"] for key in OXYGEN_KEYS],
        ),
        ("IE: who is trained", [oxygen["givers"]]),
        ("FR78: rescue kit", [kit[key] for kit in text["kits"] for key in ("name", "kept", "content", "status")]),
        ("EAP, IE, QLD16: missing diver", scenarios["missing_diver"]),
        ("IE: unconscious diver", scenarios["unconscious_at_surface"]),
        ("IE, USN: recompression", scenarios["bubble_illness"]),
        ("IE: gas loss, equipment failure", scenarios["out_of_gas"]),
        ("IE: rapid ascent", scenarios["rapid_ascent"]),
        ("IE: fire", scenarios["fire"]),
        ("IE: abort, panic", scenarios["abort"]),
        ("IE: weather change", scenarios["weather"]),
        ("IE: marine injury", scenarios["injury"]),
        ("NOAA: first minute", text["first_minute"]),
        ("NOAA: posture", text["posture"]),
        ("NOAA: neuro check", text["look"]),
        ("NOAA: gear kept, statements", text["gear"]),
        ("FR78: form for the casualty", text["report"]),
        ("QCOP: drill and next drill", [text["drill"], "Next drill on ____"]),
        ("OS440, EAP: who is told", text["tell_after"]),
        ("EAP: places to bring a casualty out", [where["out"], where["alternative"]]),
        ("EAP: hazards", [part.rstrip(".") for hazard in text["hazards"] for part in hazard]),
        ("EAP: times", ["It happened", "Call made", "Oxygen on", "Ambulance here"]),
        ("QLD16: point last seen", ["Last seen at ____, time ____, by ____"]),
        ("QLD16: who dives", [dive[key] for dive in text["dives"] for key in DIVE_KEYS]),
        ("search", [words for each in text["searches"] for words in (each["title"], *each["words"])]),
        ("search boxes", [cell for each in text["searches"] for row in each["rows"] for cell in row]),
        ("search method", [*text["search_head"], *text["search_method"]]),
        ("checks", text["cautions"]),
        ("training counts", [text["caution"]]),
    ]  # fmt: skip


def missing_on(sheet: ActionSheet, text: str) -> list[str]:
    return [
        f"{tag}: {part}"
        for tag, wanted in fields(sheet)
        for words in wanted
        for part in pieces(words)
        if not stands_in(part, text)
    ]


def stands_in(part: str, text: str) -> bool:
    """Whether words stand in a text, whole or in two pieces: a page may end between two of them."""
    return part in text or any(part[:cut] in text and part[cut:] in text for cut in range(12, len(part) - 12))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", REQUESTS)
def test_every_field_of_an_emergency_plan_stands_on_the_sheet_of_a_planned_day(name, paper):
    assert missing_on(planned(name), "".join(pages_of(printed(planned(name), paper)))) == []


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("slug", SITES)
def test_every_field_stands_on_the_sheet_of_a_site_without_a_plan(slug, paper):
    assert missing_on(unplanned(slug), "".join(pages_of(printed(unplanned(slug), paper)))) == []


def test_each_field_has_words_so_that_looking_for_them_can_fail():
    for tag, wanted in fields(planned()):
        assert any(pieces(words) for words in wanted), tag


@pytest.mark.parametrize("paper", PAPERS)
def test_everything_that_is_missing_is_said_in_words_where_it_would_stand(paper):
    sheet = bare()
    text = "".join(pages_of(printed(sheet, paper)))
    assert missing_on(sheet, text) == []
    # The crew as a whole is missing where each role says that nobody is named.
    for key, words in gap_words(ENGLISH).items():
        assert key == "no_crew" or flat(words) in text, key


# ---- pages ----


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("slug", SITES)
def test_a_sheet_without_dives_has_four_pages_act_details_scenarios_and_where_to_look(slug, paper):
    pages = pages_of(printed(unplanned(slug), paper))
    assert len(pages) == 4
    for page, head in zip(pages, ("Act", "Details", "Ifthishappens", "Wheretolook"), strict=True):
        assert head in page


@pytest.mark.parametrize("paper", PAPERS)
def test_a_sheet_with_one_dive_has_four_pages_and_more_dives_run_on(paper):
    sheet = planned()
    assert len(pages_of(printed(replace(sheet, dives=sheet.dives[:1]), paper))) == 4
    many = pages_of(printed(replace(sheet, dives=sheet.dives * 4), paper))
    assert len(many) > 5
    for title in (search["title"] for search in sheet_text(sheet, ENGLISH)["searches"]):
        assert "".join(many).count(flat(title)) == 8  # at the table and at the picture


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_has_the_size_that_was_asked_for(paper):
    # ISO 216: A4 is 210 by 297 mm; ANSI Y14.1: Letter is 8.5 by 11 inches. A point is 1/72 inch.
    wanted = (210 / 25.4 * 72, 297 / 25.4 * 72) if paper == "a4" else (8.5 * 72, 11 * 72)
    for page in PdfReader(io.BytesIO(printed(unplanned(), paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.1)


def test_every_page_of_many_sheets_says_its_site_day_revision_and_place_in_its_own_sheet():
    sheets = [unplanned(slug) for slug in SITES] + [planned()]
    pages = pages_of(action_sheets_pdf(sheets))
    at = 0
    for sheet in sheets:
        alone = len(pages_of(printed(sheet)))
        for number, page in enumerate(pages[at : at + alone], 1):
            assert flat(f"{sheet.site_name}, {ENGLISH.day(sheet.date)}") in page
            assert flat(f"Revision {sheet.revision}") in page
            assert flat(f"Page {number} of {alone}") in page
            assert flat(f"Superseded if the page of this site shows another revision than {sheet.revision}.") in page
            assert page.count(flat("DEMONSTRATION - NOT FOR USE")) == 2  # above and across
        at += alone
    assert at == len(pages)


def test_a_sheet_that_is_no_demonstration_is_not_marked_as_one():
    assert "NOTFORUSE" not in "".join(pages_of(printed(replace(unplanned(), demonstration=False))))


def test_another_paper_and_no_sheet_at_all_are_refused():
    with pytest.raises(OutOfRange, match='paper is "a5"; it must be "a4" or "letter"'):
        action_sheets_pdf([unplanned()], "a5")
    with pytest.raises(OutOfRange, match="sheets is empty"):
        action_sheets_pdf([])


def test_equal_sheets_give_equal_bytes_and_another_revision_does_not():
    sheets = [unplanned("gull-cove"), planned()]
    assert action_sheets_pdf(sheets) == action_sheets_pdf([replace(sheet) for sheet in sheets])
    assert printed(unplanned()) != printed(replace(unplanned(), revision="0badc0de"))


# ---- the front ----


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("sheet", [planned(), unplanned(), unplanned("lake-orrin")], ids=lambda sheet: sheet.site)
def test_the_front_holds_what_the_first_minutes_need(sheet, paper):
    front = pages_of(printed(sheet, paper))[0]
    text = sheet_text(sheet, ENGLISH)
    where = text["where"]
    wanted = [
        "CALL FIRST", text["contacts"][0]["number"], text["contacts"][0]["status"], *text["breath"],
        where["position"], where["spoken"], where["meet"], where["gate"], where["ambulance"],
        *text["first_minute"], text["oxygen"]["headline"], *text["oxygen"]["shortfall"], text["unconfirmed"],
        *text["stops"], "It happened", "Call made", "Oxygen on", "Ambulance here",
    ]  # fmt: skip
    for contact in text["contacts"]:
        wanted += [contact["number"], contact["name"], contact["status"]]
    for line in text["roles"]:
        wanted += [line["role"], line["who"], line["note"]]
    assert [part for words in wanted for part in pieces(words) if part not in front] == []
    assert front.count("checkedtoday") == len(text["contacts"])


def test_contacts_stand_in_calling_order_and_the_first_number_is_the_largest_on_the_page():
    sheet = replace(planned(), demonstration=False)  # its mark is larger
    page = PdfReader(io.BytesIO(printed(sheet))).pages[0]
    sizes: dict[str, float] = {}

    def seen(text, _, matrix, __, size):
        if text.strip():
            sizes[flat(text)] = max(sizes.get(flat(text), 0), abs(size * matrix[3]))

    page.extract_text(visitor_text=seen)
    number = flat(sheet.contacts[0].phone.printed)
    largest = max(sizes, key=lambda words: sizes[words])
    assert number.startswith(largest) or largest == number
    front = pages_of(printed(sheet))[0]
    places = [front.rindex(flat(contact.phone.printed)) for contact in sheet.contacts[1:]]
    assert places == sorted(places)


def test_a_number_that_was_confirmed_says_so_and_is_not_among_the_unconfirmed():
    sheet = unplanned()
    first = sheet.contacts[0]
    found = Confirmation(datetime(2026, 12, 5, 8, 40, tzinfo=UTC), first.phone.typed, first.name, "Ana Lund", "right")
    told = replace(sheet, contacts=(replace(first, today=found), *sheet.contacts[1:]))
    front = pages_of(printed(told))[0]
    assert flat("confirmed today 07:40 by Ana Lund") in front  # one hour behind UTC, at the place of the demonstration
    assert flat(f"Nobody confirmed today: {sheet.contacts[1].name}") in front


def long_sheet() -> ActionSheet:
    """Return a sheet with far more words than a page holds."""
    sheet = planned()
    contacts = tuple(
        replace(sheet.contacts[n % len(sheet.contacts)], order=n + 1, name=f"Contact {n} " + "of the harbour " * 12)
        for n in range(40)
    )
    return replace(
        sheet, contacts=contacts, rendezvous="By the white wall " * 40, phone_signal="Behind the chapel " * 60,
        roles=tuple(replace(line, people=("Maximiliane von und zu Hohenfelsen " * 6,)) for line in sheet.roles),
    )  # fmt: skip


@pytest.mark.parametrize("paper", PAPERS)
def test_the_front_is_one_page_whatever_it_must_hold_and_what_is_cut_stands_in_full_behind_it(paper):
    sheet = long_sheet()
    pages = pages_of(printed(sheet, paper))
    assert "Act" in pages[0] and "Details" in pages[1]
    assert flat(sheet.contacts[0].phone.printed) in pages[0]
    assert flat("Get them out of the water.") in pages[0]
    assert "Ambulancehere" in pages[0]
    behind = "".join(pages[1:])
    for words in (sheet.rendezvous, sheet.phone_signal, *(contact.name for contact in sheet.contacts)):
        assert flat(words) in behind, words[:40]


@pytest.mark.parametrize("sheet", [planned(), unplanned(), long_sheet()], ids=["planned", "unplanned", "long"])
def test_no_word_is_smaller_than_can_be_read(sheet):
    small: set[tuple[float, str]] = set()

    def seen(text, _, matrix, __, size):
        if text.strip() and 0 < abs(size * matrix[3]) < 7.49 and not matrix[1]:
            small.add((abs(size * matrix[3]), text))

    for page in PdfReader(io.BytesIO(printed(sheet))).pages[:3]:  # the fourth has pictures
        page.extract_text(visitor_text=seen)
    assert small == set()


# ---- fitted first, then set: the same sheet with less memory ----


@pytest.fixture
def calls(monkeypatch) -> list[str]:
    """Return a list that takes "fit" for each time that fits are looked for, and how each document was set."""
    found: list[str] = []
    query, compiled = typst.query, typst.compile

    def seen_query(*args: Any, **kwargs: Any) -> str:
        found.append("fit")
        return query(*args, **kwargs)

    def seen_compile(*args: Any, **kwargs: Any) -> Any:
        if kwargs["input"]:
            data = json.loads(kwargs["sys_inputs"]["data"])
            found.append("set" if data["fits"] else "measured")
        return compiled(*args, **kwargs)

    monkeypatch.setattr(typst, "query", seen_query)
    monkeypatch.setattr(typst, "compile", seen_compile)
    emergency_sheet._known_fits.clear()
    return found


def measured(sheets: list[ActionSheet], paper: str, tongue: Language = ENGLISH) -> bytes:
    """Return the document whose parts are all measured while it is set, which is slow but needs no fits."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(emergency_sheet, "_fits", lambda values, words: None)
        return action_sheets_pdf(sheets, paper, tongue)


SAMPLES = {
    **{slug: lambda slug=slug: unplanned(slug) for slug in SITES},
    **{name: lambda name=name: planned(name) for name in REQUESTS},
    "bare": bare, "long": long_sheet,
}  # fmt: skip
# Each on one paper, by turns; the fullest and the emptiest one on both.
FITTED = [*((name, PAPERS[at % 2]) for at, name in enumerate(SAMPLES)), *product(("bare", "long"), PAPERS)]


@pytest.mark.parametrize(("name", "paper"), dict.fromkeys(FITTED))
def test_a_sheet_that_was_fitted_first_is_the_one_that_is_measured_while_it_is_set(name, paper, calls):
    sheet = SAMPLES[name]()
    fitted = action_sheets_pdf([sheet], paper)
    assert calls == ["fit", "set"]
    assert pages_of(fitted) == pages_of(measured([sheet], paper))
    assert calls == ["fit", "set", "measured"]


def test_sheets_in_one_file_have_the_pages_that_each_has_alone(calls):
    sheets = [make() for make in SAMPLES.values()]
    pages = pages_of(action_sheets_pdf(sheets))
    assert "measured" not in calls
    assert calls.count("set") == 1
    assert pages == tuple(page for sheet in sheets for page in pages_of(printed(sheet)))


def test_a_fit_that_is_known_is_not_looked_for_again_and_gives_equal_bytes(calls):
    sheets = [unplanned(slug) for slug in SITES[: emergency_sheet.FITTED_AT_ONCE + 1]]
    first = action_sheets_pdf(sheets)
    looked = calls.count("fit")
    assert 1 <= looked <= len(sheets)
    assert action_sheets_pdf(sheets) == first
    assert action_sheets_pdf(sheets[:1] * 2) != first
    assert calls.count("fit") == looked
    # Other paper, another language and other words each need a fit of their own.
    for n, (sheet, paper, code) in enumerate(
        [(sheets[0], "letter", "en"), (sheets[0], "a4", "es"), (replace(sheets[0], gate_code="0001"), "a4", "en")], 1
    ):
        action_sheets_pdf([sheet], paper, language(code))
        assert calls.count("fit") == looked + n


def test_only_so_many_fits_are_kept_and_more_sheets_than_that_are_printed_all_the_same(calls, monkeypatch):
    sheets = [unplanned(slug) for slug in SITES[:4]]
    first = action_sheets_pdf(sheets)
    monkeypatch.setattr(emergency_sheet, "KEPT_FITS", 2)
    emergency_sheet._known_fits.clear()
    assert action_sheets_pdf(sheets) == first
    assert len(emergency_sheet._known_fits) == 2
    calls.clear()
    action_sheets_pdf(sheets[2:])  # the last are kept
    assert calls == ["set"]
    action_sheets_pdf(sheets[:1])
    assert calls == ["set", "fit", "set"]


def test_sheets_printed_at_the_same_time_are_those_printed_one_after_another(calls, monkeypatch):
    monkeypatch.setattr(emergency_sheet, "KEPT_FITS", 2)
    sheets = [unplanned(slug) for slug in SITES[:4]]
    wanted = [printed(sheet) for sheet in sheets]
    emergency_sheet._known_fits.clear()
    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(lambda sheet: action_sheets_pdf([sheet]), sheets * 2)) == wanted * 2
    assert len(emergency_sheet._known_fits) == 2


WRONG: dict[str, Callable[[dict[str, Any]], None]] = {
    "front too large": lambda fit: fit["act"].__setitem__(0, 1.3),
    "details too large": lambda fit: fit["details"].__setitem__(0, 2.5),
    "scenarios too large": lambda fit: fit["scenarios"].__setitem__(0, 2.5),
    "a block missing": lambda fit: fit["details"][1][-1].pop(),
    "a block twice": lambda fit: fit["scenarios"][1][-1].append(0),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_fit_is_noticed_and_the_sheet_is_measured_while_it_is_set(wrong, calls, monkeypatch):
    sheets = [unplanned(), unplanned("the-gut")]
    right = action_sheets_pdf(sheets)
    fits = emergency_sheet._fits

    def spoiled(*args: Any) -> Any:
        found = json.loads(json.dumps(fits(*args)))
        WRONG[wrong](found[1])
        return found

    monkeypatch.setattr(emergency_sheet, "_fits", spoiled)
    calls.clear()
    assert pages_of(action_sheets_pdf(sheets)) == pages_of(right)
    assert calls == ["set", "measured"]


MEMORY = """
import sys
from datetime import date, timedelta
from pathlib import Path
from tripplan.data_files import data_dir
from tripplan.documents.emergency_sheet import action_sheets_pdf
from tripplan.planning.action_sheet import action_sheet
from tripplan.store.folder import load_folder

def peak_mb():
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024

world = load_folder(data_dir("sites")).world
days = [date(2026, 12, 5) + timedelta(days=n) for n in range(16)]
sheets = [action_sheet(list(world.sites)[n % len(world.sites)], day, world) for n, day in enumerate(days)]
action_sheets_pdf(sheets[:1])
before = peak_mb()
action_sheets_pdf(sheets)
print((peak_mb() - before) / len(sheets))
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak of memory is read where Linux tells it")
def test_each_further_sheet_of_a_file_needs_little_memory():
    # Measured while they are set, each needs some 70 MB; fifty sheets must stay below 1 GB.
    there = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    out = subprocess.run([sys.executable, "-c", MEMORY], capture_output=True, check=True, text=True, env=there).stdout
    assert 0 < float(out) < 18


# ---- nothing cut off, nothing told by colour ----


BOX = ("xMin", "yMin", "xMax", "yMax")


def words_with_places(pdf: bytes, tmp_path: Path) -> list[list[tuple[str, float, float, float, float]]]:
    """Return each page's words with their boxes in points from the upper left, as poppler finds them."""
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    out = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, check=True).stdout
    pages = []
    for page in ElementTree.fromstring(out).iter("{http://www.w3.org/1999/xhtml}page"):
        pages.append([(flat(word.text or ""), *(float(word.attrib[key]) for key in BOX)) for word in page])
    return pages


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(
    "sheet", [planned(), planned("lake-altitude"), unplanned("the-gut"), bare(), long_sheet()],
    ids=["planned", "lake", "unplanned", "bare", "long"],
)  # fmt: skip
def test_every_word_lies_inside_the_margins(sheet, paper, tmp_path):
    pdf = printed(sheet, paper)
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    found = words_with_places(pdf, tmp_path)
    assert len(found) >= 4
    for number, page in enumerate(found, 1):
        assert len(page) > 20
        for word, left, top, right, bottom in page:
            inside = (
                left >= MARGIN_PT and top >= MARGIN_PT and right <= float(box.width) - MARGIN_PT
                and bottom <= float(box.height) - MARGIN_PT
            )  # fmt: skip
            assert inside, (number, word, left, top, right, bottom)


@needs_poppler
def test_no_two_words_of_the_first_three_pages_stand_on_each_other(tmp_path):
    sheet = replace(planned(), demonstration=False)  # its mark lies across the page on purpose
    for page in words_with_places(printed(sheet), tmp_path)[:3]:
        # The boxes are as high as the face; capitals fill the middle of them.
        drawn = [(w, left, t + 0.25 * (b - t), right, b - 0.2 * (b - t)) for w, left, t, right, b in page]
        for n, (word, left, top, right, bottom) in enumerate(drawn):
            for other, left_2, top_2, right_2, bottom_2 in drawn[n + 1 :]:
                wide = min(right, right_2) - max(left, left_2)
                assert wide < 1 or min(bottom, bottom_2) <= max(top, top_2), (word, other)


@needs_poppler
def test_the_sheet_has_no_colour_and_no_large_dark_face(tmp_path):
    from PIL import Image

    file = tmp_path / "sheet.pdf"
    file.write_bytes(printed(replace(planned(), demonstration=False)))
    subprocess.run(["pdftoppm", "-r", "50", "-png", str(file), str(tmp_path / "page")], check=True)
    pictures = sorted(tmp_path.glob("page-*.png"))
    assert len(pictures) >= 4
    for path in pictures:
        with Image.open(path) as image:
            red, green, blue = image.convert("RGB").split()
            assert red.tobytes() == green.tobytes() == blue.tobytes(), path.name
            dark = sum(red.histogram()[:128]) / (image.width * image.height)
            assert 0.005 < dark < 0.25, (path.name, dark)


# ---- names of all kinds ----

NAMES = {"arabic": "ليلى حداد", "hebrew": "דנה לוי", "japanese": "新井 恵子", "greek": "Ελένη", "thai": "สมชาย"}


def foreign() -> ActionSheet:
    sheet = unplanned()
    names = list(NAMES.values())
    contacts = tuple(replace(contact, name=names[n % len(names)]) for n, contact in enumerate(sheet.contacts * 2, 0))
    contacts = tuple(replace(contact, order=n) for n, contact in enumerate(contacts, 1))
    return replace(sheet, contacts=contacts, site_name=NAMES["japanese"])


@pytest.mark.parametrize("key", NAMES)
def test_names_in_other_scripts_are_printed_with_their_own_letters(key):
    front = pages_of(printed(foreign()))[0]
    # How letters that are joined come out of a PDF differs in order, so each letter is looked for by itself.
    assert {letter for letter in flat(NAMES[key]) if letter not in front} == set()
    assert front.count("?") == pages_of(printed(unplanned()))[0].count("?")


@needs_poppler
@pytest.mark.parametrize("direction", ["ltr", "rtl"])
def test_a_number_is_read_from_left_to_right_in_every_language_and_beside_every_name(direction, tmp_path):
    tongue = ENGLISH if direction == "ltr" else Language("ar", "العربية")
    assert tongue.direction == direction
    sheet = foreign()
    (first, *_) = words_with_places(action_sheets_pdf([sheet], "a4", tongue), tmp_path)
    starts = [word for word in first if word[0] == "+44"]
    assert len(starts) == len(sheet.contacts)
    read = set()
    for _, left, top, _, bottom in starts:
        line = sorted(
            word[1:2] + word[:1] for word in first if abs(word[2] + word[4] - top - bottom) < 3 and word[1] >= left
        )
        read.add(" ".join(words for _, words in line[:3]))
    assert read == {contact.phone.printed for contact in sheet.contacts}


@needs_poppler
@pytest.mark.parametrize("tongue", [ENGLISH, Language("ar", "العربية")], ids=["ltr", "rtl"])
@pytest.mark.parametrize("name", [NAMES["arabic"], "Harbour office"], ids=["arabic", "latin"])
def test_a_number_inside_a_sentence_is_not_turned_round(name, tongue, tmp_path):
    told = TellAfter(name=name, number="+44 7700 900777", when="at once")
    pdf = action_sheets_pdf([replace(unplanned(), tell_after=(told,))], "a4", tongue)
    found = words_with_places(pdf, tmp_path)[1]
    # Poppler may join the first group to the name before it, so the two others tell the order.
    (last,) = [word for word in found if word[0].startswith("900777")]
    (middle,) = [word for word in found if word[0] == "7700" and abs(word[2] - last[2]) < 3]
    assert middle[1] < last[1]


class ArabicLabel(NullTranslations):
    """A translation with one message, written from the right."""

    def gettext(self, message: str) -> str:
        """Return the message, or its translation."""
        return "هاتف" if message == "Telephone on the beach" else message


@needs_poppler
def test_a_number_behind_a_label_that_is_written_from_the_right_is_not_turned_round(tmp_path):
    sheet = replace(unplanned(), beach_phone="+44 7700 900777")
    pdf = action_sheets_pdf([sheet], "a4", Language("ar", "العربية", ArabicLabel()))
    found = words_with_places(pdf, tmp_path)[0]
    (last,) = [word for word in found if word[0].startswith("900777")]
    (middle,) = [word for word in found if word[0] == "7700" and abs(word[2] - last[2]) < 3]
    assert middle[1] < last[1]


def test_a_name_that_looks_like_code_is_printed_as_a_name():
    hostile = '#eval(1) $x$ *b* "] } @y // {0} \\'
    sheet = unplanned()
    contacts = (replace(sheet.contacts[0], name=hostile), *sheet.contacts[1:])
    told = replace(sheet, site_name=hostile, contacts=contacts, rendezvous="W" * 300)
    text = "".join(pages_of(printed(told)))
    assert text.count(flat(hostile)) > 5
    assert "W" * 300 in text


def test_letters_that_no_face_has_stand_as_question_marks_and_the_front_says_which():
    sheet = replace(unplanned(), rendezvous="\U00013000 by the gate")  # an Egyptian hieroglyph
    front = pages_of(printed(sheet))[0]
    assert flat("? by the gate") in front
    assert "U+13000" in front


@pytest.mark.parametrize("code", ["es", "fr"])
def test_a_translated_sheet_says_on_its_front_that_the_english_one_counts(code):
    text = sheet_text(planned(), language(code))
    pages = pages_of(printed(planned(), "a4", code))
    assert text["notice"] and flat(text["notice"]) in pages[0]
    for words in (*text["first_minute"], text["labels"]["call_first"], text["oxygen"]["headline"]):
        assert flat(words) in pages[0]
    assert "".join(pages).count("MAYDAY") > 3  # the radio's own words stay in English


# ---- for screen readers, and the codes ----


def described(pdf: bytes) -> list[str]:
    """Return the words that stand for each picture, in the order of the file."""
    found, todo = [], [PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]]
    while todo:
        part = todo.pop().get_object()
        if isinstance(part, list):
            todo.extend(part)
        elif hasattr(part, "get"):
            if "/Alt" in part:
                found.append(str(part["/Alt"]))
            if "/K" in part:
                todo.append(part["/K"])
    return found


def test_the_file_is_tagged_titled_in_its_language_and_claims_the_standard():
    reader = PdfReader(io.BytesIO(printed(planned(), "a4", "es")))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("es")
    assert reader.metadata.title == sheet_text(planned(), language("es"))["title"]
    assert b"pdfuaid:part" in reader.xmp_metadata.stream.get_data()  # ISO 14289-1: the claim to be PDF/UA-1


@pytest.mark.parametrize("address", ["", "http://10.0.0.4:8000/"])
def test_each_picture_is_described_and_the_codes_hold_position_first_call_and_revision(address):
    sheet = planned()
    words = described(printed(sheet, "a4", "en", address))
    wanted = [sheet.position.geo_uri, sheet.contacts[0].phone.link, revision_link(sheet, address)]
    for text in wanted:
        assert any(each.endswith(text) for each in words), text
    assert len(words) == len(wanted) + len(sheet.dives)


def test_the_code_of_the_revision_asks_the_program_where_it_can_and_says_it_in_words_where_not():
    sheet = replace(unplanned(), revision="1234abcd")
    asked = "http://10.0.0.4:8000/sheets/check?site=old-slip&date=2026-12-05&revision=1234abcd"
    assert revision_link(sheet, "http://10.0.0.4:8000/") == asked
    assert revision_link(sheet, "http://10.0.0.4:8000") == asked
    assert revision_link(sheet, "") == "tripplan sheet old-slip 2026-12-05 revision 1234abcd"


# ---- two radio calls beside each other ----

LINES = st.lists(
    st.tuples(st.sampled_from(["call", "position", "nature", "over"]), st.sampled_from(["A.", "B.", "C. D.", "E."])),
    min_size=1,
    max_size=9,
)


def script(lines: list[tuple[str, str]]) -> dict[str, list[str]]:
    return {"keys": [key for key, _ in lines], "lines": [say for _, say in lines]}


@given(LINES, LINES)
def test_read_down_either_side_each_of_two_calls_is_whole_and_in_order(one, two):
    rows = radio_rows(script(one), script(two))
    for side, lines in enumerate((one, two)):
        read = " ".join(row[side] if len(row) == 2 else row[0] for row in rows)
        assert read.split() == " ".join(say for _, say in lines).split()


def test_the_two_calls_of_a_site_share_the_position_but_not_the_first_words():
    scripts = sheet_text(planned(), ENGLISH)["scripts"]
    rows = radio_rows(scripts[1], scripts[2])
    assert rows[0][0].startswith("MAYDAY, MAYDAY, MAYDAY.") and rows[0][1].startswith("PAN PAN, PAN PAN, PAN PAN.")
    (shared,) = [row for row in rows if row[0].startswith("My position is")]
    assert len(shared) == 1


@given(
    st.lists(st.sampled_from(["A.", "B.", "C."]), min_size=1), st.lists(st.sampled_from(["A.", "B.", "C."]), min_size=1)
)
def test_when_each_call_is_right_stays_whole_too(one, two):
    rows = when_rows(" ".join(one), " ".join(two))
    for side, sentences in enumerate((one, two)):
        read = " ".join(row[side] if len(row) == 2 else row[0] for row in rows)
        assert read.split() == sentences
